//! The plan: where the holes should be.
//!
//! | step | file |
//! | --- | --- |
//! | open and walk the TOML file | `read` |
//! | one table: its keys, their sorts and places | `table` |
//! | rows: three forms, one list of stations | `rows` |
//! | names, places and tolerance make sense together | `geometry` |
//! | lengths, as written and as shown | [`length`] |
//! | what can be wrong | `error` |

mod error;
mod geometry;
pub mod length;
mod read;
mod rows;
mod table;

pub use error::{Fault, PlanError};
pub use read::{parse, read};

use crate::frame::{Point, Sheet};

/// The unit of bare numbers in a plan, and of what is shown to its reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Units {
    /// Inches.
    Inch,
    /// Millimetres.
    Millimetre,
}

/// An edge of the sheet as the plan draws it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Edge {
    /// y = 0.
    Bottom,
    /// x = width.
    Right,
    /// y = height.
    Top,
    /// x = 0.
    Left,
}

/// Rivet head.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Head {
    /// Stands above the sheet.
    Protruding,
    /// Flush.
    Countersunk,
}

/// One planned hole.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// Its name, such as `A1`.
    pub name: String,
    /// The row it belongs to, or `None` for a single hole.
    pub row: Option<String>,
    /// Planned centre, mm.
    pub at: Point<Sheet>,
}

/// A row of holes along an edge. Its holes stand in `Plan::holes`, in order from the row's start.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: String,
    /// The edge it runs along: bottom and top from the left edge, left and right from the bottom edge.
    pub along: Edge,
    /// Distance from that edge, mm.
    pub edge_distance_mm: f64,
    /// Distances of the holes from the end edge, mm, in order.
    pub stations_mm: Vec<f64>,
}

/// A whole plan. Lengths in mm, places in the `Sheet` frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What the piece is called.
    pub title: String,
    /// The unit its author reads and writes.
    pub units: Units,
    /// Sheet size along x, mm.
    pub width_mm: f64,
    /// Sheet size along y, mm.
    pub height_mm: f64,
    /// Sheet thickness, mm, where given.
    pub thickness_mm: Option<f64>,
    /// Rivet diameter, mm, where given.
    pub rivet_mm: Option<f64>,
    /// Rivet head, where given.
    pub head: Option<Head>,
    /// Radius round a planned centre within which a mark must lie, mm.
    pub tolerance_mm: f64,
    /// Share of the face that must be seen for "ready", 0 to 1.
    pub seen_fraction: f64,
    /// Two hole names that fix the frame instead of the sheet's edges.
    pub datum: Option<[String; 2]>,
    /// The rows.
    pub rows: Vec<Row>,
    /// All holes: those of the rows in order, then the single ones.
    pub holes: Vec<Hole>,
}
