//! Which pixels are dark against their surroundings.

use image::GrayImage;
use rayon::prelude::*;

/// Rows handled by one task; each task sums its first window anew.
const BAND: usize = 128;

/// One byte a pixel: 1 where the pixel is darker than the mean of the square of side
/// `2 * radius + 1` round it by more than `drop` of that mean (and by more than two grey levels,
/// so that the noise of black regions does not count).
#[must_use]
pub fn dark_mask(image: &GrayImage, radius: usize, drop: f64) -> Vec<u8> {
    let (w, h) = (image.width() as usize, image.height() as usize);
    let source = image.as_raw();
    let keep = ((1.0 - drop) * 65536.0) as u64;
    let mut mask = vec![0u8; w * h];
    if w == 0 {
        return mask;
    }
    mask.par_chunks_mut(w * BAND)
        .enumerate()
        .for_each(|(band, out)| {
            let first = band * BAND;
            let mut columns = vec![0u32; w];
            let add = |columns: &mut [u32], y: usize| {
                for (c, &v) in columns.iter_mut().zip(&source[y * w..][..w]) {
                    *c += u32::from(v);
                }
            };
            for y in first.saturating_sub(radius)..(first + radius).min(h) {
                add(&mut columns, y);
            }
            for (dy, out_row) in out.chunks_mut(w).enumerate() {
                let y = first + dy;
                if y + radius < h {
                    add(&mut columns, y + radius);
                }
                if y > radius && y - radius > first.saturating_sub(radius) {
                    let gone = &source[(y - radius - 1) * w..][..w];
                    for (c, &v) in columns.iter_mut().zip(gone) {
                        *c -= u32::from(v);
                    }
                }
                let rows = ((y + radius).min(h - 1) - y.saturating_sub(radius) + 1) as u64;
                let row = &source[y * w..][..w];
                let mut sum: u64 = columns[..radius.min(w)].iter().map(|&c| u64::from(c)).sum();
                for x in 0..w {
                    if x + radius < w {
                        sum += u64::from(columns[x + radius]);
                    }
                    if x > radius {
                        sum -= u64::from(columns[x - radius - 1]);
                    }
                    let wide = ((x + radius).min(w - 1) - x.saturating_sub(radius) + 1) as u64;
                    let n = rows * wide;
                    // value < mean * (1 - drop), without a division.
                    out_row[x] = u8::from((u64::from(row[x]) + 2) * n * 65536 < sum * keep);
                }
            }
        });
    mask
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agrees_with_the_plain_definition() {
        let image = GrayImage::from_fn(41, 300, |x, y| {
            image::Luma([((x * 37 + y * 91 + x * y) % 251) as u8])
        });
        let radius = 5;
        let mask = dark_mask(&image, radius, 0.1);
        for y in 0..300i64 {
            for x in 0..41i64 {
                let mut sum = 0.0;
                let mut n = 0.0;
                for v in (y - 5).max(0)..=(y + 5).min(299) {
                    for u in (x - 5).max(0)..=(x + 5).min(40) {
                        sum += f64::from(image.get_pixel(u as u32, v as u32)[0]);
                        n += 1.0;
                    }
                }
                let value = f64::from(image.get_pixel(x as u32, y as u32)[0]) + 2.0;
                let margin = value - sum / n * 0.9;
                if margin.abs() > 0.01 {
                    assert_eq!(
                        mask[(y * 41 + x) as usize] == 1,
                        margin < 0.0,
                        "at ({x}, {y})"
                    );
                }
            }
        }
    }
}
