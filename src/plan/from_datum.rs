//! Where to mark in a plan whose frame is two marks: every distance is counted from them, and no edge is asked.
//!
//! The check of such a plan fits the two marks and looks at no edge; stations counted from edges would be another plan's.

use nalgebra::Vector2;

use super::length::show_planned;
use super::stations::{Line, Table};
use super::{Path, Plan, Run};
use crate::frame::{Point, Sheet};

/// Rows whose direction differs by less than this from that of the marks run along with them, radians: over a whole sheet
/// that is a micron.
const PARALLEL: f64 = 1e-6;
/// Lines nearer than this are one, mm.
const SAME_MM: f64 = 1e-3;

/// The frame of two marks.
struct Frame<'p> {
    plan: &'p Plan,
    names: [&'p str; 2],
    first: Point<Sheet>,
    /// From the first to the second, of length 1.
    along: Vector2<f64>,
}

/// A hole, its place, and whether it is marked with another run or drilled already.
type Stop<'p> = (&'p str, Point<Sheet>, bool);

/// The tables of a plan with two datum marks; `None` for any other.
pub(super) fn tables(plan: &Plan) -> Option<Vec<Table>> {
    let frame = Frame::of(plan)?;
    let mut tables = Vec::new();
    for run in &plan.runs {
        let stops: Vec<Stop> = run
            .stops
            .iter()
            .map(|s| (s.hole.as_str(), s.at, s.shared))
            .collect();
        match &run.path {
            Path::Line { along, .. } if frame.runs_along(along) => {
                tables.push(frame.straight(run, &stops));
            }
            Path::Line { .. } => {
                tables.extend(frame.both_ways(&format!("row {}", run.name), &stops))
            }
            Path::Circle { .. } => {
                tables.extend(frame.both_ways(&format!("circle {}", run.name), &stops));
            }
        }
    }
    let singles: Vec<Stop> = plan
        .holes
        .iter()
        .filter(|h| h.row.is_none())
        .map(|h| (h.name.as_str(), h.at, false))
        .collect();
    if !singles.is_empty() {
        tables.extend(frame.both_ways("single holes", &singles));
    }
    Some(tables)
}

impl<'p> Frame<'p> {
    fn of(plan: &'p Plan) -> Option<Self> {
        let [a, b] = plan.datum.as_ref()?;
        let place = |name: &str| {
            let mut all = plan.holes.iter().chain(&plan.drilled);
            all.find(|h| h.name == name).map(|h| h.at)
        };
        let (first, second) = (place(a)?, place(b)?);
        let along = (second.vec() - first.vec()).try_normalize(SAME_MM)?;
        Some(Self {
            plan,
            names: [a, b],
            first,
            along,
        })
    }

    /// How far a place lies along the line of the marks and to its left, from the first, mm.
    fn of_place(&self, at: Point<Sheet>) -> [f64; 2] {
        let d = at.vec() - self.first.vec();
        [d.dot(&self.along), self.along.perp(&d)]
    }

    fn runs_along(&self, direction: &Vector2<f64>) -> bool {
        self.along.perp(direction).abs() < PARALLEL
    }

    fn datum(&self) -> String {
        let [a, b] = self.names;
        format!("hole {a}, along the line from {a} to {b}")
    }

    fn line(&self, stop: &Stop, axis: usize) -> Line {
        Line {
            hole: stop.0.to_owned(),
            station_mm: self.of_place(stop.1)[axis],
            shared: stop.2,
        }
    }

    fn straight(&self, run: &Run, stops: &[Stop]) -> Table {
        let beside = stops.first().map_or(0.0, |s| self.of_place(s.1)[1]);
        let [a, b] = self.names;
        let place = if beside.abs() < SAME_MM {
            format!("on the line from {a} to {b}")
        } else {
            let side = if beside > 0.0 { "left" } else { "right" };
            let by = show_planned(beside.abs(), self.plan.units);
            format!("{by} to the {side} of the line from {a} to {b}, square to it")
        };
        let lines = stops.iter().map(|s| self.line(s, 0)).collect();
        Table::from_hole(format!("row {}", run.name), place, self.datum(), lines)
    }

    fn both_ways(&self, title: &str, stops: &[Stop]) -> [Table; 2] {
        let [a, b] = self.names;
        let across = format!("the line from {a} to {b}, square to it; to its left is plus");
        [("along", self.datum()), ("square to it", across)].map(|(way, datum)| {
            let axis = usize::from(way != "along");
            let lines = stops.iter().map(|s| self.line(s, axis)).collect();
            Table::from_hole(format!("{title}, {way}"), String::new(), datum, lines)
        })
    }
}
