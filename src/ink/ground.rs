//! The bare surface under the ink: its brightness and texture, and which pixels are darker than it.
//!
//! Brightness is compared as a ratio, because lamp and shadow multiply what surface and ink reflect.
//! The ratio is taken of sRGB-encoded levels: encoding is nearly a power, so a ratio stays a ratio.

use image::GrayImage;
use rayon::prelude::*;

/// Side of a ground cell, mm: wide against a marker line (0.4 to 0.7 mm), so that most of a cell is
/// bare, and small against the way lamps and shadows change.
const CELL_MM: f64 = 2.5;
/// Cells on each side whose median smooths a cell: one that ink fills is outvoted.
const REACH: usize = 2;
/// The level of a cell that counts as bare: above the median, since ink only darkens.
const BARE_SHARE: f64 = 0.65;
/// Contrast above which a pixel can be ink's rim, and above which it is surely more than texture. Marker
/// ink reflects a fifth or less of what bare metal does: encoded, a contrast of 0.5. Blur halves it
/// on a 0.3 mm dot; grain of a brushed sheet stays below 0.1.
const RIM: f64 = 0.11;
const CORE: f64 = 0.20;
/// The same in standard deviations of the texture round about.
const RIM_SIGMAS: f64 = 3.0;
const CORE_SIGMAS: f64 = 5.5;
/// Texture so strong that ink of contrast 0.5 does not stand out of it by [`CORE_SIGMAS`].
const HOPELESS_TEXTURE: f64 = 0.09;
/// Levels from here are blown out.
const BLOWN: usize = 251;
/// A cell with more than this share blown out shows nothing of its marks.
const BLOWN_SHARE: f64 = 0.25;
/// Below this level the sensor's noise and the file's rounding hide ink.
const BLACK: f64 = 14.0;

/// Pixel of the ink mask: bare, the rim of something dark, or its core.
pub(super) const CORE_BIT: u8 = 2;

/// The ground of a flat picture, on a grid of cells.
#[derive(Debug, Clone)]
pub(super) struct Ground {
    /// Side of a cell, px.
    pub(super) cell: usize,
    /// Cells across.
    pub(super) columns: usize,
    /// Cells down.
    pub(super) rows: usize,
    /// Bare level of each cell; 0 where nothing is known.
    level: Vec<f32>,
    /// Standard deviation of the texture over the bare level.
    texture: Vec<f32>,
    /// Whether ink would show in the cell.
    readable: Vec<bool>,
}

struct Cell {
    level: f32,
    texture: f32,
    usable: bool,
    blown: bool,
}

impl Ground {
    /// Measures the ground. Pixels of level 0 are outside the sheet and count as unknown.
    pub(super) fn of(flat: &GrayImage, px_per_mm: f64) -> Self {
        let (w, h) = (flat.width() as usize, flat.height() as usize);
        let cell = ((CELL_MM * px_per_mm) as usize).max(8);
        let (columns, rows) = (w.div_ceil(cell), h.div_ceil(cell));
        let raw = flat.as_raw();
        let cells: Vec<Cell> = (0..columns * rows)
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
        let mut ground = Self {
            cell,
            columns,
            rows,
            level: vec![],
            texture: vec![],
            readable: vec![],
        };
        for i in 0..cells.len() {
            let near: Vec<&Cell> = ground
                .neighbours(i)
                .map(|j| &cells[j])
                .filter(|c| c.usable)
                .collect();
            let level = median(near.iter().map(|c| c.level));
            let texture = median(near.iter().map(|c| c.texture));
            ground.level.push(level);
            ground.texture.push(texture);
            let c = &cells[i];
            let shows = c.usable
                && !c.blown
                && f64::from(level) > BLACK
                && f64::from(texture) < HOPELESS_TEXTURE;
            ground.readable.push(shows);
        }
        ground
    }

    fn neighbours(&self, i: usize) -> impl Iterator<Item = usize> + use<> {
        let (column, row, columns, rows) =
            (i % self.columns, i / self.columns, self.columns, self.rows);
        let xs = column.saturating_sub(REACH)..(column + REACH + 1).min(columns);
        (row.saturating_sub(REACH)..(row + REACH + 1).min(rows))
            .flat_map(move |y| xs.clone().map(move |x| y * columns + x))
    }

    /// Whether ink at the flat pixel (x, y) would show.
    pub(super) fn is_readable(&self, x: f64, y: f64) -> bool {
        let (column, row) = (
            (x / self.cell as f64).floor(),
            (y / self.cell as f64).floor(),
        );
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
        inside && self.readable[row as usize * self.columns + column as usize]
    }

    /// Texture at the flat pixel (x, y), as a share of the bare level.
    pub(super) fn texture_at(&self, x: f64, y: f64) -> f64 {
        let column = ((x / self.cell as f64) as usize).min(self.columns - 1);
        let row = ((y / self.cell as f64) as usize).min(self.rows - 1);
        f64::from(self.texture[row * self.columns + column])
    }

    /// Cell before position `p` and the share of the next one, for interpolation between the middles.
    fn split(&self, p: usize, n: usize) -> (usize, f32) {
        let t = ((p as f32 + 0.5) / self.cell as f32 - 0.5).clamp(0.0, (n - 1) as f32);
        let i = (t as usize).min(n.saturating_sub(2));
        (i, t - i as f32)
    }

    /// `grid` along row `y`, interpolated.
    fn levels(&self, grid: &[f32], y: usize, out: &mut [f32]) {
        let (row, v) = self.split(y, self.rows);
        let below = (row + 1).min(self.rows - 1);
        let line: Vec<f32> = (0..self.columns)
            .map(|c| {
                mix(
                    grid[row * self.columns + c],
                    grid[below * self.columns + c],
                    v,
                )
            })
            .collect();
        for (x, o) in out.iter_mut().enumerate() {
            let (column, u) = self.split(x, self.columns);
            *o = mix(line[column], line[(column + 1).min(self.columns - 1)], u);
        }
    }

    /// How much darker than bare the pixel (x, y) is: 0 bare, 1 black; 0 where unknown.
    pub(super) fn contrast_at(&self, flat: &GrayImage, x: usize, y: usize) -> f32 {
        let (column, u) = self.split(x, self.columns);
        let (row, v) = self.split(y, self.rows);
        let (right, below) = (
            (column + 1).min(self.columns - 1),
            (row + 1).min(self.rows - 1),
        );
        let at = |c: usize| {
            mix(
                self.level[row * self.columns + c],
                self.level[below * self.columns + c],
                v,
            )
        };
        contrast(
            flat.as_raw()[y * flat.width() as usize + x],
            mix(at(column), at(right), u),
        )
    }

    /// How much darker than bare each pixel of row `y` is: 0 bare, 1 black; 0 where unknown.
    pub(super) fn contrast_row(&self, flat: &GrayImage, y: usize, out: &mut Vec<f32>) {
        let w = flat.width() as usize;
        out.resize(w, 0.0);
        self.levels(&self.level, y, out);
        for (o, &v) in out.iter_mut().zip(&flat.as_raw()[y * w..][..w]) {
            *o = contrast(v, *o);
        }
    }

    /// One byte a pixel: 0 bare, 1 rim, 1 | [`CORE_BIT`] core.
    pub(super) fn ink_mask(&self, flat: &GrayImage) -> Vec<u8> {
        let w = flat.width() as usize;
        let mut mask = vec![0u8; w * flat.height() as usize];
        if w == 0 {
            return mask;
        }
        mask.par_chunks_mut(w).enumerate().for_each_init(
            || (vec![0f32; w], vec![0f32; w]),
            |(contrast, texture), (y, out)| {
                self.contrast_row(flat, y, contrast);
                self.levels(&self.texture, y, texture);
                for ((o, &c), &t) in out.iter_mut().zip(contrast.iter()).zip(texture.iter()) {
                    if c > (RIM as f32).max(RIM_SIGMAS as f32 * t) {
                        *o = if c > (CORE as f32).max(CORE_SIGMAS as f32 * t) {
                            1 | CORE_BIT
                        } else {
                            1
                        };
                    }
                }
            },
        );
        mask
    }
}

fn contrast(value: u8, level: f32) -> f32 {
    if value == 0 || level <= 0.0 {
        0.0
    } else {
        1.0 - f32::from(value) / level
    }
}

/// Between two cells; a cell of which nothing is known (0) is not mixed in.
fn mix(a: f32, b: f32, share: f32) -> f32 {
    if a == 0.0 || b == 0.0 {
        a.max(b)
    } else {
        a + share * (b - a)
    }
}

fn summarise(histogram: &[u32; 256]) -> Cell {
    let all: u32 = histogram.iter().sum();
    let known = all - histogram[0];
    let blown = histogram[BLOWN..].iter().sum::<u32>();
    let quantile = |share: f64| {
        let wanted = share * f64::from(known);
        let mut below = 0.0;
        for (level, &n) in histogram.iter().enumerate().skip(1) {
            let n = f64::from(n);
            if below + n >= wanted && n > 0.0 {
                // Within one level the pixels are taken as spread evenly: rounding is no texture.
                return level as f64 - 0.5 + (wanted - below) / n;
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
        level: bare as f32,
        texture: (spread.max(0.3) / bare.max(1.0)) as f32,
        usable: known * 2 > all,
        blown: f64::from(blown) > BLOWN_SHARE * f64::from(known),
    }
}

fn median(values: impl Iterator<Item = f32>) -> f32 {
    let mut v: Vec<f32> = values.collect();
    v.sort_by(f32::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(0.0)
}
