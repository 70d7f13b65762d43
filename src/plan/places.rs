//! Places: points as written, and holes that stand for points.

use nalgebra::Vector2;

use super::error::Faults;
use super::geometry::SAME_PLACE_MM;
use super::keys::nearest;
use super::length::{shorten, show_planned};
use super::rows::Drawn;
use super::table::{Got, PointOrName, Table};
use super::{Hole, Units};

/// A place, and the hole that marks it where there is one.
#[derive(Debug, Clone)]
pub(super) struct Place {
    pub(super) at: Vector2<f64>,
    pub(super) hole: Option<String>,
}

/// The place under `key`; `None`, and a fault, when it is missing or names no hole.
pub(super) fn read(
    table: &Table,
    key: &str,
    units: Units,
    drawn: &Drawn,
    faults: &mut Faults,
) -> Option<Place> {
    if !table.has(key) {
        let text = format!("missing; expected for example `{key} = [\"6\", \"2 17/32\"]`");
        faults.add(table.at, table.name_of(key), text);
    }
    let got = table.optional_point(key, units, faults)?;
    match got.value {
        PointOrName::Point([x, y]) => Some(Place {
            at: Vector2::new(x, y),
            hole: None,
        }),
        PointOrName::Name(name) => {
            let named = Got {
                value: name,
                at: got.at,
            };
            let hole = named_hole(table, key, named, drawn, faults)?;
            Some(Place {
                at: hole.at.vec(),
                hole: Some(hole.name.clone()),
            })
        }
    }
}

/// The hole of this name among those read so far; a fault if there is none.
fn named_hole<'d>(
    table: &Table,
    key: &str,
    got: Got<&str>,
    drawn: &'d Drawn,
    faults: &mut Faults,
) -> Option<&'d Hole> {
    let found = drawn.known_holes().find(|h| h.name == got.value);
    if found.is_none() {
        let text = format!(
            "there is no hole \"{}\" above this place in the file",
            shorten(got.value)
        );
        let near = nearest(got.value, drawn.known_holes().map(|h| h.name.as_str()));
        let hint = near.map_or_else(
            || "single and drilled holes may stand anywhere; rows stand above those that name their holes".into(),
            |near| format!("did you mean \"{near}\"?"),
        );
        faults.add_with_hint(got.at, table.name_of(key), text, hint);
    }
    found
}

/// Which of `stations` (places of a run) are holes of others: those named by `share`, and `ends`, which
/// are holes by the way the run is written. Gives the name for each station, or `None`.
pub(super) fn shared(
    table: &Table,
    stations: &[Vector2<f64>],
    ends: &[String],
    (units, drawn): (Units, &Drawn),
    faults: &mut Faults,
) -> Vec<Option<String>> {
    let mut names: Vec<Option<String>> = vec![None; stations.len()];
    let nearest_to = |hole: &Hole| {
        stations
            .iter()
            .map(|s| (s - hole.at.vec()).norm())
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1))
    };
    for name in ends {
        if let Some(hole) = drawn.known_holes().find(|h| h.name == *name)
            && let Some((i, distance)) = nearest_to(hole)
            && distance < SAME_PLACE_MM
        {
            names[i] = Some(name.clone());
        }
    }
    for got in table.optional_texts("share", faults).unwrap_or_default() {
        let Some(hole) = named_hole(table, "share", got, drawn, faults) else {
            continue;
        };
        match nearest_to(hole) {
            Some((i, distance)) if distance < SAME_PLACE_MM => names[i] = Some(hole.name.clone()),
            Some((i, distance)) => {
                let text = format!(
                    "{} is {} from the nearest station of this row, number {}; a shared hole is at both",
                    hole.name,
                    show_planned(distance, units),
                    i + 1
                );
                faults.add(got.at, table.name_of("share"), text);
            }
            None => {}
        }
    }
    names
}

/// Numbers under `skip`, each from 1 to `count`; a fault for others.
pub(super) fn skipped(table: &Table, count: usize, faults: &mut Faults) -> Vec<usize> {
    let mut numbers = Vec::new();
    for got in table.numbers("skip", faults) {
        if got.value <= count {
            numbers.push(got.value);
        } else {
            let text = format!(
                "found {}, but the last station is number {count}",
                got.value
            );
            faults.add(got.at, table.name_of("skip"), text);
        }
    }
    numbers.sort_unstable();
    numbers.dedup();
    numbers
}
