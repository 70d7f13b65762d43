//! Live marks that no hole asked for, in the open and on all that may hide them.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, PI, TAU};

use nalgebra::Vector2;
use punchready::frame::{Point, Sheet};
use punchready::synth::marking::Style;
use punchready::synth::{Glare, Ink, Mark, RingStyle, Shape, SoftShadow, Surface};

use super::base::{ANY, Base, Needs, card_half_mm};
use super::kinds::{Kind, Trouble};

const TICKS: Needs = Needs {
    rows: Some(Style::Tick),
    ruled: Some(true),
    ..ANY
};
const RULED: Needs = Needs {
    ruled: Some(true),
    ..ANY
};
const CROSSES: Needs = Needs {
    singles: Some(Style::Cross),
    ..ANY
};
const CARD: Needs = Needs {
    card_on: true,
    ..ANY
};
/// Small and pale ink shows only in a photo that is not blurred much.
const CLEAR: Needs = Needs {
    px_per_mm: [6.0, 12.0],
    blur_px: [0.6, 1.4],
    blur_mm: 0.15,
    ..ANY
};

pub(crate) const KINDS: [Kind; 26] = [
    Kind::wrong("dot-on-tick", TICKS, dot_on_tick),
    Kind::wrong("dot-at-tick-end", TICKS, dot_at_tick_end),
    Kind::wrong("dot-on-crossing", RULED, dot_on_crossing),
    Kind::wrong("dot-on-cross-arm", CROSSES, dot_on_cross_arm),
    Kind::wrong("dot-on-print", ANY, |b| dot_on_print(b, 'H', [0.0, 1.5])),
    Kind::wrong("dot-in-letter", ANY, |b| dot_on_print(b, '0', [2.0, 3.0])),
    Kind::wrong("dot-at-line-end", RULED, dot_at_line_end),
    Kind::wrong("dot-on-x-arm", ANY, |b| dot_at_x(b, [0.0, 0.0])),
    Kind::wrong("dot-beside-x", ANY, |b| dot_at_x(b, [0.7, 1.2])),
    Kind::wrong("dot-on-ring", ANY, dot_on_ring),
    Kind::wrong("stray-dot", ANY, stray_dot),
    Kind::wrong("stray-dot-on-line", RULED, stray_dot_on_line),
    Kind::wrong("stray-tick-on-line", RULED, stray_tick_on_line),
    Kind::wrong("stray-tick", ANY, stray_tick),
    Kind::wrong("stray-cross", ANY, stray_cross),
    Kind::wrong("ringed-stray", ANY, ringed_stray),
    Kind::wrong("stray-near-card", CARD, stray_near_card),
    Kind::wrong("stray-near-edge", ANY, stray_near_edge),
    Kind::wrong("pale-stray", CLEAR, pale_stray),
    Kind::wrong("small-stray", CLEAR, small_stray),
    Kind::wrong("pencil-stray", CLEAR, pencil_stray),
    Kind::wrong("stray-of-another-pen", ANY, stray_of_another_pen),
    Kind::wrong("stray-in-shadow-edge", ANY, stray_in_shadow_edge),
    Kind::wrong("stray-in-glare", ANY, stray_in_glare),
    Kind::wrong("stray-on-fingerprint", ANY, stray_on_fingerprint),
    Kind::wrong("stray-on-scratch", ANY, stray_on_scratch),
];

/// A dot of this pen, from and to this diameter, mm.
fn dot(base: &mut Base, at: Point<Sheet>, [low, high]: [f64; 2]) {
    let size = base.rng.between(low, high);
    base.draw(Mark::dot(at.x, at.y).sized(size));
}

fn either_way(base: &mut Base) -> f64 {
    if base.rng.unit() < 0.5 { -1.0 } else { 1.0 }
}

fn heading(angle: f64) -> Vector2<f64> {
    Vector2::new(angle.cos(), angle.sin())
}

/// A long tick of a row: its hole, its middle and its direction.
fn long_tick(base: &mut Base, length: f64) -> (String, Point<Sheet>, Vector2<f64>) {
    let hole = base.any_hole(true);
    let mark = base.mark_of(&hole);
    let at = mark.at();
    let Shape::Tick {
        angle_rad,
        length_mm,
        ..
    } = &mut mark.shape
    else {
        panic!("{hole} is not marked by a tick");
    };
    *length_mm = length;
    let way = heading(*angle_rad);
    (hole, at, way)
}

fn dot_on_tick(base: &mut Base) -> Vec<Trouble> {
    let length = base.rng.between(4.2, 5.0);
    let (hole, at, way) = long_tick(base, length);
    let off = base.rng.between(1.1, 1.8) * either_way(base);
    let at = at + way * off;
    dot(base, at, [0.6, 1.2]);
    vec![Trouble::stray(at).or_hole(&hole)]
}

fn dot_at_tick_end(base: &mut Base) -> Vec<Trouble> {
    let length = base.rng.between(3.4, 4.4);
    let (hole, at, way) = long_tick(base, length);
    let at = at + way * (length / 2.0 * either_way(base));
    dot(base, at, [0.65, 1.1]);
    vec![Trouble::stray(at).or_hole(&hole)]
}

/// The ruled lines as drawn.
fn lines(base: &Base) -> Vec<[Point<Sheet>; 2]> {
    let marks = base.scene.marks.iter();
    marks
        .filter_map(|m| match m.shape {
            Shape::Line { from, to, .. } => Some([from, to]),
            _ => None,
        })
        .collect()
}

fn dot_on_crossing(base: &mut Base) -> Vec<Trouble> {
    let [[a, b], [c, d]] = lines(base)[..2] else {
        panic!("two rows are ruled");
    };
    let (u, v, w) = (b - a, d - c, c - a);
    let t = (w.x * v.y - w.y * v.x) / (u.x * v.y - u.y * v.x);
    let at = a + u * t;
    dot(base, at, [0.6, 1.0]);
    vec![Trouble::stray(at)]
}

fn dot_on_cross_arm(base: &mut Base) -> Vec<Trouble> {
    let hole = base.any_hole(false);
    let mark = base.mark_of(&hole);
    let at = mark.at();
    let Shape::Cross {
        angle_rad,
        length_mm,
        ..
    } = &mut mark.shape
    else {
        panic!("{hole} is not marked by a cross");
    };
    *length_mm = 3.4;
    let angle = *angle_rad;
    let arm = (base.rng.unit() * 4.0).floor() * FRAC_PI_2;
    let at = at + heading(angle + arm) * base.rng.between(0.8, 1.3);
    dot(base, at, [0.6, 0.95]);
    vec![Trouble::stray(at).or_hole(&hole)]
}

/// Pale print with a black dot at this place of its letter's grid of 5 x 7.
fn dot_on_print(base: &mut Base, letter: char, [column, row]: [f64; 2]) -> Vec<Trouble> {
    const TEXT: &str = "2024-H0";
    let height = base.rng.between(2.6, 4.2);
    let start = print(base, TEXT, height);
    let pitch = height / 6.0;
    let left = TEXT.find(letter).unwrap() as f64 * 6.6 * pitch;
    let at = start + Vector2::new(left + column * pitch, row * pitch);
    dot(base, at, [0.5, 0.7]);
    vec![Trouble::stray(at)]
}

/// A pale row of print in the open; where it starts.
pub(crate) fn print(base: &mut Base, text: &str, height: f64) -> Point<Sheet> {
    let length = text.len() as f64 * 1.1 * height;
    let middle = base.open_run(length, 0.7 * height + 1.0);
    let start = middle + Vector2::new(-length, -height) / 2.0;
    let density = base.rng.between(0.2, 0.4);
    let mut stamp = Mark::stamp(start.x, start.y, 0.0, text)
        .sized(height)
        .dense(density);
    if let Shape::Text { joined, .. } = &mut stamp.shape {
        *joined = base.rng.unit() < 0.7;
    }
    base.scene.marks.push(stamp);
    start
}

fn dot_at_line_end(base: &mut Base) -> Vec<Trouble> {
    let back = base.rng.between(2.5, 5.0);
    let marks = base.scene.marks.iter_mut();
    let mut end = None;
    for mark in marks {
        if let (
            Shape::Line {
                from, to, width_mm, ..
            },
            None,
        ) = (&mut mark.shape, end)
        {
            *width_mm = 0.4;
            *to = *to + (*from - *to).normalize() * back;
            end = Some(*to);
        }
    }
    let at = end.unwrap();
    dot(base, at, [0.75, 0.9]);
    vec![Trouble::stray(at)]
}

/// A stray that was crossed out, and a live dot by the arm of its X, so far to the side of it.
fn dot_at_x(base: &mut Base, [near, far]: [f64; 2]) -> Vec<Trouble> {
    let middle = base.open(6.0);
    dot(base, middle, [0.7, 0.9]);
    base.draw(Mark::cross_out(middle.x, middle.y));
    let angle = FRAC_PI_4 + (base.rng.unit() * 4.0).floor() * FRAC_PI_2;
    let aside = base.rng.between(near, far.max(near + 1e-9)) * either_way(base);
    let along = base.rng.between(1.9, 2.9);
    let at = middle + heading(angle) * along + heading(angle + FRAC_PI_2) * aside;
    dot(base, at, [0.65, 1.0]);
    vec![Trouble::stray(at)]
}

fn dot_on_ring(base: &mut Base) -> Vec<Trouble> {
    let hole = base.any_hole(false);
    let middle = base.place_of(&hole);
    let size = base.rng.between(6.5, 8.0);
    base.draw(Mark::ring(middle.x, middle.y).sized(size));
    let at = middle + heading(base.rng.between(0.0, TAU)) * (size / 2.0);
    dot(base, at, [0.75, 1.1]);
    vec![Trouble::stray(at).or_hole(&hole)]
}

fn stray_dot(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    dot(base, at, [0.55, 1.0]);
    vec![Trouble::stray(at)]
}

/// A place on a ruled line halfway between two of its holes, and the line's direction.
fn between_holes(base: &mut Base) -> (Point<Sheet>, Vector2<f64>) {
    let hole = base.any_hole(true);
    let [along, _] = base.ways(&hole);
    let holes = &base.plan.holes;
    let i = holes.iter().position(|h| h.name == hole).unwrap();
    let half = holes[i].at.distance(holes[i + 1].at) / 2.0;
    let slip = base.rng.between(-1.5, 1.5);
    (
        base.on_line(base.plan.holes[i].at + along * (half + slip)),
        along,
    )
}

fn stray_dot_on_line(base: &mut Base) -> Vec<Trouble> {
    let (at, _) = between_holes(base);
    dot(base, at, [0.75, 1.1]);
    vec![Trouble::stray(at)]
}

fn stray_tick_on_line(base: &mut Base) -> Vec<Trouble> {
    let (at, along) = between_holes(base);
    let angle = along.y.atan2(along.x) + FRAC_PI_2 + 0.05 * base.rng.normal();
    let length = base.rng.between(2.5, 4.5);
    base.draw(Mark::tick(at.x, at.y, angle).sized(length));
    vec![Trouble::stray(at)]
}

fn stray_tick(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(3.0);
    let (angle, length) = (base.rng.between(0.0, PI), base.rng.between(2.0, 4.0));
    base.draw(Mark::tick(at.x, at.y, angle).sized(length));
    vec![Trouble::stray(at)]
}

fn stray_cross(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(3.0);
    let (angle, length) = (base.rng.between(0.0, PI), base.rng.between(2.2, 3.5));
    base.draw(Mark::cross(at.x, at.y, angle).sized(length));
    vec![Trouble::stray(at)]
}

fn ringed_stray(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(5.0);
    dot(base, at, [0.6, 1.0]);
    let size = base.rng.between(5.0, 8.0);
    let mut ring = Mark::ring(at.x, at.y).sized(size);
    if let Shape::Ring { style, .. } = &mut ring.shape {
        let styles = [RingStyle::Closed, RingStyle::Open, RingStyle::Overshooting];
        *style = styles[(base.rng.unit() * 3.0) as usize % 3];
    }
    base.draw(ring);
    vec![Trouble::stray(at).reaching(size / 2.0)]
}

fn stray_near_card(base: &mut Base) -> Vec<Trouble> {
    let card = base.scene.cards[0].clone();
    let [w, h] = card_half_mm(&card);
    let along = base.rng.between(-0.8, 0.8) * w;
    let away = (h + base.rng.between(1.0, 3.0)) * either_way(base);
    let (s, c) = card.turn_rad.sin_cos();
    let at = card.centre + Vector2::new(c * along - s * away, s * along + c * away);
    dot(base, at, [0.6, 1.0]);
    vec![Trouble::stray(at)]
}

fn stray_near_edge(base: &mut Base) -> Vec<Trouble> {
    let (w, h) = (base.plan.width_mm, base.plan.height_mm);
    let inside = base.rng.between(1.5, 3.0);
    let at = Point::new(base.rng.between(0.2, 0.8) * w, h - inside);
    dot(base, at, [0.6, 1.0]);
    vec![Trouble::stray(at)]
}

fn pale_stray(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    let share = base.rng.between(0.45, 0.65);
    let size = base.rng.between(0.65, 1.0);
    let ink = Ink {
        density: base.hand.ink.density * share,
        ..base.hand.ink
    };
    let mark = Mark::dot(at.x, at.y).sized(size).inked(ink);
    base.scene.marks.push(mark);
    vec![Trouble::stray(at)]
}

fn small_stray(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    dot(base, at, [0.38, 0.45]);
    vec![Trouble::stray(at)]
}

fn pencil_stray(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(3.0);
    let mark = if base.rng.unit() < 0.5 {
        Mark::dot(at.x, at.y).sized(base.rng.between(0.6, 0.9))
    } else {
        Mark::cross(at.x, at.y, base.rng.between(0.0, PI)).sized(2.5)
    };
    base.scene.marks.push(mark.inked(Ink::pencil()));
    vec![Trouble::stray(at)]
}

/// A pen of another colour, that shows on this face.
pub(crate) fn other_pen(base: &mut Base) -> Ink {
    const RED: [f32; 3] = [0.40, 0.03, 0.03];
    const BLUE: [f32; 3] = [0.03, 0.05, 0.35];
    const BLACK: [f32; 3] = [0.02, 0.02, 0.02];
    const WHITE: [f32; 3] = [0.60, 0.60, 0.56];
    let colours = match base.scene.surface {
        Surface::LayoutDye => [RED, WHITE, WHITE],
        _ => [RED, BLUE, BLACK],
    };
    Ink {
        colour: colours[(base.rng.unit() * 3.0) as usize % 3],
        density: base.rng.between(0.8, 0.95),
        ..Ink::default()
    }
}

fn stray_of_another_pen(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    let ink = other_pen(base);
    // A broad felt pen or a fine one.
    let size = if base.rng.unit() < 0.5 {
        base.rng.between(1.1, 1.5)
    } else {
        base.rng.between(0.55, 0.7)
    };
    base.scene
        .marks
        .push(Mark::dot(at.x, at.y).sized(size).inked(ink));
    vec![Trouble::stray(at)]
}

fn stray_in_shadow_edge(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    dot(base, at, [0.6, 1.0]);
    let shadow = SoftShadow {
        through: at,
        towards_rad: base.rng.between(-PI, PI),
        softness_mm: base.rng.between(1.0, 4.0),
        depth: base.rng.between(0.4, 0.7),
    };
    base.scene.light.shadows = vec![shadow];
    vec![Trouble::stray(at)]
}

fn stray_in_glare(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    dot(base, at, [0.6, 1.0]);
    let glare = Glare {
        at,
        radius_mm: [base.rng.between(4.0, 9.0), base.rng.between(3.0, 5.0)],
        turn_rad: base.rng.between(0.0, PI),
        peak: base.rng.between(0.3, 1.0),
    };
    base.scene.light.glare.push(glare);
    vec![Trouble::stray(at)]
}

fn stray_on_fingerprint(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    let aside = Vector2::new(base.rng.between(-4.0, 4.0), base.rng.between(-4.0, 4.0));
    let smudge = Shape::Smudge {
        at: at + aside,
        length_mm: base.rng.between(14.0, 20.0),
        strength: base.rng.between(0.06, 0.15),
    };
    base.scene.marks.push(Mark::new(smudge));
    dot(base, at, [0.6, 1.0]);
    vec![Trouble::stray(at)]
}

fn stray_on_scratch(base: &mut Base) -> Vec<Trouble> {
    let at = base.open(2.0);
    let way = heading(base.rng.between(0.0, PI)) * base.rng.between(4.0, 9.0);
    base.scene.marks.push(Mark::scratch(at + -way, at + way));
    dot(base, at, [0.6, 1.0]);
    vec![Trouble::stray(at)]
}
