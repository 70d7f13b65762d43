//! Dots hardly wider than the ruled line they sit on.
//!
//! Such a dot shows no figure of its own beside the line: all there is of it is a little more ink than
//! the line has to its left and right. So the ink is added up across the line, slice by slice; what is over
//! the line's own amount round about, in a stretch as short as a dot, is a bead. How much counts is measured
//! against how much the same line varies elsewhere: a fine pen along a steel rule varies little, a worn one
//! a lot.

use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::MarkKind;
use super::lines::Line;
use super::name::{FlatMark, Name};
use super::picture::Picture;
use super::place;

/// How far beside the line's rim ink still counts as the line's or its dot's, mm.
const BESIDE_MM: f64 = 0.4;
/// The line's own amount is its median over this far to both sides, mm.
const AROUND_MM: f64 = 4.0;
/// Half the stretch over which ink is added up along the line, mm: a fine dot.
const HALF_DOT_MM: f64 = 0.3;
/// Longest bead, mm; where more is thick the pen lingered.
const LONGEST_MM: f64 = 1.5;
/// A line's end is thick where the pen was set down or lifted, mm.
const END_MM: f64 = 0.9;
/// Standard deviations of the line's own variation from which a bead may be a dot, and from which it is one.
const MAYBE_SIGMAS: f64 = 5.0;
const SURE_SIGMAS: f64 = 7.0;
/// Area of the ink beyond the line's own from which a bead may be a dot, and from which it is one, mm². A disc of 0.65 mm
/// on a line of 0.5 mm shows 0.04 mm² beyond it.
const MAYBE_MM2: f64 = 0.035;
const SURE_MM2: f64 = 0.06;
/// A dot has this much more ink than its line at its widest, as a share of the line's own: a disc of 0.65 mm on a line of
/// 0.5 mm is wider by that, and where ink lets light through it is darker besides. Less is the pen's, or the photo's.
const MORE: f64 = 0.3;
/// Where a slice has less than this share of the line's usual ink the line pauses.
const PAUSE: f64 = 0.3;
/// Where the line round about pauses over more than this share a short piece of it looks like a dot.
const IN_GAP: f64 = 0.5;
/// A dot sits on its line within this, mm.
const ON_LINE_MM: f64 = 0.15;

/// The beads on the lines. `taken`: for each line, where along it something else was drawn that explains the
/// ink, px.
pub(super) fn find(picture: &Picture, lines: &[Line], taken: &[Vec<[f64; 2]>]) -> Vec<Name> {
    let mut found = Vec::new();
    for (number, line) in lines.iter().enumerate() {
        let crossed = |s: f64| {
            let p = line.point(s, 0.0);
            lines.iter().enumerate().any(|(other, l)| {
                let (along, across) = l.local(p);
                let clear = l.half + line.half + (BESIDE_MM + HALF_DOT_MM) * picture.scale;
                other != number
                    && across.abs() < clear
                    && along > l.span[0] - clear
                    && along < l.span[1] + clear
            })
        };
        on_line(
            picture,
            line,
            |s| taken[number].iter().any(|t| s > t[0] && s < t[1]) || crossed(s),
            &mut found,
        );
    }
    found
}

/// One slice across the line.
#[derive(Clone, Copy)]
struct Slice {
    /// Ink across, contrast times px; none where something else is drawn.
    ink: Option<f64>,
    /// Its middle, across, times the ink.
    moment: f64,
    /// The same ink less the line's own.
    extra: f64,
}

fn on_line(
    picture: &Picture,
    line: &Line,
    taken: impl Fn(f64) -> bool + Sync,
    found: &mut Vec<Name>,
) {
    let mm = picture.scale;
    let reach = line.half + BESIDE_MM * mm;
    let first = line.span[0].ceil();
    let count = (line.span[1] - first).max(0.0) as usize;
    let at = |i: usize| first + i as f64;
    let mut slices: Vec<Slice> = (0..count)
        .into_par_iter()
        .map(|i| {
            let steps = reach.ceil() as i32;
            let (mut ink, mut moment) = (0.0, 0.0);
            for k in -steps..=steps {
                let t = f64::from(k);
                let c = picture.smooth_contrast(line.point(at(i), t));
                ink += c;
                moment += c * t;
            }
            Slice {
                ink: (!taken(at(i))).then_some(ink),
                moment,
                extra: 0.0,
            }
        })
        .collect();
    let usual = median(slices.iter().filter_map(|s| s.ink));
    level(&mut slices, (AROUND_MM * mm) as usize, PAUSE * usual);
    let half = ((HALF_DOT_MM * mm).round() as usize).max(1);
    let sums: Vec<Option<f64>> = (0..count)
        .map(|i| {
            let near = slices.get(i.checked_sub(half)?..=i + half)?;
            near.iter()
                .all(|s| s.ink.is_some())
                .then(|| near.iter().map(|s| s.extra).sum())
        })
        .collect();
    // Of a line that other things hide for the most part nothing can be said.
    if sums.iter().flatten().count() * 4 < count {
        return;
    }
    let sigma = (1.4826 * median(sums.iter().flatten().map(|v: &f64| v.abs()))).max(0.02 * mm);
    let black = line.contrast.max(0.05);
    let mut order: Vec<(f64, usize)> = sums
        .iter()
        .enumerate()
        .filter_map(|(i, v)| v.filter(|v| *v > MAYBE_SIGMAS * sigma).map(|v| (v, i)))
        .collect();
    order.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut done: Vec<usize> = Vec::new();
    let mut beads: Vec<(Name, [usize; 2])> = Vec::new();
    for (_, i) in order {
        if done
            .iter()
            .any(|&d| (d.abs_diff(i) as f64) < LONGEST_MM * mm)
        {
            continue;
        }
        done.push(i);
        beads.extend(name(
            picture,
            line,
            &slices,
            i,
            first,
            [sigma, black, usual],
        ));
    }
    found.extend(without_arms(beads, &slices));
}

/// So many crosses on a line are no chance, and so many of the marks there.
const FEWEST_CROSSES: usize = 3;
const SHARE_OF_CROSSES: f64 = 0.5;

/// Leaves out the arms that a cross on the line has along it: they come out to both sides from under what else was drawn
/// there. One that comes out on one side alone is left out where it is slight and most of the line's marks have arms; it may
/// be a dot that touches, and is no sure one.
fn without_arms(beads: Vec<(Name, [usize; 2])>, slices: &[Slice]) -> Vec<Name> {
    // Stretches that other things hide, as from which slice to before which.
    let mut hidden: Vec<[usize; 2]> = Vec::new();
    for k in (0..slices.len()).filter(|&k| slices[k].ink.is_none()) {
        match hidden.last_mut() {
            Some(last) if last[1] == k => last[1] = k + 1,
            _ => hidden.push([k, k + 1]),
        }
    }
    let comes_out = |h: &[usize; 2]| {
        let before = beads.iter().any(|(_, span)| span[1] == h[0]);
        let after = beads.iter().any(|(_, span)| span[0] == h[1]);
        [before, after]
    };
    let arms: Vec<[bool; 2]> = hidden.iter().map(comes_out).collect();
    let crosses = arms.iter().filter(|a| a.contains(&true)).count();
    let of_crosses =
        crosses >= FEWEST_CROSSES && crosses as f64 >= SHARE_OF_CROSSES * hidden.len() as f64;
    let both: Vec<[usize; 2]> = (hidden.iter().zip(&arms))
        .filter(|(_, a)| **a == [true, true])
        .map(|(h, _)| *h)
        .collect();
    let touches =
        |of: &[[usize; 2]], span: [usize; 2]| of.iter().any(|h| span[1] == h[0] || span[0] == h[1]);
    let mut left = Vec::new();
    for (name, span) in beads {
        match name {
            _ if touches(&both, span) => {}
            Name::Unsure { .. } if of_crosses && touches(&hidden, span) => {}
            Name::Mark(m) if touches(&hidden, span) => left.push(Name::Unsure {
                at: m.at,
                size_mm: m.size_mm,
                why: "ink along a ruled line that comes out from under a mark: a dot, or its arm",
            }),
            name => left.push(name),
        }
    }
    left
}

/// Takes the line's own ink off: its median over `around` slices to both sides, of those where it does not pause.
fn level(slices: &mut [Slice], around: usize, pause: f64) {
    let count = slices.len();
    let own: Vec<f64> = (0..count)
        .into_par_iter()
        .map(|i| {
            let near = &slices[i.saturating_sub(around)..(i + around + 1).min(count)];
            let known = near.iter().step_by(2).filter_map(|s| s.ink);
            median(known.filter(|ink| *ink >= pause))
        })
        .collect();
    for (slice, own) in slices.iter_mut().zip(own) {
        slice.extra = slice.ink.map_or(0.0, |ink| ink - own);
    }
}

/// What the bead round slice `i` is, if it is anything, and from which slice to before which it goes.
fn name(
    picture: &Picture,
    line: &Line,
    slices: &[Slice],
    i: usize,
    first: f64,
    [sigma, black, usual]: [f64; 3],
) -> Option<(Name, [usize; 2])> {
    let mm = picture.scale;
    let half = ((HALF_DOT_MM * mm).round() as usize).max(1);
    let top = (i - half..=i + half)
        .map(|k| slices[k].extra)
        .fold(0.0, f64::max);
    let over = |k: usize| slices[k].ink.is_some() && slices[k].extra > 0.3 * top;
    let from = (0..i).rev().find(|&k| !over(k)).map_or(0, |k| k + 1);
    let to = (i..slices.len())
        .find(|&k| !over(k))
        .unwrap_or(slices.len());
    if (to - from) as f64 > LONGEST_MM * mm {
        return None;
    }
    // The skirt of the blur to both sides.
    let (low, high) = (from.saturating_sub(2), (to + 2).min(slices.len()));
    let part = &slices[low..high];
    let extra: f64 = part.iter().map(|s| s.extra).sum();
    let s = part
        .iter()
        .enumerate()
        .map(|(k, p)| p.extra * (low + k) as f64)
        .sum::<f64>()
        / extra;
    let own = slices[i].ink.unwrap_or(0.0) - slices[i].extra;
    // What the line itself adds to the moment is the same to both sides.
    let beside: Vec<f64> = [
        from.saturating_sub(half * 2),
        (to + half * 2).min(slices.len() - 1),
    ]
    .iter()
    .filter(|&&k| slices[k].ink.is_some())
    .map(|&k| slices[k].moment)
    .collect();
    let axis = beside.iter().sum::<f64>() / beside.len().max(1) as f64;
    let t = part.iter().map(|p| p.moment - axis).sum::<f64>() / extra;
    let area = extra / black / (mm * mm);
    let at = line.point(first + s, 0.0);
    // The pen rests at the ends of a line, and of each piece of a broken one.
    let end = (END_MM * mm) as usize;
    let near_end = i < end
        || i + end >= slices.len()
        || slices[i - end..=i + end]
            .iter()
            .any(|s| s.ink.is_some_and(|ink| ink < PAUSE * usual));
    let sigmas = extra / sigma;
    if area < MAYBE_MM2 || sigmas < MAYBE_SIGMAS || near_end {
        return None;
    }
    let wide = ((to - from) as f64).max(2.0 * line.half);
    let around = (AROUND_MM * mm) as usize;
    let near = &slices[i.saturating_sub(around)..(i + around + 1).min(slices.len())];
    let known: Vec<f64> = near.iter().filter_map(|s| s.ink).collect();
    let paused = known.iter().filter(|ink| **ink < PAUSE * usual).count();
    let in_gap = paused as f64 > IN_GAP * known.len() as f64;
    let slight = top < MORE * own;
    if in_gap || slight || area < SURE_MM2 || sigmas < SURE_SIGMAS || t.abs() > ON_LINE_MM * mm {
        let unsure = Name::Unsure {
            at,
            size_mm: wide / mm,
            why: "a thicker place on a ruled line: a dot, or the pen's",
        };
        return Some((unsure, [from, to]));
    }
    // Slices vary by `sigma` over a dot's length, and with them the middle of what is over.
    let n = (to - from) as f64;
    let u_along = sigma * n / (12f64.sqrt() * extra);
    let turn = Matrix2::from_columns(&[line.along, Vector2::new(-line.along.y, line.along.x)]);
    let cov =
        turn * Matrix2::new(
            u_along.powi(2),
            0.0,
            0.0,
            line.sigma.powi(2) + (0.25 * t).powi(2),
        ) * turn.transpose()
            + Matrix2::identity() * place::floor(picture);
    let dot = FlatMark {
        at,
        cov,
        kind: MarkKind::Dot,
        size_mm: wide / mm,
        ringed: false,
        crossed_out: false,
        strokes: Vec::new(),
    };
    Some((Name::Mark(dot), [from, to]))
}

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
    fn a_dot_a_little_wider_than_its_line_is_found_a_slighter_one_unsure_and_a_bare_line_has_none()
    {
        let near = |p: f64, at: f64| (p / PX_PER_MM - at).abs() < 0.06;
        let read = flat::read(&ruled(&[(20.0, 0.7), (33.3, 0.62)]), PX_PER_MM);
        let marks: Vec<f64> = read.marks.iter().map(|m| m.at.x).collect();
        assert!(marks.len() == 1 && near(marks[0], 20.0), "{marks:?}");
        let unsure: Vec<f64> = read.unsure.iter().map(|u| u.at.x).collect();
        assert!(unsure.len() == 1 && near(unsure[0], 33.3), "{unsure:?}");
        let bare = flat::read(&ruled(&[]), PX_PER_MM);
        assert_eq!(bare.lines.len(), 1);
        assert!(bare.marks.is_empty() && bare.unsure.is_empty(), "{bare:?}");
    }
}
