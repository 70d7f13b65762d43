//! Two marks as datum: places are told from them, with edges in view and without.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;

use punchready::check::{Checked, Given, check};
use punchready::frame::{Point, Sheet};
use punchready::photo;
use punchready::plan::{Plan, parse};
use punchready::survey::PrintScale;
use punchready::synth::{
    Camera, ExifFacts, Mark, PlacedCard, Scene, Sensor, SheetPiece, render, write_jpeg,
};
use punchready::verdict::{Decision, HoleState};

/// A row of the float's keel that is measured from its two end holes, and two holes above it.
const PLAN: &str = r#"title = "Keel doubler"
units = "mm"
datum = ["A1", "A6"]
[sheet]
width = 150
height = 90
thickness = 1.0
[tolerance]
position = 0.6
[seen]
fraction = 0.4
[[row]]
name = "A"
along = "bottom"
edge_distance = 20
stations = [20, 38, 60, 82, 104, 130]
[[hole]]
name = "P1"
x = 40
y = 60
[[hole]]
name = "P2"
x = 118
y = 55
"#;

/// How near the camera is.
const PX_PER_MM: f64 = 8.4;

/// The plan's holes as dots, moved by a rigid motion and then by `fault` (by hole name).
fn dots(
    plan: &Plan,
    [dx, dy, turn]: [f64; 3],
    fault: impl Fn(&str) -> Option<[f64; 2]>,
) -> Vec<Mark> {
    let (s, c) = turn.sin_cos();
    plan.holes
        .iter()
        .filter_map(|h| {
            let [fx, fy] = fault(&h.name)?;
            let (x, y) = (h.at.x + fx, h.at.y + fy);
            Some(Mark::dot(c * x - s * y + dx, s * x + c * y + dy))
        })
        .collect()
}

/// A photo of marks on a sheet of this size whose lower left corner is at (0, 0), checked.
fn checked(
    plan: &Plan,
    size: [f64; 2],
    marks: Vec<Mark>,
    cards: Vec<PlacedCard>,
    centre: Point<Sheet>,
) -> Checked {
    let scene = Scene {
        camera: Camera::above(centre, PX_PER_MM, 0.07, -1.2, 0.03, [2016, 1512]),
        sheet: SheetPiece::sized(size[0], size[1]),
        cards,
        marks,
        sensor: Sensor::default(),
        seed: 5,
        ..Scene::default()
    };
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("keel.jpg");
    write_jpeg(&path, &render(&scene), &ExifFacts::default()).unwrap();
    let given = Given {
        print_scale: Some(PrintScale::from_bars([100.0; 2]).unwrap()),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    check(&photo::read(&path).unwrap(), plan, &given)
}

/// A large skin: no edge of it is in the photo, and the plan's corner is nothing but a point on it.
fn on_a_skin(fault: impl Fn(&str) -> Option<[f64; 2]>, turn: f64) -> Checked {
    let plan = parse(PLAN, Path::new("keel.toml")).unwrap();
    let at = [231.0, 187.0, turn];
    let marks = dots(&plan, at, fault);
    let cards = vec![
        PlacedCard::at(7, 231.0 + 80.0, 187.0 + 92.0, 0.05),
        PlacedCard::at(45, 231.0 + 75.0, 187.0 - 4.0, 0.02),
    ];
    checked(
        &plan,
        [620.0, 480.0],
        marks,
        cards,
        Point::new(231.0 + 75.0, 187.0 + 50.0),
    )
}

fn nothing(_: &str) -> Option<[f64; 2]> {
    Some([0.0; 2])
}

#[test]
fn on_a_skin_without_edges_all_is_told_from_the_two_marks() {
    for turn in [0.0, 0.04] {
        let good = on_a_skin(nothing, turn);
        assert_eq!(
            good.verdict.decision,
            Decision::Ready,
            "{:#?}",
            good.verdict.reasons
        );
        let off = on_a_skin(
            |n| Some(if n == "A4" { [1.1, 0.0] } else { [0.0; 2] }),
            turn,
        );
        assert_eq!(off.verdict.decision, Decision::NotReady);
        for hole in &off.verdict.holes {
            let expected = if hole.name == "A4" {
                HoleState::Off
            } else {
                HoleState::Good
            };
            assert_eq!(hole.state, expected, "{}", hole.name);
        }
        let found = off.verdict.holes.iter().find(|h| h.name == "A4").unwrap();
        let by = found.found.unwrap() - found.planned;
        assert!((by.x - 1.1).abs() < 0.15 && by.y.abs() < 0.15, "{by}");
    }
}

#[test]
fn without_a_datum_mark_nothing_is_told() {
    let no_end = on_a_skin(|n| (n != "A6").then_some([0.0; 2]), 0.0);
    assert_eq!(no_end.verdict.decision, Decision::CannotTell);
    let why = &no_end.verdict.reasons[0];
    assert_eq!(why.code, "no-datum", "{}", why.text);
    assert!(why.text.contains("A1 and A6"), "{}", why.text);
    assert!(no_end.verdict.holes.iter().all(|h| h.found.is_none()));
}

/// Marks that stand right to each other, and wrong to the edges: ready by the two marks, not by the edges.
#[test]
fn with_edges_in_view_the_marks_are_still_the_datum() {
    let moved = [2.2, -1.4, 0.0];
    let by_marks = parse(PLAN, Path::new("keel.toml")).unwrap();
    let by_edges = parse(
        &PLAN.replace("datum = [\"A1\", \"A6\"]\n", ""),
        Path::new("keel.toml"),
    )
    .unwrap();
    let cards = || {
        vec![
            PlacedCard::at(7, 38.0, 128.0, 0.05),
            PlacedCard::at(12, 112.0, 130.0, -0.04),
        ]
    };
    let decide = |plan: &Plan| {
        let marks = dots(plan, moved, nothing);
        let mut scene_cards = cards();
        scene_cards.truncate(2);
        let middle = Point::new(75.0, 76.0);
        let scene_check = checked(plan, [150.0, 90.0], marks, scene_cards, middle);
        (scene_check.verdict.decision, scene_check.verdict.reasons)
    };
    let (decision, reasons) = decide(&by_marks);
    assert_eq!(decision, Decision::Ready, "{reasons:#?}");
    let (decision, reasons) = decide(&by_edges);
    assert_eq!(decision, Decision::NotReady, "{reasons:#?}");
}
