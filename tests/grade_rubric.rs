//! The rubric: what it says, and how it says what is wrong with it.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grade_support;

use std::path::Path;

use grade_support::coupon;
use punchready::grade::rubric::{Banded, Benefit, Reach, Ringed, Rubric, STARTER, parse, read};

fn parsed(text: &str) -> Result<Rubric, String> {
    parse(text, Path::new("rubric.toml"), &coupon().1).map_err(|e| e.to_string())
}

#[test]
fn the_one_to_start_from_is_a_rubric() {
    let rubric = parsed(STARTER).unwrap();
    assert_eq!(rubric.weight(), 100.0, "points of the starter");
    assert_eq!(rubric.doubt.benefit, Benefit::Student);
    assert!(rubric.fail.ringed_stray);
    assert_eq!(rubric.by_eye.len(), 1);
    assert_eq!(rubric.rings.holes, Ringed::None);
    // Every table and key of it is explained.
    for line in STARTER.lines().filter(|l| l.starts_with("[fail]")) {
        assert!(STARTER.contains(line));
    }
    assert!(STARTER.lines().filter(|l| l.contains('#')).count() > 15);
}

#[test]
fn faults_name_file_line_and_key() {
    let line_of = |text: &str, what: &str| 1 + text.lines().position(|l| l.contains(what)).unwrap();
    let cases: [(&str, &str, &str, &str); 16] = [
        ("weight = 35", "wieght = 35", "wieght", "unknown field"),
        (
            "weight = 35",
            "weight = -1",
            "[position] weight",
            "0 to 1000",
        ),
        (
            "weight = 35",
            "weight = \"much\"",
            "[position] weight",
            "points",
        ),
        ("pass = 60 ", "pass = 160 ", "[result] pass", "0 to 100"),
        (
            "for = \"student\"",
            "for = \"teacher\"",
            "[doubt] for",
            "student",
        ),
        ("[presence]", "[presense]", "presense", "unknown field"),
        (
            "bands = [[0.5, 100], [1, 75], [2, 0]]",
            "bands = [[0.5, 50], [1, 75], [2, 0]]",
            "[position] bands",
            "falling percents",
        ),
        (
            "bands = [[0.5, 100], [1, 75], [2, 0]]",
            "bands = [[2, 100], [1, 75], [1, 0]]",
            "[position] bands",
            "growing distances",
        ),
        (
            "bands = [[0.5, 100], [1, 75], [2, 0]]",
            "bands = []",
            "[position] bands",
            "at least one",
        ),
        (
            "[\"0.6mm\", 100]",
            "[\"0.6\", 100]",
            "[lines.thin] bands",
            "without a unit",
        ),
        (
            "[\"0.6mm\", 100]",
            "[\"5/31in\", 100]",
            "[lines.thin] bands",
            "5/31",
        ),
        (
            "holes = \"none\"",
            "holes = \"some\"",
            "[rings] holes",
            "\"all\"",
        ),
        (
            "holes = \"none\"",
            "holes = [\"A1\", \"Z9\"]",
            "[rings] holes",
            "no hole \"Z9\"",
        ),
        (
            "missing_over = 4 ",
            "missing_over = -4 ",
            "[fail] missing_over",
            "expected",
        ),
        (
            "ringed_stray = true",
            "ringed_stray = \"yes\"",
            "[fail] ringed_stray",
            "boolean",
        ),
        ("[spacing]", "[spacing", "[spacing", "expected"),
    ];
    for (from, to, key, says) in cases {
        assert!(STARTER.contains(from), "{from}");
        let text = STARTER.replacen(from, to, 1);
        let told = parsed(&text).unwrap_err();
        let place = format!("rubric.toml:{}:", line_of(&text, to));
        assert!(told.starts_with(&place), "{to}: {told}, expected {place}");
        assert!(told.contains(key), "{to}: {told}, expected {key}");
        assert!(told.contains(says), "{to}: {told}, expected {says}");
    }
}

#[test]
fn rubrics_that_make_no_sense_are_refused() {
    let told = parsed("title = \"nothing\"").unwrap_err();
    assert!(
        told.contains("nothing has a weight") && told.contains("hint:"),
        "{told}"
    );
    let told = parsed("[rings]\nweight = 3\nholes = \"none\"").unwrap_err();
    assert!(
        told.starts_with("rubric.toml:1:") && told.contains("asks for no ring"),
        "{told}"
    );
    let told = read(Path::new("no/such.toml"), &coupon().1)
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("no/such.toml") && told.contains("--new-rubric"),
        "{told}"
    );
    let mut bare = coupon().1;
    bare.rivet_mm = None;
    let text = STARTER.replace("# edge_under", "edge_under");
    let told = parse(&text, Path::new("r.toml"), &bare)
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("[fail] edge_under") && told.contains("rivet"),
        "{told}"
    );
}

#[test]
fn bands_are_lines_or_steps() {
    let text = "[position]\nweight = 1\nbands = [[1, 100], [\"2mm\", 50], [\"4mm\", 0]]\n";
    let rubric = parsed(text).unwrap();
    assert_eq!(rubric.position.bands.0[1].up_to, Reach::Mm(2.0));
    let share = |b: &Banded, mm: f64| b.share(mm, 0.8);
    let lines = &rubric.position;
    let known = [
        (0.0, 1.0),
        (0.8, 1.0),
        (1.4, 0.75),
        (2.0, 0.5),
        (3.0, 0.25),
        (4.0, 0.0),
        (9.0, 0.0),
    ];
    for (mm, wanted) in known {
        assert!(
            (share(lines, mm) - wanted).abs() < 1e-12,
            "{mm}: {}",
            share(lines, mm)
        );
    }
    let steps = parsed(&format!("{text}steps = true\n")).unwrap().position;
    for (mm, wanted) in [(0.8, 1.0), (0.81, 0.5), (2.0, 0.5), (2.01, 0.0)] {
        assert_eq!(share(&steps, mm), wanted, "{mm}");
    }
}
