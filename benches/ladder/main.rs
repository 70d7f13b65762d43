//! The accuracy ladder: photos of rising difficulty with known truth, through the whole check.
//!
//! `cargo bench --bench ladder` draws every photo, writes it as a phone does (JPEG with EXIF), checks it
//! in a process of its own, and prints how well that went: by step, by failure, and against the
//! project's bars. `-- --only 3` runs one step, `--only 3/2` one photo, `--keep DIR` keeps the photos
//! and report pictures of failures, `--json FILE` writes all figures, `--markdown` prints the
//! table. Exits with 1 if a bar fails.
//!
//! | step | file |
//! | --- | --- |
//! | plans | `plans` |
//! | one photo: hand, faults, scene, camera | `case` |
//! | the ladder | `steps` |
//! | its steps on reading ink | `metal`, `alike` |
//! | the check in its own process | `child` |
//! | against the truth | `score` |
//! | the table and the bars | `table` |

mod alike;
mod case;
mod child;
mod metal;
mod plans;
mod score;
mod steps;
mod table;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

use clap::Parser;
use punchready::synth::{render, write_jpeg};

use case::Case;
use child::Answer;
use score::{Score, Truth};
use table::Line;

/// The accuracy ladder.
#[derive(Debug, Parser)]
struct Arguments {
    /// Only this step (`3`) or photo (`3/2`); may be given again.
    #[arg(long)]
    only: Vec<String>,
    /// Writes all figures to this file.
    #[arg(long)]
    json: Option<PathBuf>,
    /// Keeps photos and report pictures of failures in this folder.
    #[arg(long)]
    keep: Option<PathBuf>,
    /// With --keep: of all photos, not only of failures.
    #[arg(long)]
    keep_all: bool,
    /// Prints the table in Markdown too, as it stands in docs/accuracy.md.
    #[arg(long)]
    markdown: bool,
    /// Says what each photo shows and takes, as it is done.
    #[arg(long)]
    verbose: bool,
    /// Given by cargo bench.
    #[arg(long, hide = true)]
    bench: bool,
    /// The check of one photo, in a process of its own.
    #[arg(long, hide = true)]
    child: Option<String>,
    /// Its photo.
    #[arg(long, hide = true)]
    photo: Option<PathBuf>,
    /// Where it draws the report's picture.
    #[arg(long, hide = true)]
    picture: Option<PathBuf>,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match (&arguments.child, &arguments.photo) {
        (Some(id), Some(photo)) => {
            child_main(id, photo, arguments.picture.as_deref()).map(|()| true)
        }
        _ if arguments.bench => ladder(&arguments),
        _ => {
            println!("the ladder takes minutes: run it with cargo bench --bench ladder");
            Ok(true)
        }
    };
    match done {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(why) => {
            eprintln!("ladder: {why}");
            ExitCode::from(2)
        }
    }
}

fn id(case: &Case) -> String {
    format!("{}/{}", case.step, case.number)
}

fn cases() -> Result<Vec<Case>, String> {
    Ok(steps::all(&plans::Plans::read()?))
}

fn child_main(wanted: &str, photo: &Path, picture: Option<&Path>) -> Result<(), String> {
    let case = cases()?
        .into_iter()
        .find(|c| id(c) == wanted)
        .ok_or_else(|| format!("no photo {wanted}"))?;
    let answer = child::run(&case, photo, picture)?;
    println!(
        "{}",
        serde_json::to_string(&answer).map_err(|e| e.to_string())?
    );
    Ok(())
}

/// Runs the ladder; whether all bars hold.
fn ladder(arguments: &Arguments) -> Result<bool, String> {
    let scratch = tempfile::tempdir().map_err(|e| e.to_string())?;
    if let Some(dir) = &arguments.keep {
        fs::create_dir_all(dir).map_err(|e| format!("{}: {e}", dir.display()))?;
    }
    let wanted = |c: &Case| {
        arguments.only.is_empty()
            || arguments
                .only
                .iter()
                .any(|o| *o == id(c) || *o == c.step.to_string())
    };
    let start = Instant::now();
    let mut lines = Vec::new();
    for case in cases()?.into_iter().filter(wanted) {
        let file = scratch.path().join("photo.jpg");
        let line = one(&case, &file, arguments)?;
        table::failures(&line);
        lines.push(line);
    }
    if lines.is_empty() {
        return Err("no such step or photo".to_owned());
    }
    table::print(&lines);
    if arguments.markdown {
        table::print_markdown(&lines);
    }
    println!(
        "{} photos in {:.0} s",
        lines.len(),
        start.elapsed().as_secs_f64()
    );
    if let Some(path) = &arguments.json {
        let text = serde_json::to_string_pretty(&table::json(&lines)).map_err(|e| e.to_string())?;
        fs::write(path, text).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    Ok(table::bars(&lines))
}

/// Draws, checks and scores one photo.
fn one(case: &Case, file: &Path, arguments: &Arguments) -> Result<Line, String> {
    let start = Instant::now();
    let photo = render(&case.scene);
    write_jpeg(file, &photo, &case.exif).map_err(|e| e.to_string())?;
    drop(photo);
    let render_s = start.elapsed().as_secs_f64();
    let truth = Truth::of(case);
    let answer = ask(case, file, None);
    let score = match &answer {
        Ok(answer) => Score::of(case, &truth, answer),
        Err(why) => Score::crash(why),
    };
    let camera = &case.scene.camera;
    if arguments.verbose {
        println!(
            "{:>5}  {:<50} {}x{} drawn in {render_s:.1} s; truth {}; said {}; {:.0} ms, {:.0} MB {}",
            id(case),
            case.title,
            camera.width,
            camera.height,
            if truth.ready() {
                "ready".to_owned()
            } else {
                truth.faults.join(", ")
            },
            score.verdict,
            score.total_ms,
            score.peak_mb,
            answer.as_ref().map_or(String::new(), |a| format!(
                "cards {:?} {:?} sizes {:?} survey {:?} seen {:.3} {:?}",
                a.cards, a.left_out, a.sizes, a.survey, a.seen, a.timings_ms
            )),
        );
    }
    if let Some(dir) = &arguments.keep
        && (arguments.keep_all || !score.lines.is_empty() || !score.dangers.is_empty())
    {
        let name = id(case).replace('/', "-");
        let kept = dir.join(format!("{name}.jpg"));
        fs::copy(file, &kept).map_err(|e| format!("{}: {e}", kept.display()))?;
        // A check that crashed has no picture.
        let _ = ask(case, file, Some(&dir.join(format!("{name}-report.png"))));
    }
    Ok(Line {
        id: id(case),
        step: case.step,
        title: case.title.clone(),
        megapixels: f64::from(camera.width) * f64::from(camera.height) / 1e6,
        render_s,
        score,
    })
}

/// The answer of a process of its own.
fn ask(case: &Case, file: &Path, picture: Option<&Path>) -> Result<Answer, String> {
    let program = std::env::current_exe().map_err(|e| e.to_string())?;
    let mut command = Command::new(program);
    command
        .arg("--child")
        .arg(id(case))
        .arg("--photo")
        .arg(file);
    if let Some(path) = picture {
        command.arg("--picture").arg(path);
    }
    let out = command.output().map_err(|e| e.to_string())?;
    if !out.status.success() {
        let text = String::from_utf8_lossy(&out.stderr);
        return Err(text.lines().take(4).collect::<Vec<_>>().join(" "));
    }
    serde_json::from_slice(&out.stdout).map_err(|e| e.to_string())
}
