//! Reading the pattern inside a dark frame.

use image::GrayImage;

use super::code::{self, Read, SIDE};
use super::layout::FRAME_CELLS;
use crate::raster::sample;

/// What a four-sided dark shape turned out to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Payload {
    /// A card, and the brightness of its ink and its paper.
    Card {
        /// Number and turn.
        read: Read,
        /// Grey level of the printed frame.
        dark: f64,
        /// Grey level of the paper round it.
        light: f64,
    },
    /// Frame and margin are there, but the pattern is no card's.
    Unreadable,
    /// Not a frame.
    Nothing,
}

/// A place with a known colour, in cells from the frame's centre (y down), and its grey level.
struct Known {
    x: f64,
    y: f64,
    grey: f64,
}

/// Distance of the light margin's samples from the centre, cells: the margin is two thirds of a cell
/// wide beyond the frame's 3.5.
const MARGIN_CELLS: f64 = 3.83;
/// Ink must be darker than paper by this share of the paper's grey level, sRGB-encoded. Black print
/// reflects a tenth of what paper does, an sRGB level of 0.35 of paper's; glare on toner adds to both.
const MIN_CONTRAST: f64 = 0.2;

/// Reads the pattern. `pixel_from_cell` maps cells from the frame's centre (x right, y down as the
/// frame was seen) to the pixels of `image`.
#[must_use]
pub fn read(image: &GrayImage, pixel_from_cell: impl Fn(f64, f64) -> (f64, f64)) -> Payload {
    // Five samples a cell: steadier than one, and still inside the cell under blur.
    let grey = |x: f64, y: f64| {
        let at = |dx: f64, dy: f64| {
            let (u, v) = pixel_from_cell(x + dx, y + dy);
            sample(image, u, v)
        };
        (2.0 * at(0.0, 0.0) + at(-0.2, 0.0) + at(0.2, 0.0) + at(0.0, -0.2) + at(0.0, 0.2)) / 6.0
    };
    let half = (FRAME_CELLS as f64 - 1.0) / 2.0;
    let mut frame = Vec::with_capacity(24);
    let mut margin = Vec::with_capacity(28);
    for i in 0..FRAME_CELLS {
        let along = i as f64 - half;
        for (x, y) in [(along, -half), (along, half), (-half, along), (half, along)] {
            // Each corner cell would come twice.
            if i == 0 && x.abs() == y.abs() && y > x {
                continue;
            }
            frame.push(Known {
                x,
                y,
                grey: grey(x, y),
            });
        }
        for (x, y) in [
            (along, -MARGIN_CELLS),
            (along, MARGIN_CELLS),
            (-MARGIN_CELLS, along),
            (MARGIN_CELLS, along),
        ] {
            let (u, v) = pixel_from_cell(x, y);
            margin.push(Known {
                x,
                y,
                grey: sample(image, u, v),
            });
        }
    }
    let (dark, light) = (median(&frame), median(&margin));
    if light - dark < MIN_CONTRAST * light || light < 8.0 {
        return Payload::Nothing;
    }
    // A shadow's edge may run through the card: ink and paper are known round about, and each cell is
    // judged by what is near it.
    let threshold = |x: f64, y: f64| (near(&frame, x, y) + near(&margin, x, y)) / 2.0;
    let frame_right = frame
        .iter()
        .filter(|k| k.grey < threshold(k.x, k.y))
        .count();
    let margin_right = margin
        .iter()
        .filter(|k| k.grey > threshold(k.x, k.y))
        .count();
    if frame_right * 10 < frame.len() * 8 || margin_right * 10 < margin.len() * 7 {
        return Payload::Nothing;
    }
    let mut seen = 0u32;
    let middle = (SIDE as f64 - 1.0) / 2.0;
    for row in 0..SIDE {
        for column in 0..SIDE {
            let (x, y) = (column as f64 - middle, row as f64 - middle);
            if grey(x, y) < threshold(x, y) {
                seen |= 1 << (row * SIDE + column);
            }
        }
    }
    match code::read(seen) {
        Some(read) => Payload::Card { read, dark, light },
        None => Payload::Unreadable,
    }
}

fn near(known: &[Known], x: f64, y: f64) -> f64 {
    let mut sum = 0.0;
    let mut weights = 0.0;
    for k in known {
        let w = 1.0 / (1.0 + (k.x - x).powi(2) + (k.y - y).powi(2)).powi(2);
        sum += w * k.grey;
        weights += w;
    }
    sum / weights
}

fn median(known: &[Known]) -> f64 {
    let mut greys: Vec<f64> = known.iter().map(|k| k.grey).collect();
    greys.sort_by(f64::total_cmp);
    greys[greys.len() / 2]
}
