//! The decision, and why.

use super::states::{Judged, seen_share};
use super::words::{names, nearest, place_near};
use super::{Decision, HoleState, Reason, StrayState, Weight};
use crate::frame::{Point, Sheet};
use crate::ink::Ink;
use crate::plan::Plan;
use crate::plan::length::{show_fine, show_planned, show_range};
use crate::sheet::Outline;

/// What a finding does to the decision, the gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Gravity {
    /// Surely wrong.
    Wrong,
    /// Not proven right.
    Unproven,
    /// Worth knowing.
    Note,
}

/// Whether an earlier stage stopped before anything was read from the face.
pub(super) fn stopped(ink: &Ink, extra: &[(Weight, Reason)]) -> bool {
    extra.iter().any(|(weight, _)| *weight == Weight::Blocks)
        && ink.marks.is_empty()
        && ink.unsure.is_empty()
        && !ink.seen.cells.contains(&true)
}

/// The findings of earlier stages alone, those that block first.
pub(super) fn causes(extra: &[(Weight, Reason)]) -> Vec<Reason> {
    let of = |wanted| extra.iter().filter(move |(weight, _)| *weight == wanted);
    of(Weight::Blocks)
        .chain(of(Weight::Note))
        .map(|(_, reason)| reason.clone())
        .collect()
}

/// Weighs all findings. Ready needs that there is none but notes; this is the only way to it.
pub(super) fn weigh(
    plan: &Plan,
    ink: &Ink,
    outline: &Outline,
    judged: &Judged,
    extra: &[(Weight, Reason)],
) -> (Decision, Vec<Reason>) {
    let mut found: Vec<(Gravity, Reason)> = Vec::new();
    strays(plan, judged, &mut found);
    holes(plan, judged, &mut found);
    for (weight, reason) in extra {
        let gravity = match weight {
            Weight::Wrong => Gravity::Wrong,
            Weight::Blocks => Gravity::Unproven,
            Weight::Note => Gravity::Note,
        };
        found.push((gravity, reason.clone()));
    }
    if !extra.iter().any(|(_, r)| r.code == SHEET_SIZE) {
        sheet_size(plan, outline, &mut found);
    }
    face(plan, ink, judged, &mut found);
    // Stable: within one gravity the order above holds.
    found.sort_by_key(|(gravity, _)| *gravity);

    let all_good =
        !judged.holes.is_empty() && judged.holes.iter().all(|h| h.state == HoleState::Good);
    let gravest = found.first().map_or(Gravity::Note, |f| f.0);
    let decision = match gravest {
        Gravity::Wrong => Decision::NotReady,
        Gravity::Note if all_good => Decision::Ready,
        Gravity::Unproven | Gravity::Note => Decision::CannotTell,
    };
    let mut reasons: Vec<Reason> = found.into_iter().map(|(_, reason)| reason).collect();
    if decision == Decision::Ready {
        let text = format!(
            "{} of {} holes are marked within {} of their places, with {} counted against them, and nothing else \
             is on the face",
            judged.holes.len(),
            plan.holes.len(),
            show_fine(plan.tolerance_mm, plan.units),
            match plan.risk {
                None => "U".to_owned(),
                Some(risk) => format!(
                    "{:.2} U (a risk of {risk} a hole)",
                    super::decision_rule::guard_over_u(plan.risk)
                ),
            }
        );
        reasons.insert(0, reason("all-good", text));
    }
    (decision, reasons)
}

fn reason(code: &'static str, text: String) -> Reason {
    Reason { code, text }
}

/// "1 mark", "3 marks".
fn counted(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

/// Where marks are: a few each by the way from its nearest hole, more by the holes that they are near.
fn places_of(plan: &Plan, judged: &Judged, strays: &[usize]) -> String {
    /// So many are told one by one; the bench list has the rest.
    const FEW: usize = 2;
    if strays.len() <= FEW {
        let each = strays
            .iter()
            .map(|&s| place_near(plan, judged.strays[s].at));
        return format!(", {}", each.collect::<Vec<_>>().join(", and "));
    }
    near_holes(plan, strays.iter().map(|&s| judged.strays[s].at))
}

/// ", near A3 and B2"; nothing where most are further from any hole than "near" means.
fn near_holes(plan: &Plan, places: impl Iterator<Item = Point<Sheet>>) -> String {
    /// A finger's breadth, mm: what is further away is not looked for there.
    const NEAR_MM: f64 = 15.0;
    let (mut holes, mut away) = (Vec::new(), 0);
    for at in places {
        match nearest(plan, at) {
            Some(h) if plan.holes[h].at.distance(at) <= NEAR_MM => holes.push(h),
            _ => away += 1,
        }
    }
    holes.sort_unstable();
    holes.dedup();
    match (holes.is_empty(), away) {
        (true, 0) => String::new(),
        (true, _) => ", away from the holes".to_owned(),
        (false, 0) => format!(", near {}", names(plan, &holes)),
        (false, n) => format!(
            ", near {}, and {n} away from the holes",
            names(plan, &holes)
        ),
    }
}

fn strays(plan: &Plan, judged: &Judged, found: &mut Vec<(Gravity, Reason)>) {
    let pick = |state: StrayState, ringed: Option<bool>| -> Vec<usize> {
        (0..judged.strays.len())
            .filter(|&s| {
                let stray = &judged.strays[s];
                stray.state == state && ringed.is_none_or(|r| r == stray.ringed)
            })
            .collect()
    };
    let ringed = pick(StrayState::Stray, Some(true));
    if !ringed.is_empty() {
        let text = format!(
            "{}{}: no hole is planned there, and a ring says drill here",
            counted(ringed.len(), "ringed extra mark"),
            places_of(plan, judged, &ringed)
        );
        found.push((Gravity::Wrong, reason("stray-ringed", text)));
    }
    // The second mark of a double hole is told with the hole.
    let plain: Vec<usize> = pick(StrayState::Stray, Some(false))
        .into_iter()
        .filter(|&s| judged.stray_at[s].is_none())
        .collect();
    if !plain.is_empty() {
        let text = format!(
            "{}{}: no hole is planned there",
            counted(plain.len(), "extra mark"),
            places_of(plan, judged, &plain)
        );
        found.push((Gravity::Wrong, reason("stray-mark", text)));
    }
    let unsure = pick(StrayState::Unsure, None);
    if !unsure.is_empty() {
        let text = format!(
            "{}{}",
            counted(unsure.len(), "unclear mark"),
            places_of(plan, judged, &unsure)
        );
        found.push((Gravity::Unproven, reason("unsure-ink", text)));
    }
    let cancelled = pick(StrayState::Cancelled, None);
    if !cancelled.is_empty() {
        let text = format!(
            "{}{}: harmless",
            counted(cancelled.len(), "crossed-out extra mark"),
            places_of(plan, judged, &cancelled)
        );
        found.push((Gravity::Note, reason("stray-cancelled", text)));
    }
    if !judged.writing.is_empty() {
        let text = format!(
            "writing or print{} is not read: look that no mark stands in it",
            near_holes(plan, judged.writing.iter().copied())
        );
        found.push((Gravity::Note, reason("writing", text)));
    }
}

fn holes(plan: &Plan, judged: &Judged, found: &mut Vec<(Gravity, Reason)>) {
    let of = |state: HoleState| -> Vec<usize> {
        (0..judged.holes.len())
            .filter(|&h| judged.holes[h].state == state)
            .collect()
    };
    let verb = |list: &[usize], one: &'static str, many: &'static str| {
        if list.len() == 1 { one } else { many }
    };
    let mut tell = |gravity, code, list: &[usize], rest: String| {
        if !list.is_empty() {
            found.push((
                gravity,
                reason(code, format!("{} {rest}", names(plan, list))),
            ));
        }
    };
    let double = of(HoleState::Double);
    let rest = format!("{} more than one mark", verb(&double, "has", "have"));
    tell(Gravity::Wrong, "hole-double", &double, rest);

    let off = of(HoleState::Off);
    let distances = off.iter().filter_map(|&h| {
        let hole = &judged.holes[h];
        Some(hole.found?.distance(hole.planned))
    });
    let (least, most) = distances.fold((f64::INFINITY, 0.0_f64), |(a, b), d| (a.min(d), b.max(d)));
    let range = show_range(least, most, plan.units);
    let rest = format!(
        "{} out of place by {range}; the plan allows {}",
        verb(&off, "is", "are"),
        show_fine(plan.tolerance_mm, plan.units)
    );
    tell(Gravity::Wrong, "hole-off", &off, rest);

    let cancelled = of(HoleState::Cancelled);
    let rest = verb(
        &cancelled,
        "has only a crossed-out mark",
        "have only crossed-out marks",
    );
    tell(Gravity::Wrong, "hole-cancelled", &cancelled, rest.into());

    let missing = of(HoleState::Missing);
    let rest = format!("{} no mark", verb(&missing, "has", "have"));
    tell(Gravity::Wrong, "hole-missing", &missing, rest);

    let close = of(HoleState::Close);
    let rest = format!(
        "{} too close to call: within measuring error of the limit of {}",
        verb(&close, "is", "are"),
        show_fine(plan.tolerance_mm, plan.units)
    );
    tell(Gravity::Unproven, "hole-close", &close, rest);

    let (unsure, unseen): (Vec<usize>, Vec<usize>) = of(HoleState::Unseen)
        .into_iter()
        .partition(|&h| judged.seen[h]);
    let rest = format!(
        "{} that may be {} or not",
        verb(
            &unsure,
            "is unclear: there is ink at its place",
            "are unclear: there is ink at their places"
        ),
        verb(&unsure, "its mark", "their marks")
    );
    tell(Gravity::Unproven, "hole-unsure", &unsure, rest);
    let rest = format!("{} not visible in the photo", verb(&unseen, "is", "are"));
    tell(Gravity::Unproven, "hole-unseen", &unseen, rest);
}

const SHEET_SIZE: &str = "sheet-size";

/// A sheet of another size than planned: a wrong sheet, a wrong plan, or a wrong scale. Rows along the
/// top and right edges would then also stand wrong to their own edge.
fn sheet_size(plan: &Plan, outline: &Outline, found: &mut Vec<(Gravity, Reason)>) {
    let sides = [
        ("wide", outline.width_mm, plan.width_mm),
        ("high", outline.height_mm, plan.height_mm),
    ];
    for (word, measured, planned) in sides {
        let Some([size, u]) = measured else { continue };
        let expanded = super::decision_rule::COVERAGE_FACTOR * u;
        let fits = (size - planned).abs() <= plan.tolerance_mm + expanded;
        if !fits {
            let text = format!(
                "the sheet measures {} {word} (U {}), the plan says {}: another sheet, another plan, or a card not \
                 printed at true size",
                show_fine(size, plan.units),
                show_fine(expanded, plan.units),
                show_planned(planned, plan.units)
            );
            found.push((Gravity::Unproven, reason(SHEET_SIZE, text)));
        }
    }
}

fn face(plan: &Plan, ink: &Ink, judged: &Judged, found: &mut Vec<(Gravity, Reason)>) {
    if judged.holes.is_empty() {
        found.push((
            Gravity::Unproven,
            reason("no-holes", "the plan has no holes".into()),
        ));
    }
    if judged.unplaced > 0 {
        let text = format!(
            "the place of {} could not be measured",
            counted(judged.unplaced, "mark")
        );
        found.push((Gravity::Unproven, reason("mark-unplaced", text)));
    }
    let share = seen_share(&ink.seen, plan);
    let enough = share >= plan.seen_fraction;
    if !enough {
        // Rounded down, so that too little never reads as enough.
        let text = format!(
            "{:.1} % of the face is visible; the plan asks for {} %",
            (share * 1000.0).floor() / 10.0,
            (plan.seen_fraction * 1000.0).ceil() / 10.0
        );
        found.push((Gravity::Unproven, reason("face-unseen", text)));
    }
}
