//! Rows that are drawn from another row: beside it, seen in a mirror, or moved.

use nalgebra::Vector2;

use super::error::Faults;
use super::keys::nearest;
use super::line::Line;
use super::rows::{Drawn, SheetSize};
use super::spacing::{self, Track};
use super::table::{Got, PointOrName, Table};
use super::{Datum, Edge, Units};

/// The line of the row that `key` names; a fault if there is none above.
fn base(table: &Table, key: &str, drawn: &Drawn, faults: &mut Faults) -> Option<Line> {
    let got = table.text(key, "\"A\"", faults)?;
    let found = drawn.lines.iter().find(|(name, _)| name == got.value);
    if found.is_none() {
        let text = format!(
            "there is no row \"{}\" above this one",
            super::length::shorten(got.value)
        );
        let near = nearest(got.value, drawn.lines.iter().map(|l| l.0.as_str()));
        match near {
            Some(near) => {
                let hint = format!("did you mean \"{near}\"?");
                faults.add_with_hint(got.at, table.name_of(key), text, hint);
            }
            None => faults.add(got.at, table.name_of(key), text),
        }
    }
    found.map(|(_, line)| line.clone())
}

/// A row beside another: with its stations, midway between them, or with a spacing of its own.
pub(super) fn offset(
    table: &Table,
    (units, size): (Units, Option<SheetSize>),
    drawn: &Drawn,
    faults: &mut Faults,
) -> Option<Line> {
    let base = base(table, "offset_from", drawn, faults);
    let by = table.length("offset", "\"1/2\"", units, faults);
    let stagger = table.flag("stagger", faults);
    let (base, by) = (base?, by?);
    let spaced = spacing::KEYS.iter().find(|k| table.has(k));
    if let Some(key) = spaced
        && stagger
    {
        let text =
            "found beside `stagger`, which puts the holes midway between those of the other row";
        faults.add(table.place_of(key), table.name_of(key), text);
        return None;
    }
    let stations = if spaced.is_some() {
        let length_mm = match base.edge {
            Some(edge) => edge.lengths(size?).0,
            None => base.stations.last().copied().unwrap_or_default(),
        };
        let track = match base.edge {
            Some(edge) => Track::Edge {
                ends: Some(edge.ends().map(Edge::name)),
                length_mm: Some(length_mm),
            },
            None => Track::Between { length_mm },
        };
        spacing::stations(table, track, units, faults)?
    } else if stagger {
        let midway = base.stations.windows(2).map(|w| (w[0] + w[1]) / 2.0);
        midway.collect()
    } else {
        base.stations.clone()
    };
    if stations.is_empty() {
        let text = "the row it is measured from has one hole, and nothing is midway";
        faults.add(table.place_of("stagger"), table.name_of("stagger"), text);
        return None;
    }
    let skipped = if stagger || spaced.is_some() {
        Vec::new()
    } else {
        base.skipped.clone()
    };
    Some(Line {
        origin: base.origin + base.inward() * by.value,
        datum: match base.datum {
            Datum::Edge(edge) => Datum::Edge(edge),
            _ => Datum::Start,
        },
        stations,
        skipped,
        ends: Vec::new(),
        ..base
    })
}

/// Another row's holes, mirrored in an upright or level line, or shifted.
pub(super) fn copy(
    table: &Table,
    (units, size): (Units, Option<SheetSize>),
    drawn: &Drawn,
    faults: &mut Faults,
) -> Option<Line> {
    let base = base(table, "copy_of", drawn, faults);
    let mirror = table.optional_word(
        "mirror",
        &[("left-right", true), ("top-bottom", false)],
        faults,
    );
    let at = table.optional_length("mirror_at", units, faults);
    let shift = match table.optional_point("shift", units, faults) {
        Some(Got {
            value: PointOrName::Point([x, y]),
            ..
        }) => Some(Vector2::new(x, y)),
        Some(got) => {
            let text = "found a name; expected two lengths such as [\"0\", \"5/8\"]";
            faults.add(got.at, table.name_of("shift"), text);
            None
        }
        None => None,
    };
    if table.has("mirror") == table.has("shift") || (table.has("shift") && table.has("mirror_at")) {
        let text = "expected `mirror` (\"left-right\" or \"top-bottom\", with `mirror_at` unless in the \
                    middle of the sheet) or `shift` ([right, up])";
        faults.add(table.place_of("copy_of"), table.name_of("copy_of"), text);
        return None;
    }
    let (base, size) = (base?, size?);
    let image = |p: Vector2<f64>| match (shift, mirror) {
        (Some(by), _) => p + by,
        (_, Some(true)) => {
            let middle = at.map_or(size.width_mm / 2.0, |a| a.value);
            Vector2::new(2.0 * middle - p.x, p.y)
        }
        _ => {
            let middle = at.map_or(size.height_mm / 2.0, |a| a.value);
            Vector2::new(p.x, 2.0 * middle - p.y)
        }
    };
    if shift.is_none() && mirror.is_none() {
        return None;
    }
    let across = mirror.is_some_and(|upright| base.edge.is_some_and(|e| e.is_level() != upright));
    if let Some(edge) = base.edge {
        let edge = if across { edge.opposite() } else { edge };
        let places: Vec<Vector2<f64>> = base
            .stations
            .iter()
            .map(|&s| image(base.place(s)))
            .collect();
        let mut stations: Vec<f64> = places
            .iter()
            .map(|p| if edge.is_level() { p.x } else { p.y })
            .collect();
        let mut skipped = base.skipped;
        // Stations always run from the left or the bottom edge.
        if stations.len() > 1 && stations[0] > stations[1] {
            stations.reverse();
            let count = stations.len();
            skipped = skipped.into_iter().map(|n| count + 1 - n).rev().collect();
        }
        let first = *places.first()?;
        return Some(Line {
            skipped,
            ..edge.line(edge.distance(first, size), size, stations)
        });
    }
    let origin = image(base.origin);
    Some(Line {
        origin,
        along: image(base.origin + base.along) - origin,
        datum: match base.datum {
            Datum::Edge(edge) => Datum::Edge(edge),
            _ => Datum::Start,
        },
        ends: Vec::new(),
        ..base
    })
}
