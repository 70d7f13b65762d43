//! Outlines of the patches that the photo does not show.

use crate::frame::{Point, Sheet};
use crate::ink::Seen;
use crate::plan::Plan;

/// A corner of the cell grid, in cells.
type Corner = (usize, usize);

/// One connected patch of unseen cells.
pub(super) struct Patch {
    /// Closed outlines, mm, last point not repeated: the outer one first and anticlockwise, then
    /// those of islands that were seen, clockwise.
    pub(super) loops: Vec<Vec<Point<Sheet>>>,
    /// Area, mm².
    pub(super) area_mm2: f64,
    /// Middle of the cell deepest inside, mm: a place for its name.
    pub(super) inside: Point<Sheet>,
}

/// The unseen patches, largest first.
pub(super) fn patches(seen: &Seen, plan: &Plan) -> Vec<Patch> {
    let mut out: Vec<Patch> = components(seen)
        .into_iter()
        .map(|cells| Patch {
            loops: outlines(&cells)
                .iter()
                .map(|l| to_mm(l, seen, plan))
                .collect(),
            area_mm2: cells.cells.iter().filter(|&&c| c).count() as f64 * seen.cell_mm.powi(2),
            inside: deepest(&cells, seen),
        })
        .collect();
    out.sort_by(|a, b| b.area_mm2.total_cmp(&a.area_mm2));
    out
}

/// The unseen part of the sheet as simple polygons without holes, mm, that do not overlap: a patch
/// round an island is cut through it.
pub(super) fn polygons(seen: &Seen, plan: &Plan) -> Vec<Vec<Point<Sheet>>> {
    let mut todo = components(seen);
    todo.reverse();
    let mut out = Vec::new();
    while let Some(cells) = todo.pop() {
        let loops = outlines(&cells);
        match loops.as_slice() {
            [outer] => out.push(to_mm(outer, seen, plan)),
            [_, island, ..] => {
                // Each cut opens at least this island, so this ends.
                let cut = island.iter().map(|c| c.0).min().unwrap_or(0) + 1;
                for left in [false, true] {
                    let mut half = cells.clone();
                    for i in 0..half.cells.len() {
                        half.cells[i] &= (i % half.columns < cut) == left;
                    }
                    todo.extend(split(&half));
                }
            }
            [] => {}
        }
    }
    out
}

/// A set of cells of the grid.
#[derive(Clone)]
struct Cells {
    columns: usize,
    cells: Vec<bool>,
}

impl Cells {
    fn has(&self, column: usize, row: usize) -> bool {
        column < self.columns
            && self
                .cells
                .get(row * self.columns + column)
                .copied()
                .unwrap_or(false)
    }
}

fn components(seen: &Seen) -> Vec<Cells> {
    if seen.columns == 0 {
        return Vec::new();
    }
    split(&Cells {
        columns: seen.columns,
        cells: seen.cells.iter().map(|&s| !s).collect(),
    })
}

/// Parts whose cells hang together by their sides.
fn split(all: &Cells) -> Vec<Cells> {
    let mut left = all.cells.clone();
    let mut out = Vec::new();
    for start in 0..left.len() {
        if !left[start] {
            continue;
        }
        let mut part = Cells {
            columns: all.columns,
            cells: vec![false; left.len()],
        };
        let mut todo = vec![start];
        left[start] = false;
        while let Some(i) = todo.pop() {
            part.cells[i] = true;
            let column = i % all.columns;
            let mut visit = |j: usize| {
                if left[j] {
                    left[j] = false;
                    todo.push(j);
                }
            };
            if column > 0 {
                visit(i - 1);
            }
            if column + 1 < all.columns {
                visit(i + 1);
            }
            if i >= all.columns {
                visit(i - all.columns);
            }
            if i + all.columns < all.cells.len() {
                visit(i + all.columns);
            }
        }
        out.push(part);
    }
    out
}

/// The outlines of connected cells, the cells always on the left hand: outer anticlockwise, islands
/// clockwise. The outer one first.
fn outlines(cells: &Cells) -> Vec<Vec<Corner>> {
    let rows = cells.cells.len() / cells.columns;
    // Directed sides by their start: 0 right, 1 up, 2 left, 3 down.
    let width = cells.columns + 1;
    let mut sides = vec![[false; 4]; width * (rows + 1)];
    for row in 0..rows {
        for column in 0..cells.columns {
            if !cells.has(column, row) {
                continue;
            }
            let at = |c: usize, r: usize| r * width + c;
            if row == 0 || !cells.has(column, row - 1) {
                sides[at(column, row)][0] = true;
            }
            if !cells.has(column + 1, row) {
                sides[at(column + 1, row)][1] = true;
            }
            if !cells.has(column, row + 1) {
                sides[at(column + 1, row + 1)][2] = true;
            }
            if column == 0 || !cells.has(column - 1, row) {
                sides[at(column, row + 1)][3] = true;
            }
        }
    }
    let mut out = Vec::new();
    for start in 0..sides.len() {
        for first in 0..4 {
            if sides[start][first] {
                out.push(follow(&mut sides, width, start, first));
            }
        }
    }
    // Scanning from below meets the outer loop first, by its lowest side.
    out
}

/// Follows sides from `start`, taking each away, and gives the corners where the way turns.
fn follow(sides: &mut [[bool; 4]], width: usize, start: usize, first: usize) -> Vec<Corner> {
    let mut corners = Vec::new();
    let (mut at, mut way) = (start, first);
    loop {
        sides[at][way] = false;
        at = match way {
            0 => at + 1,
            1 => at + width,
            2 => at - 1,
            _ => at - width,
        };
        // Where two cells touch only by a corner the left turn stays with the same cell, so that
        // every outline is a simple polygon.
        let next = [(way + 1) % 4, way, (way + 3) % 4]
            .into_iter()
            .find(|&w| sides[at][w]);
        if next != Some(way) && !(at == start && next.is_none() && way == first) {
            corners.push((at % width, at / width));
        }
        match next {
            Some(w) => way = w,
            None => return corners,
        }
    }
}

fn to_mm(corners: &[Corner], seen: &Seen, plan: &Plan) -> Vec<Point<Sheet>> {
    corners
        .iter()
        .map(|&(c, r)| {
            // The last cells may stand over the sheet's far edges.
            Point::new(
                (c as f64 * seen.cell_mm).min(plan.width_mm),
                (r as f64 * seen.cell_mm).min(plan.height_mm),
            )
        })
        .collect()
}

/// The cell farthest from the patch's border, by peeling.
fn deepest(cells: &Cells, seen: &Seen) -> Point<Sheet> {
    let mut now = cells.clone();
    loop {
        let mut next = now.clone();
        for i in 0..now.cells.len() {
            let (c, r) = (i % now.columns, i / now.columns);
            let inner = c > 0
                && r > 0
                && now.has(c - 1, r)
                && now.has(c + 1, r)
                && now.has(c, r - 1)
                && now.has(c, r + 1);
            next.cells[i] = now.cells[i] && inner;
        }
        if next.cells.iter().any(|&c| c) {
            now = next;
            continue;
        }
        let i = now.cells.iter().position(|&c| c).unwrap_or(0);
        return Point::new(
            (i % now.columns) as f64 * seen.cell_mm + seen.cell_mm / 2.0,
            (i / now.columns) as f64 * seen.cell_mm + seen.cell_mm / 2.0,
        );
    }
}
