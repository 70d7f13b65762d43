//! Whether the holes of a plan can be told apart and lie on the sheet.

use std::collections::BTreeMap;

use super::error::Faults;
use super::length::show_planned;
use super::rows::{Drawn, DrawnHole, SheetSize};
use super::table::{Got, Table};
use super::{Hole, Units};

/// Two holes nearer than this are one hole written twice, mm.
pub(super) const SAME_PLACE_MM: f64 = 0.1;
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

/// Notes a hole that is off the sheet, once for each direction; gives whether it is.
pub(super) fn check_on_sheet(
    table: &Table,
    hole: &Hole,
    size: SheetSize,
    units: Units,
    faults: &mut Faults,
) -> bool {
    let before = faults.count();
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
        let name = match &hole.row {
            Some(_) => format!("{}: {}", table.label, hole.name),
            None => table.name_of(key),
        };
        faults.add(table.place_of(key), name, text);
    }
    faults.count() > before
}

/// Notes names that are used twice; upper and lower case count as one, as they do in talk.
pub(super) fn check_names(drawn: &Drawn, faults: &mut Faults) {
    let mut rows: BTreeMap<String, &str> = BTreeMap::new();
    let mut doubled_rows: Vec<&str> = Vec::new();
    for (name, at) in &drawn.run_places {
        if let Some(before) = rows.insert(name.to_lowercase(), name) {
            let text = format!("a row before it has that name (\"{before}\")");
            faults.add(*at, format!("row {name}: name"), text);
            doubled_rows.push(name);
        }
    }
    let mut holes: BTreeMap<String, &Hole> = BTreeMap::new();
    for drawn_hole in drawn.all() {
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
    let holes: Vec<&DrawnHole> = drawn.all().collect();
    let mut by_x: Vec<usize> = (0..holes.len()).collect();
    by_x.sort_by(|&a, &b| holes[a].hole.at.x.total_cmp(&holes[b].hole.at.x));
    let mut nearest: Option<(f64, usize, usize)> = None;
    for (i, &a) in by_x.iter().enumerate() {
        for &b in &by_x[i + 1..] {
            let (first, second) = (a.min(b), a.max(b));
            let (p, q) = (&holes[first].hole, &holes[second].hole);
            let limit = nearest.map_or(f64::INFINITY, |n| n.0.max(SAME_PLACE_MM));
            if (p.at.x - q.at.x).abs() > limit {
                break;
            }
            let distance = p.at.distance(q.at);
            if distance < SAME_PLACE_MM {
                let text = format!("it is at the same place as {}", p.name);
                let key = format!("hole {}", q.name);
                if q.row.is_some() {
                    let hint = format!(
                        "if both rows mean the one hole, say share = [\"{}\"]",
                        p.name
                    );
                    faults.add_with_hint(holes[second].at, key, text, hint);
                } else {
                    faults.add(holes[second].at, key, text);
                }
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
            holes[a].hole.name,
            holes[b].hole.name,
            show_planned(distance, units)
        );
        let [p, q] = [a, b].map(|i| &holes[i].hole);
        match &q.row {
            Some(row) if p.row.is_some() && p.row != q.row => {
                let hint = format!(
                    "is one rivet planned twice where the rows cross? leave it out of row {row} with `skip`"
                );
                faults.add_with_hint(tolerance.at, "[tolerance]: position", text, hint);
            }
            _ => faults.add(tolerance.at, "[tolerance]: position", text),
        }
    }
}
