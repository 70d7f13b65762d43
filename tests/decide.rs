//! A person's answers to ink that could not be named: made by the program, honoured by it, and never for more than that.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use cli_support::{Ran, draw, halved, run};
use punchready::frame::Point;
use punchready::plan::{self, Plan};
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{Mark, Scene, demo};
use serde_json::Value;
use tempfile::TempDir;

/// What the scenes have: cards printed true to size, level with the marked face.
const GIVEN: [&str; 4] = ["--bars", "100mm,100mm", "--card-below", "0mm"];
/// A stroke in the open face: ink that cannot be named.
const STROKE: [f64; 2] = [52.0, 38.0];
/// The hole whose mark is a short stroke away from any line, that cannot be named either.
const HOLE: &str = "P1";

/// The coupon of the fixtures with one single hole more, as text and read.
fn coupon() -> (String, Plan) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/coupon.toml");
    let text = fs::read_to_string(&path).unwrap() + "\n[[hole]]\nname = \"P1\"\nx = 4\ny = 1\n";
    let plan = plan::parse(&text, &path).unwrap();
    (text, plan)
}

/// The coupon, faultless but for two strokes: one in the open face, one for the mark of [`HOLE`].
fn scene(second: bool) -> Scene {
    let (_, plan) = coupon();
    let hand = Hand {
        scatter_mm: 0.05,
        seed: 5,
        ..Hand::default()
    };
    let hole = plan.holes.iter().find(|h| h.name == HOLE).unwrap().at;
    let marking = Marking::of(&plan, &hand)
        .drop_hole(HOLE)
        .unwrap()
        .with(Mark::tick(STROKE[0], STROKE[1], 0.5))
        .with(Mark::tick(hole.x, hole.y, 1.0).sized(1.6));
    let mut scene = halved(demo::ready_scene(&plan));
    scene.marks = marking.marks;
    if second {
        // Another shot of the same piece, from elsewhere.
        scene.camera.position.x += 25.0;
        scene.camera.position.y -= 20.0;
        scene.seed += 1;
    }
    scene
}

/// The photos, drawn once: two shots of the piece, and one of another piece with a mark where the stroke was.
fn photos() -> &'static TempDir {
    static PHOTOS: OnceLock<TempDir> = OnceLock::new();
    PHOTOS.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("plan.toml"), coupon().0).unwrap();
        draw(&scene(false), &dir.path().join("first.jpg"));
        draw(&scene(true), &dir.path().join("second.jpg"));
        let mut other = scene(false);
        // Where the stroke was, a cross: a live stray.
        other
            .marks
            .retain(|m| m.at().distance(Point::new(STROKE[0], STROKE[1])) > 3.0);
        let mut dot = other.clone();
        other.marks.push(Mark::cross(STROKE[0], STROKE[1], 0.8));
        draw(&other, &dir.path().join("other.jpg"));
        dot.marks.push(Mark::dot(STROKE[0], STROKE[1]));
        draw(&dot, &dir.path().join("dot.jpg"));
        dir
    })
}

fn check(dir: &Path, photo: &str, more: &[&str]) -> Ran {
    let photo = photos().path().join(photo);
    let plan = photos().path().join("plan.toml");
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

fn json(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}{}", ran.out, ran.err))
}

/// The template of the first photo, with the answers put in: of the stroke in the open face, and of the hole's.
fn answered(dir: &Path, stroke: &str, hole: &str) -> PathBuf {
    let ran = check(dir, "first.jpg", &["--decide-template", "open.toml", "-q"]);
    assert_eq!(ran.code, 3, "{}{}", ran.out, ran.err);
    let text = fs::read_to_string(dir.join("open.toml")).unwrap();
    let mut parts: Vec<String> = text.split("[[place]]").map(str::to_owned).collect();
    assert_eq!(parts.len(), 3, "{text}");
    let (_, plan) = coupon();
    let at = plan.holes.iter().find(|h| h.name == HOLE).unwrap().at;
    for part in &mut parts[1..] {
        let x: f64 = part
            .split("x = ")
            .nth(1)
            .unwrap()
            .lines()
            .next()
            .unwrap()
            .parse()
            .unwrap();
        let says = if (x - at.x).abs() < 3.0 { hole } else { stroke };
        *part = part.replacen("answer = \"?\"", &format!("answer = {says}"), 1);
    }
    let file = dir.join("answers.toml");
    fs::write(&file, parts.join("[[place]]")).unwrap();
    file
}

/// The hole's place as a rule gives it.
fn by_rule() -> String {
    let (_, plan) = coupon();
    let at = plan.holes.iter().find(|h| h.name == HOLE).unwrap().at;
    format!(
        "\"mark\"\nrule_x = {:.2}\nrule_y = \"{:.2}mm\"\nrule_u = 0.3",
        at.x, at.y
    )
}

fn codes(result: &Value) -> Vec<&str> {
    let reasons = result["reasons"].as_array().unwrap();
    reasons
        .iter()
        .map(|r| r["code"].as_str().unwrap())
        .collect()
}

fn hole(result: &Value) -> &Value {
    let holes = result["holes"].as_array().unwrap();
    holes.iter().find(|h| h["name"] == HOLE).unwrap()
}

#[test]
fn answers_make_it_ready_and_it_says_so() {
    let dir = tempfile::tempdir().unwrap();
    let file = answered(dir.path(), "\"not a mark\"", &by_rule());
    let decide = ["--decide", file.to_str().unwrap()];
    for photo in ["first.jpg", "second.jpg"] {
        let ran = check(dir.path(), photo, &[&decide[..], &["--json", "-"]].concat());
        let result = json(&ran);
        assert_eq!(result["verdict"], "ready", "{photo}: {}", ran.out);
        assert_eq!(
            codes(&result)[..2],
            ["all-good", "decided-by-person"],
            "{photo}"
        );
        let decided = result["decided"].as_array().unwrap();
        assert_eq!(decided.len(), 2);
        assert!(decided.iter().all(|d| d["by"] == "person"));
        assert_eq!(hole(&result)["kind"], "answered");
        assert_eq!(hole(&result)["state"], "good");
        // The second photo is told to be another one than the answers were given for.
        assert_eq!(
            codes(&result).contains(&"answers-of-other-photo"),
            photo == "second.jpg"
        );
    }
    let ran = check(
        dir.path(),
        "first.jpg",
        &[&decide[..], &["--report", "page.html"]].concat(),
    );
    assert_eq!(ran.code, 0, "{}", ran.out);
    let first: Vec<&str> = ran.out.lines().take(4).collect();
    assert!(
        first.join(" ").contains("rests on 2 answers by a person"),
        "{first:?}"
    );
    let page = fs::read_to_string(dir.path().join("page.html")).unwrap();
    let head = page.split("</header>").next().unwrap();
    assert!(head.contains("rests on 2 answers by a person"));
    // Without the file nothing of it is left.
    assert_eq!(check(dir.path(), "first.jpg", &[]).code, 3);
}

#[test]
fn a_mark_somewhere_in_its_ink_is_no_surer_than_that() {
    let dir = tempfile::tempdir().unwrap();
    let file = answered(dir.path(), "\"not a mark\"", "\"mark\"");
    let ran = check(
        dir.path(),
        "first.jpg",
        &["--decide", file.to_str().unwrap(), "--json", "-"],
    );
    let result = json(&ran);
    let size = result["decided"][0]["size"]
        .as_f64()
        .unwrap()
        .min(result["decided"][1]["size"].as_f64().unwrap());
    let u = hole(&result)["uncertainty"].as_f64().unwrap();
    assert!(u >= size / 2.0, "U {u} mm of ink {size} mm across");
    assert_eq!(hole(&result)["kind"], "answered");
    assert_ne!(hole(&result)["state"], "missing");
}

#[test]
fn open_and_half_answered_files_make_nothing_ready() {
    let dir = tempfile::tempdir().unwrap();
    let file = answered(dir.path(), "\"?\"", &by_rule());
    let ran = check(
        dir.path(),
        "first.jpg",
        &[
            "--decide",
            file.to_str().unwrap(),
            "--json",
            "-",
            "--decide-template",
            "next.toml",
        ],
    );
    let result = json(&ran);
    assert_eq!(result["verdict"], "cannot-tell");
    assert!(codes(&result).contains(&"unsure-ink"));
    assert_eq!(hole(&result)["state"], "good");
    // The answer given is in the next file, and the open place keeps its name.
    let next = fs::read_to_string(dir.path().join("next.toml")).unwrap();
    let open = fs::read_to_string(dir.path().join("open.toml")).unwrap();
    assert!(next.contains("answer = \"mark\"\nrule_x"), "{next}");
    for name in ["name = \"U1\"", "name = \"U2\""] {
        assert!(next.contains(name) && open.contains(name), "{next}");
    }
    // "Not a mark" at a planned place leaves the hole without one.
    let file = answered(dir.path(), "\"not a mark\"", "\"not a mark\"");
    let ran = check(
        dir.path(),
        "first.jpg",
        &["--decide", file.to_str().unwrap(), "--json", "-"],
    );
    assert_eq!(json(&ran)["verdict"], "not-ready");
    assert_eq!(hole(&json(&ran))["state"], "missing");
}

#[test]
fn what_was_named_stays_as_it_was_named() {
    let dir = tempfile::tempdir().unwrap();
    let file = answered(dir.path(), "\"not a mark\"", &by_rule());
    // On the other piece a cross stands where the answer says that nothing is: of like size, and unsure too, among ticks.
    let decide = ["--decide", file.to_str().unwrap(), "--json", "-"];
    let ran = check(dir.path(), "other.jpg", &decide);
    let result = json(&ran);
    assert_eq!(result["verdict"], "cannot-tell", "{}", ran.out);
    assert!(
        codes(&result).contains(&"answer-not-honoured"),
        "{:?}",
        codes(&result)
    );
    assert!(ran.out.contains("it may be other ink"), "{}", ran.out);
    // A dot that was read as one is live, whatever the file says of its place.
    let ran = check(dir.path(), "dot.jpg", &decide);
    let result = json(&ran);
    assert_eq!(result["verdict"], "not-ready", "{}", ran.out);
    assert!(
        codes(&result).contains(&"stray-mark"),
        "{:?}",
        codes(&result)
    );
    let told = ran
        .out
        .contains("the ink at its place was read as a mark this time");
    assert!(told, "{}", ran.out);
}

#[test]
fn answers_that_cannot_hold_are_told_and_change_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let base = fs::read_to_string(answered(dir.path(), "\"not a mark\"", &by_rule())).unwrap();
    let run_with = |text: &str| {
        let file = dir.path().join("changed.toml");
        fs::write(&file, text).unwrap();
        let ran = check(
            dir.path(),
            "first.jpg",
            &["--decide", "changed.toml", "--json", "-"],
        );
        assert_eq!(ran.err, "", "{text}");
        json(&ran)
    };
    // A place by rule far from the ink.
    let (_, plan) = coupon();
    let at = plan.holes.iter().find(|h| h.name == HOLE).unwrap().at;
    let far = base.replace(
        &format!("rule_x = {:.2}", at.x),
        &format!("rule_x = {:.2}", at.x + 6.0),
    );
    let result = run_with(&far);
    assert_eq!(result["verdict"], "cannot-tell");
    assert!(
        codes(&result).contains(&"answer-not-honoured"),
        "{:?}",
        codes(&result)
    );
    assert_eq!(hole(&result)["state"], "unseen");
    // Ink that is of another size now.
    let sized: String = base
        .lines()
        .map(|l| {
            if l.starts_with("size = ") {
                "size = 0.3\n".to_owned()
            } else {
                format!("{l}\n")
            }
        })
        .collect();
    let result = run_with(&sized);
    assert_eq!(result["verdict"], "cannot-tell");
    assert!(codes(&result).contains(&"answer-not-honoured"));
    assert!(result["decided"].as_array().unwrap().is_empty());
    // Two answers against each other.
    let twice = format!(
        "{base}{}",
        base.split_once("[[place]]")
            .map(|(_, r)| format!("\n[[place]]{r}"))
            .unwrap()
            .replace("\"U1\"", "\"X1\"")
            .replace("\"U2\"", "\"X2\"")
            .replace("\"not a mark\"", "\"mark\"")
    );
    let result = run_with(&twice);
    assert_ne!(result["verdict"], "ready");
    assert!(
        codes(&result).contains(&"answers-contradict"),
        "{:?}",
        codes(&result)
    );
    assert!(codes(&result).contains(&"unsure-ink"));
    // A place with nothing there.
    let elsewhere: String = base
        .lines()
        .map(|l| {
            if l.starts_with("y = ") {
                "y = 60\n".to_owned()
            } else {
                format!("{l}\n")
            }
        })
        .collect();
    let result = run_with(&elsewhere);
    assert_eq!(result["verdict"], "cannot-tell");
    assert!(
        codes(&result).contains(&"answer-unused"),
        "{:?}",
        codes(&result)
    );
}

#[test]
fn a_wrong_file_is_refused_with_its_line_and_key() {
    let dir = tempfile::tempdir().unwrap();
    let base = fs::read_to_string(answered(dir.path(), "\"not a mark\"", &by_rule())).unwrap();
    let refused = |from: &str, to: &str| {
        assert!(base.contains(from), "{from}: {base}");
        fs::write(dir.path().join("bad.toml"), base.replacen(from, to, 1)).unwrap();
        let ran = check(dir.path(), "first.jpg", &["--decide", "bad.toml"]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{to}");
        assert!(ran.err.starts_with("error: bad.toml:"), "{}", ran.err);
        assert!(ran.err.contains("expected"), "{}", ran.err);
        assert!(ran.err.contains("\nhint: "), "{}", ran.err);
        ran.err
    };
    let line = |needle: &str| 1 + base.lines().position(|l| l == needle).unwrap();
    let at = |needle: &str| format!("bad.toml:{}:", line(needle));
    let told = refused("\nanswer = \"not a mark\"", "\nanswer = \"no\"");
    assert!(
        told.contains("answer: ") && told.contains("\"not a mark\""),
        "{told}"
    );
    assert!(told.contains(&at("answer = \"not a mark\"")), "{told}");
    let told = refused("size = ", "syze = ");
    assert!(told.contains("syze"), "{told}");
    let told = refused("name = \"U2\"", "name = \"U1\"");
    assert!(
        told.contains(&at("name = \"U2\"")) && told.contains("second time"),
        "{told}"
    );
    let told = refused("\nrule_u = 0.3", "\nrule_u = 0.01");
    assert!(
        told.contains(&at("rule_u = 0.3")) && told.contains("rule_u"),
        "{told}"
    );
    let told = refused("\nrule_y = ", "\n# ");
    assert!(told.contains("rule_y"), "{told}");
    let told = refused("punchready.answers/1", "punchready.answers/9");
    assert!(told.contains("format: "), "{told}");
    let told = refused("plan = \"", "plan = \"Another ");
    assert!(
        told.contains("plan: ") && told.contains("Another"),
        "{told}"
    );
    let told = refused("\nu = ", "\nu = -");
    assert!(told.contains("above 0"), "{told}");
    let ran = check(dir.path(), "first.jpg", &["--decide", "none.toml"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("none.toml") && ran.err.contains("--decide-template"),
        "{}",
        ran.err
    );
    let ran = check(dir.path(), "first.jpg", &["--decide-template", "x.html"]);
    assert!(ran.code == 2 && ran.err.contains(".toml"), "{}", ran.err);
    // The file that is read is not written over.
    let ran = check(
        dir.path(),
        "first.jpg",
        &[
            "--decide",
            "answers.toml",
            "--decide-template",
            "answers.toml",
        ],
    );
    assert!(
        ran.code == 2 && ran.err.contains("answers.toml"),
        "{}",
        ran.err
    );
}
