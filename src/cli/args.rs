//! The arguments as typed, and their help. The first paragraph of a comment is the short help (`-h`),
//! all of it the long one (`--help`).

use std::path::PathBuf;

use clap::{Parser, Subcommand, ValueEnum};

use punchready::card::layout::Shape;
use punchready::card::print::{PX_PER_MM, Paper};
use punchready::check::{Corner, Known, Stage, said};
use punchready::survey::PrintScale;

/// Reads the command line; on `--help`, `--version` or a mistake, says so and ends the program.
pub(crate) fn read() -> Args {
    Args::parse()
}

const EXAMPLES: &str = "\
Examples:
  punchready demo demo --check
      Makes a plan and a photo of an invented sheet in folder demo, and checks it.
  punchready cards
      Writes a page of scale cards to print.
  punchready check sheet.jpg --plan plan.toml --bars 99.8mm,100.1mm --report sheet.html
      Checks a photo against a plan.

Exit status of all commands:
  0  done; check: ready
  1  check: not ready
  2  bad command line, a file that cannot be read or written
  3  check: cannot tell; lens and grade: not all could be done";

const CHECK_EXAMPLES: &str = "\
Examples:
  punchready check sheet.jpg --plan plan.toml --bars 99.8mm,100.1mm
  punchready check sheet.jpg --plan plan.toml --card-below 1mm --picture marked.jpg
  punchready check sheet.jpg --plan plan.toml --known sheet-width=304.6mm --json - --quiet

Lengths: 14.3mm, 0.5in, 5/8in, \"2 17/32in\"; a bare number is millimetres.

Exit status:
  0  ready: every planned hole is marked in its place, and nothing else is on the face
  1  not ready: at least one thing is surely wrong
  3  cannot tell: nothing is surely wrong, but not all could be proven right
  2  bad command line, a photo or plan that cannot be read, an output that cannot be written";

/// Checks the rivet marks on a sheet against the plan, from a photo
///
/// A second pair of eyes before the centre punch. Lay a printed scale card beside the marked sheet,
/// take a photo with a phone, and every missing, extra, misplaced or crossed-out mark is named. It
/// helps you look; it does not approve.
#[derive(Debug, Parser)]
#[command(name = "punchready", version, after_help = EXAMPLES, max_term_width = 100, propagate_version = false)]
pub(crate) struct Args {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    Check(CheckArgs),
    Cards(CardsArgs),
    Lens(LensArgs),
    Demo(DemoArgs),
    Grade(super::grade::args::GradeArgs),
    Page(PageArgs),
    #[command(subcommand)]
    Plan(super::plan::args::PlanCommand),
    Completions(CompletionsArgs),
    Man(ManArgs),
}

/// Check photos of a marked sheet against its plan
///
/// Prints what is good, missing, out of place, extra or not visible, and what to do at the bench.
#[derive(Debug, clap::Args)]
#[command(
    after_help = CHECK_EXAMPLES,
    override_usage = "punchready check [OPTIONS] --plan <PLAN> <PHOTO>..."
)]
pub(crate) struct CheckArgs {
    /// The photo or photos of one piece, JPEG or PNG
    ///
    /// Use the originals from the phone: their EXIF data help, and a resized or cropped copy is less
    /// certain. One photo must show the whole sheet and at least one scale card. Of a long sheet take several
    /// that overlap, with one card or better two of each in the next photo too; let nothing move between
    /// them. Their order does not matter.
    #[arg(required = true, value_name = "PHOTO")]
    pub(crate) photos: Vec<PathBuf>,

    /// The plan, a TOML file
    ///
    /// Try `punchready plan check PLAN` to see how it is understood.
    #[arg(long, value_name = "PLAN")]
    pub(crate) plan: PathBuf,

    /// Write the result as JSON; "-" writes it to standard output
    ///
    /// Format punchready.check/1, lengths in mm in the sheet's frame (origin at the lower left corner).
    /// With "-" the text summary is left out, so that standard output holds nothing but JSON.
    #[arg(long, value_name = "FILE")]
    pub(crate) json: Option<PathBuf>,

    /// Write the photo with every finding drawn on it; FILE ends in .jpg or .png
    ///
    /// Of several photos each gets a file: with x.jpg they are x-1.jpg, x-2.jpg, in the order of their names.
    /// Each state has a shape and a letter of its own beside its colour.
    #[arg(long, value_name = "FILE")]
    pub(crate) picture: Option<PathBuf>,

    /// Write a page to look at in a browser; FILE ends in .html
    ///
    /// The sheet seen from straight above, with enlarged pictures of what needs a look. One file, nothing
    /// is loaded from elsewhere.
    #[arg(long, value_name = "FILE")]
    pub(crate) report: Option<PathBuf>,

    /// What a steel rule shows on the card's bars, across and down, such as 99.8mm,100.1mm
    ///
    /// Printers scale. Lay a rule on the bar across and the bar down of a card, or on those in the
    /// margin of its page, and give both lengths. If not given, the print counts as uncertain by 0.5 %, and a
    /// large sheet may then not be provable.
    #[arg(long, value_name = "A,D", value_parser = said::bars)]
    pub(crate) bars: Option<PrintScale>,

    /// A length measured with a steel rule: sheet-width=LENGTH or sheet-height=LENGTH
    ///
    /// The width is from the left to the right edge, the height from the bottom to the top edge, as the
    /// plan draws the sheet, at the middle. May be given once for each name.
    #[arg(long, value_name = "NAME=LENGTH", value_parser = said::known)]
    pub(crate) known: Vec<(Known, f64)>,

    /// Thickness of the cards' paper: 0.1mm office paper, 0.25mm card stock
    ///
    /// The print lies this much above what the card lies on, so that the cards seem a little larger than they are. Unsaid,
    /// anything from paper let in to card stock is thought possible, unless --known tells.
    #[arg(long, value_name = "LENGTH", value_parser = said::thickness, hide_short_help = true)]
    pub(crate) card_thickness: Option<f64>,

    /// How far the cards beside the sheet lie below its face
    ///
    /// The sheet's thickness if they lie on the bench with it, 0mm if they lie level with the marked face
    /// (on scrap of the same thickness). If not given, both are thought possible and the result is less certain.
    #[arg(long, value_name = "LENGTH", value_parser = said::below, allow_hyphen_values = true)]
    pub(crate) card_below: Option<f64>,

    /// Which corner in the photo is the plan's lower left: lower-left, lower-right, upper-right, upper-left
    ///
    /// If not given, the marks show it. Where they fit the plan two ways round the check asks for this.
    #[arg(long, value_name = "CORNER", value_parser = said::corner, hide_short_help = true)]
    pub(crate) datum_corner: Option<Corner>,

    /// How far the work is: marked, punched or drilled
    ///
    /// marked: the ink is checked (a hole counts only where the plan says `drilled = true`). punched: the
    /// dimples of the centre punch are the marks, and what was only marked is unclear. drilled: the holes
    /// are, and their diameters are held against the plan's drill. "Ready" then says that the stage was done
    /// as planned.
    #[arg(long, value_name = "STAGE", value_parser = said::stage, default_value = "marked")]
    pub(crate) stage: Stage,

    /// A camera profile, made by `punchready lens`
    ///
    /// It must be this photo's camera by maker, model and focal length, and the picture's shape; another
    /// resolution is scaled to. A cropped or edited photo, or another camera's, is refused. FILE may be a
    /// folder: the profile in it that suits is taken, and if none does, the check goes on without and says so.
    #[arg(long, value_name = "FILE", hide_short_help = true)]
    pub(crate) lens: Option<PathBuf>,

    /// Answers about unclear marks, a TOML file
    ///
    /// Each place is a mark or it is not; where the ink is, its file says in mm, so that the answers hold for another
    /// photo of the piece too. They count for unclear marks only, never against what was clear, and the
    /// result says that it rests on them. An answer that fits nothing is reported.
    #[arg(long, value_name = "FILE", hide_short_help = true)]
    pub(crate) decide: Option<PathBuf>,

    /// Write a file of all unclear marks, to fill in for --decide; FILE ends in .toml
    ///
    /// The page of --report shows each place enlarged, by the same name. Answers given with --decide are in
    /// it again.
    #[arg(long, value_name = "FILE", hide_short_help = true)]
    pub(crate) decide_template: Option<PathBuf>,

    /// Print where each hole's uncertainty comes from, below the summary
    ///
    /// Noise, print scale, lens, height of the cards, the sheet's edges, its flatness, and the mark itself; the
    /// JSON has the same as `budget` of each hole.
    #[arg(long, hide_short_help = true)]
    pub(crate) budget: bool,

    /// Print how long each step took, and the peak memory, to standard error
    ///
    /// Peak memory only where the system reports it (Linux).
    #[arg(long, hide_short_help = true)]
    pub(crate) timings: bool,

    /// Colour in the summary
    ///
    /// With auto, only on a terminal, and not when the environment variable NO_COLOR is set.
    #[arg(long, value_name = "WHEN", value_enum, default_value_t = When::Auto, hide_short_help = true)]
    pub(crate) color: When,

    /// Print no summary; the exit status and the files tell
    ///
    /// Errors are still printed.
    #[arg(long, short)]
    pub(crate) quiet: bool,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long, hide_short_help = true)]
    pub(crate) force: bool,
}

/// Write scale cards to print
///
/// Writes a page of cards as PDF, true to size, or with --png one picture per card. Print the page at
/// 100 % ("actual size"), lay a steel rule on its two bars, and give what they show to `check --bars`.
#[derive(Debug, clap::Args)]
pub(crate) struct CardsArgs {
    /// The PDF to write
    ///
    /// If not given, punchready-cards-SHAPE-PAPER.pdf in the current folder; with --png, no PDF.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Paper of the PDF
    ///
    /// A page holds twelve cards of either shape on either paper.
    #[arg(long, value_enum, default_value_t = PaperName::A4)]
    pub(crate) paper: PaperName,

    /// Shape of the cards: square (60 x 60 mm) or strip (120 x 25 mm)
    ///
    /// Squares are cards 1 to 40; strips, for narrow work, 41 to 64. If not given, the shape of --numbers, or
    /// squares.
    #[arg(long, value_enum)]
    pub(crate) shape: Option<ShapeName>,

    /// Write the lens page instead: the page for `punchready lens`
    ///
    /// One page of corners in a known pattern, not to be cut. Print it, tape it flat, and photograph it to
    /// make a profile of the camera.
    #[arg(long, conflicts_with_all = ["shape", "numbers", "png"])]
    pub(crate) lens_page: bool,

    /// Which cards, such as 1-12,40
    ///
    /// Two cards of the same number in one photo cannot be told apart. If not given, the first page of the
    /// shape; with --png and no shape, all cards.
    #[arg(long, value_name = "LIST", value_parser = numbers)]
    pub(crate) numbers: Option<Numbers>,

    /// Write one PNG per card into DIR, with cards.json
    ///
    /// cards.json lists each card's number, shape, file, outer size and the designed place of its corners.
    #[arg(long, value_name = "DIR")]
    pub(crate) png: Option<PathBuf>,

    /// Pixels per mm of the PNGs
    ///
    /// Multiples of 20 put every edge between two pixels.
    #[arg(long, value_name = "N", default_value_t = PX_PER_MM, requires = "png")]
    pub(crate) px_per_mm: u32,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long)]
    pub(crate) force: bool,
}

const LENS_EXAMPLES: &str = "\
Examples:
  punchready cards --lens-page
      Writes the page to print.
  punchready lens page-*.jpg --out my-phone.toml --picture my-phone.png
      Makes the camera's profile from photos of it.
  punchready check sheet.jpg --plan plan.toml --lens my-phone.toml
      Uses it.

Exit status:
  0  good enough: the profile can be used
  3  not enough: the summary says which photo to take next, and no profile is written
  2  bad command line, a photo that is not there, an output that cannot be written";

/// Make a camera profile from photos of the lens page
///
/// With a profile the check knows the camera's focal length, the middle of its picture and how its lens bends
/// straight lines, and is more certain away from the cards. Print the lens page (`punchready cards
/// --lens-page`), tape it perfectly flat, and take 8 to 12 photos of it at 1x: two from straight above, the
/// others tilted by about 30 degrees to all sides, so that together they reach every corner of the picture.
#[derive(Debug, clap::Args)]
#[command(after_help = LENS_EXAMPLES)]
pub(crate) struct LensArgs {
    /// Photos of the lens page, JPEG or PNG, all by one camera at one size
    ///
    /// Six at the least, 20 are plenty. A photo that does not fit the others is left out and named.
    #[arg(required = true, value_name = "PHOTO")]
    pub(crate) photos: Vec<PathBuf>,

    /// The profile to write, a TOML file
    ///
    /// Only written when the set is good enough.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,

    /// Write a picture of coverage and misfits; FILE ends in .png
    ///
    /// Where in the picture the page was seen, how far each corner misses the fit, and from which sides.
    #[arg(long, value_name = "FILE")]
    pub(crate) picture: Option<PathBuf>,

    /// Write the result as JSON; "-" writes it to standard output
    ///
    /// Format punchready.calibration/1. With "-" the text summary is left out.
    #[arg(long, value_name = "FILE")]
    pub(crate) json: Option<PathBuf>,

    /// Solve for k3 too
    ///
    /// For lenses wider than a phone's main one. Elsewhere it only makes k1 and k2 less certain.
    #[arg(long)]
    pub(crate) k3: bool,

    /// Print no summary; the exit status and the files tell
    #[arg(long, short)]
    pub(crate) quiet: bool,

    /// Overwrite a file of another kind
    ///
    /// Without it, a file that is there already is overwritten only if this command may have written it.
    #[arg(long)]
    pub(crate) force: bool,
}

/// Make a plan and a photo of an invented sheet to try everything on
///
/// Draws the hatch cover of a small seaplane float, marked out by a careful hand: one mark is out of
/// place, one is missing, one is extra, and one extra mark is crossed out. Writes hatch-cover.toml, hatch-cover.jpg
/// and truth.json (where everything truly is) into DIR, and says which command to run next. A file in
/// DIR that this command did not make, or that was changed since, is never overwritten.
#[derive(Debug, clap::Args)]
pub(crate) struct DemoArgs {
    /// Folder to write into; made if it is not there
    ///
    /// Other files in it are left alone.
    #[arg(value_name = "DIR")]
    pub(crate) dir: PathBuf,

    /// Draw a sheet without faults
    ///
    /// Every planned hole is marked in its place, and nothing else.
    #[arg(long)]
    pub(crate) ready: bool,

    /// Size of the photo: small (5 MP) or full (12 MP)
    ///
    /// The small one is drawn in a few seconds, and less certain to read: the extra mark may be unclear in it.
    #[arg(long, value_enum, default_value_t = PhotoSize::Small)]
    pub(crate) size: PhotoSize,

    /// Check the photo at once; writes result.json, picture.jpg and report.html too
    ///
    /// The exit status is then 0 if the check ran, whatever it found.
    #[arg(long)]
    pub(crate) check: bool,
}

/// Show the page that checks in a phone's browser
///
/// The whole check in a browser: plan, marking out, cards, photo, answer and a record book, with nothing to install and no
/// network. Without --serve this says where its file is.
#[derive(Debug, clap::Args)]
pub(crate) struct PageArgs {
    /// Serve the page until stopped, to this computer only
    #[arg(long)]
    pub(crate) serve: bool,

    /// Serve it to the whole local network, and show its address as a QR code
    ///
    /// Served so it is not encrypted on its way, so that browsers keep it for use without the computer only when it comes from
    /// a web space with https, or as a file.
    #[arg(long, requires = "serve")]
    pub(crate) lan: bool,

    /// Port to serve at; 0 takes any that is free
    #[arg(long, value_name = "N", default_value_t = 8420, requires = "serve")]
    pub(crate) port: u16,

    /// Folder of the built page
    ///
    /// If not given, the folder "page" beside this program.
    #[arg(long, value_name = "DIR")]
    pub(crate) folder: Option<PathBuf>,
}

/// Print a script that completes the command line in a shell
///
/// Put it where the shell looks for completions; for bash that is
/// ~/.local/share/bash-completion/completions/punchready.
#[derive(Debug, clap::Args)]
pub(crate) struct CompletionsArgs {
    /// The shell
    #[arg(value_enum)]
    pub(crate) shell: clap_complete::Shell,
}

/// Print the man page
#[derive(Debug, clap::Args)]
pub(crate) struct ManArgs {
    /// Write one page for each command into DIR, which is made if it is not there
    #[arg(long, value_name = "DIR")]
    pub(crate) out: Option<PathBuf>,
}

/// When to colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum When {
    Auto,
    Always,
    Never,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PaperName {
    A4,
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::Letter => Self::Letter,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ShapeName {
    Square,
    Strip,
}

impl From<ShapeName> for Shape {
    fn from(name: ShapeName) -> Self {
        match name {
            ShapeName::Square => Self::Square,
            ShapeName::Strip => Self::Strip,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PhotoSize {
    Full,
    Small,
}

/// Card numbers. A type of its own, since the parser takes a bare `Vec` for a repeated flag.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Numbers(pub(crate) Vec<u16>);

fn numbers(text: &str) -> Result<Numbers, String> {
    let one = |t: &str| {
        t.trim()
            .parse::<u16>()
            .map_err(|_| format!("{t:?} is no card number; expected a list such as 1-12,40"))
    };
    let mut all = Vec::new();
    for part in text.split(',') {
        match part.split_once('-') {
            None => all.push(one(part)?),
            Some((from, to)) => {
                let (from, to) = (one(from)?, one(to)?);
                if from > to {
                    return Err(format!("{part:?} runs backwards; expected {to}-{from}"));
                }
                all.extend(from..=to);
            }
        }
    }
    Ok(Numbers(all))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn definitions_are_sound() {
        use clap::CommandFactory;
        Args::command().debug_assert();
    }

    #[test]
    fn number_lists() {
        assert_eq!(numbers("1-3, 40").unwrap(), Numbers(vec![1, 2, 3, 40]));
        assert!(numbers("3-1").unwrap_err().contains("backwards"));
        for bad in ["", "1,", "x", "-3", "1-2-3", "70000"] {
            assert!(numbers(bad).unwrap_err().contains("1-12,40"), "{bad}");
        }
    }
}
