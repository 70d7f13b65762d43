//! A strip of which no photo shows an end: the marks are laid on the plan along its edge, all figures are told, and nothing
//! is claimed of where they lie on the sheet.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;

use punchready::check::{Checked, Given, check};
use punchready::frame::Point;
use punchready::photo;
use punchready::plan::{self, Plan};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{
    Bench, Camera, ExifFacts, PlacedCard, Scene, SheetPiece, Surface, render, write_jpeg,
};
use punchready::verdict::{Decision, HoleState};

/// Marks laid on the plan are off from it as they are from each other: the hand's scatter and half of the edge's doubt, mm.
const LAID_MM: f64 = 0.4;

fn plan() -> Plan {
    let text = r#"
        title = "Strip"
        units = "mm"
        [sheet]
        width = 420
        height = 60
        thickness = 1.0
        [tolerance]
        position = 0.8
        [[row]]
        name = "A"
        along = "bottom"
        edge_distance = 10
        stations = [130, 151, 175, 196, 221, 240, 262, 287]
        "#;
    plan::parse(text, Path::new("strip.toml")).unwrap()
}

/// The middle of the strip from above.
fn checked(plan: &Plan) -> Checked {
    let (w, h) = (plan.width_mm, plan.height_mm);
    let hand = Hand {
        scatter_mm: 0.1,
        line_scatter_mm: 0.04,
        seed: 5,
        ..Hand::default()
    };
    let scene = Scene {
        sheet: SheetPiece::sized(w, h),
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards: vec![
            PlacedCard::at(7, 0.5 * w - 60.0, h + 40.0, 0.03),
            PlacedCard::at(12, 0.5 * w + 50.0, h + 42.0, -0.02),
        ],
        marks: Marking::of(plan, &hand).marks,
        camera: Camera::above(
            Point::new(0.5 * w, 0.5 * h + 18.0),
            8.0,
            0.06,
            0.6,
            0.01,
            [2000, 1200],
        ),
        seed: 3,
        ..Scene::default()
    };
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("strip.jpg");
    write_jpeg(&file, &render(&scene), &ExifFacts::default()).unwrap();
    let given = Given {
        print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
        card_below_mm: Some(0.0),
        card_thickness_mm: Some(0.0),
        ..Given::default()
    };
    check(&photo::read(&file).unwrap(), plan, &given)
}

#[test]
fn a_strip_without_its_ends_is_checked_as_a_pattern_and_never_ready() {
    let plan = plan();
    let checked = checked(&plan);
    let verdict = &checked.verdict;
    let told = |code| verdict.reasons.iter().any(|r| r.code == code);
    assert!(told("pattern-only"), "{:?}", verdict.reasons);
    assert_ne!(verdict.decision, Decision::Ready);
    let found: Vec<_> = verdict.holes.iter().filter(|h| h.found.is_some()).collect();
    assert!(found.len() >= 7, "{} of 8 marks found", found.len());
    for hole in found {
        let off = (hole.found.unwrap() - hole.planned).norm();
        assert!(off < LAID_MM, "{} is {off:.2} mm off", hole.name);
        // Where the row lies on the sheet is not shown, so no hole is right or wrong.
        assert!(
            !matches!(hole.state, HoleState::Good | HoleState::Off),
            "{} is {:?}",
            hole.name,
            hole.state
        );
    }
}
