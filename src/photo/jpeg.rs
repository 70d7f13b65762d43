//! JPEG, straight to brightness and colour.
//!
//! The file is first walked marker by marker. That finds the frame, the EXIF block and the end of the
//! picture, and copies only what decoding needs, so that thumbnails, colour profiles, gain maps and
//! the films some phones hang behind their photos never reach the decoder.
//!
//! Decoders fill up what is missing with plain grey, which here would be read as clean sheet. So one
//! bits are put behind each stretch of coded data: a Huffman code of ones alone does not exist (ITU-T
//! T.81, annex C; from memory), and a decoder that runs out of data meets an error instead of filling.

mod walk;
mod watched;

use std::cell::Cell;

use image::{GrayImage, RgbImage};
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::colour::{Colour, Later, blue_red};
use super::error::Fault;
use super::{MAX_SIDE, Planes, keep_one, luma};
use walk::Walk;
use watched::Watched;

/// Coded bytes that may be left over when the picture is full; more show that the decoder lost its
/// place on damaged data. Some encoders pad the end by a few bytes.
const MAX_LEFT_OVER: usize = 64;
/// Most scans of a progressive file; encoders write about ten. Each costs a pass over the picture.
const MAX_SCANS: usize = 64;

/// How the three planes are to be understood.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Colours {
    Grey,
    YCbCr,
    Rgb,
}

/// A JPEG file, walked and found whole as far as its markers tell.
pub(super) struct File {
    /// TIFF-structured EXIF block, without its `Exif\0\0`.
    pub(super) exif: Option<Vec<u8>>,
    width: u32,
    height: u32,
    colours: Colours,
    progressive: bool,
    /// Colour is halved downwards but not across (4:4:0), as in a 4:2:2 file turned without decoding.
    colour_halved_down: bool,
    /// Only what decoding needs, with ones put in.
    stream: Vec<u8>,
    /// Where the last real coded byte of `stream` ends.
    coded_end: usize,
}

impl File {
    /// Walks the file. Allocates no more than the file's own length and some.
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, Fault> {
        Walk::new(bytes).run()
    }

    /// Decodes to the grey plane as stored, and later to its colour turned upright from `orientation`.
    pub(super) fn planes(self, orientation: u8) -> Result<Planes, Fault> {
        let (width, height) = (self.width, self.height);
        let size = [width as usize, height as usize];
        let apart = |mut data: Vec<u8>, light: fn(&[u8]) -> u8, colour: fn(&[u8]) -> [u8; 2]| {
            let colour = Colour::of(&data, size, orientation, colour);
            keep_one(&mut data, light);
            (data, Later::known(colour))
        };
        let (data, colour) = match self.colours {
            Colours::Grey => (self.decode(ColorSpace::Luma)?, Later::none()),
            Colours::Rgb => {
                let data = self.decode(ColorSpace::RGB)?;
                apart(
                    data,
                    |p| luma(p[0], p[1], p[2]),
                    |p| blue_red([p[0], p[1], p[2]]),
                )
            }
            // zune-jpeg 0.5.15 loses its place in these when asked for brightness alone.
            Colours::YCbCr if self.colour_halved_down => {
                apart(self.decode(ColorSpace::YCbCr)?, |p| p[0], |p| [p[1], p[2]])
            }
            // What decoded to brightness decodes to all three.
            Colours::YCbCr => (
                self.decode(ColorSpace::Luma)?,
                Later::by(move || {
                    let data = self.decode(ColorSpace::YCbCr).ok()?;
                    Colour::of(&data, size, orientation, |p| [p[1], p[2]])
                }),
            ),
        };
        let grey = GrayImage::from_raw(width, height, data).ok_or_else(too_few_rows)?;
        Ok(Planes {
            grey,
            colour,
            warnings: Vec::new(),
        })
    }

    /// Decodes to colour as stored.
    pub(super) fn colour(self) -> Result<RgbImage, Fault> {
        let (width, height) = (self.width, self.height);
        RgbImage::from_raw(width, height, self.decode(ColorSpace::RGB)?).ok_or_else(too_few_rows)
    }

    fn decode(&self, into: ColorSpace) -> Result<Vec<u8>, Fault> {
        let options = DecoderOptions::default()
            .set_strict_mode(true)
            .set_max_width(MAX_SIDE as usize)
            .set_max_height(MAX_SIDE as usize)
            .jpeg_set_max_scans(MAX_SCANS + 1)
            .jpeg_set_out_colorspace(into);
        let read_to = Cell::new(0);
        let source = Watched {
            bytes: &self.stream,
            at: 0,
            read_to: &read_to,
        };
        let data = JpegDecoder::new_with_options(source, options)
            .decode()
            .map_err(|e| {
                Fault::Damaged(format!("its coded picture ends early or is broken ({e:?})"))
            })?;
        let left = self.coded_end.saturating_sub(read_to.get());
        if !self.progressive && left > MAX_LEFT_OVER {
            return Err(Fault::Damaged(format!(
                "{left} bytes of its coded picture are left over when the picture is full"
            )));
        }
        Ok(data)
    }
}

fn too_few_rows() -> Fault {
    Fault::CutShort("the decoder gave fewer rows than the header promises".to_owned())
}
