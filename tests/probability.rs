//! How surely each mark is one, from the photo to the JSON.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use cli_support::{coupon, draw, halved, run};
use punchready::frame::Point;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{Ink, Mark, Shape, demo};
use serde_json::Value;

/// Of the drawn coupon's holes the first has no mark, the second a pale spot of grease instead.
const BARE: &str = "A2";
const GREASY: &str = "A5";

#[test]
fn each_mark_has_a_probability_and_paler_ones_a_lower() {
    let (plan_file, plan) = coupon();
    let dir = tempfile::tempdir().unwrap();
    let hand = Hand {
        scatter_mm: 0.05,
        seed: 9,
        ..Hand::default()
    };
    let at = |name: &str| plan.holes.iter().find(|h| h.name == name).unwrap().at;
    let open = Point::new(0.45 * plan.width_mm, 0.5 * plan.height_mm);
    let pale = Ink {
        density: 0.35,
        ..Ink::default()
    };
    let marking = Marking::of(&plan, &hand)
        .drop_hole(BARE)
        .unwrap()
        .drop_hole(GREASY)
        .unwrap()
        .with(Mark::new(Shape::Smudge {
            at: at(GREASY),
            length_mm: 1.2,
            strength: 0.3,
        }))
        .stray(open)
        .with(Mark::dot(open.x + 12.0, open.y).inked(pale));
    let mut scene = halved(demo::ready_scene(&plan));
    scene.marks = marking.marks;
    draw(&scene, &dir.path().join("a.jpg"));
    let plan_file = plan_file.to_str().unwrap();
    let given = ["--bars", "100mm,100mm", "--card-below", "0mm"];
    let args = [
        &["check", "a.jpg", "--plan", plan_file, "--json", "-"],
        &given[..],
    ]
    .concat();
    let ran = run(dir.path(), &args);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let result: Value = serde_json::from_str(&ran.out).unwrap();
    let holes = result["holes"].as_array().unwrap();
    println!("{holes:#?} {:#?}", result["strays"]);
    for hole in holes {
        let sure = hole["probability"].as_f64();
        let name = hole["name"].as_str().unwrap();
        if name == BARE {
            assert_eq!((sure, hole["state"].as_str()), (None, Some("missing")));
        } else if name == GREASY {
            assert_ne!(hole["state"], "good");
        } else {
            // Plain marks on their lines are sure, and nothing is certain.
            assert_eq!(hole["state"], "good");
            let sure = sure.unwrap();
            assert!((0.9..=0.999).contains(&sure), "{name}: {sure}");
        }
    }
    let strays = result["strays"].as_array().unwrap();
    let near = |x: f64| {
        let found = strays
            .iter()
            .find(|s| (s["at"][0].as_f64().unwrap() - x).abs() < 1.0);
        found.map(|s| s["probability"].as_f64())
    };
    let dark = near(open.x).unwrap().unwrap();
    assert!(dark > 0.5, "{dark}");
    // A paler dot is less sure, or not named at all.
    if let Some(Some(pale)) = near(open.x + 12.0) {
        assert!(pale < dark, "{pale} {dark}");
    }
}
