//! From drawn photos of the lens page to a profile and its use, through the real program.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;
mod lens_set;

use std::path::Path;

use cli_support::run;
use lens_set::{GOOD, LENS, OFF_CENTRE, SIZE, SQUARE_ON, draw, facts, scene};
use punchready::lens::Profile;
use punchready::synth::{self, ExifFacts};

/// Bar of the project: each parameter within three of its standard deviations.
const SIGMAS: f64 = 3.0;

#[test]
fn a_drawn_set_gives_the_drawn_lens() {
    let dir = tempfile::tempdir().unwrap();
    let keep = std::env::var_os("PUNCHREADY_KEEP").map(std::path::PathBuf::from);
    let at = keep.as_deref().unwrap_or(dir.path());
    draw(at, &GOOD);
    let names: Vec<String> = (1..=GOOD.len()).map(|i| format!("page-{i}.jpg")).collect();
    let mut args = vec!["lens"];
    args.extend(names.iter().map(String::as_str));
    args.extend([
        "--out",
        "lens.toml",
        "--picture",
        "lens.png",
        "--json",
        "lens.json",
    ]);
    let ran = run(at, &args);
    println!("{}{}", ran.out, ran.err);
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(at.join("lens.json")).unwrap()).unwrap();
    let truth_f = scene(&GOOD[0], 1).camera.focal_px;
    let [w, h] = SIZE.map(f64::from);
    let mut chi2 = 0.0;
    for (key, truth) in [
        ("f_px", truth_f),
        ("cx_px", w / 2.0 + OFF_CENTRE[0]),
        ("cy_px", h / 2.0 + OFF_CENTRE[1]),
        ("k1", LENS[0]),
        ("k2", LENS[1]),
        ("p1", LENS[2]),
        ("p2", LENS[3]),
    ] {
        let v = &json["lens"][key];
        let (got, sd) = (v["value"].as_f64().unwrap(), v["sd"].as_f64().unwrap());
        let off = (got - truth).abs() / sd;
        println!("{key}: {got} ± {sd}, truth {truth}: {off:.2} sigma");
        chi2 += off * off;
        assert!(
            off < SIGMAS,
            "{key}: {got} ± {sd}, truth {truth}: {off} sigma"
        );
    }
    println!("mean square {:.2}", chi2 / 7.0);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.starts_with("GOOD ENOUGH"), "{}", ran.out);
    let _ = (
        SQUARE_ON,
        facts,
        Path::new(""),
        Profile::read,
        ExifFacts::default,
        synth::render,
    );
}
