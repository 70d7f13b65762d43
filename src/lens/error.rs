//! Why no lens could be fitted, or a profile not be used.

use std::fmt;
use std::path::PathBuf;

use crate::survey::SurveyError;

/// Why photos give no lens.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum LensError {
    /// Fewer usable photos than any fit needs.
    TooFew {
        /// Usable photos.
        usable: usize,
        /// Needed.
        needed: usize,
    },
    /// The adjustment does not come out.
    Unsolved {
        /// Usable photos.
        photos: usize,
        /// What the solve says.
        why: SurveyError,
    },
}

impl fmt::Display for LensError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { usable, needed } => write!(
                f,
                "{usable} usable photo{} of the lens page; at least {needed} are needed for a first result, 8 to 12 for a good one; take more, tilted by 30 degrees to different sides",
                if *usable == 1 { "" } else { "s" }
            ),
            Self::Unsolved { photos, why } => write!(
                f,
                "the {photos} photos do not fit one lens; expected one flat page and one camera; tape the page perfectly flat and take all photos with one lens at 1x ({})",
                match why {
                    // Its own advice is for scale cards.
                    SurveyError::DoesNotFit { rms_px, .. } => format!("misfit {rms_px:.1} px"),
                    SurveyError::TooTilted { tilt_deg, .. } =>
                        format!("a view {tilt_deg:.0} degrees from upright"),
                    SurveyError::IllConditioned { unknown, .. } => format!("{unknown} stays open"),
                    other => other.to_string(),
                }
            ),
        }
    }
}
impl std::error::Error for LensError {}

/// Why a profile cannot be read, or does not suit a photo.
#[derive(Debug)]
#[non_exhaustive]
pub enum ProfileError {
    /// The file cannot be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// The file is no profile.
    Broken {
        /// The file.
        path: PathBuf,
        /// What is wrong in it.
        why: String,
    },
    /// The folder holds no profile.
    NoneThere {
        /// The folder.
        path: PathBuf,
    },
    /// The photo is another camera's, or was changed after the shot.
    DoesNotSuit {
        /// The profile's file.
        path: PathBuf,
        /// What differs, with both values.
        why: String,
        /// What to do.
        todo: &'static str,
    },
}

impl fmt::Display for ProfileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { path, why } => write!(
                f,
                "{}: the camera profile cannot be read ({why}); expected a TOML file that punchready lens wrote; check the name and that you may read it",
                path.display()
            ),
            Self::Broken { path, why } => write!(
                f,
                "{}: this is no camera profile that can be used: {why}; expected a TOML file as punchready lens writes it; make it again with punchready lens PHOTO... --out FILE.toml",
                path.display()
            ),
            Self::NoneThere { path } => write!(
                f,
                "{}: no .toml file in this folder; expected camera profiles; make one with punchready lens PHOTO... --out FILE.toml",
                path.display()
            ),
            Self::DoesNotSuit { path, why, todo } => write!(
                f,
                "{}: the camera profile does not suit the photo: {why}; expected a photo as that camera wrote it; {todo}",
                path.display()
            ),
        }
    }
}

impl std::error::Error for ProfileError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unreadable { why, .. } => Some(why),
            _ => None,
        }
    }
}
