//! Rows: from their three forms to the stations of their holes.
//!
//! | form | stations |
//! | --- | --- |
//! | `first`, `pitch`, `count` | `first`, `first + pitch`, ... |
//! | `first`, `last`, `count` | equally spaced; `last` is measured from the same end edge as `first` |
//! | `stations` | as listed, each beyond the one before |
//!
//! Stations run from the left edge (`along` bottom or top) or from the bottom edge (left or right).

use super::error::Faults;
use super::geometry;
use super::length::show_planned;
use super::read::{MOST_HOLES, name};
use super::table::{Got, Table};
use super::{Edge, Hole, Row, Units};
use crate::frame::{Point, Sheet};

/// The sheet's size, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct SheetSize {
    pub(super) width_mm: f64,
    pub(super) height_mm: f64,
}

/// A hole and the byte of the file where its table begins.
pub(super) struct DrawnHole {
    pub(super) hole: Hole,
    pub(super) at: usize,
}

/// Rows and holes as far as they could be read.
#[derive(Default)]
pub(super) struct Drawn {
    pub(super) rows: Vec<Row>,
    /// Where the table of each row begins, bytes.
    pub(super) row_places: Vec<usize>,
    pub(super) holes: Vec<DrawnHole>,
}

impl Drawn {
    pub(super) fn push(&mut self, hole: Hole, at: usize) {
        self.holes.push(DrawnHole { hole, at });
    }

    /// Whether `more` holes may be added; a fault if not.
    pub(super) fn has_room(&self, more: usize, table: &Table, faults: &mut Faults) -> bool {
        let room = self.holes.len() + more <= MOST_HOLES;
        if !room {
            let text = format!("the plan has more than {MOST_HOLES} holes");
            faults.add(table.at, table.label.clone(), text);
        }
        room
    }
}

impl Edge {
    /// The length of this edge, and of the sheet across it, mm.
    fn lengths(self, size: SheetSize) -> (f64, f64) {
        match self {
            Self::Bottom | Self::Top => (size.width_mm, size.height_mm),
            Self::Left | Self::Right => (size.height_mm, size.width_mm),
        }
    }

    /// The edges where a row along this one starts and ends.
    fn ends(self) -> [&'static str; 2] {
        match self {
            Self::Bottom | Self::Top => ["left", "right"],
            Self::Left | Self::Right => ["bottom", "top"],
        }
    }
}

/// All rows of the plan, with their holes.
pub(super) fn read(
    top: &Table,
    units: Units,
    size: Option<SheetSize>,
    faults: &mut Faults,
) -> Drawn {
    let mut drawn = Drawn::default();
    for table in top.tables("row", faults) {
        let name = name(&table, "\"A\"", faults);
        let words = [
            ("bottom", Edge::Bottom),
            ("top", Edge::Top),
            ("left", Edge::Left),
            ("right", Edge::Right),
        ];
        let along = table.word("along", &words, faults);
        let edge_distance = table.length("edge_distance", "\"5/16\"", units, faults);
        let stations = stations(&table, along, units, size, faults);
        let (Some(name), Some(along), Some(edge_distance), Some(stations)) =
            (name, along, edge_distance, stations)
        else {
            continue;
        };
        if !drawn.has_room(stations.len(), &table, faults) {
            return drawn;
        }
        check_edge_distance(&table, along, edge_distance, (units, size), faults);
        // Places along the top and right edges need the sheet's size; without it a fault is noted
        // already, and the places are not used.
        let size = size.unwrap_or(SheetSize {
            width_mm: 0.0,
            height_mm: 0.0,
        });
        for (i, &station) in stations.iter().enumerate() {
            let hole = Hole {
                name: format!("{}{}", name.value, i + 1),
                row: Some(name.value.to_string()),
                at: place(along, station, edge_distance.value, size),
            };
            drawn.push(hole, table.at);
        }
        drawn.row_places.push(table.at);
        drawn.rows.push(Row {
            name: name.value.to_string(),
            along,
            edge_distance_mm: edge_distance.value,
            stations_mm: stations,
        });
    }
    drawn
}

/// Where a station of a row lies on the sheet.
fn place(along: Edge, station: f64, edge_distance: f64, size: SheetSize) -> Point<Sheet> {
    match along {
        Edge::Bottom => Point::new(station, edge_distance),
        Edge::Top => Point::new(station, size.height_mm - edge_distance),
        Edge::Left => Point::new(edge_distance, station),
        Edge::Right => Point::new(size.width_mm - edge_distance, station),
    }
}

fn check_edge_distance(
    table: &Table,
    along: Edge,
    got: Got<f64>,
    (units, size): (Units, Option<SheetSize>),
    faults: &mut Faults,
) {
    let key = table.name_of("edge_distance");
    if got.value <= 0.0 {
        let text = format!("found {:.1} mm; expected more than 0", got.value);
        faults.add(got.at, key, text);
    } else if let Some(across) = size.map(|s| along.lengths(s).1)
        && got.value >= across
    {
        let text = format!(
            "found {}, but the sheet measures only {} that way: the row is off the sheet",
            show_planned(got.value, units),
            show_planned(across, units)
        );
        faults.add(got.at, key, text);
    }
}

/// The stations of a row, mm; `None` (and a fault) when its form is not one of the three.
fn stations(
    table: &Table,
    along: Option<Edge>,
    units: Units,
    size: Option<SheetSize>,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    const FORMS: &str =
        "a row has `first`, `pitch` and `count`, or `first`, `last` and `count`, or `stations`";
    if table.has("stations") {
        let others = ["first", "pitch", "last", "count"];
        if let Some(other) = others.iter().find(|k| table.has(k)) {
            let text = format!("found beside `stations`; {FORMS}");
            faults.add(table.place_of(other), table.name_of(other), text);
            return None;
        }
        return listed(table, along, units, size, faults);
    }
    if table.has("pitch") && table.has("last") {
        let text = format!("found beside `pitch`; {FORMS}");
        faults.add(table.place_of("last"), table.name_of("last"), text);
        return None;
    }
    if !table.has("pitch") && !table.has("last") {
        let missing = if table.has("first") || table.has("count") {
            "pitch"
        } else {
            "stations"
        };
        let text = format!("missing; {FORMS}");
        faults.add(table.at, table.name_of(missing), text);
        return None;
    }
    let first = table.length("first", "\"11/16\"", units, faults);
    let step = if table.has("pitch") { "pitch" } else { "last" };
    let step_length = table.optional_length(step, units, faults);
    let count = count(table, faults);
    let (first, step_length, count) = (first?, step_length?, count?);
    if step == "pitch" {
        pitched(
            table,
            along,
            (first, step_length, count),
            (units, size),
            faults,
        )
    } else {
        spanned(
            table,
            along,
            (first, step_length, count),
            (units, size),
            faults,
        )
    }
}

/// How many holes, 1 to the most allowed.
fn count(table: &Table, faults: &mut Faults) -> Option<usize> {
    if !table.has("count") {
        faults.add(
            table.at,
            table.name_of("count"),
            "missing; expected for example `count = 14`",
        );
    }
    let got = table.optional_count("count", faults)?;
    match usize::try_from(got.value) {
        Ok(n) if (1..=MOST_HOLES).contains(&n) => Some(n),
        _ => {
            let text = format!("found {}; expected 1 to {MOST_HOLES}", got.value);
            faults.add(got.at, table.name_of("count"), text);
            None
        }
    }
}

fn pitched(
    table: &Table,
    along: Option<Edge>,
    (first, pitch, count): (Got<f64>, Got<f64>, usize),
    (units, size): (Units, Option<SheetSize>),
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    if pitch.value <= 0.0 {
        let text = format!("found {:.1} mm; expected more than 0", pitch.value);
        faults.add(pitch.at, table.name_of("pitch"), text);
        return None;
    }
    let stations: Vec<f64> = (0..count)
        .map(|i| first.value + pitch.value * i as f64)
        .collect();
    if let (Some(along), Some(size)) = (along, size) {
        let length = along.lengths(size).0;
        if !on_edge(table, "first", first, along, length, units, faults) {
            return Some(stations);
        }
        let fits = stations.iter().filter(|&&s| s < length).count();
        if let Some(&last) = stations.last()
            && fits < count
        {
            let text = format!(
                "{count} holes from {} at a pitch of {} end at {}, past the {} edge at {}; {fits} fit",
                show_planned(first.value, units),
                show_planned(pitch.value, units),
                show_planned(last, units),
                along.ends()[1],
                show_planned(length, units)
            );
            faults.add(pitch.at, table.name_of("pitch"), text);
        }
    }
    Some(stations)
}

fn spanned(
    table: &Table,
    along: Option<Edge>,
    (first, last, count): (Got<f64>, Got<f64>, usize),
    (units, size): (Units, Option<SheetSize>),
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    let room = size.zip(along).map(|(s, a)| (a, a.lengths(s).0));
    if let Some((along, length)) = room {
        let first_fits = on_edge(table, "first", first, along, length, units, faults);
        let last_fits = on_edge(table, "last", last, along, length, units, faults);
        if !(first_fits && last_fits) {
            return None;
        }
    }
    if count == 1 {
        let text = "found beside `count = 1`; expected a count of 2 or more, or `pitch`";
        faults.add(last.at, table.name_of("last"), text);
        return None;
    }
    if last.value <= first.value {
        let start = along.map_or("end", |a| a.ends()[0]);
        let text = format!(
            "found {}, not beyond `first` ({}); both are measured from the {start} edge",
            show_planned(last.value, units),
            show_planned(first.value, units)
        );
        let key = table.name_of("last");
        match room {
            Some((along, length)) if length - last.value > first.value => {
                let hint = format!(
                    "as far from the {} edge would be last = \"{}\"",
                    along.ends()[1],
                    show_planned(length - last.value, units)
                        .split(" (")
                        .next()
                        .unwrap_or_default()
                );
                faults.add_with_hint(last.at, key, text, hint);
            }
            _ => faults.add(last.at, key, text),
        }
        return None;
    }
    let step = (last.value - first.value) / (count - 1) as f64;
    let mut stations: Vec<f64> = (0..count).map(|i| first.value + step * i as f64).collect();
    // Exactly as written, without the rounding of the steps.
    stations[count - 1] = last.value;
    Some(stations)
}

fn listed(
    table: &Table,
    along: Option<Edge>,
    units: Units,
    size: Option<SheetSize>,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    let stations = table.lengths("stations", units, faults)?;
    if stations.is_empty() {
        let text = "found no length; expected one for each hole";
        faults.add(table.place_of("stations"), table.name_of("stations"), text);
        return None;
    }
    for pair in stations.windows(2) {
        if pair[1].value <= pair[0].value {
            let text = format!(
                "{} is not beyond the station before it, {}; stations go away from the row's start",
                show_planned(pair[1].value, units),
                show_planned(pair[0].value, units)
            );
            faults.add(pair[1].at, table.name_of("stations"), text);
            return None;
        }
    }
    if let (Some(along), Some(size)) = (along, size) {
        for &station in &stations {
            let length = along.lengths(size).0;
            on_edge(table, "stations", station, along, length, units, faults);
        }
    }
    Some(stations.into_iter().map(|s| s.value).collect())
}

/// Whether a station lies within the edge it is measured along; a fault if not.
fn on_edge(
    table: &Table,
    key: &str,
    station: Got<f64>,
    along: Edge,
    length: f64,
    units: Units,
    faults: &mut Faults,
) -> bool {
    let [start, end] = along.ends();
    let off = if station.value <= 0.0 {
        Some((start, -station.value))
    } else if station.value >= length {
        Some((end, station.value - length))
    } else {
        None
    };
    if let Some((edge, by)) = off {
        let text = format!(
            "found {}: {}",
            show_planned(station.value, units),
            geometry::off_text("the hole", edge, by, units)
        );
        faults.add(station.at, table.name_of(key), text);
    }
    off.is_none()
}
