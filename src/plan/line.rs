//! The line of a row: along an edge of the sheet or anywhere else, before its holes are named.

use nalgebra::Vector2;

use super::rows::SheetSize;
use super::{Datum, Edge};

impl Edge {
    /// The length of this edge, and of the sheet across it, mm.
    pub(super) fn lengths(self, size: SheetSize) -> (f64, f64) {
        match self {
            Self::Bottom | Self::Top => (size.width_mm, size.height_mm),
            Self::Left | Self::Right => (size.height_mm, size.width_mm),
        }
    }

    /// The edges where a row along this one starts and ends.
    pub(super) fn ends(self) -> [Self; 2] {
        match self {
            Self::Bottom | Self::Top => [Self::Left, Self::Right],
            Self::Left | Self::Right => [Self::Bottom, Self::Top],
        }
    }

    /// The edge across the sheet.
    pub(super) fn opposite(self) -> Self {
        match self {
            Self::Bottom => Self::Top,
            Self::Top => Self::Bottom,
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// Whether it runs along x.
    #[must_use]
    pub fn is_level(self) -> bool {
        matches!(self, Self::Bottom | Self::Top)
    }

    /// Its name in plans.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Bottom => "bottom",
            Self::Right => "right",
            Self::Top => "top",
            Self::Left => "left",
        }
    }

    /// Distance of a place of the sheet from this edge, mm.
    pub(super) fn distance(self, at: Vector2<f64>, size: SheetSize) -> f64 {
        match self {
            Self::Bottom => at.y,
            Self::Top => size.height_mm - at.y,
            Self::Left => at.x,
            Self::Right => size.width_mm - at.x,
        }
    }

    /// The line of a row at `edge_distance` from this edge.
    pub(super) fn line(self, edge_distance: f64, size: SheetSize, stations: Vec<f64>) -> Line {
        let (origin, along) = match self {
            Self::Bottom => (Vector2::new(0.0, edge_distance), Vector2::x()),
            Self::Top => (
                Vector2::new(0.0, size.height_mm - edge_distance),
                Vector2::x(),
            ),
            Self::Left => (Vector2::new(edge_distance, 0.0), Vector2::y()),
            Self::Right => (
                Vector2::new(size.width_mm - edge_distance, 0.0),
                Vector2::y(),
            ),
        };
        Line {
            origin,
            along,
            edge: Some(self),
            datum: Datum::Edge(self.ends()[0]),
            stations,
            skipped: Vec::new(),
            ends: Vec::new(),
        }
    }
}

/// A row on its line, before its holes are named.
#[derive(Debug, Clone)]
pub(super) struct Line {
    /// Where the station is 0.
    pub(super) origin: Vector2<f64>,
    /// Unit vector of growing station.
    pub(super) along: Vector2<f64>,
    /// The edge that the row is written along.
    pub(super) edge: Option<Edge>,
    pub(super) datum: Datum,
    /// All of them, skipped and shared ones too.
    pub(super) stations: Vec<f64>,
    /// Numbers of those left out.
    pub(super) skipped: Vec<usize>,
    /// Holes that the row is written to start or end at.
    pub(super) ends: Vec<String>,
}

impl Line {
    pub(super) fn place(&self, station: f64) -> Vector2<f64> {
        self.origin + self.along * station
    }

    /// Away from the row's edge, or to its left.
    pub(super) fn inward(&self) -> Vector2<f64> {
        let left = Vector2::new(-self.along.y, self.along.x);
        match self.edge {
            Some(Edge::Top | Edge::Left) => -left,
            _ => left,
        }
    }

    /// The edge along which the row runs or with which it is level, for a row whose stations grow away
    /// from the left or the bottom edge.
    pub(super) fn level_with(&self, size: SheetSize) -> Option<Edge> {
        /// Slant below which a row is level, as a sine: rounding.
        const LEVEL: f64 = 1e-9;
        if self.edge.is_some() {
            return self.edge;
        }
        let near = |at: f64, across: f64| at <= across / 2.0;
        if self.along.y.abs() < LEVEL && self.along.x > 0.0 {
            let low = near(self.origin.y, size.height_mm);
            Some(if low { Edge::Bottom } else { Edge::Top })
        } else if self.along.x.abs() < LEVEL && self.along.y > 0.0 {
            let low = near(self.origin.x, size.width_mm);
            Some(if low { Edge::Left } else { Edge::Right })
        } else {
            None
        }
    }
}
