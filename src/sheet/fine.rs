//! Where exactly the sheet's edges run: sub-pixel points along each side.
//!
//! Brightness is made linear first. An edge blurred by the lens is a half-way step in light; in the
//! file's encoded levels the half-way point lies towards the dark side, by a quarter of a pixel or more.

use image::GrayImage;
use nalgebra::Vector2;

use super::coarse::{Rectangle, inside};
use crate::card::SeenCard;
use crate::frame::{Face, Pixel, Point};
use crate::raster::linear_light;
use crate::survey::Survey;

/// Distance between profiles along an edge, mm, and half the stretch each is averaged over: they do not
/// overlap, so their errors are their own.
const STEP_MM: f64 = 1.6;
const HALF_STRETCH_MM: f64 = 0.7;
/// How far to either side the rough line is searched, and then the first fitted one, mm.
const ROUGH_MM: f64 = 1.8;
const CLOSE_MM: f64 = 0.8;
/// Corners are rounded and burred: no profiles this near to them, mm.
const CORNER_MM: f64 = 3.0;
/// Gap between the inner and the outer of two steps of opposite sign that one burr makes, mm.
const BURR_MM: f64 = 0.5;
/// A step this strong against the strongest of its profile may be the edge.
const STRONG_ENOUGH: f64 = 0.35;
/// Fewest good profiles on a side, and the share of the tried ones that must agree.
const MIN_POINTS: usize = 8;
const MIN_SHARE: f64 = 0.35;
/// Smallest standard deviation of one point, px: rounding, resampling, and the edge's own nicks.
const FLOOR_PX: f64 = 0.06;

/// Points along one side.
#[derive(Debug, Clone)]
pub(super) struct SidePoints {
    /// Where, and the standard deviation across, px.
    pub(super) points: Vec<(Point<Pixel>, f64)>,
}

struct Finder<'a> {
    grey: &'a GrayImage,
    survey: &'a Survey,
    cards: &'a [SeenCard],
    linear: [f32; 256],
}

/// A place on a profile: how far outward from the rough line, mm.
#[derive(Debug, Clone, Copy)]
struct Hit {
    along: f64,
    out: f64,
}

/// Finds the four sides' points, in the order bottom, right, top, left of the rectangle; `None` for a
/// side of which too little shows.
pub(super) fn sides(
    grey: &GrayImage,
    survey: &Survey,
    cards: &[SeenCard],
    r: &Rectangle,
) -> [Option<SidePoints>; 4] {
    let finder = Finder {
        grey,
        survey,
        cards,
        linear: std::array::from_fn(|level| linear_light(level as f64) as f32),
    };
    [0, 1, 2, 3].map(|i| finder.side(r.corners[i].vec(), r.corners[(i + 1) % 4].vec()))
}

impl Finder<'_> {
    fn side(&self, a: Vector2<f64>, b: Vector2<f64>) -> Option<SidePoints> {
        let rough = Axis::through(a, b);
        let (hits, _) = self.straight_hits(&rough, ROUGH_MM)?;
        let (offset, slope) = least_squares(&hits);
        let line = rough.moved(offset, slope);
        let (hits, tried) = self.straight_hits(&line, CLOSE_MM)?;
        if (hits.len() as f64) < MIN_SHARE * tried as f64 {
            return None;
        }
        let (offset, slope) = least_squares(&hits);
        let mut residuals: Vec<f64> = hits
            .iter()
            .map(|h| (h.out - offset - slope * h.along).abs())
            .collect();
        residuals.sort_by(f64::total_cmp);
        // Median absolute deviation of a normal is 0.6745 of its standard deviation.
        let sd_mm = residuals[residuals.len() / 2] / 0.6745;
        let points = hits
            .iter()
            .filter_map(|h| {
                let p = line.point(h.along, h.out);
                let pixel = self.survey.pixel_from_face(p)?;
                let px_per_mm = self.survey.local_scale(p)?.determinant().abs().sqrt();
                Some((pixel, (sd_mm * px_per_mm).max(FLOOR_PX)))
            })
            .collect();
        Some(SidePoints { points })
    }

    /// Where profiles along `line` show the edge, as far as they agree on a straight one, and how many
    /// profiles were tried.
    fn straight_hits(&self, line: &Axis, reach: f64) -> Option<(Vec<Hit>, usize)> {
        let mut hits = Vec::new();
        let mut tried = 0;
        let mut along = CORNER_MM;
        while along < line.length - CORNER_MM {
            if let Some(profile) = self.profile(line, along, reach) {
                tried += 1;
                hits.extend(edge_in(&profile).map(|out| Hit { along, out }));
            }
            along += STEP_MM;
        }
        let kept = agreeing(&hits, if reach == ROUGH_MM { 0.5 } else { 0.25 });
        (kept.len() >= MIN_POINTS).then_some((kept, tried))
    }

    /// Brightness across the side at `along`, from inside to outside; `None` where the photo or a card is
    /// in the way.
    fn profile(&self, line: &Axis, along: f64, reach: f64) -> Option<Profile> {
        let middle = self.survey.pixel_from_face(line.point(along, 0.0))?;
        let margin = 3.0;
        let (w, h) = (f64::from(self.grey.width()), f64::from(self.grey.height()));
        let px_per_mm = self
            .survey
            .local_scale(line.point(along, 0.0))?
            .determinant()
            .abs()
            .sqrt();
        let step = 0.5 / px_per_mm;
        let n = (reach / step).ceil() as i32;
        let ends = [-reach - 3.0 * step, reach + 3.0 * step]
            .map(|out| self.survey.pixel_from_face(line.point(along, out)));
        for p in [Some(middle), ends[0], ends[1]] {
            let p = p?;
            if p.x < margin || p.y < margin || p.x > w - margin || p.y > h - margin {
                return None;
            }
            if self
                .cards
                .iter()
                .any(|c| inside(&c.outline, p, 1.5 * px_per_mm))
            {
                return None;
            }
        }
        let strips = ((2.0 * HALF_STRETCH_MM * px_per_mm) as usize).clamp(3, 15);
        // Over a few millimetres the map is affine to a thousandth of a pixel.
        let jacobian = self.survey.local_scale(line.point(along, 0.0))?;
        let (dx, dout) = (jacobian * line.along, jacobian * line.outward);
        let mut levels = Vec::with_capacity((2 * n + 5) as usize);
        for k in -n - 2..=n + 2 {
            let mut sum = 0.0;
            for i in 0..strips {
                let u = HALF_STRETCH_MM * (2.0 * (i as f64 + 0.5) / strips as f64 - 1.0);
                let p = middle + dx * u + dout * (f64::from(k) * step);
                sum += self.light(p.x, p.y);
            }
            levels.push(sum / strips as f64);
        }
        Some(Profile {
            levels,
            step,
            first: -f64::from(n + 2) * step,
        })
    }

    fn light(&self, x: f64, y: f64) -> f64 {
        let w = self.grey.width() as usize;
        let (x, y) = ((x - 0.5).max(0.0), (y - 0.5).max(0.0));
        let (x0, y0) = (
            (x as usize).min(w - 2),
            (y as usize).min(self.grey.height() as usize - 2),
        );
        let (u, v) = (x - x0 as f64, y - y0 as f64);
        let raw = self.grey.as_raw();
        let at = |i: usize| f64::from(self.linear[usize::from(raw[i])]);
        let i = y0 * w + x0;
        (1.0 - v) * ((1.0 - u) * at(i) + u * at(i + 1))
            + v * ((1.0 - u) * at(i + w) + u * at(i + w + 1))
    }
}

/// The rough line of a side, on the face.
struct Axis {
    start: Vector2<f64>,
    along: Vector2<f64>,
    outward: Vector2<f64>,
    length: f64,
}

impl Axis {
    /// From `a` to `b`, anticlockwise round the sheet: outward is to the right.
    fn through(a: Vector2<f64>, b: Vector2<f64>) -> Self {
        let along = (b - a).normalize();
        Self {
            start: a,
            along,
            outward: Vector2::new(along.y, -along.x),
            length: (b - a).norm(),
        }
    }

    fn point(&self, along: f64, out: f64) -> Point<Face> {
        Point::at(self.start + self.along * along + self.outward * out)
    }

    fn moved(&self, offset: f64, slope: f64) -> Self {
        Self::through(
            self.point(0.0, offset).vec(),
            self.point(self.length, offset + slope * self.length).vec(),
        )
    }
}

/// Linear light from inside to outside.
struct Profile {
    levels: Vec<f64>,
    step: f64,
    first: f64,
}

/// Where the sheet ends on a profile, mm outward of its middle.
///
/// Going outward the sheet's edge comes before its shadow and whatever lies on the bench, so it is the
/// innermost of the strong steps; save that a burr's glint makes a weaker step just before the edge.
fn edge_in(profile: &Profile) -> Option<f64> {
    let l = &profile.levels;
    // Smoothed derivative (1 2 1 of central differences): half-pixel steps, so about one pixel wide.
    let raw: Vec<f64> = (1..l.len() - 1)
        .map(|i| (l[i + 1] - l[i - 1]) / 2.0)
        .collect();
    let d: Vec<f64> = (1..raw.len() - 1)
        .map(|i| (raw[i - 1] + 2.0 * raw[i] + raw[i + 1]) / 4.0)
        .collect();
    let place = |i: f64| profile.first + (i + 2.0) * profile.step;
    let strongest = d.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let mean = l.iter().sum::<f64>() / l.len() as f64;
    // A step of 3 % of the light over a pixel or two is less than grain makes.
    if strongest < 0.012 * mean {
        return None;
    }
    let steps: Vec<usize> = (1..d.len() - 1)
        .filter(|&i| {
            d[i].abs() >= STRONG_ENOUGH * strongest
                && d[i].abs() > d[i - 1].abs()
                && d[i].abs() >= d[i + 1].abs()
        })
        .collect();
    let mut chosen = *steps.first()?;
    for &next in &steps[1..] {
        let near = (next - chosen) as f64 * profile.step < BURR_MM;
        // Of the same sign: a bright burr before a bright bench, whose outer step is the edge.
        let same_sign = d[next] * d[chosen] > 0.0;
        if near && (same_sign || d[next].abs() > d[chosen].abs()) {
            chosen = next;
        } else {
            break;
        }
    }
    // Middle of the step: the mean of its slope where that is at least half the steepest.
    let steep = |i: usize| d[i] * d[chosen] > 0.0 && d[i].abs() >= 0.5 * d[chosen].abs();
    let mut from = chosen;
    while from > 0 && steep(from - 1) {
        from -= 1;
    }
    let mut to = chosen;
    while to + 1 < d.len() && steep(to + 1) {
        to += 1;
    }
    let weight: f64 = d[from..=to].iter().map(|v| v.abs()).sum();
    let middle = (from..=to).map(|i| i as f64 * d[i].abs()).sum::<f64>() / weight;
    Some(place(middle))
}

/// The largest set of hits on one straight line, by trying lines through pairs; `near`: mm.
fn agreeing(hits: &[Hit], near: f64) -> Vec<Hit> {
    let mut best: Vec<Hit> = Vec::new();
    let n = hits.len();
    let stride = (n / 12).max(1);
    for i in (0..n).step_by(stride) {
        for j in (i + n / 4 + 1..n).step_by(stride) {
            let slope = (hits[j].out - hits[i].out) / (hits[j].along - hits[i].along);
            if slope.abs() > 0.03 {
                continue;
            }
            let fits =
                |h: &&Hit| (h.out - hits[i].out - slope * (h.along - hits[i].along)).abs() < near;
            let count = hits.iter().filter(fits).count();
            if count > best.len() {
                best = hits.iter().filter(fits).copied().collect();
            }
        }
    }
    // Once more round the fitted line, so that the pair that proposed it has no say.
    if best.len() > 2 {
        let (offset, slope) = least_squares(&best);
        best = hits
            .iter()
            .filter(|h| (h.out - offset - slope * h.along).abs() < near)
            .copied()
            .collect();
    }
    best
}

fn least_squares(hits: &[Hit]) -> (f64, f64) {
    let n = hits.len() as f64;
    let (ms, mo) = (
        hits.iter().map(|h| h.along).sum::<f64>() / n,
        hits.iter().map(|h| h.out).sum::<f64>() / n,
    );
    let (mut ss, mut so) = (0.0, 0.0);
    for h in hits {
        ss += (h.along - ms).powi(2);
        so += (h.along - ms) * (h.out - mo);
    }
    let slope = if ss > 0.0 { so / ss } else { 0.0 };
    (mo - slope * ms, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(level: impl Fn(f64) -> f64) -> Profile {
        let levels = (-34..=34).map(|k| {
            let x = f64::from(k) * 0.05;
            // Blur of one pixel, 0.1 mm.
            (-20..=20)
                .map(|j| level(x + f64::from(j) * 0.0025))
                .sum::<f64>()
                / 41.0
        });
        Profile {
            levels: levels.collect(),
            step: 0.05,
            first: -1.7,
        }
    }

    /// A fifth of the blur.
    const PLACE_MM: f64 = 0.02;

    #[test]
    fn a_plain_step_is_found() {
        let found = edge_in(&profile(|x| if x < 0.23 { 0.5 } else { 0.1 })).unwrap();
        assert!((found - 0.23).abs() < PLACE_MM, "{found}");
    }

    #[test]
    fn the_shadow_beyond_the_edge_is_not_the_edge() {
        let with_shadow = |x: f64| {
            if x < -0.3 {
                0.4
            } else if x < 0.0 {
                0.1
            } else {
                (0.1 + 0.9 * x).min(0.7)
            }
        };
        let found = edge_in(&profile(with_shadow)).unwrap();
        assert!((found + 0.3).abs() < PLACE_MM, "{found}");
    }

    #[test]
    fn a_plain_surface_has_no_edge() {
        assert!(edge_in(&profile(|x| 0.4 + 0.001 * x)).is_none());
    }
}
