//! Whether the holes of a plan can be told apart and lie on the sheet.

use std::collections::BTreeMap;

use super::error::Faults;
use super::length::show_planned;
use super::rows::{Drawn, SheetSize};
use super::table::{Got, Table};
use super::{Hole, Units};

/// Two holes nearer than this are one hole written twice, mm.
const SAME_PLACE_MM: f64 = 0.1;
/// Distances that agree this well are the same, mm.
const ROUNDING_MM: f64 = 1e-9;

/// "the hole is 2 mm off the sheet, past the right edge".
pub(super) fn off_text(what: &str, edge: &str, by_mm: f64, units: Units) -> String {
    if by_mm < 1e-6 {
        format!("{what} is on the {edge} edge itself")
    } else {
        format!(
            "{what} is {} off the sheet, past the {edge} edge",
            show_planned(by_mm, units)
        )
    }
}

/// Notes a single hole that is off the sheet, once for each direction.
pub(super) fn check_on_sheet(
    table: &Table,
    hole: &Hole,
    size: SheetSize,
    units: Units,
    faults: &mut Faults,
) {
    let sides = [
        ("x", hole.at.x, size.width_mm, ["left", "right"]),
        ("y", hole.at.y, size.height_mm, ["bottom", "top"]),
    ];
    for (key, value, length, [low, high]) in sides {
        let off = if value <= 0.0 {
            (low, -value)
        } else if value >= length {
            (high, value - length)
        } else {
            continue;
        };
        let text = format!(
            "found {}: {}",
            show_planned(value, units),
            off_text("the hole", off.0, off.1, units)
        );
        faults.add(table.place_of(key), table.name_of(key), text);
    }
}

/// Notes names that are used twice; upper and lower case count as one, as they do in talk.
pub(super) fn check_names(drawn: &Drawn, faults: &mut Faults) {
    let mut rows: BTreeMap<String, &str> = BTreeMap::new();
    let mut doubled_rows: Vec<&str> = Vec::new();
    for (row, &at) in drawn.rows.iter().zip(&drawn.row_places) {
        if let Some(before) = rows.insert(row.name.to_lowercase(), &row.name) {
            let text = format!("a row before it has that name (\"{before}\")");
            faults.add(at, format!("row {}: name", row.name), text);
            doubled_rows.push(&row.name);
        }
    }
    let mut holes: BTreeMap<String, &Hole> = BTreeMap::new();
    for drawn_hole in &drawn.holes {
        let hole = &drawn_hole.hole;
        let Some(before) = holes.insert(hole.name.to_lowercase(), hole) else {
            continue;
        };
        // The holes of a doubled row double too: one fault says it.
        if hole
            .row
            .as_deref()
            .is_some_and(|r| doubled_rows.contains(&r))
        {
            continue;
        }
        let owner = |h: &Hole| match &h.row {
            Some(row) => format!("in row {row}"),
            None => "as a single hole".to_string(),
        };
        let text = format!(
            "there are two holes of this name: one {}, one {}",
            owner(before),
            owner(hole)
        );
        faults.add(drawn_hole.at, format!("hole {}", hole.name), text);
    }
}

/// Notes holes at the same place, and a tolerance so wide that a mark could serve two holes.
pub(super) fn check_distances(
    drawn: &Drawn,
    tolerance: Option<Got<f64>>,
    units: Units,
    faults: &mut Faults,
) {
    // Half-read rows would make faults that are none.
    if !faults.is_empty() {
        return;
    }
    let mut by_x: Vec<usize> = (0..drawn.holes.len()).collect();
    by_x.sort_by(|&a, &b| {
        drawn.holes[a]
            .hole
            .at
            .x
            .total_cmp(&drawn.holes[b].hole.at.x)
    });
    let mut nearest: Option<(f64, usize, usize)> = None;
    for (i, &a) in by_x.iter().enumerate() {
        for &b in &by_x[i + 1..] {
            let (first, second) = (a.min(b), a.max(b));
            let (p, q) = (&drawn.holes[first].hole, &drawn.holes[second].hole);
            let limit = nearest.map_or(f64::INFINITY, |n| n.0.max(SAME_PLACE_MM));
            if (p.at.x - q.at.x).abs() > limit {
                break;
            }
            let distance = p.at.distance(q.at);
            if distance < SAME_PLACE_MM {
                let text = format!("it is at the same place as {}", p.name);
                faults.add(drawn.holes[second].at, format!("hole {}", q.name), text);
            }
            // Equal but for rounding: the first pair is named.
            if nearest.is_none_or(|n| distance < n.0 - ROUNDING_MM) {
                nearest = Some((distance, first, second));
            }
        }
    }
    if let (Some(tolerance), Some((distance, a, b))) = (tolerance, nearest)
        && distance >= SAME_PLACE_MM
        && tolerance.value > distance / 2.0
    {
        let text = format!(
            "found {}, but {} and {} are only {} apart; expected at most half of that, so that a mark \
             cannot serve two holes",
            show_planned(tolerance.value, units),
            drawn.holes[a].hole.name,
            drawn.holes[b].hole.name,
            show_planned(distance, units)
        );
        faults.add(tolerance.at, "[tolerance]: position", text);
    }
}
