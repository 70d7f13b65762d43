//! The colour of a photo apart from its brightness: for what differs from its surroundings in colour alone.

use std::sync::{Arc, LazyLock};

use image::GrayImage;

use super::upright;

/// How far bluer and redder than grey a photo is, upright, each 128 where it is grey: the Cb and Cr of JFIF 1.02
/// (from memory), at half the photo's size. Nearly all JPEGs hold no finer colour.
#[derive(Debug, Clone)]
pub struct Colour {
    /// Cb.
    pub blue: GrayImage,
    /// Cr.
    pub red: GrayImage,
}

/// Photo pixels a pixel of [`Colour`].
pub const COLOUR_SCALE: f64 = 2.0;

/// The colour of a photo, decoded when it is first asked for: most sheets show in brightness, and colour takes as long
/// to decode as that.
#[derive(Debug, Clone)]
pub struct Later(Arc<LazyLock<Option<Colour>, Decode>>);

type Decode = Box<dyn FnOnce() -> Option<Colour> + Send>;

impl Later {
    /// That of a photo in grey.
    #[must_use]
    pub fn none() -> Self {
        Self::known(None)
    }

    /// One that is there.
    pub(super) fn known(colour: Option<Colour>) -> Self {
        Self::by(move || colour)
    }

    pub(super) fn by(decode: impl FnOnce() -> Option<Colour> + Send + 'static) -> Self {
        Self(Arc::new(LazyLock::new(Box::new(decode))))
    }

    /// The colour; `None` for a photo in grey.
    #[must_use]
    pub fn get(&self) -> Option<&Colour> {
        (**self.0).as_ref()
    }
}

impl Colour {
    /// From three bytes a pixel as stored, which `apart` turns into Cb and Cr. The point (x, y) of a plane is (2x, 2y)
    /// of the upright photo; an odd last row or column of that is left out. `None` when there is less than the size says.
    pub(super) fn of(
        data: &[u8],
        [width, height]: [usize; 2],
        orientation: u8,
        apart: impl Fn(&[u8]) -> [u8; 2],
    ) -> Option<Self> {
        if data.len() < 3 * width * height {
            return None;
        }
        let (w, h) = (width / 2, height / 2);
        // Pixels are paired from the upright picture's first one, which may be the stored one's last.
        let left = if matches!(orientation, 2 | 3 | 7 | 8) {
            width % 2
        } else {
            0
        };
        let top = if matches!(orientation, 3 | 4 | 6 | 7) {
            height % 2
        } else {
            0
        };
        let mut planes = [vec![0u8; w * h], vec![0u8; w * h]];
        let [blue, red] = &mut planes;
        // On one thread: who is first to ask may do so amid work that is shared out. If this were shared out as well, that
        // thread could be handed a part of that work meanwhile, which asks again, and would wait for itself for ever.
        let rows = blue.chunks_mut(w.max(1)).zip(red.chunks_mut(w.max(1)));
        for (y, (blue, red)) in rows.enumerate() {
            for x in 0..w {
                let mut sum = [2u16; 2];
                for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
                    let i = (2 * y + top + dy) * width + 2 * x + left + dx;
                    let c = apart(&data[3 * i..3 * i + 3]);
                    sum[0] += u16::from(c[0]);
                    sum[1] += u16::from(c[1]);
                }
                blue[x] = (sum[0] / 4) as u8;
                red[x] = (sum[1] / 4) as u8;
            }
        }
        let [blue, red] = planes.map(|p| {
            let plane = GrayImage::from_raw(w as u32, h as u32, p).unwrap_or_default();
            upright(plane, orientation)
        });
        Some(Self { blue, red })
    }
}

/// Cb and Cr of an sRGB-encoded colour.
pub(super) fn blue_red([r, g, b]: [u8; 3]) -> [u8; 2] {
    let [r, g, b] = [r, g, b].map(f32::from);
    let level = |v: f32| (v + 128.5) as u8;
    [
        level(-0.168_736 * r - 0.331_264 * g + 0.5 * b),
        level(0.5 * r - 0.418_688 * g - 0.081_312 * b),
    ]
}

#[cfg(test)]
mod tests {
    use image::{Rgb, RgbImage};

    use std::sync::atomic::{AtomicBool, Ordering};

    use super::*;

    #[test]
    fn a_pixel_of_the_planes_is_four_of_the_upright_photo() {
        for [w, h] in [[8, 6], [9, 7]] {
            let stored = RgbImage::from_fn(w, h, |x, y| {
                Rgb([(x * 23) as u8, (y * 31) as u8, ((x + y) * 11) as u8])
            });
            for orientation in 1..=8 {
                let size = [w as usize, h as usize];
                let found = Colour::of(&stored, size, orientation, |p| [p[0], p[1]]).unwrap();
                let photo = upright(stored.clone(), orientation);
                assert_eq!(found.blue.width(), photo.width() / 2);
                for (x, y, pixel) in found.blue.enumerate_pixels() {
                    let mean = |channel: usize| {
                        let sum: u32 = [(0, 0), (1, 0), (0, 1), (1, 1)]
                            .iter()
                            .map(|(dx, dy)| {
                                u32::from(photo.get_pixel(2 * x + dx, 2 * y + dy)[channel])
                            })
                            .sum();
                        ((sum + 2) / 4) as u8
                    };
                    assert_eq!(pixel[0], mean(0), "orientation {orientation} at {x}, {y}");
                    assert_eq!(found.red.get_pixel(x, y)[0], mean(1));
                }
            }
        }
    }

    #[test]
    fn grey_has_no_colour_and_blue_and_red_have() {
        assert_eq!(blue_red([77; 3]), [128, 128]);
        assert_eq!(blue_red([0, 0, 255]), [255, 107]);
        assert_eq!(blue_red([255, 0, 0]), [85, 255]);
    }

    #[test]
    fn whoever_asks_first_works_it_out_alone() {
        let size = [1200, 1200];
        let data = vec![90u8; 3 * size[0] * size[1]];
        let helped = AtomicBool::new(false);
        let pool = rayon::ThreadPoolBuilder::new().num_threads(4).build();
        let colour = pool.unwrap().install(|| {
            let me = std::thread::current().id();
            Colour::of(&data, size, 1, |p| {
                if std::thread::current().id() != me {
                    helped.store(true, Ordering::Relaxed);
                }
                [p[1], p[2]]
            })
        });
        assert!(colour.is_some() && !helped.into_inner());
    }
}
