//! Finding cards in drawn photos with known corners: tilt, light, clutter, size, cover, and what is said
//! of a card that is seen and not used.

mod common;

use common::rms;
use image::GrayImage;
use nalgebra::Vector2;
use punchready::card::find::{Found, find};
use punchready::card::layout::Layout;
use punchready::frame::{Pixel, Point};
use punchready::synth::{
    Bench, Camera, Clutter, ClutterKind, Light, PlacedCard, Rendered, Scene, Sensor, SheetPiece,
    SoftShadow, Surface, render,
};

const SIZE: [u32; 2] = [640, 480];

/// Photos of cards that lie on a bare sheet which fills the picture.
fn scene(cell_px: f64, cards: Vec<PlacedCard>) -> Scene {
    let cell_mm = Layout::of(cards[0].number).unwrap().cell_mm;
    Scene {
        camera: Camera::above(Point::new(0.0, 0.0), cell_px / cell_mm, 0.0, 0.0, 0.0, SIZE),
        sheet: SheetPiece {
            corner_shift_mm: [[-800.0; 2], [800.0, -800.0], [800.0; 2], [-800.0, 800.0]],
            ..SheetPiece::sized(10.0, 10.0)
        },
        cards,
        seed: 5,
        ..Scene::default()
    }
}

fn tilted(mut s: Scene, tilt_deg: f64, lean_deg: f64, roll_deg: f64) -> Scene {
    let c = &s.camera;
    let px_per_mm = c.focal_px / (c.position - c.look_at).norm();
    s.camera = Camera::above(
        Point::new(c.look_at.x, c.look_at.y),
        px_per_mm,
        tilt_deg.to_radians(),
        lean_deg.to_radians(),
        roll_deg.to_radians(),
        [c.width, c.height],
    );
    s
}

fn photo(s: &Scene) -> (Rendered, GrayImage) {
    let r = render(s);
    let grey = image::DynamicImage::ImageRgb8(r.image.clone()).to_luma8();
    (r, grey)
}

/// One photo's result: which numbers, and the distance of all measured corners from the truth.
struct Got {
    found: Found,
    numbers: Vec<u16>,
    corners: usize,
    rms_px: f64,
}

fn look(name: &str, s: &Scene) -> Got {
    let (r, grey) = photo(s);
    if let Some(dir) = std::env::var_os("CARD_FIND_KEEP") {
        let file = name.replace(|c: char| !c.is_alphanumeric(), "_");
        r.image.save(std::path::Path::new(&dir).join(format!("{file}.png"))).unwrap();
    }
    judge(name, &r, find(&grey))
}

fn judge(name: &str, r: &Rendered, found: Found) -> Got {
    let mut off = Vec::new();
    for c in &found.cards {
        // The same number may lie there twice: the nearer one is meant.
        let truth = r
            .truth
            .cards
            .iter()
            .filter(|t| t.number == c.number)
            .min_by(|a, b| {
                let d = |t: &punchready::synth::TrueCard| t.outline[0].distance(c.outline[0]);
                d(a).total_cmp(&d(b))
            })
            .unwrap_or_else(|| panic!("{name}: false card {}", c.number));
        for s in &c.saddles {
            let (_, at) = truth
                .saddles
                .iter()
                .find(|(on, _)| on.distance(s.on_card) < 1e-9)
                .unwrap();
            off.push(at.distance(s.at));
        }
    }
    let numbers = found.cards.iter().map(|c| c.number).collect();
    let got = Got {
        numbers,
        corners: off.len(),
        rms_px: rms(off.iter().copied()),
        found,
    };
    println!(
        "{name:<40} {:?} {:>3} corners {:.3} px max {:.3}  {:?}",
        got.numbers,
        got.corners,
        got.rms_px,
        off.iter().copied().fold(0.0, f64::max),
        got.found.left_out
    );
    got
}

#[test]
fn explore() {
    for tilt in [0.0, 20.0, 35.0, 45.0] {
        for lean in [0.0, 40.0, 90.0, 200.0] {
            for cell in [5.0, 8.0] {
                let s = tilted(scene(cell, vec![PlacedCard::at(7, 0.0, 0.0, 0.3)]), tilt, lean, 10.0);
                look(&format!("tilt {tilt} lean {lean} cell {cell}"), &s);
            }
            let s = tilted(scene(6.0, vec![PlacedCard::at(45, 0.0, 0.0, 0.3)]), tilt, lean, 10.0);
            look(&format!("tilt {tilt} lean {lean} strip 6"), &s);
        }
    }
    for cell in [8.0, 6.0, 5.0, 4.0, 3.5, 3.0, 2.5, 2.0, 1.8] {
        for turn in [0.0, 0.4, 0.8] {
            look(&format!("square {cell} px turn {turn}"), &scene(cell, vec![PlacedCard::at(9, 3.3, 1.1, turn)]));
            look(&format!("strip {cell} px turn {turn}"), &scene(cell, vec![PlacedCard::at(52, 3.3, 1.1, turn)]));
        }
    }
}
