//! Turning a stored picture upright, by its EXIF orientation.

use image::{ImageBuffer, Pixel};

/// Side of the square tiles a quarter turn goes by, pixels: reading rows and writing columns of one
/// tile both stay in the processor's first cache (64 rows of 64 bytes are 64 cache lines each way).
const TILE: usize = 64;

/// Turns a stored picture upright. `orientation` is EXIF's (tag 0x0112); 0 and all above 8 are not
/// legal and count as 1.
///
/// Half turns and mirrors are done in place; quarter turns need a second plane.
///
/// # Source
/// Exif 2.32, 4.6.4 A (from memory; table checked against the jpegexiforient manual page).
#[must_use]
pub fn upright<P>(mut stored: ImageBuffer<P, Vec<u8>>, orientation: u8) -> ImageBuffer<P, Vec<u8>>
where
    P: Pixel<Subpixel = u8>,
{
    match orientation {
        2 => mirror_rows(&mut stored),
        3 => {
            mirror_rows(&mut stored);
            flip_rows(&mut stored);
        }
        4 => flip_rows(&mut stored),
        // Upright (X, Y) from stored (x, y): X = y or h-1-y, Y = x or w-1-x.
        5 => return quarter(&stored, false, false),
        6 => return quarter(&stored, true, false),
        7 => return quarter(&stored, true, true),
        8 => return quarter(&stored, false, true),
        _ => {}
    }
    stored
}

fn mirror_rows<P: Pixel<Subpixel = u8>>(picture: &mut ImageBuffer<P, Vec<u8>>) {
    let channels = usize::from(P::CHANNEL_COUNT);
    let stride = picture.width() as usize * channels;
    for row in picture.chunks_exact_mut(stride.max(1)) {
        row.reverse();
        if channels > 1 {
            for pixel in row.chunks_exact_mut(channels) {
                pixel.reverse();
            }
        }
    }
}

fn flip_rows<P: Pixel<Subpixel = u8>>(picture: &mut ImageBuffer<P, Vec<u8>>) {
    let stride = picture.width() as usize * usize::from(P::CHANNEL_COUNT);
    let height = picture.height() as usize;
    let (upper, lower) = picture.split_at_mut(height / 2 * stride);
    for (a, b) in upper
        .chunks_exact_mut(stride.max(1))
        .zip(lower.rchunks_exact_mut(stride.max(1)))
    {
        a.swap_with_slice(b);
    }
}

/// A transpose, tile by tile: X = y (or h-1-y if `right`), Y = x (or w-1-x if `up`).
fn quarter<P>(stored: &ImageBuffer<P, Vec<u8>>, right: bool, up: bool) -> ImageBuffer<P, Vec<u8>>
where
    P: Pixel<Subpixel = u8>,
{
    let (w, h) = (stored.width() as usize, stored.height() as usize);
    let mut turned = ImageBuffer::<P, Vec<u8>>::new(stored.height(), stored.width());
    let channels = usize::from(P::CHANNEL_COUNT);
    let from: &[u8] = stored;
    let to: &mut [u8] = &mut turned;
    if from.is_empty() {
        return turned;
    }
    for top in (0..h).step_by(TILE) {
        let bottom = (top + TILE).min(h);
        for left in (0..w).step_by(TILE) {
            for x in left..(left + TILE).min(w) {
                let row = if up { w - 1 - x } else { x };
                // The stored column x, rows top..bottom, becomes this stretch of an upright row.
                let start = if right { h - bottom } else { top };
                let stretch = &mut to[(row * h + start) * channels..][..(bottom - top) * channels];
                let column = from[(top * w + x) * channels..].chunks(w * channels);
                if right {
                    copy(stretch.rchunks_exact_mut(channels), column, channels);
                } else {
                    copy(stretch.chunks_exact_mut(channels), column, channels);
                }
            }
        }
    }
    turned
}

#[inline]
fn copy<'a>(
    to: impl Iterator<Item = &'a mut [u8]>,
    column: impl Iterator<Item = &'a [u8]>,
    channels: usize,
) {
    for (pixel, row) in to.zip(column) {
        pixel.copy_from_slice(&row[..channels]);
    }
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma, Rgb, RgbImage};

    use super::*;

    /// Upright -> stored for each orientation, by the table in Exif 2.32 4.6.4 A (from memory).
    fn stored_of(orientation: u8, [x, y]: [u32; 2], [w, h]: [u32; 2]) -> [u32; 2] {
        match orientation {
            2 => [w - 1 - x, y],
            3 => [w - 1 - x, h - 1 - y],
            4 => [x, h - 1 - y],
            5 => [y, x],
            6 => [y, h - 1 - x],
            7 => [w - 1 - y, h - 1 - x],
            8 => [w - 1 - y, x],
            _ => [x, y],
        }
    }

    #[test]
    fn every_pixel_goes_where_the_table_says() {
        // 7 x 4 is smaller than a tile, 150 x 131 has broken tiles both ways.
        for [w, h] in [[7, 4], [1, 5], [150, 131]] {
            let value = |x: u32, y: u32| ((x * 31 + y * 57 + x * y) % 251) as u8;
            let grey = GrayImage::from_fn(w, h, |x, y| Luma([value(x, y)]));
            let colour = RgbImage::from_fn(w, h, |x, y| Rgb([value(x, y), x as u8, y as u8]));
            for orientation in [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 255] {
                let turned = upright(grey.clone(), orientation);
                let turned_colour = upright(colour.clone(), orientation);
                let size = if (5..=8).contains(&orientation) {
                    [h, w]
                } else {
                    [w, h]
                };
                assert_eq!(
                    [turned.width(), turned.height()],
                    size,
                    "orientation {orientation}"
                );
                for (x, y, pixel) in turned.enumerate_pixels() {
                    let [u, v] = stored_of(orientation, [x, y], [w, h]);
                    assert_eq!(
                        pixel,
                        grey.get_pixel(u, v),
                        "orientation {orientation} at {x},{y}"
                    );
                    assert_eq!(turned_colour.get_pixel(x, y), colour.get_pixel(u, v));
                }
            }
        }
    }
}
