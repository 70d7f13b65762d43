//! Holes that the plan knows to be drilled already.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;

use punchready::frame::{Cov2, Point};
use punchready::ink::{Ink, Mark, MarkKind, Seen, Unsure};
use punchready::plan::{Plan, parse};
use punchready::sheet::Outline;
use punchready::verdict::{Decision, decide};

fn plan(drilled: bool) -> Plan {
    let text = format!(
        "units = \"mm\"\n[sheet]\nwidth = 100\nheight = 60\n[rivet]\ndiameter = 3.2\n[tolerance]\nposition = 0.8\n\
         [[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = 10\nfirst = 20\npitch = 20\ncount = 4\n{}",
        if drilled {
            "[[hole]]\nname = \"P1\"\nx = 50\ny = 40\ndrilled = true\n"
        } else {
            ""
        }
    );
    parse(&text, Path::new("p.toml")).unwrap()
}

/// All marks in place, and unnamed ink of this size beside P1's place.
fn ink(plan: &Plan, [x, y]: [f64; 2], size_mm: f64) -> Ink {
    let size = [plan.width_mm, plan.height_mm];
    let mut ink = Ink::unseen(size);
    ink.seen = Seen::of(size, |_| true);
    ink.marks = plan
        .holes
        .iter()
        .map(|h| Mark {
            probability: None,
            at: h.at,
            cov: Cov2::identity() * 0.0025,
            kind: MarkKind::Dot,
            size_mm: 0.8,
            ringed: false,
            crossed_out: false,
        })
        .collect();
    ink.unsure.push(Unsure {
        at: Point::new(x, y),
        cov: Cov2::identity() * 0.01,
        size_mm,
        why: punchready::ink::Doubt::DarkSpot,
        writing: false,
        probability: None,
    });
    ink
}

#[test]
fn a_drilled_hole_of_the_plan_is_no_stray() {
    let decision = |drilled: bool, at: [f64; 2], size_mm: f64| {
        let plan = plan(drilled);
        decide(&plan, &ink(&plan, at, size_mm), &Outline::default(), &[]).decision
    };
    assert_eq!(decision(true, [50.3, 40.2], 3.4), Decision::Ready);
    // Unknown to the plan, elsewhere, or larger than the hole: still to be looked at.
    assert_eq!(decision(false, [50.3, 40.2], 3.4), Decision::CannotTell);
    assert_eq!(decision(true, [55.0, 40.0], 3.4), Decision::CannotTell);
    assert_eq!(decision(true, [50.0, 40.0], 9.0), Decision::CannotTell);
}

/// A live mark beside a drilled hole is a stray like any other.
#[test]
fn a_mark_beside_a_drilled_hole_is_a_stray() {
    let plan = plan(true);
    let mut ink = ink(&plan, [50.0, 40.0], 3.3);
    let mut mark = ink.marks[0].clone();
    mark.at = Point::new(54.0, 40.0);
    ink.marks.push(mark);
    let verdict = decide(&plan, &ink, &Outline::default(), &[]);
    assert_eq!(verdict.decision, Decision::NotReady);
    assert_eq!(verdict.strays.len(), 1);
}
