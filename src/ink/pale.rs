//! Pale spots: what may be a dot of a dry pen or a hard pencil, too faint for the ink mask.
//!
//! A stray dot that nobody noticed gets drilled, so even a faint one keeps the sheet from reading as ready. What tells a
//! dot from grain, scratches, shadows and the lamp's gradient is that it is darker than what lies round it on every
//! side: grain and scratches go on along themselves, a shadow goes on to one side.

use image::GrayImage;
use nalgebra::Vector2;
use rayon::prelude::*;

use super::name::Name;
use super::picture::Picture;

/// Side of a cell, mm: several to a dot, so that the sensor's noise averages out.
const CELL_MM: f64 = 0.2;
/// Cells from a spot's middle to the face round it: further than a dot's rim, 0.5 mm, and its blur.
const AWAY: i64 = 4;
/// Darker than the darkest of its surroundings by this share of their level at least: less is not seen by eye either.
const LEAST: f64 = 0.055;
/// And by this many standard deviations of what a place differs from its surroundings elsewhere nearby.
const SIGMAS: f64 = 7.0;
/// That is taken from so many cells to each side.
const NEARBY: usize = 40;
/// Ink this near explains the spot, mm: its own smear, or what is said of it already.
const EXPLAINED_MM: f64 = 1.0;
/// Cells from a spot within which other pale strokes show that it is print, the nearest at its own rim; so many of their
/// cells at least. A full stop of the mill's print is no dot of a pen.
const PRINT: i64 = 22;
const PRINT_CELLS: usize = 8;
/// Two spots this near are one, cells.
const ONE_SPOT: i64 = 6;

/// Directions to look in.
const ROUND: [(i64, i64); 8] = [
    (AWAY, 0),
    (3, 3),
    (0, AWAY),
    (-3, 3),
    (-AWAY, 0),
    (-3, -3),
    (0, -AWAY),
    (3, -3),
];

/// The pale spots of a picture, each unsure.
pub(super) fn find(picture: &Picture) -> Vec<Name> {
    let grid = Cells::of(picture.flat, (CELL_MM * picture.scale).max(1.0));
    let inked = |p: Vector2<f64>| {
        let reach = (EXPLAINED_MM * picture.scale).ceil() as i64;
        (-reach..=reach).any(|dy| {
            (-reach..=reach).any(|dx| picture.is_drawn(p + Vector2::new(dx as f64, dy as f64)))
        })
    };
    let mut spots: Vec<(f64, i64, i64)> = Vec::new();
    for (darker, x, y) in grid.spots() {
        let near =
            |&(_, u, v): &(f64, i64, i64)| (u - x).abs() < ONE_SPOT && (v - y).abs() < ONE_SPOT;
        match spots.iter_mut().find(|s| near(s)) {
            Some(s) if s.0 < darker => *s = (darker, x, y),
            Some(_) => {}
            None => spots.push((darker, x, y)),
        }
    }
    spots
        .into_iter()
        .filter(|&(_, x, y)| !grid.in_print(x, y))
        .map(|(_, x, y)| grid.middle(x, y))
        .filter(|&p| picture.ground.is_readable(p.x, p.y) && !inked(p))
        .map(|at| Name::Unsure {
            at,
            size_mm: 2.0 * CELL_MM,
            why: "a pale spot: a faint dot, or a stain",
        })
        .collect()
}

/// Mean levels of square cells, smoothed; 0 where a part is outside the sheet.
struct Cells {
    side: f64,
    columns: i64,
    rows: i64,
    levels: Vec<f32>,
}

impl Cells {
    fn of(flat: &GrayImage, side: f64) -> Self {
        let (w, h) = (flat.width() as usize, flat.height() as usize);
        let columns = (w as f64 / side) as usize;
        let rows = (h as f64 / side) as usize;
        let begin = |i: usize| (i as f64 * side) as usize;
        let across: Vec<(usize, usize)> = (0..columns).map(|x| (begin(x), begin(x + 1))).collect();
        let mut levels = vec![0f32; columns * rows];
        levels
            .par_chunks_mut(columns.max(1))
            .enumerate()
            .for_each_init(
                || (vec![0u32; w], vec![false; w]),
                |(sums, outside), (y, out)| {
                    // First down each column of pixels, then across the cell.
                    sums.fill(0);
                    outside.fill(false);
                    let lines = begin(y)..begin(y + 1);
                    for line in flat.as_raw()[lines.start * w..lines.end * w].chunks_exact(w) {
                        for ((sum, outside), &level) in
                            sums.iter_mut().zip(outside.iter_mut()).zip(line)
                        {
                            *sum += u32::from(level);
                            *outside |= level == 0;
                        }
                    }
                    for (o, &(from, to)) in out.iter_mut().zip(&across) {
                        let sum: u32 = sums[from..to].iter().sum();
                        let n = (to - from) * lines.len();
                        *o = if outside[from..to].contains(&true) {
                            0.0
                        } else {
                            sum as f32 / n as f32
                        };
                    }
                },
            );
        Self {
            side,
            columns: columns as i64,
            rows: rows as i64,
            levels,
        }
        .smoothed()
    }

    /// Each cell with a share of its neighbours: 1 2 1 both ways; 0 where one of them is not known.
    fn smoothed(self) -> Self {
        let w = self.columns as usize;
        let mut levels = vec![0f32; self.levels.len()];
        if w < 3 {
            return Self { levels, ..self };
        }
        let near = self.levels.par_windows(3 * w).step_by(w);
        let rows = levels.par_chunks_mut(w).skip(1);
        rows.zip(near).for_each_init(
            || vec![f32::MAX; w - 2],
            |least, (out, near)| {
                let out = &mut out[1..w - 1];
                least.fill(f32::MAX);
                for (line, down) in near.chunks_exact(w).zip([1.0, 2.0, 1.0]) {
                    for (side, across) in [1.0, 2.0, 1.0].into_iter().enumerate() {
                        let places = out.iter_mut().zip(least.iter_mut());
                        for ((sum, least), &level) in places.zip(&line[side..]) {
                            *sum += down * across * level;
                            *least = if level < *least { level } else { *least };
                        }
                    }
                }
                for (sum, &least) in out.iter_mut().zip(least.iter()) {
                    *sum = if least > 0.0 { *sum / 16.0 } else { 0.0 };
                }
            },
        );
        Self { levels, ..self }
    }

    fn middle(&self, x: i64, y: i64) -> Vector2<f64> {
        Vector2::new(x as f64 + 0.5, y as f64 + 0.5) * self.side
    }

    fn at(&self, x: i64, y: i64) -> f64 {
        f64::from(self.levels[(y * self.columns + x) as usize])
    }

    /// Whether pale strokes lie round about a spot.
    fn in_print(&self, x: i64, y: i64) -> bool {
        let inside = |v: i64, n: i64| v >= AWAY && v < n - AWAY;
        let strokes = (-PRINT..=PRINT).flat_map(|dy| {
            (-PRINT..=PRINT)
                .filter(move |dx: &i64| dx.abs().max(dy.abs()) > AWAY)
                .map(move |dx| (x + dx, y + dy))
        });
        strokes
            .filter(|&(u, v)| inside(u, self.columns) && inside(v, self.rows))
            .filter(|&(u, v)| self.of_stroke(u, v))
            .count()
            >= PRINT_CELLS
    }

    /// Whether the cell is darker than what lies on two opposite sides of it, as a stroke is and a shadow's rim is not.
    fn of_stroke(&self, x: i64, y: i64) -> bool {
        let own = self.at(x, y);
        ROUND[..4].iter().any(|&(dx, dy)| {
            let brighter = self.at(x + dx, y + dy).min(self.at(x - dx, y - dy));
            own > 0.0 && brighter - own > LEAST * brighter
        })
    }

    /// Cells that are darker than all round them, and by how much.
    fn spots(&self) -> Vec<(f64, i64, i64)> {
        let tops: Vec<i64> = (AWAY..self.rows - AWAY).step_by(NEARBY).collect();
        tops.into_par_iter()
            .flat_map_iter(|top| {
                (AWAY..self.columns - AWAY)
                    .step_by(NEARBY)
                    .flat_map(move |left| self.spots_of_tile(left, top))
            })
            .collect()
    }

    fn spots_of_tile(&self, left: i64, top: i64) -> Vec<(f64, i64, i64)> {
        let columns = left..(left + NEARBY as i64).min(self.columns - AWAY);
        let mut usual: Vec<f64> = Vec::with_capacity(NEARBY * NEARBY);
        let mut dark: Vec<(f64, i64, i64)> = Vec::new();
        for y in top..(top + NEARBY as i64).min(self.rows - AWAY) {
            let line = |dx: i64, dy: i64| {
                let [from, to] = [columns.start, columns.end]
                    .map(|x| ((y + dy) * self.columns + x + dx) as usize);
                &self.levels[from..to]
            };
            // What lies round each cell: the sum of its levels, and the darkest.
            let mut sum = [0f64; NEARBY];
            let mut darkest = [f32::MAX; NEARBY];
            for (dx, dy) in ROUND {
                for ((sum, darkest), &level) in sum.iter_mut().zip(&mut darkest).zip(line(dx, dy)) {
                    *sum += f64::from(level);
                    *darkest = if level < *darkest { level } else { *darkest };
                }
            }
            for (((x, sum), darkest), &own) in columns.clone().zip(sum).zip(darkest).zip(line(0, 0))
            {
                if darkest <= 0.0 || own <= 0.0 {
                    continue;
                }
                let mean = sum / 8.0;
                let darker_than = |level: f64| (level - f64::from(own)) / mean;
                usual.push(darker_than(mean).abs());
                let darker = darker_than(f64::from(darkest));
                if darker > LEAST {
                    dark.push((darker, x, y));
                }
            }
        }
        if dark.is_empty() {
            return dark;
        }
        // Of a normal distribution the median distance is 0.6745 standard deviations.
        let middle = usual.len() / 2;
        let sigma = *usual.select_nth_unstable_by(middle, f64::total_cmp).1 / 0.6745;
        dark.retain(|d| d.0 > SIGMAS * sigma);
        dark
    }
}

#[cfg(test)]
mod tests {
    use super::super::flat;
    use image::{GrayImage, Luma};

    const PX_PER_MM: f64 = 10.0;

    /// Streaky metal with a spot of the given size and share of darkness, or a scratch, at (20, 12) mm; with noise.
    fn face(dark: impl Fn(f64, f64) -> f64) -> GrayImage {
        let mut seed = 11u64;
        let mut draw = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            ((seed >> 33) % 1000) as f64 / 1000.0 - 0.5
        };
        let grain: Vec<f64> = (0..240).map(|_| 6.0 * draw()).collect();
        GrayImage::from_fn(400, 240, |x, y| {
            let (u, v) = (
                f64::from(x) / PX_PER_MM - 20.0,
                f64::from(y) / PX_PER_MM - 12.0,
            );
            let level = 180.0 + grain[y as usize] + 8.0 * draw();
            Luma([(level * (1.0 - dark(u, v))) as u8])
        })
    }

    #[test]
    fn a_faint_dot_is_unsure_and_a_faint_scratch_a_shadow_and_bare_metal_are_not() {
        let dot = |share: f64| {
            move |u: f64, v: f64| share * (-(u * u + v * v) / (2.0 * 0.25f64.powi(2))).exp()
        };
        let read = flat::read(&face(dot(0.13)), PX_PER_MM);
        let at: Vec<_> = read.unsure.iter().map(|u| (u.at.x, u.at.y)).collect();
        assert_eq!(at.len(), 1, "{at:?}");
        assert!((at[0].0 - 200.0).hypot(at[0].1 - 120.0) < 3.0, "{at:?}");
        let scratch = |u: f64, v: f64| {
            if u.abs() < 6.0 {
                0.1 * (-v * v / (2.0 * 0.15f64.powi(2))).exp()
            } else {
                0.0
            }
        };
        let shadow = |u: f64, _: f64| if u > 0.0 { 0.3 } else { 0.0 };
        for bare in [face(|_, _| 0.0), face(scratch), face(shadow)] {
            let read = flat::read(&bare, PX_PER_MM);
            assert!(
                read.unsure.is_empty() && read.marks.is_empty(),
                "{:?}",
                read.unsure
            );
        }
    }
}
