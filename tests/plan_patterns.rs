//! The ways to write where holes are, and what is said of those that do not fit.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod common;

use std::path::Path;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use punchready::plan::{Datum, Edge, Plan, parse};

/// A few roundings of numbers below 1000 mm.
const EXACT_MM: f64 = 1e-9;
const HEAD: &str =
    "units = \"mm\"\n[sheet]\nwidth = 300\nheight = 200\n[tolerance]\nposition = 0.5\n";

fn take(body: &str) -> Plan {
    parse(&format!("{HEAD}{body}"), Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// What is said of `body`, which starts in line 7.
fn said(body: &str) -> String {
    parse(&format!("{HEAD}{body}"), Path::new("p.toml"))
        .unwrap_err()
        .to_string()
}

fn places(plan: &Plan, row: &str) -> Vec<(String, f64, f64)> {
    let own = plan.holes.iter().filter(|h| h.row.as_deref() == Some(row));
    own.map(|h| (h.name.clone(), h.at.x, h.at.y)).collect()
}

fn assert_places(plan: &Plan, row: &str, expected: &[(&str, f64, f64)]) {
    let got = places(plan, row);
    assert_eq!(got.len(), expected.len(), "{got:?}");
    for (g, e) in got.iter().zip(expected) {
        let off = (g.1 - e.1).hypot(g.2 - e.2);
        assert!(g.0 == e.0 && off < EXACT_MM, "{g:?}, expected {e:?}");
    }
}

const A: &str = "[[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = 10\nfirst = 20\npitch = 30\ncount = 4\n";

#[test]
fn between_two_points() {
    let plan = take("[[row]]\nname = \"S\"\nfrom = [30, 40]\nto = [90, 120]\ncount = 3\n");
    assert_places(
        &plan,
        "S",
        &[("S1", 30.0, 40.0), ("S2", 60.0, 80.0), ("S3", 90.0, 120.0)],
    );
    // A slanting row is along no edge.
    assert!(plan.rows.is_empty() && plan.runs.len() == 1);
    assert_eq!(plan.runs[0].stops[2].station_mm, 100.0);
    let pitched = take(
        "[[row]]\nname = \"S\"\nfrom = [30, 40]\nto = [90, 120]\nfirst = 10\npitch = 40\ncount = 3\n",
    );
    assert_places(
        &pitched,
        "S",
        &[("S1", 36.0, 48.0), ("S2", 60.0, 80.0), ("S3", 84.0, 112.0)],
    );
    // A level one is; stations count from the edge.
    let level = take("[[row]]\nname = \"S\"\nfrom = [30, 180]\nto = [90, 180]\ncount = 3\n");
    let row = &level.rows[0];
    assert_eq!((row.along, row.edge_distance_mm), (Edge::Top, 20.0));
    assert_eq!(row.stations_mm, [30.0, 60.0, 90.0]);
    // Backwards: numbered from its start, and left out of the rows whose stations grow.
    let back = take("[[row]]\nname = \"S\"\nfrom = [90, 180]\nto = [30, 180]\ncount = 3\n");
    assert_places(
        &back,
        "S",
        &[
            ("S1", 90.0, 180.0),
            ("S2", 60.0, 180.0),
            ("S3", 30.0, 180.0),
        ],
    );
    assert!(back.rows.is_empty());
}

#[test]
fn offset_and_stagger() {
    let plan = take(&format!(
        "{A}[[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = 15\nstagger = true\n"
    ));
    assert_places(
        &plan,
        "B",
        &[("B1", 35.0, 25.0), ("B2", 65.0, 25.0), ("B3", 95.0, 25.0)],
    );
    assert_eq!(
        (plan.rows[1].along, plan.rows[1].edge_distance_mm),
        (Edge::Bottom, 25.0)
    );
    assert_eq!(plan.rows[1].stations_mm, [35.0, 65.0, 95.0]);
    // Away from the edge, whichever it is.
    for (edge, x, y) in [
        ("top", 20.0, 175.0),
        ("left", 25.0, 20.0),
        ("right", 275.0, 20.0),
    ] {
        let plan = take(&format!(
            "{}[[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = 15\n",
            A.replace("bottom", edge)
        ));
        let first = &places(&plan, "B")[0];
        assert!(
            (first.1 - x).hypot(first.2 - y) < EXACT_MM,
            "{edge}: {first:?}"
        );
    }
    let spaced = take(&format!(
        "{A}[[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = 15\nfirst = 50\nlast_from_end = 50\ncount = 3\n"
    ));
    assert_places(
        &spaced,
        "B",
        &[("B1", 50.0, 25.0), ("B2", 150.0, 25.0), ("B3", 250.0, 25.0)],
    );
}

#[test]
fn mirrored_and_repeated() {
    let with = |copy: &str| {
        take(&format!(
            "{A}[[row]]\nname = \"B\"\ncopy_of = \"A\"\n{copy}\n"
        ))
    };
    let up = with("mirror = \"top-bottom\"");
    assert_places(
        &up,
        "B",
        &[
            ("B1", 20.0, 190.0),
            ("B2", 50.0, 190.0),
            ("B3", 80.0, 190.0),
            ("B4", 110.0, 190.0),
        ],
    );
    assert_eq!(
        (up.rows[1].along, up.rows[1].edge_distance_mm),
        (Edge::Top, 10.0)
    );
    // Numbered from the left again.
    let side = with("mirror = \"left-right\"");
    assert_places(
        &side,
        "B",
        &[
            ("B1", 190.0, 10.0),
            ("B2", 220.0, 10.0),
            ("B3", 250.0, 10.0),
            ("B4", 280.0, 10.0),
        ],
    );
    assert_eq!(side.rows[1].stations_mm, [190.0, 220.0, 250.0, 280.0]);
    let shifted = with("shift = [5, 40]");
    assert_eq!(shifted.rows[1].edge_distance_mm, 50.0);
    assert_eq!(places(&shifted, "B")[3], ("B4".into(), 115.0, 50.0));
    let at = with("mirror = \"top-bottom\"\nmirror_at = 30");
    assert_eq!(places(&at, "B")[0], ("B1".into(), 20.0, 50.0));
    let slant = take(
        "[[row]]\nname = \"S\"\nfrom = [30, 40]\nto = [90, 120]\ncount = 3\n[[row]]\nname = \"T\"\n\
         copy_of = \"S\"\nmirror = \"left-right\"\n",
    );
    assert_places(
        &slant,
        "T",
        &[
            ("T1", 270.0, 40.0),
            ("T2", 240.0, 80.0),
            ("T3", 210.0, 120.0),
        ],
    );
    // What the row leaves out, its copy leaves out.
    let skipped = take(&format!(
        "{A}skip = [2]\n[[row]]\nname = \"B\"\ncopy_of = \"A\"\nmirror = \"left-right\"\n"
    ));
    let names: Vec<String> = places(&skipped, "B").into_iter().map(|p| p.0).collect();
    assert_eq!(names, ["B1", "B2", "B4"]);
}

#[test]
fn shared_corners_and_skipped_stations() {
    let text = format!(
        "{A}skip = [3]\n[[row]]\nname = \"C\"\nalong = \"left\"\nedge_distance = 20\nfirst = 10\npitch = 30\n\
         count = 3\nshare = [\"A1\"]\n"
    );
    let plan = take(&text);
    assert_places(
        &plan,
        "A",
        &[("A1", 20.0, 10.0), ("A2", 50.0, 10.0), ("A4", 110.0, 10.0)],
    );
    assert_places(&plan, "C", &[("C2", 20.0, 40.0), ("C3", 20.0, 70.0)]);
    assert_eq!(plan.rows[0].stations_mm, [20.0, 50.0, 110.0]);
    assert_eq!(plan.rows[1].stations_mm, [40.0, 70.0]);
    let c = &plan.runs[1];
    assert!(c.stops[0].shared && c.stops[0].hole == "A1" && c.stops.len() == 3);
    assert_eq!(plan.runs[0].skipped, [3]);
    // Without it the plan is refused, and told how.
    let refused = said(&text.replace("share = [\"A1\"]\n", ""));
    assert_eq!(
        refused,
        "p.toml:15:1: hole C1: it is at the same place as A1\n  hint: if both rows mean the one hole, say \
         share = [\"A1\"]"
    );
    // Ends given as holes are those holes.
    let joined = take(&format!(
        "{A}[[row]]\nname = \"B\"\ncopy_of = \"A\"\nmirror = \"top-bottom\"\n[[row]]\nname = \"C\"\nfrom = \"A1\"\n\
         to = \"B1\"\ncount = 5\n"
    ));
    assert_eq!(joined.holes.len(), 4 + 4 + 3);
    assert_eq!(joined.runs[2].datum, Datum::Hole("A1".into()));
}

/// "About 1 in, at most 1 1/16": 10 in take 10 gaps; 10.4 in take 10 of 1.04.
#[test]
fn nearest_pitch_within_limits() {
    let gaps = |span: f64, limits: &str| -> usize {
        let text = format!(
            "units = \"in\"\n[sheet]\nwidth = 20\nheight = 5\n[tolerance]\nposition = \"1/64\"\n[[row]]\nname = \"A\"\n\
             along = \"bottom\"\nedge_distance = 1\nfirst = 1\nlast = {}\n{limits}\n",
            1.0 + span
        );
        parse(&text, Path::new("p.toml"))
            .unwrap_or_else(|e| panic!("{e}"))
            .holes
            .len()
            - 1
    };
    let about = "pitch_about = 1\npitch_max = \"1 1/16\"";
    assert_eq!(gaps(10.0, about), 10);
    assert_eq!(gaps(10.4, about), 10);
    // 1.04 is over 1.03: one gap more.
    assert_eq!(gaps(10.4, "pitch_about = 1\npitch_max = 1.03"), 11);
    // 11 gaps of 0.955 are nearer to 1 than 10 of 1.05, unless that is too narrow.
    assert_eq!(gaps(10.5, about), 11);
    assert_eq!(gaps(10.5, "pitch_about = 1\npitch_min = 0.96"), 10);
    assert_eq!(gaps(10.4, "pitch_about = 1"), 10);
    assert_eq!(gaps(10.6, "pitch_about = 1"), 11);
    assert_eq!(gaps(10.0, "pitch_max = 1.5"), 7);
    assert_eq!(gaps(10.0, "pitch_min = 1.5"), 6);
    assert_eq!(
        said(
            "[[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = 9\nfirst = 10\nlast = 110\npitch_min = 30\npitch_max = 32\n"
        ),
        "p.toml:14:13: row A: pitch_max: no equal spacing over 100 mm keeps the limits: 3 gaps of 33.33 mm are too \
         wide, 4 gaps of 25 mm too narrow\n  hint: move `first` or `last`, or widen the limits"
    );
}

/// The handbook's way of a layout (largest whole number of gaps not smaller than the wanted pitch, the
/// second row midway), computed exactly in the reference data.
#[test]
fn layouts_of_the_reference() {
    /// The reference gives micrometres.
    const REFERENCE_MM: f64 = 1e-6;
    let Some(data) = common::reference_json("riveting-rules.json") else {
        return;
    };
    for case in data["layouts"]["cases"].as_array().unwrap() {
        let text = |key: &str| case[key].as_str().unwrap().to_string();
        let plan = format!(
            "units = \"in\"\n[sheet]\nwidth = {}\nheight = 5\n[tolerance]\nposition = 0.01\n[rivet]\ndiameter = \"{}\"\n\
             [[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = {e}\nfirst = {e}\nlast_from_end = {e}\n\
             pitch_min = {}\n[[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = \"{}mm\"\nstagger = true\n",
            text("length_in"),
            text("D_in"),
            text("wanted_pitch_in"),
            case["transverse_pitch_75_percent_mm"],
            e = text("edge_in"),
        );
        let plan = parse(&plan, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"));
        for (row, key) in [(0, "positions_mm"), (1, "second_row_positions_mm")] {
            let expected = case[key].as_array().unwrap();
            let got = &plan.rows[row].stations_mm;
            assert_eq!(got.len(), expected.len(), "{case}");
            for (g, e) in got.iter().zip(expected) {
                assert!(
                    (g - e.as_f64().unwrap()).abs() < REFERENCE_MM,
                    "{g} for {e}"
                );
            }
        }
        assert_eq!(
            plan.rows[0].stations_mm.len() as u64,
            case["rivets"].as_u64().unwrap()
        );
    }
}

/// AC 43.13-1B par 4-58g, p 4-27: two rows of 19 evenly over 10 in, where the least pitch of two rows
/// (4 D = 1/2 in) would let 20 stand: 2 x 10 / 40.
#[test]
fn the_circulars_example() {
    let row = |count: &str| {
        format!(
            "units = \"in\"\n[sheet]\nwidth = 10\nheight = 4\n[rivet]\ndiameter = \"1/8\"\n[tolerance]\nposition = \"1/64\"\n\
             [[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = \"1/4\"\nfirst = \"1/4\"\nlast_from_end = \"1/4\"\n{count}\n\
             [[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = \"3/8\"\nfirst = \"1/4\"\nlast_from_end = \"1/4\"\n{count}\n"
        )
    };
    let under = |text: &str| {
        let plan = parse(text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"));
        let found = punchready::plan::rules::review(&plan, &punchready::plan::rules::BOOKS);
        let pitch = found
            .findings
            .iter()
            .any(|f| f.text.contains("pitch") && f.text.contains("under 4 D"));
        (plan.holes.len(), pitch)
    };
    assert_eq!(under(&row("pitch_min = \"1/2\"")), (40, false));
    assert_eq!(under(&row("count = 19")), (38, false));
    assert_eq!(under(&row("count = 21")), (42, true));
}

#[test]
fn circles_and_arcs() {
    let plan = take(
        "[[circle]]\nname = \"R\"\ncentre = [100, 100]\ndiameter = 80\ncount = 4\nstart_angle = 90\n",
    );
    assert_places(
        &plan,
        "R",
        &[
            ("R1", 100.0, 140.0),
            ("R2", 60.0, 100.0),
            ("R3", 100.0, 60.0),
            ("R4", 140.0, 100.0),
        ],
    );
    let arc = take(
        "[[circle]]\nname = \"R\"\ncentre = [100, 100]\ndiameter = 80\ncount = 3\nend_angle = 180\nskip = [2]\n",
    );
    assert_places(&arc, "R", &[("R1", 140.0, 100.0), ("R3", 60.0, 100.0)]);
    assert!(
        said("[[circle]]\nname = \"R\"\ncentre = [20, 100]\ndiameter = 80\ncount = 4\n")
            .contains("circle R: R3: found -20 mm")
    );
    assert!(
        said("[[circle]]\nname = \"R\"\ncentre = [20, 100]\ndiameter = 80\ncount = 1\n")
            .contains("expected 2 or more")
    );
}

#[test]
fn grids() {
    let grid = "[[grid]]\nname = \"G\"\nat = [20, 30]\ncolumns = 3\ncolumn_pitch = 20\nlines = 2\nline_pitch = 15\n";
    let plan = take(&format!("{grid}stagger = true\nskip = [\"1-2\"]\n"));
    assert_places(
        &plan,
        "G-1",
        &[("G-1-1", 20.0, 30.0), ("G-1-3", 60.0, 30.0)],
    );
    assert_places(
        &plan,
        "G-2",
        &[("G-2-1", 30.0, 45.0), ("G-2-2", 50.0, 45.0)],
    );
    assert_eq!(take(grid).holes.len(), 6);
    assert!(
        said(&format!("{grid}skip = [\"1.2\"]\n"))
            .contains("expected line and number such as \"2-3\"")
    );
}

#[test]
fn drilled_holes_are_datum_and_not_marked() {
    let plan = take(
        "[[row]]\nname = \"A\"\nfrom = \"D1\"\nto = \"D2\"\ncount = 5\n\
         [[hole]]\nname = \"D1\"\nx = 50\ny = 50\ndrilled = true\n[[hole]]\nname = \"D2\"\nx = 130\ny = 50\ndrilled = true\n",
    );
    assert_places(
        &plan,
        "A",
        &[("A2", 70.0, 50.0), ("A3", 90.0, 50.0), ("A4", 110.0, 50.0)],
    );
    assert_eq!(plan.drilled.len(), 2);
    assert!(plan.hole("D2").is_some() && plan.holes.iter().all(|h| h.name != "D2"));
    let run = &plan.runs[0];
    assert_eq!(run.datum, Datum::Hole("D1".into()));
    let stations: Vec<f64> = run.stops.iter().map(|s| s.station_mm).collect();
    assert_eq!(stations, [0.0, 20.0, 40.0, 60.0, 80.0]);
}

#[test]
fn says_where_and_what() {
    for (body, expected) in [
        (
            format!("{A}from = [1, 2]\n"),
            "p.toml:14:8: row A: from: found beside `along`; a row has `along` and `edge_distance`, or `from` and `to`, \
             or `offset_from` and `offset`, or `copy_of` with `mirror` or `shift`",
        ),
        (
            "[[row]]\nname = \"A\"\nfrom = \"Q1\"\nto = [1, 2]\ncount = 2\n".into(),
            "p.toml:9:8: row A: from: there is no hole \"Q1\" above this place in the file\n  hint: single and drilled \
             holes may stand anywhere; rows stand above those that name their holes",
        ),
        (
            "[[row]]\nname = \"A\"\nfrom = [1]\nto = [10, 20]\ncount = 2\n".into(),
            "p.toml:9:8: row A: from: found a list; expected a point [x, y] such as [\"6\", \"2 17/32\"], or the name of \
             a hole",
        ),
        (
            format!("{A}[[row]]\nname = \"B\"\noffset_from = \"a\"\noffset = 5\n"),
            "p.toml:16:15: row B: offset_from: there is no row \"a\" above this one",
        ),
        (
            format!(
                "{A}[[row]]\nname = \"C\"\nalong = \"left\"\nedge_distance = 20.9\nfirst = 10\npitch = 30\ncount = 3\n"
            ),
            "[tolerance]: position: found 0.5 mm, but A1 and C1 are only 0.9 mm apart; expected at most half of that, so \
             that a mark cannot serve two holes\n  hint: is one rivet planned twice where the rows cross? leave it out of \
             row C with `skip`",
        ),
        (
            format!("{A}skip = [9]\n"),
            "p.toml:14:9: row A: skip: found 9, but the last station is number 4",
        ),
        (
            format!("{A}skip = [1, 2, 3, 4]\n"),
            "p.toml:7:1: row A: no hole is left: all stations are skipped or shared",
        ),
        (
            format!("{A}[[row]]\nname = \"B\"\ncopy_of = \"A\"\n"),
            "p.toml:16:11: row B: copy_of: expected `mirror` (\"left-right\" or \"top-bottom\", with `mirror_at` unless \
             in the middle of the sheet) or `shift` ([right, up])",
        ),
        (
            format!("{A}[[row]]\nname = \"B\"\ncopy_of = \"A\"\nshift = [0, 300]\n"),
            "p.toml:14:1: row B: B1: found 310 mm: the hole is 110 mm off the sheet, past the top edge",
        ),
        (
            format!(
                "{A}[[hole]]\nname = \"P\"\nx = 200\ny = 100\n[[row]]\nname = \"B\"\nalong = \"left\"\nedge_distance = 20\n\
                     first = 20\npitch = 30\ncount = 3\nshare = [\"P\"]\n"
            ),
            "p.toml:25:10: row B: share: P is 181.11 mm from the nearest station of this row, number 3; a shared hole \
             is at both",
        ),
    ] {
        let got = said(&body);
        assert!(got.contains(expected), "{got}\nexpected {expected}");
    }
}

fn config() -> ProptestConfig {
    ProptestConfig {
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(5),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    /// A plan of every pattern with one piece replaced: a plan or a fault with a place, never a panic.
    #[test]
    fn broken_patterns(at in 0_usize..800, cut in 0_usize..14, put in "[\\PC\n\"=\\[\\]0-9]{0,8}") {
        let text = format!(
            "{HEAD}{A}[[row]]\nname = \"B\"\noffset_from = \"A\"\noffset = 15\nstagger = true\n[[row]]\nname = \"C\"\n\
             copy_of = \"B\"\nmirror = \"left-right\"\n[[row]]\nname = \"S\"\nfrom = \"A4\"\nto = [200, 100]\n\
             pitch_about = 25\npitch_max = 30\n[[grid]]\nname = \"G\"\nat = [20, 130]\ncolumns = 3\ncolumn_pitch = 20\n\
             lines = 2\nline_pitch = 15\n[[circle]]\nname = \"R\"\ncentre = [250, 150]\ndiameter = 60\ncount = 6\n"
        );
        let mut at = at.min(text.len());
        let mut end = (at + cut).min(text.len());
        while !text.is_char_boundary(at) { at -= 1; }
        while !text.is_char_boundary(end) { end += 1; }
        let broken = format!("{}{put}{}", &text[..at], &text[end..]);
        match parse(&broken, Path::new("p.toml")) {
            Ok(plan) => {
                prop_assert!(!plan.holes.is_empty());
                let _ = punchready::plan::rules::review(&plan, &punchready::plan::rules::BOOKS);
                let _ = punchready::plan::stations::tables(&plan);
            }
            Err(e) => prop_assert!(!e.to_string().contains("the plan is not complete"), "{e}"),
        }
    }
}
