//! A scratch or a pale stroke across a ruled line shows darkest where it meets the line, and there looks like a dot. A dot
//! ends; a stroke goes on, straight or bent as a ring is and without a pause, on both sides of the line. And a stroke through
//! a mark that is none of its own may strike it out, be it dark or too pale for the ink mask.

use std::f64::consts::{FRAC_PI_2, PI, SQRT_2};

use nalgebra::Vector2;

use super::Doubt;
use super::MarkKind;
use super::lines::Line;
use super::name::{FlatMark, Name, OwnStroke};
use super::picture::Picture;
use super::shape::Loop;

/// How far the ink beyond a dot is followed on each side, mm, and how far from its rim that starts.
const FOLLOW_MM: f64 = 1.2;
const CLEAR_MM: f64 = 0.35;
/// Directions looked in, to each side of square to the line, rad, and the step between them.
const LEAN: f64 = 0.7;
const STEP: f64 = 0.05;
/// A stroke bends by so much at most from one side of the line to the other, rad: a ring of 2.5 mm radius.
const BEND: f64 = 0.4;
/// A stroke is this much darker than the face beside it, at least; 0 bare, 1 black.
const LEAST: f64 = 0.05;
/// And this many times what the face shows in the same directions at its side.
const OVER_FACE: f64 = 2.0;
/// Where the face is looked at for comparison, along the line from the dot, mm.
const BESIDE_MM: [f64; 6] = [-3.6, -2.8, -2.0, 2.0, 2.8, 3.6];

/// The name as it was, or unsure for a dot on a line that a stroke runs through.
pub(super) fn unless_stroke(picture: &Picture, lines: &[Line], name: Name) -> Name {
    match name {
        Name::Mark(m)
            if m.kind == MarkKind::Dot && lines.iter().any(|l| runs_through(picture, l, &m)) =>
        {
            Name::Unsure {
                at: m.at,
                size_mm: m.size_mm,
                why: Doubt::Across,
            }
        }
        name => name,
    }
}

/// Whether a straight stroke runs through the spot that was read as a dot on `line`.
fn runs_through(picture: &Picture, line: &Line, dot: &FlatMark) -> bool {
    let (s, t) = line.local(dot.at);
    let radius = dot.size_mm / 2.0 * picture.scale;
    if t.abs() > line.half + radius || s < line.span[0] || s > line.span[1] {
        return false;
    }
    let from = line.half.max(radius + t.abs()) + CLEAR_MM * picture.scale;
    let here = strongest(picture, line, dot.at, from);
    if here < LEAST {
        return false;
    }
    let mut beside =
        BESIDE_MM.map(|mm| strongest(picture, line, line.point(s + mm * picture.scale, t), from));
    // The median: another mark may stand at one of these places.
    beside.sort_by(f64::total_cmp);
    here > OVER_FACE * beside[beside.len() / 2]
}

/// The most ink that one stroke through `at`, straight or bent as a ring is, has on its paler side: the contrast that three
/// quarters of its length reach. The mean would do for a scratch as well, but a ring round a dot raises it too.
fn strongest(picture: &Picture, line: &Line, at: Vector2<f64>, from: f64) -> f64 {
    let across = Vector2::new(-line.along.y, line.along.x);
    let steps = (LEAN / STEP) as i32;
    let count = (FOLLOW_MM * picture.scale).ceil() as i32;
    let side = |sign: f64| -> Vec<f64> {
        (-steps..=steps)
            .map(|k| {
                let lean = f64::from(k) * STEP;
                let way = (across * lean.cos() + line.along * lean.sin()) * sign;
                one_side(picture, at, way, from / lean.cos(), count)
            })
            .collect()
    };
    let (up, down) = (side(1.0), side(-1.0));
    let bend = (BEND / STEP) as usize;
    let best_of = |i: usize| {
        let within = i.saturating_sub(bend)..=(i + bend).min(down.len() - 1);
        within.fold(0.0, |best: f64, j| best.max(up[i].min(down[j])))
    };
    (0..up.len()).map(best_of).fold(0.0, f64::max)
}

/// Where a stroke through a mark is looked for: of a short one little shows beside the mark, and a long and pale one rises
/// above the grain only over some length.
struct Stretch {
    /// How far from the mark's middle it starts at least, and how long it is, mm.
    from_mm: f64,
    length_mm: f64,
    /// The mark's own strokes reach so far to each side at most, mm.
    half_pen_mm: f64,
}
const NEAR: Stretch = Stretch {
    from_mm: 0.0,
    length_mm: 0.3,
    half_pen_mm: f64::INFINITY,
};
/// Half the widest pen stroke: one that seems wider has something beside it.
const FAR: Stretch = Stretch {
    from_mm: 0.8,
    length_mm: 0.9,
    half_pen_mm: 0.4,
};
/// A ring of less than this radius, mm, is all that shows so near its mark.
const NARROW_RING_MM: f64 = 2.5;
/// Directions are looked in at steps of so much, rad.
const WAY: f64 = 0.1;
/// Its contrast at least, and how many times what the face shows beside the mark in about the same direction.
const STRIKE: f64 = 0.06;
const STRIKE_OVER_FACE: f64 = 2.5;
/// So many steps to each side are about the same direction.
const AROUND: usize = 2;
/// Nearer than this at least to the direction of a ruled line or of a stroke of the mark's own ink is theirs, rad: hands
/// wobble.
const OWN: f64 = 0.35;
/// Between a stroke and another there is less than this share of its ink.
const APART: f64 = 0.75;
/// Blur makes a stroke this much wider to each side, px.
const RIM_PX: f64 = 1.0;
/// A stroke is looked for this far beside the mark's middle too, mm.
const BESIDE_MIDDLE_MM: f64 = 0.2;

/// Whether a stroke runs through a mark that is neither its own nor of another of the `marks`: it may be struck out.
pub(super) fn is_struck(
    picture: &Picture,
    lines: &[Line],
    rings: &[Box<Loop>],
    marks: &[FlatMark],
    mark: &FlatMark,
) -> bool {
    let is_narrow = |r: &Loop| r.radius < NARROW_RING_MM * picture.scale;
    let is_ringed = rings.iter().any(|r| r.holds(mark.at) && is_narrow(r));
    let within = |stretch| is_struck_within(picture, lines, marks, mark, stretch);
    (!is_ringed && within(&NEAR)) || within(&FAR)
}

fn is_struck_within(
    picture: &Picture,
    lines: &[Line],
    marks: &[FlatMark],
    mark: &FlatMark,
    stretch: &Stretch,
) -> bool {
    let mm = picture.scale;
    let ways: Vec<f64> = (0..(PI / WAY) as i32).map(|k| f64::from(k) * WAY).collect();
    let radius = match mark.kind {
        MarkKind::Dot => spot_radius(picture, mark) + (CLEAR_MM * mm).max(2.0 * RIM_PX),
        _ => 0.0,
    };
    let reach_of = |s: &OwnStroke| (s.width / 2.0).min(stretch.half_pen_mm * mm) + RIM_PX;
    // Half way between two of its own strokes, or between one and its line, the face is bare from here on.
    let widest = mark.strokes.iter().map(reach_of).fold(0.0, f64::max);
    let clear = (widest + BESIDE_MIDDLE_MM * mm) * SQRT_2;
    let from = (stretch.from_mm * mm).max(radius).max(clear);
    let count = (stretch.length_mm * mm).ceil() as i32;
    let unit = |way: f64| Vector2::new(way.cos(), way.sin());
    // A hand that strikes out does not aim for the middle.
    let along = |at: Vector2<f64>, way: f64| {
        let across = unit(way + FRAC_PI_2) * (BESIDE_MIDDLE_MM * mm);
        [-1.0, 0.0, 1.0]
            .map(|side| paler_side(picture, at + across * side, unit(way), from, count))
            .into_iter()
            .fold(0.0, f64::max)
    };
    // A ruled line and a mark's stroke are seen as far to each side as they lie and reach, and a shift.
    let middle = from + 0.5 * f64::from(count);
    let seen_as = |along: Vector2<f64>, half: f64| {
        let within = ((half + BESIDE_MIDDLE_MM * mm) / middle).atan();
        (along, within.max(OWN))
    };
    let under: Vec<&Line> = lines.iter().filter(|l| l.is_under(mark.at, from)).collect();
    let of_lines = under
        .iter()
        .map(|l| seen_as(l.along, l.local(mark.at).1.abs() + l.half + RIM_PX));
    let reach = from + f64::from(count);
    let drawn = marks.iter().filter(|o| (o.at - mark.at).norm() < reach);
    let of_marks = drawn.flat_map(|o| o.strokes.iter().map(move |s| (o, s)));
    let of_marks = of_marks.map(|(o, s)| {
        let beside = s.along.perp(&(mark.at - o.at)).abs();
        seen_as(s.along, beside + reach_of(s))
    });
    let own: Vec<(Vector2<f64>, f64)> = of_lines.chain(of_marks).collect();
    let is_own = |way: f64| {
        own.iter()
            .any(|(along, within)| along.perp(&unit(way)).abs() < within.sin())
    };
    // The face in about the same direction, beside the mark along its line; where none is known to either side, for grain,
    // and a line too pale to be known as one, run one way.
    let aside = own.first().map_or(Vector2::x(), |(along, _)| *along);
    let mut asides = vec![aside];
    if under.is_empty() {
        asides.push(Vector2::new(-aside.y, aside.x));
    }
    let all = ways.len();
    let face = |k: usize| {
        let around = |at: Vector2<f64>| {
            (k + all - AROUND..=k + all + AROUND)
                .map(|j| along(at, ways[j % all]))
                .fold(0.0, f64::max)
        };
        let median = |aside: &Vector2<f64>| {
            let mut most = BESIDE_MM.map(|d| around(mark.at + aside * (d * mm)));
            // The median: another mark may stand at one of these places.
            most.sort_by(f64::total_cmp);
            most[most.len() / 2]
        };
        asides.iter().map(median).fold(0.0, f64::max)
    };
    let seen: Vec<f64> = ways.iter().map(|&way| along(mark.at, way)).collect();
    (0..ways.len()).any(|k| {
        seen[k] >= STRIKE
            && !is_own(ways[k])
            && stands_apart(&seen, k, |j| {
                own.iter().any(|(o, _)| o.perp(&unit(ways[j])).abs() < WAY)
            })
            && seen[k] > STRIKE_OVER_FACE * face(k)
    })
}

/// The radius of a dot's spot, px: half way in contrast, and the median over all directions, for its line and a stroke through
/// it are no part of it.
fn spot_radius(picture: &Picture, dot: &FlatMark) -> f64 {
    let whole = dot.size_mm / 2.0 * picture.scale;
    let half = picture.smooth_contrast(dot.at) / 2.0;
    let mut reach = [0; 32].map(|_| whole);
    for (k, reach) in (0u8..).zip(&mut reach) {
        let way = f64::from(k) * (2.0 * PI / 32.0);
        let way = Vector2::new(way.cos(), way.sin());
        let steps = (0..=whole.ceil() as i32).map(f64::from);
        let mut out = steps.filter(|&r| picture.smooth_contrast(dot.at + way * r) < half);
        *reach = out.next().unwrap_or(whole).min(whole);
    }
    reach.sort_by(f64::total_cmp);
    reach[reach.len() / 2]
}

/// Whether there is less ink between direction `k` and the next one on each side that is the mark's own or a line's: a
/// stroke's own flank rises all the way to it.
fn stands_apart(seen: &[f64], k: usize, is_own: impl Fn(usize) -> bool) -> bool {
    let count = seen.len();
    let dips = |step: usize| {
        let way = (1..count).map(|i| (k + i * step) % count);
        let mut between = way.take_while(|&j| !is_own(j));
        between.any(|j| seen[j] < APART * seen[k])
    };
    dips(1) && dips(count - 1)
}

/// The ink of a straight stroke through `at` on its paler side: the contrast that three quarters of its length reach.
fn paler_side(
    picture: &Picture,
    at: Vector2<f64>,
    way: Vector2<f64>,
    from: f64,
    count: i32,
) -> f64 {
    let side = |way| one_side(picture, at, way, from, count);
    side(way).min(side(-way))
}

fn one_side(picture: &Picture, at: Vector2<f64>, way: Vector2<f64>, from: f64, count: i32) -> f64 {
    let mut ink: Vec<f64> = (0..count)
        .map(|i| picture.smooth_contrast(at + way * (from + f64::from(i))))
        .collect();
    ink.sort_by(f64::total_cmp);
    ink[ink.len() / 4]
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;
    use crate::ink::{flat, lines};
    use crate::raster::components::components;

    /// 12 px/mm: a ruled line 0.5 mm wide along the middle, and `more` besides.
    fn face(more: impl Fn(f64, f64) -> Option<u8>) -> GrayImage {
        GrayImage::from_fn(720, 240, |x, y| {
            let (x, y) = ((f64::from(x) - 360.0) / 12.0, (f64::from(y) - 120.0) / 12.0);
            let line = y.abs() < 0.25 && x.abs() < 25.0;
            Luma([more(x, y).unwrap_or(if line { 80 } else { 210 })])
        })
    }

    /// A mark is meant to be amid the face.
    fn middle() -> [Vec<crate::frame::Point<crate::frame::Flat>>; 1] {
        [vec![crate::frame::Point::new(360.0, 120.0)]]
    }

    #[test]
    fn a_dot_on_a_line_is_a_mark_and_a_pale_stroke_across_it_is_not() {
        let dot = |x: f64, y: f64| (x.hypot(y) < 0.55).then_some(60);
        let alone = flat::read(&face(dot), 12.0, &middle());
        assert_eq!((alone.marks.len(), alone.unsure.len()), (1, 0));
        // The same spot, and a stroke through it a tenth darker than the face.
        let pale = |x: f64, y: f64| {
            let stroke = (x - 0.15 * y).abs() < 0.12 && y.abs() < 3.0 && y.abs() > 0.25;
            dot(x, y).or(stroke.then_some(188))
        };
        let crossed = flat::read(&face(pale), 12.0, &middle());
        assert_eq!(crossed.marks.len(), 0, "{:?}", crossed.marks);
        assert_eq!(crossed.unsure.len(), 1);
    }

    #[test]
    fn a_short_pale_stroke_aslant_through_a_tick_is_seen() {
        let tick = |x: f64, y: f64| (x.abs() < 0.2 && y.abs() < 1.9).then_some(60);
        let alone = flat::read(&face(tick), 12.0, &middle());
        assert_eq!((alone.marks.len(), alone.unsure.len()), (1, 0));
        // Both ways, and a tenth darker than the face: a hard pencil's.
        for side in [1.0, -1.0] {
            let struck = flat::read(
                &face(|x, y| {
                    let stroke = (0.8 * x + 0.6 * side * y).abs() < 0.18 && x.hypot(y) < 1.6;
                    let line = y.abs() < 0.25;
                    tick(x, y).or((stroke && !line).then_some(186))
                }),
                12.0,
                &middle(),
            );
            assert_eq!((struck.marks.len(), struck.unsure.len()), (0, 1), "{side}");
        }
    }

    /// Whether a mark amid the face is struck, of `strokes` at these angles, rad, that are 0.45 mm wide.
    fn struck(face: &GrayImage, kind: MarkKind, strokes: &[f64], line_is_known: bool) -> bool {
        let picture = Picture::new(std::borrow::Cow::Borrowed(face), None, 12.0);
        let shapes = components(&picture.mask, picture.width as usize, 12, |v| v & 1 != 0);
        let lines = if line_is_known {
            lines::find(&picture, &shapes)
        } else {
            Vec::new()
        };
        assert_eq!(lines.len(), usize::from(line_is_known));
        let own = |turn: &f64| OwnStroke {
            along: Vector2::new(turn.cos(), turn.sin()),
            width: 0.45 * 12.0,
        };
        let mark = FlatMark {
            at: Vector2::new(360.0, 120.0),
            cov: nalgebra::Matrix2::identity(),
            kind,
            size_mm: 1.0,
            ringed: false,
            crossed_out: false,
            strokes: strokes.iter().map(own).collect(),
            probability: 1.0,
        };
        is_struck(&picture, &lines, &[], std::slice::from_ref(&mark), &mark)
    }

    /// Within a stroke of 0.45 mm through (`off`, 0), turned by `turn` rad and reaching so far.
    fn stroke(x: f64, y: f64, turn: f64, off: f64, reach: f64) -> bool {
        let (s, c) = turn.sin_cos();
        let x = x - off;
        (c * y - s * x).abs() < 0.225 && (c * x + s * y).abs() < reach
    }

    #[test]
    fn a_stroke_that_is_none_of_a_marks_own_strikes_it_out_be_it_dark_or_off_the_middle() {
        let up = std::f64::consts::FRAC_PI_2;
        let tick = |x: f64, y: f64| stroke(x, y, up, 0.0, 1.8).then_some(60);
        let dot = |x: f64, y: f64| (x.hypot(y) < 0.5).then_some(60);
        let whole = |known| struck(&face(tick), MarkKind::Tick, &[up], known);
        assert!(!whole(true) && !whole(false));
        assert!(!struck(&face(dot), MarkKind::Dot, &[], true));
        for (level, off) in [(60, 0.0), (190, 0.0), (60, 0.25), (190, 0.25)] {
            for turn in [0.8, -0.8] {
                let through = |x: f64, y: f64| stroke(x, y, turn, off, 2.2).then_some(level);
                let over_tick = face(|x, y| tick(x, y).or(through(x, y)));
                for known in [true, false] {
                    let is_struck = struck(&over_tick, MarkKind::Tick, &[up], known);
                    assert!(is_struck, "{level} {off} {turn} {known}");
                }
                let over_dot = face(|x, y| dot(x, y).or(through(x, y)));
                let is_struck = struck(&over_dot, MarkKind::Dot, &[], true);
                assert!(is_struck, "{level} {off} {turn}");
            }
        }
    }

    #[test]
    fn a_stroke_no_longer_than_the_mark_strikes_it_out_too() {
        let up = std::f64::consts::FRAC_PI_2;
        let tick = |x: f64, y: f64| stroke(x, y, up, 0.0, 1.8);
        let dot = |x: f64, y: f64| x.hypot(y) < 0.5;
        for turn in [0.8, -0.8] {
            let short = |x: f64, y: f64| stroke(x, y, turn, 0.0, 1.15);
            for level in [60, 150] {
                let over_tick =
                    face(|x, y| tick(x, y).then_some(60).or(short(x, y).then_some(level)));
                let is_struck = struck(&over_tick, MarkKind::Tick, &[up], true);
                assert!(is_struck, "tick, {level} {turn}");
                let over_dot =
                    face(|x, y| dot(x, y).then_some(60).or(short(x, y).then_some(level)));
                let is_struck = struck(&over_dot, MarkKind::Dot, &[], true);
                assert!(is_struck, "dot, {level} {turn}");
            }
        }
        // An oval dot is no stroke, nor is one with a tail.
        let oval = face(|x, y| (x.hypot(y / 1.5) < 0.5).then_some(60));
        assert!(!struck(&oval, MarkKind::Dot, &[], true));
        let tail = |x: f64, y: f64| y > 0.0 && stroke(x, y, 0.9, 0.0, 1.3);
        let tailed = face(|x, y| (dot(x, y) || tail(x, y)).then_some(60));
        assert!(!struck(&tailed, MarkKind::Dot, &[], true));
    }

    #[test]
    fn the_flanks_of_a_blurred_cross_strike_nothing_out() {
        let soft = |x: f64, y: f64| {
            // Two strokes that fade out over a millimetre to each side.
            let fade = |d: f64, along: f64| {
                if along.abs() < 2.6 {
                    150.0 / (1.0 + (d / 0.5).powi(3).abs())
                } else {
                    0.0
                }
            };
            let ink = fade(x, y).max(fade(y, x));
            (ink > 2.0).then_some((210.0 - ink) as u8)
        };
        let up = std::f64::consts::FRAC_PI_2;
        let cross = face(soft);
        assert!(!struck(&cross, MarkKind::Cross, &[0.0, up], true));
        let x = face(|x, y| stroke(x, y, 0.8, 0.0, 2.4).then_some(60).or(soft(x, y)));
        assert!(struck(&x, MarkKind::Cross, &[0.0, up], true));
    }

    #[test]
    fn a_tick_and_a_much_paler_stroke_make_no_cross() {
        let tick = |x: f64, y: f64| (x.abs() < 0.2 && y.abs() < 1.9).then_some(60);
        let paler = |x: f64, y: f64| stroke(x, y, 0.9, 0.0, 2.0) && y.abs() > 0.25;
        let read = flat::read(
            &face(|x, y| tick(x, y).or(paler(x, y).then_some(160))),
            12.0,
            &[],
        );
        assert_eq!((read.marks.len(), read.unsure.len()), (0, 1));
    }

    #[test]
    fn a_pale_ring_leaves_no_dot_where_it_crosses_the_line() {
        let ring = |x: f64, y: f64| (x.hypot(y) - 2.8).abs() < 0.15;
        let pale = |x: f64, y: f64| {
            let line = y.abs() < 0.25;
            ring(x, y).then_some(if line { 55 } else { 190 })
        };
        let read = flat::read(&face(pale), 12.0, &[]);
        assert!(read.marks.is_empty(), "{:?}", read.marks);
    }

    #[test]
    fn a_ring_round_a_dot_on_a_line_is_no_stroke_through_it() {
        for (radius, pen) in [
            (1.3, 0.45),
            (1.6, 0.45),
            (2.0, 0.45),
            (2.4, 0.45),
            (1.7, 0.75),
        ] {
            let ringed = flat::read(
                &face(|x, y| {
                    let r = x.hypot(y);
                    (r < 0.55 || (r - radius).abs() < pen / 2.0).then_some(60)
                }),
                12.0,
                &[vec![crate::frame::Point::new(360.0, 120.0)]],
            );
            let marks: Vec<bool> = ringed.marks.iter().map(|m| m.ringed).collect();
            // So near its rim the dot cannot be told from the line: then the ring is told, and nothing is good.
            let is_near = radius - pen / 2.0 - 0.55 < 0.85;
            let told = is_near && marks.is_empty() && !ringed.unsure.is_empty();
            assert!(
                told || marks == [true],
                "radius {radius}: {:?}",
                ringed.unsure
            );
        }
    }
}
