//! The sheet seen straight on, resampled from the photo.

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};

use super::{PixelFromSheet, ReportError};
use crate::frame::{Pixel, Point, Sheet};

/// Pixels between two places where the map is asked; in between it is interpolated. A phone's
/// perspective bends by under 0.05 px over such a cell.
const CELL: u32 = 16;
/// Where the photo shows nothing.
const NOTHING: Rgb<u8> = Rgb([128, 132, 136]);
/// Most samples across and down that make one pixel.
const MAX_SAMPLES: f64 = 3.0;

/// A rectangle of the sheet's plane and how finely to show it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Window {
    /// Lower left corner, mm.
    pub(super) low: Point<Sheet>,
    /// Upper right corner, mm.
    pub(super) high: Point<Sheet>,
    /// Scale.
    pub(super) px_per_mm: f64,
}

impl Window {
    /// Width and height, px, at least 1.
    pub(super) fn size(&self) -> (u32, u32) {
        let px = |mm: f64| ((mm * self.px_per_mm).round() as u32).max(1);
        (px(self.high.x - self.low.x), px(self.high.y - self.low.y))
    }

    /// Where the window shows a place: [`crate::frame::Flat`] px, the first pixel's centre at 0.5.
    pub(super) fn at(&self, p: Point<Sheet>) -> [f64; 2] {
        [
            (p.x - self.low.x) * self.px_per_mm,
            (self.high.y - p.y) * self.px_per_mm,
        ]
    }

    fn sheet(&self, x: f64, y: f64) -> Point<Sheet> {
        Point::new(
            self.low.x + x / self.px_per_mm,
            self.high.y - y / self.px_per_mm,
        )
    }
}

/// The window with nothing in it yet.
pub(super) fn blank(w: Window) -> RgbImage {
    let (width, height) = w.size();
    RgbImage::from_pixel(width, height, NOTHING)
}

/// Puts into `out` what the photo shows of the window, where `here` says so of a place.
pub(super) fn resample(
    out: &mut RgbImage,
    photo: &RgbImage,
    map: PixelFromSheet,
    w: Window,
    here: &dyn Fn(Point<Sheet>) -> bool,
) {
    let (width, height) = w.size();
    let ask = |x: u32, y: u32| map(w.sheet(x.into(), y.into())).filter(finite);
    for top in (0..height).step_by(CELL as usize) {
        for left in (0..width).step_by(CELL as usize) {
            let (right, bottom) = (left + CELL, top + CELL);
            let half = f64::from(CELL) / 2.0;
            if !here(w.sheet(f64::from(left) + half, f64::from(top) + half)) {
                continue;
            }
            let corners = [
                ask(left, top),
                ask(right, top),
                ask(left, bottom),
                ask(right, bottom),
            ];
            let known = match corners {
                [Some(a), Some(b), Some(c), Some(d)] => Some([a, b, c, d]),
                _ => None,
            };
            // Enough samples that no photo pixel is skipped.
            let n = known.map_or(1.0, |[a, b, c, _]| {
                let step = a.distance(b).max(a.distance(c)) / f64::from(CELL);
                (0.75 * step).ceil().clamp(1.0, MAX_SAMPLES)
            });
            for y in top..bottom.min(height) {
                for x in left..right.min(width) {
                    let place = |dx: f64, dy: f64| {
                        let (px, py) = (f64::from(x) + dx, f64::from(y) + dy);
                        match &known {
                            Some(k) => Some(between(
                                k,
                                (px - f64::from(left)) / f64::from(CELL),
                                (py - f64::from(top)) / f64::from(CELL),
                            )),
                            None => map(w.sheet(px, py)).filter(finite),
                        }
                    };
                    if let Some(colour) = average(photo, n as u32, &place) {
                        out.put_pixel(x, y, colour);
                    }
                }
            }
        }
    }
}

fn finite(p: &Point<Pixel>) -> bool {
    p.x.is_finite() && p.y.is_finite()
}

fn between([a, b, c, d]: &[Point<Pixel>; 4], u: f64, v: f64) -> Point<Pixel> {
    let top = a.vec() * (1.0 - u) + b.vec() * u;
    let bottom = c.vec() * (1.0 - u) + d.vec() * u;
    Point::at(top * (1.0 - v) + bottom * v)
}

/// Mean of `n` by `n` samples in a pixel; `None` where one of them is outside the photo.
fn average(
    photo: &RgbImage,
    n: u32,
    place: &dyn Fn(f64, f64) -> Option<Point<Pixel>>,
) -> Option<Rgb<u8>> {
    let mut sum = [0.0; 3];
    for j in 0..n {
        for i in 0..n {
            let part = |k: u32| (f64::from(k) + 0.5) / f64::from(n);
            let c = sample(photo, place(part(i), part(j))?)?;
            for (s, c) in sum.iter_mut().zip(c) {
                *s += c;
            }
        }
    }
    Some(Rgb(sum.map(|s| (s / f64::from(n * n)).round() as u8)))
}

/// Bilinear; the outermost half pixel takes its nearest pixel's colour.
fn sample(photo: &RgbImage, p: Point<Pixel>) -> Option<[f64; 3]> {
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    if !(0.0..=w).contains(&p.x) || !(0.0..=h).contains(&p.y) {
        return None;
    }
    let (x, y) = p.to_whole_centres();
    let (x, y) = (x.clamp(0.0, w - 1.0), y.clamp(0.0, h - 1.0));
    let (x0, y0) = (x.floor(), y.floor());
    let (u, v) = (x - x0, y - y0);
    let get = |x: f64, y: f64| {
        photo
            .get_pixel(x.min(w - 1.0) as u32, y.min(h - 1.0) as u32)
            .0
    };
    let (a, b) = (get(x0, y0), get(x0 + 1.0, y0));
    let (c, d) = (get(x0, y0 + 1.0), get(x0 + 1.0, y0 + 1.0));
    let mut out = [0.0; 3];
    for (i, o) in out.iter_mut().enumerate() {
        let f = |k: [u8; 3]| f64::from(k[i]);
        let top = f(a) * (1.0 - u) + f(b) * u;
        let bottom = f(c) * (1.0 - u) + f(d) * u;
        *o = top * (1.0 - v) + bottom * v;
    }
    Some(out)
}

/// A picture as a JPEG `data:` address.
///
/// # Errors
/// [`ReportError::Draw`] with what the encoder said.
pub(super) fn data_uri(picture: &RgbImage, quality: u8) -> Result<String, ReportError> {
    use base64::Engine;
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, quality)
        .encode_image(picture)
        .map_err(|e| ReportError::Draw {
            width: picture.width(),
            height: picture.height(),
            why: e.to_string(),
        })?;
    let text = base64::engine::general_purpose::STANDARD.encode(jpeg);
    Ok(format!("data:image/jpeg;base64,{text}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The weighted middle of a drawn spot is exact but for 8-bit rounding.
    const SPOT_PX: f64 = 0.02;

    #[test]
    fn a_spot_lands_where_the_window_says() {
        // A soft spot of 3 px radius at (40.25, 28.75) in the Pixel frame.
        let photo = RgbImage::from_fn(80, 60, |x, y| {
            let d = (f64::from(x) + 0.5 - 40.25).hypot(f64::from(y) + 0.5 - 28.75);
            let v = 250.0 * (1.0 - d / 3.0).clamp(0.0, 1.0);
            Rgb([v as u8; 3])
        });
        // 4 px/mm, y up from the photo's lower edge, perspective-free.
        let map = |p: Point<Sheet>| Some(Point::new(p.x * 4.0, 60.0 - p.y * 4.0));
        let w = Window {
            low: Point::new(1.0, 2.0),
            high: Point::new(19.0, 14.0),
            px_per_mm: 10.0,
        };
        let mut flat = blank(w);
        resample(&mut flat, &photo, &map, w, &|_| true);
        let (mut sum, mut at) = (0.0, [0.0, 0.0]);
        for (x, y, p) in flat.enumerate_pixels() {
            let v = f64::from(p.0[0]);
            sum += v;
            at[0] += v * (f64::from(x) + 0.5);
            at[1] += v * (f64::from(y) + 0.5);
        }
        let want = w.at(Point::new(40.25 / 4.0, (60.0 - 28.75) / 4.0));
        let off = (at[0] / sum - want[0]).hypot(at[1] / sum - want[1]);
        // The flat pixel is 0.4 photo pixels.
        assert!(
            off * 0.4 < SPOT_PX,
            "off by {off} flat px, allowed {SPOT_PX} photo px"
        );
    }

    #[test]
    fn outside_is_plain_grey() {
        let photo = RgbImage::from_pixel(10, 10, Rgb([255; 3]));
        let map = |p: Point<Sheet>| (p.x < 5.0).then(|| Point::new(p.x, p.y));
        let w = Window {
            low: Point::new(0.0, 0.0),
            high: Point::new(20.0, 10.0),
            px_per_mm: 2.0,
        };
        let mut flat = blank(w);
        resample(&mut flat, &photo, &map, w, &|_| true);
        assert_eq!(*flat.get_pixel(30, 10), NOTHING);
        assert_eq!(*flat.get_pixel(2, 10), Rgb([255; 3]));
    }
}
