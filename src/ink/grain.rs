//! Grain: the long streaks that rolling and brushing leave on a metal's face, and gloss that follows them, taken off.
//!
//! A streak is as dark as pale ink and as narrow as a pen's stroke, but it goes on along the grain for further than any mark is
//! long. So the face is compared with itself along one direction: the one in which what is darker than its surroundings
//! stays so for the longest way. Where there is such a direction, each place's own streak is the median along it, over a way
//! that a mark fills less than half of, and is divided out. Ruled lines go on as far as streaks do and are left alone; and no
//! more is taken off than streaks of this face vary by, so that a long dark stroke along the grain stays.

use image::GrayImage;
use nalgebra::Vector2;
use rayon::prelude::*;

use super::grid::{Grid, Surface};
use super::lines::Line;

/// Side of a cell of the face's level, mm: streaks are narrower.
const LEVEL_MM: f64 = 2.5;
/// Streaks are looked for over these ways, mm: the first gives the direction roughly, the second finely.
const FIRST_MM: f64 = 3.0;
const THEN_MM: f64 = 6.0;
/// Steps of direction, rad: a streak of 0.15 mm is left within 3 mm at the first of these, within 6 mm at the second.
const FIRST_STEP: f64 = 0.026;
const THEN_STEP: f64 = 0.006;
/// From this correlation on, of the face with itself 3 mm on, there is grain: a third of what varies goes on, where of noise alone
/// nothing does.
const GRAIN: f64 = 0.35;
/// Places at which that is measured, a millimetre and a half apart.
const SAMPLE_MM: f64 = 1.5;
/// What differs by more from its surroundings is ink, or a lamp's mirror image, and has no say, as a share of the level.
const INK: f32 = 0.2;
/// Nor has what is left more say than so many times the usual size of it.
const SPREADS: f32 = 2.5;
/// A streak is measured by steps of this length along it, mm, over so many to each side: marks are shorter than half of that.
const STEP_MM: f64 = 1.0;
const STEPS: usize = 7;
/// So many of the steps must be known.
const KNOWN: usize = 6;
/// No more than so many standard deviations of the face's streaks is taken off.
const MOST: f32 = 3.0;
/// Ruled lines that lean less than this to the grain, as a sine, are kept out of it.
const ALONG: f64 = 0.2;
/// And this much beside them, mm.
const CLEAR_MM: f64 = 0.15;

/// The picture without its grain; `None` where the face has none.
pub(super) fn without(flat: &GrayImage, px_per_mm: f64, lines: &[Line]) -> Option<GrayImage> {
    let face = Face::of(flat, px_per_mm);
    let along = face.direction(px_per_mm, lines)?;
    let alike: Vec<&Line> = (lines.iter())
        .filter(|l| l.along.perp(&along).abs() < ALONG)
        .collect();
    let streaks = Streaks::of(&face, along, px_per_mm, &alike);
    let (w, h) = (flat.width() as usize, flat.height() as usize);
    let mut out = vec![0u8; w * h];
    out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
        for (x, out) in row.iter_mut().enumerate() {
            let v = flat.as_raw()[y * w + x];
            if v > 0 {
                let level = streaks.at(x as f64 + 0.5, y as f64 + 0.5);
                *out = (f32::from(v) / level).round().clamp(1.0, 255.0) as u8;
            }
        }
    });
    GrayImage::from_raw(flat.width(), flat.height(), out)
}

/// The face over its own level.
struct Face<'a> {
    flat: &'a GrayImage,
    level: Surface,
}

impl<'a> Face<'a> {
    fn of(flat: &'a GrayImage, px_per_mm: f64) -> Self {
        let (w, h) = (flat.width() as usize, flat.height() as usize);
        let cell = ((LEVEL_MM * px_per_mm) as usize).max(4);
        let (columns, rows) = (w.div_ceil(cell).max(1), h.div_ceil(cell).max(1));
        // The median: ink, of which a cell has little, has no say.
        let level = |i: usize| {
            let (x0, y0) = (i % columns * cell, i / columns * cell);
            let mut histogram = [0u32; 256];
            for y in y0..(y0 + cell).min(h) {
                for &v in &flat.as_raw()[y * w + x0..y * w + (x0 + cell).min(w)] {
                    histogram[usize::from(v)] += 1;
                }
            }
            let half = histogram[1..].iter().sum::<u32>() / 2;
            let mut below = 0;
            let middle = (1..256).find(|&v| {
                below += histogram[v];
                below > half
            });
            middle.unwrap_or(0) as f32
        };
        let values = (0..columns * rows).into_par_iter().map(level).collect();
        let grid = Grid {
            cell,
            columns,
            rows,
            values,
        };
        Self {
            flat,
            level: Surface::at_pixels(grid, 0..w, 0..h),
        }
    }

    /// A pixel over the level round about, less one; `None` outside, and of what is no bare metal.
    fn over(&self, x: f64, y: f64) -> Option<f32> {
        if x < 0.0 || y < 0.0 {
            return None;
        }
        let (x, y) = (x as usize, y as usize);
        let (w, h) = (self.flat.width() as usize, self.flat.height() as usize);
        if x >= w || y >= h {
            return None;
        }
        let v = self.flat.as_raw()[y * w + x];
        let over = f32::from(v) / self.level.at(x, y).max(1.0) - 1.0;
        (v > 0 && over.abs() < INK).then_some(over)
    }

    /// The mean over a step centred on (x, y); `None` where less than half of it is known.
    fn step(&self, at: Vector2<f64>, along: Vector2<f64>, half: i32) -> Option<f32> {
        let places = (-half..=half).map(|s| at + along * f64::from(s));
        let known: Vec<f32> = places.filter_map(|p| self.over(p.x, p.y)).collect();
        (known.len() as i32 > half).then(|| known.iter().sum::<f32>() / known.len() as f32)
    }

    /// The direction of the grain.
    fn direction(&self, px_per_mm: f64, lines: &[Line]) -> Option<Vector2<f64>> {
        let by = (SAMPLE_MM * px_per_mm).max(2.0);
        let counts = [self.flat.width(), self.flat.height()].map(|n| (f64::from(n) / by) as usize);
        let clear = |p: &Vector2<f64>| !lines.iter().any(|l| l.is_under(*p, 0.3 * px_per_mm));
        let samples: Vec<Vector2<f64>> = (0..counts[0] * counts[1])
            .map(|i| {
                let (column, row) = (i % counts[0], i / counts[0]);
                // Every second row half a step further on: no direction has all samples in line.
                let shift = 0.25 + 0.5 * (row % 2) as f64;
                Vector2::new((column as f64 + shift) * by, (row as f64 + 0.5) * by)
            })
            .filter(clear)
            .collect();
        let half = (0.2 * px_per_mm).round() as i32;
        // Nothing has more say than the face's own spread: what is left of ink, and the rims of it, would speak for its direction.
        let mut sizes: Vec<f32> = (samples.iter())
            .filter_map(|p| self.over(p.x, p.y))
            .map(f32::abs)
            .collect();
        if sizes.is_empty() {
            return None;
        }
        let middle = sizes.len() / 2;
        let most = SPREADS * *sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
        let at = |p, along| {
            let over = self.step(p, along, half)?;
            Some(f64::from(over.clamp(-most, most)))
        };
        let goes_on = |angle: f64, way_mm: f64| {
            let along = Vector2::new(angle.cos(), angle.sin());
            let pairs = samples
                .iter()
                .filter_map(|&p| Some((at(p, along)?, at(p + along * way_mm * px_per_mm, along)?)));
            let sums = pairs.fold([0.0f64; 3], |s, (a, b)| {
                [s[0] + a * b, s[1] + a * a, s[2] + b * b]
            });
            sums[0] / (sums[1] * sums[2]).sqrt().max(1e-12)
        };
        let best = |angles: Vec<f64>, way_mm: f64| {
            let tried = angles.into_par_iter().map(|a| (goes_on(a, way_mm), a));
            tried.max_by(|a, b| a.0.total_cmp(&b.0))
        };
        let all = (std::f64::consts::PI / FIRST_STEP) as i32;
        let (likeness, rough) = best(
            (0..all).map(|i| f64::from(i) * FIRST_STEP).collect(),
            FIRST_MM,
        )?;
        if likeness < GRAIN {
            return None;
        }
        let near = (-5..=5).map(|i| rough + f64::from(i) * THEN_STEP);
        let (_, angle) = best(near.collect(), THEN_MM)?;
        Some(Vector2::new(angle.cos(), angle.sin()))
    }
}

/// How bright each place's own streak is, over the face's level.
struct Streaks {
    origin: Vector2<f64>,
    along: Vector2<f64>,
    /// Steps along, each so many px long, and lines across, a px apart.
    step: f64,
    columns: usize,
    rows: usize,
    values: Vec<f32>,
}

impl Streaks {
    fn of(face: &Face, along: Vector2<f64>, px_per_mm: f64, lines: &[&Line]) -> Self {
        let (w, h) = (f64::from(face.flat.width()), f64::from(face.flat.height()));
        let side = Vector2::new(-along.y, along.x);
        let corners = [[0.0, 0.0], [w, 0.0], [0.0, h], [w, h]].map(|[x, y]| Vector2::new(x, y));
        let least = |way: Vector2<f64>| {
            corners
                .map(|c| c.dot(&way))
                .into_iter()
                .fold(f64::MAX, f64::min)
        };
        let most = |way: Vector2<f64>| {
            corners
                .map(|c| c.dot(&way))
                .into_iter()
                .fold(f64::MIN, f64::max)
        };
        let step = (STEP_MM * px_per_mm).max(1.0);
        let columns = ((most(along) - least(along)) / step).ceil() as usize + 1;
        let rows = (most(side) - least(side)).ceil() as usize + 1;
        let origin = along * least(along) + side * least(side);
        let half = (step / 2.0) as i32;
        let mut steps = vec![f32::NAN; columns * rows];
        steps
            .par_chunks_mut(columns)
            .enumerate()
            .for_each(|(row, out)| {
                for (column, out) in out.iter_mut().enumerate() {
                    let p = origin + along * (column as f64 * step) + side * (row as f64 + 0.5);
                    // Beyond its ends as well: a pale line may go on where it was not found.
                    let on_line = || {
                        let near = |l: &&Line| l.local(p).1.abs() < l.half + CLEAR_MM * px_per_mm;
                        lines.iter().any(near)
                    };
                    let inside = p.x > -step && p.y > -step && p.x < w + step && p.y < h + step;
                    if inside && !on_line() {
                        *out = face.step(p, along, half).unwrap_or(f32::NAN);
                    }
                }
            });
        let mut values = vec![0.0f32; columns * rows];
        values
            .par_chunks_mut(columns)
            .zip(steps.par_chunks(columns))
            .for_each(|(out, steps)| {
                let mut near = Vec::with_capacity(2 * STEPS + 1);
                for (i, out) in out.iter_mut().enumerate() {
                    near.clear();
                    let around = &steps[i.saturating_sub(STEPS)..(i + STEPS + 1).min(columns)];
                    near.extend(around.iter().copied().filter(|v| !v.is_nan()));
                    if !steps[i].is_nan() && near.len() >= KNOWN {
                        let middle = near.len() / 2;
                        *out = *near.select_nth_unstable_by(middle, f32::total_cmp).1;
                    }
                }
            });
        // What of a face with hardly any streaks is found is its ink, and no more of that is taken off than they vary.
        let mut sizes: Vec<f32> = (values.iter().step_by(7))
            .map(|v| v.abs())
            .filter(|v| *v > 0.0)
            .collect();
        if !sizes.is_empty() {
            let middle = sizes.len() / 2;
            let usual = 1.4826 * *sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
            for v in &mut values {
                *v = v.clamp(-MOST * usual, MOST * usual);
            }
        }
        Self {
            origin,
            along,
            step,
            columns,
            rows,
            values,
        }
    }

    /// At a place of the picture, px: 1 where nothing is known.
    fn at(&self, x: f64, y: f64) -> f32 {
        let d = Vector2::new(x, y) - self.origin;
        let s = (d.dot(&self.along) / self.step).max(0.0);
        let row = (self.along.perp(&d).max(0.0) as usize).min(self.rows - 1);
        let column = (s as usize).min(self.columns.saturating_sub(2));
        let share = (s - column as f64).clamp(0.0, 1.0) as f32;
        let at = |c: usize| self.values[row * self.columns + c.min(self.columns - 1)];
        1.0 + (1.0 - share) * at(column) + share * at(column + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PX_PER_MM: f64 = 10.0;

    /// A number between -1 and 1 that nothing else depends on.
    fn chance(seed: u32) -> f64 {
        let v = seed.wrapping_mul(0x9e37_79b1) ^ 0x68bc_21eb;
        let v = (v ^ (v >> 15)).wrapping_mul(0x85eb_ca77);
        let v = (v ^ (v >> 13)).wrapping_mul(0xc2b2_ae3d);
        f64::from((v ^ (v >> 16)) & 0xffff) / 32767.5 - 1.0
    }

    /// 80 mm by 30 mm of metal, its streaks so strong, along x, with noise, and `ink` drawn on it.
    fn face(streaks: f64, ink: impl Fn(f64, f64) -> bool) -> GrayImage {
        GrayImage::from_fn(800, 300, |x, y| {
            let streak = streaks * chance(y);
            let noise = 2.0 * chance(1000 + 800 * y + x);
            let inked = ink(f64::from(x) / PX_PER_MM, f64::from(y) / PX_PER_MM);
            let level = 180.0 + streak + noise - if inked { 60.0 } else { 0.0 };
            image::Luma([level.round() as u8])
        })
    }

    fn spread(image: &GrayImage) -> f64 {
        let values: Vec<f64> = image.pixels().map(|p| f64::from(p.0[0])).collect();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt()
    }

    #[test]
    fn streaks_are_taken_off_and_marks_are_left() {
        let dot = |x: f64, y: f64| (x - 40.0).hypot(y - 15.0) < 0.3;
        let tick = |x: f64, y: f64| (x - 20.0).abs() < 0.2 && (y - 15.0).abs() < 2.0;
        // As long as a cross-out's arm, along the grain.
        let strike = |x: f64, y: f64| (y - 22.0).abs() < 0.2 && (x - 60.0).abs() < 3.0;
        let flat = face(20.0, |x, y| dot(x, y) || tick(x, y) || strike(x, y));
        let smooth = without(&flat, PX_PER_MM, &[]).expect("there is grain");
        assert!(
            spread(&flat) > 11.0 && spread(&smooth) < 6.5,
            "{}",
            spread(&smooth)
        );
        let level = |x: u32, y: u32| f64::from(smooth.get_pixel(x, y).0[0]);
        // Of the strike as much is taken as streaks vary by.
        for (x, y, least) in [(400, 150, 50.0), (200, 140, 50.0), (600, 220, 30.0)] {
            let beside = level(x + 40, y);
            assert!(
                beside - level(x, y) > least,
                "{x} {y}: {beside} {}",
                level(x, y)
            );
        }
    }

    #[test]
    fn a_face_without_streaks_is_left_as_it_is() {
        let bare = face(0.0, |_, _| false);
        assert!(without(&bare, PX_PER_MM, &[]).is_none());
        // Strokes that all run one way are no grain.
        let ruled = face(0.0, |x, y| y % 5.0 < 0.4 && x > 3.0 && x < 77.0);
        assert!(without(&ruled, PX_PER_MM, &[]).is_none());
    }
}
