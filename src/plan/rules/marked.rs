//! The rules for marks as found: what drilling them would give.

use super::{Book, Kind, ROUNDING_MM, Rule, Status, applying, by_limit, cited, layout};
use crate::frame::{Point, Sheet};
use crate::plan::Plan;
use crate::plan::length::show;

/// A mark that was found for a planned hole.
#[derive(Debug, Clone, Copy)]
pub struct Marked<'a> {
    /// The planned hole's name.
    pub hole: &'a str,
    /// Where its mark is, mm.
    pub at: Point<Sheet>,
    /// Expanded uncertainty U (k = 2) of that place, mm.
    pub uncertainty_mm: f64,
    /// Its distance from the nearest edge as measured, and the expanded uncertainty of that edge there, mm; `None`
    /// where no edge was seen.
    pub edge_mm: Option<[f64; 2]>,
}

/// An edge distance or spacing of marks that is, or may be, under a published least value.
#[derive(Debug, Clone, PartialEq)]
pub struct MarkedFinding {
    /// The holes: one for an edge distance, two for a spacing.
    pub holes: Vec<String>,
    /// The distance as marked, mm.
    pub value_mm: f64,
    /// Its expanded uncertainty U (k = 2), mm. The two marks of a spacing, and a mark and its edge, are taken as
    /// independent; what they share would only lessen it.
    pub uncertainty_mm: f64,
    /// The least value, rivet diameters.
    pub limit_d: f64,
    /// Under it with all of U granted; else it cannot be told.
    pub sure: bool,
    /// The sentence, with document, paragraph and page.
    pub text: String,
    /// The figures it is held against; none that is only remembered.
    pub rules: Vec<&'static Rule>,
}

/// Holds marks as found against the least edge distances and pitches of `books`, U counted.
///
/// Marks are in the `Sheet` frame, mm; a mark of no planned hole, or with an uncertainty that is none, is
/// left out. Nothing without a rivet diameter. Spacings are those of neighbours in the plan's runs; edge distances
/// those from edges as measured: where the plan has an edge proves nothing of the piece.
/// Sure findings come first, then the plan's order.
#[must_use]
pub fn as_marked(plan: &Plan, marks: &[Marked], books: &[Book]) -> Vec<MarkedFinding> {
    let Some(d) = plan.rivet_mm else {
        return Vec::new();
    };
    let mark = |name: &str| {
        marks.iter().find(|m| {
            let finite = m.at.x.is_finite() && m.at.y.is_finite();
            m.hole == name && finite && m.uncertainty_mm.is_finite() && m.uncertainty_mm >= 0.0
        })
    };
    let rows_of = |row: Option<&String>, layouts: &[layout::Layout]| {
        layouts
            .iter()
            .find(|l| Some(&l.name) == row)
            .map_or(1, |l| l.seam_rows)
    };
    let layouts = layout::of(plan);
    let mut findings = Vec::new();
    let mut hold = |kind, rows, holes: Vec<String>, value_mm: f64, uncertainty_mm: f64| {
        let under: Vec<&'static Rule> = applying(plan, books, kind, rows)
            .filter(|r| r.status != Status::Memory)
            .filter(|r| value_mm - uncertainty_mm < r.limit_mm(d) - ROUNDING_MM)
            .collect();
        for (limit_d, rules) in by_limit(under) {
            let sure = value_mm + uncertainty_mm < limit_d * d - ROUNDING_MM;
            let what = if kind == Kind::EdgeLeast {
                format!("edge distance of {} as marked", holes[0])
            } else {
                format!("spacing of {} and {} as marked", holes[0], holes[1])
            };
            let text = format!(
                "{what} is {:.2} D +/- {:.2} D, {}: {} {limit_d} D",
                value_mm / d,
                uncertainty_mm / d,
                show(value_mm, plan.units),
                if sure { "under" } else { "cannot be told from" }
            );
            findings.push(MarkedFinding {
                holes: holes.clone(),
                value_mm,
                uncertainty_mm,
                limit_d,
                sure,
                text: cited(&text, &rules),
                rules,
            });
        }
    };
    for hole in &plan.holes {
        if let Some((m, [mm, edge_u])) = mark(&hole.name).and_then(|m| Some((m, m.edge_mm?)))
            && mm.is_finite()
            && edge_u >= 0.0
        {
            let rows = rows_of(hole.row.as_ref(), &layouts);
            hold(
                Kind::EdgeLeast,
                rows,
                vec![hole.name.clone()],
                mm,
                m.uncertainty_mm.hypot(edge_u),
            );
        }
    }
    for run in &plan.runs {
        let rows = rows_of(Some(&run.name), &layouts);
        for [i, j] in layout::pairs(run) {
            let names = [&run.stops[i].hole, &run.stops[j].hole];
            if let [Some(a), Some(b)] = names.map(|n| mark(n)) {
                let u = a.uncertainty_mm.hypot(b.uncertainty_mm);
                let holes = names.map(Clone::clone).to_vec();
                hold(Kind::PitchLeast, rows, holes, a.at.distance(b.at), u);
            }
        }
    }
    findings.sort_by_key(|f| !f.sure);
    findings
}
