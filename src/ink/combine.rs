//! Rings, cross-outs and what else was drawn round and over marks, put to the marks that they were drawn for.

use nalgebra::Matrix2;
use rayon::prelude::*;

use super::flat::{FlatInk, MarkInFlat, UnsureInFlat};
use super::habit::{self, Habit, Meaning};
use super::lines::Line;
use super::name::{Crossing, FlatMark, Name};
use super::picture::Picture;
use super::shape::Loop;
use super::{Doubt, MarkKind, through};
use crate::frame::Point;

/// What was read inside a loop; ink that lies outside it after all is no mark by itself: the loop is no ring.
fn inside(outline: &Loop, name: Name, mm: f64) -> Name {
    match name {
        Name::Mark(m) if !outline.holds(m.at) => Name::Unsure {
            at: m.at,
            size_mm: 2.0 * outline.radius / mm,
            why: Doubt::RingBeside,
        },
        name => name,
    }
}

/// Of the crossings the marks and the unsure ones are put where they belong; the cross-outs are left.
fn judged(
    habit: &Habit,
    crossings: Vec<Crossing>,
    marks: &mut Vec<FlatMark>,
    unsure: &mut Vec<UnsureInFlat>,
) -> Vec<Crossing> {
    let mut outs = Vec::new();
    for c in crossings {
        match habit.meaning(&c) {
            Meaning::Mark => marks.push(c.mark),
            Meaning::CrossOut => outs.push(c),
            Meaning::Unsure => unsure.push(UnsureInFlat {
                at: Point::at(c.mark.at),
                size_mm: c.size_mm,
                why: if c.upright && c.over_ink {
                    Doubt::Upright
                } else {
                    Doubt::Crossing
                },
                writing: false,
                looks: None,
            }),
        }
    }
    outs
}

/// Two readings of one spot lie within this, px: two dots do not.
const SAME_PX: f64 = 3.0;
/// Unsure pieces nearer than this are one place to look at, mm.
const TOGETHER_MM: f64 = 4.0;
/// A mark this near to a ruled line stands on it, mm.
const ON_LINE_MM: f64 = 0.5;

/// What was read twice, by itself and as what is over its line or over paler ink, is one mark: the likelier reading stays.
fn only_once(marks: &mut Vec<FlatMark>) {
    marks.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let mut kept: Vec<FlatMark> = Vec::new();
    for m in marks.drain(..) {
        let same = |k: &FlatMark| k.crossed_out == m.crossed_out && (k.at - m.at).norm() < SAME_PX;
        if !kept.iter().any(same) {
            kept.push(m);
        }
    }
    *marks = kept;
}

/// Puts rings and cross-outs to the marks that they were drawn for.
pub(super) fn combine(picture: &Picture, lines: &[Line], names: Vec<Name>) -> FlatInk {
    let mm = picture.scale;
    let mut marks: Vec<FlatMark> = Vec::new();
    let mut rings = Vec::new();
    let mut crossings: Vec<Crossing> = Vec::new();
    let mut unsure: Vec<UnsureInFlat> = Vec::new();
    let mut characters: Vec<UnsureInFlat> = Vec::new();
    let mut queue = names;
    let mut ink = FlatInk::default();
    while let Some(name) = queue.pop() {
        match name {
            Name::Mark(m) => marks.push(m),
            Name::Ring(outline, inner) => {
                queue.extend(inner.map(|n| inside(&outline, *n, mm)));
                rings.push(outline);
            }
            Name::Crossing(c) => crossings.push(c),
            Name::Unsure { at, size_mm, why } => unsure.push(UnsureInFlat {
                at: Point::at(at),
                size_mm,
                why,
                writing: false,
                looks: None,
            }),
            Name::Doubtful(m, why) => unsure.push(UnsureInFlat {
                at: Point::at(m.at),
                size_mm: m.size_mm,
                why,
                writing: false,
                // What a blot or an arm may be is as likely by shape, and no less none.
                looks: (why == Doubt::MayBeDirt).then(|| m.into()),
            }),
            Name::Character { at, size_mm } => characters.push(UnsureInFlat {
                at: Point::at(at),
                size_mm,
                why: Doubt::Writing,
                writing: true,
                looks: None,
            }),
            Name::Speck => ink.specks += 1,
            Name::OfLine | Name::OfEdge | Name::OfThing => {}
        }
    }
    only_once(&mut marks);
    let habit = Habit::of(&crossings, marks.len());
    for Crossing {
        mark,
        size_mm,
        reach,
        ..
    } in judged(&habit, crossings, &mut marks, &mut unsure)
    {
        let (at, cov) = (mark.at, mark.cov);
        let mut any = false;
        for m in &mut marks {
            if (m.at - at).norm() < 0.6 * reach {
                m.crossed_out = true;
                any = true;
            }
        }
        if !any {
            // The mark itself is under the strokes; they cross about where it is.
            let about = cov + Matrix2::identity() * (0.15 * reach).powi(2);
            marks.push(FlatMark {
                at,
                cov: about,
                kind: MarkKind::Cross,
                size_mm,
                ringed: false,
                crossed_out: true,
                strokes: Vec::new(),
                probability: 1.0,
            });
        }
    }
    only_once(&mut marks);
    let struck: Vec<bool> = marks
        .par_iter()
        .map(|m| !m.crossed_out && through::is_struck(picture, lines, &rings, &marks, m))
        .collect();
    let mut struck = struck.into_iter();
    let through_it = |_: &mut FlatMark| struck.next() == Some(true);
    unsure.extend(marks.extract_if(.., through_it).map(|m| UnsureInFlat {
        at: Point::at(m.at),
        size_mm: m.size_mm,
        why: Doubt::Through,
        writing: false,
        looks: None,
    }));
    // Ink without a meaning that reaches over a mark may strike it out.
    marks.retain(|m| {
        let over = |u: &UnsureInFlat| (m.at - u.at.vec()).norm() < u.size_mm / 2.0 * mm;
        !unsure.iter().any(over)
    });
    for ring in rings {
        let inside = marks.iter_mut().filter(|m| ring.holds(m.at));
        match inside.min_by(|a, b| {
            (a.at - ring.middle)
                .norm()
                .total_cmp(&(b.at - ring.middle).norm())
        }) {
            Some(m) => m.ringed = true,
            None => unsure.push(UnsureInFlat {
                at: Point::at(ring.middle),
                size_mm: 2.0 * ring.radius / mm,
                why: Doubt::RingEmpty,
                writing: false,
                looks: None,
            }),
        }
    }
    // A tick that is ringed is meant, and one that is crossed out is told.
    let on_lines = marks
        .iter()
        .filter(|m| lines.iter().any(|l| l.is_under(m.at, ON_LINE_MM * mm)));
    if habit::sets_out_with_dots(on_lines.map(|m| m.kind)) {
        let odd = |m: &mut FlatMark| m.kind == MarkKind::Tick && !m.ringed && !m.crossed_out;
        unsure.extend(marks.extract_if(.., odd).map(|m| UnsureInFlat {
            at: Point::at(m.at),
            size_mm: m.size_mm,
            why: Doubt::AmongDots,
            writing: false,
            looks: Some(m.into()),
        }));
    }
    marks.sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    ink.marks = marks.into_iter().map(MarkInFlat::from).collect();
    unsure.sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    for u in unsure {
        match ink
            .unsure
            .iter_mut()
            .find(|o| o.at.distance(u.at) < TOGETHER_MM * mm)
        {
            // Read twice, by itself and as what is over something else: the likelier reading stays.
            Some(same) if same.at.distance(u.at) < SAME_PX => {
                let p = |u: &UnsureInFlat| u.looks.as_ref().map_or(0.0, |m| m.probability);
                if p(&u) > p(same) {
                    *same = u;
                }
            }
            Some(near) => {
                let size = u.at.distance(near.at) / mm + (u.size_mm + near.size_mm) / 2.0;
                near.at = near.at.midpoint(u.at);
                near.size_mm = size.max(near.size_mm);
                // Together they are something else.
                near.looks = None;
            }
            None => ink.unsure.push(u),
        }
    }
    ink.unsure.extend(characters);
    ink
}
