//! Dimensions as a drafter places them: outside the piece, all from one datum edge, none chained.

use std::fmt::Write as _;

use super::{FAINT, THIN, line, text};
use crate::draw::num;

/// Height of dimension figures, mm.
pub(super) const FIGURES_MM: f64 = 2.3;
/// Figures of neighbouring dimensions are at least this far apart, mm.
pub(super) const APART_MM: f64 = 3.1;
/// Gap between the piece and a dimension's line, mm.
const GAP_MM: f64 = 0.8;
/// Length of an arrow, mm.
const ARROW_MM: f64 = 1.8;

/// A side of the piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Bottom,
    Top,
    Left,
    Right,
}

impl Side {
    /// The paper point at `s` along the side (paper x or y) and `out` mm outward from `edge`.
    pub(super) fn point(self, edge: f64, s: f64, out: f64) -> [f64; 2] {
        match self {
            Self::Bottom => [s, edge + out],
            Self::Top => [s, edge - out],
            Self::Left => [edge - out, s],
            Self::Right => [edge + out, s],
        }
    }
}

/// Places at least `APART_MM` apart and within the bounds, as near to the wanted ones as may be; these are in order.
fn spread(wanted: &[f64], [low, high]: [f64; 2]) -> Vec<f64> {
    let long = APART_MM * (wanted.len() as f64 - 1.0);
    // Too many for the bounds stand out of them by the same at both ends.
    let over = ((long - (high - low)) / 2.0).max(0.0);
    let within = |i: usize, s: f64| {
        let before = APART_MM * i as f64;
        s.max(low - over + before)
            .min(high + over - (long - before))
    };
    let mut forward = wanted.to_vec();
    for i in 1..forward.len() {
        forward[i] = forward[i].max(forward[i - 1] + APART_MM);
    }
    let mut backward = wanted.to_vec();
    for i in (1..backward.len()).rev() {
        backward[i - 1] = backward[i - 1].min(backward[i] - APART_MM);
    }
    // Both keep their distances, so their mean does, and it is pushed to neither side.
    forward
        .iter()
        .zip(&backward)
        .enumerate()
        .map(|(i, (f, b))| (within(i, *f) + within(i, *b)) / 2.0)
        .collect()
}

/// Ordinates: a line from each place outward to its figure. `places` are the paper place along the side, how
/// far inside the piece the line starts, and the figure. Figures stay within `bounds`, paper places too.
pub(super) fn ordinates(
    out: &mut String,
    side: Side,
    edge: f64,
    from_mm: f64,
    places: &[(f64, f64, String)],
    bounds: [f64; 2],
) {
    let mut places = places.to_vec();
    places.sort_by(|a, b| a.0.total_cmp(&b.0));
    let wanted: Vec<f64> = places.iter().map(|p| p.0).collect();
    for ((s, inside, figure), label) in places.iter().zip(spread(&wanted, bounds)) {
        let knee = from_mm + 1.0;
        let mut d = String::new();
        for (i, p) in [
            side.point(edge, *s, -inside + GAP_MM.min(*inside)),
            side.point(edge, *s, from_mm),
            side.point(edge, label, knee + 1.2),
            side.point(edge, label, knee + 2.4),
        ]
        .iter()
        .enumerate()
        {
            let _ = write!(
                d,
                "{}{} {}",
                if i == 0 { "M" } else { "L" },
                num(p[0]),
                num(p[1])
            );
        }
        let _ = writeln!(out, "<path d=\"{d}\" {FAINT}/>");
        // Figures read from below and from the right, as on any drawing.
        let half = FIGURES_MM * 0.36;
        let place = match side {
            Side::Bottom | Side::Top => side.point(edge, label + half, knee + 3.0),
            Side::Left | Side::Right => side.point(edge, label + half, knee + 3.0),
        };
        let (anchor, turn) = match side {
            Side::Bottom => ("end", -90.0),
            Side::Top => ("start", -90.0),
            Side::Left => ("end", 0.0),
            Side::Right => ("start", 0.0),
        };
        text(out, place, FIGURES_MM, (anchor, turn), figure);
    }
}

/// An arrowhead at `tip`, pointing along `[dx, dy]`.
fn arrow(out: &mut String, tip: [f64; 2], [dx, dy]: [f64; 2]) {
    let base = [tip[0] - dx * ARROW_MM, tip[1] - dy * ARROW_MM];
    let half = ARROW_MM * 0.17;
    let _ = writeln!(
        out,
        "<path d=\"M{} {}L{} {}L{} {}z\"/>",
        num(tip[0]),
        num(tip[1]),
        num(base[0] - dy * half),
        num(base[1] + dx * half),
        num(base[0] + dy * half),
        num(base[1] - dx * half)
    );
}

/// An overall dimension: a line between `a` and `b` along the side, `off` mm outside it, the figure in its
/// middle.
pub(super) fn overall(
    out: &mut String,
    side: Side,
    edge: f64,
    (a, b): (f64, f64),
    off: f64,
    figure: &str,
) {
    for s in [a, b] {
        line(
            out,
            side.point(edge, s, GAP_MM),
            side.point(edge, s, off + 1.2),
            THIN,
        );
    }
    let (p, q) = (side.point(edge, a, off), side.point(edge, b, off));
    line(out, p, q, THIN);
    let upright = matches!(side, Side::Left | Side::Right);
    let (one, other) = if upright {
        ([0.0, -1.0], [0.0, 1.0])
    } else {
        ([-1.0, 0.0], [1.0, 0.0])
    };
    arrow(out, p, one);
    arrow(out, q, other);
    let middle = (a + b) / 2.0;
    let size = FIGURES_MM * 1.15;
    // On white ground across its line.
    let long = figure.chars().count() as f64 * size * 0.66 + 1.5;
    let centre = side.point(edge, middle, off);
    let (w, h) = if upright {
        (size * 1.3, long)
    } else {
        (long, size * 1.3)
    };
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#fff\"/>",
        num(centre[0] - w / 2.0),
        num(centre[1] - h / 2.0),
        num(w),
        num(h)
    );
    let (place, turn) = if upright {
        ([centre[0] + size * 0.36, centre[1]], -90.0)
    } else {
        ([centre[0], centre[1] + size * 0.36], 0.0)
    };
    text(out, place, size, ("middle", turn), figure);
}

/// A short dimension, too narrow for figures between its arrows: the distance of a row from its edge. `edge_at`
/// and `row_at` are paper places along the side.
pub(super) fn narrow(
    out: &mut String,
    side: Side,
    edge: f64,
    (edge_at, row_at): (f64, f64),
    off: f64,
    figure: &str,
) {
    for s in [edge_at, row_at] {
        line(
            out,
            side.point(edge, s, GAP_MM),
            side.point(edge, s, off + 1.0),
            THIN,
        );
    }
    let upright = matches!(side, Side::Left | Side::Right);
    let inward = (row_at - edge_at).signum();
    let way = |sign: f64| if upright { [0.0, sign] } else { [sign, 0.0] };
    // The tails stand outside, each long enough for its arrow.
    let tail = ARROW_MM + 1.4;
    for (tip, sign) in [(edge_at, inward), (row_at, -inward)] {
        line(
            out,
            side.point(edge, tip - sign * tail, off),
            side.point(edge, tip, off),
            THIN,
        );
        arrow(out, side.point(edge, tip, off), way(sign));
    }
    // The figure stands behind the tail on the row's side.
    let end = row_at + inward * (tail + 0.6);
    let place = side.point(edge, end, off);
    let half = FIGURES_MM * 0.36;
    if upright {
        let anchor = if inward < 0.0 { "start" } else { "end" };
        text(
            out,
            [place[0] + half, place[1]],
            FIGURES_MM,
            (anchor, -90.0),
            figure,
        );
    } else {
        let anchor = if inward > 0.0 { "start" } else { "end" };
        text(
            out,
            [place[0], place[1] + half],
            FIGURES_MM,
            (anchor, 0.0),
            figure,
        );
    }
}
