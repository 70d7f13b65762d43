//! Plans: the forms that are read, and what is said of those that are not.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::Path;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use punchready::plan::{Edge, Head, Plan, PlanError, Units, parse, read};

/// A few roundings of numbers below 1000 mm.
const EXACT_MM: f64 = 1e-9;

const HEAD: &str =
    "units = \"in\"\n[sheet]\nwidth = 12\nheight = \"8 1/2\"\n[tolerance]\nposition = \"1/32\"\n";

fn take(text: &str) -> Plan {
    parse(text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"))
}

fn said(text: &str) -> String {
    parse(text, Path::new("p.toml")).unwrap_err().to_string()
}

/// What is said of `body` behind a sound head of six lines.
fn said_of(body: &str) -> String {
    said(&format!("{HEAD}{body}"))
}

fn row(body: &str) -> String {
    format!("[[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = \"5/16\"\n{body}")
}

fn fixture(name: &str) -> Plan {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(name);
    read(&path).unwrap_or_else(|e| panic!("{e}"))
}

fn place(plan: &Plan, name: &str) -> (f64, f64) {
    let hole = plan.holes.iter().find(|h| h.name == name);
    let at = hole.unwrap_or_else(|| panic!("no {name}")).at;
    (at.x, at.y)
}

fn assert_place(plan: &Plan, name: &str, x: f64, y: f64) {
    let got = place(plan, name);
    let off = (got.0 - x).hypot(got.1 - y);
    assert!(off < EXACT_MM, "{name} at {got:?}, expected ({x}, {y})");
}

#[test]
fn hatch_cover() {
    let plan = fixture("hatch-cover.toml");
    assert_eq!(
        (plan.title.as_str(), plan.units),
        ("Hatch cover", Units::Inch)
    );
    assert_eq!(plan.holes.len(), 14 + 14 + 7 + 7 + 2);
    assert_eq!(plan.head, Some(Head::Protruding));
    assert_eq!((plan.tolerance_mm, plan.seen_fraction), (0.79375, 0.98));
    assert_eq!(
        plan.rows.iter().map(|r| r.along).collect::<Vec<_>>(),
        [Edge::Bottom, Edge::Top, Edge::Left, Edge::Right]
    );
    // By hand: 11/16 + 13 x 13/16 = 11 1/4 in; 8 1/2 - 5/16 = 8 3/16 in; (6 15/16 - 1 9/16) / 6 = 43/48 in.
    assert_place(&plan, "A1", 17.4625, 7.9375);
    assert_place(&plan, "A14", 285.75, 7.9375);
    assert_place(&plan, "B14", 285.75, 207.9625);
    assert_place(&plan, "C2", 7.9375, (1.5625 + 43.0 / 48.0) * 25.4);
    assert_place(&plan, "C7", 7.9375, 6.9375 * 25.4);
    assert_place(&plan, "D1", 304.8 - 7.9375, 1.5625 * 25.4);
    assert_place(&plan, "P2", 171.45, 64.29375);
    assert!(
        plan.holes
            .iter()
            .all(|h| h.row.is_some() || h.name.starts_with('P'))
    );
}

#[test]
fn other_fixtures() {
    let strip = fixture("keel-strip.toml");
    assert_eq!((strip.units, strip.holes.len()), (Units::Millimetre, 49));
    assert_place(&strip, "A25", 588.0, 9.0);
    assert_place(&strip, "B24", 576.0, 31.0);
    assert_place(&strip, "B2", 48.0, 31.0);
    let coupon = fixture("coupon.toml");
    assert_eq!(coupon.holes.len(), 17);
    assert_place(&coupon, "A9", 139.7, 68.2625);
}

#[test]
fn options() {
    let text = format!(
        "datum = [\"A1\", \"A3\"]\n{HEAD}[seen]\nfraction = 0.9\n{}",
        row("stations = [1, \"2 in\", \"80mm\"]\n")
    );
    let plan = take(&text);
    assert_eq!(plan.datum, Some(["A1".to_string(), "A3".to_string()]));
    assert_eq!(plan.seen_fraction, 0.9);
    assert_eq!(plan.title, "p");
    assert_eq!(plan.rows[0].stations_mm, [25.4, 50.8, 80.0]);
    // Line ends and the mark of a Windows editor.
    assert_eq!(
        take(&format!("\u{feff}{}", text.replace('\n', "\r\n"))),
        plan
    );
}

#[test]
fn one_hole_is_a_row() {
    let plan = take(&format!(
        "{HEAD}{}",
        row("first = 1\npitch = 1\ncount = 1\n")
    ));
    assert_eq!(plan.rows[0].stations_mm, [25.4]);
}

#[test]
fn says_what_is_missing() {
    assert_eq!(
        said(""),
        "p.toml:1:1: [sheet]: missing; expected a table [sheet] with width and height\n\
         p.toml:1:1: [tolerance]: missing; expected how far a mark may be from its planned place\n  \
         hint: [tolerance]\n        position = \"1/32\"   (or 0.8mm)\n\
         p.toml:1:1: units: missing; expected for example `units = \"in\"`"
    );
    assert_eq!(
        said_of(""),
        "p.toml:1:1: row: the plan has no holes\n  hint: add a [[row]] or a [[hole]]"
    );
    assert_eq!(
        said_of(&row("first = 1\npitch = 1\n")),
        "p.toml:7:1: row A: count: missing; expected for example `count = 14`"
    );
    assert_eq!(
        said_of("[[row]]\nalong = \"bottom\"\nfirst = 1\npitch = 1\ncount = 2\n"),
        "p.toml:7:1: row number 1: edge_distance: missing; expected for example `edge_distance = \"5/16\"`\n\
         p.toml:7:1: row number 1: name: missing; expected for example `name = \"A\"`"
    );
    assert_eq!(
        said_of(&row("")),
        "p.toml:7:1: row A: stations: missing; a row has `first`, `pitch` and `count`, or `first`, `last` \
         and `count`, or `stations`"
    );
}

#[test]
fn knows_its_keys() {
    assert_eq!(
        said_of(&row("frist = 1\npitch = 1\ncount = 2\n")),
        "p.toml:7:1: row A: first: missing; expected for example `first = \"11/16\"`\n\
         p.toml:11:1: row A has no key `frist`\n  hint: did you mean `first`?"
    );
    assert_eq!(
        said_of(&row("first = 1\npitch = 1\ncount = 2\nthickness = 1\n")),
        "p.toml:14:1: row A has no key `thickness`\n  hint: `thickness` belongs under [sheet]"
    );
    assert_eq!(
        said_of(&format!(
            "{}[sheeet]\nx = 1\n",
            row("first = 1\npitch = 1\ncount = 2\n")
        )),
        "p.toml:14:2: the top of the file has no key `sheeet`\n  hint: did you mean `sheet`?"
    );
    assert_eq!(
        said_of(&row("first = 1\npitch = 1\ncount = 2\ncolour = \"red\"\n")),
        "p.toml:14:1: row A has no key `colour`\n  hint: its keys are name, along, edge_distance, first, \
         pitch, count, last, stations, last_from_end, pitch_about, pitch_min, pitch_max, from, to, offset_from, \
         offset, stagger, copy_of, mirror, mirror_at, shift, skip, share"
    );
}

#[test]
fn says_what_it_found() {
    let with = |from: &str, to: &str| {
        let text = format!("{HEAD}{}", row("first = 1\npitch = 1\ncount = 2\n"));
        assert!(text.contains(from));
        said(&text.replace(from, to))
    };
    assert_eq!(
        with("width = 12", "width = true"),
        "p.toml:3:9: [sheet]: width: found true; expected a length such as 0.5, \"5/8\", \"2 17/32\" or \
         \"14.3mm\""
    );
    assert_eq!(
        with("edge_distance = \"5/16\"", "edge_distance = \"5//16\""),
        "p.toml:10:17: row A: edge_distance: found \"5//16\": a fraction needs one whole number above and \
         one below; expected a length such as 14.3mm, 0.5in, 5/8 or 2 17/32"
    );
    assert_eq!(
        with("\"bottom\"", "\"under\""),
        "p.toml:9:9: row A: along: found \"under\"; expected \"bottom\" or \"top\" or \"left\" or \"right\""
    );
    assert_eq!(
        with("count = 2", "count = 2.5"),
        "p.toml:13:9: row A: count: found the number 2.5; expected a whole number"
    );
    assert_eq!(
        with("count = 2", "count = 0"),
        "p.toml:13:9: row A: count: found 0; expected 1 to 2000"
    );
    assert_eq!(
        with("count = 2", "count = 99999999999999999999"),
        "p.toml:13:9: row A: count: found 9223372036854775807; expected 1 to 2000"
    );
    assert_eq!(
        with("\"in\"", "\"inch\""),
        "p.toml:1:9: units: found \"inch\"; expected \"in\" or \"mm\""
    );
    assert_eq!(
        with("[[row]]", "[row]"),
        "p.toml:7:1: row: found a table; expected [[row]] with two brackets, once for each row"
    );
    assert_eq!(
        with("name = \"A\"", "name = \"row one\""),
        "p.toml:8:8: row row one: name: found \"row one\"; expected 1 to 16 letters, digits, `-`, `_` or `.`, \
         such as \"A\""
    );
    assert_eq!(
        with("[tolerance]", "[seen]\nfraction = 98\n[tolerance]"),
        "p.toml:6:12: [seen]: fraction: found 98; expected a share above 0 and at most 1, such as 0.98"
    );
    assert_eq!(
        with("width = 12", "width = 1200"),
        "p.toml:3:9: [sheet]: width: found 1200 in; expected at most 157.48 in. Is the unit right?\n  hint: if the plan is in millimetres, write \
         units = \"mm\" at its top"
    );
    assert_eq!(
        with("width = 12", "width = nan"),
        "p.toml:3:9: [sheet]: width: found the number nan; expected a length such as 0.5, \"5/8\", \
         \"2 17/32\" or \"14.3mm\""
    );
}

#[test]
fn forms_do_not_mix() {
    const FORMS: &str =
        "a row has `first`, `pitch` and `count`, or `first`, `last` and `count`, or `stations`";
    assert_eq!(
        said_of(&row("pitch = 1\nstations = [1, 2]\n")),
        format!("p.toml:11:9: row A: pitch: found beside `stations`; {FORMS}")
    );
    assert_eq!(
        said_of(&row("first = 1\npitch = 1\nlast = 4\ncount = 4\n")),
        format!("p.toml:13:8: row A: last: found beside `pitch`; {FORMS}")
    );
    assert_eq!(
        said_of(&row("first = \"11/16\"\nlast = \"11/16\"\ncount = 4\n")),
        "p.toml:12:8: row A: last: found 11/16 in (17.5 mm), not beyond `first` (11/16 in (17.5 mm)); both \
         are measured from the left edge\n  hint: as far from the right edge would be last = \"11 5/16 in\""
    );
    assert_eq!(
        said_of(&row("first = 1\nlast = 4\ncount = 1\n")),
        "p.toml:12:8: row A: last: found beside `count = 1`; expected a count of 2 or more, or `pitch`"
    );
    assert_eq!(
        said_of(&row("stations = [1, 3, 2]\n")),
        "p.toml:11:19: row A: stations: 2 in (50.8 mm) is not beyond the station before it, 3 in (76.2 mm); \
         stations go away from the row's start"
    );
}

#[test]
fn holes_lie_on_the_sheet() {
    assert_eq!(
        said_of(&row("first = \"11/16\"\npitch = \"13/16\"\ncount = 20\n")),
        "p.toml:12:9: row A: pitch: 20 holes from 11/16 in (17.5 mm) at a pitch of 13/16 in (20.6 mm) end at \
         16 1/8 in (409.6 mm), past the right edge at 12 in (304.8 mm); 14 fit"
    );
    assert_eq!(
        said_of("[[hole]]\nname = \"P1\"\nx = 13\ny = -1\n"),
        "p.toml:9:5: hole P1: x: found 13 in (330.2 mm): the hole is 1 in (25.4 mm) off the sheet, past the \
         right edge\n\
         p.toml:10:5: hole P1: y: found -1 in (-25.4 mm): the hole is 1 in (25.4 mm) off the sheet, past the \
         bottom edge"
    );
    assert_eq!(
        said_of(&row("stations = [1, 12]\n")),
        "p.toml:11:16: row A: stations: found 12 in (304.8 mm): the hole is on the right edge itself"
    );
    let high = row("first = 1\npitch = 1\ncount = 2\n").replace("5/16", "9");
    assert_eq!(
        said_of(&high),
        "p.toml:10:17: row A: edge_distance: found 9 in (228.6 mm), but the sheet measures only 8 1/2 in \
         (215.9 mm) that way: the row is off the sheet"
    );
}

#[test]
fn names_and_places_are_used_once() {
    let rows = format!(
        "{}{}",
        row("first = 1\npitch = 1\ncount = 3\n"),
        row("first = 1\npitch = 1\ncount = 3\n").replace("bottom", "top")
    );
    assert_eq!(
        said_of(&rows),
        "p.toml:14:1: row A: name: a row before it has that name (\"A\")"
    );
    let generated = format!(
        "{}[[hole]]\nname = \"a2\"\nx = 5\ny = 5\n",
        row("first = 1\npitch = 1\ncount = 3\n")
    );
    assert_eq!(
        said_of(&generated),
        "p.toml:14:1: hole a2: there are two holes of this name: one in row A, one as a single hole"
    );
    let same_place = format!(
        "{}[[hole]]\nname = \"P1\"\nx = 2.001\ny = \"5/16\"\n",
        row("first = 1\npitch = 1\ncount = 3\n")
    );
    assert_eq!(
        said_of(&same_place),
        "p.toml:14:1: hole P1: it is at the same place as A2"
    );
}

#[test]
fn tolerance_makes_sense() {
    let text = format!("{HEAD}{}", row("first = 1\npitch = 0.125\ncount = 3\n"));
    assert_eq!(
        said(&text.replace("1/32", "1/8")),
        "p.toml:6:12: [tolerance]: position: found 1/8 in (3.2 mm), but A1 and A2 are only 1/8 in (3.2 mm) \
         apart; expected at most half of that, so that a mark cannot serve two holes"
    );
    assert_eq!(
        said(&text.replace("1/32", "-1/32")),
        "p.toml:6:12: [tolerance]: position: found -0.031 in; expected more than 0"
    );
    assert_eq!(
        said(&text.replace("1/32", "1")),
        "p.toml:6:12: [tolerance]: position: found 1 in; expected at most 0.157 in. Is the unit right?\n  hint: if the plan is in \
         millimetres, write units = \"mm\" at its top"
    );
}

#[test]
fn datum_names_two_holes() {
    let with = |datum: &str| {
        said(&format!(
            "datum = {datum}\n{HEAD}{}",
            row("first = 1\npitch = 1\ncount = 3\n")
        ))
    };
    assert_eq!(
        with("[\"A1\"]"),
        "p.toml:1:9: datum: found 1 name; expected the names of two holes, such as [\"A1\", \"A14\"]"
    );
    assert_eq!(
        with("[\"A1\", \"A1\"]"),
        "p.toml:1:16: datum: found \"A1\" twice; expected two holes"
    );
    assert_eq!(
        with("[\"A1\", \"A4\"]"),
        "p.toml:1:16: datum: the plan has no hole \"A4\"\n  hint: did you mean \"A1\"?"
    );
    assert_eq!(
        with("3"),
        "p.toml:1:9: datum: found the number 3; expected a list of texts"
    );
}

#[test]
fn files_that_are_no_plan() {
    assert_eq!(
        said("units = \"in\"\n[sheet\nwidth = 1\n"),
        "p.toml:2:7: not TOML: unclosed table, expected `]`"
    );
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let text = |e: PlanError| {
        e.to_string()
            .replace(&format!("{}/", folder.path().display()), "")
    };
    assert_eq!(
        text(read(&file("a.toml", b"# ok\ntitle = \"\xff\"\n")).unwrap_err()),
        "a.toml:2: not UTF-8 text (byte 14). Save it as UTF-8, or is it the right file?"
    );
    assert_eq!(
        text(read(&file("b.toml", &vec![b'#'; (1 << 20) + 1])).unwrap_err()),
        "b.toml: has 1048577 bytes; a plan has at most 1048576. Is it the right file?"
    );
    assert!(matches!(
        read(&folder.path().join("none.toml")),
        Err(PlanError::Unreadable { .. })
    ));
    assert!(matches!(
        read(folder.path()),
        Err(PlanError::Unreadable { .. })
    ));
}

#[test]
fn many_holes_are_refused_soon() {
    let many = "[[hole]]\nname = \"P\"\nx = 1\ny = 1\n".repeat(20_000);
    let start = std::time::Instant::now();
    let error = parse(&format!("{HEAD}{many}"), Path::new("p.toml")).unwrap_err();
    let PlanError::Invalid { faults, .. } = error else {
        panic!("{error}");
    };
    assert!(
        faults
            .iter()
            .any(|f| f.text == "the plan has more than 2000 holes")
    );
    // A second is far more than it takes, and far less than a check of every pair would.
    assert!(
        start.elapsed().as_secs_f64() < 1.0,
        "took {:?}",
        start.elapsed()
    );
    let deep = format!("title = {}1{}", "[".repeat(50_000), "]".repeat(50_000));
    assert!(said(&deep).contains("not TOML"));
}

/// A fixed seed: the same cases every time.
fn config() -> ProptestConfig {
    ProptestConfig {
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(2),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    /// Whatever the text, a plan or a fault with a place comes back.
    #[test]
    fn any_text(text in any::<String>()) {
        let _ = parse(&text, Path::new("p.toml"));
    }

    /// A sound plan with one piece of it replaced.
    #[test]
    fn broken_plans(at in 0_usize..320, cut in 0_usize..12, put in "[\\PC\n\"=\\[\\]]{0,6}") {
        let text = format!("{HEAD}{}", row("first = \"11/16\"\npitch = \"13/16\"\ncount = 14\n[[hole]]\nname = \"P\"\nx = 6\ny = 4\n"));
        let at = at.min(text.len());
        let end = (at + cut).min(text.len());
        let broken = format!("{}{put}{}", &text[..at], &text[end..]);
        match parse(&broken, Path::new("p.toml")) {
            Ok(plan) => prop_assert!(!plan.holes.is_empty()),
            Err(PlanError::Syntax { faults, .. } | PlanError::Invalid { faults, .. }) => {
                prop_assert!(!faults.is_empty());
                for fault in faults {
                    prop_assert!(fault.line >= 1 && fault.column >= 1);
                    prop_assert!(fault.line <= broken.lines().count() + 1);
                    prop_assert!(fault.text != "the plan is not complete");
                }
            }
            Err(e) => prop_assert!(false, "{e}"),
        }
    }

    /// A pitched row has its holes where arithmetic puts them, on every side.
    #[test]
    fn rows_are_where_they_should_be(
        side in 0_usize..4, first in 5.0_f64..50.0, pitch in 5.0_f64..20.0, count in 1_usize..10, edge in 4.0_f64..40.0,
    ) {
        let along = ["bottom", "top", "left", "right"][side];
        let text = format!(
            "units = \"mm\"\n[sheet]\nwidth = 300\nheight = 250\n[tolerance]\nposition = 1\n[[row]]\nname = \"R\"\n\
             along = \"{along}\"\nedge_distance = {edge}\nfirst = {first}\npitch = {pitch}\ncount = {count}\n"
        );
        let plan = take(&text);
        prop_assert_eq!(plan.holes.len(), count);
        for (i, hole) in plan.holes.iter().enumerate() {
            let station = first + pitch * i as f64;
            let (along_row, from_edge) = match side {
                0 => (hole.at.x, hole.at.y),
                1 => (hole.at.x, 250.0 - hole.at.y),
                2 => (hole.at.y, hole.at.x),
                _ => (hole.at.y, 300.0 - hole.at.x),
            };
            prop_assert!((along_row - station).abs() < EXACT_MM);
            prop_assert!((from_edge - edge).abs() < EXACT_MM);
        }
    }
}
