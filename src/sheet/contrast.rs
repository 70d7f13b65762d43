//! How different the two sides of a line are. A sheet and its bench differ as a rule; the two sides of a ruled
//! line, of a mat's grid line or of a streak of grain do not.

use nalgebra::Vector2;

use super::Look;
use super::channel::Channel;
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

    /// Which of the stretches of about 2 mm from `a` to `b` are in the photo.
    pub(super) fn visible(&self, a: Vector2<f64>, b: Vector2<f64>) -> Vec<bool> {
        let n = ((b - a).norm() / 2.0).ceil().max(4.0) as usize;
        (0..n)
            .map(|k| {
                let p = a + (b - a) * ((k as f64 + 0.5) / n as f64);
                self.look(p)
                    .is_some_and(|look| look.pixel(Point::at(p), MARGIN_PX).is_some())
            })
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
        let mut differences: Vec<f64> = places
            .iter()
            .filter_map(|&p| {
                let look = self.look(p)?;
                let mean = |sign: f64| {
                    let mut levels = [0.0; BESIDE_MM.len()];
                    for (value, out) in levels.iter_mut().zip(BESIDE_MM) {
                        *value = level(channel, look, p + normal * (sign * out))?;
                    }
                    Some(middle_one(levels))
                };
                Some(channel.difference(mean(-1.0)?, mean(1.0)?))
            })
            .collect();
        if differences.len() < 4 || 8 * differences.len() < places.len() {
            return None;
        }
        Some((agreed(&mut differences).abs() / FULL).min(1.0))
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

fn middle_one(mut levels: [f64; BESIDE_MM.len()]) -> f64 {
    levels.sort_by(f64::total_cmp);
    levels[BESIDE_MM.len() / 2]
}

/// The difference that all but [`DISSENT`] of the places show at least; 0 when they disagree in sign.
fn agreed(differences: &mut [f64]) -> f64 {
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
