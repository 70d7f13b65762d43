//! Reading ink: what is drawn on the sheet, and what could not be seen.

mod figure;
pub mod flat;
mod ground;
mod lines;
mod name;
mod picture;
mod place;
mod shape;

use crate::frame::{Cov2, Point, Sheet};

/// What sort of mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkKind {
    /// A compact spot.
    Dot,
    /// A short stroke across a ruled line; its place is the crossing.
    Tick,
    /// Two short strokes of like length; its place is their crossing.
    Cross,
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

/// Ink that could not be named with confidence.
#[derive(Debug, Clone)]
pub struct Unsure {
    /// Its middle, mm.
    pub at: Point<Sheet>,
    /// Covariance of `at`, mm².
    pub cov: Cov2,
    /// Its largest extent, mm.
    pub size_mm: f64,
    /// Why it could not be named, as half a sentence: "a single stroke away from any ruled line".
    pub why: &'static str,
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
    /// Whether each cell was seen, `row * columns + column`; row 0 is at y = 0.
    pub cells: Vec<bool>,
}

impl Seen {
    /// Share of the sheet that was seen, 0 to 1.
    #[must_use]
    pub fn fraction(&self) -> f64 {
        let seen = self.cells.iter().filter(|&&s| s).count();
        seen as f64 / self.cells.len().max(1) as f64
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
