//! Reading ink: what is drawn on the sheet, and what could not be seen.
//!
//! | step | module |
//! | --- | --- |
//! | the sheet seen from above | [`view`] |
//! | reading such a picture, whatever it came from | [`flat`] |
//! | streaks along the metal's grain, taken off | `grain` |
//! | bare surface, what lies on it, and ink mask | `grid`, `ground`, `cover`, `things`, `picture` |
//! | long straight lines | `lines` |
//! | what one hand drew in one place | `figure` |
//! | strokes, loops | `shape`, `pixels` |
//! | whose shape it has: dot, tick, cross, ring, cross-out | `name` |
//! | dots hardly wider than their line | `beads` |
//! | centres and their uncertainty | `place` |
//! | how wide and dark each piece is, and of what colour | `look`, `tint` |
//! | this sheet's pen and this sheet's dirt | `pen` |
//! | dots on marks' strokes and lines' crossings | `overlay` |
//! | a pen's ink over paler ink | `layers` |
//! | lines of print and writing | `print` |
//! | all of it explained | `explain` |
//! | whether a cross marks or strikes out | `habit` |
//! | strokes through marks | `through` |
//! | what was drawn round and over marks | `combine` |
//! | why a place cannot be read | `blind` |
//! | why ink is unclear | `doubt` |
//! | what punch and drill left | [`worked`], `dimple`, `pit`, `hole` |

mod arms;
mod beads;
mod blind;
mod combine;
mod cover;
mod dimple;
mod doubt;
mod explain;
mod figure;
pub mod flat;
mod grain;
mod grid;
mod ground;
mod habit;
mod hole;
mod layers;
mod lines;
mod look;
mod name;
mod overlay;
mod pen;
mod picture;
mod pit;
mod pixels;
mod place;
mod print;
mod shape;
mod things;
mod through;
mod tint;
pub mod view;
pub mod worked;

use image::GrayImage;
use rayon::prelude::*;

use crate::card::SeenCard;
use crate::frame::{Cov2, Flat, Pixel, Point, Sheet};
use crate::photo::Colour;
use crate::sheet::Outline;
use crate::survey::SheetFrame;
use view::FlatView;

pub use blind::Blind;
pub use doubt::Doubt;

/// Likelier a mark than none from this probability on.
pub const LIKELY: f64 = 0.5;

/// What sort of mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// A compact spot.
    Dot,
    /// A short stroke across a ruled line; its place is the crossing.
    Tick,
    /// Two short strokes of like length; its place is their crossing.
    Cross,
    /// A centre punch's dimple.
    Dimple,
    /// A drilled hole; its size is its diameter.
    Hole,
    /// Ink that could not be named, and that a person says is a mark.
    Answered,
}

/// A mark that says "a hole goes here", and what was drawn round or over it.
#[derive(Debug, Clone)]
pub struct Mark {
    /// Its centre, mm.
    pub at: Point<Sheet>,
    /// Covariance of `at`, mm²: survey, datum and localisation together.
    pub cov: Cov2,
    /// Dot, tick or cross.
    pub kind: MarkKind,
    /// Largest extent of the mark itself, mm (ring and cross-out not counted).
    pub size_mm: f64,
    /// A loop was drawn round it: "drill here".
    pub ringed: bool,
    /// A larger X was drawn over it: "never drill here".
    pub crossed_out: bool,
    /// How surely it is a mark, 0 to 1; `None` for what punch and drill left, and for what a person said.
    pub probability: Option<f64>,
}

/// A ruled line.
#[derive(Debug, Clone, Copy)]
pub struct RuledLine {
    /// Its two ends, mm.
    pub ends: [Point<Sheet>; 2],
    /// Its width, mm.
    pub width_mm: f64,
    /// Standard uncertainty across it, mm.
    pub u_mm: f64,
}

impl RuledLine {
    /// Its direction (length 1) where it runs within `slack_mm` of a place.
    pub(crate) fn way_under(
        &self,
        at: Point<Sheet>,
        slack_mm: f64,
    ) -> Option<nalgebra::Vector2<f64>> {
        self.under(at, slack_mm).map(|(way, _)| way)
    }

    /// The same, and how far the place lies to the left of it, mm.
    pub(crate) fn under(
        &self,
        at: Point<Sheet>,
        slack_mm: f64,
    ) -> Option<(nalgebra::Vector2<f64>, f64)> {
        let along = self.ends[1] - self.ends[0];
        let way = along.try_normalize(f64::EPSILON)?;
        let d = at - self.ends[0];
        let (s, t) = (d.dot(&way), way.perp(&d));
        let under = s > -slack_mm && s < along.norm() + slack_mm && t.abs() < slack_mm;
        under.then_some((way, t))
    }
}

/// Middles of a ruled line's ink in the photo, every few millimetres from end to end: how straight it is.
pub type Axis = Vec<Point<Pixel>>;

/// Ink that could not be named with confidence.
#[derive(Debug, Clone)]
pub struct Unsure {
    /// Its middle, mm.
    pub at: Point<Sheet>,
    /// Covariance of `at`, mm².
    pub cov: Cov2,
    /// Its largest extent, mm.
    pub size_mm: f64,
    /// Why it could not be named.
    pub why: Doubt,
    /// A character of writing or print: no mark by itself, but a mark under it does not show.
    pub writing: bool,
    /// How surely it is a mark, 0 to 1, where it has the shape of one.
    pub probability: Option<f64>,
}

/// Which parts of the sheet the photo shows well enough to find a mark.
///
/// A grid of square cells over the sheet, row by row from the lower left corner.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Side of a cell, mm.
    pub cell_mm: f64,
    /// Cells along x.
    pub columns: usize,
    /// Cells along y.
    pub rows: usize,
    /// Width and height of what the grid lies over, mm: the last column and row may stand out beyond it.
    pub size_mm: [f64; 2],
    /// Whether each cell was seen, `row * columns + column`; row 0 is at y = 0.
    pub cells: Vec<bool>,
    /// Why a cell was not seen, in the same order; nothing for one that was seen. Empty where nobody said.
    pub blind: Vec<Option<Blind>>,
}

impl Seen {
    /// Share of the sheet's area that was seen, 0 to 1.
    #[must_use]
    pub fn fraction(&self) -> f64 {
        // What of a cell lies on the sheet: less than all of it in the last column and row.
        let on_sheet = |i: usize, of: f64| (of - i as f64 * self.cell_mm).clamp(0.0, self.cell_mm);
        let (mut seen, mut all) = (0.0, 0.0);
        for (i, &s) in self.cells.iter().enumerate() {
            let area = on_sheet(i % self.columns, self.size_mm[0])
                * on_sheet(i / self.columns, self.size_mm[1]);
            all += area;
            seen += if s { area } else { 0.0 };
        }
        if all > 0.0 { seen / all } else { 0.0 }
    }

    /// Whether the cell that holds `at` was seen; a place off the sheet was not.
    #[must_use]
    pub fn sees(&self, at: Point<Sheet>) -> bool {
        let column = (at.x / self.cell_mm).floor();
        let row = (at.y / self.cell_mm).floor();
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
        inside && self.cells[row as usize * self.columns + column as usize]
    }
}

/// All that was read from the sheet.
#[derive(Debug, Clone)]
pub struct Ink {
    /// The marks, sorted by x then y.
    pub marks: Vec<Mark>,
    /// The ruled lines.
    pub lines: Vec<RuledLine>,
    /// What could not be named.
    pub unsure: Vec<Unsure>,
    /// Where the photo could be read.
    pub seen: Seen,
}

impl Ink {
    /// Nothing read and nothing seen, of a sheet of this size, mm.
    #[must_use]
    pub fn unseen(size_mm: [f64; 2]) -> Self {
        let seen = Seen::of(size_mm, |_| false);
        Self {
            marks: Vec::new(),
            lines: Vec::new(),
            unsure: Vec::new(),
            seen,
        }
    }
}

impl Seen {
    /// Side of a cell, mm: a little more than the largest mark.
    const CELL_MM: f64 = 2.0;

    /// The same with why each cell was not seen, as `hinders` says of its middle.
    #[must_use]
    pub fn with_causes(
        size_mm: [f64; 2],
        hinders: impl Fn(Point<Sheet>) -> Option<Blind> + Sync,
    ) -> Self {
        let mut seen = Self::of(size_mm, |_| true);
        let middles = (0..seen.cells.len()).into_par_iter();
        seen.blind = middles.map(|i| hinders(seen.middle(i))).collect();
        seen.cells = seen.blind.iter().map(Option::is_none).collect();
        seen
    }

    /// How far a place is from a cell, mm; 0 within it.
    pub(crate) fn away(&self, [column, row]: [usize; 2], at: Point<Sheet>) -> f64 {
        let off = |low: usize, value: f64| {
            let low = low as f64 * self.cell_mm;
            value.clamp(low, low + self.cell_mm) - value
        };
        off(column, at.x).hypot(off(row, at.y))
    }

    /// Takes cells out of what was seen, by their middles, for one reason.
    pub(crate) fn hide(&mut self, cause: Blind, hidden: impl Fn(Point<Sheet>) -> bool) {
        self.blind.resize(self.cells.len(), None);
        for i in 0..self.cells.len() {
            let at = Point::new(
                ((i % self.columns) as f64 + 0.5) * self.cell_mm,
                ((i / self.columns) as f64 + 0.5) * self.cell_mm,
            );
            if self.cells[i] && hidden(at) {
                self.cells[i] = false;
                self.blind[i] = Some(cause);
            }
        }
    }

    /// The grid over a sheet of `size_mm`, each cell as `sees` says of its middle.
    #[must_use]
    pub fn of(size_mm: [f64; 2], sees: impl Fn(Point<Sheet>) -> bool) -> Self {
        let [columns, rows] = size_mm.map(|s| (s / Self::CELL_MM).ceil().max(1.0) as usize);
        let mut seen = Self {
            cell_mm: Self::CELL_MM,
            columns,
            rows,
            size_mm,
            cells: Vec::new(),
            blind: Vec::new(),
        };
        seen.cells = (0..columns * rows).map(|i| sees(seen.middle(i))).collect();
        seen
    }

    /// The middle of a cell; of one that reaches over the sheet's edge, a place on it.
    fn middle(&self, i: usize) -> Point<Sheet> {
        let middle = |i: usize, of: f64| {
            let on_sheet = of - 0.5 * Self::CELL_MM.min(of).min(1.6);
            ((i as f64 + 0.5) * Self::CELL_MM).min(on_sheet)
        };
        Point::new(
            middle(i % self.columns, self.size_mm[0]),
            middle(i / self.columns, self.size_mm[1]),
        )
    }
}

/// Reads the sheet in a photo; with its ruled lines as the photo shows them. `size_mm`: its planned width and height;
/// `planned`: where marks are meant to be, for each way that the plan may lie; from them this sheet's pen is learned.
#[must_use]
pub fn read(
    grey: &GrayImage,
    colour: Option<&Colour>,
    frame: &SheetFrame,
    outline: &Outline,
    cards: &[SeenCard],
    size_mm: [f64; 2],
    planned: &[Vec<Point<Sheet>>],
) -> (Ink, FlatView, Vec<Axis>) {
    let view = FlatView::of(grey, colour, frame, outline, cards, size_mm);
    let in_flat = |way: &Vec<Point<Sheet>>| way.iter().map(|&p| view.flat_from_sheet(p)).collect();
    let planned: Vec<Vec<Point<Flat>>> = planned.iter().map(in_flat).collect();
    let found = flat::read_in_colour(&view.image, view.colour.as_ref(), view.px_per_mm, &planned);
    // From the flat view back to the photo, and from there by the survey itself, which knows how well.
    let place = |at: Point<Flat>, cov: Cov2| {
        let on_sheet = view.sheet_from_flat(at);
        let pixel = frame.pixel_from_sheet(on_sheet)?;
        let by_mm = view::jacobian(frame, on_sheet)?;
        let flip = nalgebra::Matrix2::new(1.0, 0.0, 0.0, -1.0) / view.px_per_mm;
        let by_flat = by_mm * flip;
        frame.point(pixel, by_flat * cov * by_flat.transpose())
    };
    let marks = found
        .marks
        .par_iter()
        .filter_map(|m| {
            let (at, cov) = place(m.at, m.cov)?;
            Some(Mark {
                probability: Some(m.probability),
                at,
                cov,
                kind: m.kind,
                size_mm: m.size_mm,
                ringed: m.ringed,
                crossed_out: m.crossed_out,
            })
        })
        .collect();
    let lines = found
        .lines
        .iter()
        .filter_map(|l| {
            let across = Cov2::identity() * (l.sigma * l.sigma);
            let (a, cov) = place(l.ends[0], across)?;
            let (b, _) = place(l.ends[1], across)?;
            Some(RuledLine {
                ends: [a, b],
                width_mm: l.width / view.px_per_mm,
                u_mm: cov.symmetric_eigenvalues().max().max(0.0).sqrt(),
            })
        })
        .collect();
    let unsure = found
        .unsure
        .iter()
        .filter_map(|u| {
            let own = Cov2::identity() * (0.1 * u.size_mm * view.px_per_mm).powi(2);
            let (at, cov) = place(u.at, own)?;
            Some(Unsure {
                probability: u.looks.as_ref().map(|m| m.probability),
                at,
                cov,
                size_mm: u.size_mm,
                why: u.why,
                writing: u.writing,
            })
        })
        .collect();
    let sight = blind::Sight::of(frame, [grey.width(), grey.height()], cards);
    let seen = Seen::with_causes(size_mm, |at| {
        let flat = view.flat_from_sheet(at);
        let by_place = || sight.hinders(at).or_else(|| sight.at_rim(&view, at));
        // A cell that is not readable and has no cause of its own is cut short by the sheet's rim.
        let by_pixels = || {
            let cause = found.blind_at(flat).unwrap_or(Blind::Rim);
            (!found.is_readable(flat)).then_some(cause)
        };
        by_place().or_else(by_pixels)
    });
    let mut ink = Ink {
        marks,
        lines,
        unsure,
        seen,
    };
    blind::doubt_rims(&mut ink);
    let in_photo = |&p: &Point<Flat>| frame.pixel_from_sheet(view.sheet_from_flat(p));
    let axes = found.lines.iter();
    let axes = axes
        .map(|l| l.axis.iter().filter_map(in_photo).collect())
        .collect();
    (ink, view, axes)
}
