//! Corners and dots are placed about as well as the noise of their pictures allows: `cargo bench --bench bound` in small.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

#[path = "../benches/bound/model.rs"]
mod model;

use image::{GrayImage, Luma};
use model::{Corner, Dot, bound_px, draw};
use nalgebra::Vector2;
use punchready::card::saddle;
use punchready::frame::Point;
use punchready::ink::flat;
use punchready::synth::Rng;

/// Bar of the project: error over the bound of Cramer and Rao. For corners the gradients' rule alone makes it 3, and for
/// dots a mean of what is darker than a third of the ink 1.6.
const RATIO: f64 = 1.3;
const PLACES: u32 = 100;
const BLUR_PX: f64 = 0.9;
const NOISE: f64 = 3.0;
/// Error that a steep slope of the light may add, px.
const SLOPED_PX: f64 = 0.01;

fn offset(rng: &mut Rng) -> Vector2<f64> {
    Vector2::new(rng.unit() - 0.5, rng.unit() - 0.5)
}

#[test]
fn corners_are_placed_as_well_as_noise_allows() {
    for (radius, opening) in [(4.0, 90.0_f64), (8.0, 60.0), (12.0, 90.0)] {
        let normals = [0.4, 0.4 + opening.to_radians()];
        let corner = Corner::new([125.0, 60.0], normals, BLUR_PX);
        let mut rng = Rng::new(3);
        let mut square = 0.0;
        for _ in 0..PLACES {
            let at = Vector2::repeat(20.5) + offset(&mut rng);
            let mut picture = GrayImage::new(40, 40);
            draw(&mut picture, &corner, at, 40.0, (NOISE, &mut rng));
            let start = Point::at(at + offset(&mut rng));
            let found = saddle::refine(&picture, start, radius, NOISE).unwrap();
            square += (found.at.vec() - at).norm_squared() / 2.0;
        }
        let error = (square / f64::from(PLACES)).sqrt();
        // The window's rim is half a pixel soft.
        let bound = bound_px(&corner, Vector2::zeros(), radius + 0.5, NOISE);
        println!("window {radius}, {opening} degrees: {error:.4} px, bound {bound:.4} px");
        assert!(
            error < RATIO * bound,
            "{error} px, bound {bound} px, ratio {}, allowed {RATIO}",
            error / bound
        );
    }
}

#[test]
fn light_that_falls_off_steeply_moves_no_corner() {
    // The light of one side of a card is four times that of the other: 0.4 % a pixel.
    let corner = Corner::new([125.0, 60.0], [0.3, 1.8], BLUR_PX);
    for way in [0.0, 0.8, 1.6, 2.4] {
        let at = Vector2::new(20.3, 20.6);
        let mut picture = GrayImage::new(40, 40);
        draw(&mut picture, &corner, at, 40.0, (0.0, &mut Rng::new(1)));
        for (x, y, p) in picture.enumerate_pixels_mut() {
            let d = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5) - at;
            let light = 1.0 + 0.004 * d.dot(&Vector2::new(f64::cos(way), f64::sin(way)));
            *p = Luma([(f64::from(p.0[0]) * light).round().clamp(0.0, 255.0) as u8]);
        }
        let found = saddle::refine(&picture, Point::new(20.0, 21.0), 8.0, 1.0).unwrap();
        let error = (found.at.vec() - at).norm();
        println!("light along {way}: {error:.4} px");
        assert!(error < SLOPED_PX, "{error} px, allowed {SLOPED_PX} px");
    }
}

#[test]
fn dots_are_placed_as_well_as_noise_allows() {
    const APART: u32 = 100;
    // In little noise what a rule itself leaves shows, and on large dots how far out it looks.
    for (radius, noise) in [(3.0, 2.0), (4.5, 5.0), (6.0, 2.0)] {
        let dot = Dot::new([175.0, 60.0], radius, 1.0);
        let mut rng = Rng::new(5);
        let mut picture = GrayImage::new(10 * APART, PLACES / 10 * APART);
        for p in picture.pixels_mut() {
            *p = Luma([(175.0 + noise * rng.normal()).round() as u8]);
        }
        let mut places = Vec::new();
        for i in 0..PLACES {
            let middle = Vector2::new(f64::from(i % 10) + 0.5, f64::from(i / 10) + 0.5);
            let at = middle * f64::from(APART) + Vector2::repeat(0.5) + offset(&mut rng);
            draw(&mut picture, &dot, at, radius + 6.0, (noise, &mut rng));
            places.push(at);
        }
        let ink = flat::read(&picture, 10.0, &[]);
        let square: f64 = places
            .iter()
            .map(|at| {
                let found = ink.marks.iter().find(|m| (m.at.vec() - at).norm() < radius);
                (found.unwrap().at.vec() - at).norm_squared() / 2.0
            })
            .sum();
        let error = (square / f64::from(PLACES)).sqrt();
        let bound = bound_px(&dot, Vector2::zeros(), radius + 6.0, noise);
        println!("dots of {radius} px in noise of {noise}: {error:.4} px, bound {bound:.4} px");
        assert!(
            error < RATIO * bound,
            "{error} px, bound {bound} px, ratio {}, allowed {RATIO}",
            error / bound
        );
    }
}
