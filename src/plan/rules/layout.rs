//! Distances of each run, and which runs make one seam.

use nalgebra::Vector2;

use crate::frame::{Point, Sheet};
use crate::plan::{Edge, Hole, Path, Plan, Run};

/// Rows further apart than this are seams of their own, in rivet diameters: three quarters (the usual row
/// distance over pitch) of 10 D, the widest pitch of any of the documents.
const SEAM_REACH_D: f64 = 7.5;
/// Rivet diameter taken for that where the plan has none, mm: 1/8 in, the commonest.
const UNSAID_RIVET_MM: f64 = 3.175;
/// Slant between rows that still count as parallel, as a sine: half a degree.
const PARALLEL: f64 = 0.0087;
/// Stations of neighbouring rows nearer than this share of the pitch stand side by side.
const SIDE_BY_SIDE: f64 = 0.25;

/// Distances of one run, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// The run's name.
    pub name: String,
    /// Rows of the seam that it belongs to, itself counted.
    pub seam_rows: usize,
    /// Which seam that is.
    pub seam: usize,
    /// Least distance of its holes from the edge it runs along, or else from the nearest edge.
    pub edge_mm: Option<f64>,
    /// Distances of the first and last hole from the edges at its ends, for a level row.
    pub ends_mm: Option<[f64; 2]>,
    /// Least and greatest distance between neighbours.
    pub pitch_mm: Option<[f64; 2]>,
    /// Distance from the nearest row of the seam, and that row.
    pub transverse: Option<(f64, String)>,
    /// The nearest row of the seam, where the two are not staggered.
    pub side_by_side: Option<String>,
    /// The edge it runs along.
    edge: Option<Edge>,
    /// Its extent along x or y, for a row along an edge.
    extent: [f64; 2],
}

/// Distance of a place from the nearest edge of the sheet, mm.
pub(super) fn nearest_edge(plan: &Plan, at: Point<Sheet>) -> f64 {
    EDGES
        .iter()
        .map(|&e| edge_distance(plan, e, at))
        .fold(f64::INFINITY, f64::min)
}

const EDGES: [Edge; 4] = [Edge::Bottom, Edge::Right, Edge::Top, Edge::Left];

pub(super) fn edge_distance(plan: &Plan, edge: Edge, at: Point<Sheet>) -> f64 {
    match edge {
        Edge::Bottom => at.y,
        Edge::Top => plan.height_mm - at.y,
        Edge::Left => at.x,
        Edge::Right => plan.width_mm - at.x,
    }
}

/// Pairs of neighbouring stops, by place in the run. A skipped station parts its neighbours.
pub(super) fn pairs(run: &Run) -> Vec<[usize; 2]> {
    let mut pairs: Vec<[usize; 2]> = (1..run.stops.len())
        .filter(|&i| run.stops[i].number == run.stops[i - 1].number + 1)
        .map(|i| [i - 1, i])
        .collect();
    if let (Path::Circle { whole: true, .. }, Some(last)) = (&run.path, run.stops.last()) {
        let count = run.stops.len() + run.skipped.len();
        if count > 2 && run.stops[0].number == 1 && last.number == count {
            pairs.push([run.stops.len() - 1, 0]);
        }
    }
    pairs
}

/// Whether two holes are neighbours in some run, a shared hole too.
pub(super) fn neighbours(plan: &Plan, a: &Hole, b: &Hole) -> bool {
    plan.runs.iter().any(|run| {
        pairs(run).iter().any(|&[i, j]| {
            let names = [&run.stops[i].hole, &run.stops[j].hole];
            names == [&a.name, &b.name] || names == [&b.name, &a.name]
        })
    })
}

/// Whether no other row lies between this one and its edge.
pub(super) fn is_outer(run: &Layout, all: &[Layout]) -> bool {
    let Some((edge, mm)) = run.edge.zip(run.edge_mm) else {
        return false;
    };
    !all.iter().any(|other| {
        other.edge == Some(edge)
            && other.edge_mm.is_some_and(|o| o < mm)
            && other.extent[0] < run.extent[1]
            && run.extent[0] < other.extent[1]
    })
}

/// A straight run with two stops or more: its ends.
fn ends(run: &Run) -> Option<[Vector2<f64>; 2]> {
    let Path::Line { .. } = run.path else {
        return None;
    };
    match &run.stops[..] {
        [first, .., last] => Some([first.at.vec(), last.at.vec()]),
        _ => None,
    }
}

/// Distance of two parallel runs that lie beside each other, mm.
fn apart(a: &Run, b: &Run) -> Option<f64> {
    let ([p, q], [r, s]) = (ends(a)?, ends(b)?);
    let along = (q - p).normalize();
    let other = (s - r).normalize();
    if along.perp(&other).abs() > PARALLEL {
        return None;
    }
    let length = (q - p).norm();
    let span = [(r - p).dot(&along), (s - p).dot(&along)];
    let (low, high) = (span[0].min(span[1]), span[0].max(span[1]));
    let common = high.min(length) - low.max(0.0);
    // Half of the shorter row: rows that only follow or graze each other make no seam.
    if common < 0.5 * length.min(high - low) {
        return None;
    }
    Some(along.perp(&((r + s) / 2.0 - p)).abs())
}

/// Distances of every run, in the plan's order.
pub(super) fn of(plan: &Plan) -> Vec<Layout> {
    let reach = SEAM_REACH_D * plan.rivet_mm.unwrap_or(UNSAID_RIVET_MM);
    let n = plan.runs.len();
    let mut seam: Vec<usize> = (0..n).collect();
    let mut nearest: Vec<Option<(f64, usize)>> = vec![None; n];
    for i in 0..n {
        for j in i + 1..n {
            let Some(mm) =
                apart(&plan.runs[i], &plan.runs[j]).filter(|&mm| mm > 0.0 && mm <= reach)
            else {
                continue;
            };
            let (old, new) = (seam[j], seam[i]);
            for s in seam.iter_mut().filter(|s| **s == old) {
                *s = new;
            }
            for (a, b) in [(i, j), (j, i)] {
                if nearest[a].is_none_or(|k| mm < k.0) {
                    nearest[a] = Some((mm, b));
                }
            }
        }
    }
    (0..n)
        .map(|i| {
            let run = &plan.runs[i];
            let mut layout = distances(plan, run);
            layout.seam = seam[i];
            layout.seam_rows = rows_of(plan, &seam, i);
            if let Some((mm, j)) = nearest[i] {
                let other = plan.runs[j].name.clone();
                layout.transverse = Some((mm, other.clone()));
                layout.side_by_side = beside(run, &plan.runs[j]).then_some(other);
            }
            layout
        })
        .collect()
}

/// Rows of the seam of run `i`: two runs end to end on one line are one row.
fn rows_of(plan: &Plan, seam: &[usize], i: usize) -> usize {
    /// Nearer than this, two lines are one, mm.
    const ONE_LINE_MM: f64 = 0.5;
    let Some([p, q]) = ends(&plan.runs[i]) else {
        return 1;
    };
    let along = (q - p).normalize();
    let mut offsets: Vec<f64> = (0..plan.runs.len())
        .filter(|&j| seam[j] == seam[i])
        .filter_map(|j| ends(&plan.runs[j]))
        .map(|[r, s]| along.perp(&((r + s) / 2.0 - p)))
        .collect();
    offsets.sort_by(f64::total_cmp);
    offsets.dedup_by(|a, b| (*a - *b).abs() < ONE_LINE_MM);
    offsets.len().max(1)
}

fn distances(plan: &Plan, run: &Run) -> Layout {
    let steps: Vec<f64> = pairs(run)
        .iter()
        .map(|&[i, j]| run.stops[i].at.distance(run.stops[j].at))
        .collect();
    let least = |values: &mut dyn Iterator<Item = f64>| {
        let least = values.fold(f64::INFINITY, f64::min);
        least.is_finite().then_some(least)
    };
    let level = plan
        .rows
        .iter()
        .find(|r| r.name == run.name)
        .map(|r| r.along);
    let edge = match run.path {
        Path::Line { edge, .. } => edge,
        Path::Circle { .. } => None,
    };
    let edge_mm = match edge {
        Some(edge) => least(&mut run.stops.iter().map(|s| edge_distance(plan, edge, s.at))),
        None => least(&mut run.stops.iter().map(|s| nearest_edge(plan, s.at))),
    };
    let ends_mm =
        level
            .zip(run.stops.first().zip(run.stops.last()))
            .map(|(level, (first, last))| {
                if level.is_level() {
                    [first.at.x, plan.width_mm - last.at.x]
                } else {
                    [first.at.y, plan.height_mm - last.at.y]
                }
            });
    let along = |at: Point<Sheet>| {
        if edge.is_none_or(Edge::is_level) {
            at.x
        } else {
            at.y
        }
    };
    Layout {
        name: run.name.clone(),
        seam_rows: 1,
        seam: 0,
        edge_mm,
        ends_mm,
        pitch_mm: (!steps.is_empty()).then(|| {
            [
                steps.iter().copied().fold(f64::INFINITY, f64::min),
                steps.iter().copied().fold(0.0, f64::max),
            ]
        }),
        transverse: None,
        side_by_side: None,
        edge,
        extent: [
            run.stops
                .iter()
                .map(|s| along(s.at))
                .fold(f64::INFINITY, f64::min),
            run.stops
                .iter()
                .map(|s| along(s.at))
                .fold(f64::NEG_INFINITY, f64::max),
        ],
    }
}

/// Whether the holes of two parallel runs stand opposite each other rather than staggered.
fn beside(a: &Run, b: &Run) -> bool {
    let (Some([p, q]), pairs) = (ends(a), pairs(a)) else {
        return false;
    };
    let along = (q - p).normalize();
    let pitch = pairs
        .iter()
        .map(|&[i, j]| a.stops[i].at.distance(a.stops[j].at))
        .fold(f64::INFINITY, f64::min);
    let on_line = |run: &Run| -> Vec<f64> {
        run.stops
            .iter()
            .map(|s| (s.at.vec() - p).dot(&along))
            .collect()
    };
    let (own, other) = (on_line(a), on_line(b));
    let opposite = own
        .iter()
        .filter(|s| other.iter().any(|o| (*s - o).abs() < SIDE_BY_SIDE * pitch))
        .count();
    2 * opposite > own.len()
}
