//! The bare surface under the ink: its brightness and texture, and which pixels are darker than it.
//!
//! Brightness is compared as a ratio, because lamp and shadow multiply what surface and ink reflect.
//! The ratio is taken of sRGB-encoded levels: encoding is nearly a power, so a ratio stays a ratio.

use image::GrayImage;
use rayon::prelude::*;

use super::blind::Blind;
use super::grid::{Grid, Surface, median};
use super::{cover, things};

/// Side of a cell of the texture grid, mm, and cells on each side whose median smooths it.
const CELL_MM: f64 = 2.5;
const REACH: usize = 2;
/// The level of a cell that counts as bare: above the median, since ink only darkens.
const BARE_SHARE: f64 = 0.65;
/// Side of a cell of the level grid, mm.
const FINE_MM: f64 = 0.4;
/// Dark things narrower than this are taken off the ground, mm: pen strokes and dots are, shadows are not.
const WIDEST_MM: f64 = 2.6;
/// Contrast above which a pixel can be ink's rim, and above which it is surely more than texture. Marker
/// ink reflects a fifth or less of what bare metal does: encoded, a contrast of 0.5. Blur halves it
/// on a 0.3 mm dot; grain of a brushed sheet stays below 0.1.
const RIM: f64 = 0.11;
const CORE: f64 = 0.17;
/// The same in standard deviations of the texture round about.
const RIM_SIGMAS: f64 = 3.0;
const CORE_SIGMAS: f64 = 5.5;
/// Texture so strong that ink of contrast 0.5 does not stand out of it by [`CORE_SIGMAS`].
const HOPELESS_TEXTURE: f64 = 0.09;
/// A face whose median level is below this may bear bright marks: lines scribed through layout dye, silver pencil
/// on dark primer. On a brighter one they would not show.
const DARK_FACE: usize = 125;
/// Levels from here are blown out.
const BLOWN: usize = 251;
/// A cell with more than this share blown out shows nothing of its marks.
const BLOWN_SHARE: f64 = 0.25;
/// Below this level the sensor's noise and the file's rounding hide ink.
const BLACK: f64 = 14.0;
/// Below this level (3 % of full scale in linear light) a phone's noise is as strong as grain.
const DIM: f64 = 50.0;

/// More than rounding moves a contrast.
const ROUNDING: f32 = 1e-4;

/// Pixel of the ink mask: bare, the rim of something dark, or its core.
pub(super) const CORE_BIT: u8 = 2;

/// The ground of a flat picture.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// Bare level, finely: what is left when narrow dark things are closed over; 0 where unknown.
    level: Surface,
    /// The darkest pixel of each cell of the level's grid; the brightest level where none is known.
    darkest: Vec<u8>,
    /// Standard deviation of the texture over the bare level.
    texture: Surface,
    /// Whether ink would show in each cell of the texture grid.
    readable: Vec<bool>,
    /// Why it would not, in each cell that is not readable.
    blind: Vec<Option<Blind>>,
    /// Whether the face is dark.
    dark: bool,
    /// Which cells of the level's grid a thing lies on.
    covered: Vec<bool>,
    /// Dark things too wide for a pen's stroke, yet small: middle and size, px.
    spots: Vec<(f64, f64, f64)>,
}

struct Cell {
    /// Pixels that show the sheet, and those of them that are darker than [`DARK_FACE`].
    known: u32,
    dark: u32,
    level: f32,
    texture: f32,
    usable: bool,
    /// Too few of its pixels show the sheet to judge it, yet some do.
    cut_short: bool,
    blown: bool,
}

impl Cell {
    /// Why ink would not show, by the cell's own pixels and the `texture` round about.
    fn blind(&self, texture: f32) -> Option<Blind> {
        if !self.usable && !self.cut_short {
            None
        } else if self.blown {
            Some(Blind::Glare)
        } else if f64::from(self.level) <= BLACK {
            Some(Blind::Shadow)
        } else if f64::from(texture) >= HOPELESS_TEXTURE {
            // What is rough in the dark is the sensor's noise: light from elsewhere helps, not a smoother sheet.
            if f64::from(self.level) < DIM {
                Some(Blind::Shadow)
            } else {
                Some(Blind::Texture)
            }
        } else {
            None
        }
    }
}

impl Ground {
    /// Measures the ground. Pixels of level 0 are outside the sheet and count as unknown.
    pub(super) fn of(flat: &GrayImage, px_per_mm: f64) -> Self {
        let (cells, mut texture) = cells_of(flat, px_per_mm);
        let smooth = |value: fn(&Cell) -> f32, grid: &Grid| -> Vec<f32> {
            (0..cells.len())
                .into_par_iter()
                .map(|i| {
                    median(
                        grid.neighbours(i, REACH)
                            .filter(|&j| cells[j].usable)
                            .map(|j| value(&cells[j])),
                    )
                })
                .collect()
        };
        let around = Grid {
            values: smooth(|c| c.level, &texture),
            ..texture
        };
        texture.values = smooth(|c| c.texture, &texture);
        let (level, darkest) = fine_level(flat, px_per_mm, &around);
        let mut readable: Vec<bool> = cells
            .iter()
            .zip(&texture.values)
            .map(|(c, &t)| {
                c.usable
                    && !c.blown
                    && f64::from(c.level) > BLACK
                    && f64::from(t) < HOPELESS_TEXTURE
            })
            .collect();
        // The sheet's rim leaves some cells too few pixels to judge them by: they are as their neighbours.
        let alike: Vec<usize> = (0..cells.len())
            .filter(|&i| {
                let c = &cells[i];
                let bare = !c.blown && f64::from(c.level) > BLACK;
                c.cut_short && bare && beside(&texture, i, |j| readable[j])
            })
            .collect();
        for i in alike {
            readable[i] = true;
        }
        let mut blind: Vec<Option<Blind>> = cells
            .iter()
            .zip(&texture.values)
            .map(|(c, &t)| c.blind(t))
            .collect();
        let spots = things::find(&level, &around, px_per_mm, |x, y| {
            if let Some(i) = texture.cell_at(x, y) {
                readable[i] = false;
                // Where there is no light at all it is the shadow that hides.
                blind[i] = blind[i].or(Some(Blind::Covered));
            }
        });
        let covered = cover::find(&level, px_per_mm);
        let each_pixel = |grid: Grid| {
            Surface::at_pixels(grid, 0..flat.width() as usize, 0..flat.height() as usize)
        };
        Self {
            level: each_pixel(level),
            darkest,
            texture: each_pixel(texture),
            readable,
            blind,
            dark: 2 * cells.iter().map(|c| u64::from(c.dark)).sum::<u64>()
                >= cells.iter().map(|c| u64::from(c.known)).sum(),
            covered,
            spots,
        }
    }

    /// Whether a thing lies on the flat pixel (x, y).
    pub(super) fn is_covered(&self, x: f64, y: f64) -> bool {
        let cell = self.level.grid.cell_at(x, y);
        cell.is_some_and(|i| self.covered[i])
    }

    /// Whether the face's median level is so low that bright marks would show on it.
    pub(super) fn is_dark(&self) -> bool {
        self.dark
    }

    /// Dark spots too wide for a pen's stroke: middle (x, y) and size, px.
    pub(super) fn spots(&self) -> &[(f64, f64, f64)] {
        &self.spots
    }

    /// Whether ink at the flat pixel (x, y) would show.
    pub(super) fn is_readable(&self, x: f64, y: f64) -> bool {
        !self.is_covered(x, y)
            && self
                .texture
                .grid
                .cell_at(x, y)
                .is_some_and(|i| self.readable[i])
    }

    /// Why ink at the flat pixel (x, y) would not show; `None` where it would, and where nothing shows the sheet.
    pub(super) fn blind_at(&self, x: f64, y: f64) -> Option<Blind> {
        let cell = self.texture.grid.cell_at(x, y)?;
        if self.is_covered(x, y) {
            self.blind[cell].or(Some(Blind::Covered))
        } else if self.readable[cell] {
            None
        } else {
            self.blind[cell]
        }
    }

    /// Texture at the flat pixel (x, y), as a share of the bare level.
    pub(super) fn texture_at(&self, x: f64, y: f64) -> f64 {
        let texture = &self.texture.grid;
        texture
            .cell_at(x, y)
            .map_or(0.0, |i| f64::from(texture.values[i]))
    }

    /// From which contrast on ink at the flat pixel (x, y) is surely more than texture.
    pub(super) fn shows_from(&self, x: f64, y: f64) -> f64 {
        CORE.max(CORE_SIGMAS * self.texture_at(x, y))
    }

    /// How much darker than bare the pixel (x, y) is: 0 bare, 1 black; 0 where unknown.
    pub(super) fn contrast_at(&self, flat: &GrayImage, x: usize, y: usize) -> f32 {
        contrast(
            flat.as_raw()[y * flat.width() as usize + x],
            self.level.at(x, y),
        )
    }

    /// One byte a pixel: 0 bare, 1 rim, 1 | [`CORE_BIT`] core.
    pub(super) fn ink_mask(&self, flat: &GrayImage) -> Vec<u8> {
        let w = flat.width() as usize;
        let mut mask = vec![0u8; w * flat.height() as usize];
        if mask.is_empty() {
            return mask;
        }
        let level = &self.level.grid;
        // Most cells hold no ink: their darkest pixel is too bright for any, whatever the level between there and the next.
        let brightest = level.extreme(1, true).values;
        let may_hold_ink =
            |i: usize| f32::from(self.darkest[i]) < brightest[i] * (1.0 - RIM as f32 + ROUNDING);
        let bands = mask.par_chunks_mut(w * level.cell).enumerate();
        bands.for_each(|(row, band)| {
            for column in (0..level.columns).filter(|c| may_hold_ink(row * level.columns + c)) {
                let columns = column * level.cell..((column + 1) * level.cell).min(w);
                for (dy, out) in band.chunks_mut(w).enumerate() {
                    for x in columns.clone() {
                        out[x] = self.ink_at(flat, x, row * level.cell + dy);
                    }
                }
            }
        });
        mask
    }

    /// A pixel of the ink mask.
    fn ink_at(&self, flat: &GrayImage, x: usize, y: usize) -> u8 {
        let contrast = self.contrast_at(flat, x, y);
        if contrast <= RIM as f32 {
            return 0;
        }
        let texture = self.texture.at(x, y);
        if contrast <= RIM_SIGMAS as f32 * texture {
            0
        } else if contrast > (CORE as f32).max(CORE_SIGMAS as f32 * texture) {
            1 | CORE_BIT
        } else {
            1
        }
    }
}

/// Level, texture and usability of each coarse cell, and an empty grid of them.
fn cells_of(flat: &GrayImage, px_per_mm: f64) -> (Vec<Cell>, Grid) {
    let (w, h) = (flat.width() as usize, flat.height() as usize);
    let cell = ((CELL_MM * px_per_mm) as usize).max(8);
    let (columns, rows) = (w.div_ceil(cell), h.div_ceil(cell));
    let raw = flat.as_raw();
    let cells = (0..columns * rows)
        .into_par_iter()
        .map(|i| {
            let (x0, y0) = (i % columns * cell, i / columns * cell);
            let mut histogram = [0u32; 256];
            for y in y0..(y0 + cell).min(h) {
                for &v in &raw[y * w + x0..y * w + (x0 + cell).min(w)] {
                    histogram[usize::from(v)] += 1;
                }
            }
            summarise(&histogram)
        })
        .collect();
    (
        cells,
        Grid {
            cell,
            columns,
            rows,
            values: Vec::new(),
        },
    )
}

/// The bare level, finely. A closing (the largest value near by, and of those the smallest) fills dark
/// things narrower than its reach and leaves the edges of shadows where they are: Serra, "Image Analysis
/// and Mathematical Morphology", 1982, from memory.
fn fine_level(flat: &GrayImage, px_per_mm: f64, around: &Grid) -> (Grid, Vec<u8>) {
    let (w, h) = (flat.width() as usize, flat.height() as usize);
    let cell = ((FINE_MM * px_per_mm).round() as usize).max(1);
    let (columns, rows) = (w.div_ceil(cell), h.div_ceil(cell));
    let raw = flat.as_raw();
    let mut values = vec![0.0f32; columns * rows];
    let mut darkest = vec![u8::MAX; columns * rows];
    let bands = values.par_chunks_mut(columns.max(1));
    bands
        .zip(darkest.par_chunks_mut(columns.max(1)))
        .zip(raw.par_chunks((cell * w).max(1)))
        .for_each_init(
            || (vec![0u16; w], vec![0u16; w], vec![0u8; w]),
            |(sums, known, least), ((means, darkest), band)| {
                // First down each column of pixels, then across the cell, which has far fewer than 257 lines.
                sums.fill(0);
                known.fill(0);
                least.fill(u8::MAX);
                for line in band.chunks_exact(w) {
                    let pixels = sums.iter_mut().zip(known.iter_mut()).zip(least.iter_mut());
                    for (((sum, known), least), &level) in pixels.zip(line) {
                        *sum += u16::from(level);
                        *known += u16::from(level > 0);
                        // One less than the level: unknown pixels, 0, come out brightest.
                        *least = (*least).min(level.wrapping_sub(1));
                    }
                }
                let columns = sums
                    .chunks(cell)
                    .zip(known.chunks(cell))
                    .zip(least.chunks(cell));
                let cells = means.iter_mut().zip(darkest);
                for ((mean, darkest), ((sums, known), least)) in cells.zip(columns) {
                    let all = band.len() / w * sums.len();
                    let total = |v: &[u16]| v.iter().map(|&v| u32::from(v)).sum::<u32>();
                    let (sum, known) = (total(sums), total(known));
                    let shows = 2 * known as usize > all;
                    *mean = if shows {
                        sum as f32 / known as f32
                    } else {
                        0.0
                    };
                    *darkest = least
                        .iter()
                        .fold(u8::MAX, |a, &b| a.min(b))
                        .saturating_add(1);
                }
            },
        );
    let plain = Grid {
        cell,
        columns,
        rows,
        values,
    };
    let reach = ((WIDEST_MM / 2.0 * px_per_mm / cell as f64).ceil() as usize).max(1);
    let mut closed = plain.extreme(reach, true).extreme(reach, false);
    // The closing rides on top of the texture: bring it down by as much as it stands above bare cells.
    let above = |i: usize| {
        // The fine cells that begin in the coarse one.
        let begin = |k: usize, n: usize| {
            (k * around.cell).div_ceil(cell).min(n)..((k + 1) * around.cell).div_ceil(cell).min(n)
        };
        let (across, down) = (i % around.columns, i / around.columns);
        let mut above: Vec<f32> = Vec::with_capacity(64);
        for row in begin(down, rows) {
            let cells = begin(across, columns);
            let cells = row * columns + cells.start..row * columns + cells.end;
            let pairs = plain.values[cells.clone()]
                .iter()
                .zip(&closed.values[cells]);
            above.extend(
                pairs
                    .filter(|(p, _)| **p > 0.0)
                    .map(|(plain, closed)| closed / plain),
            );
        }
        // Ink makes the ratio large in some places: the lower third is bare.
        let third = above.len() / 3;
        if above.is_empty() {
            1.0
        } else {
            *above.select_nth_unstable_by(third, f32::total_cmp).1
        }
    };
    let down = Grid {
        values: (0..around.columns * around.rows)
            .into_par_iter()
            .map(above)
            .collect(),
        ..*around
    };
    let down = Grid {
        values: (0..down.values.len())
            .into_par_iter()
            .map(|i| median(down.neighbours(i, REACH).map(|j| down.values[j])))
            .collect(),
        ..down
    };
    let middles = |cells: usize, size: usize| {
        (0..cells).map(move |i| (i * cell + cell / 2).min(size.saturating_sub(1)))
    };
    let down = Surface::at_pixels(down, middles(columns, w), middles(rows, h));
    let lines = closed.values.par_chunks_mut(columns.max(1));
    lines.enumerate().for_each(|(row, out)| {
        for (column, v) in out.iter_mut().enumerate() {
            *v /= down.at(column, row).max(1.0);
        }
    });
    (closed, darkest)
}

fn contrast(value: u8, level: f32) -> f32 {
    if value == 0 || level <= 0.0 {
        0.0
    } else {
        1.0 - f32::from(value) / level
    }
}

/// Whether `holds` of a cell that shares a side with cell `i`, or a corner where a corner of the sheet is.
fn beside(grid: &Grid, i: usize, holds: impl Fn(usize) -> bool) -> bool {
    let (x, y) = (i % grid.columns, i / grid.columns);
    let near = |corner: bool| {
        (-1isize..=1)
            .flat_map(|dy| (-1isize..=1).map(move |dx| (dx, dy)))
            .filter(move |(dx, dy)| (dx * dy != 0) == corner && (*dx, *dy) != (0, 0))
            .filter_map(|(dx, dy)| {
                let (x, y) = (x.checked_add_signed(dx)?, y.checked_add_signed(dy)?);
                (x < grid.columns && y < grid.rows).then_some(y * grid.columns + x)
            })
    };
    near(false).any(&holds) || near(true).any(&holds)
}

fn summarise(histogram: &[u32; 256]) -> Cell {
    let all: u32 = histogram.iter().sum();
    let known = all - histogram[0];
    let blown = histogram[BLOWN..].iter().sum::<u32>();
    let quantile = |share: f64| {
        let wanted = share * f64::from(known);
        let whole = wanted.ceil() as u32;
        let mut below = 0;
        for (level, &n) in histogram.iter().enumerate().skip(1) {
            if below + n >= whole && n > 0 {
                // Within one level the pixels are taken as spread evenly: rounding is no texture.
                return level as f64 - 0.5 + (wanted - f64::from(below)) / f64::from(n);
            }
            below += n;
        }
        0.0
    };
    let bare = quantile(BARE_SHARE);
    // The upper side of the spread holds no ink: from the bare level to the 93 % point is the way
    // from 0.385 to 1.476 standard deviations.
    let spread = (quantile(0.93) - bare) / 1.091;
    Cell {
        known,
        dark: histogram[1..DARK_FACE].iter().sum(),
        level: bare as f32,
        texture: (spread.max(0.3) / bare.max(1.0)) as f32,
        usable: known * 2 > all,
        cut_short: known > 0 && known * 2 <= all,
        blown: f64::from(blown) > BLOWN_SHARE * f64::from(known),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mask_holds_what_judging_every_pixel_would_find() {
        let mut seed = 5u64;
        // A face in slanting light with noise and a rim outside the sheet; a pale and a dark stroke, and a dot.
        let flat = GrayImage::from_fn(301, 203, |x, y| {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            let noise = ((seed >> 33) % 17) as f64 - 8.0;
            let (x, y) = (f64::from(x), f64::from(y));
            if x < 9.0 || y > 190.0 + 0.03 * x {
                return image::Luma([0]);
            }
            let dot = (x - 200.0).hypot(y - 60.0) < 5.0;
            let dark = (y - 100.0 - 0.2 * x).abs() < 2.5 || dot;
            let pale = (x - 80.0).abs() < 2.0;
            let share = if dark {
                0.4
            } else if pale {
                0.84
            } else {
                1.0
            };
            image::Luma([((90.0 + 0.4 * x) * share + noise).clamp(1.0, 255.0) as u8])
        });
        let ground = Ground::of(&flat, 12.0);
        let mask = ground.ink_mask(&flat);
        let ink = mask.iter().filter(|m| **m != 0).count();
        assert!((1500..12_000).contains(&ink), "{ink}");
        for (i, &found) in mask.iter().enumerate() {
            let (x, y) = (i % 301, i / 301);
            assert_eq!(found, ground.ink_at(&flat, x, y), "({x}, {y})");
        }
    }
}
