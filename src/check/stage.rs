//! How far the work is: what counts as a mark then, and what is said of it.

use super::Checked;
use crate::ink::view::FlatView;
use crate::ink::{Doubt, Ink, Mark, MarkKind, Unsure, worked};
use crate::plan::Plan;
use crate::survey::SheetFrame;
use crate::verdict::{Decision, Reason, Weight, names};

/// How far the work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Stage {
    /// Marked out with a pen. Holes that the plan says are drilled already count as they are.
    #[default]
    Marked,
    /// Centre-punched: dimples are the marks.
    Punched,
    /// Drilled: holes are the marks, and their diameter is held against the plan's drill.
    Drilled,
}

impl Stage {
    /// By its name on the command line.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        [
            ("marked", Self::Marked),
            ("punched", Self::Punched),
            ("drilled", Self::Drilled),
        ]
        .into_iter()
        .find(|(n, _)| *n == name)
        .map(|(_, s)| s)
    }

    /// The stage that a mark of this kind has reached.
    fn of(kind: MarkKind) -> Self {
        match kind {
            MarkKind::Dimple => Self::Punched,
            MarkKind::Hole => Self::Drilled,
            _ => Self::Marked,
        }
    }
}

/// A mark is a hole's own work when it stands within this many tolerances of it.
const OWN_TOLERANCES: f64 = 3.0;
/// A drill cuts wider than itself by up to this, and a burr hides as much, mm: common practice, no source.
const DRILL_CUTS_MM: f64 = 0.15;
/// Expanded uncertainty of a measured diameter, mm: burr and blur, beyond what the scale is off.
const DIAMETER_U_MM: f64 = 0.12;

/// The ink with what punch and drill left, as far as the stage asks for it. Until holes are drilled, one counts only where
/// the plan says that it is: a blot over a mark is as dark, and may be as round, and says the opposite.
pub(super) fn with_worked(
    plan: &Plan,
    stage: Stage,
    (view, frame): (&FlatView, &SheetFrame),
    ink: Ink,
) -> Ink {
    if stage == Stage::Marked && plan.drilled.is_empty() {
        return ink;
    }
    let reach = OWN_TOLERANCES * plan.tolerance_mm;
    let said_drilled = |m: &Mark| plan.drilled.iter().any(|h| h.at.distance(m.at) <= reach);
    let planned: Vec<_> = plan.holes.iter().map(|h| h.at).collect();
    let dimples = (stage > Stage::Marked).then_some(&planned[..]);
    let mut found = worked::read(view, frame, &ink, dimples);
    found.retain(|w| {
        w.mark.kind != MarkKind::Hole || stage == Stage::Drilled || said_drilled(&w.mark)
    });
    worked::put_in(ink, found)
}

/// A mark that has not come as far as the stage asks is none of it. Whether it was worked at all cannot be told for
/// sure from what the pen left, so its hole is unsure ink, never missing and never good.
pub(super) fn judge(plan: &Plan, stage: Stage, checked: &mut Checked) {
    let reach = OWN_TOLERANCES * plan.tolerance_mm;
    let mut behind: Vec<usize> = Vec::new();
    for (h, hole) in plan.holes.iter().enumerate() {
        let ink = &mut checked.ink;
        let own = |m: &Mark| m.at.distance(hole.at) <= reach && !m.crossed_out;
        let early: Vec<Mark> = ink
            .marks
            .extract_if(.., |m| own(m) && Stage::of(m.kind) < stage)
            .collect();
        let done = ink.marks.iter().any(own);
        if let (Some(mark), false) = (early.first(), done) {
            behind.push(h);
            ink.unsure.push(Unsure {
                at: mark.at,
                cov: mark.cov,
                size_mm: mark.size_mm,
                why: Doubt::NotWorked,
                writing: false,
                probability: None,
            });
        }
    }
    if !behind.is_empty() {
        let what = if stage == Stage::Drilled {
            "drilled"
        } else {
            "punched"
        };
        let text = format!(
            "{} marked and not {what} yet, as far as the photo shows: {}",
            counted(behind.len()),
            names(plan, &behind)
        );
        checked.findings.push((
            Weight::Note,
            Reason {
                code: "stage-behind",
                text,
            },
        ));
    }
    if stage == Stage::Drilled && checked.measured.is_some() {
        diameters(plan, checked);
    }
}

fn counted(holes: usize) -> String {
    match holes {
        1 => "1 hole is".into(),
        n => format!("{n} holes are"),
    }
}

/// Measured diameters against the plan's drill.
fn diameters(plan: &Plan, checked: &mut Checked) {
    let reach = OWN_TOLERANCES * plan.tolerance_mm;
    let holes: Vec<(&str, f64)> = plan
        .holes
        .iter()
        .filter_map(|h| {
            let own = checked
                .ink
                .marks
                .iter()
                .filter(|m| m.kind == MarkKind::Hole);
            let nearest = own.min_by(|a, b| a.at.distance(h.at).total_cmp(&b.at.distance(h.at)))?;
            (nearest.at.distance(h.at) <= reach).then_some((h.name.as_str(), nearest.size_mm))
        })
        .collect();
    if holes.is_empty() {
        return;
    }
    let least = holes.iter().map(|h| h.1).fold(f64::INFINITY, f64::min);
    let most = holes.iter().map(|h| h.1).fold(0.0, f64::max);
    let measure = format!("the holes measure {least:.2} to {most:.2} mm (U {DIAMETER_U_MM:.2} mm)");
    let Some(drill) = &plan.drill else {
        let text = format!(
            "{measure}; the plan names no drill to hold them against ([rivet] drill = \"#30\")"
        );
        checked.findings.push((
            Weight::Note,
            Reason {
                code: "hole-diameter",
                text,
            },
        ));
        return;
    };
    let wrong: Vec<String> = holes
        .iter()
        .filter(|(_, mm)| (mm - drill.diameter_mm).abs() > DRILL_CUTS_MM + DIAMETER_U_MM)
        .map(|(name, mm)| format!("{name} ({mm:.2} mm)"))
        .collect();
    let named = format!(
        "the plan's drill is {} ({:.2} mm)",
        drill.name, drill.diameter_mm
    );
    let finding = if wrong.is_empty() {
        (
            Weight::Note,
            Reason {
                code: "hole-diameter",
                text: format!("{measure}; {named}"),
            },
        )
    } else {
        let text = format!(
            "drilled with another drill than planned: {}; {named}",
            wrong.join(", ")
        );
        (
            Weight::Wrong,
            Reason {
                code: "drill-size",
                text,
            },
        )
    };
    checked.findings.push(finding);
}

/// What "ready" means at this stage.
pub(super) fn said(stage: Stage, decision: Decision) -> Option<(Weight, Reason)> {
    let text = match (stage, decision) {
        (Stage::Punched, Decision::Ready) => "punched as planned: ready to drill",
        (Stage::Drilled, Decision::Ready) => "drilled as planned",
        _ => return None,
    };
    let text = text.to_owned();
    Some((
        Weight::Note,
        Reason {
            code: "stage-done",
            text,
        },
    ))
}
