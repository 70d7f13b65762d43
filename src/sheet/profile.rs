//! One profile across a side, from inside to outside: its steps, and which of them the sheet ends at.

use super::fine::NEAR_STACK_MM;

/// Most of what a bright rim, filed, sheared or burred, is wide, mm.
pub(super) const BURR_MM: f64 = 0.5;
/// A step this strong against the strongest of its profile may be the edge.
const STRONG_ENOUGH: f64 = 0.35;
/// A step of all profiles together this strong against their strongest may be the edge; and this strong
/// against their mean light it is one at all.
const STACK_STRONG: f64 = 0.3;
const STACK_LEAST: f64 = 0.006;
/// A step is that only if so many times as steep as most of the bare face is.
const OVER_BARE: f64 = 4.0;
/// How far inside the rough line the sheet may end, mm: something stronger lies so near beyond its edge.
const INNER_MM: f64 = 0.8;
/// Narrower than this, px, a side wall blends with what is beside it.
const WALL_PX: f64 = 1.5;
/// A step beyond the edge, this strong against the strongest, shows where the side wall ends.
const WALL_END: f64 = 0.08;
/// Where only one step shows, the standard deviation of what the wall moves it, share of its width: a dark wall
/// moves it not at all, a bright one by most of its width.
pub(super) const WALL_HIDDEN: f64 = 0.4;
/// The same where face and bench are told apart by their colour: a wall painted like the face is taken for it by all of
/// its width, and any other by a part of that, all alike likely.
pub(super) const WALL_ALIKE: f64 = 0.577;
/// A step beyond the edge of the same sign, this strong against it, may as well be the sheet's end: what ends before is
/// then a template, a film or a tape on it. Not so with a step the other way between that is this strong against the
/// stronger: then the edge's shadow ends there, or a line of the bench begins.
const SECOND: f64 = 0.4;
const SECOND_BACK: f64 = 0.35;
/// Where both its steps show, their blur still moves the inner one by up to this share of its width.
const WALL_BLEND: f64 = 0.15;
/// And by no more than this, px: two blurred steps show as two from some two blurs apart, and the further apart the
/// less they mix.
const WALL_BLEND_PX: f64 = 0.35;
/// Light from which on a level is clipped, share of the file's brightest, and how far beside a step it is looked for, px.
const CLIPPED: f64 = 0.93;
const CLIPPED_PX: usize = 2;
/// Where the bright side of a step is clipped, its half-way level is not that of the light: so much brighter than shown,
/// once to four times, as it may be, the edge lies so far towards it, px of a blur of one pixel, and that is so unsure.
const CLIPPED_BY_PX: f64 = 0.5;
const CLIPPED_SD_PX: f64 = 0.35;
/// The outer of two steps of the same sign is a burr's only if it is this strong against the inner.
const BURR_OUTER: f64 = 0.6;
/// A dip this strong against the strongest step, after a rise, shows a burr as bright as the bench.
const BURR_DIP: f64 = 0.05;

/// Linear light from inside to outside.
pub(super) struct Profile {
    pub(super) levels: Vec<f64>,
    pub(super) step: f64,
    pub(super) first: f64,
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

    /// Whether what lies inside and outside differs, the way that a slope says.
    pub(super) fn differs(&self, slope: f64) -> bool {
        let side = |inner: bool| {
            let far = |i: &usize| {
                let place = self.first + *i as f64 * self.step;
                if inner {
                    place < -RIM_MM
                } else {
                    place > RIM_MM
                }
            };
            let mut levels: Vec<f64> = (0..self.levels.len())
                .filter(far)
                .map(|i| self.levels[i])
                .collect();
            levels.sort_by(f64::total_cmp);
            levels.get(levels.len() / 2).copied()
        };
        let (Some(inside), Some(outside)) = (side(true), side(false)) else {
            return false;
        };
        (outside - inside) * slope.signum() > DIFFERENT * inside.max(outside)
    }

    pub(super) fn mean(&self) -> f64 {
        self.levels.iter().sum::<f64>() / self.levels.len() as f64
    }
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

/// Nearer to the edge than this, mm, is no face nor bench yet; and as different as this share of the brighter are face
/// and bench.
const RIM_MM: f64 = 0.4;
const DIFFERENT: f64 = 0.1;

/// The profiles as one: the middle level at each distance. They must have the same step.
pub(super) fn stacked(profiles: &[(f64, Profile)]) -> Option<Profile> {
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

/// Where the sheet may end on all profiles of a stretch together.
#[derive(Debug, Clone, Copy)]
pub(super) struct End {
    /// The step that shows it, mm outward.
    pub(super) out: f64,
    /// Slope of the light there, a step of the profile.
    pub(super) slope: f64,
    /// How far outward of that step the face ends, mm.
    pub(super) beyond_mm: f64,
    /// How much brighter the rim before it is than the face, as a share of the rim's light; 0 where none shines.
    pub(super) rim: f64,
    /// How wide that rim is, mm.
    pub(super) band_mm: f64,
    /// Standard deviation of what cannot be told from the picture, mm.
    pub(super) doubt_mm: f64,
    /// How far beyond it, or within, a second step could as well be the sheet's end, mm.
    pub(super) second_mm: Option<f64>,
    /// How far outward of this the face may as well end, mm.
    pub(super) other_mm: Option<f64>,
}

/// Where the sheet ends on a stacked profile; `None` when nothing steps on it. Of two places that may be it the middle.
pub(super) fn sheet_end(profile: &Profile, wall: f64, px_per_mm: f64, hidden: f64) -> Option<End> {
    let ends = sheet_ends(profile, wall, px_per_mm, hidden);
    ends.first().map(End::amid)
}

impl End {
    /// Amid this and the other place where the face may as well end.
    pub(super) fn amid(&self) -> Self {
        let apart = self.other_mm.unwrap_or(0.0);
        Self {
            beyond_mm: self.beyond_mm + apart / 2.0,
            // Either is as likely, and so is all between them.
            doubt_mm: self.doubt_mm.hypot(apart / 12f64.sqrt()),
            other_mm: None,
            ..*self
        }
    }
}

/// Where the sheet may end on a stacked profile, from inside to outside; nothing when nothing steps on it. `wall`: how
/// wide the side wall shows, mm; `hidden`: what share of that is in doubt if it does not show.
///
/// Going outward there come the face, a rim that is filed or sheared and shines (or not), the side wall where the camera
/// sees it, and the bench with the sheet's shadow. A bright rim ends where the face does, so the fall behind it is the
/// edge. A bright band as wide as the wall may be that as well as a rim before a dark wall: other stretches of the side
/// must tell, where the rim shines otherwise.
pub(super) fn sheet_ends(profile: &Profile, wall: f64, px_per_mm: f64, hidden: f64) -> Vec<End> {
    let d = profile.sharp_slopes();
    let strongest = d.iter().map(|v| v.abs()).fold(0.0, f64::max);
    if strongest < STACK_LEAST * profile.mean() {
        return Vec::new();
    }
    let resolved = wall * px_per_mm > WALL_PX;
    let mut bare: Vec<f64> = d[..d.len() / 3].iter().map(|v| v.abs()).collect();
    bare.sort_by(f64::total_cmp);
    let least = (STACK_STRONG * strongest)
        .max(STACK_LEAST * profile.mean())
        .max(OVER_BARE * bare[bare.len() / 2]);
    let mut steps = steps_of(&d, least);
    let near = |i: &usize| profile.place(*i as f64) > -INNER_MM.max(wall + NEAR_STACK_MM);
    let inner: Vec<usize> = steps.iter().copied().filter(|i| !near(i)).collect();
    steps.retain(near);
    let Some(&first) = steps.first() else {
        return Vec::new();
    };
    let found = Steps {
        profile,
        d: &d,
        strong: &steps,
        inner: &inner,
        strongest,
        wall,
        slack: 0.3 * wall + 0.7 / px_per_mm,
    };
    // From the face to the wall, and from the wall to the bench: both show, or only one of them.
    let wall_doubt = |from: usize| {
        if resolved && found.wall_ends_after(from) {
            (WALL_BLEND * wall).min(WALL_BLEND_PX / px_per_mm)
        } else {
            hidden * wall
        }
    };
    let visible = if resolved { wall } else { 0.0 };
    let Some(fall) = behind_rim(&d, &steps, profile.step, visible) else {
        let chosen = past_burr(&d, &steps, profile.step, visible, px_per_mm).unwrap_or(first);
        // A bright burr before a bright bench: only its inner step shows.
        let burr = d[chosen] > 0.0
            && d.iter().enumerate().any(|(i, v)| {
                i > chosen && found.gap(chosen, i) < BURR_MM && *v < -BURR_DIP * strongest
            });
        let of_burr = if burr { BURR_MM / 12f64.sqrt() } else { 0.0 };
        if !resolved || found.wall_ends_after(chosen) {
            return vec![found.end(chosen, wall_doubt(chosen).hypot(of_burr))];
        }
        // A wall as bright as the face is taken for it, and what shows is where the wall ends; a wall as dark as the
        // bench for that.
        let outer = found.end(chosen, of_burr);
        let inner = End {
            beyond_mm: outer.beyond_mm - wall,
            other_mm: Some(wall),
            ..outer
        };
        let outer = End {
            other_mm: Some(-wall),
            ..outer
        };
        return vec![outer, inner];
    };
    let band = found.gap(first, fall);
    let behind = |doubt_mm| End {
        rim: found.shines(first, fall),
        band_mm: band,
        ..found.end(fall, doubt_mm)
    };
    if !resolved || found.wall_ends_after(fall) {
        return vec![behind(wall_doubt(fall))];
    }
    if band < wall - found.slack {
        // A shining wall would be part of the band: it is dark, as what is behind it.
        return vec![behind(0.0)];
    }
    if band < wall + found.slack {
        let blend = (WALL_BLEND * wall).min(WALL_BLEND_PX / px_per_mm);
        let may = |at, other_mm| End {
            other_mm: Some(other_mm),
            ..found.end(at, blend)
        };
        return vec![may(first, band), may(fall, -band)];
    }
    // Rim and wall shine alike, or the rim alone: the face ends anywhere between.
    let outer = behind(wall / 12f64.sqrt());
    vec![End {
        beyond_mm: outer.beyond_mm - wall / 2.0,
        ..outer
    }]
}

/// The steps of a stacked profile.
struct Steps<'a> {
    profile: &'a Profile,
    d: &'a [f64],
    strong: &'a [usize],
    /// Steps too far inside to be the edge of the rough line.
    inner: &'a [usize],
    strongest: f64,
    wall: f64,
    /// By how much a width may differ from the wall's, mm.
    slack: f64,
}

impl Steps<'_> {
    fn gap(&self, from: usize, to: usize) -> f64 {
        (to as f64 - from as f64) * self.profile.step
    }

    /// How much brighter than the face the band between two slopes is, as a share of its light.
    fn shines(&self, from: usize, to: usize) -> f64 {
        // The slope of a place is two levels on.
        let levels = &self.profile.levels;
        let highest = levels[from + 2..=to + 2]
            .iter()
            .copied()
            .fold(0.0, f64::max);
        let mut face = levels[..=from].to_vec();
        face.sort_by(f64::total_cmp);
        (1.0 - face[face.len() / 2] / highest).max(0.0)
    }

    fn is_wall(&self, gap: f64) -> bool {
        (gap - self.wall).abs() < self.slack
    }

    /// Whether a step shows where the wall behind this one ends.
    fn wall_ends_after(&self, from: usize) -> bool {
        steps_of(self.d, WALL_END * self.strongest)
            .iter()
            .any(|&i| i > from && self.is_wall(self.gap(from, i)))
    }

    fn end(&self, at: usize, doubt_mm: f64) -> End {
        let d = self.d;
        let as_well = |from: usize, to: usize| {
            let i = if from == at { to } else { from };
            let back = SECOND_BACK * d[i].abs().max(d[at].abs());
            d[i] * d[at] > 0.0
                && d[i].abs() > SECOND * d[at].abs()
                && !d[from..to]
                    .iter()
                    .any(|v| v * d[at] < 0.0 && v.abs() > back)
        };
        let beyond = self
            .strong
            .iter()
            .filter(|&&i| i > at && self.gap(at, i) > BURR_MM)
            .filter(|&&i| !(self.wall > 0.0 && self.is_wall(self.gap(at, i))))
            .find(|&&i| as_well(at, i))
            .map(|&i| self.gap(at, i));
        let within = self
            .inner
            .iter()
            .find(|&&i| as_well(i, at))
            .map(|&i| self.gap(i, at));
        let second_mm = beyond.or(within);
        // The slope of a place is two levels on, and a pixel two steps.
        let near = (at + 2).saturating_sub(2 * CLIPPED_PX)..=at + 2 + 2 * CLIPPED_PX;
        let levels = self.profile.levels.iter().enumerate();
        let brightest = levels
            .filter(|(i, _)| near.contains(i))
            .map(|(_, l)| *l)
            .fold(0.0, f64::max);
        let (by, sd) = if brightest > CLIPPED {
            let px = 2.0 * self.profile.step;
            (CLIPPED_BY_PX * px, CLIPPED_SD_PX * px)
        } else {
            (0.0, 0.0)
        };
        End {
            out: self.profile.place(middle_of(d, at)),
            slope: d[at],
            // Towards the bright side.
            beyond_mm: by * d[at].signum(),
            rim: 0.0,
            band_mm: 0.0,
            doubt_mm: f64::hypot(doubt_mm, sd),
            second_mm,
            other_mm: None,
        }
    }
}

/// The fall behind a bright rim: the innermost of `steps` rises, and the next falls again so near that it is no thing of
/// the bench's. `wall`: how wide the side wall shows, which may shine as the rim does.
fn behind_rim(d: &[f64], steps: &[usize], step: f64, wall: f64) -> Option<usize> {
    let (&first, &next) = (steps.first()?, steps.get(1)?);
    let gap = (next - first) as f64 * step;
    (d[first] > 0.0 && d[next] < 0.0 && gap < BURR_MM + wall).then_some(next)
}

/// The innermost of `steps`, or the outer step of a burr that begins with it.
///
/// Going outward the sheet's edge comes before its shadow and whatever lies on the bench, so it is the
/// innermost of the strong steps; save that a burr may make a step just before the edge, of the same sign as that. A step
/// as far on as the side wall is wide is the wall's end and no burr's.
fn past_burr(d: &[f64], steps: &[usize], step: f64, wall: f64, px_per_mm: f64) -> Option<usize> {
    let mut chosen = *steps.first()?;
    for &next in &steps[1..] {
        let gap = (next - chosen) as f64 * step;
        // Of the same sign: a bright burr before a bright bench, whose outer step is the edge.
        let same_sign = d[next] * d[chosen] > 0.0 && d[next].abs() > BURR_OUTER * d[chosen].abs();
        let walls_end = wall > 0.0 && (gap - wall).abs() < 0.3 * wall + 0.7 / px_per_mm;
        if gap < BURR_MM && !walls_end && same_sign {
            chosen = next;
        } else {
            break;
        }
    }
    Some(chosen)
}

/// Where the sheet ends on a profile by itself, mm outward of its middle.
pub(super) fn edge_in(profile: &Profile) -> Option<f64> {
    let d = profile.slopes();
    let strongest = d.iter().map(|v| v.abs()).fold(0.0, f64::max);
    // A step of 3 % of the light over a pixel or two is less than grain makes.
    if strongest < 0.012 * profile.mean() {
        return None;
    }
    let steps = steps_of(&d, STRONG_ENOUGH * strongest);
    let chosen = behind_rim(&d, &steps, profile.step, 0.0)
        .or_else(|| past_burr(&d, &steps, profile.step, 0.0, 1.0))?;
    Some(profile.place(middle_of(&d, chosen)))
}

/// The step nearest the middle of a profile that is like `slope`, within `near` mm.
pub(super) fn step_near(profile: &Profile, slope: f64, near: f64) -> Option<f64> {
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

#[cfg(test)]
mod tests;
