//! Drilled holes: round things with a sharp rim through which something else than the face is seen.
//!
//! A pen's blot may be as dark, but no hand draws it round to hundredths: the rim must be a circle. What lies behind a
//! hole, or how much of its wall is seen, does not matter: the outermost edge in each direction is the rim.

use image::GrayImage;
use nalgebra::{Matrix3, Vector2, Vector3};

use super::worked::Bare;
use crate::raster::components::components;

/// A hole in a flat picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct FlatHole {
    pub(super) at: Vector2<f64>,
    pub(super) radius: f64,
    /// Standard uncertainty of centre and radius, along one direction, px.
    pub(super) sigma: f64,
}

/// Radii of holes, mm: a pilot's, and that of the largest rivet set by hand.
const RADIUS_MM: [f64; 2] = [0.7, 4.5];
/// What is darker, or brighter, than the face by this share may be a hole: white paper behind one is not much brighter
/// than bare metal.
const DARKER: f32 = -0.22;
const BRIGHTER: f32 = 0.09;
/// Strokes of pens are narrower than this, and are taken out first, mm.
const STROKE_MM: f64 = 0.9;
/// Directions in which the rim is looked for, and the share of them that must show it on the circle.
const DIRECTIONS: usize = 72;
const LEAST_SHARE: f64 = 0.6;
/// The rim of a drilled hole is round within this, mm (standard deviation), and what a pixel adds, px.
const ROUND_MM: f64 = 0.035;
const ROUND_PX: f64 = 0.25;
/// The inside differs from the face by this share at least, in the mean.
const LEAST_INSIDE: f64 = 0.07;
/// Where a burr begins and where the face ends differ by about this, mm.
const BURR_MM: f64 = 0.02;

/// All holes in a flat picture.
pub(super) fn find(bare: &Bare, flat: &GrayImage, mm: f64) -> Vec<FlatHole> {
    let mut found: Vec<FlatHole> = Vec::new();
    for bright in [false, true] {
        let mask = opened(bare, flat, bright, (STROKE_MM * mm) as usize);
        let least = (1.0 * mm * mm) as usize;
        for c in components(&mask, flat.width() as usize, least, |v| v != 0) {
            let (w, h) = (f64::from(c.width()), f64::from(c.height()));
            if w.max(h) > 2.4 * RADIUS_MM[1] * mm || w.max(h) > 2.2 * w.min(h) {
                continue;
            }
            let middle = Vector2::new(
                f64::from(c.bounds[0]) + w / 2.0,
                f64::from(c.bounds[1]) + h / 2.0,
            );
            if let Some(hole) = refined(bare, flat, middle, w.max(h) / 2.0, mm)
                && !found
                    .iter()
                    .any(|f| (f.at - hole.at).norm() < f.radius.max(hole.radius))
            {
                found.push(hole);
            }
        }
    }
    found
}

/// Pixels that are not the face, on one side of its level, without what is narrower than `stroke` px (opening by a
/// square: Serra, 1982, from memory).
fn opened(bare: &Bare, flat: &GrayImage, bright: bool, stroke: usize) -> Vec<u8> {
    let (w, h) = (flat.width() as usize, flat.height() as usize);
    let mut mask = vec![0u8; w * h];
    for y in 0..h {
        for x in 0..w {
            let d = bare.differs(flat, x, y);
            let other = if bright { d > BRIGHTER } else { d < DARKER };
            mask[y * w + x] = u8::from(other);
        }
    }
    let half = (stroke / 2).max(1);
    for all in [true, false] {
        for along_x in [true, false] {
            mask = swept(&mask, [w, h], half, along_x, all);
        }
    }
    mask
}

/// Of each pixel whether all (or any) within `half` px along one axis are set.
fn swept(mask: &[u8], [w, h]: [usize; 2], half: usize, along_x: bool, all: bool) -> Vec<u8> {
    let (length, lines, step, jump) = if along_x { (w, h, 1, w) } else { (h, w, w, 1) };
    let mut out = vec![0u8; w * h];
    let mut sums = vec![0u32; length + 1];
    for line in 0..lines {
        for i in 0..length {
            sums[i + 1] = sums[i] + u32::from(mask[line * jump + i * step]);
        }
        for i in 0..length {
            let (from, to) = (i.saturating_sub(half), (i + half + 1).min(length));
            let set = sums[to] - sums[from];
            // Beyond the picture nothing is set.
            let holds = if all {
                set as usize == 2 * half + 1
            } else {
                set > 0
            };
            out[line * jump + i * step] = u8::from(holds);
        }
    }
    out
}

/// A circle fitted to a rim.
#[derive(Debug, Clone, Copy)]
pub(super) struct Circle {
    pub(super) at: Vector2<f64>,
    pub(super) radius: f64,
    /// Standard deviation of the rim round it, px.
    pub(super) rms: f64,
    /// Directions, of 72, whose rim is on it.
    pub(super) count: usize,
}

/// The circle through the outermost strong edges round about `middle`.
pub(super) fn circle(
    flat: &GrayImage,
    middle: Vector2<f64>,
    about: f64,
    mm: f64,
) -> Option<Circle> {
    let mut now = Circle {
        at: middle,
        radius: about,
        rms: 0.0,
        count: 0,
    };
    // Where the first circle was off, rims were looked for in the wrong place.
    for _ in 0..5 {
        let ((at, radius), rms, count) = round(&rim(flat, (now.at, now.radius), mm), mm)?;
        now = Circle {
            at,
            radius,
            rms,
            count,
        };
    }
    Some(now)
}

/// The hole round about `middle`, if it is one.
fn refined(
    bare: &Bare,
    flat: &GrayImage,
    middle: Vector2<f64>,
    about: f64,
    mm: f64,
) -> Option<FlatHole> {
    let c = circle(flat, middle, about, mm)?;
    let sound = c.radius > RADIUS_MM[0] * mm
        && c.radius < RADIUS_MM[1] * mm
        && (c.at - middle).norm() < 0.7 * about.max(c.radius)
        && c.count as f64 > LEAST_SHARE * DIRECTIONS as f64
        && c.rms < ROUND_MM * mm + ROUND_PX
        && inside(bare, flat, c.at, c.radius) > LEAST_INSIDE;
    // Neighbouring directions see the same pixels: a third of them count.
    let free = (c.count as f64 / 3.0).max(1.0);
    sound.then_some(FlatHole {
        at: c.at,
        radius: c.radius,
        sigma: (c.rms / free.sqrt()).hypot(BURR_MM * mm),
    })
}

/// The outermost strong edge in each direction from the circle's centre.
fn rim(flat: &GrayImage, (at, about): (Vector2<f64>, f64), mm: f64) -> Vec<Vector2<f64>> {
    /// Steps of a profile, px.
    const STEP: f64 = 0.5;
    let (from, to) = (0.5 * about, 1.45 * about + 0.45 * mm);
    let steps = ((to - from) / STEP) as usize;
    (0..DIRECTIONS)
        .filter_map(|k| {
            let angle = k as f64 * std::f64::consts::TAU / DIRECTIONS as f64;
            let way = Vector2::new(angle.cos(), angle.sin());
            let level: Vec<f64> = (0..=steps)
                .map(|i| sample(flat, at + way * (from + STEP * i as f64)))
                .collect::<Option<_>>()?;
            // Over two pixels: noise is halved, and blur is wider anyhow.
            let slope: Vec<f64> = (2..level.len().saturating_sub(2))
                .map(|i| (level[i + 2] - level[i - 2]).abs())
                .collect();
            let most = slope.iter().copied().fold(0.0, f64::max);
            let peak = (1..slope.len().saturating_sub(1)).rev().find(|&i| {
                slope[i] > 0.5 * most && slope[i] >= slope[i - 1] && slope[i] >= slope[i + 1]
            })?;
            let (a, b, c) = (slope[peak - 1], slope[peak], slope[peak + 1]);
            let bend = a - 2.0 * b + c;
            let shift = if bend < 0.0 {
                0.5 * (a - c) / bend
            } else {
                0.0
            };
            Some(at + way * (from + STEP * (peak as f64 + 2.0 + shift)))
        })
        .collect()
}

/// The light between pixels; `None` where there is nothing to see. A blurred edge is half-way in light, not in the file's
/// levels: taken in levels a hole over a dark bench would measure 0.1 mm too small.
fn sample(flat: &GrayImage, p: Vector2<f64>) -> Option<f64> {
    let (x, y) = ((p.x - 0.5).floor(), (p.y - 0.5).floor());
    if x < 0.0
        || y < 0.0
        || x + 1.0 >= f64::from(flat.width())
        || y + 1.0 >= f64::from(flat.height())
    {
        return None;
    }
    let (u, v) = (p.x - 0.5 - x, p.y - 0.5 - y);
    let at = |dx: u32, dy: u32| flat.get_pixel(x as u32 + dx, y as u32 + dy)[0];
    let four = [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
    if four.contains(&0) {
        return None;
    }
    // sRGB by its usual power; only where the steepest place lies matters.
    let [a, b, c, d] = four.map(|v| (f64::from(v) / 255.0).powf(2.2));
    Some((1.0 - v) * ((1.0 - u) * a + u * b) + v * ((1.0 - u) * c + u * d))
}

/// The circle through most of the points: centre and radius, the standard deviation round it, and how many are on it.
///
/// # Source
/// Kåsa, "A Circle Fitting Procedure and Its Error Analysis", IEEE Trans. Instrum. Meas. 25, 1976, 8-14 (from memory):
/// without bias where points lie all round. Points off by more than 3 robust standard deviations are dropped.
fn round(points: &[Vector2<f64>], mm: f64) -> Option<((Vector2<f64>, f64), f64, usize)> {
    /// Fewest points for a circle worth the name.
    const FEWEST: usize = 20;
    let mut on: Vec<Vector2<f64>> = points.to_vec();
    let mut best = None;
    for _ in 0..6 {
        if on.len() < FEWEST {
            return None;
        }
        let (at, radius) = kasa(&on)?;
        let off = |p: &Vector2<f64>| ((p - at).norm() - radius).abs();
        let mut offs: Vec<f64> = points.iter().map(off).collect();
        offs.sort_by(f64::total_cmp);
        let cut = (3.0 * 1.4826 * offs[offs.len() / 2]).clamp(0.3, (0.15 * mm).max(0.8));
        on = points.iter().copied().filter(|p| off(p) <= cut).collect();
        let spread = on.iter().map(|p| off(p).powi(2)).sum::<f64>() / on.len().max(1) as f64;
        best = Some(((at, radius), spread.sqrt(), on.len()));
    }
    best
}

fn kasa(points: &[Vector2<f64>]) -> Option<(Vector2<f64>, f64)> {
    let mean = points.iter().sum::<Vector2<f64>>() / points.len() as f64;
    let (mut a, mut b) = (Matrix3::zeros(), Vector3::zeros());
    for p in points {
        let d = p - mean;
        let row = Vector3::new(d.x, d.y, 1.0);
        a += row * row.transpose();
        b += row * d.norm_squared();
    }
    let s = a.try_inverse()? * b;
    let centre = Vector2::new(s.x / 2.0, s.y / 2.0);
    let square = s.z + centre.norm_squared();
    (square > 0.0).then(|| (mean + centre, square.sqrt()))
}

/// By what share the inside differs from the face, in the mean.
fn inside(bare: &Bare, flat: &GrayImage, at: Vector2<f64>, radius: f64) -> f64 {
    let (mut other, mut all) = (0.0, 0usize);
    let reach = 0.8 * radius;
    let range = |c: f64, n: u32| {
        let low = (c - reach).max(0.0) as usize;
        low..((c + reach) as usize + 1).min(n as usize)
    };
    for y in range(at.y, flat.height()) {
        for x in range(at.x, flat.width()) {
            if (Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - at).norm() < reach {
                all += 1;
                other += f64::from(bare.differs(flat, x, y).abs());
            }
        }
    }
    other / all.max(1) as f64
}
