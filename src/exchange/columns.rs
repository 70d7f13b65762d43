//! Which column of a list holds what: by the names in its first line, or, without, by what can be a length.

use crate::plan::Units;
use crate::plan::length::parse;

/// Which column holds what.
#[derive(Debug, Default)]
pub(super) struct Columns {
    pub(super) name: Option<usize>,
    pub(super) x: usize,
    pub(super) y: usize,
    /// A column with the unit of each line.
    pub(super) unit: Option<usize>,
    /// The unit of x and y by their names.
    pub(super) units: Option<Units>,
    /// The first line names the columns.
    pub(super) header: bool,
    /// Columns that are not read, by name.
    pub(super) unread: Vec<String>,
}

/// Words beside the letter of an axis that say no more than that it is a place.
const FILLERS: [&str; 9] = [
    "coord",
    "coordinate",
    "coordinates",
    "pos",
    "position",
    "center",
    "centre",
    "loc",
    "location",
];

/// The columns by the names in the first line; `None` when it names none.
///
/// # Errors
/// Two columns for one axis that `wanted` does not tell apart, and axes in different units.
pub(super) fn by_names(
    fields: &[String],
    wanted: Option<Units>,
) -> Result<Option<Columns>, String> {
    let words: Vec<String> = fields.iter().map(|f| f.trim().to_lowercase()).collect();
    let axis = |letter: &str| -> Result<Option<(usize, Option<Units>)>, String> {
        let mut all: Vec<(usize, Option<Units>)> = (0..words.len())
            .filter_map(|i| Some((i, axis_of(&words[i], letter)?)))
            .collect();
        // Of several the one in the unit that was asked for, if there is one.
        if all.len() > 1
            && all
                .iter()
                .any(|(_, unit)| unit.is_some() && *unit == wanted)
        {
            all.retain(|(_, unit)| *unit == wanted);
        }
        match all[..] {
            [] => Ok(None),
            [one] => Ok(Some(one)),
            _ => Err(format!(
                "more than one column for {letter}; expected one; say --units, or take the others out"
            )),
        }
    };
    let (Some((x, ux)), Some((y, uy))) = (axis("x")?, axis("y")?) else {
        return Ok(None);
    };
    if ux != uy {
        return Err(
            "x and y are not in one unit by their names; expected the same for both".into(),
        );
    }
    let find = |names: &[&str]| words.iter().position(|w| names.contains(&w.as_str()));
    let name = find(&["name", "hole", "id"]);
    let unit = find(&["unit", "units"]);
    let known = [Some(x), Some(y), name, unit];
    let unread = (0..words.len()).filter(|i| !known.contains(&Some(*i)) && !words[*i].is_empty());
    Ok(Some(Columns {
        name,
        x,
        y,
        unit,
        units: ux,
        header: true,
        unread: unread.map(|i| words[i].clone()).collect(),
    }))
}

/// Whether a name is that of an axis, and the unit in it: `x_mm`, `X (in)`, `x coordinate [mm]`.
fn axis_of(word: &str, letter: &str) -> Option<Option<Units>> {
    let mut unit = word.contains(['"', '\u{2033}']).then_some(Units::Inch);
    let mut is_axis = false;
    for part in word.split(|c: char| !c.is_alphanumeric()) {
        if part == letter && !is_axis {
            is_axis = true;
        } else if let Some(u) = unit_of(part) {
            unit = Some(u);
        } else if !part.is_empty() && !FILLERS.contains(&part) {
            return None;
        }
    }
    is_axis.then_some(unit)
}

/// A unit as a word.
pub(super) fn unit_of(word: &str) -> Option<Units> {
    match word.trim().to_lowercase().as_str() {
        "mm" | "millimetre" | "millimetres" | "millimeter" | "millimeters" => {
            Some(Units::Millimetre)
        }
        "in" | "inch" | "inches" | "\"" | "\u{2033}" => Some(Units::Inch),
        _ => None,
    }
}

/// The columns of lists without a first line of names: the two that are lengths in every line. Two columns are x and y.
///
/// # Errors
/// Where more than two can be: which of them are x and y is not for a program to guess.
pub(super) fn by_content(lines: &[&[String]]) -> Result<Columns, String> {
    let wide = lines.iter().map(|l| l.len()).max().unwrap_or(0);
    let field = |l: &[String], i: usize| l.get(i).map_or("", |f| f.trim()).to_owned();
    let all = |i: usize, is: &dyn Fn(&str) -> bool| lines.iter().all(|l| is(&field(l, i)));
    let used: Vec<usize> = (0..wide).filter(|&i| !all(i, &str::is_empty)).collect();
    if wide <= 2 || used == [0, 1] {
        return Ok(Columns {
            x: 0,
            y: 1,
            ..Columns::default()
        });
    }
    const ASK: &str = "expected x and y, or a first line that names the columns, such as name,x,y";
    let is_length = |f: &str| parse(f, Units::Millimetre).is_ok();
    let (lengths, words): (Vec<usize>, Vec<usize>) =
        used.iter().partition(|&&i| all(i, &is_length));
    let [x, y] = lengths[..] else {
        return Err(format!(
            "{} columns, of which {} are lengths in every line; {ASK}; a decimal comma needs another sign between columns",
            used.len(),
            lengths.len()
        ));
    };
    let (units, names): (Vec<usize>, Vec<usize>) = words
        .iter()
        .partition(|&&i| all(i, &|f| unit_of(f).is_some()));
    if units.len() > 1 || names.len() > 1 {
        return Err(format!("{} columns without a name; {ASK}", used.len()));
    }
    Ok(Columns {
        name: names.first().copied(),
        x,
        y,
        unit: units.first().copied(),
        ..Columns::default()
    })
}
