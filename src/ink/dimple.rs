//! Dimples of a centre punch: round pits whose flank towards the lamp lies in shadow while the other is lit.
//!
//! A dot of ink is as round, but dark alike on all sides; strokes that cross have no round rim. All dimples of a photo are
//! lit from the same side, and what is lit otherwise is none.

use image::GrayImage;
use nalgebra::{Matrix3, Vector2, Vector3};

use super::hole;
use super::worked::Bare;

/// A dimple in a flat picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct FlatDimple {
    pub(super) at: Vector2<f64>,
    pub(super) diameter: f64,
    /// Standard uncertainty along one direction, px.
    pub(super) sigma: f64,
}

/// Radii of dimples, mm: from a prick punch tapped once to a heavy centre punch.
const RADIUS_MM: [f64; 2] = [0.4, 1.1];
/// Radii that are tried from each place, mm.
const TRIED_MM: [f64; 4] = [0.45, 0.6, 0.75, 0.95];
/// Its rim is round within this, mm and px: rougher than a drilled one, and only a few pixels long.
const ROUND_MM: f64 = 0.05;
const ROUND_PX: f64 = 0.45;
/// Directions, of 72, that show the rim: strokes of the mark that was punched hide some.
const LEAST_COUNT: usize = 30;
/// Brightness grows across the pit by this share of the bare face's, from its middle to its lit rim; the core of an
/// ink dot is even.
const LEAST_SLOPE: f64 = 0.12;
/// Ink is darker than this all over; somewhere in a pit bare metal is lit.
const LIT: f64 = -0.25;
/// A dimple's lit side may turn from the others' by this, as a cosine; and so many must agree, for from fewer it does
/// not show where the lamp is, and a blot that is worn on one side would do.
const ALIKE: f64 = 0.75;
const FEWEST: usize = 3;
/// Standard uncertainty of its axis beyond the circle's own, mm: the shadow hides a part of the rim.
const SIGMA_MM: f64 = 0.12;

/// The dimples of a flat picture at or near `seeds`.
pub(super) fn find(
    bare: &Bare,
    flat: &GrayImage,
    mm: f64,
    seeds: &[Vector2<f64>],
) -> Vec<FlatDimple> {
    let mut found: Vec<(FlatDimple, Vector2<f64>)> = Vec::new();
    for &seed in seeds {
        let best = TRIED_MM
            .into_iter()
            .filter_map(|about| at(bare, flat, mm, (seed, about * mm)))
            .max_by(|a, b| a.1.norm().total_cmp(&b.1.norm()));
        if let Some(dimple) = best
            && !found
                .iter()
                .any(|f| (f.0.at - dimple.0.at).norm() < RADIUS_MM[1] * mm)
        {
            found.push(dimple);
        }
    }
    let common = found.iter().map(|d| d.1).sum::<Vector2<f64>>();
    let common = common.try_normalize(1e-9).unwrap_or_else(Vector2::x);
    found.retain(|d| d.1.normalize().dot(&common) > ALIKE);
    if found.len() < FEWEST {
        return Vec::new();
    }
    found.into_iter().map(|d| d.0).collect()
}

/// The dimple about a place, and how brightness grows across it.
fn at(
    bare: &Bare,
    flat: &GrayImage,
    mm: f64,
    (seed, about): (Vector2<f64>, f64),
) -> Option<(FlatDimple, Vector2<f64>)> {
    let c = hole::circle(flat, seed, about, mm)?;
    let sound = c.radius > RADIUS_MM[0] * mm
        && c.radius < RADIUS_MM[1] * mm
        && (c.at - seed).norm() < RADIUS_MM[1] * mm
        && c.count >= LEAST_COUNT
        && c.rms < ROUND_MM * mm + ROUND_PX;
    if !sound {
        return None;
    }
    let (slope, brightest) = slope(bare, flat, c.at, 0.85 * c.radius)?;
    let dimple = FlatDimple {
        at: c.at,
        diameter: 2.0 * c.radius,
        sigma: (c.rms / (c.count as f64 / 3.0).sqrt()).hypot(SIGMA_MM * mm),
    };
    (slope.norm() > LEAST_SLOPE && brightest > LIT).then_some((dimple, slope))
}

/// The plane through the brightness within `reach`: its slope, a radius' worth; and the brightest tenth.
fn slope(
    bare: &Bare,
    flat: &GrayImage,
    at: Vector2<f64>,
    reach: f64,
) -> Option<(Vector2<f64>, f64)> {
    let (mut a, mut b) = (Matrix3::zeros(), Vector3::zeros());
    let mut all = Vec::new();
    let range = |c: f64, n: u32| {
        let low = (c - reach).max(0.0) as usize;
        low..((c + reach).max(0.0) as usize + 1).min(n as usize)
    };
    for y in range(at.y, flat.height()) {
        for x in range(at.x, flat.width()) {
            let p = (Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - at) / reach;
            if p.norm() < 1.0 {
                let d = f64::from(bare.differs(flat, x, y));
                let row = Vector3::new(p.x, p.y, 1.0);
                a += row * row.transpose();
                b += row * d;
                all.push(d);
            }
        }
    }
    let plane = a.try_inverse()? * b;
    all.sort_by(f64::total_cmp);
    let brightest = *all.get(all.len() * 9 / 10)?;
    Some((plane.xy(), brightest))
}
