//! Values on a grid over the flat picture, and what lies between them.

use rayon::prelude::*;

/// Values on a grid of square cells over the picture.
#[derive(Debug, Clone)]
pub(super) struct Grid {
    /// Side of a cell, px.
    pub(super) cell: usize,
    pub(super) columns: usize,
    pub(super) rows: usize,
    /// `row * columns + column`; 0 where nothing is known.
    pub(super) values: Vec<f32>,
}

impl Grid {
    pub(super) fn cell_at(&self, x: f64, y: f64) -> Option<usize> {
        let (column, row) = (
            (x / self.cell as f64).floor(),
            (y / self.cell as f64).floor(),
        );
        let inside =
            column >= 0.0 && row >= 0.0 && column < self.columns as f64 && row < self.rows as f64;
        inside.then(|| row as usize * self.columns + column as usize)
    }

    /// The cells within `reach` of cell `i`, itself included.
    pub(super) fn neighbours(&self, i: usize, reach: usize) -> impl Iterator<Item = usize> + use<> {
        let (column, row, columns, rows) =
            (i % self.columns, i / self.columns, self.columns, self.rows);
        let xs = column.saturating_sub(reach)..(column + reach + 1).min(columns);
        (row.saturating_sub(reach)..(row + reach + 1).min(rows))
            .flat_map(move |y| xs.clone().map(move |x| y * columns + x))
    }

    /// Largest (or smallest) known value within `reach` cells, one direction after the other.
    pub(super) fn extreme(&self, reach: usize, largest: bool) -> Self {
        let w = self.columns;
        // What is not known has no say.
        let nothing = if largest { 0.0 } else { f32::MAX };
        let take = |out: &mut [f32], from: &[f32]| {
            for (o, &v) in out.iter_mut().zip(from) {
                *o = if (v > *o) == largest { v } else { *o };
            }
        };
        let known = |v: &f32| if *v > 0.0 { *v } else { nothing };
        let mut across = vec![nothing; self.values.len()];
        across
            .par_chunks_mut(w)
            .zip(self.values.par_chunks(w))
            .for_each(|(out, row)| {
                let row: Vec<f32> = row.iter().map(known).collect();
                for by in 0..=reach.min(w - 1) {
                    take(out, &row[by..]);
                    take(&mut out[by..], &row);
                }
            });
        let mut values = vec![nothing; self.values.len()];
        values.par_chunks_mut(w).enumerate().for_each(|(y, out)| {
            for near in across
                .chunks(w)
                .take(y + reach + 1)
                .skip(y.saturating_sub(reach))
            {
                take(out, near);
            }
            for v in out {
                *v = if *v == f32::MAX { 0.0 } else { *v };
            }
        });
        Self { values, ..*self }
    }
}

/// A grid's value at each of many places, interpolated between the middles of the cells. What that takes of a column and of
/// a row is worked out once.
#[derive(Debug, Clone)]
pub(super) struct Surface {
    pub(super) grid: Grid,
    across: Vec<Between>,
    down: Vec<Between>,
}

/// A place between the middles of two cells: how far along the grid's values the one before and the one after it lie, and
/// the share of that.
#[derive(Debug, Clone, Copy)]
struct Between {
    before: usize,
    after: usize,
    share: f32,
}

impl Between {
    /// A pixel's place among `cells` of side `cell`, which lie `stride` values apart.
    fn of(position: usize, cell: usize, cells: usize, stride: usize) -> Self {
        let t = ((position as f32 + 0.5) / cell as f32 - 0.5).clamp(0.0, (cells - 1) as f32);
        let before = (t as usize).min(cells.saturating_sub(2));
        Self {
            before: before * stride,
            after: (before + 1).min(cells - 1) * stride,
            share: t - before as f32,
        }
    }
}

impl Surface {
    /// At the crossings of these columns and rows of pixels.
    pub(super) fn at_pixels(
        grid: Grid,
        columns: impl Iterator<Item = usize>,
        rows: impl Iterator<Item = usize>,
    ) -> Self {
        let across = columns.map(|x| Between::of(x, grid.cell, grid.columns, 1));
        let down = rows.map(|y| Between::of(y, grid.cell, grid.rows, grid.columns));
        let (across, down) = (across.collect(), down.collect());
        Self { grid, across, down }
    }

    /// The value at the crossing of the `x`th column and the `y`th row.
    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        let (x, y) = (self.across[x], self.down[y]);
        let values = &self.grid.values;
        let down = |c: usize| mix(values[y.before + c], values[y.after + c], y.share);
        mix(down(x.before), down(x.after), x.share)
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

/// The middle one of some values, the upper of two; 0 of none.
pub(super) fn median(values: impl Iterator<Item = f32>) -> f32 {
    // Neighbours come without saying how many: they are few.
    let mut v: Vec<f32> = Vec::with_capacity(32);
    v.extend(values);
    let middle = v.len() / 2;
    if v.is_empty() {
        return 0.0;
    }
    *v.select_nth_unstable_by(middle, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(values: Vec<f32>) -> Grid {
        Grid {
            cell: 4,
            columns: 3,
            rows: 2,
            values,
        }
    }

    #[test]
    fn a_surface_goes_straight_between_the_cells_middles_and_not_through_what_is_unknown() {
        let grid = grid(vec![10.0, 20.0, 0.0, 30.0, 40.0, 0.0]);
        let surface = Surface::at_pixels(grid, [0, 1, 2, 3, 7, 11].into_iter(), 0..8);
        // Middles lie at 2, 6 and 10 px, on the edges between pixels.
        let top: Vec<f32> = (0..6).map(|x| surface.at(x, 0)).collect();
        assert_eq!(top, [10.0, 10.0, 11.25, 13.75, 20.0, 20.0]);
        assert_eq!(surface.at(0, 2), 12.5);
        assert_eq!(surface.at(0, 7), 30.0);
    }

    #[test]
    fn extremes_pass_over_what_is_unknown() {
        let grid = grid(vec![5.0, 0.0, 7.0, 0.0, 0.0, 3.0]);
        assert_eq!(grid.extreme(1, true).values, [5.0, 7.0, 7.0, 5.0, 7.0, 7.0]);
        assert_eq!(
            grid.extreme(1, false).values,
            [5.0, 3.0, 3.0, 5.0, 3.0, 3.0]
        );
        let nothing = Grid {
            values: vec![0.0; 6],
            ..grid
        };
        assert_eq!(nothing.extreme(2, false).values, [0.0; 6]);
    }
}
