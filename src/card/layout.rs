//! What is printed where on a card, in the `Card` frame: millimetres from the card's centre, y up.
//!
//! A dark square frame, one cell thick, around a payload of 5x5 cells sits in the middle of a field
//! of checker squares. The frame finds, the payload names, the checker corners measure: a corner where
//! two dark and two light squares meet is a saddle of the brightness, and stays where it is under
//! perspective and blur, which the centre of a disc does not.

use super::code;
use crate::frame::{Card, Point};

/// Numbers up to this one are square cards, those above are strips.
pub const LAST_SQUARE: u16 = 40;
/// Cells along one side of the dark frame: five of payload, and the frame itself on either side.
pub const FRAME_CELLS: usize = code::SIDE + 2;

/// The two shapes of card; "square" and "strip" where they are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Shape {
    /// 60 x 60 mm, for open work.
    Square,
    /// 120 x 25 mm, for narrow work.
    Strip,
}

/// An upright rectangle in the `Card` frame, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left edge.
    pub left: f64,
    /// Lower edge.
    pub bottom: f64,
    /// Across, mm.
    pub width: f64,
    /// Up, mm.
    pub height: f64,
}

impl Rect {
    /// The rectangle of this size round `(x, y)`.
    #[must_use]
    pub fn centred(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self {
            left: x - width / 2.0,
            bottom: y - height / 2.0,
            width,
            height,
        }
    }
}

/// A checker corner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saddle {
    /// Where it is designed to be, mm.
    pub at: Point<Card>,
    /// Whether the square to its upper right is dark (then so is the lower left one).
    pub upper_right_dark: bool,
}

/// A measuring bar: the distance between the outer ends of a printed line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// The line itself, with the bar's true length along its longer side.
    pub line: Rect,
    /// The end strokes, whose outer edges are the bar's ends.
    pub ends: [Rect; 2],
}

/// Everything that is printed on one card, apart from its text.
#[derive(Debug, Clone)]
pub struct Layout {
    /// The card's number, 1 to [`code::COUNT`].
    pub number: u16,
    /// Square or strip.
    pub shape: Shape,
    /// Outer width and height, mm; the light margin is part of the card.
    pub size_mm: [f64; 2],
    /// Side of one cell of frame and payload, mm.
    pub cell_mm: f64,
    /// Side of one checker square, mm.
    pub checker_mm: f64,
    /// All dark rectangles of frame, payload and checkers.
    pub dark: Vec<Rect>,
    /// All checker corners.
    pub saddles: Vec<Saddle>,
    /// The bar across and the bar down.
    pub bars: [Bar; 2],
}

/// Thickness of a bar's line, mm: a fine line, so that a rule can be laid on it.
const BAR_LINE_MM: f64 = 0.25;
/// Length of a bar's end strokes, mm.
const BAR_END_MM: f64 = 1.6;

/// A bar of `length` mm round (x, y); `across` or down.
#[must_use]
pub fn bar(x: f64, y: f64, length: f64, across: bool) -> Bar {
    let half = length / 2.0 - BAR_LINE_MM / 2.0;
    if across {
        Bar {
            line: Rect::centred(x, y, length, BAR_LINE_MM),
            ends: [-half, half].map(|d| Rect::centred(x + d, y, BAR_LINE_MM, BAR_END_MM)),
        }
    } else {
        Bar {
            line: Rect::centred(x, y, BAR_LINE_MM, length),
            ends: [-half, half].map(|d| Rect::centred(x, y + d, BAR_END_MM, BAR_LINE_MM)),
        }
    }
}

/// A rectangular block of the checker field: its lower left corner and its squares.
struct Block {
    left: f64,
    bottom: f64,
    columns: usize,
    rows: usize,
}

impl Layout {
    /// The layout of card `number`; `None` if there is no such card.
    #[must_use]
    pub fn of(number: u16) -> Option<Self> {
        let word = code::word(number)?;
        let shape = if number <= LAST_SQUARE {
            Shape::Square
        } else {
            Shape::Strip
        };
        let (size_mm, cell_mm, checker_mm) = match shape {
            Shape::Square => ([60.0, 60.0], 3.6, 5.0),
            Shape::Strip => ([120.0, 25.0], 2.5, 4.5),
        };
        let mut layout = Self {
            number,
            shape,
            size_mm,
            cell_mm,
            checker_mm,
            dark: frame_and_payload(word, cell_mm),
            saddles: Vec::new(),
            bars: match shape {
                Shape::Square => [bar(0.0, -27.6, 50.0, true), bar(-27.6, 0.0, 50.0, false)],
                Shape::Strip => [bar(0.0, -11.3, 100.0, true), bar(-58.6, 0.0, 20.0, false)],
            },
        };
        match shape {
            // A ring of squares, two deep: the saddles are its middle line.
            Shape::Square => {
                let block = Block {
                    left: -25.0,
                    bottom: -25.0,
                    columns: 10,
                    rows: 10,
                };
                layout.add_block(&block, |i, j| i < 2 || j < 2 || i > 7 || j > 7);
            }
            Shape::Strip => {
                for left in [-56.5, 11.5] {
                    let block = Block {
                        left,
                        bottom: -9.0,
                        columns: 10,
                        rows: 4,
                    };
                    layout.add_block(&block, |_, _| true);
                }
            }
        }
        Some(layout)
    }

    /// Outer side of the dark frame, mm.
    #[must_use]
    pub fn frame_mm(&self) -> f64 {
        self.cell_mm * FRAME_CELLS as f64
    }

    /// The frame's outer corners: upper left, upper right, lower right, lower left.
    #[must_use]
    pub fn frame_corners(&self) -> [Point<Card>; 4] {
        let h = self.frame_mm() / 2.0;
        [(-h, h), (h, h), (h, -h), (-h, -h)].map(|(x, y)| Point::new(x, y))
    }

    /// The card's outer corners: upper left, upper right, lower right, lower left.
    #[must_use]
    pub fn outer_corners(&self) -> [Point<Card>; 4] {
        let [w, h] = self.size_mm.map(|s| s / 2.0);
        [(-w, h), (w, h), (w, -h), (-w, -h)].map(|(x, y)| Point::new(x, y))
    }

    /// Adds the squares of a block that `holds` says are there, and the corners where four of them meet.
    fn add_block(&mut self, block: &Block, holds: impl Fn(usize, usize) -> bool) {
        let side = self.checker_mm;
        let at =
            |i: usize, j: usize| (block.left + i as f64 * side, block.bottom + j as f64 * side);
        let is_dark = |i: usize, j: usize| (i + j).is_multiple_of(2);
        for j in 0..block.rows {
            for i in 0..block.columns {
                let (left, bottom) = at(i, j);
                if holds(i, j) && is_dark(i, j) {
                    self.dark.push(Rect {
                        left,
                        bottom,
                        width: side,
                        height: side,
                    });
                }
                let four_meet = i > 0
                    && j > 0
                    && holds(i, j)
                    && holds(i - 1, j)
                    && holds(i, j - 1)
                    && holds(i - 1, j - 1);
                if four_meet {
                    self.saddles.push(Saddle {
                        at: Point::new(left, bottom),
                        upper_right_dark: is_dark(i, j),
                    });
                }
            }
        }
    }
}

fn frame_and_payload(word: u32, cell: f64) -> Vec<Rect> {
    let outer = cell * FRAME_CELLS as f64;
    let half = outer / 2.0;
    let mut dark = vec![
        Rect {
            left: -half,
            bottom: half - cell,
            width: outer,
            height: cell,
        },
        Rect {
            left: -half,
            bottom: -half,
            width: outer,
            height: cell,
        },
        Rect {
            left: -half,
            bottom: -half + cell,
            width: cell,
            height: outer - 2.0 * cell,
        },
        Rect {
            left: half - cell,
            bottom: -half + cell,
            width: cell,
            height: outer - 2.0 * cell,
        },
    ];
    for row in 0..code::SIDE {
        for column in 0..code::SIDE {
            if code::is_dark(word, row, column) {
                let left = -half + cell * (column + 1) as f64;
                let bottom = half - cell * (row + 2) as f64;
                dark.push(Rect {
                    left,
                    bottom,
                    width: cell,
                    height: cell,
                });
            }
        }
    }
    dark
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_are_enough_saddles_inside_the_card() {
        for number in 1..=code::COUNT {
            let card = Layout::of(number).unwrap();
            let wanted = if card.shape == Shape::Square { 32 } else { 54 };
            assert_eq!(card.saddles.len(), wanted);
            for r in &card.dark {
                assert!(r.left.abs().max((r.left + r.width).abs()) < card.size_mm[0] / 2.0);
                assert!(r.bottom.abs().max((r.bottom + r.height).abs()) < card.size_mm[1] / 2.0);
            }
        }
    }

    #[test]
    fn saddles_stand_where_dark_squares_touch_by_their_corners() {
        let is_dark = |card: &Layout, x: f64, y: f64| {
            card.dark.iter().any(|r| {
                x > r.left && x < r.left + r.width && y > r.bottom && y < r.bottom + r.height
            })
        };
        for number in [1, 41] {
            let card = Layout::of(number).unwrap();
            for s in &card.saddles {
                let d = card.checker_mm / 2.0;
                let seen = [(d, d), (-d, -d), (-d, d), (d, -d)]
                    .map(|(u, v)| is_dark(&card, s.at.x + u, s.at.y + v));
                let dark = s.upper_right_dark;
                assert_eq!(
                    seen,
                    [dark, dark, !dark, !dark],
                    "card {number} at {:?}",
                    s.at
                );
            }
        }
    }

    #[test]
    fn bars_are_as_long_as_they_say() {
        let card = Layout::of(50).unwrap();
        let [across, down] = card.bars;
        assert_eq!((across.line.width, down.line.height), (100.0, 20.0));
        let outer = across.ends[1].left + across.ends[1].width - across.ends[0].left;
        assert!((outer - 100.0).abs() < 1e-12, "{outer}");
    }
}
