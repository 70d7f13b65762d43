//! The flat picture with its ground taken off.

use std::borrow::Cow;

use image::GrayImage;
use nalgebra::Vector2;

use super::ground::{CORE_BIT, Ground};
use crate::photo::Colour;

/// Bit of the mask that says a pixel belongs to a ruled line's band.
pub(super) const LINE_BIT: u8 = 4;

/// A flat picture, its ground and its ink mask.
pub(super) struct Picture<'a> {
    pub(super) flat: Cow<'a, GrayImage>,
    pub(super) ground: Ground,
    pub(super) mask: Vec<u8>,
    pub(super) width: u32,
    pub(super) height: u32,
    /// Pixels in a millimetre.
    pub(super) scale: f64,
    /// Its colour, at half the size; nothing of a grey photo.
    pub(super) colour: Option<&'a Colour>,
}

impl<'a> Picture<'a> {
    pub(super) fn new(
        flat: Cow<'a, GrayImage>,
        colour: Option<&'a Colour>,
        px_per_mm: f64,
    ) -> Self {
        let ground = Ground::of(&flat, px_per_mm);
        let mask = ground.ink_mask(&flat);
        Self {
            ground,
            mask,
            width: flat.width(),
            height: flat.height(),
            scale: px_per_mm,
            colour,
            flat,
        }
    }

    fn index(&self, p: Vector2<f64>) -> Option<usize> {
        let inside =
            p.x >= 0.0 && p.y >= 0.0 && p.x < f64::from(self.width) && p.y < f64::from(self.height);
        inside.then(|| p.y as usize * self.width as usize + p.x as usize)
    }

    /// Whether `p` lies in the picture.
    pub(super) fn is_inside(&self, p: Vector2<f64>) -> bool {
        self.index(p).is_some()
    }

    /// Whether the pixel under `p` shows the sheet.
    pub(super) fn is_known(&self, p: Vector2<f64>) -> bool {
        self.index(p).is_some_and(|i| self.flat.as_raw()[i] > 0)
    }

    /// Whether the pixel under `p` is dark enough for ink.
    pub(super) fn is_ink(&self, p: Vector2<f64>) -> bool {
        self.index(p).is_some_and(|i| self.mask[i] & 1 != 0)
    }

    /// Whether the pixel (x, y) is surely more than texture.
    pub(super) fn is_core(&self, x: u32, y: u32) -> bool {
        self.mask[(y * self.width + x) as usize] & CORE_BIT != 0
    }

    /// Sets a bit of the mask under `p`; outside, nothing happens.
    pub(super) fn set(&mut self, p: Vector2<f64>, bit: u8) {
        if let Some(i) = self.index(p) {
            self.mask[i] |= bit;
        }
    }

    /// How much darker than bare the pixel under `p` is; 0 outside.
    pub(super) fn contrast(&self, p: Vector2<f64>) -> f32 {
        match self.index(p) {
            Some(_) => self
                .ground
                .contrast_at(&self.flat, p.x as usize, p.y as usize),
            None => 0.0,
        }
    }

    /// The same, interpolated between pixels.
    pub(super) fn smooth_contrast(&self, p: Vector2<f64>) -> f64 {
        // From the pixel up and left of the picture's first one on; nothing is there or beyond.
        let (from_x, from_y) = (p.x + 0.5, p.y + 0.5);
        if from_x < 0.0 || from_y < 0.0 {
            return 0.0;
        }
        let (x, y) = (from_x as usize, from_y as usize);
        let (u, v) = (from_x - x as f64, from_y - y as f64);
        let at = |dx: usize, dy: usize| {
            let (x, y) = ((x + dx).wrapping_sub(1), (y + dy).wrapping_sub(1));
            if x < self.width as usize && y < self.height as usize {
                f64::from(self.ground.contrast_at(&self.flat, x, y))
            } else {
                0.0
            }
        };
        (1.0 - v) * ((1.0 - u) * at(0, 0) + u * at(1, 0))
            + v * ((1.0 - u) * at(0, 1) + u * at(1, 1))
    }
}
