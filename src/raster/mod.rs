//! Small picture operations that several stages share.
//!
//! | operation | module |
//! | --- | --- |
//! | smaller copies | [`pyramid`] |
//! | dark against the surroundings | [`threshold`] |
//! | connected pixels | [`components`] |

pub mod components;
pub mod pyramid;
pub mod threshold;

use image::GrayImage;

/// Bilinear brightness at (x, y) in the `Pixel` convention (first pixel's centre at (0.5, 0.5)).
/// Outside the image the border pixels are repeated.
#[must_use]
pub fn sample(image: &GrayImage, x: f64, y: f64) -> f64 {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let x = (x - 0.5).clamp(0.0, (w - 1) as f64);
    let y = (y - 0.5).clamp(0.0, (h - 1) as f64);
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let (u, v) = (x - x0 as f64, y - y0 as f64);
    let at = |x: usize, y: usize| f64::from(image.as_raw()[y * w + x]);
    let top = at(x0, y0) + u * (at(x1, y0) - at(x0, y0));
    let bottom = at(x0, y1) + u * (at(x1, y1) - at(x0, y1));
    top + v * (bottom - top)
}

/// Linear light, 0 to 1, of an sRGB-encoded level, 0 to 255 (IEC 61966-2-1).
#[must_use]
pub fn linear_light(level: f64) -> f64 {
    let v = level / 255.0;
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sample_at_a_pixels_centre_is_that_pixel() {
        let image = GrayImage::from_fn(4, 3, |x, y| image::Luma([(10 * x + 50 * y) as u8]));
        assert_eq!(sample(&image, 2.5, 1.5), 70.0);
        assert_eq!(sample(&image, 3.0, 1.5), 75.0);
        assert_eq!(sample(&image, -5.0, 99.0), 100.0);
    }
}
