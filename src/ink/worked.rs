//! What punch and drill left on the face, read beside the ink.

use image::GrayImage;
use nalgebra::Vector2;

pub use super::arms::Round;
use super::arms::{self, Near};
use super::view::{self, FlatView};
use super::{Doubt, Ink, Mark, MarkKind, RuledLine, Unsure, dimple, hole};
use crate::frame::{Cov2, Flat, Point, Sheet};
use crate::survey::SheetFrame;

/// The level of the bare face round about each place of a flat picture, coarsely: a median over areas larger than any
/// hole, so that neither holes nor ink count.
pub(super) struct Bare {
    cell: usize,
    columns: usize,
    rows: usize,
    level: Vec<f32>,
}

/// Side of a cell, mm: more than twice the area of the largest hole.
const CELL_MM: f64 = 10.0;
/// The level that counts as bare, of those in a cell: above the median, since most of what is no face is darker.
const BARE_SHARE: f64 = 0.55;

impl Bare {
    pub(super) fn of(flat: &GrayImage, mm: f64) -> Self {
        let (w, h) = (flat.width() as usize, flat.height() as usize);
        let cell = ((CELL_MM * mm) as usize).max(8);
        let (columns, rows) = (w.div_ceil(cell).max(1), h.div_ceil(cell).max(1));
        let level = (0..columns * rows)
            .map(|i| {
                let (x0, y0) = (i % columns * cell, i / columns * cell);
                let mut seen: Vec<u8> = (y0..(y0 + cell).min(h))
                    .flat_map(|y| &flat.as_raw()[y * w + x0..y * w + (x0 + cell).min(w)])
                    .copied()
                    .filter(|v| *v > 0)
                    .collect();
                if seen.is_empty() {
                    return 0.0;
                }
                let k = ((seen.len() - 1) as f64 * BARE_SHARE) as usize;
                f32::from(*seen.select_nth_unstable(k).1)
            })
            .collect();
        Self {
            cell,
            columns,
            rows,
            level,
        }
    }

    /// By what share the pixel (x, y) is brighter than the bare face; below 0 darker; 0 where nothing is seen.
    pub(super) fn differs(&self, flat: &GrayImage, x: usize, y: usize) -> f32 {
        let value = flat.as_raw()[y * flat.width() as usize + x];
        let split = |p: usize, n: usize| {
            let t = ((p as f32 + 0.5) / self.cell as f32 - 0.5).clamp(0.0, (n - 1) as f32);
            let i = (t as usize).min(n.saturating_sub(2));
            (i, t - i as f32)
        };
        let ((c, u), (r, v)) = (split(x, self.columns), split(y, self.rows));
        let (right, below) = ((c + 1).min(self.columns - 1), (r + 1).min(self.rows - 1));
        let at = |c: usize, r: usize| self.level[r * self.columns + c];
        let mix = |a: f32, b: f32, t: f32| {
            if a == 0.0 || b == 0.0 {
                a.max(b)
            } else {
                a + t * (b - a)
            }
        };
        let level = mix(
            mix(at(c, r), at(right, r), u),
            mix(at(c, below), at(right, below), u),
            v,
        );
        if value == 0 || level <= 0.0 {
            0.0
        } else {
            f32::from(value) / level - 1.0
        }
    }
}

/// What punch or drill made.
#[derive(Debug)]
pub struct Worked {
    /// As a mark; a hole's size is its diameter.
    pub mark: Mark,
    /// What lies round it.
    pub round: Round,
}

/// Dimples and holes in a flat view. Dimples are looked for where `ink` was
/// read, or could not be named, and at the `planned` places: a pit is dark enough to be seen as ink. Without these none is.
#[must_use]
pub fn read(
    view: &FlatView,
    frame: &SheetFrame,
    ink: &Ink,
    planned: Option<&[Point<Sheet>]>,
) -> Vec<Worked> {
    let (flat, mm) = (&view.image, view.px_per_mm);
    let bare = Bare::of(flat, mm);
    let place = |at: Point<Flat>, sigma: f64| {
        let on_sheet = view.sheet_from_flat(at);
        let pixel = frame.pixel_from_sheet(on_sheet)?;
        let by_mm = view::jacobian(frame, on_sheet)?;
        let own = Cov2::identity() * (sigma / mm).powi(2);
        frame.point(pixel, by_mm * own * by_mm.transpose())
    };
    let mark = |at, sigma, kind, size: f64| {
        let (at, cov) = place(Point::at(at), sigma)?;
        Some(Mark {
            at,
            cov,
            kind,
            size_mm: size / mm,
            ringed: false,
            crossed_out: false,
            probability: None,
        })
    };
    let holes: Vec<Worked> = hole::find(&bare, flat, mm)
        .into_iter()
        .filter_map(|h| {
            Some(Worked {
                mark: mark(h.at, h.sigma, MarkKind::Hole, 2.0 * h.radius)?,
                round: Round::Unclear,
            })
        })
        .collect();
    let Some(planned) = planned else {
        return holes;
    };
    let seeds: Vec<_> = ink
        .marks
        .iter()
        .map(|m| m.at)
        .chain(ink.unsure.iter().map(|u| u.at))
        .chain(planned.iter().copied())
        .map(|at| view.flat_from_sheet(at).vec())
        .collect();
    let dimples = dimple::find(&bare, flat, mm, &seeds)
        .into_iter()
        .filter_map(|d| {
            let lines = lines_near(ink, view.sheet_from_flat(Point::at(d.at)), mm);
            Some(Worked {
                mark: mark(d.at, d.sigma, MarkKind::Dimple, d.diameter)?,
                round: arms::round(&bare, flat, mm, &d, &lines),
            })
        });
    // A glint in a hole, or on its burr, is no dimple.
    let apart = |d: &Worked| {
        holes
            .iter()
            .all(|h| h.mark.at.distance(d.mark.at) > h.mark.size_mm / 2.0 + DIMPLE_APART_MM)
    };
    let dimples: Vec<Worked> = dimples.filter(apart).collect();
    holes.into_iter().chain(dimples).collect()
}

/// The ruled lines near a dimple as they lie in the flat picture; or the sheet's lower edge, to which an upright cross is
/// square.
fn lines_near(ink: &Ink, dimple: Point<Sheet>, mm: f64) -> Vec<Near> {
    // The picture's y points down.
    let in_flat = |(way, off): (Vector2<f64>, f64)| Near {
        along: Vector2::new(way.x, -way.y),
        off: -off * mm,
    };
    let near = |l: &RuledLine| l.under(dimple, NEAR_LINE_MM).map(in_flat);
    let lines: Vec<_> = ink.lines.iter().filter_map(near).collect();
    if lines.is_empty() {
        vec![Near {
            along: Vector2::x(),
            off: 0.0,
        }]
    } else {
        lines
    }
}

/// What surrounds a dimple may be a ruled line's ink that runs within this, mm.
const NEAR_LINE_MM: f64 = 2.5;
/// A dimple's middle is further than this from the rim of a hole, mm.
const DIMPLE_APART_MM: f64 = 0.8;
/// A mark's ink reaches beyond a dimple or hole that was made on it by up to this, mm.
const INK_ROUND_MM: f64 = 0.7;
/// What a drill leaves of a mark's strokes lies within this of its rim, mm, and is no larger than the second over the
/// hole itself.
const LEFTOVER_MM: f64 = 2.2;
const LEFTOVER_SIZE_MM: f64 = 3.0;
/// A small dimple leaves nearly all of a mark's stroke, which is up to this long, mm.
const WHOLE_MARK_MM: f64 = 4.6;
/// What may strike a mark out is a remnant of it only where nothing leads away aslant: a mark that was struck out and punched all
/// the same is not as planned. Nor is it one further than this from the dimple's middle, or longer than the second, mm.
const MAY_STRIKE: [Doubt; 4] = [
    Doubt::Crossing,
    Doubt::Across,
    Doubt::Through,
    Doubt::NoShape,
];
const REMNANT_MM: f64 = 1.2;
const LONGEST_MARK_MM: f64 = 6.0;

/// The ink with `worked` put in: the marks that were made there are theirs now, and what is left of their strokes
/// counts no more. Rings and cross-outs of a dimple's mark go over to the dimple; no pen undoes a hole.
#[must_use]
pub fn put_in(mut ink: Ink, worked: Vec<Worked>) -> Ink {
    let dimples = worked.iter().filter(|w| w.mark.kind == MarkKind::Dimple);
    let aslant = dimples.clone().filter(|w| w.round == Round::Aslant);
    // Where most are so the hand set out with crosses that stand aslant, and strokes say nothing.
    let is_exception = aslant.count() * 2 <= dimples.count();
    for Worked {
        mark: mut new,
        round,
    } in worked
    {
        let radius = new.size_mm / 2.0;
        let is_dimple = new.kind == MarkKind::Dimple;
        ink.marks.retain(|m| {
            let under = !matches!(m.kind, MarkKind::Hole | MarkKind::Dimple)
                && m.at.distance(new.at) <= radius + INK_ROUND_MM;
            if under {
                // A hole's own rim may be read as a ring; and what is drilled needs none.
                new.ringed |= m.ringed && is_dimple;
                new.crossed_out |= m.crossed_out && is_dimple;
            }
            !under
        });
        let mut is_told = new.ringed || new.crossed_out;
        ink.unsure.retain(|u| {
            let d = u.at.distance(new.at);
            let leftover = if is_dimple && MAY_STRIKE.contains(&u.why) {
                round == Round::Mark && d <= REMNANT_MM && u.size_mm <= LONGEST_MARK_MM
            } else {
                let least = if is_dimple { WHOLE_MARK_MM } else { 0.0 };
                d <= radius + LEFTOVER_MM
                    && u.size_mm <= (new.size_mm + LEFTOVER_SIZE_MM).max(least)
            };
            let ring = u.why.is_of_ring() && d <= radius + INK_ROUND_MM;
            is_told |= ring || (!leftover && d <= REMNANT_MM);
            !(leftover || ring)
        });
        let is_struck = round == Round::Aslant && is_exception;
        if is_struck && !is_told {
            ink.unsure.push(Unsure {
                at: new.at,
                cov: new.cov,
                size_mm: new.size_mm,
                why: Doubt::DimpleStruck,
                writing: false,
                probability: None,
            });
        }
        // What is told of it already, a cross-out or a ring, stays with it.
        if !is_struck || new.crossed_out || new.ringed {
            ink.marks.push(new);
        }
    }
    ink.marks
        .sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    ink
}
