//! Connected pixels of a mask, as runs.

use rayon::prelude::*;

/// A horizontal run of pixels: `start..end` in row `y`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Run {
    /// Row.
    pub y: u32,
    /// First pixel.
    pub start: u32,
    /// One past the last pixel.
    pub end: u32,
}

/// Pixels that touch one another by sides or corners.
#[derive(Debug, Clone)]
pub struct Component {
    /// The pixels, row by row from the top, left to right.
    pub runs: Vec<Run>,
    /// Number of pixels.
    pub area: usize,
    /// Smallest x, smallest y, one past the largest x, one past the largest y.
    pub bounds: [u32; 4],
}

impl Component {
    /// Width of the bounds, px.
    #[must_use]
    pub fn width(&self) -> u32 {
        self.bounds[2] - self.bounds[0]
    }

    /// Height of the bounds, px.
    #[must_use]
    pub fn height(&self) -> u32 {
        self.bounds[3] - self.bounds[1]
    }
}

/// The components of at least `min_area` pixels among the pixels of `mask` for which `wanted` holds,
/// in the order of their first pixel from the top left. `mask` has `width` bytes a row.
#[must_use]
pub fn components(
    mask: &[u8],
    width: usize,
    min_area: usize,
    wanted: impl Fn(u8) -> bool + Sync,
) -> Vec<Component> {
    // Most of a mask is empty: the rows are looked through side by side, and their runs joined afterwards.
    let rows: Vec<Vec<Run>> = mask
        .par_chunks_exact(width.max(1))
        .enumerate()
        .map(|(y, row)| runs_of(row, y as u32, &wanted))
        .collect();
    let mut runs: Vec<Run> = Vec::with_capacity(rows.iter().map(Vec::len).sum());
    let mut parent: Vec<u32> = Vec::with_capacity(runs.capacity());
    let mut above = 0..0;
    for row in rows {
        let first = runs.len();
        let mut touching = above.start;
        for run in row {
            let id = runs.len() as u32;
            parent.push(id);
            // Runs of the row above that end left of this one cannot touch any later one.
            while touching < above.end && runs[touching].end < run.start {
                touching += 1;
            }
            let mut other = touching;
            while other < above.end && runs[other].start <= run.end {
                join(&mut parent, other as u32, id);
                other += 1;
            }
            runs.push(run);
        }
        above = first..runs.len();
    }
    gather(&runs, &mut parent, min_area)
}

fn runs_of(row: &[u8], y: u32, wanted: impl Fn(u8) -> bool) -> Vec<Run> {
    // Empty stretches are passed over many pixels at a time.
    const BLOCK: usize = 64;
    let is_empty = |block: &&[u8]| !block.iter().fold(false, |any, &v| any | wanted(v));
    let first_of = |row: &[u8]| {
        let empty = BLOCK * row.chunks(BLOCK).take_while(is_empty).count();
        let within = row.get(empty..)?.iter().position(|&v| wanted(v))?;
        Some(empty + within)
    };
    let mut runs = Vec::new();
    let mut x = 0;
    while let Some(skip) = first_of(&row[x..]) {
        let start = x + skip;
        let length = row[start..].iter().position(|&v| !wanted(v));
        x = length.map_or(row.len(), |n| start + n);
        runs.push(Run {
            y,
            start: start as u32,
            end: x as u32,
        });
    }
    runs
}

fn root(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        let up = parent[parent[i as usize] as usize];
        parent[i as usize] = up;
        i = up;
    }
    i
}

/// The earlier root stays root, so that a component keeps the order of its first pixel.
fn join(parent: &mut [u32], a: u32, b: u32) {
    let (a, b) = (root(parent, a), root(parent, b));
    let (low, high) = (a.min(b), a.max(b));
    parent[high as usize] = low;
}

fn gather(runs: &[Run], parent: &mut [u32], min_area: usize) -> Vec<Component> {
    let mut area = vec![0usize; runs.len()];
    for (i, run) in runs.iter().enumerate() {
        area[root(parent, i as u32) as usize] += (run.end - run.start) as usize;
    }
    let mut slot = vec![usize::MAX; runs.len()];
    let mut out: Vec<Component> = Vec::new();
    for (i, run) in runs.iter().enumerate() {
        let r = root(parent, i as u32) as usize;
        if area[r] < min_area {
            continue;
        }
        if slot[r] == usize::MAX {
            slot[r] = out.len();
            out.push(Component {
                runs: Vec::new(),
                area: area[r],
                bounds: [u32::MAX, u32::MAX, 0, 0],
            });
        }
        let c = &mut out[slot[r]];
        let b = &mut c.bounds;
        *b = [
            b[0].min(run.start),
            b[1].min(run.y),
            b[2].max(run.end),
            b[3].max(run.y + 1),
        ];
        c.runs.push(*run);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mask(rows: &[&str]) -> Vec<u8> {
        rows.concat().bytes().map(|b| u8::from(b == b'#')).collect()
    }

    #[test]
    fn shapes_that_meet_late_are_one() {
        let m = mask(&["#..#..#", "#..#...", "#.##..#", ".#....#"]);
        let found = components(&m, 7, 1, |v| v == 1);
        let areas: Vec<usize> = found.iter().map(|c| c.area).collect();
        assert_eq!(areas, [8, 1, 2]);
        assert_eq!(found[0].bounds, [0, 0, 4, 4]);
        assert_eq!(found[2].bounds, [6, 2, 7, 4]);
    }

    #[test]
    fn runs_are_found_wherever_they_start_and_end() {
        let runs = [
            (0, 1),
            (63, 65),
            (130, 190),
            (191, 192),
            (255, 256),
            (390, 400),
        ];
        let mut row = [0u8; 400];
        for (start, end) in runs {
            row[start..end].fill(1);
        }
        let found = components(&row, 400, 1, |v| v == 1);
        let found: Vec<_> = found
            .iter()
            .map(|c| (c.bounds[0] as usize, c.bounds[2] as usize))
            .collect();
        assert_eq!(found, runs);
    }

    #[test]
    fn small_ones_are_left_out() {
        let m = mask(&["#.##", "...."]);
        assert_eq!(components(&m, 4, 2, |v| v == 1).len(), 1);
    }
}
