//! Cross-checks that catch a wrong scale before it harms: each slip is drawn, and told in words that say what to do.
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

fn plan() -> Plan {
    let text = r#"
        title = "Coupon"
        units = "mm"
        [sheet]
        width = 130
        height = 80
        thickness = 1.0
        [rivet]
        diameter = 3.2
        [tolerance]
        position = 1.2
        [[row]]
        name = "A"
        along = "bottom"
        edge_distance = 10
        first = 11
        pitch = 12
        count = 10
        [[row]]
        name = "B"
        along = "top"
        edge_distance = 10
        first = 11
        pitch = 12
        count = 10
        "#;
    plan::parse(text, Path::new("coupon.toml")).unwrap()
}

/// What is wrong.
struct Slip {
    /// The size at which each of the cards is printed.
    prints: Vec<f64>,
    /// How far apart the marks stand, against the plan.
    stretch: f64,
    bars_mm: Option<[f64; 2]>,
}

const NONE: [f64; 2] = [100.0, 100.0];

fn checked(slip: &Slip) -> Checked {
    checked_by(&plan(), slip)
}

fn checked_by(plan: &Plan, slip: &Slip) -> Checked {
    let (w, h) = (plan.width_mm, plan.height_mm);
    let hand = Hand {
        scatter_mm: 0.08,
        line_scatter_mm: 0.04,
        seed: 5,
        ..Hand::default()
    };
    let mut marks = Marking::of(plan, &hand).marks;
    for m in &mut marks {
        let at = m.at();
        m.shift(at.x * (slip.stretch - 1.0), at.y * (slip.stretch - 1.0));
    }
    let places = [
        (7, w + 40.0, 0.4 * h),
        (12, 0.4 * w, h + 40.0),
        (9, -40.0, 0.5 * h),
    ];
    let cards = places
        .iter()
        .zip(&slip.prints)
        .map(|(&(n, x, y), &print)| PlacedCard {
            print_scale: [print; 2],
            height_mm: 0.05,
            ..PlacedCard::at(n, x, y, 0.03)
        });
    let scene = Scene {
        sheet: SheetPiece::sized(w, h),
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards: cards.collect(),
        marks,
        camera: Camera::above(
            Point::new(0.5 * w, 0.5 * h + 18.0),
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
        print_scale: slip.bars_mm.map(|b| PrintScale::from_bars(b).unwrap()),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    check(&photo::read(&file).unwrap(), plan, &given)
}

/// Whether a reason of this code is told, and with these words.
fn tells(c: &Checked, code: &str, words: &[&str]) -> bool {
    let told = c.verdict.reasons.iter().find(|r| r.code == code);
    told.is_some_and(|r| words.iter().all(|w| r.text.contains(w)))
}

fn codes(c: &Checked) -> Vec<(&'static str, String)> {
    let reasons = c.verdict.reasons.iter();
    reasons.map(|r| (r.code, r.text.clone())).collect()
}

#[test]
fn a_faultless_sheet_is_told_nothing_of_the_kind() {
    let c = checked(&Slip {
        prints: vec![1.0; 3],
        stretch: 1.0,
        bars_mm: Some(NONE),
    });
    assert_eq!(c.verdict.decision, Decision::Ready, "{:?}", codes(&c));
    for code in [
        "cards-differ",
        "bars-differ",
        "spacing",
        "sheet-size",
        "card-left-out",
    ] {
        assert!(!tells(&c, code, &[]), "{code}");
    }
}

#[test]
fn bars_that_contradict_each_other_are_told() {
    let c = checked(&Slip {
        prints: vec![1.0; 3],
        stretch: 1.0,
        bars_mm: Some([100.0, 98.5]),
    });
    assert_ne!(c.verdict.decision, Decision::Ready);
    assert!(
        tells(&c, "bars-differ", &["98.5 % down", "lay the rule"]),
        "{:?}",
        codes(&c)
    );
}

/// Two cards of different sizes look like one tilted face: what tells is the sheet, which then has another size.
#[test]
fn two_cards_of_different_prints_never_read_as_ready() {
    let c = checked(&Slip {
        prints: vec![1.0, 0.97],
        stretch: 1.0,
        bars_mm: Some(NONE),
    });
    assert_ne!(c.verdict.decision, Decision::Ready);
    assert!(tells(&c, "sheet-size", &["lay a rule"]), "{:?}", codes(&c));
}

#[test]
fn one_card_of_three_that_is_printed_otherwise_does_no_harm_and_is_named() {
    let c = checked(&Slip {
        prints: vec![1.0, 0.97, 1.0],
        stretch: 1.0,
        bars_mm: Some(NONE),
    });
    assert_eq!(c.verdict.decision, Decision::Ready, "{:?}", codes(&c));
    assert!(tells(&c, "card-left-out", &["card 12"]), "{:?}", codes(&c));
    assert!(
        tells(
            &c,
            "cards-differ",
            &["card 12", "printed at 97.", "lay a rule"]
        ),
        "{:?}",
        codes(&c)
    );
}

#[test]
fn cards_all_printed_too_small_are_told_by_the_sheets_size() {
    let c = checked(&Slip {
        prints: vec![0.97; 3],
        stretch: 1.0,
        bars_mm: None,
    });
    assert_ne!(c.verdict.decision, Decision::Ready);
    assert!(
        tells(
            &c,
            "sheet-size",
            &["the plan says 130 mm", "lay a rule", "--bars"]
        ) || tells(&c, "no-sheet", &["printed at 97.", "lay a rule", "--bars"]),
        "{:?}",
        codes(&c)
    );
}

#[test]
fn marks_set_out_with_another_pitch_are_told() {
    let c = checked(&Slip {
        prints: vec![1.0; 3],
        stretch: 1.007,
        bars_mm: Some(NONE),
    });
    assert!(
        tells(&c, "spacing", &["100.7 %", "another pitch"]),
        "{:?}",
        codes(&c)
    );
}

/// With bars that nobody measured the size of the print is in U: near the datum a mark can be proven, further off it is
/// close and not good, and the report says what settles it.
#[test]
fn without_the_bars_what_is_far_off_is_close_and_the_bars_are_asked_for() {
    let slip = |bars_mm| Slip {
        prints: vec![1.0; 3],
        stretch: 1.0,
        bars_mm,
    };
    // Tight: U of the print alone, 1 % of the distance from the datum, is more than this at B10, 140 mm off.
    let tight = Plan {
        tolerance_mm: 0.6,
        ..plan()
    };
    let (unsaid, said) = (
        checked_by(&tight, &slip(None)),
        checked_by(&tight, &slip(Some(NONE))),
    );
    let state = |c: &Checked, name: &str| {
        let hole = c.verdict.holes.iter().find(|h| h.name == name);
        hole.unwrap().state
    };
    assert_eq!(["A1", "B10"].map(|n| state(&said, n)), [HoleState::Good; 2]);
    assert_eq!(state(&unsaid, "A1"), HoleState::Good);
    assert_eq!(state(&unsaid, "B10"), HoleState::Close);
    assert_eq!(unsaid.verdict.decision, Decision::CannotTell);
    assert_eq!(said.verdict.decision, Decision::Ready, "{:?}", codes(&said));
    assert!(
        tells(
            &unsaid,
            "print-unsaid",
            &["the cards' print, which was not measured"]
        ),
        "{:?}",
        codes(&unsaid)
    );
    let asked = unsaid.report(&tight).notes;
    assert!(
        asked
            .iter()
            .any(|n| n.contains("lay a steel rule on them") && n.contains("--bars")),
        "{asked:?}"
    );
}
