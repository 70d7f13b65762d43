//! Which way round the sheet lies.
//!
//! A plain rectangle has no upright of its own: only its marks say which corner the plan starts from,
//! and on a nearly symmetric sheet that was marked from the wrong end they say two things.

use nalgebra::Vector2;

use crate::frame::{Pixel, Point, Sheet};
use crate::ink::Ink;
use crate::plan::Plan;
use crate::verdict;

/// A corner of the sheet as it is seen in the upright photo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Corner {
    /// Where the plan draws it.
    LowerLeft,
    /// A quarter turn on.
    LowerRight,
    /// Half a turn on.
    UpperRight,
    /// Three quarters on.
    UpperLeft,
}

impl Corner {
    const ALL: [Self; 4] = [
        Self::LowerLeft,
        Self::LowerRight,
        Self::UpperRight,
        Self::UpperLeft,
    ];

    /// By its name on the command line.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|c| c.name() == name)
    }

    /// Its name on the command line.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::LowerLeft => "lower-left",
            Self::LowerRight => "lower-right",
            Self::UpperRight => "upper-right",
            Self::UpperLeft => "upper-left",
        }
    }

    /// Quarter turns of the sheet that bring the plan's lower left corner here from `first`.
    pub(super) fn turns_from(self, first: Self) -> u32 {
        (self as u32 + 4 - first as u32) % 4
    }

    /// Where quarter turns of the sheet bring what is here.
    pub(super) fn turned(self, turns: u32) -> Self {
        Self::ALL[(self as usize + turns as usize) % 4]
    }

    /// Where the first of a rectangle's corners is in the photo; they go round as lower left, lower right, upper
    /// right, upper left do.
    pub(super) fn of_first(corners: [Point<Pixel>; 4]) -> Self {
        let middle = corners.iter().map(|c| c.vec()).sum::<Vector2<f64>>() / 4.0;
        // Towards the photo's corners, y down.
        let towards = [(-1.0, 1.0), (1.0, 1.0), (1.0, -1.0), (-1.0, -1.0)];
        let fits = |first: Self| -> f64 {
            corners
                .iter()
                .enumerate()
                .map(|(i, c)| {
                    let (x, y) = towards[(first as usize + i) % 4];
                    (c.vec() - middle).dot(&Vector2::new(x, y))
                })
                .sum()
        };
        let best = |a: Self, b: Self| if fits(b) > fits(a) { b } else { a };
        Self::ALL.into_iter().fold(Self::LowerLeft, best)
    }
}

/// What the marks say of how the sheet lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// As it was taken to lie, turned by so many quarters.
    Turned(u32),
    /// Most marks fit turned by the first, but what is left over then has its place turned by the second.
    Either([u32; 2]),
}

/// A sheet is only taken to lie another way round when that explains this many marks more.
const CLEARLY_BETTER: usize = 3;
/// From this many holes and marks without a partner fewer, another way round explains the sheet too.
const EXPLAINS_MORE: usize = 2;
/// A mark counts as a hole's own within this many tolerances.
const NEAR_TOLERANCES: f64 = 1.0;

/// How well the marks fit the plan one way round.
struct Fit {
    turns: u32,
    /// Holes with a mark within tolerance.
    within: usize,
    /// Holes without a mark and marks without a hole, each to its own within half a pitch.
    left_over: usize,
}

/// The planned places as the sheet may lie: as it was taken to, and turned by half; of a square by quarters too.
pub(super) fn all_ways(plan: &Plan, square: bool) -> Vec<Vec<Point<Sheet>>> {
    let [w, h] = [plan.width_mm, plan.height_mm];
    let turned = |quarters: u32, p: Point<Sheet>| match quarters {
        0 => p,
        1 => Point::new(w - p.y, p.x),
        2 => Point::new(w - p.x, h - p.y),
        _ => Point::new(p.y, h - p.x),
    };
    (0..4)
        .filter(|q| square || q % 2 == 0)
        .map(|q| plan.holes.iter().map(|hole| turned(q, hole.at)).collect())
        .collect()
}

/// Which way round the marks of `ink`, read with the sheet as it lies in the photo, fit the plan.
pub(super) fn which(plan: &Plan, ink: &Ink, square: bool) -> Way {
    let as_is = fit(plan, ink, 0);
    let turned = if square { &[1, 2, 3][..] } else { &[2] };
    let others: Vec<Fit> = turned.iter().map(|&t| fit(plan, ink, t)).collect();
    let better = others
        .iter()
        .filter(|f| f.within >= as_is.within + CLEARLY_BETTER && f.within >= 2 * as_is.within)
        .max_by_key(|f| f.within);
    let best = better.unwrap_or(&as_is);
    let rival = std::iter::once(&as_is)
        .chain(&others)
        .filter(|f| f.left_over + EXPLAINS_MORE <= best.left_over)
        // All marks out of place is no explanation unless nearly all have one.
        .filter(|f| f.left_over * 4 < plan.holes.len())
        .min_by_key(|f| f.left_over);
    match rival {
        Some(f) => Way::Either([best.turns, f.turns]),
        None => Way::Turned(best.turns),
    }
}

fn fit(plan: &Plan, ink: &Ink, turns: u32) -> Fit {
    let marks: Vec<Vector2<f64>> = ink
        .marks
        .iter()
        .filter(|m| !m.crossed_out)
        .map(|m| turned(plan, m.at, turns).vec())
        .collect();
    let pairs = verdict::pair_with_plan(plan, &marks);
    let near = NEAR_TOLERANCES * plan.tolerance_mm;
    let within = pairs
        .mark_of
        .iter()
        .zip(&plan.holes)
        .filter(|(m, hole)| m.is_some_and(|m| (marks[m] - hole.at.vec()).norm() < near))
        .count();
    let alone = |side: &[Option<usize>]| side.iter().filter(|p| p.is_none()).count();
    Fit {
        turns,
        within,
        left_over: alone(&pairs.mark_of) + alone(&pairs.hole_of),
    }
}

/// Where a place would be on the plan if the sheet were turned.
fn turned(plan: &Plan, p: Point<Sheet>, turns: u32) -> Point<Sheet> {
    let (w, h) = (plan.width_mm, plan.height_mm);
    match turns {
        1 => Point::new(p.y, w - p.x),
        2 => Point::new(w - p.x, h - p.y),
        3 => Point::new(h - p.y, p.x),
        _ => p,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::frame::Cov2;
    use crate::ink::{Mark, MarkKind};

    /// A row whose ends differ by 1.6 mm, and two holes that tell the sheet's ends apart.
    fn plan() -> Plan {
        let text = r#"
            title = "Skew row"
            units = "mm"
            [sheet]
            width = 304.8
            height = 216
            [rivet]
            diameter = 3.2
            [tolerance]
            position = 0.8
            [[row]]
            name = "A"
            along = "bottom"
            edge_distance = 8
            first = 17.45
            pitch = 20.64
            count = 14
            [[row]]
            name = "B"
            along = "top"
            edge_distance = 8
            first = 17.45
            pitch = 20.64
            count = 14
            [[hole]]
            name = "P1"
            x = 171
            y = 64
            [[hole]]
            name = "P2"
            x = 133
            y = 64
        "#;
        crate::plan::parse(text, Path::new("skew.toml")).unwrap()
    }

    fn ink(plan: &Plan, places: impl Iterator<Item = Point<Sheet>>) -> Ink {
        let mut ink = Ink::unseen([plan.width_mm, plan.height_mm]);
        ink.marks = places
            .map(|at| Mark {
                at,
                cov: Cov2::identity() * 0.0025,
                kind: MarkKind::Dot,
                size_mm: 0.6,
                ringed: false,
                crossed_out: false,
                probability: None,
            })
            .collect();
        ink
    }

    #[test]
    fn a_sheet_that_lies_upside_down_is_turned() {
        let plan = plan();
        let holes = plan.holes.iter().map(|h| h.at);
        assert_eq!(
            which(&plan, &ink(&plan, holes.clone()), false),
            Way::Turned(0)
        );
        let upside_down = holes.map(|p| turned(&plan, p, 2));
        assert_eq!(
            which(&plan, &ink(&plan, upside_down), false),
            Way::Turned(2)
        );
    }

    #[test]
    fn rows_marked_from_the_wrong_end_are_not_taken_for_a_turned_sheet() {
        let plan = plan();
        let marks = plan.holes.iter().map(|h| {
            let in_row = h.row.is_some();
            let x = if in_row {
                plan.width_mm - h.at.x
            } else {
                h.at.x
            };
            Point::new(x, h.at.y)
        });
        let both = Way::Either([2, 0]);
        assert_eq!(which(&plan, &ink(&plan, marks), false), both);
    }

    #[test]
    fn corners_are_named_as_the_photo_shows_them() {
        // A long sheet that stands upright in the photo: its plan's bottom edge is on the photo's right.
        let standing = [(90.0, 190.0), (90.0, 10.0), (10.0, 10.0), (10.0, 190.0)];
        let first = Corner::of_first(standing.map(|(x, y)| Point::new(x, y)));
        assert_eq!(first, Corner::LowerRight);
        assert_eq!(Corner::LowerRight.turns_from(first), 0);
        assert_eq!(Corner::UpperLeft.turns_from(first), 2);
        assert_eq!(first.turned(2), Corner::UpperLeft);
        let lying = [(10.0, 95.0), (190.0, 90.0), (190.0, 5.0), (10.0, 10.0)];
        let first = Corner::of_first(lying.map(|(x, y)| Point::new(x, y)));
        assert_eq!(first, Corner::LowerLeft);
    }

    #[test]
    fn a_few_missing_marks_and_strays_leave_no_doubt() {
        let plan = plan();
        let marks = plan.holes.iter().skip(3).map(|h| h.at);
        let strays = [Point::new(60.0, 100.0), Point::new(200.0, 150.0)];
        let ink = ink(&plan, marks.chain(strays));
        assert_eq!(which(&plan, &ink, false), Way::Turned(0));
    }
}
