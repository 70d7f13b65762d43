//! Holes from and to other programs: CSV and DXF.
//!
//! | what | file |
//! | --- | --- |
//! | columns of x and y | `table` |
//! | points, circles, inserted blocks and the outline of a DXF file | `dxf_in` |
//! | a plan's holes and outline as DXF | `dxf_out` |
//! | what was taken, and the plan it makes | this |

mod dxf_in;
mod dxf_out;
mod table;

pub use dxf_in::{DxfChoice, from_dxf};
pub use dxf_out::to_dxf;
pub use table::{from_csv, to_csv};

use std::fmt;
use std::fmt::Write as _;

use crate::plan::Units;
use crate::plan::length::mm_per;

/// Largest file taken, bytes.
pub const LARGEST_FILE: u64 = 32 << 20;
/// Most holes taken: as many as a plan may have.
const MOST_HOLES: usize = 2000;
/// The layer of holes that are drilled already, in what is written and in what is read.
const DRILLED_LAYER: &str = "DRILLED";

/// What was found in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The holes: a name where the file has one, and the centre, mm from the lower left corner of the sheet.
    pub holes: Vec<(Option<String>, [f64; 2])>,
    /// Centres of holes that are drilled already, mm: nothing is to be marked there.
    pub drilled: Vec<[f64; 2]>,
    /// Width and height of the sheet, mm, where the file shows its outline.
    pub sheet_mm: Option<[f64; 2]>,
    /// The unit of the file's numbers.
    pub units: Units,
    /// What was taken, a sentence each.
    pub taken: Vec<String>,
    /// What was left out, and why.
    pub left_out: Vec<String>,
}

/// Why a file gives no holes.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ExchangeError {
    /// It is larger than any list of holes.
    TooLarge {
        /// Its size, bytes.
        bytes: usize,
    },
    /// Neither the file nor the caller says the unit.
    NoUnits,
    /// The file says another unit than the caller.
    OtherUnits {
        /// What the file says.
        file: String,
    },
    /// A line of a CSV file cannot be read.
    BadLine {
        /// From 1.
        line: u64,
        /// What is wrong.
        why: String,
    },
    /// It is no DXF file that can be read.
    BadDxf {
        /// What the reader says.
        why: String,
    },
    /// It has no holes.
    NoHoles {
        /// What was left out.
        left_out: Vec<String>,
    },
    /// It has more holes than a plan may have.
    TooMany,
}

impl fmt::Display for ExchangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLarge { bytes } => write!(
                f,
                "has {bytes} bytes; expected at most {LARGEST_FILE}; take out what is no hole or outline"
            ),
            Self::NoUnits => write!(
                f,
                "does not say the unit of its numbers; expected --units in or --units mm; ask whoever made it"
            ),
            Self::OtherUnits { file } => write!(
                f,
                "says that its numbers are {file}; --units says another unit; leave --units out if the file is right"
            ),
            Self::BadLine { line, why } => write!(f, "line {line}: {why}"),
            Self::BadDxf { why } => write!(
                f,
                "cannot be read as DXF ({why}); expected an ASCII DXF file; save it anew, as DXF of release 2000 or later"
            ),
            Self::NoHoles { left_out } => {
                write!(f, "has no holes; expected points, circles or small blocks")?;
                for what in left_out.iter().take(5) {
                    write!(f, "\n  left out: {what}")?;
                }
                Ok(())
            }
            Self::TooMany => write!(
                f,
                "has more than {MOST_HOLES} holes; expected one sheet; choose layers, or cut the file"
            ),
        }
    }
}
impl std::error::Error for ExchangeError {}

fn check_size(bytes: &[u8]) -> Result<(), ExchangeError> {
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(ExchangeError::TooLarge { bytes: bytes.len() });
    }
    Ok(())
}

/// The plan of what was found, as the text of a plan file: single holes, each with its place in the file's
/// unit. Holes without a usable name of their own are called `H1`, `H2`, ..., those drilled already too.
#[must_use]
pub fn plan_text(found: &Imported, title: &str, size_mm: [f64; 2], tolerance_mm: f64) -> String {
    let unit = match found.units {
        Units::Inch => "in",
        Units::Millimetre => "mm",
    };
    let show = |mm: f64| {
        // A tenth of a micron: finer than any drawing, and the same text everywhere.
        let text = format!("{:.6}", mm / mm_per(found.units));
        let text = text.trim_end_matches('0').trim_end_matches('.');
        if text == "-0" || text.is_empty() {
            "0".to_string()
        } else {
            text.to_string()
        }
    };
    let quoted: String = title
        .chars()
        .map(|c| {
            if c.is_control() || c == '"' || c == '\\' {
                ' '
            } else {
                c
            }
        })
        .collect();
    let mut out = format!(
        "# Made from another program's file. Check it against the drawing: punchready plan check\n\
         title = \"{quoted}\"\nunits = \"{unit}\"\n\n[sheet]\nwidth = {}\nheight = {}\n\n\
         # [rivet]\n# diameter = \"1/8\"\n\n[tolerance]\nposition = {}\n",
        show(size_mm[0]),
        show(size_mm[1]),
        show(tolerance_mm)
    );
    let mut used: Vec<String> = Vec::new();
    let to_mark = found.holes.iter().map(|(n, at)| (n.as_deref(), at, false));
    let drilled = found.drilled.iter().map(|at| (None, at, true));
    let all: Vec<_> = to_mark.chain(drilled).collect();
    let given: Vec<Option<&str>> = all
        .iter()
        .map(|(name, ..)| {
            let name = name.filter(|n| usable(n))?;
            let lower = name.to_lowercase();
            if used.contains(&lower) {
                return None;
            }
            used.push(lower);
            Some(name)
        })
        .collect();
    let mut next = 1;
    for ((_, [x, y], drilled), name) in all.iter().zip(given) {
        let name = name.map_or_else(
            || {
                while used.contains(&format!("h{next}")) {
                    next += 1;
                }
                next += 1;
                format!("H{}", next - 1)
            },
            str::to_string,
        );
        let _ = write!(
            out,
            "\n[[hole]]\nname = \"{name}\"\nx = {}\ny = {}\n{}",
            show(*x),
            show(*y),
            if *drilled { "drilled = true\n" } else { "" }
        );
    }
    out
}

/// Whether a plan takes this name.
fn usable(name: &str) -> bool {
    let length = name.chars().count();
    (1..=16).contains(&length)
        && name
            .chars()
            .all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | '.'))
}
