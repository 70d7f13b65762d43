//! `punchready check`, as a user or a script meets it.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::OnceLock;

use cli_support::{Ran, coupon, draw, halved, names, program, run};
use punchready::synth::demo;
use serde_json::Value;
use tempfile::TempDir;

/// What the scenes have: cards printed true to size, level with the marked face.
const GIVEN: [&str; 4] = ["--bars", "100mm,100mm", "--card-below", "0mm"];

/// The drawn photos, made once: coupon without faults, with faults, and without a card.
struct Photos {
    dir: TempDir,
    plan: PathBuf,
}

impl Photos {
    fn get() -> &'static Self {
        static PHOTOS: OnceLock<Photos> = OnceLock::new();
        PHOTOS.get_or_init(|| {
            let dir = tempfile::tempdir().unwrap();
            let (plan_file, plan) = coupon();
            let ready = halved(demo::ready_scene(&plan));
            let mut cardless = ready.clone();
            cardless.cards.clear();
            draw(&ready, &dir.path().join("ready.jpg"));
            draw(&halved(demo::scene(&plan)), &dir.path().join("faulty.jpg"));
            draw(&cardless, &dir.path().join("cardless.jpg"));
            Self {
                dir,
                plan: plan_file,
            }
        })
    }

    fn path(name: &str) -> PathBuf {
        Self::get().dir.path().join(name)
    }
}

/// Checks one of the photos, in `dir`, with more arguments.
fn check(dir: &Path, photo: &str, more: &[&str]) -> Ran {
    let photo = Photos::path(photo);
    let plan = &Photos::get().plan;
    let mut args = vec![
        "check",
        photo.to_str().unwrap(),
        "--plan",
        plan.to_str().unwrap(),
    ];
    args.extend(GIVEN);
    args.extend(more);
    run(dir, &args)
}

/// Checks that the program refuses these arguments with status 2, and gives what it says.
fn refused(dir: &Path, args: &[&str]) -> String {
    let ran = run(dir, args);
    assert_eq!(ran.code, 2, "{args:?}: {}{}", ran.out, ran.err);
    assert_eq!(ran.out, "", "{args:?}");
    assert!(ran.err.starts_with("error: "), "{}", ran.err);
    ran.err
}

#[test]
fn ready_is_zero() {
    let dir = tempfile::tempdir().unwrap();
    let ran = check(dir.path(), "ready.jpg", &[]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.trim_start().starts_with("READY"), "{}", ran.out);
    assert!(ran.out.contains("17 holes planned: 17 good"), "{}", ran.out);
    assert_eq!(ran.err, "");
    assert!(names(dir.path()).is_empty(), "files nobody asked for");
}

#[test]
fn not_ready_is_one_and_every_output_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let outputs = ["result.json", "seen.jpg", "seen.html"];
    let [json, picture, page] = outputs;
    let ran = check(
        dir.path(),
        "faulty.jpg",
        &["--json", json, "--picture", picture, "--report", page],
    );
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.trim_start().starts_with("NOT READY"), "{}", ran.out);
    assert_eq!(names(dir.path()), ["result.json", "seen.html", "seen.jpg"]);
    for name in outputs {
        assert!(ran.err.contains(&format!("wrote {name}")), "{}", ran.err);
    }

    let result: Value = serde_json::from_slice(&fs::read(dir.path().join(json)).unwrap()).unwrap();
    assert_eq!(result["format"], "punchready.check/1");
    assert_eq!(result["verdict"], "not-ready");
    let (_, plan) = coupon();
    let faults = demo::faults(&plan);
    let state = |name: &Option<String>| {
        let name = name.as_deref().unwrap();
        let holes = result["holes"].as_array().unwrap();
        let hole = holes.iter().find(|h| h["name"] == name).unwrap();
        hole["state"].as_str().unwrap().to_owned()
    };
    assert_eq!(state(&faults.off), "off");
    assert_eq!(state(&faults.missing), "missing");
    assert_eq!(result["photos"][0]["width"], 2016);

    let picture = image::open(dir.path().join(picture)).unwrap();
    assert!(picture.width() > 1000 && picture.height() > 1000);
    let page = fs::read_to_string(dir.path().join(page)).unwrap();
    assert!(page.to_lowercase().starts_with("<!doctype html>"));
    assert!(page.contains("data:image/jpeg;base64,"));
}

#[test]
fn cannot_tell_is_three() {
    let dir = tempfile::tempdir().unwrap();
    let ran = check(dir.path(), "cardless.jpg", &["--picture", "seen.png"]);
    assert_eq!(ran.code, 3, "{}{}", ran.out, ran.err);
    assert!(
        ran.out.trim_start().starts_with("CANNOT TELL"),
        "{}",
        ran.out
    );
    assert!(
        ran.out.contains("card"),
        "no word on what is missing: {}",
        ran.out
    );
    // The picture is still of use: it shows what the program saw.
    assert!(image::open(dir.path().join("seen.png")).is_ok());
}

#[test]
fn json_on_standard_output_is_alone_there_and_as_in_the_file() {
    let dir = tempfile::tempdir().unwrap();
    let piped = check(dir.path(), "faulty.jpg", &["--json", "-"]);
    assert_eq!(piped.code, 1);
    assert!(
        serde_json::from_str::<Value>(&piped.out).is_ok(),
        "{}",
        piped.out
    );
    assert_eq!(piped.err, "");
    let filed = check(dir.path(), "faulty.jpg", &["--json", "r.json", "--quiet"]);
    assert_eq!((filed.out.as_str(), filed.err.as_str()), ("", ""));
    assert_eq!(
        fs::read_to_string(dir.path().join("r.json")).unwrap(),
        piped.out
    );
}

#[test]
fn same_photo_same_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let report = |name| {
        check(dir.path(), "faulty.jpg", &["--report", name, "-q"]);
        fs::read(dir.path().join(name)).unwrap()
    };
    assert!(
        report("a.html") == report("b.html"),
        "two reports of one photo differ"
    );
}

#[test]
fn colour_only_when_it_is_wanted() {
    let dir = tempfile::tempdir().unwrap();
    let escape = '\u{1b}';
    // Not a terminal.
    assert!(!check(dir.path(), "ready.jpg", &[]).out.contains(escape));
    let always = check(dir.path(), "ready.jpg", &["--color", "always"]).out;
    assert!(always.contains(escape));
    let (photo, plan) = (Photos::path("ready.jpg"), &Photos::get().plan);
    let with_no_color = |when| {
        let mut command = program();
        command
            .arg("check")
            .arg(&photo)
            .arg("--plan")
            .arg(plan)
            .args(GIVEN);
        let output = command
            .args(["--color", when])
            .env("NO_COLOR", "1")
            .output();
        String::from_utf8(output.unwrap().stdout).unwrap()
    };
    assert!(!with_no_color("auto").contains(escape));
    assert!(with_no_color("always").contains(escape), "the flag wins");
}

#[test]
fn several_photos_are_one_check_with_a_picture_each() {
    let dir = tempfile::tempdir().unwrap();
    let plan = Photos::get().plan.to_str().unwrap();
    let [a, b] = ["ready.jpg", "cardless.jpg"].map(Photos::path);
    let [a, b] = [a.to_str().unwrap(), b.to_str().unwrap()];
    let run_on = |photos: [&str; 2], more: &[&str]| {
        let mut args = vec!["check", photos[0], photos[1], "--plan", plan];
        args.extend(GIVEN);
        args.extend(more);
        run(dir.path(), &args)
    };
    let more = [
        "--picture",
        "x.jpg",
        "--report",
        "x.html",
        "--json",
        "x.json",
    ];
    let ran = run_on([a, b], &more);
    // The second shows no card: it is named and left out, and the first is ready by itself.
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("cardless.jpg is left out"), "{}", ran.out);
    assert_eq!(
        names(dir.path()),
        ["x-1.jpg", "x-2.jpg", "x.html", "x.json"]
    );
    let text = fs::read_to_string(dir.path().join("x.json")).unwrap();
    let json: Value = serde_json::from_str(&text).unwrap();
    let photos = json["photos"].as_array().unwrap();
    assert_eq!(photos.len(), 2);
    assert!(photos[0]["left_out"].is_string() && photos[1]["left_out"].is_null());
    // Same bytes whichever comes first.
    let ran = run_on([b, a], &["--json", "y.json", "--quiet"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(text, fs::read_to_string(dir.path().join("y.json")).unwrap());
    // The parts of the uncertainty are those of U.
    for hole in json["holes"].as_array().unwrap() {
        let parts = hole["budget"].as_object().unwrap().values();
        let sum: f64 = parts.map(|v| v.as_f64().unwrap().powi(2)).sum();
        let u = hole["uncertainty"].as_f64().unwrap();
        // U is written to 0.001 mm, the parts to 0.00001.
        assert!((2.0 * sum.sqrt() - u).abs() < 0.0007, "{hole}");
    }
    let said = refused(dir.path(), &["check", a, a, "--plan", plan]);
    assert!(said.contains("given twice"), "{said}");
}

#[test]
fn timings_name_the_stages_on_standard_error() {
    let dir = tempfile::tempdir().unwrap();
    let ran = check(dir.path(), "ready.jpg", &["--timings", "--quiet"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, ""));
    for stage in [
        "decode", "cards", "survey", "sheet", "ink", "verdict", "total",
    ] {
        assert!(
            ran.err
                .lines()
                .any(|l| l.starts_with(stage) && l.ends_with(" ms")),
            "{stage}: {}",
            ran.err
        );
    }
    if cfg!(target_os = "linux") {
        assert!(ran.err.contains("peak memory"), "{}", ran.err);
    }
}

#[test]
fn a_reader_that_goes_away_is_no_error() {
    let dir = tempfile::tempdir().unwrap();
    let mut command = program();
    command
        .arg("check")
        .arg(Photos::path("faulty.jpg"))
        .arg("--plan")
        .arg(&Photos::get().plan);
    command
        .args(GIVEN)
        .args(["--json", "r.json"])
        .current_dir(dir.path());
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let mut said = String::new();
    child
        .stderr
        .take()
        .unwrap()
        .read_to_string(&mut said)
        .unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(1), "{said}");
    assert_eq!(said, "wrote r.json\n");
}

#[test]
fn unreadable_inputs_are_two() {
    let dir = tempfile::tempdir().unwrap();
    let plan = Photos::get().plan.to_str().unwrap();
    let said = refused(dir.path(), &["check", "nowhere.jpg", "--plan", plan]);
    assert!(
        said.contains("nowhere.jpg") && said.contains("\nhint: "),
        "{said}"
    );

    // The first bytes of a phone's HEIC file: a box `ftyp`, brand `heic`.
    fs::write(
        dir.path().join("photo.heic"),
        b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
    )
    .unwrap();
    let said = refused(dir.path(), &["check", "photo.heic", "--plan", plan]);
    assert!(
        said.contains("HEIC") && said.contains("\nhint: ") && said.contains("JPEG"),
        "{said}"
    );

    let photo = Photos::path("ready.jpg");
    let photo = photo.to_str().unwrap();
    let said = refused(dir.path(), &["check", photo, "--plan", "nowhere.toml"]);
    assert!(said.contains("nowhere.toml"), "{said}");
    // Photo and plan confused.
    let said = refused(dir.path(), &["check", plan, "--plan", plan]);
    assert!(said.contains("a text file"), "{said}");

    let whole = fs::read(photo).unwrap();
    fs::write(dir.path().join("half.jpg"), &whole[..whole.len() / 2]).unwrap();
    let said = refused(dir.path(), &["check", "half.jpg", "--plan", plan]);
    assert!(said.contains("cut short"), "{said}");
}

#[test]
fn bad_command_lines_are_two() {
    let dir = tempfile::tempdir().unwrap();
    let photo = Photos::path("ready.jpg");
    let plan = Photos::get().plan.to_str().unwrap();
    let base = ["check", photo.to_str().unwrap(), "--plan", plan];
    let cases: [(&[&str], &str); 13] = [
        (&["--bars", "100mm"], "two lengths"),
        (&["--bars", "100mm,70mm"], "matches no printed bar"),
        (&["--known", "sheet-depth=3mm"], "sheet-height=LENGTH"),
        (&["--known", "sheet-width=6"], "give the unit"),
        (
            &["--known", "sheet-width=6in", "--known", "sheet-width=6in"],
            "given twice",
        ),
        (&["--card-below", "deep"], "--card-below"),
        (&["--lens", "camera.toml"], "cannot be read"),
        (&["second.jpg"], "second.jpg"),
        (&["--picture", "seen.gif"], ".jpg or .png"),
        (&["--report", "seen.pdf"], ".html"),
        (&["--json", "nowhere/r.json"], "no such folder"),
        (&["--json", "a.png", "--picture", "./a.png"], "both ask for"),
        (&["--color", "sometimes"], "--color"),
    ];
    for (more, expected) in cases {
        let said = refused(dir.path(), &[&base[..], more].concat());
        assert!(said.contains(expected), "{more:?}: {said}");
    }
    let said = refused(dir.path(), &base[..2]);
    assert!(said.contains("--plan"), "{said}");
    assert!(names(dir.path()).is_empty());
}

#[test]
fn outputs_never_replace_what_is_read() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("mine.jpg");
    fs::copy(Photos::path("ready.jpg"), &photo).unwrap();
    fs::copy(&Photos::get().plan, dir.path().join("plan.toml")).unwrap();
    let before = fs::read(&photo).unwrap();
    for more in [
        ["--picture", "./mine.jpg"],
        ["--json", "plan.toml"],
        ["--json", "."],
    ] {
        let args = [&["check", "mine.jpg", "--plan", "plan.toml"], &more[..]].concat();
        let said = refused(dir.path(), &args);
        assert!(said.contains("hint: name"), "{said}");
    }
    assert!(fs::read(&photo).unwrap() == before, "the photo was changed");
    assert_eq!(names(dir.path()), ["mine.jpg", "plan.toml"]);
}

#[cfg(unix)]
#[test]
fn an_output_that_cannot_be_written_leaves_nothing_half_done() {
    use std::os::unix::fs::PermissionsExt;
    let dir = tempfile::tempdir().unwrap();
    let locked = dir.path().join("locked");
    fs::create_dir(&locked).unwrap();
    fs::write(locked.join("old.json"), "old").unwrap();
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(locked.join("probe"), "x").is_ok() {
        // The superuser writes anywhere; a file system that only reads stands in for it.
        fs::remove_file(locked.join("probe")).unwrap();
        fs::set_permissions(&locked, fs::Permissions::from_mode(0o755)).unwrap();
        if !Path::new("/proc/self").is_dir() {
            eprintln!("SKIPPED: no folder here refuses to be written to");
            return;
        }
        let ran = check(dir.path(), "ready.jpg", &["--json", "/proc/self/r.json"]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(
            ran.err.contains("/proc/self/r.json") && ran.err.contains("\nhint: "),
            "{}",
            ran.err
        );
        return;
    }
    let ran = check(dir.path(), "ready.jpg", &["--json", "locked/old.json"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(
        ran.err.contains("locked/old.json") && ran.err.contains("\nhint: "),
        "{}",
        ran.err
    );
    assert_eq!(fs::read_to_string(locked.join("old.json")).unwrap(), "old");
    assert_eq!(names(&locked), ["old.json"]);
}

#[test]
fn two_marks_are_the_datum_and_without_one_of_them_nothing_is_ready() {
    let dir = tempfile::tempdir().unwrap();
    let plan = fs::read_to_string(&Photos::get().plan).unwrap();
    let by = |photo: &str, marks: [&str; 2]| {
        let text = format!("datum = {marks:?}\n{plan}");
        fs::write(dir.path().join("marks.toml"), text).unwrap();
        let photo = Photos::path(photo);
        let mut args = vec!["check", photo.to_str().unwrap(), "--plan", "marks.toml"];
        args.extend(GIVEN);
        run(dir.path(), &args)
    };
    let ran = by("ready.jpg", ["A1", "A9"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("the marks A1 and A9"), "{}", ran.out);
    let (_, plan) = coupon();
    let missing = demo::faults(&plan).missing.unwrap();
    let ran = by("faulty.jpg", ["A1", missing.as_str()]);
    assert!([1, 3].contains(&ran.code), "{}{}", ran.out, ran.err);
    assert!(
        ran.out.contains("datum") || ran.out.contains(&missing),
        "{}",
        ran.out
    );
}

#[test]
fn what_was_left_unsaid_is_asked_for() {
    let dir = tempfile::tempdir().unwrap();
    let photo = Photos::path("ready.jpg");
    let plan = Photos::get().plan.to_str().unwrap();
    let ran = run(
        dir.path(),
        &["check", photo.to_str().unwrap(), "--plan", plan],
    );
    for option in ["--bars", "--card-below"] {
        assert!(ran.out.contains(option), "{}", ran.out);
        assert!(!check(dir.path(), "ready.jpg", &[]).out.contains(option));
    }
    let lost = refused(
        dir.path(),
        &["check", photo.to_str().unwrap(), "--plan", "no.toml"],
    );
    assert!(
        lost.contains("no.toml") && lost.contains("hint: "),
        "{lost}"
    );
}

/// Most of what makes holes close is what was left unsaid: it is named, and only then.
#[test]
fn the_bench_names_what_was_left_unsaid() {
    let photo = Photos::path("ready.jpg");
    let plan = &Photos::get().plan;
    let asked = |given: &[&str]| {
        let mut args = vec!["check", photo.to_str().unwrap(), "--json", "-", "--plan"];
        args.push(plan.to_str().unwrap());
        args.extend(given);
        let ran = run(Path::new("."), &args);
        let v: Value = serde_json::from_str(&ran.out).unwrap();
        let codes: Vec<&str> = v["reasons"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| r["code"].as_str().unwrap())
            .collect();
        let bench = v["bench"].to_string();
        let said = [
            codes.contains(&"print-unsaid"),
            codes.contains(&"height-unsaid"),
        ];
        assert_eq!(
            said,
            ["--bars", "--card-below"].map(|flag| bench.contains(flag)),
            "{bench}"
        );
        said
    };
    assert!(asked(&[])[0], "nothing said: the bars come first");
    assert_eq!(asked(&GIVEN), [false; 2]);
    // A print measured with a rule is not asked for again.
    assert!(!asked(&GIVEN[..2])[0]);
    assert!(!asked(&GIVEN[2..])[1]);
}

/// The table and the JSON tell the same parts, and they add up to U.
#[test]
fn a_budget_adds_up_to_u() {
    const ROUNDED_MM: f64 = 0.001;
    let dir = tempfile::tempdir().unwrap();
    let heading = "Where the uncertainty comes from";
    assert!(!check(dir.path(), "ready.jpg", &[]).out.contains(heading));
    let ran = check(dir.path(), "ready.jpg", &["--budget", "--json", "b.json"]);
    let (_, table) = ran.out.split_once(heading).expect("the table");
    let text = fs::read_to_string(dir.path().join("b.json")).unwrap();
    let json: Value = serde_json::from_str(&text).unwrap();
    let holes = json["holes"].as_array().unwrap();
    assert!(holes.len() > 5);
    for hole in holes {
        let (name, u) = (
            hole["name"].as_str().unwrap(),
            hole["uncertainty"].as_f64().unwrap(),
        );
        let parts = hole["budget"].as_object().unwrap();
        let names: Vec<&str> = parts.keys().map(String::as_str).collect();
        let wanted = [
            "solve",
            "scale",
            "lens",
            "height",
            "datum",
            "flatness",
            "localisation",
        ];
        assert_eq!(names, wanted);
        let square = |v: &Value| v.as_f64().unwrap().powi(2);
        let sum = parts.values().map(square).sum::<f64>().sqrt();
        assert!(
            (sum - u / 2.0).abs() < ROUNDED_MM,
            "{name}: {sum} for U {u}"
        );
        let row: Vec<f64> = table
            .lines()
            .find_map(|l| l.trim_start().strip_prefix(&format!("{name} ")))
            .unwrap_or_else(|| panic!("no line of {name} in {table}"))
            .split_whitespace()
            .map(|cell| cell.parse().unwrap())
            .collect();
        assert!((row[0] - u).abs() < ROUNDED_MM, "{name}: {row:?}");
        for (cell, part) in row[1..].iter().zip(parts.values()) {
            assert!(
                (cell - part.as_f64().unwrap()).abs() < ROUNDED_MM,
                "{name}: {row:?} {parts:?}"
            );
        }
        assert_eq!(row.len(), 1 + parts.len());
    }
}
