//! Sub-pixel place of a checker corner.
//!
//! Along every edge that runs through the corner the brightness gradient is at a right angle to the
//! way to the corner. The corner is the point for which this holds best, weighted towards the middle:
//! Förstner and Gülch, "A fast operator for detection and precise location of distinct points, corners
//! and centres of circular features", ISPRS Intercommission Conference, Interlaken, 1987. Where the window
//! is too small to hold straight edges, the quadric of `blunt` takes its place. Last, `crossing` fits the edges themselves.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};

use super::{blunt, crossing};
use crate::frame::{Cov2, Pixel, Point};

/// A refined corner.
#[derive(Debug, Clone, Copy)]
pub struct Refined {
    /// Where it is.
    pub at: Point<Pixel>,
    /// Covariance from the noise of the picture, px².
    pub cov: Cov2,
}

/// Smallest radius for which the window holds enough pixels, px.
pub const MIN_RADIUS_PX: f64 = 2.5;
/// In windows smaller than this, px, the blur of some 0.9 px that photos have rounds a good part of the
/// edges. Below 4 px the rule of this file finds nothing at all; at 5 px it leaves 0.025 px on drawn photos
/// and the quadric 0.010; from about eight times the blur on edges rule the window.
const BLUNT_BELOW_PX: f64 = 7.0;
/// From this radius on, px, the window shows enough of the edges to fit them.
const FITTED_FROM_PX: f64 = 3.5;
/// Rounds before giving up; a good corner needs three to six.
pub(super) const MAX_ROUNDS: usize = 25;
/// What is left without noise, px: pixels sample a corner at their centres, phones sharpen, JPEG rounds.
pub(super) const FLOOR_PX: f64 = 0.015;
/// A step below this changes nothing that matters, px.
pub(super) const DONE_PX: f64 = 1e-4;

/// Moves `start` to the corner near it, as near as the noise allows: [`near`], then the two edges that cross there.
///
/// Arguments and result as those of [`near`]. Where no two edges fit what is there its result stands.
#[must_use]
pub fn refine(
    image: &GrayImage,
    start: Point<Pixel>,
    radius_px: f64,
    noise: f64,
) -> Option<Refined> {
    let first = near(image, start, radius_px, noise)?;
    if radius_px < FITTED_FROM_PX {
        return Some(first);
    }
    crossing::refine(image, first.at, radius_px, noise).or(Some(first))
}

/// Moves `start` to the corner near it.
///
/// `radius_px`: the window; no other corner may lie inside it. `noise`: standard deviation of a pixel,
/// grey levels, see [`noise_of`]. Returns `None` when the window leaves
/// the image, when the gradients do not fix a point (an edge, or nothing at all), or when the corner
/// lies further than `radius_px` from `start`.
#[must_use]
pub fn near(image: &GrayImage, start: Point<Pixel>, radius_px: f64, noise: f64) -> Option<Refined> {
    let radius = radius_px.max(MIN_RADIUS_PX);
    if radius < BLUNT_BELOW_PX {
        return blunt::refine(image, start, radius, noise);
    }
    let mut at = start;
    for _ in 0..MAX_ROUNDS {
        let sums = Sums::around(image, at, radius)?;
        let next = sums.corner()?;
        if next.distance(start) > radius {
            return None;
        }
        let step = next.distance(at);
        at = next;
        if step < DONE_PX {
            let cov = Sums::around(image, at, radius)?.covariance(noise)?;
            return Some(Refined { at, cov });
        }
    }
    None
}

/// Standard deviation of the noise in a plain patch, grey levels: the 5 x 5 pixels round each place, their
/// mean slope taken off; the median over the places. `None` when no place lies inside the picture.
#[must_use]
pub fn noise_of(image: &GrayImage, plain: &[Point<Pixel>]) -> Option<f64> {
    let (w, h) = (i64::from(image.width()), i64::from(image.height()));
    let mut all: Vec<f64> = plain
        .iter()
        .filter_map(|p| {
            let (x, y) = (p.x.floor() as i64, p.y.floor() as i64);
            if x < 2 || y < 2 || x > w - 3 || y > h - 3 {
                return None;
            }
            let value =
                |dx: i64, dy: i64| f64::from(image.as_raw()[((y + dy) * w + x + dx) as usize]);
            let (mut sum, mut sx, mut sy, mut square) = (0.0, 0.0, 0.0, 0.0);
            for dy in -2..=2 {
                for dx in -2..=2 {
                    let v = value(dx, dy);
                    sum += v;
                    sx += v * dx as f64;
                    sy += v * dy as f64;
                    square += v * v;
                }
            }
            // Plane fit on a 5 x 5 grid: the sum of dx² is 50; 25 values less 3 unknowns.
            Some(((square - sum * sum / 25.0 - (sx * sx + sy * sy) / 50.0).max(0.0) / 22.0).sqrt())
        })
        .collect();
    all.sort_by(f64::total_cmp);
    all.get(all.len() / 2).copied()
}

/// Weighted sums over the gradients g at pixels x: of g gᵀ, of g gᵀ x, and of g gᵀ |x|² squarely weighted.
struct Sums {
    normal: Matrix2<f64>,
    right: Vector2<f64>,
    noise: Matrix2<f64>,
    weight: f64,
    /// The sums are taken about this point, which keeps the numbers small.
    middle: Point<Pixel>,
}

impl Sums {
    fn around(image: &GrayImage, at: Point<Pixel>, radius: f64) -> Option<Self> {
        let (w, h) = (i64::from(image.width()), i64::from(image.height()));
        let raw = image.as_raw();
        let low = |c: f64| (c - radius - 0.5).ceil() as i64;
        let high = |c: f64| (c + radius - 0.5).floor() as i64;
        let (x0, x1, y0, y1) = (low(at.x), high(at.x), low(at.y), high(at.y));
        if x0 < 1 || y0 < 1 || x1 > w - 2 || y1 > h - 2 {
            return None;
        }
        let mut sums = Self {
            normal: Matrix2::zeros(),
            right: Vector2::zeros(),
            noise: Matrix2::zeros(),
            weight: 0.0,
            middle: at,
        };
        let value = |x: i64, y: i64| f64::from(raw[(y * w + x) as usize]);
        for y in y0..=y1 {
            for x in x0..=x1 {
                let d = Point::<Pixel>::new(x as f64 + 0.5, y as f64 + 0.5) - at;
                let reach = d.norm_squared() / (radius * radius);
                if reach >= 1.0 {
                    continue;
                }
                // Smooth to zero at the rim: no jump as pixels enter and leave the window.
                let weight = (1.0 - reach) * (1.0 - reach);
                let g = Vector2::new(
                    value(x + 1, y) - value(x - 1, y),
                    value(x, y + 1) - value(x, y - 1),
                ) / 2.0;
                let along = g.dot(&d);
                sums.normal += weight * g * g.transpose();
                sums.right += weight * along * g;
                sums.noise += weight * weight * d.norm_squared() * g * g.transpose();
                sums.weight += weight;
            }
        }
        Some(sums)
    }

    fn corner(&self) -> Option<Point<Pixel>> {
        // The smaller eigenvalue must hold its own: on a single edge it is near zero.
        let half_trace = self.normal.trace() / 2.0;
        let smaller = half_trace
            - (half_trace * half_trace - self.normal.determinant())
                .max(0.0)
                .sqrt();
        if smaller < 0.02 * half_trace || smaller < self.weight * 0.5 {
            return None;
        }
        Some(self.middle + self.normal.try_inverse()? * self.right)
    }

    /// The corner is N⁻¹ Σ w g (g·x). Noise of standard deviation σ in each pixel gives a central difference
    /// σ/√2, and through the way from the corner, x, a term of variance σ²|x|²/2 along g.
    fn covariance(&self, noise: f64) -> Option<Cov2> {
        let inverse = self.normal.try_inverse()?;
        Some(
            inverse * self.noise * inverse * (noise * noise / 2.0)
                + Cov2::identity() * FLOOR_PX.powi(2),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A corner at (x, y) of two edges turned by `angle`, blurred as by a lens and a pixel: each pixel
    /// is the mean over a cone 3 px wide.
    fn drawn(x: f64, y: f64, angle: f64) -> GrayImage {
        let (s, c) = f64::sin_cos(angle);
        GrayImage::from_fn(40, 40, |px, py| {
            let mut sum = 0.0;
            let mut weights = 0.0;
            for i in 0..900 {
                let (dx, dy) = (
                    (f64::from(i % 30) - 14.5) / 10.0,
                    (f64::from(i / 30) - 14.5) / 10.0,
                );
                let weight = (1.5 - dx.hypot(dy)).max(0.0);
                let (u, v) = (f64::from(px) + 0.5 + dx - x, f64::from(py) + 0.5 + dy - y);
                let light = (u * c + v * s > 0.0) == (v * (c + 0.2) - u * s > 0.0);
                sum += weight * if light { 210.0 } else { 40.0 };
                weights += weight;
            }
            image::Luma([f64::round(sum / weights) as u8])
        })
    }

    /// Rounding to 8 bits leaves about 0.3 grey levels of noise over some thirty edge pixels.
    const DRAWN_PX: f64 = 0.02;

    #[test]
    fn finds_the_drawn_corner_from_two_pixels_away() {
        for (x, y, angle) in [
            (20.0, 20.0, 0.0),
            (19.3, 20.8, 0.4),
            (20.5, 19.5, 1.2),
            (21.21, 20.02, -0.7),
        ] {
            let image = drawn(x, y, angle);
            let found = refine(&image, Point::new(x + 1.5, y - 1.2), 7.0, 1.0).unwrap();
            let off = found.at.distance(Point::new(x, y));
            assert!(
                off < DRAWN_PX,
                "({x}, {y}) at {angle}: off by {off} px, allowed {DRAWN_PX}"
            );
        }
    }

    #[test]
    fn refuses_an_edge_a_plain_and_the_rim() {
        let edge = GrayImage::from_fn(40, 40, |x, _| image::Luma([if x < 20 { 30 } else { 200 }]));
        assert!(refine(&edge, Point::new(20.0, 20.0), 6.0, 1.0).is_none());
        let plain = GrayImage::from_pixel(40, 40, image::Luma([128]));
        assert!(refine(&plain, Point::new(20.0, 20.0), 6.0, 1.0).is_none());
        assert!(refine(&drawn(3.0, 3.0, 0.1), Point::new(3.0, 3.0), 6.0, 1.0).is_none());
    }
}
