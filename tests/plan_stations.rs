//! Where to mark, and what rounding costs.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cli_support;
mod common;

use std::path::Path;

use cli_support::run;
use punchready::plan::stations::{Division, share, tables};
use punchready::plan::{Plan, Units, parse};

/// Rounding of a few operations on lengths below 400 mm.
const EXACT_MM: f64 = 1e-9;

fn take(body: &str) -> Plan {
    let text = format!(
        "units = \"in\"\n[sheet]\nwidth = 12\nheight = 8\n[tolerance]\nposition = \"1/32\"\n[[row]]\nname = \"A\"\n{body}"
    );
    parse(&text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// `fractions.json`, nearest_fraction; its error is exact less nearest, ours the other way.
#[test]
fn nearest_fractions_of_the_reference() {
    let Some(data) = common::reference_json("fractions.json") else {
        return;
    };
    let mut held = 0;
    for case in data["nearest_fraction"].as_array().unwrap() {
        let division = match case["denominator"].as_u64().unwrap() {
            64 => Division::Sixtyfourth,
            32 => Division::ThirtySecond,
            _ => continue,
        };
        let mm = case["inch"].as_str().unwrap().parse::<f64>().unwrap() * 25.4;
        let (text, error) = division.round(mm);
        assert_eq!(text, case["nearest"].as_str().unwrap(), "{case}");
        let expected = -case["error_mm"].as_f64().unwrap();
        assert!((error - expected).abs() < EXACT_MM, "{error} for {case}");
        held += 1;
    }
    assert_eq!(held, 12);
    // Every 64th is on the rule, to the last digit.
    for case in data["sixty_fourths"].as_array().unwrap() {
        let mm: f64 = case["mm"].as_str().unwrap().parse().unwrap();
        let (text, error) = Division::Sixtyfourth.round(mm);
        assert_eq!(text, case["fraction"].as_str().unwrap());
        assert!(error.abs() < EXACT_MM);
    }
}

/// Running, never step by step: the last error is that of one rounding, not of the sum.
#[test]
fn errors_do_not_add_up() {
    // 13 steps of 0.83 in: 1/64 nearest each time is 0.828125, and 13 of these are 0.024 in short.
    let plan =
        take("along = \"bottom\"\nedge_distance = 1\nfirst = 0.5\npitch = 0.83\ncount = 14\n");
    let table = &tables(&plan)[0];
    assert_eq!(table.datum, "the left edge");
    for (i, line) in table.lines.iter().enumerate() {
        assert!((line.station_mm - (0.5 + 0.83 * i as f64) * 25.4).abs() < EXACT_MM);
        assert!(Division::Sixtyfourth.round(line.station_mm).1.abs() <= 25.4 / 128.0 + EXACT_MM);
    }
    assert!(table.worst(Division::ThirtySecond) <= 25.4 / 64.0 + EXACT_MM);
    assert!(table.worst(Division::ThirtySecond) > 0.2);
}

#[test]
fn advice_where_rounding_eats_a_quarter() {
    // On 64ths from the left edge: nothing to say of 64ths; 32nds are 1/64 in off, half the tolerance.
    let plan = take("along = \"bottom\"\nedge_distance = 1\nstations = [\"1 1/64\", \"2 3/64\"]\n");
    let table = &tables(&plan)[0];
    assert_eq!(table.advice(Division::Sixtyfourth, &plan), None);
    assert_eq!(
        share(table.worst(Division::ThirtySecond), plan.tolerance_mm),
        "50 % of the tolerance"
    );
    // Both are odd 64ths, so their distance is on 32nds.
    assert_eq!(
        table.advice(Division::ThirtySecond, &plan).unwrap(),
        "set A1 once with care, and measure the others from it to 1/32 in (at most 0 % of the tolerance)"
    );
    // From the far edge of a sheet whose width is no fraction.
    let mut plan =
        take("along = \"bottom\"\nedge_distance = 1\nstations = [\"1 1/64\", \"2 1/32\"]\n");
    plan.width_mm = 12.0 * 25.4 + 25.4 / 64.0 - 0.1;
    let plan_far = {
        let mut p = plan.clone();
        for (stop, inch) in p.runs[0].stops.iter_mut().zip([1.0, 3.0]) {
            stop.station_mm = plan.width_mm - inch * 25.4;
        }
        p
    };
    let table = &tables(&plan_far)[0];
    assert_eq!(
        table.advice(Division::ThirtySecond, &plan_far).unwrap(),
        "measure from the right edge instead, to 1/32 in (at most 0 % of the tolerance)"
    );
    // Inches on a rule of half millimetres.
    let plan = take("along = \"bottom\"\nedge_distance = 1\nstations = [\"1 1/64\", \"2 1/32\"]\n");
    assert_eq!(
        tables(&plan)[0]
            .advice(Division::HalfMillimetre, &plan)
            .unwrap(),
        "use a rule with 64ths of an inch (at most 0 % of the tolerance)"
    );
    // Nothing on a rule fits: decimals.
    let plan =
        take("along = \"bottom\"\nedge_distance = 1\nstations = [1.0078, 2.0149, 3.0037, 4.01]\n");
    let mut tight = plan.clone();
    tight.tolerance_mm = 0.1;
    assert!(
        tables(&tight)[0]
            .advice(Division::Sixtyfourth, &tight)
            .unwrap()
            .contains("in decimals")
    );
}

#[test]
fn circles_and_singles_have_two_tables() {
    let text = "units = \"mm\"\n[sheet]\nwidth = 200\nheight = 200\n[tolerance]\nposition = 0.5\n[[circle]]\nname = \"R\"\n\
                centre = [100, 100]\ndiameter = 80\ncount = 4\n[[hole]]\nname = \"P\"\nx = 12\ny = 34\n";
    let plan = parse(text, Path::new("p.toml")).unwrap();
    assert_eq!(plan.units, Units::Millimetre);
    let tables = tables(&plan);
    let titles: Vec<&str> = tables.iter().map(|t| t.title.as_str()).collect();
    assert_eq!(
        titles,
        [
            "circle R, across",
            "circle R, up",
            "single holes, across",
            "single holes, up"
        ]
    );
    assert!((tables[1].lines[1].station_mm - 140.0).abs() < EXACT_MM);
    assert_eq!(tables[3].lines[0].station_mm, 34.0);
}

/// A hole by itself has no others to be measured from it.
#[test]
fn a_hole_by_itself_is_no_datum() {
    let text = "units = \"in\"\n[sheet]\nwidth = 6\nheight = 4\n[tolerance]\nposition = \"1/64\"\n[[hole]]\nname = \"P\"\n\
                x = \"5 7/8\"\ny = \"3 7/8\"\n";
    let plan = parse(text, Path::new("p.toml")).unwrap();
    assert_eq!(
        tables(&plan)[0]
            .advice(Division::HalfMillimetre, &plan)
            .unwrap(),
        "use a rule with 64ths of an inch (at most 0 % of the tolerance)"
    );
}

#[test]
fn on_the_command_line() {
    let dir = tempfile::tempdir().unwrap();
    for case in ["row", "two-rows", "three-rows", "patch", "ring", "coupon"] {
        let file = format!("{case}.toml");
        let ran = run(dir.path(), &["plan", "new", case, "--out", &file]);
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{case}");
        let again = run(dir.path(), &["plan", "new", case, "--out", &file]);
        assert!(
            again.code == 2 && again.err.contains("exists already"),
            "{}",
            again.err
        );
        for command in ["check", "stations"] {
            let ran = run(dir.path(), &["plan", command, &file]);
            assert_eq!(ran.code, 0, "{case}: {}", ran.err);
            let widest = ran.out.lines().map(|l| l.chars().count()).max().unwrap();
            assert!(widest <= 80, "{case} {command}: {widest} columns");
        }
        let strict = run(dir.path(), &["plan", "check", "--strict", &file]);
        assert_eq!(strict.code, 0, "{}", strict.out);
        assert!(
            strict
                .out
                .contains("The aircraft's own drawing and approved data rule")
        );
        // Printed as it is written.
        let printed = run(dir.path(), &["plan", "new", case]).out;
        assert_eq!(
            printed,
            std::fs::read_to_string(dir.path().join(&file)).unwrap()
        );
    }
    let ran = run(dir.path(), &["plan", "new", "wing"]);
    assert!(
        ran.code == 2 && ran.err.contains("three-rows"),
        "{}",
        ran.err
    );
    // A plan under the least pitch: told, still usable, and a status for scripts.
    let text = std::fs::read_to_string(dir.path().join("coupon.toml")).unwrap();
    let tight = text
        .replace("pitch = \"5/8\" ", "pitch = \"11/32\"")
        .replace("offset = \"1/2\"", "offset = 4");
    let tight = tight.replace("height = 3", "height = 9");
    std::fs::write(dir.path().join("tight.toml"), tight).unwrap();
    let ran = run(dir.path(), &["plan", "check", "tight.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("row A: pitch (2.75 D, 11/32 in (8.7 mm)) is under 3 D for one row per FAA AC 43.13-1B, par 4-57c(1), p 4-17;"), "{flat}");
    assert_eq!(
        run(dir.path(), &["plan", "check", "tight.toml", "--strict"]).code,
        1
    );
    // Rows that cross beside a hole: the question ends as one.
    let crossed = text.replace("first = \"1/2\" ", "first = \"3/8\" ")
        + "[[row]]\nname = \"C\"\nalong = \"left\"\nedge_distance = \"7/16\"\nfirst = \"1/2\"\nlast = \"2 11/16\"\ncount = 4\n";
    std::fs::write(dir.path().join("crossed.toml"), crossed).unwrap();
    let ran = run(dir.path(), &["plan", "check", "crossed.toml"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("is one rivet planned twice where rows cross? - ")
            || flat.contains("is one rivet planned twice where rows cross? The"),
        "{flat}"
    );
    // CSV, read back.
    let ran = run(
        dir.path(),
        &["plan", "stations", "patch.toml", "--csv", "-"],
    );
    let lines: Vec<&str> = ran.out.lines().collect();
    assert_eq!(lines.len(), 1 + 10 + 10 + 6 + 6);
    assert_eq!(
        lines[2],
        "\"row A\",\"the left edge\",A2,false,0.909722,23.10694,29/32,-0.08819,29/32,-0.08819"
    );
    assert_eq!(
        lines[21],
        "\"row C\",\"hole A1\",A1,true,0.000000,0.00000,0,0.00000,0,0.00000"
    );
    let ran = run(
        dir.path(),
        &["plan", "stations", "patch.toml", "--csv", "patch.toml"],
    );
    assert!(
        ran.code == 2 && ran.err.contains("being read"),
        "{}",
        ran.err
    );
}

/// With two marks as datum, stations are counted from these, in their own directions: on a sheet whose edges were cut
/// anywhere, nothing is to be measured from an edge.
#[test]
fn datum_marks_are_what_is_measured_from() {
    let body = |datum: &str| {
        format!(
            "units = \"mm\"\n{datum}[sheet]\nwidth = 300\nheight = 200\n[tolerance]\nposition = 0.5\n\
             [[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = 12\nfirst = 20\npitch = 40\ncount = 6\n\
             [[row]]\nname = \"B\"\nalong = \"bottom\"\nedge_distance = 52\nfirst = 30\npitch = 40\ncount = 5\n\
             [[row]]\nname = \"C\"\nalong = \"left\"\nedge_distance = 15\nfirst = 100\npitch = 20\ncount = 4\n\
             [[hole]]\nname = \"P\"\nx = 200\ny = 150\n"
        )
    };
    let plan =
        |datum: &str| parse(&body(datum), Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"));
    let level = plan("datum = [\"A1\", \"A6\"]\n");
    let all = tables(&level);
    let titles: Vec<&str> = all.iter().map(|t| t.title.as_str()).collect();
    let wanted = [
        "row A",
        "row B",
        "row C, along",
        "row C, square to it",
        "single holes, along",
        "single holes, square to it",
    ];
    assert_eq!(titles, wanted);
    for table in &all {
        assert!(
            !table.datum.contains("edge") && !table.place.contains("edge"),
            "{table:?}"
        );
    }
    let stations = |i: usize| -> Vec<f64> { all[i].lines.iter().map(|l| l.station_mm).collect() };
    assert_eq!(stations(0), [0.0, 40.0, 80.0, 120.0, 160.0, 200.0]);
    assert_eq!(stations(1), [10.0, 50.0, 90.0, 130.0, 170.0]);
    assert_eq!(
        all[1].place,
        "40 mm to the left of the line from A1 to A6, square to it"
    );
    assert_eq!([stations(4)[0], stations(5)[0]], [180.0, 138.0]);
    // Whichever two marks they are, a hole lies as far from the first as the plan says, on the right side.
    let aslant = plan("datum = [\"B2\", \"C3\"]\n");
    let first = aslant.holes.iter().find(|h| h.name == "B2").unwrap().at;
    let all = tables(&aslant);
    for pair in all.chunks(2) {
        for (along, across) in pair[0].lines.iter().zip(&pair[1].lines) {
            let hole = aslant.holes.iter().find(|h| h.name == along.hole).unwrap();
            let off = along.station_mm.hypot(across.station_mm) - hole.at.distance(first);
            assert!(off.abs() < EXACT_MM, "{}: {off:e}", hole.name);
        }
    }
    let of = |name: &str| {
        let find = |i: usize| {
            all.iter()
                .skip(i)
                .step_by(2)
                .flat_map(|t| &t.lines)
                .find(|l| l.hole == name)
        };
        [find(0).unwrap().station_mm, find(1).unwrap().station_mm]
    };
    assert!(
        of("B2").iter().all(|v| v.abs() < EXACT_MM)
            && of("C3")[1].abs() < EXACT_MM
            && of("C3")[0] > 0.0
    );
    // B2 to C3 runs to the upper left; the origin's side is its left.
    assert!(
        of("A1")[1] > 0.0 && of("P")[1] < 0.0,
        "{:?} {:?}",
        of("A1"),
        of("P")
    );
}

/// Six holes on a circle stand a radius apart: what dividers are set to. Steps that differ have no such figure.
#[test]
fn dividers_step_a_circle_off() {
    let circle = |more: &str| {
        let text = format!(
            "units = \"mm\"\n[sheet]\nwidth = 200\nheight = 200\n[tolerance]\nposition = 0.5\n\
             [[circle]]\nname = \"R\"\ncentre = [100, 100]\ndiameter = 120\ncount = 6\nstart_angle = 10\n{more}"
        );
        let plan = parse(&text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"));
        tables(&plan)[0].place.clone()
    };
    assert!(
        circle("").contains("as dividers are set, 60 mm"),
        "{}",
        circle("")
    );
    assert!(
        !circle("skip = [3]\n").contains("dividers"),
        "{}",
        circle("skip = [3]\n")
    );
}
