//! How the sample photos of another author's drawer read: what counts of them, and the bars.
//!
//! ```sh
//! cargo bench --bench samples                     # ../shared/samples
//! cargo bench --bench samples -- --more           # the harder ones of ../shared/samples-more
//! cargo bench --bench samples -- tilt_01 glare_02 # these sheets, without bars
//! ```
//!
//! | what | file |
//! | --- | --- |
//! | what a sheet truly is, and how it is checked | `sheet` |
//! | what its report is worth | `score` |
//! | the sums and the bars | `bars` |
//!
//! The photos stay where they are; where they are not, this says so and ends well. Nothing may be fitted on them. Exits with 1
//! where a bar fails.
#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]

mod bars;
mod score;
mod sheet;

use std::path::PathBuf;
use std::process::ExitCode;

use bars::Sums;
use clap::Parser;
use rayon::prelude::*;
use score::Score;

#[derive(Debug, Parser)]
struct Arguments {
    /// The harder sheets.
    #[arg(long)]
    more: bool,
    /// Only these sheets.
    names: Vec<String>,
    /// Given by cargo bench.
    #[arg(long, hide = true)]
    bench: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if !arguments.bench {
        println!("this takes a minute: run it with cargo bench --bench samples");
        return ExitCode::SUCCESS;
    }
    let folder = folder(if arguments.more {
        "samples-more"
    } else {
        "samples"
    });
    if !folder.exists() {
        println!(
            "SKIPPED: the samples are not here: no folder {}",
            folder.display()
        );
        return ExitCode::SUCCESS;
    }
    let wanted =
        |name: &str| arguments.names.is_empty() || arguments.names.iter().any(|n| n == name);
    let mut sheets: Vec<PathBuf> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.join("truth.json").exists())
        .filter(|path| wanted(&path.file_name().unwrap().to_string_lossy()))
        .collect();
    sheets.sort();
    if sheets.is_empty() {
        println!(
            "no sheet of {} in {}",
            arguments.names.join(", "),
            folder.display()
        );
        return ExitCode::FAILURE;
    }
    let scores: Vec<Score> = sheets.par_iter().map(|path| Score::of(path)).collect();
    for score in &scores {
        println!("{score}");
    }
    let sums = Sums::of(&scores);
    println!("\n{sums}");
    if !arguments.names.is_empty() {
        return ExitCode::SUCCESS;
    }
    let bars = if arguments.more {
        sums.bars_of_more()
    } else {
        sums.bars()
    };
    println!();
    for bar in &bars {
        println!("{bar}");
    }
    if bars.iter().all(|bar| bar.holds) {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Where the samples of this name are: beside the project, or in the folder that `PUNCHREADY_SAMPLES` names.
fn folder(name: &str) -> PathBuf {
    let beside = || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared"));
    std::env::var_os("PUNCHREADY_SAMPLES")
        .map_or_else(beside, PathBuf::from)
        .join(name)
}
