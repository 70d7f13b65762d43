//! The arguments of `punchready plan`.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use punchready::plan::Units;
use punchready::plan::rules::{BOOKS, Book};

use super::super::args::PaperName;

/// Start, look at, mark out, draw and exchange plans
///
/// A plan says where the holes should be.
#[derive(Debug, Subcommand)]
pub(crate) enum PlanCommand {
    New(NewArgs),
    Check(CheckArgs),
    Coverage(CoverageArgs),
    Stations(StationsArgs),
    Sheet(SheetArgs),
    Import(ImportArgs),
    Export(ExportArgs),
}

/// Write a plan to start from, with comments
///
/// Prints it, or writes it to --out. An existing file is never overwritten.
#[derive(Debug, clap::Args)]
pub(crate) struct NewArgs {
    /// The case: row, two-rows, three-rows, patch, ring or coupon
    ///
    /// One row along an edge; two staggered rows; a seam of three rows; a rectangular patch, all round; a
    /// bolt circle, as round an inspection hole; a student's lap-joint coupon.
    #[arg(value_name = "CASE", value_parser = case)]
    pub(crate) case: &'static punchready::plan::starters::Starter,

    /// The file to write
    ///
    /// If not given, the plan is printed.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

/// Read a plan, say what it holds, and hold it against published figures
///
/// Names every mistake with its line, column and key. Then edge distance, end distance, pitch and row
/// distance of each row in rivet diameters, with what is under or over the figures of handbooks, each with
/// document and paragraph. The aircraft's own drawing and approved data rule. Exit status 0 if the plan can
/// be used, 2 if not.
#[derive(Debug, clap::Args)]
pub(crate) struct CheckArgs {
    /// The plan, a TOML file
    ///
    /// docs/plan.md has its keys; `punchready plan new` writes one to start from.
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// Whose figures: all, ac (FAA AC 43.13-1B), faa (FAA-H-8083-31), navy (NAVEDTRA 14018) or army
    ///
    /// Handbooks differ: for two rows the FAA's ask for 4 D, the Navy's and the Army's for 3 D.
    #[arg(long, value_name = "SET", value_enum, default_value_t = RuleSet::All)]
    pub(crate) rules: RuleSet,

    /// Exit with status 1 if something is under a published least value
    ///
    /// For scripts; what only follows from memory does not count.
    #[arg(long)]
    pub(crate) strict: bool,
}

/// Say how many photos and cards a plan needs, where they go, and how well each hole will be known
///
/// Before any photo is taken: lays out photos and cards, and puts what they would show through the survey that a
/// check makes. U is what a check will count against every hole: with U above the tolerance no hole can be proven.
#[derive(Debug, clap::Args)]
pub(crate) struct CoverageArgs {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// How high the camera will be held above the sheet, such as 400mm or 16in
    ///
    /// If not given, as near as shows the whole piece in one photo, or a long one in a row of few.
    #[arg(long, value_name = "LENGTH", value_parser = height)]
    pub(crate) height: Option<f64>,

    /// Print U at every hole
    #[arg(long)]
    pub(crate) holes: bool,
}

/// Print where to mark: running distances of each row
///
/// Every distance is from the same datum, never from the hole before, in decimal inches, to the nearest 1/64
/// and 1/32 in with the error of each, and in mm. Says what rounding costs of the tolerance, and what to do
/// where that is more than a quarter.
#[derive(Debug, clap::Args)]
pub(crate) struct StationsArgs {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// Write the tables as CSV too; "-" writes them to standard output instead
    #[arg(long, value_name = "FILE")]
    pub(crate) csv: Option<PathBuf>,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long)]
    pub(crate) force: bool,
}

/// Draw a plan: a page with dimensions, or a template true to size
///
/// The drawing is to scale on one page, dimensioned from the edges. The template is tiled over pages, with
/// marks to align them and bars to lay a rule on.
#[derive(Debug, clap::Args)]
pub(crate) struct SheetArgs {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// The file to write; it ends in .pdf or .svg
    ///
    /// If not given, PLAN-drawing.pdf or PLAN-template.pdf in the current folder. A template as SVG is one piece,
    /// for a plotter.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Draw true to size, over as many pages as it takes
    #[arg(long)]
    pub(crate) template: bool,

    /// Paper
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub(crate) paper: PaperName,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long)]
    pub(crate) force: bool,
}

/// Make a plan from a CSV or DXF file
///
/// From CSV, two columns x and y, with or without a header. From DXF, points, circles and inserted blocks as
/// holes; the outline from the closed line that holds them. Says what was taken and what was left out. The plan has
/// the holes as single ones; an existing file is never overwritten.
#[derive(Debug, clap::Args)]
pub(crate) struct ImportArgs {
    /// The file, .csv or .dxf
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,

    /// The plan to write
    #[arg(long, value_name = "PLAN")]
    pub(crate) out: PathBuf,

    /// Unit of its numbers: in or mm
    ///
    /// A CSV file needs it; a DXF file says it itself, unless its header has none.
    #[arg(long, value_name = "UNIT", value_enum)]
    pub(crate) units: Option<UnitName>,

    /// Size of the sheet, width and height, such as 12in,8.5in
    ///
    /// A DXF file with an outline says it itself; of one without, --origin must say where the sheet lies.
    #[arg(long, value_name = "W,H", value_parser = size)]
    pub(crate) sheet: Option<[f64; 2]>,

    /// Where in a DXF file the sheet's lower left corner is, such as 0in,0in
    ///
    /// With --sheet, in place of an outline.
    #[arg(long, value_name = "X,Y", value_parser = size, requires = "sheet", allow_hyphen_values = true)]
    pub(crate) origin: Option<[f64; 2]>,

    /// Only holes that lie on these layers of a DXF file
    ///
    /// May be given more than once. If not given, all layers. The outline may lie on another.
    #[arg(long, value_name = "LAYER")]
    pub(crate) layer: Vec<String>,

    /// The layer of the sheet's outline in a DXF file
    ///
    /// If not given, the closed line that holds all holes.
    #[arg(long, value_name = "LAYER")]
    pub(crate) outline: Option<String>,

    /// Only circles up to this diameter are holes
    ///
    /// If not given, 13 mm (1/2 in): larger ones are cut-outs.
    #[arg(long, value_name = "LENGTH", value_parser = punchready::plan::length::parse_option)]
    pub(crate) largest: Option<f64>,

    /// How far a mark may be from its place, written into the plan
    ///
    /// If not given, as the file says it if this program wrote it, else 0.8mm.
    #[arg(long, value_name = "LENGTH", value_parser = punchready::plan::length::parse_option)]
    pub(crate) tolerance: Option<f64>,
}

/// Write a plan's holes as CSV or DXF
///
/// CSV has name, row, x, y; DXF a point and a circle for each hole, and the outline.
#[derive(Debug, clap::Args)]
pub(crate) struct ExportArgs {
    /// The plan, a TOML file
    #[arg(value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// The file to write; it ends in .csv or .dxf
    #[arg(long, value_name = "FILE")]
    pub(crate) out: PathBuf,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long)]
    pub(crate) force: bool,
}

/// A unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum UnitName {
    In,
    Mm,
}

impl From<UnitName> for Units {
    fn from(name: UnitName) -> Self {
        match name {
            UnitName::In => Self::Inch,
            UnitName::Mm => Self::Millimetre,
        }
    }
}

fn size(text: &str) -> Result<[f64; 2], String> {
    punchready::plan::length::parse_pair(text).map_err(|e| e.to_string())
}

/// Whose figures count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum RuleSet {
    All,
    Ac,
    Faa,
    Navy,
    Army,
}

impl RuleSet {
    pub(crate) fn books(self) -> &'static [Book] {
        match self {
            Self::All => &BOOKS,
            Self::Ac => &[Book::Circular],
            Self::Faa => &[Book::Handbook],
            Self::Navy => &[Book::Navy],
            Self::Army => &[Book::Army],
        }
    }
}

fn case(text: &str) -> Result<&'static punchready::plan::starters::Starter, String> {
    use punchready::plan::starters::{STARTERS, named};
    named(text).ok_or_else(|| {
        let names: Vec<&str> = STARTERS.iter().map(|s| s.name).collect();
        format!("expected one of {}", names.join(", "))
    })
}

/// A height, in mm unless it says otherwise.
fn height(text: &str) -> Result<f64, String> {
    let mm = punchready::plan::length::parse_option(text).map_err(|e| e.to_string())?;
    if mm > 0.0 {
        Ok(mm)
    } else {
        Err("a height above the sheet is more than nothing".to_owned())
    }
}
