//! Holes from and to other programs: CSV and DXF.
//!
//! | what | file |
//! | --- | --- |
//! | lists, and which of their columns holds what | `table`, `columns` |
//! | pairs, records, sections, blocks of a DXF file; its unit | `tags`, `units` |
//! | what single entities draw, and where blocks put it | `drawn`, `flat_map` |
//! | points, circles and inserted blocks as holes | `dxf_in` |
//! | lines and arcs that close, and which is the outline | `shapes`, `sheet` |
//! | a plan's holes and outline as DXF, not in a browser | `dxf_out` |
//! | what was taken, and the plan it makes | this |

mod columns;
mod drawn;
mod dxf_in;
#[cfg(not(target_arch = "wasm32"))]
mod dxf_out;
mod flat_map;
mod shapes;
mod sheet;
mod table;
mod tags;
mod units;

pub use dxf_in::{DxfChoice, from_dxf};
#[cfg(not(target_arch = "wasm32"))]
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

/// The name under which this program notes in a DXF file what its entities cannot say: names of holes, the tolerance.
const PROGRAM: &str = "PUNCHREADY";
/// What stands in every DXF file of this program.
pub const DXF_SIGN: &str = PROGRAM;

/// A hole in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Its name, where the file has one.
    pub name: Option<String>,
    /// Its centre, mm from the lower left corner of the sheet.
    pub at: [f64; 2],
}

/// What was found in a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Imported {
    /// The holes.
    pub holes: Vec<Found>,
    /// Holes that are drilled already: nothing is to be marked there.
    pub drilled: Vec<Found>,
    /// Width and height of the sheet, mm, where the file shows its outline.
    pub sheet_mm: Option<[f64; 2]>,
    /// The unit of the file's numbers.
    pub units: Units,
    /// How far a mark may be from its place, mm, where the file says it.
    pub tolerance_mm: Option<f64>,
    /// Diameter of the rivets, mm, where the file says it.
    pub rivet_mm: Option<f64>,
    /// What was taken, a sentence each.
    pub taken: Vec<String>,
    /// What was left out, and why.
    pub left_out: Vec<String>,
    /// What must be looked at before the plan is used.
    pub warnings: Vec<String>,
}

impl Imported {
    /// Nothing yet, in this unit.
    fn of(units: Units) -> Self {
        Self {
            holes: Vec::new(),
            drilled: Vec::new(),
            sheet_mm: None,
            units,
            tolerance_mm: None,
            rivet_mm: None,
            taken: Vec::new(),
            left_out: Vec::new(),
            warnings: Vec::new(),
        }
    }
}

/// Why a file gives no holes.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ExchangeError {
    /// It is larger than any list of holes.
    TooLarge,
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
    /// It has more in it than a sheet has, counted as often as blocks repeat it.
    TooMuch {
        /// How much is looked at.
        most: usize,
    },
    /// There is no closed line with holes in it on the layer that was asked for.
    NoOutline {
        /// The layer.
        layer: String,
    },
    /// The size of the sheet is said, and nothing says where in the drawing it lies.
    NoOrigin,
    /// The closed line that holds the holes is no upright rectangle.
    NoRectangle {
        /// Its size and layer.
        outline: String,
    },
    /// The outline is drawn in another size than is said.
    OtherSize {
        /// As drawn.
        outline: String,
        /// As said.
        said: String,
    },
    /// Two closed lines may be the outline.
    TwoOutlines {
        /// Their sizes and layers, and how many holes each holds.
        which: Vec<String>,
    },
}

impl fmt::Display for ExchangeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooLarge => write!(
                f,
                "has more than {LARGEST_FILE} bytes; expected one sheet; take out what is no hole or outline"
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
            Self::TooMuch { most } => write!(
                f,
                "draws more than {most} things, with what its blocks repeat; expected one sheet; take out what is no hole or outline"
            ),
            Self::NoOutline { layer } => write!(
                f,
                "has no closed line on layer {layer} with holes in it; expected the sheet's outline there; name another layer, or give --sheet and --origin"
            ),
            Self::NoOrigin => write!(
                f,
                "shows no outline round its holes, so that nothing says where the sheet of --sheet lies in it; expected --origin X,Y too; \
                 with --origin 0mm,0mm its lower left corner is where the drawing's is"
            ),
            Self::NoRectangle { outline } => write!(
                f,
                "has its holes in a closed line of {outline} that is no upright rectangle; expected one, for a plan's sheet is one; \
                 draw the rectangle to measure from, or give --sheet and --origin"
            ),
            Self::OtherSize { outline, said } => write!(
                f,
                "has an outline of {outline}; --sheet says {said}; leave --sheet out if the drawing is right, or say with --origin where it lies"
            ),
            Self::TwoOutlines { which } => write!(
                f,
                "has more than one closed line that may be the sheet: {}; expected one that holds all holes; \
                 name its layer with --outline, leave out with --layer what is no hole, or give --sheet and --origin",
                which
                    .iter()
                    .take(5)
                    .map(String::as_str)
                    .collect::<Vec<_>>()
                    .join(" or ")
            ),
        }
    }
}
impl std::error::Error for ExchangeError {}

fn check_size(bytes: &[u8]) -> Result<(), ExchangeError> {
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(ExchangeError::TooLarge);
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
         {}\n[tolerance]\nposition = {}\n",
        show(size_mm[0]),
        show(size_mm[1]),
        found.rivet_mm.map_or_else(
            || "# [rivet]\n# diameter = \"1/8\"\n".to_owned(),
            |mm| format!("[rivet]\ndiameter = {}\n", show(mm))
        ),
        show(tolerance_mm)
    );
    let mut used: Vec<String> = Vec::new();
    let to_mark = found
        .holes
        .iter()
        .map(|h| (h.name.as_deref(), &h.at, false));
    let drilled = found
        .drilled
        .iter()
        .map(|h| (h.name.as_deref(), &h.at, true));
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
