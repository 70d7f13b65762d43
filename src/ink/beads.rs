//! Dots on ruled lines.
//!
//! Of a dot hardly wider than its line, or of like ink, little shows beside the line. So the line is explained first: how its
//! ink lies across it, slice by slice, as the median over some millimetres to both sides tells. What is over that, in a stretch
//! as short as a dot, is a bead; how much counts is measured against how much the same line varies elsewhere: a fine pen along
//! a steel rule varies little, a worn one a lot. Whether a bead is this pen's dot is for the pen to say.

use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::Doubt;
use super::MarkKind;
use super::lines::Line;
use super::name::{FlatMark, Name};
use super::picture::Picture;
use super::place;

/// How far beside the line's rim ink still counts as its dot's, mm: the widest dot that is not seen by itself.
const BESIDE_MM: f64 = 0.8;
/// The line's own ink is its median over this far to both sides, mm, worked out so often, mm: four fine dots fit in, so that one
/// has no say, and where the pen was pressed for longer the line is wider and no dot.
const AROUND_MM: f64 = 1.8;
const NODE_MM: f64 = 0.5;
/// So much of that must be seen, as a share.
const KNOWN: f64 = 0.6;
/// Half the stretch over which ink is added up along the line, mm: a fine dot.
const HALF_DOT_MM: f64 = 0.25;
/// Longest bead, mm; where more is thick the pen lingered.
const LONGEST_MM: f64 = 2.0;
/// The pen rests at the ends of a line, and of each piece of a broken one, and leaves a blot there, mm.
const END_MM: f64 = 0.9;
/// Standard deviations of the line's own variation from which a bead is no chance: on a line of 300 mm there are some
/// thousand independent places.
const SIGMAS: f64 = 4.0;
/// Where a slice has less than this share of the line's usual ink the line pauses.
const PAUSE: f64 = 0.3;
/// Less than this of the face's light, over a dot's stretch, is rounding and the file's blocks.
const LEAST: f64 = 0.02;
/// Blur's skirt beyond that, to each side, px.
const SKIRT: usize = 2;
/// A bead goes as far as it has this share of its most.
const GOES_ON: f64 = 0.3;

/// A bead is so many times longer than the disc of its ink at most, for dots are no discs quite, and by blur, px.
const LONG: f64 = 1.25;
const BLUR_PX: f64 = 3.0;

/// So many marks with arms, and this share of a line's, show that a hand sets out with crosses; their arms are no larger than
/// the usual one by this factor.
const FEWEST_CROSSES: usize = 3;
const SHARE_OF_CROSSES: f64 = 0.4;
const ARM: f64 = 1.5;
/// A bead this near to what hides its line comes out from under that, mm.
const NEAR_MM: f64 = 0.6;

/// The beads on the lines, each with how dark its line is there. `taken`: for each line, where along it something else was drawn
/// that explains the ink, px; `rings`: and where that is a ring, which has no arms along a line.
pub(super) fn find(
    picture: &Picture,
    lines: &[Line],
    taken: &[Vec<[f64; 2]>],
    rings: &[Vec<[f64; 2]>],
) -> Vec<(Name, f64)> {
    let mut found = Vec::new();
    for (number, line) in lines.iter().enumerate() {
        let crossed = |s: f64| {
            let p = line.point(s, 0.0);
            lines.iter().enumerate().any(|(other, l)| {
                let (along, across) = l.local(p);
                let clear = l.half + line.half + 0.3 * picture.scale;
                other != number
                    && across.abs() < clear
                    && along > l.span[0] - clear
                    && along < l.span[1] + clear
            })
        };
        let within = |all: &[[f64; 2]], s: f64| all.iter().any(|t| s > t[0] && s < t[1]);
        let may_have_arms = |s: f64| within(&taken[number], s) || crossed(s);
        let band = Band::of(picture, line, |s| {
            match (may_have_arms(s), within(&rings[number], s)) {
                (true, _) => Free::Mark,
                (_, true) => Free::Ring,
                _ => Free::Line,
            }
        });
        found.extend(band.beads(picture, line));
    }
    found
}

/// What a slice of a line shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Free {
    /// The line, and beads on it.
    Line,
    /// A mark that stands on it, which may have arms along it.
    Mark,
    /// A ring that crosses it.
    Ring,
}

/// The ink of a line and beside it, slice by slice.
struct Band {
    /// Place along of the first slice, px; the others follow a pixel apart.
    first: f64,
    /// Places across, from -reach to reach, a pixel apart.
    reach: i32,
    /// Ink of each slice at each place across; the line's own is taken off in `extra`.
    ink: Vec<f32>,
    /// What of each slice is over the line's own, summed across; nothing where something else is drawn.
    extra: Vec<Option<f64>>,
    /// What each slice shows.
    free: Vec<Free>,
    /// The line's own ink across, at every node.
    own: Vec<Vec<f32>>,
    node: usize,
}

impl Band {
    fn of(picture: &Picture, line: &Line, shows: impl Fn(f64) -> Free) -> Self {
        let mm = picture.scale;
        let reach = (line.half + BESIDE_MM * mm).ceil() as i32;
        let wide = (2 * reach + 1) as usize;
        let first = (line.span[0] - END_MM * mm).ceil();
        let count = (line.span[1] + END_MM * mm - first).max(0.0) as usize;
        let mut ink = vec![0.0f32; count * wide];
        ink.par_chunks_mut(wide).enumerate().for_each(|(i, slice)| {
            for (k, v) in slice.iter_mut().enumerate() {
                let t = f64::from(k as i32 - reach);
                *v = picture.smooth_contrast(line.point(first + i as f64, t)) as f32;
            }
        });
        let free: Vec<Free> = (0..count).map(|i| shows(first + i as f64)).collect();
        let (node, around) = (((NODE_MM * mm) as usize).max(1), (AROUND_MM * mm) as usize);
        let inside = |i: usize| {
            let s = first + i as f64;
            s > line.span[0] + 1.0 && s < line.span[1] - 1.0
        };
        let own: Vec<Vec<f32>> = (0..count.div_ceil(node))
            .into_par_iter()
            .map(|n| {
                let at = n * node;
                // Where marks and rings hide most of it, the line further off tells.
                let within = |around: usize| -> Vec<usize> {
                    (at.saturating_sub(around)..(at + around + 1).min(count))
                        .step_by(2)
                        .filter(|&i| free[i] == Free::Line && inside(i))
                        .collect()
                };
                let near = [1, 3, 9]
                    .map(|wider| within(wider * around))
                    .into_iter()
                    .find(|near| near.len() as f64 > KNOWN * around as f64)
                    .unwrap_or_else(|| within(count));
                (0..wide)
                    .map(|k| median(near.iter().map(|&i| f64::from(ink[i * wide + k]))) as f32)
                    .collect()
            })
            .collect();
        let mut band = Self {
            first,
            reach,
            ink,
            extra: Vec::new(),
            free,
            own,
            node,
        };
        band.extra = (0..count)
            .map(|i| (band.free[i] == Free::Line).then(|| band.over(line, i).iter().sum()))
            .collect();
        band
    }

    fn wide(&self) -> usize {
        (2 * self.reach + 1) as usize
    }

    /// What of slice `i` is over the line's own, across. Beyond the line's ends, which are not sharp, as much of the line is taken
    /// to go on as its axis shows.
    fn over(&self, line: &Line, i: usize) -> Vec<f64> {
        let own = &self.own[(i / self.node).min(self.own.len() - 1)];
        let s = self.first + i as f64;
        let beyond = s < line.span[0] || s > line.span[1];
        let ink = &self.ink[i * self.wide()..(i + 1) * self.wide()];
        let share = if beyond {
            let half = line.half.ceil() as i32;
            let axis = (self.reach - half).max(0) as usize..(self.reach + half + 1) as usize;
            let pairs = ink[axis.clone()].iter().zip(&own[axis]);
            let (both, alone) = pairs.fold((0.0, 0.0), |(both, alone), (&v, &o)| {
                let (v, o) = (f64::from(v), f64::from(o));
                (both + v * o, alone + o * o)
            });
            (both / f64::max(alone, 1e-9)).clamp(0.0, 1.0)
        } else {
            1.0
        };
        ink.iter()
            .zip(own)
            .map(|(&v, &o)| f64::from(v) - share * f64::from(o))
            .collect()
    }

    fn beads(&self, picture: &Picture, line: &Line) -> Vec<(Name, f64)> {
        let mm = picture.scale;
        let count = self.extra.len();
        let half = ((HALF_DOT_MM * mm).round() as usize).max(1);
        let sums: Vec<Option<f64>> = (0..count)
            .map(|i| {
                let near = self.extra.get(i.checked_sub(half)?..=i + half)?;
                near.iter().copied().sum::<Option<f64>>()
            })
            .collect();
        // Of a line that other things hide for the most part nothing can be said.
        if sums.iter().flatten().count() * 4 < count {
            return Vec::new();
        }
        let sigma = 1.4826 * median(sums.iter().flatten().map(|v: &f64| v.abs()));
        let least = (SIGMAS * sigma).max(LEAST * mm * mm * 2.0 * HALF_DOT_MM * 0.5);
        let mut order: Vec<(f64, usize)> = sums
            .iter()
            .enumerate()
            .filter_map(|(i, v)| v.filter(|v| *v > least).map(|v| (v, i)))
            .collect();
        order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut done: Vec<[usize; 2]> = Vec::new();
        let mut found: Vec<((Name, f64), [usize; 2])> = Vec::new();
        for (_, i) in order {
            if done
                .iter()
                .any(|d| i + 2 * half + SKIRT > d[0] && i < d[1] + 2 * half + SKIRT)
            {
                continue;
            }
            let span = self.span(i);
            done.push(span);
            if (span[1] - span[0]) as f64 <= LONGEST_MM * mm {
                found.extend(self.bead(picture, line, span, sigma).map(|b| (b, span)));
            }
        }
        self.without_arms(mm, found)
    }

    /// Leaves out the arms of crosses that stand on the line: they come out along it to both sides from under the stroke
    /// across. What comes out on one side alone may be a dot that touches, and is no sure one.
    fn without_arms(&self, mm: f64, found: Vec<((Name, f64), [usize; 2])>) -> Vec<(Name, f64)> {
        let spans: Vec<[usize; 2]> = found.iter().map(|(_, span)| *span).collect();
        let hidden = |i: usize| self.free.get(i) == Some(&Free::Mark);
        let near = (NEAR_MM * mm) as usize;
        // From which slice to before which something else hides the line, on this side of a bead.
        let touching = |[from, to]: [usize; 2]| -> Option<[usize; 2]> {
            let after = (to..to + near).find(|&i| hidden(i));
            let before = (from.saturating_sub(near)..from).rev().find(|&i| hidden(i));
            // Between two marks that near it comes out from under neither.
            let at = match (before, after) {
                (Some(at), None) | (None, Some(at)) => at,
                _ => return None,
            };
            let end = (at..self.extra.len()).find(|&i| !hidden(i));
            let start = (0..at).rev().find(|&i| !hidden(i)).map_or(0, |i| i + 1);
            Some([start, end.unwrap_or(self.extra.len())])
        };
        let (mut left, others) = (Vec::new(), |span: [usize; 2], gap: [usize; 2]| {
            let beside =
                |s: &[usize; 2]| s[1].abs_diff(gap[0]) <= near || s[0].abs_diff(gap[1]) <= near;
            let other_side = |s: &&[usize; 2]| **s != span && beside(s);
            spans.iter().any(|s| other_side(&s))
        });
        let gaps = 1
            + (1..self.extra.len())
                .filter(|&i| hidden(i) && !hidden(i - 1))
                .count();
        let mut touched: Vec<[usize; 2]> = spans.iter().filter_map(|s| touching(*s)).collect();
        touched.sort_unstable();
        touched.dedup();
        let of_crosses = touched.len() >= FEWEST_CROSSES
            && touched.len() as f64 > SHARE_OF_CROSSES * gaps as f64;
        let size = |name: &Name| match name {
            Name::Mark(m) | Name::Doubtful(m, _) => m.size_mm,
            _ => 0.0,
        };
        let with_span = found.iter().filter(|(_, s)| touching(*s).is_some());
        let usual = median(with_span.map(|((name, _), _)| size(name)));
        for ((name, dark), span) in found {
            match (touching(span), name) {
                (Some(gap), _) if others(span, gap) => {}
                // Where crosses are the habit what is no larger than their arms is one.
                (Some(_), name) if of_crosses && size(&name) < ARM * usual => {}
                (Some(_), Name::Mark(m)) => left.push((Name::Doubtful(m, Doubt::FromUnder), dark)),
                (_, name) => left.push((name, dark)),
            }
        }
        left
    }

    /// From which slice to before which the bead round slice `i` goes.
    fn span(&self, i: usize) -> [usize; 2] {
        let top = (i.saturating_sub(2)..(i + 3).min(self.extra.len()))
            .filter_map(|k| self.extra[k])
            .fold(0.0, f64::max);
        let over = |k: usize| self.extra[k].is_some_and(|e| e > GOES_ON * top);
        let from = (0..i).rev().find(|&k| !over(k)).map_or(0, |k| k + 1);
        let to = (i..self.extra.len())
            .find(|&k| !over(k))
            .unwrap_or(self.extra.len());
        [from, to.max(i + 1)]
    }

    /// The spot that a bead is: with the disc whose ink would be over the line's by as much.
    fn bead(
        &self,
        picture: &Picture,
        line: &Line,
        [from, to]: [usize; 2],
        sigma: f64,
    ) -> Option<(Name, f64)> {
        let mm = picture.scale;
        let (low, high) = (
            from.saturating_sub(SKIRT),
            (to + SKIRT).min(self.extra.len()),
        );
        let across = |k: usize| f64::from(k as i32 - self.reach);
        let (mut mass, mut along, mut aside) = (0.0, 0.0, 0.0);
        for i in low..high {
            for (k, v) in self.over(line, i).into_iter().enumerate() {
                mass += v;
                along += v * i as f64;
                aside += v * across(k);
            }
        }
        if mass <= 0.0 {
            return None;
        }
        let (i0, mut t) = (along / mass, aside / mass);
        let middle = (i0.round() as usize).clamp(low, high - 1);
        // The bead's own profile across, over its middle.
        let near = middle.saturating_sub(1)..(middle + 2).min(self.extra.len());
        let n = near.len() as f64;
        let profile: Vec<f64> = (0..self.wide())
            .map(|k| {
                let sum: f64 = near
                    .clone()
                    .map(|i| f64::from(self.ink[i * self.wide() + k]))
                    .sum();
                sum / n
            })
            .collect();
        let darkness = profile
            .windows(3)
            .map(|w| w.iter().sum::<f64>() / 3.0)
            .fold(0.0, f64::max);
        let own = &self.own[(middle / self.node).min(self.own.len() - 1)];
        let line_dark = f64::from(own.iter().copied().fold(0.0, f32::max));
        let line_wide =
            own.iter().map(|&v| f64::from(v).max(0.0)).sum::<f64>() / line_dark.max(1e-3);
        let s = self.first + i0;
        let is_end = s < line.span[0] + END_MM * mm
            || s > line.span[1] - END_MM * mm
            || self.pauses(middle, (END_MM * mm) as usize);
        let diameter = disc(mass, darkness, line_dark, line_wide, t);
        // A disc's ink reaches no further than itself and the photo's blur: what does is the pen's pressure.
        if (to - from) as f64 > LONG * diameter + BLUR_PX {
            return None;
        }
        // Where line and spot are of like ink only what stands out of the line shows, and the rims say where the spot is.
        if line_dark > 0.5 * darkness {
            let rim = |side: f64| self.rim(&profile, side, darkness / 2.0);
            let (top, bottom) = (rim(1.0), rim(-1.0));
            let out = [top - line_wide / 2.0, -bottom - line_wide / 2.0].map(|o| o > 0.5);
            t = match out {
                [true, false] => top - diameter / 2.0,
                [false, true] => bottom + diameter / 2.0,
                _ => f64::midpoint(top, bottom),
            };
        }
        let u_along = sigma * (to - from) as f64 / (12f64.sqrt() * mass);
        let u_across = if line_dark > 0.5 * darkness {
            0.2 + 0.05 * diameter
        } else {
            u_along
        };
        let turn = Matrix2::from_columns(&[line.along, Vector2::new(-line.along.y, line.along.x)]);
        let cov =
            turn * Matrix2::new(
                u_along.powi(2),
                0.0,
                0.0,
                u_across.powi(2).max(line.sigma.powi(2)),
            ) * turn.transpose()
                + Matrix2::identity() * place::floor(picture);
        let dot = FlatMark {
            at: line.point(s, t),
            cov,
            kind: MarkKind::Dot,
            size_mm: diameter / mm,
            ringed: false,
            crossed_out: false,
            strokes: Vec::new(),
            probability: 1.0,
        };
        let name = if is_end {
            Name::Doubtful(dot, Doubt::AtLineEnd)
        } else {
            Name::Mark(dot)
        };
        Some((name, line_dark))
    }

    /// Whether the line pauses within so many slices.
    fn pauses(&self, i: usize, reach: usize) -> bool {
        let own = &self.own[(i / self.node).min(self.own.len() - 1)];
        let usual: f64 = own.iter().map(|&v| f64::from(v)).sum();
        let near = i.saturating_sub(reach)..(i + reach + 1).min(self.extra.len());
        let part = (reach / 3).max(1);
        let mean = |w: &[Option<f64>]| Some(w.iter().copied().sum::<Option<f64>>()? / part as f64);
        let bare = |w: &[Option<f64>]| mean(w).is_some_and(|m| m < (PAUSE - 1.0) * usual);
        self.extra[near].windows(part).any(bare)
    }

    /// Where, going out from the axis on one side, the ink falls to `level`.
    fn rim(&self, profile: &[f64], side: f64, level: f64) -> f64 {
        let at = |k: i32| profile[(self.reach + k * side as i32).clamp(0, 2 * self.reach) as usize];
        let out = (0..=self.reach)
            .find(|&k| at(k) < level)
            .unwrap_or(self.reach);
        let (inner, outer) = (at((out - 1).max(0)), at(out));
        let part = if inner > outer {
            (inner - level) / (inner - outer)
        } else {
            0.0
        };
        side * (f64::from((out - 1).max(0)) + part.clamp(0.0, 1.0))
    }
}

/// Diameter of the disc that adds `mass` to a line: its own ink, less the line's where it lies over that. All in px; darkness
/// as shares of the face's light. Ink over ink is as dark as the darker one.
pub(super) fn disc(mass: f64, darkness: f64, line_dark: f64, line_wide: f64, t: f64) -> f64 {
    let adds = |d: f64| {
        const PARTS: i32 = 24;
        let step = d / f64::from(PARTS);
        let covered: f64 = (0..PARTS)
            .map(|k| {
                let x = (f64::from(k) + 0.5) * step - d / 2.0;
                let half = (d * d / 4.0 - x * x).max(0.0).sqrt();
                let over = (t + half).min(line_wide / 2.0) - (t - half).max(-line_wide / 2.0);
                over.max(0.0) * step
            })
            .sum();
        darkness * std::f64::consts::FRAC_PI_4 * d * d - line_dark.min(darkness) * covered
    };
    let (mut low, mut high) = (0.0, 60.0);
    for _ in 0..40 {
        let d = f64::midpoint(low, high);
        if adds(d) < mass {
            low = d;
        } else {
            high = d;
        }
    }
    f64::midpoint(low, high)
}

/// The middle one of some values, the upper of two; 0 of none.
pub(super) fn median(values: impl Iterator<Item = f64>) -> f64 {
    // Slices come without saying how many: they are some fifty.
    let mut v: Vec<f64> = Vec::with_capacity(64);
    v.extend(values);
    let middle = v.len() / 2;
    if v.is_empty() {
        return 0.0;
    }
    *v.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::super::flat;
    use crate::frame::Point;
    use image::{GrayImage, Luma};

    const PX_PER_MM: f64 = 12.0;

    /// A line 0.45 mm wide at y = 10 mm with discs on it, drawn by coverage and with noise; mm.
    fn ruled(discs: &[(f64, f64)]) -> GrayImage {
        let mut seed = 7u64;
        GrayImage::from_fn(720, 240, |x, y| {
            let mut covered = 0.0;
            for i in 0..16 {
                let (u, v) = (f64::from(i % 4) + 0.5, f64::from(i / 4) + 0.5);
                let (px, py) = (
                    (f64::from(x) + u / 4.0) / PX_PER_MM,
                    (f64::from(y) + v / 4.0) / PX_PER_MM,
                );
                let on_line = (py - 10.0).abs() < 0.225 && px > 4.0 && px < 56.0;
                let on_disc = discs
                    .iter()
                    .any(|(at, d)| (px - at).hypot(py - 10.0) < d / 2.0);
                covered += if on_line || on_disc { 1.0 / 16.0 } else { 0.0 };
            }
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let noise = ((seed >> 33) % 13) as f64 - 6.0;
            Luma([(180.0 - 110.0 * covered + noise) as u8])
        })
    }

    #[test]
    fn dots_a_little_wider_than_their_line_are_found_and_a_bare_line_has_none() {
        let near = |p: f64, at: f64| (p / PX_PER_MM - at).abs() < 0.06;
        let planned = [vec![20.0, 33.3]
            .into_iter()
            .map(|x| Point::new(x * PX_PER_MM, 10.0 * PX_PER_MM))
            .collect()];
        let read = flat::read(&ruled(&[(20.0, 0.7), (33.3, 0.62)]), PX_PER_MM, &planned);
        let marks: Vec<f64> = read.marks.iter().map(|m| m.at.x).collect();
        assert!(
            marks.len() == 2 && near(marks[0], 20.0) && near(marks[1], 33.3),
            "{marks:?}"
        );
        assert!(read.unsure.is_empty(), "{:?}", read.unsure);
        let bare = flat::read(&ruled(&[]), PX_PER_MM, &[]);
        assert_eq!(bare.lines.len(), 1);
        assert!(bare.marks.is_empty() && bare.unsure.is_empty(), "{bare:?}");
    }
}
