//! Figures of the rows as marked: edge distance, angle, pitch, straightness.

use nalgebra::{Matrix2, Vector2};

use super::decision_rule::COVERAGE_FACTOR;
use super::line_fit::{robust, weighted};
use super::states::Judged;
use super::{HoleState, RowFigures};
use crate::plan::{Edge, Plan, Row};
use crate::sheet::{MeasuredEdge, Outline};

/// A mark this near to the row's line is on it whatever the others do, mm: what a steady hand achieves.
const ON_LINE_MM: f64 = 0.15;
/// An edge shorter than this has no direction, mm.
const SHORTEST_EDGE_MM: f64 = 1.0;

/// A mark of the row: its place and covariance, and its number in the row.
type RowMark = (usize, Vector2<f64>, Matrix2<f64>);

/// Figures of every row, in the plan's order.
pub(super) fn figures(plan: &Plan, judged: &Judged, outline: &Outline) -> Vec<RowFigures> {
    plan.rows
        .iter()
        .map(|row| {
            let marks = marks_of(row, judged);
            let (straightness_mm, on_line) = straightness(&marks);
            let kept: Vec<RowMark> = marks
                .iter()
                .zip(&on_line)
                .filter_map(|(m, &on)| on.then_some(*m))
                .collect();
            let edge = outline.edges.iter().find(|e| e.edge == row.along);
            let pitch = pitch(&marks);
            let against = edge.and_then(|e| against_edge(row, e, &marks, &kept));
            RowFigures {
                row: row.name.clone(),
                edge_distance_mm: against.map(|a| a.distances_mm),
                angle_deg: against.map(|a| a.angle_deg),
                uncertainty_mm: against.map(|a| a.expanded_mm),
                pitch_mm: pitch.map(|p| p.0),
                pitch_uncertainty_mm: pitch.map(|p| p.1),
                straightness_mm,
            }
        })
        .collect()
}

/// The row's live marks, in the row's order.
fn marks_of(row: &Row, judged: &Judged) -> Vec<RowMark> {
    let own = judged
        .holes
        .iter()
        .zip(&judged.covs)
        .filter(|(h, _)| h.row.as_ref() == Some(&row.name));
    own.enumerate()
        .filter(|(_, (h, _))| h.state != HoleState::Cancelled)
        .filter_map(|(i, (h, cov))| Some((i, h.found?.vec(), (*cov)?)))
        .collect()
}

/// Largest distance from the line through the row, for three marks or more, and which marks make it.
fn straightness(marks: &[RowMark]) -> (Option<f64>, Vec<bool>) {
    let places: Vec<Vector2<f64>> = marks.iter().map(|m| m.1).collect();
    let Some((line, on_line)) = robust(&places, ON_LINE_MM) else {
        return (None, vec![true; marks.len()]);
    };
    let largest = places
        .iter()
        .map(|&p| line.distance(p).abs())
        .fold(0.0, f64::max);
    ((marks.len() >= 3).then_some(largest), on_line)
}

/// Smallest, mean and largest distance between marks of neighbouring holes, and the largest expanded uncertainty of
/// these distances. What two marks share (datum, scale) would only lessen it.
fn pitch(marks: &[RowMark]) -> Option<([f64; 3], f64)> {
    let neighbours = || marks.windows(2).filter(|w| w[1].0 == w[0].0 + 1);
    let steps: Vec<f64> = neighbours().map(|w| (w[1].1 - w[0].1).norm()).collect();
    if steps.is_empty() {
        return None;
    }
    let variance = |w: &[RowMark]| {
        let way = (w[1].1 - w[0].1).try_normalize(f64::MIN_POSITIVE);
        way.map_or(0.0, |way| way.dot(&((w[0].2 + w[1].2) * way)))
    };
    let largest = neighbours().map(variance).fold(0.0, f64::max);
    let figures = [
        steps.iter().copied().fold(f64::INFINITY, f64::min),
        steps.iter().sum::<f64>() / steps.len() as f64,
        steps.iter().copied().fold(0.0, f64::max),
    ];
    Some((figures, COVERAGE_FACTOR * largest.sqrt()))
}

#[derive(Clone, Copy)]
struct Against {
    distances_mm: [f64; 2],
    angle_deg: f64,
    expanded_mm: f64,
}

/// The row's line against its measured edge.
fn against_edge(
    row: &Row,
    edge: &MeasuredEdge,
    marks: &[RowMark],
    kept: &[RowMark],
) -> Option<Against> {
    let (first, last) = (marks.first()?, marks.last()?);
    let [from, to] = edge.ends.map(|p| p.vec());
    let span = to - from;
    let long_enough = span.norm() >= SHORTEST_EDGE_MM;
    if !long_enough {
        return None;
    }
    let (nominal, turn) = match row.along {
        Edge::Bottom => (Vector2::new(1.0, 0.0), 1.0),
        Edge::Top => (Vector2::new(1.0, 0.0), -1.0),
        Edge::Left => (Vector2::new(0.0, 1.0), -1.0),
        Edge::Right => (Vector2::new(0.0, 1.0), 1.0),
    };
    // Along the edge from the row's start, and inward from it.
    let along = span.normalize() * if span.dot(&nominal) < 0.0 { -1.0 } else { 1.0 };
    let inward = Vector2::new(-along.y, along.x) * turn;
    let middle = (from + to) / 2.0;
    let to_edge = Matrix2::from_rows(&[along.transpose(), inward.transpose()]);

    let turned: Vec<(Vector2<f64>, Matrix2<f64>)> = kept
        .iter()
        .map(|(_, p, c)| (to_edge * (p - middle), to_edge * c * to_edge.transpose()))
        .collect();
    let line = weighted(&turned)?;
    // The marks share survey and datum, so their mean is hardly better than one of them: the fit's own
    // uncertainty, which takes them for independent, is not let below that.
    let shared = turned.iter().map(|(_, c)| c[(1, 1)]).sum::<f64>() / turned.len() as f64;
    let ends = [first, last].map(|m| along.dot(&(m.1 - middle)));
    let variance = |s: f64| {
        let lever = s * edge.u_angle_rad;
        line.u_at(s).powi(2).max(shared) + edge.u_offset_mm.powi(2) + lever * lever
    };
    let expanded_mm = COVERAGE_FACTOR * variance(ends[0]).max(variance(ends[1])).sqrt();
    let found = Against {
        distances_mm: ends.map(|s| line.at(s)),
        angle_deg: line.slope.atan().to_degrees(),
        expanded_mm,
    };
    expanded_mm.is_finite().then_some(found)
}
