//! `punchready demo`: what a newcomer runs first.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use std::fs;
use std::path::Path;

use cli_support::{names, run};
use serde_json::Value;

fn json(path: &Path) -> Value {
    serde_json::from_slice(&fs::read(path).unwrap()).unwrap()
}

#[test]
fn makes_everything_checks_it_and_guards_what_was_changed() {
    let dir = tempfile::tempdir().unwrap();
    let demo = dir.path().join("a demo");
    // The small one is drawn unless the full one is asked for.
    let args = ["demo", "a demo", "--check"];
    let ran = run(dir.path(), &args);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("holes planned"), "{}", ran.out);
    let files = [
        ".punchready-demo",
        "hatch-cover.jpg",
        "hatch-cover.toml",
        "picture.jpg",
        "report.html",
        "result.json",
        "truth.json",
    ];
    assert_eq!(names(&demo), files);

    // The plan is the fixture, so that README, fixtures and demo tell of one sheet.
    let fixture = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/hatch-cover.toml");
    let plan = fs::read_to_string(demo.join("hatch-cover.toml")).unwrap();
    assert_eq!(plan, fs::read_to_string(fixture).unwrap());

    let truth = json(&demo.join("truth.json"));
    assert_eq!(truth["format"], "punchready.demo/1");
    let marks = truth["marks"].as_array().unwrap();
    let result = json(&demo.join("result.json"));
    let holes = result["holes"].as_array().unwrap();
    let state = |name: &Value| holes.iter().find(|h| h["name"] == *name).unwrap()["state"].clone();
    assert_eq!(state(&truth["faults"]["off"]), "off");
    assert_eq!(state(&truth["faults"]["missing"]), "missing");
    let others: Vec<&str> = result["strays"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| s["state"].as_str().unwrap())
        .collect();
    // The extra mark is smaller than the others, and may be unclear in the small photo.
    assert!(
        matches!(others[..], ["stray" | "unsure", "cancelled"]),
        "{others:?}"
    );
    assert!(
        marks
            .iter()
            .all(|m| m["name"] != truth["faults"]["missing"])
    );
    let crossed = marks.iter().filter(|m| m["crossed_out"] == true);
    assert_eq!(crossed.count(), 1);

    // Its own unchanged files are made anew, to the same bytes.
    let photo = fs::read(demo.join("hatch-cover.jpg")).unwrap();
    assert_eq!(run(dir.path(), &args).code, 0);
    assert!(fs::read(demo.join("hatch-cover.jpg")).unwrap() == photo);

    // What the user changed or brought stays.
    let edited = format!("# mine\n{plan}");
    fs::write(demo.join("hatch-cover.toml"), &edited).unwrap();
    let ran = run(dir.path(), &args);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("hatch-cover.toml") && ran.err.contains("\nhint: "),
        "{}",
        ran.err
    );
    assert_eq!(
        fs::read_to_string(demo.join("hatch-cover.toml")).unwrap(),
        edited
    );
}

#[test]
fn a_ready_sheet_names_its_next_command_and_no_faults() {
    let dir = tempfile::tempdir().unwrap();
    let ran = run(dir.path(), &["demo", "d", "--ready", "--size", "small"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let next = ran.out.strip_prefix("next: ").unwrap();
    for part in [
        "check d/hatch-cover.jpg",
        "--plan d/hatch-cover.toml",
        "--bars 100mm,100mm",
        "--card-below 0mm",
    ] {
        assert!(next.contains(part), "{part}: {next}");
    }
    let truth = json(&dir.path().join("d/truth.json"));
    assert_eq!(truth["faults"], Value::Null);
    let (width, height) = image::image_dimensions(dir.path().join("d/hatch-cover.jpg")).unwrap();
    assert_eq!([width, height], [2688, 2016]);
    assert_eq!(
        [&truth["photo"]["width"], &truth["photo"]["height"]],
        [2688, 2016]
    );
    // The command as printed runs.
    let words: Vec<&str> = next.split_whitespace().skip(1).collect();
    let ran = run(dir.path(), &words);
    assert!(matches!(ran.code, 0 | 1 | 3), "{}", ran.err);
    assert!(dir.path().join("d/report.html").is_file());
}

#[test]
fn files_of_the_user_are_never_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("hatch-cover.jpg"), "my photo").unwrap();
    let ran = run(dir.path(), &["demo", "."]);
    assert_eq!(ran.code, 2, "{}", ran.out);
    assert!(ran.err.contains("hatch-cover.jpg"), "{}", ran.err);
    assert_eq!(names(dir.path()), ["hatch-cover.jpg"]);
    fs::write(dir.path().join("file"), "").unwrap();
    let ran = run(dir.path(), &["demo", "file"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("\nhint: "), "{}", ran.err);
}
