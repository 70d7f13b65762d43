//! Roughly where the sheet lies: the rectangle of the planned size among the straight edges of the
//! photo, as they lie on the face.

use image::GrayImage;
use nalgebra::Vector2;

use super::SheetError;
use crate::card::SeenCard;
use crate::frame::{Face, Pixel, Point};
use crate::raster::pyramid::halve;
use crate::survey::Survey;

/// The four sides of a rectangle on the face: corners in order lower left, lower right, upper right,
/// upper left of *one* way to lay the planned sheet into it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rectangle {
    pub(super) corners: [Point<Face>; 4],
}

impl Rectangle {
    /// The same rectangle with the plan's lower left corner at the opposite corner.
    pub(super) fn turned(&self, quarter_turns: usize) -> Self {
        let c = self.corners;
        Self {
            corners: [0, 1, 2, 3].map(|i| c[(i + quarter_turns) % 4]),
        }
    }

    /// Direction of the plan's x axis.
    pub(super) fn x_axis(&self) -> Vector2<f64> {
        (self.corners[1] - self.corners[0]).normalize()
    }
}

/// The copy of the photo that is searched has about this many millimetres a pixel.
const SEARCH_MM: f64 = 0.3;
/// A side's normal and an edge point's gradient may differ by this much, rad.
const SAME_WAY: f64 = 0.12;
/// Width of a bin across, mm.
const BIN_MM: f64 = 0.5;
/// A side must show this share of what of it lies in the photo.
const MIN_SHOWN: f64 = 0.4;
/// How far a cut sheet may be from its planned size, share and mm: a sheet cut worse than this is
/// another sheet, or the scale is wrong.
const SIZE_SHARE: f64 = 0.012;
const SIZE_MM: f64 = 1.5;
/// When nothing of the planned size is there, this share more is tried, to say that the scale looks
/// wrong.
const WIDE_SHARE: f64 = 0.09;

/// A point on some brightness edge: place and gradient direction on the face.
struct EdgePoint {
    at: Vector2<f64>,
    normal: Vector2<f64>,
}

/// A family of parallel lines: for each offset how many millimetres of edge lie there.
struct Family<'a> {
    normal: Vector2<f64>,
    points: Vec<&'a EdgePoint>,
    peaks: Vec<f64>,
}

/// The rectangles of `width` x `height` mm, the best first; sheets that stand out by every side come
/// before those that lack one.
pub(super) fn rectangle(
    grey: &GrayImage,
    survey: &Survey,
    cards: &[SeenCard],
    size: [f64; 2],
) -> Result<Rectangle, SheetError> {
    let (points, step_mm) = edge_points(grey, survey, cards);
    let mut best: Option<(f64, Rectangle)> = None;
    let mut wide: Option<(f64, [f64; 2])> = None;
    for angle in directions(&points) {
        let axis = Vector2::new(angle.cos(), angle.sin());
        let families = [
            Family::of(&points, axis, step_mm),
            Family::of(&points, Vector2::new(-axis.y, axis.x), step_mm),
        ];
        for swapped in [false, true] {
            let wanted = if swapped { [size[1], size[0]] } else { size };
            let near =
                [0, 1].map(|k| families[k].pairs(wanted[k], SIZE_SHARE * wanted[k] + SIZE_MM));
            for &u in &near[0] {
                for &v in &near[1] {
                    let r = laid(axis, u, v, swapped);
                    if let Some(score) = score(&r, &families, survey, grey) {
                        if best.as_ref().is_none_or(|(s, _)| score > *s) {
                            best = Some((score, r));
                        }
                    }
                }
            }
            if best.is_none() {
                let far = [0, 1].map(|k| families[k].pairs(wanted[k], WIDE_SHARE * wanted[k]));
                for &u in &far[0] {
                    for &v in &far[1] {
                        let ratio = [(u[1] - u[0]) / wanted[0], (v[1] - v[0]) / wanted[1]];
                        let r = laid(axis, u, v, swapped);
                        if (ratio[0] - ratio[1]).abs() > 0.008 {
                            continue;
                        }
                        if let Some(score) = score(&r, &families, survey, grey) {
                            if wide.as_ref().is_none_or(|(s, _)| score > *s) {
                                wide = Some((
                                    score,
                                    if swapped {
                                        [v[1] - v[0], u[1] - u[0]]
                                    } else {
                                        [u[1] - u[0], v[1] - v[0]]
                                    },
                                ));
                            }
                        }
                    }
                }
            }
        }
    }
    match (best, wide) {
        (Some((_, r)), _) => Ok(r),
        (None, Some((_, measured))) => Err(SheetError::OtherSize {
            measured_mm: measured,
            planned_mm: size,
        }),
        (None, None) => Err(SheetError::NotFound { planned_mm: size }),
    }
}

/// Corners, anticlockwise on the face, of the rectangle between offsets `u` along `axis` and `v` across.
/// Not swapped, the plan's x runs along `axis`.
fn laid(axis: Vector2<f64>, u: [f64; 2], v: [f64; 2], swapped: bool) -> Rectangle {
    let across = Vector2::new(-axis.y, axis.x);
    let at = |a: f64, b: f64| Point::at(axis * a + across * b);
    let r = Rectangle {
        corners: [
            at(u[0], v[0]),
            at(u[1], v[0]),
            at(u[1], v[1]),
            at(u[0], v[1]),
        ],
    };
    if swapped { r.turned(1) } else { r }
}

fn edge_points(grey: &GrayImage, survey: &Survey, cards: &[SeenCard]) -> (Vec<EdgePoint>, f64) {
    let mut scale = 1.0;
    let mut small: Option<GrayImage> = None;
    while survey.mm_per_px * scale * 1.5 < SEARCH_MM {
        small = Some(halve(small.as_ref().unwrap_or(grey)));
        scale *= 2.0;
    }
    let picture = small.as_ref().unwrap_or(grey);
    let (w, h) = (picture.width() as usize, picture.height() as usize);
    let raw = picture.as_raw();
    let at = |x: usize, y: usize| i32::from(raw[y * w + x]);
    let gradient = |x: usize, y: usize| {
        // Sobel: smooths along the edge while it differs across.
        let gx = at(x + 1, y - 1) + 2 * at(x + 1, y) + at(x + 1, y + 1)
            - at(x - 1, y - 1)
            - 2 * at(x - 1, y)
            - at(x - 1, y + 1);
        let gy = at(x - 1, y + 1) + 2 * at(x, y + 1) + at(x + 1, y + 1)
            - at(x - 1, y - 1)
            - 2 * at(x, y - 1)
            - at(x + 1, y - 1);
        (gx, gy)
    };
    let mut strengths = vec![0i32; w * h];
    let mut histogram = vec![0u32; 2048];
    for y in 1..h.saturating_sub(1) {
        for x in 1..w - 1 {
            let (gx, gy) = gradient(x, y);
            let s = gx.abs().max(gy.abs()) + gx.abs().min(gy.abs()) / 2;
            strengths[y * w + x] = s;
            histogram[(s as usize).min(2047)] += 1;
        }
    }
    // Texture sets the floor: twice what three quarters of all pixels show.
    let floor = (2 * quantile(&histogram, 0.75)).clamp(16, 160) as i32;
    let mut points = Vec::new();
    for y in 2..h.saturating_sub(2) {
        for x in 2..w.saturating_sub(2) {
            let s = strengths[y * w + x];
            if s < floor {
                continue;
            }
            let (gx, gy) = gradient(x, y);
            let step = if gx.abs() > gy.abs() { 1 } else { w };
            let i = y * w + x;
            if strengths[i - step] > s || strengths[i + step] >= s {
                continue;
            }
            let pixel = Point::<Pixel>::new((x as f64 + 0.5) * scale, (y as f64 + 0.5) * scale);
            if cards.iter().any(|c| inside(&c.outline, pixel, 2.0 * scale)) {
                continue;
            }
            let Some(face) = survey.face_from_pixel(pixel) else {
                continue;
            };
            let Some(jacobian) = survey.local_scale(face) else {
                continue;
            };
            let normal = jacobian.transpose() * Vector2::new(f64::from(gx), f64::from(gy));
            points.push(EdgePoint {
                at: face.vec(),
                normal: normal.normalize(),
            });
        }
    }
    (points, survey.mm_per_px * scale)
}

fn quantile(histogram: &[u32], share: f64) -> usize {
    let all: u32 = histogram.iter().sum();
    let mut below = 0;
    histogram
        .iter()
        .position(|n| {
            below += n;
            f64::from(below) >= share * f64::from(all)
        })
        .unwrap_or(0)
}

/// Whether `p` lies in the outline, made wider by `margin` px.
pub(super) fn inside(outline: &[Point<Pixel>; 4], p: Point<Pixel>, margin: f64) -> bool {
    (0..4).all(|i| {
        let side = outline[(i + 1) % 4] - outline[i];
        side.perp(&(p - outline[i])) >= -margin * side.norm()
    })
}

/// Likely directions of the sides, rad, within a quarter turn: peaks of how the gradients lie, made sharp.
fn directions(points: &[EdgePoint]) -> Vec<f64> {
    const BINS: usize = 90;
    let quarter = std::f64::consts::FRAC_PI_2;
    let mut histogram = [0.0f64; BINS];
    for p in points {
        let turn = p.normal.y.atan2(p.normal.x).rem_euclid(quarter) / quarter;
        histogram[((turn * BINS as f64) as usize).min(BINS - 1)] += 1.0;
    }
    let smooth = |i: usize| {
        (0..5)
            .map(|k| histogram[(i + BINS + k - 2) % BINS])
            .sum::<f64>()
    };
    let mut peaks: Vec<(f64, usize)> = (0..BINS)
        .filter(|&i| {
            smooth(i) > smooth((i + 1) % BINS) && smooth(i) >= smooth((i + BINS - 1) % BINS)
        })
        .map(|i| (smooth(i), i))
        .collect();
    peaks.sort_by(|a, b| b.0.total_cmp(&a.0));
    peaks.truncate(5);
    peaks
        .iter()
        .map(|&(_, i)| sharpest(points, (i as f64 + 0.5) / BINS as f64 * quarter))
        .collect()
}

/// The direction near `angle` in which the offsets of edge points bunch most.
fn sharpest(points: &[EdgePoint], angle: f64) -> f64 {
    let step = points.len().div_ceil(12_000).max(1);
    let mut middle = angle;
    for (reach, n) in [(0.045, 18), (0.0025, 5)] {
        let tries = (-n..=n).map(|k| middle + reach * f64::from(k) / f64::from(n));
        let bunched = |angle: f64| {
            let axis = Vector2::new(angle.cos(), angle.sin());
            [axis, Vector2::new(-axis.y, axis.x)]
                .iter()
                .map(|normal| {
                    let mut bins = std::collections::BTreeMap::<i32, f64>::new();
                    for p in points
                        .iter()
                        .step_by(step)
                        .filter(|p| p.normal.perp(normal).abs() < SAME_WAY)
                    {
                        *bins
                            .entry((p.at.dot(normal) / BIN_MM).floor() as i32)
                            .or_default() += 1.0;
                    }
                    bins.values().map(|n| n * n).sum::<f64>()
                })
                .sum::<f64>()
        };
        middle = tries
            .map(|a| (bunched(a), a))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(middle, |b| b.1);
    }
    middle
}

impl<'a> Family<'a> {
    fn of(points: &'a [EdgePoint], normal: Vector2<f64>, step_mm: f64) -> Self {
        let points: Vec<&EdgePoint> = points
            .iter()
            .filter(|p| p.normal.perp(&normal).abs() < SAME_WAY)
            .collect();
        let offset = |p: &EdgePoint| p.at.dot(&normal);
        let (low, high) = points
            .iter()
            .map(|p| offset(p))
            .fold((f64::MAX, f64::MIN), |(l, h), o| (l.min(o), h.max(o)));
        let mut peaks = Vec::new();
        if low < high {
            let bins = ((high - low) / BIN_MM) as usize + 3;
            let mut length = vec![0.0; bins];
            for p in &points {
                length[((offset(p) - low) / BIN_MM) as usize + 1] += step_mm;
            }
            // A line may straddle two bins.
            let two: Vec<f64> = (1..bins).map(|i| length[i] + length[i - 1]).collect();
            let mut found: Vec<(f64, f64)> = (1..two.len().saturating_sub(1))
                .filter(|&i| two[i] > 15.0 && two[i] >= two[i - 1] && two[i] > two[i + 1])
                .map(|i| (two[i], low + i as f64 * BIN_MM))
                .collect();
            found.sort_by(|a, b| b.0.total_cmp(&a.0));
            found.truncate(40);
            peaks = found.into_iter().map(|(_, o)| o).collect();
            peaks.sort_by(f64::total_cmp);
        }
        Self {
            normal,
            points,
            peaks,
        }
    }

    /// Offsets of two lines that are `wanted` mm apart, give or take `slack`.
    fn pairs(&self, wanted: f64, slack: f64) -> Vec<[f64; 2]> {
        let mut out = Vec::new();
        for &a in &self.peaks {
            for &b in &self.peaks {
                if (b - a - wanted).abs() <= slack {
                    out.push([a, b]);
                }
            }
        }
        out
    }

    /// Share of the segment from `a` to `b` along which edge points of this family lie.
    fn shown(&self, a: Vector2<f64>, b: Vector2<f64>, visible: &[bool]) -> f64 {
        let along = (b - a).normalize();
        let length = (b - a).norm();
        let mut hit = vec![false; visible.len()];
        for p in &self.points {
            let d = p.at - a;
            let s = d.dot(&along);
            if d.dot(&self.normal).abs() < 1.2 && s > 0.0 && s < length {
                hit[((s / length * visible.len() as f64) as usize).min(visible.len() - 1)] = true;
            }
        }
        let seen = visible.iter().filter(|v| **v).count();
        let shown = hit.iter().zip(visible).filter(|(h, v)| **h && **v).count();
        shown as f64 / seen.max(1) as f64
    }
}

/// How well the rectangle's sides show, or `None` when one that should does not. The plan's lower left
/// corner may still be any of two or four.
fn score(r: &Rectangle, families: &[Family; 2], survey: &Survey, grey: &GrayImage) -> Option<f64> {
    let (w, h) = (f64::from(grey.width()), f64::from(grey.height()));
    let mut total = 0.0;
    let mut weight = 0.0;
    for i in 0..4 {
        let (a, b) = (r.corners[i].vec(), r.corners[(i + 1) % 4].vec());
        let n = ((b - a).norm() / 2.0).ceil().max(4.0) as usize;
        let visible: Vec<bool> = (0..n)
            .map(|k| {
                let p = a + (b - a) * ((k as f64 + 0.5) / n as f64);
                survey
                    .pixel_from_face(Point::at(p))
                    .is_some_and(|q| q.x > 2.0 && q.y > 2.0 && q.x < w - 2.0 && q.y < h - 2.0)
            })
            .collect();
        let seen = visible.iter().filter(|v| **v).count() as f64 / n as f64;
        if seen < 0.25 {
            weight += (b - a).norm();
            continue;
        }
        let family = families.iter().max_by(|f, g| {
            let along = |f: &Family| f.normal.perp(&(b - a)).abs();
            along(f).total_cmp(&along(g))
        })?;
        let shown = family.shown(a, b, &visible);
        if shown < MIN_SHOWN {
            return None;
        }
        total += shown * seen * (b - a).norm();
        weight += (b - a).norm();
    }
    Some(total / weight)
}
