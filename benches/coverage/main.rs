//! How right the places are, what their errors come from, and how often U holds the truth, on drawn photos.
//!
//! `cargo bench --bench coverage -- [--photos N] [--only STEP] [--seed N]` prints a few lines for each step. The careful steps are
//! drawn as well as a careful person works, the sheet flat and the bars read right: they show what the measurement
//! itself leaves, and are held against the bars of accuracy. The others draw the nuisances that U is made of: what a
//! rule misreads of the bars, how high the print lies, how far from flat the sheet is, what the lens is. *In U* is the
//! share of marks whose distance from their planned place is known within U, which is what U is told of; *in plane* that
//! of marks whose true place lies in a circle of U, which an honest U of k = 2 holds in 0.86 to 0.95 of cases. *z* is the
//! RMS of the error over its standard uncertainty: 1 is meant, less is caution. *u* is what the budget says of the
//! causes along one direction, *error* what they truly did in the plane, see `causes`. Ends with status 1 if a bar fails.

mod causes;
mod scenes;
mod skin;

use std::process::ExitCode;
use std::time::Instant;

use nalgebra::Vector2;
use punchready::check::{Budget, check_all};
use punchready::frame::{Point, Sheet};
use punchready::verdict::{Decision, HoleState};
use scenes::{Bar, Case, STEPS};

/// Shares that an honest U holds: 0.954 is meant, and some caution is no fault.
const HONEST: std::ops::RangeInclusive<f64> = 0.93..=0.985;
/// Marks that the share is told from.
const MARKS: usize = 2000;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().collect();
    let value = |flag: &str| {
        let at = args.iter().position(|a| a == flag)?;
        args.get(at + 1)?.parse::<usize>().ok()
    };
    let (photos, seed) = (value("--photos"), value("--seed"));
    let only = value("--only");
    println!("step          marks  rms mm  95 % mm  in U   in plane  z     not read  ready   ms");
    let mut all_hold = true;
    for (i, step) in STEPS.iter().enumerate() {
        if only.is_some_and(|o| o != i + 1) {
            continue;
        }
        let mut tally = Tally::default();
        let seeds = match seed {
            Some(seed) => seed..seed + 1,
            None => 0..photos.unwrap_or(step.photos),
        };
        for seed in seeds {
            tally.add(&(step.case)(seed as u64));
        }
        tally.tell(step.name);
        all_hold &= tally.hold(&step.bar, photos.is_none() && seed.is_none());
    }
    if all_hold {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// What came out for one step.
#[derive(Default)]
struct Tally {
    errors_mm: Vec<f64>,
    /// The same without what the scale did.
    unscaled_mm: Vec<f64>,
    in_u: usize,
    in_plane: usize,
    z_square: f64,
    missed: usize,
    refused: usize,
    ready: usize,
    photos: usize,
    ms: f64,
    parts: [f64; 7],
    causes: [f64; 5],
}

impl Tally {
    fn add(&mut self, case: &Case) {
        let start = Instant::now();
        let photos: Vec<_> = case.photos.iter().collect();
        let checked = check_all(&photos, &case.plan, &case.given);
        self.ms += 1e3 * start.elapsed().as_secs_f64();
        self.photos += 1;
        self.ready += usize::from(checked.verdict.decision == Decision::Ready);
        if checked.survey().is_none() {
            self.refused += 1;
            eprintln!("{}: {:?}", case.name, checked.verdict.reasons);
        }
        let budgets: Vec<Option<Budget>> = checked.budgets();
        let mut all_found = Vec::new();
        for (hole, budget) in checked.verdict.holes.iter().zip(budgets) {
            let truth = case.truth.iter().find(|(name, _)| *name == hole.name);
            let (Some(found), Some(u), Some((_, truth))) = (hole.found, hole.uncertainty_mm, truth)
            else {
                self.missed += 1;
                continue;
            };
            if hole.state == HoleState::Double {
                self.missed += 1;
                continue;
            }
            all_found.push((hole.name.clone(), found));
            let error = found - *truth;
            let along = distance_error(found, *truth, hole.planned);
            self.errors_mm.push(error.norm());
            self.in_u += usize::from(along.abs() <= u);
            self.in_plane += usize::from(error.norm() <= u);
            self.z_square += (along / (u / 2.0)).powi(2);
            if let Some(b) = budget {
                for (sum, (_, part)) in self.parts.iter_mut().zip(b.parts()) {
                    *sum += part * part;
                }
            }
        }
        for causes in causes::of(case, &checked, &all_found) {
            for (sum, cause) in self.causes.iter_mut().zip(&causes) {
                *sum += cause.norm_squared();
            }
            let all: Vector2<f64> = causes.iter().sum();
            self.unscaled_mm.push((all - causes[2]).norm());
        }
    }

    fn tell(&mut self, name: &str) {
        self.errors_mm.sort_by(f64::total_cmp);
        let n = self.errors_mm.len().max(1);
        println!(
            "{name:<13} {n:>5}  {:>6.3}  {:>7.3}  {:.3}  {:>8.3}  {:.2}  {:>8}  {:>3}/{:<3} {:.0}",
            rms(&self.errors_mm),
            self.high(),
            self.share(self.in_u),
            self.share(self.in_plane),
            (self.z_square / n as f64).sqrt(),
            self.missed,
            self.ready,
            self.photos,
            self.ms / f64::from(self.photos.max(1) as u32),
        );
        if self.refused > 0 {
            println!("    refused: {} of {}", self.refused, self.photos);
        }
        let names = Budget::default().parts().map(|(name, _)| name);
        tell_parts("u", &names, &self.parts, n);
        tell_parts(
            "error",
            &causes::CAUSES,
            &self.causes,
            self.unscaled_mm.len(),
        );
    }

    fn share(&self, k: usize) -> f64 {
        k as f64 / self.errors_mm.len().max(1) as f64
    }

    /// The error that 95 % of the marks do not exceed, mm.
    fn high(&self) -> f64 {
        let at = self.errors_mm.len() * 95 / 100;
        self.errors_mm.get(at).copied().unwrap_or(f64::NAN)
    }

    /// Prints each bar; whether all hold. With fewer photos than usual the number of marks is no bar.
    fn hold(&self, bar: &Bar, all_photos: bool) -> bool {
        let mut bars = Vec::new();
        match *bar {
            Bar::Accuracy { rms_mm, high_mm } => {
                bars.push((
                    format!("rms {:.3} mm, bar {rms_mm}", rms(&self.errors_mm)),
                    rms(&self.errors_mm) <= rms_mm,
                ));
                if let Some(high_mm) = high_mm {
                    bars.push((
                        format!("95 % {:.3} mm, bar {high_mm}", self.high()),
                        self.high() <= high_mm,
                    ));
                }
            }
            Bar::ApartFromScale { rms_mm } => {
                let rms = rms(&self.unscaled_mm);
                bars.push((
                    format!("rms apart from the scale {rms:.3} mm, bar {rms_mm}"),
                    rms <= rms_mm,
                ));
            }
            Bar::Coverage | Bar::Caution => {
                let share = self.share(self.in_u);
                let honest = match *bar {
                    Bar::Caution => *HONEST.start()..=1.0,
                    _ => HONEST,
                };
                bars.push((
                    format!("in U {share:.3}, bar {honest:?}"),
                    honest.contains(&share),
                ));
                if all_photos {
                    let n = self.errors_mm.len();
                    bars.push((format!("marks {n}, bar {MARKS}"), n >= MARKS));
                }
            }
        }
        for (text, holds) in &bars {
            println!("    {} {text}", if *holds { "pass" } else { "FAIL" });
        }
        bars.iter().all(|b| b.1)
    }
}

fn rms(all: &[f64]) -> f64 {
    (all.iter().map(|e| e * e).sum::<f64>() / all.len().max(1) as f64).sqrt()
}

fn tell_parts(what: &str, names: &[&str], square_sums: &[f64], n: usize) {
    let part = |(name, sum): (&&str, &f64)| format!("{name} {:.3}", (sum / n.max(1) as f64).sqrt());
    let parts: Vec<String> = names.iter().zip(square_sums).map(part).collect();
    println!("    {what}: {}", parts.join(", "));
}

/// Error of the distance from the planned place; where that is next to nothing its direction is chance, and the error
/// along it counts.
fn distance_error(found: Point<Sheet>, truth: Point<Sheet>, planned: Point<Sheet>) -> f64 {
    let way: Vector2<f64> = found - planned;
    match way.try_normalize(1e-9) {
        Some(way) => way.dot(&(found - truth)),
        None => (found - truth).norm(),
    }
}
