//! Sub-pixel place of a checker corner so small that blur has rounded it all over.
//!
//! In a window a few pixels wide no straight edge is left to follow: brightness there is a smooth saddle,
//! like x·y, and for that the rule of [`super::saddle`] runs away from the corner (about I = x·y its step
//! has the right length and the wrong sign). What is left of the corner is the point where the brightness
//! is level: a quadric fitted to the window, and the place where its gradient vanishes. A checker looks
//! the same turned by half a turn about its corner, so that the quadric about the corner itself has no
//! slope, however the blur has shaped it.
//!
//! Lucchese and Mitra, "Using Saddle Points for Subpixel Feature Detection in Camera Calibration
//! Targets", IEEE APCCAS 2002, from memory.

use image::GrayImage;
use nalgebra::{Matrix2, Matrix6, SVector, Vector2, Vector6};

use super::saddle::{DONE_PX, FLOOR_PX, MAX_ROUNDS, Refined};
use crate::frame::{Pixel, Point};

/// Least bend of the saddle, grey levels per px², along its weaker axis: rounding alone bends by 0.1.
const LEAST_BEND: f64 = 0.5;
/// Curvatures of a checker corner seen under 45 degrees differ by up to this factor.
const MOST_UNLIKE: f64 = 12.0;

/// As [`super::saddle::refine`], for windows without straight edges.
pub(super) fn refine(
    image: &GrayImage,
    start: Point<Pixel>,
    radius: f64,
    noise: f64,
) -> Option<Refined> {
    let mut at = start;
    for _ in 0..MAX_ROUNDS {
        let fit = Quadric::around(image, at, radius)?;
        // Far from the corner the step overshoots.
        let step = fit.step()?.cap_magnitude(radius / 2.0);
        at = Point::at(at.vec() + step);
        if at.distance(start) > radius {
            return None;
        }
        if step.norm() < DONE_PX {
            let slopes = fit.slope_cov * (noise * noise);
            let back = fit.bend.try_inverse()?;
            let floor = Matrix2::identity() * FLOOR_PX.powi(2);
            return Some(Refined {
                at,
                cov: back * slopes * back + floor,
            });
        }
    }
    None
}

/// Brightness about a point: slope and second derivatives.
struct Quadric {
    slope: Vector2<f64>,
    bend: Matrix2<f64>,
    /// Covariance of `slope` for noise of one grey level.
    slope_cov: Matrix2<f64>,
}

impl Quadric {
    fn around(image: &GrayImage, at: Point<Pixel>, radius: f64) -> Option<Self> {
        let (w, h) = (i64::from(image.width()), i64::from(image.height()));
        let low = |c: f64| (c - radius - 0.5).ceil() as i64;
        let high = |c: f64| (c + radius - 0.5).floor() as i64;
        let (x0, x1, y0, y1) = (low(at.x), high(at.x), low(at.y), high(at.y));
        if x0 < 0 || y0 < 0 || x1 >= w || y1 >= h {
            return None;
        }
        let mut normal = Matrix6::zeros();
        let mut square = Matrix6::zeros();
        let mut right = Vector6::zeros();
        for y in y0..=y1 {
            for x in x0..=x1 {
                let d = Point::<Pixel>::new(x as f64 + 0.5, y as f64 + 0.5) - at;
                let reach = d.norm_squared() / (radius * radius);
                if reach >= 1.0 {
                    continue;
                }
                // Smooth to zero at the rim, as pixels enter and leave the window.
                let weight = (1.0 - reach) * (1.0 - reach);
                let terms: Vector6<f64> =
                    SVector::from([1.0, d.x, d.y, d.x * d.x / 2.0, d.x * d.y, d.y * d.y / 2.0]);
                let outer = terms * terms.transpose();
                normal += outer * weight;
                square += outer * (weight * weight);
                right += terms * (weight * f64::from(image.as_raw()[(y * w + x) as usize]));
            }
        }
        let inverse = normal.try_inverse()?;
        let c = inverse * right;
        let cov = inverse * square * inverse;
        Some(Self {
            slope: Vector2::new(c[1], c[2]),
            bend: Matrix2::new(c[3], c[4], c[4], c[5]),
            slope_cov: cov.fixed_view::<2, 2>(1, 1).into_owned(),
        })
    }

    /// To where the slope vanishes; `None` where the brightness is no saddle.
    fn step(&self) -> Option<Vector2<f64>> {
        let bends = self.bend.symmetric_eigenvalues();
        let (low, high) = (bends.min(), bends.max());
        let weak = (-low).min(high);
        if weak < LEAST_BEND || (-low).max(high) > MOST_UNLIKE * weak {
            return None;
        }
        Some(-(self.bend.try_inverse()? * self.slope))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A checker of squares `side` px wide with a corner at (x, y), turned by `angle`, blurred by a bell
    /// that its pixels' own area is part of.
    fn drawn(x: f64, y: f64, side: f64, angle: f64) -> GrayImage {
        let (s, c) = f64::sin_cos(angle);
        GrayImage::from_fn(24, 24, |px, py| {
            let (mut sum, mut weights) = (0.0, 0.0);
            for i in 0..1600 {
                let d = Vector2::new(f64::from(i % 40) - 19.5, f64::from(i / 40) - 19.5) / 8.0;
                let weight = (-d.norm_squared() / (2.0 * 0.8 * 0.8)).exp();
                let (u, v) = (f64::from(px) + 0.5 + d.x - x, f64::from(py) + 0.5 + d.y - y);
                let cell = ((u * c + v * s) / side).floor() + ((v * c - u * s) / side).floor();
                sum += weight
                    * if cell.rem_euclid(2.0) < 0.5 {
                        40.0
                    } else {
                        210.0
                    };
                weights += weight;
            }
            image::Luma([f64::round(sum / weights) as u8])
        })
    }

    /// Measured: up to 0.030 px, at squares of 3 px, which the pixels of the window sample coarsely.
    const DRAWN_PX: f64 = 0.05;

    #[test]
    fn squares_of_three_and_four_pixels_are_placed() {
        for side in [3.0, 4.0, 5.0] {
            for (x, y, angle) in [(12.0, 12.0, 0.0), (11.7, 12.4, 0.3), (12.2, 11.6, 0.8)] {
                let image = drawn(x, y, side, angle);
                // A quarter of a square off along its diagonal is as far as the saddle reaches: beyond, the
                // brightness bends as in the middle of a square.
                let start = Point::new(x + 0.15 * side, y - 0.12 * side);
                let found = refine(&image, start, 2.5, 1.0).unwrap();
                let off = found.at.distance(Point::new(x, y));
                assert!(
                    off < DRAWN_PX,
                    "side {side}, ({x}, {y}) at {angle}: off by {off} px, allowed {DRAWN_PX}"
                );
            }
        }
    }

    #[test]
    fn an_edge_a_hill_and_a_plain_are_refused() {
        let edge = GrayImage::from_fn(24, 24, |x, _| image::Luma([if x < 12 { 30 } else { 200 }]));
        let hill = GrayImage::from_fn(24, 24, |x, y| {
            let r2 = (f64::from(x) - 11.5).powi(2) + (f64::from(y) - 11.5).powi(2);
            image::Luma([(200.0 * (-r2 / 8.0).exp()) as u8])
        });
        let plain = GrayImage::from_pixel(24, 24, image::Luma([128]));
        for image in [edge, hill, plain] {
            assert!(refine(&image, Point::new(12.0, 12.0), 2.5, 1.0).is_none());
        }
    }
}
