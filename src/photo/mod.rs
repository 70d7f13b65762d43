//! Reading a photo: one upright grey plane, its colour apart and only when asked for, and what the camera says of itself.
//!
//! | step | module |
//! | --- | --- |
//! | what kind of file it is, by its first bytes | `kind` |
//! | JPEG, straight to brightness and colour | `jpeg` |
//! | PNG, row by row | `png` |
//! | what the camera wrote about the shot | `exif` |
//! | colour apart from brightness, at half the size | `colour` |
//! | turning the plane upright | `turn` |
//!
//! Nothing is allocated on a header's word alone: a file is refused when its claimed size is out of
//! bounds, or larger than its compressed bytes could ever hold.

mod colour;
mod error;
mod exif;
mod jpeg;
mod kind;
mod png;
mod turn;

use std::path::{Path, PathBuf};

use image::{GrayImage, RgbImage};

pub use colour::{COLOUR_SCALE, Colour, Later};
use error::Fault;
pub use error::PhotoError;
use kind::Kind;

use crate::file;
pub use turn::upright;

/// Largest file that is read, bytes. A phone's largest JPEG is some 40 MB.
pub const MAX_FILE_BYTES: u64 = 200_000_000;
/// Largest picture that is decoded, pixels: above the 108 MP of today's largest phone sensors.
pub const MAX_PIXELS: u64 = 120_000_000;
/// Longest side that is decoded, pixels.
pub const MAX_SIDE: u32 = 20_000;
/// Shortest side that is accepted, pixels. A card of 60 mm that fills such a picture has cells of
/// 12 pixels; anything smaller is a thumbnail.
pub const MIN_SIDE: u32 = 200;

/// What EXIF says of the camera and the shot. All fields are as the file gives them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Camera {
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model name.
    pub model: Option<String>,
    /// Real focal length, mm.
    pub focal_mm: Option<f64>,
    /// 35 mm equivalent focal length, mm.
    pub focal_35mm: Option<f64>,
    /// Digital zoom; `None` when not used or unknown.
    pub digital_zoom: Option<f64>,
    /// Width and height that EXIF gives, before any turn. When it differs from the file's own size
    /// the picture was resized or cropped after the shot.
    pub exif_size: Option<[u32; 2]>,
    /// EXIF orientation 1 to 8.
    pub orientation: u8,
}

/// A photo, turned upright.
#[derive(Debug, Clone)]
pub struct Photo {
    /// The file it came from.
    pub path: PathBuf,
    /// Brightness, upright; sRGB-encoded as in the file.
    pub grey: GrayImage,
    /// Its colour without its brightness.
    pub colour: Later,
    /// What the camera says.
    pub camera: Camera,
    /// What is odd about the file, in words for the user; empty as a rule.
    pub warnings: Vec<String>,
}

/// Reads a photo (JPEG or PNG) as one upright grey plane and its colour.
///
/// Colour becomes brightness as JPEG has it: Y = 0.299 R + 0.587 G + 0.114 B of the sRGB-encoded
/// values (ITU-R BT.601, as JFIF 1.02 names it; from memory). A broken EXIF block is a warning.
///
/// # Errors
/// [`PhotoError`] when the file cannot be read, is of another kind, is cut short or damaged, or has a
/// size no photo has.
pub fn read(path: &Path) -> Result<Photo, PhotoError> {
    of_bytes(load(path)?, path)
}

/// The same from the bytes of the file that `path` names; nothing is opened.
///
/// # Errors
/// As [`read`].
pub fn of_bytes(bytes: Vec<u8>, path: &Path) -> Result<Photo, PhotoError> {
    let named = |fault: Fault| fault.in_file(path);
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(named(Fault::TooHeavy));
    }
    let (plane, (camera, mut warnings)) = match Kind::of(&bytes).map_err(named)? {
        Kind::Jpeg => {
            let file = jpeg::File::parse(&bytes).map_err(named)?;
            let camera = exif::camera(file.exif.clone());
            drop(bytes);
            (file.planes(camera.0.orientation).map_err(named)?, camera)
        }
        Kind::Png => {
            let file = png::File::parse(&bytes).map_err(named)?;
            let camera = exif::camera(file.exif.map(<[u8]>::to_vec));
            (file.planes(camera.0.orientation).map_err(named)?, camera)
        }
    };
    warnings.extend(plane.warnings);
    if matches!(camera.orientation, 2 | 4 | 5 | 7) {
        warnings.push(format!(
            "EXIF orientation {} says the picture is mirrored, which a phone's rear camera never \
             writes; if the photo shows text the wrong way round, take it again without mirroring",
            camera.orientation
        ));
    }
    let grey = upright(plane.grey, camera.orientation);
    Ok(Photo {
        path: path.to_owned(),
        grey,
        colour: plane.colour,
        camera,
        warnings,
    })
}

/// Reads a photo upright and in colour, for showing only; three times the memory of [`read`].
///
/// # Errors
/// As [`read`].
pub fn read_colour(path: &Path) -> Result<RgbImage, PhotoError> {
    colour_of_bytes(load(path)?, path)
}

/// The same from the bytes of the file that `path` names; nothing is opened.
///
/// # Errors
/// As [`read`].
pub fn colour_of_bytes(bytes: Vec<u8>, path: &Path) -> Result<RgbImage, PhotoError> {
    let named = |fault: Fault| fault.in_file(path);
    let (picture, tags) = match Kind::of(&bytes).map_err(named)? {
        Kind::Jpeg => {
            let file = jpeg::File::parse(&bytes).map_err(named)?;
            let tags = file.exif.clone();
            drop(bytes);
            (file.colour().map_err(named)?, tags)
        }
        Kind::Png => {
            let file = png::File::parse(&bytes).map_err(named)?;
            let tags = file.exif.map(<[u8]>::to_vec);
            (file.colour().map_err(named)?, tags)
        }
    };
    Ok(upright(picture, exif::camera(tags).0.orientation))
}

/// A decoded grey plane as the file stores it, its colour, upright, and what was odd about the file.
struct Planes {
    grey: GrayImage,
    colour: Later,
    warnings: Vec<String>,
}

/// The whole file, refused when it is too large or empty.
fn load(path: &Path) -> Result<Vec<u8>, PhotoError> {
    let unreadable = |source| PhotoError::Unreadable {
        path: path.to_owned(),
        source,
    };
    file::read(path, MAX_FILE_BYTES)
        .map_err(unreadable)?
        .ok_or_else(|| Fault::TooHeavy.in_file(path))
}

/// Refuses sizes that no photo of a sheet has, before anything is allocated for them.
fn check_size(width: u32, height: u32) -> Result<(), Fault> {
    if width.min(height) < MIN_SIDE {
        Err(Fault::TooSmall { width, height })
    } else if width.max(height) > MAX_SIDE || u64::from(width) * u64::from(height) > MAX_PIXELS {
        Err(Fault::TooLarge { width, height })
    } else {
        Ok(())
    }
}

/// Brightness of an sRGB-encoded colour, by the weights of JPEG's Y.
fn luma(r: u8, g: u8, b: u8) -> u8 {
    // 16-bit fractions of 0.299, 0.587, 0.114 that add up to 65536, and a half to round.
    ((19_595 * u32::from(r) + 38_470 * u32::from(g) + 7_471 * u32::from(b) + 32_768) >> 16) as u8
}

/// Turns three bytes a pixel into one, in place.
fn keep_one(data: &mut Vec<u8>, one: impl Fn(&[u8]) -> u8) {
    let pixels = data.len() / 3;
    for i in 0..pixels {
        data[i] = one(&data[3 * i..3 * i + 3]);
    }
    data.truncate(pixels);
    data.shrink_to_fit();
}
