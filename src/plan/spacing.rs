//! Spacing: from the ways to write it to the stations of a row.
//!
//! | form | stations |
//! | --- | --- |
//! | `first`, `pitch`, `count` | `first`, `first + pitch`, ... |
//! | `first`, `last`, `count` | equally spaced; `last` is measured from the same end as `first` |
//! | `first`, `last`, `pitch_about` / `pitch_min` / `pitch_max` | equally spaced; the count follows |
//! | `stations` | as listed, each beyond the one before |
//!
//! `last_from_end` stands for `last`, measured from the far end. Between two points, `first` and `last`
//! may be left out: the holes then start and end on the points.

use super::Units;
use super::error::Faults;
use super::geometry;
use super::length::show_planned;
use super::read::MOST_HOLES;
use super::table::{Got, Table};

/// Keys that say where the holes of a row are.
pub(super) const KEYS: [&str; 9] = [
    "first",
    "pitch",
    "count",
    "last",
    "stations",
    "last_from_end",
    "pitch_about",
    "pitch_min",
    "pitch_max",
];
/// Keys of the spacing that follows from limits.
const LIMITS: [&str; 3] = ["pitch_about", "pitch_max", "pitch_min"];
const FORMS: &str =
    "a row has `first`, `pitch` and `count`, or `first`, `last` and `count`, or `stations`";
/// Two lengths this near are one, mm: rounding of any sheet's lengths.
const ROUNDING_MM: f64 = 1e-6;

/// What stations run along.
#[derive(Debug, Clone, Copy)]
pub(super) enum Track {
    /// An edge: stations from the first of `ends` to the second, neither included.
    Edge {
        /// Names of the edges at its ends; `None` when it is not known which edge.
        ends: Option<[&'static str; 2]>,
        /// Its length, mm; `None` when the sheet's size is not known.
        length_mm: Option<f64>,
    },
    /// From one point to another, both included.
    Between {
        /// Their distance, mm.
        length_mm: f64,
    },
}

impl Track {
    fn length_mm(self) -> Option<f64> {
        match self {
            Self::Edge { length_mm, .. } => length_mm,
            Self::Between { length_mm } => Some(length_mm),
        }
    }

    /// What `first` and `last` are measured from.
    fn start(self) -> &'static str {
        match self {
            Self::Edge { ends, .. } => match ends {
                Some(["left", _]) => "the left edge",
                Some(["bottom", _]) => "the bottom edge",
                _ => "the end edge",
            },
            Self::Between { .. } => "the start of the row",
        }
    }
}

/// The stations of a row, mm; `None` (and a fault) when its form is not one of those above.
pub(super) fn stations(
    table: &Table,
    track: Track,
    units: Units,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    let has = |key: &&&str| table.has(key);
    if table.has("stations") {
        if let Some(other) = KEYS.iter().filter(|k| **k != "stations").find(has) {
            let text = format!("found beside `stations`; {FORMS}");
            faults.add(table.place_of(other), table.name_of(other), text);
            return None;
        }
        return listed(table, track, units, faults);
    }
    let limit = LIMITS.iter().find(has);
    if table.has("pitch") {
        let others = [
            "last",
            "last_from_end",
            "pitch_about",
            "pitch_max",
            "pitch_min",
        ];
        if let Some(other) = others.iter().find(has) {
            let text = format!("found beside `pitch`; {FORMS}");
            faults.add(table.place_of(other), table.name_of(other), text);
            return None;
        }
    }
    if let Some(limit) = limit
        && table.has("count")
    {
        let text = format!("found beside `{limit}`, from which the count follows");
        faults.add(table.place_of("count"), table.name_of("count"), text);
        return None;
    }
    if table.has("last") && table.has("last_from_end") {
        let text = "found beside `last`; expected one of them";
        faults.add(
            table.place_of("last_from_end"),
            table.name_of("last_from_end"),
            text,
        );
        return None;
    }
    let between = matches!(track, Track::Between { .. });
    let last_said = table.has("last") || table.has("last_from_end");
    if !table.has("pitch") && !last_said && !between && limit.is_none() {
        let missing = if table.has("first") || table.has("count") {
            "pitch"
        } else {
            "stations"
        };
        let text = format!("missing; {FORMS}");
        faults.add(table.at, table.name_of(missing), text);
        return None;
    }
    let first = if between && !table.has("first") {
        Some(Got {
            value: 0.0,
            at: table.at,
        })
    } else {
        table.length("first", "\"11/16\"", units, faults)
    };
    if table.has("pitch") {
        let pitch = table.optional_length("pitch", units, faults);
        let count = count(table, "count", faults);
        let (first, pitch, count) = (first?, pitch?, count?);
        return pitched(table, track, (first, pitch, count), units, faults);
    }
    let (key, last) = last(table, track, units, faults);
    if limit.is_some() {
        return limited(table, track, first?, (key, last?), units, faults);
    }
    let count = count(table, "count", faults);
    let (first, last, count) = (first?, last?, count?);
    spanned(table, track, (first, last, count), key, units, faults)
}

/// The station of the last hole, and the key that gives it.
fn last(
    table: &Table,
    track: Track,
    units: Units,
    faults: &mut Faults,
) -> (&'static str, Option<Got<f64>>) {
    if table.has("last_from_end") {
        let got = table.optional_length("last_from_end", units, faults);
        let station = got.zip(track.length_mm()).map(|(got, length)| Got {
            value: length - got.value,
            at: got.at,
        });
        return ("last_from_end", station);
    }
    match track {
        Track::Between { length_mm } if !table.has("last") => {
            let end = Got {
                value: length_mm,
                at: table.at,
            };
            ("last", Some(end))
        }
        _ => ("last", table.length("last", "\"11 5/16\"", units, faults)),
    }
}

/// How many holes, 1 to the most allowed.
pub(super) fn count(table: &Table, key: &str, faults: &mut Faults) -> Option<usize> {
    if !table.has(key) {
        faults.add(
            table.at,
            table.name_of(key),
            format!("missing; expected for example `{key} = 14`"),
        );
    }
    let got = table.optional_count(key, faults)?;
    match usize::try_from(got.value) {
        Ok(n) if (1..=MOST_HOLES).contains(&n) => Some(n),
        _ => {
            let text = format!("found {}; expected 1 to {MOST_HOLES}", got.value);
            faults.add(got.at, table.name_of(key), text);
            None
        }
    }
}

/// A length that must be more than 0.
pub(super) fn above_zero(
    table: &Table,
    key: &str,
    got: Option<Got<f64>>,
    faults: &mut Faults,
) -> Option<f64> {
    let got = got?;
    if got.value > 0.0 {
        return Some(got.value);
    }
    let text = format!("found {:.1} mm; expected more than 0", got.value);
    faults.add(got.at, table.name_of(key), text);
    None
}

fn pitched(
    table: &Table,
    track: Track,
    (first, pitch, count): (Got<f64>, Got<f64>, usize),
    units: Units,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    above_zero(table, "pitch", Some(pitch), faults)?;
    let stations: Vec<f64> = (0..count)
        .map(|i| first.value + pitch.value * i as f64)
        .collect();
    if let Some(length) = track.length_mm() {
        if !on_track(table, "first", first, track, units, faults) {
            return Some(stations);
        }
        let fits = stations
            .iter()
            .filter(|&&s| off_track(s, track).is_none())
            .count();
        if let Some(&last) = stations.last()
            && fits < count
        {
            let end = match track {
                Track::Edge {
                    ends: Some([_, end]),
                    ..
                } => format!("the {end} edge"),
                _ => "the end of the row".into(),
            };
            let text = format!(
                "{count} holes from {} at a pitch of {} end at {}, past {end} at {}; {fits} fit",
                show_planned(first.value, units),
                show_planned(pitch.value, units),
                show_planned(last, units),
                show_planned(length, units)
            );
            faults.add(pitch.at, table.name_of("pitch"), text);
        }
    }
    Some(stations)
}

/// Whether both ends lie on the track and in order; faults if not.
fn sound_ends(
    table: &Table,
    track: Track,
    [first, last]: [Got<f64>; 2],
    key: &str,
    units: Units,
    faults: &mut Faults,
) -> bool {
    if track.length_mm().is_some() {
        let first_fits = on_track(table, "first", first, track, units, faults);
        let last_fits = on_track(table, key, last, track, units, faults);
        if !(first_fits && last_fits) {
            return false;
        }
    }
    if last.value > first.value {
        return true;
    }
    let text = format!(
        "found {}, not beyond `first` ({}); both are measured from {}",
        show_planned(last.value, units),
        show_planned(first.value, units),
        track.start()
    );
    let name = table.name_of(key);
    match track {
        Track::Edge {
            ends: Some([_, end]),
            length_mm: Some(length),
        } if key == "last" && length - last.value > first.value => {
            let hint = format!(
                "as far from the {end} edge would be last = \"{}\"",
                show_planned(length - last.value, units)
                    .split(" (")
                    .next()
                    .unwrap_or_default()
            );
            faults.add_with_hint(last.at, name, text, hint);
        }
        _ => faults.add(last.at, name, text),
    }
    false
}

fn spanned(
    table: &Table,
    track: Track,
    (first, last, count): (Got<f64>, Got<f64>, usize),
    key: &str,
    units: Units,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    // One hole at both ends has no sense; between points, one hole is the first.
    if count == 1 {
        if matches!(track, Track::Between { .. }) && !table.has(key) {
            return on_track(table, "first", first, track, units, faults)
                .then(|| vec![first.value]);
        }
        let fits = track.length_mm().is_none()
            || on_track(table, "first", first, track, units, faults)
                & on_track(table, key, last, track, units, faults);
        if fits {
            let text = "found beside `count = 1`; expected a count of 2 or more, or `pitch`";
            faults.add(last.at, table.name_of(key), text);
        }
        return None;
    }
    sound_ends(table, track, [first, last], key, units, faults)
        .then(|| even(first.value, last.value, count - 1))
}

/// `gaps` equal steps from `first` to `last`.
fn even(first: f64, last: f64, gaps: usize) -> Vec<f64> {
    let step = (last - first) / gaps as f64;
    let mut stations: Vec<f64> = (0..=gaps).map(|i| first + step * i as f64).collect();
    // Exactly as written, without the rounding of the steps.
    stations[gaps] = last;
    stations
}

/// Equal spacing whose count follows from a wanted pitch, a least and a greatest one.
fn limited(
    table: &Table,
    track: Track,
    first: Got<f64>,
    (key, last): (&str, Got<f64>),
    units: Units,
    faults: &mut Faults,
) -> Option<Vec<f64>> {
    let mut limit = |key: &str| {
        let got = table.optional_length(key, units, faults);
        match (got, above_zero(table, key, got, faults)) {
            (Some(_), Some(mm)) => Ok(Some(mm)),
            (None, _) if !table.has(key) => Ok(None),
            _ => Err(()),
        }
    };
    let (about, least, most) = (limit("pitch_about"), limit("pitch_min"), limit("pitch_max"));
    let (about, least, most) = (about.ok()?, least.ok()?, most.ok()?);
    if !sound_ends(table, track, [first, last], key, units, faults) {
        return None;
    }
    let span = last.value - first.value;
    // A hair of slack: a span of exactly 19 pitches has 19 gaps, whatever the binary rounding.
    let fewest = most.map_or(1.0, |p| ((span - ROUNDING_MM) / p).ceil().max(1.0));
    let greatest = least.map_or(f64::INFINITY, |p| ((span + ROUNDING_MM) / p).floor());
    let wanted = match about {
        Some(p) => {
            let below = (span / p).floor().max(1.0);
            let miss = |gaps: f64| (span / gaps - p).abs();
            let nearer = if miss(below + 1.0) < miss(below) {
                below + 1.0
            } else {
                below
            };
            nearer.max(fewest).min(greatest)
        }
        // The handbook's way: the greatest whole number of gaps that keeps the least pitch.
        None if most.is_none() => greatest,
        None => fewest,
    };
    let key = LIMITS
        .iter()
        .find(|k| table.has(k))
        .copied()
        .unwrap_or("pitch_about");
    if fewest > greatest || wanted < 1.0 {
        let gaps = greatest.max(1.0);
        let one = |gaps: f64| {
            format!(
                "{gaps:.0} gap{} of {}",
                if gaps > 1.0 { "s" } else { "" },
                show_planned(span / gaps, units)
            )
        };
        let text = format!(
            "no equal spacing over {} keeps the limits: {} are too wide, {} too narrow",
            show_planned(span, units),
            one(gaps),
            one(gaps + 1.0)
        );
        let hint = "move `first` or `last`, or widen the limits";
        faults.add_with_hint(table.place_of(key), table.name_of(key), text, hint);
        return None;
    }
    if wanted + 1.0 > MOST_HOLES as f64 {
        let text = format!("gives {wanted:.0} gaps; expected at most {MOST_HOLES} holes");
        faults.add(table.place_of(key), table.name_of(key), text);
        return None;
    }
    Some(even(first.value, last.value, wanted as usize))
}

fn listed(table: &Table, track: Track, units: Units, faults: &mut Faults) -> Option<Vec<f64>> {
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
    for &station in &stations {
        on_track(table, "stations", station, track, units, faults);
    }
    Some(stations.into_iter().map(|s| s.value).collect())
}

/// Which end a station is past, and by how much.
fn off_track(station: f64, track: Track) -> Option<(usize, f64)> {
    let (length, slack) = match track {
        Track::Edge { length_mm, .. } => (length_mm?, 0.0),
        // The ends themselves belong to the row.
        Track::Between { length_mm } => (length_mm, ROUNDING_MM * 2.0),
    };
    if station <= -slack {
        Some((0, -station))
    } else if station >= length + slack {
        Some((1, station - length))
    } else {
        None
    }
}

/// Whether a station lies on its track; a fault if not.
fn on_track(
    table: &Table,
    key: &str,
    station: Got<f64>,
    track: Track,
    units: Units,
    faults: &mut Faults,
) -> bool {
    let Some((end, by)) = off_track(station.value, track) else {
        return true;
    };
    let what = match track {
        Track::Edge {
            ends: Some(ends), ..
        } => geometry::off_text("the hole", ends[end], by, units),
        Track::Edge { .. } => return true,
        Track::Between { .. } => format!(
            "the hole is {} {} the row",
            show_planned(by, units),
            ["before the start of", "past the end of"][end]
        ),
    };
    let text = format!("found {}: {what}", show_planned(station.value, units));
    faults.add(station.at, table.name_of(key), text);
    false
}
