//! What is read from a flat picture, before it is put into the sheet's frame.

use image::GrayImage;
use nalgebra::Vector2;

use super::explain::Drawn;
use super::lines::Line;
use super::name::FlatMark;
use super::{Blind, Doubt, MarkKind};
use crate::frame::{Cov2, Flat, Point};
use crate::photo::Colour;

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
    /// How surely it is a pen's, and no dirt: 0 to 1.
    pub probability: f64,
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
    pub why: Doubt,
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
    /// Corners of areas in which ink as dark as the pen could hide: print as dark.
    pub(super) hidden: Vec<[Vector2<f64>; 4]>,
    pub(super) readable: Option<super::ground::Ground>,
    /// How much the ink at the planned places stands out, on average: its darkness as far as it is a pen's, 0 to 1; nothing
    /// where no plan was given.
    pub(super) at_places: Option<f64>,
}

impl FlatInk {
    /// Whether ink at `at` would have shown: neither blown out, nor black, nor lost in texture, nor
    /// outside.
    #[must_use]
    pub fn is_readable(&self, at: Point<Flat>) -> bool {
        let shows = |g: &super::ground::Ground| g.is_readable(at.x, at.y);
        self.readable.as_ref().is_some_and(shows) && !self.is_in_print(at)
    }

    /// Why ink at `at` would not have shown, where its own pixels tell.
    #[must_use]
    pub fn blind_at(&self, at: Point<Flat>) -> Option<Blind> {
        let by_ground = self.readable.as_ref()?.blind_at(at.x, at.y);
        by_ground.or(self.is_in_print(at).then_some(Blind::Print))
    }

    fn is_in_print(&self, at: Point<Flat>) -> bool {
        self.hidden.iter().any(|corners| {
            let turns = (0..4).map(|i| {
                let side = corners[(i + 1) % 4] - corners[i];
                side.perp(&(at.vec() - corners[i]))
            });
            let (mut left, mut right) = (false, false);
            for t in turns {
                left |= t > 0.0;
                right |= t < 0.0;
            }
            left != right
        })
    }
}

/// Bright ink stands out this many times more than the dark if it is what was drawn: beside a bright line the face looks a
/// little darker, and beside a dark one a little brighter.
const MORE_CONTRAST: f64 = 1.1;
/// From this on, on average over the planned places, they are marked: a marker takes a half of the light, encoded, and the
/// shadow beside bright ink less than a quarter.
const MARKED: f64 = 0.3;
/// On a face with bright lines, dark things of less contrast are dye laid on thickly: a marker's ink takes more than
/// half of what little light the dye leaves.
const STAIN: f64 = 0.24;
/// Dark ink this near to bright ink is the shadow beside it, mm.
const SHADOW_MM: f64 = 1.5;

/// Reads a flat picture of `px_per_mm` pixels a millimetre. Pixels of level 0 are outside the sheet
/// and hold nothing.
///
/// Ink is darker than the face, unless what is brighter than the face explains the plan better: then marks are bright
/// as well, and dark ink apart from them is unsure. `planned`: where marks are meant to be, for each way that the plan may
/// lie; the pen is learned from the way that fits.
#[must_use]
pub fn read(flat: &GrayImage, px_per_mm: f64, planned: &[Vec<Point<Flat>>]) -> FlatInk {
    read_in_colour(flat, None, px_per_mm, planned)
}

/// The same of a picture with its `colour`, at half its size: then the pen is known by its colour too.
#[must_use]
pub fn read_in_colour(
    flat: &GrayImage,
    colour: Option<&Colour>,
    px_per_mm: f64,
    planned: &[Vec<Point<Flat>>],
) -> FlatInk {
    let places = |way: &Vec<Point<Flat>>| way.iter().map(|p| p.vec()).collect();
    let planned: Vec<Vec<Vector2<f64>>> = planned.iter().map(places).collect();
    let drawn = Drawn::on(flat, colour, px_per_mm);
    let (is_dark, dark_strength) = (drawn.picture.ground.is_dark(), drawn.strength());
    let dark = drawn.named(&planned);
    if dark.at_places.map_or(!is_dark, |ink| ink >= MARKED) {
        return dark;
    }
    let negative = GrayImage::from_fn(flat.width(), flat.height(), |x, y| {
        let [v] = flat.get_pixel(x, y).0;
        image::Luma([if v == 0 { 0 } else { 255 - v.min(254) }])
    });
    let drawn = Drawn::on(&negative, None, px_per_mm);
    let bright_strength = drawn.strength();
    let bright = drawn.named(&planned);
    let is_bright = match (dark.at_places, bright.at_places) {
        (Some(dark), Some(bright)) => bright > MARKED.max(MORE_CONTRAST * dark),
        _ => bright_strength > MORE_CONTRAST * dark_strength,
    };
    if is_bright {
        let dark = Drawn::on(flat, colour, px_per_mm);
        let dark = dark.darker_than(STAIN).named(&planned);
        with_dark_left_over(bright, &dark, px_per_mm)
    } else {
        dark
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
            why: Doubt::DarkAmongBright,
            writing: false,
            looks: None,
        })
        .collect();
    bright.unsure.extend(left);
    bright
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
            probability: m.probability,
        }
    }
}

impl From<&Line> for LineInFlat {
    fn from(line: &Line) -> Self {
        let ends = line.span.map(|s| Point::at(line.point(s, 0.0)));
        Self {
            ends,
            width: 2.0 * line.half,
            sigma: line.sigma,
            contrast: line.contrast,
            axis: line.axis.iter().copied().map(Point::at).collect(),
        }
    }
}

#[cfg(test)]
mod tests;
