//! The arguments of `grade` as typed, and their help.

use std::path::PathBuf;

use punchready::check::{Corner, said};
use punchready::survey::PrintScale;

use crate::cli::args::PaperName;

const EXAMPLES: &str = "\
Examples:
  punchready grade --new-rubric rubric.toml
      Writes a rubric with comments, to be changed as you like.
  punchready grade --plan coupon.toml --rubric rubric.toml --bars 99.8mm,100.1mm class/
      Grades a folder: a folder for each student, or photos named ana.jpg, ana-2.jpg, ben.jpg.
  punchready grade --plan coupon.toml --rubric rubric.toml --whose list.csv class/
      The same with a list (columns photo,student) that says whose each photo is.

Into DIR it writes summary.html and gradebook.csv for the instructor, and for each student a
sheet of one page, HTML and PDF, in DIR/sheets. DIR/measured keeps what was measured: a run that
was cut off goes on there, and another rubric is applied without measuring again.

Exit status:
  0  done, every piece is graded
  3  done, but a piece could not be graded from its photos: the summary says which and why
  2  bad command line, a plan, rubric or list that cannot be used, an output that cannot be written";

/// Grade a class of practice pieces, with a sheet of feedback for each student
///
/// Every piece is measured as by `check`, and marked by a rubric that you write. Where a photo leaves a doubt,
/// the student has the benefit of it; what no photo shows is left to you. Names and photos stay on this
/// machine, and where a photo was taken is copied nowhere.
#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLES)]
pub(crate) struct GradeArgs {
    /// Photos, or folders of them
    ///
    /// In a folder, each folder is a student, and photos beside them are named by student: ana.jpg, ana-2.jpg
    /// (or "ana (2).jpg") are Ana's. Several photos of one student show one piece.
    #[arg(required_unless_present = "new_rubric", value_name = "PHOTO_OR_FOLDER")]
    pub(crate) photos: Vec<PathBuf>,

    /// The plan of the piece, a TOML file
    #[arg(long, value_name = "PLAN", required_unless_present = "new_rubric")]
    pub(crate) plan: Option<PathBuf>,

    /// The rubric, a TOML file
    #[arg(long, value_name = "RUBRIC", required_unless_present = "new_rubric")]
    pub(crate) rubric: Option<PathBuf>,

    /// Write a rubric with comments to FILE, and do nothing else
    #[arg(long, value_name = "FILE", conflicts_with_all = ["photos", "plan", "rubric", "whose", "roster"])]
    pub(crate) new_rubric: Option<PathBuf>,

    /// A list that says whose each photo is: CSV with the columns photo and student
    #[arg(long, value_name = "FILE")]
    pub(crate) whose: Option<PathBuf>,

    /// Who is in the class: a name a line, or CSV with a column student
    ///
    /// Whoever handed nothing in is then listed as not graded, and a name that is on no roster is reported.
    #[arg(long, value_name = "FILE")]
    pub(crate) roster: Option<PathBuf>,

    /// The folder to write into; made if it is not there
    #[arg(long, value_name = "DIR", default_value = "grades")]
    pub(crate) out: PathBuf,

    /// Numbers in place of names, on every page and in the gradebook
    ///
    /// Which number is whose stands in DIR/names.csv alone, and stays so when more pieces are added.
    #[arg(long, hide_short_help = true)]
    pub(crate) numbers: bool,

    /// Paper of the PDF sheets
    #[arg(long, value_enum, default_value_t = PaperName::A4, hide_short_help = true)]
    pub(crate) paper: PaperName,

    /// What a steel rule shows on the card's bars, across and down, as for `check`
    #[arg(long, value_name = "A,D", value_parser = said::bars)]
    pub(crate) bars: Option<PrintScale>,

    /// How far the cards beside the piece lie below its face, as for `check`
    #[arg(long, value_name = "LENGTH", value_parser = said::below, allow_hyphen_values = true)]
    pub(crate) card_below: Option<f64>,

    /// Which corner in every photo is the plan's lower left, as for `check`
    #[arg(long, value_name = "CORNER", value_parser = said::corner, hide_short_help = true)]
    pub(crate) datum_corner: Option<Corner>,

    /// A camera profile, or a folder of them: each photo takes the one that suits, if any does
    #[arg(long, value_name = "FILE", hide_short_help = true)]
    pub(crate) lens: Option<PathBuf>,

    /// Photos measured at the same time; if not given, one for each core
    ///
    /// Results are the same with any number. Each takes some 60 MB for a photo of 12 megapixels.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256), hide_short_help = true)]
    pub(crate) jobs: Option<u16>,

    /// Measure everything again, also what was measured before
    #[arg(long, hide_short_help = true)]
    pub(crate) afresh: bool,

    /// Print no summary and no progress; the exit status and the files tell
    #[arg(long, short)]
    pub(crate) quiet: bool,
}
