//! The photo with every hole, stray, ruled line and unseen patch drawn on it.

use std::fmt::Write;

use image::{GenericImage, RgbImage, imageops};

use super::labels::{self, text_width};
use super::overlay::{self, Canvas, FONTS, Overlay};
use super::{CAUTION, PixelFromSheet, Report, ReportError, found, raster, signs, words};
use crate::decide::honour;

/// More pixels than this are scaled down: a phone's usual photo, and all that a reader can use.
const MAX_PIXELS: f64 = 12.0e6;
/// Important letters are this part of the picture's width: about 11 points where it is shown 400
/// points wide, as on a phone.
const LETTERS_PER_WIDTH: f64 = 35.0;

/// Draws the report on the upright `photo`, the only one or the first.
///
/// # Errors
/// As [`draw_on`].
pub fn draw(r: &Report, photo: &RgbImage, map: PixelFromSheet) -> Result<RgbImage, ReportError> {
    draw_on(r, 0, photo, map)
}

/// Draws the report on the upright `photo`, which is number `which` of [`Report::photos`].
///
/// `map` gives photo pixels ([`crate::frame::Pixel`]) for places on the sheet. The result is the
/// photo, scaled down to about 12 million pixels where it is larger, between a banner with the
/// verdict and a legend.
///
/// # Errors
/// [`ReportError::EmptyPhoto`]; [`ReportError::Draw`] when the renderer fails: a photo without its
/// signs must not be taken for one without faults.
pub fn draw_on(
    r: &Report,
    which: usize,
    photo: &RgbImage,
    map: PixelFromSheet,
) -> Result<RgbImage, ReportError> {
    let (w, h) = photo.dimensions();
    if w == 0 || h == 0 {
        return Err(ReportError::EmptyPhoto);
    }
    let shrink = (MAX_PIXELS / (f64::from(w) * f64::from(h))).sqrt().min(1.0);
    let size = |x: u32| ((f64::from(x) * shrink).round() as u32).max(1);
    let (width, height) = (size(w), size(h));
    let scale = [
        f64::from(width) / f64::from(w),
        f64::from(height) / f64::from(h),
    ];
    let unit = f64::from(width) / LETTERS_PER_WIDTH;
    let drawn = drawn_over(r, which, [width, height].map(f64::from), scale, map);
    let (banner, banner_rows) = banner(r, which, width.into(), unit);
    let (legend, legend_rows) = legend(r, &drawn, width.into(), unit);
    let rows = banner_rows + height + legend_rows;
    let fail = |why: String| ReportError::Draw {
        width,
        height: rows,
        why,
    };

    let mut picture = RgbImage::new(width, rows);
    let copied = if (width, height) == (w, h) {
        picture.copy_from(photo, 0, banner_rows)
    } else {
        let small = imageops::thumbnail(photo, width, height);
        picture.copy_from(&small, 0, banner_rows)
    };
    copied.map_err(|e| fail(e.to_string()))?;
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{rows}\">{}\
         <g transform=\"translate(0 {banner_rows})\">{}</g>{banner}\
         <g transform=\"translate(0 {})\">{legend}</g></svg>",
        overlay::hatch_pattern(unit),
        drawn.svg,
        banner_rows + height
    );
    raster::draw_over(&mut picture, &svg).map_err(fail)?;
    Ok(picture)
}

/// The signs alone, as SVG of the size of photo number `which`, px, for a viewer that lays them over the photo itself.
#[must_use]
pub fn signs_svg(r: &Report, which: usize, map: PixelFromSheet) -> String {
    let (width, height) = r.photos.get(which).map_or((0, 0), |p| (p.width, p.height));
    let drawn = drawn_over(r, which, [width, height].map(f64::from), [1.0; 2], map);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\">{}{}</svg>",
        overlay::hatch_pattern(f64::from(width) / LETTERS_PER_WIDTH),
        drawn.svg
    )
}

/// What is drawn over a photo that is shown `size` px large, `scale` px a pixel of the photo.
fn drawn_over(
    r: &Report,
    which: usize,
    [width, height]: [f64; 2],
    scale: [f64; 2],
    map: PixelFromSheet,
) -> Overlay {
    let unit = width / LETTERS_PER_WIDTH;
    let at = |p| {
        let p = map(p)?;
        (p.x.is_finite() && p.y.is_finite()).then_some([p.x * scale[0], p.y * scale[1]])
    };
    let canvas = Canvas {
        width,
        height,
        unit,
        at: &at,
        asks: true,
    };
    let left_out = r.photos.get(which).and_then(|p| p.left_out.as_ref());
    if r.survey.fit.is_some() && left_out.is_none() {
        overlay::overlay(r, &canvas)
    } else {
        found::overlay(r, which, scale, unit)
    }
}

/// The verdict in large letters, the title, and the counts. SVG and height in px.
fn banner(r: &Report, which: usize, width: f64, unit: f64) -> (String, u32) {
    let d = r.verdict.decision;
    let mut svg = String::new();
    let side = 0.8 * unit;
    let big = 2.1 * unit;
    let mut y = 0.7 * unit;
    let badge = signs::badge(d, [side + 1.15 * unit, y + 1.15 * unit], 1.15 * unit);
    let indent = side + 2.9 * unit;
    text(
        words::decision_word(d),
        [indent, y + 0.9 * big],
        big,
        true,
        "#fff",
        &mut svg,
    );
    y += 1.35 * big;
    let mut paragraph = |content: &str, size: f64, bold: bool| {
        for line in labels::wrap(content, (width - 2.0 * side) / size, bold) {
            let line = labels::cut(&line, (width - 2.0 * side) / size, bold);
            text(&line, [side, y + size], size, bold, "#fff", &mut svg);
            y += 1.35 * size;
        }
    };
    paragraph(&words::plain(&r.plan.title), unit, true);
    paragraph(&words::counts(r), 0.85 * unit, false);
    // Nor may it be sent without saying what it rests on.
    if let Some(said) = honour::said(r.person) {
        let text = format!("This {}.", said.text);
        paragraph(&words::plain(&text), 0.85 * unit, true);
    }
    if let (true, Some(photo)) = (r.photos.len() > 1, r.photos.get(which)) {
        let name = words::plain(&photo.name);
        let text = format!("photo {} of {}: {name}", which + 1, r.photos.len());
        paragraph(&text, 0.85 * unit, false);
        if let Some(why) = &photo.left_out {
            paragraph(&words::plain(why), 0.85 * unit, false);
        }
    }
    // A picture is sent without its page: where it shows no findings it says why.
    if r.survey.fit.is_none()
        && let Some(cause) = r.verdict.reasons.first()
    {
        paragraph(&words::plain(&cause.text), 0.85 * unit, false);
    }
    let rows = (y + 0.5 * unit).ceil();
    let ground = format!(
        "<rect width=\"{width}\" height=\"{rows}\" fill=\"{}\"/>{badge}{svg}",
        signs::ground(d)
    );
    (ground, rows as u32)
}

/// What the signs mean, what could not be drawn, and the caution. SVG and height in px.
fn legend(r: &Report, drawn: &Overlay, width: f64, unit: f64) -> (String, u32) {
    let mut svg = String::new();
    let (side, size) = (0.8 * unit, 0.72 * unit);
    let ink = "#111";
    let (mut x, mut y) = (side, 1.0 * unit);
    let empty = drawn.signs.is_empty() && !drawn.hatched && !drawn.ruled;
    let mut entry = |icon: &dyn Fn([f64; 2]) -> String, word: &str| {
        let long = 1.5 * unit + text_width(word, false) * size + 0.9 * unit;
        if x > side && x + long > width {
            (x, y) = (side, y + 1.5 * unit);
        }
        svg.push_str(&icon([x + 0.55 * unit, y]));
        text(
            word,
            [x + 1.4 * unit, y + 0.36 * size],
            size,
            false,
            ink,
            &mut svg,
        );
        x += long;
    };
    for (s, n) in &drawn.signs {
        entry(
            &|at| s.icon(at, 0.55 * unit),
            &format!("{n} × {}", s.legend()),
        );
    }
    let swatch = |at: [f64; 2], paint: String| {
        format!(
            "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" {paint}/>",
            at[0] - 0.5 * unit,
            at[1] - 0.35 * unit,
            unit,
            0.7 * unit
        )
    };
    if drawn.hatched {
        entry(
            &|at| swatch(at, "fill=\"url(#unseen)\" stroke=\"#222\"".into()),
            "sheet not visible",
        );
    }
    if drawn.ruled {
        entry(
            &|at| {
                format!(
                    "<path d=\"M{:.1} {:.1}h{:.1}\" stroke=\"#56b4e9\" stroke-width=\"{:.1}\"/>",
                    at[0] - 0.5 * unit,
                    at[1],
                    unit,
                    0.12 * unit
                )
            },
            "ruled line found",
        );
    }
    y += if empty { -0.6 } else { 1.1 } * unit;
    let mut paragraph = |content: &str, bold: bool| {
        for line in labels::wrap(content, (width - 2.0 * side) / size, bold) {
            let line = labels::cut(&line, (width - 2.0 * side) / size, bold);
            text(&line, [side, y + size], size, bold, ink, &mut svg);
            y += 1.35 * size;
        }
        y += 0.3 * size;
    };
    if let Some(names) = drawn.outside(r) {
        paragraph(
            &format!("Not in this picture: {}", words::plain(&names)),
            true,
        );
    }
    if drawn.crowded {
        paragraph(overlay::CROWDED, true);
    } else if drawn.left_out > 0 {
        let n = words::count(drawn.left_out, "label", "labels");
        paragraph(
            &format!("{n} left out for want of room: see the list"),
            true,
        );
    }
    paragraph(CAUTION, false);
    let rows = (y + 0.4 * unit).ceil();
    (
        format!("<rect width=\"{width}\" height=\"{rows}\" fill=\"#fff\"/>{svg}"),
        rows as u32,
    )
}

fn text(content: &str, at: [f64; 2], size: f64, bold: bool, ink: &str, svg: &mut String) {
    let weight = if bold { "bold" } else { "normal" };
    // Writing to a string cannot fail.
    let _ = write!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" font-family=\"{FONTS}\" font-size=\"{size:.1}\" \
         font-weight=\"{weight}\" fill=\"{ink}\">{}</text>",
        at[0],
        at[1],
        words::escape(content)
    );
}
