//! Smaller copies of a picture.

use image::GrayImage;
use rayon::prelude::*;

/// A copy at half the size, each pixel the mean of four.
///
/// With pixel centres on halves, a point (x, y) of the copy is (2x, 2y) of the original exactly. An
/// odd last row or column is left out.
#[must_use]
pub fn halve(image: &GrayImage) -> GrayImage {
    let (w, h) = (image.width() as usize / 2, image.height() as usize / 2);
    let stride = image.width() as usize;
    let source = image.as_raw();
    let mut out = vec![0u8; w * h];
    if w > 0 {
        out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            let upper = &source[2 * y * stride..][..2 * w];
            let lower = &source[(2 * y + 1) * stride..][..2 * w];
            for ((o, u), l) in row
                .iter_mut()
                .zip(upper.chunks_exact(2))
                .zip(lower.chunks_exact(2))
            {
                let sum = u16::from(u[0]) + u16::from(u[1]) + u16::from(l[0]) + u16::from(l[1]);
                *o = ((sum + 2) / 4) as u8;
            }
        });
    }
    GrayImage::from_raw(w as u32, h as u32, out).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pixel_is_the_mean_of_its_four() {
        let image = GrayImage::from_raw(5, 2, vec![0, 10, 4, 4, 9, 20, 30, 4, 5, 9]).unwrap();
        let small = halve(&image);
        assert_eq!(small.dimensions(), (2, 1));
        assert_eq!(small.as_raw(), &[15, 4]);
    }
}
