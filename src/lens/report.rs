//! A calibration told: as text for the terminal and as JSON.

use std::fmt::Write as _;
use std::path::Path;

use serde_json::{Value, json};

use super::Calibrated;
use super::coverage::SIDES;
use super::judge::said;
use crate::report::words::{count, plain};
use crate::survey::LENS_NAMES;

/// The summary, lines of at most `columns` characters where words allow it.
#[must_use]
pub fn summary(c: &Calibrated, columns: usize) -> String {
    let fit = &c.fit;
    let mut out = String::new();
    let mut line = |text: &str| wrap(&mut out, text, columns);
    let verdict = if c.judgement.good_enough() {
        "GOOD ENOUGH: this lens can be used"
    } else {
        "NOT ENOUGH yet"
    };
    line(verdict);
    if let Some(next) = &c.judgement.next {
        line(&format!("  next: {next}"));
    }
    for lack in &c.judgement.lacks {
        line(&format!("  - {}", said(*lack)));
    }
    line("");
    line(&format!(
        "{}, {} x {} pixels; {} and {} used, misfit {:.3} px RMS",
        plain(&c.camera_name()),
        fit.size[0],
        fit.size[1],
        count(fit.photos.len(), "photo", "photos"),
        count(fit.corners, "corner", "corners"),
        fit.rms_px
    ));
    let sd = fit.sd();
    let free = fit.free.unknowns();
    let f = fit.lens.f_px;
    let rows = fit.lens.unknowns();
    for i in (0..rows.len()).filter(|i| free[*i]) {
        let text = match i {
            0 => plus_minus(f, f * sd[0]) + " px",
            1 | 2 => plus_minus(rows[i], sd[i]) + " px",
            _ => plus_minus(rows[i], sd[i]),
        };
        line(&format!("  {:<23} {text}", LENS_NAMES[i]));
    }
    line(&format!(
        "  the bend at the picture's corners is known to {:.2} px; {:.0} % of the picture covered",
        c.judgement.bend_sd_px,
        100.0 * c.coverage.share()
    ));
    let [aspect, u] = fit.board_aspect;
    line(&format!(
        "  the page's print is {:.2} % ± {:.2} % as long down as across",
        100.0 * aspect,
        100.0 * u
    ));
    line("");
    let file = |path: &str| {
        let name = Path::new(path).file_name();
        plain(&name.map_or_else(|| path.into(), |n| n.to_string_lossy()))
    };
    let width = fit
        .photos
        .iter()
        .map(|p| file(&c.names[p.index]).chars().count())
        .max()
        .unwrap_or(0);
    for (p, tilt) in fit.photos.iter().zip(&c.coverage.tilts) {
        let away = match tilt.side() {
            Some(side) => format!("away at the {} side", SIDES[side]),
            None => "about square on".to_owned(),
        };
        let used = p.corners.iter().filter(|c| c.2).count();
        line(&format!(
            "  {:<width$} {used:>3} corners {:>6.3} px {:>3.0} deg, {away}",
            file(&c.names[p.index]),
            p.rms_px,
            tilt.angle_deg
        ));
    }
    for l in &c.left_out {
        line(&format!(
            "  left out: {}: {}",
            plain(&l.name),
            plain(&l.why)
        ));
    }
    out
}

/// A number with its standard deviation, both to the second digit of the latter.
pub(super) fn plus_minus(value: f64, sd: f64) -> String {
    let digits = if sd > 0.0 {
        (1.0 - sd.log10().floor()).clamp(0.0, 9.0) as usize
    } else {
        6
    };
    format!("{value:.digits$} ± {sd:.digits$}")
}

/// Breaks a line between words; what follows is indented under it.
fn wrap(out: &mut String, text: &str, columns: usize) {
    if text.chars().count() <= columns {
        // Writing to a string cannot fail, here and below.
        let _ = writeln!(out, "{text}");
        return;
    }
    let indent = text.len() - text.trim_start().len();
    let mut line = " ".repeat(indent);
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > columns {
            let _ = writeln!(out, "{line}");
            line = " ".repeat(indent + 2);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    let _ = writeln!(out, "{line}");
}

/// As JSON, format `punchready.calibration/1`: everything in the frame of the stored picture, px and degrees.
#[must_use]
pub fn json(c: &Calibrated) -> String {
    let fit = &c.fit;
    let sd = fit.sd();
    let l = &fit.lens;
    let values = [
        ("f_px", l.f_px, l.f_px * sd[0]),
        ("cx_px", l.cx_px, sd[1]),
        ("cy_px", l.cy_px, sd[2]),
        ("k1", l.k1, sd[3]),
        ("k2", l.k2, sd[4]),
        ("p1", l.p1, sd[5]),
        ("p2", l.p2, sd[6]),
        ("k3", l.k3, sd[7]),
    ];
    let lens: serde_json::Map<String, Value> = values
        .iter()
        .map(|(k, v, sd)| ((*k).to_owned(), json!({"value": v, "sd": sd})))
        .collect();
    let photos: Vec<Value> = fit
        .photos
        .iter()
        .zip(&c.coverage.tilts)
        .map(|(p, t)| {
            json!({"file": c.names[p.index], "rms_px": p.rms_px,
                   "corners": p.corners.len(), "used": p.corners.iter().filter(|c| c.2).count(),
                   "tilt_deg": t.angle_deg, "away": t.side().map(|s| SIDES[s])})
        })
        .collect();
    let left_out: Vec<Value> = c
        .left_out
        .iter()
        .map(|l| json!({"file": l.name, "why": l.why}))
        .collect();
    let lacks: Vec<String> = c.judgement.lacks.iter().map(|l| said(*l)).collect();
    let mut text = json!({
        "format": "punchready.calibration/1",
        "good_enough": c.judgement.good_enough(),
        "lacks": lacks,
        "next": c.judgement.next,
        "camera": {"make": c.camera.make, "model": c.camera.model, "focal_mm": c.camera.focal_mm,
                   "focal_35mm": c.camera.focal_35mm, "width": fit.size[0], "height": fit.size[1]},
        "lens": lens,
        "rms_px": fit.rms_px,
        "corners": fit.corners,
        "noise_factor": fit.noise_factor,
        "bend_sd_px": c.judgement.bend_sd_px,
        "page_aspect": {"value": fit.board_aspect[0], "sd": fit.board_aspect[1]},
        "coverage": {"cells": c.coverage.cells, "share": c.coverage.share(),
                     "tilted": c.coverage.sides()},
        "photos": photos,
        "left_out": left_out,
    })
    .to_string();
    text.push('\n');
    text
}
