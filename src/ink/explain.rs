//! What was drawn on a face, explained piece by piece: shapes first, then, of all of them together, which are this sheet's pen's.

use std::borrow::Cow;

use image::GrayImage;
use nalgebra::Vector2;
use rayon::prelude::*;

use super::combine::combine;
use super::figure::{self, Figure};
use super::flat::{FlatInk, LineInFlat};
use super::lines::{self, Line};
use super::look::Look;
use super::name::{self, FlatMark, Name};
use super::pen::{self, Expected, LineInk, Pen, Piece};
use super::picture::Picture;
use super::print::{self, Print};
use super::shape::stroke_width;
use super::tint::Tint;
use super::{Doubt, beads, grain, layers, overlay, through};
use crate::photo::Colour;
use crate::raster::components::components;

/// Along a ruled line, what a figure explains of the ink beside its feet, mm, and beside what comes within twice that of
/// the line without touching it.
const BESIDE_A_FIGURE_MM: f64 = 0.5;
/// A mark lies within this of where it is meant to be, mm: rules slip, and hands do not aim further off than that.
const EXPECTED_MM: f64 = 3.0;
/// So many figures show what was drawn, each at least this large, mm: specks do not.
const STRONGEST: usize = 6;
const LARGE_MM: f64 = 0.5;

/// What was drawn on a face, darker than it: ruled lines, and the figures beside and across them.
pub(super) struct Drawn<'a> {
    pub(super) picture: Picture<'a>,
    lines: Vec<Line>,
    figures: Vec<Figure>,
    specks: usize,
}

impl<'a> Drawn<'a> {
    pub(super) fn on(flat: &'a GrayImage, colour: Option<&'a Colour>, px_per_mm: f64) -> Self {
        let mut picture = Picture::new(Cow::Borrowed(flat), colour, px_per_mm);
        let mut lines = ruled(&picture);
        if let Some(smooth) = grain::without(flat, px_per_mm, &lines) {
            picture = Picture::new(Cow::Owned(smooth), colour, px_per_mm);
            lines = ruled(&picture);
        }
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
    pub(super) fn strength(&self) -> f64 {
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
    pub(super) fn darker_than(mut self, contrast: f64) -> Self {
        self.lines.retain(|l| l.contrast >= contrast);
        self.figures.retain(|f| f.contrast >= contrast);
        for f in &mut self.figures {
            f.feet.clear();
        }
        self
    }

    /// What all of it is. `planned`: where marks are meant to be, for each way that the plan may lie, px.
    pub(super) fn named(self, planned: &[Vec<Vector2<f64>>]) -> FlatInk {
        let Self {
            picture,
            lines,
            figures,
            specks,
        } = self;
        let found = found(&picture, &lines, &figures);
        let area = f64::from(picture.width) * f64::from(picture.height);
        let lines_px: f64 = lines.iter().map(|l| l.span[1] - l.span[0]).sum();
        let own: Vec<Option<Piece>> = found.iter().map(|f| f.piece(&picture)).collect();
        let pieces: Vec<Piece> = own.iter().copied().flatten().collect();
        let reach = EXPECTED_MM * picture.scale;
        let way = pen::best_way(&pieces, planned, reach);
        let expected = Expected {
            places: planned.get(way).map_or(&[], Vec::as_slice),
            reach,
        };
        let of_lines = [lines_px, lines_px / picture.scale];
        let (pen, owns) = Pen::learn(&pieces, expected, area, of_lines);
        let mut owns = owns.into_iter();
        let mut owned = Vec::new();
        let mut marked = Vec::new();
        let mut names: Vec<Name> = (found.into_iter().zip(&own))
            .map(|(f, piece)| {
                let away = piece.and_then(|_| owns.next().flatten());
                owned.push(away);
                marked.extend(piece.filter(|_| away.is_some()).map(|p| p.at));
                f.settled(&picture, &pen, away)
            })
            .collect();
        let at_places = at_places(expected, &pen, &own, &owned);
        let over_paler = over_paler(&picture, &lines, &figures, &names, &pen);
        let may_be_print = |names: &[Name], i: usize| match &names[i] {
            Name::Mark(_) => false,
            Name::OfLine | Name::OfEdge | Name::OfThing => false,
            _ => figures[i].feet.is_empty(),
        };
        for (i, figure) in figures.iter().enumerate() {
            let on_thing = |p: &&Vector2<f64>| picture.ground.is_covered(p.x, p.y);
            if 2 * figure.points.iter().filter(on_thing).count() > figure.points.len() {
                names[i] = Name::OfThing;
            }
        }
        let prints = print::lines(&picture, &figures, |i| may_be_print(&names, i));
        for (i, figure) in figures.iter().enumerate() {
            if owned[i].is_some() || matches!(names[i], Name::OfLine | Name::OfEdge | Name::OfThing)
            {
                continue;
            }
            let Some(print) = print::around(&prints, figure) else {
                continue;
            };
            // In print as dark as the pen a dot shows by its width alone.
            let hides_a_dot = pen.may_have_drawn(figure.contrast)
                && print.is_thicker_in(figure)
                && layers::has_thick_place(figure, layers::THICK);
            if !hides_a_dot {
                names[i] = Name::Character {
                    at: figure.middle(),
                    size_mm: figure.extent() / picture.scale,
                };
            }
        }
        // Worn print is darker here and there: only what stands out of it is another's.
        let of_print = |f: &Found| {
            prints
                .iter()
                .any(|p| p.holds(f.at) && p.is_as_dark_as(f.look.darkness))
        };
        let on_print = |n: &Name| match n {
            Name::Doubtful(m, Doubt::OnStroke) => prints
                .iter()
                .any(|p| p.holds(m.at) && p.is_as_dark_as(Look::of_mark(&picture, m).darkness)),
            _ => false,
        };
        for name in names[figures.len()..].iter_mut().filter(|n| on_print(n)) {
            *name = Name::Speck;
        }
        for (i, found) in over_paler {
            if of_print(&found) {
                continue;
            }
            let in_print = prints.iter().any(|p| p.holds(found.at));
            let name = found.settled(&picture, &pen, None);
            let name = match name {
                // Nobody strikes out with the mill's print.
                Name::Mark(m) if !in_print => Name::Doubtful(m, Doubt::OverPaler),
                name => name,
            };
            // What is left of the figure is paler than the pen. Whether it strikes the mark out is asked of the mark.
            if matches!(name, Name::Mark(_) | Name::Doubtful(_, Doubt::OverPaler)) {
                names[i] = Name::Speck;
            }
            names.push(name);
        }
        let spots = picture.ground.spots().iter();
        let spots = spots.filter(|(x, y, _)| !picture.ground.is_covered(*x, *y));
        names.extend(spots.map(|&(x, y, size)| Name::Unsure {
            at: Vector2::new(x, y),
            size_mm: size / picture.scale,
            why: Doubt::DarkSpot,
        }));
        let is_marked = |p: &Vector2<f64>| {
            marked
                .iter()
                .any(|m: &Vector2<f64>| (m - p).norm() <= reach)
        };
        let bare = expected.places.iter().filter(|p| !is_marked(p));
        names.extend(bare.filter_map(|p| hidden_place(&picture, &lines, &pen, *p)));
        let drawn = |i: usize| {
            own[i]
                .as_ref()
                .is_some_and(|p| pen.is_mark(p, None) >= SHAPELESS)
        };
        names.extend(on_rings(&picture, &lines, &figures, &names, drawn));
        let unless_stroke = |name| through::unless_stroke(&picture, &lines, name);
        let names: Vec<Name> = names.into_par_iter().map(unless_stroke).collect();
        let mut ink = combine(&picture, &lines, names);
        ink.specks += specks;
        ink.hidden = prints
            .iter()
            .filter(|p| pen.may_have_drawn(p.darkness))
            .map(Print::corners)
            .collect();
        ink.lines = lines.iter().map(LineInFlat::from).collect();
        ink.readable = Some(picture.ground);
        ink.at_places = at_places;
        ink
    }
}

/// How dark the pieces that are `owned` by planned places are, as far as they are this pen's, on average over the places.
fn at_places(
    expected: Expected,
    pen: &Pen,
    pieces: &[Option<Piece>],
    owned: &[Option<f64>],
) -> Option<f64> {
    let own = pieces
        .iter()
        .zip(owned)
        .filter(|(_, owned)| owned.is_some());
    let own = own.filter_map(|(p, away)| Some((p.as_ref()?, *away)));
    let ink: f64 = own
        .map(|(p, away)| pen.is_mark(p, away) * p.look.darkness)
        .sum();
    (!expected.places.is_empty()).then(|| ink / expected.places.len() as f64)
}

/// The ruled lines in a picture.
pub(super) fn ruled(picture: &Picture) -> Vec<Line> {
    let shapes = components(&picture.mask, picture.width as usize, 12, |v| v & 1 != 0);
    lines::find(picture, &shapes)
}

/// Spots on the strokes of rings that are `drawn`, and no print.
fn on_rings(
    picture: &Picture,
    lines: &[Line],
    figures: &[Figure],
    names: &[Name],
    drawn: impl Fn(usize) -> bool,
) -> Vec<Name> {
    let of_ring = |(i, figure): (usize, &Figure)| {
        let Name::Ring(outline, inner) = &names[i] else {
            return Vec::new();
        };
        if !drawn(i) {
            return Vec::new();
        }
        let rim = figure.points.iter().copied();
        let rim: Vec<Vector2<f64>> = rim.filter(|p| !outline.holds(*p)).collect();
        let inside = inner.as_deref().and_then(Found::mark_in);
        overlay::on_ring(picture, lines, (&**outline, stroke_width(&rim)), inside)
    };
    let spots = figures.iter().enumerate().flat_map(of_ring);
    let doubted = |spot: FlatMark| Name::Unsure {
        at: spot.at,
        size_mm: spot.size_mm,
        why: Doubt::RingThick,
    };
    spots.map(doubted).collect()
}

/// A planned place without a mark where one might not show: on a line of like ink, as wide as this pen's finest dots; or where
/// the face's texture is as strong as this pen's palest ink.
fn hidden_place(picture: &Picture, lines: &[Line], pen: &Pen, place: Vector2<f64>) -> Option<Name> {
    let mm = picture.scale;
    let hides = |l: &Line| {
        l.is_under(place, ON_LINE_MM * mm) && pen.shows_little_on(l.contrast, 2.0 * l.half / mm)
    };
    let why = if lines.iter().any(hides) {
        Doubt::OnLikeLine
    } else if pen.palest() < picture.ground.shows_from(place.x, place.y) {
        Doubt::InTexture
    } else {
        return None;
    };
    Some(Name::Unsure {
        at: place,
        size_mm: 2.0 * ON_LINE_MM,
        why,
    })
}

/// What the pen drew over paler ink, in figures that are no marks as a whole, and the number of each such figure.
fn over_paler(
    picture: &Picture,
    lines: &[Line],
    figures: &[Figure],
    names: &[Name],
    pen: &Pen,
) -> Vec<(usize, Found)> {
    let is_mark = |n: &Name| {
        matches!(
            n,
            Name::Mark(_) | Name::Crossing(_) | Name::OfLine | Name::OfEdge
        )
    };
    let may = |n: &Name| match n {
        Name::Ring(_, Some(inner)) => !is_mark(inner),
        n => !is_mark(n),
    };
    // A hand presses here more than there along one stroke: that is no second ink.
    let of_ring = |i: usize, f: &Found| match &names[i] {
        Name::Ring(outline, _) => {
            let own = stroke_width(&figures[i].points) / picture.scale;
            let out = (f.at - outline.middle).normalize();
            let strokes = Found::mark_in(&f.name).map_or(&[][..], |m| &m.strokes);
            let along_it = strokes.iter().all(|s| s.along.dot(&out).abs() < ALONG_RING);
            along_it && f.look.width_mm < WIDER_THAN_RING * own
        }
        _ => false,
    };
    let parts = (0..figures.len())
        .into_par_iter()
        .filter(|&i| may(&names[i]));
    let parts = parts.flat_map_iter(|i| {
        let parts = layers::darker_parts(picture, lines, &figures[i], pen.darkness());
        parts.into_iter().map(move |p| (i, p))
    });
    parts
        .map(|(i, figure)| {
            (
                i,
                Found::of(picture, &figure, name::name(picture, lines, &figure)),
            )
        })
        .filter(|(i, f)| Found::mark_in(&f.name).is_some() && !of_ring(*i, f))
        .collect()
}

/// A piece of ink, by its shape, and how wide and dark it is.
struct Found {
    name: Name,
    look: Look,
    tint: Option<Tint>,
    at: Vector2<f64>,
    /// Of a thicker place of a ruled line, that line's ink.
    line: Option<LineInk>,
    /// It lies in the middle of its line, as a swelling of it does.
    amid_line: bool,
}

/// Ink that is this surely of a pen, and of a mark's shape, is a mark; ink less surely than the second is none. What lies
/// between is for a person to look at.
const SURE: f64 = 0.8;
const MAYBE: f64 = 0.05;
/// What is over a mark's stroke or a crossing is told where it is as likely a dot.
const MAYBE_ON_STROKE: f64 = 0.02;
/// What is amid a ruled line, as a swelling of it is, is told where it is as likely a dot; and what lies further off its axis than
/// this share of its size is no swelling.
const MAYBE_ON_LINE: f64 = 0.15;
const OFF_AXIS: f64 = 0.2;
/// Ink of no mark's shape is told where it is as likely this pen's.
const SHAPELESS: f64 = 0.3;

/// A piece's colour is that of what lies so far about its middle at most, mm.
const TINTED_MM: f64 = 0.6;

/// A part of a ring's stroke runs along it, at this cosine to the radius at most, and is no wider than the stroke but for what pressing
/// adds, a factor.
const ALONG_RING: f64 = 0.5;
const WIDER_THAN_RING: f64 = 1.4;

/// A mark stands on its line within this, mm.
const ON_LINE_MM: f64 = 0.5;

impl Found {
    fn of(picture: &Picture, figure: &Figure, name: Name) -> Self {
        let mark = Self::mark_in(&name);
        let at = mark.map_or_else(|| figure.middle(), |m| m.at);
        let size = mark.map_or_else(|| figure.extent(), |m| m.size_mm * picture.scale);
        Self {
            look: Look::of(picture, figure, &name),
            tint: match &name {
                // All of it: its middle is bare.
                Name::Ring(outline, _) => Tint::at(picture, outline.middle, outline.radius),
                _ => tint(picture, at, size),
            },
            at,
            name,
            line: None,
            amid_line: false,
        }
    }

    fn mark_in(name: &Name) -> Option<&FlatMark> {
        match name {
            Name::Mark(m) | Name::Doubtful(m, _) => Some(m),
            Name::Crossing(c) => Some(&c.mark),
            _ => None,
        }
    }

    /// What the pen can be learned from: itself, or what stands in it where it is a ring.
    fn piece(&self, picture: &Picture) -> Option<Piece> {
        match &self.name {
            Name::OfLine | Name::OfEdge => None,
            Name::Ring(_, Some(inner)) if let Some(m) = Self::mark_in(inner) => Some(Piece {
                at: m.at,
                look: Look::of_mark(picture, m),
                tint: tint(picture, m.at, m.size_mm * picture.scale),
                shaped: true,
                line: None,
            }),
            name => Some(Piece {
                at: self.at,
                look: self.look,
                tint: self.tint,
                shaped: Self::mark_in(name).is_some(),
                line: self.line,
            }),
        }
    }

    /// What it is, the pen and the dirt being known; `away`: how far it lies from the planned place that it is
    /// the likeliest at, as a share of the reach.
    fn settled(self, picture: &Picture, pen: &Pen, away: Option<f64>) -> Name {
        let own = Piece {
            at: self.at,
            look: self.look,
            tint: self.tint,
            shaped: true,
            line: self.line,
        };
        let is_mark = |look: Look| pen.is_mark(&Piece { look, ..own }, away);
        // What lies over a mark's strokes is told on little: few strokes have any.
        if let Name::Doubtful(m, why @ (Doubt::OnStroke | Doubt::OnCrossing)) = self.name {
            let p = is_mark(self.look);
            let mark = FlatMark {
                probability: p,
                ..m
            };
            return match p < MAYBE_ON_STROKE {
                true => Name::Speck,
                false => Name::Doubtful(mark, why),
            };
        }
        // A line has a thousand places that may swell.
        if self.amid_line && is_mark(self.look) < MAYBE_ON_LINE {
            return Name::Speck;
        }
        match self.name {
            Name::Ring(outline, inner) => {
                let drawn = pen.is_mark(&own, None) >= MAYBE;
                let inner = inner.map(|name| match *name {
                    Name::Mark(m) => {
                        // Nobody draws a ring round dirt: what stands in it is meant.
                        let inner = Piece {
                            look: Look::of_mark(picture, &m),
                            tint: tint(picture, m.at, m.size_mm * picture.scale),
                            ..own
                        };
                        // Nor does dirt that looks like a ring mean anything.
                        let meant = away.or(drawn.then_some(0.0));
                        Box::new(marked(m, pen.is_mark(&inner, meant), None))
                    }
                    name => Box::new(name),
                });
                let empty = inner.as_deref().is_none_or(|n| matches!(n, Name::Speck));
                if empty && !drawn {
                    Name::Speck
                } else {
                    Name::Ring(outline, inner)
                }
            }
            // Where a mark is meant to be, a spot at a line's end is that mark.
            Name::Doubtful(m, Doubt::AtLineEnd) if away.is_some() => {
                marked(m, is_mark(self.look), None)
            }
            Name::Doubtful(m, why) => marked(m, is_mark(self.look), Some(why)),
            Name::Mark(m) => marked(m, is_mark(self.look), None),
            name @ (Name::Unsure { .. } | Name::Crossing(_)) => {
                if is_mark(self.look) < SHAPELESS {
                    Name::Speck
                } else {
                    name
                }
            }
            name => name,
        }
    }
}

/// The colour of ink of this size, px; of something large that of its middle.
fn tint(picture: &Picture, at: Vector2<f64>, size: f64) -> Option<Tint> {
    Tint::at(picture, at, reach(picture, size))
}

fn reach(picture: &Picture, size: f64) -> f64 {
    (size / 2.0).min(TINTED_MM * picture.scale)
}

/// Ink of a mark's shape that is the pen's with probability `p`; `why` it is doubted all the same.
fn marked(mut mark: FlatMark, p: f64, why: Option<Doubt>) -> Name {
    mark.probability = p;
    match why {
        _ if p < MAYBE => Name::Speck,
        Some(why) => Name::Doubtful(mark, why),
        None if p < SURE => Name::Doubtful(mark, Doubt::MayBeDirt),
        None => Name::Mark(mark),
    }
}

/// The figures, one for each, and then the thicker places of the lines.
fn found(picture: &Picture, lines: &[Line], figures: &[Figure]) -> Vec<Found> {
    let mut found: Vec<Found> = figures
        .par_iter()
        .map(|f| Found::of(picture, f, name::name(picture, lines, f)))
        .collect();
    let clear = BESIDE_A_FIGURE_MM * picture.scale;
    let of = |ring: bool| {
        let is_ring = move |n: &Found| matches!(n.name, Name::Ring(..)) == ring;
        let all = figures.iter().zip(&found);
        let explained = all.filter(move |(_, n)| !matches!(n.name, Name::OfLine) && is_ring(n));
        taken(explained.map(|(f, _)| f), lines, clear)
    };
    let beads = beads::find(picture, lines, &of(false), &of(true));
    let marks: Vec<&FlatMark> = (found.iter())
        .filter_map(|f| Found::mark_in(&f.name))
        .collect();
    let on_strokes = overlay::on_strokes(picture, lines, &marks);
    let on_crossings = overlay::on_crossings(picture, lines);
    let laid_over = |(m, dark), why| (Name::Doubtful(m, why), dark);
    let over = (beads.into_iter())
        .chain(
            on_strokes
                .into_iter()
                .map(|o| laid_over(o, Doubt::OnStroke)),
        )
        .chain(
            on_crossings
                .into_iter()
                .map(|o| laid_over(o, Doubt::OnCrossing)),
        );
    found.extend(over.filter_map(|(name, darkness)| {
        let m = Found::mark_in(&name)?;
        let size = m.size_mm * picture.scale;
        let within = |l: &Line, beside: f64| {
            let (s, t) = l.local(m.at);
            s > l.span[0] && s < l.span[1] && t.abs() < beside
        };
        let under = lines.iter().find(|l| within(l, l.half + size));
        let beside = under.map(|l| {
            let (s, _) = l.local(m.at);
            let clear = size + 2.0 * BESIDE_A_FIGURE_MM * picture.scale;
            [s - clear, s + clear].map(|s| l.point(s, 0.0))
        });
        let of_line = |at| tint(picture, at, size);
        Some(Found {
            look: Look::of_mark(picture, m),
            tint: match beside {
                Some(beside) => Tint::over(picture, m.at, beside, reach(picture, size)),
                None => tint(picture, m.at, size),
            },
            at: m.at,
            amid_line: lines.iter().any(|l| within(l, OFF_AXIS * size)),
            line: Some(LineInk {
                darkness,
                tint: beside.and_then(|[a, b]| of_line(a).or_else(|| of_line(b))),
            }),
            name,
        })
    }));
    found
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
