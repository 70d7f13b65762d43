//! Edge distances and spacings as marked, from a drawn photo: what they come to on the piece itself.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;

use punchready::check::{Checked, Given, check};
use punchready::frame::Point;
use punchready::photo;
use punchready::plan;
use punchready::report;
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{Camera, ExifFacts, PlacedCard, Scene, SheetPiece, render, write_jpeg};

/// Rivet diameter, mm.
const D: f64 = 3.2;

/// A coupon whose right row stands 2.11 D from its edge.
const COUPON: &str = r#"title = "Coupon"
units = "mm"
[sheet]
width = 130
height = 80
thickness = 1.0
[rivet]
diameter = 3.2
head = "protruding"
[tolerance]
position = 1.2
[[row]]
name = "A"
along = "bottom"
edge_distance = 10
first = 11
pitch = 12
count = 8
[[row]]
name = "E"
along = "right"
edge_distance = 6.75
first = 25
pitch = 12
count = 4
"#;

/// The coupon, cut to this width, with the second mark of row A moved along it by so much.
fn checked(width_mm: f64, moved_mm: f64) -> Checked {
    let plan = plan::parse(COUPON, Path::new("coupon.toml")).unwrap();
    let hand = Hand {
        scatter_mm: 0.02,
        line_scatter_mm: 0.01,
        seed: 5,
        ..Hand::default()
    };
    let marking = Marking::of(&plan, &hand)
        .shift("A2", moved_mm, 0.0)
        .unwrap();
    let scene = Scene {
        sheet: SheetPiece::sized(width_mm, plan.height_mm),
        cards: vec![
            PlacedCard::at(7, width_mm + 40.0, 32.0, 0.03),
            PlacedCard::at(12, 52.0, plan.height_mm + 40.0, 0.03),
            PlacedCard::at(9, -40.0, 40.0, 0.03),
        ],
        marks: marking.marks,
        camera: Camera::above(
            Point::new(0.5 * width_mm, 0.5 * plan.height_mm + 18.0),
            7.5,
            0.08,
            0.6,
            0.01,
            [2200, 1700],
        ),
        seed: 3,
        ..Scene::default()
    };
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("coupon.jpg");
    write_jpeg(&file, &render(&scene), &ExifFacts::default()).unwrap();
    let given = Given {
        print_scale: Some(PrintScale::from_bars([100.0; 2]).unwrap()),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    check(&photo::read(&file).unwrap(), &plan, &given)
}

/// The notes of edge distances and spacings as marked, and the lines of the table in rivet diameters.
fn told(width_mm: f64, moved_mm: f64) -> (Vec<String>, Vec<String>) {
    let plan = plan::parse(COUPON, Path::new("coupon.toml")).unwrap();
    let c = checked(width_mm, moved_mm);
    let report = c.report(&plan);
    let notes = report.notes.iter().filter(|n| n.contains("as marked"));
    let notes = notes.cloned().collect();
    let text = report::text::summary(&report, 80, false);
    let table = text.lines().skip_while(|l| !l.contains("rivet diameters"));
    let lines = table.take(4).map(str::to_string).collect();
    (notes, lines)
}

/// 2.11 D from the planned edge: on a piece cut 0.2 mm wide it is 2.17 D, which U of 0.10 D tells from 2 D; on one cut 0.7 mm narrow
/// it is 1.89 D.
#[test]
fn edge_distance_is_that_of_the_piece() {
    let (notes, table) = told(130.2, 0.0);
    assert_eq!(notes, [""; 0]);
    assert!(table[0].contains("D = 3.2 mm"), "{table:#?}");
    let cells: Vec<&str> = table[3].split_whitespace().collect();
    assert_eq!(cells[0], "E", "{table:#?}");
    let figures: Vec<f64> = cells[1..].iter().map(|c| c.parse().unwrap()).collect();
    let [start, end, u, least, mean, most, pitch_u] = figures[..] else {
        panic!("{table:#?}")
    };
    for edge in [start, end] {
        assert!((edge - 6.95 / D).abs() < u, "{table:#?}");
    }
    for pitch in [least, mean, most] {
        assert!((pitch - 12.0 / D).abs() < pitch_u + 0.1 / D, "{table:#?}");
    }

    let (notes, _) = told(129.3, 0.0);
    let under = notes
        .iter()
        .filter(|n| n.contains(": under 2 D per FAA AC"));
    assert_eq!(under.count(), 4, "{notes:#?}");
    assert!(
        notes[0].starts_with("edge distance of E1 as marked is 1."),
        "{notes:#?}"
    );

    // 1.98 D: one note for all four.
    let (notes, _) = told(129.6, 0.0);
    assert_eq!(notes.len(), 1, "{notes:#?}");
    assert!(
        notes[0].contains("cannot be told from 2 D")
            && notes[0].ends_with("; 3 more of such a kind"),
        "{notes:#?}"
    );
}

/// A mark moved towards its neighbour by 3 mm: 9 mm are 2.81 D.
#[test]
fn spacing_is_that_of_the_marks() {
    let (notes, _) = told(130.2, 3.0);
    assert_eq!(notes.len(), 1, "{notes:#?}");
    assert!(
        notes[0].starts_with("spacing of A2 and A3 as marked is 2.8")
            && notes[0].contains(": under 3 D per FAA AC 43.13-1B, par 4-57c(1), p 4-17"),
        "{notes:#?}"
    );
}
