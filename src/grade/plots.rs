//! Plots of a class: how scores lie, and where on the sheet marks go astray. SVG.

use std::fmt::Write;

use super::roll::{Entry, quartiles};
use crate::draw::{escape, num};
use crate::plan::Plan;
use crate::report::{cut, text_width};
use crate::verdict::HoleState;

const INK: &str = "#16191d";
const SOFT: &str = "#555d66";
const GRID: &str = "#d5dae0";
const BLUE: &str = "#00558a";
const BOX: &str = "#d9e8f2";
const ORANGE: &str = "#d55e00";

/// A row of a strip plot: its name and its values, percent.
pub(super) struct Strip {
    pub(super) name: String,
    pub(super) values: Vec<f64>,
}

fn text(
    svg: &mut String,
    at: [f64; 2],
    size: f64,
    anchor: &str,
    ink: &str,
    bold: bool,
    words: &str,
) {
    // Writing to a string cannot fail.
    let _ = write!(
        svg,
        "<text x=\"{}\" y=\"{}\" font-size=\"{size}\" text-anchor=\"{anchor}\" fill=\"{ink}\" font-weight=\"{}\">{}</text>",
        num(at[0]),
        num(at[1]),
        if bold { 700 } else { 400 },
        escape(words)
    );
}

fn open(width: f64, height: f64, label: &str) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\" \
         font-family=\"DejaVu Sans, Verdana, Geneva, sans-serif\">",
        num(width),
        num(height),
        escape(label)
    )
}

/// A dot for each piece, over a box from the lower to the upper quartile with the median: one row for each item.
pub(super) fn strips(rows: &[Strip]) -> String {
    const WIDTH: f64 = 860.0;
    const LEFT: f64 = 220.0;
    const RIGHT: f64 = 820.0;
    const ROW: f64 = 46.0;
    const TOP: f64 = 12.0;
    /// Radius of a dot.
    const DOT: f64 = 3.6;
    let height = TOP + ROW * rows.len() as f64 + 28.0;
    // From the last quarter below all values, for most of a class lies high.
    let least = rows
        .iter()
        .flat_map(|r| &r.values)
        .copied()
        .fold(75.0, f64::min);
    let from = (least / 25.0).floor() * 25.0;
    let x = |percent: f64| LEFT + (RIGHT - LEFT) * (percent - from) / (100.0 - from);
    let mut svg = open(
        WIDTH,
        height,
        "Scores of the class, one dot for each piece, with quartiles",
    );
    let bottom = TOP + ROW * rows.len() as f64;
    for tick in (0..=4).map(|k| from + f64::from(k) * (100.0 - from) / 4.0) {
        let _ = write!(
            svg,
            "<path d=\"M{0} {TOP}V{1}\" stroke=\"{GRID}\"/>",
            num(x(tick)),
            num(bottom)
        );
        text(
            &mut svg,
            [x(tick), bottom + 18.0],
            13.0,
            "middle",
            SOFT,
            false,
            &format!("{} %", num((10.0 * tick).round() / 10.0)),
        );
    }
    for (i, row) in rows.iter().enumerate() {
        let y = TOP + ROW * (i as f64 + 0.5);
        let name = cut(&row.name, (LEFT - 24.0) / 14.0, i == 0);
        text(
            &mut svg,
            [LEFT - 14.0, y + 5.0],
            14.0,
            "end",
            INK,
            i == 0,
            &name,
        );
        if let Some([low, median, high]) = quartiles(&row.values) {
            let _ = write!(
                svg,
                "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"24\" rx=\"3\" fill=\"{BOX}\"/>\
                 <path d=\"M{} {}v24\" stroke=\"{BLUE}\" stroke-width=\"3\"/>",
                num(x(low)),
                num(y - 12.0),
                num((x(high) - x(low)).max(1.0)),
                num(x(median)),
                num(y - 12.0)
            );
        } else {
            text(
                &mut svg,
                [x(50.0), y + 5.0],
                13.0,
                "middle",
                SOFT,
                false,
                "left to you",
            );
        }
        let (dots, hidden) = swarm(&row.values, x, DOT);
        for [px, dy] in dots {
            let _ = write!(
                svg,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{DOT}\" fill=\"{INK}\" fill-opacity=\".72\"/>",
                num(px),
                num(y + dy)
            );
        }
        for (px, n) in hidden {
            let at = [px + DOT + 4.0, y + 4.0];
            text(&mut svg, at, 11.0, "start", SOFT, false, &format!("+{n}"));
        }
    }
    svg.push_str("</svg>");
    svg
}

/// Dots side by side where they would hide each other: from the middle outwards, each in the first free place.
/// Where a stack is full, how many more there are.
fn swarm(values: &[f64], x: impl Fn(f64) -> f64, dot: f64) -> (Vec<[f64; 2]>, Vec<(f64, usize)>) {
    /// Furthest from the middle of the row.
    const HALF: f64 = 17.0;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut placed: Vec<[f64; 2]> = Vec::new();
    let mut hidden: Vec<(f64, usize)> = Vec::new();
    for value in sorted {
        let at = x(value);
        let free = |dy: &f64| {
            let clear = |p: &[f64; 2]| (p[0] - at).hypot(p[1] - dy) >= 1.9 * dot;
            placed.iter().all(clear)
        };
        let steps = (HALF / (2.0 * dot)) as i32;
        let place = (0..=steps)
            .flat_map(|k| [2.0 * dot * f64::from(k), -2.0 * dot * f64::from(k)])
            .find(free);
        match (place, hidden.last_mut()) {
            (Some(dy), _) => placed.push([at, dy]),
            (None, Some((px, n))) if at - *px < 2.0 * dot => *n += 1,
            (None, _) => hidden.push((at, 1)),
        }
    }
    (placed, hidden)
}

/// The plan with, at each hole, how many pieces have a fault there, and which way the class's marks lie on
/// average, drawn `STRETCH` times as long.
pub(super) fn faults_map(roll: &[Entry], plan: &Plan) -> String {
    const WIDTH: f64 = 860.0;
    /// How many times too long arrows are.
    const STRETCH: f64 = 10.0;
    /// A mean offset below this is not drawn, mm.
    const NOTABLE_MM: f64 = 0.1;
    const PAD: f64 = 26.0;
    let scale = (WIDTH - 2.0 * PAD) / plan.width_mm;
    let height = plan.height_mm * scale + 2.0 * PAD + 24.0;
    let at = |x: f64, y: f64| [PAD + x * scale, PAD + (plan.height_mm - y) * scale];
    let mut svg = open(
        WIDTH,
        height,
        "The plan, with the number of pieces that have a fault at each hole",
    );
    let _ = write!(
        svg,
        "<rect x=\"{PAD}\" y=\"{PAD}\" width=\"{}\" height=\"{}\" fill=\"#f3f5f7\" stroke=\"{SOFT}\"/>",
        num(plan.width_mm * scale),
        num(plan.height_mm * scale)
    );
    let measured: Vec<&Entry> = roll.iter().filter(|e| e.score.is_some()).collect();
    let room = nearest_mm(plan) * scale;
    for (h, hole) in plan.holes.iter().enumerate() {
        let here = || measured.iter().filter_map(|e| e.done.findings.holes.get(h));
        let bad =
            |s: HoleState| !matches!(s, HoleState::Good | HoleState::Close | HoleState::Unseen);
        let faults = here().filter(|f| bad(f.state)).count();
        let offs: Vec<[f64; 2]> = here()
            .filter_map(|f| f.live().map(|p| [p[0] - f.planned[0], p[1] - f.planned[1]]))
            .collect();
        let n = offs.len().max(1) as f64;
        let mean = [0, 1].map(|k| offs.iter().map(|o| o[k]).sum::<f64>() / n);
        let [x, y] = at(hole.at.x, hole.at.y);
        if faults > 0 {
            let share = faults as f64 / measured.len().max(1) as f64;
            let r = (0.48 * room).min(22.0) * (0.45 + 0.55 * share.sqrt());
            let _ = write!(
                svg,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{ORANGE}\" fill-opacity=\".3\" stroke=\"{ORANGE}\"/>",
                num(x),
                num(y),
                num(r)
            );
            let size = (1.1 * r).clamp(8.0, 14.0);
            text(
                &mut svg,
                [x, y + 0.36 * size],
                size,
                "middle",
                INK,
                true,
                &faults.to_string(),
            );
        } else {
            let _ = write!(
                svg,
                "<circle cx=\"{}\" cy=\"{}\" r=\"2.5\" fill=\"{SOFT}\"/>",
                num(x),
                num(y)
            );
        }
        if mean[0].hypot(mean[1]) >= NOTABLE_MM {
            let _ = write!(
                svg,
                "<path d=\"M{} {}l{} {}\" stroke=\"{BLUE}\" stroke-width=\"2.2\" stroke-linecap=\"round\"/>",
                num(x),
                num(y),
                num(STRETCH * mean[0] * scale),
                num(-STRETCH * mean[1] * scale)
            );
        }
    }
    let legend = format!(
        "Number: pieces with a fault at that hole. Blue: where the class's marks lie on average, {STRETCH} times as far."
    );
    let size = 13.0_f64.min((WIDTH - 2.0 * PAD) / text_width(&legend, false));
    text(
        &mut svg,
        [PAD, height - 10.0],
        size,
        "start",
        SOFT,
        false,
        &legend,
    );
    svg.push_str("</svg>");
    svg
}

fn nearest_mm(plan: &Plan) -> f64 {
    let mut near = f64::INFINITY;
    for (i, a) in plan.holes.iter().enumerate() {
        for b in &plan.holes[..i] {
            near = near.min(a.at.distance(b.at));
        }
    }
    near.min(plan.width_mm)
}
