//! A JPEG file as a phone writes it: pixels turned as the camera was held, and EXIF that says so.

use std::fmt;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::codecs::jpeg::JpegEncoder;
use image::imageops;
use image::{ExtendedColorType, ImageEncoder, RgbImage};

use super::truth::Rendered;

/// What the file's EXIF is to say.
#[derive(Debug, Clone, PartialEq)]
pub struct ExifFacts {
    /// Maker.
    pub make: String,
    /// Model.
    pub model: String,
    /// Real focal length, mm.
    pub focal_mm: f64,
    /// 35 mm equivalent, mm; `None`: from the camera, by the diagonal rule, rounded as EXIF asks.
    pub focal_35mm: Option<u16>,
    /// EXIF orientation 1 to 8: stored pixels are turned so that this brings them upright.
    pub orientation: u8,
    /// Pixel size that EXIF gives; `None`: the stored size. Another size is that of a resized file.
    pub size: Option<[u32; 2]>,
    /// Digital zoom, written if given.
    pub digital_zoom: Option<f64>,
    /// JPEG quality, 1 to 100.
    pub quality: u8,
}

impl Default for ExifFacts {
    fn default() -> Self {
        Self {
            make: "Example".into(),
            model: "Pocket 1".into(),
            focal_mm: 4.25,
            focal_35mm: None,
            orientation: 1,
            size: None,
            digital_zoom: None,
            quality: 92,
        }
    }
}

/// Why a photo could not be written.
#[derive(Debug)]
#[non_exhaustive]
pub enum SynthError {
    /// The JPEG or its EXIF could not be made.
    Encode(String),
    /// The file could not be written.
    Write(PathBuf, std::io::Error),
    /// A picture file could not be read.
    Read(PathBuf, String),
    /// Not one of 1 to 8.
    Orientation(u8),
}

impl fmt::Display for SynthError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Encode(why) => write!(f, "the photo could not be made into a JPEG: {why}"),
            Self::Write(path, why) => write!(
                f,
                "{}: could not be written: {why}; choose a folder that exists and may be written to",
                path.display()
            ),
            Self::Read(path, why) => write!(
                f,
                "{}: could not be read as a picture: {why}; give a PNG or JPEG file",
                path.display()
            ),
            Self::Orientation(value) => {
                write!(f, "EXIF orientation {value} does not exist; use 1 to 8")
            }
        }
    }
}

impl std::error::Error for SynthError {}

/// Writes the photo as a JPEG with EXIF.
///
/// # Errors
/// [`SynthError::Orientation`] for an orientation that does not exist, [`SynthError::Encode`] when the
/// picture is too large for JPEG, [`SynthError::Write`] when the file cannot be written.
pub fn write_jpeg(path: &Path, photo: &Rendered, facts: &ExifFacts) -> Result<(), SynthError> {
    let bytes = jpeg_bytes(photo, facts)?;
    std::fs::write(path, bytes).map_err(|e| SynthError::Write(path.to_owned(), e))
}

/// The photo as the bytes of a JPEG file with EXIF.
///
/// # Errors
/// As [`write_jpeg`], without writing.
pub fn jpeg_bytes(photo: &Rendered, facts: &ExifFacts) -> Result<Vec<u8>, SynthError> {
    let stored = stored_from_upright(&photo.image, facts.orientation)?;
    let (w, h) = stored.dimensions();
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, facts.quality.clamp(1, 100))
        .write_image(stored.as_raw(), w, h, ExtendedColorType::Rgb8)
        .map_err(|e| SynthError::Encode(e.to_string()))?;
    let exif = exif_block(photo, facts, [w, h])?;
    let length = u16::try_from(exif.len() + 8)
        .map_err(|_| SynthError::Encode("EXIF is longer than a JPEG segment".into()))?;
    // SOI, then APP1 with "Exif\0\0" and the TIFF block, then the rest of the file.
    let mut out = jpeg[..2].to_vec();
    out.extend_from_slice(&[0xff, 0xe1]);
    out.extend_from_slice(&length.to_be_bytes());
    out.extend_from_slice(b"Exif\0\0");
    out.extend_from_slice(&exif);
    out.extend_from_slice(&jpeg[2..]);
    Ok(out)
}

/// The stored picture that `orientation` turns upright (Exif 2.32, tag 0x0112).
fn stored_from_upright(upright: &RgbImage, orientation: u8) -> Result<RgbImage, SynthError> {
    Ok(match orientation {
        1 => upright.clone(),
        2 => imageops::flip_horizontal(upright),
        3 => imageops::rotate180(upright),
        4 => imageops::flip_vertical(upright),
        // Transposed: flip, then turn.
        5 => imageops::rotate270(&imageops::flip_horizontal(upright)),
        6 => imageops::rotate270(upright),
        7 => imageops::rotate90(&imageops::flip_horizontal(upright)),
        8 => imageops::rotate90(upright),
        other => return Err(SynthError::Orientation(other)),
    })
}

fn exif_block(
    photo: &Rendered,
    facts: &ExifFacts,
    stored: [u32; 2],
) -> Result<Vec<u8>, SynthError> {
    let text = |s: &str| Value::Ascii(vec![s.as_bytes().to_vec()]);
    let rational = |v: f64| {
        Value::Rational(vec![Rational {
            num: (v * 1000.0).round() as u32,
            denom: 1000,
        }])
    };
    let focal_35mm = facts
        .focal_35mm
        .unwrap_or_else(|| photo.camera.focal_35mm().round() as u16);
    let [w, h] = facts.size.unwrap_or(stored);
    let mut fields = vec![
        (Tag::Make, text(&facts.make)),
        (Tag::Model, text(&facts.model)),
        (
            Tag::Orientation,
            Value::Short(vec![u16::from(facts.orientation)]),
        ),
        (Tag::FocalLength, rational(facts.focal_mm)),
        (Tag::PixelXDimension, Value::Long(vec![w])),
        (Tag::PixelYDimension, Value::Long(vec![h])),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![focal_35mm])),
    ];
    if let Some(zoom) = facts.digital_zoom {
        fields.push((Tag::DigitalZoomRatio, rational(zoom)));
    }
    let fields: Vec<Field> = fields
        .into_iter()
        .map(|(tag, value)| Field {
            tag,
            ifd_num: In::PRIMARY,
            value,
        })
        .collect();
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer
        .write(&mut block, false)
        .map_err(|e| SynthError::Encode(e.to_string()))?;
    Ok(block.into_inner())
}
