//! Pictures of a checker corner and of a dot, and the least error with which any unbiased finder can place them.
//!
//! Written from the optics alone: a scene of two levels, spread by a lens whose blur is a bell, its light
//! gathered over each pixel's area, plus white noise. Shares no code with the finders.
//!
//! # Source
//! The bound of Cramer and Rao: for white noise of variance s² the information on the place is the sum over all
//! pixels of the outer product of the picture's derivatives, over s²; no unbiased finder has a covariance below its
//! inverse. Kay, "Fundamentals of Statistical Signal Processing: Estimation Theory", 1993, chapter 3 (eqs. 3.31, 3.33),
//! from memory. What else is unknown of corner and dot (levels, blur, size, angles) changes the picture alike on both
//! sides of the middle, and the place unlike, so that not knowing it costs nothing.

use image::{GrayImage, Luma};
use nalgebra::{Matrix2, Vector2};
use punchready::synth::Rng;

/// A pixel gathers its light over its area: nodes and weights of Gauss and Legendre on -0.5 to 0.5.
const NODES: [(f64, f64); 4] = [
    (-0.430_568_155_797_026_3, 0.173_927_422_568_726_9),
    (-0.169_990_521_792_428_1, 0.326_072_577_431_273_1),
    (0.169_990_521_792_428_1, 0.326_072_577_431_273_1),
    (0.430_568_155_797_026_3, 0.173_927_422_568_726_9),
];
/// Variance of rounding to whole levels.
const ROUNDING: f64 = 1.0 / 12.0;
/// Step of the derivatives, px: wrong by a sixth of its square.
const STEP_PX: f64 = 0.1;

/// What is drawn about its own middle: the level at an offset, before pixel and noise.
pub(crate) trait Drawn {
    /// Level at `d` px from the middle.
    fn level(&self, d: Vector2<f64>) -> f64;
}

/// Two straight edges that cross; on either side of each the levels change places.
pub(crate) struct Corner {
    /// Mean of the two levels, and half their difference.
    levels: [f64; 2],
    normals: [Vector2<f64>; 2],
    /// Between -1 and 1, at distances from the two edges in steps of [`Self::FINE`] blurs.
    table: Vec<f64>,
    blur_px: f64,
}

impl Corner {
    const FINE: f64 = 0.1;
    /// Beyond so many blurs an edge is over.
    const FAR: f64 = 5.0;
    const SIDE: usize = 101;

    /// Edges whose normals stand at the angles `normals` (rad), blurred by `blur_px`.
    pub(crate) fn new(levels: [f64; 2], normals: [f64; 2], blur_px: f64) -> Self {
        let normals = normals.map(|t| Vector2::new(t.cos(), t.sin()));
        // The blur moves both edges together, by their normals' cosine in common: the mean over one of the moves.
        let r = normals[0].dot(&normals[1]);
        let rest = (2.0 * (1.0 - r * r)).sqrt();
        let place = |i: usize| i as f64 * Self::FINE - Self::FAR;
        let table = (0..Self::SIDE * Self::SIDE).map(|i| {
            let (u, v) = (place(i % Self::SIDE), place(i / Self::SIDE));
            bell_from(-u, |z| erf((v + r * z) / rest))
        });
        Self {
            levels,
            normals,
            table: table.collect(),
            blur_px,
        }
    }
}

impl Drawn for Corner {
    fn level(&self, d: Vector2<f64>) -> f64 {
        let [(i, s), (j, t)] = self.normals.map(|n| {
            let at = (d.dot(&n) / self.blur_px + Self::FAR) / Self::FINE;
            let at = at.clamp(0.0, (Self::SIDE - 1) as f64 - 1e-9);
            (at as usize, at.fract())
        });
        let at = |i: usize, j: usize| self.table[j * Self::SIDE + i];
        let row = |j: usize| at(i, j) + s * (at(i + 1, j) - at(i, j));
        self.levels[0] + self.levels[1] * (row(j) + t * (row(j + 1) - row(j)))
    }
}

/// A round dot.
pub(crate) struct Dot {
    levels: [f64; 2],
    /// Share of the dot's level at each twentieth of a pixel from the middle.
    profile: Vec<f64>,
}

impl Dot {
    /// A dot of `radius_px` at level `levels[1]` on a face at `levels[0]`, blurred by `blur_px`.
    pub(crate) fn new(levels: [f64; 2], radius_px: f64, blur_px: f64) -> Self {
        let share = |r: f64| {
            bell(|z| {
                let x = r + blur_px * z;
                let half = (radius_px * radius_px - x * x).max(0.0).sqrt();
                erf(half / (blur_px * 2f64.sqrt()))
            })
        };
        let n = ((radius_px + 6.0 * blur_px) * 20.0).ceil() as usize;
        Self {
            levels,
            profile: (0..n + 4).map(|i| share(i as f64 / 20.0)).collect(),
        }
    }
}

impl Drawn for Dot {
    fn level(&self, d: Vector2<f64>) -> f64 {
        let at = d.norm() * 20.0;
        let i = at as usize;
        let share = match self.profile.get(i..i + 2) {
            Some(&[a, b]) => a + (b - a) * (at - i as f64),
            _ => 0.0,
        };
        self.levels[0] + (self.levels[1] - self.levels[0]) * share
    }
}

/// Level of the pixel whose centre lies at `d` from the middle.
pub(crate) fn pixel(drawn: &impl Drawn, d: Vector2<f64>) -> f64 {
    let mut sum = 0.0;
    for (x, wx) in NODES {
        for (y, wy) in NODES {
            sum += wx * wy * drawn.level(d + Vector2::new(x, y));
        }
    }
    sum
}

/// Puts a thing into a picture, its middle at `at` (first pixel's centre at 0.5), as far as `reach` px.
pub(crate) fn draw(
    picture: &mut GrayImage,
    drawn: &impl Drawn,
    at: Vector2<f64>,
    reach: f64,
    (noise, rng): (f64, &mut Rng),
) {
    let ends = |c: f64, n: u32| {
        let low = (c - reach).floor().max(0.0) as u32;
        low..((c + reach).ceil() as u32).min(n)
    };
    for y in ends(at.y, picture.height()) {
        for x in ends(at.x, picture.width()) {
            let d = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5) - at;
            let level = pixel(drawn, d) + noise * rng.normal();
            picture.put_pixel(x, y, Luma([level.round().clamp(1.0, 255.0) as u8]));
        }
    }
}

/// Least standard deviation of each coordinate, px (root mean square of both), for white noise of `noise` levels
/// and rounding, from the pixels within `radius` of the middle, which lies at `offset` in its pixel.
pub(crate) fn bound_px(drawn: &impl Drawn, offset: Vector2<f64>, radius: f64, noise: f64) -> f64 {
    let n = radius.ceil() as i32 + 1;
    let mut information = Matrix2::<f64>::zeros();
    for y in -n..=n {
        for x in -n..=n {
            let d = Vector2::new(f64::from(x), f64::from(y)) - offset;
            if d.norm() > radius {
                continue;
            }
            let slope =
                |by: Vector2<f64>| (pixel(drawn, d + by) - pixel(drawn, d - by)) / (2.0 * STEP_PX);
            let g = Vector2::new(slope(Vector2::x() * STEP_PX), slope(Vector2::y() * STEP_PX));
            information += g * g.transpose();
        }
    }
    let variance = noise * noise + ROUNDING;
    let least = information.try_inverse().expect("a picture with a place") * variance;
    (least.trace() / 2.0).sqrt()
}

/// Mean of `f` over the normal distribution.
fn bell(f: impl Fn(f64) -> f64) -> f64 {
    bell_from(-8.0, f)
}

/// Mean over the normal distribution of `f`, its sign changed below `turn`.
fn bell_from(turn: f64, f: impl Fn(f64) -> f64) -> f64 {
    const PARTS: i32 = 100;
    let turn = turn.clamp(-8.0, 8.0);
    let between = |from: f64, to: f64| {
        let step = (to - from) / f64::from(PARTS);
        let at = |i: i32| from + (f64::from(i) + 0.5) * step;
        let weigh = |z: f64| (-z * z / 2.0).exp() * f(z);
        (0..PARTS).map(|i| weigh(at(i))).sum::<f64>() * step
    };
    (between(turn, 8.0) - between(-8.0, turn)) / (2.0 * std::f64::consts::PI).sqrt()
}

/// The error function by its series, which is exact to 1e-11 where it is not 1.
fn erf(x: f64) -> f64 {
    if x.abs() > 4.5 {
        return x.signum();
    }
    let (mut term, mut sum) = (x, x);
    let mut n = 0.0;
    while f64::abs(term) > 1e-17 {
        n += 1.0;
        term *= -x * x / n;
        sum += term / (2.0 * n + 1.0);
    }
    sum * 2.0 / std::f64::consts::PI.sqrt()
}
