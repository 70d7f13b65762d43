//! Words for places and ways on the sheet.

use nalgebra::Vector2;

use crate::frame::{Point, Sheet};
use crate::plan::length::{measured, show, show_planned, unit_sign};
use crate::plan::{Edge, Plan};

/// Runs of this many neighbours are named by their ends.
const RUN: usize = 4;
/// Of so many holes and more, nearly all are told by those that are left.
const MANY_HOLES: usize = 8;
/// So many are left at most.
const FEW_BUT: usize = 3;
/// A part of an offset below this is not worth a word, mm.
const PART_MM: f64 = 0.15;
/// Nor is one below this share of the other part, where a mark is to be moved;
const MOVE_SHARE: f64 = 0.2;
/// where a mark is to be found by it, a smaller one is.
const FIND_SHARE: f64 = 0.02;

/// "A7, A9 and B2", "A1 to A14", "all holes but A5": names of the holes of these indices, in the plan's order.
pub(crate) fn names(plan: &Plan, holes: &[usize]) -> String {
    let all = plan.holes.len();
    // No index is there twice: lists of holes are sets.
    let others: Vec<usize> = (0..all).filter(|h| !holes.contains(h)).collect();
    if all >= MANY_HOLES && others.is_empty() {
        return "all holes".to_owned();
    }
    if all >= MANY_HOLES && others.len() <= FEW_BUT {
        return format!("all holes but {}", each(plan, &others));
    }
    each(plan, holes)
}

fn each(plan: &Plan, holes: &[usize]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let mut i = 0;
    while i < holes.len() {
        let mut end = i;
        while end + 1 < holes.len()
            && holes[end + 1] == holes[end] + 1
            && plan.holes[holes[i]].row.is_some()
            && plan.holes[holes[end + 1]].row == plan.holes[holes[i]].row
        {
            end += 1;
        }
        if end - i + 1 >= RUN {
            let (first, last) = (&plan.holes[holes[i]], &plan.holes[holes[end]]);
            parts.push(format!("{} to {}", first.name, last.name));
            i = end + 1;
        } else {
            parts.push(plan.holes[holes[i]].name.clone());
            i += 1;
        }
    }
    join(&parts)
}

/// "a, b and c".
pub(super) fn join(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

pub(super) fn edge_word(edge: Edge) -> &'static str {
    match edge {
        Edge::Bottom => "bottom",
        Edge::Right => "right",
        Edge::Top => "top",
        Edge::Left => "left",
    }
}

/// The parts of an offset worth telling, the larger first: (along x?, signed mm).
fn parts(v: Vector2<f64>, share: f64) -> Vec<(bool, f64)> {
    let mut parts = vec![(true, v.x), (false, v.y)];
    if v.y.abs() > v.x.abs() {
        parts.swap(0, 1);
    }
    let (larger, smaller) = (parts[0].1.abs(), parts[1].1.abs());
    if smaller < PART_MM.max(share * larger) {
        parts.truncate(1);
    }
    parts
}

/// "1/32 in (0.9 mm) to the right and 1/64 in (0.4 mm) down": the way from a mark to its place, as the plan draws the sheet.
pub(super) fn way(plan: &Plan, v: Vector2<f64>) -> String {
    let told: Vec<String> = parts(v, MOVE_SHARE)
        .into_iter()
        .map(|(is_x, mm)| {
            let way = match (is_x, mm >= 0.0) {
                (true, true) => "to the right",
                (true, false) => "to the left",
                (false, true) => "up",
                (false, false) => "down",
            };
            format!("{} {way}", show(mm.abs(), plan.units))
        })
        .collect();
    join(&told)
}

/// The edge along which the row of hole `h` runs.
fn row_edge(plan: &Plan, h: usize) -> Option<Edge> {
    let name = plan.holes[h].row.as_ref()?;
    plan.rows.iter().find(|r| r.name == *name).map(|r| r.along)
}

/// "right", "left", "above", "below".
fn side_word(is_x: bool, mm: f64) -> &'static str {
    match (is_x, mm >= 0.0) {
        (true, true) => "right",
        (true, false) => "left",
        (false, true) => "above",
        (false, false) => "below",
    }
}

/// "7/16 in (11.2 mm) right of A3 and 5/32 in (4.0 mm) above it": a place on the face told from the nearest planned hole.
#[must_use]
pub fn place_near(plan: &Plan, at: Point<Sheet>) -> String {
    let Some(h) = nearest(plan, at) else {
        return format!(
            "{} from the left edge and {} from the bottom edge",
            show(at.x, plan.units),
            show(at.y, plan.units)
        );
    };
    let hole = &plan.holes[h];
    let told: Vec<String> = parts(at - hole.at, FIND_SHARE)
        .into_iter()
        .enumerate()
        .map(|(i, (is_x, mm))| {
            let side = side_word(is_x, mm);
            let of = if is_x { " of" } else { "" };
            let whom = if i == 0 { hole.name.as_str() } else { "it" };
            format!("{} {side}{of} {whom}", show(mm.abs(), plan.units))
        })
        .collect();
    join(&told)
}

/// "0.026 in right, 0.012 in above": an offset as fine as it was measured, for what is near a limit.
pub(super) fn offset_fine(plan: &Plan, v: Vector2<f64>) -> String {
    let told: Vec<String> = parts(v, MOVE_SHARE)
        .into_iter()
        .map(|(is_x, mm)| {
            let sign = unit_sign(plan.units);
            format!(
                "{} {sign} {}",
                measured(mm.abs(), plan.units),
                side_word(is_x, mm)
            )
        })
        .collect();
    told.join(", ")
}

/// The planned hole nearest to a place.
pub(crate) fn nearest(plan: &Plan, at: Point<Sheet>) -> Option<usize> {
    (0..plan.holes.len()).min_by(|&a, &b| {
        let away = |h: usize| plan.holes[h].at.distance(at);
        away(a).total_cmp(&away(b))
    })
}

/// "4 1/16 in (103.2 mm) from the left edge, 5/16 in (7.9 mm) from the bottom edge": a planned place
/// as it is laid out by rule.
pub(super) fn planned_place(plan: &Plan, h: usize) -> String {
    let at = plan.holes[h].at;
    let from_x = |edge: Edge| {
        if edge == Edge::Right {
            plan.width_mm - at.x
        } else {
            at.x
        }
    };
    let from_y = |edge: Edge| {
        if edge == Edge::Top {
            plan.height_mm - at.y
        } else {
            at.y
        }
    };
    let (first, second) = match row_edge(plan, h) {
        Some(edge @ (Edge::Left | Edge::Right)) => {
            ((from_y(Edge::Bottom), Edge::Bottom), (from_x(edge), edge))
        }
        Some(edge) => ((from_x(Edge::Left), Edge::Left), (from_y(edge), edge)),
        None => ((at.x, Edge::Left), (at.y, Edge::Bottom)),
    };
    let told = [first, second].map(|(mm, edge)| {
        format!(
            "{} from the {} edge",
            show_planned(mm, plan.units),
            edge_word(edge)
        )
    });
    told.join(", ")
}
