//! How surely a mark is one: whether what is claimed comes true.
//!
//! ```sh
//! cargo bench --bench confidence                        # on scenes of its own
//! cargo bench --bench confidence -- --ladder            # on the ladder's hard steps too
//! cargo bench --bench confidence -- --foreign DIR       # on the photos of tests/foreign too
//! cargo bench --bench confidence -- --scenes 30         # fewer scenes, for a look
//! cargo bench --bench confidence -- --keep DIR          # keeps the table's photos with a mark that is wrong for all its claim
//! ```
//!
//! Scenes vary in surface, pen, hand, light, camera and dirt (`scenes`). A mark is right when a true one stands within [`MATCH_MM`] and is crossed out or not as it was read.
//! Exits with 1 where more is claimed than comes true.
#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]

#[allow(dead_code, reason = "the ladder's own bench uses the rest")]
#[path = "../ladder/alike.rs"]
mod alike;
#[allow(dead_code, reason = "the ladder's own bench uses the rest")]
#[path = "../ladder/case.rs"]
mod case;
mod foreign;
mod hard;
#[allow(dead_code, reason = "the ladder's own bench uses the rest")]
#[path = "../ladder/metal.rs"]
mod metal;
#[allow(dead_code, reason = "the ladder's own bench uses the rest")]
#[path = "../ladder/plans.rs"]
mod plans;
mod scenes;
#[allow(dead_code, reason = "the ladder's own bench uses the rest")]
#[path = "../ladder/steps.rs"]
mod steps;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Parser;
use punchready::check::Checked;
use punchready::frame::{Point, Sheet};
use punchready::ink::{LIKELY, Mark};
use rayon::prelude::*;

/// A found mark further than this from every true one is none, mm, as in the ladder: a sheet's edge that is taken wrongly
/// moves all marks alike, and that is for U to say.
const MATCH_MM: f64 = 1.5;
/// The middle of a cross-out is only roughly that of the mark below it, mm.
const MATCH_CROSSED_MM: f64 = 3.5;
/// Scenes of the tables.
const SCENES: u64 = 180;
/// The first seed of the tables' scenes.
const FIRST_OF_TABLES: u64 = 1_000_000;
/// A wrong mark is worth a look at its photo when so much was claimed.
pub(crate) const CLAIMED: f64 = 0.85;

#[derive(Debug, Parser)]
struct Arguments {
    /// Checks on the ladder's hard steps too.
    #[arg(long)]
    ladder: bool,
    /// Checks on the photos of tests/foreign in this folder too.
    #[arg(long)]
    foreign: Option<PathBuf>,
    /// Keeps the photos of the table's scenes in which a mark is wrong for all its claim, and lists these.
    #[arg(long)]
    keep: Option<PathBuf>,
    /// How many scenes are drawn for the table.
    #[arg(long, default_value_t = SCENES)]
    scenes: u64,
    /// Given by cargo bench.
    #[arg(long, hide = true)]
    bench: bool,
}

/// A mark as it was read, and whether it is right.
pub(crate) struct Sample {
    pub(crate) probability: f64,
    pub(crate) right: bool,
    pub(crate) at: Point<Sheet>,
    /// What it was read as.
    pub(crate) name: String,
    /// Which photo it is on.
    photo: usize,
}

/// A true mark: where, and whether it is crossed out.
pub(crate) type True = (Point<Sheet>, bool);

/// The marks that were read, and what has the shape of one and was doubted or too faint.
pub(crate) fn samples(checked: &Checked, truth: &[True]) -> Vec<Sample> {
    static PHOTOS: AtomicUsize = AtomicUsize::new(0);
    let photo = PHOTOS.fetch_add(1, Ordering::Relaxed);
    let ink = &checked.ink;
    let name = |m: &Mark| {
        let crossed_out = if m.crossed_out { ", crossed out" } else { "" };
        format!("{:?}{crossed_out}", m.kind)
    };
    let marks = ink
        .marks
        .iter()
        .map(|m| (m.at, m.crossed_out, m.probability, name(m)));
    let unsure = ink
        .unsure
        .iter()
        .map(|u| (u.at, false, u.probability, u.why.to_string()));
    marks
        .chain(unsure)
        .filter_map(|(at, crossed_out, probability, name)| {
            let reach = if crossed_out {
                MATCH_CROSSED_MM
            } else {
                MATCH_MM
            };
            let same =
                |(place, crossed): &True| *crossed == crossed_out && place.distance(at) <= reach;
            Some(Sample {
                probability: probability?,
                right: truth.iter().any(same),
                at,
                name,
                photo,
            })
        })
        .collect()
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if !arguments.bench {
        println!("this takes minutes: run it with cargo bench --bench confidence");
        return ExitCode::SUCCESS;
    }
    let drawn = |first: u64, scenes: u64, keep: Option<&Path>| -> Vec<Sample> {
        let seeds = (first..first + scenes).into_par_iter();
        seeds
            .flat_map_iter(|seed| scenes::samples_of(seed, keep))
            .collect()
    };
    if let Some(dir) = &arguments.keep {
        std::fs::create_dir_all(dir).unwrap();
    }
    let of_tables = drawn(FIRST_OF_TABLES, arguments.scenes, arguments.keep.as_deref());
    let mut tables = vec![("scenes", of_tables)];
    if arguments.ladder {
        tables.push(("the ladder's hard steps", hard::samples()));
    }
    if let Some(dir) = &arguments.foreign {
        tables.push(("photos of another drawer", foreign::samples(dir)));
    }
    let kept: Vec<bool> = tables
        .iter()
        .map(|(name, of)| reliability(name, &of.iter().collect::<Vec<_>>()))
        .collect();
    if kept.into_iter().all(|k| k) {
        ExitCode::SUCCESS
    } else {
        println!("\nmore is claimed than comes true");
        ExitCode::FAILURE
    }
}

fn wrong(samples: &[&Sample]) -> usize {
    samples.iter().filter(|s| !s.right).count()
}

/// Prints what share of the marks is right where how much is claimed; whether no bin claims surely too much.
fn reliability(name: &str, samples: &[&Sample]) -> bool {
    const BINS: [f64; 9] = [0.0, 0.3, 0.5, 0.7, 0.85, 0.95, 0.99, 0.998, 1.0];
    let claimed: Vec<(f64, bool, usize)> = samples
        .iter()
        .map(|s| (s.probability, s.right, s.photo))
        .collect();
    let n = samples.len() as f64;
    let off = |(p, right, _): &(f64, bool, usize)| (p - f64::from(u8::from(*right))).powi(2);
    let brier = claimed.iter().map(off).sum::<f64>() / n;
    let unlikely = |right| {
        let below = claimed.iter().filter(|c| c.0 < LIKELY && c.1 == right);
        below.count()
    };
    println!(
        "\n{name}: {n} marks, {} wrong; Brier score {brier:.4}\n\
         likelier none than a mark: {} wrong ones, {} right ones\n\
         claimed           marks   mean claim   right     (interval of 95 %)",
        wrong(samples),
        unlikely(false),
        unlikely(true)
    );
    let mut kept = true;
    for bin in BINS.windows(2) {
        let inside: Vec<&(f64, bool, usize)> = claimed
            .iter()
            .filter(|(p, ..)| *p >= bin[0] && (*p < bin[1] || bin[1] == 1.0))
            .collect();
        if inside.is_empty() {
            continue;
        }
        let n = inside.len() as f64;
        let claim = inside.iter().map(|x| x.0).sum::<f64>() / n;
        let right = inside.iter().filter(|x| x.1).count() as f64 / n;
        let alone = inside.iter().map(|x| (x.1, x.2));
        let [low, high] = wilson(right, worth(alone, right));
        kept &= claim <= high;
        println!(
            "{:.3} to {:.3} {n:>9} {claim:>12.3} {right:>7.3}     {low:.3} to {high:.3}",
            bin[0], bin[1],
        );
    }
    kept
}

/// How many marks that each had a fate of its own would tell as much of the share: marks of one photo share theirs (Kish,
/// Survey Sampling, 1965: the design effect of clusters, from memory).
fn worth(marks: impl Iterator<Item = (bool, usize)>, share: f64) -> f64 {
    let mut photos: BTreeMap<usize, f64> = BTreeMap::new();
    let mut n = 0.0;
    for (right, photo) in marks {
        *photos.entry(photo).or_default() += f64::from(u8::from(right)) - share;
        n += 1.0;
    }
    let among_photos: f64 = photos.values().map(|sum| sum * sum).sum();
    let among_marks = n * share * (1.0 - share);
    if among_photos > among_marks {
        n * among_marks / among_photos
    } else {
        n
    }
}

/// Interval of 95 % of a share (Wilson, J. Am. Stat. Assoc. 22, 1927, from memory).
fn wilson(share: f64, n: f64) -> [f64; 2] {
    const Z: f64 = 1.96;
    let middle = (share + Z * Z / (2.0 * n)) / (1.0 + Z * Z / n);
    let half = Z / (1.0 + Z * Z / n) * (share * (1.0 - share) / n + Z * Z / (4.0 * n * n)).sqrt();
    [(middle - half).max(0.0), (middle + half).min(1.0)]
}
