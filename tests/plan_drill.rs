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
        let Some(drill) = named(name) else {
            assert!(["A", "E", "P", "W"].contains(&name), "{name} is not known");
            continue;
        };
        let expected: f64 = row["mm"].as_str().unwrap().parse().unwrap();
        assert!(
            (drill.diameter_mm - expected).abs() < 1e-9,
            "{name}: {}",
            drill.diameter_mm
        );
        checked += 1;
    }
    assert_eq!(checked, 29);
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
