//! The slip of a row, named from a rendered photo of it.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;

use punchready::check::{Given, check};
use punchready::frame::Point;
use punchready::photo;
use punchready::plan::{Plan, parse};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking, Style};
use punchready::synth::{
    Camera, ExifFacts, Mark, PlacedCard, Scene, Sensor, Shape, SheetPiece, render, write_jpeg,
};

/// Stitching strip of the float's deck: one row whose first gap is shorter, so that its ends differ.
const STRIP: &str = r#"title = "Deck stitching strip"
units = "mm"
[sheet]
width = 206
height = 60
thickness = 1.0
[rivet]
diameter = 3.2
[tolerance]
position = 0.5
[[row]]
name = "A"
along = "bottom"
edge_distance = 9
stations = [12, 28, 46, 64, 82, 100, 118, 136, 154, 172]
"#;

/// The same with an even pitch, in inches.
const EVEN: &str = r#"title = "Deck stitching strip, even"
units = "in"
[sheet]
width = "7 1/2"
height = "2 3/8"
thickness = 0.040
[rivet]
diameter = "1/8"
[tolerance]
position = "1/64"
[[row]]
name = "A"
along = "bottom"
edge_distance = "3/8"
first = "1/2"
pitch = "11/16"
count = 10
"#;

/// What is special in a photo.
#[derive(Clone, Copy)]
struct Slipped {
    plan: &'static str,
    /// Width of the ruled line, mm, and how far its middle is from its place.
    line: [f64; 2],
    /// How much the line rises from its first mark to its last, mm.
    rise: f64,
    /// True size of the print, and of nothing else, over what it should be.
    print: f64,
    /// Scatter of the hand, mm.
    scatter_mm: f64,
}

const PLAIN: Slipped = Slipped {
    plan: STRIP,
    line: [0.5, 0.0],
    rise: 0.0,
    print: 1.0,
    scatter_mm: 0.08,
};

/// The sentences for the bench about a photo of the row, each mark moved by `slip` from its planned place.
fn bench(seed: u64, with: Slipped, slip: impl Fn(usize, &Plan) -> [f64; 2]) -> Vec<String> {
    let plan = parse(with.plan, Path::new("strip.toml")).unwrap();
    let hand = Hand {
        scatter_mm: with.scatter_mm,
        line_scatter_mm: 0.04,
        rows: Style::Tick,
        ruled: false,
        seed,
        ..Hand::default()
    };
    let mut marking = Marking::of(&plan, &hand);
    let stations = &plan.rows[0].stations_mm;
    let rise =
        |x: f64| with.rise * (x - stations[0]) / (stations[stations.len() - 1] - stations[0]);
    for (k, hole) in plan.holes.iter().enumerate() {
        let [dx, dy] = slip(k, &plan);
        let rise = rise(hole.at.x);
        if dy == with.line[1] {
            // A tick stays on its line, wherever that was ruled.
            let mark = marking
                .marks
                .iter_mut()
                .find(|m| m.name.as_deref() == Some(&hole.name));
            mark.unwrap().shift(dx, dy + rise);
        } else {
            marking = marking.shift(&hole.name, dx, dy).unwrap();
        }
    }
    let y = plan.rows[0].edge_distance_mm + with.line[1];
    let on_line = |x: f64| Point::new(x, y + rise(x));
    let mut line = Mark::line(on_line(1.5), on_line(plan.width_mm - 1.5));
    if let Shape::Line { width_mm, .. } = &mut line.shape {
        *width_mm = with.line[0];
    }
    let mut marks = vec![line];
    marks.extend(marking.marks);
    let (w, h) = (plan.width_mm, plan.height_mm);
    let mut cards = vec![
        PlacedCard::at(7, 0.3 * w, h + 40.0, 0.04),
        PlacedCard::at(12, 0.75 * w, h + 42.0, -0.06),
    ];
    for card in &mut cards {
        card.print_scale = [with.print; 2];
    }
    let scene = Scene {
        camera: Camera::above(
            Point::new(w / 2.0, (h + 60.0) / 2.0),
            8.8,
            0.08,
            -1.4,
            0.02,
            [2016, 1512],
        ),
        sheet: SheetPiece {
            thickness_mm: plan.thickness_mm.unwrap(),
            ..SheetPiece::sized(w, h)
        },
        cards,
        marks,
        sensor: Sensor::default(),
        seed,
        ..Scene::default()
    };
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("row.jpg");
    write_jpeg(&path, &render(&scene), &ExifFacts::default()).unwrap();
    let photo = photo::read(&path).unwrap();
    let given = Given {
        // A print that is off is one whose bars nobody measured.
        print_scale: (with.print == 1.0).then(|| PrintScale::from_bars([100.0; 2]).unwrap()),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    check(&photo, &plan, &given).verdict.bench
}

/// Seeds of each case.
const SEEDS: std::ops::Range<u64> = 1..3;

/// Every photo of the case says `what`.
fn says(what: &str, with: Slipped, slip: impl Fn(usize, &Plan) -> [f64; 2]) {
    for seed in SEEDS {
        let told = bench(seed, with, &slip);
        assert!(
            told.iter().any(|t| t.contains(what)),
            "seed {seed}: {what}: {told:#?}"
        );
    }
}

#[test]
fn lengths() {
    says("mm short per step", PLAIN, |k, _| [-0.15 * k as f64, 0.0]);
    says("look where the rule was started from", PLAIN, |_, _| {
        [0.9, 0.0]
    });
    says("from A6 on, all marks lie 1.", PLAIN, |k, _| {
        [if k >= 5 { 1.5875 } else { 0.0 }, 0.0]
    });
    says("measured from the rule's 1 in line", PLAIN, |_, _| {
        [25.4, 0.0]
    });
}

/// Right up to the fourth mark, and 0.4 mm short per step from there.
#[test]
fn steps_from_a_later_mark() {
    for seed in SEEDS {
        let told = bench(seed, PLAIN, |k, _| [-0.4 * k.saturating_sub(3) as f64, 0.0]);
        let figure = told.iter().find_map(|t| {
            let rest = t.strip_prefix("row A: A4 to A10 run ")?;
            let (mm, rest) =
                rest.split_once(" mm short per step: measure each from the end edge")?;
            rest.contains("(how likely")
                .then_some(mm)?
                .parse::<f64>()
                .ok()
        });
        let right = figure.is_some_and(|mm| (mm - 0.4).abs() < 0.05);
        assert!(right, "seed {seed}: {told:#?}");
    }
}

#[test]
fn ends() {
    says("in reverse order", PLAIN, |k, plan| {
        let s = &plan.rows[0].stations_mm;
        [s[0] + s[9] - s[9 - k] - s[k], 0.0]
    });
    // The same distances from the right end.
    says(
        "measured from the other end edge",
        Slipped {
            plan: EVEN,
            ..PLAIN
        },
        |k, plan| {
            let s = &plan.rows[0].stations_mm;
            [plan.width_mm - s[9 - k] - s[k], 0.0]
        },
    );
}

#[test]
fn units() {
    let even = Slipped {
        plan: EVEN,
        ..PLAIN
    };
    let pitch = 25.4 * 11.0 / 16.0;
    says("a pitch of 17 mm", even, |k, _| {
        [(17.0 - pitch) * k as f64, 0.0]
    });
    says("each inch is taken as 25 mm", even, |k, plan| {
        [plan.rows[0].stations_mm[k] * (25.0 / 25.4 - 1.0), 0.0]
    });
}

#[test]
fn sideways() {
    // Line and marks together.
    says(
        "a misread edge distance",
        Slipped {
            line: [0.5, 0.9],
            ..PLAIN
        },
        |_, _| [0.0, 0.9],
    );
    says(
        "rule its line again",
        Slipped { rise: 1.2, ..PLAIN },
        |_, _| [0.0, 0.0],
    );
    says(
        "look what the row was measured from",
        Slipped {
            line: [0.5, -0.8],
            ..PLAIN
        },
        |_, _| [0.8, -0.8],
    );
    says(
        "on the wrong side of the ruled line",
        Slipped {
            line: [0.8, 0.4],
            ..PLAIN
        },
        |_, _| [0.0, 0.8],
    );
}

/// A print a little small makes all that is measured with it too large.
#[test]
fn a_print_that_is_off_is_no_drift() {
    let off = Slipped {
        print: 0.992,
        ..PLAIN
    };
    says("the cards' print is not true to size", off, |_, _| {
        [0.0, 0.0]
    });
}

/// A careless hand alone is no cause: one row in six may look like one by chance.
#[test]
fn a_careless_hand_is_no_slip() {
    let careless = Slipped {
        scatter_mm: 0.35,
        ..PLAIN
    };
    let claimed = (1..7).filter(|&seed| {
        let told = bench(seed, careless, |_, _| [0.0, 0.0]);
        told.iter().any(|t| t.starts_with("row "))
    });
    assert!(claimed.count() <= 1);
}
