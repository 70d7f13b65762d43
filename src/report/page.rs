//! One self-contained page: nothing is fetched, and it reads without scripts and on paper.

use std::borrow::Cow;
use std::fmt::Write;

use image::RgbImage;

use super::flat::{self, Window};
use super::gather::{Copy, Load, gather};
use super::overlay::{self, Canvas, Overlay};
use super::signs::{self, Sign};
use super::words::{self, escape};
use super::{
    CAUTION, PixelFromSheet, Report, ReportError, answers, decide_form, diameters, found, look,
};
use crate::frame::Point;
use crate::plan::{Units, length};
use crate::verdict::{HoleResult, StrayState};

/// Longest side of the flat view, px: sharp when zoomed, and under a megabyte.
const LONG_SIDE_PX: f64 = 1800.0;
/// Surroundings shown beside the sheet: at least this, mm, and this share of its long side.
const MARGIN_MM: f64 = 4.0;
const MARGIN_SHARE: f64 = 0.025;
/// A strip is shown with more of its surroundings, so that labels find room beside it: the short
/// side is at least this share of the long one.
const LEAST_SHAPE: f64 = 0.3;
/// Letters are this part of the view's width on a phone, and on a wide screen or paper.
const PER_WIDTH_NARROW: f64 = 36.0;
const PER_WIDTH_WIDE: f64 = 55.0;
/// A tall view is shown narrower than the page: its height counts for this much of a width.
const TALL: f64 = 0.75;
/// Quality of the flat view's JPEG.
const QUALITY: u8 = 80;

/// The page, with the flat view made from the upright colour `photo` through `map`.
///
/// # Errors
/// [`ReportError::EmptyPhoto`]; [`ReportError::Draw`] when a picture cannot be encoded.
pub fn html(r: &Report, photo: &RgbImage, map: PixelFromSheet) -> Result<String, ReportError> {
    html_of(r, &[map], &mut |_| Ok(Cow::Borrowed(photo)))
}

/// The page of several photos, with the map of each, in the order of [`Report::photos`]. They are loaded one after
/// another.
///
/// # Errors
/// As [`html`], and those of `load`.
pub fn html_of<E: From<ReportError>>(
    r: &Report,
    maps: &[PixelFromSheet],
    load: Load<'_, '_, E>,
) -> Result<String, E> {
    let window = window(r);
    let gathered = gather(r, maps, window, load)?;
    let mut h = String::with_capacity(1 << 20);
    head(r, &mut h);
    h.push_str("<main>");
    list("Why", &r.verdict.reasons, |x| &x.text, &mut h);
    list("For the next photo", r.advice, |a| &a.text, &mut h);
    bench(r, &mut h);
    for n in &r.notes {
        let _ = write!(h, "<p class=\"note\">{}</p>", escape(n));
    }
    if let Some(flat) = &gathered.flat {
        let picture = flat::data_uri(flat, QUALITY)?;
        view(r, window, &picture, &mut h);
        look::look(&gathered.crops, gathered.crops_left_out, &mut h);
        decide_form::form(r, &mut h);
        look::decided(r, &mut h);
        holes(r, window, &mut h);
        strays(r, window, &mut h);
        rows(r, &mut h);
    }
    as_taken(r, &gathered.copies, maps, &mut h);
    quality(r, &mut h);
    let _ = write!(
        h,
        "</main><footer><p>{CAUTION}</p></footer><script>{}</script></body></html>",
        include_str!("page.js")
    );
    h.push('\n');
    Ok(h)
}

// Writing to a string cannot fail: the results of `write!` are dropped throughout.

fn head(r: &Report, h: &mut String) {
    let d = r.verdict.decision;
    let word = words::decision_word(d);
    let title = escape(&r.plan.title);
    let _ = write!(
        h,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; \
         style-src 'unsafe-inline'; script-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <title>{word}: {title}</title><style>{}</style></head><body>\
         <header style=\"background:{}\"><h1 class=\"verdict\">\
         <svg viewBox=\"0 0 100 100\" aria-hidden=\"true\">{}</svg>{word}</h1>\
         <p class=\"piece\">{title}</p><p>{}.</p>",
        include_str!("page.css"),
        signs::ground(d),
        signs::badge(d, [50.0, 50.0], 48.0),
        words::hole_counts(r)
    );
    if let Some(s) = words::stray_counts(r) {
        let _ = write!(h, "<p>Other marks: {s}.</p>");
    }
    if let Some(said) = crate::decide::honour::said(r.person) {
        let _ = write!(h, "<p><strong>This {}.</strong></p>", escape(&said.text));
    }
    h.push_str("</header>");
}

fn list<T>(title: &str, entries: &[T], text: impl Fn(&T) -> &str, h: &mut String) {
    if entries.is_empty() {
        return;
    }
    let _ = write!(h, "<section><h2>{title}</h2><ul>");
    for e in entries {
        let _ = write!(h, "<li>{}</li>", escape(text(e)));
    }
    h.push_str("</ul></section>");
}

fn bench(r: &Report, h: &mut String) {
    if r.verdict.bench.is_empty() {
        return;
    }
    h.push_str("<section><h2>At the bench</h2><ol class=\"bench\">");
    for b in &r.verdict.bench {
        let _ = write!(
            h,
            "<li><label><input type=\"checkbox\"><span>{}</span></label></li>",
            escape(b)
        );
    }
    h.push_str("</ol></section>");
}

/// The sheet with its surroundings.
fn window(r: &Report) -> Window {
    // A plan of no size is refused long before; here it must only not break the picture.
    let (w, t) = (r.plan.width_mm.max(1.0), r.plan.height_mm.max(1.0));
    let margin = MARGIN_MM.max(MARGIN_SHARE * w.max(t));
    let long = w.max(t) + 2.0 * margin;
    let add = |side: f64| margin.max((LEAST_SHAPE * long - side) / 2.0);
    let (mx, my) = (add(w), add(t));
    Window {
        low: Point::new(-mx, -my),
        high: Point::new(w + mx, t + my),
        px_per_mm: LONG_SIDE_PX / long,
    }
}

/// The photos themselves, where there are several, or where there is no flat view to show: then the cards read in
/// them and what was taken for the sheet tell more of what went wrong than tables of holes that were not judged.
fn as_taken(r: &Report, copies: &[Copy], maps: &[PixelFromSheet], h: &mut String) {
    let measured = r.survey.fit.is_some();
    for (i, copy) in copies.iter().enumerate() {
        let [w, t] = copy.size;
        let (width, height) = (f64::from(w), f64::from(t));
        let photo = r.photos.get(i);
        let left_out = photo.and_then(|p| p.left_out.as_deref());
        let title = match photo {
            Some(p) if copies.len() > 1 => {
                format!("Photo {} of {}: {}", i + 1, copies.len(), escape(&p.name))
            }
            _ => "The photo as it was read".to_owned(),
        };
        let section = if measured || i > 0 {
            String::new()
        } else {
            " id=\"sheet\"".to_owned()
        };
        let _ = write!(h, "<section{section}><h2>{title}</h2>");
        if let Some(why) = left_out {
            let _ = write!(h, "<p class=\"note\">{}</p>", escape(why));
        }
        let _ = write!(
            h,
            "<figure><div class=\"view\" \
             style=\"--shape:{:.4}\"><div class=\"pan\"><img src=\"{}\" width=\"{w}\" height=\"{t}\" \
             alt=\"The photo, with {} in it.\">",
            width / height,
            copy.uri,
            if measured {
                "what was found"
            } else {
                "the scale cards that were read"
            }
        );
        for (class, per) in [("wide", PER_WIDTH_WIDE), ("narrow", PER_WIDTH_NARROW)] {
            let unit = width.max(TALL * height) / per;
            let at = |p| {
                let p = maps[i](p)?;
                (p.x.is_finite() && p.y.is_finite())
                    .then_some([p.x * copy.scale[0], p.y * copy.scale[1]])
            };
            let drawn = if measured && left_out.is_none() {
                overlay::overlay(
                    r,
                    &Canvas {
                        width,
                        height,
                        unit,
                        at: &at,
                        asks: true,
                    },
                )
            } else {
                found::overlay(r, i, copy.scale, unit)
            };
            let _ = write!(
                h,
                "<svg class=\"{class}\" viewBox=\"0 0 {w} {t}\" aria-hidden=\"true\">{}</svg>",
                drawn.svg
            );
        }
        h.push_str("</div></div></figure></section>");
    }
}

fn view(r: &Report, window: Window, picture: &str, h: &mut String) {
    let (w, t) = window.size();
    let (width, height) = (f64::from(w), f64::from(t));
    let at = |p| Some(window.at(p));
    let draw = |per: f64| {
        let canvas = Canvas {
            width,
            height,
            unit: width.max(TALL * height) / per,
            at: &at,
            asks: true,
        };
        overlay::overlay(r, &canvas)
    };
    let (wide, narrow) = (draw(PER_WIDTH_WIDE), draw(PER_WIDTH_NARROW));
    let _ = write!(
        h,
        "<section id=\"sheet\"><h2>The sheet from straight above</h2><figure>\
         <svg width=\"0\" height=\"0\" style=\"position:absolute\" aria-hidden=\"true\">{}</svg>\
         <div class=\"view\" id=\"view\" tabindex=\"0\" role=\"group\" \
         aria-label=\"Flat view of the sheet; plus, minus and arrow keys zoom and move\" \
         style=\"--shape:{:.4}\"><div class=\"pan\" id=\"pan\">\
         <img src=\"{picture}\" width=\"{w}\" height=\"{t}\" \
         alt=\"The sheet from the photo, flattened, origin at the lower left. {}. The tables below \
         list every hole and mark.\">",
        overlay::hatch_pattern(width / 50.0),
        width / height,
        escape(&words::hole_counts(r))
    );
    for (class, o) in [("wide", &wide), ("narrow", &narrow)] {
        let _ = write!(
            h,
            "<svg class=\"{class}\" viewBox=\"0 0 {w} {t}\" aria-hidden=\"true\">{}</svg>",
            o.svg
        );
    }
    h.push_str(
        "</div></div><div class=\"tools\"><button id=\"closer\" type=\"button\" \
         aria-label=\"Zoom in\">+</button><button id=\"farther\" type=\"button\" \
         aria-label=\"Zoom out\">&minus;</button><button id=\"whole\" type=\"button\">Whole \
         sheet</button></div><figcaption>",
    );
    legend(r, &wide, h);
    h.push_str("</figcaption></figure></section>");
}

fn legend(r: &Report, o: &Overlay, h: &mut String) {
    h.push_str("<ul class=\"legend\">");
    for (s, n) in &o.signs {
        let _ = write!(h, "<li>{}{n} &times; {}</li>", icon(*s), s.legend());
    }
    if o.hatched {
        h.push_str(
            "<li><svg class=\"sign\" viewBox=\"0 0 22 22\" aria-hidden=\"true\"><path d=\"M1 1h20v20h-20\
             ZM1 15L15 1M7 21L21 7\" fill=\"none\" stroke=\"#222\" stroke-width=\"2\"/></svg>sheet \
             not visible</li>",
        );
    }
    if o.ruled {
        h.push_str(
            "<li><svg class=\"sign\" viewBox=\"0 0 22 22\" aria-hidden=\"true\"><path d=\"M1 11h20\" \
             stroke=\"#56b4e9\" stroke-width=\"3\"/></svg>ruled line found</li>",
        );
    }
    h.push_str("</ul>");
    if let Some(names) = o.outside(r) {
        let _ = write!(h, "<p>Not in this picture: {}.</p>", escape(&names));
    }
    if o.crowded {
        let _ = write!(h, "<p>{}.</p>", overlay::CROWDED);
    } else if o.left_out > 0 {
        let n = words::count(o.left_out, "label", "labels");
        let _ = write!(h, "<p>{n} left out for want of room: see the tables.</p>");
    }
}

pub(super) fn icon(s: Sign) -> String {
    format!(
        "<svg class=\"sign\" viewBox=\"0 0 22 22\" aria-hidden=\"true\">{}</svg>",
        s.icon([11.0, 11.5], 10.0)
    )
}

/// A measured length in the plan's unit, with millimetres below where that is inches.
fn cell(mm: Option<f64>, u: Units, show: fn(f64, Units) -> String) -> String {
    let Some(mm) = mm else {
        return "<td>&ndash;</td>".into();
    };
    match u {
        Units::Millimetre => format!("<td>{}</td>", show(mm, u)),
        Units::Inch => format!(
            "<td>{} <small>{} mm</small></td>",
            show(mm, u),
            show(mm, Units::Millimetre)
        ),
    }
}

/// Opens a section with a table: captioned for readers who hear it, explained for those who see it.
fn table(name: &str, lengths: &str, head: &[&str], h: &mut String) {
    // Many narrow columns: two lines a cell, so that they fit on paper.
    let class = if head.len() > 8 {
        " class=\"figures\""
    } else {
        ""
    };
    let _ = write!(
        h,
        "<section><h2>{name}</h2><p class=\"soft\">{lengths}</p><div class=\"wide-table\" \
         tabindex=\"0\" role=\"region\" aria-label=\"{name}\"><table{class}>\
         <caption>{name}. {lengths}</caption><thead><tr>"
    );
    for c in head {
        let _ = write!(h, "<th scope=\"col\">{c}</th>");
    }
    h.push_str("</tr></thead><tbody>");
}

/// A link that shows a place in the flat view.
fn link(text: &str, p: Point<crate::frame::Sheet>, window: Window) -> String {
    let (w, t) = window.size();
    let [x, y] = window.at(p);
    format!(
        "<a href=\"#sheet\" data-at=\"{:.4},{:.4}\">{}</a>",
        x / f64::from(w),
        y / f64::from(t),
        escape(text)
    )
}

fn holes(r: &Report, window: Window, h: &mut String) {
    let u = r.plan.units;
    let lengths = format!(
        "Lengths in {}; tolerance {} round each planned centre; U is the expanded uncertainty (k = \
         2). How sure: of the marks that are 90 % sure about nine in ten are marks.",
        length::unit_name(u),
        words::planned_both(r.plan.tolerance_mm, u)
    );
    let head = [
        "Hole",
        "State",
        "Planned x, y",
        "Out by",
        "U",
        "Which way",
        "Mark",
    ];
    table("Holes", &lengths, &head, h);
    for x in &r.verdict.holes {
        hole(r, x, window, h);
    }
    h.push_str("</tbody></table></div></section>");
}

fn hole(r: &Report, x: &HoleResult, window: Window, h: &mut String) {
    let u = r.plan.units;
    let sign = Sign::of_hole(x.state);
    let class = match sign {
        Sign::Good => "",
        Sign::Close | Sign::Unseen => " class=\"doubt\"",
        _ => " class=\"bad\"",
    };
    let mut mark = x
        .kind
        .map_or("&ndash;".to_string(), |k| words::kind_word(k).into());
    if x.ringed {
        mark.push_str(", ringed");
    }
    mark += &x
        .probability
        .filter(|_| x.kind.is_some())
        .map_or_else(String::new, percent);
    let _ = write!(
        h,
        "<tr{class}><th scope=\"row\">{}</th><td>{}{}</td><td>{}</td>{}{}<td>{}</td><td>{mark}</td>\
         </tr>",
        link(&x.name, x.found.unwrap_or(x.planned), window),
        icon(sign),
        words::hole_word(x),
        words::planned_place(x.planned, u),
        cell(words::distance_mm(x), u, length::measured),
        cell(x.found.and(x.uncertainty_mm), u, length::uncertainty),
        words::which_way(x, u).unwrap_or_else(|| "&ndash;".into())
    );
}

/// How surely ink is a mark; never 100 %.
fn percent(sure: f64) -> String {
    let percent = (100.0 * sure).floor().min(99.0);
    format!(" <small>{percent:.0} % sure</small>")
}

fn strays(r: &Report, window: Window, h: &mut String) {
    if r.verdict.strays.is_empty() {
        return;
    }
    let u = r.plan.units;
    let lengths = format!(
        "Lengths in {}, from the lower left corner.",
        length::unit_name(u)
    );
    let head = ["At x, y", "What", "Size", "U", "Meaning"];
    table("Other marks", &lengths, &head, h);
    for (s, name) in r.verdict.strays.iter().zip(answers::names(r)) {
        let class = match s.state {
            StrayState::Stray => " class=\"bad\"",
            StrayState::Unsure => " class=\"doubt\"",
            StrayState::Cancelled => "",
        };
        let _ = write!(
            h,
            "<tr{class}><th scope=\"row\">{}</th><td>{}{}</td>{}{}<td class=\"words\">{}</td></tr>",
            link(&words::measured_place(s.at, u), s.at, window),
            icon(Sign::of_stray(s)),
            name.map_or_else(String::new, |n| format!("{} ", escape(&n)))
                + words::stray_word(s)
                + &s.probability.map_or_else(String::new, percent),
            cell(Some(s.size_mm), u, length::measured),
            cell(Some(s.uncertainty_mm), u, length::uncertainty),
            escape(words::stray_meaning(s))
        );
    }
    h.push_str("</tbody></table></div></section>");
}

fn rows(r: &Report, h: &mut String) {
    if r.verdict.rows.is_empty() {
        return;
    }
    let u = r.plan.units;
    let lengths = format!("Lengths in {}.", length::unit_name(u));
    let head = [
        "Row",
        "Edge distance planned",
        "at its start",
        "at its end",
        "U",
        "Angle to edge",
        "Pitch least",
        "mean",
        "most",
        "Bow",
    ];
    table("Rows as marked", &lengths, &head, h);
    for x in &r.verdict.rows {
        let plan = r.plan.rows.iter().find(|p| p.name == x.row);
        let edge = |i: usize| cell(x.edge_distance_mm.map(|d| d[i]), u, length::measured);
        let pitch = |i: usize| cell(x.pitch_mm.map(|d| d[i]), u, length::measured);
        let _ = write!(
            h,
            "<tr><th scope=\"row\">{}</th>{}{}{}{}<td>{}</td>{}{}{}{}</tr>",
            escape(&x.row),
            cell(plan.map(|p| p.edge_distance_mm), u, length::planned),
            edge(0),
            edge(1),
            cell(x.uncertainty_mm, u, length::uncertainty),
            x.angle_deg
                .map_or("&ndash;".into(), |a| format!("{a:.2}&deg;")),
            pitch(0),
            pitch(1),
            pitch(2),
            cell(x.straightness_mm, u, length::measured)
        );
    }
    h.push_str("</tbody></table></div></section>");
    let Some(in_d) = diameters::of(r) else { return };
    let head = [
        "Row",
        "Edge distance at its start",
        "at its end",
        "U",
        "Pitch least",
        "mean",
        "most",
        "U",
    ];
    table(
        "Rows as marked, in rivet diameters",
        &format!("{}.", in_d.of),
        &head,
        h,
    );
    for (name, cells) in in_d.rows {
        let _ = write!(h, "<tr><th scope=\"row\">{}</th>", escape(&name));
        for cell in cells {
            let _ = write!(h, "<td>{cell}</td>");
        }
        h.push_str("</tr>");
    }
    h.push_str("</tbody></table></div></section>");
}

fn quality(r: &Report, h: &mut String) {
    let (s, u) = (&r.survey, r.plan.units);
    let title = if s.fit.is_some() {
        "How well it was measured"
    } else {
        "What was found in the photo"
    };
    let _ = write!(h, "<section><h2>{title}</h2><dl>");
    let mut entry = |term: &str, text: String| {
        let _ = write!(h, "<dt>{term}</dt><dd>{}</dd>", escape(&text));
    };
    if let Some(f) = &s.fit {
        entry(
            "Visible",
            format!(
                "{} of the sheet; the plan asks for {}",
                words::percent(r.seen.fraction()),
                words::percent(r.plan.seen_fraction)
            ),
        );
        entry(
            "Fit",
            format!("{:.2} px RMS; {:.3} mm per pixel", f.rms_px, f.mm_per_px),
        );
        entry("Lens", words::lens_phrase(f.lens).into());
        entry(
            "Print scale",
            format!(
                "{:.4} across, {:.4} down (U {:.2} %)",
                f.scale[0],
                f.scale[1],
                200.0 * f.scale_u
            ),
        );
    }
    for c in &s.cards {
        let mut text = format!("{} corners", c.saddles);
        if let Some(rms) = c.rms_px {
            let _ = write!(text, ", {rms:.2} px RMS");
        }
        if !c.used && s.fit.is_some() {
            text.push_str(", not used");
        }
        if let Some(note) = &c.note {
            let _ = write!(text, ": {note}");
        }
        entry(&format!("Card {}", c.number), text);
    }
    if s.cards.is_empty() {
        entry("Scale cards", "none".into());
    }
    for x in &s.left_out {
        entry("Left out", x.clone());
    }
    let size = |x: Option<[f64; 2]>| {
        x.map(|[mm, unc]| format!("{}, U {}", words::both(mm, u), words::both(2.0 * unc, u)))
    };
    if let Some(t) = size(r.outline.width_mm) {
        let plan = words::planned_both(r.plan.width_mm, u);
        entry("Sheet width", format!("{t}; planned {plan}"));
    }
    if let Some(t) = size(r.outline.height_mm) {
        let plan = words::planned_both(r.plan.height_mm, u);
        entry("Sheet height", format!("{t}; planned {plan}"));
    }
    for p in &r.photos {
        let camera = p.camera.as_deref().unwrap_or("camera unknown");
        entry(
            "Photo",
            format!("{}, {} x {} px, {camera}", p.file, p.width, p.height),
        );
    }
    h.push_str("</dl></section>");
}
