//! Things that lie on the face: what is under them is not seen.

use std::f64::consts::PI;

use nalgebra::Vector2;
use punchready::frame::{Point, Sheet};
use punchready::synth::{Clutter, ClutterKind, Mark, Shape};

use super::base::{ANY, Base};
use super::kinds::{Kind, Trouble};

pub(crate) const KINDS: [Kind; 10] = [
    Kind::wrong("note", ANY, |b| in_the_open(b, note, 0.2)),
    Kind::wrong("tape", ANY, |b| in_the_open(b, tape, 0.12)),
    Kind::wrong("scrap", ANY, |b| in_the_open(b, scrap, 0.8)),
    Kind::wrong("disc", ANY, |b| in_the_open(b, disc, 0.2)),
    Kind::wrong("note-over-hole", ANY, |b| over_hole(b, note, 0.2)),
    Kind::wrong("tape-over-hole", ANY, |b| over_hole(b, tape, 0.12)),
    Kind::wrong("scrap-over-hole", ANY, |b| over_hole(b, scrap, 0.8)),
    Kind::wrong("disc-over-hole", ANY, |b| over_hole(b, disc, 0.2)),
    Kind::wrong("chip-over-hole", ANY, |b| over_hole(b, chip, 0.5)),
    Kind::wrong("swarf-for-mark", ANY, swarf_for_mark),
];

/// Each hides more of the face than the plan lets go unseen (2 %).
fn note(base: &mut Base) -> ClutterKind {
    ClutterKind::Note([base.rng.between(16.0, 22.0), base.rng.between(11.5, 14.0)])
}

fn tape(base: &mut Base) -> ClutterKind {
    ClutterKind::Tape([base.rng.between(18.0, 25.0), base.rng.between(10.0, 12.5)])
}

fn scrap(base: &mut Base) -> ClutterKind {
    ClutterKind::Scrap([base.rng.between(15.0, 20.0), base.rng.between(12.0, 14.0)])
}

fn disc(base: &mut Base) -> ClutterKind {
    ClutterKind::Disc(base.rng.between(15.5, 19.0))
}

/// An offcut just large enough to hide a mark.
fn chip(base: &mut Base) -> ClutterKind {
    ClutterKind::Scrap([base.rng.between(5.5, 8.0), base.rng.between(5.0, 6.5)])
}

fn lay(base: &mut Base, kind: ClutterKind, at: Point<Sheet>, height_mm: f64) {
    let turn_rad = base.rng.between(-PI, PI);
    base.scene.clutter.push(Clutter {
        kind,
        at: at.vec(),
        turn_rad,
        height_mm,
    });
}

type Make = fn(&mut Base) -> ClutterKind;

fn in_the_open(base: &mut Base, make: Make, height_mm: f64) -> Vec<Trouble> {
    let kind = make(base);
    let [w, h] = kind.half_size_mm();
    let at = base.open(w.hypot(h) - 1.0);
    lay(base, kind, at, height_mm);
    vec![Trouble::stray(at).reaching(w.min(h))]
}

/// It hides a hole's mark, nearly in its middle. What else it hides is trouble too, but its size says how much.
fn over_hole(base: &mut Base, make: Make, height_mm: f64) -> Vec<Trouble> {
    let kind = make(base);
    let of_row = base.rng.unit() < 0.5;
    let hole = base.any_hole(of_row);
    let at = base.place_of(&hole);
    let [w, h] = kind.half_size_mm();
    let slack = (w.min(h) - 2.6).max(0.0);
    let aside = Vector2::new(
        base.rng.between(-slack, slack),
        base.rng.between(-slack, slack),
    );
    lay(base, kind, at + aside * 0.7, height_mm);
    vec![Trouble::hole(&hole, at)]
}

/// A curl of metal lies where a mark should be.
fn swarf_for_mark(base: &mut Base) -> Vec<Trouble> {
    let of_row = base.rng.unit() < 0.5;
    let hole = base.any_hole(of_row);
    let at = base.place_of(&hole);
    base.scene
        .marks
        .retain(|m| m.name.as_deref() != Some(&hole));
    let length_mm = base.rng.between(2.5, 5.0);
    base.scene
        .marks
        .push(Mark::new(Shape::Swarf { at, length_mm }));
    vec![Trouble::hole(&hole, at)]
}
