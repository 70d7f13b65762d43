//! The lens: a profile of a camera from photos of the lens page, and its use in later photos.
//!
//! | step | module |
//! | --- | --- |
//! | one photo of the lens page | [`shot`] |
//! | how the picture was turned upright | `turn` |
//! | all photos in one adjustment | [`fit`] |
//! | where corners and tilts lie | [`coverage`] |
//! | good enough, or which photo next | [`judge`] |
//! | the same as picture, text and JSON | [`picture`], [`report`] |
//! | the profile file, and whether it suits a photo | [`profile`] |
//!
//! Everything is in the frame of the *stored* picture: however the phone was held, that is the sensor's.

pub mod coverage;
pub mod error;
pub mod fit;
pub mod judge;
pub mod picture;
pub mod profile;
pub mod report;
pub mod shot;

mod turn;

pub use coverage::{Coverage, Tilt};
pub use error::{LensError, ProfileError};
pub use fit::{BoardView, Free, LensFit, PhotoFit, calibrate};
pub use judge::{Judgement, Lack};
pub use profile::Profile;
pub use shot::{LeftOut, Shot};

use crate::photo::Camera;

/// A calibration: the fit, and what is to be said of it.
#[derive(Debug, Clone)]
pub struct Calibrated {
    /// The camera, by EXIF.
    pub camera: Camera,
    /// The fit.
    pub fit: LensFit,
    /// Where corners and tilts lie.
    pub coverage: Coverage,
    /// Good enough, or what next.
    pub judgement: Judgement,
    /// Names of the photos given to the fit; [`PhotoFit::index`] is a place in it.
    pub names: Vec<String>,
    /// Photos left out, by this step or before.
    pub left_out: Vec<LeftOut>,
}

impl Calibrated {
    /// Calibrates from the photos of one camera; those of another one, copies, and those that do not fit the
    /// others are left out and named beside those `left_out` before.
    ///
    /// # Errors
    /// As [`calibrate`]; with it come the photos left out so far.
    pub fn of(
        shots: Vec<Shot>,
        mut left_out: Vec<LeftOut>,
        free: Free,
    ) -> Result<Self, (LensError, Vec<LeftOut>)> {
        let (shots, others) = shot::same_camera(shots);
        left_out.extend(others);
        let Some(first) = shots.first() else {
            let none = LensError::TooFew {
                usable: 0,
                needed: fit::MIN_PHOTOS,
            };
            return Err((none, left_out));
        };
        let views: Vec<BoardView> = shots
            .iter()
            .map(|s| BoardView {
                name: &s.name,
                corners: &s.corners,
            })
            .collect();
        let fit = match calibrate(&views, first.size, &first.camera, free) {
            Ok(fit) => fit,
            Err(error) => return Err((error, left_out)),
        };
        left_out.extend(fit.left_out.iter().map(|(index, why)| LeftOut {
            name: shots[*index].name.clone(),
            why: why.clone(),
        }));
        let coverage = Coverage::of(&fit);
        Ok(Self {
            camera: first.camera.clone(),
            judgement: Judgement::of(&fit, &coverage),
            coverage,
            fit,
            names: shots.iter().map(|s| s.name.clone()).collect(),
            left_out,
        })
    }

    /// Maker and model, or that they are not known.
    #[must_use]
    pub fn camera_name(&self) -> String {
        let words: Vec<&str> = [&self.camera.make, &self.camera.model]
            .into_iter()
            .flatten()
            .map(String::as_str)
            .collect();
        if words.is_empty() {
            "a camera that does not say its name".to_owned()
        } else {
            words.join(" ")
        }
    }
}
