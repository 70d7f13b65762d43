//! What kind of file it is, by its first bytes; the name's ending is not believed.

use super::error::Fault;

/// The two kinds that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Jpeg,
    Png,
}

const EXPORT: &str = "open it in a picture program and export it as JPEG at full size";
const HEIF: &str = "have the phone save JPEG (iPhone: Settings > Camera > Formats > Most Compatible; \
                    Android: camera settings, turn off HEIF or high efficiency), or share or export the photo as JPEG at full size";
const RAW: &str =
    "take the photo as JPEG (turn off RAW or ProRAW), or export it as JPEG at full size";
const PDF: &str = "give the photo itself, not a page it was put on";
const PLAIN: &str = "give the photo itself; a plan goes after --plan";

impl Kind {
    /// Names the file by its first bytes; everything but JPEG and PNG is a fault that says what it is.
    pub(super) fn of(bytes: &[u8]) -> Result<Self, Fault> {
        if bytes.is_empty() {
            return Err(Fault::Empty);
        }
        if bytes.starts_with(b"\xff\xd8\xff") {
            return Ok(Self::Jpeg);
        }
        if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            return Ok(Self::Png);
        }
        let (found, hint) = other(bytes);
        Err(Fault::WrongKind { found, hint })
    }
}

fn other(bytes: &[u8]) -> (&'static str, &'static str) {
    // ISO base media: a box `ftyp` whose major brand names the format (ISO/IEC 14496-12; brands of
    // HEIF from ISO/IEC 23008-12; from memory).
    if bytes.get(4..8) == Some(b"ftyp") {
        return match bytes.get(8..12) {
            Some(b"heic" | b"heix" | b"heim" | b"heis" | b"hevc" | b"hevx" | b"mif1" | b"msf1") => {
                ("a HEIC / HEIF photo", HEIF)
            }
            Some(b"avif" | b"avis") => ("an AVIF picture", HEIF),
            Some(b"crx ") => ("a raw camera file", RAW),
            _ => ("a video or another media file", "give a still photo"),
        };
    }
    const KNOWN: [(&[u8], &str, &str); 14] = [
        (b"II*\0", "a TIFF, DNG or raw camera file", RAW),
        (b"MM\0*", "a TIFF, DNG or raw camera file", RAW),
        (b"II+\0", "a BigTIFF file", RAW),
        (b"MM\0+", "a BigTIFF file", RAW),
        (b"FUJIFILMCCD-RAW", "a raw camera file", RAW),
        (b"GIF8", "a GIF picture", EXPORT),
        (b"BM", "a BMP picture", EXPORT),
        (b"%PDF", "a PDF document", PDF),
        (b"\xff\x0a", "a JPEG XL picture", EXPORT),
        (b"\0\0\0\x0cJXL ", "a JPEG XL picture", EXPORT),
        (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture", EXPORT),
        (
            b"\x1f\x8b",
            "a packed file",
            "unpack it and give the photo itself",
        ),
        (
            b"PK\x03\x04",
            "a packed file (zip) or an office document",
            "unpack it and give the photo itself",
        ),
        (b"8BPS", "a layered picture document", EXPORT),
    ];
    for (start, found, hint) in KNOWN {
        if bytes.starts_with(start) {
            return (found, hint);
        }
    }
    if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        return ("a WebP picture", EXPORT);
    }
    if bytes.starts_with(b"\xff\xd8") || bytes.starts_with(b"\x89PN") {
        return (
            "the first bytes of a picture and no more",
            "copy the original from the phone again",
        );
    }
    let head = &bytes[..bytes.len().min(512)];
    let text = std::str::from_utf8(head).map_or_else(|e| e.error_len().is_none(), |_| true)
        && !head.iter().any(|&b| b < 9 || (b > 13 && b < 32));
    if text {
        ("a text file", PLAIN)
    } else {
        ("not a picture that is known here", EXPORT)
    }
}
