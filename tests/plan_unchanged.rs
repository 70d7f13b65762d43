//! No `plan` command changes the plan that it reads: not its bytes, and not by writing over it when told to.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cli_support;

use std::fs;
use std::path::Path;
use std::time::{Duration, SystemTime};

use cli_support::run;
use punchready::plan::starters;

/// As nobody's program would write it: line ends of two kinds, tabs, odd spaces, other spellings of one length, no
/// last line end; and with distances that every handbook finds fault with.
const ODD: &str = "# mine, do not touch\r\ntitle=\"Odd\"\r\nunits = \"mm\"\n[sheet]\n\twidth  = 200.000\r\nheight=\"2.0in\"  \n\
                   \n\n[rivet]\ndiameter = \"1/8in\"\n[tolerance]\nposition = 5e-1\n[[row]]\nname = \"A\"\nalong = \"bottom\"\n\
                   edge_distance = 3\nfirst = 2\npitch = 6.50\ncount = 30\n[[hole]]\nname = \"M\"\nx = 100\ny = 25\n\
                   drilled = true # as found";
/// In none that can be read.
const BROKEN: &str = "title = \"Broken\"\nunits = \"mm\"\n[sheet]\nwidth = 200\n  height = \n";

/// The commands that read a plan, and whether each may write a file beside it.
const COMMANDS: [(&[&str], Option<&str>); 11] = [
    (&["check"], None),
    (&["check", "--rules", "navy"], None),
    (&["check", "--strict"], None),
    (&["stations"], None),
    (&["stations", "--csv", "out.csv"], Some("out.csv")),
    (&["sheet", "--out", "out.pdf"], Some("out.pdf")),
    (&["sheet", "--out", "out.svg"], Some("out.svg")),
    (
        &["sheet", "--template", "--out", "out.pdf"],
        Some("out.pdf"),
    ),
    (&["sheet"], Some("plan-drawing.pdf")),
    (&["export", "--out", "out.dxf"], Some("out.dxf")),
    (&["export", "--out", "out.csv"], Some("out.csv")),
];

/// Names of the files in `dir`.
fn files(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[test]
fn a_plan_is_never_changed() {
    let known = starters::STARTERS.iter().map(|s| s.text).chain([ODD]);
    for (text, sound) in known.map(|t| (t, true)).chain([(BROKEN, false)]) {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path();
        let plan = dir.join("plan.toml");
        fs::write(&plan, text).unwrap();
        // An hour old: writing the same bytes anew would show.
        let then = SystemTime::now() - Duration::from_secs(3600);
        fs::File::options()
            .write(true)
            .open(&plan)
            .and_then(|f| f.set_modified(then))
            .unwrap();
        let written = fs::metadata(&plan).unwrap().modified().unwrap();
        let untouched = |what: &[&str]| {
            assert_eq!(fs::read(&plan).unwrap(), text.as_bytes(), "{what:?}");
            let now = fs::metadata(&plan).unwrap().modified().unwrap();
            assert_eq!(now, written, "{what:?}: written anew");
        };
        for (command, beside) in COMMANDS {
            let args = [&["plan", command[0], "plan.toml"], &command[1..]].concat();
            let ran = run(dir, &args);
            untouched(&args);
            assert_eq!(ran.code != 2, sound, "{args:?}: {}", ran.err);
            let mut expected = vec!["plan.toml".to_string()];
            expected.extend(beside.filter(|_| sound).map(str::to_string));
            expected.sort();
            assert_eq!(files(dir), expected, "{args:?}");
            for name in expected.iter().filter(|n| *n != "plan.toml") {
                fs::remove_file(dir.join(name)).unwrap();
            }
        }
        // Told to write over it, they refuse.
        for command in [
            &["stations", "plan.toml", "--csv", "plan.toml"][..],
            &["sheet", "plan.toml", "--out", "plan.toml"],
            &["export", "plan.toml", "--out", "plan.toml"],
            &["new", "row", "--out", "plan.toml"],
        ] {
            let args = [&["plan"], command].concat();
            let ran = run(dir, &args);
            assert_eq!(ran.code, 2, "{args:?}: {}", ran.out);
            untouched(&args);
            assert_eq!(files(dir), ["plan.toml"], "{args:?}");
        }
    }
}
