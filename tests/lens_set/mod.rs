//! Drawn photos of the lens page by a camera whose lens is known.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::path::{Path, PathBuf};

use punchready::card::lens_page;
use punchready::frame::Point;
use punchready::synth::{self, Camera, ExifFacts, PlacedCard, Scene, SheetPiece, Surface};

/// Small pictures, quick to draw: four pixels to the millimetre of the page.
pub(crate) const SIZE: [u32; 2] = [1200, 900];
/// Middle of the page on its board, mm.
const MIDDLE: [f64; 2] = [130.0, 160.0];

/// How one photo is taken: scale over what fills the picture, tilt and its direction (degrees, the page's),
/// the page's place in the picture (mm), whether the long side of the page lies along that of the picture.
pub(crate) struct Take(pub f64, pub f64, pub f64, pub [f64; 2], pub bool);

/// A set as the program asks for it.
pub(crate) const GOOD: [Take; 9] = [
    Take(1.0, 0.0, 0.0, [0.0, 0.0], true),
    Take(1.0, 30.0, 0.0, [0.0, 0.0], true),
    Take(1.0, 30.0, 90.0, [0.0, 0.0], true),
    Take(1.0, 30.0, 180.0, [0.0, 0.0], true),
    Take(1.0, 30.0, 270.0, [0.0, 0.0], true),
    Take(1.1, 25.0, 45.0, [40.0, 25.0], true),
    Take(1.1, 25.0, 225.0, [-40.0, -25.0], true),
    Take(1.1, 20.0, 135.0, [-40.0, 25.0], true),
    Take(1.1, 20.0, 315.0, [40.0, -25.0], false),
];
/// The same as somebody takes it who never tilts the phone.
pub(crate) const SQUARE_ON: [Take; 6] = [
    Take(1.0, 0.0, 0.0, [0.0, 0.0], true),
    Take(1.0, 4.0, 90.0, [40.0, 30.0], true),
    Take(1.0, 3.0, 200.0, [-40.0, -30.0], true),
    Take(1.0, 2.0, 300.0, [40.0, -30.0], true),
    Take(1.0, 5.0, 20.0, [-40.0, 30.0], true),
    Take(0.9, 3.0, 120.0, [0.0, 0.0], false),
];

/// The lens of the drawn camera: k1, k2, p1, p2, and the principal point from the middle, px.
pub(crate) const LENS: [f64; 4] = [-0.06, 0.03, 0.0008, -0.0006];
pub(crate) const OFF_CENTRE: [f64; 2] = [6.0, -9.0];

/// The scene of one photo, flat page.
pub(crate) fn scene(take: &Take, seed: u64) -> Scene {
    let Take(scale, tilt, towards, at, along) = take;
    let [w, h] = SIZE.map(f64::from);
    let [a, b] = if *along {
        [250.0, 190.0]
    } else {
        [190.0, 250.0]
    };
    let fill = (w / a).min(h / b) * scale;
    let centre = Point::new(MIDDLE[0] + at[1], MIDDLE[1] + at[0]);
    let roll = if *along {
        std::f64::consts::FRAC_PI_2
    } else {
        0.05
    };
    let mut camera = Camera::above(
        centre,
        fill,
        tilt.to_radians(),
        towards.to_radians(),
        roll + 0.03 * (seed as f64).sin(),
        SIZE,
    )
    .with_distortion(LENS[0], LENS[1], LENS[2], LENS[3]);
    camera.principal = Point::new(w / 2.0 + OFF_CENTRE[0], h / 2.0 + OFF_CENTRE[1]);
    Scene {
        camera,
        sheet: SheetPiece::sized(2.0 * MIDDLE[0], 2.0 * MIDDLE[1]),
        surface: Surface::Paper,
        cards: lens_page::NUMBERS
            .map(|n| {
                let at = lens_page::centre(n).unwrap();
                PlacedCard::at(n, MIDDLE[0] + at.x, MIDDLE[1] + at.y, 0.0)
            })
            .collect(),
        seed,
        ..Scene::default()
    }
}

/// Draws a set into JPEG files.
pub(crate) fn draw(dir: &Path, takes: &[Take]) -> Vec<PathBuf> {
    takes
        .iter()
        .enumerate()
        .map(|(i, take)| {
            let path = dir.join(format!("page-{}.jpg", i + 1));
            let rendered = synth::render(&scene(take, i as u64 + 1));
            synth::write_jpeg(&path, &rendered, &facts()).unwrap();
            path
        })
        .collect()
}

/// What the drawn camera writes.
pub(crate) fn facts() -> ExifFacts {
    ExifFacts::default()
}
