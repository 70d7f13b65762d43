//! One profile across a side, from inside to outside: its steps, and which of them the sheet ends at.

use super::fine::NEAR_STACK_MM;

/// Gap between the inner and the outer of two steps of opposite sign that one burr makes, mm.
const BURR_MM: f64 = 0.5;
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

/// Where the sheet ends on all profiles together.
pub(super) struct End {
    /// Outward, mm.
    pub(super) out: f64,
    /// Slope of the light there, a step of the profile.
    pub(super) slope: f64,
    /// Standard deviation of what cannot be told from the picture, mm.
    pub(super) doubt_mm: f64,
    /// How far beyond it a second step could as well be the sheet's end, mm.
    pub(super) second_mm: Option<f64>,
}

/// Where the sheet ends on a stacked profile; `None` when nothing steps on it. `wall`: how wide the side
/// wall shows, mm; `hidden`: what share of that is in doubt if it does not show.
pub(super) fn sheet_end(profile: &Profile, wall: f64, px_per_mm: f64, hidden: f64) -> Option<End> {
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
        hidden * wall
    } else if steps_of(&d, WALL_END * strongest)
        .iter()
        .any(|&i| i > chosen && near_wall(far(i)))
    {
        (WALL_BLEND * wall).min(WALL_BLEND_PX / px_per_mm)
    } else {
        hidden * wall
    };
    // A bright burr before a bright bench: only its inner step shows.
    let burr = d[chosen] > 0.0
        && d.iter()
            .enumerate()
            .any(|(i, v)| i > chosen && far(i) < BURR_MM && *v < -BURR_DIP * strongest);
    let doubt_mm = doubt_mm.hypot(if burr { BURR_MM / 12f64.sqrt() } else { 0.0 });
    let second_mm = steps
        .iter()
        .filter(|&&i| i > chosen && d[i] * d[chosen] > 0.0)
        .filter(|&&i| d[i].abs() > SECOND * d[chosen].abs())
        .filter(|&&i| far(i) > BURR_MM && !(wall > 0.0 && near_wall(far(i))))
        .find(|&&i| {
            let back = SECOND_BACK * d[i].abs().max(d[chosen].abs());
            !d[chosen..i]
                .iter()
                .any(|v| v * d[chosen] < 0.0 && v.abs() > back)
        })
        .map(|&i| far(i));
    Some(End {
        out: profile.place(middle_of(&d, chosen)),
        slope: d[chosen],
        doubt_mm,
        second_mm,
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
pub(super) fn edge_in(profile: &Profile) -> Option<f64> {
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
        let end = sheet_end(&walled, 0.4, px_per_mm, WALL_HIDDEN).unwrap();
        assert!((end.out + 0.2).abs() < PLACE_MM, "{}", end.out);
        assert!(end.doubt_mm < 0.1, "both steps show: {}", end.doubt_mm);
        // Without a wall in view the same two steps are a burr and the sheet's end.
        let burr = sheet_end(&walled, 0.0, px_per_mm, WALL_HIDDEN).unwrap();
        assert!((burr.out - 0.2).abs() < PLACE_MM, "{}", burr.out);
    }

    #[test]
    fn a_wall_that_does_not_show_is_doubt() {
        let plain = profile(|x| if x < 0.1 { 0.5 } else { 0.02 });
        let end = sheet_end(&plain, 0.4, 10.0, WALL_HIDDEN).unwrap();
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
        let end = sheet_end(&profile(on_mat), 0.0, 10.0, WALL_HIDDEN).unwrap();
        assert!(end.out.abs() < PLACE_MM, "{}", end.out);
    }

    #[test]
    fn a_template_that_ends_before_the_metal_leaves_two_ends() {
        let paper_on_metal = |x: f64| match x {
            x if x < 0.0 => 0.8,
            x if x < 1.2 => 0.45,
            _ => 0.02,
        };
        let end = sheet_end(&profile(paper_on_metal), 0.0, 10.0, WALL_HIDDEN).unwrap();
        assert!(end.out.abs() < PLACE_MM, "{}", end.out);
        assert!(
            (end.second_mm.unwrap() - 1.2).abs() < 0.1,
            "{:?}",
            end.second_mm
        );
        // A wall of that width, a shadow and a bench's line are none.
        let walled = sheet_end(&profile(paper_on_metal), 1.2, 10.0, WALL_HIDDEN).unwrap();
        assert_eq!(walled.second_mm, None);
        let shadow = |x: f64| match x {
            x if x < 0.0 => 0.8,
            x if x < 1.2 => 0.1,
            _ => 0.4,
        };
        let end = sheet_end(&profile(shadow), 0.0, 10.0, WALL_HIDDEN).unwrap();
        assert_eq!(end.second_mm, None);
        let line = |x: f64| match x {
            x if x < 0.0 => 0.5,
            x if (0.6..1.0).contains(&x) => 0.5,
            _ => 0.1,
        };
        let end = sheet_end(&profile(line), 0.0, 10.0, WALL_HIDDEN).unwrap();
        assert_eq!(end.second_mm, None);
    }

    #[test]
    fn a_plain_surface_has_no_edge() {
        let bare = profile(|x| 0.4 + 0.001 * x);
        assert!(sheet_end(&bare, 0.0, 10.0, WALL_HIDDEN).is_none());
        assert!(edge_in(&profile(|x| 0.4 + 0.001 * x)).is_none());
    }
}
