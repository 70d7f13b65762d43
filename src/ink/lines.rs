//! Ruled lines: long, straight, thin, maybe broken.
//!
//! Lengths here are pixels of the flat picture unless named otherwise.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::picture::Picture;
use crate::raster::components::Component;

/// A line shorter than this is a stroke, mm.
const MIN_LENGTH_MM: f64 = 16.0;
/// A broken line may pause for this long, mm.
const MAX_GAP_MM: f64 = 5.0;
/// For this long if it goes on for a while after it, nearly without a pause, mm: longer than any dot is wide.
const BREAK_MM: f64 = 14.0;
const GOES_ON_MM: f64 = 3.0;
const NEARLY_ALL: f64 = 0.8;
/// Share of the length that must be drawn.
const MIN_DRAWN: f64 = 0.6;
/// Where a millimetre of it is drawn at all this share of that is.
const WITHOUT_PAUSE: f64 = 0.8;
/// A line wider than this is not a line, mm.
const MAX_WIDTH_MM: f64 = 1.4;
/// No stroke of a mark or a usual cross-out is longer than this, mm; a large cross-out's arm may be as long as the
/// second, and where it is this much askew to the sheet another arm crosses it, at least so much of its length to both
/// sides.
const STROKE_MM: f64 = 12.0;
const LONG_STROKE_MM: f64 = 22.0;
const ASKEW: f64 = 0.17;
const ARM: f64 = 0.22;
/// Pieces shorter than this do not start a line, mm.
const MIN_PIECE_MM: f64 = 3.0;
/// How far a hand wanders from straight along a steel rule, mm.
const WANDER_MM: f64 = 0.35;
/// Pixels looked at in each trial, trials for a line, and lines at most.
const MAX_POINTS: usize = 6000;
const TRIALS: usize = 240;
const MAX_LINES: usize = 24;
/// Lines that lean less than this to each other may be one, sine.
const ALIKE: f64 = 0.05;
/// Distance of the points that tell how straight a line is, mm: nearer ones share blur and the pen's wobble.
const AXIS_STEP_MM: f64 = 4.0;
/// Slices that must be found in such a step, share of it.
const AXIS_FULL: f64 = 0.4;
/// A pale line goes on where over so many mm its ink adds up to this share of its usual contrast, and to so many standard
/// deviations of the same sum at so many places to each side of it, so many mm apart.
const WINDOW_MM: f64 = 3.0;
const SHARE_OF_INK: f64 = 0.5;
const SIGMAS: f64 = 4.0;
const BESIDE: i32 = 5;
const CLEAR_MM: f64 = 0.35;
/// And its end is where that holds for the last so many mm.
const STEP_BACK_MM: f64 = 0.5;
/// Rounds of fitting a line, at most.
const ROUNDS: usize = 8;

/// A ruled line in the flat picture.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// A point on its axis.
    pub(super) origin: Vector2<f64>,
    /// Unit vector along it.
    pub(super) along: Vector2<f64>,
    /// Where it starts and ends, along from the origin.
    pub(super) span: [f64; 2],
    /// Half its width at the rim of its ink.
    pub(super) half: f64,
    /// Standard deviation of its axis, across.
    pub(super) sigma: f64,
    /// Contrast of its ink: the median along its axis.
    pub(super) contrast: f64,
    /// Middles of its ink every few millimetres, from start to end, without where a mark sits on it.
    pub(super) axis: Vec<Vector2<f64>>,
}

impl Line {
    /// Along and across (to the left of `along` as seen with y down is negative) of a point.
    pub(super) fn local(&self, p: Vector2<f64>) -> (f64, f64) {
        let d = p - self.origin;
        (d.dot(&self.along), self.along.perp(&d))
    }

    /// Whether it runs under a point, or within `slack` of it, px.
    pub(super) fn is_under(&self, p: Vector2<f64>, slack: f64) -> bool {
        let (s, t) = self.local(p);
        t.abs() < self.half + slack && s > self.span[0] - slack && s < self.span[1] + slack
    }

    /// How far the ink near `s` along lies off the straight axis: a line that is bowed, or drawn in two goes.
    pub(super) fn strays(&self, s: f64, near: f64) -> f64 {
        let places = self.axis.iter().map(|&p| self.local(p));
        let across = places.filter(|(along, _)| (along - s).abs() < near);
        let (sum, count) = across.fold((0.0, 0.0), |(sum, n), (_, t)| (sum + t, n + 1.0));
        f64::abs(sum) / f64::max(count, 1.0)
    }

    /// The point at `s` along and `t` across.
    pub(super) fn point(&self, s: f64, t: f64) -> Vector2<f64> {
        self.origin + self.along * s + Vector2::new(-self.along.y, self.along.x) * t
    }
}

/// The ruled lines among `shapes`, the longest first.
pub(super) fn find(picture: &Picture, shapes: &[Component]) -> Vec<Line> {
    let mut points = pool(picture, shapes);
    let mut lines: Vec<Line> = Vec::new();
    while lines.len() < MAX_LINES {
        let Some((origin, along)) = best_trial(picture, &points) else {
            break;
        };
        let fitted = fit(picture, origin, along, &lines);
        // Used up, also when it was no line: or the same trial would win again.
        let reach = fitted
            .as_ref()
            .map_or(WANDER_MM * picture.scale, |l| l.half + 0.4 * picture.scale);
        let used = fitted.clone().unwrap_or(Line {
            origin,
            along,
            span: [f64::MIN, f64::MAX],
            half: 0.0,
            sigma: 0.0,
            contrast: 0.0,
            axis: Vec::new(),
        });
        let before = points.len();
        points.retain(|(p, _)| {
            let (s, t) = used.local(*p);
            t.abs() > reach || s < used.span[0] - picture.scale || s > used.span[1] + picture.scale
        });
        match fitted {
            Some(line) if !lines.iter().any(|l| same(picture, l, &line)) => lines.push(line),
            _ if points.len() == before => break,
            _ => {}
        }
    }
    for line in &mut lines {
        let span = [-1.0, 1.0].map(|way| goes_on(picture, line, way));
        line.span = span;
    }
    lines.sort_by(|a, b| (b.span[1] - b.span[0]).total_cmp(&(a.span[1] - a.span[0])));
    joined(picture, lines)
}

/// The lines with those that are pieces of one, found apart and followed into each other, as one line. The longest come first.
fn joined(picture: &Picture, lines: Vec<Line>) -> Vec<Line> {
    let mut whole: Vec<Line> = Vec::new();
    for line in lines {
        let Some(own) = whole.iter_mut().find(|l| same(picture, l, &line)) else {
            whole.push(line);
            continue;
        };
        for end in line.span {
            let (s, _) = own.local(line.point(end, 0.0));
            own.span = [own.span[0].min(s), own.span[1].max(s)];
        }
        own.axis.extend(line.axis);
        let (origin, along) = (own.origin, own.along);
        own.axis.sort_by(|a, b| {
            (a - origin)
                .dot(&along)
                .total_cmp(&(b - origin).dot(&along))
        });
    }
    whole
}

/// Where a line ends on the side that `way` says, pale ink counted that single pixels do not show: over some millimetres its
/// ink still adds up, against what the same sum is beside the line.
fn goes_on(picture: &Picture, line: &Line, way: f64) -> f64 {
    let mm = picture.scale;
    let end = if way > 0.0 {
        line.span[1]
    } else {
        line.span[0]
    };
    let window = (WINDOW_MM * mm) as i32;
    let sum = |from: f64, across: f64| -> Option<f64> {
        let places = (0..window).map(|i| line.point(from + way * f64::from(i), across));
        let known: Vec<f64> = places
            .filter(|p| picture.is_known(*p))
            .map(|p| picture.smooth_contrast(p))
            .collect();
        (2 * known.len() as i32 > window).then(|| known.iter().sum::<f64>() / known.len() as f64)
    };
    let beside = line.half + CLEAR_MM * mm;
    let is_inked = |from: f64| -> Option<bool> {
        let offs = (0..BESIDE).flat_map(|k| {
            let off = beside + f64::from(k) * CLEAR_MM * mm;
            [off, -off]
        });
        let mut around: Vec<f64> = offs.filter_map(|t| sum(from, t)).collect();
        let own = sum(from, 0.0)?;
        if around.len() < BESIDE as usize {
            return None;
        }
        around.sort_by(f64::total_cmp);
        let middle = around[around.len() / 2];
        let spread = around[around.len() * 5 / 6] - around[around.len() / 6];
        let over = own - middle;
        Some(over > SHARE_OF_INK * line.contrast && over > SIGMAS * spread / 2.0)
    };
    let (mut reached, mut at, mut pause) = (end, end, 0.0);
    let step = f64::from(window) / 2.0;
    while pause <= BREAK_MM * mm {
        let beyond = at + way * f64::from(window);
        if !picture.is_inside(line.point(beyond, 0.0)) {
            break;
        }
        match is_inked(at) {
            Some(true) => {
                reached = beyond;
                pause = 0.0;
            }
            Some(false) => pause += step,
            // What a card hides is no pause.
            None => {}
        }
        at += way * step;
    }
    // The last window may be inked but for its end.
    let inked = |s: f64| {
        let places =
            (0..=(STEP_BACK_MM * mm) as i32).map(|i| line.point(s - way * f64::from(i), 0.0));
        let ink: Vec<f64> = places.map(|p| picture.smooth_contrast(p)).collect();
        ink.iter().sum::<f64>() > SHARE_OF_INK * line.contrast * ink.len() as f64
    };
    while (reached - end) * way > 0.0 && !inked(reached) {
        reached -= way;
    }
    if (reached - end) * way > 0.0 {
        reached
    } else {
        end
    }
}

fn same(picture: &Picture, a: &Line, b: &Line) -> bool {
    let middle = b.point((b.span[0] + b.span[1]) / 2.0, 0.0);
    let (s, t) = a.local(middle);
    t.abs() < 0.4 * picture.scale
        && s > a.span[0]
        && s < a.span[1]
        && a.along.perp(&b.along).abs() < ALIKE
}

/// Core pixels of long pieces, thinned evenly, each with the number of its piece.
fn pool(picture: &Picture, shapes: &[Component]) -> Vec<(Vector2<f64>, usize)> {
    let long = |c: &&Component| {
        f64::from(c.width()).hypot(f64::from(c.height())) > MIN_PIECE_MM * picture.scale
    };
    let total: usize = shapes.iter().filter(long).map(|c| c.area).sum();
    let step = total.div_ceil(MAX_POINTS).max(1);
    let mut count = 0;
    let mut points = Vec::new();
    for (piece, shape) in shapes.iter().enumerate() {
        if !long(&shape) {
            continue;
        }
        for run in &shape.runs {
            for x in run.start..run.end {
                count += 1;
                if count % step == 0 {
                    points.push((
                        Vector2::new(f64::from(x) + 0.5, f64::from(run.y) + 0.5),
                        piece,
                    ));
                }
            }
        }
    }
    points
}

/// Fischler and Bolles, "Random sample consensus", Comm. ACM 24(6), 1981: two points of one piece
/// propose a line; the one with the most of its length drawn wins. The draw is seeded.
fn best_trial(
    picture: &Picture,
    points: &[(Vector2<f64>, usize)],
) -> Option<(Vector2<f64>, Vector2<f64>)> {
    if points.len() < 12 {
        return None;
    }
    let scale = picture.scale;
    let mut random = 0x9e37_79b9_7f4a_7c15u64;
    let mut draw = |n: usize| {
        random = random
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((random >> 33) as usize) % n
    };
    // Points are sorted by piece. A long piece is drawn more often than many short ones: characters are short.
    let mut pieces: Vec<([usize; 2], usize)> = Vec::new();
    let mut weight = 0;
    let mut from = 0;
    for piece in points.chunk_by(|a, b| a.1 == b.1) {
        let far = |k: usize| {
            let values = piece.iter().map(|(p, _)| p[k]);
            values.clone().fold(f64::MIN, f64::max) - values.fold(f64::MAX, f64::min)
        };
        weight += 1 + (far(0).hypot(far(1)) / scale).powi(2) as usize;
        pieces.push(([from, from + piece.len()], weight));
        from += piece.len();
    }
    let trials: Vec<[usize; 2]> = (0..TRIALS)
        .map(|_| {
            let at = draw(weight);
            let [from, to] = pieces[pieces.partition_point(|p| p.1 <= at)].0;
            [from + draw(to - from), from + draw(to - from)]
        })
        .collect();
    const BLOCK: usize = 16;
    let near = WANDER_MM * scale;
    let places: Vec<Vector2<f64>> = points.iter().map(|p| p.0).collect();
    // No two points are further apart than the picture's corners, mm.
    let furthest = (diagonal(picture) / scale).ceil() as usize + 1;
    let tried = |(trial, [i, j]): (usize, &[usize; 2])| {
        let (a, b) = (points[*i], points[*j]);
        let d = b.0 - a.0;
        if a.1 != b.1 || d.norm() < 2.0 * scale {
            return None;
        }
        let along = d.normalize();
        // Millimetre by millimetre: is there ink?
        let mut drawn = vec![false; 2 * furthest + 1];
        let across = |p: &Vector2<f64>| along.perp(&(p - a.0)).abs();
        for block in places.chunks(BLOCK) {
            // Neighbours in the list are neighbours in the picture: most blocks lie off the line as a whole.
            if block.iter().map(across).fold(f64::MAX, f64::min) >= near {
                continue;
            }
            for p in block.iter().filter(|p| across(p) < near) {
                let bin = ((p - a.0).dot(&along) / scale).floor() as i32 + furthest as i32;
                drawn[bin as usize] = true;
            }
        }
        let bins: Vec<i32> = (0..drawn.len() as i32)
            .filter(|&b| drawn[b as usize])
            .collect();
        let drawn = broken_stretch(&bins).map_or(0, |(_, n)| n);
        Some((drawn, trial, a.0, along))
    };
    // Of the best the first.
    let (drawn, _, origin, along) = trials
        .par_iter()
        .enumerate()
        .filter_map(tried)
        .max_by_key(|t| (t.0, std::cmp::Reverse(t.1)))?;
    (drawn as f64 >= MIN_LENGTH_MM * MIN_DRAWN).then_some((origin, along))
}

fn diagonal(picture: &Picture) -> f64 {
    f64::from(picture.width).hypot(f64::from(picture.height))
}

/// A stretch of sorted millimetre bins without a long gap: its ends, its count.
type Stretch = ([i32; 2], usize);

fn stretches(bins: &[i32]) -> Vec<Stretch> {
    let mut all: Vec<Stretch> = Vec::new();
    for &bin in bins {
        match all.last_mut() {
            Some((ends, n)) if f64::from(bin - ends[1]) <= MAX_GAP_MM => {
                ends[1] = bin;
                *n += 1;
            }
            _ => all.push(([bin, bin], 1)),
        }
    }
    all
}

/// The stretch that holds the most, and with it those that go on after a break.
fn broken_stretch(bins: &[i32]) -> Option<Stretch> {
    let all = stretches(bins);
    let core = (0..all.len()).rev().max_by_key(|&i| all[i].1)?;
    let (mut ends, mut drawn) = all[core];
    let near = |gap: i32| f64::from(gap) <= BREAK_MM;
    // A mark in a break is no part of the line, and does not end it either.
    let of_line = |(piece, n): &&Stretch| {
        let length = f64::from(piece[1] - piece[0] + 1);
        length >= GOES_ON_MM && *n as f64 >= NEARLY_ALL * length
    };
    for piece in all[core + 1..].iter().filter(of_line) {
        if !near(piece.0[0] - ends[1]) {
            break;
        }
        ends[1] = piece.0[1];
        drawn += piece.1;
    }
    for piece in all[..core].iter().rev().filter(of_line) {
        if !near(ends[0] - piece.0[1]) {
            break;
        }
        ends[0] = piece.0[0];
        drawn += piece.1;
    }
    Some((ends, drawn))
}

/// One slice across a line.
struct Slice {
    s: f64,
    middle: f64,
    half: f64,
}

/// Fits the axis to the ink's middle, slice by slice; `None` when there is no thin line after all. What lies on a
/// line `found` before stays with that: the rest of a bent line is a line of its own.
fn fit(
    picture: &Picture,
    origin: Vector2<f64>,
    along: Vector2<f64>,
    found: &[Line],
) -> Option<Line> {
    let scale = picture.scale;
    let reach = diagonal(picture);
    let mut line = Line {
        origin,
        along,
        span: [-reach, reach],
        half: 0.0,
        sigma: 0.0,
        contrast: 0.0,
        axis: Vec::new(),
    };
    // Two points of one piece give but a rough direction: with each round the line reaches further.
    for round in 0..ROUNDS {
        let before = line.span;
        line.span = [-reach, reach];
        let near = if round == 0 {
            WANDER_MM * scale
        } else {
            0.6 * WANDER_MM * scale
        };
        let mut slices = slices(picture, &line, near);
        slices.retain(|s| {
            let p = line.point(s.s, s.middle);
            !found.iter().any(|l| {
                let (along, across) = l.local(p);
                across.abs() < l.half
                    && along > l.span[0]
                    && along < l.span[1]
                    && l.along.perp(&line.along).abs() < ALIKE
            })
        });
        let mut halves: Vec<f64> = slices.iter().map(|s| s.half).collect();
        if halves.len() < 8 {
            return None;
        }
        halves.sort_by(f64::total_cmp);
        let half = halves[halves.len() / 2];
        if 2.0 * half > MAX_WIDTH_MM * scale {
            return None;
        }
        // Where a mark sits on the line the slice is wider and says nothing of the axis.
        let thin: Vec<&Slice> = slices
            .iter()
            .filter(|s| s.half < 1.35 * half + 0.5)
            .collect();
        let mut bins: Vec<i32> = slices
            .iter()
            .map(|s| (s.s / scale).floor() as i32)
            .collect();
        bins.dedup();
        let ([first, last], drawn) = broken_stretch(&bins)?;
        let length = f64::from(last - first + 1);
        if length < MIN_LENGTH_MM || (drawn as f64) < MIN_DRAWN * length {
            return None;
        }
        // Some strokes that happen to lie in line, a tick and another mark's cross-out or the characters of a stamp with
        // the rim of a thing, are no ruled line.
        bins.retain(|b| (first..=last).contains(b));
        let runs: Vec<usize> = bins
            .chunk_by(|a, b| a + 1 == *b)
            .map(<[i32]>::len)
            .collect();
        let longest = runs.iter().copied().max().unwrap_or(0);
        let few = runs.len() < 3 || (drawn as f64) < 2.0 * STROKE_MM;
        if few && longest as f64 <= STROKE_MM {
            return None;
        }
        if few && longest as f64 <= LONG_STROKE_MM && is_arm(picture, &line, &bins, longest) {
            return None;
        }
        let (from, to) = (f64::from(first) * scale, f64::from(last + 1) * scale);
        // Along a line of print the strokes of characters pause in every millimetre.
        let inked = slices.iter().filter(|s| s.s >= from && s.s <= to).count();
        if (inked as f64) < WITHOUT_PAUSE * drawn as f64 * scale {
            return None;
        }
        let on: Vec<&Slice> = thin
            .into_iter()
            .filter(|s| s.s >= from && s.s <= to)
            .collect();
        if (on.len() as f64) < 0.5 * f64::from(drawn as u32) * scale {
            return None;
        }
        let ends = slices.iter().filter(|s| s.s >= from && s.s <= to);
        let (low, high) = ends.fold((f64::MAX, f64::MIN), |(l, h), s| (l.min(s.s), h.max(s.s)));
        let (offset, slope, scatter) = straight(&on);
        let shift_to = line.point(0.0, offset);
        let turned = (line.along + Vector2::new(-line.along.y, line.along.x) * slope).normalize();
        let axis = axis(&line, &on, scale);
        // Neighbouring slices share blur and the pen's wobble: about one free slice a millimetre.
        let free = (on.len() as f64 / scale).max(2.0);
        line = Line {
            origin: shift_to,
            along: turned,
            span: [low, high],
            half,
            sigma: (scatter / free.sqrt()).max(0.02),
            contrast: 0.0,
            axis,
        };
        let grown = (line.span[1] - line.span[0]) - (before[1] - before[0]);
        if round > 1 && grown.abs() < scale {
            break;
        }
    }
    line.contrast = contrast(picture, &line);
    Some(line)
}

/// The median of the slices' middles in each step along a line.
fn axis(line: &Line, slices: &[&Slice], scale: f64) -> Vec<Vector2<f64>> {
    let step = AXIS_STEP_MM * scale;
    let bin = |s: &&Slice| (s.s / step).floor() as i32;
    let full = |c: &&[&Slice]| c.len() as f64 >= AXIS_FULL * step;
    let middle = |chunk: &[&Slice]| {
        let mut across: Vec<f64> = chunk.iter().map(|s| s.middle).collect();
        across.sort_by(f64::total_cmp);
        let along = chunk.iter().map(|s| s.s).sum::<f64>() / chunk.len() as f64;
        line.point(along, across[across.len() / 2])
    };
    let chunks = slices.chunk_by(|a, b| bin(a) == bin(b));
    chunks.filter(full).map(middle).collect()
}

/// Whether the longest run of a line's bins, `longest` of them, is an arm of an X: a stroke askew to the sheet like
/// itself crosses it near its middle and is about as long. Ruled lines are drawn along the edges or square to them.
fn is_arm(picture: &Picture, line: &Line, bins: &[i32], longest: usize) -> bool {
    let scale = picture.scale;
    let askew = |v: Vector2<f64>| v.x.abs().min(v.y.abs()) > ASKEW;
    let run = bins
        .chunk_by(|a, b| a + 1 == *b)
        .find(|run| run.len() == longest);
    let Some(first) = run.and_then(|run| run.first()) else {
        return false;
    };
    if !askew(line.along) {
        return false;
    }
    let (from, length) = (f64::from(*first) * scale, longest as f64 * scale);
    let near = WANDER_MM * scale;
    let mut places = Vec::new();
    let mut s = from + length / 4.0;
    while s < from + 0.75 * length {
        places.push(s);
        s += 2.0;
    }
    const TURNS: u32 = 24;
    (1..TURNS).any(|k| {
        let turn = std::f64::consts::PI * f64::from(k) / f64::from(TURNS);
        let other = nalgebra::Rotation2::new(turn) * line.along;
        // Less than that and it is the same stroke, wobbling.
        if turn.sin() < 0.5 || !askew(other) {
            return false;
        }
        let goes = |at: Vector2<f64>, way: f64| {
            let steps = (ARM * length) as i32;
            (1..=steps).all(|i| {
                let p = at + other * (way * f64::from(i));
                let side = Vector2::new(-other.y, other.x);
                // A hand's stroke bends a little.
                [0.0, 0.5 * near, -0.5 * near]
                    .iter()
                    .any(|t| picture.is_ink(p + side * *t))
            })
        };
        places.iter().any(|&s| {
            let at = line.point(s, 0.0);
            goes(at, 1.0) && goes(at, -1.0)
        })
    })
}

fn contrast(picture: &Picture, line: &Line) -> f64 {
    const STEP_PX: f64 = 3.0;
    let count = ((line.span[1] - line.span[0]) / STEP_PX) as usize;
    let mut along: Vec<f64> = (0..count)
        .map(|i| picture.smooth_contrast(line.point(line.span[0] + i as f64 * STEP_PX, 0.0)))
        .collect();
    along.sort_by(f64::total_cmp);
    along.get(count / 2).copied().unwrap_or(0.0)
}

/// Straight line through the slices' middles by least squares, once again without the outliers:
/// offset, slope and scatter.
fn straight(slices: &[&Slice]) -> (f64, f64, f64) {
    let mut keep: Vec<&Slice> = slices.to_vec();
    let mut result = (0.0, 0.0, 0.0);
    for _ in 0..3 {
        let n = keep.len() as f64;
        let (ms, mt) = (
            keep.iter().map(|s| s.s).sum::<f64>() / n,
            keep.iter().map(|s| s.middle).sum::<f64>() / n,
        );
        let (mut ss, mut st) = (0.0, 0.0);
        for s in &keep {
            ss += (s.s - ms).powi(2);
            st += (s.s - ms) * (s.middle - mt);
        }
        let slope = if ss > 0.0 { st / ss } else { 0.0 };
        let offset = mt - slope * ms;
        let residual = |s: &Slice| s.middle - offset - slope * s.s;
        let scatter = (keep.iter().map(|s| residual(s).powi(2)).sum::<f64>() / n).sqrt();
        result = (offset, slope, scatter);
        let limit = (2.5 * scatter).max(0.3);
        let next: Vec<&Slice> = slices
            .iter()
            .copied()
            .filter(|s| residual(s).abs() < limit)
            .collect();
        if next.len() * 2 < slices.len() || next.len() < 4 {
            break;
        }
        keep = next;
    }
    result
}

/// The part of a line's span that lies in the picture grown by `margin`.
fn inside(picture: &Picture, line: &Line, margin: f64) -> [f64; 2] {
    let size = [picture.width, picture.height].map(f64::from);
    let [mut first, mut last] = line.span;
    for (k, size) in size.into_iter().enumerate() {
        // Where the line crosses the two sides; one that runs along them crosses them nowhere.
        let a = (-margin - line.origin[k]) / line.along[k];
        let b = (size + margin - line.origin[k]) / line.along[k];
        if a.is_finite() && b.is_finite() {
            (first, last) = (first.max(a.min(b)), last.min(a.max(b)));
        }
    }
    [first, last]
}

/// Slices across the line, one a pixel along, where ink lies within `near` of the axis.
fn slices(picture: &Picture, line: &Line, near: f64) -> Vec<Slice> {
    let scale = picture.scale;
    let furthest = 1.2 * MAX_WIDTH_MM * scale;
    let [first, last] = inside(picture, line, near + 1.0);
    let (first, last) = (first.ceil() as i64, last.floor() as i64);
    let slice = |s: i64| {
        let s = s as f64;
        let ink = |t: f64| picture.is_ink(line.point(s, t));
        // The nearest inked place to the axis, then the run round it.
        let steps = (near * 2.0).ceil() as i32;
        let start = (0..=steps)
            .flat_map(|k| [f64::from(k) / 2.0, -f64::from(k) / 2.0])
            .find(|&t| ink(t));
        let start = start?;
        let (mut low, mut high) = (start, start);
        while low > -furthest && ink(low - 0.5) {
            low -= 0.5;
        }
        while high < furthest && ink(high + 0.5) {
            high += 0.5;
        }
        let (mut sum, mut weight) = (0.0, 0.0);
        let mut t = low - 1.0;
        while t <= high + 1.0 {
            let c = f64::from(picture.contrast(line.point(s, t))).max(0.0);
            sum += c * t;
            weight += c;
            t += 0.5;
        }
        (weight > 0.0).then(|| Slice {
            s,
            middle: sum / weight,
            half: (high - low + 0.5) / 2.0,
        })
    };
    (first..=last).into_par_iter().filter_map(slice).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

    use std::borrow::Cow;

    use image::GrayImage;

    use super::*;

    #[test]
    fn two_pieces_of_a_line_that_were_followed_into_each_other_are_one() {
        let bare = GrayImage::from_pixel(800, 200, image::Luma([200]));
        let picture = Picture::new(Cow::Borrowed(&bare), None, 10.0);
        let piece = |from: f64, to: f64, y: f64| Line {
            origin: Vector2::new(from, y),
            along: Vector2::new(if from < to { 1.0 } else { -1.0 }, 0.0),
            span: [0.0, (to - from).abs()],
            half: 2.0,
            sigma: 0.1,
            contrast: 0.2,
            axis: vec![Vector2::new(from, y), Vector2::new(to, y)],
        };
        let ends = |l: &Line| {
            let mut ends = l.span.map(|s| l.point(s, 0.0).x);
            ends.sort_by(f64::total_cmp);
            ends
        };
        // The other way round, and longer at one end.
        let lines = joined(
            &picture,
            vec![piece(20.0, 700.0, 100.0), piece(780.0, 30.0, 100.6)],
        );
        assert_eq!(lines.len(), 1);
        assert_eq!(ends(&lines[0]), [20.0, 780.0]);
        assert!(lines[0].axis.is_sorted_by(|a, b| a.x <= b.x));
        // One beside the other is another line, and so is what goes on where it ends.
        let two = vec![piece(20.0, 700.0, 100.0), piece(20.0, 700.0, 112.0)];
        assert_eq!(joined(&picture, two).len(), 2);
        let two = vec![piece(20.0, 400.0, 100.0), piece(420.0, 700.0, 100.0)];
        assert_eq!(joined(&picture, two).len(), 2);
    }
}
