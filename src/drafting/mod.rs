//! Drawings of a plan: scaled, with dimensions, and true to size, to lay on the sheet.
//!
//! | what | file |
//! | --- | --- |
//! | one page, scaled, dimensioned from the edges | `drawing` |
//! | its dimensions | `dimension` |
//! | true size, tiled over pages with marks to align them | `template` |
//! | which pages that takes | `tiles` |
//! | outline, holes and rows, in paper millimetres | this |

mod dimension;
mod drawing;
mod template;
mod tiles;

pub use drawing::drawing;
pub use template::{MOST_PAGES, TemplateError, template, template_svg};

use std::fmt::Write as _;

use crate::draw::{escape, num};
use crate::frame::{Point, Sheet};
use crate::plan::length::{MM_PER_INCH, nearest_fraction};
use crate::plan::{Path, Plan, Units};

/// Pen of the outline.
const OUTLINE: &str = "fill=\"none\" stroke=\"#000\" stroke-width=\"0.5\"";
/// Pen of holes and dimensions.
const THIN: &str = "fill=\"none\" stroke=\"#000\" stroke-width=\"0.18\"";
/// Pen of centre lines: long dash, short dash.
const CENTRE_LINE: &str =
    "fill=\"none\" stroke=\"#000\" stroke-width=\"0.13\" stroke-dasharray=\"5 1 1 1\"";
/// Pen of what helps only: leaders, joints.
const FAINT: &str = "fill=\"none\" stroke=\"#777\" stroke-width=\"0.13\"";

/// From the sheet (mm, y up) to paper (mm, y down).
#[derive(Debug, Clone, Copy)]
struct View {
    /// Paper millimetres for one of the sheet.
    scale: f64,
    /// Where the sheet's lower left corner lies on the paper.
    origin: [f64; 2],
}

impl View {
    fn x(&self, x: f64) -> f64 {
        self.origin[0] + self.scale * x
    }

    fn y(&self, y: f64) -> f64 {
        self.origin[1] - self.scale * y
    }

    fn at(&self, p: Point<Sheet>) -> [f64; 2] {
        [self.x(p.x), self.y(p.y)]
    }
}

/// A planned length without its unit: a fraction where it is one to 1/64, else thousandths of an inch or
/// hundredths of a millimetre.
fn length(mm: f64, units: Units) -> String {
    /// A length this near a fraction, in inches, was meant as one.
    const NEAR_IN: f64 = 1e-6;
    match units {
        Units::Inch => {
            let inches = mm / MM_PER_INCH;
            if (inches * 64.0 - (inches * 64.0).round()).abs() < NEAR_IN * 64.0 {
                nearest_fraction(inches, 64)
            } else {
                format!("{inches:.3}")
            }
        }
        Units::Millimetre => num((mm * 100.0).round() / 100.0),
    }
}

/// Text at a place; `anchor` is `start`, `middle` or `end`, `turn` degrees clockwise round the place.
fn text(out: &mut String, at: [f64; 2], size: f64, (anchor, turn): (&str, f64), what: &str) {
    let _ = writeln!(
        out,
        "<text transform=\"translate({} {}) rotate({})\" font-size=\"{}\" text-anchor=\"{anchor}\" \
         stroke=\"#fff\" stroke-width=\"0.7\" paint-order=\"stroke\">{}</text>",
        num(at[0]),
        num(at[1]),
        num(turn),
        num(size),
        escape(what)
    );
}

fn line(out: &mut String, a: [f64; 2], b: [f64; 2], pen: &str) {
    let _ = writeln!(
        out,
        "<path d=\"M{} {}L{} {}\" {pen}/>",
        num(a[0]),
        num(a[1]),
        num(b[0]),
        num(b[1])
    );
}

/// The sheet's outline, centre lines of the runs, and the holes as centre marks.
fn piece(plan: &Plan, view: &View, mark_mm: f64) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {OUTLINE}/>",
        num(view.x(0.0)),
        num(view.y(plan.height_mm)),
        num(view.scale * plan.width_mm),
        num(view.scale * plan.height_mm)
    );
    for run in &plan.runs {
        match &run.path {
            Path::Line { along, .. } => {
                if let (Some(a), Some(b)) = (run.stops.first(), run.stops.last()) {
                    let beyond = along * (2.0 * mark_mm / view.scale);
                    line(
                        &mut out,
                        view.at(Point::at(a.at.vec() - beyond)),
                        view.at(Point::at(b.at.vec() + beyond)),
                        CENTRE_LINE,
                    );
                }
            }
            Path::Circle {
                centre, radius_mm, ..
            } => {
                let [x, y] = view.at(*centre);
                let _ = writeln!(
                    out,
                    "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {CENTRE_LINE}/>",
                    num(x),
                    num(y),
                    num(radius_mm * view.scale)
                );
                cross(&mut out, [x, y], 2.0 * mark_mm, CENTRE_LINE);
            }
        }
    }
    /// Radius drawn where the plan names no rivet, mm.
    const UNSAID_RADIUS_MM: f64 = 1.0;
    let radius = plan.rivet_mm.map_or(UNSAID_RADIUS_MM, |d| d / 2.0) * view.scale;
    for (hole, drilled) in plan
        .holes
        .iter()
        .map(|h| (h, false))
        .chain(plan.drilled.iter().map(|h| (h, true)))
    {
        let [x, y] = view.at(hole.at);
        let fill = if drilled {
            "fill=\"#000\" stroke=\"none\""
        } else {
            THIN
        };
        let _ = writeln!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {fill}/>",
            num(x),
            num(y),
            num(radius)
        );
        if !drilled {
            cross(&mut out, [x, y], mark_mm, THIN);
        }
    }
    out
}

fn cross(out: &mut String, [x, y]: [f64; 2], half: f64, pen: &str) {
    let _ = writeln!(
        out,
        "<path d=\"M{} {}h{}M{} {}v{}\" {pen}/>",
        num(x - half),
        num(y),
        num(2.0 * half),
        num(x),
        num(y - half),
        num(2.0 * half)
    );
}
