//! What several test files need.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::path::PathBuf;

/// A file of the reference data, or `None`, said aloud, when the reference data is not there.
///
/// It is looked for in the folder that `PUNCHREADY_REFERENCE` names, else beside the project.
pub(crate) fn reference(name: &str) -> Option<PathBuf> {
    let folder = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/reference")),
        PathBuf::from,
    );
    let path = folder.join(name);
    if path.exists() {
        return Some(path);
    }
    eprintln!("SKIPPED: reference file {name} is not here");
    None
}

/// A reference file as JSON.
pub(crate) fn reference_json(name: &str) -> Option<serde_json::Value> {
    let text = std::fs::read_to_string(reference(name)?).unwrap();
    Some(serde_json::from_str(&text).unwrap())
}

/// Root of the mean of squares.
pub(crate) fn rms(values: impl IntoIterator<Item = f64>) -> f64 {
    let (sum, n) = values
        .into_iter()
        .fold((0.0, 0.0), |(s, n), v| (s + v * v, n + 1.0));
    (sum / n).sqrt()
}
