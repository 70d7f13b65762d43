//! Where in the picture corners were seen, and from which sides the page.

use super::fit::LensFit;
use crate::frame::{Pixel, Point};

/// Columns and rows of the picture's cells: a corner cell is a sixteenth of it.
pub const CELLS: usize = 4;
/// A cell counts as covered from this many corners on.
pub const COVERED: usize = 12;
/// A photo counts as tilted from this angle on, degrees.
pub const TILTED_DEG: f64 = 18.0;

/// Sides of the picture at which the page can lie further off.
pub const SIDES: [&str; 4] = ["right", "lower", "left", "upper"];

/// How the page stood to the camera in one photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tilt {
    /// Angle between the optical axis and the page's upright, degrees.
    pub angle_deg: f64,
    /// Towards which side of the picture the page falls away, degrees from its right, clockwise as seen.
    pub towards_deg: f64,
}

impl Tilt {
    /// From the page's upright in the camera's frame.
    #[must_use]
    pub fn of([x, y, z]: [f64; 3]) -> Self {
        Self {
            angle_deg: x.hypot(y).atan2(-z).to_degrees(),
            towards_deg: y.atan2(x).to_degrees(),
        }
    }

    /// The side, as a place in [`SIDES`]; `None` if the photo is not tilted.
    #[must_use]
    pub fn side(&self) -> Option<usize> {
        let quarter = (self.towards_deg / 90.0).round().rem_euclid(4.0) as usize;
        (self.angle_deg >= TILTED_DEG).then_some(quarter)
    }
}

/// What a set of photos covers.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    /// Corners seen in each cell of the picture, row by row from the upper left.
    pub cells: [[usize; CELLS]; CELLS],
    /// One for each photo of the fit.
    pub tilts: Vec<Tilt>,
}

impl Coverage {
    /// Of the photos of a fit.
    #[must_use]
    pub fn of(fit: &LensFit) -> Self {
        let mut cells = [[0; CELLS]; CELLS];
        let cell = |v: f64, size: u32| {
            ((v / f64::from(size) * CELLS as f64).floor().max(0.0) as usize).min(CELLS - 1)
        };
        for (at, _, counts) in fit.photos.iter().flat_map(|p| &p.corners) {
            if *counts {
                let Point::<Pixel> { x, y, .. } = *at;
                cells[cell(y, fit.size[1])][cell(x, fit.size[0])] += 1;
            }
        }
        Self {
            cells,
            tilts: fit.photos.iter().map(|p| Tilt::of(p.upright)).collect(),
        }
    }

    /// Which corners of the picture are covered: upper left, upper right, lower right, lower left.
    #[must_use]
    pub fn corners(&self) -> [bool; 4] {
        let last = CELLS - 1;
        [(0, 0), (0, last), (last, last), (last, 0)].map(|(r, c)| self.cells[r][c] >= COVERED)
    }

    /// Share of cells that are covered.
    #[must_use]
    pub fn share(&self) -> f64 {
        let covered = self.cells.iter().flatten().filter(|n| **n >= COVERED);
        covered.count() as f64 / (CELLS * CELLS) as f64
    }

    /// Tilted photos for each of [`SIDES`].
    #[must_use]
    pub fn sides(&self) -> [usize; 4] {
        let mut sides = [0; 4];
        for side in self.tilts.iter().filter_map(Tilt::side) {
            sides[side] += 1;
        }
        sides
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_page_that_falls_away_to_the_right_is_named_so() {
        // z = z0 + x: the upright towards the camera is (1, 0, -1).
        let t = Tilt::of([0.5_f64.sqrt(), 0.0, -(0.5_f64.sqrt())]);
        assert!((t.angle_deg - 45.0).abs() < 1e-9);
        assert_eq!(t.side().map(|s| SIDES[s]), Some("right"));
        let below = Tilt::of([0.0, 0.5, -0.75_f64.sqrt()]);
        assert_eq!(below.side().map(|s| SIDES[s]), Some("lower"));
        assert_eq!(
            Tilt::of([-0.5, 0.1, -0.8]).side().map(|s| SIDES[s]),
            Some("left")
        );
        assert_eq!(
            Tilt::of([0.1, -0.5, -0.8]).side().map(|s| SIDES[s]),
            Some("upper")
        );
        assert_eq!(Tilt::of([0.1, 0.1, -1.0]).side(), None);
    }
}
