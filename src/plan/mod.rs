//! The plan: where the holes should be.
//!
//! | step | file |
//! | --- | --- |
//! | open and walk the TOML file | `read` |
//! | one table: the sorts of its values and their places | `table` |
//! | which keys a table has, and what was meant by another | `keys` |
//! | stations: the ways to write where a row's holes are | `spacing` |
//! | rows: along an edge, between points, from another row | `rows`, `beside` |
//! | the line of a row | `line` |
//! | drills by name, and which serves which rivet | [`drill`] |
//! | grids, circles and arcs | `patterns` |
//! | points and the names of holes that stand for points | `places` |
//! | names, places and tolerance make sense together | `geometry` |
//! | lengths, as written and as shown | [`length`] |
//! | what can be wrong | `error` |
//! | edge distance, pitch and the like against published figures | [`rules`] |
//! | where to mark, and what a rule's divisions cost | [`stations`] |
//! | plans to start from | [`starters`] |

mod beside;
pub mod drill;
mod error;
mod from_datum;
mod geometry;
mod keys;
pub mod length;
mod line;
mod patterns;
mod places;
mod read;
mod rows;
pub mod rules;
mod slips;

mod spacing;
pub mod starters;
pub mod stations;

mod table;

pub use error::{Fault, PlanError};
pub use read::{parse, read};

use nalgebra::Vector2;

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

/// A row of holes that runs along an edge, or level with one. Its holes stand in `Plan::holes`, in order
/// from the row's start; skipped and shared stations have none.
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
    /// The drill for the holes, where given.
    pub drill: Option<drill::Drill>,
    /// Radius round a planned centre within which a mark must lie, mm.
    pub tolerance_mm: f64,
    /// Share of the face that must be seen for "ready", 0 to 1.
    pub seen_fraction: f64,
    /// Risk of passing a mark that is beyond tolerance, or of refusing one that is within: 0.0001 to 0.05. `None`: the
    /// usual guard band of U, whose risk is 0.023.
    pub risk: Option<f64>,
    /// Two hole names that fix the frame instead of the sheet's edges.
    pub datum: Option<[String; 2]>,
    /// The rows that run along an edge or level with one, and away from the left or bottom edge. Others
    /// (slanting rows, circles) are only in `runs`.
    pub rows: Vec<Row>,
    /// All holes to be marked: those of the rows in order, of circles, then the single ones.
    pub holes: Vec<Hole>,
    /// Holes that are drilled already: nothing is to be marked there, but rows may start from them.
    pub drilled: Vec<Hole>,
    /// Everything that has more than one hole, as it was planned.
    pub runs: Vec<Run>,
}

impl Plan {
    /// The hole of this name, to be marked or drilled already.
    #[must_use]
    pub fn hole(&self, name: &str) -> Option<&Hole> {
        self.holes
            .iter()
            .chain(&self.drilled)
            .find(|h| h.name == name)
    }
}

/// Holes planned together: a row, one line of a grid, a circle or an arc.
#[derive(Debug, Clone, PartialEq)]
pub struct Run {
    /// The row's or circle's name.
    pub name: String,
    /// The line that the holes lie on.
    pub path: Path,
    /// What the stations are measured from.
    pub datum: Datum,
    /// The holes in order, with those shared with other runs.
    pub stops: Vec<Stop>,
    /// Numbers of the stations that are left out on purpose.
    pub skipped: Vec<usize>,
}

/// The line that the holes of a run lie on.
#[derive(Debug, Clone, PartialEq)]
pub enum Path {
    /// Straight.
    Line {
        /// Where the station is 0.
        origin: Point<Sheet>,
        /// Unit vector of growing station.
        along: Vector2<f64>,
        /// The edge that the plan names for the row.
        edge: Option<Edge>,
    },
    /// A circle or an arc, anticlockwise.
    Circle {
        /// Its centre.
        centre: Point<Sheet>,
        /// Radius, mm.
        radius_mm: f64,
        /// All round: the last hole is the neighbour of the first.
        whole: bool,
    },
}

/// What the stations of a run are measured from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Datum {
    /// An edge of the sheet.
    Edge(Edge),
    /// The hole of this name.
    Hole(String),
    /// A point that nothing marks: the start of a row between two points, the first hole of a circle.
    Start,
}

/// One hole of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Stop {
    /// Name of the hole.
    pub hole: String,
    /// Number of its station, from 1.
    pub number: usize,
    /// Its centre, mm.
    pub at: Point<Sheet>,
    /// Distance from the datum along the path, mm.
    pub station_mm: f64,
    /// The hole belongs to another run, or is drilled already; this run only counts it in.
    pub shared: bool,
}
