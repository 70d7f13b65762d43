//! CSV: one hole a line, x and y from the sheet's lower left corner.

use csv::{ReaderBuilder, StringRecord, Trim};

use super::{ExchangeError, Imported, MOST_HOLES, check_size};
use crate::plan::length::{mm_per, parse};
use crate::plan::{Plan, Units};

/// Which column holds what.
struct Columns {
    name: Option<usize>,
    x: usize,
    y: usize,
    units: Option<Units>,
}

/// Reads holes from CSV: columns separated by comma, semicolon or tab; x and y the first two, or named by a
/// header (`x`, `y`, `name`; `x_mm` or `x (in)` say the unit too). Lengths as in a plan. Empty lines and
/// those that begin with `#` are passed over.
///
/// # Errors
/// [`ExchangeError`]: no unit, another unit than the header says, or a line that is no hole: a list with a
/// hole missing would be worse than none.
pub fn from_csv(bytes: &[u8], units: Option<Units>) -> Result<Imported, ExchangeError> {
    check_size(bytes)?;
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let before = &bytes[..e.valid_up_to()];
        ExchangeError::BadLine {
            line: 1 + before.iter().filter(|&&b| b == b'\n').count() as u64,
            why: "it is not UTF-8 text; expected a CSV file saved as UTF-8".into(),
        }
    })?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'))
        .unwrap_or_default();
    let separator = [b'\t', b';', b',']
        .into_iter()
        .find(|s| first.bytes().any(|b| b == *s))
        .unwrap_or(b',');
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .comment(Some(b'#'))
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut columns: Option<Columns> = None;
    let mut header = false;
    let mut holes = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| ExchangeError::BadLine {
            line: e.position().map_or(0, csv::Position::line),
            why: "it is no line of CSV".into(),
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        if record.iter().all(str::is_empty) {
            continue;
        }
        let columns = match &columns {
            Some(known) => known,
            None => {
                let named = named_columns(&record);
                header = named.is_some();
                let known = named.unwrap_or(Columns {
                    name: None,
                    x: 0,
                    y: 1,
                    units: None,
                });
                if known.units.is_some() && units.is_some() && known.units != units {
                    let file = match known.units {
                        Some(Units::Inch) => "inches",
                        _ => "millimetres",
                    };
                    return Err(ExchangeError::OtherUnits { file: file.into() });
                }
                columns = Some(known);
                if header {
                    continue;
                }
                columns.as_ref().ok_or(ExchangeError::NoUnits)?
            }
        };
        let bare = columns.units.or(units).ok_or(ExchangeError::NoUnits)?;
        let length = |index: usize, what: &str| {
            let field = record.get(index).unwrap_or_default();
            parse(field, bare).map_err(|e| ExchangeError::BadLine {
                line,
                why: format!("{what}: {e}"),
            })
        };
        let at = [length(columns.x, "x")?, length(columns.y, "y")?];
        let name = columns.name.and_then(|i| record.get(i));
        holes.push((name.map(str::to_string), at));
        if holes.len() > MOST_HOLES {
            return Err(ExchangeError::TooMany);
        }
    }
    let units = columns
        .and_then(|c| c.units)
        .or(units)
        .ok_or(ExchangeError::NoUnits)?;
    if holes.is_empty() {
        return Err(ExchangeError::NoHoles {
            left_out: Vec::new(),
        });
    }
    let taken = vec![format!(
        "{} lines as holes, x and y in {}{}",
        holes.len(),
        match units {
            Units::Inch => "inches",
            Units::Millimetre => "millimetres",
        },
        if header {
            ", by the names of the columns"
        } else {
            ", from the first two columns"
        }
    )];
    Ok(Imported {
        holes,
        drilled: Vec::new(),
        sheet_mm: None,
        units,
        taken,
        left_out: Vec::new(),
    })
}

/// The columns of a header; `None` when the line is none.
fn named_columns(record: &StringRecord) -> Option<Columns> {
    let words: Vec<String> = record.iter().map(str::to_lowercase).collect();
    let axis = |axis: &str| {
        words.iter().position(|w| {
            w.strip_prefix(axis)
                .is_some_and(|rest| unit_of(rest).is_some() || rest.is_empty())
        })
    };
    let (x, y) = (axis("x")?, axis("y")?);
    Some(Columns {
        name: words
            .iter()
            .position(|w| matches!(w.as_str(), "name" | "hole" | "id")),
        x,
        y,
        units: unit_of(&words[x][1..]).filter(|u| unit_of(&words[y][1..]) == Some(*u)),
    })
}

/// The unit behind the letter of an axis: `_mm`, ` (in)`, ` [mm]`.
fn unit_of(rest: &str) -> Option<Units> {
    match rest.trim_matches([' ', '_', '(', ')', '[', ']', '/', '-']) {
        "mm" => Some(Units::Millimetre),
        "in" | "inch" | "inches" => Some(Units::Inch),
        _ => None,
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
