//! CSV: one hole a line, x and y from the sheet's lower left corner.

use std::borrow::Cow;

use csv::{ReaderBuilder, Trim};

use super::columns::{Columns, by_content, by_names, unit_of};
use super::{ExchangeError, Found, Imported, MOST_HOLES, check_size};
use crate::plan::length::{mm_per, parse};
use crate::plan::{Plan, Units};

/// A line of the list.
struct Line {
    /// From 1.
    number: u64,
    fields: Vec<String>,
}

/// Reads holes from CSV: columns separated by comma, semicolon or tab; x and y named by a first line (`x`, `y`, `name`,
/// `unit`; `x_mm` or `x (in)` say the unit too), else the two columns that are lengths. Lengths as in a plan, with a
/// decimal comma where no comma parts the columns. Empty lines and those that begin with `#` are passed over.
///
/// # Errors
/// [`ExchangeError`]: no unit, or two that differ, columns that could be read in two ways, or a line that is no hole: a
/// list with a hole missing would be worse than none.
pub fn from_csv(bytes: &[u8], units: Option<Units>) -> Result<Imported, ExchangeError> {
    check_size(bytes)?;
    let text = text(bytes)?;
    let (separator, mut lines) = lines(&text)?;
    if lines.is_empty() {
        return Err(ExchangeError::NoHoles {
            left_out: Vec::new(),
        });
    }
    points_for_commas(separator, &mut lines)?;
    let bad = |line: &Line, why: String| ExchangeError::BadLine {
        line: line.number,
        why,
    };
    let columns = match by_names(&lines[0].fields, units).map_err(|e| bad(&lines[0], e))? {
        Some(columns) => columns,
        None => {
            let fields: Vec<&[String]> = lines.iter().map(|l| &l.fields[..]).collect();
            by_content(&fields).map_err(|e| bad(&lines[0], e))?
        }
    };
    let holes = &lines[usize::from(columns.header)..];
    let bare = bare_units(&columns, holes, units)?;
    let mut found = Imported::of(bare);
    let named = lines[0].fields.len();
    for line in holes {
        // A decimal comma makes two columns of one, and shifts all that follow.
        let has_more = line.fields.iter().skip(named).any(|f| !f.is_empty());
        if columns.header && has_more {
            let n = line.fields.len();
            return Err(bad(
                line,
                format!(
                    "{n} columns; expected {named}, as in the first line; a decimal comma needs another sign between columns"
                ),
            ));
        }
        let length = |index: usize, what: &str| {
            let field = line.fields.get(index).map_or("", String::as_str);
            parse(field, bare).map_err(|e| bad(line, format!("{what}: {e}")))
        };
        let at = [length(columns.x, "x")?, length(columns.y, "y")?];
        let name = columns.name.and_then(|i| line.fields.get(i)).cloned();
        found.holes.push(Found { name, at });
        if found.holes.len() > MOST_HOLES {
            return Err(ExchangeError::TooMany);
        }
    }
    if found.holes.is_empty() {
        return Err(ExchangeError::NoHoles {
            left_out: Vec::new(),
        });
    }
    found.taken = vec![format!(
        "{} lines as holes, x from column {} and y from column {}, in {}{}",
        found.holes.len(),
        columns.x + 1,
        columns.y + 1,
        words(bare),
        if columns.header {
            ", by the names of the columns"
        } else {
            ", for these alone are lengths"
        }
    )];
    let unread = columns.unread.iter();
    found.left_out = unread
        .map(|name| format!("column \"{name}\": not read"))
        .collect();
    Ok(found)
}

fn words(units: Units) -> &'static str {
    match units {
        Units::Inch => "inches",
        Units::Millimetre => "millimetres",
    }
}

/// The text of a file: UTF-8, or UTF-16 as some spreadsheets save it.
fn text(bytes: &[u8]) -> Result<Cow<'_, str>, ExchangeError> {
    let wide = |little: bool| {
        let unit = |b: &[u8]| match (b, little) {
            (&[a, b], true) => u16::from_le_bytes([a, b]),
            (&[a, b], false) => u16::from_be_bytes([a, b]),
            _ => 0xfffd,
        };
        let units: Vec<u16> = bytes[2..].chunks(2).map(unit).collect();
        String::from_utf16(&units).map_err(|_| ExchangeError::BadLine {
            line: 1,
            why: "it is not UTF-16 text; expected a CSV file saved as UTF-8".into(),
        })
    };
    match bytes {
        [0xff, 0xfe, ..] => wide(true).map(Cow::Owned),
        [0xfe, 0xff, ..] => wide(false).map(Cow::Owned),
        _ => {
            let text = std::str::from_utf8(bytes).map_err(|e| {
                let before = &bytes[..e.valid_up_to()];
                ExchangeError::BadLine {
                    line: 1 + before.iter().filter(|&&b| b == b'\n').count() as u64,
                    why: "it is not UTF-8 text; expected a CSV file saved as UTF-8".into(),
                }
            })?;
            Ok(Cow::Borrowed(text.strip_prefix('\u{feff}').unwrap_or(text)))
        }
    }
}

/// The sign between columns, and the lines that hold something.
fn lines(text: &str) -> Result<(u8, Vec<Line>), ExchangeError> {
    let mut content = text
        .lines()
        .filter(|l| !l.trim().is_empty() && !l.starts_with('#'));
    let first = content.next().unwrap_or_default();
    // The first line of some spreadsheets' files says what is between the columns.
    let said = first.trim().strip_prefix("sep=").map(str::as_bytes);
    let separator = match said {
        Some(&[sign]) => sign,
        _ => [b'\t', b';', b',']
            .into_iter()
            .find(|s| first.bytes().any(|b| b == *s))
            .unwrap_or(b','),
    };
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .comment(Some(b'#'))
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut lines = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| ExchangeError::BadLine {
            line: e.position().map_or(0, csv::Position::line),
            why: "it is no line of CSV".into(),
        })?;
        let fields: Vec<String> = record.iter().map(str::to_owned).collect();
        let is_sign = said.is_some() && lines.is_empty() && fields[0].starts_with("sep=");
        if !is_sign && fields.iter().any(|f| !f.is_empty()) {
            lines.push(Line {
                number: record.position().map_or(0, csv::Position::line),
                fields,
            });
        }
        // A header, and one more than may be.
        if lines.len() > MOST_HOLES + 1 {
            return Err(ExchangeError::TooMany);
        }
    }
    Ok((separator, lines))
}

/// Whole digits, a comma and `after` more digits, before a unit or none: a number with a decimal comma, or one with a
/// comma at its thousands.
fn comma_number(field: &str) -> Option<usize> {
    let (whole, after) = field.split_once(',')?;
    let whole = whole.trim_start_matches('-');
    let digits = after.bytes().take_while(u8::is_ascii_digit).count();
    let unit = after[digits..].trim();
    let is_number = !whole.is_empty() && whole.bytes().all(|b| b.is_ascii_digit()) && digits > 0;
    (is_number && (unit.is_empty() || unit_of(unit).is_some())).then_some(digits)
}

/// Puts points for decimal commas, where it is beyond doubt that they are none at the thousands.
fn points_for_commas(separator: u8, lines: &mut [Line]) -> Result<(), ExchangeError> {
    let mut first: Option<(u64, String)> = None;
    let (mut decimals, mut points) = (separator == b';', false);
    for line in lines.iter() {
        for field in &line.fields {
            match comma_number(field) {
                Some(after) => {
                    first.get_or_insert((line.number, field.clone()));
                    decimals |= after != 3;
                }
                None => points |= field.contains('.') && parse(field, Units::Millimetre).is_ok(),
            }
        }
    }
    let Some((line, field)) = first else {
        return Ok(());
    };
    if !decimals || points {
        let why = format!(
            "found \"{}\", whose comma may be that of decimals or of thousands; expected a point for decimals and nothing for thousands",
            crate::plan::length::shorten(&field)
        );
        return Err(ExchangeError::BadLine { line, why });
    }
    for field in lines.iter_mut().flat_map(|l| &mut l.fields) {
        if comma_number(field).is_some() {
            *field = field.replacen(',', ".", 1);
        }
    }
    Ok(())
}

/// The unit of numbers without one: by the names of the columns, by a column of units, or as the caller says; where two
/// of them say it they must say the same.
fn bare_units(
    columns: &Columns,
    lines: &[Line],
    given: Option<Units>,
) -> Result<Units, ExchangeError> {
    let mut said = columns.units;
    if let Some(i) = columns.unit {
        for line in lines {
            let bad = |why: String| ExchangeError::BadLine {
                line: line.number,
                why,
            };
            let field = line.fields.get(i).map_or("", String::as_str);
            let here = unit_of(field).ok_or_else(|| {
                let found = crate::plan::length::shorten(field);
                bad(format!("unit: found \"{found}\"; expected in or mm"))
            })?;
            if *said.get_or_insert(here) != here {
                return Err(bad(
                    "unit: another one than before; expected one for the whole list".into(),
                ));
            }
        }
    }
    match (said, given) {
        (Some(file), Some(given)) if file != given => Err(ExchangeError::OtherUnits {
            file: words(file).into(),
        }),
        (said, given) => said.or(given).ok_or(ExchangeError::NoUnits),
    }
}

/// A plan's holes as CSV, in the plan's unit: `name,row,x_in,y_in` or `name,row,x_mm,y_mm`.
#[must_use]
pub fn to_csv(plan: &Plan) -> String {
    let unit = match plan.units {
        Units::Inch => "in",
        Units::Millimetre => "mm",
    };
    let mut out = format!("name,row,x_{unit},y_{unit}\n");
    for hole in &plan.holes {
        let [x, y] = [hole.at.x, hole.at.y].map(|v| v / mm_per(plan.units));
        // Names of a plan have neither comma nor quote.
        let row = hole.row.as_deref().unwrap_or_default();
        out.push_str(&format!("{},{row},{x:.7},{y:.7}\n", hole.name));
    }
    out
}
