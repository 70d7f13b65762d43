//! The sheet seen straight on with its signs, as one picture of pixels: for pages and paper of others.

use image::RgbImage;

use super::flat::{self, Window};
use super::overlay::{self, Canvas};
use super::{PixelFromSheet, Report, ReportError, raster};
use crate::frame::Point;

/// Surroundings shown beside the sheet, mm.
const MARGIN_MM: f64 = 5.0;
/// A strip is shown with more of its surroundings, so that labels find room beside it: the short side is at
/// least this share of the long one.
const LEAST_SHAPE: f64 = 0.3;
/// Letters are this part of the picture's width: about 8 points on a page of paper.
const PER_WIDTH: f64 = 60.0;

/// Draws the report on the sheet as seen straight on; `long_px`: the picture's long side.
///
/// `photos`: each photo and its map, fetched one after the other; where two show a place the later one counts.
///
/// # Errors
/// [`ReportError::EmptyPhoto`]; [`ReportError::Draw`] when the renderer fails; what fetching a photo fails with.
pub fn draw<'m, E: From<ReportError>>(
    r: &Report,
    photos: impl Iterator<Item = Result<(RgbImage, PixelFromSheet<'m>), E>>,
    long_px: f64,
) -> Result<RgbImage, E> {
    let (w, t) = (r.plan.width_mm.max(1.0), r.plan.height_mm.max(1.0));
    let long = w.max(t) + 2.0 * MARGIN_MM;
    let add = |side: f64| MARGIN_MM.max((LEAST_SHAPE * long - side) / 2.0);
    let window = Window {
        low: Point::new(-add(w), -add(t)),
        high: Point::new(w + add(w), t + add(t)),
        px_per_mm: long_px / long,
    };
    let mut picture = flat::blank(window);
    for photo in photos {
        let (photo, map) = photo?;
        if photo.width() == 0 || photo.height() == 0 {
            return Err(ReportError::EmptyPhoto.into());
        }
        flat::resample(&mut picture, &photo, map, window, &|_| true);
    }
    let (width, height) = picture.dimensions();
    let unit = f64::from(width.max(height)) / PER_WIDTH;
    let at = |p| Some(window.at(p));
    let drawn = overlay::overlay(
        r,
        &Canvas {
            width: width.into(),
            height: height.into(),
            unit,
            at: &at,
            asks: false,
        },
    );
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\">{}{}</svg>",
        overlay::hatch_pattern(unit),
        drawn.svg
    );
    raster::draw_over(&mut picture, &svg).map_err(|why| ReportError::Draw {
        width,
        height,
        why,
    })?;
    Ok(picture)
}
