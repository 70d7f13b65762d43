//! A row's marks, its line and its sheet, out of what was judged.

use super::super::decision_rule::COVERAGE_FACTOR;
use super::super::{HoleResult, HoleState, Stray, StrayState};
use super::{Cause, RowLine, RowMarks, RowSheet, Shared, explain};
use crate::frame::{Point, Sheet};
use crate::ink::RuledLine;
use crate::plan::{Edge, Plan, Row};
use crate::sheet::Outline;

/// Strays further from the row's line are not meant for it, mm.
const NEAR_LINE_MM: f64 = 6.0;
/// Of a row whose marks were not all read, so many must be: the rest may tell another story.
const MOST: f64 = 0.7;
/// A ruled line is a row's own when both its ends lie within this of the row's planned distance, mm.
const OWN_LINE_MM: f64 = 2.0;

/// The slip that explains row `row` of the plan, and the names of the holes it was told from, in order; `None` when all
/// its holes are good, when too few have a mark, or as [`explain`].
///
/// The row's marks are those of its own holes and the live strays near its line, if that makes one for each station: a
/// row measured from the wrong end leaves nothing but strays. Else those of its own holes alone, of most of them.
#[must_use]
pub fn of_row<'a>(
    plan: &Plan,
    row: &Row,
    (holes, strays): (&'a [HoleResult], &[Stray]),
    lines: &[RuledLine],
    outline: &Outline,
) -> Option<(Cause, Vec<&'a str>)> {
    let own: Vec<&HoleResult> = holes
        .iter()
        .filter(|h| h.row.as_ref() == Some(&row.name))
        .collect();
    if own.iter().all(|h| h.state == HoleState::Good) || own.len() != row.stations_mm.len() {
        return None;
    }
    let frame = RowFrame::of(plan, row);
    let marked: Vec<(usize, ([f64; 2], f64))> = own
        .iter()
        .enumerate()
        .filter(|(_, h)| h.state != HoleState::Cancelled)
        .filter_map(|(i, h)| Some((i, (frame.place(h.found?), h.uncertainty_mm?))))
        .collect();
    let near = strays
        .iter()
        .filter(|s| s.state == StrayState::Stray)
        .map(|s| (frame.place(s.at), s.uncertainty_mm))
        .filter(|(p, _)| (p[1] - row.edge_distance_mm).abs() <= NEAR_LINE_MM);
    let mut marks: Vec<([f64; 2], f64)> = marked.iter().map(|m| m.1).chain(near).collect();
    let mut told: Vec<usize> = (0..own.len()).collect();
    if marks.len() == own.len() {
        marks.sort_by(|a, b| a.0[0].total_cmp(&b.0[0]));
    } else {
        (told, marks) = marked.into_iter().unzip();
        if (told.len() as f64) < MOST * own.len() as f64 {
            return None;
        }
    }
    let stations: Vec<f64> = told.iter().map(|&i| row.stations_mm[i]).collect();
    let (own_mm, shared) = uncertainty(&marks, &stations);
    let places: Vec<[f64; 2]> = marks.iter().map(|m| m.0).collect();
    let cause = explain(&RowMarks {
        stations_mm: &stations,
        edge_mm: frame.length_mm,
        edge_distance_mm: row.edge_distance_mm,
        marks: &places,
        sd_mm: own_mm,
        shared,
        line: frame.line(row, lines),
        sheet: frame.sheet(row, outline),
    })?;
    Some((cause, told.iter().map(|&i| own[i].name.as_str()).collect()))
}

/// The marks' own standard uncertainty, and what they share, from what each has in all: it grows along the row by
/// the scale; of the least, half the variance is taken for the datum's, which is of the same size as a mark's own.
fn uncertainty(marks: &[([f64; 2], f64)], stations_mm: &[f64]) -> (f64, Shared) {
    let variance = |m: &([f64; 2], f64)| (m.1 / COVERAGE_FACTOR).powi(2);
    let least = marks.iter().map(variance).fold(f64::INFINITY, f64::min);
    let half = (least / 2.0).sqrt();
    let grown = marks.last().map_or(0.0, |m| variance(m) - least);
    let (Some(first), Some(last)) = (stations_mm.first(), stations_mm.last()) else {
        return (half, Shared::default());
    };
    // From the first mark to the last the stretch grows by this share of what it is at the last.
    let share = (1.0 - (first / last).powi(2)).max(0.1);
    let shared = Shared {
        offset_mm: half,
        stretch_mm: (grown.max(0.0) / share).sqrt(),
    };
    (half, shared)
}

/// One sentence for all rows that the scale explains: their names, and by how much each measures too large.
#[must_use]
pub fn print_sentence(rows: &[(&str, f64)]) -> String {
    let names: Vec<&str> = rows.iter().map(|r| r.0).collect();
    let share = rows.iter().map(|r| r.1).sum::<f64>() / rows.len().max(1) as f64;
    let (row, measure) = match names.len() {
        1 => ("row", "measures"),
        _ => ("rows", "measure"),
    };
    format!(
        "{row} {} {measure} {:.2} % {}, and so does the sheet itself: the cards' print is not true to size, or the sheet \
         is not the plan's. Lay a steel rule on the bars of a card and give both lengths with --bars before you mark anything again",
        names.join(", "),
        (100.0 * share).abs(),
        if share > 0.0 { "large" } else { "small" }
    )
}

/// A row's own directions.
struct RowFrame {
    along: Edge,
    size_mm: [f64; 2],
    length_mm: f64,
}

impl RowFrame {
    fn of(plan: &Plan, row: &Row) -> Self {
        let size_mm = [plan.width_mm, plan.height_mm];
        let length_mm = size_mm[usize::from(!row.along.is_level())];
        Self {
            along: row.along,
            size_mm,
            length_mm,
        }
    }

    /// Along the row from its end edge, and away from its edge.
    fn place(&self, at: Point<Sheet>) -> [f64; 2] {
        match self.along {
            Edge::Bottom => [at.x, at.y],
            Edge::Top => [at.x, self.size_mm[1] - at.y],
            Edge::Left => [at.y, at.x],
            Edge::Right => [at.y, self.size_mm[0] - at.x],
        }
    }

    /// The line ruled for the row: the longest of those that lie on or beside it all along.
    fn line(&self, row: &Row, lines: &[RuledLine]) -> Option<RowLine> {
        let beside = |l: &&RuledLine| {
            l.ends
                .iter()
                .all(|e| (self.place(*e)[1] - row.edge_distance_mm).abs() <= OWN_LINE_MM)
        };
        let own = lines.iter().filter(beside).max_by(|a, b| {
            let length = |l: &RuledLine| l.ends[0].distance(l.ends[1]);
            length(a).total_cmp(&length(b))
        })?;
        let [a, b] = own.ends.map(|e| self.place(e));
        // At the row's middle: a line that slants has no other place to be compared at.
        let middle = (row.stations_mm.first()? + row.stations_mm.last()?) / 2.0;
        let way = b[0] - a[0];
        if way.abs() < self.length_mm / 4.0 {
            return None;
        }
        Some(RowLine {
            middle_mm: a[1] + (b[1] - a[1]) * (middle - a[0]) / way,
            width_mm: own.width_mm,
        })
    }

    fn sheet(&self, row: &Row, outline: &Outline) -> Option<RowSheet> {
        let measured = if self.along.is_level() {
            outline.width_mm
        } else {
            outline.height_mm
        };
        let edge_at_mm = match row.along {
            Edge::Bottom | Edge::Left => 0.0,
            Edge::Top => self.size_mm[1],
            Edge::Right => self.size_mm[0],
        };
        Some(RowSheet {
            excess_mm: measured?[0] - self.length_mm,
            edge_at_mm,
        })
    }
}
