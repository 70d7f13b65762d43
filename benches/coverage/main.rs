//! How often U holds the truth, on drawn photos whose nuisances are drawn too: what a rule misreads of the bars, how
//! high the print lies, how far from flat the sheet is, what the lens is.
//!
//! `cargo bench --bench coverage -- [--photos N] [--only STEP]` prints a line for each step. *In U* is the share of
//! marks whose distance from their planned place is known within U, which is what U is told of; *in plane* that of
//! marks whose true place lies in a circle of U, which an honest U of k = 2 holds in 0.86 to 0.95 of cases. *z* is the
//! RMS of the error over its standard uncertainty: 1 is meant, less is caution.

mod scenes;

use std::time::Instant;

use nalgebra::Vector2;
use punchready::check::{Budget, check_all};
use punchready::frame::{Point, Sheet};
use punchready::verdict::HoleState;
use scenes::{Case, STEPS};

/// Shares that an honest U holds: 0.954 is meant, and some caution is no fault.
const HONEST: std::ops::RangeInclusive<f64> = 0.93..=0.985;

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let value = |flag: &str| {
        let at = args.iter().position(|a| a == flag)?;
        args.get(at + 1)?.parse::<usize>().ok()
    };
    let photos = value("--photos");
    let only = value("--only");
    println!("step        marks  rms mm  95 % mm  in U   in plane  z     not read  ready  ms");
    let mut all_honest = true;
    for (i, step) in STEPS.iter().enumerate() {
        if only.is_some_and(|o| o != i + 1) {
            continue;
        }
        let mut tally = Tally::default();
        for seed in 0..photos.unwrap_or(step.photos) {
            tally.add(&(step.case)(seed as u64));
        }
        all_honest &= tally.tell(step.name);
    }
    if !all_honest {
        println!("a share is not within {HONEST:?}");
    }
}

/// What came out for one step.
#[derive(Default)]
struct Tally {
    errors_mm: Vec<f64>,
    in_u: usize,
    in_plane: usize,
    z_square: f64,
    missed: usize,
    ready: usize,
    photos: usize,
    ms: f64,
    parts: [f64; 7],
}

impl Tally {
    fn add(&mut self, case: &Case) {
        let start = Instant::now();
        let photos: Vec<_> = case.photos.iter().collect();
        let checked = check_all(&photos, &case.plan, &case.given);
        self.ms += 1e3 * start.elapsed().as_secs_f64();
        self.photos += 1;
        self.ready += usize::from(checked.verdict.decision == punchready::verdict::Decision::Ready);
        if checked.survey().is_none() {
            eprintln!("{}: {:?}", case.name, checked.verdict.reasons);
        }
        let budgets: Vec<Option<Budget>> = checked.budgets();
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
    }

    /// Prints the line; whether the share is honest.
    fn tell(&mut self, name: &str) -> bool {
        self.errors_mm.sort_by(f64::total_cmp);
        let n = self.errors_mm.len().max(1);
        let share = |k: usize| k as f64 / n as f64;
        let rms = (self.errors_mm.iter().map(|e| e * e).sum::<f64>() / n as f64).sqrt();
        let high = self
            .errors_mm
            .get(n * 95 / 100)
            .copied()
            .unwrap_or(f64::NAN);
        println!(
            "{name:<11} {n:>5}  {rms:>6.3}  {high:>7.3}  {:.3}  {:>8.3}  {:.2}  {:>8}  {:>2}/{:<2}  {:.0}",
            share(self.in_u),
            share(self.in_plane),
            (self.z_square / n as f64).sqrt(),
            self.missed,
            self.ready,
            self.photos,
            self.ms / f64::from(self.photos.max(1) as u32),
        );
        let names = Budget::default().parts().map(|(name, _)| name);
        let parts: Vec<String> = names
            .iter()
            .zip(self.parts)
            .map(|(name, sum)| format!("{name} {:.3}", (sum / n as f64).sqrt()))
            .collect();
        println!("            u: {}", parts.join(", "));
        HONEST.contains(&share(self.in_u))
    }
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
