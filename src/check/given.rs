//! What the user says besides the plan.

use super::stage::Stage;
use super::turn::Corner;
use crate::decide::Answers;
use crate::survey::{PAPER_MM, PAPER_SAID_SD_MM, PrintScale, Priors};

/// What the user says besides the plan.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// The print scale, from what the bars measure.
    pub print_scale: Option<PrintScale>,
    /// Thickness of the cards' paper or card stock, mm.
    pub card_thickness_mm: Option<f64>,
    /// How far below the face the cards beside the sheet lie, mm.
    pub card_below_mm: Option<f64>,
    /// Measured lengths.
    pub known: Vec<(Known, f64)>,
    /// Where the plan's lower left corner is in the upright photo; unsaid, the marks tell.
    pub datum_corner: Option<Corner>,
    /// How far the work is.
    pub stage: Stage,
    /// The camera of each photo in the order given, by its profile, see [`crate::lens::Profile::priors`]; empty:
    /// by the photos' EXIF data.
    pub cameras: Vec<Priors>,
    /// What a person said of ink that could not be named.
    pub answers: Option<Answers>,
}

impl Given {
    /// Height of the cards' print over what they lie on, for [`crate::survey::Options::paper_mm`].
    pub(super) fn paper_mm(&self) -> [f64; 2] {
        self.card_thickness_mm
            .map_or(PAPER_MM, |mm| [mm, PAPER_SAID_SD_MM])
    }
}

/// A length that the user can measure and tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// From the left to the right edge, at the middle.
    SheetWidth,
    /// From the bottom to the top edge, at the middle.
    SheetHeight,
}

impl Known {
    /// By its name on the command line.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "sheet-width" => Some(Self::SheetWidth),
            "sheet-height" => Some(Self::SheetHeight),
            _ => None,
        }
    }

    /// Its name on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::SheetWidth => "sheet-width",
            Self::SheetHeight => "sheet-height",
        }
    }
}
