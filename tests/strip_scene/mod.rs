//! A strip too long for one photo, drawn in several that overlap.
#![allow(
    dead_code,
    unreachable_pub,
    reason = "each test file uses its part of this module"
)]

use std::path::Path;

use punchready::check::Given;
use punchready::frame::{Point, Sheet};
use punchready::photo::{self, Photo};
use punchready::plan::{self, Plan};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{
    Bench, Camera, ExifFacts, PlacedCard, Scene, SheetPiece, Surface, render, write_jpeg,
};

/// An invented strip of 600 x 40 mm with two rows.
pub fn plan() -> Plan {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/keel-strip.toml");
    plan::read(&file).unwrap()
}

pub fn marking(plan: &Plan, seed: u64) -> Marking {
    let hand = Hand {
        scatter_mm: 0.08,
        line_scatter_mm: 0.05,
        seed,
        ..Hand::default()
    };
    Marking::of(plan, &hand)
}

/// The strip on a dark bench with six strip cards on scrap round it; the camera is to be placed.
pub fn scene(plan: &Plan, marking: Marking, seed: u64) -> Scene {
    let (w, h) = (plan.width_mm, plan.height_mm);
    let (above, below) = (h + 22.0, -22.0);
    Scene {
        sheet: SheetPiece {
            thickness_mm: plan.thickness_mm.unwrap_or(1.0),
            ..SheetPiece::sized(w, h)
        },
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards: vec![
            PlacedCard::at(41, 0.10 * w, above, 0.01),
            PlacedCard::at(42, 0.33 * w, above, -0.02),
            PlacedCard::at(43, 0.34 * w, below, 0.02),
            PlacedCard::at(44, 0.66 * w, above, 0.015),
            PlacedCard::at(45, 0.67 * w, below, -0.01),
            PlacedCard::at(46, 0.90 * w, below, 0.02),
        ],
        marks: marking.marks,
        seed,
        ..Scene::default()
    }
}

/// Three cameras over the strip, hand held.
pub fn cameras(plan: &Plan) -> [Camera; 3] {
    let (w, h) = (plan.width_mm, plan.height_mm);
    [
        (0.18, 0.10, 0.03, 0.3),
        (0.50, 0.07, -0.02, 2.2),
        (0.82, 0.12, 0.01, -1.2),
    ]
    .map(|(x, tilt, roll, lean)| {
        let aim = Point::<Sheet>::new(x * w, h / 2.0);
        Camera::above(aim, 7.0, tilt, lean, roll, [2128, 1400])
            .with_distortion(0.012, -0.015, 0.0002, -0.0001)
    })
}

/// The photo of a scene by a camera, as a phone writes it.
pub fn photo(scene: &Scene, camera: &Camera, dir: &Path, name: &str) -> Photo {
    let scene = Scene {
        camera: camera.clone(),
        ..scene.clone()
    };
    let file = dir.join(name);
    write_jpeg(&file, &render(&scene), &ExifFacts::default()).unwrap();
    let mut photo = photo::read(&file).unwrap();
    // Photos are told apart by their names, and folders for tests have chance ones.
    photo.path = name.into();
    photo
}

pub fn given() -> Given {
    Given {
        print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
        // Drawn level with the face.
        card_thickness_mm: Some(0.0),
        card_below_mm: Some(0.0),
        ..Given::default()
    }
}
