//! How grading holds on a drawn class: repeatability, agreement with the key, throughput, memory.
//!
//! ```sh
//! cargo bench --bench gauge                       # all of it, 20 pieces x 5 photos and 24 of 12 megapixels
//! cargo bench --bench gauge -- --make DIR 24      # a drawn class in DIR, to grade by hand
//! ```

#[path = "../../tests/grade_support/mod.rs"]
mod grade_support;

use std::path::Path;

use grade_support::{FULL, HALF, NAMES, coupon, draw, photo, piece};
use rayon::prelude::*;

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args[..] {
        ["--make", dir, n] => make(Path::new(dir), n.parse().unwrap_or(24), HALF),
        ["--make-full", dir, n] => make(Path::new(dir), n.parse().unwrap_or(24), FULL),
        _ => {}
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
