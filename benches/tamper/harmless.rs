//! What is on every real sheet and harms nobody: a person with a loupe would call these sheets ready.

use std::f64::consts::{PI, TAU};

use nalgebra::Vector2;
use punchready::synth::marking::Style;
use punchready::synth::{Mark, Shape};

use super::base::{Base, FAIR, Needs};
use super::kinds::{Kind, Trouble};
use super::strays;

const CARD: Needs = Needs {
    card_on: true,
    ..FAIR
};
const DOTS: Needs = Needs {
    rows: Some(Style::Dot),
    ..FAIR
};

pub(crate) const KINDS: [Kind; 10] = [
    Kind::harmless("none", FAIR, |_| Vec::new()),
    Kind::harmless("dust", FAIR, dust),
    Kind::harmless("fingerprint", FAIR, fingerprint),
    Kind::harmless("scratch", FAIR, scratch),
    Kind::harmless("card-cut-wide", CARD, card_cut_wide),
    Kind::harmless("dot-twice", DOTS, dot_twice),
    Kind::harmless("jpeg-80", FAIR, jpeg_80),
    Kind::harmless("print", FAIR, print),
    Kind::harmless("stain", FAIR, stain),
    Kind::harmless("ringed-mark", FAIR, ringed_mark),
];

/// Specks much smaller than any dot, and half as dark at most.
fn dust(base: &mut Base) -> Vec<Trouble> {
    let count = base.rng.between(8.0, 25.0) as usize;
    for _ in 0..count {
        let at = base.open(0.6);
        let diameter_mm = base.rng.between(0.1, 0.35);
        let density = base.rng.between(0.3, 0.9);
        let speck = Mark::new(Shape::Dust { at, diameter_mm }).dense(density);
        base.scene.marks.push(speck);
    }
    Vec::new()
}

fn fingerprint(base: &mut Base) -> Vec<Trouble> {
    for _ in 0..(1.0 + 2.0 * base.rng.unit()) as usize {
        let at = base.open(1.0);
        let print = Shape::Smudge {
            at,
            length_mm: base.rng.between(12.0, 20.0),
            strength: base.rng.between(0.04, 0.12),
        };
        base.scene.marks.push(Mark::new(print));
    }
    Vec::new()
}

/// Thin bright scratches, away from marks.
fn scratch(base: &mut Base) -> Vec<Trouble> {
    for _ in 0..(2.0 + 4.0 * base.rng.unit()) as usize {
        let length = base.rng.between(3.0, 16.0);
        let middle = base.open(length / 2.0);
        let angle = base.rng.between(0.0, PI);
        let half = Vector2::new(angle.cos(), angle.sin()) * (length / 2.0);
        let scratch = Shape::Scratch {
            from: middle + -half,
            to: middle + half,
            width_mm: base.rng.between(0.05, 0.12),
            gain: base.rng.between(1.25, 1.6),
        };
        base.scene.marks.push(Mark::new(scratch));
    }
    Vec::new()
}

fn card_cut_wide(base: &mut Base) -> Vec<Trouble> {
    for card in &mut base.scene.cards {
        card.cut_wide_mm = [0; 4].map(|_| base.rng.between(0.6, 1.0));
    }
    Vec::new()
}

/// The pen was set down twice.
fn dot_twice(base: &mut Base) -> Vec<Trouble> {
    for _ in 0..3 {
        let hole = base.any_hole(true);
        let mut again = base.mark_of(&hole).clone();
        let way = base.rng.between(0.0, TAU);
        let by = base.rng.between(0.1, 0.2);
        again.shift(by * way.cos(), by * way.sin());
        again.name = None;
        base.scene.marks.push(again);
    }
    Vec::new()
}

fn jpeg_80(base: &mut Base) -> Vec<Trouble> {
    base.quality = 80;
    Vec::new()
}

fn print(base: &mut Base) -> Vec<Trouble> {
    let height = base.rng.between(2.6, 4.2);
    strays::print(base, "5052-H32 .040", height);
    Vec::new()
}

fn stain(base: &mut Base) -> Vec<Trouble> {
    for _ in 0..(1.0 + 2.0 * base.rng.unit()) as usize {
        let at = base.open(1.0);
        let stain = Shape::Stain {
            at,
            diameter_mm: base.rng.between(8.0, 25.0),
            gain: base.rng.between(0.88, 0.96),
        };
        base.scene.marks.push(Mark::new(stain));
    }
    Vec::new()
}

/// "Drill here", of a mark that is where it should be.
fn ringed_mark(base: &mut Base) -> Vec<Trouble> {
    let hole = base.any_hole(false);
    let at = base.place_of(&hole);
    let size = base.rng.between(6.0, 8.0);
    base.draw(Mark::ring(at.x, at.y).sized(size));
    Vec::new()
}
