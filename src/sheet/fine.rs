//! Where exactly the sheet's edges run: sub-pixel points along each side.
//!
//! Brightness is made linear first. An edge blurred by the lens is a half-way step in light; in the
//! file's encoded levels the half-way point lies towards the dark side, by a quarter of a pixel or more.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::Look;
use super::coarse::{Rectangle, inside};
use crate::frame::{Face, Pixel, Point};
use crate::raster::linear_light;

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
const MIN_SHARE: f64 = 0.5;
/// A step of all profiles together this strong against their strongest may be the edge; and this strong
/// against their mean light it is one at all.
const STACK_STRONG: f64 = 0.3;
const STACK_LEAST: f64 = 0.006;
/// A step is that only if so many times as steep as most of the bare face is.
const OVER_BARE: f64 = 4.0;
/// How far inside the rough line the sheet may end, mm: something stronger lies so near beyond its edge.
const INNER_MM: f64 = 0.8;
/// How far from where the profiles together have it one may have the edge, mm and px.
const NEAR_STACK_MM: f64 = 0.2;
const NEAR_STACK_PX: f64 = 1.2;
/// Both halves of a side may turn its rough line by this much, rad, not more: 1 mm over 200 mm.
const MAX_TURN: f64 = 0.005;
/// Places that scatter by more than this share of it are a texture's, not an edge's: even spread gives 0.58.
const SCATTER_SHARE: f64 = 0.45;
/// Narrower than this, px, a side wall blends with what is beside it.
const WALL_PX: f64 = 1.5;
/// A step beyond the edge, this strong against the strongest, shows where the side wall ends.
const WALL_END: f64 = 0.08;
/// Where only one step shows, the standard deviation of what the wall moves it, share of its width: a dark wall
/// moves it not at all, a bright one by most of its width.
const WALL_HIDDEN: f64 = 0.4;
/// Where both its steps show, their blur still moves the inner one by up to this share of its width.
const WALL_BLEND: f64 = 0.15;
/// The outer of two steps of the same sign is a burr's only if it is this strong against the inner.
const BURR_OUTER: f64 = 0.6;
/// A dip this strong against the strongest step, after a rise, shows a burr as bright as the bench.
const BURR_DIP: f64 = 0.05;
/// Smallest standard deviation of one point, px: rounding, resampling, and the edge's own nicks.
const FLOOR_PX: f64 = 0.06;

/// Points along one side.
#[derive(Debug, Clone)]
pub(super) struct SidePoints {
    /// Where, and the standard deviation across, px.
    pub(super) points: Vec<(Point<Pixel>, f64)>,
    /// Standard deviation of what they all may have in common, mm outward: a side wall or a burr taken for the
    /// face's edge.
    pub(super) doubt_mm: f64,
}

struct Finder<'a> {
    look: &'a Look<'a>,
    linear: [f32; 256],
    thickness_mm: f64,
}

/// A place on a profile: how far outward from the rough line, mm.
#[derive(Debug, Clone, Copy)]
struct Hit {
    along: f64,
    out: f64,
}

/// Finds the four sides' points in one photo, in the order bottom, right, top, left of the rectangle; `None` for a
/// side of which too little shows.
pub(super) fn sides(look: &Look, r: &Rectangle, thickness_mm: f64) -> [Option<SidePoints>; 4] {
    let finder = Finder {
        look,
        linear: std::array::from_fn(|level| linear_light(level as f64) as f32),
        thickness_mm,
    };
    let mut found = [const { None }; 4];
    found
        .par_iter_mut()
        .enumerate()
        .for_each(|(i, f)| *f = finder.side(r.corners[i].vec(), r.corners[(i + 1) % 4].vec()));
    found
}

impl Finder<'_> {
    fn side(&self, a: Vector2<f64>, b: Vector2<f64>) -> Option<SidePoints> {
        let rough = Axis::through(a, b);
        let profiles = self.profiles(&rough, ROUGH_MM, None)?;
        let hits = agreeing(&hits_in(&profiles, edge_in), 0.5);
        if hits.len() < MIN_POINTS {
            return None;
        }
        let (offset, slope) = least_squares(&hits);
        let mut line = rough.moved(offset, slope);
        // All profiles together show steps that grain hides in each: which of them the sheet ends at is
        // decided once for the whole side.
        let middle = line.point(line.length / 2.0, 0.0);
        let px_per_mm = self
            .look
            .view
            .local_scale(middle)?
            .determinant()
            .abs()
            .sqrt();
        let step = 0.5 / px_per_mm;
        let wall = self.wall_mm(&line);
        // First in each half, which sets the direction right where the rough line was drawn to something else.
        let profiles = self.profiles(&line, ROUGH_MM, Some(step))?;
        let halves = profiles.split_at(profiles.len() / 2);
        let half = |p: &[(f64, Profile)]| {
            let along = p.iter().map(|(a, _)| a).sum::<f64>() / p.len() as f64;
            let out = sheet_end(&stacked(p)?, wall, px_per_mm)?.out;
            Some(Hit { along, out })
        };
        let ends = [half(halves.0)?, half(halves.1)?];
        // One half may show the wall's inner step and the other its outer one: that turns nothing.
        if (ends[1].out - ends[0].out).abs() > wall + NEAR_STACK_MM {
            let (offset, slope) = least_squares(&ends);
            if slope.abs() > MAX_TURN {
                return None;
            }
            line = line.moved(offset, slope);
        }
        let profiles = self.profiles(&line, ROUGH_MM, Some(step))?;
        let ended = sheet_end(&stacked(&profiles)?, wall, px_per_mm)?;
        line = line.moved(ended.out, 0.0);
        let profiles = self.profiles(&line, CLOSE_MM, None)?;
        let tried = profiles.len();
        let near = NEAR_STACK_MM.max(NEAR_STACK_PX / px_per_mm);
        // Profiles that do not agree with all of them together show no edge: then none is told.
        let hits = agreeing(
            &hits_in(&profiles, |p| step_near(p, ended.slope, near)),
            0.25,
        );
        if hits.len() < MIN_POINTS || (hits.len() as f64) < MIN_SHARE * tried as f64 {
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
        if sd_mm > SCATTER_SHARE * near {
            return None;
        }
        let points = hits
            .iter()
            .filter_map(|h| {
                let p = line.point(h.along, h.out);
                let pixel = self.look.view.pixel_from_face(p)?;
                let px_per_mm = self.look.view.local_scale(p)?.determinant().abs().sqrt();
                Some((pixel, (sd_mm * px_per_mm).max(FLOOR_PX)))
            })
            .collect();
        Some(SidePoints {
            points,
            doubt_mm: ended.doubt_mm,
        })
    }

    /// How wide the side wall shows beyond the side, mm on the face: the camera sees it where it stands
    /// further out than the edge.
    fn wall_mm(&self, line: &Axis) -> f64 {
        let [x, y, z] = self.look.view.camera_mm();
        let middle = line.point(line.length / 2.0, 0.0).vec();
        let out = (Vector2::new(x, y) - middle).dot(&line.outward);
        (out * self.thickness_mm / (z + self.thickness_mm).max(1.0)).max(0.0)
    }

    /// Profiles along `line`, and where they are.
    fn profiles(&self, line: &Axis, reach: f64, step: Option<f64>) -> Option<Vec<(f64, Profile)>> {
        let mut out = Vec::new();
        let mut along = CORNER_MM;
        while along < line.length - CORNER_MM {
            if let Some(profile) = self.profile(line, along, reach, step) {
                out.push((along, profile));
            }
            along += STEP_MM;
        }
        (out.len() >= MIN_POINTS).then_some(out)
    }

    /// Brightness across the side at `along`, from inside to outside; `None` where the photo or a card is
    /// in the way.
    fn profile(&self, line: &Axis, along: f64, reach: f64, step: Option<f64>) -> Option<Profile> {
        let middle = self.look.view.pixel_from_face(line.point(along, 0.0))?;
        let margin = 3.0;
        let (w, h) = (
            f64::from(self.look.grey.width()),
            f64::from(self.look.grey.height()),
        );
        let px_per_mm = self
            .look
            .view
            .local_scale(line.point(along, 0.0))?
            .determinant()
            .abs()
            .sqrt();
        let step = step.unwrap_or(0.5 / px_per_mm);
        let n = (reach / step).ceil() as i32;
        let ends = [-reach - 3.0 * step, reach + 3.0 * step]
            .map(|out| self.look.view.pixel_from_face(line.point(along, out)));
        for p in [Some(middle), ends[0], ends[1]] {
            let p = p?;
            if p.x < margin || p.y < margin || p.x > w - margin || p.y > h - margin {
                return None;
            }
            if self
                .look
                .cards
                .iter()
                .any(|c| inside(&c.outline, p, 1.5 * px_per_mm))
            {
                return None;
            }
        }
        let strips = ((2.0 * HALF_STRETCH_MM * px_per_mm) as usize).clamp(3, 15);
        // Over a few millimetres the map is affine to a thousandth of a pixel.
        let jacobian = self.look.view.local_scale(line.point(along, 0.0))?;
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
        let w = self.look.grey.width() as usize;
        let (x, y) = ((x - 0.5).max(0.0), (y - 0.5).max(0.0));
        let (x0, y0) = (
            (x as usize).min(w - 2),
            (y as usize).min(self.look.grey.height() as usize - 2),
        );
        let (u, v) = (x - x0 as f64, y - y0 as f64);
        let raw = self.look.grey.as_raw();
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

impl Profile {
    /// Central differences; the first is at the second level but one, as with [`Self::slopes`].
    fn sharp_slopes(&self) -> Vec<f64> {
        let l = &self.levels;
        (2..l.len() - 2)
            .map(|i| (l[i + 1] - l[i - 1]) / 2.0)
            .collect()
    }

    /// Smoothed derivative (1 2 1 of central differences): half-pixel steps, so about one pixel wide.
    fn slopes(&self) -> Vec<f64> {
        let l = &self.levels;
        let raw: Vec<f64> = (1..l.len() - 1)
            .map(|i| (l[i + 1] - l[i - 1]) / 2.0)
            .collect();
        (1..raw.len() - 1)
            .map(|i| (raw[i - 1] + 2.0 * raw[i] + raw[i + 1]) / 4.0)
            .collect()
    }

    /// Where slope `i` is, mm outward.
    fn place(&self, i: f64) -> f64 {
        self.first + (i + 2.0) * self.step
    }

    fn mean(&self) -> f64 {
        self.levels.iter().sum::<f64>() / self.levels.len() as f64
    }
}

/// The places on profiles that `edge` finds.
fn hits_in(profiles: &[(f64, Profile)], edge: impl Fn(&Profile) -> Option<f64>) -> Vec<Hit> {
    profiles
        .iter()
        .filter_map(|(along, p)| {
            Some(Hit {
                along: *along,
                out: edge(p)?,
            })
        })
        .collect()
}

/// Steepest places of the slopes `d` at least this steep, from inside to outside.
fn steps_of(d: &[f64], least: f64) -> Vec<usize> {
    (1..d.len().saturating_sub(1))
        .filter(|&i| {
            d[i].abs() >= least && d[i].abs() > d[i - 1].abs() && d[i].abs() >= d[i + 1].abs()
        })
        .collect()
}

/// Middle of the step at `at`: the mean of its slope where that is at least half the steepest, on either hand
/// no further than to where it grows again towards another step.
fn middle_of(d: &[f64], at: usize) -> f64 {
    let belongs = |i: usize, before: usize| {
        d[i] * d[at] > 0.0 && d[i].abs() >= 0.5 * d[at].abs() && d[i].abs() <= d[before].abs()
    };
    let mut from = at;
    while from > 0 && belongs(from - 1, from) {
        from -= 1;
    }
    let mut to = at;
    while to + 1 < d.len() && belongs(to + 1, to) {
        to += 1;
    }
    let weight: f64 = d[from..=to].iter().map(|v| v.abs()).sum();
    (from..=to).map(|i| i as f64 * d[i].abs()).sum::<f64>() / weight
}

/// The profiles as one: the middle level at each distance. They must have the same step.
fn stacked(profiles: &[(f64, Profile)]) -> Option<Profile> {
    let (_, first) = profiles.first()?;
    let n = profiles.iter().map(|(_, p)| p.levels.len()).min()?;
    let levels = (0..n).map(|i| {
        let mut at: Vec<f64> = profiles.iter().map(|(_, p)| p.levels[i]).collect();
        at.sort_by(f64::total_cmp);
        at[at.len() / 2]
    });
    Some(Profile {
        levels: levels.collect(),
        step: first.step,
        first: first.first,
    })
}

/// Where the sheet ends on all profiles together.
struct End {
    /// Outward, mm.
    out: f64,
    /// Slope of the light there, a step of the profile.
    slope: f64,
    /// Standard deviation of what cannot be told from the picture, mm.
    doubt_mm: f64,
}

/// Where the sheet ends on a stacked profile; `None` when nothing steps on it. `wall`: how wide the side
/// wall shows, mm.
fn sheet_end(profile: &Profile, wall: f64, px_per_mm: f64) -> Option<End> {
    let d = profile.sharp_slopes();
    let strongest = d.iter().map(|v| v.abs()).fold(0.0, f64::max);
    if strongest < STACK_LEAST * profile.mean() {
        return None;
    }
    let resolved = wall * px_per_mm > WALL_PX;
    let mut bare: Vec<f64> = d[..d.len() / 3].iter().map(|v| v.abs()).collect();
    bare.sort_by(f64::total_cmp);
    let least = (STACK_STRONG * strongest)
        .max(STACK_LEAST * profile.mean())
        .max(OVER_BARE * bare[bare.len() / 2]);
    let mut steps = steps_of(&d, least);
    steps.retain(|&i| profile.place(i as f64) > -INNER_MM.max(wall + NEAR_STACK_MM));
    let chosen = past_burr(
        &d,
        &steps,
        profile.step,
        if resolved { wall } else { 0.0 },
        px_per_mm,
    )?;
    // From the face to the wall, and from the wall to the bench: both show, or only one of them.
    let far = |i: usize| (i as f64 - chosen as f64) * profile.step;
    let near_wall = |gap: f64| (gap - wall).abs() < 0.3 * wall + 0.7 / px_per_mm;
    let doubt_mm = if !resolved {
        WALL_HIDDEN * wall
    } else if steps_of(&d, WALL_END * strongest)
        .iter()
        .any(|&i| i > chosen && near_wall(far(i)))
    {
        WALL_BLEND * wall
    } else {
        WALL_HIDDEN * wall
    };
    // A bright burr before a bright bench: only its inner step shows.
    let burr = d[chosen] > 0.0
        && d.iter()
            .enumerate()
            .any(|(i, v)| i > chosen && far(i) < BURR_MM && *v < -BURR_DIP * strongest);
    let doubt_mm = doubt_mm.hypot(if burr { BURR_MM / 12f64.sqrt() } else { 0.0 });
    Some(End {
        out: profile.place(middle_of(&d, chosen)),
        slope: d[chosen],
        doubt_mm,
    })
}

/// The innermost of `steps`, or the outer step of a burr that begins with it.
///
/// Going outward the sheet's edge comes before its shadow and whatever lies on the bench, so it is the
/// innermost of the strong steps; save that a burr's glint makes a step just before the edge. A step as far on
/// as the side wall is wide is the wall's end and no burr's.
fn past_burr(d: &[f64], steps: &[usize], step: f64, wall: f64, px_per_mm: f64) -> Option<usize> {
    let mut chosen = *steps.first()?;
    for &next in &steps[1..] {
        let gap = (next - chosen) as f64 * step;
        // Of the same sign: a bright burr before a bright bench, whose outer step is the edge.
        let same_sign = d[next] * d[chosen] > 0.0 && d[next].abs() > BURR_OUTER * d[chosen].abs();
        let walls_end = wall > 0.0 && (gap - wall).abs() < 0.3 * wall + 0.7 / px_per_mm;
        let burr = gap < BURR_MM && !walls_end;
        let stronger = d[next] * d[chosen] < 0.0 && d[next].abs() > d[chosen].abs();
        if burr && (same_sign || stronger) {
            chosen = next;
        } else {
            break;
        }
    }
    Some(chosen)
}

/// Where the sheet ends on a profile by itself, mm outward of its middle.
fn edge_in(profile: &Profile) -> Option<f64> {
    let d = profile.slopes();
    let strongest = d.iter().map(|v| v.abs()).fold(0.0, f64::max);
    // A step of 3 % of the light over a pixel or two is less than grain makes.
    if strongest < 0.012 * profile.mean() {
        return None;
    }
    let steps = steps_of(&d, STRONG_ENOUGH * strongest);
    let chosen = past_burr(&d, &steps, profile.step, 0.0, 1.0)?;
    Some(profile.place(middle_of(&d, chosen)))
}

/// The step nearest the middle of a profile that is like `slope`, within `near` mm.
fn step_near(profile: &Profile, slope: f64, near: f64) -> Option<f64> {
    // A wall's inner step is but a shoulder once it is smoothed.
    let d = profile.sharp_slopes();
    let like = |i: &usize| d[*i] * slope > 0.0;
    let at = |i: usize| profile.place(middle_of(&d, i));
    steps_of(&d, STRONG_ENOUGH * slope.abs())
        .into_iter()
        .filter(like)
        .map(at)
        .filter(|out| out.abs() < near)
        .min_by(|a, b| a.abs().total_cmp(&b.abs()))
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
    fn the_face_ends_before_a_lit_side_wall() {
        let px_per_mm = 10.0;
        let walled = profile(|x| {
            if x < -0.2 {
                0.5
            } else if x < 0.2 {
                0.3
            } else {
                0.02
            }
        });
        let end = sheet_end(&walled, 0.4, px_per_mm).unwrap();
        assert!((end.out + 0.2).abs() < PLACE_MM, "{}", end.out);
        assert!(end.doubt_mm < 0.1, "both steps show: {}", end.doubt_mm);
        // Without a wall in view the same two steps are a burr and the sheet's end.
        let burr = sheet_end(&walled, 0.0, px_per_mm).unwrap();
        assert!((burr.out - 0.2).abs() < PLACE_MM, "{}", burr.out);
    }

    #[test]
    fn a_wall_that_does_not_show_is_doubt() {
        let plain = profile(|x| if x < 0.1 { 0.5 } else { 0.02 });
        let end = sheet_end(&plain, 0.4, 10.0).unwrap();
        assert!((end.out - 0.1).abs() < PLACE_MM, "{}", end.out);
        assert!((end.doubt_mm - 0.16).abs() < 0.01, "{}", end.doubt_mm);
    }

    #[test]
    fn a_fainter_step_before_a_bright_grid_line_is_the_edge() {
        let on_mat = |x: f64| match x {
            x if x < 0.0 => 0.3,
            x if (0.6..1.0).contains(&x) => 0.5,
            _ => 0.15,
        };
        let end = sheet_end(&profile(on_mat), 0.0, 10.0).unwrap();
        assert!(end.out.abs() < PLACE_MM, "{}", end.out);
    }

    #[test]
    fn a_plain_surface_has_no_edge() {
        let bare = profile(|x| 0.4 + 0.001 * x);
        assert!(sheet_end(&bare, 0.0, 10.0).is_none());
        assert!(edge_in(&profile(|x| 0.4 + 0.001 * x)).is_none());
    }
}
