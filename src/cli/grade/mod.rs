//! `punchready grade`.
//!
//! | what | module |
//! | --- | --- |
//! | arguments and their help | [`args`] |
//! | the folder written into | `folder` |
//! | numbers in place of names | `numbers` |

pub(crate) mod args;
mod folder;
mod numbers;

use std::collections::BTreeSet;
use std::path::Path;

use rayon::prelude::*;

use punchready::check::{Given, Stage};
use punchready::file;
use punchready::grade::class::{self, Class};
use punchready::grade::feedback::{self, Feedback, Size};
use punchready::grade::findings::FORMAT;
use punchready::grade::look::Known;
use punchready::grade::roll::{Entry, NOT_GRADED, quartiles, roll};
use punchready::grade::roster;
use punchready::grade::rubric::{self, Rubric, STARTER};
use punchready::grade::run::{self, Done, Job};
use punchready::grade::store::{Hash, Store};
use punchready::grade::{gradebook, summary};
use punchready::lens::profile::Profile;
use punchready::plan::Plan;
use punchready::report::{words, write_atomically};

use super::args::PaperName;
use super::exit::{Failure, Status};
use super::out;
use super::plan::read as read_plan;
use super::progress::Progress;
use args::GradeArgs;
use folder::{Folder, file_names};

/// What is said when the print of the cards was not measured.
const BARS_UNSAID: &str = "The cards' bars were not measured, so their print counts as uncertain by 0.5 %, and much of each \
deviation as doubt for the student: lay a steel rule on the bars and give both lengths with --bars.";
/// Largest plan, bytes: it was read before, and is no larger.
const LARGEST_PLAN: u64 = 1 << 20;
/// Pieces named on the terminal.
const MOST_NAMED: usize = 12;

/// Grades a class, or writes a rubric to start from.
pub(crate) fn run(args: GradeArgs) -> Result<Status, Failure> {
    if let Some(path) = &args.new_rubric {
        return new_rubric(path, args.quiet);
    }
    let (Some(plan_path), Some(rubric_path)) = (&args.plan, &args.rubric) else {
        return Err(Failure::new(
            "--plan and --rubric are both needed",
            "`punchready grade --new-rubric FILE` writes a rubric to start from",
        ));
    };
    let plan = read_plan(plan_path)?;
    let rubric = rubric::read(rubric_path, &plan).map_err(|e| Failure::told(&e))?;
    let known = known(&args)?;
    let mut class = match &args.whose {
        Some(list) => class::by_list(list, &args.photos, &args.out),
        None => class::by_name(&args.photos, &args.out),
    }
    .map_err(|e| Failure::advised(&e))?;
    if let Some(path) = &args.roster {
        let names = roster::read(path).map_err(|e| Failure::advised(&e))?;
        roster::hold(&mut class, &names);
    }
    let folder = Folder::open(&args.out)?;
    let store = Store::open(&folder.path("measured")).map_err(|e| {
        Failure::new(
            format!("{}: {e}", folder.path("measured").display()),
            "name a folder where you may write",
        )
    })?;
    let plan_bytes = file::read(plan_path, LARGEST_PLAN)
        .map_err(|e| Failure::told(&e))?
        .unwrap_or_default();
    let jobs = args.jobs.map_or_else(
        || std::thread::available_parallelism().map_or(1, usize::from),
        usize::from,
    );
    let job = Job {
        plan: &plan,
        known: &known,
        base: base(&plan_bytes, &known),
        store: &store,
        jobs,
        afresh: args.afresh,
    };
    let bar = Progress::counted(class.pieces.len(), "pieces", args.quiet);
    let done = run::run(&class.pieces, &job, &|n| bar.tell(n)).map_err(|e| Failure::advised(&e))?;
    let graded = Graded {
        args: &args,
        plan: &plan,
        rubric: &rubric,
        store: &store,
        folder: &folder,
        jobs,
    };
    let labels = graded.labels(&done)?;
    let files = file_names(&labels);
    let roll = roll(&done, &labels, &files, &plan, &rubric);
    graded.write(&roll, &class)?;
    drop(bar);
    if !args.quiet {
        for unread in done.iter().flat_map(|d| &d.unread) {
            out::tell(&format!("warning: {}", words::plain(unread)));
        }
        for odd in class.odd.iter().take(MOST_NAMED) {
            out::tell(&format!("warning: {}", words::plain(odd)));
        }
        if args.bars.is_none() {
            out::tell(&format!("warning: {BARS_UNSAID}"));
        }
        out::print(&told(&roll, &class, &args.out))?;
    }
    let all = roll.iter().all(|e| e.percent().is_some());
    Ok(if all {
        Status::Done
    } else {
        Status::CannotTell
    })
}

fn new_rubric(path: &Path, quiet: bool) -> Result<Status, Failure> {
    if path.exists() {
        return Err(Failure::new(
            format!("--new-rubric {}: is there already", path.display()),
            "name another file, or move that one away",
        ));
    }
    write_atomically(path, STARTER.as_bytes()).map_err(|e| Failure::advised(&e))?;
    if !quiet {
        out::tell(&format!(
            "wrote {}: change weights and bands as you like",
            out::name(path)
        ));
    }
    Ok(Status::Done)
}

fn known(args: &GradeArgs) -> Result<Known, Failure> {
    let profiles = match &args.lens {
        None => Vec::new(),
        Some(path) if path.is_dir() => {
            Profile::read_folder(path).map_err(|e| Failure::advised(&e))?
        }
        Some(path) => vec![Profile::read(path).map_err(|e| Failure::advised(&e))?],
    };
    Ok(Known {
        given: Given {
            print_scale: args.bars,
            card_thickness_mm: None,
            card_below_mm: args.card_below,
            known: Vec::new(),
            datum_corner: args.datum_corner,
            stage: Stage::Marked,
            cameras: Vec::new(),
            answers: None,
        },
        profiles,
    })
}

/// All that a result depends on but the photos.
fn base(plan: &[u8], known: &Known) -> Hash {
    // A length before each part, so that no two lists of parts read alike.
    let parts = [
        FORMAT.as_bytes(),
        env!("CARGO_PKG_VERSION").as_bytes(),
        plan,
        format!("{known:?}").as_bytes(),
    ]
    .map(<[u8]>::to_vec);
    parts.iter().fold(Hash::new(), |hash, part| {
        hash.with(&part.len().to_le_bytes()).with(part)
    })
}

/// A measured class, to be written.
struct Graded<'a> {
    args: &'a GradeArgs,
    plan: &'a Plan,
    rubric: &'a Rubric,
    store: &'a Store,
    folder: &'a Folder,
    jobs: usize,
}

impl Graded<'_> {
    /// How each piece is called on every page.
    fn labels(&self, class: &[Done]) -> Result<Vec<String>, Failure> {
        let names: Vec<&str> = class.iter().map(|d| d.who.as_str()).collect();
        if self.args.numbers {
            self.folder.numbers(&names)
        } else {
            Ok(names.into_iter().map(str::to_owned).collect())
        }
    }

    /// The sheets, then what is the instructor's.
    fn write(&self, roll: &[Entry], class: &Class) -> Result<(), Failure> {
        let names: BTreeSet<String> = roll
            .iter()
            .flat_map(|e| ["html", "pdf"].map(|end| format!("{}.{end}", e.file)))
            .collect();
        self.folder.announce(&names)?;
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(self.jobs)
            .build()
            .map_err(|e| Failure::told(&e))?;
        pool.install(|| roll.par_iter().try_for_each(|entry| self.sheet(entry)))?;
        self.folder.settle(&names)?;
        let page = summary::html(roll, self.plan, self.rubric, &self.remarks(class));
        put(&self.folder.path("summary.html"), page.as_bytes())?;
        let book = gradebook::csv(roll, self.rubric).map_err(|e| Failure::told(&e))?;
        put(&self.folder.path("gradebook.csv"), &book)
    }

    /// What the instructor is to know of the whole class.
    fn remarks(&self, class: &Class) -> Vec<String> {
        let mut remarks = Vec::new();
        if self.args.bars.is_none() {
            remarks.push(BARS_UNSAID.to_owned());
        }
        if self.args.numbers && !class.odd.is_empty() {
            remarks.push("Some names are odd: the terminal says which.".to_owned());
        } else {
            remarks.extend(class.odd.iter().map(|odd| format!("{odd}.")));
        }
        let nobodys: Vec<String> = class
            .nobodys
            .iter()
            .map(|p| p.display().to_string())
            .collect();
        if !nobodys.is_empty() {
            let are = words::count(nobodys.len(), "photo is", "photos are");
            // A photo's name may be a student's.
            let which = if self.args.numbers {
                String::new()
            } else {
                format!(": {}", nobodys.join(", "))
            };
            remarks.push(format!("{are} on nobody's line of the list{which}."));
        }
        remarks
    }

    fn sheet(&self, entry: &Entry) -> Result<(), Failure> {
        // Read back: pictures of a whole class would not fit in memory.
        let picture = self
            .store
            .get(&entry.done.key)
            .and_then(|look| look.picture);
        let who = if self.args.numbers {
            format!("Piece {}", entry.label)
        } else {
            entry.label.clone()
        };
        let sheet = Feedback::of(&who, &entry.done.findings, self.plan, self.rubric, picture);
        let place = |end: &str| self.folder.sheet(&format!("{}.{end}", entry.file));
        let size = match self.args.paper {
            PaperName::A4 => Size::A4,
            PaperName::Letter => Size::Letter,
        };
        put(&place("html"), feedback::html(&sheet, size).as_bytes())?;
        let pdf = feedback::pdf(&sheet, size).map_err(|e| Failure::advised(&e))?;
        put(&place("pdf"), &pdf)
    }
}

fn put(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_atomically(path, bytes).map_err(|e| Failure::advised(&e))
}

/// What is said at the end.
fn told(roll: &[Entry], class: &Class, dir: &Path) -> String {
    let percents: Vec<f64> = roll.iter().filter_map(Entry::percent).collect();
    let mut text = format!(
        "{} graded of {}",
        words::count(percents.len(), "piece", "pieces"),
        roll.len()
    );
    let before = roll.iter().filter(|e| !e.done.fresh).count();
    if before > 0 {
        text += &format!(" ({before} measured by an earlier run)");
    }
    if let Some([low, median, high]) = quartiles(&percents) {
        text += &format!("; median score {median:.0}, the middle half {low:.0} to {high:.0}");
    }
    text += "\n";
    let open: Vec<&Entry> = roll.iter().filter(|e| e.percent().is_none()).collect();
    for entry in open.iter().take(MOST_NAMED) {
        let why = entry.look.iter().find(|l| l.starts_with(NOT_GRADED));
        let why = why.map_or(NOT_GRADED, String::as_str);
        text += &format!("{}: {}\n", words::plain(&entry.label), words::plain(why));
    }
    if open.len() > MOST_NAMED {
        text += &format!("and {} more\n", open.len() - MOST_NAMED);
    }
    let again = roll.iter().filter(|e| !e.look.is_empty()).count();
    if again > 0 {
        let need = if again == 1 { "needs" } else { "need" };
        text += &format!(
            "{} {need} a second look\n",
            words::count(again, "piece", "pieces")
        );
    }
    if !class.nobodys.is_empty() {
        let are = words::count(class.nobodys.len(), "photo is", "photos are");
        text += &format!("{are} on nobody's line of the list\n");
    }
    text += &format!(
        "next: open {} in a browser; sheets to hand out are in {}\n",
        out::name(&dir.join("summary.html")),
        out::name(&dir.join("sheets"))
    );
    text
}
