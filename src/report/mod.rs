//! Showing a result: text, JSON, picture, page. Nothing is measured or decided here.
//!
//! | what | module |
//! | --- | --- |
//! | names to answer by, what a person decided | [`answers`] |
//! | words for states, counts, places, safe text | [`words`] |
//! | summary for a terminal | [`text`] |
//! | result for programs | [`json`] |
//! | rows as marked, in rivet diameters | `diameters` |
//! | outlines of what was not seen | `unseen` |
//! | signs, their labels and where labels go | `signs`, `labels`, `overlay` |
//! | what was found where nothing could be measured | `found` |
//! | SVG to pixels | `raster` |
//! | the photo with everything drawn on it | [`picture`] |
//! | flat view, enlarged places, the page | `flat`, `crops`, `asis`, `gather`, `look`, [`page`] |
//! | its form to answer what is unsure | `decide_form` |
//! | the sheet straight on with its signs, as pixels | [`straight`] |
//! | a file written whole or not at all | [`write_atomically`] |

pub mod answers;
mod asis;
mod crops;
mod decide_form;
mod diameters;
mod flat;
mod found;
mod gather;
pub mod json;
mod labels;
mod look;
mod overlay;
pub mod page;
pub mod picture;
mod raster;
mod signs;
pub mod straight;
pub mod text;
mod unseen;
pub mod words;
mod write;

use std::fmt;
use std::path::PathBuf;

use crate::check::Budget;
use crate::decide::Outcome;
use crate::frame::{Pixel, Point, Sheet};
use crate::ink::{RuledLine, Seen};
use crate::plan::Plan;
use crate::sheet::Outline;
use crate::verdict::Verdict;
use crate::verdict::coach::Advice;

pub use gather::{Load, clearest};
pub(crate) use labels::{cut, text_width, wrap};
pub(crate) use write::advice;
pub use write::{clear_parts, write_atomically};

/// Where the photo shows a place of the sheet; `None` where the camera model cannot say.
pub type PixelFromSheet<'m> = &'m dyn Fn(Point<Sheet>) -> Option<Point<Pixel>>;

/// The line that ends every report.
pub const CAUTION: &str = "This helps you look; it does not approve. The drawing, the approved data \
and a licensed or authorised person decide. Check with a steel rule before drilling; wear eye protection to \
punch and drill.";

/// How one scale card did in the survey.
#[derive(Debug, Clone, PartialEq)]
pub struct CardSummary {
    /// The card's number.
    pub number: u16,
    /// Checker corners measured on it.
    pub saddles: usize,
    /// Root mean square of its residuals, px; `None` where there was no survey.
    pub rms_px: Option<f64>,
    /// Whether the survey used it.
    pub used: bool,
    /// What is to be said of it, such as why it was left out.
    pub note: Option<String>,
}

/// What the lens of the survey rests on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LensSource {
    /// A camera profile.
    Profile,
    /// The focal length that EXIF gives.
    Exif,
    /// Nothing but the photo itself.
    None,
}

/// The quality of the survey.
#[derive(Debug, Clone, PartialEq)]
pub struct SurveySummary {
    /// How well it fits; `None` where nothing could be measured.
    pub fit: Option<Fit>,
    /// Every card found, used or not.
    pub cards: Vec<CardSummary>,
    /// What was left out and why, a sentence each.
    pub left_out: Vec<String>,
}

/// How well a survey fits, and what it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// Root mean square of all residuals, px.
    pub rms_px: f64,
    /// Size of a photo pixel at the sheet's middle, mm.
    pub mm_per_px: f64,
    /// What the lens rests on.
    pub lens: LensSource,
    /// Printed size over designed size, across and down the card.
    pub scale: [f64; 2],
    /// Standard uncertainty of `scale`, same for both.
    pub scale_u: f64,
}

/// Something found in the photo itself: shown where nothing could be measured.
#[derive(Debug, Clone, PartialEq)]
pub struct InPhoto {
    /// The photo, by its place in [`Report::photos`].
    pub photo: usize,
    /// The card's number; `None` for the outline that was tried for the sheet.
    pub card: Option<u16>,
    /// Its corners in order, px of the upright photo.
    pub corners: Vec<Point<Pixel>>,
}

/// One photo of the check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotoSummary {
    /// The file as the user named it.
    pub file: String,
    /// What it is called among the others: its file name, or the whole of `file` where several have the same.
    pub name: String,
    /// Upright width, px.
    pub width: u32,
    /// Upright height, px.
    pub height: u32,
    /// Maker and model, where EXIF gives them.
    pub camera: Option<String>,
    /// Why it was not measured; `None`: it was, or nothing could be.
    pub left_out: Option<String>,
}

/// What one photo shows of the face, where there are several: a place is enlarged from one that shows it.
#[derive(Debug, Clone)]
pub struct Shown {
    /// Where it could be read.
    pub seen: Seen,
    /// The middles of the ink that it shows and that could not be named.
    pub unsure: Vec<Point<Sheet>>,
}

/// All that a report shows.
#[derive(Debug, Clone)]
pub struct Report<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The decision and everything it rests on.
    pub verdict: &'a Verdict,
    /// Of each hole in the verdict, what of its uncertainty comes from where.
    pub budgets: Vec<Option<Budget>>,
    /// The ruled lines found, shown only.
    pub lines: &'a [RuledLine],
    /// Where the sheet could be read.
    pub seen: &'a Seen,
    /// The edges found, shown only.
    pub outline: &'a Outline,
    /// What a person decided.
    pub person: &'a Outcome,
    /// What to change for the next photo.
    pub advice: &'a [Advice],
    /// How well the photo was measured.
    pub survey: SurveySummary,
    /// The cards and, where it was refused, the sheet's outline, in the photos' pixels.
    pub in_photo: Vec<InPhoto>,
    /// The photos, sorted by their names.
    pub photos: Vec<PhotoSummary>,
    /// What each of them shows; empty where there is but one, `None` for one that was not measured.
    pub shown: Vec<Option<&'a Shown>>,
    /// Warnings of any stage, a sentence each.
    pub notes: Vec<String>,
}

/// Why a report could not be made.
#[derive(Debug)]
#[non_exhaustive]
pub enum ReportError {
    /// The photo has no pixels.
    EmptyPhoto,
    /// The signs could not be drawn on the picture.
    Draw {
        /// Width of the picture, px.
        width: u32,
        /// Height of the picture, px.
        height: u32,
        /// What the renderer said.
        why: String,
    },
    /// A file could not be written. What was there before is untouched.
    Write {
        /// The file asked for.
        path: PathBuf,
        /// What was being done: "create a file beside it", "fill it", "put it in place".
        step: &'static str,
        /// What the system said.
        why: std::io::Error,
    },
}

impl fmt::Display for ReportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::EmptyPhoto => write!(
                f,
                "the photo has no pixels, so nothing can be drawn on it; take it again"
            ),
            Self::Draw { width, height, why } => write!(
                f,
                "could not draw the signs on a picture of {width} x {height} px: {why}; the text \
                 summary and the JSON result are not affected"
            ),
            Self::Write { path, step, why } => write!(
                f,
                "{}: could not {step}: {why}; an older file of that name is unchanged; {}",
                path.display(),
                advice(why)
            ),
        }
    }
}

impl std::error::Error for ReportError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Write { why, .. } => Some(why),
            _ => None,
        }
    }
}
