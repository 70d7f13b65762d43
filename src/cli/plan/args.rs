//! The arguments of `punchready plan`.

use std::path::PathBuf;

use clap::{Subcommand, ValueEnum};

use punchready::plan::rules::{BOOKS, Book};

/// Start, look at, mark out, draw and exchange plans
///
/// A plan says where the holes should be.
#[derive(Debug, Subcommand)]
pub(crate) enum PlanCommand {
    New(NewArgs),
    Check(CheckArgs),
    Stations(StationsArgs),
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
    /// Unsaid, the plan is printed.
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
    /// See the README for its keys, or `punchready plan new`.
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
