//! Why a photo was refused.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use super::{MAX_FILE_BYTES, MAX_PIXELS, MAX_SIDE, MIN_SIDE};

/// Why a photo was refused. Each names the file, what was found, what was expected and what to do.
#[derive(Debug)]
#[non_exhaustive]
pub enum PhotoError {
    /// The file is missing or cannot be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The file is empty.
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The file has more bytes than a photo has.
    TooHeavy {
        /// The file.
        path: PathBuf,
    },
    /// The file is of a kind that is not read: another picture format, or no picture.
    WrongKind {
        /// The file.
        path: PathBuf,
        /// What it is.
        found: &'static str,
        /// What to do about it.
        hint: &'static str,
    },
    /// A JPEG or PNG of a variety that is not read.
    Unsupported {
        /// The file.
        path: PathBuf,
        /// The variety.
        found: String,
    },
    /// Too few pixels to measure on.
    TooSmall {
        /// The file.
        path: PathBuf,
        /// Width as stored, pixels.
        width: u32,
        /// Height as stored, pixels.
        height: u32,
    },
    /// More pixels than any camera gives.
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Width as stored, pixels.
        width: u32,
        /// Height as stored, pixels.
        height: u32,
    },
    /// The header claims more pixels than the file's bytes can hold.
    Implausible {
        /// The file.
        path: PathBuf,
        /// Claimed width, pixels.
        width: u32,
        /// Claimed height, pixels.
        height: u32,
        /// Compressed bytes that are there.
        bytes: u64,
    },
    /// The file ends before its picture does; what is missing would be filled with plain grey.
    CutShort {
        /// The file.
        path: PathBuf,
        /// Where it ends.
        detail: String,
    },
    /// The file's picture data contradict themselves.
    Damaged {
        /// The file.
        path: PathBuf,
        /// What does not fit.
        detail: String,
    },
}

const AGAIN: &str =
    "copy the original from the phone again, by cable or as a file rather than through a chat";

impl fmt::Display for PhotoError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { path, source } => write!(
                f,
                "{}: cannot be read ({source}); expected a JPEG or PNG photo; check the name and that you may read it",
                path.display()
            ),
            Self::Empty { path } => write!(
                f,
                "{}: the file is empty; expected a JPEG or PNG photo; {AGAIN}",
                path.display()
            ),
            Self::TooHeavy { path } => write!(
                f,
                "{}: the file is larger than {} MB; expected a photo straight from a phone, JPEG or PNG; \
                 save it as JPEG at its own size",
                path.display(),
                MAX_FILE_BYTES / 1_000_000
            ),
            Self::WrongKind { path, found, hint } => write!(
                f,
                "{}: this is {found}; expected a JPEG or PNG photo; {hint}",
                path.display()
            ),
            Self::Unsupported { path, found } => write!(
                f,
                "{}: this is {found}, which no phone camera writes; expected an ordinary JPEG or PNG; \
                 use the original photo, or save it once more as a standard JPEG without resizing",
                path.display()
            ),
            Self::TooSmall {
                path,
                width,
                height,
            } => write!(
                f,
                "{}: the picture has {width} x {height} pixels; the shorter side must have {MIN_SIDE} or more; \
                 use the original photo, not a preview",
                path.display()
            ),
            Self::TooLarge {
                path,
                width,
                height,
            } => write!(
                f,
                "{}: the picture claims {width} x {height} pixels; at most {} million and {MAX_SIDE} a side are read; \
                 take it at the camera's normal resolution",
                path.display(),
                MAX_PIXELS / 1_000_000
            ),
            Self::Implausible {
                path,
                width,
                height,
                bytes,
            } => write!(
                f,
                "{}: the picture claims {width} x {height} pixels but holds only {bytes} bytes of picture data, \
                 too few for that many; {AGAIN}",
                path.display()
            ),
            Self::CutShort { path, detail } => write!(
                f,
                "{}: the file is cut short: {detail}; expected a whole picture; {AGAIN}",
                path.display()
            ),
            Self::Damaged { path, detail } => write!(
                f,
                "{}: the file is damaged: {detail}; expected a whole picture; {AGAIN}",
                path.display()
            ),
        }
    }
}

impl std::error::Error for PhotoError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unreadable { source, .. } => Some(source),
            _ => None,
        }
    }
}

/// A [`PhotoError`] before the file's name is known to it.
#[derive(Debug)]
pub(super) enum Fault {
    Empty,
    TooHeavy,
    WrongKind {
        found: &'static str,
        hint: &'static str,
    },
    Unsupported(String),
    TooSmall {
        width: u32,
        height: u32,
    },
    TooLarge {
        width: u32,
        height: u32,
    },
    Implausible {
        width: u32,
        height: u32,
        bytes: u64,
    },
    CutShort(String),
    Damaged(String),
}

impl Fault {
    pub(super) fn in_file(self, path: &Path) -> PhotoError {
        let path = path.to_owned();
        match self {
            Self::Empty => PhotoError::Empty { path },
            Self::TooHeavy => PhotoError::TooHeavy { path },
            Self::WrongKind { found, hint } => PhotoError::WrongKind { path, found, hint },
            Self::Unsupported(found) => PhotoError::Unsupported { path, found },
            Self::TooSmall { width, height } => PhotoError::TooSmall {
                path,
                width,
                height,
            },
            Self::TooLarge { width, height } => PhotoError::TooLarge {
                path,
                width,
                height,
            },
            Self::Implausible {
                width,
                height,
                bytes,
            } => PhotoError::Implausible {
                path,
                width,
                height,
                bytes,
            },
            Self::CutShort(detail) => PhotoError::CutShort { path, detail },
            Self::Damaged(detail) => PhotoError::Damaged { path, detail },
        }
    }
}
