//! True size: the piece over as many pages as it takes, with marks that align them and bars that show
//! whether the printer has kept the size.

use std::fmt;
use std::fmt::Write as _;

use super::tiles::{At, Tiles};
use super::{FAINT, View, cross, line, piece, text};
use crate::card::layout;
use crate::card::print::{PAGE_BAR_MM, Paper, bar_path};
use crate::draw::{self, num};
use crate::frame::Point;
use crate::plan::Plan;

/// Most pages of one template.
pub const MOST_PAGES: usize = 200;
/// Room at the left for the bar down, and at the other sides for what a printer cannot reach, mm.
pub(super) const LEFT_MM: f64 = 22.0;
pub(super) const RIGHT_MM: f64 = 10.0;
pub(super) const TOP_MM: f64 = 34.0;
pub(super) const BOTTOM_MM: f64 = 14.0;
/// Room round the piece, mm.
pub(super) const ROUND_MM: f64 = 6.0;
/// Half the length of a hole's cross, mm: longer than any rivet's radius, so that it shows when punched.
const CROSS_MM: f64 = 4.0;
/// Distance between alignment crosses along a joint, mm.
const ALIGN_EVERY_MM: f64 = 60.0;

/// Why there is no template.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TemplateError {
    /// The piece would take too many pages.
    TooManyPages {
        /// Pages it would take.
        pages: usize,
    },
}

impl fmt::Display for TemplateError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooManyPages { pages } => write!(
                f,
                "the template would take {pages} pages; expected at most {MOST_PAGES}; write it as one SVG and have it plotted"
            ),
        }
    }
}
impl std::error::Error for TemplateError {}

/// The whole piece, true to size, as one SVG document, for a plotter: below it the bars that show whether the plotter has
/// kept the size, and what to do with them.
#[must_use]
pub fn template_svg(plan: &Plan) -> String {
    /// Room for the bars and the notes below the piece, mm.
    const BELOW_MM: f64 = 132.0;
    /// As wide as the notes are, mm.
    const NOTES_MM: f64 = 175.0;
    let view = View {
        scale: 1.0,
        origin: [ROUND_MM, ROUND_MM + plan.height_mm],
    };
    let mut body = contents(plan, &view);
    let below = plan.height_mm + 2.0 * ROUND_MM;
    bars(&mut body, [ROUND_MM + 8.0, below + 8.0]);
    notes(
        &mut body,
        [ROUND_MM + 14.0, below + 14.0],
        &[SIZE_NOTE, USE_NOTE],
    );
    draw::page(
        plan.width_mm.max(NOTES_MM) + 2.0 * ROUND_MM,
        below + BELOW_MM,
        &body,
    )
}

const SIZE_NOTE: &str = "Print at 100 % (actual size), never fit to page. Lay a steel rule on both 100 mm bars: if either differs, do not use this print.";
const JOIN_NOTE: &str = "Lay pages over each other so that the round marks of a joint meet; then check the width and height of the piece with a steel rule.";
const USE_NOTE: &str = "It guides the hand; a rule from the edge decides. The aircraft's own drawing and approved data rule.";

fn notes(out: &mut String, [left, top]: [f64; 2], lines: &[&str]) {
    for (i, note) in lines.iter().enumerate() {
        text(out, [left, top + 3.2 * i as f64], 2.2, ("start", 0.0), note);
    }
}

/// The piece, true to size, as pages of `paper`: by columns from the left, each from the bottom up.
///
/// # Errors
/// [`TemplateError::TooManyPages`].
pub fn template(plan: &Plan, paper: Paper) -> Result<Vec<String>, TemplateError> {
    let mut tiles = Tiles::of(plan, paper);
    // The whole grid counts: with more than this no map of it helps to lay them out.
    if tiles.all() > MOST_PAGES {
        return Err(TemplateError::TooManyPages { pages: tiles.all() });
    }
    tiles.choose(plan);
    let pages = tiles.printed.iter().enumerate();
    Ok(pages
        .map(|(i, at)| page(plan, &tiles, *at, i + 1))
        .collect())
}

fn contents(plan: &Plan, view: &View) -> String {
    let mut out = piece(plan, view, CROSS_MM);
    for hole in plan.holes.iter().chain(&plan.drilled) {
        let [x, y] = view.at(hole.at);
        text(
            &mut out,
            [x + 1.4, y - 1.4],
            2.2,
            ("start", 0.0),
            &hole.name,
        );
    }
    out
}

fn page(plan: &Plan, tiles: &Tiles, at: At, number: usize) -> String {
    let ([width, height], window) = (tiles.size, tiles.window);
    let low = tiles.low(at);
    let bottom = height - BOTTOM_MM;
    let view = View {
        scale: 1.0,
        origin: [LEFT_MM - low[0], bottom + low[1]],
    };
    let mut out = String::new();
    let window_rect = format!(
        "x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"",
        num(LEFT_MM),
        num(TOP_MM),
        num(window[0]),
        num(window[1])
    );
    let _ = writeln!(
        out,
        "<clipPath id=\"w\"><rect {window_rect}/></clipPath><g clip-path=\"url(#w)\">{}</g>\n\
         <rect {window_rect} {FAINT}/>",
        contents(plan, &view)
    );
    joints(&view, tiles, at, &mut out);
    bars(&mut out, [LEFT_MM, TOP_MM]);
    tiles.map(at, &mut out);
    let title = format!("{}: true-size template", plan.title);
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"9\" font-size=\"3.6\" font-weight=\"700\">{}</text>",
        num(LEFT_MM),
        draw::escape(&title)
    );
    let place = format!(
        "page {number} of {}: column {} of {} from the left, row {} of {} from the bottom",
        tiles.printed.len(),
        at[0] + 1,
        tiles.count[0],
        at[1] + 1,
        tiles.count[1]
    );
    text(&mut out, [LEFT_MM, 14.0], 2.6, ("start", 0.0), &place);
    notes(&mut out, [LEFT_MM, 18.2], &[SIZE_NOTE, JOIN_NOTE, USE_NOTE]);
    draw::page(width, height, &out)
}

/// Where the pages meet: the same lines and crosses on both, each at one place of the sheet.
fn joints(view: &View, tiles: &Tiles, at: At, out: &mut String) {
    let low = tiles.low(at);
    let high = [low[0] + tiles.window[0], low[1] + tiles.window[1]];
    for (axis, before) in at.into_iter().enumerate() {
        let other = 1 - axis;
        for joint in [before, before + 1] {
            if joint == 0 || joint == tiles.count[axis] {
                continue;
            }
            let s = tiles.joint(axis, joint);
            let point = |along: f64| {
                let p = if axis == 0 { [s, along] } else { [along, s] };
                view.at(Point::new(p[0], p[1]))
            };
            line(out, point(low[other]), point(high[other]), FAINT);
            // Counted from the sheet's corner, so that both pages have them at the same places.
            let first = (low[other] / ALIGN_EVERY_MM).ceil() as i64;
            let last = (high[other] / ALIGN_EVERY_MM).floor() as i64;
            for k in first..=last {
                let [x, y] = point(k as f64 * ALIGN_EVERY_MM);
                cross(
                    out,
                    [x, y],
                    3.0,
                    "fill=\"none\" stroke=\"#000\" stroke-width=\"0.2\"",
                );
                let _ = writeln!(
                    out,
                    "<circle cx=\"{}\" cy=\"{}\" r=\"2\" fill=\"none\" stroke=\"#000\" stroke-width=\"0.2\"/>",
                    num(x),
                    num(y)
                );
            }
        }
    }
}

/// The bars across and down, above and to the left of what begins at this corner.
fn bars(out: &mut String, [left, top]: [f64; 2]) {
    let across = bar_path(
        &layout::bar(0.0, 0.0, PAGE_BAR_MM, true),
        left + PAGE_BAR_MM / 2.0,
        top - 4.5,
    );
    let down = bar_path(
        &layout::bar(0.0, 0.0, PAGE_BAR_MM, false),
        left - 7.0,
        top + PAGE_BAR_MM / 2.0,
    );
    let _ = writeln!(out, "<path d=\"{across}{down}\"/>");
    text(
        out,
        [left + PAGE_BAR_MM + 3.0, top - 3.7],
        2.4,
        ("start", 0.0),
        "100 mm across",
    );
    text(
        out,
        [left - 6.1, top + PAGE_BAR_MM + 3.0],
        2.4,
        ("end", -90.0),
        "100 mm down",
    );
}
