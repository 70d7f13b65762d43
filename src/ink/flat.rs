//! What is read from a flat picture, before it is put into the sheet's frame.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::figure::Figure;
use super::habit::{self, Habit, Meaning};
use super::lines::{self, Line};
use super::name::{self, Crossing, FlatMark, Name};
use super::pen::Pen;
use super::picture::{LINE_BIT, Picture};
use super::shape::Loop;
use super::{Blind, MarkKind, beads, figure, pale, second, through, writing};
use crate::frame::{Cov2, Flat, Point};
use crate::raster::components::components;

/// A mark in a flat picture.
#[derive(Debug, Clone)]
pub struct MarkInFlat {
    /// Its centre, px.
    pub at: Point<Flat>,
    /// Covariance of `at` from the ink alone, px².
    pub cov: Cov2,
    /// Dot, tick or cross.
    pub kind: MarkKind,
    /// Largest extent, mm.
    pub size_mm: f64,
    /// A loop was drawn round it.
    pub ringed: bool,
    /// An X was drawn over it.
    pub crossed_out: bool,
}

/// A ruled line in a flat picture.
#[derive(Debug, Clone)]
pub struct LineInFlat {
    /// Its ends, px.
    pub ends: [Point<Flat>; 2],
    /// Its width, px.
    pub width: f64,
    /// Standard deviation across, px.
    pub sigma: f64,
    /// How much darker than the face it is (brighter, on a face with bright marks): 0 bare, 1 black.
    pub contrast: f64,
    /// Middles of its ink every few millimetres from end to end, px.
    pub axis: Vec<Point<Flat>>,
}

/// Ink without a sure meaning.
#[derive(Debug, Clone)]
pub struct UnsureInFlat {
    /// Its middle, px.
    pub at: Point<Flat>,
    /// Largest extent, mm.
    pub size_mm: f64,
    /// Why.
    pub why: &'static str,
    /// A character of writing or print.
    pub writing: bool,
    /// The mark whose shape it has.
    pub looks: Option<MarkInFlat>,
}

/// Everything read from a flat picture.
#[derive(Debug, Clone, Default)]
pub struct FlatInk {
    /// Marks, from left to right.
    pub marks: Vec<MarkInFlat>,
    /// Ruled lines, the longest first.
    pub lines: Vec<LineInFlat>,
    /// What could not be named.
    pub unsure: Vec<UnsureInFlat>,
    /// Dark specks too small for any pen, left out.
    pub specks: usize,
    readable: Option<super::ground::Ground>,
}

impl FlatInk {
    /// Whether ink at `at` would have shown: neither blown out, nor black, nor lost in texture, nor
    /// outside.
    #[must_use]
    pub fn is_readable(&self, at: Point<Flat>) -> bool {
        self.readable
            .as_ref()
            .is_some_and(|g| g.is_readable(at.x, at.y))
    }

    /// Why ink at `at` would not have shown, where its own pixels tell.
    #[must_use]
    pub fn blind_at(&self, at: Point<Flat>) -> Option<Blind> {
        self.readable.as_ref()?.blind_at(at.x, at.y)
    }
}

/// Unsure pieces nearer than this are one place to look at, mm.
const TOGETHER_MM: f64 = 4.0;

/// So many dots show how large this hand's are; a speck is smaller than this share of them, and than this, mm.
const ENOUGH_DOTS: usize = 4;
const SPECK: f64 = 0.4;
const SPECK_MM: f64 = 0.35;

/// Along a ruled line, what a figure explains of the ink beside its feet, mm, and beside what comes within twice that of
/// the line without touching it.
const BESIDE_A_FIGURE_MM: f64 = 0.5;

/// Bright lines and figures stand out this many times more than the dark ones if they are what was drawn: beside a
/// bright one the face looks a little darker, and beside a dark one a little brighter.
const MORE_CONTRAST: f64 = 1.1;
/// So many figures show what was drawn, each at least this large, mm: specks do not.
const STRONGEST: usize = 6;
const LARGE_MM: f64 = 0.5;
/// On a face with bright lines, dark things of less contrast are dye laid on thickly: a marker's ink takes more than
/// half of what little light the dye leaves.
const STAIN: f64 = 0.24;
/// Dark ink this near to bright ink is the shadow beside it, mm.
const SHADOW_MM: f64 = 1.5;

/// Reads a flat picture of `px_per_mm` pixels a millimetre. Pixels of level 0 are outside the sheet
/// and hold nothing.
///
/// Ink is darker than the face, unless the face is dark and what was drawn on it is bright: then marks are bright
/// as well, and dark ink apart from them is unsure.
#[must_use]
pub fn read(flat: &GrayImage, px_per_mm: f64) -> FlatInk {
    let dark = Drawn::on(flat, px_per_mm);
    if !dark.picture.ground.is_dark() {
        return dark.named();
    }
    let negative = GrayImage::from_fn(flat.width(), flat.height(), |x, y| {
        let [v] = flat.get_pixel(x, y).0;
        image::Luma([if v == 0 { 0 } else { 255 - v.min(254) }])
    });
    let bright = Drawn::on(&negative, px_per_mm);
    if bright.strength() > MORE_CONTRAST * dark.strength() {
        let dark = dark.darker_than(STAIN).named();
        with_dark_left_over(bright.named(), &dark, px_per_mm)
    } else {
        dark.named()
    }
}

/// The bright ink, and as unsure whatever dark ink is not the shadow beside it.
fn with_dark_left_over(mut bright: FlatInk, dark: &FlatInk, px_per_mm: f64) -> FlatInk {
    let marks = dark.marks.iter().map(|m| (m.at, m.size_mm));
    let left: Vec<UnsureInFlat> = marks
        .chain(dark.unsure.iter().map(|u| (u.at, u.size_mm)))
        .filter(|&(at, size_mm)| {
            let reach = |other_mm: f64| (SHADOW_MM + (size_mm + other_mm) / 2.0) * px_per_mm;
            let beside_line = bright.lines.iter().any(|l| {
                let d = (l.ends[1] - l.ends[0]).normalize();
                d.perp(&(at - l.ends[0])).abs() < SHADOW_MM * px_per_mm
            });
            !beside_line
                && !bright
                    .marks
                    .iter()
                    .any(|m| m.at.distance(at) < reach(m.size_mm))
                && !bright
                    .unsure
                    .iter()
                    .any(|u| u.at.distance(at) < reach(u.size_mm))
        })
        .map(|(at, size_mm)| UnsureInFlat {
            at,
            size_mm,
            why: "dark ink on a face that is marked with bright lines",
            writing: false,
            looks: None,
        })
        .collect();
    bright.unsure.extend(left);
    bright
}

/// What was drawn on a face, darker than it: ruled lines, and the figures beside and across them.
struct Drawn<'a> {
    picture: Picture<'a>,
    lines: Vec<Line>,
    figures: Vec<Figure>,
    specks: usize,
}

impl<'a> Drawn<'a> {
    fn on(flat: &'a GrayImage, px_per_mm: f64) -> Self {
        let mut picture = Picture::new(flat, px_per_mm);
        let shapes = components(&picture.mask, picture.width as usize, 12, |v| {
            v & 1 != 0 && v & LINE_BIT == 0
        });
        let lines = lines::find(&picture, &shapes);
        drop(shapes);
        figure::take_out(&mut picture, &lines);
        let (figures, specks) = figure::gather(&picture, &lines);
        Self {
            picture,
            lines,
            figures,
            specks,
        }
    }

    /// How much it stands out: contrast of the strongest ruled line, and of the strongest figures that are large
    /// enough for marks. Not all sheets have ruled lines, and dye laid on in streaks looks like lines.
    fn strength(&self) -> f64 {
        let line = self.lines.iter().map(|l| l.contrast).fold(0.0, f64::max);
        let large = self
            .figures
            .iter()
            .filter(|f| f.extent() > LARGE_MM * self.picture.scale);
        let mut figures: Vec<f64> = large.map(|f| f.contrast).collect();
        figures.sort_by(|a, b| b.total_cmp(a));
        line + figures.iter().take(STRONGEST).sum::<f64>() / STRONGEST as f64
    }

    /// Only what has at least this contrast, each figure by itself: where it stands on a line is lost.
    fn darker_than(mut self, contrast: f64) -> Self {
        self.lines.retain(|l| l.contrast >= contrast);
        self.figures.retain(|f| f.contrast >= contrast);
        for f in &mut self.figures {
            f.feet.clear();
        }
        self
    }

    fn named(self) -> FlatInk {
        let Self {
            picture,
            lines,
            figures,
            specks,
        } = self;
        let (mut names, pale) =
            rayon::join(|| named(&picture, &lines, figures), || pale::find(&picture));
        let spots = picture.ground.spots().iter();
        names.extend(spots.map(|&(x, y, size)| Name::Unsure {
            at: Vector2::new(x, y),
            size_mm: size / picture.scale,
            why: "a dark spot too large for a pen's mark",
        }));
        names.extend(pale);
        let mut ink = combine(&picture, &lines, names);
        ink.specks += specks;
        ink.lines = lines.iter().map(in_flat).collect();
        ink.readable = Some(picture.ground);
        ink
    }
}

/// What the figures and the thicker places of the lines are.
fn named(picture: &Picture, lines: &[Line], mut figures: Vec<Figure>) -> Vec<Name> {
    let mut pen = Pen::of(picture, lines, &figures);
    let mut names: Vec<Name> = figures
        .par_iter()
        .map(|f| name::name(picture, lines, pen, f))
        .collect();
    if let Some(other) = second::other_ink(lines, &figures, &names) {
        pen.other = other;
        second::look(picture, lines, pen, &mut figures, &mut names);
    }
    let print = writing::pale_print(picture, &figures, pen.faint);
    let characters = writing::characters(picture, &figures, &names, pen.other);
    for i in print.into_iter().chain(characters) {
        names[i] = Name::Character {
            at: figures[i].middle(),
            size_mm: figures[i].extent() / picture.scale,
        };
    }
    if let Some(smallest) = smallest_ink(&names) {
        for (figure, name) in figures.iter().zip(&mut names) {
            let unsure = name.is_unsure() && figure.feet.is_empty();
            if unsure && disc_of(figure) < smallest * picture.scale {
                *name = Name::Speck;
            }
        }
    }
    let explained = figures
        .iter()
        .zip(&names)
        .filter(|(_, n)| !matches!(n, Name::OfLine))
        .map(|(f, _)| f);
    let taken = taken(explained, lines, BESIDE_A_FIGURE_MM * picture.scale);
    let beads = beads::find(picture, lines, &taken)
        .into_iter()
        .map(|name| match name {
            Name::Mark(m) if writing::among_print(picture, lines, pen.other, m.at) => {
                Name::Unsure {
                    at: m.at,
                    size_mm: m.size_mm,
                    why: "a thicker place on a ruled line among print",
                }
            }
            name => name,
        });
    names.extend(beads);
    let unless_stroke = |name| through::unless_stroke(picture, lines, name);
    names.into_par_iter().map(unless_stroke).collect()
}

/// Where a hand sets out with dots, what is smaller than this is none of its ink, mm: a pen's point does not shrink.
fn smallest_ink(names: &[Name]) -> Option<f64> {
    let dots = names.iter().filter_map(|n| match n {
        Name::Mark(m) if m.kind == MarkKind::Dot => Some(m.size_mm),
        _ => None,
    });
    let mut sizes: Vec<f64> = dots.collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes.get(sizes.len() / 2)?;
    (sizes.len() >= ENOUGH_DOTS).then(|| (SPECK * usual).min(SPECK_MM))
}

/// Diameter of the disc that has a figure's area, px.
fn disc_of(figure: &Figure) -> f64 {
    2.0 * (figure.points.len() as f64 / std::f64::consts::PI).sqrt()
}

/// For each line, where along it figures stand on it or come near it: from where to where, px, with `clear` px more on
/// each side.
fn taken<'f>(
    figures: impl Iterator<Item = &'f Figure>,
    lines: &[Line],
    clear: f64,
) -> Vec<Vec<[f64; 2]>> {
    let mut taken = vec![Vec::new(); lines.len()];
    for figure in figures {
        for foot in &figure.feet {
            taken[foot.line].push([foot.span[0] - clear, foot.span[1] + clear]);
        }
        let b = figure.bounds();
        let corners = [[b[0], b[1]], [b[2], b[1]], [b[0], b[3]], [b[2], b[3]]];
        for (line, spans) in lines.iter().zip(&mut taken) {
            let reach = line.half + 2.0 * clear;
            let across = corners.map(|[x, y]| line.local(Vector2::new(x, y)).1);
            let nearest = across.iter().copied().fold(f64::MAX, f64::min);
            let furthest = across.iter().copied().fold(f64::MIN, f64::max);
            if nearest > reach || furthest < -reach {
                continue;
            }
            let near = figure.points.iter().map(|&p| line.local(p));
            let mut near: Vec<f64> = near
                .filter(|(_, t)| t.abs() < reach)
                .map(|(s, _)| s)
                .collect();
            near.sort_by(f64::total_cmp);
            // Between the two sides of a ring the line is free.
            for stretch in near.chunk_by(|a, b| b - a < 2.0 * clear) {
                spans.push([stretch[0] - clear, stretch[stretch.len() - 1] + clear]);
            }
        }
    }
    taken
}

impl From<FlatMark> for MarkInFlat {
    fn from(m: FlatMark) -> Self {
        Self {
            at: Point::at(m.at),
            cov: m.cov,
            kind: m.kind,
            size_mm: m.size_mm,
            ringed: m.ringed,
            crossed_out: m.crossed_out,
        }
    }
}

fn in_flat(line: &Line) -> LineInFlat {
    let ends = line.span.map(|s| Point::at(line.point(s, 0.0)));
    LineInFlat {
        ends,
        width: 2.0 * line.half,
        sigma: line.sigma,
        contrast: line.contrast,
        axis: line.axis.iter().copied().map(Point::at).collect(),
    }
}

/// What was read inside a loop; ink that lies outside it after all is no mark by itself: the loop is no ring.
fn inside(outline: &Loop, name: Name, mm: f64) -> Name {
    match name {
        Name::Mark(m) if !outline.holds(m.at) => Name::Unsure {
            at: m.at,
            size_mm: 2.0 * outline.radius / mm,
            why: "a loop beside a mark: a ring, or a stroke through it",
        },
        name => name,
    }
}

/// Why two strokes that cross are unsure.
pub(super) const CROSSING: &str = "two strokes that cross: a mark or a cross-out";
/// And where nobody would strike out with them.
const UPRIGHT: &str = "an upright cross over other ink: a mark, or print";

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
                    UPRIGHT
                } else {
                    CROSSING
                },
                writing: false,
                looks: None,
            }),
        }
    }
    outs
}

/// A mark this near to a ruled line stands on it, mm.
const ON_LINE_MM: f64 = 0.5;

/// Puts rings and cross-outs to the marks that they were drawn for.
fn combine(picture: &Picture, lines: &[Line], names: Vec<Name>) -> FlatInk {
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
                looks: Some(m.into()),
            }),
            Name::Character { at, size_mm } => characters.push(UnsureInFlat {
                at: Point::at(at),
                size_mm,
                why: "writing or print",
                writing: true,
                looks: None,
            }),
            Name::Speck => ink.specks += 1,
            Name::OfLine | Name::OfEdge | Name::OfPrint => {}
        }
    }
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
            });
        }
    }
    let struck: Vec<bool> = marks
        .par_iter()
        .map(|m| !m.crossed_out && through::is_struck(picture, lines, &rings, &marks, m))
        .collect();
    let mut struck = struck.into_iter();
    let through_it = |_: &mut FlatMark| struck.next() == Some(true);
    unsure.extend(marks.extract_if(.., through_it).map(|m| UnsureInFlat {
        at: Point::at(m.at),
        size_mm: m.size_mm,
        why: through::THROUGH,
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
                why: "a ring with no mark in it",
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
            why: habit::AMONG_DOTS,
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

#[cfg(test)]
mod tests;
