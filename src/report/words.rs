//! Words for states, counts, and text made safe to show.

use super::{LensSource, Report};
use crate::frame::{Point, Sheet};
use crate::ink::{Doubt, MarkKind};
use crate::plan::Units;
use crate::plan::length::{measured, planned, show_fine};
use crate::verdict::{Decision, HoleResult, HoleState, Stray, StrayState};

/// Every hole state, the gravest first: the order of tables, counts and legends.
pub const HOLE_STATES: [HoleState; 7] = [
    HoleState::Off,
    HoleState::Missing,
    HoleState::Cancelled,
    HoleState::Double,
    HoleState::Close,
    HoleState::Unseen,
    HoleState::Good,
];

/// The decision as programs read it.
#[must_use]
pub fn decision_code(d: Decision) -> &'static str {
    match d {
        Decision::Ready => "ready",
        Decision::NotReady => "not-ready",
        Decision::CannotTell => "cannot-tell",
    }
}

/// The decision as people read it.
#[must_use]
pub fn decision_word(d: Decision) -> &'static str {
    match d {
        Decision::Ready => "READY",
        Decision::NotReady => "NOT READY",
        Decision::CannotTell => "CANNOT TELL",
    }
}

/// A hole's state as programs read it.
#[must_use]
pub fn hole_code(s: HoleState) -> &'static str {
    match s {
        HoleState::Good => "good",
        HoleState::Off => "off",
        HoleState::Close => "close",
        HoleState::Missing => "missing",
        HoleState::Cancelled => "cancelled",
        HoleState::Double => "double",
        HoleState::Unseen => "unseen",
    }
}

/// What a hole is to people.
#[must_use]
pub fn hole_word(h: &HoleResult) -> &'static str {
    state_word(h.state, h.unclear)
}

fn state_word(s: HoleState, unclear: bool) -> &'static str {
    match s {
        HoleState::Good => "good",
        HoleState::Off => "out of place",
        HoleState::Close => "too close to call",
        HoleState::Missing => "missing",
        HoleState::Cancelled => "crossed out",
        HoleState::Double => "double",
        HoleState::Unseen if unclear => "unclear",
        HoleState::Unseen => "not visible",
    }
}

/// What a hole's state means.
#[must_use]
pub fn hole_meaning(h: &HoleResult) -> &'static str {
    match h.state {
        HoleState::Good => "within tolerance",
        HoleState::Off => "beyond tolerance",
        HoleState::Close => "within measuring error of the limit: measure it with a steel rule",
        HoleState::Missing => "the place is visible, and no mark is there",
        HoleState::Cancelled => "its mark is crossed out",
        HoleState::Double => "two marks for one hole",
        HoleState::Unseen if h.unclear => "there is ink at its place that may be its mark or not",
        HoleState::Unseen => "the photo does not show that place",
    }
}

/// A stray's state as programs read it.
#[must_use]
pub fn stray_code(s: StrayState) -> &'static str {
    match s {
        StrayState::Stray => "stray",
        StrayState::Cancelled => "cancelled",
        StrayState::Unsure => "unsure",
    }
}

/// What a stray is to people.
#[must_use]
pub fn stray_word(s: &Stray) -> &'static str {
    match (s.state, s.ringed) {
        (StrayState::Stray, true) => "ringed extra mark",
        (StrayState::Stray, false) => "extra mark",
        (StrayState::Cancelled, _) => "crossed out",
        (StrayState::Unsure, true) => "unclear mark, ringed",
        (StrayState::Unsure, false) => "unclear mark",
    }
}

/// What a stray means.
#[must_use]
pub fn stray_meaning(s: &Stray) -> &'static str {
    match (s.state, s.ringed) {
        (StrayState::Stray, true) => "no hole is planned here: it will be drilled",
        (StrayState::Stray, false) => "no hole is planned here: it may be drilled",
        (StrayState::Cancelled, _) => "an extra mark, crossed out: harmless",
        (StrayState::Unsure, _) => s.why.map_or("ink that may be a mark or not", Doubt::text),
    }
}

/// A mark's kind.
#[must_use]
pub fn kind_word(k: MarkKind) -> &'static str {
    match k {
        MarkKind::Dot => "dot",
        MarkKind::Tick => "tick",
        MarkKind::Cross => "cross",
        MarkKind::Dimple => "dimple",
        MarkKind::Hole => "hole",
        MarkKind::Answered => "answered",
    }
}

/// The lens source as programs read it.
#[must_use]
pub fn lens_code(l: LensSource) -> &'static str {
    match l {
        LensSource::Profile => "profile",
        LensSource::Exif => "exif",
        LensSource::None => "none",
    }
}

/// The lens source as people read it.
#[must_use]
pub fn lens_phrase(l: LensSource) -> &'static str {
    match l {
        LensSource::Profile => "lens from a camera profile",
        LensSource::Exif => "lens from the photo's EXIF focal length",
        LensSource::None => "lens from the photo alone",
    }
}

/// `n` and a noun, with its plural where `n` is not 1.
#[must_use]
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// "14 holes planned: 1 out of place, 1 missing, 12 good".
#[must_use]
pub fn hole_counts(r: &Report) -> String {
    let parts: Vec<String> = HOLE_STATES
        .into_iter()
        .flat_map(|s| [(s, false), (s, true)])
        .filter_map(|(s, unclear)| {
            let of = |h: &&HoleResult| h.state == s && h.unclear == unclear;
            let n = r.verdict.holes.iter().filter(of).count();
            (n > 0).then(|| format!("{n} {}", state_word(s, unclear)))
        })
        .collect();
    let planned = count(r.verdict.holes.len(), "hole", "holes");
    if r.survey.fit.is_none() {
        format!("{planned} planned; nothing could be measured")
    } else if parts.is_empty() {
        format!("{planned} planned")
    } else {
        format!("{planned} planned: {}", parts.join(", "))
    }
}

/// "1 ringed extra mark, 2 extra marks, 1 unclear mark, 1 crossed out"; `None` without any.
#[must_use]
pub fn stray_counts(r: &Report) -> Option<String> {
    let n = |state, ringed: Option<bool>| {
        r.verdict
            .strays
            .iter()
            .filter(|s| s.state == state && ringed.is_none_or(|v| s.ringed == v))
            .count()
    };
    let parts: Vec<String> = [
        (
            n(StrayState::Stray, Some(true)),
            "ringed extra mark",
            "ringed extra marks",
        ),
        (
            n(StrayState::Stray, Some(false)),
            "extra mark",
            "extra marks",
        ),
        (n(StrayState::Unsure, None), "unclear mark", "unclear marks"),
        (n(StrayState::Cancelled, None), "crossed out", "crossed out"),
    ]
    .into_iter()
    .filter(|&(n, ..)| n > 0)
    .map(|(n, one, many)| count(n, one, many))
    .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// [`hole_counts`] and, where there are any, [`stray_counts`].
#[must_use]
pub fn counts(r: &Report) -> String {
    let holes = hole_counts(r);
    match stray_counts(r) {
        Some(strays) => format!("{holes}; other marks: {strays}"),
        None => holes,
    }
}

/// A share in percent, rounded *down* to a tenth: 100.0 only where nothing is lacking.
#[must_use]
pub fn percent(share: f64) -> String {
    // 1e-9: 0.993 * 1000 is not 992.999 because of binary rounding.
    format!("{:.1} %", (share * 1000.0 + 1e-9).floor() / 10.0)
}

/// `text` on one line, without characters that could steer a terminal or turn the reading direction:
/// titles, hole names and file names come from files that anyone may have made.
#[must_use]
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\r' | '\t' => ' ',
            '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}'
            | '\u{feff}'
            | '\u{fffe}'
            | '\u{ffff}' => '?',
            c if c.is_control() => '?',
            c => c,
        })
        .collect()
}

/// [`plain`] and with the five characters escaped that mean something to HTML and SVG.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in plain(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

/// A measured length in the plan's unit, with its sign, and in millimetres too where that is inches.
pub(crate) fn both(mm: f64, units: Units) -> String {
    show_fine(mm, units)
}

/// A planned length with its sign, and in millimetres too where the plan is in inches.
pub(super) fn planned_both(mm: f64, units: Units) -> String {
    match units {
        Units::Inch => format!(
            "{} in ({} mm)",
            planned(mm, units),
            measured(mm, Units::Millimetre)
        ),
        Units::Millimetre => format!("{} mm", planned(mm, units)),
    }
}

/// A place without signs: "11/16, 5/16".
pub(super) fn planned_place(at: Point<Sheet>, units: Units) -> String {
    format!("{}, {}", planned(at.x, units), planned(at.y, units))
}

/// A measured place without signs.
pub(crate) fn measured_place(at: Point<Sheet>, units: Units) -> String {
    format!("{}, {}", measured(at.x, units), measured(at.y, units))
}

/// How far the mark is from its plan, mm; `None` without a mark.
pub(super) fn distance_mm(hole: &HoleResult) -> Option<f64> {
    hole.found.map(|f| f.distance(hole.planned))
}

/// Which way the mark is off, as the plan draws the sheet: "0.055 right, 0.004 up".
pub(super) fn which_way(hole: &HoleResult, units: Units) -> Option<String> {
    let offset = hole.found? - hole.planned;
    let part = |mm: f64, plus: &str, minus: &str| {
        let text = measured(mm.abs(), units);
        let zero = text.bytes().all(|b| b == b'0' || b == b'.');
        (!zero).then(|| format!("{text} {}", if mm > 0.0 { plus } else { minus }))
    };
    let parts: Vec<String> = [
        part(offset.x, "right", "left"),
        part(offset.y, "up", "down"),
    ]
    .into_iter()
    .flatten()
    .collect();
    Some(if parts.is_empty() {
        "on the spot".into()
    } else {
        parts.join(", ")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lacking_share_never_reads_as_all() {
        assert_eq!(percent(1.0), "100.0 %");
        assert_eq!(percent(0.99999), "99.9 %");
        assert_eq!(percent(0.993), "99.3 %");
    }

    #[test]
    fn text_from_files_cannot_steer() {
        assert_eq!(plain("a\u{1b}[31mb\u{202e}c\nd"), "a?[31mb?c d");
        assert_eq!(
            escape("<b a='1'>&\"\u{7}"),
            "&lt;b a=&#39;1&#39;&gt;&amp;&quot;?"
        );
    }
}
