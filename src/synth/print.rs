//! What is printed on a card, found by place.

use nalgebra::Vector2;

use crate::card::layout::{Layout, Rect};

/// Side of a cell of a card's look-up grid, mm.
const CARD_CELL_MM: f64 = 0.5;

/// Share of the interval of length `size` round `x` that lies within `low` to `high`.
pub(super) fn overlap(x: f64, size: f64, low: f64, high: f64) -> f64 {
    (((x + size / 2.0).min(high) - (x - size / 2.0).max(low)) / size).clamp(0.0, 1.0)
}

/// Width of the printed cutting line, mm, and how dark it is beside the toner: the hairline of `card/print.rs`.
const CUT_LINE_MM: f64 = 0.1;
const CUT_LINE_DARK: f64 = 0.45;

/// The print of one card, found by place.
pub(super) struct CardFace {
    /// Half of the card's width and height, mm.
    pub(super) half: [f64; 2],
    /// White paper outside of that at the left, right, bottom and top, mm.
    cut_wide: [f64; 4],
    columns: usize,
    rows: usize,
    rects: Vec<Rect>,
    /// By cell: which rectangles reach into it.
    cells: Vec<Vec<u16>>,
    /// By cell: whether an outline runs through or close by.
    busy: Vec<bool>,
}

impl CardFace {
    pub(super) fn new(layout: &Layout, cut_wide: [f64; 4]) -> Self {
        let half = layout.size_mm.map(|s| s / 2.0);
        let mut rects = layout.dark.clone();
        for bar in &layout.bars {
            rects.push(bar.line);
            // The ends without the piece of the line that they share.
            for end in bar.ends {
                let (l, e) = (bar.line, end);
                if l.width > l.height {
                    let rest = (e.height - l.height) / 2.0;
                    rects.push(Rect { height: rest, ..e });
                    rects.push(Rect {
                        bottom: l.bottom + l.height,
                        height: rest,
                        ..e
                    });
                } else {
                    let rest = (e.width - l.width) / 2.0;
                    rects.push(Rect { width: rest, ..e });
                    rects.push(Rect {
                        left: l.left + l.width,
                        width: rest,
                        ..e
                    });
                }
            }
        }
        let [columns, rows] = half.map(|h| (2.0 * h / CARD_CELL_MM).ceil() as usize);
        let mut face = Self {
            half,
            cut_wide,
            columns,
            rows,
            rects,
            cells: vec![Vec::new(); columns * rows],
            busy: vec![false; columns * rows],
        };
        for j in 0..rows {
            for i in 0..columns {
                let low = [
                    i as f64 * CARD_CELL_MM - half[0],
                    j as f64 * CARD_CELL_MM - half[1],
                ];
                let margin = 0.3;
                let reach = |low: f64, a: f64, b: f64| {
                    let (p, q) = (low - margin, low + CARD_CELL_MM + margin);
                    (q > a && p < b, p > a && q < b)
                };
                let cell = j * columns + i;
                for (index, r) in (0u16..).zip(&face.rects) {
                    let (x_touch, x_within) = reach(low[0], r.left, r.left + r.width);
                    let (y_touch, y_within) = reach(low[1], r.bottom, r.bottom + r.height);
                    if x_touch && y_touch {
                        face.cells[cell].push(index);
                        face.busy[cell] |= !(x_within && y_within);
                    }
                }
            }
        }
        face
    }

    fn cell(&self, at: Vector2<f64>) -> Option<usize> {
        let i = ((at.x + self.half[0]) / CARD_CELL_MM).floor();
        let j = ((at.y + self.half[1]) / CARD_CELL_MM).floor();
        let inside = i >= 0.0 && j >= 0.0 && i < self.columns as f64 && j < self.rows as f64;
        inside.then(|| j as usize * self.columns + i as usize)
    }

    pub(super) fn is_busy(&self, at: Vector2<f64>, pixel_mm: f64) -> bool {
        let near = pixel_mm * 1.5;
        let out = (at.x.abs() - self.half[0]).max(at.y.abs() - self.half[1]);
        if out.abs() < near {
            return true;
        }
        let widest = self.cut_wide.iter().copied().fold(0.0, f64::max);
        if out > 0.0 && out < widest + near {
            return true;
        }
        // Pixels larger than the cells' margin: look at everything.
        out < 0.0 && (pixel_mm > 0.4 || self.cell(at).is_some_and(|c| self.busy[c]))
    }

    /// Share of the box of `size` round `at` that the paper covers.
    pub(super) fn cover(&self, at: Vector2<f64>, size: [f64; 2]) -> f64 {
        let ([w, h], [left, right, bottom, top]) = (self.half, self.cut_wide);
        overlap(at.x, size[0], -w - left, w + right) * overlap(at.y, size[1], -h - bottom, h + top)
    }

    /// How far inside the paper `at` is, mm; negative outside.
    pub(super) fn depth(&self, at: Vector2<f64>) -> f64 {
        let ([w, h], [left, right, bottom, top]) = (self.half, self.cut_wide);
        let across = (at.x + w + left).min(w + right - at.x);
        across.min((at.y + h + bottom).min(h + top - at.y))
    }

    /// How much of the box of `size` round `at` the cutting line darkens: it stays on a card that was cut outside of it.
    fn cut_line(&self, at: Vector2<f64>, size: [f64; 2]) -> f64 {
        let ([w, h], [left, right, bottom, top]) = (self.half, self.cut_wide);
        let line = |x: f64, size: f64, at: f64, cut: f64| {
            if cut > 0.0 {
                overlap(x, size, at - CUT_LINE_MM / 2.0, at + CUT_LINE_MM / 2.0)
            } else {
                0.0
            }
        };
        let down = line(at.x, size[0], -w, left).max(line(at.x, size[0], w, right));
        let across = line(at.y, size[1], -h, bottom).max(line(at.y, size[1], h, top));
        CUT_LINE_DARK * down.max(across)
    }

    /// How much of the box of `size` round `at` is as dark as toner.
    pub(super) fn dark(&self, at: Vector2<f64>, size: [f64; 2]) -> f64 {
        let line = self.cut_line(at, size);
        let Some(cell) = self.cell(at) else {
            return line;
        };
        self.cells[cell]
            .iter()
            .map(|&i| {
                let r = &self.rects[usize::from(i)];
                overlap(at.x, size[0], r.left, r.left + r.width)
                    * overlap(at.y, size[1], r.bottom, r.bottom + r.height)
            })
            .sum::<f64>()
            .max(line)
            .min(1.0)
    }
}
