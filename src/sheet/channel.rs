//! The planes of a photo that may show an edge: brightness, and how blue and how red it is. Green primer on cardboard
//! is as bright as that and of quite another colour.

use image::GrayImage;
use nalgebra::Vector2;

use super::Look;
use crate::frame::{Pixel, Point};
use crate::photo::COLOUR_SCALE;
use crate::raster::{linear_light, sample};

/// One plane of a photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channel {
    /// Brightness.
    Grey,
    /// Cb of [`crate::photo::Colour`].
    Blue,
    /// Cr.
    Red,
}

/// Level of both colour planes where there is no colour.
const NO_COLOUR: f64 = 128.0;

impl Channel {
    pub(super) const ALL: [Self; 3] = [Self::Grey, Self::Blue, Self::Red];

    /// How different two of its levels are, as a share: of the brighter one, and colours as of a middle grey.
    pub(super) fn difference(self, inside: f64, outside: f64) -> f64 {
        let whole = match self {
            Self::Grey => inside.max(outside).max(1.0),
            Self::Blue | Self::Red => NO_COLOUR,
        };
        (inside - outside) / whole
    }

    /// What mixes evenly where an edge is blurred, by level. A colour's levels nearly do over the small range of one
    /// edge of even brightness.
    pub(super) fn even(self) -> [f32; 256] {
        std::array::from_fn(|level| match self {
            Self::Grey => linear_light(level as f64) as f32,
            Self::Blue | Self::Red => level as f32 / 255.0,
        })
    }
}

/// A channel of one photo.
#[derive(Clone, Copy)]
pub(super) struct Plane<'a> {
    pub(super) picture: &'a GrayImage,
    /// Photo pixels for one of its own.
    pub(super) scale: f64,
}

impl Plane<'_> {
    /// Its level at a place of the photo.
    pub(super) fn level(&self, p: Point<Pixel>) -> f64 {
        sample(self.picture, p.x / self.scale, p.y / self.scale)
    }

    /// A place of the photo in its own pixels.
    pub(super) fn own(&self, p: Point<Pixel>) -> Vector2<f64> {
        p.vec() / self.scale
    }
}

impl<'a> Look<'a> {
    /// One of its planes, if it has it.
    pub(super) fn plane(&self, channel: Channel) -> Option<Plane<'a>> {
        let (picture, scale) = match channel {
            Channel::Grey => (self.grey, 1.0),
            Channel::Blue => (&self.colour.get()?.blue, COLOUR_SCALE),
            Channel::Red => (&self.colour.get()?.red, COLOUR_SCALE),
        };
        Some(Plane { picture, scale })
    }
}
