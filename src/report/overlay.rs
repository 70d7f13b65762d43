//! Everything that is drawn over a picture of the sheet, as SVG elements.
//!
//! Sizes go by the picture's *unit*: 1/35 of its width, so that an important label is readable when
//! a phone shows the whole picture 400 points wide.

use std::fmt::Write;

use super::labels::{self, Disc, Label, Placed, Rect};
use super::signs::{self, Sign};
use super::unseen::{self, Patch};
use super::{Report, answers, words};
use crate::frame::{Point, Sheet};
use crate::plan::length;
use crate::verdict::{HoleResult, HoleState, names};

/// Size of quiet letters, units.
const QUIET: f64 = 0.68;
/// Steps along a ruled line or edge: the lens bends them by less than a stroke between two.
const STEPS: u32 = 24;
/// Longest hole name shown whole, em.
const NAME_EM: f64 = 9.0;
/// With more findings than this, labels would hide the sheet: they are thinned out.
const CROWD: usize = 20;
/// Unseen patches smaller than this, square units, are hatched and not labelled.
const PATCH_LABEL: f64 = 2.0;
/// Fonts: the embedded one, and for a browser others of like width.
pub(super) const FONTS: &str = "DejaVu Sans, Verdana, Geneva, sans-serif";

/// What is said where labels are thinned out.
pub(super) const CROWDED: &str = "Too much was found to name each sign here: see the list";

/// The picture that is drawn on.
pub(super) struct Canvas<'m> {
    /// Width, px.
    pub(super) width: f64,
    /// Height, px.
    pub(super) height: f64,
    /// Size of an important letter, px.
    pub(super) unit: f64,
    /// Where a place of the sheet is shown, px; x right, y down.
    pub(super) at: &'m dyn Fn(Point<Sheet>) -> Option<[f64; 2]>,
    /// Unsure ink has its short name, for the reader may answer by it.
    pub(super) asks: bool,
}

/// What was drawn.
#[derive(Default)]
pub(super) struct Overlay {
    /// SVG elements, without the `svg` element itself.
    pub(super) svg: String,
    /// The signs that occur and how often, the gravest first.
    pub(super) signs: Vec<(Sign, usize)>,
    /// Whether an unseen patch is hatched.
    pub(super) hatched: bool,
    /// Whether a ruled line is drawn.
    pub(super) ruled: bool,
    /// Important labels that found no room.
    pub(super) left_out: usize,
    /// There is too much to name each sign: runs are named by their ends, other marks by nothing.
    pub(super) crowded: bool,
    /// Holes that lie outside the picture, by their place in the plan.
    outside_holes: Vec<usize>,
    /// Other marks that do.
    outside_marks: Vec<String>,
}

impl Overlay {
    /// What lies outside the picture: "all holes but A5, extra mark at 3.2, 1.1"; `None` where nothing does.
    pub(super) fn outside(&self, r: &Report) -> Option<String> {
        let holes = (!self.outside_holes.is_empty()).then(|| names(r.plan, &self.outside_holes));
        let marks = self.outside_marks.iter().cloned();
        let all: Vec<String> = holes.into_iter().chain(marks).collect();
        (!all.is_empty()).then(|| all.join(", "))
    }
}

struct Item<'a> {
    sign: Sign,
    at: [f64; 2],
    r: f64,
    hole: Option<&'a HoleResult>,
    planned: Option<[f64; 2]>,
    name: String,
    /// Its place in the verdict's list.
    nth: usize,
}

/// Draws the report over `canvas`.
pub(super) fn overlay(r: &Report, canvas: &Canvas) -> Overlay {
    let mut out = Overlay::default();
    let patches = unseen::patches(r.seen, r.plan);
    hatch(&patches, canvas, &mut out);
    edges(r, canvas, &mut out);
    let soft = ruled(r, canvas, &mut out);
    let mut items = items(r, canvas, &mut out);
    size(&mut items, canvas.unit);
    out.signs = signs::ALL
        .into_iter()
        .map(|s| (s, items.iter().filter(|i| i.sign == s).count()))
        .filter(|&(_, n)| n > 0)
        .collect();
    let mut hard: Vec<Disc> = items.iter().map(|i| Disc { at: i.at, r: i.r }).collect();
    let arrows = arrows(&items, &mut hard);
    // Quiet signs below grave ones.
    items.sort_by_key(|i| std::cmp::Reverse(i.sign));
    for i in &items {
        out.svg.push_str(&i.sign.svg(i.at, i.r));
    }
    out.svg.push_str(&arrows);
    items.reverse();
    lettering(r, &items, &patches, &hard, &soft, canvas, &mut out);
    out
}

fn items<'a>(r: &'a Report, canvas: &Canvas, out: &mut Overlay) -> Vec<Item<'a>> {
    let mut items = Vec::new();
    let inside =
        |p: [f64; 2]| (0.0..=canvas.width).contains(&p[0]) && (0.0..=canvas.height).contains(&p[1]);
    for (nth, h) in r.verdict.holes.iter().enumerate() {
        let place = h.found.unwrap_or(h.planned);
        let name = labels::cut(&h.name, NAME_EM, true);
        match (canvas.at)(place).filter(|p| inside(*p)) {
            Some(at) => items.push(Item {
                sign: Sign::of_hole(h.state),
                at,
                r: 0.0,
                hole: Some(h),
                planned: (canvas.at)(h.planned),
                name,
                nth,
            }),
            None => out.outside_holes.push(nth),
        }
    }
    for ((nth, s), asked) in r.verdict.strays.iter().enumerate().zip(answers::names(r)) {
        let name = match asked.filter(|_| canvas.asks) {
            Some(asked) => format!("{asked} {}", words::stray_word(s)),
            None => words::stray_word(s).to_owned(),
        };
        match (canvas.at)(s.at).filter(|p| inside(*p)) {
            Some(at) => items.push(Item {
                sign: Sign::of_stray(s),
                at,
                r: 0.0,
                hole: None,
                planned: None,
                name,
                nth,
            }),
            None => {
                let place = words::measured_place(s.at, r.plan.units);
                out.outside_marks.push(format!("{name} at {place}"));
            }
        }
    }
    items
}

/// Signs as large as they should be, but not so large that neighbours run together.
fn size(items: &mut [Item], unit: f64) {
    let places: Vec<[f64; 2]> = items.iter().map(|i| i.at).collect();
    for (n, item) in items.iter_mut().enumerate() {
        let near = places
            .iter()
            .enumerate()
            .filter(|(m, _)| *m != n)
            .map(|(_, p)| (p[0] - item.at[0]).hypot(p[1] - item.at[1]))
            .fold(f64::INFINITY, f64::min);
        let full = item.sign.radius() * unit;
        let least = match item.sign {
            // The most dangerous mark stands out in any crowd.
            Sign::RingedStray => 0.7,
            s if s.quiet() => 0.15,
            _ => 0.3,
        } * unit;
        item.r = full.min((0.46 * near).max(least));
    }
}

/// For each mark that is off: the way to its planned place, true to scale where there is room for
/// an arrow, else outside the sign.
fn arrows(items: &[Item], hard: &mut Vec<Disc>) -> String {
    let mut svg = String::new();
    for i in items.iter().filter(|i| i.sign == Sign::Off) {
        let Some(to) = i.planned else { continue };
        let d = [to[0] - i.at[0], to[1] - i.at[1]];
        let long = d[0].hypot(d[1]);
        if long < 1e-9 {
            continue;
        }
        let along = |s: f64| [i.at[0] + d[0] / long * s, i.at[1] + d[1] / long * s];
        let (start, end) = if long > 2.0 * i.r {
            (0.0, long)
        } else {
            (1.05 * i.r, 2.25 * i.r)
        };
        let w = 0.25 * i.r;
        svg.push_str(&signs::arrow(along(start), along(end), w, i.sign.colour()));
        let mut s = start;
        while s < end + 0.2 * i.r {
            let r = 0.5 * i.r;
            hard.push(Disc { at: along(s), r });
            s += r;
        }
    }
    svg
}

/// What is written at each item where there is too much to name all: a run of neighbours in one state is
/// named once, at its middle, by its ends; of ink without a name and of many strays the sign says enough.
/// `None` where the item is named as usual, `Some` of no text where it is not named.
fn thinned(items: &[Item]) -> Vec<Option<String>> {
    /// Fewer strays are still named.
    const FEW: usize = 8;
    /// Runs of so many neighbours are named by their ends.
    const RUN: usize = 4;
    let strays = items.iter().filter(|i| i.sign == Sign::Stray).count();
    let mut texts: Vec<Option<String>> = items
        .iter()
        .map(|i| match i.sign {
            Sign::Unsure => Some(String::new()),
            Sign::Stray if strays > FEW => Some(String::new()),
            _ => None,
        })
        .collect();
    let mut order: Vec<usize> = (0..items.len())
        .filter(|&i| items[i].hole.is_some() && !items[i].sign.quiet())
        .collect();
    order.sort_by_key(|&i| items[i].nth);
    let follows = |a: &Item, b: &Item| {
        let row = |i: &Item| i.hole.and_then(|h| h.row.clone());
        a.nth + 1 == b.nth && a.sign == b.sign && row(a).is_some() && row(a) == row(b)
    };
    for run in order.chunk_by(|&a, &b| follows(&items[a], &items[b])) {
        if let [first, .., last] = run
            && run.len() >= RUN
        {
            let (first, last) = (&items[*first], &items[*last]);
            let word = first.hole.map_or("", words::hole_word);
            for &i in run {
                texts[i] = Some(String::new());
            }
            texts[run[run.len() / 2]] = Some(format!("{} to {} {word}", first.name, last.name));
        }
    }
    texts
}

fn label_of(r: &Report, i: &Item, unit: f64) -> Label {
    let word = i.hole.map_or("", words::hole_word);
    let texts = match (i.sign, i.hole) {
        (Sign::Good, _) => vec![i.name.clone()],
        (Sign::Off, Some(h)) => {
            let by = words::distance_mm(h).unwrap_or_default();
            let u = r.plan.units;
            vec![
                format!(
                    "{} out by {} {}",
                    i.name,
                    length::measured(by, u),
                    length::unit_sign(u)
                ),
                format!("{} out of place", i.name),
                i.name.clone(),
            ]
        }
        (_, Some(_)) => vec![format!("{} {word}", i.name), i.name.clone()],
        (Sign::RingedStray | Sign::Stray, None) => vec![i.name.to_uppercase()],
        (Sign::Unsure, None) => {
            let short = i.name.split(' ').next().unwrap_or_default();
            vec![format!("{}?", i.name), format!("{short}?"), "?".into()]
        }
        (_, None) => vec![i.name.clone()],
    };
    let quiet = i.sign.quiet();
    Label {
        at: i.at,
        clear: i.r,
        texts,
        size: match (quiet, i.sign) {
            (true, _) => QUIET * unit,
            (_, Sign::RingedStray) => 1.15 * unit,
            _ => unit,
        },
        bold: !quiet,
        rings: if quiet { 2 } else { 12 },
        insist: matches!(i.sign, Sign::RingedStray | Sign::Stray | Sign::Unsure),
    }
}

fn lettering(
    r: &Report,
    items: &[Item],
    patches: &[Patch],
    hard: &[Disc],
    soft: &[[f64; 2]],
    canvas: &Canvas,
    out: &mut Overlay,
) {
    let unit = canvas.unit;
    out.crowded = items.iter().filter(|i| !i.sign.quiet()).count() > CROWD;
    let texts = if out.crowded {
        thinned(items)
    } else {
        vec![None; items.len()]
    };
    let mut wanted: Vec<Label> = Vec::new();
    let mut colours: Vec<Option<Sign>> = Vec::new();
    for (i, text) in items.iter().zip(texts) {
        if text.as_ref().is_some_and(String::is_empty) {
            continue;
        }
        let mut label = label_of(r, i, unit);
        label.texts = text.map_or(label.texts, |t| vec![t]);
        wanted.push(label);
        colours.push((!i.sign.quiet()).then_some(i.sign));
    }
    let quiet = |at, text: &str, clear, rings| Label {
        at,
        clear,
        texts: vec![text.to_string()],
        size: QUIET * unit,
        bold: false,
        rings,
        insist: false,
    };
    for p in patches {
        let Some(at) = (canvas.at)(p.inside) else {
            continue;
        };
        if p.area_mm2 * px_per_mm(canvas, p.inside).powi(2) > PATCH_LABEL * unit * unit {
            wanted.push(quiet(at, "not visible", 0.0, 4));
            colours.push(None);
        }
    }
    let edge = 0.15 * unit;
    let bounds = Rect {
        x: edge,
        y: edge,
        w: canvas.width - 2.0 * edge,
        h: canvas.height - 2.0 * edge,
    };
    let placed = labels::place(&wanted, hard, soft, bounds);
    // Leaders first: no line runs over letters.
    for (p, sign) in placed.iter().zip(&colours) {
        if let Some([a, b]) = p.as_ref().and_then(|p| p.leader) {
            leader(a, b, unit, *sign, &mut out.svg);
        }
    }
    for ((p, sign), label) in placed.iter().zip(&colours).zip(&wanted) {
        match (p, sign) {
            (Some(p), Some(sign)) => boxed(p, label.size, *sign, &mut out.svg),
            (Some(p), None) => haloed(p, label.size, &mut out.svg),
            (None, Some(_)) => out.left_out += 1,
            (None, None) => {}
        }
    }
}

fn px_per_mm(canvas: &Canvas, at: Point<Sheet>) -> f64 {
    let a = (canvas.at)(at);
    let b = (canvas.at)(Point::new(at.x + 1.0, at.y));
    match (a, b) {
        (Some(a), Some(b)) => (a[0] - b[0]).hypot(a[1] - b[1]),
        _ => 0.0,
    }
}

// Writing to a string cannot fail, here and below: the results of `write!` are dropped.

fn leader(a: [f64; 2], b: [f64; 2], unit: f64, sign: Option<Sign>, svg: &mut String) {
    let colour = sign.map_or("#222", Sign::colour);
    let d = format!("M{:.1} {:.1}L{:.1} {:.1}", a[0], a[1], b[0], b[1]);
    let _ = write!(
        svg,
        "<path d=\"{d}\" stroke=\"#fff\" stroke-opacity=\".85\" stroke-width=\"{:.2}\"/>\
         <path d=\"{d}\" stroke=\"{colour}\" stroke-width=\"{:.2}\"/>",
        0.17 * unit,
        0.08 * unit
    );
}

fn boxed(p: &Placed, size: f64, sign: Sign, svg: &mut String) {
    let (fill, ink) = match sign {
        Sign::RingedStray => (sign.colour(), "#fff"),
        _ => ("#fff", "#111"),
    };
    let Rect { x, y, w, h } = p.rect;
    let line = 0.1 * size;
    let _ = write!(
        svg,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" rx=\"{:.1}\" \
         fill=\"{fill}\" fill-opacity=\".94\" stroke=\"{}\" stroke-width=\"{line:.2}\"/>",
        x + line / 2.0,
        y + line / 2.0,
        w - line,
        h - line,
        0.25 * size,
        sign.colour()
    );
    letters(&p.text, [x + w / 2.0, y + 0.72 * h], size, ink, true, svg);
}

fn haloed(p: &Placed, size: f64, svg: &mut String) {
    let Rect { x, y, w, h } = p.rect;
    let _ = write!(
        svg,
        "<g paint-order=\"stroke\" stroke=\"#fff\" stroke-opacity=\".9\" stroke-width=\"{:.2}\" \
         stroke-linejoin=\"round\">",
        0.28 * size
    );
    letters(
        &p.text,
        [x + w / 2.0, y + 0.72 * h],
        size,
        "#111",
        false,
        svg,
    );
    svg.push_str("</g>");
}

/// Centred letters on a baseline.
fn letters(text: &str, at: [f64; 2], size: f64, ink: &str, bold: bool, svg: &mut String) {
    let weight = if bold { "bold" } else { "normal" };
    let _ = write!(
        svg,
        "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-family=\"{FONTS}\" \
         font-size=\"{size:.1}\" font-weight=\"{weight}\" fill=\"{ink}\">{}</text>",
        at[0],
        at[1],
        words::escape(text)
    );
}

/// The pattern that unseen patches are filled with; to be put before everything else.
pub(super) fn hatch_pattern(unit: f64) -> String {
    let s = 0.5 * unit;
    format!(
        "<defs><pattern id=\"unseen\" width=\"{s:.2}\" height=\"{s:.2}\" \
         patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\">\
         <rect width=\"{s:.2}\" height=\"{s:.2}\" fill=\"#fff\" fill-opacity=\".3\"/>\
         <rect width=\"{:.2}\" height=\"{s:.2}\" fill=\"#222\" fill-opacity=\".75\"/>\
         </pattern></defs>",
        0.28 * s
    )
}

fn hatch(patches: &[Patch], canvas: &Canvas, out: &mut Overlay) {
    let mut d = String::new();
    for l in patches.iter().flat_map(|p| &p.loops) {
        let mut points = Vec::new();
        for (i, a) in l.iter().enumerate() {
            let b = l[(i + 1) % l.len()];
            points.extend(polyline([*a, b], canvas).into_iter().skip(1));
        }
        path(&points, true, &mut d);
    }
    if d.is_empty() {
        return;
    }
    out.hatched = true;
    let _ = write!(
        out.svg,
        "<path d=\"{d}\" fill=\"url(#unseen)\" fill-rule=\"evenodd\" stroke=\"#222\" \
         stroke-width=\"{:.2}\" stroke-linejoin=\"round\"/>",
        0.06 * canvas.unit
    );
}

fn edges(r: &Report, canvas: &Canvas, out: &mut Overlay) {
    for e in &r.outline.edges {
        let mut d = String::new();
        path(&polyline(e.ends, canvas), false, &mut d);
        let w = 0.06 * canvas.unit;
        let _ = write!(
            out.svg,
            "<path d=\"{d}\" fill=\"none\" stroke=\"#fff\" stroke-width=\"{w:.2}\"/>\
             <path d=\"{d}\" fill=\"none\" stroke=\"#222\" stroke-width=\"{w:.2}\" \
             stroke-dasharray=\"{:.2} {:.2}\"/>",
            5.0 * w,
            5.0 * w
        );
    }
}

/// Draws the ruled lines and gives points along them, which labels avoid where they can.
fn ruled(r: &Report, canvas: &Canvas, out: &mut Overlay) -> Vec<[f64; 2]> {
    let mut soft = Vec::new();
    for l in r.lines {
        let points = polyline(l.ends, canvas);
        let mut d = String::new();
        path(&points, false, &mut d);
        let w = 0.07 * canvas.unit;
        let _ = write!(
            out.svg,
            "<path d=\"{d}\" fill=\"none\" stroke=\"#fff\" stroke-opacity=\".6\" \
             stroke-width=\"{:.2}\"/><path d=\"{d}\" fill=\"none\" stroke=\"#56b4e9\" \
             stroke-opacity=\".9\" stroke-width=\"{w:.2}\"/>",
            2.0 * w
        );
        out.ruled = true;
        // Denser than the line is drawn, so that no label slips between two points.
        for pair in points.windows(2) {
            let part = |k: f64, i: usize| pair[0][i] + (pair[1][i] - pair[0][i]) * k;
            soft.extend([0.0, 0.25, 0.5, 0.75].map(|k| [part(k, 0), part(k, 1)]));
        }
    }
    soft
}

/// A straight line on the sheet as the picture shows it.
fn polyline(ends: [Point<Sheet>; 2], canvas: &Canvas) -> Vec<[f64; 2]> {
    (0..=STEPS)
        .filter_map(|i| {
            let t = f64::from(i) / f64::from(STEPS);
            (canvas.at)(ends[0] + (ends[1] - ends[0]) * t)
        })
        .collect()
}

fn path(points: &[[f64; 2]], closed: bool, d: &mut String) {
    for (i, p) in points.iter().enumerate() {
        let letter = if i == 0 { 'M' } else { 'L' };
        let _ = write!(d, "{letter}{:.1} {:.1}", p[0], p[1]);
    }
    if closed && !points.is_empty() {
        d.push('Z');
    }
}

/// Whether a hole's state calls for a look.
pub(super) fn worth_a_look(h: &HoleResult) -> bool {
    h.state != HoleState::Good
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hole(row: &str, n: usize, state: HoleState) -> HoleResult {
        HoleResult {
            name: format!("{row}{n}"),
            row: Some(row.into()),
            planned: Point::new(0.0, 0.0),
            found: None,
            uncertainty_mm: None,
            state,
            unclear: false,
            ringed: false,
            kind: None,
            probability: None,
        }
    }

    #[test]
    fn runs_are_named_once_and_the_rest_by_their_signs() {
        use HoleState::{Close, Good, Off};
        let states = [Close, Close, Close, Close, Close, Good, Off, Close, Close];
        let mut holes: Vec<HoleResult> = states
            .iter()
            .enumerate()
            .map(|(i, s)| hole("A", i + 1, *s))
            .collect();
        // A row of its own, so that no run crosses from row to row.
        holes.extend((1..=2).map(|n| hole("B", n, Close)));
        let item = |sign, hole, name: &str, nth| Item {
            sign,
            at: [0.0; 2],
            r: 0.0,
            hole,
            planned: None,
            name: name.into(),
            nth,
        };
        let mut items: Vec<Item> = holes
            .iter()
            .enumerate()
            .map(|(i, h)| item(Sign::of_hole(h.state), Some(h), &h.name, i))
            .collect();
        items.push(item(Sign::Unsure, None, "unsure", 0));
        items.push(item(Sign::Stray, None, "stray", 1));
        items.push(item(Sign::RingedStray, None, "ringed stray", 2));
        // As they come to be lettered: by gravity, not by place.
        items.reverse();
        let mut texts = thinned(&items);
        texts.reverse();
        let none = Some(String::new());
        let run = Some("A1 to A5 too close to call".to_string());
        let mut want = vec![
            none.clone(),
            none.clone(),
            none.clone(),
            none.clone(),
            none.clone(),
        ];
        want[2] = run;
        want.extend(vec![None; 6]);
        want.extend([none, None, None]);
        assert_eq!(texts, want);
    }
}
