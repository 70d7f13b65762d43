//! One page: the piece to scale, dimensioned from its edges.

use std::fmt::Write as _;

use super::dimension::{APART_MM, FIGURES_MM, Side, narrow, ordinates, overall};
use super::{FAINT, OUTLINE, THIN, View, length, line, piece, text};
use crate::card::print::Paper;
use crate::draw::{self, num};
use crate::plan::length::show_planned;
use crate::plan::rules::AUTHORITY;
use crate::plan::{Edge, Head, Path, Plan, Row, Units};

/// Room round the page that printers cannot reach, mm.
const MARGIN_MM: f64 = 9.0;
/// Height of the title block, mm.
const TITLE_MM: f64 = 21.0;
/// Scales that are used on drawings, paper over piece, the largest first.
const SCALES: [(f64, &str); 13] = [
    (5.0, "5 : 1"),
    (2.0, "2 : 1"),
    (1.0, "1 : 1"),
    (0.5, "1 : 2"),
    (0.4, "1 : 2.5"),
    (0.2, "1 : 5"),
    (0.1, "1 : 10"),
    (0.05, "1 : 20"),
    (0.04, "1 : 25"),
    (0.02, "1 : 50"),
    (0.01, "1 : 100"),
    (0.005, "1 : 200"),
    (0.002, "1 : 500"),
];
/// From the piece to the first ring of figures, past the edge distances, mm.
const FIRST_BAND_MM: f64 = 6.0;
/// Depth of one ring of figures, mm.
const BAND_MM: f64 = 16.0;
/// Depth of the overall dimension, mm.
const OVERALL_MM: f64 = 7.0;
/// Edge distances dimensioned on one side.
const MOST_EDGE_DISTANCES: usize = 6;
/// Width of the hole table, mm.
const TABLE_MM: f64 = 46.0;
/// Height of one line of it, mm.
const TABLE_LINE_MM: f64 = 3.4;

/// The drawing as an SVG page. Stations are ordinates from the left and bottom edges; edge distances are from
/// the row's own edge. What has no row along an edge is in a table of x and y.
#[must_use]
pub fn drawing(plan: &Plan, paper: Paper) -> String {
    let [short, long] = paper.size_mm();
    let table = table_lines(plan);
    let sides = [Edge::Left, Edge::Right, Edge::Bottom, Edge::Top].map(|e| bands(plan, e));
    let [left, right, bottom, top] = sides;
    let beside = if table.is_empty() { 0.0 } else { TABLE_MM };
    // Whichever way of the paper shows the piece larger; on its side when that is the same.
    let fit = |w: f64, h: f64| {
        let across = w - 2.0 * MARGIN_MM - left - right - beside;
        let up = h - 2.0 * MARGIN_MM - TITLE_MM - bottom - top;
        (across / plan.width_mm).min(up / plan.height_mm)
    };
    let (width, height) = if fit(short, long) > fit(long, short) {
        (short, long)
    } else {
        (long, short)
    };
    let largest = fit(width, height);
    let (scale, name) = SCALES
        .iter()
        .find(|s| s.0 <= largest)
        .copied()
        .unwrap_or(SCALES[SCALES.len() - 1]);
    let spare_x = width - 2.0 * MARGIN_MM - left - right - beside - scale * plan.width_mm;
    let spare_y = height - 2.0 * MARGIN_MM - TITLE_MM - bottom - top - scale * plan.height_mm;
    let view = View {
        scale,
        origin: [
            MARGIN_MM + left + spare_x / 2.0,
            height - MARGIN_MM - TITLE_MM - bottom - spare_y / 2.0,
        ],
    };
    let mut out = piece(plan, &view, (1.6_f64).min(2.2 * scale).max(0.9));
    names(plan, &view, &mut out);
    let thinned = dimensions(plan, &view, &mut out);
    hole_table(
        &table,
        [width - MARGIN_MM - TABLE_MM + 3.0, MARGIN_MM + 4.0],
        height,
        &mut out,
    );
    if !thinned.is_empty() {
        let note = format!(
            "{} {}: for want of room not every hole has its figure here; punchready plan stations lists all.",
            if thinned.len() == 1 { "Row" } else { "Rows" },
            thinned.join(", ")
        );
        let at = [MARGIN_MM + 3.0, height - MARGIN_MM - TITLE_MM - 1.6];
        text(&mut out, at, FIGURES_MM, ("start", 0.0), &note);
    }
    title_block(plan, name, [width, height], &mut out);
    draw::page(width, height, &out)
}

/// Rows that are dimensioned on this side, the nearest to the edge first.
fn rows_on(plan: &Plan, side: Edge) -> Vec<&Row> {
    let mut rows: Vec<&Row> = plan.rows.iter().filter(|r| r.along == side).collect();
    rows.sort_by(|a, b| a.edge_distance_mm.total_cmp(&b.edge_distance_mm));
    rows
}

/// Rows on one side whose stations are those of a row before are not dimensioned again.
fn distinct<'a>(rows: &[&'a Row]) -> Vec<(&'a Row, String)> {
    /// Rings of figures on one side; more would leave no room for the piece.
    const MOST: usize = 3;
    let mut out: Vec<(&Row, String)> = Vec::new();
    for row in rows {
        match out.iter().position(|(r, _)| same_stations(r, row)) {
            Some(i) => {
                let _ = write!(out[i].1, ", {}", row.name);
            }
            None if out.len() < MOST => out.push((row, row.name.clone())),
            None => {}
        }
    }
    out
}

fn same_stations(a: &Row, b: &Row) -> bool {
    let (a, b) = (&a.stations_mm, &b.stations_mm);
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6)
}

/// Of `count` figures in order, the last of them that of a row's last hole: whether each is printed where there is
/// room for so many. Every second, every third, ..., and the last.
fn printed(count: usize, room: usize) -> Vec<bool> {
    let one_in = |every: usize| (0..count).map(move |i| i % every == 0 || i + 1 == count);
    let every = (1..count.max(2)).find(|&e| one_in(e).filter(|p| *p).count() <= room);
    one_in(every.unwrap_or(count.max(1))).collect()
}

/// Room that a side needs for its figures, mm.
fn bands(plan: &Plan, side: Edge) -> f64 {
    let rings = distinct(&rows_on(plan, side)).len() as f64;
    let overall = matches!(side, Edge::Left | Edge::Bottom);
    // Edge distances of the rows that end at this side.
    let crossing = match side {
        Edge::Right => rows_on(plan, Edge::Bottom).len() + rows_on(plan, Edge::Top).len(),
        Edge::Top => rows_on(plan, Edge::Left).len() + rows_on(plan, Edge::Right).len(),
        _ => 0,
    };
    let narrow = if crossing > 0 {
        4.0 + 4.0 * crossing.min(MOST_EDGE_DISTANCES) as f64
    } else {
        0.0
    };
    FIRST_BAND_MM.max(narrow) + BAND_MM * rings + if overall { OVERALL_MM } else { 0.0 } + 2.0
}

/// Draws all dimensions. Given back are the names of rows of which not every hole has a figure.
fn dimensions(plan: &Plan, view: &View, out: &mut String) -> Vec<String> {
    let mut thinned = Vec::new();
    let u = plan.units;
    let (w, h) = (plan.width_mm, plan.height_mm);
    for (side, edge) in [
        (Side::Bottom, Edge::Bottom),
        (Side::Top, Edge::Top),
        (Side::Left, Edge::Left),
        (Side::Right, Edge::Right),
    ] {
        let level = edge.is_level();
        let at = match side {
            Side::Bottom => view.y(0.0),
            Side::Top => view.y(h),
            Side::Left => view.x(0.0),
            Side::Right => view.x(w),
        };
        let rows = rows_on(plan, edge);
        let rings = distinct(&rows);
        let room = bands(plan, edge)
            - 2.0
            - if matches!(side, Side::Left | Side::Bottom) {
                OVERALL_MM
            } else {
                0.0
            };
        let first = room - BAND_MM * rings.len() as f64;
        // First, so that the figure 0 stands on its line.
        if side == Side::Bottom {
            let off = room + OVERALL_MM * 0.6;
            overall(out, side, at, (view.x(0.0), view.x(w)), off, &length(w, u));
        }
        if side == Side::Left {
            let off = room + OVERALL_MM * 0.6;
            overall(out, side, at, (view.y(h), view.y(0.0)), off, &length(h, u));
        }
        // The outermost first: its lines pass behind the figures of the others.
        for (i, (row, names)) in rings.iter().enumerate().rev() {
            let from = first + BAND_MM * i as f64;
            let along = |s: f64| if level { view.x(s) } else { view.y(s) };
            let ends = [along(0.0), along(if level { w } else { h })];
            let bounds = [ends[0].min(ends[1]), ends[0].max(ends[1])];
            // One place is the zero's.
            let room = ((bounds[1] - bounds[0]) / APART_MM) as usize;
            let printed = printed(row.stations_mm.len(), room);
            if printed.iter().any(|p| !p) {
                thinned.push(names.clone());
            }
            let mut places: Vec<(f64, f64, String)> = row
                .stations_mm
                .iter()
                .zip(printed)
                .filter(|(_, printed)| *printed)
                .map(|(&s, _)| {
                    (
                        along(s),
                        row.edge_distance_mm * view.scale - 1.6,
                        length(s, u),
                    )
                })
                .collect();
            places.push((along(0.0), 0.0, "0".into()));
            for p in &mut places {
                p.1 = p.1.max(0.0);
            }
            ordinates(out, side, at, from, &places, bounds);
            // The row's name beside the zero.
            let label = side.point(at, along(0.0), from + 4.2);
            let (place, anchor) = if level {
                ([label[0] - 3.4, label[1] + FIGURES_MM * 0.36], "end")
            } else {
                ([label[0], label[1] + 4.6], "middle")
            };
            text(out, place, FIGURES_MM, (anchor, 0.0), names);
        }
        let undrawn = |row: &&&Row| rings.iter().all(|(r, _)| !same_stations(r, row));
        thinned.extend(rows.iter().filter(undrawn).map(|row| row.name.clone()));
        // Distances of the rows from this edge, on the side where such rows end.
        // Those of the opposite edge stand there too, nearer to the piece.
        let before = match edge {
            Edge::Top => rows_on(plan, Edge::Bottom).len(),
            Edge::Right => rows_on(plan, Edge::Left).len(),
            _ => 0,
        };
        let room_left = MOST_EDGE_DISTANCES.saturating_sub(before);
        for (i, row) in rows.iter().take(room_left).enumerate() {
            let e = row.edge_distance_mm;
            let figure = length(e, u);
            let off = 4.0 + 4.0 * (before + i) as f64;
            match edge {
                Edge::Bottom => narrow(
                    out,
                    Side::Right,
                    view.x(w),
                    (view.y(0.0), view.y(e)),
                    off,
                    &figure,
                ),
                Edge::Top => narrow(
                    out,
                    Side::Right,
                    view.x(w),
                    (view.y(h), view.y(h - e)),
                    off,
                    &figure,
                ),
                Edge::Left => narrow(
                    out,
                    Side::Top,
                    view.y(h),
                    (view.x(0.0), view.x(e)),
                    off,
                    &figure,
                ),
                Edge::Right => narrow(
                    out,
                    Side::Top,
                    view.y(h),
                    (view.x(w), view.x(w - e)),
                    off,
                    &figure,
                ),
            }
        }
    }
    thinned
}

/// Names at the first and last hole of each run, and at single holes; none over another, where the piece is narrow.
fn names(plan: &Plan, view: &View, out: &mut String) {
    let mut taken: Vec<[f64; 4]> = Vec::new();
    let mut name = |label: &str, at: [f64; 2], [dx, dy]: [f64; 2]| {
        let anchor = if dx < 0.0 { "end" } else { "start" };
        let long = label.chars().count() as f64 * FIGURES_MM * 0.66;
        let left = at[0] + dx - if dx < 0.0 { long } else { 0.0 };
        let own = [left, at[1] + dy - FIGURES_MM, left + long, at[1] + dy];
        let over = |b: &[f64; 4]| own[0] < b[2] && b[0] < own[2] && own[1] < b[3] && b[1] < own[3];
        if taken.iter().any(over) {
            return;
        }
        taken.push(own);
        text(
            out,
            [at[0] + dx, at[1] + dy],
            FIGURES_MM,
            (anchor, 0.0),
            label,
        );
    };
    for run in &plan.runs {
        let own: Vec<_> = run.stops.iter().filter(|s| !s.shared).collect();
        let edge = plan
            .rows
            .iter()
            .find(|r| r.name == run.name)
            .map(|r| r.along);
        // Into the piece, away from the row's figures.
        let offset = match edge {
            Some(Edge::Top) => [1.0, 4.2],
            Some(Edge::Left) => [2.4, -1.0],
            Some(Edge::Right) => [-2.4, -1.0],
            _ => [1.0, -2.2],
        };
        if let (Some(first), Some(last)) = (own.first(), own.last()) {
            name(&first.hole, view.at(first.at), offset);
            let back = if edge.is_some_and(Edge::is_level) {
                [-offset[0], offset[1]]
            } else {
                offset
            };
            if own.len() > 1 {
                name(&last.hole, view.at(last.at), back);
            }
        }
    }
    let singles = plan.holes.iter().filter(|h| h.row.is_none());
    for hole in singles.chain(&plan.drilled) {
        name(&hole.name, view.at(hole.at), [1.8, -1.6]);
    }
}

/// What no row along an edge dimensions: name, x, y.
fn table_lines(plan: &Plan) -> Vec<[String; 3]> {
    let u = plan.units;
    let mut lines = Vec::new();
    for run in &plan.runs {
        if let Path::Circle {
            centre, radius_mm, ..
        } = run.path
        {
            let about = format!(
                "{}: circle of {}, centre",
                run.name,
                length(2.0 * radius_mm, u)
            );
            lines.push([about, String::new(), String::new()]);
            lines.push([String::new(), length(centre.x, u), length(centre.y, u)]);
        }
        if !plan.rows.iter().any(|r| r.name == run.name) {
            for stop in run.stops.iter().filter(|s| !s.shared) {
                lines.push([
                    stop.hole.clone(),
                    length(stop.at.x, u),
                    length(stop.at.y, u),
                ]);
            }
        }
    }
    for hole in plan.holes.iter().filter(|h| h.row.is_none()) {
        lines.push([
            hole.name.clone(),
            length(hole.at.x, u),
            length(hole.at.y, u),
        ]);
    }
    for hole in &plan.drilled {
        let name = format!("{} (drilled)", hole.name);
        lines.push([name, length(hole.at.x, u), length(hole.at.y, u)]);
    }
    lines
}

fn hole_table(lines: &[[String; 3]], [x, top]: [f64; 2], height: f64, out: &mut String) {
    if lines.is_empty() {
        return;
    }
    let columns = [x + 20.0, x + 30.0, x + 39.0];
    for (at, anchor, what) in [
        (x, "start", "Hole"),
        (columns[1] - 3.0, "end", "from left"),
        (columns[2] + 1.0, "end", "bottom"),
    ] {
        text(out, [at, top], FIGURES_MM, (anchor, 0.0), what);
    }
    line(out, [x, top + 1.2], [columns[2] + 1.0, top + 1.2], THIN);
    let fits = ((height - MARGIN_MM - TITLE_MM - top - 8.0) / TABLE_LINE_MM) as usize;
    for (i, [name, across, up]) in lines.iter().take(fits).enumerate() {
        let y = top + 1.6 + TABLE_LINE_MM * (i + 1) as f64;
        text(out, [x, y], FIGURES_MM, ("start", 0.0), name);
        text(out, [columns[1] - 3.0, y], FIGURES_MM, ("end", 0.0), across);
        text(out, [columns[2] + 1.0, y], FIGURES_MM, ("end", 0.0), up);
    }
    if lines.len() > fits {
        let y = top + 1.6 + TABLE_LINE_MM * (fits + 1) as f64;
        let more = format!("{} more: see plan stations", lines.len() - fits);
        text(out, [x, y], FIGURES_MM, ("start", 0.0), &more);
    }
}

fn title_block(plan: &Plan, scale: &str, [width, height]: [f64; 2], out: &mut String) {
    let (left, right) = (MARGIN_MM, width - MARGIN_MM);
    let (top, bottom) = (height - MARGIN_MM - TITLE_MM, height - MARGIN_MM);
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {OUTLINE}/>",
        num(left),
        num(top),
        num(right - left),
        num(TITLE_MM)
    );
    let split = right - 46.0;
    line(out, [split, top], [split, bottom], THIN);
    let _ = writeln!(
        out,
        "<text x=\"{}\" y=\"{}\" font-size=\"4.2\" font-weight=\"700\">{}</text>",
        num(left + 3.0),
        num(top + 6.2),
        draw::escape(&plan.title)
    );
    let mut facts = vec![format!(
        "Sheet {} x {}{}",
        length(plan.width_mm, plan.units),
        length(plan.height_mm, plan.units),
        plan.thickness_mm
            .map_or_else(String::new, |t| format!(" x {}", length(t, plan.units)))
    )];
    if let Some(d) = plan.rivet_mm {
        let head = match plan.head {
            Some(Head::Protruding) => ", protruding head",
            Some(Head::Countersunk) => ", countersunk head",
            None => "",
        };
        facts.push(format!("rivet {}{head}", length(d, plan.units)));
    }
    facts.push(format!("{} holes to mark", plan.holes.len()));
    facts.push(format!(
        "each within {} of its place",
        show_planned(plan.tolerance_mm, plan.units)
    ));
    let notes = [
        facts.join("; "),
        "Stations run from 0 at the left and the bottom edge, none from the hole before; edge distances from the \
         row's own edge."
            .to_string(),
        format!("{AUTHORITY} Do not measure this print."),
    ];
    // Upright pages are narrow: smaller figures there.
    let size = if width < height { 1.75 } else { 2.3 };
    for (i, note) in notes.iter().enumerate() {
        text(
            out,
            [left + 3.0, top + 10.8 + 3.6 * i as f64],
            size,
            ("start", 0.0),
            note,
        );
    }
    let unit = match plan.units {
        Units::Inch => "inches",
        Units::Millimetre => "millimetres",
    };
    for (i, fact) in [
        format!("Scale {scale}"),
        format!("Dimensions in {unit}"),
        "Seen on the marked face".to_string(),
        "punchready".to_string(),
    ]
    .iter()
    .enumerate()
    {
        text(
            out,
            [split + 3.0, top + 5.4 + 4.4 * i as f64],
            2.6,
            ("start", 0.0),
            fact,
        );
    }
    let _ = writeln!(
        out,
        "<rect x=\"{m}\" y=\"{m}\" width=\"{}\" height=\"{}\" {FAINT}/>",
        num(width - 2.0 * MARGIN_MM),
        num(height - 2.0 * MARGIN_MM),
        m = num(MARGIN_MM)
    );
}
