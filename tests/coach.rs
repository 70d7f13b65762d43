//! What keeps a photo from showing marks: each cause is measured where it is, said with the holes that it hides and what to
//! change, and settled by a second photo in which it is gone.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use cli_support::{coupon, draw, halved};
use nalgebra::Vector2;
use punchready::check::{Checked, Given, check_all};
use punchready::frame::Point;
use punchready::ink::Blind;
use punchready::photo::{self, Photo};
use punchready::survey::PrintScale;
use punchready::synth::{
    Bench, Camera, Clutter, ClutterKind, Glare, Mark, PlacedCard, Scene, SoftShadow, demo,
};
use punchready::verdict::{Decision, HoleState};

fn given() -> Given {
    Given {
        print_scale: PrintScale::from_bars([100.0; 2]).ok(),
        card_below_mm: Some(0.0),
        ..Given::default()
    }
}

/// The coupon without a fault, on 3 MP.
fn clean() -> Scene {
    halved(demo::ready_scene(&coupon().1))
}

fn taken(scene: &Scene, name: &str) -> Photo {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(name);
    draw(scene, &path);
    photo::read(&path).unwrap()
}

fn checked(photos: &[&Photo]) -> Checked {
    check_all(photos, &coupon().1, &given())
}

fn thing(kind: ClutterKind, x: f64, y: f64, turn_rad: f64) -> Clutter {
    Clutter {
        kind,
        at: Vector2::new(x, y),
        turn_rad,
        height_mm: 8.0,
    }
}

fn glare(s: &mut Scene) {
    s.light.glare.push(Glare {
        at: Point::new(130.0, 66.0),
        radius_mm: [9.0, 4.0],
        turn_rad: 0.1,
        peak: 3.0,
    });
}

fn hand(s: &mut Scene) {
    s.clutter
        .push(thing(ClutterKind::Finger(16.0), 130.0, 100.0, 1.57));
}

fn glove(s: &mut Scene) {
    s.clutter
        .push(thing(ClutterKind::DarkBlob(30.0), 130.0, 62.0, 0.0));
}

/// Deep shadow over the right end, as of a box that stands in the light.
fn shadow(s: &mut Scene) {
    s.light.shadows.push(SoftShadow {
        through: Point::new(115.0, 40.0),
        towards_rad: 0.0,
        softness_mm: 4.0,
        depth: 0.99,
    });
}

fn outside(s: &mut Scene) {
    s.camera.position.x -= 100.0;
    s.camera.look_at.x -= 100.0;
}

fn under_card(s: &mut Scene) {
    s.cards.push(PlacedCard::at(9, 104.0, 66.0, 0.1));
}

fn camera(s: &mut Scene, px_per_mm: f64, tilt_rad: f64) {
    let size = [s.camera.width, s.camera.height];
    s.camera = Camera::above(Point::new(76.0, 45.0), px_per_mm, tilt_rad, -1.4, 0.0, size);
}

/// Sharp at the left, and so blurred at the right that a dot is lost.
fn one_side_blurred(s: &mut Scene) {
    s.sensor.blur_right_px = 6.0;
    // A card on the blurred side, and most of the cards on the sharp one.
    s.cards.push(PlacedCard::at(9, 10.0, 120.0, 0.0));
}

fn photo_with(change: impl Fn(&mut Scene), name: &str) -> Photo {
    let mut scene = clean();
    change(&mut scene);
    taken(&scene, name)
}

fn share(c: &Checked, cause: Blind) -> f64 {
    let hidden = c.ink.seen.blind.iter().filter(|b| **b == Some(cause));
    hidden.count() as f64 / c.ink.seen.cells.len() as f64
}

/// The causes told, and all that is said.
fn said(c: &Checked) -> (Vec<&'static str>, String) {
    let causes = c.advice.iter().map(|a| a.cause).collect();
    let texts: Vec<&str> = c.advice.iter().map(|a| a.text.as_str()).collect();
    (causes, texts.join("; "))
}

#[test]
fn each_cause_is_found_where_it_is() {
    // The change, what hides, a share of the face that it hides at least and at most, and whether a photo with it may
    // read as ready.
    type Case = (fn(&mut Scene), Blind, [f64; 2]);
    let cases: [Case; 8] = [
        (glare, Blind::Glare, [0.01, 0.15]),
        (glove, Blind::Covered, [0.03, 0.12]),
        (shadow, Blind::Shadow, [0.15, 0.35]),
        (outside, Blind::Outside, [0.02, 0.6]),
        (under_card, Blind::Card, [0.1, 0.4]),
        (|s| camera(s, 2.6, 0.1), Blind::Far, [0.9, 1.0]),
        (|s| camera(s, 4.2, 0.95), Blind::Oblique, [0.3, 1.0]),
        (one_side_blurred, Blind::Blur, [0.2, 0.7]),
    ];
    for (change, cause, [least, most]) in cases {
        let c = checked(&[&photo_with(change, "a.jpg")]);
        let hidden = share(&c, cause);
        let reasons = &c.verdict.reasons;
        println!(
            "{cause:?}: {hidden:.3} {:?} {:#?}",
            c.verdict.decision, c.advice
        );
        assert!(
            (least..=most).contains(&hidden),
            "{cause:?}: {hidden:.3} {reasons:?}"
        );
        assert_ne!(
            c.verdict.decision,
            Decision::Ready,
            "{cause:?}: {reasons:?}"
        );
        let (causes, text) = said(&c);
        assert!(
            causes.contains(&cause.code()),
            "{cause:?}: {causes:?} {text} {reasons:?}"
        );
        assert!(c.advice.len() <= 2);
        // Drawn: the page's and picture's hatching and the JSON's polygons go by the same cells.
        let json = punchready::report::json::to_string(&c.report(&coupon().1));
        let value: serde_json::Value = serde_json::from_str(&json).unwrap();
        let told = value["seen"]["causes"][cause.code()].as_f64().unwrap();
        assert!((told - hidden).abs() < 1e-5, "{told} {hidden}");
        assert!(!value["seen"]["unseen"].as_array().unwrap().is_empty());
        assert_eq!(value["coaching"].as_array().unwrap().len(), c.advice.len());
    }
    // And of a good photo nothing.
    let c = checked(&[&taken(&clean(), "a.jpg")]);
    assert_eq!(c.verdict.decision, Decision::Ready);
    assert_eq!(c.advice, []);
    assert!(c.ink.seen.blind.iter().all(Option::is_none));
}

#[test]
fn a_second_photo_settles_what_the_first_could_not_show() {
    type Case = (fn(&mut Scene), &'static str, &'static str);
    let cases: [Case; 3] = [
        (glare, "glare", "A9"),
        (glove, "covered", "A9"),
        (shadow, "shadow", "A9"),
    ];
    for (change, cause, hole) in cases {
        let first = photo_with(change, "a-first.jpg");
        let c = checked(&[&first]);
        let (causes, text) = said(&c);
        println!("{cause}: {text}");
        assert!(
            causes.contains(&cause),
            "{causes:?} {:?}",
            c.verdict.reasons
        );
        assert!(text.contains("add one photo"), "{text}");
        let holes = &c.advice.iter().find(|a| a.cause == cause).unwrap().holes;
        assert!(holes.iter().any(|h| h == hole), "{cause}: {holes:?}");
        // The same thing is still there, and somewhere else: the lamp was moved, the hand was moved. (A shadow is gone: it
        // would fall on the other card.)
        let mut scene = clean();
        change(&mut scene);
        for g in &mut scene.light.glare {
            g.at.x -= 90.0;
        }
        for c in &mut scene.clutter {
            c.at.x -= 90.0;
        }
        scene.light.shadows.clear();
        scene.seed += 7;
        scene.camera.position.x += 8.0;
        let second = taken(&scene, "b-second.jpg");
        let alone = checked(&[&second]);
        let shadowless = cause == "shadow";
        assert_eq!(
            alone.verdict.decision == Decision::Ready,
            shadowless,
            "{cause}"
        );
        let both = checked(&[&first, &second]);
        let why = (&both.verdict.reasons, &both.ink.unsure);
        assert_eq!(both.verdict.decision, Decision::Ready, "{cause}: {why:?}");
        assert_eq!(both.advice, [], "{cause}");
        // The page enlarges a place from a photo that shows it.
        let plan = coupon().1;
        let at = plan.holes.iter().find(|h| h.name == hole).unwrap().at;
        let report = both.report(&plan);
        for (photo, shown) in report.photos.iter().zip(&report.shown) {
            let sees = shown.unwrap().seen.sees(at);
            assert_eq!(
                sees,
                photo.name == "b-second.jpg",
                "{cause}: {}",
                photo.name
            );
        }
        assert_eq!(report.shown.len(), 2);
    }
}

/// A finger is nearly as bright as the metal: it shows by its rims alone. It must be told, and never be ready.
#[test]
fn a_finger_is_told_by_its_rims() {
    let c = checked(&[&photo_with(hand, "a.jpg")]);
    let (causes, text) = said(&c);
    println!("{text}");
    assert_ne!(
        c.verdict.decision,
        Decision::Ready,
        "{:?}",
        c.verdict.reasons
    );
    assert_eq!(causes[0], "covered", "{causes:?}");
    for hole in ["A9", "B8"] {
        assert!(c.advice[0].holes.iter().any(|h| h == hole), "{text}");
        let hole = c.verdict.holes.iter().find(|h| h.name == *hole).unwrap();
        assert_eq!(hole.state, HoleState::Unseen, "{}", hole.name);
    }
}

#[test]
fn where_nothing_was_measured_the_cause_is_told_alone() {
    type Case = (fn(&mut Scene), &'static str, &'static str);
    let cases: [Case; 4] = [
        (|s| s.cards.clear(), "no-card", "scale cards flat"),
        (|s| s.sensor.blur_px = 5.0, "blur", "focus"),
        (
            |s| {
                s.bench = Bench::LikeSheet;
                s.sheet.burr = 0.0;
                s.sheet.contact_shadow = 0.0;
            },
            "no-edge",
            "edges stand out",
        ),
        (
            |s| {
                let (dx, dy) = (s.camera.width, s.camera.height);
                s.camera = Camera::above(Point::new(76.0, 45.0), 5.0, 1.22, -1.4, 0.0, [dx, dy]);
            },
            "oblique",
            "straight above",
        ),
    ];
    for (change, cause, words) in cases {
        let c = checked(&[&photo_with(change, "a.jpg")]);
        let (causes, text) = said(&c);
        assert_eq!(c.verdict.decision, Decision::CannotTell, "{cause}");
        assert_eq!(causes, [cause], "{:?}", c.verdict.reasons);
        assert!(text.contains(words), "{text}");
    }
}

#[test]
fn shake_that_lets_the_marks_through_is_told_as_shake() {
    // So much as the marks are read through is no trouble; from there on it is told by its name.
    let mut told = 0;
    for px in [7.0, 8.5, 10.0] {
        let c = checked(&[&photo_with(|s| s.sensor.motion_px = [px, 0.5], "a.jpg")]);
        let (causes, text) = said(&c);
        if c.verdict.decision == Decision::Ready {
            continue;
        }
        told += 1;
        assert_eq!(causes, ["shake"], "{px}: {text} {:?}", c.verdict.reasons);
        assert!(text.contains("both hands"), "{text}");
    }
    assert!(told > 0, "10 px of shake are no trouble?");
}

#[test]
fn unsure_ink_asks_for_a_nearer_photo_and_says_how_near() {
    let unsure = |s: &mut Scene| s.marks.push(Mark::tick(52.0, 30.0, 0.5));
    let c = checked(&[&photo_with(unsure, "a.jpg")]);
    let (causes, text) = said(&c);
    assert_eq!(causes, ["unsure-ink"]);
    let number = |before: &str| -> f64 {
        let rest = text.split(before).nth(1).unwrap();
        // "8 in (20 cm)", or "20 cm".
        let centimetres = rest.split(" cm").next().unwrap();
        centimetres
            .rsplit(['(', ' '])
            .next()
            .unwrap()
            .parse()
            .unwrap()
    };
    // The camera truly is so far away, to the centimetre that is told.
    let scene = clean();
    let truly = (scene.camera.position - scene.camera.look_at).norm() / 10.0;
    let from = number("this one is from ");
    assert!((from - truly).abs() <= 1.5, "{from} cm told, {truly:.1} cm");
    let about = number("from about ");
    assert!(about < from && about >= 12.0, "{text}");
}

/// Shake makes strokes pale, those on lines and those beside them: where the marks still count, no stray stroke may be
/// dropped as pale print.
#[test]
fn a_shaken_photo_with_a_stray_stroke_is_never_ready() {
    for motion in [6.0, 7.25, 7.5] {
        let stray = photo_with(
            |s| {
                s.sensor.motion_px = [motion, 0.5];
                s.marks.push(Mark::tick(60.0, 25.0, 1.57));
            },
            "a.jpg",
        );
        let c = checked(&[&stray]);
        assert_ne!(c.verdict.decision, Decision::Ready, "{motion} px");
    }
}
