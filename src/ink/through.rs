//! A scratch or a pale stroke across a ruled line shows darkest where it meets the line, and there looks like
//! a dot. A dot ends; a stroke goes on, straight and without a pause, on both sides of the line. And a stroke too pale
//! for the ink mask may strike a mark out.

use nalgebra::Vector2;

use super::MarkKind;
use super::lines::Line;
use super::name::{FlatMark, Name};
use super::pen::Pen;
use super::picture::Picture;

/// How far the ink beyond a dot is followed on each side, mm, and how far from its rim that starts.
const FOLLOW_MM: f64 = 1.2;
const CLEAR_MM: f64 = 0.35;
/// Directions looked in, to each side of square to the line, rad, and the step between them.
const LEAN: f64 = 0.7;
const STEP: f64 = 0.05;
/// A stroke is this much darker than the face beside it, at least; 0 bare, 1 black.
const LEAST: f64 = 0.05;
/// And this many times what the face shows in the same directions at its side.
const OVER_FACE: f64 = 2.0;
/// Where the face is looked at for comparison, along the line from the dot, mm.
const BESIDE_MM: [f64; 6] = [-3.6, -2.8, -2.0, 2.0, 2.8, 3.6];

/// Why a dot is unsure that a stroke runs through, and a mark.
pub(super) const ACROSS: &str = "a pale stroke across a ruled line: a scratch, or a tick";
pub(super) const THROUGH: &str = "a pale stroke runs through a mark: struck out, or a scratch";

/// The name as it was, or unsure for a dot on a line that a stroke runs through.
pub(super) fn unless_stroke(picture: &Picture, lines: &[Line], name: Name) -> Name {
    match name {
        Name::Mark(m)
            if m.kind == MarkKind::Dot && lines.iter().any(|l| runs_through(picture, l, &m)) =>
        {
            Name::Unsure {
                at: m.at,
                size_mm: m.size_mm,
                why: ACROSS,
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
    let here = straightest(picture, line, dot.at, from);
    if here < LEAST {
        return false;
    }
    let mut beside =
        BESIDE_MM.map(|mm| straightest(picture, line, line.point(s + mm * picture.scale, t), from));
    // The median: another mark may stand at one of these places.
    beside.sort_by(f64::total_cmp);
    here > OVER_FACE * beside[beside.len() / 2]
}

/// The most ink that one straight stroke through `at` has on its paler side: the contrast that three quarters of
/// its length reach. The mean would do for a scratch as well, but a ring round a dot raises it too.
fn straightest(picture: &Picture, line: &Line, at: Vector2<f64>, from: f64) -> f64 {
    let across = Vector2::new(-line.along.y, line.along.x);
    let steps = (LEAN / STEP) as i32;
    let count = (FOLLOW_MM * picture.scale).ceil() as i32;
    (-steps..=steps)
        .map(|k| {
            let lean = f64::from(k) * STEP;
            let direction = across * lean.cos() + line.along * lean.sin();
            paler_side(picture, at, direction, from / lean.cos(), count)
        })
        .fold(0.0, f64::max)
}

/// A pale stroke through a mark starts this far from its middle at least, mm, and is followed so far; directions are
/// looked in at steps of so much, rad.
const THROUGH_MM: f64 = 0.8;
const GO_ON_MM: f64 = 0.9;
const WAY: f64 = 0.1;
/// What the mark's own strokes are is seen over so much just before that, mm.
const NEAR_MM: f64 = 0.4;
/// Its contrast at least, and how many times what the face shows beside the mark in any direction.
const STRIKE: f64 = 0.06;
const STRIKE_OVER_FACE: f64 = 2.5;
/// Nearer than this to a ruled line's direction ink is the line's, and nearer than the second to one in which the mark's own
/// strokes were seen it is theirs, rad.
const OF_LINE: f64 = 0.35;
const OWN: f64 = 0.2;

/// The name as it was, or unsure for a mark through which a stroke runs that is paler than `pen`'s: it may be struck out.
pub(super) fn unless_struck(picture: &Picture, lines: &[Line], pen: Pen, name: Name) -> Name {
    let mark = match &name {
        Name::Mark(m) => m,
        Name::Crossing(c) => &c.mark,
        _ => return name,
    };
    if !is_struck(picture, lines, pen.own(), mark) {
        return name;
    }
    Name::Unsure {
        at: mark.at,
        size_mm: mark.size_mm,
        why: THROUGH,
    }
}

fn is_struck(picture: &Picture, lines: &[Line], dark: f64, mark: &FlatMark) -> bool {
    let mm = picture.scale;
    let ways: Vec<f64> = (0..(std::f64::consts::PI / WAY) as i32)
        .map(|k| f64::from(k) * WAY)
        .collect();
    let radius_mm = match mark.kind {
        MarkKind::Dot => mark.size_mm / 2.0 + CLEAR_MM,
        _ => 0.0,
    };
    let from = radius_mm.max(THROUGH_MM) * mm;
    let count = (GO_ON_MM * mm).ceil() as i32;
    let unit = |way: f64| Vector2::new(way.cos(), way.sin());
    let along = |at: Vector2<f64>, way: f64| paler_side(picture, at, unit(way), from, count);
    let seen: Vec<f64> = ways.iter().map(|&way| along(mark.at, way)).collect();
    // The ruled lines through the mark and its own strokes.
    let of_lines = lines.iter().filter(|l| l.is_under(mark.at, from));
    let of_lines = of_lines.map(|l| (l.along.y.atan2(l.along.x), OF_LINE));
    let mut own: Vec<(f64, f64)> = of_lines.collect();
    // A tick may be short, and longer on one side.
    let near = (NEAR_MM * mm).ceil() as i32;
    let is_dark = |&way: &f64| {
        let start = from - f64::from(near);
        [unit(way), -unit(way)]
            .iter()
            .any(|way| one_side(picture, mark.at, *way, start, near) > dark)
    };
    own.extend(ways.iter().copied().filter(is_dark).map(|way| (way, OWN)));
    let is_own = |way: f64| {
        own.iter()
            .any(|(o, within)| (o - way).sin().abs() < within.sin())
    };
    let free = || ways.iter().zip(&seen).filter(|(way, _)| !is_own(**way));
    let here = free().map(|(_, c)| *c).fold(0.0, f64::max);
    if here < STRIKE {
        return false;
    }
    let line = own.first().map_or(0.0, |(way, _)| *way);
    let aside = Vector2::new(line.cos(), line.sin());
    let mut beside = BESIDE_MM.map(|d| {
        let at = mark.at + aside * (d * mm);
        free().map(|(way, _)| along(at, *way)).fold(0.0, f64::max)
    });
    // The median: another mark may stand at one of these places.
    beside.sort_by(f64::total_cmp);
    here > STRIKE_OVER_FACE * beside[beside.len() / 2]
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

    use crate::ink::flat;

    /// 12 px/mm: a ruled line 0.5 mm wide along the middle, and `more` besides.
    fn face(more: impl Fn(f64, f64) -> Option<u8>) -> GrayImage {
        GrayImage::from_fn(720, 240, |x, y| {
            let (x, y) = ((f64::from(x) - 360.0) / 12.0, (f64::from(y) - 120.0) / 12.0);
            let line = y.abs() < 0.25 && x.abs() < 25.0;
            Luma([more(x, y).unwrap_or(if line { 80 } else { 210 })])
        })
    }

    #[test]
    fn a_dot_on_a_line_is_a_mark_and_a_pale_stroke_across_it_is_not() {
        let dot = |x: f64, y: f64| (x.hypot(y) < 0.55).then_some(60);
        let alone = flat::read(&face(dot), 12.0);
        assert_eq!((alone.marks.len(), alone.unsure.len()), (1, 0));
        // The same spot, and a stroke through it a tenth darker than the face.
        let pale = |x: f64, y: f64| {
            let stroke = (x - 0.15 * y).abs() < 0.12 && y.abs() < 3.0 && y.abs() > 0.25;
            dot(x, y).or(stroke.then_some(188))
        };
        let crossed = flat::read(&face(pale), 12.0);
        assert_eq!(crossed.marks.len(), 0, "{:?}", crossed.marks);
        assert_eq!(crossed.unsure.len(), 1);
    }

    #[test]
    fn a_short_pale_stroke_aslant_through_a_tick_is_seen() {
        let tick = |x: f64, y: f64| (x.abs() < 0.2 && y.abs() < 1.9).then_some(60);
        let alone = flat::read(&face(tick), 12.0);
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
            );
            assert_eq!((struck.marks.len(), struck.unsure.len()), (0, 1), "{side}");
        }
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
            );
            let marks: Vec<bool> = ringed.marks.iter().map(|m| m.ringed).collect();
            assert_eq!(marks, [true], "radius {radius}: {:?}", ringed.unsure);
        }
    }
}
