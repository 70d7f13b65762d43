//! The spread of edges about a card, in drawn photos of known blur, and what a check makes of it.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use std::f64::consts::PI;

use cli_support::{coupon, draw, halved, run};
use punchready::card::blur::{self, Spread};
use punchready::card::find::find;
use punchready::frame::Point;
use punchready::synth::{Camera, PlacedCard, Scene, Sensor, SheetPiece, demo, render};
use serde_json::Value;

/// The bar for the spread, share of it. Measured: up to 5 %, where squares are 10 px wide.
const SPREAD: f64 = 0.15;
/// Variance of a pixel's own area, px².
const PIXEL_PX2: f64 = 1.0 / 12.0;

/// A card on a bare sheet that fills the picture.
fn scene(px_per_mm: f64, card: PlacedCard, sensor: Sensor) -> Scene {
    Scene {
        camera: Camera::above(Point::new(0.0, 0.0), px_per_mm, 0.0, 0.0, 0.0, [640, 640]),
        sheet: SheetPiece {
            corner_shift_mm: [[-800.0; 2], [800.0, -800.0], [800.0; 2], [-800.0, 800.0]],
            ..SheetPiece::sized(10.0, 10.0)
        },
        cards: vec![card],
        sensor,
        seed: 11,
        ..Scene::default()
    }
}

fn spread(s: &Scene) -> Spread {
    let grey = image::DynamicImage::ImageRgb8(render(s).image).to_luma8();
    let found = find(&grey);
    assert_eq!(found.cards.len(), 1, "{:?}", found.left_out);
    blur::of_photo(&grey, &found.cards).unwrap()
}

/// As a phone's, but without its sharpening, which makes edges steeper than the lens does.
fn sensor(blur_px: f64, motion_px: [f64; 2]) -> Sensor {
    Sensor {
        blur_px,
        motion_px,
        sharpen: 0.0,
        ..Sensor::default()
    }
}

fn recovers(what: &str, seen: f64, truth: f64) {
    println!(
        "{what}: {seen:.3}, truly {truth:.3} ({:+.1} %)",
        100.0 * (seen / truth - 1.0)
    );
    assert!(
        (seen / truth - 1.0).abs() < SPREAD,
        "{what}: {seen:.3} measured, truly {truth:.3}, allowed {SPREAD} of it"
    );
}

#[test]
fn a_known_blur_is_measured() {
    for number in [7, 45] {
        for (px_per_mm, turn) in [(7.0, 0.8), (4.0, 0.3), (2.2, 0.4)] {
            for blur_px in [0.6, 1.2, 3.0] {
                if blur_px / px_per_mm > 0.5 {
                    continue;
                }
                let card = PlacedCard::at(number, 0.0, 0.0, turn);
                let s = spread(&scene(px_per_mm, card, sensor(blur_px, [0.0; 2])));
                let truth = (blur_px * blur_px + PIXEL_PX2).sqrt();
                let name = format!("card {number}, {px_per_mm} px/mm, turned {turn}, {blur_px} px");
                for axis in 0..2 {
                    recovers(&name, s.axes_px[axis], truth);
                    recovers(&name, s.axes_mm[axis] * px_per_mm, truth);
                    recovers(&name, s.px[axis], truth);
                }
                assert!(!s.moved(), "{name}: {s:?}");
            }
        }
    }
}

/// Blur has no direction, however obliquely the card is seen.
#[test]
fn a_tilted_view_is_no_motion() {
    let mut s = scene(7.0, PlacedCard::at(7, 0.0, 0.0, 0.5), sensor(2.0, [0.0; 2]));
    s.camera = Camera::above(
        Point::new(0.0, 0.0),
        7.0,
        35f64.to_radians(),
        1.0,
        0.3,
        [640, 640],
    );
    let seen = spread(&s);
    for px in seen.px {
        recovers("tilted by 35 degrees", px, (4.0 + PIXEL_PX2).sqrt());
    }
    assert!(!seen.moved());
    assert!(seen.mm[0] > 1.1 * seen.mm[1], "foreshortened: {seen:?}");
}

/// Motion along, across and aslant to the card's axes.
#[test]
fn motion_is_told_from_blur_in_every_direction() {
    for turn in [0.0, 0.2, PI / 4.0] {
        for way in [[12.0, 0.0], [0.0, 12.0], [8.5, 8.5], [8.5, -8.5]] {
            let s = spread(&scene(
                7.0,
                PlacedCard::at(7, 0.0, 0.0, turn),
                sensor(0.8, way),
            ));
            let name = format!("card turned {turn}, motion {way:?}");
            println!("{name}: {:?}", s.px);
            assert!(s.moved(), "{name}: {s:?}");
        }
        let still = spread(&scene(
            7.0,
            PlacedCard::at(7, 0.0, 0.0, turn),
            sensor(3.0, [0.0; 2]),
        ));
        assert!(!still.moved(), "turned {turn}: {still:?}");
    }
}

#[test]
fn contrast_of_a_dot_is_the_part_of_the_bell_within_it() {
    let of = |mm| Spread {
        axes_mm: mm,
        axes_px: mm,
        mm,
        px: mm,
    };
    for sd in [0.05f64, 0.2, 0.4, 1.0] {
        let round = 1.0 - (-(blur::DOT_RADIUS_MM / sd).powi(2) / 2.0).exp();
        assert!((of([sd; 2]).kept() - round).abs() < 1e-9);
    }
    // Smeared along a line only: a normal within ±R, by the disc's width where the line is.
    let line = of([0.25, 0.025]).kept();
    assert!((line - 0.6827).abs() < 1e-2, "{line}");
}

/// Checks a drawn photo: exit status and result.
fn checked(scene: &Scene) -> (i32, Value) {
    let dir = tempfile::tempdir().unwrap();
    let (plan, _) = coupon();
    draw(scene, &dir.path().join("photo.jpg"));
    let args = [
        "check",
        "photo.jpg",
        "--plan",
        plan.to_str().unwrap(),
        "--bars",
        "100mm,100mm",
        "--card-below",
        "0mm",
        "--json",
        "-",
    ];
    let ran = run(dir.path(), &args);
    (ran.code, serde_json::from_str(&ran.out).unwrap())
}

fn text_of<'a>(result: &'a Value, code: &str) -> Option<&'a str> {
    let all = result["reasons"].as_array().unwrap();
    all.iter()
        .find(|r| r["code"] == code)
        .map(|r| r["text"].as_str().unwrap())
}

#[test]
fn a_photo_blurred_beyond_use_is_refused_and_says_why() {
    let (_, plan) = coupon();
    let shot = |sensor: Sensor| {
        let mut s = halved(demo::ready_scene(&plan));
        s.sensor = sensor;
        checked(&s)
    };
    let phone = Sensor::default();
    let (code, out) = shot(Sensor {
        blur_px: 3.4,
        ..phone.clone()
    });
    assert_eq!(code, 3, "{out}");
    let said = text_of(&out, "blurred").unwrap_or_else(|| panic!("{out}"));
    println!("{said}");
    assert!(said.contains("focus") && !said.contains("moved"), "{said}");
    assert!(
        out["holes"]
            .as_array()
            .unwrap()
            .iter()
            .all(|h| h["state"] == "unseen")
    );

    let (code, out) = shot(Sensor {
        motion_px: [13.0, 12.0],
        blur_px: 1.5,
        ..phone.clone()
    });
    assert_eq!(code, 3, "{out}");
    let said = text_of(&out, "blurred").unwrap_or_else(|| panic!("{out}"));
    println!("{said}");
    assert!(said.contains("the phone moved"), "{said}");

    let (code, out) = shot(phone);
    assert_eq!((code, text_of(&out, "blurred")), (0, None));
}

/// A card that is seen and cannot be used is told with the result, whatever that is.
#[test]
fn a_card_left_out_is_told() {
    let (_, plan) = coupon();
    let mut s = halved(demo::ready_scene(&plan));
    let (_, all) = checked(&s);
    assert_eq!(text_of(&all, "card-left-out"), None);
    s.cards[0].curl_mm = 12.0;
    let (_, out) = checked(&s);
    let said = text_of(&out, "card-left-out").unwrap_or_else(|| panic!("{out}"));
    assert!(
        said.contains(&format!("card {}", s.cards[0].number)),
        "{said}"
    );
}
