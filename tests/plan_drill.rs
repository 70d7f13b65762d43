//! Drills by name and for rivets, against the table gathered for this project.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::{Path, PathBuf};

use punchready::plan::drill::{RIVETS, advice, for_rivet, named};
use punchready::plan::rules::Status;
use punchready::plan::{Units, parse};
use serde_json::Value;

/// `drill-sizes.json` of the reference data; it names its sources.
fn reference() -> Option<Value> {
    let folder = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let text = std::fs::read_to_string(folder.join("drill-sizes.json"));
    if text.is_err() {
        println!("SKIPPED: no reference data in {}", folder.display());
    }
    Some(serde_json::from_str(&text.ok()?).unwrap())
}

/// "1/8" or "0.1285" in inches, as mm.
fn mm(text: &str) -> f64 {
    let inches = match text.split_once('/') {
        Some((a, b)) => a.parse::<f64>().unwrap() / b.parse::<f64>().unwrap(),
        None => text.parse().unwrap(),
    };
    inches * 25.4
}

#[test]
fn every_drill_of_ours_is_as_in_the_reference() {
    let Some(reference) = reference() else { return };
    let mut checked = 0;
    for row in reference["drills"].as_array().unwrap() {
        let name = row["drill"].as_str().unwrap();
        let drill = named(name).unwrap_or_else(|| panic!("{name} is not known"));
        let expected: f64 = row["mm"].as_str().unwrap().parse().unwrap();
        assert!(
            (drill.diameter_mm - expected).abs() < 1e-9,
            "{name}: {}",
            drill.diameter_mm
        );
        checked += 1;
    }
    assert_eq!(checked, 33);
}

#[test]
fn every_rivet_has_the_drills_of_the_reference() {
    let Some(reference) = reference() else { return };
    let rows = reference["rivets"].as_array().unwrap();
    assert_eq!(rows.len(), RIVETS.len());
    for row in rows {
        let rivet = row["rivet"].as_str().unwrap();
        let ours = for_rivet(mm(rivet)).unwrap();
        let theirs: Vec<&str> = row["final"]
            .as_array()
            .unwrap()
            .iter()
            .map(|d| d.as_str().unwrap())
            .collect();
        assert_eq!(ours.drills, theirs, "{rivet}");
        // What is only remembered is not told as read.
        let verified = row["status"].as_str().unwrap() == "verified";
        assert_eq!(ours.status != Status::Memory, verified, "{rivet}");
        for (drill, size) in theirs.iter().zip(row["final_inch"].as_array().unwrap()) {
            let size = mm(size.as_str().unwrap());
            assert!(
                (named(drill).unwrap().diameter_mm - size).abs() < 1e-9,
                "{drill}"
            );
        }
    }
}

/// Blind rivets, TM 10-5410-221-14/1 table 4-3: each drill lies within the limits of its own hole.
#[test]
fn blind_rivet_drills_lie_within_their_hole() {
    let Some(reference) = reference() else { return };
    for row in reference["blind_rivet_hole_limits"].as_array().unwrap() {
        let text = |key: &str| row[key].as_str().unwrap();
        let drill = named(text("drill")).unwrap().diameter_mm;
        // 1e-9: binary rounding of a drill that is the limit itself.
        let [low, high] = [
            mm(text("hole_min_in")) - 1e-9,
            mm(text("hole_max_in")) + 1e-9,
        ];
        assert!((low..=high).contains(&drill), "{}: {drill}", text("rivet"));
    }
}

#[test]
fn a_drill_is_held_against_its_rivet() {
    let eighth = 25.4 / 8.0;
    let said = |name: &str| advice(eighth, &named(name).unwrap(), Units::Inch);
    assert_eq!(said("#30"), None);
    assert!(
        said("#40")
            .unwrap()
            .contains("a pilot hole; the finished hole is drilled #30 (3.26 mm)")
    );
    assert!(
        said("#21")
            .unwrap()
            .contains("leaves the rivet more room than is usual")
    );
    assert_eq!(named("No. 30"), named("#30"));
    assert_eq!(named("30"), None);
}

#[test]
fn a_plan_names_its_drill() {
    let plan = |drill: &str| {
        let text = format!(
            "units = \"in\"\n[sheet]\nwidth = 6\nheight = 4\n[rivet]\ndiameter = \"1/8\"\ndrill = {drill}\n\
             [tolerance]\nposition = \"1/32\"\n[[hole]]\nname = \"P1\"\nx = 3\ny = 2\n"
        );
        parse(&text, Path::new("p.toml"))
    };
    let size = |drill: &str| plan(drill).unwrap().drill.unwrap().diameter_mm;
    assert!((size("\"#30\"") - 3.2639).abs() < 1e-9);
    assert!((size("\"3.3mm\"") - 3.3).abs() < 1e-9);
    assert!((size("\"1/8\"") - 3.175).abs() < 1e-9);
    for wrong in ["\"#77\"", "\"thirty\"", "-0.1", "30", "true"] {
        let told = plan(wrong).unwrap_err().to_string();
        assert!(told.contains("[rivet]: drill"), "{wrong}: {told}");
    }
}

/// The series has no gap and no step back: a slip in one figure would be one, nearly everywhere.
#[test]
fn numbers_and_letters_run_up() {
    let series: Vec<f64> = (1..=80)
        .rev()
        .map(|n| format!("#{n}"))
        .chain(('A'..='Z').map(String::from))
        .map(|name| named(&name).unwrap().diameter_mm)
        .collect();
    assert_eq!(series.len(), 106);
    for pair in series.windows(2) {
        let step = pair[1] - pair[0];
        assert!(step > 0.0 && step < 0.36, "{pair:?}");
    }
    // Both ends, and the steps of letters that are fractions: E is 1/4 in.
    assert!((series[0] - 0.3429).abs() < 1e-9 && (series[105] - 10.4902).abs() < 1e-9);
    assert!((named("e").unwrap().diameter_mm - 6.35).abs() < 1e-9);
    for none in ["#0", "#81", "#", "AA", "#3.5", "#-1", "\u{e9}"] {
        assert_eq!(named(none), None, "{none}");
    }
}

#[test]
fn metric_rivets_have_drills() {
    let drill = |mm: f64| {
        named("#30").map(|d| punchready::plan::drill::Drill {
            diameter_mm: mm,
            ..d
        })
    };
    let said = |rivet: f64, mm: f64| advice(rivet, &drill(mm).unwrap(), Units::Millimetre);
    assert_eq!(said(3.0, 3.1), None);
    // As one of 4 mm, and as one of 5/32 in.
    assert_eq!(said(4.0, 4.2), None);
    assert_eq!(said(4.0, 4.04), None);
    let pilot = said(5.0, 2.5).unwrap();
    assert!(
        pilot.contains("the finished hole is drilled 5.2 mm (remembered"),
        "{pilot}"
    );
}

/// Numbers that were meant in the other unit, and drills and rivets as the trade writes them.
#[test]
fn slips_of_the_unit_are_asked_about() {
    let plan = |units: &str, key: &str, value: &str| {
        let mm = units == "mm";
        let usual = |k: &str, m: &str, i: &str| {
            let v = if k == key {
                value
            } else if mm {
                m
            } else {
                i
            };
            v.to_owned()
        };
        let text = format!(
            "units = \"{units}\"\n[sheet]\nwidth = {}\nheight = {}\nthickness = {}\n[rivet]\ndiameter = {}\ndrill = {}\n\
             [tolerance]\nposition = {}\n[[hole]]\nname = \"P1\"\nx = \"20mm\"\ny = \"20mm\"\n",
            usual("width", "150", "6"),
            usual("height", "100", "4"),
            usual("thickness", "1", "0.04"),
            usual("diameter", "3.2", "0.125"),
            usual("drill", "3.3", "\"#30\""),
            usual("position", "0.8", "0.03125"),
        );
        parse(&text, Path::new("p.toml")).map_err(|e| e.to_string())
    };
    for units in ["mm", "in"] {
        plan(units, "", "").unwrap_or_else(|e| panic!("{e}"));
    }
    for (units, key, value) in [
        ("mm", "diameter", "0.125"),
        ("mm", "thickness", "0.04"),
        ("mm", "position", "0.03125"),
        ("mm", "drill", "0.1285"),
        ("mm", "drill", "30"),
        ("in", "width", "304"),
        ("in", "thickness", "1"),
        ("in", "diameter", "3.2"),
        ("in", "position", "0.8"),
        ("in", "drill", "3.3"),
        ("in", "drill", "30"),
    ] {
        let told = plan(units, key, value).unwrap_err();
        assert!(
            told.contains(&format!(": {key}: found")) && told.contains("Is the unit right?"),
            "{units} {key} {value}: {told}"
        );
        assert_eq!(told.contains("\"#30\""), value == "30", "{told}");
    }
    let small = "units = \"mm\"\n[sheet]\nwidth = 12\nheight = 8.5\n[tolerance]\nposition = 0.8\n[[hole]]\nname = \"P\"\nx = 5\ny = 5\n";
    let told = parse(small, Path::new("p.toml")).unwrap_err().to_string();
    assert!(
        told.contains("width: found 12.0 mm; expected at least 25.0 mm"),
        "{told}"
    );
    for (name, in_32nds) in [
        ("-4", 4.0),
        ("AD4", 4.0),
        ("AD5-6", 5.0),
        ("MS20470AD3-4", 3.0),
        ("an426ad6-8", 6.0),
    ] {
        let read = plan("mm", "diameter", &format!("\"{name}\"")).unwrap();
        assert!(
            (read.rivet_mm.unwrap() - in_32nds / 32.0 * 25.4).abs() < 1e-9,
            "{name}"
        );
    }
    for none in ["-1", "AD4-6-7", "XYZ4", "MS20470", "4-6"] {
        assert!(
            plan("in", "diameter", &format!("\"{none}\"")).is_err(),
            "{none}"
        );
    }
}
