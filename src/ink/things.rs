//! Things that lie on the sheet: much darker than the metal, and too wide for a pen.

use rayon::prelude::*;

use super::grid::{Grid, median};
use crate::raster::components::components;

/// A level this far below its surroundings is a thing that lies there, not a shadow: behind a hand or a
/// phone a quarter of the light is left as a rule, encoded about a half.
const THING: f64 = 0.45;
/// Half the neighbourhood that a large thing is held against, cells (30 mm): a hand's edge, a phone's, a tool.
const WIDE_REACH: usize = 12;
/// Below this share of the face's level (its upper quartile) nothing is bare metal in whatever light: 7 % of the light.
const FAR_BELOW: f64 = 0.30;
const FACE_SHARE: f64 = 0.75;
/// Things up to this size may be meant as marks, mm.
const SPOT_MM: f64 = 14.0;

/// Median level of a wide neighbourhood of each `asked` cell; every third cell stands for its neighbours.
fn wide_level(around: &Grid, asked: &[bool]) -> Vec<f32> {
    let (columns, rows) = (around.columns, around.rows);
    asked
        .par_iter()
        .enumerate()
        .map(|(i, asked)| {
            if !asked {
                return 0.0;
            }
            let range = |p: usize, n: usize| {
                (p.saturating_sub(WIDE_REACH)..(p + WIDE_REACH + 1).min(n)).step_by(3)
            };
            let xs = range(i % columns, columns);
            median(range(i / columns, rows).flat_map(|y| {
                xs.clone()
                    .map(move |x| around.values[y * columns + x])
                    .filter(|v| *v > 0.0)
            }))
        })
        .collect()
}

/// The value below which this share of the known ones lies.
fn quantile(values: &[f32], share: f64) -> f32 {
    let mut v: Vec<f32> = values.iter().copied().filter(|v| *v > 0.0).collect();
    let i = (share * v.len() as f64) as usize;
    if i >= v.len() {
        return 0.0;
    }
    *v.select_nth_unstable_by(i, f32::total_cmp).1
}

/// Things much darker than their surroundings and too wide for a pen. Small ones are returned; what large
/// ones cover is `hidden`.
pub(super) fn find(
    level: &Grid,
    around: &Grid,
    px_per_mm: f64,
    mut hidden: impl FnMut(f64, f64),
) -> Vec<(f64, f64, f64)> {
    let cell = level.cell as f64;
    let middle = |i: usize| {
        (
            (i % level.columns) as f64 * cell + cell / 2.0,
            (i / level.columns) as f64 * cell + cell / 2.0,
        )
    };
    let face = FAR_BELOW * f64::from(quantile(&around.values, FACE_SHARE));
    // Only what is dark beside the brightest part of the face may be dark beside its own surroundings.
    let brightest = around.values.iter().copied().fold(0.0, f32::max);
    let dark = (THING * f64::from(brightest)).max(face);
    let dark: Vec<(usize, Option<usize>)> = (0..level.values.len())
        .filter(|&i| level.values[i] > 0.0 && f64::from(level.values[i]) < dark)
        .map(|i| {
            let (x, y) = middle(i);
            (i, around.cell_at(x, y))
        })
        .collect();
    let mut asked = vec![false; around.values.len()];
    for j in dark.iter().filter_map(|(_, around)| *around) {
        asked[j] = true;
    }
    let wide = wide_level(around, &asked);
    let mut mask = vec![0u8; level.values.len()];
    for (i, j) in dark {
        // In the middle of a large thing the next surroundings are the thing itself.
        let bare = j.map_or(0.0, |j| around.values[j].max(wide[j]));
        mask[i] = u8::from(f64::from(level.values[i]) < (THING * f64::from(bare)).max(face));
    }
    let mut spots = Vec::new();
    for c in components(&mask, level.columns, 4, |v| v == 1) {
        let size = f64::from(c.width().max(c.height())) * cell;
        if size < SPOT_MM * px_per_mm {
            let x = f64::from(c.bounds[0] + c.bounds[2]) / 2.0 * cell;
            let y = f64::from(c.bounds[1] + c.bounds[3]) / 2.0 * cell;
            spots.push((x, y, size));
        } else {
            for run in &c.runs {
                for column in run.start..run.end {
                    hidden(
                        (f64::from(column) + 0.5) * cell,
                        (f64::from(run.y) + 0.5) * cell,
                    );
                }
            }
        }
    }
    spots
}
