//! Where exactly the sheet's edges run: sub-pixel points along each side.
//!
//! Brightness is made linear first. An edge blurred by the lens is a half-way step in light; in the
//! file's encoded levels the half-way point lies towards the dark side, by a quarter of a pixel or more.

use nalgebra::{Matrix3, Vector2, Vector3};
use rayon::prelude::*;

use super::Look;
use super::channel::{Channel, Plane};
use super::coarse::{Rectangle, inside};
use super::contrast::{Contrast, MIN_STEP};
use super::profile::{
    End, Profile, WALL_ALIKE, WALL_HIDDEN, edge_in, sheet_end, stacked, step_near,
};
use crate::frame::{Face, Pixel, Point};

/// Distance between profiles along an edge, mm, and half the stretch each is averaged over: they do not
/// overlap, so their errors are their own.
const STEP_MM: f64 = 1.6;
const HALF_STRETCH_MM: f64 = 0.7;
/// How far to either side the rough line is searched, and then the first fitted one, mm.
const ROUGH_MM: f64 = 1.8;
const CLOSE_MM: f64 = 0.8;
/// Corners are rounded and burred: no profiles this near to them, mm.
const CORNER_MM: f64 = 3.0;
/// Fewest good profiles on a side, and the share of the tried ones that must agree.
const MIN_POINTS: usize = 8;
const MIN_SHARE: f64 = 0.5;
/// How far from where the profiles together have it one may have the edge, mm and px.
pub(super) const NEAR_STACK_MM: f64 = 0.2;
const NEAR_STACK_PX: f64 = 1.2;
/// Both halves of a side may turn its rough line by this much, rad, not more: 1 mm over 200 mm.
const MAX_TURN: f64 = 0.005;
/// Places that scatter by more than this share of it are a texture's, not an edge's: even spread gives 0.58.
const SCATTER_SHARE: f64 = 0.45;
/// Smallest standard deviation of one point, px: rounding, resampling, and the edge's own nicks.
const FLOOR_PX: f64 = 0.06;

/// Least step of a colour that is an edge, see [`Contrast::step`]: 6 % of middle grey, twice what brightness must show,
/// as JPEGs keep colours coarsely.
const COLOUR_STEP: f64 = 0.2;
/// A colour's edge may be off so much with all its points, px of its plane: phones smooth colours more, and towards
/// the side of more light.
const COLOUR_PX: f64 = 0.5;
/// Brightness and colour show the same edge within this, mm, and both their doubts.
const AGREE_MM: f64 = 0.2;

/// A side that is bent is looked at in parts of at least so many profiles, 10 mm, and of so many parts.
const PART: usize = 6;
const MIN_PARTS: usize = 4;
const MAX_PARTS: usize = 10;
/// A side may be bent so much between its ends, mm, by a lens that nobody told of, and turned so much by a survey of one
/// small card, rad. A curled card or a bowed sheet bends it too, and then more than its edges is wrong.
const MAX_BOW_MM: f64 = 0.25;
const MAX_BENT_TURN: f64 = 0.012;
/// A rough edge: its places lie within this of its line, mm, on this share of its profiles, and at this share of its
/// places the two sides differ as all do.
const ROUGH_NEAR_MM: f64 = 0.5;
const ROUGH_SHARE: f64 = 0.7;
const ROUGH_DIFFER: f64 = 0.9;

/// Points along one side.
#[derive(Debug, Clone)]
pub(super) struct SidePoints {
    /// Where, and the standard deviation across, px.
    pub(super) points: Vec<(Point<Pixel>, f64)>,
    /// Standard deviation of what they all may have in common, mm outward: a side wall or a burr taken for the
    /// face's edge.
    pub(super) doubt_mm: f64,
    /// How far beyond it the picture steps once more as it does here, mm, if it does.
    pub(super) second_mm: Option<f64>,
    /// Standard deviation of each about the line, mm.
    sd_mm: f64,
    /// The line through them.
    line: Axis,
}

impl SidePoints {
    /// Whether the other one may be the same edge, seen in another channel.
    fn agrees(&self, other: &Self) -> bool {
        let limit = AGREE_MM + 2.0 * self.doubt_mm.hypot(other.doubt_mm);
        [0.0, self.line.length]
            .iter()
            .all(|&along| self.line.beyond(&other.line, along).abs() < limit)
    }
}

struct Finder<'a> {
    look: &'a Look<'a>,
    channel: Channel,
    plane: Plane<'a>,
    even: [f32; 256],
    thickness_mm: f64,
    /// What a side wall that does not show is in doubt, share of its width.
    hidden: f64,
}

/// A place on a profile: how far outward from the rough line, mm.
#[derive(Debug, Clone, Copy)]
struct Hit {
    along: f64,
    out: f64,
}

impl Hit {
    /// How far outward of a line it is, mm.
    fn off(&self, offset: f64, slope: f64) -> f64 {
        self.out - offset - slope * self.along
    }
}

/// Finds the four sides' points in one photo, in the order bottom, right, top, left of the rectangle; `None` for a
/// side of which too little shows.
pub(super) fn sides(
    look: &Look,
    contrast: &Contrast,
    r: &Rectangle,
    thickness_mm: f64,
) -> [Option<SidePoints>; 4] {
    let mut found = [const { None }; 4];
    found.par_iter_mut().enumerate().for_each(|(i, f)| {
        let ends = [r.corners[i].vec(), r.corners[(i + 1) % 4].vec()];
        *f = in_channels(look, contrast, ends, thickness_mm);
    });
    found
}

/// A side in brightness, or else in the colour that shows it best. Where both show one they must show the same:
/// otherwise one of them shows a shadow, a stain or a line.
///
/// Between two colours about as bright, what mixes in light is brighter than what mixes in levels: the little that
/// brightness steps lies towards the darker side, by half a pixel, or is a ridge. So brightness has a say in colour's
/// matters only where it would part the two sides by itself.
fn in_channels(
    look: &Look,
    contrast: &Contrast,
    [a, b]: [Vector2<f64>; 2],
    thickness_mm: f64,
) -> Option<SidePoints> {
    let side = |channel| {
        let finder = Finder {
            look,
            channel,
            plane: look.plane(channel)?,
            even: channel.even(),
            thickness_mm,
            hidden: if channel == Channel::Grey && contrast.channels == [Channel::Grey] {
                WALL_HIDDEN
            } else {
                WALL_ALIKE
            },
        };
        let rough = Axis::through(a, b, 0.0);
        finder.plain(&rough).or_else(|| finder.bent(&rough))
    };
    let colour = |channel| {
        let step = contrast.step_of(channel, a, b)?;
        (step >= COLOUR_STEP).then_some((step, channel))
    };
    let in_brightness = || {
        let step = contrast.step_of(Channel::Grey, a, b)?;
        if step >= MIN_STEP {
            side(Channel::Grey)
        } else {
            None
        }
    };
    let in_colour = || {
        [colour(Channel::Blue), colour(Channel::Red)]
            .into_iter()
            .flatten()
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .and_then(|(_, channel)| side(channel))
    };
    if contrast.channels == [Channel::Grey] {
        return side(Channel::Grey).or_else(in_colour);
    }
    match (in_brightness(), in_colour()) {
        (Some(grey), Some(colour)) => grey.agrees(&colour).then_some(grey),
        (grey, colour) => grey.or(colour),
    }
}

impl Finder<'_> {
    /// A smooth side that is straight already.
    fn plain(&self, rough: &Axis) -> Option<SidePoints> {
        let profiles = self.profiles(rough, ROUGH_MM, None)?;
        let hits = agreeing(&hits_in(&profiles, edge_in), 0.5);
        if hits.len() < MIN_POINTS {
            return None;
        }
        let (offset, slope) = least_squares(&hits);
        let mut line = rough.moved(offset, slope);
        // All profiles together show steps that grain hides in each: which of them the sheet ends at is
        // decided once for the whole side.
        let middle = line.point(line.length / 2.0, 0.0);
        let px_per_mm = self.px_per_mm(middle)?;
        let step = 0.5 / px_per_mm;
        let wall = self.wall_mm(&line);
        // First in each half, which sets the direction right where the rough line was drawn to something else.
        let profiles = self.profiles(&line, ROUGH_MM, Some(step))?;
        let halves = profiles.split_at(profiles.len() / 2);
        let half = |p: &[(f64, Profile)]| {
            let along = p.iter().map(|(a, _)| a).sum::<f64>() / p.len() as f64;
            let out = sheet_end(&stacked(p)?, wall, px_per_mm, self.hidden)?.out;
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
        let ended = sheet_end(&stacked(&profiles)?, wall, px_per_mm, self.hidden)?;
        line = line.moved(ended.out, 0.0);
        let profiles = self.profiles(&line, CLOSE_MM, None)?;
        let near = NEAR_STACK_MM.max(NEAR_STACK_PX / px_per_mm);
        // Profiles that do not agree with all of them together show no edge: then none is told.
        self.points(&line, &profiles, &ended, px_per_mm, near, MIN_SHARE)
    }

    /// A side that the first survey bends or turns, or that is rough: each part of it is stacked by itself, and a
    /// parabola laid through.
    fn bent(&self, rough: &Axis) -> Option<SidePoints> {
        let px_per_mm = self.px_per_mm(rough.point(rough.length / 2.0, 0.0))?;
        let step = Some(0.5 / px_per_mm);
        let wall = self.wall_mm(rough);
        let profiles = self.profiles(rough, ROUGH_MM, step)?;
        let n = (profiles.len() / PART).min(MAX_PARTS);
        if n < MIN_PARTS {
            return None;
        }
        let part = |p: &[(f64, Profile)]| {
            let along = p.iter().map(|(a, _)| a).sum::<f64>() / p.len() as f64;
            let out = sheet_end(&stacked(p)?, wall, px_per_mm, self.hidden)?.out;
            Some(Hit { along, out })
        };
        let mut ends: Vec<Hit> = (0..n)
            .filter_map(|k| part(&profiles[k * profiles.len() / n..(k + 1) * profiles.len() / n]))
            .collect();
        let fewest = (n - n / 4).max(MIN_PARTS);
        let line = loop {
            if ends.len() < fewest {
                return None;
            }
            let line = rough.bent(&ends)?;
            let off = |h: &Hit| (line.beyond(rough, h.along) - h.out).abs();
            let worst = (0..ends.len()).max_by(|&i, &j| off(&ends[i]).total_cmp(&off(&ends[j])))?;
            if off(&ends[worst]) < NEAR_STACK_MM {
                break line;
            }
            ends.remove(worst);
        };
        let turn = rough.along.perp(&line.along).abs();
        if line.bow.abs() > MAX_BOW_MM || turn > MAX_BENT_TURN {
            return None;
        }
        let ended = sheet_end(
            &stacked(&self.profiles(&line, ROUGH_MM, step)?)?,
            wall,
            px_per_mm,
            self.hidden,
        )?;
        if ended.out.abs() > NEAR_STACK_MM {
            return None;
        }
        let line = line.moved(ended.out, 0.0);
        let profiles = self.profiles(&line, CLOSE_MM, None)?;
        let near = NEAR_STACK_MM.max(NEAR_STACK_PX / px_per_mm);
        // The lens that bends it may be known better with it; what else does may not.
        let bow = line.bow.abs();
        if let Some(mut side) = self.points(&line, &profiles, &ended, px_per_mm, near, MIN_SHARE) {
            side.doubt_mm = side.doubt_mm.hypot(bow);
            return Some(side);
        }
        // The edge wanders more than the profiles together are sharp: a burr that is bright here and dark there. Only
        // two sides that differ everywhere show that it is an edge and no texture.
        let differ = profiles
            .iter()
            .filter(|(_, p)| p.differs(ended.slope))
            .count();
        if (differ as f64) < ROUGH_DIFFER * profiles.len() as f64 {
            return None;
        }
        let mut side = self.points(
            &line,
            &profiles,
            &ended,
            px_per_mm,
            ROUGH_NEAR_MM,
            ROUGH_SHARE,
        )?;
        // A rim that seems bench all along looks like the edge: what moves the points may move them all.
        side.doubt_mm = side.doubt_mm.hypot(side.sd_mm).hypot(bow);
        Some(side)
    }

    /// The points of a side where `line` has it, each within `near` mm of that, if they agree.
    fn points(
        &self,
        line: &Axis,
        profiles: &[(f64, Profile)],
        ended: &End,
        px_per_mm: f64,
        near: f64,
        least_share: f64,
    ) -> Option<SidePoints> {
        let tried = profiles.len() as f64;
        let found = hits_in(profiles, |p| step_near(p, ended.slope, near));
        let hits = agreeing(&found, near.max(0.25));
        if hits.len() < MIN_POINTS || (hits.len() as f64) < least_share * tried {
            return None;
        }
        let (offset, slope) = least_squares(&hits);
        let mut residuals: Vec<f64> = hits.iter().map(|h| h.off(offset, slope).abs()).collect();
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
                let px_per_mm = self.px_per_mm(p)? * self.plane.scale;
                Some((pixel, (sd_mm * px_per_mm).max(FLOOR_PX * self.plane.scale)))
            })
            .collect();
        // What neighbours have in common is no noise but the edge's own: a rim that is filed bright here and dark there,
        // which moves them all inward as much as it moves them about.
        let own: Vec<f64> = hits
            .windows(2)
            .filter(|w| w[1].along - w[0].along < 1.5 * STEP_MM)
            .map(|w| w[0].off(offset, slope) * w[1].off(offset, slope))
            .collect();
        let wander_mm = (own.iter().sum::<f64>() / own.len().max(1) as f64)
            .max(0.0)
            .sqrt();
        let of_colour = match self.channel {
            Channel::Grey => 0.0,
            Channel::Blue | Channel::Red => COLOUR_PX / px_per_mm / 3f64.sqrt(),
        };
        Some(SidePoints {
            points,
            doubt_mm: ended.doubt_mm.hypot(of_colour).hypot(wander_mm),
            second_mm: ended.second_mm,
            sd_mm,
            line: line.moved(offset, slope),
        })
    }

    /// The plane's pixels for a millimetre of the face.
    fn px_per_mm(&self, at: Point<Face>) -> Option<f64> {
        let photo = self.look.view.local_scale(at)?.determinant().abs().sqrt();
        Some(photo / self.plane.scale)
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
        let px_per_mm = self.px_per_mm(line.point(along, 0.0))?;
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
                .any(|c| inside(&c.outline, p, 1.5 * px_per_mm * self.plane.scale))
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
                sum += self.light(p);
            }
            levels.push(sum / strips as f64);
        }
        Some(Profile {
            levels,
            step,
            first: -f64::from(n + 2) * step,
        })
    }

    /// What mixes evenly of the plane, at a place of the photo.
    fn light(&self, p: Point<Pixel>) -> f64 {
        let picture = self.plane.picture;
        let w = picture.width() as usize;
        let p = self.plane.own(p);
        let (x, y) = ((p.x - 0.5).max(0.0), (p.y - 0.5).max(0.0));
        let (x0, y0) = (
            (x as usize).min(w - 2),
            (y as usize).min(picture.height() as usize - 2),
        );
        let (u, v) = (x - x0 as f64, y - y0 as f64);
        let raw = picture.as_raw();
        let at = |i: usize| f64::from(self.even[usize::from(raw[i])]);
        let i = y0 * w + x0;
        (1.0 - v) * ((1.0 - u) * at(i) + u * at(i + 1))
            + v * ((1.0 - u) * at(i + w) + u * at(i + w + 1))
    }
}

/// A side on the face: straight, or bent as a lens that the first survey does not know yet bends it.
#[derive(Debug, Clone)]
struct Axis {
    start: Vector2<f64>,
    along: Vector2<f64>,
    outward: Vector2<f64>,
    length: f64,
    /// How far outward of its ends' chord its middle is, mm.
    bow: f64,
}

impl Axis {
    /// From `a` to `b`, anticlockwise round the sheet: outward is to the right.
    fn through(a: Vector2<f64>, b: Vector2<f64>, bow: f64) -> Self {
        let along = (b - a).normalize();
        Self {
            start: a,
            along,
            outward: Vector2::new(along.y, -along.x),
            length: (b - a).norm(),
            bow,
        }
    }

    fn point(&self, along: f64, out: f64) -> Point<Face> {
        let t = self.share(along);
        let out = out + self.bow * (1.0 - t * t);
        Point::at(self.start + self.along * along + self.outward * out)
    }

    /// Where along it, -1 to 1 from end to end.
    fn share(&self, along: f64) -> f64 {
        2.0 * along / self.length - 1.0
    }

    fn moved(&self, offset: f64, slope: f64) -> Self {
        let end =
            |along: f64| self.start + self.along * along + self.outward * (offset + slope * along);
        Self::through(end(0.0), end(self.length), self.bow)
    }

    /// The parabola nearest to the hits; `None` when they do not tell one.
    fn bent(&self, hits: &[Hit]) -> Option<Self> {
        let row = |h: &Hit| {
            let t = self.share(h.along);
            Vector3::new(1.0, t, 1.0 - t * t)
        };
        let square: Matrix3<f64> = hits.iter().map(|h| row(h) * row(h).transpose()).sum();
        let right: Vector3<f64> = hits.iter().map(|h| row(h) * h.out).sum();
        let fit = square.cholesky()?.solve(&right);
        let slope = 2.0 * fit[1] / self.length;
        let mut bent = self.moved(fit[0] - fit[1], slope);
        bent.bow += fit[2];
        Some(bent)
    }

    /// How far outward of `other` it is at `along`.
    fn beyond(&self, other: &Self, along: f64) -> f64 {
        let at = self.point(along, 0.0).vec() - other.point(along, 0.0).vec();
        at.dot(&other.outward)
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
