//! A place as the photo has it, not flattened: a person reads glare and grain best in the light they were taken in.

use image::imageops::{self, FilterType};
use image::{Rgb, RgbImage};

use super::flat;
use super::{PixelFromSheet, ReportError};
use crate::frame::{Point, Sheet};

/// Side of the picture, px.
const SIDE_PX: u32 = 400;
/// Fewest pixels of the photo across it: fewer are only squares.
const LEAST_PX: f64 = 24.0;
/// Quality of the JPEG.
const QUALITY: u8 = 85;
/// The place is looked at from this far along x and y to learn the photo's scale there, mm.
const STEP_MM: f64 = 1.0;

/// The upright photo round a place of the sheet, about `side_mm` across, as a `data:` address; `None` where the photo does
/// not show the place.
///
/// # Errors
/// [`ReportError::Draw`] when it cannot be encoded.
pub(super) fn crop(
    photo: &RgbImage,
    map: PixelFromSheet,
    at: Point<Sheet>,
    side_mm: f64,
) -> Result<Option<String>, ReportError> {
    let Some(side) = side_px(map, at, side_mm) else {
        return Ok(None);
    };
    let Some(middle) = map(at) else {
        return Ok(None);
    };
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    if !(0.0..w).contains(&middle.x) || !(0.0..h).contains(&middle.y) {
        return Ok(None);
    }
    // What lies beyond the photo's rim stays grey, so that the place is in the middle.
    let whole = side.round().max(1.0) as u32;
    let mut seen = RgbImage::from_pixel(whole, whole, Rgb([128, 132, 138]));
    let low = [middle.x, middle.y].map(|v| (v - side / 2.0).round() as i64);
    for (x, y, pixel) in seen.enumerate_pixels_mut() {
        let from = [low[0] + i64::from(x), low[1] + i64::from(y)];
        if let [Ok(px), Ok(py)] = from.map(u32::try_from)
            && px < photo.width()
            && py < photo.height()
        {
            *pixel = *photo.get_pixel(px, py);
        }
    }
    // Enlarged without sharpening: nothing is shown that is not in the photo.
    let shown = imageops::resize(&seen, SIDE_PX, SIDE_PX, FilterType::Triangle);
    flat::data_uri(&shown, QUALITY).map(Some)
}

/// How many pixels `side_mm` are at the place, in the direction in which they are most.
fn side_px(map: PixelFromSheet, at: Point<Sheet>, side_mm: f64) -> Option<f64> {
    let middle = map(at)?;
    let scale = [(STEP_MM, 0.0), (0.0, STEP_MM)]
        .into_iter()
        .filter_map(|(dx, dy)| {
            let there = map(at + nalgebra::Vector2::new(dx, dy))?;
            Some(there.distance(middle) / STEP_MM)
        })
        .fold(0.0, f64::max);
    let side = (scale * side_mm).max(LEAST_PX);
    // A photo of 100 megapixels has 12000 px along a side.
    (side.is_finite() && side < 20_000.0).then_some(side)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
    use super::*;
    use base64::Engine;

    #[test]
    fn the_place_is_in_the_middle_and_not_turned() {
        let mut photo = RgbImage::from_pixel(400, 300, Rgb([200; 3]));
        // Red right of the place, blue below it, as the photo has them.
        for i in 0..10 {
            for j in 0..10 {
                photo.put_pixel(115 + i, 96 + j, Rgb([255, 0, 0]));
                photo.put_pixel(96 + i, 115 + j, Rgb([0, 0, 255]));
            }
        }
        // The sheet lies a quarter turned: its x runs down the photo; 5 px are a mm.
        let map = |p: Point<Sheet>| Some(Point::new(100.0 + 5.0 * p.y, 100.0 + 5.0 * p.x));
        let uri = crop(&photo, &map, Point::new(0.0, 0.0), 10.0)
            .unwrap()
            .unwrap();
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(uri.split_once(',').unwrap().1)
            .unwrap();
        let seen = image::load_from_memory(&bytes).unwrap().to_rgb8();
        assert_eq!(seen.dimensions(), (400, 400));
        // 50 px of the photo are shown eight times enlarged.
        let right = seen.get_pixel(200 + 8 * 20, 200).0;
        let below = seen.get_pixel(200, 200 + 8 * 20).0;
        assert!(right[0] > 200 && right[2] < 60, "{right:?}");
        assert!(below[2] > 200 && below[0] < 60, "{below:?}");
        let outside = crop(&photo, &map, Point::new(-30.0, 0.0), 10.0).unwrap();
        assert!(outside.is_none());
    }
}
