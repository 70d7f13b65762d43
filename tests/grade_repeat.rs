//! The same piece photographed again gives the same grade, and the instructor's key is met. A smaller study than
//! `cargo bench --bench gauge`, by the same figures and against the same bars.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grade_support;
#[path = "../benches/gauge/study.rs"]
#[allow(dead_code, reason = "the bench tells more figures than are tested")]
mod study;

use std::path::Path;

use grade_support::{HALF, coupon, draw, key, known, photo, piece};
use punchready::grade::look::look;
use punchready::grade::rubric::{STARTER, parse};
use rayon::prelude::*;
use study::{Studied, outcome};

#[test]
fn a_grade_repeats_and_meets_the_key() {
    const PIECES: usize = 8;
    const SHOTS: u64 = 3;
    let (_, plan) = coupon();
    let rubric = parse(STARTER, Path::new("starter.toml"), &plan).unwrap();
    let dir = tempfile::tempdir().unwrap();
    let pieces: Vec<Studied> = (0..PIECES)
        .into_par_iter()
        .map(|n| {
            let marking = piece(&plan, n);
            let one = |shot: u64| {
                let path = dir.path().join(format!("{n}-{shot}.jpg"));
                draw(
                    &photo(&plan, &marking, 500 + 10 * n as u64 + shot, HALF),
                    &path,
                );
                look(&[path], &plan, &known()).findings
            };
            Studied {
                key: key(&plan, &marking),
                photos: (0..SHOTS).map(one).collect(),
            }
        })
        .collect();
    let o = outcome(&pieces, &plan, &rubric);
    println!("{o:?}");
    assert!(o.graded as u64 >= PIECES as u64 * SHOTS - 1, "{o:?}");
    assert!(
        o.score_sd <= 2.0,
        "within-piece standard deviation {:.2}, allowed 2",
        o.score_sd
    );
    assert!(
        o.near_key >= 0.95,
        "within 3 points of the key {:.2}, wanted 0.95",
        o.near_key
    );
    // A hundredth of an inch is what a rule can tell.
    assert!(
        o.place_sd_mm <= 0.1,
        "places repeat within {:.3} mm",
        o.place_sd_mm
    );
    // The study tells a piece from another: the grades of the class differ by more than they repeat.
    let keys: Vec<f64> = pieces
        .iter()
        .filter_map(|p| punchready::grade::score::score(&p.key, &plan, &rubric)?.percent())
        .collect();
    let range =
        keys.iter().copied().fold(0.0, f64::max) - keys.iter().copied().fold(100.0, f64::min);
    assert!(
        range > 6.0 * o.score_sd.max(0.5),
        "{range:.1} over {keys:?}"
    );
}
