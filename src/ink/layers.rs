//! Ink of two darknesses in one figure: a pen's mark over the mill's print, or over a stain.

use nalgebra::Vector2;

use super::figure::{self, Figure};
use super::lines::Line;
use super::picture::Picture;
use super::shape::{stroke_width, thickness};
use crate::raster::components::components;

/// Darker than this share of the pen's ink is the pen's, in a figure whose other ink is paler.
const PEN: f64 = 0.6;
/// The other ink is the larger part, and this share of it is paler even than that by this factor: a pen's own rim is pale too,
/// but narrow.
const PALE_SHARE: f64 = 0.4;
/// A place in a figure that is so many times as wide as its strokes may be a dot under them.
pub(super) const THICK: f64 = 1.9;

/// The parts of a figure that are as dark as the pen, where most of it is paler; none where it is of one ink.
pub(super) fn darker_parts(
    picture: &Picture,
    lines: &[Line],
    figure: &Figure,
    pen_darkness: f64,
) -> Vec<Figure> {
    let cut = PEN * pen_darkness;
    let b = figure.bounds();
    let (x0, y0) = (b[0].floor(), b[1].floor());
    let width = (b[2] - x0) as usize + 2;
    let height = (b[3] - y0) as usize + 2;
    let mut mask = vec![0u8; width * height];
    let mut dark = 0;
    for p in &figure.points {
        let is_dark = f64::from(picture.contrast(*p)) > cut;
        dark += usize::from(is_dark);
        let at = (p.y - y0) as usize * width + (p.x - x0) as usize;
        mask[at] = u8::from(is_dark);
    }
    if dark == 0 || dark as f64 > (1.0 - PALE_SHARE) * figure.points.len() as f64 {
        return Vec::new();
    }
    let parts = components(&mask, width, 4, |v| v == 1);
    let points = parts.into_iter().map(|part| {
        let own = figure::pixels(&part);
        own.map(|p| p + Vector2::new(x0, y0)).collect::<Vec<_>>()
    });
    figure::of_parts(picture, lines, points)
}

/// Whether some place of a figure is so many `times` as wide as its strokes that a dot may be under them.
pub(super) fn has_thick_place(figure: &Figure, times: f64) -> bool {
    2.0 * thickness(&figure.points) as f64 > times * stroke_width(&figure.points)
}
