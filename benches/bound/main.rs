//! How near the finders of checker corners and dots come to the least error that the noise of a picture allows.
//!
//! `cargo bench --bench bound` prints a line for each picture: contrast, noise and blur as drawn, the error that
//! the finder makes (root mean square of each coordinate over many drawn places), the bound of Cramer and Rao, and
//! their ratio, which may be 1.3. *told* is the standard deviation that the finder tells, over its true error.
//! Ends with status 1 if a bar fails.

mod model;

use std::process::ExitCode;

use image::{GrayImage, Luma};
use model::{Corner, Dot, Drawn, bound_px, draw};
use nalgebra::Vector2;
use punchready::card::saddle;
use punchready::frame::Point;
use punchready::ink::flat;
use punchready::synth::Rng;

/// Bar of the project.
const RATIO: f64 = 1.3;
/// Places drawn for each line: the ratio is known to 1/sqrt(4 places), 2.5 %.
const PLACES: usize = 400;

fn main() -> ExitCode {
    let mut all_hold = true;
    println!("checker corners      error px  bound px  ratio  told   bar {RATIO}");
    // Levels as of a print in a photo; windows of the three sizes that cards at 6, 10 and 12 px/mm give; edges as of
    // a card straight on, turned, and seen from 45 degrees.
    for (contrast, noise, blur_px) in [
        (60.0, 1.0, 0.9),
        (60.0, 3.0, 0.9),
        (30.0, 3.0, 0.9),
        (60.0, 3.0, 1.4),
    ] {
        for radius in [4.0, 8.0, 12.0] {
            for (turn, open) in [(0.1, 90.0_f64), (0.6, 90.0), (0.3, 60.0)] {
                let normals = [turn, turn + open.to_radians()];
                let corner = Corner::new([125.0, contrast], normals, blur_px);
                let name = format!("{contrast:>3} {noise} {blur_px} r {radius:>2} {open:>3}");
                all_hold &= tell(&name, corners(&corner, radius, noise));
            }
        }
    }
    println!("dots                 error px  bound px  ratio  told   bar {RATIO}");
    for (level, noise, blur_px) in [
        (60.0, 2.0, 1.0),
        (60.0, 5.0, 1.0),
        (110.0, 5.0, 1.0),
        (60.0, 5.0, 1.6),
    ] {
        for radius in [3.0, 4.5, 6.0] {
            let name = format!("{level:>3} {noise} {blur_px} radius {radius}");
            let dot = Dot::new([175.0, level], radius, blur_px);
            all_hold &= tell(&name, dots(&dot, radius, blur_px, noise));
        }
    }
    if all_hold {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Errors against their bounds.
#[derive(Default)]
struct Tally {
    square: f64,
    told: f64,
    bound: f64,
    found: usize,
    missed: usize,
}

impl Tally {
    fn add(&mut self, error: Vector2<f64>, told: f64) {
        self.square += error.norm_squared() / 2.0;
        self.told += told;
        self.found += 1;
    }
}

fn tell(name: &str, t: Tally) -> bool {
    let n = t.found.max(1) as f64;
    let (error, bound, told) = ((t.square / n).sqrt(), t.bound, (t.told / n).sqrt());
    let ratio = error / bound;
    let holds = ratio <= RATIO && t.missed == 0;
    println!(
        "{name:<20} {error:>8.4}  {bound:>8.4}  {ratio:>5.2}  {:>4.2}   {}{}",
        told / error,
        if holds { "pass" } else { "FAIL" },
        if t.missed > 0 {
            format!(", {} missed", t.missed)
        } else {
            String::new()
        }
    );
    holds
}

/// The bound over the places that a middle can have in its pixel.
fn mean_bound(drawn: &impl Drawn, radius: f64, noise: f64) -> f64 {
    let square = |i: i32| {
        let offset = Vector2::new(f64::from(i % 3) - 1.0, f64::from(i / 3) - 1.0) / 3.0;
        bound_px(drawn, offset, radius, noise).powi(2)
    };
    ((0..9).map(square).sum::<f64>() / 9.0).sqrt()
}

/// The window's rim is half a pixel soft.
const HALF_PX: f64 = 0.5;

fn corners(corner: &impl Drawn, radius: f64, noise: f64) -> Tally {
    let mut rng = Rng::new(7);
    let side = 2 * (radius.ceil() as u32 + 4);
    let mut tally = Tally {
        bound: mean_bound(corner, radius + HALF_PX, noise),
        ..Tally::default()
    };
    for _ in 0..PLACES {
        let offset = Vector2::new(rng.unit() - 0.5, rng.unit() - 0.5);
        let at = Vector2::repeat(f64::from(side / 2) + 0.5) + offset;
        let mut picture = GrayImage::new(side, side);
        draw(&mut picture, corner, at, f64::from(side), (noise, &mut rng));
        // As the map through the corners found before puts it: half a pixel off.
        let start = at + Vector2::new(rng.unit() - 0.5, rng.unit() - 0.5);
        match saddle::refine(&picture, Point::at(start), radius, noise) {
            Some(r) => tally.add(r.at.vec() - at, r.cov.trace() / 2.0),
            None => tally.missed += 1,
        }
    }
    tally
}

/// Pixels of a flat picture of a millimetre: the usual.
const PX_PER_MM: f64 = 10.0;
/// Distance between dots, px.
const APART: u32 = 100;

fn dots(dot: &impl Drawn, radius: f64, blur_px: f64, noise: f64) -> Tally {
    let mut rng = Rng::new(11);
    let columns = 20;
    let rows = PLACES as u32 / columns;
    let mut picture = GrayImage::new(columns * APART, rows * APART);
    for p in picture.pixels_mut() {
        let level = dot.level(Vector2::new(1e3, 0.0)) + noise * rng.normal();
        *p = Luma([level.round().clamp(1.0, 255.0) as u8]);
    }
    let mut places = Vec::new();
    for i in 0..PLACES as u32 {
        let middle = Vector2::new(f64::from(i % columns) + 0.5, f64::from(i / columns) + 0.5);
        let offset = Vector2::new(rng.unit() - 0.5, rng.unit() - 0.5);
        let at = middle * f64::from(APART) + Vector2::repeat(0.5) + offset;
        draw(
            &mut picture,
            dot,
            at,
            radius + 6.0 * blur_px,
            (noise, &mut rng),
        );
        places.push(at);
    }
    let ink = flat::read(&picture, PX_PER_MM, &[]);
    let mut tally = Tally {
        bound: mean_bound(dot, radius + 6.0 * blur_px, noise),
        ..Tally::default()
    };
    for at in places {
        let near = ink.marks.iter().find(|m| (m.at.vec() - at).norm() < radius);
        match near {
            Some(m) => tally.add(m.at.vec() - at, m.cov.trace() / 2.0),
            None => tally.missed += 1,
        }
    }
    tally
}
