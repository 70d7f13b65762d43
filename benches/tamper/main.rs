//! Trouble drawn into faultless sheets: none may read ready, and each must be told where it is; what is harmless must not keep
//! a sheet from ready.
//!
//! ```sh
//! cargo bench --bench tamper                                  # all sheets, more than 1,000
//! cargo bench --bench tamper -- --sheets 150                  # fewer, spread as evenly over kinds, faces and photos
//! cargo bench --bench tamper -- --only strike-tick,dust       # these kinds; --list names all
//! cargo bench --bench tamper -- --keep DIR                    # keeps photo, plan, report and truth of what went wrong
//! cargo bench --bench tamper -- --bases                       # tells how many read ready without their trouble
//! ```
//!
//! | what | file |
//! | --- | --- |
//! | faultless sheets, by face, pen, light and photo | `base` |
//! | the list of kinds | `kinds` |
//! | live marks that no hole asked for | `strays` |
//! | holes that are not as planned, or struck | `holes` |
//! | things lying on the face | `lying` |
//! | what harms nobody | `harmless` |
//! | what the report says of it | `told` |
//!
//! A sheet is drawn by the renderer with its trouble in the scene, so that it has the scene's light, blur, noise and JPEG. The
//! same sheet is drawn each time. Exits with 1 where a sheet wrongly reads ready, too little is told or too few of the harmless
//! read ready.
#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]

mod base;
mod harmless;
mod holes;
mod kinds;
mod lying;
mod strays;
mod told;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use base::Base;
use clap::Parser;
use kinds::{Kind, Trouble};
use nalgebra::Vector3;
use punchready::check::{Given, check_all};
use punchready::photo;
use punchready::plan;
use punchready::report::json;
use punchready::survey::PrintScale;
use punchready::synth::{ExifFacts, Rendered, Scene, jpeg, render};
use rayon::prelude::*;
use told::{Reading, Said};

/// Sheets of a kind of trouble, and of a harmless one.
const WRONG_SHEETS: usize = 20;
const HARMLESS_SHEETS: usize = 26;
/// Bars: of the trouble on measured sheets so much is told; of the harmless sheets so many read ready; so many of all are
/// measured, for the others test nothing.
const TOLD: f64 = 0.98;
const READY: f64 = 0.90;
const MEASURED: f64 = 0.98;

#[derive(Debug, Parser)]
struct Arguments {
    /// Only kinds of these names, with commas between them.
    #[arg(long, value_delimiter = ',')]
    only: Vec<String>,
    /// About so many sheets in all, spread evenly; at least one a kind.
    #[arg(long)]
    sheets: Option<usize>,
    /// Writes photo, plan, report and truth of each sheet that went wrong into a folder in this one.
    #[arg(long)]
    keep: Option<PathBuf>,
    /// With --keep: of all sheets.
    #[arg(long)]
    all: bool,
    /// Reads each sheet without its trouble too, and tells how many of these are ready.
    #[arg(long)]
    bases: bool,
    /// Lists the kinds.
    #[arg(long)]
    list: bool,
    /// Given by cargo bench.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if !arguments.bench {
        println!("this takes minutes: run it with cargo bench --bench tamper");
        return ExitCode::SUCCESS;
    }
    let all = kinds::all();
    if arguments.list {
        all.iter().for_each(|k| println!("{}", k.name));
        return ExitCode::SUCCESS;
    }
    let unknown = |name: &&String| all.iter().all(|k| k.name != name.as_str());
    if let Some(name) = arguments.only.iter().find(unknown) {
        println!("--only {name}: no kind has this name; --list names them all");
        return ExitCode::FAILURE;
    }
    let chosen = |kind: &Kind| {
        arguments.only.is_empty() || arguments.only.iter().any(|name| name == kind.name)
    };
    let kinds: Vec<(usize, Kind)> = all
        .into_iter()
        .enumerate()
        .filter(|(_, kind)| chosen(kind))
        .collect();
    let full: usize = kinds.iter().map(|(_, kind)| full_sheets(kind)).sum();
    let share = arguments.sheets.map_or(1.0, |n| n as f64 / full as f64);
    let sheets: Vec<(usize, Kind, usize)> = kinds
        .iter()
        .flat_map(|&(number, kind)| {
            let count = (full_sheets(&kind) as f64 * share).round().max(1.0) as usize;
            (0..count).map(move |index| (number, kind, index))
        })
        .collect();
    let outcomes: Vec<Outcome> = sheets
        .par_iter()
        .map(|&(number, kind, index)| Outcome::of(number, &kind, index, &arguments))
        .collect();
    let rows: Vec<Tally> = kinds
        .iter()
        .map(|&(_, kind)| Tally::of(kind, &outcomes))
        .collect();
    if tell(&rows, arguments.bases) {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

fn full_sheets(kind: &Kind) -> usize {
    if kind.harmless {
        HARMLESS_SHEETS
    } else {
        WRONG_SHEETS
    }
}

/// What came of one sheet.
struct Outcome {
    kind: &'static str,
    wrong_ready: bool,
    ready: bool,
    measured: bool,
    wrongly_good: bool,
    said: Said,
    /// Whether it reads ready without its trouble, if that was asked.
    base_ready: bool,
}

impl Outcome {
    fn of(number: usize, kind: &Kind, index: usize, arguments: &Arguments) -> Self {
        let mut base = Base::new(number as u64, index as u64, &kind.needs);
        let bare = base.clone();
        let troubles = (kind.put)(&mut base);
        let (reading, files) = check(&base, &troubles);
        let wrong_ready = reading.is_wrong(&troubles);
        let said = [Said::Nothing, Said::Unseen, Said::Named];
        let least = said.into_iter().find(|s| reading.said.contains(s));
        let said = least.unwrap_or(Said::Named);
        let amiss = if kind.harmless {
            !reading.is_ready()
        } else {
            wrong_ready || said == Said::Nothing || !reading.measured
        };
        if let Some(dir) = &arguments.keep
            && (amiss || arguments.all)
        {
            let dir = dir.join(format!("{}-{index}", kind.name));
            keep(&dir, &base, &troubles, &reading, &files);
        }
        let base_ready = arguments.bases && check(&bare, &[]).0.is_ready();
        Self {
            kind: kind.name,
            wrong_ready,
            ready: reading.is_ready(),
            measured: reading.measured,
            wrongly_good: !reading.wrongly_good.is_empty(),
            said,
            base_ready,
        }
    }
}

/// The sheet's photos as files, and how they read.
fn check(base: &Base, troubles: &[Trouble]) -> (Reading, Vec<Vec<u8>>) {
    let facts = ExifFacts {
        quality: base.quality,
        ..ExifFacts::default()
    };
    let file = |photo: &Rendered| jpeg::jpeg_bytes(photo, &facts).unwrap();
    let mut files = vec![file(&render(&base.scene))];
    if let Some((camera, sensor)) = &base.second {
        let scene = Scene {
            camera: camera.clone(),
            sensor: sensor.clone(),
            ..base.scene.clone()
        };
        files.push(file(&render(&scene)));
    }
    let dir = tempfile::tempdir().unwrap();
    let photos: Vec<photo::Photo> = files
        .iter()
        .enumerate()
        .map(|(i, bytes)| {
            let path = dir.path().join(photo_name(i));
            fs::write(&path, bytes).unwrap();
            photo::read(&path).unwrap()
        })
        .collect();
    let plan = plan::parse(&base.plan_text, Path::new("plan.toml")).unwrap();
    let given = Given {
        print_scale: PrintScale::from_bars([100.0; 2]).ok(),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    let checked = check_all(&photos.iter().collect::<Vec<_>>(), &plan, &given);
    let text = json::to_string(&checked.report(&plan));
    (Reading::of(text, troubles), files)
}

fn photo_name(index: usize) -> String {
    format!("photo_{}.jpg", index + 1)
}

/// Writes a sheet into `dir`, with how it is checked by hand.
fn keep(dir: &Path, base: &Base, troubles: &[Trouble], reading: &Reading, files: &[Vec<u8>]) {
    fs::create_dir_all(dir).unwrap();
    for (i, bytes) in files.iter().enumerate() {
        fs::write(dir.join(photo_name(i)), bytes).unwrap();
    }
    fs::write(dir.join("plan.toml"), &base.plan_text).unwrap();
    fs::write(dir.join("report.json"), &reading.json).unwrap();
    let photos: Vec<String> = (0..files.len()).map(photo_name).collect();
    let sensor = &base.scene.sensor;
    let mut truth = format!(
        "punchready check {} --plan plan.toml --bars 100mm,100mm --card-below 0mm\n\
         reads {}: {}\n\
         {:?}, blur {:.2} px, {:.1} px/mm\n",
        photos.join(" "),
        reading.verdict,
        reading.reasons.join(", "),
        base.scene.surface,
        sensor.blur_px,
        base.px_per_mm,
    );
    for (trouble, said) in troubles.iter().zip(&reading.said) {
        let what = if trouble.of_hole {
            format!("hole {} is not good", trouble.holes.join(", "))
        } else {
            "a live mark or thing".to_owned()
        };
        let Trouble { at, reach_mm, .. } = trouble;
        let px = base.scene.camera.project(Vector3::new(at.x, at.y, 0.0));
        truth.push_str(&format!(
            "{what} at ({:.2}, {:.2}) mm, in photo_1 at ({:.0}, {:.0}) px, to be told within {reach_mm:.1} mm: {said:?}\n",
            at.x, at.y, px.x, px.y
        ));
    }
    fs::write(dir.join("truth.txt"), truth).unwrap();
}

/// The outcomes of one kind.
#[derive(Debug, Clone, Copy)]
struct Tally {
    name: &'static str,
    harmless: bool,
    sheets: usize,
    wrong_ready: usize,
    ready: usize,
    measured: usize,
    wrongly_good: usize,
    /// Told by name, told as not seen, and not told, of the measured ones.
    said: [usize; 3],
    bases: usize,
}

impl Tally {
    fn of(kind: Kind, all: &[Outcome]) -> Self {
        let of: Vec<&Outcome> = all.iter().filter(|o| o.kind == kind.name).collect();
        let count = |is: &dyn Fn(&Outcome) -> bool| of.iter().filter(|o| is(o)).count();
        let said = |s: Said| count(&|o| o.measured && o.said == s);
        Self {
            name: kind.name,
            harmless: kind.harmless,
            sheets: of.len(),
            wrong_ready: count(&|o| o.wrong_ready),
            ready: count(&|o| o.ready),
            measured: count(&|o| o.measured),
            wrongly_good: count(&|o| o.wrongly_good),
            said: [Said::Named, Said::Unseen, Said::Nothing].map(said),
            bases: count(&|o| o.base_ready),
        }
    }

    /// All of them together.
    fn sum(name: &'static str, rows: &[Tally], harmless: bool) -> Self {
        let rows: Vec<&Tally> = rows.iter().filter(|t| t.harmless == harmless).collect();
        let sum = |of: fn(&Tally) -> usize| rows.iter().map(|t| of(t)).sum();
        Self {
            name,
            harmless,
            sheets: sum(|t| t.sheets),
            wrong_ready: sum(|t| t.wrong_ready),
            ready: sum(|t| t.ready),
            measured: sum(|t| t.measured),
            wrongly_good: sum(|t| t.wrongly_good),
            said: [sum(|t| t.said[0]), sum(|t| t.said[1]), sum(|t| t.said[2])],
            bases: sum(|t| t.bases),
        }
    }

    fn told(&self) -> f64 {
        share(self.said[0] + self.said[1], self.measured)
    }
}

fn share(part: usize, of: usize) -> f64 {
    if of == 0 {
        1.0
    } else {
        part as f64 / of as f64
    }
}

/// Prints the tables; whether all bars hold.
fn tell(rows: &[Tally], bases: bool) -> bool {
    let wrong = Tally::sum("all trouble", rows, false);
    let harmless = Tally::sum("all harmless", rows, true);
    println!(
        "trouble                  sheets  wrong ready  wrongly good  named  unseen  untold  told  measured  base ready"
    );
    let of_wrong = rows.iter().filter(|t| !t.harmless).chain([&wrong]);
    for t in of_wrong.filter(|t| t.sheets > 0) {
        let [named, unseen, untold] = t.said;
        let base = if bases {
            t.bases.to_string()
        } else {
            "-".into()
        };
        println!(
            "{:<24} {:>6} {:>12} {:>13} {named:>6} {unseen:>7} {untold:>7} {:>4.0} % {:>8} {base:>11}",
            t.name,
            t.sheets,
            t.wrong_ready,
            t.wrongly_good,
            100.0 * t.told(),
            t.measured,
        );
    }
    println!("\nharmless                 sheets  ready  ready %  measured");
    let of_harmless = rows.iter().filter(|t| t.harmless).chain([&harmless]);
    for t in of_harmless.filter(|t| t.sheets > 0) {
        println!(
            "{:<24} {:>6} {:>6} {:>6.0} % {:>9}",
            t.name,
            t.sheets,
            t.ready,
            100.0 * share(t.ready, t.sheets),
            t.measured
        );
    }
    let measured = share(
        wrong.measured + harmless.measured,
        wrong.sheets + harmless.sheets,
    );
    let bars = [
        (
            "sheets that wrongly read ready",
            wrong.wrong_ready as f64,
            0.0,
            wrong.wrong_ready == 0,
        ),
        (
            "share of trouble told",
            wrong.told(),
            TOLD,
            wrong.told() >= TOLD,
        ),
        (
            "share of harmless sheets that read ready",
            share(harmless.ready, harmless.sheets),
            READY,
            share(harmless.ready, harmless.sheets) >= READY,
        ),
        (
            "share of sheets measured",
            measured,
            MEASURED,
            measured >= MEASURED,
        ),
    ];
    println!();
    for (what, is, bar, holds) in &bars {
        let holds = if *holds { "holds" } else { "FAILS" };
        println!("{holds}: {what}: {is:.3} (bar {bar})");
    }
    bars.iter().all(|b| b.3)
}
