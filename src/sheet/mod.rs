//! The sheet's own edges in the photo, and the datum they give.

use crate::frame::{Point, Sheet};
use crate::plan::Edge;

/// One edge of the sheet as measured, in the `Sheet` frame.
#[derive(Debug, Clone, Copy)]
pub struct MeasuredEdge {
    /// Which edge.
    pub edge: Edge,
    /// Two points on it, mm: its ends where it was seen.
    pub ends: [Point<Sheet>; 2],
    /// Standard uncertainty of its offset at its middle, mm.
    pub u_offset_mm: f64,
    /// Standard uncertainty of its direction, rad.
    pub u_angle_rad: f64,
}

/// The sheet's outline as far as it was seen, in the `Sheet` frame.
#[derive(Debug, Clone, Default)]
pub struct Outline {
    /// The edges found, each at most once.
    pub edges: Vec<MeasuredEdge>,
    /// Measured width, mm, and its standard uncertainty, where both side edges were seen.
    pub width_mm: Option<[f64; 2]>,
    /// Measured height, mm, and its standard uncertainty, where both other edges were seen.
    pub height_mm: Option<[f64; 2]>,
}
