//! What the camera wrote about the shot.

use ::exif::{Exif, In, Reader, Tag, Value};

use super::Camera;

/// Reads the facts from a TIFF-structured EXIF block. Nothing in it stops the reading of the photo:
/// what is broken becomes a warning and counts as not said.
///
/// # Source
/// Tags: Exif 2.32 (CIPA DC-008-2019), clauses 4.6.4 and 4.6.5; from memory.
pub(super) fn camera(block: Option<Vec<u8>>) -> (Camera, Vec<String>) {
    let mut warnings = Vec::new();
    let unknown = Camera {
        orientation: 1,
        ..Camera::default()
    };
    let Some(block) = block else {
        return (unknown, warnings);
    };
    let read = Reader::new()
        .continue_on_error(true)
        .read_raw(block)
        .or_else(|e| {
            // What exactly the decoder stumbled on helps nobody who took a photo; it is left out.
            e.distill_partial_result(|_| {
                warnings.push(
                    "part of what the camera noted in the file (EXIF) is damaged; the rest is used"
                        .to_owned(),
                );
            })
        });
    let exif = match read {
        Ok(exif) => exif,
        Err(_) => {
            warnings.push(
                "what the camera noted in the file (EXIF) is damaged; the picture is taken as upright \
                 and the lens as unknown"
                    .to_owned(),
            );
            return (unknown, warnings);
        }
    };
    let positive = |tag| number(&exif, tag).filter(|v| v.is_finite() && *v > 0.0);
    let size = [Tag::PixelXDimension, Tag::PixelYDimension].map(|tag| whole(&exif, tag));
    let camera = Camera {
        make: text(&exif, Tag::Make),
        model: text(&exif, Tag::Model),
        focal_mm: positive(Tag::FocalLength),
        focal_35mm: positive(Tag::FocalLengthIn35mmFilm),
        digital_zoom: positive(Tag::DigitalZoomRatio).filter(|z| (z - 1.0).abs() > 1e-9),
        exif_size: match size {
            [Some(w), Some(h)] if w > 0 && h > 0 => Some([w, h]),
            _ => None,
        },
        orientation: match whole(&exif, Tag::Orientation) {
            Some(o @ 1..=8) => o as u8,
            _ => 1,
        },
    };
    (camera, warnings)
}

fn text(exif: &Exif, tag: Tag) -> Option<String> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Ascii(lines) => {
            let said = lines.iter().map(|l| String::from_utf8_lossy(l));
            let said = said.collect::<Vec<_>>().join(" ");
            // Makers pad with blanks and zeros; a control character in a name would reach the report.
            let said: String = said.chars().filter(|c| !c.is_control()).collect();
            let said = said.trim();
            (!said.is_empty()).then(|| said.to_owned())
        }
        _ => None,
    }
}

fn whole(exif: &Exif, tag: Tag) -> Option<u32> {
    exif.get_field(tag, In::PRIMARY)?.value.get_uint(0)
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    match &exif.get_field(tag, In::PRIMARY)?.value {
        Value::Rational(v) => v.first().map(|r| r.to_f64()),
        other => other.get_uint(0).map(f64::from),
    }
}
