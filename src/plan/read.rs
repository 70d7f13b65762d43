//! From the text of a plan file to a [`Plan`].

use std::fs;
use std::ops::RangeInclusive;
use std::path::Path;

use toml::de::DeTable;

use super::drill::{self, Drill};
use super::error::{Fault, Faults, PlanError};
use super::keys::nearest;
use super::length::{MM_PER_INCH, shorten, show_bound};
use super::rows::{self, Drawn, DrawnHole, SheetSize};
use super::table::{Got, Table};
use super::{Head, Hole, Plan, Units};
use super::{geometry, patterns, slips};
use crate::file;
use crate::frame::Point;

/// Largest plan file, bytes; a plan of 2000 single holes has a tenth of it.
const LARGEST_FILE: u64 = 1 << 20;
/// Most holes in one plan: far beyond any sheet that fits in a photo.
pub(super) const MOST_HOLES: usize = 2000;
/// Longest side of a sheet, mm: aluminium comes in sheets of up to 12 ft, 3.66 m (common practice, no source). More is a
/// mistaken unit.
const LONGEST_SIDE_MM: f64 = 4000.0;
/// The longer side of the smallest sheet, mm: less has no room for two rivets, and is a mistaken unit.
const SHORTEST_SIDE_MM: f64 = 25.0;
/// Share of the face that must be seen, where the plan does not say.
const SEEN_FRACTION: f64 = 0.98;
/// Longest name of a row or hole: names stand beside the marks in pictures.
const LONGEST_NAME: usize = 16;

/// Reads a plan file.
///
/// # Errors
/// [`PlanError`]: the file cannot be read, is over 1 MB, is not UTF-8, not TOML, or not a plan that
/// makes sense. All faults found are in it, in the order of the file.
pub fn read(path: &Path) -> Result<Plan, PlanError> {
    let name = path.display().to_string();
    let unreadable = |e: std::io::Error| PlanError::Unreadable {
        file: name.clone(),
        why: e.to_string(),
    };
    let Some(bytes) = file::read(path, LARGEST_FILE).map_err(unreadable)? else {
        return Err(PlanError::TooLarge {
            bytes: fs::metadata(path).map_or(LARGEST_FILE + 1, |m| m.len()),
            allowed: LARGEST_FILE,
            file: name,
        });
    };
    match String::from_utf8(bytes) {
        Ok(text) => parse(&text, path),
        Err(e) => {
            let byte = e.utf8_error().valid_up_to();
            let before = &e.as_bytes()[..byte];
            Err(PlanError::NotText {
                file: name,
                line: 1 + before.iter().filter(|&&b| b == b'\n').count(),
                byte,
            })
        }
    }
}

/// Reads a plan from its text; `path` names it in faults, and gives the title where none is given.
///
/// # Errors
/// [`PlanError::TooLarge`], [`PlanError::Syntax`] or [`PlanError::Invalid`] with all faults found.
pub fn parse(text: &str, path: &Path) -> Result<Plan, PlanError> {
    let file = path.display().to_string();
    if text.len() as u64 > LARGEST_FILE {
        return Err(PlanError::TooLarge {
            file,
            bytes: text.len() as u64,
            allowed: LARGEST_FILE,
        });
    }
    // Editors on Windows put this mark first; with it taken off, places still count right.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut faults = Faults::new(text);
    let document = match DeTable::parse(text) {
        Ok(document) => document,
        Err(e) => {
            let at = e.span().map_or(0, |s| s.start);
            let message = e.message().trim().replace('\n', "; ");
            let start = text[..at].rfind('\n').map_or(0, |n| n + 1);
            let line = text[start..].lines().next().unwrap_or_default();
            match slips::mended(line) {
                Some(mended) => faults.add_with_hint(
                    at,
                    "",
                    format!("found {}; expected {mended}", shorten(line.trim())),
                    "texts, fractions and units need straight quotes; decimals have a point",
                ),
                None => faults.add(at, "", format!("not TOML: {message}")),
            }
            return Err(PlanError::Syntax {
                file,
                faults: faults.sorted(),
            });
        }
    };
    let top = Table::open(document.get_ref(), "", String::new(), 0, &mut faults);
    let plan = plan_of(&top, path, &mut faults);
    let found = faults.sorted();
    match plan {
        Some(plan) if found.is_empty() => Ok(plan),
        _ => Err(PlanError::Invalid {
            file,
            faults: or_unexplained(found),
        }),
    }
}

/// No plan without a fault would be a slip of this module; it must still not read as a plan.
fn or_unexplained(mut faults: Vec<Fault>) -> Vec<Fault> {
    if faults.is_empty() {
        faults.push(Fault {
            line: 1,
            column: 1,
            key: String::new(),
            text: "the plan is not complete".into(),
            hint: None,
        });
    }
    faults
}

/// The whole plan; `None` when something needed is missing (a fault is noted then).
fn plan_of(top: &Table, path: &Path, faults: &mut Faults) -> Option<Plan> {
    let words = [("in", Units::Inch), ("mm", Units::Millimetre)];
    let units_given = top.word("units", &words, faults);
    // Go on with either unit, to name the other faults too; lengths that do not fit a sheet whose
    // unit is unknown are not worth naming.
    let units = units_given.unwrap_or(Units::Inch);

    let title = title(top, path, faults);
    let sheet = sheet(top, units, faults);
    let (rivet_mm, head, drill) = rivet(top, units, faults);
    let tolerance = tolerance(top, units, faults);
    let risk = risk(top, faults);
    let seen_fraction = seen_fraction(top, faults);

    let size = sheet
        .as_ref()
        .filter(|_| units_given.is_some())
        .map(|s| s.0);
    let mut drawn = Drawn::default();
    // First, for rows may start from them.
    singles(top, units, size, &mut drawn, faults);
    rows::read(top, units, size, &mut drawn, faults);
    patterns::grids(top, units, size, &mut drawn, faults);
    patterns::circles(top, units, size, &mut drawn, faults);
    if drawn.holes.is_empty() && drawn.singles.is_empty() && faults.is_empty() {
        faults.add_with_hint(
            0,
            "row",
            "the plan has no holes",
            "add a [[row]] or a [[hole]]",
        );
    }
    geometry::check_names(&drawn, faults);
    geometry::check_distances(&drawn, tolerance, units, faults);
    let datum = datum(top, &drawn, faults);

    let (size, thickness_mm) = sheet?;
    Some(Plan {
        title,
        units: units_given?,
        width_mm: size.width_mm,
        height_mm: size.height_mm,
        thickness_mm,
        rivet_mm,
        head,
        drill,
        tolerance_mm: tolerance?.value,
        seen_fraction,
        risk,
        datum,
        rows: drawn.rows,
        holes: drawn
            .holes
            .into_iter()
            .chain(drawn.singles)
            .map(|h| h.hole)
            .collect(),
        drilled: drawn.drilled.into_iter().map(|h| h.hole).collect(),
        runs: drawn.runs,
    })
}

fn title(top: &Table, path: &Path, faults: &mut Faults) -> String {
    let given = top.optional_text("title", faults);
    let stem = || path.file_stem().map(|s| s.to_string_lossy().into_owned());
    let title = given.map(|t| t.value.to_string()).or_else(stem);
    // Titles are printed: a line break or an escape in one must not reach a terminal.
    title
        .unwrap_or_default()
        .chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

/// The sheet's size and thickness.
fn sheet(top: &Table, units: Units, faults: &mut Faults) -> Option<(SheetSize, Option<f64>)> {
    let Some(table) = top.optional_table("sheet", faults) else {
        if !top.has("sheet") {
            let text = "missing; expected a table [sheet] with width and height";
            faults.add(top.at, "[sheet]", text);
        }
        return None;
    };
    let width = table.length("width", "12", units, faults);
    let height = table.length("height", "\"8 1/2\"", units, faults);
    let thickness = table.optional_length("thickness", units, faults);
    // One side may be a strip's; that the longer one is long enough is asked below.
    let longer = [width, height]
        .iter()
        .flatten()
        .map(|g| g.value)
        .fold(0.0, f64::max);
    let sides = if width.is_some() && height.is_some() && longer > 0.0 && longer < SHORTEST_SIDE_MM
    {
        SHORTEST_SIDE_MM..=LONGEST_SIDE_MM
    } else {
        0.0..=LONGEST_SIDE_MM
    };
    let width = within(&table, "width", width, &sides, units, faults);
    let height = within(&table, "height", height, &sides, units, faults);
    /// From foil to a bar that no hand rivets to anything (common practice, no source).
    const THICKNESS_MM: RangeInclusive<f64> = 0.1..=10.0;
    let thickness = within(&table, "thickness", thickness, &THICKNESS_MM, units, faults);
    let size = SheetSize {
        width_mm: width?,
        height_mm: height?,
    };
    Some((size, thickness))
}

fn rivet(
    top: &Table,
    units: Units,
    faults: &mut Faults,
) -> (Option<f64>, Option<Head>, Option<Drill>) {
    /// From thinner than 1/32 in to 1/2 in: no other solid rivet is set by hand.
    const DIAMETER_MM: RangeInclusive<f64> = 0.7..=13.0;
    let Some(table) = top.optional_table("rivet", faults) else {
        return (None, None, None);
    };
    let named = table.as_text("diameter").and_then(drill::dash_number);
    let diameter = match named {
        Some(value) => Some(Got {
            value,
            at: table.place_of("diameter"),
        }),
        None => table.optional_length("diameter", units, faults),
    };
    let heads = [
        ("protruding", Head::Protruding),
        ("countersunk", Head::Countersunk),
    ];
    let head = table.optional_word("head", &heads, faults);
    let drill = drill::read(&table, units, faults);
    (
        within(&table, "diameter", diameter, &DIAMETER_MM, units, faults),
        head,
        drill,
    )
}

/// A length that must be above 0 and in a range, mm. What lies beyond either end is as likely a slip of the unit: 0.125 for
/// a rivet in a plan of mm, or a sheet of 304 in one of inches.
fn within(
    table: &Table,
    key: &str,
    got: Option<Got<f64>>,
    range_mm: &RangeInclusive<f64>,
    units: Units,
    faults: &mut Faults,
) -> Option<f64> {
    let got = got?;
    if got.value > 0.0 && range_mm.contains(&got.value) {
        return Some(got.value);
    }
    let found = show_bound(got.value, units);
    let text = if got.value <= 0.0 {
        format!("found {found}; expected more than 0")
    } else if got.value < *range_mm.start() {
        format!(
            "found {found}; expected at least {}. Is the unit right?",
            show_bound(*range_mm.start(), units)
        )
    } else {
        format!(
            "found {found}; expected at most {}. Is the unit right?",
            show_bound(*range_mm.end(), units)
        )
    };
    // A number in the other unit is the usual slip.
    let (factor, other) = match units {
        Units::Millimetre => (
            MM_PER_INCH,
            "if the plan is in inches, write units = \"in\" at its top",
        ),
        Units::Inch => (
            1.0 / MM_PER_INCH,
            "if the plan is in millimetres, write units = \"mm\" at its top",
        ),
    };
    let name = table.name_of(key);
    if got.value > 0.0 && range_mm.contains(&(got.value * factor)) {
        faults.add_with_hint(got.at, name, text, other);
    } else {
        faults.add(got.at, name, text);
    }
    None
}

/// The tolerance, mm, above 0.
fn tolerance(top: &Table, units: Units, faults: &mut Faults) -> Option<Got<f64>> {
    /// From less than a scriber's line to 5/32 in: a mark further out is out by any standard.
    const RANGE_MM: RangeInclusive<f64> = 0.05..=4.0;
    let Some(table) = top.optional_table("tolerance", faults) else {
        if !top.has("tolerance") {
            faults.add_with_hint(
                top.at,
                "[tolerance]",
                "missing; expected how far a mark may be from its planned place",
                "[tolerance]\n        position = \"1/32\"   (or 0.8mm)",
            );
        }
        return None;
    };
    let got = table.length("position", "\"1/32\"", units, faults);
    let value = within(&table, "position", got, &RANGE_MM, units, faults)?;
    Some(Got { value, at: got?.at })
}

/// The risk that the plan chooses, if it does.
fn risk(top: &Table, faults: &mut Faults) -> Option<f64> {
    /// More would pass marks that one in twenty times are off; less needs photos that there are not.
    const RISKS: std::ops::RangeInclusive<f64> = 0.0001..=0.05;
    // That there is a table at all is asked with the position.
    let table = top
        .has("tolerance")
        .then(|| top.optional_table("tolerance", faults))??;
    let got = table.optional_number("risk", faults)?;
    if !RISKS.contains(&got.value) {
        let text = format!(
            "found {}; expected the risk of a wrong answer that is borne for each hole, from 0.0001 to 0.05 (leave it out for the usual 0.023: U counted against every mark)",
            got.value
        );
        faults.add(got.at, table.name_of("risk"), text);
    }
    Some(got.value)
}

fn seen_fraction(top: &Table, faults: &mut Faults) -> f64 {
    let Some(table) = top.optional_table("seen", faults) else {
        return SEEN_FRACTION;
    };
    let Some(got) = table.optional_number("fraction", faults) else {
        return SEEN_FRACTION;
    };
    if !(got.value > 0.0 && got.value <= 1.0) {
        let text = format!(
            "found {}; expected a share above 0 and at most 1, such as 0.98",
            got.value
        );
        faults.add(got.at, table.name_of("fraction"), text);
    }
    got.value
}

/// The single holes, to be marked or drilled already.
fn singles(
    top: &Table,
    units: Units,
    size: Option<SheetSize>,
    drawn: &mut Drawn,
    faults: &mut Faults,
) {
    for table in top.tables("hole", faults) {
        let name = name(&table, "\"P1\"", faults);
        let x = table.length("x", "6", units, faults);
        let y = table.length("y", "\"2 17/32\"", units, faults);
        let drilled = table.flag("drilled", faults);
        let (Some(name), Some(x), Some(y)) = (name, x, y) else {
            continue;
        };
        if !drawn.has_room(1, &table, faults) {
            return;
        }
        let hole = Hole {
            name: name.value.to_string(),
            row: None,
            at: Point::new(x.value, y.value),
        };
        if let Some(size) = size {
            geometry::check_on_sheet(&table, &hole, size, units, faults);
        }
        let list = if drilled {
            &mut drawn.drilled
        } else {
            &mut drawn.singles
        };
        list.push(DrawnHole { hole, at: table.at });
    }
}

/// The name of a row or hole: short, and without spaces.
pub(super) fn name<'a>(
    table: &Table<'a>,
    example: &str,
    faults: &mut Faults,
) -> Option<Got<&'a str>> {
    let got = table.text("name", example, faults)?;
    let sound = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
    let length = got.value.chars().count();
    if length == 0 || length > LONGEST_NAME || !got.value.chars().all(sound) {
        let text = format!(
            "found \"{}\"; expected 1 to {LONGEST_NAME} letters, digits, `-`, `_` or `.`, such as {example}",
            super::length::shorten(got.value)
        );
        faults.add(got.at, table.name_of("name"), text);
        return None;
    }
    Some(got)
}

/// The two holes that fix the frame, where the plan names them.
fn datum(top: &Table, drawn: &Drawn, faults: &mut Faults) -> Option<[String; 2]> {
    let names = top.optional_texts("datum", faults)?;
    let at = top.place_of("datum");
    let [a, b] = names[..] else {
        let text = format!(
            "found {} name{}; expected the names of two holes, such as [\"A1\", \"A14\"]",
            names.len(),
            if names.len() == 1 { "" } else { "s" }
        );
        faults.add(at, "datum", text);
        return None;
    };
    if a.value == b.value {
        let text = format!(
            "found \"{}\" twice; expected two holes",
            super::length::shorten(a.value)
        );
        faults.add(b.at, "datum", text);
        return None;
    }
    for got in [a, b] {
        if drawn.known_holes().any(|h| h.name == got.value) {
            continue;
        }
        let text = format!(
            "the plan has no hole \"{}\"",
            super::length::shorten(got.value)
        );
        let near = nearest(got.value, drawn.known_holes().map(|h| h.name.as_str()));
        match near {
            Some(near) => {
                faults.add_with_hint(got.at, "datum", text, format!("did you mean \"{near}\"?"));
            }
            None => faults.add(got.at, "datum", text),
        }
    }
    Some([a.value.to_string(), b.value.to_string()])
}
