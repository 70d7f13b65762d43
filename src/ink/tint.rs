//! The colour of ink, apart from how dark it is.
//!
//! Grey ink, dust and shadow take from the face's own tint as they take from its light; what a coloured ink does beyond that is
//! its own. Added up over a whole piece, and divided by the piece's darkness added up alike, it is the same however blurred
//! the piece is: phones keep colour at half the size and smooth it.

use nalgebra::Vector2;

use super::picture::Picture;
use crate::photo::{COLOUR_SCALE, Colour};

/// Colour reaches so much further than brightness, mm, and a pixel of it: what is added up, and what is bare beside that.
const SMOOTHED_MM: f64 = 0.2;
const BARE_MM: f64 = 0.8;
/// Fewest pixels of bare face that tell its tint.
const FEWEST_BARE: usize = 16;
/// Noise of neighbours in colour is alike over so many pixels, by smoothing and by compression in blocks.
const ALIKE_PX: f64 = 6.0;
/// Rounding, a level.
const LEAST_NOISE: f64 = 0.5;
/// No ink is purer, levels; what seems so is something bright beside the ink.
const PUREST: f64 = 100.0;
/// Least ink that has a colour, as the darkness of so many pixels.
const LEAST_INK: f64 = 0.5;

/// A colour: blueness and redness of an ink that takes all light, in levels of Cb and Cr; 0 of grey.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tint {
    pub(super) of: Vector2<f64>,
    /// Standard deviation of each.
    pub(super) sd: f64,
}

impl Tint {
    /// Of the ink within `reach` px of a place; nothing in a grey photo, or where no bare face lies beside it.
    pub(super) fn at(picture: &Picture, at: Vector2<f64>, reach: f64) -> Option<Self> {
        Sum::at(picture, at, reach)?.tint()
    }

    /// Of what lies over a line there, which shows by itself at `beside`.
    pub(super) fn over(
        picture: &Picture,
        at: Vector2<f64>,
        beside: [Vector2<f64>; 2],
        reach: f64,
    ) -> Option<Self> {
        let [a, b] = beside.map(|at| Sum::at(picture, at, reach));
        let line = match (a, b) {
            (Some(a), Some(b)) => a.plus(&b, 0.5, 0.5),
            (a, b) => a.or(b)?,
        };
        Sum::at(picture, at, reach)?.plus(&line, 1.0, -1.0).tint()
    }
}

/// Of all ink within reach of a place.
struct Sum {
    darkness: f64,
    /// Darkness times colour.
    colour: Vector2<f64>,
    /// Variance of that.
    variance: f64,
}

impl Sum {
    fn tint(&self) -> Option<Tint> {
        let of = self.colour / self.darkness;
        let sd = self.variance.sqrt() / self.darkness;
        (self.darkness >= LEAST_INK && of.norm() < PUREST).then_some(Tint { of, sd })
    }

    fn plus(&self, other: &Self, own: f64, others: f64) -> Self {
        Self {
            darkness: self.darkness * own + other.darkness * others,
            colour: self.colour * own + other.colour * others,
            variance: self.variance * own * own + other.variance * others * others,
        }
    }

    fn at(picture: &Picture, at: Vector2<f64>, reach: f64) -> Option<Self> {
        let Colour { blue, red } = picture.colour?;
        let mm = picture.scale;
        let inner = reach + SMOOTHED_MM * mm + COLOUR_SCALE;
        let outer = inner + BARE_MM * mm;
        let range = |c: f64, of: u32| {
            let low = ((c - outer) / COLOUR_SCALE).floor().max(0.0) as u32;
            let high = ((c + outer) / COLOUR_SCALE).ceil().max(0.0) as u32;
            low..high.min(of)
        };
        let mut bare: [Vec<u8>; 2] = [Vec::new(), Vec::new()];
        let mut ink = Vec::new();
        for y in range(at.y, blue.height()) {
            for x in range(at.x, blue.width()) {
                let p = Vector2::new(f64::from(x) + 0.5, f64::from(y) + 0.5) * COLOUR_SCALE;
                let off = (p - at).norm();
                if off > outer {
                    continue;
                }
                let under = |f: &dyn Fn(Vector2<f64>) -> bool| {
                    [(-0.5, -0.5), (0.5, -0.5), (-0.5, 0.5), (0.5, 0.5)]
                        .iter()
                        .any(|&(dx, dy)| f(p + Vector2::new(dx, dy)))
                };
                if under(&|q| !picture.is_known(q)) {
                    continue;
                }
                let colour = [blue, red].map(|plane| plane.get_pixel(x, y).0[0]);
                if off <= inner {
                    ink.push((colour, picture.smooth_contrast(p)));
                } else if !under(&|q| picture.is_ink(q)) {
                    bare[0].push(colour[0]);
                    bare[1].push(colour[1]);
                }
            }
        }
        if bare[0].len() < FEWEST_BARE {
            return None;
        }
        let [blue, red] = bare.map(|mut b| level_and_noise(&mut b));
        let darkness: f64 = ink.iter().map(|i| i.1).sum();
        let own = |i: usize, face: f64| {
            let more: f64 = ink.iter().map(|(c, _)| f64::from(c[i]) - face).sum();
            more + (face - GREY) * darkness
        };
        let noise = blue.1.max(red.1).max(LEAST_NOISE);
        Some(Self {
            darkness,
            colour: Vector2::new(own(0, blue.0), own(1, red.0)),
            variance: noise * noise * ALIKE_PX * ink.len() as f64,
        })
    }
}

/// Cb and Cr of grey.
const GREY: f64 = 128.0;

/// Median, and standard deviation by the median absolute deviation.
fn level_and_noise(values: &mut [u8]) -> (f64, f64) {
    values.sort_unstable();
    let level = values[values.len() / 2];
    let mut off: Vec<u8> = values.iter().map(|v| v.abs_diff(level)).collect();
    off.sort_unstable();
    // A whole level is the finest that either can be.
    let mean = values.iter().map(|v| f64::from(*v)).sum::<f64>() / values.len() as f64;
    let level = f64::from(level);
    let fine = mean.clamp(level - 0.5, level + 0.5);
    (fine, 1.4826 * f64::from(off[off.len() / 2]))
}
