//! Things that lie on the face: paper, tape, tools, scraps, of whatever brightness.
//!
//! A thing has a rim, where the light changes within a millimetre, and the rim closes round it or runs off the sheet; light and
//! the metal's texture change slowly, or along lines that end somewhere. So cells where the level steps are taken out, and
//! what no longer hangs together with the face, and differs from it at its rim, is a thing. How much of a step counts is told by
//! the steps that this face has everywhere (a-contrario, after Desolneux, Moisan and Morel, "Meaningful alignments", 2000, from
//! memory).

use super::grid::Grid;
use crate::raster::components::components;

/// A step is taken over so many cells of the level's grid to each side, about a millimetre in all.
const REACH: usize = 2;
/// Steps beyond so many times their own median magnitude are no texture: of normal ones 1 in 50 000 is.
const OVER_TEXTURE: f64 = 6.0;
/// And at least this share of the level: paper on pale metal differs by more.
const LEAST: f64 = 0.045;
/// Smaller things hide no place, mm²; what they are of ink is read as such.
const SMALLEST_MM2: f64 = 9.0;
/// Of the cells round a thing so many as a share must differ from it by a step.
const CLOSED: f64 = 0.6;

/// Which cells of the level's grid are covered. `level`: bare level with narrow dark things taken off; 0 where nothing is known.
pub(super) fn find(level: &Grid, px_per_mm: f64) -> Vec<bool> {
    let (w, h) = (level.columns, level.rows);
    let logs: Vec<f32> = level
        .values
        .iter()
        .map(|&v| if v > 0.0 { v.ln() } else { f32::NAN })
        .collect();
    let step = |x: usize, y: usize| -> f32 {
        let at = |dx: isize, dy: isize| {
            let (x, y) = (x.checked_add_signed(dx), y.checked_add_signed(dy));
            match (x, y) {
                (Some(x), Some(y)) if x < w && y < h => logs[y * w + x],
                _ => f32::NAN,
            }
        };
        let r = REACH as isize;
        // Beside what is unknown there is nothing to compare with: no step.
        let across = at(r, 0) - at(-r, 0);
        let down = at(0, r) - at(0, -r);
        [across, down]
            .iter()
            .filter(|v| v.is_finite())
            .fold(0.0f32, |a, v| a.max(v.abs()))
    };
    let steps: Vec<f32> = (0..w * h).map(|i| step(i % w, i / w)).collect();
    let mut known: Vec<f32> = (0..w * h)
        .filter(|&i| logs[i].is_finite())
        .map(|i| steps[i])
        .collect();
    if known.is_empty() {
        return vec![false; w * h];
    }
    let middle = known.len() / 2;
    let usual = f64::from(*known.select_nth_unstable_by(middle, f32::total_cmp).1);
    let threshold = (OVER_TEXTURE * usual).max(LEAST) as f32;
    // 0: unknown; 1: even; 2: a step.
    let mask: Vec<u8> = (0..w * h)
        .map(|i| match (logs[i].is_finite(), steps[i] > threshold) {
            (false, _) => 0,
            (true, false) => 1,
            (true, true) => 2,
        })
        .collect();
    let mut regions = components(&mask, w, 1, |v| v == 1);
    regions.sort_by_key(|r| std::cmp::Reverse(r.area));
    let mut of = vec![usize::MAX; w * h];
    for (k, region) in regions.iter().enumerate() {
        for run in &region.runs {
            for x in run.start..run.end {
                of[run.y as usize * w + x as usize] = k;
            }
        }
    }
    let mut covered = vec![false; w * h];
    let cell_mm2 = (level.cell as f64 / px_per_mm).powi(2);
    for (k, region) in regions.iter().enumerate().skip(1) {
        if (region.area as f64) * cell_mm2 < SMALLEST_MM2 {
            continue;
        }
        if stands_apart(&logs, &of, [w, h], k, threshold) {
            for i in (0..w * h).filter(|&i| of[i] == k) {
                covered[i] = true;
            }
        }
    }
    // The rims belong to the things.
    grown(&covered, [w, h], REACH + 1, |i| mask[i] == 2)
}

/// Whether most of what lies just beyond region `k`'s rim differs from it by a step.
fn stands_apart(logs: &[f32], of: &[usize], [w, h]: [usize; 2], k: usize, threshold: f32) -> bool {
    let beyond = 2 * REACH as isize + 1;
    let (mut rim, mut apart) = (0usize, 0usize);
    for i in (0..w * h).filter(|&i| of[i] == k) {
        let (x, y) = (i % w, i / w);
        for (dx, dy) in [(1isize, 0isize), (-1, 0), (0, 1), (0, -1)] {
            let there = |n: isize| {
                let (x, y) = (x.checked_add_signed(n * dx)?, y.checked_add_signed(n * dy)?);
                (x < w && y < h).then_some(y * w + x)
            };
            let Some(next) = there(1) else { continue };
            if of[next] == k || !logs[next].is_finite() {
                continue;
            }
            let Some(far) = there(beyond) else { continue };
            if of[far] == k || !logs[far].is_finite() {
                continue;
            }
            rim += 1;
            apart += usize::from((logs[far] - logs[i]).abs() > threshold);
        }
    }
    rim > 0 && apart as f64 > CLOSED * rim as f64
}

/// The cells within `reach` of those given for which `may`.
fn grown(
    cells: &[bool],
    [w, h]: [usize; 2],
    reach: usize,
    may: impl Fn(usize) -> bool,
) -> Vec<bool> {
    let mut out = cells.to_vec();
    for i in (0..w * h).filter(|&i| cells[i]) {
        let (x, y) = (i % w, i / w);
        for v in y.saturating_sub(reach)..(y + reach + 1).min(h) {
            for u in x.saturating_sub(reach)..(x + reach + 1).min(w) {
                out[v * w + u] |= may(v * w + u);
            }
        }
    }
    out
}
