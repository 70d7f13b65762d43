//! A part of a large skin: no edge of it is in the photo, two marks are the datum, and the cards lie at one side only.
//! What is not known of the lens shows at the other side; long ruled lines near the picture's rim could tell it.

use std::f64::consts::TAU;

use punchready::check::Given;
use punchready::frame::{Point, Sheet};
use punchready::plan::Plan;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{Bench, Camera, Mark, Rng, Scene, SheetPiece, Surface};

use crate::scenes::{Case, Dice, Height, Nuisance, drawn, placed, plan_of, print, read_back};

/// Where the plan's corner lies on the skin, and the size of that, mm.
const CORNER_MM: [f64; 2] = [240.0, 220.0];
const SKIN_MM: [f64; 2] = [760.0, 640.0];
const PX_PER_MM: f64 = 7.0;
/// The datum marks, mm.
const DATUM: [(&str, f64, f64); 2] = [("D1", 12.0, 32.0), ("D2", 262.0, 32.0)];

/// Where cards lie: their numbers and middles, mm.
pub(crate) type Places = &'static [(u16, f64, f64)];
/// One in the middle of the work: it says nothing of what the lens does further out.
pub(crate) const AMID: Places = &[(7, 140.0, 100.0)];
/// Two beside each other.
pub(crate) const AT_ONE_SIDE: Places = &[(7, 42.0, 80.0), (12, 42.0, 148.0)];

/// The photo, with a lens that a phone may have.
pub(crate) fn skin(seed: u64, places: Places, nuisance: &Nuisance) -> Case {
    let plan = plan_of(
        r#"
        title = "Coverage skin"
        units = "mm"
        datum = ["D1", "D2"]
        [sheet]
        width = 280
        height = 210
        thickness = 1.0
        [rivet]
        diameter = 3.2
        [tolerance]
        position = 1.2
        [seen]
        fraction = 0.4
        [[row]]
        name = "A"
        along = "bottom"
        edge_distance = 10
        first = 12
        pitch = 12
        count = 22
        [[row]]
        name = "B"
        along = "top"
        edge_distance = 10
        first = 14
        pitch = 12
        count = 21
        [[row]]
        name = "C"
        along = "right"
        edge_distance = 10
        first = 24
        pitch = 12
        count = 14
        [[hole]]
        name = "D1"
        x = 12
        y = 32
        [[hole]]
        name = "D2"
        x = 262
        y = 32
        "#,
    );
    let mut dice = Dice(Rng::new(0x51_14 ^ (seed << 8)));
    let (w, h) = (plan.width_mm, plan.height_mm);
    let (scale, bars) = print(&mut dice, nuisance);
    let cards = placed(places, &mut dice, scale, nuisance);
    let camera = Camera::above(
        Point::new(w / 2.0, h / 2.0),
        PX_PER_MM,
        (8.0 * dice.between(0.5, 1.1)).to_radians(),
        dice.between(0.0, TAU),
        dice.between(-0.03, 0.03),
        [310.0, 240.0].map(|mm| (mm * PX_PER_MM) as u32),
    );
    let [k1, k2] = nuisance.lens_sd.map(|sd| sd * dice.normal());
    let [p1, p2] = [4e-4 * dice.normal(), 4e-4 * dice.normal()];
    let mut camera = camera.with_distortion(k1, k2, p1, p2);
    camera.focal_px *= 1.0 + 0.02 * dice.normal();
    camera.principal.x += 12.0 * dice.normal();
    camera.principal.y += 12.0 * dice.normal();
    let scene = Scene {
        sheet: SheetPiece {
            corner_shift_mm: [CORNER_MM.map(|mm| -mm); 4],
            ..SheetPiece::sized(SKIN_MM[0], SKIN_MM[1])
        },
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards,
        marks: marked(&plan, seed + 1, nuisance.bow_mm),
        camera,
        seed,
        ..Scene::default()
    };
    let photo = read_back(&scene, "photo.jpg");
    let height = Height::of(&mut dice, nuisance.flatness_mm);
    let drawn = drawn(&scene, &plan);
    Case {
        name: format!("skin {seed}"),
        truth: raised(&drawn, &height, &scene.camera),
        drawn,
        cameras: vec![scene.camera],
        photos: vec![photo],
        given: Given {
            print_scale: bars,
            card_below_mm: Some(0.0),
            ..Given::default()
        },
        plan,
    }
}

/// The plan marked out, its datum marks where they belong, so that the sheet's frame is that of the drawing.
fn marked(plan: &Plan, seed: u64, bow_mm: f64) -> Vec<Mark> {
    let hand = Hand {
        scatter_mm: 0.12,
        line_bow_mm: bow_mm,
        seed,
        ..Hand::default()
    };
    let mut marking = Marking::of(plan, &hand);
    for (name, x, y) in DATUM {
        let at = marking.place(name).expect("a datum mark");
        marking = marking
            .shift(name, x - at.x, y - at.y)
            .expect("a datum mark");
    }
    marking.marks
}

/// Where the marks truly are if the face as drawn flat were one that is not: see [`crate::scenes`]. The datum marks lie
/// otherwise too.
fn raised(
    drawn: &[(String, Point<Sheet>)],
    height: &Height,
    camera: &Camera,
) -> Vec<(String, Point<Sheet>)> {
    let eye = camera.position;
    let truly = |p: Point<Sheet>| {
        let lever = (p - Point::new(eye.x, eye.y)) / eye.z;
        p + -lever * height.at(p)
    };
    let [a, b] = DATUM.map(|(_, x, y)| Point::<Sheet>::new(x, y));
    let (was, is) = (b - a, truly(b) - truly(a));
    let angle = is.y.atan2(is.x) - was.y.atan2(was.x);
    let back = nalgebra::Rotation2::new(-angle);
    let place = |p: Point<Sheet>| a + back * (truly(p) - truly(a));
    drawn
        .iter()
        .map(|(name, p)| (name.clone(), place(*p)))
        .collect()
}
