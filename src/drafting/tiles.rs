//! Which pages a template takes: a grid over the piece, without those on which nothing is to be seen.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::template::{BOTTOM_MM, LEFT_MM, RIGHT_MM, ROUND_MM, TOP_MM};
use crate::card::print::Paper;
use crate::draw::num;
use crate::plan::Plan;

/// Neighbouring pages show this much of each other, mm; the joint runs through its middle.
const OVERLAP_MM: f64 = 12.0;
/// Room for the outline itself at the far sides, mm.
const LINE_MM: f64 = 1.0;
/// The map of the pages in the corner of each, at most, mm.
const MAP_MM: [f64; 2] = [34.0, 14.0];

/// Column from the left and row from the bottom.
pub(super) type At = [usize; 2];

/// The pages of a template.
pub(super) struct Tiles {
    /// Paper as it lies, mm.
    pub(super) size: [f64; 2],
    /// What a page shows of the piece, mm.
    pub(super) window: [f64; 2],
    /// Columns and rows.
    pub(super) count: [usize; 2],
    /// The pages that are printed: by columns from the left, each from the bottom up.
    pub(super) printed: Vec<At>,
}

impl Tiles {
    /// The way of the paper that takes fewer pages.
    pub(super) fn of(plan: &Plan, paper: Paper) -> Self {
        let [short, long] = paper.size_mm();
        let (upright, on_side) = (Self::on(plan, [short, long]), Self::on(plan, [long, short]));
        if on_side.all() < upright.all() {
            on_side
        } else {
            upright
        }
    }

    fn on(plan: &Plan, size: [f64; 2]) -> Self {
        let window = [size[0] - LEFT_MM - RIGHT_MM, size[1] - TOP_MM - BOTTOM_MM];
        let tiles = |piece: f64, window: f64| {
            // No page for the margin alone.
            let beyond = (ROUND_MM + piece + LINE_MM - window).max(0.0);
            1 + (beyond / (window - OVERLAP_MM)).ceil() as usize
        };
        Self {
            size,
            window,
            count: [
                tiles(plan.width_mm, window[0]),
                tiles(plan.height_mm, window[1]),
            ],
            printed: Vec::new(),
        }
    }

    /// Pages of the whole grid.
    pub(super) fn all(&self) -> usize {
        self.count[0] * self.count[1]
    }

    /// Distance from page to page, mm.
    pub(super) fn step(&self) -> [f64; 2] {
        self.window.map(|w| w - OVERLAP_MM)
    }

    /// Lower left corner of a page's window, in the sheet's mm.
    pub(super) fn low(&self, at: At) -> [f64; 2] {
        let step = self.step();
        [0, 1].map(|k| step[k] * at[k] as f64 - ROUND_MM)
    }

    /// Where the joint before a page runs, in the sheet's mm.
    pub(super) fn joint(&self, axis: usize, number: usize) -> f64 {
        self.step()[axis] * number as f64 - ROUND_MM + OVERLAP_MM / 2.0
    }

    /// Chooses what is printed: pages with a hole or the outline, and as many others as join these, so that each can be
    /// laid against one beside it.
    pub(super) fn choose(&mut self, plan: &Plan) {
        let grid = (0..self.count[0]).flat_map(|c| (0..self.count[1]).map(move |r| [c, r]));
        let mut kept: BTreeSet<At> = grid.collect();
        let empty: Vec<At> = kept
            .iter()
            .copied()
            .filter(|&at| !self.shows(plan, at))
            .collect();
        for at in empty {
            kept.remove(&at);
            if !is_joined(&kept) {
                kept.insert(at);
            }
        }
        self.printed = kept.into_iter().collect();
    }

    /// Whether a hole or a part of the outline is on a page, up to its joints.
    fn shows(&self, plan: &Plan, at: At) -> bool {
        let size = [plan.width_mm, plan.height_mm];
        let from = [0, 1].map(|k| self.joint(k, at[k]));
        let to = [0, 1].map(|k| self.joint(k, at[k] + 1));
        let has_edge = (0..2).any(|k| from[k] <= 0.0 || to[k] >= size[k]);
        let has_hole =
            plan.holes.iter().chain(&plan.drilled).any(|h| {
                (from[0]..=to[0]).contains(&h.at.x) && (from[1]..=to[1]).contains(&h.at.y)
            });
        has_edge || has_hole
    }

    /// The map in a page's upper right corner: where the page lies among the others.
    pub(super) fn map(&self, here: At, out: &mut String) {
        if self.all() == 1 {
            return;
        }
        let cell = (0..2)
            .map(|k| MAP_MM[k] / self.count[k] as f64)
            .fold(4.0, f64::min);
        let left = self.size[0] - RIGHT_MM - cell * self.count[0] as f64;
        for at in &self.printed {
            let fill = if *at == here { "#000" } else { "#fff" };
            let _ = writeln!(
                out,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{fill}\" stroke=\"#000\" stroke-width=\"0.2\"/>",
                num(left + cell * at[0] as f64),
                num(4.0 + cell * (self.count[1] - 1 - at[1]) as f64),
                num(cell),
                num(cell)
            );
        }
    }
}

/// Whether one can go from every page to every other over pages side by side.
fn is_joined(pages: &BTreeSet<At>) -> bool {
    let Some(&first) = pages.first() else {
        return false;
    };
    let (mut seen, mut next) = (BTreeSet::from([first]), vec![first]);
    while let Some([c, r]) = next.pop() {
        let beside = [
            [c.wrapping_sub(1), r],
            [c + 1, r],
            [c, r.wrapping_sub(1)],
            [c, r + 1],
        ];
        for at in beside {
            if pages.contains(&at) && seen.insert(at) {
                next.push(at);
            }
        }
    }
    seen.len() == pages.len()
}
