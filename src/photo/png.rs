//! PNG, row by row: memory grows with the rows that are there, not with the header's word.

use std::io::Cursor;

use ::png::{Adam7Info, ColorType, Decoder, InterlaceInfo, Transformations};
use image::{GrayImage, RgbImage};

use super::colour::{Colour, Later, blue_red};
use super::error::Fault;
use super::{Planes, check_size, keep_one, luma};

/// Deflate gives at most 1032 bytes for one (a 258-byte match for two bits). A picture of one byte a
/// pixel or more cannot exceed that; a photo is never near it, so finer packing is held to it too.
const MAX_PIXELS_PER_BYTE: u64 = 1032;

/// A PNG file whose chunks were walked to the end.
pub(super) struct File<'a> {
    bytes: &'a [u8],
    /// TIFF-structured EXIF block (chunk `eXIf`).
    pub(super) exif: Option<&'a [u8]>,
    width: u32,
    height: u32,
}

impl<'a> File<'a> {
    /// Walks the chunks (PNG specification, third edition, 5.3; from memory).
    pub(super) fn parse(bytes: &'a [u8]) -> Result<Self, Fault> {
        let cut = || {
            Fault::CutShort(format!(
                "its end chunk is missing (after {} bytes)",
                bytes.len()
            ))
        };
        let mut at = 8;
        let mut exif = None;
        let mut size = None;
        let mut packed = 0;
        loop {
            let (Some(&[a, b, c, d]), Some(name)) =
                (bytes.get(at..at + 4), bytes.get(at + 4..at + 8))
            else {
                return Err(cut());
            };
            let length = u32::from_be_bytes([a, b, c, d]) as usize;
            let body = bytes.get(at + 8..at + 8 + length).ok_or_else(cut)?;
            // The checksum behind the body.
            at += 12 + length;
            if at > bytes.len() {
                return Err(cut());
            }
            match (name, size) {
                (b"IHDR", None) => {
                    let &[w3, w2, w1, w0, h3, h2, h1, h0, _, _, _, _, _] = body else {
                        return Err(Fault::Damaged("its header has the wrong length".to_owned()));
                    };
                    let width = u32::from_be_bytes([w3, w2, w1, w0]);
                    let height = u32::from_be_bytes([h3, h2, h1, h0]);
                    check_size(width, height)?;
                    size = Some((width, height));
                }
                (b"CgBI", None) => {
                    return Err(Fault::Unsupported(
                        "a PNG packed for an iPhone program".to_owned(),
                    ));
                }
                (_, None) => {
                    return Err(Fault::Damaged(
                        "it does not start with its header".to_owned(),
                    ));
                }
                (b"IDAT", _) => packed += length as u64,
                (b"eXIf", _) => exif = Some(body),
                (b"IEND", Some((width, height))) => {
                    if u64::from(width) * u64::from(height) > MAX_PIXELS_PER_BYTE * packed {
                        return Err(Fault::Implausible {
                            width,
                            height,
                            bytes: packed,
                        });
                    }
                    return Ok(Self {
                        bytes: &bytes[..at],
                        exif,
                        width,
                        height,
                    });
                }
                _ => {}
            }
        }
    }

    /// Decodes to the grey plane as stored, and to its colour turned upright from `orientation`; what is see-through
    /// is laid on white.
    pub(super) fn planes(self, orientation: u8) -> Result<Planes, Fault> {
        let mut clear = false;
        let size = [self.width as usize, self.height as usize];
        let mut data = self.rows(3, |colour, row, out| match colour {
            ColorType::Grayscale => out.extend(row.iter().flat_map(|&g| [g; 3])),
            ColorType::GrayscaleAlpha => out.extend(row.chunks_exact(2).flat_map(|p| {
                clear |= p[1] != 255;
                [on_white(p[0], p[1]); 3]
            })),
            ColorType::Rgba => out.extend(row.chunks_exact(4).flat_map(|p| {
                clear |= p[3] != 255;
                [p[0], p[1], p[2]].map(|c| on_white(c, p[3]))
            })),
            _ => out.extend_from_slice(row),
        })?;
        let warnings = if clear {
            vec![
                "parts of the PNG are see-through and are taken as white; was the picture cut out or edited?"
                    .to_owned(),
            ]
        } else {
            Vec::new()
        };
        let colour = Colour::of(&data, size, orientation, |p| blue_red([p[0], p[1], p[2]]));
        keep_one(&mut data, |p| luma(p[0], p[1], p[2]));
        let grey = GrayImage::from_raw(self.width, self.height, data).ok_or_else(too_few_rows)?;
        Ok(Planes {
            grey,
            colour: Later::known(colour),
            warnings,
        })
    }

    /// Decodes to colour as stored.
    pub(super) fn colour(self) -> Result<RgbImage, Fault> {
        let data = self.rows(3, |colour, row, out| match colour {
            ColorType::Grayscale => out.extend(row.iter().flat_map(|&g| [g; 3])),
            ColorType::GrayscaleAlpha => {
                out.extend(row.chunks_exact(2).flat_map(|p| [on_white(p[0], p[1]); 3]));
            }
            ColorType::Rgba => out.extend(
                row.chunks_exact(4)
                    .flat_map(|p| [p[0], p[1], p[2]].map(|c| on_white(c, p[3]))),
            ),
            _ => out.extend_from_slice(row),
        })?;
        RgbImage::from_raw(self.width, self.height, data).ok_or_else(too_few_rows)
    }

    /// Decodes all rows through `convert`, which adds `channels` bytes for each pixel of a row.
    fn rows(
        &self,
        channels: usize,
        mut convert: impl FnMut(ColorType, &[u8], &mut Vec<u8>),
    ) -> Result<Vec<u8>, Fault> {
        let broken =
            |e: ::png::DecodingError| Fault::Damaged(format!("its packed picture is broken ({e})"));
        let mut decoder = Decoder::new(Cursor::new(self.bytes));
        decoder.set_ignore_text_chunk(true);
        decoder.set_ignore_iccp_chunk(true);
        decoder.set_transformations(Transformations::EXPAND | Transformations::STRIP_16);
        let mut reader = decoder.read_info().map_err(broken)?;
        let (colour, _) = reader.output_color_type();
        let mut data = Vec::new();
        let mut pass_row = Vec::new();
        let stride = self.width as usize * channels;
        while let Some(row) = reader.next_interlaced_row().map_err(broken)? {
            match row.interlace() {
                InterlaceInfo::Null(_) => convert(colour, row.data(), &mut data),
                InterlaceInfo::Adam7(place) => {
                    let place: Adam7Info = *place;
                    // The packed length was checked against the size: this much can really come.
                    data.resize(stride * self.height as usize, 0);
                    pass_row.clear();
                    convert(colour, row.data(), &mut pass_row);
                    ::png::expand_interlaced_row(
                        &mut data,
                        stride,
                        &pass_row,
                        &place,
                        8 * channels as u8,
                    );
                }
            }
        }
        Ok(data)
    }
}

fn too_few_rows() -> Fault {
    Fault::CutShort("it has fewer rows than its header promises".to_owned())
}

fn on_white(value: u8, alpha: u8) -> u8 {
    let (value, alpha) = (u32::from(value), u32::from(alpha));
    ((value * alpha + 255 * (255 - alpha) + 127) / 255) as u8
}
