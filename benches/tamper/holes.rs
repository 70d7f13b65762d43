//! Holes that are not as planned: unmarked, marked twice or elsewhere, and struck.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use nalgebra::Vector2;
use punchready::frame::{Point, Sheet};
use punchready::synth::marking::Style;
use punchready::synth::{Camera, Ink, Mark, Sensor, Shape};

use super::base::{ANY, Base, Needs};
use super::kinds::{Kind, Trouble};
use super::strays::other_pen;

const TICKS: Needs = Needs {
    rows: Some(Style::Tick),
    ruled: Some(true),
    ..ANY
};
const DOTS: Needs = Needs {
    rows: Some(Style::Dot),
    ..ANY
};
const CROSSES: Needs = Needs {
    singles: Some(Style::Cross),
    ..ANY
};
const RINGED: Needs = Needs {
    rows: Some(Style::Dot),
    ruled: Some(true),
    tolerance_mm: 0.4,
    ..ANY
};
/// Pale strokes show only in a photo that is not blurred much.
const PALE: Needs = Needs {
    px_per_mm: [6.0, 9.0],
    blur_px: [0.8, 1.2],
    blur_mm: 0.2,
    ..ANY
};
const PALE_TICKS: Needs = Needs {
    rows: Some(Style::Tick),
    ruled: Some(true),
    ..PALE
};
const PALE_DOTS: Needs = Needs {
    rows: Some(Style::Dot),
    ..PALE
};
const PALE_CROSSES: Needs = Needs {
    singles: Some(Style::Cross),
    ..PALE
};

pub(crate) const KINDS: [Kind; 18] = [
    Kind::wrong("missing", ANY, missing),
    Kind::wrong("off", ANY, off),
    Kind::wrong("row-off", ANY, row_off),
    Kind::wrong("double", ANY, |b| second_dot(b, [1.5, 3.0], None)),
    Kind::wrong("double-close", DOTS, |b| second_dot(b, [1.0, 1.4], None)),
    Kind::wrong("dot-beside-tick", TICKS, |b| {
        second_dot(b, [0.9, 1.4], Some(0.0))
    }),
    Kind::wrong("dot-beside-line-in-ring", RINGED, beside_line_in_ring),
    Kind::wrong("strike-tick", TICKS, |b| strike(b, true, [2.5, 6.0], 1.0)),
    Kind::wrong("strike-dot", DOTS, |b| strike(b, true, [2.5, 6.0], 1.0)),
    Kind::wrong("strike-cross", CROSSES, |b| {
        strike(b, false, [2.5, 6.0], 1.0)
    }),
    Kind::wrong("pale-strike-tick", PALE_TICKS, |b| {
        strike(b, true, [2.5, 6.0], 0.6)
    }),
    Kind::wrong("pale-strike-dot", PALE_DOTS, |b| {
        strike(b, true, [2.5, 6.0], 0.6)
    }),
    Kind::wrong("pale-strike-cross", PALE_CROSSES, |b| {
        strike(b, false, [2.5, 6.0], 0.6)
    }),
    Kind::wrong("short-strike", TICKS, |b| strike(b, true, [2.0, 2.6], 1.0)),
    Kind::wrong("strike-of-another-pen", ANY, strike_of_another_pen),
    Kind::wrong("x-over-hole", ANY, x_over_hole),
    Kind::wrong("scribbled-over", ANY, scribbled_over),
    Kind::wrong("strike-in-one-photo", PALE_TICKS, strike_in_one_photo),
];

fn heading(angle: f64) -> Vector2<f64> {
    Vector2::new(angle.cos(), angle.sin())
}

/// A hole of a row or, a third of the time, a single one; and where its mark is.
fn some_hole(base: &mut Base) -> (String, Point<Sheet>) {
    let of_row = base.rng.unit() < 0.67;
    let hole = base.any_hole(of_row);
    let at = base.place_of(&hole);
    (hole, at)
}

fn missing(base: &mut Base) -> Vec<Trouble> {
    let (hole, at) = some_hole(base);
    base.scene
        .marks
        .retain(|m| m.name.as_deref() != Some(&hole));
    vec![Trouble::hole(&hole, at)]
}

fn off(base: &mut Base) -> Vec<Trouble> {
    let (hole, at) = some_hole(base);
    let [along, _] = base.ways(&hole);
    let sign = if base.rng.unit() < 0.5 { -1.0 } else { 1.0 };
    let planned = base.plan.hole(&hole).unwrap().at;
    // A tick stays on its line: only its place along the row is off.
    let by = along * (1.5 * base.plan.tolerance_mm * sign - (at - planned).dot(&along));
    base.mark_of(&hole).shift(by.x, by.y);
    vec![Trouble::hole(&hole, at + by)]
}

/// A whole row, with its line, too far from its edge.
fn row_off(base: &mut Base) -> Vec<Trouble> {
    let hole = base.any_hole(true);
    let [_, across] = base.ways(&hole);
    let row = base.plan.hole(&hole).unwrap().row.clone();
    let by = across * (1.5 * base.plan.tolerance_mm);
    let rows = base.plan.rows.iter();
    let line = rows
        .clone()
        .position(|r| Some(&r.name) == row.as_ref())
        .unwrap();
    let holes: Vec<String> = base
        .plan
        .holes
        .iter()
        .filter(|h| h.row == row)
        .map(|h| h.name.clone())
        .collect();
    for name in &holes {
        base.mark_of(name).shift(by.x, by.y);
    }
    let ruled = |m: &&mut Mark| matches!(m.shape, Shape::Line { .. });
    if let Some(line) = base.scene.marks.iter_mut().filter(ruled).nth(line) {
        line.shift(by.x, by.y);
    }
    holes
        .iter()
        .map(|name| Trouble::hole(name, base.place_of(name)))
        .collect()
}

/// A second dot so far from a mark, along its row turned by `turn`, or anywhere.
fn second_dot(base: &mut Base, [near, far]: [f64; 2], turn: Option<f64>) -> Vec<Trouble> {
    let hole = base.any_hole(true);
    let at = base.place_of(&hole);
    let [along, _] = base.ways(&hole);
    let half_turns = (base.rng.unit() * 2.0).floor() * PI;
    let turn = turn.map_or_else(|| base.rng.between(0.0, TAU), |t| t + half_turns);
    let way = heading(along.y.atan2(along.x) + turn);
    let at = at + way * base.rng.between(near, far);
    let size = base.rng.between(0.6, 1.0);
    base.draw(Mark::dot(at.x, at.y).sized(size));
    vec![Trouble::stray(at).or_hole(&hole)]
}

/// The mark itself stands beside its ruled line, and a ring says "drill here".
fn beside_line_in_ring(base: &mut Base) -> Vec<Trouble> {
    /// Off the line, mm: 1.7 times the tolerance.
    const OFF_MM: f64 = 0.67;
    let hole = base.any_hole(true);
    let [_, across] = base.ways(&hole);
    let side = if base.rng.unit() < 0.5 {
        -OFF_MM
    } else {
        OFF_MM
    };
    let planned = base.plan.hole(&hole).unwrap().at;
    let at = base.on_line(planned) + across * side;
    let from = base.place_of(&hole);
    let size = base.rng.between(0.65, 0.95);
    let mark = base.mark_of(&hole);
    mark.shift(at.x - from.x, at.y - from.y);
    *mark = mark.clone().sized(size);
    let ring = base.rng.between(5.5, 7.5);
    base.draw(Mark::ring(at.x, at.y).sized(ring));
    vec![Trouble::hole(&hole, at)]
}

/// A slanting stroke over `at` in this ink; slanting, for a stroke along a ruled line does not show and one square to it
/// may be a tick.
fn stroke_over(base: &mut Base, hole: &str, at: Point<Sheet>, [low, high]: [f64; 2], ink: Ink) {
    let [along, _] = base.ways(hole);
    let quarter = (base.rng.unit() * 4.0).floor() * FRAC_PI_2;
    let angle = along.y.atan2(along.x) + quarter + base.rng.between(30.0, 60.0_f64).to_radians();
    let aside = heading(angle + FRAC_PI_2) * base.rng.between(-0.15, 0.15);
    let slip = heading(angle) * base.rng.between(-0.3, 0.3);
    let at = at + aside + slip;
    let (length, width) = (base.rng.between(low, high), base.rng.between(0.35, 0.55));
    base.scene.marks.push(
        Mark::new(Shape::Tick {
            at,
            angle_rad: angle,
            length_mm: length,
            width_mm: width,
        })
        .inked(ink),
    );
}

/// A strike of this pen, so dense beside it or down to two thirds of that.
fn strike(base: &mut Base, of_row: bool, length: [f64; 2], dense: f64) -> Vec<Trouble> {
    let hole = base.any_hole(of_row);
    let at = base.place_of(&hole);
    let share = dense * base.rng.between(0.67, 1.0);
    let ink = Ink {
        density: base.hand.ink.density * share,
        ..base.hand.ink
    };
    stroke_over(base, &hole, at, length, ink);
    vec![Trouble::hole(&hole, at)]
}

fn strike_of_another_pen(base: &mut Base) -> Vec<Trouble> {
    let (hole, at) = some_hole(base);
    let ink = other_pen(base);
    stroke_over(base, &hole, at, [3.0, 6.0], ink);
    vec![Trouble::hole(&hole, at)]
}

fn x_over_hole(base: &mut Base) -> Vec<Trouble> {
    let (hole, at) = some_hole(base);
    let size = base.rng.between(4.5, 8.0);
    base.draw(Mark::cross_out(at.x, at.y).sized(size));
    vec![Trouble::hole(&hole, at)]
}

/// Strokes to and fro over a mark.
fn scribbled_over(base: &mut Base) -> Vec<Trouble> {
    let (hole, at) = some_hole(base);
    for i in 0..6 {
        let angle = if i % 2 == 0 { 0.9 } else { 1.25 } + 0.05 * base.rng.normal();
        let by = f64::from(i) * 0.5 - 1.25;
        let length = base.rng.between(3.0, 4.0);
        base.draw(Mark::tick(at.x + by, at.y, angle).sized(length));
    }
    vec![Trouble::hole(&hole, at)]
}

/// The strike shows in the first photo; the second is too blurred for it.
fn strike_in_one_photo(base: &mut Base) -> Vec<Trouble> {
    let told = strike(base, true, [2.5, 4.0], 0.7);
    let first = &base.scene.camera;
    // From the other side, a little further away, and not well focused.
    let lean = first.position - first.look_at;
    let position = first.look_at
        + nalgebra::Vector3::new(-lean.x, -lean.y, lean.z) * base.rng.between(1.05, 1.2);
    let camera = Camera {
        position,
        ..first.clone()
    };
    let sensor = Sensor {
        blur_px: base.rng.between(2.2, 2.8),
        ..base.scene.sensor.clone()
    };
    base.second = Some((camera, sensor));
    told
}
