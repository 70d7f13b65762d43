//! How different the two sides of a line are. A sheet and its bench differ as a rule; the two sides of a ruled
//! line, of a mat's grid line or of a streak of grain do not.
//!
//! They differ in brightness or colour, the same way all along or by turns: bare metal mirrors the room, so that beside
//! a white bench it is brighter here and darker there. Or they differ in texture: grain against paper. What does not
//! differ the same way counts only as far as it is more than what the face, or the bench, differs from itself a little
//! further in or out.

use nalgebra::Vector2;

use super::Look;
use super::channel::Channel;
use super::coarse::inside;
use crate::frame::Point;

/// A side that parts less than this from that is no edge of a sheet: 3 % of the brightness.
pub(super) const MIN_STEP: f64 = 0.1;
/// Difference of brightness that counts as full, share of the brighter side.
const FULL: f64 = 0.3;
/// Where brightness is taken beside a line, mm, from beyond the width of a pen's line or a burr; the middle
/// one counts, so that the next line of a mat has no say.
const BESIDE_MM: [f64; 5] = [0.9, 1.6, 2.4, 3.3, 4.2];
/// Places along a side.
const PLACES: usize = 32;
/// So many of the places may show less than the step, or another: a shadow's end, a card, a streak of wood.
const DISSENT: f64 = 0.35;
/// How much further in and out each side is compared with itself, mm: beyond what is compared at the line.
const AGAIN_MM: f64 = 4.5;
/// A place is looked at over so much along the line, mm, so that noise and grain do not count as a difference.
const ALONG_MM: [f64; 3] = [-1.2, 0.0, 1.2];
/// So many neighbouring places must differ alike: what changes from each to the next is texture.
const ALIKE: usize = 5;
/// A texture so many times as rough as the other counts as fully different.
const FULL_ROUGHER: f64 = 8.0;
/// Levels that rounding and noise make a smooth surface rough by, share of middle grey.
const SMOOTH: f64 = 0.004;
/// Step of the places that are tried for a side, mm, and directions tried to either hand.
const SWEEP_MM: f64 = 0.35;
const SLANTS: i32 = 2;
/// A place so far from the planned one as the search goes must be better by this, in share of brightness.
const FAR_SAYS: f64 = 0.05;

/// Looks at the photos beside lines of the face.
#[derive(Clone, Copy)]
pub(super) struct Contrast<'a> {
    pub(super) looks: &'a [Look<'a>],
    /// The planes of a photo that have a say: a line parts what it parts in one of them.
    pub(super) channels: &'a [Channel],
}

/// A side found by its step.
pub(super) struct Swept {
    /// How far outward of where it was expected, at both ends, mm.
    pub(super) out: [f64; 2],
    /// Share of the places that step as the side does.
    pub(super) share: f64,
}

impl Contrast<'_> {
    /// The photo that shows a place furthest from its rim: both sides of a line are compared in one photo.
    fn look(&self, p: Vector2<f64>) -> Option<&Look<'_>> {
        if let [only] = self.looks {
            return Some(only);
        }
        let from_rim = |look: &Look| {
            let q = look.pixel(Point::at(p), MARGIN_PX)?;
            let (w, h) = (f64::from(look.grey.width()), f64::from(look.grey.height()));
            Some(q.x.min(w - q.x).min(q.y).min(h - q.y))
        };
        let mut best: Option<(f64, &Look)> = None;
        for look in self.looks {
            if let Some(room) = from_rim(look)
                && best.is_none_or(|(most, _)| room > most)
            {
                best = Some((room, look));
            }
        }
        best.map(|(_, look)| look)
    }

    /// Which of the stretches of about 2 mm from `a` to `b` are in the photo and under no card.
    pub(super) fn visible(&self, a: Vector2<f64>, b: Vector2<f64>) -> Vec<bool> {
        let n = ((b - a).norm() / 2.0).ceil().max(4.0) as usize;
        let seen = |p: Vector2<f64>| {
            let look = self.look(p)?;
            let pixel = look.pixel(Point::at(p), MARGIN_PX)?;
            let covered = look.cards.iter().any(|c| inside(&c.outline, pixel, 0.0));
            (!covered).then_some(())
        };
        (0..n)
            .map(|k| seen(a + (b - a) * ((k as f64 + 0.5) / n as f64)).is_some())
            .collect()
    }

    /// Share of the side from `a` to `b` in the photo.
    pub(super) fn in_photo(&self, a: Vector2<f64>, b: Vector2<f64>) -> f64 {
        let visible = self.visible(a, b);
        visible.iter().filter(|v| **v).count() as f64 / visible.len() as f64
    }

    /// How different the two sides of the segment from `a` to `b` are, 0 to 1, as most of it shows; `None`
    /// when hardly any of it is in the photo.
    pub(super) fn step(&self, a: Vector2<f64>, b: Vector2<f64>) -> Option<f64> {
        let steps = self.channels.iter();
        steps
            .filter_map(|&c| self.step_of(c, a, b))
            .max_by(f64::total_cmp)
    }

    /// The same in one plane.
    pub(super) fn step_of(
        &self,
        channel: Channel,
        a: Vector2<f64>,
        b: Vector2<f64>,
    ) -> Option<f64> {
        let along = (b - a).normalize();
        let places: Vec<Vector2<f64>> = (0..PLACES)
            .map(|k| a + (b - a) * ((k as f64 + 0.5) / PLACES as f64))
            .collect();
        self.step_in(channel, &places, Vector2::new(along.y, -along.x))
    }

    /// [`Self::step`] at `places` of a line with this unit normal.
    pub(super) fn step_at(&self, places: &[Vector2<f64>], normal: Vector2<f64>) -> Option<f64> {
        let steps = self.channels.iter();
        steps
            .filter_map(|&c| self.step_in(c, places, normal))
            .max_by(f64::total_cmp)
    }

    fn step_in(
        &self,
        channel: Channel,
        places: &[Vector2<f64>],
        normal: Vector2<f64>,
    ) -> Option<f64> {
        let bands: Vec<[Option<Band>; 4]> = places
            .iter()
            .filter_map(|&p| {
                let look = self.look(p)?;
                Some(BANDS.map(|b| Band::of(channel, look, p, normal, b)))
            })
            .collect();
        let between = |i: usize, by: &dyn Fn(&Band, &Band) -> f64| -> Vec<f64> {
            let of_place = |b: &[Option<Band>; 4]| Some(by(b[i].as_ref()?, b[i + 1].as_ref()?));
            bands.iter().filter_map(of_place).collect()
        };
        let in_level = |a: &Band, b: &Band| channel.difference(a.level, b.level);
        let in_texture = |a: &Band, b: &Band| (a.rough / b.rough).ln() / FULL_ROUGHER.ln();
        let mut at_line = between(1, &in_level);
        if at_line.len() < 4 || 8 * at_line.len() < places.len() {
            return None;
        }
        let by_turns = {
            let beside = [0, 2].map(|i| middle_size(&alike(&between(i, &in_level))));
            least_size(&alike(&at_line)) - beside[0].max(beside[1])
        };
        let texture = {
            let beside = [0, 2].map(|i| agreed(&mut between(i, &in_texture)).abs());
            agreed(&mut between(1, &in_texture)).abs() - beside[0].max(beside[1])
        };
        let level = agreed(&mut at_line).abs().max(by_turns) / FULL;
        Some(level.max(texture).min(1.0))
    }

    /// Where the photo steps most, within `reach` of the segment from `a` to `b` (outward is to its right) and
    /// `lean` of its direction; `None` when nowhere enough.
    pub(super) fn sweep(
        &self,
        a: Vector2<f64>,
        b: Vector2<f64>,
        reach: f64,
        lean: f64,
    ) -> Option<Swept> {
        let swept = self.channels.iter();
        let swept = swept.filter_map(|&c| self.sweep_in(c, a, b, reach, lean));
        swept
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(_, swept)| swept)
    }

    /// The same in one plane, and what it is worth.
    fn sweep_in(
        &self,
        channel: Channel,
        a: Vector2<f64>,
        b: Vector2<f64>,
        reach: f64,
        lean: f64,
    ) -> Option<(f64, Swept)> {
        let along = (b - a).normalize();
        let outward = Vector2::new(along.y, -along.x);
        let length = (b - a).norm();
        let slants: Vec<f64> = (-SLANTS..=SLANTS)
            .map(|k| lean * f64::from(k) / f64::from(SLANTS))
            .collect();
        let widest = BESIDE_MM[BESIDE_MM.len() - 1];
        let steps = (reach / SWEEP_MM).ceil() as i32;
        let margin = ((widest + lean * length / 2.0) / SWEEP_MM).ceil() as i32 + 1;
        let n = steps + margin;
        let profiles: Vec<(f64, Vec<Option<f64>>)> = (0..PLACES)
            .map(|k| {
                let s = length * ((k as f64 + 0.5) / PLACES as f64);
                let look = self.look(a + along * s);
                let levels = (-n..=n).map(|i| {
                    level(
                        channel,
                        look?,
                        a + along * s + outward * (f64::from(i) * SWEEP_MM),
                    )
                });
                (s - length / 2.0, levels.collect())
            })
            .collect();
        let mut best: Option<(f64, Swept)> = None;
        for i in -steps..=steps {
            let out = f64::from(i) * SWEEP_MM;
            for &slant in &slants {
                let mut differences: Vec<f64> = profiles
                    .iter()
                    .filter_map(|(s, levels)| {
                        let mean = |sign: f64| {
                            let mut near = [0.0; BESIDE_MM.len()];
                            for (level, beside) in near.iter_mut().zip(BESIDE_MM) {
                                let at = (out + slant * s + sign * beside) / SWEEP_MM;
                                let at = usize::try_from(at.round() as i32 + n).ok()?;
                                *level = (*levels.get(at)?)?;
                            }
                            Some(middle_one(near))
                        };
                        Some(channel.difference(mean(-1.0)?, mean(1.0)?))
                    })
                    .collect();
                if differences.len() < 4 || 5 * differences.len() < PLACES {
                    continue;
                }
                let step = agreed(&mut differences);
                if step.abs() < FULL * MIN_STEP {
                    continue;
                }
                let worth = step.abs() - FAR_SAYS * (out / reach).powi(2);
                if best.as_ref().is_none_or(|(most, _)| worth > *most) {
                    let same = differences
                        .iter()
                        .filter(|d| **d * step > 0.0 && d.abs() > 0.3 * step.abs())
                        .count();
                    let half = slant * length / 2.0;
                    best = Some((
                        worth,
                        Swept {
                            out: [out - half, out + half],
                            share: same as f64 / differences.len() as f64,
                        },
                    ));
                }
            }
        }
        best
    }
}

/// No level is taken this near to the photo's rim, px.
const MARGIN_PX: f64 = 2.0;

fn level(channel: Channel, look: &Look, p: Vector2<f64>) -> Option<f64> {
    let q = look.pixel(Point::at(p), MARGIN_PX)?;
    Some(look.plane(channel)?.level(q))
}

/// The bands along a line that are compared, from inside to outside: to which side of it, and how much further off.
const BANDS: [[f64; 2]; 4] = [[-1.0, AGAIN_MM], [-1.0, 0.0], [1.0, 0.0], [1.0, AGAIN_MM]];

/// What one of them looks like at one place of the line.
struct Band {
    level: f64,
    /// How much it differs from itself within some tenths of a millimetre, as a share.
    rough: f64,
}

impl Band {
    fn of(
        channel: Channel,
        look: &Look,
        p: Vector2<f64>,
        normal: Vector2<f64>,
        [side, more_mm]: [f64; 2],
    ) -> Option<Self> {
        let along = Vector2::new(-normal.y, normal.x);
        let mut levels = [0.0; BESIDE_MM.len()];
        let mut rough = 0.0;
        for (value, out) in levels.iter_mut().zip(BESIDE_MM) {
            let foot = p + normal * (side * (out + more_mm));
            let mut row = [0.0; ALONG_MM.len()];
            for (level_at, by) in row.iter_mut().zip(ALONG_MM) {
                *level_at = level(channel, look, foot + along * by)?;
            }
            *value = row.iter().sum::<f64>() / row.len() as f64;
            // What a slope of the light makes is none of the texture's.
            rough += channel.difference(row[1], (row[0] + row[2]) / 2.0).abs();
        }
        for l in levels.windows(3) {
            rough += channel.difference(l[1], (l[0] + l[2]) / 2.0).abs();
        }
        Some(Self {
            level: middle_one(levels),
            rough: rough / (2 * BESIDE_MM.len() - 2) as f64 + SMOOTH,
        })
    }
}

/// The middle of each and its neighbours.
fn alike(differences: &[f64]) -> Vec<f64> {
    differences
        .windows(ALIKE.min(differences.len().max(1)))
        .map(|w| {
            let mut w = w.to_vec();
            w.sort_by(f64::total_cmp);
            w[w.len() / 2]
        })
        .collect()
}

/// The size that all but [`DISSENT`] of the differences have at least, whatever their signs.
fn least_size(differences: &[f64]) -> f64 {
    size_at(differences, DISSENT)
}

fn middle_size(differences: &[f64]) -> f64 {
    size_at(differences, 0.5)
}

fn size_at(differences: &[f64], share: f64) -> f64 {
    let mut sizes: Vec<f64> = differences.iter().map(|d| d.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let at = (sizes.len().saturating_sub(1) as f64 * share) as usize;
    sizes.get(at).copied().unwrap_or(0.0)
}

fn middle_one(mut levels: [f64; BESIDE_MM.len()]) -> f64 {
    levels.sort_by(f64::total_cmp);
    levels[BESIDE_MM.len() / 2]
}

/// The difference that all but [`DISSENT`] of the places show at least; 0 when they disagree in sign.
fn agreed(differences: &mut [f64]) -> f64 {
    if differences.is_empty() {
        return 0.0;
    }
    differences.sort_by(f64::total_cmp);
    let n = differences.len();
    let low = differences[((n - 1) as f64 * DISSENT) as usize];
    let high = differences[((n - 1) as f64 * (1.0 - DISSENT)) as usize];
    if low > 0.0 {
        low
    } else if high < 0.0 {
        high
    } else {
        0.0
    }
}
