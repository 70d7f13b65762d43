//! True size: the piece over as many pages as it takes, with marks that align them and bars that show
//! whether the printer has kept the size.

use std::fmt;
use std::fmt::Write as _;

use super::{FAINT, View, cross, line, piece, text};
use crate::card::layout;
use crate::card::print::{PAGE_BAR_MM, Paper, bar_path};
use crate::draw::{self, num};
use crate::frame::Point;
use crate::plan::Plan;

/// Most pages of one template.
pub const MOST_PAGES: usize = 200;
/// Room at the left for the bar down, and at the other sides for what a printer cannot reach, mm.
const LEFT_MM: f64 = 22.0;
const RIGHT_MM: f64 = 10.0;
const TOP_MM: f64 = 34.0;
const BOTTOM_MM: f64 = 14.0;
/// Neighbouring pages show this much of each other, mm; the joint runs through its middle.
const OVERLAP_MM: f64 = 12.0;
/// Room round the piece, mm.
const ROUND_MM: f64 = 6.0;
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

/// The whole piece, true to size, as one SVG document, for a plotter.
#[must_use]
pub fn template_svg(plan: &Plan) -> String {
    let view = View {
        scale: 1.0,
        origin: [ROUND_MM, ROUND_MM + plan.height_mm],
    };
    let body = contents(plan, &view);
    draw::page(
        plan.width_mm + 2.0 * ROUND_MM,
        plan.height_mm + 2.0 * ROUND_MM,
        &body,
    )
}

/// The piece, true to size, as pages of `paper`: by columns from the left, each from the bottom up.
///
/// # Errors
/// [`TemplateError::TooManyPages`].
pub fn template(plan: &Plan, paper: Paper) -> Result<Vec<String>, TemplateError> {
    let [short, long] = paper.size_mm();
    let count = |size: [f64; 2]| {
        let window = [size[0] - LEFT_MM - RIGHT_MM, size[1] - TOP_MM - BOTTOM_MM];
        let tiles = |piece: f64, window: f64| {
            let beyond = (piece + 2.0 * ROUND_MM - window).max(0.0);
            1 + (beyond / (window - OVERLAP_MM)).ceil() as usize
        };
        (
            [
                tiles(plan.width_mm, window[0]),
                tiles(plan.height_mm, window[1]),
            ],
            window,
        )
    };
    // Whichever way of the paper takes fewer pages.
    let pages = |tiles: [usize; 2]| tiles[0] * tiles[1];
    let (upright, on_side) = (count([short, long]), count([long, short]));
    let (size, (tiles, window)) = if pages(on_side.0) < pages(upright.0) {
        ([long, short], on_side)
    } else {
        ([short, long], upright)
    };
    if pages(tiles) > MOST_PAGES {
        return Err(TemplateError::TooManyPages {
            pages: pages(tiles),
        });
    }
    let mut svgs = Vec::new();
    for column in 0..tiles[0] {
        for row in 0..tiles[1] {
            svgs.push(page(plan, size, window, [column, row], tiles));
        }
    }
    Ok(svgs)
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

fn page(
    plan: &Plan,
    [width, height]: [f64; 2],
    window: [f64; 2],
    [column, row]: [usize; 2],
    tiles: [usize; 2],
) -> String {
    let step = window.map(|w| w - OVERLAP_MM);
    // Lower left corner of this page's window, in the sheet's mm.
    let low = [
        step[0] * column as f64 - ROUND_MM,
        step[1] * row as f64 - ROUND_MM,
    ];
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
    joints(&view, window, low, [column, row], tiles, &mut out);
    bars(&mut out);
    let title = format!("{}: true-size template", plan.title);
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"9\" font-size=\"3.6\" font-weight=\"700\">{}</text>",
        num(LEFT_MM),
        draw::escape(&title)
    );
    let place = format!(
        "column {} of {} from the left, row {} of {} from the bottom",
        column + 1,
        tiles[0],
        row + 1,
        tiles[1]
    );
    text(&mut out, [LEFT_MM, 14.0], 2.6, ("start", 0.0), &place);
    for (i, note) in [
        "Print at 100 % (actual size), never fit to page. Lay a steel rule on both 100 mm bars: if either differs, do not use this print.",
        "Lay pages over each other so that the round marks of a joint meet; then check the piece's width and height by rule.",
        "It guides the hand; a rule from the edge decides. The aircraft's own drawing and approved data rule.",
    ]
    .iter()
    .enumerate()
    {
        text(&mut out, [LEFT_MM, 18.2 + 3.2 * i as f64], 2.2, ("start", 0.0), note);
    }
    draw::page(width, height, &out)
}

/// Where the pages meet: the same lines and crosses on both, each at one place of the sheet.
fn joints(
    view: &View,
    window: [f64; 2],
    low: [f64; 2],
    at: [usize; 2],
    tiles: [usize; 2],
    out: &mut String,
) {
    let step = window.map(|w| w - OVERLAP_MM);
    let high = [low[0] + window[0], low[1] + window[1]];
    for axis in 0..2 {
        let other = 1 - axis;
        for joint in [at[axis], at[axis] + 1] {
            if joint == 0 || joint == tiles[axis] {
                continue;
            }
            let s = step[axis] * joint as f64 - ROUND_MM + OVERLAP_MM / 2.0;
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

/// The bars across and down, outside the window.
fn bars(out: &mut String) {
    let across = bar_path(
        &layout::bar(0.0, 0.0, PAGE_BAR_MM, true),
        LEFT_MM + PAGE_BAR_MM / 2.0,
        TOP_MM - 4.5,
    );
    let down = bar_path(
        &layout::bar(0.0, 0.0, PAGE_BAR_MM, false),
        LEFT_MM - 7.0,
        TOP_MM + PAGE_BAR_MM / 2.0,
    );
    let _ = writeln!(out, "<path d=\"{across}{down}\"/>");
    text(
        out,
        [LEFT_MM + PAGE_BAR_MM + 3.0, TOP_MM - 3.7],
        2.4,
        ("start", 0.0),
        "100 mm across",
    );
    text(
        out,
        [LEFT_MM - 6.1, TOP_MM + PAGE_BAR_MM + 3.0],
        2.4,
        ("end", -90.0),
        "100 mm down",
    );
}
