//! What became of each hole, and what else is on the face.

use nalgebra::Vector2;

use super::decision_rule::{COVERAGE_FACTOR, Proof, guard_over_u, judge};
use super::pairing::{Pairs, pair};
use super::{HoleResult, HoleState, Stray, StrayState};
use crate::frame::{Cov2, Point, Sheet};
use crate::ink::{Doubt, Ink, LIKELY, Mark, RuledLine, Seen};
use crate::plan::Plan;

/// A mark this many tolerances away may still be a hole's own, misplaced.
const GATE_TOLERANCES: f64 = 3.0;
/// Beyond this, a mark is no slip of the rule but something else, mm (about 1/2 in).
const GATE_CAP_MM: f64 = 12.0;
/// Two marks nearer to each other than this many tolerances, or [`DOUBLE_MM`], were meant for one hole.
const DOUBLE_TOLERANCES: f64 = 1.5;
/// See [`DOUBLE_TOLERANCES`]; about the width of the punch mark itself, mm.
const DOUBLE_MM: f64 = 2.0;
/// Half the largest mark, mm: a place is seen when a mark that just reaches into it would be.
pub(super) const MARK_RADIUS_MM: f64 = 1.0;
/// Unsure ink of a larger extent is no mark, mm: a thing's rim, a smear, writing.
pub(super) const LARGEST_INK_MM: f64 = 8.0;
/// So far beside the rim of a thing a place may be under it, mm: half of a finger's width.
pub(super) const HALF_FINGER_MM: f64 = 8.0;
/// Uncertainty counts in the size of a place up to this, mm; a worse survey sees nothing.
const PLACE_U_CAP_MM: f64 = 5.0;
/// Within this many standard uncertainties of the plan an offset has no direction to speak of.
const NO_DIRECTION: f64 = 2.0;

/// The face as judged, with what the sentences about it need.
pub(super) struct Judged {
    pub(super) holes: Vec<HoleResult>,
    pub(super) strays: Vec<Stray>,
    /// Covariance of each hole's mark.
    pub(super) covs: Vec<Option<Cov2>>,
    /// The further marks of each double hole.
    pub(super) seconds: Vec<Vec<Point<Sheet>>>,
    /// For each hole, why ink at its place could not be named.
    pub(super) unsure_at: Vec<Option<Doubt>>,
    /// For each stray, the hole it doubles, or the hole at whose place it is unsure ink.
    pub(super) stray_at: Vec<Option<usize>>,
    /// Characters of writing or print that no hole's place is near to.
    pub(super) writing: Vec<Point<Sheet>>,
    /// Whether the planned place of each hole was seen.
    pub(super) seen: Vec<bool>,
    /// Marks and ink whose place is not a number.
    pub(super) unplaced: usize,
}

/// Expanded uncertainty along `direction` (any length but 0); infinite if `cov` is no covariance.
fn expanded_along(cov: &Cov2, direction: Vector2<f64>) -> f64 {
    let unit = direction.normalize();
    let variance = unit.dot(&(cov * unit));
    if is_covariance(cov) && variance >= 0.0 {
        COVERAGE_FACTOR * variance.sqrt()
    } else {
        f64::INFINITY
    }
}

/// Expanded uncertainty in the worst direction; infinite if `cov` is no covariance.
pub(crate) fn expanded_widest(cov: &Cov2) -> f64 {
    if !is_covariance(cov) {
        return f64::INFINITY;
    }
    let (a, b, c) = (cov[(0, 0)], (cov[(0, 1)] + cov[(1, 0)]) / 2.0, cov[(1, 1)]);
    let widest = (a + c) / 2.0 + ((a - c) / 2.0).hypot(b);
    COVERAGE_FACTOR * widest.max(0.0).sqrt()
}

fn is_covariance(cov: &Cov2) -> bool {
    /// Rounding of a covariance that is all but flat, relative.
    const FLAT: f64 = 1e-9;
    let (a, c) = (cov[(0, 0)], cov[(1, 1)]);
    let off = (cov[(0, 1)] + cov[(1, 0)]) / 2.0;
    cov.iter().all(|v| v.is_finite())
        && a >= 0.0
        && c >= 0.0
        && off * off <= a * c * (1.0 + FLAT) + FLAT * FLAT
}

/// U of a mark against a planned place: along the offset, or the widest where the offset is so small
/// that its direction is chance.
pub(super) fn expanded_offset(cov: &Cov2, offset: Vector2<f64>) -> f64 {
    let widest = expanded_widest(cov);
    if has_no_direction(offset, widest) {
        widest
    } else {
        expanded_along(cov, offset)
    }
}

fn has_no_direction(offset: Vector2<f64>, widest: f64) -> bool {
    offset.norm() <= NO_DIRECTION / COVERAGE_FACTOR * widest
}

/// The direction (length 1) in which [`expanded_offset`] takes U; `None` if `cov` is no covariance.
pub(crate) fn direction_of_u(cov: &Cov2, offset: Vector2<f64>) -> Option<Vector2<f64>> {
    let widest = expanded_widest(cov);
    if !widest.is_finite() {
        None
    } else if has_no_direction(offset, widest) {
        let eigen = cov.symmetric_eigen();
        Some(eigen.eigenvectors.column(eigen.eigenvalues.imax()).into())
    } else {
        Some(offset.normalize())
    }
}

/// Whether two ruled lines cross so near to a place that a dot there would not show.
fn lines_cross(lines: &[RuledLine], at: Point<Sheet>) -> bool {
    /// How far from where lines cross their ink hides a dot, mm.
    const HIDES_MM: f64 = 1.2;
    /// Sine between lines that cross.
    const CROSS: f64 = 0.3;
    let near: Vec<Vector2<f64>> = (lines.iter())
        .filter_map(|l| l.way_under(at, HIDES_MM))
        .collect();
    let mut pairs = near.iter().enumerate();
    pairs.any(|(i, a)| near[..i].iter().any(|b| a.perp(b).abs() > CROSS))
}

/// Judges every hole and every mark.
pub(super) fn judge_face(plan: &Plan, ink: &Ink) -> Judged {
    let sorted = Sorted::of(ink);
    let planned: Vec<Vector2<f64>> = plan.holes.iter().map(|h| h.at.vec()).collect();
    let pairs = pair_live(plan, &planned, &sorted.live);
    let place_mm = place_radius(plan, &sorted);
    let guard = guard_over_u(plan.risk);

    let n = plan.holes.len();
    let mut judged = Judged {
        holes: Vec::with_capacity(n),
        strays: Vec::new(),
        covs: vec![None; n],
        seconds: vec![Vec::new(); n],
        unsure_at: vec![None; n],
        stray_at: Vec::new(),
        writing: Vec::new(),
        seen: Vec::with_capacity(n),
        unplaced: sorted.unplaced,
    };
    let mut strays: Vec<(Stray, Option<usize>)> = Vec::new();

    for Unnamed {
        ink: unsure,
        writing,
    } in &sorted.unsure
    {
        // A thing as bright as the metal shows by its rims alone: what lies beside them may be under it.
        let under = if unsure.size_mm > LARGEST_INK_MM && !writing {
            HALF_FINGER_MM
        } else {
            0.0
        };
        let reach = plan.tolerance_mm
            + MARK_RADIUS_MM
            + unsure.uncertainty_mm
            + unsure.size_mm / 2.0
            + under;
        let (mut at_a_hole, mut hides_a_place) = (false, false);
        for (h, hole) in plan.holes.iter().enumerate() {
            // Not `>`: a reach that is not a number reaches everywhere.
            if hole.at.distance(unsure.at) <= reach || reach.is_nan() {
                judged.unsure_at[h] = judged.unsure_at[h].or(unsure.why);
                at_a_hole = true;
                hides_a_place |= pairs.mark_of[h].is_none();
            }
        }
        // Writing beside the holes is nothing to look at.
        if *writing && !hides_a_place {
            judged.writing.push(unsure.at);
            continue;
        }
        let at = nearest_hole(&planned, unsure.at.vec()).filter(|&h| judged.unsure_at[h].is_some());
        let mut ink = unsure.clone();
        // Where no hole is near nothing is drilled for it, so a stray needs less proof than a hole's mark does.
        if !at_a_hole && unsure.probability.is_some_and(|p| p >= LIKELY) {
            (ink.state, ink.why) = (StrayState::Stray, None);
        }
        strays.push((ink, at));
    }

    for (m, mark) in sorted.live.iter().enumerate() {
        if pairs.hole_of[m].is_none() {
            let at = doubled(plan, &pairs, &sorted.live, mark);
            if let Some(h) = at {
                judged.seconds[h].push(mark.at);
            }
            strays.push((stray(mark, StrayState::Stray, None), at));
        }
    }

    let mut cancels = vec![false; sorted.crossed.len()];
    for (h, hole) in plan.holes.iter().enumerate() {
        let hidden = pairs.mark_of[h].is_none() && lines_cross(&ink.lines, hole.at);
        let seen = place_seen(&ink.seen, plan, hole.at, place_mm) && !hidden;
        judged.seen.push(seen);
        let live = pairs.mark_of[h].map(|m| sorted.live[m]);
        let (state, mark) = if let Some(mark) = live {
            let state = if judged.seconds[h].is_empty() {
                measured_state(mark, hole.at, plan.tolerance_mm, guard)
            } else {
                HoleState::Double
            };
            (state, Some(mark))
        } else if !seen || judged.unsure_at[h].is_some() {
            // Ink that has no name may be the mark, or hide it: not surely missing, never good.
            (HoleState::Unseen, None)
        } else if let Some(c) = crossed_at(plan, &sorted.crossed, &cancels, hole.at) {
            cancels[c] = true;
            (HoleState::Cancelled, Some(sorted.crossed[c]))
        } else {
            (HoleState::Missing, None)
        };
        let expanded = mark.map(|m| expanded_offset(&m.cov, m.at - hole.at));
        judged.covs[h] = mark.map(|m| m.cov);
        judged.holes.push(HoleResult {
            name: hole.name.clone(),
            row: hole.row.clone(),
            planned: hole.at,
            found: mark.map(|m| m.at),
            uncertainty_mm: expanded.filter(|u| u.is_finite()),
            state,
            unclear: state == HoleState::Unseen && seen,
            ringed: mark.is_some_and(|m| m.ringed),
            kind: mark.map(|m| m.kind),
            probability: mark.and_then(|m| m.probability),
        });
    }
    for (mark, used) in sorted.crossed.iter().zip(cancels) {
        if !used {
            strays.push((stray(mark, StrayState::Cancelled, None), None));
        }
    }

    // The most dangerous first.
    let rank = |s: &Stray| match (s.state, s.ringed) {
        (StrayState::Stray, true) => 0,
        (StrayState::Stray, false) => 1,
        (StrayState::Unsure, _) => 2,
        (StrayState::Cancelled, _) => 3,
    };
    strays.sort_by(|(a, _), (b, _)| {
        rank(a)
            .cmp(&rank(b))
            .then(a.at.x.total_cmp(&b.at.x))
            .then(a.at.y.total_cmp(&b.at.y))
    });
    (judged.strays, judged.stray_at) = strays.into_iter().unzip();
    judged
}

/// The ink in a fixed order, whatever order it came in.
struct Sorted<'i> {
    live: Vec<&'i Mark>,
    crossed: Vec<&'i Mark>,
    unsure: Vec<Unnamed>,
    unplaced: usize,
}

/// Ink that could not be named.
struct Unnamed {
    ink: Stray,
    /// A character of writing.
    writing: bool,
}

impl<'i> Sorted<'i> {
    fn of(ink: &'i Ink) -> Self {
        let finite = |p: Point<Sheet>| p.x.is_finite() && p.y.is_finite();
        let mut sorted = Self {
            live: Vec::new(),
            crossed: Vec::new(),
            unsure: Vec::new(),
            unplaced: 0,
        };
        for mark in &ink.marks {
            match (finite(mark.at), mark.ringed, mark.crossed_out) {
                (false, ..) => sorted.unplaced += 1,
                // "Drill here" and "never drill here": nobody can tell which.
                (true, true, true) => {
                    let ink = stray(mark, StrayState::Unsure, Some(Doubt::RingedAndStruck));
                    sorted.unsure.push(Unnamed {
                        ink,
                        writing: false,
                    });
                }
                (true, false, true) => sorted.crossed.push(mark),
                (true, _, false) => sorted.live.push(mark),
            }
        }
        for unsure in &ink.unsure {
            if finite(unsure.at) {
                let ink = Stray {
                    at: unsure.at,
                    uncertainty_mm: expanded_widest(&unsure.cov),
                    ringed: false,
                    state: StrayState::Unsure,
                    size_mm: unsure.size_mm,
                    why: Some(unsure.why),
                    probability: unsure.probability,
                };
                sorted.unsure.push(Unnamed {
                    ink,
                    writing: unsure.writing,
                });
            } else {
                sorted.unplaced += 1;
            }
        }
        let key = |m: &Mark| {
            let c = &m.cov;
            [m.at.x, m.at.y, m.size_mm, c[(0, 0)], c[(0, 1)], c[(1, 1)]]
        };
        for list in [&mut sorted.live, &mut sorted.crossed] {
            list.sort_by(|a, b| {
                let numbers = key(a).into_iter().zip(key(b)).map(|(x, y)| x.total_cmp(&y));
                numbers
                    .fold(std::cmp::Ordering::Equal, std::cmp::Ordering::then)
                    .then((a.ringed, a.kind as u8).cmp(&(b.ringed, b.kind as u8)))
            });
        }
        sorted.unsure.sort_by(|a, b| {
            let (a, b) = (&a.ink, &b.ink);
            a.at.x
                .total_cmp(&b.at.x)
                .then(a.at.y.total_cmp(&b.at.y))
                .then(a.size_mm.total_cmp(&b.size_mm))
                .then(a.why.cmp(&b.why))
        });
        sorted
    }
}

fn stray(mark: &Mark, state: StrayState, why: Option<Doubt>) -> Stray {
    Stray {
        at: mark.at,
        uncertainty_mm: expanded_widest(&mark.cov),
        ringed: mark.ringed,
        state,
        size_mm: mark.size_mm,
        why,
        probability: mark.probability,
    }
}

/// Pairs live marks with holes. The gate of a hole is half the way to the next one, so that a row that
/// is shifted as a whole still pairs in order, but at most 12 mm and at least three tolerances; a mark
/// that may be within tolerance by its uncertainty is never shut out.
fn pair_live(plan: &Plan, planned: &[Vector2<f64>], live: &[&Mark]) -> Pairs {
    let gates = gates(planned, plan.tolerance_mm);
    let places: Vec<Vector2<f64>> = live.iter().map(|m| m.at.vec()).collect();
    let slack: Vec<f64> = live
        .iter()
        .map(|m| plan.tolerance_mm + expanded_widest(&m.cov))
        .collect();
    let widest = gates.iter().copied().fold(0.0, f64::max);
    pair(planned, &places, |h, m| gates[h].max(slack[m]), widest)
}

pub(super) fn gates(planned: &[Vector2<f64>], tolerance_mm: f64) -> Vec<f64> {
    planned
        .iter()
        .enumerate()
        .map(|(i, a)| {
            let others = planned.iter().enumerate().filter(|(j, _)| *j != i);
            let nearest = others
                .map(|(_, b)| (a - b).norm())
                .fold(f64::INFINITY, f64::min);
            (nearest / 2.0)
                .min(GATE_CAP_MM)
                .max(GATE_TOLERANCES * tolerance_mm)
        })
        .collect()
}

/// The hole that `mark`, which is no hole's own, doubles.
fn doubled(plan: &Plan, pairs: &Pairs, live: &[&Mark], mark: &Mark) -> Option<usize> {
    let expanded = expanded_widest(&mark.cov);
    let reach = (plan.tolerance_mm + expanded)
        .max(DOUBLE_TOLERANCES * plan.tolerance_mm)
        .max(DOUBLE_MM);
    plan.holes
        .iter()
        .enumerate()
        .filter_map(|(h, hole)| {
            let own = live[pairs.mark_of[h]?].at;
            let distance = mark.at.distance(hole.at).min(mark.at.distance(own));
            (distance <= reach).then_some((distance, h))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, h)| h)
}

/// The state of a hole with one live mark.
fn measured_state(mark: &Mark, planned: Point<Sheet>, tolerance_mm: f64, guard: f64) -> HoleState {
    let offset = mark.at - planned;
    match judge(
        offset.norm(),
        guard * expanded_offset(&mark.cov, offset),
        tolerance_mm,
    ) {
        Proof::Kept => HoleState::Good,
        Proof::Broken => HoleState::Off,
        Proof::Neither => HoleState::Close,
    }
}

/// The nearest crossed-out mark at a planned place that no other hole has taken.
fn crossed_at(plan: &Plan, crossed: &[&Mark], taken: &[bool], at: Point<Sheet>) -> Option<usize> {
    (0..crossed.len())
        .filter(|&c| !taken[c])
        .map(|c| (crossed[c].at.distance(at), c))
        .filter(|&(d, c)| {
            d <= plan.tolerance_mm + MARK_RADIUS_MM + expanded_widest(&crossed[c].cov)
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, c)| c)
}

fn nearest_hole(planned: &[Vector2<f64>], at: Vector2<f64>) -> Option<usize> {
    (0..planned.len()).min_by(|&a, &b| {
        let away = |h: usize| (planned[h] - at).norm();
        away(a).total_cmp(&away(b))
    })
}

/// How far round a planned centre must be seen before its mark can be called missing, mm.
fn place_radius(plan: &Plan, sorted: &Sorted) -> f64 {
    let survey = sorted
        .live
        .iter()
        .chain(&sorted.crossed)
        .map(|m| expanded_widest(&m.cov))
        .fold(0.0, f64::max);
    plan.tolerance_mm + MARK_RADIUS_MM + survey.min(PLACE_U_CAP_MM)
}

/// Whether the grid is one: as many cells as it says.
pub(super) fn grid_is_sound(seen: &Seen) -> bool {
    seen.cell_mm > 0.0
        && seen.cell_mm.is_finite()
        && seen.columns.checked_mul(seen.rows) == Some(seen.cells.len())
        && !seen.cells.is_empty()
}

/// Whether every cell within `radius` of `at` was seen; what lies beyond the sheet need not be.
fn place_seen(seen: &Seen, plan: &Plan, at: Point<Sheet>, radius: f64) -> bool {
    if !grid_is_sound(seen) {
        return false;
    }
    let range = |centre: f64, length: f64| {
        let first = ((centre - radius).max(0.0) / seen.cell_mm).floor();
        let last = ((centre + radius).min(length) / seen.cell_mm).ceil();
        (first as usize, last as usize)
    };
    let (left, right) = range(at.x, plan.width_mm);
    let (bottom, top) = range(at.y, plan.height_mm);
    for row in bottom..top {
        for column in left..right {
            let shown =
                column < seen.columns && row < seen.rows && seen.cells[row * seen.columns + column];
            if seen.away([column, row], at) <= radius && !shown {
                return false;
            }
        }
    }
    true
}

/// Share of the planned sheet that was seen, 0 to 1; a grid that does not reach over the sheet has
/// not seen the rest.
pub(super) fn seen_share(seen: &Seen, plan: &Plan) -> f64 {
    if !grid_is_sound(seen) {
        return 0.0;
    }
    let cover = |cells: usize, length: f64| (cells as f64 * seen.cell_mm / length).min(1.0);
    seen.fraction() * cover(seen.columns, plan.width_mm) * cover(seen.rows, plan.height_mm)
}
