//! How grading holds on a drawn class: repeatability, agreement with the key, throughput, memory.
//!
//! ```sh
//! cargo bench --bench gauge                       # 20 pieces x 5 photos, then 24 photos of 12 megapixels
//! cargo bench --bench gauge -- --study            # the first only
//! cargo bench --bench gauge -- --speed            # the second only
//! cargo bench --bench gauge -- --make DIR 24      # a drawn class in DIR, to grade by hand
//! ```
//!
//! It ends with 1 if a bar fails.
#![allow(clippy::unwrap_used, reason = "a bench fails by panicking")]

#[path = "../../tests/grade_support/mod.rs"]
mod grade_support;
mod study;

use std::fs;
use std::path::Path;
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use grade_support::{FULL, HALF, NAMES, coupon, draw, key, known, photo, piece};
use punchready::grade::look::look;
use punchready::grade::rubric::{self, STARTER};
use rayon::prelude::*;
use study::{Studied, outcome};

/// Pieces and photos of each in the study.
const PIECES: usize = 20;
const SHOTS: u64 = 5;
/// Bars.
const SCORE_SD: f64 = 2.0;
const NEAR_KEY: f64 = 0.95;
const FASTER: f64 = 1.7;
const MEMORY_MB: f64 = 700.0;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let kept = match args[..] {
        ["--make", dir, n] => {
            make(Path::new(dir), n.parse().unwrap(), HALF);
            true
        }
        ["--study"] => repeatability(),
        ["--speed"] => speed(),
        _ => {
            let study = repeatability();
            speed() && study
        }
    };
    if kept {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// A class, one photo each.
fn make(dir: &Path, n: usize, size: [u32; 2]) {
    let (_, plan) = coupon();
    (0..n.min(NAMES.len())).into_par_iter().for_each(|i| {
        let scene = photo(&plan, &piece(&plan, i), i as u64, size);
        draw(&scene, &dir.join(format!("{}.jpg", NAMES[i])));
    });
}

fn repeatability() -> bool {
    let (_, plan) = coupon();
    let rubric = rubric::parse(STARTER, Path::new("starter.toml"), &plan).unwrap();
    let dir = tempfile::tempdir().unwrap();
    let pieces: Vec<Studied> = (0..PIECES)
        .into_par_iter()
        .map(|n| {
            let marking = piece(&plan, n);
            let photos = (0..SHOTS)
                .map(|shot| {
                    let path = dir.path().join(format!("{n}-{shot}.jpg"));
                    draw(&photo(&plan, &marking, 100 * n as u64 + shot, HALF), &path);
                    let found = look(&[path], &plan, &known()).findings;
                    let score = punchready::grade::score::score(&found, &plan, &rubric);
                    let percent = score.and_then(|s| s.percent());
                    println!("piece {n:2} photo {shot}: {percent:.1?}");
                    found
                })
                .collect();
            Studied {
                key: key(&plan, &marking),
                photos,
            }
        })
        .collect();
    let o = outcome(&pieces, &plan, &rubric);
    println!(
        "repeatability of the score: {:.2} points (bar {SCORE_SD}), widest spread of a piece {:.1}",
        o.score_sd, o.widest
    );
    println!("repeatability of a place: {:.3} mm", o.place_sd_mm);
    println!(
        "within 3 points of the key: {:.1} % of {} photos (bar {:.0} %); mean {:+.2}, worst {:.1}; not graded: {}",
        100.0 * o.near_key,
        o.graded,
        100.0 * NEAR_KEY,
        o.bias,
        o.worst,
        o.ungraded
    );
    o.score_sd <= SCORE_SD && o.near_key >= NEAR_KEY
}

/// The program itself on 24 photos of 12 megapixels, with one worker and with two.
fn speed() -> bool {
    let dir = tempfile::tempdir().unwrap();
    let class = dir.path().join("class");
    make(&class, 24, FULL);
    let rubric = dir.path().join("rubric.toml");
    fs::write(&rubric, STARTER).unwrap();
    let mut took = [Duration::ZERO; 2];
    let mut most_mb = 0.0_f64;
    for (jobs, took) in (1..).zip(&mut took) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_punchready"))
            .args([
                "grade",
                "--quiet",
                "--bars",
                "100mm,100mm",
                "--card-below",
                "0mm",
            ])
            .args(["--jobs", &jobs.to_string()])
            .arg("--out")
            .arg(dir.path().join(format!("out-{jobs}")))
            .arg("--plan")
            .arg(coupon().0)
            .arg("--rubric")
            .arg(&rubric)
            .arg(&class)
            .stdin(Stdio::null())
            .spawn()
            .unwrap();
        let start = Instant::now();
        let status = loop {
            most_mb = most_mb.max(peak_mb(child.id()));
            if let Some(status) = child.try_wait().unwrap() {
                break status;
            }
            std::thread::sleep(Duration::from_millis(10));
        };
        *took = start.elapsed();
        assert!(status.code().is_some_and(|c| c == 0 || c == 3), "{status}");
        println!("{jobs} at a time: {:.1} s", took.as_secs_f64());
    }
    let faster = took[0].as_secs_f64() / took[1].as_secs_f64();
    println!(
        "throughput: {faster:.2} times (bar {FASTER}); peak memory {most_mb:.0} MB (bar {MEMORY_MB})"
    );
    faster >= FASTER && most_mb <= MEMORY_MB
}

/// Peak resident memory of a process, 10^6 bytes (Linux; 0 elsewhere).
fn peak_mb(id: u32) -> f64 {
    let status = fs::read_to_string(format!("/proc/{id}/status")).unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM:"));
    let kib = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
    kib.unwrap_or(0.0) * 1024.0 / 1e6
}
