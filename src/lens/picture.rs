//! The picture of a calibration: where the photos saw corners and by how much each misses the fit, and from
//! which sides the page was seen.

use std::fmt::Write as _;

use super::Calibrated;
use super::coverage::{CELLS, COVERED, SIDES, TILTED_DEG};
use super::report::plus_minus;
use crate::draw::{self, DrawError, escape, num};

/// Pixels per mm of the drawing.
const PX_PER_MM: f64 = 7.0;
const WIDTH: f64 = 238.0;
const HEIGHT: f64 = 149.0;
/// Room of the picture's frame: left, top, width, height, mm.
const FRAME: [f64; 4] = [6.0, 22.0, 144.0, 108.0];
/// Middle of the tilts' rings and radius for [`TILT_RIM_DEG`], mm.
const RINGS: [f64; 3] = [194.0, 58.0, 28.0];
const TILT_RIM_DEG: f64 = 60.0;
/// Length of the RMS misfit as drawn, mm.
const RMS_MM: f64 = 1.2;
/// A misfit is drawn no longer than this, mm.
const LONGEST_MM: f64 = 6.0;

/// Palette that stays apart for colour-blind eyes; covered or not also differs by hatching and words.
const SEEN: &str = "#0b4f8a";
const COVERED_FILL: &str = "#e4eef7";
const LACKING: &str = "#c4560a";

/// Draws it as a PNG file's bytes.
///
/// # Errors
/// [`DrawError`] when it cannot be rendered.
pub fn png(c: &Calibrated) -> Result<Vec<u8>, DrawError> {
    draw::png(&svg(c), PX_PER_MM)
}

/// Draws it as SVG.
#[must_use]
pub fn svg(c: &Calibrated) -> String {
    let mut body = String::new();
    let verdict = if c.judgement.good_enough() {
        "good enough"
    } else {
        "not enough yet"
    };
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(
        body,
        "<text x=\"6\" y=\"9\" font-size=\"5\" font-weight=\"700\">Lens of {}: {verdict}</text>\
         <text x=\"6\" y=\"15.5\" font-size=\"3.4\">{} photos, {} corners, misfit {:.3} px RMS; f {} px</text>",
        escape(&c.camera_name()),
        c.fit.photos.len(),
        c.fit.corners,
        c.fit.rms_px,
        plus_minus(c.fit.lens.f_px, c.fit.lens.f_px * c.fit.sd()[0])
    );
    frame(&mut body, c);
    rings(&mut body, c);
    list(&mut body, c);
    if let Some(next) = &c.judgement.next {
        for (i, line) in broken(&format!("Next: {next}."), 118).iter().enumerate() {
            let _ = writeln!(
                body,
                "<text x=\"6\" y=\"{}\" font-size=\"3.2\" font-weight=\"700\" fill=\"{LACKING}\">{}</text>",
                num(141.0 + 4.2 * i as f64),
                escape(line)
            );
        }
    }
    draw::page(WIDTH, HEIGHT, &body)
}

fn frame(body: &mut String, c: &Calibrated) {
    let [left, top, width, height] = FRAME;
    let [w, h] = c.fit.size.map(f64::from);
    let mm_per_px = (width / w).min(height / h);
    let (fw, fh) = (w * mm_per_px, h * mm_per_px);
    let _ = writeln!(
        body,
        "<defs><pattern id=\"bare\" width=\"3\" height=\"3\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
         <rect width=\"3\" height=\"3\" fill=\"#fff\"/><rect width=\"0.7\" height=\"3\" fill=\"{LACKING}\" fill-opacity=\"0.6\"/></pattern></defs>"
    );
    for (r, row) in c.coverage.cells.iter().enumerate() {
        for (k, n) in row.iter().enumerate() {
            let fill = if *n >= COVERED {
                COVERED_FILL
            } else {
                "url(#bare)"
            };
            let (cw, ch) = (fw / CELLS as f64, fh / CELLS as f64);
            let (x, y) = (left + cw * k as f64, top + ch * r as f64);
            let _ = writeln!(
                body,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{fill}\" stroke=\"#fff\" stroke-width=\"0.4\"/>\
                 <text x=\"{}\" y=\"{}\" font-size=\"2.4\" fill=\"#555\">{n}</text>",
                num(x),
                num(y),
                num(cw),
                num(ch),
                num(x + 1.0),
                num(y + 3.2)
            );
        }
    }
    let rms = c.fit.rms_px.max(1e-9);
    let (mut dots, mut ticks, mut off) = (String::new(), String::new(), String::new());
    for (at, miss, counts) in c.fit.photos.iter().flat_map(|p| &p.corners) {
        let (x, y) = (left + at.x * mm_per_px, top + at.y * mm_per_px);
        if !counts {
            let _ = write!(
                off,
                "M{} {}l1.6 1.6m0 -1.6l-1.6 1.6",
                num(x - 0.8),
                num(y - 0.8)
            );
            continue;
        }
        let mut d = *miss * (RMS_MM / rms);
        if d.norm() > LONGEST_MM {
            d *= LONGEST_MM / d.norm();
        }
        let _ = write!(ticks, "M{x:.3} {y:.3}l{:.3} {:.3}", d.x, d.y);
        let _ = write!(dots, "M{x:.3} {y:.3}h0");
    }
    let _ = writeln!(
        body,
        "<path d=\"{dots}\" stroke=\"{SEEN}\" stroke-width=\"0.5\" stroke-linecap=\"round\" fill=\"none\"/>\
         <path d=\"{ticks}\" stroke=\"{SEEN}\" stroke-width=\"0.15\" stroke-opacity=\"0.75\" fill=\"none\"/>\
         <path d=\"{off}\" stroke=\"{LACKING}\" stroke-width=\"0.25\" fill=\"none\"/>\
         <rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#222\" stroke-width=\"0.4\"/>\
         <text x=\"{}\" y=\"{}\" font-size=\"2.8\">The picture as it is stored: where corners were seen (their number in each cell; hatched: too few).</text>",
        num(left),
        num(top),
        num(fw),
        num(fh),
        num(left),
        num(top - 1.5)
    );
    let _ = writeln!(
        body,
        "<path d=\"M{x} {y}h{l}\" stroke=\"{SEEN}\" stroke-width=\"0.5\"/><text x=\"{}\" y=\"{}\" font-size=\"2.8\">{:.2} px: a stroke from each corner shows how far it misses the fit</text>",
        num(left + RMS_MM * 2.0 + 1.5),
        num(top + fh + 4.0),
        2.0 * rms,
        x = num(left),
        y = num(top + fh + 3.2),
        l = num(RMS_MM * 2.0)
    );
}

fn rings(body: &mut String, c: &Calibrated) {
    let [x, y, radius] = RINGS;
    let _ = writeln!(
        body,
        "<text x=\"{}\" y=\"{}\" font-size=\"2.8\" text-anchor=\"middle\">Tilt of the page: further away towards ...</text>",
        num(x),
        num(y - radius - 8.5)
    );
    for deg in [15.0, 30.0, 45.0, TILT_RIM_DEG] {
        let r = radius * deg / TILT_RIM_DEG;
        let _ = writeln!(
            body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"none\" stroke=\"#999\" stroke-width=\"0.2\"/>\
             <text x=\"{}\" y=\"{}\" font-size=\"2.2\" fill=\"#555\">{deg}°</text>",
            num(x),
            num(y),
            num(r),
            num(x + 0.5),
            num(y - r + 2.4)
        );
    }
    let _ = writeln!(
        body,
        "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"none\" stroke=\"#222\" stroke-width=\"0.3\" stroke-dasharray=\"1 1\"/>",
        num(x),
        num(y),
        num(radius * TILTED_DEG / TILT_RIM_DEG)
    );
    let places = [
        (x + radius + 1.5, y + 1.0, "start"),
        (x, y + radius + 4.0, "middle"),
        (x - radius - 1.5, y + 1.0, "end"),
        (x, y - radius - 2.0, "middle"),
    ];
    for (k, ((px, py, anchor), n)) in places.into_iter().zip(c.coverage.sides()).enumerate() {
        let (fill, weight) = if n == 0 {
            (LACKING, 700)
        } else {
            ("#222", 400)
        };
        let _ = writeln!(
            body,
            "<text x=\"{}\" y=\"{}\" font-size=\"2.8\" text-anchor=\"{anchor}\" fill=\"{fill}\" font-weight=\"{weight}\">{}: {n}</text>",
            num(px),
            num(py),
            SIDES[k]
        );
    }
    for (i, t) in c.coverage.tilts.iter().enumerate() {
        let r = radius * t.angle_deg.min(TILT_RIM_DEG) / TILT_RIM_DEG;
        let (s, co) = t.towards_deg.to_radians().sin_cos();
        let (px, py) = (x + r * co, y + r * s);
        let _ = writeln!(
            body,
            "<circle cx=\"{}\" cy=\"{}\" r=\"1.9\" fill=\"{SEEN}\"/><text x=\"{}\" y=\"{}\" font-size=\"2.4\" fill=\"#fff\" text-anchor=\"middle\">{}</text>",
            num(px),
            num(py),
            num(px),
            num(py + 0.85),
            i + 1
        );
    }
}

/// Photos by number, as many as there is room for.
fn list(body: &mut String, c: &Calibrated) {
    const ROWS: usize = 10;
    let all = c.fit.photos.len();
    for (i, p) in c.fit.photos.iter().take(2 * ROWS).enumerate() {
        let file = std::path::Path::new(&c.names[p.index])
            .file_name()
            .map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let shown: String = if file.chars().count() > 16 {
            file.chars().take(15).chain(['…']).collect()
        } else {
            file
        };
        let (column, row) = (i / ROWS, i % ROWS);
        let _ = writeln!(
            body,
            "<text x=\"{}\" y=\"{}\" font-size=\"2.5\">{} {} {:.2} px</text>",
            num(156.0 + 38.0 * column as f64),
            num(102.0 + 3.5 * row as f64),
            i + 1,
            escape(&shown),
            p.rms_px
        );
    }
    if all > 2 * ROWS {
        let _ = writeln!(
            body,
            "<text x=\"156\" y=\"{}\" font-size=\"2.5\">and {} more</text>",
            num(102.0 + 3.5 * ROWS as f64),
            all - 2 * ROWS
        );
    }
}

/// Text in lines of about `columns` letters.
fn broken(text: &str, columns: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let full = lines.last().is_some_and(|l| {
            !l.is_empty() && l.chars().count() + 1 + word.chars().count() > columns
        });
        if full {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}
