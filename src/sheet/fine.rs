//! Where exactly the sheet's edges run: sub-pixel points along each side.
//!
//! Brightness is made linear first. An edge blurred by the lens is a half-way step in light; in the
//! file's encoded levels the half-way point lies towards the dark side, by a quarter of a pixel or more.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::Look;
use super::axis::{Axis, Hit, agreeing, least_squares};
use super::channel::{Channel, Plane};
use super::coarse::{Rectangle, inside};
use super::contrast::{Contrast, MIN_STEP};
use super::parts::{Agreed, agree};
use super::profile::{
    BURR_MM, End, Profile, WALL_ALIKE, WALL_HIDDEN, edge_in, sheet_end, sheet_ends, stacked,
    step_near,
};
use crate::frame::{Face, Pixel, Point};

/// Distance between profiles along an edge, mm, and half the stretch each is averaged over: they do not
/// overlap, so their errors are their own.
pub(super) const STEP_MM: f64 = 1.6;
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
/// A rim that is brighter than the face by this share is no mixture of two colours about as bright.
const RIM_SHINES: f64 = 0.2;
/// A colour's edge may be off so much with all its points, px of its plane: phones smooth colours more, and towards
/// the side of more light.
const COLOUR_PX: f64 = 0.5;
/// Brightness and colour show the same edge within this, mm, and both their doubts.
const AGREE_MM: f64 = 0.2;

/// A side whose parts agree but for a quarter needs no other proof; half of them will do where it is partly covered.
const MOST_PARTS: f64 = 0.75;
const SOME_PARTS: f64 = 0.5;
/// A side may be bent so much between its ends, mm, by a lens that nobody told of, and turned so much by a survey of one
/// small card, rad. A curled card or a bowed sheet bends it too, and then more than its edges is wrong.
const MAX_BOW_MM: f64 = 0.25;
/// The same for long sides, share of their length: a lens with k1 = 0.05, as phones leave it, bends a side at 0.4 of the
/// height out, 0.35 to either hand, by 0.0035 of that height.
const MAX_BOW: f64 = 0.002;
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
    /// How much brighter than the face its rim is, as a share.
    rim: f64,
}

impl SidePoints {
    /// The same with what its profiles together cannot tell.
    fn doubted(mut self, doubt_mm: f64, second_mm: Option<f64>) -> Option<Self> {
        self.doubt_mm = self.doubt_mm.hypot(doubt_mm);
        self.second_mm = second_mm;
        Some(self)
    }

    /// Whether the other one, in colour, may be the same edge.
    fn agrees(&self, other: &Self) -> bool {
        let limit = AGREE_MM + 2.0 * self.doubt_mm.hypot(other.doubt_mm);
        // Paint ends where a bare rim begins.
        let outer = if self.rim > 0.0 {
            limit + BURR_MM
        } else {
            limit
        };
        [0.0, self.line.length].iter().all(|&along| {
            let beyond = self.line.beyond(&other.line, along);
            -limit < beyond && beyond < outer
        })
    }
}

/// A profile, moved so that its step lies where the face ends.
struct Ended {
    along: f64,
    profile: Profile,
    /// Slope of the light at the step of the stretch.
    slope: f64,
}

impl Ended {
    fn of((along, mut profile): (f64, Profile), end: &End) -> Self {
        profile.first += end.beyond_mm;
        Self {
            along,
            profile,
            slope: end.slope,
        }
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
    let rough = Axis::through(a, b, 0.0);
    let finder = |channel| {
        Some(Finder {
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
        })
    };
    let side = |channel| {
        let finder = finder(channel)?;
        finder.by_parts(&rough, MOST_PARTS).or_else(|| {
            // Of a side that only some parts show, or all of it together: whichever is the sharper line.
            let ways = [finder.by_parts(&rough, SOME_PARTS), finder.plain(&rough)];
            ways.into_iter()
                .flatten()
                .min_by(|a, b| a.sd_mm.total_cmp(&b.sd_mm))
        })
    };
    let colour = |channel| {
        let step = contrast.step_of(channel, a, b)?;
        (step >= COLOUR_STEP).then_some((step, channel))
    };
    let in_brightness = || {
        let step = contrast.step_of(Channel::Grey, a, b)?;
        if step >= MIN_STEP {
            return side(Channel::Grey);
        }
        // As bright as the bench, but for a bare rim: that ends where the metal does, and paint does not.
        let rim = finder(Channel::Grey)?.by_parts(&rough, MOST_PARTS)?;
        (rim.rim > RIM_SHINES).then_some(rim)
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
            let end = sheet_end(&stacked(p)?, wall, px_per_mm, self.hidden)?;
            let out = end.out + end.beyond_mm;
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
        line = line.moved(ended.out + ended.beyond_mm, 0.0);
        let profiles = self.profiles(&line, CLOSE_MM, None)?;
        let near = NEAR_STACK_MM.max(NEAR_STACK_PX / px_per_mm);
        // Profiles that do not agree with all of them together show no edge: then none is told.
        let profiles: Vec<Ended> = profiles.into_iter().map(|p| Ended::of(p, &ended)).collect();
        self.points(&line, &profiles, px_per_mm, near, MIN_SHARE)?
            .doubted(ended.doubt_mm, ended.second_mm)
    }

    /// A side from its parts, straight or as the first survey bends or turns it, if at least `share` of them agree.
    fn by_parts(&self, rough: &Axis, share: f64) -> Option<SidePoints> {
        let px_per_mm = self.px_per_mm(rough.point(rough.length / 2.0, 0.0))?;
        let step = Some(0.5 / px_per_mm);
        let wall = self.wall_mm(rough);
        let ends = |p: &Profile| sheet_ends(p, wall, px_per_mm, self.hidden);
        let first = agree(rough, &self.profiles(rough, ROUGH_MM, step)?, share, ends)?;
        // Once more along what was found: a part of a line that leans is blurred.
        let profiles = self.profiles(&first.line, ROUGH_MM, step)?;
        let agreed = agree(&first.line, &profiles, share, ends)?;
        let line = &agreed.line;
        let turn = rough.along.perp(&line.along).abs();
        if line.bow.abs() > MAX_BOW_MM.max(MAX_BOW * line.length) || turn > MAX_BENT_TURN {
            return None;
        }
        let profiles: Vec<Ended> = self
            .profiles(line, CLOSE_MM, None)?
            .into_iter()
            .filter_map(|p| {
                let end = agreed.end_at(p.0)?;
                Some(Ended::of(p, end))
            })
            .collect();
        let near = NEAR_STACK_MM.max(NEAR_STACK_PX / px_per_mm);
        // The lens that bends it may be known better with it; what else does may not.
        let doubt_mm = agreed.doubt_mm().hypot(line.bow);
        let second_mm = agreed.second_mm();
        if let Some(mut side) = self.points(line, &profiles, px_per_mm, near, MIN_SHARE) {
            side.rim = agreed.rim();
            return side.doubted(doubt_mm, second_mm);
        }
        // The edge wanders more than the profiles together are sharp: a burr that is bright here and dark there. Only
        // two sides that differ everywhere show that it is an edge and no texture.
        let differ = profiles
            .iter()
            .filter(|e| e.profile.differs(e.slope))
            .count();
        let rough_side = if (differ as f64) < ROUGH_DIFFER * profiles.len() as f64 {
            None
        } else {
            self.points(line, &profiles, px_per_mm, ROUGH_NEAR_MM, ROUGH_SHARE)
        };
        let Some(side) = rough_side else {
            // Grain hides the edge in each profile: then only what many of them show together counts.
            let side = self.points_of_parts(&first.line, &agreed)?;
            return side.doubted(doubt_mm, second_mm);
        };
        // A rim that seems bench all along looks like the edge: what moves the points may move them all.
        let doubt_mm = doubt_mm.hypot(side.sd_mm);
        side.doubted(doubt_mm, second_mm)
    }

    /// The points of a side where `line` has it, each within `near` mm of that, if they agree.
    fn points(
        &self,
        line: &Axis,
        profiles: &[Ended],
        px_per_mm: f64,
        near: f64,
        least_share: f64,
    ) -> Option<SidePoints> {
        let tried = profiles.len() as f64;
        let found: Vec<Hit> = profiles
            .iter()
            .filter_map(|e| {
                Some(Hit {
                    along: e.along,
                    out: step_near(&e.profile, e.slope, near)?,
                })
            })
            .collect();
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
            doubt_mm: of_colour.hypot(wander_mm),
            second_mm: None,
            sd_mm,
            line: line.moved(offset, slope),
            rim: 0.0,
        })
    }

    /// A side of which only its parts show where it is, each as one point; `along`: the line that they were taken along.
    fn points_of_parts(&self, along: &Axis, agreed: &Agreed) -> Option<SidePoints> {
        let (hits, sd_mm) = agreed.hits();
        let points = hits
            .iter()
            .filter_map(|h| {
                let p = along.point(h.along, h.out);
                let pixel = self.look.view.pixel_from_face(p)?;
                let px_per_mm = self.px_per_mm(p)? * self.plane.scale;
                Some((pixel, (sd_mm * px_per_mm).max(FLOOR_PX * self.plane.scale)))
            })
            .collect();
        Some(SidePoints {
            points,
            doubt_mm: 0.0,
            second_mm: None,
            sd_mm,
            line: agreed.line.clone(),
            rim: agreed.rim(),
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
