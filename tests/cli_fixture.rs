//! The photo in `fixtures/`, by the command that the README gives; and the plan in the README.

mod cli_support;

use std::path::Path;

use cli_support::run;
use serde_json::Value;

#[test]
fn finds_what_is_wrong_with_it_and_nothing_else() {
    let args = [
        "check",
        "fixtures/hatch-cover.jpg",
        "--plan",
        "fixtures/hatch-cover.toml",
        "--bars",
        "100mm,100mm",
        "--card-below",
        "0mm",
        "--json",
        "-",
    ];
    let ran = run(Path::new(env!("CARGO_MANIFEST_DIR")), &args);
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    let result: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(result["verdict"], "not-ready");
    // What the photo shows is told in fixtures/README.md.
    let holes = result["holes"].as_array().unwrap();
    let not_good: Vec<(&str, &str)> = holes
        .iter()
        .map(|h| (h["name"].as_str().unwrap(), h["state"].as_str().unwrap()))
        .filter(|(_, state)| *state != "good")
        .collect();
    assert_eq!(not_good, [("A5", "off"), ("B3", "missing")]);
    assert_eq!(holes.len(), 44);
    let strays = result["strays"].as_array().unwrap();
    let states: Vec<&str> = strays
        .iter()
        .map(|s| s["state"].as_str().unwrap())
        .collect();
    assert_eq!(states, ["stray", "cancelled"]);
}

#[test]
fn the_plan_in_the_readme_is_one() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = std::fs::read_to_string(folder.join("README.md")).unwrap();
    let (_, rest) = readme.split_once("```toml\n").unwrap();
    let (toml, _) = rest.split_once("```").unwrap();
    let plan = punchready::plan::parse(toml, Path::new("README.md")).unwrap();
    assert_eq!(plan.holes.len(), 15);
}
