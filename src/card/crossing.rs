//! The last refinement of a checker corner: two blurred edges that cross, fitted to every pixel of the window.
//!
//! The rules of [`super::saddle`] and [`super::blunt`] weigh pixels by where they lie, and so use some of what the
//! picture says of the corner: on an edge of known blur the pixels tell most where the brightness is steepest, and just
//! as much far from the corner as near it. Least squares of the blurred edges themselves use all of it, and come within
//! some percent of the least error that the noise allows (`cargo bench --bench bound`). A checker looks the same turned
//! by half a turn about its corner, and so do blur, sharpening and the two levels: whatever of these the model has not
//! quite right does not move the corner.
//!
//! # Source
//! Blurred edges as the integral of a bell, and least squares as the estimate of greatest likelihood in white noise:
//! Förstner and Wrobel, "Photogrammetric Computer Vision", 2016, and Kay, "Fundamentals of Statistical Signal
//! Processing: Estimation Theory", 1993, chapter 7, from memory.

use std::f64::consts::{FRAC_2_SQRT_PI, PI, SQRT_2};

use image::GrayImage;
use nalgebra::{SMatrix, SVector, Vector2};

use super::saddle::{FLOOR_PX, Refined};
use crate::frame::{Cov2, Pixel, Point};
use crate::raster::sample;

/// Unknowns: place (2), directions of the normals (2), logarithms of the blurs across them (2), half the step, mean
/// level, slope of the light (2). Light multiplies what is printed, in encoded levels too, as these are a power of it.
const UNKNOWNS: usize = 10;
type Vector = SVector<f64, UNKNOWNS>;
type Matrix = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

/// Part of the window's radius on which the edges are first looked for, and places on that circle.
const CIRCLE: f64 = 0.7;
const PLACES: usize = 32;
/// Steps of the fit; four to six are usual, and more where the light's slope is hard to tell from none.
const MAX_STEPS: usize = 25;
/// A step below this is the last, px: a fifth of the best that noise allows.
const DONE_PX: f64 = 1e-3;
/// Blur of an edge to begin with, px, and its limits: below, it is a jump between pixels; above, there is no edge.
const BLUR_PX: f64 = 0.9;
const BLURS_PX: [f64; 2] = [0.3, 4.0];
/// Edges nearer to each other than this, rad, fix no corner.
const LEAST_OPENING: f64 = 0.35;
/// Slope of the light over a window, share of it a px: half the light lost over a picture some 3000 px wide.
/// Shadows' edges slope a hundred times as much, but lie in few windows: a distribution of long tails, Cauchy's. (With
/// the slope quite unknown, the corner is known worse by a quarter and more.)
const LIGHT_SLOPE: f64 = 2.5e-4;
/// A corner moved by more than this from where the rougher rule has it is something else, px.
const MOST_MOVED_PX: f64 = 0.7;
/// A misfit of more than this part of the step between dark and light: something lies across the corner.
const MOST_MISFIT: f64 = 0.2;

/// What the window holds.
#[derive(Clone, Copy)]
struct Crossing {
    at: Vector2<f64>,
    normals: [f64; 2],
    blurs_px: [f64; 2],
    half_step: f64,
    mean: f64,
    /// Of the light, share of it a px.
    slope: Vector2<f64>,
}

/// The corner near `start`, where [`super::saddle`] has it; `None` where two edges do not fit what is there.
pub(super) fn refine(
    image: &GrayImage,
    start: Point<Pixel>,
    radius: f64,
    noise: f64,
) -> Option<Refined> {
    let mut now = Crossing::seen(image, start, radius)?;
    for _ in 0..MAX_STEPS {
        let mut fit = now.sums(image, radius)?;
        // The light's slope as one more pair of observations, by the weight that its tails leave it.
        let spread = LIGHT_SLOPE.powi(2) + now.slope.norm_squared();
        let weight = 2.0 * noise * noise / spread;
        for i in 0..2 {
            fit.normal[(8 + i, 8 + i)] += weight;
            fit.pull[8 + i] -= weight * now.slope[i];
        }
        let step = fit.normal.cholesky()?.solve(&fit.pull);
        let moved = Vector2::new(step[0], step[1]);
        now = now.moved(&step)?;
        if (now.at - start.vec()).norm() > MOST_MOVED_PX {
            return None;
        }
        if moved.norm() < DONE_PX {
            let misfit = fit.square_sum / (fit.weight - UNKNOWNS as f64).max(1.0);
            if misfit.sqrt() > MOST_MISFIT * 2.0 * now.half_step.abs() {
                return None;
            }
            // What the model has not, halos and rounding to blocks, counts as noise too.
            let variance = misfit.max(noise * noise);
            let cov = fit.normal.try_inverse()?.fixed_view::<2, 2>(0, 0) * variance;
            return Some(Refined {
                at: Point::at(now.at),
                cov: cov + Cov2::identity() * FLOOR_PX.powi(2),
            });
        }
    }
    None
}

/// Normal equations of one step.
struct Sums {
    normal: Matrix,
    pull: Vector,
    square_sum: f64,
    weight: f64,
}

impl Crossing {
    /// From the brightness on a circle about the corner, which changes four times.
    fn seen(image: &GrayImage, at: Point<Pixel>, radius: f64) -> Option<Self> {
        let angle = |i: usize| 2.0 * PI * i as f64 / PLACES as f64;
        let levels: [f64; PLACES] = std::array::from_fn(|i| {
            let (s, c) = angle(i).sin_cos();
            sample(
                image,
                at.x + CIRCLE * radius * c,
                at.y + CIRCLE * radius * s,
            )
        });
        let sides = |light: &dyn Fn(f64) -> bool| {
            let of_side: Vec<f64> = levels.iter().copied().filter(|&l| light(l)).collect();
            of_side.iter().sum::<f64>() / of_side.len().max(1) as f64
        };
        let all = levels.iter().sum::<f64>() / PLACES as f64;
        let (dark, light) = (sides(&|l| l < all), sides(&|l| l >= all));
        let mean = (dark + light) / 2.0;
        let mut turns = Vec::new();
        let mut first_light = false;
        for i in 0..PLACES {
            let (a, b) = (levels[i] - mean, levels[(i + 1) % PLACES] - mean);
            if (a < 0.0) != (b < 0.0) {
                if turns.is_empty() {
                    first_light = b >= 0.0;
                }
                turns.push(angle(1) * (i as f64 + a / (a - b)));
            }
        }
        let [a, b, c, d] = turns[..] else {
            return None;
        };
        // Each edge crosses the circle twice, half a turn apart.
        let edges = [(a + c - PI) / 2.0, (b + d - PI) / 2.0];
        let opening = (edges[1] - edges[0]).rem_euclid(PI);
        if opening.min(PI - opening) < LEAST_OPENING {
            return None;
        }
        // Between the two edges, from the first one on: there both normals' sides are one positive and one negative.
        let half_step = (light - dark) / 2.0 * if first_light { -1.0 } else { 1.0 };
        Some(Self {
            at: at.vec(),
            normals: edges.map(|e| e + PI / 2.0),
            blurs_px: [BLUR_PX; 2],
            half_step,
            mean,
            slope: Vector2::zeros(),
        })
    }

    /// Misfits and their derivatives over the window.
    fn sums(&self, image: &GrayImage, radius: f64) -> Option<Sums> {
        let (w, h) = (i64::from(image.width()), i64::from(image.height()));
        let low = |c: f64| (c - radius - 1.0).ceil() as i64;
        let high = |c: f64| (c + radius).floor() as i64;
        let (x0, x1) = (low(self.at.x), high(self.at.x));
        let (y0, y1) = (low(self.at.y), high(self.at.y));
        if x0 < 0 || y0 < 0 || x1 >= w || y1 >= h {
            return None;
        }
        let normals = self.normals.map(|t| Vector2::new(t.cos(), t.sin()));
        let mut sums = Sums {
            normal: Matrix::zeros(),
            pull: Vector::zeros(),
            square_sum: 0.0,
            weight: 0.0,
        };
        for y in y0..=y1 {
            for x in x0..=x1 {
                let d = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - self.at;
                // The rim is smooth over a pixel: no jump as pixels enter and leave the window.
                let weight = (radius + 0.5 - d.norm()).min(1.0);
                if weight <= 0.0 {
                    continue;
                }
                let [(e1, s1), (e2, s2)] =
                    [0, 1].map(|i| edge(d.dot(&normals[i]) / self.blurs_px[i]));
                let [g1, g2] = [
                    self.half_step * s1 * e2 / self.blurs_px[0],
                    self.half_step * e1 * s2 / self.blurs_px[1],
                ];
                let print = self.mean + self.half_step * e1 * e2;
                let light = 1.0 + self.slope.dot(&d);
                let (g1, g2) = (g1 * light, g2 * light);
                let by_place = -(normals[0] * g1 + normals[1] * g2) - self.slope * print;
                let across = |i: usize| d.dot(&Vector2::new(-normals[i].y, normals[i].x));
                let row = Vector::from([
                    by_place.x,
                    by_place.y,
                    g1 * across(0),
                    g2 * across(1),
                    -g1 * d.dot(&normals[0]),
                    -g2 * d.dot(&normals[1]),
                    e1 * e2 * light,
                    light,
                    d.x * print,
                    d.y * print,
                ]);
                let miss = f64::from(image.as_raw()[(y * w + x) as usize]) - print * light;
                for i in 0..UNKNOWNS {
                    let wi = weight * row[i];
                    sums.pull[i] += wi * miss;
                    for j in 0..=i {
                        sums.normal[(i, j)] += wi * row[j];
                    }
                }
                sums.square_sum += weight * miss * miss;
                sums.weight += weight;
            }
        }
        sums.normal.fill_upper_triangle_with_lower_triangle();
        Some(sums)
    }

    /// Changed by `step`; `None` where that is no crossing of edges any more.
    fn moved(&self, step: &Vector) -> Option<Self> {
        // A blur changes by a factor, and not by more than half in one step.
        let blur = |i: usize| {
            let factor = step[4 + i].clamp(-0.5, 0.5).exp();
            (self.blurs_px[i] * factor).clamp(BLURS_PX[0], BLURS_PX[1])
        };
        let next = Self {
            at: self.at + Vector2::new(step[0], step[1]),
            normals: [self.normals[0] + step[2], self.normals[1] + step[3]],
            blurs_px: [blur(0), blur(1)],
            half_step: self.half_step + step[6],
            mean: self.mean + step[7],
            slope: self.slope + Vector2::new(step[8], step[9]),
        };
        step.iter().all(|v| v.is_finite()).then_some(next)
    }
}

/// A step from -1 to 1 blurred by a bell of width 1, and its slope: erf(x / √2). Each pixel of each corner asks for it in
/// each step of the fit, and needs seven digits: the error function of the decision rule has sixteen, and takes its time.
///
/// # Source
/// Abramowitz and Stegun, "Handbook of Mathematical Functions", 7.1.26, from memory: within 1.5e-7.
fn edge(x: f64) -> (f64, f64) {
    let z = x.abs() / SQRT_2;
    let bell = (-z * z).exp();
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let tail = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (
        (1.0 - tail * bell).copysign(x),
        FRAC_2_SQRT_PI / SQRT_2 * bell,
    )
}
