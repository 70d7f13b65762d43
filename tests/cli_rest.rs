//! `cards`, `plan check`, help and version.

mod cli_support;

use std::fs;
use std::path::Path;

use cli_support::{names, program, run};
use serde_json::Value;

#[test]
fn cards_as_a_page() {
    let dir = tempfile::tempdir().unwrap();
    let ran = run(dir.path(), &["cards"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(names(dir.path()), ["punchready-cards-square-a4.pdf"]);
    assert!(
        ran.out.contains("punchready-cards-square-a4.pdf: 12 cards"),
        "{}",
        ran.out
    );
    assert!(
        ran.out.contains("100 %") && ran.out.contains("--bars"),
        "{}",
        ran.out
    );
    let pdf = fs::read(dir.path().join("punchready-cards-square-a4.pdf")).unwrap();
    assert!(pdf.starts_with(b"%PDF-"));

    // A strip's number means a page of strips.
    let args = [
        "cards",
        "--numbers",
        "41-43,50",
        "--paper",
        "letter",
        "--out",
        "strips.pdf",
    ];
    let ran = run(dir.path(), &args);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("strips.pdf: 4 cards"), "{}", ran.out);
}

#[test]
fn cards_as_pictures() {
    let dir = tempfile::tempdir().unwrap();
    let args = [
        "cards",
        "--png",
        "cards",
        "--numbers",
        "7,45",
        "--px-per-mm",
        "5",
    ];
    let ran = run(dir.path(), &args);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(names(dir.path()), ["cards"], "a PDF nobody asked for");
    let folder = dir.path().join("cards");
    assert_eq!(names(&folder), ["card-07.png", "card-45.png", "cards.json"]);
    let list: Value =
        serde_json::from_slice(&fs::read(folder.join("cards.json")).unwrap()).unwrap();
    for card in list.as_array().unwrap() {
        let file = folder.join(card["file"].as_str().unwrap());
        let (width, height) = image::image_dimensions(file).unwrap();
        let side = |i: usize| card["outer_size_mm"][i].as_f64().unwrap() * 5.0;
        assert_eq!([f64::from(width), f64::from(height)], [side(0), side(1)]);
    }
    assert_eq!(list[1]["number"], 45);
}

#[test]
fn cards_that_do_not_exist() {
    let dir = tempfile::tempdir().unwrap();
    let cases: [(&[&str], &str); 5] = [
        (&["--numbers", "65"], "no card 65"),
        (&["--numbers", "5-1"], "backwards"),
        (&["--numbers", "1,41"], "one shape"),
        (
            &["--shape", "strip", "--numbers", "1"],
            "strips are 41 to 64",
        ),
        (&["--px-per-mm", "9"], "--png"),
    ];
    for (more, expected) in cases {
        let ran = run(dir.path(), &[&["cards"], more].concat());
        assert_eq!(ran.code, 2, "{more:?}");
        assert!(
            ran.err.starts_with("error: ") && ran.err.contains(expected),
            "{more:?}: {}",
            ran.err
        );
    }
    assert!(names(dir.path()).is_empty());
}

#[test]
fn a_plan_in_words() {
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/hatch-cover.toml");
    let ran = run(Path::new("."), &["plan", "check", plan.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    for part in [
        "Hatch cover",
        "12 in (304.8 mm) wide",
        "row A: 14 holes along the bottom edge",
        "hole P1",
        "44 holes in all",
    ] {
        assert!(ran.out.contains(part), "{part}: {}", ran.out);
    }
    for line in ran.out.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn a_plan_with_mistakes_names_the_line() {
    let dir = tempfile::tempdir().unwrap();
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/hatch-cover.toml");
    let text = fs::read_to_string(plan).unwrap();
    let line = 1 + text.lines().position(|l| l.starts_with("height")).unwrap();
    fs::write(dir.path().join("p.toml"), text.replace("8 1/2", "8 1/3")).unwrap();
    let ran = run(dir.path(), &["plan", "check", "p.toml"]);
    assert_eq!((ran.code, ran.out.as_str()), (2, ""));
    assert!(
        ran.err.starts_with(&format!("error: p.toml:{line}:")),
        "{}",
        ran.err
    );
    assert!(ran.err.contains("height"), "{}", ran.err);
    assert_eq!(run(dir.path(), &["plan", "check", "nowhere.toml"]).code, 2);
}

/// Before any photo: photos, cards and U at each hole, which grows with the camera's height and without the bars.
#[test]
fn what_a_plan_will_take_is_foreseen() {
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/keel-strip.toml");
    let foreseen = |height: &str| {
        let args = [
            "plan",
            "coverage",
            plan.to_str().unwrap(),
            "--holes",
            "--height",
            height,
        ];
        let ran = run(Path::new("."), &args);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(
            ran.out.lines().all(|l| l.chars().count() <= 80),
            "{}",
            ran.out
        );
        let holes: Vec<(String, f64, f64)> = ran
            .out
            .lines()
            .filter_map(|l| match l.split_whitespace().collect::<Vec<_>>()[..] {
                [name, u, unsaid] => Some((name.to_owned(), u.parse().ok()?, unsaid.parse().ok()?)),
                _ => None,
            })
            .collect();
        (ran.out, holes)
    };
    let (text, near) = foreseen("300mm");
    assert!(
        text.contains(" photos from about 300 mm above the sheet"),
        "{text}"
    );
    assert!(
        text.contains("  photo 2 ") && text.contains("  card 41 "),
        "{text}"
    );
    assert!(text.contains("Measure the bars"), "{text}");
    let (one, far) = foreseen("520mm");
    assert!(one.contains("One photo from about 520 mm"), "{one}");
    assert_eq!(
        near.len(),
        punchready::plan::read(&plan).unwrap().holes.len()
    );
    assert_eq!(near.len(), far.len());
    for ((name, u, unsaid), (_, higher, _)) in near.iter().zip(&far) {
        assert!(*u > 0.0 && unsaid >= u, "{name}: {u} {unsaid}");
        assert!(higher >= u, "{name}: {u} from near, {higher} from far");
    }
}

/// The help texts as they were agreed on. After a change that is meant, write them anew with
/// `PUNCHREADY_BLESS=1 cargo test --test cli_rest help` and read the difference.
#[test]
fn help_is_as_agreed() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cli_help");
    let pages: [(&str, &[&str]); 9] = [
        ("punchready", &["--help"]),
        ("check-short", &["check", "-h"]),
        ("check", &["check", "--help"]),
        ("cards", &["cards", "--help"]),
        ("lens", &["lens", "--help"]),
        ("demo", &["demo", "--help"]),
        ("grade", &["grade", "--help"]),
        ("page", &["page", "--help"]),
        ("plan-check", &["plan", "check", "--help"]),
    ];
    for (name, args) in pages {
        let ran = run(Path::new("."), args);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}");
        // Blanks at line ends are the parser's; editors take them away.
        let lines: Vec<&str> = ran.out.lines().map(str::trim_end).collect();
        let now = lines.join("\n").replace("punchready.exe", "punchready") + "\n";
        let path = folder.join(format!("{name}.txt"));
        if std::env::var_os("PUNCHREADY_BLESS").is_some() {
            fs::write(&path, &now).unwrap();
        }
        let agreed = fs::read_to_string(&path).unwrap().replace("\r\n", "\n");
        assert_eq!(
            now,
            agreed,
            "help of {args:?} differs from {}",
            path.display()
        );
    }
}

#[test]
fn version_and_no_command() {
    let ran = run(Path::new("."), &["--version"]);
    assert_eq!(ran.code, 0);
    assert_eq!(
        ran.out,
        format!("punchready {}\n", env!("CARGO_PKG_VERSION"))
    );
    let output = program().output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("Usage: punchready <COMMAND>"), "{said}");
}

/// Short help fits one screen, 80 columns by 40 lines.
#[test]
fn short_help_is_one_screen() {
    const SCREEN: usize = 40;
    let commands: [&[&str]; 16] = [
        &[],
        &["check"],
        &["cards"],
        &["lens"],
        &["demo"],
        &["grade"],
        &["page"],
        &["plan"],
        &["plan", "new"],
        &["plan", "check"],
        &["plan", "coverage"],
        &["plan", "stations"],
        &["plan", "sheet"],
        &["plan", "import"],
        &["completions"],
        &["man"],
    ];
    for command in commands {
        let ran = run(Path::new("."), &[command, &["-h"]].concat());
        assert_eq!(ran.code, 0, "{command:?}");
        let lines = ran.out.lines().count();
        assert!(lines <= SCREEN, "{command:?}: {lines} lines\n{}", ran.out);
    }
}

#[test]
fn completions_and_man_pages_know_the_commands() {
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let ran = run(Path::new("."), &["completions", shell]);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{shell}");
        for word in ["check", "--card-below", "coverage"] {
            let word = if shell == "fish" {
                word.trim_start_matches('-')
            } else {
                word
            };
            assert!(ran.out.contains(word), "{shell}: {word}");
        }
    }
    assert_eq!(run(Path::new("."), &["completions", "dos"]).code, 2);
    let ran = run(Path::new("."), &["man"]);
    assert!(ran.out.contains(".TH punchready 1"), "{}", &ran.out[..200]);
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(run(dir.path(), &["man", "--out", "man"]).code, 0);
    let pages = names(&dir.path().join("man"));
    for page in [
        "punchready.1",
        "punchready-check.1",
        "punchready-plan-import.1",
    ] {
        assert!(pages.iter().any(|p| p == page), "{page}: {pages:?}");
    }
    let page = fs::read_to_string(dir.path().join("man/punchready-check.1")).unwrap();
    assert!(
        page.contains("cannot tell") && page.contains("\\-\\-bars"),
        "{page}"
    );
}

/// The usual slips with files are named, with the command as it should be.
#[test]
fn swapped_files_and_folders_are_told() {
    let dir = tempfile::tempdir().unwrap();
    let fixtures = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures");
    for name in ["hatch-cover.toml", "hatch-cover.jpg"] {
        fs::copy(fixtures.join(name), dir.path().join(name)).unwrap();
    }
    let swapped = run(
        dir.path(),
        &["check", "hatch-cover.toml", "--plan", "hatch-cover.jpg"],
    );
    assert_eq!(swapped.code, 2);
    assert!(
        swapped.err.contains("swapped")
            && swapped
                .err
                .contains("punchready check hatch-cover.jpg --plan hatch-cover.toml"),
        "{}",
        swapped.err
    );
    let folder = run(dir.path(), &["check", ".", "--plan", "hatch-cover.toml"]);
    assert_eq!(folder.code, 2);
    assert!(
        folder.err.contains("this is a folder") && folder.err.contains("*.jpg"),
        "{}",
        folder.err
    );
    // A slip of TOML: the line as it is, and as it should be.
    let text = fs::read_to_string(dir.path().join("hatch-cover.toml")).unwrap();
    let slip = text.replacen("\"8 1/2\"", "8 1/2", 1);
    assert_ne!(slip, text);
    fs::write(dir.path().join("slip.toml"), slip).unwrap();
    let ran = run(dir.path(), &["plan", "check", "slip.toml"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("expected height = \"8 1/2\""),
        "{}",
        ran.err
    );
    // Inches taken for millimetres.
    let other = text.replacen("units = \"in\"", "units = \"mm\"", 1);
    fs::write(dir.path().join("mm.toml"), other).unwrap();
    let ran = run(dir.path(), &["plan", "check", "mm.toml"]);
    assert!(ran.err.contains("write units = \"in\""), "{}", ran.err);
}

/// Progress is for a terminal: nothing of it goes into a file.
#[test]
fn no_progress_where_there_is_no_terminal() {
    let dir = tempfile::tempdir().unwrap();
    let ran = run(dir.path(), &["demo", "d"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(
        !ran.err.contains('\u{1b}') && !ran.err.contains("drawing"),
        "{}",
        ran.err
    );
    // `script` (util-linux) gives it one.
    let program = env!("CARGO_BIN_EXE_punchready");
    let seen = std::process::Command::new("script")
        .args(["-qec", &format!("{program} demo e"), "/dev/null"])
        .current_dir(dir.path())
        .output();
    match seen {
        Ok(seen) => {
            let text = String::from_utf8_lossy(&seen.stdout).into_owned();
            assert!(text.contains("drawing the photo"), "{text}");
        }
        Err(_) => println!("skipped: no `script` here to give a terminal"),
    }
}
