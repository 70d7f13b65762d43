//! Grids, circles and arcs.

use nalgebra::Vector2;

use super::error::Faults;
use super::length::shorten;
use super::line::Line;
use super::read::name;
use super::rows::{Drawn, SheetSize, add, add_run};
use super::table::Table;
use super::{Datum, Edge, Path, Run, Units, places, spacing};
use crate::frame::Point;

/// All grids: each line is a row of its own, named `G-1`, `G-2`, ... with holes `G-1-1`, `G-1-2`, ...
pub(super) fn grids(
    top: &Table,
    units: Units,
    size: Option<SheetSize>,
    drawn: &mut Drawn,
    faults: &mut Faults,
) {
    for table in top.tables("grid", faults) {
        let name = name(&table, "\"G\"", faults);
        let at = places::read(&table, "at", units, drawn, faults);
        let columns = spacing::count(&table, "columns", faults);
        let lines = spacing::count(&table, "lines", faults);
        let [across, up] = ["column_pitch", "line_pitch"].map(|key| {
            let got = table.length(key, "\"3/4\"", units, faults);
            spacing::above_zero(&table, key, got, faults)
        });
        let stagger = table.flag("stagger", faults);
        let skipped = skipped(&table, faults);
        let (Some(name), Some(at), Some(columns), Some(lines), Some(across), Some(up)) =
            (name, at, columns, lines, across, up)
        else {
            continue;
        };
        if stagger && columns < 2 {
            let text = "found with one column; the lines between have a hole less";
            faults.add(table.place_of("stagger"), table.name_of("stagger"), text);
            continue;
        }
        // Both are at most 2000, so the product fits.
        if !drawn.has_room(columns * lines, &table, faults) {
            return;
        }
        for line in 0..lines {
            let between = stagger && line % 2 == 1;
            let start = at.at.x + if between { across / 2.0 } else { 0.0 };
            let count = columns - usize::from(between);
            let row = Line {
                origin: Vector2::new(0.0, at.at.y + up * line as f64),
                along: Vector2::x(),
                edge: None,
                datum: Datum::Edge(Edge::Left),
                stations: (0..count).map(|i| start + across * i as f64).collect(),
                skipped: skipped
                    .iter()
                    .filter(|s| s[0] == line + 1)
                    .map(|s| s[1])
                    .collect(),
                ends: at.hole.iter().cloned().collect(),
            };
            let label = format!("{}-{}", name.value, line + 1);
            add(&table, &label, row, (units, size), drawn, faults);
        }
    }
}

/// Holes of a grid to leave out, written `"2-3"`: line 2, number 3.
fn skipped(table: &Table, faults: &mut Faults) -> Vec<[usize; 2]> {
    let mut all = Vec::new();
    for got in table.optional_texts("skip", faults).unwrap_or_default() {
        let pair = got.value.split_once('-').and_then(|(line, number)| {
            Some([line.parse::<usize>().ok()?, number.parse::<usize>().ok()?])
        });
        match pair {
            Some(pair) => all.push(pair),
            None => {
                let text = format!(
                    "found \"{}\"; expected line and number such as \"2-3\"",
                    shorten(got.value)
                );
                faults.add(got.at, table.name_of("skip"), text);
            }
        }
    }
    all
}

/// All circles and arcs. Angles are degrees, 0 to the right, anticlockwise.
pub(super) fn circles(
    top: &Table,
    units: Units,
    size: Option<SheetSize>,
    drawn: &mut Drawn,
    faults: &mut Faults,
) {
    for table in top.tables("circle", faults) {
        let name = name(&table, "\"R\"", faults);
        let centre = places::read(&table, "centre", units, drawn, faults);
        let diameter = table.length("diameter", "\"4 1/2\"", units, faults);
        let diameter = spacing::above_zero(&table, "diameter", diameter, faults);
        let count = spacing::count(&table, "count", faults);
        let start = angle(&table, "start_angle", faults);
        let end = angle(&table, "end_angle", faults);
        let (Some(name), Some(centre), Some(diameter), Some(count)) =
            (name, centre, diameter, count)
        else {
            continue;
        };
        let start = start.unwrap_or(0.0);
        let sweep = end.map(|end| (end - start).rem_euclid(360.0));
        if sweep.is_some_and(|s| s == 0.0) {
            let text = "found the same as `start_angle`; leave it out for a whole circle";
            faults.add(
                table.place_of("end_angle"),
                table.name_of("end_angle"),
                text,
            );
            continue;
        }
        if count < 2 {
            let text = "found 1; expected 2 or more";
            faults.add(table.place_of("count"), table.name_of("count"), text);
            continue;
        }
        if !drawn.has_room(count, &table, faults) {
            return;
        }
        let step = sweep.map_or(360.0 / count as f64, |s| s / (count - 1) as f64);
        let radius = diameter / 2.0;
        let turns: Vec<f64> = (0..count).map(|i| step * i as f64).collect();
        let places: Vec<Vector2<f64>> = turns
            .iter()
            .map(|turn| {
                let (sin, cos) = (start + turn).to_radians().sin_cos();
                centre.at + Vector2::new(cos, sin) * radius
            })
            .collect();
        let stations: Vec<f64> = turns.iter().map(|t| t.to_radians() * radius).collect();
        let shared = places::shared(&table, &places, &[], (units, drawn), faults);
        let run = Run {
            name: name.value.to_string(),
            path: Path::Circle {
                centre: Point::at(centre.at),
                radius_mm: radius,
                whole: sweep.is_none(),
            },
            datum: Datum::Start,
            stops: Vec::new(),
            skipped: places::skipped(&table, count, faults),
        };
        let hole_name = |n: usize| format!("{}{n}", name.value);
        add_run(
            &table,
            run,
            (&places, &stations, &shared),
            hole_name,
            (units, size),
            drawn,
            faults,
        );
    }
}

fn angle(table: &Table, key: &str, faults: &mut Faults) -> Option<f64> {
    let got = table.optional_number(key, faults)?;
    if got.value.abs() <= 360.0 {
        return Some(got.value);
    }
    let text = format!("found {}; expected degrees from -360 to 360", got.value);
    faults.add(got.at, table.name_of(key), text);
    None
}
