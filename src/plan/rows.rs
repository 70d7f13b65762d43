//! Rows: where each is placed, and the holes it gives.
//!
//! | form | where the row is |
//! | --- | --- |
//! | `along`, `edge_distance` | beside an edge; stations run from the left or the bottom edge |
//! | `from`, `to` | between two points or holes; stations run from the first |
//! | `offset_from`, `offset` | beside another row, away from that row's edge, or to its left |
//! | `copy_of` with `mirror` or `shift` | another row's holes, seen in a mirror or moved |

use nalgebra::Vector2;

use super::beside::{copy, offset};
use super::error::Faults;
use super::geometry;
use super::length::show_planned;
use super::line::Line;
use super::read::{MOST_HOLES, name};
use super::spacing::{self, Track};
use super::table::Table;
use super::{Datum, Edge, Hole, Path, Row, Run, Stop, Units, places};
use crate::frame::Point;

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
    pub(super) runs: Vec<Run>,
    /// The name of each row and circle, and where its table begins, bytes.
    pub(super) run_places: Vec<(String, usize)>,
    /// Holes of rows and circles.
    pub(super) holes: Vec<DrawnHole>,
    /// Single holes.
    pub(super) singles: Vec<DrawnHole>,
    /// Holes drilled already.
    pub(super) drilled: Vec<DrawnHole>,
    /// The lines of the rows, for those that are drawn from them.
    pub(super) lines: Vec<(String, Line)>,
}

impl Drawn {
    /// Whether `more` holes may be added; a fault if not.
    pub(super) fn has_room(&self, more: usize, table: &Table, faults: &mut Faults) -> bool {
        let held = self.holes.len() + self.singles.len() + self.drilled.len();
        let room = held + more <= MOST_HOLES;
        if !room {
            let text = format!("the plan has more than {MOST_HOLES} holes");
            faults.add(table.at, table.label.clone(), text);
        }
        room
    }

    /// All holes read so far.
    pub(super) fn all(&self) -> impl Iterator<Item = &DrawnHole> {
        self.holes.iter().chain(&self.singles).chain(&self.drilled)
    }

    pub(super) fn known_holes(&self) -> impl Iterator<Item = &Hole> {
        self.all().map(|h| &h.hole)
    }
}

/// Keys that say where a row is, with those that belong to each.
pub(super) const FORMS: [(&str, &[&str]); 4] = [
    ("along", &["edge_distance"]),
    ("from", &["to"]),
    ("offset_from", &["offset", "stagger"]),
    ("copy_of", &["mirror", "mirror_at", "shift"]),
];

/// All rows of the plan, with their holes, added to what was drawn before.
pub(super) fn read(
    top: &Table,
    units: Units,
    size: Option<SheetSize>,
    drawn: &mut Drawn,
    faults: &mut Faults,
) {
    for table in top.tables("row", faults) {
        let name = name(&table, "\"A\"", faults);
        let line = match form(&table, faults) {
            None => continue,
            Some("from") => between(&table, units, drawn, faults),
            Some("offset_from") => offset(&table, (units, size), drawn, faults),
            Some("copy_of") => copy(&table, (units, size), drawn, faults),
            Some(_) => along_edge(&table, (units, size), faults),
        };
        let (Some(name), Some(line)) = (name, line) else {
            continue;
        };
        if !drawn.has_room(line.stations.len(), &table, faults) {
            return;
        }
        add(&table, name.value, line, (units, size), drawn, faults);
    }
}

/// Which of the forms a row has: its first key; `along` where there is none. `None`, and a fault, when
/// forms are mixed.
fn form(table: &Table, faults: &mut Faults) -> Option<&'static str> {
    let (key, own) = FORMS
        .into_iter()
        .find(|(key, _)| table.has(key))
        .unwrap_or(FORMS[0]);
    let spacing_too = key != "copy_of";
    let foreign = FORMS
        .iter()
        .flat_map(|(k, more)| std::iter::once(k).chain(*more))
        .filter(|k| **k != key && !own.contains(k))
        .chain(spacing::KEYS.iter().filter(|_| !spacing_too))
        .find(|k| table.has(k));
    let Some(foreign) = foreign else {
        return Some(key);
    };
    let text = if spacing_too {
        format!(
            "found beside `{key}`; a row has `along` and `edge_distance`, or `from` and `to`, or \
             `offset_from` and `offset`, or `copy_of` with `mirror` or `shift`"
        )
    } else {
        format!("found beside `{key}`; a copy has the spacing of the row that it copies")
    };
    faults.add(table.place_of(foreign), table.name_of(foreign), text);
    None
}

fn along_edge(
    table: &Table,
    (units, size): (Units, Option<SheetSize>),
    faults: &mut Faults,
) -> Option<Line> {
    let words = [Edge::Bottom, Edge::Top, Edge::Left, Edge::Right].map(|e| (e.name(), e));
    let along = table.word("along", &words, faults);
    let edge_distance = table.length("edge_distance", "\"5/16\"", units, faults);
    let track = Track::Edge {
        ends: along.map(|a| a.ends().map(Edge::name)),
        length_mm: along.zip(size).map(|(a, s)| a.lengths(s).0),
    };
    let stations = spacing::stations(table, track, units, faults);
    let (along, edge_distance, stations) = (along?, edge_distance?, stations?);
    let key = table.name_of("edge_distance");
    if edge_distance.value <= 0.0 {
        let text = format!("found {:.1} mm; expected more than 0", edge_distance.value);
        faults.add(edge_distance.at, key, text);
    } else if let Some(across) = size.map(|s| along.lengths(s).1)
        && edge_distance.value >= across
    {
        let text = format!(
            "found {}, but the sheet measures only {} that way: the row is off the sheet",
            show_planned(edge_distance.value, units),
            show_planned(across, units)
        );
        faults.add(edge_distance.at, key, text);
    }
    // Places along the top and right edges need the sheet's size; without it a fault is noted already,
    // and the places are not used.
    let size = size.unwrap_or(SheetSize {
        width_mm: 0.0,
        height_mm: 0.0,
    });
    Some(along.line(edge_distance.value, size, stations))
}

fn between(table: &Table, units: Units, drawn: &Drawn, faults: &mut Faults) -> Option<Line> {
    /// Nearer than this, two points give no direction, mm.
    const SHORTEST_MM: f64 = 1.0;
    let from = places::read(table, "from", units, drawn, faults);
    let to = places::read(table, "to", units, drawn, faults);
    let (from, to) = (from?, to?);
    let way = to.at - from.at;
    let length_mm = way.norm();
    if length_mm < SHORTEST_MM {
        let text = format!(
            "is {} from `from`; expected another place",
            show_planned(length_mm, units)
        );
        faults.add(table.place_of("to"), table.name_of("to"), text);
        return None;
    }
    let stations = spacing::stations(table, Track::Between { length_mm }, units, faults)?;
    // Level rows get an exact direction, so that they count as level.
    let straight = |v: f64| if v.abs() < 1e-12 { 0.0 } else { v };
    let along = way / length_mm;
    Some(Line {
        origin: from.at,
        along: Vector2::new(straight(along.x), straight(along.y)),
        edge: None,
        datum: from.hole.clone().map_or(Datum::Start, Datum::Hole),
        stations,
        skipped: Vec::new(),
        ends: from.hole.into_iter().chain(to.hole).collect(),
    })
}

/// Names the holes of a row and adds them.
pub(super) fn add(
    table: &Table,
    name: &str,
    line: Line,
    (units, size): (Units, Option<SheetSize>),
    drawn: &mut Drawn,
    faults: &mut Faults,
) {
    let places: Vec<Vector2<f64>> = line.stations.iter().map(|&s| line.place(s)).collect();
    let mut line = line;
    if !table.has("columns") {
        let more = places::skipped(table, places.len(), faults);
        line.skipped.extend(more);
    }
    let shared = places::shared(table, &places, &line.ends, (units, drawn), faults);
    let path = Path::Line {
        origin: Point::at(line.origin),
        along: line.along,
        edge: line.edge,
    };
    let run = Run {
        name: name.to_string(),
        path,
        datum: line.datum.clone(),
        stops: Vec::new(),
        skipped: line.skipped.clone(),
    };
    // Between two digits a hyphen: "G-1" and 2 make "G-1-2".
    let joint = if table.has("columns") { "-" } else { "" };
    let hole_name = |number: usize| format!("{name}{joint}{number}");
    let stations = line.stations.clone();
    let off = if line.edge.is_some() && table.has("along") {
        // Stations and edge distance are checked where they are written.
        None
    } else {
        size
    };
    let own = add_run(
        table,
        run,
        (&places, &stations, &shared),
        hole_name,
        (units, off),
        drawn,
        faults,
    );
    if let Some(edge) = size.and_then(|s| line.level_with(s))
        && let Some(size) = size
    {
        let coordinate = |i: &usize| match (line.edge, edge.is_level()) {
            (Some(_), _) => line.stations[*i],
            (None, true) => places[*i].x,
            (None, false) => places[*i].y,
        };
        drawn.rows.push(Row {
            name: name.to_string(),
            along: edge,
            edge_distance_mm: edge.distance(line.origin, size),
            stations_mm: own.iter().map(coordinate).collect(),
        });
    }
    drawn.lines.push((name.to_string(), line));
}

/// Adds the holes of a run, and gives which of its stations have a hole of their own. `size`, where given,
/// is the sheet that they must lie on.
pub(super) fn add_run(
    table: &Table,
    mut run: Run,
    (places, stations, shared): (&[Vector2<f64>], &[f64], &[Option<String>]),
    hole_name: impl Fn(usize) -> String,
    (units, size): (Units, Option<SheetSize>),
    drawn: &mut Drawn,
    faults: &mut Faults,
) -> Vec<usize> {
    let mut own = Vec::new();
    let mut off_sheet = false;
    for (i, &place) in places.iter().enumerate() {
        let number = i + 1;
        if run.skipped.contains(&number) {
            continue;
        }
        let other = shared.get(i).cloned().flatten();
        let hole = Hole {
            name: other.clone().unwrap_or_else(|| hole_name(number)),
            row: Some(run.name.clone()),
            at: Point::at(place),
        };
        run.stops.push(Stop {
            hole: hole.name.clone(),
            number,
            at: hole.at,
            station_mm: stations[i],
            shared: other.is_some(),
        });
        if other.is_some() {
            continue;
        }
        // One hole off the sheet tells of the row.
        if let Some(size) = size.filter(|_| !off_sheet) {
            off_sheet = geometry::check_on_sheet(table, &hole, size, units, faults);
        }
        own.push(i);
        drawn.holes.push(DrawnHole { hole, at: table.at });
    }
    if own.is_empty() {
        let text = "no hole is left: all stations are skipped or shared";
        faults.add(table.at, table.label.clone(), text);
    }
    drawn.run_places.push((run.name.clone(), table.at));
    drawn.runs.push(run);
    own
}
