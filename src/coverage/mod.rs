//! Before any photo is taken: how many photos and cards a plan needs, where they go, and how well each hole will be
//! known.
//!
//! | step | module |
//! | --- | --- |
//! | where camera and cards go | `lay` |
//! | what the photos would show, put through the real survey | `foresee` |
//!
//! Nothing is drawn: the checker corners and edges are placed by the camera equation, with the noise that photos have,
//! and the survey says what that makes of every hole.

mod foresee;
mod lay;

use std::fmt;

use crate::frame::{Point, Sheet};

pub use foresee::{Foreseen, Known, foresee};
pub use lay::{LaidCard, Layout, lay};

/// The camera that photos will be taken with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Phone {
    /// Size of its pictures, the longer side first, px.
    pub size_px: [u32; 2],
    /// 35 mm equivalent focal length, mm.
    pub focal_35mm: f64,
}

impl Default for Phone {
    /// A main camera as most phones have it: 12 megapixels, 26 mm.
    fn default() -> Self {
        Self {
            size_px: [4032, 3024],
            focal_35mm: 26.0,
        }
    }
}

impl Phone {
    /// Focal length, px: by the diagonal of the 36 x 24 mm frame (CIPA DCG-001, from memory).
    #[must_use]
    pub fn focal_px(&self) -> f64 {
        let [w, h] = self.size_px.map(f64::from);
        self.focal_35mm * w.hypot(h) / 36f64.hypot(24.0)
    }

    /// What a picture from `height_mm` above shows, mm along its longer and its shorter side.
    #[must_use]
    pub fn field_mm(&self, height_mm: f64) -> [f64; 2] {
        self.size_px
            .map(|p| f64::from(p) * height_mm / self.focal_px())
    }

    /// The height for a scale, mm.
    #[must_use]
    pub fn height_mm(&self, px_per_mm: f64) -> f64 {
        self.focal_px() / px_per_mm
    }
}

/// Why photos cannot be planned.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum CoverageError {
    /// A picture from that height shows less than cards and overlap need.
    TooLow {
        /// The height asked for, mm.
        height_mm: f64,
        /// The least that is enough, mm.
        least_mm: f64,
    },
    /// From that height a mark is too small in the picture.
    TooHigh {
        /// The height asked for, mm.
        height_mm: f64,
        /// The most that is enough, mm.
        most_mm: f64,
    },
    /// More cards than there are numbers.
    TooManyCards {
        /// Cards that would be needed.
        needed: usize,
        /// Numbers there are.
        numbers: usize,
    },
    /// There is no bare place on the face for a card that is needed there.
    NoRoom {
        /// About where.
        at: Point<Sheet>,
    },
    /// The survey refuses what the photos would show.
    Survey(String),
}

impl fmt::Display for CoverageError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLow {
                height_mm,
                least_mm,
            } => write!(
                f,
                "from {height_mm:.0} mm a photo shows too little to share two cards with the next one; at least {least_mm:.0} mm are needed for this plan; give a greater --height"
            ),
            Self::TooHigh { height_mm, most_mm } => write!(
                f,
                "from {height_mm:.0} mm a photo has too few pixels a millimetre for small marks; at most {most_mm:.0} mm are right for this camera; give a smaller --height"
            ),
            Self::TooManyCards { needed, numbers } => write!(
                f,
                "{needed} cards would be needed, and there are {numbers} numbers; take the photos from a greater --height, or check the piece in parts"
            ),
            Self::NoRoom { at } => write!(
                f,
                "a card is needed near {:.0}, {:.0} mm on the face, and the holes leave no bare place for it; take the photos from a greater --height",
                at.x, at.y
            ),
            Self::Survey(why) => write!(f, "the photos would not be enough: {why}"),
        }
    }
}

impl std::error::Error for CoverageError {}
