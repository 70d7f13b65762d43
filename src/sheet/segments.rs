//! Straight segments of edges in a plane of the photo, as they lie on the face.
//!
//! Ridges of the gradient are followed along themselves, the strongest first, and cut where they bend: grain
//! makes short or crooked pieces, the edge of a sheet long straight ones.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::Look;
use super::channel::Plane;
use super::coarse::inside;
use crate::frame::{Pixel, Point};
use crate::raster::pyramid::halve;

/// The copy of the photo that is searched has at most about this many millimetres a pixel.
const SEARCH_MM: f64 = 0.36;
/// Share of the pixels whose gradient is too weak to look at.
const FLOOR_QUANTILE: f64 = 0.75;
/// Gradients of one segment point the same way within this, cosine: 16 degrees.
const SAME_WAY_COSINE: f64 = 0.96;
/// A straight piece strays less than this from its chord, px.
const STRAIGHT_PX: f64 = 1.3;
/// Gaps that are bridged, px.
const MAX_JUMP_PX: i32 = 3;
/// Shortest segment, px and mm.
const MIN_PX: usize = 9;
const MIN_MM: f64 = 2.2;

/// A segment on the face, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Segment {
    pub(super) ends: [Vector2<f64>; 2],
    /// Unit vector across it, towards the bright side.
    pub(super) normal: Vector2<f64>,
}

impl Segment {
    pub(super) fn length(&self) -> f64 {
        (self.ends[1] - self.ends[0]).norm()
    }

    pub(super) fn middle(&self) -> Vector2<f64> {
        (self.ends[0] + self.ends[1]) / 2.0
    }
}

/// The segments in one plane of a photo, cards left out.
pub(super) fn on_face(look: &Look, plane: Plane) -> Vec<Segment> {
    let Look { view, cards, .. } = *look;
    let Some(mm_per_px) = look.middle().and_then(|m| view.mm_per_px(m)) else {
        return Vec::new();
    };
    let mut scale = plane.scale;
    let mut small: Option<GrayImage> = None;
    while mm_per_px * scale * 2.0 < SEARCH_MM {
        small = Some(halve(small.as_ref().unwrap_or(plane.picture)));
        scale *= 2.0;
    }
    let picture = small.as_ref().unwrap_or(plane.picture);
    let mut out = Vec::new();
    for [a, b] in in_picture(picture) {
        let ends = [a.0, b.0].map(|p| Point::<Pixel>::at(p * scale));
        if cards
            .iter()
            .any(|c| ends.iter().all(|&e| inside(&c.outline, e, 2.0 * scale)))
        {
            continue;
        }
        let [Some(p), Some(q)] = ends.map(|e| view.face_from_pixel(e)) else {
            continue;
        };
        let along = q - p;
        let Some(jacobian) = view.local_scale(p.midpoint(q)) else {
            continue;
        };
        let bright = jacobian.transpose() * a.1;
        let across = Vector2::new(-along.y, along.x) / along.norm();
        if along.norm() >= MIN_MM {
            let normal = if across.dot(&bright) < 0.0 {
                -across
            } else {
                across
            };
            out.push(Segment {
                ends: [p.vec(), q.vec()],
                normal,
            });
        }
    }
    out
}

/// Segments in a picture: both ends, each with the mean gradient.
fn in_picture(picture: &GrayImage) -> Vec<[(Vector2<f64>, Vector2<f64>); 2]> {
    let (w, h) = (picture.width() as usize, picture.height() as usize);
    let raw = picture.as_raw();
    if w < 8 || h < 8 {
        return Vec::new();
    }
    let at = |i: usize| i32::from(raw[i]);
    // Sobel: smooths along the edge while it differs across.
    let gradient = |i: usize| {
        let gx = at(i + 1 - w) + 2 * at(i + 1) + at(i + 1 + w)
            - at(i - 1 - w)
            - 2 * at(i - 1)
            - at(i - 1 + w);
        let gy = at(i - 1 + w) + 2 * at(i + w) + at(i + 1 + w)
            - at(i - 1 - w)
            - 2 * at(i - w)
            - at(i + 1 - w);
        (gx, gy)
    };
    let strength = |(gx, gy): (i32, i32)| gx.abs().max(gy.abs()) + gx.abs().min(gy.abs()) / 2;
    let mut strengths = vec![0u16; w * h];
    strengths
        .par_chunks_mut(w)
        .enumerate()
        .filter(|(y, _)| (1..h - 1).contains(y))
        .for_each(|(y, out)| {
            for (x, out) in out.iter_mut().enumerate().take(w - 1).skip(1) {
                *out = strength(gradient(y * w + x)) as u16;
            }
        });
    let floor = quantile(&histogram(&strengths, w), FLOOR_QUANTILE).clamp(10, 140) as u16;
    // 1: on a ridge of the gradient, 0: not, or used up.
    let mut ridge = vec![0u8; w * h];
    ridge
        .par_chunks_mut(w)
        .enumerate()
        .filter(|(y, _)| (2..h - 2).contains(y))
        .for_each(|(y, out)| {
            for (x, out) in out.iter_mut().enumerate().take(w - 2).skip(2) {
                let i = y * w + x;
                let s = strengths[i];
                if s < floor {
                    continue;
                }
                let (gx, gy) = gradient(i);
                let step = if gx.abs() > gy.abs() { 1 } else { w };
                *out = u8::from(strengths[i - step] <= s && strengths[i + step] < s);
            }
        });
    // The strongest first, so that a sheet's edge is followed before the grain that touches it.
    let mut seeds: Vec<usize> = (0..w * h).filter(|&i| ridge[i] != 0).collect();
    seeds.sort_unstable_by_key(|&i| (std::cmp::Reverse(strengths[i]), i));
    let unit = |i: usize| {
        let (gx, gy) = gradient(i);
        Vector2::new(f64::from(gx), f64::from(gy)).normalize()
    };
    let steps = Steps::new(w);
    let mut out = Vec::new();
    for start in seeds {
        if ridge[start] == 0 {
            continue;
        }
        ridge[start] = 0;
        let mut follow = |sign: f64| {
            let mut chain = Vec::new();
            let mut at = start;
            let mut way = unit(start);
            while let Some(next) = steps.ahead(&ridge, &strengths, at, way, sign) {
                let u = unit(next);
                if u.dot(&way) < SAME_WAY_COSINE {
                    break;
                }
                ridge[next] = 0;
                way = (way * 4.0 + u).normalize();
                chain.push(next);
                at = next;
            }
            chain
        };
        let mut chain = follow(-1.0);
        chain.reverse();
        chain.push(start);
        chain.extend(follow(1.0));
        let points: Vec<Vector2<f64>> = chain
            .iter()
            .map(|&i| Vector2::new((i % w) as f64 + 0.5, (i / w) as f64 + 0.5))
            .collect();
        let mut pieces = Vec::new();
        split(&points, 0, points.len(), &mut pieces);
        for (from, to) in pieces {
            let bright = chain[from..to]
                .iter()
                .map(|&i| unit(i))
                .sum::<Vector2<f64>>();
            if to - from >= MIN_PX && bright.norm() > 0.0 {
                out.push(straight(&points[from..to], bright.normalize()));
            }
        }
    }
    out
}

/// Steps from a ridge pixel to where it may go on, by direction; near ones first.
struct Steps {
    by_way: Vec<Vec<[i32; 2]>>,
    /// Pixels in a row of the picture.
    width: usize,
}

/// Parts of the unit vector by which steps are kept; it is met within half of one, as an angle and per pixel of step.
const WAYS: i32 = 16;
const WAY_OFF: f64 = 0.75 / WAYS as f64;
/// A step leads on when its cosine with the edge is at least this, and it leaves the edge by at most so many px.
const AHEAD_COSINE: f64 = 0.7;
const ASIDE_PX: f64 = 1.1;

impl Steps {
    fn new(width: usize) -> Self {
        let square = -MAX_JUMP_PX..=MAX_JUMP_PX;
        let mut all: Vec<[i32; 2]> = square
            .clone()
            .flat_map(|dy| square.clone().map(move |dx| [dx, dy]))
            .filter(|d| *d != [0, 0])
            .collect();
        all.sort_by_key(|d| reach(*d));
        let ways = -WAYS..=WAYS;
        let by_way = ways
            .clone()
            .flat_map(|y| ways.clone().map(move |x| [x, y]))
            .map(|[x, y]| {
                let along = Vector2::new(f64::from(x), f64::from(y));
                let along = along / along.norm().max(1.0);
                let may = |d: &&[i32; 2]| {
                    let d = Vector2::new(f64::from(d[0]), f64::from(d[1]));
                    d.dot(&along) > (AHEAD_COSINE - WAY_OFF) * d.norm()
                        && along.perp(&d).abs() < ASIDE_PX + WAY_OFF * d.norm()
                };
                all.iter().filter(may).copied().collect()
            })
            .collect();
        Self { by_way, width }
    }

    /// The next ridge pixel along the edge through `at` whose gradient is `way`, to the hand that `sign` says: a
    /// neighbour, or one a pixel or two on, where texture broke the ridge.
    fn ahead(
        &self,
        ridge: &[u8],
        strengths: &[u16],
        at: usize,
        way: Vector2<f64>,
        sign: f64,
    ) -> Option<usize> {
        let along = Vector2::new(-way.y, way.x) * sign;
        let part = |v: f64| ((v + 1.0) * f64::from(WAYS) + 0.5) as usize;
        let steps = &self.by_way[part(along.y) * (2 * WAYS as usize + 1) + part(along.x)];
        let mut best: Option<(f64, usize, i32)> = None;
        for &step in steps {
            if best.is_some_and(|(_, _, near)| reach(step) > near) {
                break;
            }
            let j = at as isize + step[1] as isize * self.width as isize + step[0] as isize;
            let Ok(j) = usize::try_from(j) else { continue };
            // Few pixels are on a ridge: that first.
            if ridge.get(j) != Some(&1) {
                continue;
            }
            let d = Vector2::new(f64::from(step[0]), f64::from(step[1]));
            let straight_on = d.dot(&along) / d.norm();
            if straight_on < AHEAD_COSINE || along.perp(&d).abs() > ASIDE_PX {
                continue;
            }
            let worth = f64::from(strengths[j]) * straight_on;
            if best.is_none_or(|(most, _, _)| worth > most) {
                best = Some((worth, j, reach(step)));
            }
        }
        best.map(|(_, j, _)| j)
    }
}

/// How many rows or columns a step goes.
fn reach([dx, dy]: [i32; 2]) -> i32 {
    dx.abs().max(dy.abs())
}

/// Splits a chain where it strays from its chord: Douglas and Peucker, The Canadian Cartographer 10(2), 1973.
fn split(points: &[Vector2<f64>], from: usize, to: usize, out: &mut Vec<(usize, usize)>) {
    if to - from < MIN_PX {
        return;
    }
    let chord = points[to - 1] - points[from];
    let furthest = (from + 1..to - 1)
        .map(|i| {
            (
                chord.perp(&(points[i] - points[from])).abs() / chord.norm().max(1e-9),
                i,
            )
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    match furthest {
        Some((off, i)) if off > STRAIGHT_PX => {
            split(points, from, i + 1, out);
            split(points, i, to, out);
        }
        _ => out.push((from, to)),
    }
}

/// The straight segment through points: both ends, each with the direction of the gradient.
fn straight(points: &[Vector2<f64>], bright: Vector2<f64>) -> [(Vector2<f64>, Vector2<f64>); 2] {
    let n = points.len() as f64;
    let mean = points.iter().sum::<Vector2<f64>>() / n;
    let cov = points
        .iter()
        .map(|p| (p - mean) * (p - mean).transpose())
        .sum::<Matrix2<f64>>()
        / n;
    let angle = 0.5 * f64::atan2(2.0 * cov[(0, 1)], cov[(0, 0)] - cov[(1, 1)]);
    let along = Vector2::new(angle.cos(), angle.sin());
    let (low, high) = points
        .iter()
        .map(|p| (p - mean).dot(&along))
        .fold((f64::MAX, f64::MIN), |(l, h), d| (l.min(d), h.max(d)));
    [low, high].map(|d| (mean + along * d, bright))
}

/// How many pixels have each strength, but those of the picture's rim.
fn histogram(strengths: &[u16], w: usize) -> Vec<u32> {
    let mut histogram = vec![0u32; 2048];
    let rows = strengths.chunks_exact(w);
    for row in rows.skip(1).take(strengths.len() / w - 2) {
        for &s in &row[1..w - 1] {
            histogram[usize::from(s).min(2047)] += 1;
        }
    }
    histogram
}

fn quantile(histogram: &[u32], share: f64) -> usize {
    let all: u32 = histogram.iter().sum();
    let mut below = 0;
    let found = histogram.iter().position(|n| {
        below += n;
        f64::from(below) >= share * f64::from(all)
    });
    found.unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slanted_edge_is_one_segment_and_noise_is_none() {
        let picture = GrayImage::from_fn(200, 160, |x, y| {
            let d = f64::from(y) - 60.3 - 0.21 * f64::from(x);
            let noise = f64::from((x * 7919 + y * 104_729 + x * y * 31) % 13) - 6.0;
            image::Luma([(100.0 + 60.0 * d.clamp(-1.0, 1.0) + noise) as u8])
        });
        let found = in_picture(&picture);
        let long: Vec<_> = found
            .iter()
            .filter(|[a, b]| (a.0 - b.0).norm() > 60.0)
            .collect();
        assert!(
            !long.is_empty() && long.len() <= 2,
            "{} segments",
            long.len()
        );
        for [a, b] in long {
            for p in [a.0, b.0] {
                assert!((p.y - 0.5 - 60.3 - 0.21 * (p.x - 0.5)).abs() < 1.0, "{p}");
            }
            assert!(a.1.y > 0.9, "the bright side is below: {}", a.1);
        }
        let total: f64 = found.iter().map(|[a, b]| (a.0 - b.0).norm()).sum();
        assert!(total < 320.0, "{total} px of segments in all");
    }
}
