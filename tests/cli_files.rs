//! Files that are no ordinary ones, files that would be lost, and other strangeness at the borders of the program.
#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use cli_support::{coupon, names, program, run};
use image::{GrayImage, Luma};

/// A run that waits for a pipe waits for ever; one that refuses it takes a fraction of a second.
const SOON: Duration = Duration::from_secs(60);

/// Runs the program; one that does not end is ended, and is a failure.
fn ends(dir: &Path, args: &[&str], threads: Option<&str>) -> (i32, String) {
    let mut command = program();
    command
        .current_dir(dir)
        .args(args)
        .stdout(Stdio::null())
        .stderr(Stdio::from(fs::File::create(dir.join("said")).unwrap()));
    if let Some(n) = threads {
        command.env("RAYON_NUM_THREADS", n);
    }
    let mut child = command.spawn().unwrap();
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            let said = fs::read_to_string(dir.join("said")).unwrap();
            return (status.code().unwrap_or(-1), said);
        }
        if start.elapsed() > SOON {
            child.kill().unwrap();
            panic!("{args:?} did not end");
        }
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// A photo without anything on it.
fn blank(path: &Path) {
    GrayImage::from_pixel(900, 700, Luma([180]))
        .save(path)
        .unwrap();
}

#[test]
fn pipes_and_devices_are_no_files() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let made = Command::new("mkfifo").arg(dir.join("pipe")).status();
    if !made.is_ok_and(|s| s.success()) {
        eprintln!("SKIPPED: no pipe can be made here");
        return;
    }
    for name in ["pipe.toml", "pipe.csv", "pipe.dxf", "pipe.jpg"] {
        std::os::unix::fs::symlink("pipe", dir.join(name)).unwrap();
    }
    std::os::unix::fs::symlink("loop.jpg", dir.join("loop.jpg")).unwrap();
    std::os::unix::fs::symlink("/dev/zero", dir.join("zero.toml")).unwrap();
    blank(&dir.join("a.png"));
    let plan = coupon().0;
    let plan = plan.to_str().unwrap();
    assert_eq!(run(dir, &["grade", "--new-rubric", "r.toml"]).code, 0);
    let cases: [&[&str]; 14] = [
        &["plan", "check", "pipe.toml"],
        &["plan", "check", "zero.toml"],
        &[
            "plan", "import", "pipe.csv", "--units", "in", "--out", "x.toml",
        ],
        &["plan", "import", "pipe.dxf", "--out", "x.toml"],
        &["check", "pipe.jpg", "--plan", plan],
        &["check", "loop.jpg", "--plan", plan],
        &["check", ".", "--plan", plan],
        &["check", "a.png", "--plan", "pipe.toml"],
        &["check", "a.png", "--plan", plan, "--lens", "pipe.toml"],
        &["check", "a.png", "--plan", plan, "--lens", "/dev/zero"],
        &["check", "a.png", "--plan", plan, "--decide", "zero.toml"],
        &["grade", "a.png", "--plan", plan, "--rubric", "pipe.toml"],
        &[
            "grade", "a.png", "--plan", plan, "--rubric", "r.toml", "--whose", "pipe.csv",
        ],
        &["grade", "a.png", "--plan", plan, "--rubric", "zero.toml"],
    ];
    for args in cases {
        let (code, said) = ends(dir, args, None);
        assert_eq!(code, 2, "{args:?}: {said}");
        assert!(said.starts_with("error: "), "{args:?}: {said}");
    }
    // A pipe among the photos of a class costs that piece its grade, and nobody else.
    let args = ["grade", "pipe.jpg", "--plan", plan, "--rubric", "r.toml"];
    let (code, said) = ends(dir, &args, None);
    assert_eq!(code, 3, "{said}");
    assert!(said.contains("pipe or a device"), "{said}");
}

#[test]
fn more_threads_than_cores_are_not_started() {
    let dir = tempfile::tempdir().unwrap();
    blank(&dir.path().join("a.png"));
    let plan = coupon().0;
    let args = ["check", "a.png", "--plan", plan.to_str().unwrap()];
    let (code, said) = ends(dir.path(), &args, Some("100000"));
    assert_eq!(code, 3, "{said}");
}

#[test]
fn files_of_another_kind_are_not_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    blank(&dir.join("a.png"));
    let plan = coupon().0;
    let plan = plan.to_str().unwrap();
    let cases: [(&str, &[&str]); 9] = [
        (
            "notes.csv",
            &["plan", "stations", plan, "--csv", "notes.csv"],
        ),
        ("notes.csv", &["plan", "export", plan, "--out", "notes.csv"]),
        ("part.dxf", &["plan", "export", plan, "--out", "part.dxf"]),
        ("book.pdf", &["plan", "sheet", plan, "--out", "book.pdf"]),
        ("logo.svg", &["plan", "sheet", plan, "--out", "logo.svg"]),
        ("book.pdf", &["cards", "--out", "book.pdf"]),
        (
            "data.json",
            &["check", "a.png", "--plan", plan, "--json", "data.json"],
        ),
        (
            "my.png",
            &["check", "a.png", "--plan", plan, "--picture", "my.png"],
        ),
        (
            "my.jpg",
            &["check", "a.png", "--plan", plan, "--picture", "my.jpg"],
        ),
    ];
    for (file, args) in cases {
        let path = dir.join(file);
        if file == "my.png" {
            blank(&path);
        } else {
            fs::write(&path, "somebody's own").unwrap();
        }
        let before = fs::read(&path).unwrap();
        let ran = run(dir, args);
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.err);
        assert!(ran.err.contains("--force"), "{args:?}: {}", ran.err);
        assert!(fs::read(&path).unwrap() == before, "{args:?} overwrote it");
        // Asked for, it is overwritten; and what is this program's own is, unasked.
        let forced = run(dir, &[args, &["--force"]].concat());
        assert!(
            forced.code == 0 || forced.code == 3,
            "{args:?}: {}",
            forced.err
        );
        let own = run(dir, args);
        assert_eq!(own.code, forced.code, "{args:?}: {}", own.err);
        fs::remove_file(&path).unwrap();
    }
    assert_eq!(names(dir), ["a.png"], "something was left");
}

#[test]
fn answers_are_never_overwritten() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    blank(&dir.join("a.png"));
    let plan = coupon().0;
    let args = [
        "check",
        "a.png",
        "--plan",
        plan.to_str().unwrap(),
        "--decide-template",
        "t.toml",
    ];
    assert_eq!(run(dir, &args).code, 3);
    // Nothing in it is answered: it is written anew.
    let empty = fs::read_to_string(dir.join("t.toml")).unwrap();
    assert_eq!(run(dir, &args).code, 3);
    let place = "\n[[place]]\nname = \"U1\"\nx = 10\ny = 10\nu = 0.5\nsize = 1\nwhy = \"too faint\"\nanswer = \"mark\"\n";
    for (filled, why) in [
        (format!("{empty}{place}"), "has answers in it"),
        (
            format!("{empty}[U1\nanswer = \"mark\"\n"),
            "cannot be read, and may have answers",
        ),
    ] {
        fs::write(dir.join("t.toml"), &filled).unwrap();
        let ran = run(dir, &args);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains(why), "{}", ran.err);
        assert_eq!(fs::read_to_string(dir.join("t.toml")).unwrap(), filled);
    }
}

/// What is drawn on must be what was measured.
#[test]
fn a_photo_that_changes_meanwhile_is_not_drawn_on() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let photo = dir.join("a.png");
    blank(&photo);
    let plan = coupon().0;
    let args = [
        "check",
        "a.png",
        "--plan",
        plan.to_str().unwrap(),
        "--picture",
        "drawn.png",
    ];
    let done = AtomicBool::new(false);
    let ran = std::thread::scope(|scope| {
        scope.spawn(|| {
            // Bytes behind a picture's end leave it as it is to a reader.
            while !done.load(Ordering::Relaxed) {
                let mut file = fs::File::options().append(true).open(&photo).unwrap();
                file.write_all(b"\0").unwrap();
            }
        });
        let ran = run(dir, &args);
        done.store(true, Ordering::Relaxed);
        ran
    });
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(
        ran.err.contains("not the photo that was measured"),
        "{}",
        ran.err
    );
    assert_eq!(names(dir), ["a.png"]);
}

#[test]
fn names_steer_no_terminal() {
    let dir = tempfile::tempdir().unwrap();
    let plan = coupon().0;
    let plan = plan.to_str().unwrap();
    for args in [
        ["plan", "sheet", plan, "--out", "a\u{1b}[2J.pdf"],
        ["plan", "export", plan, "--out", "a\u{1b}[2J.csv"],
    ] {
        let ran = run(dir.path(), &args);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(!ran.out.contains('\u{1b}'), "{:?}", ran.out);
    }
    let ran = run(dir.path(), &["cards", "--out", "b\u{1b}[2J.pdf"]);
    assert!(!ran.out.contains('\u{1b}'), "{:?}", ran.out);
}
