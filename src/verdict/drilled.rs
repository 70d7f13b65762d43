//! Holes that are drilled already: the plan knows of them, and what shows there is neither a stray nor unnamed ink.

use std::borrow::Cow;

use crate::frame::{Point, Sheet};
use crate::ink::Ink;
use crate::plan::Plan;

/// Diameter of a drilled hole where the plan names neither drill nor rivet, mm: the largest that is riveted by hand.
const LARGEST_MM: f64 = 6.5;
/// A hole's burr, chamfer and shadow make it look larger than it is by up to this, mm.
const RIM_MM: f64 = 1.5;

/// The ink without what is only a drilled hole of the plan: a spot or a mark no larger than the hole, with its middle
/// within tolerance. Larger ink there is left in: it may be more than the hole.
pub(super) fn left_out<'i>(plan: &Plan, ink: &'i Ink) -> Cow<'i, Ink> {
    if plan.drilled.is_empty() {
        return Cow::Borrowed(ink);
    }
    let drill = plan.drill.as_ref().map(|d| d.diameter_mm);
    let diameter = drill
        .into_iter()
        .chain(plan.rivet_mm)
        .reduce(f64::max)
        .unwrap_or(LARGEST_MM);
    let is_hole = |at: Point<Sheet>, size_mm: f64| {
        let near = |h: &crate::plan::Hole| h.at.distance(at) <= plan.tolerance_mm + RIM_MM / 2.0;
        size_mm <= diameter + RIM_MM && plan.drilled.iter().any(near)
    };
    let mut rest = ink.clone();
    rest.marks
        .retain(|m| m.ringed || m.crossed_out || !is_hole(m.at, m.size_mm));
    rest.unsure.retain(|u| !is_hole(u.at, u.size_mm));
    Cow::Owned(rest)
}
