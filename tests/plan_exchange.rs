//! CSV and DXF, in and out, and hostile files.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cli_support;

use std::fs;
use std::path::Path;
use std::process::Command;

use cli_support::run;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use punchready::exchange::{
    DxfChoice, ExchangeError, Imported, from_csv, from_dxf, plan_text, to_csv, to_dxf,
};
use punchready::plan::{Plan, Units, parse, read, starters};

/// Seven decimals of an inch are written.
const WRITTEN_MM: f64 = 2e-6;

fn fixture(name: &str) -> Plan {
    read(
        &Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(name),
    )
    .unwrap()
}

fn every() -> DxfChoice {
    DxfChoice {
        largest_mm: 13.0,
        ..DxfChoice::default()
    }
}

fn csv(text: &str, units: Option<Units>) -> Result<Imported, ExchangeError> {
    from_csv(text.as_bytes(), units)
}

fn same_places(found: &Imported, plan: &Plan) {
    assert_eq!(found.holes.len(), plan.holes.len());
    for hole in &plan.holes {
        let near = found
            .holes
            .iter()
            .find(|f| (f.at[0] - hole.at.x).hypot(f.at[1] - hole.at.y) < WRITTEN_MM);
        let near = near.unwrap_or_else(|| panic!("{} is lost", hole.name));
        assert_eq!(near.name.as_ref(), Some(&hole.name));
    }
}

#[test]
fn csv_there_and_back() {
    for name in ["hatch-cover.toml", "keel-strip.toml"] {
        let plan = fixture(name);
        let text = to_csv(&plan);
        let found = csv(&text, None).unwrap();
        same_places(&found, &plan);
        assert_eq!(found.units, plan.units);
        let again = plan_text(
            &found,
            "Again",
            [plan.width_mm, plan.height_mm],
            plan.tolerance_mm,
        );
        let again = parse(&again, Path::new("again.toml")).unwrap_or_else(|e| panic!("{e}"));
        for (a, b) in again.holes.iter().zip(&plan.holes) {
            assert_eq!(a.name, b.name);
            assert!(a.at.distance(b.at) < 30.0 * WRITTEN_MM);
        }
    }
}

#[test]
fn csv_as_people_write_it() {
    // To a nanometre: 3 x 25.4 is not 76.2 in binary.
    let places = |f: &Imported| -> Vec<[f64; 2]> {
        f.holes
            .iter()
            .map(|h| h.at.map(|v| (v * 1e6).round() / 1e6))
            .collect()
    };
    let plain = csv("1, 2\n3,4.5\n\n# note\n", Some(Units::Inch)).unwrap();
    assert_eq!(places(&plain), [[25.4, 50.8], [76.2, 114.3]]);
    let named = csv("\u{feff}Hole;Y [mm];X [mm]\r\nP1;20;10\r\n", None).unwrap();
    assert_eq!(named.holes[0].name.as_deref(), Some("P1"));
    assert_eq!(places(&named), [[10.0, 20.0]]);
    let fractions = csv("x\ty\n5/8\t2 17/32\n", Some(Units::Inch)).unwrap();
    assert_eq!(places(&fractions), [[15.875, 64.29375]]);
    let own_unit = csv("10mm,1in\n", Some(Units::Inch)).unwrap();
    assert_eq!(places(&own_unit), [[10.0, 25.4]]);
}

#[test]
fn csv_that_is_refused() {
    for (text, units, expected) in [
        ("1,2\n", None, "does not say the unit"),
        (
            "x_mm,y_mm\n1,2\n",
            Some(Units::Inch),
            "its numbers are millimetres",
        ),
        ("1,2\n3,\n", Some(Units::Inch), "line 2: y: nothing there"),
        (
            "1,2\n3,nan\n",
            Some(Units::Inch),
            "line 2: y: found \"nan\"",
        ),
        (
            "1,2\n1e9,3\n",
            Some(Units::Inch),
            "line 2: x: found \"1e9\"",
        ),
        (
            "1,2\n99999999,3\n",
            Some(Units::Inch),
            "line 2: x: found \"99999999\", which is more than 100 m",
        ),
        ("", Some(Units::Inch), "has no holes"),
        ("hello\n", Some(Units::Inch), "line 1: x: found \"hello\""),
    ] {
        let error = csv(text, units).unwrap_err().to_string();
        assert!(error.contains(expected), "{text:?}: {error}");
    }
    let many = "1,2\n".repeat(2001);
    assert_eq!(csv(&many, Some(Units::Inch)), Err(ExchangeError::TooMany));
    assert!(
        from_csv(b"1,2\n\xff,3\n", Some(Units::Inch))
            .unwrap_err()
            .to_string()
            .starts_with("line 2: it is not UTF-8")
    );
}

#[test]
fn names_that_a_plan_cannot_have_are_replaced() {
    let found = csv(
        "name,x,y\nA 1,1,1\nB,2,2\nb,3,3\nH1,4,4\n",
        Some(Units::Inch),
    )
    .unwrap();
    let text = plan_text(&found, "a \"title\"\n", [254.0, 254.0], 0.8);
    let plan = parse(&text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let names: Vec<&str> = plan.holes.iter().map(|h| h.name.as_str()).collect();
    assert_eq!(names, ["H2", "B", "H3", "H1"]);
}

#[test]
fn dxf_there_and_back() {
    for name in ["hatch-cover.toml", "keel-strip.toml"] {
        let plan = fixture(name);
        let bytes = to_dxf(&plan).unwrap();
        assert_eq!(
            bytes,
            to_dxf(&plan).unwrap(),
            "the same plan, the same bytes"
        );
        let found = from_dxf(&bytes, &every()).unwrap();
        same_places(&found, &plan);
        assert_eq!(found.units, plan.units);
        let [w, h] = found.sheet_mm.unwrap();
        assert!((w - plan.width_mm).abs() < WRITTEN_MM && (h - plan.height_mm).abs() < WRITTEN_MM);
        let n = plan.holes.len();
        let told = |lines: &[String], part: &str| {
            assert!(lines.iter().any(|l| l.contains(part)), "{part}: {lines:?}")
        };
        told(&found.taken, &format!("{n} x point on layer HOLES"));
        told(&found.taken, &format!("{n} x circle on layer RIVETS"));
        told(
            &found.taken,
            &format!("{n} of them at the centre of another"),
        );
        told(&found.left_out, &format!("{n} x text on layer NAMES"));
    }
}

/// A datum hole that is drilled already stays one: the plan made of the export has nothing to be marked there.
#[test]
fn what_is_drilled_stays_drilled() {
    let ring = starters::named("ring").unwrap().text;
    let plan = parse(ring, Path::new("ring.toml")).unwrap();
    assert_eq!(plan.drilled.len(), 1);
    let found = from_dxf(&to_dxf(&plan).unwrap(), &every()).unwrap();
    same_places(&found, &plan);
    let told = "1 x point on layer DRILLED, as drilled already: nothing is to be marked there";
    assert!(found.taken.iter().any(|t| t == told), "{:?}", found.taken);
    let text = plan_text(&found, "ring", found.sheet_mm.unwrap(), 0.8);
    let again = parse(&text, Path::new("again.toml")).unwrap();
    assert_eq!(again.holes.len(), plan.holes.len());
    let [there, here] = [&again, &plan].map(|p| p.drilled[0].at);
    assert!(there.distance(here) < WRITTEN_MM, "{there:?} {here:?}");
    // A circle about it on another layer does not make it a hole to be marked.
    let entities = [
        circle("RIVETS", "10", "10", "1.6"),
        point("drilled", "10", "10"),
        point("HOLES", "30", "10"),
    ];
    let found = from_dxf(&dxf(Some("4"), "", &entities.concat()), &every()).unwrap();
    assert_eq!(
        (found.holes.len(), found.drilled.len()),
        (1, 1),
        "{found:?}"
    );
}

/// Names (also of drilled holes, also in letters of other scripts), tolerance and rivet come back as they were.
#[test]
fn an_export_comes_back_as_the_plan() {
    let text = "title = \"t\"\nunits = \"in\"\n[sheet]\nwidth = 6\nheight = 4\n[rivet]\ndiameter = \"3/32\"\n[tolerance]\nposition = \"1/64\"\n\
                [[row]]\nname = \"A\"\nalong = \"bottom\"\nedge_distance = \"1/2\"\nfirst = 1\npitch = \"5/8\"\ncount = 6\n\
                [[hole]]\nname = \"Ç1\"\nx = 3\ny = 2\n[[hole]]\nname = \"字2\"\nx = 4\ny = 2\n\
                [[hole]]\nname = \"M\"\nx = 3\ny = 3\ndrilled = true\n";
    let plan = parse(text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"));
    let found = from_dxf(&to_dxf(&plan).unwrap(), &every()).unwrap();
    let text = plan_text(
        &found,
        "t",
        found.sheet_mm.unwrap(),
        found.tolerance_mm.unwrap(),
    );
    let again = parse(&text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}\n{text}"));
    let names = |list: &[punchready::plan::Hole]| -> Vec<String> {
        let mut names: Vec<String> = list.iter().map(|h| h.name.clone()).collect();
        names.sort();
        names
    };
    assert_eq!(names(&again.holes), names(&plan.holes));
    assert_eq!(names(&again.drilled), ["M"]);
    same_places(&found, &plan);
    for (a, b) in [
        (again.tolerance_mm, plan.tolerance_mm),
        (again.rivet_mm.unwrap(), plan.rivet_mm.unwrap()),
        (again.width_mm, plan.width_mm),
    ] {
        assert!((a - b).abs() < 30.0 * WRITTEN_MM, "{a} for {b}");
    }
    assert_eq!(again.units, plan.units);
}

/// Lists as programs write them: each sign between columns, decimal sign, head, quoting, line end and coding. Each is read to
/// the right places, or refused; which of the two is no matter of chance but of whether a person could tell.
#[test]
fn a_hundred_ways_to_write_a_list() {
    // x, y in mm; none of them could be another's.
    let places = [[12.5, 30.25], [101.75, 7.125], [40.0, 88.5]];
    let (mut right, mut refused, mut all) = (0, 0, 0);
    for separator in [",", ";", "\t", " ; "] {
        for decimal in ['.', ','] {
            for head in [
                "",
                "x,y",
                "name,x,y",
                "Hole,Y [mm],X [mm]",
                "x_mm,y_mm,name",
                "x,y,unit",
            ] {
                for quoted in [false, true] {
                    for (end, mark) in [("\n", ""), ("\r\n", "\u{feff}")] {
                        let cell = |text: String| match quoted {
                            true => format!("\"{text}\""),
                            false => text,
                        };
                        let number =
                            |v: f64| cell(v.to_string().replace('.', &decimal.to_string()));
                        let mut text = mark.to_owned();
                        if !head.is_empty() {
                            let names: Vec<String> =
                                head.split(',').map(|n| cell(n.to_owned())).collect();
                            text += &(names.join(separator) + end);
                        }
                        for (i, [x, y]) in places.iter().enumerate() {
                            let name = cell(format!("P{i}"));
                            let cells = match head {
                                "" | "x,y" => vec![number(*x), number(*y)],
                                "name,x,y" => vec![name, number(*x), number(*y)],
                                "x_mm,y_mm,name" => vec![number(*x), number(*y), name],
                                "x,y,unit" => vec![number(*x), number(*y), cell("mm".into())],
                                _ => vec![name, number(*y), number(*x)],
                            };
                            text += &(cells.join(separator) + end);
                        }
                        // The unit is said where the list does not say it; once said wrongly, it must be seen.
                        let says = head.contains("mm") || head.contains("unit");
                        all += 1;
                        match csv(&text, (!says).then_some(Units::Millimetre)) {
                            Ok(found) => {
                                right += 1;
                                for (hole, want) in found.holes.iter().zip(places) {
                                    let off = (hole.at[0] - want[0]).hypot(hole.at[1] - want[1]);
                                    assert!(off < 1e-3, "{text:?}: {hole:?} for {want:?}");
                                }
                                assert_eq!(found.holes.len(), places.len(), "{text:?}");
                            }
                            Err(_) => {
                                refused += 1;
                                // Only a comma for both, that nothing tells apart, and blanks before quotes, which then
                                // are letters.
                                let one_comma = decimal == ',' && separator == "," && !quoted;
                                assert!(one_comma || (quoted && separator == " ; "), "{text:?}");
                            }
                        }
                        if says {
                            let other = csv(&text, Some(Units::Inch));
                            assert!(other.is_err(), "{text:?}: the other unit was taken");
                        }
                    }
                }
            }
        }
    }
    println!("{all} lists: {right} read, {refused} refused");
    assert!(all >= 100 && refused <= all / 4, "{all} {refused}");
}

/// What could be read in two ways is read in none.
#[test]
fn lists_that_could_mean_two_things() {
    for (text, expected) in [
        // A number before x and y, or a height behind them: nobody can tell.
        ("1,10,20\n2,30,40\n", "3 columns, of which 3 are lengths"),
        (
            "12,5,30,25\n40,0,88,5\n",
            "4 columns, of which 4 are lengths",
        ),
        ("x_mm,y_in\n1,2\n", "x and y are not in one unit"),
        ("x_mm,y\n1,2\n", "x and y are not in one unit"),
        ("x,y,x,y\n1,2,3,4\n", "more than one column for x"),
        ("x,y,unit\n1,2,mm\n3,4,in\n", "another one than before"),
        ("x,y,unit\n1,2,cm\n", "expected in or mm"),
        (
            "12,345\t30,125\n",
            "may be that of decimals or of thousands",
        ),
        ("1,5\t2.5\n", "may be that of decimals or of thousands"),
        ("r,angle\n1,2\n", "line 1: x: found \"r\""),
        ("A,B,1,2\nC,D,3,4\n", "4 columns without a name"),
    ] {
        let told = csv(text, Some(Units::Millimetre)).unwrap_err().to_string();
        assert!(told.contains(expected), "{text:?}: {told}");
    }
    // Where there are both, the unit that is asked for counts.
    let both = "x_in,y_in,x_mm,y_mm\n1,2,25.4,50.8\n";
    for (units, taken) in [(Units::Inch, "column 1 "), (Units::Millimetre, "column 3 ")] {
        let found = csv(both, Some(units)).unwrap();
        assert!((found.holes[0].at[0] - 25.4).abs() < 1e-9, "{found:?}");
        assert!(found.taken[0].contains(taken), "{found:?}");
    }
    // Columns that are not read are told; UTF-16 and a line that names the sign are read.
    let found = csv("x;y;z;depth\n1;2;0;5\n", Some(Units::Inch)).unwrap();
    assert_eq!(
        found.left_out,
        ["column \"z\": not read", "column \"depth\": not read"]
    );
    let wide: Vec<u8> = "\u{feff}sep=;\r\nx;y\r\n1,5;2\r\n"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let found = from_csv(&wide, Some(Units::Millimetre)).unwrap();
    assert_eq!(found.holes[0].at, [1.5, 2.0]);
}

/// An entity as pairs of code and value.
fn pairs(list: &[(i32, &str)]) -> String {
    list.iter()
        .map(|(code, value)| format!("{code:>3}\n{value}\n"))
        .collect()
}

fn dxf(units: Option<&str>, blocks: &str, entities: &str) -> Vec<u8> {
    let mut text = pairs(&[
        (0, "SECTION"),
        (2, "HEADER"),
        (9, "$ACADVER"),
        (1, "AC1015"),
    ]);
    if let Some(u) = units {
        text += &pairs(&[(9, "$INSUNITS"), (70, u)]);
    }
    text += &pairs(&[(0, "ENDSEC"), (0, "SECTION"), (2, "BLOCKS")]);
    text += blocks;
    text += &pairs(&[(0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")]);
    text += entities;
    text += &pairs(&[(0, "ENDSEC"), (0, "EOF")]);
    text.into_bytes()
}

fn point(layer: &str, x: &str, y: &str) -> String {
    pairs(&[(0, "POINT"), (8, layer), (10, x), (20, y), (30, "0")])
}

fn circle(layer: &str, x: &str, y: &str, r: &str) -> String {
    pairs(&[
        (0, "CIRCLE"),
        (8, layer),
        (10, x),
        (20, y),
        (30, "0"),
        (40, r),
    ])
}

#[test]
fn dxf_units_layers_outline_and_blocks() {
    let outline = pairs(&[
        (0, "LWPOLYLINE"),
        (8, "0"),
        (90, "4"),
        (70, "1"),
        (10, "5"),
        (20, "5"),
        (10, "15"),
        (20, "5"),
        (10, "15"),
        (20, "11"),
        (10, "5"),
        (20, "11"),
    ]);
    let block = pairs(&[
        (0, "BLOCK"),
        (8, "0"),
        (2, "HOLE"),
        (70, "0"),
        (10, "1"),
        (20, "1"),
        (30, "0"),
    ]) + &circle("0", "1.1", "1", "0.0625")
        + &pairs(&[(0, "ENDBLK"), (8, "0")]);
    let insert = pairs(&[
        (0, "INSERT"),
        (8, "B"),
        (2, "HOLE"),
        (10, "10"),
        (20, "8"),
        (30, "0"),
        (50, "90"),
    ]);
    let entities = outline.clone()
        + &point("A", "6", "6")
        + &point("A", "6.000001", "6")
        + &circle("A", "7", "6", "0.0625")
        + &circle("A", "10", "8", "2")
        + &point("C", "8", "6")
        + &insert
        + &pairs(&[
            (0, "LINE"),
            (8, "A"),
            (10, "0"),
            (20, "0"),
            (11, "1"),
            (21, "1"),
        ]);
    let file = dxf(Some("1"), &block, &entities);
    let found = from_dxf(&file, &every()).unwrap();
    let [w, h] = found.sheet_mm.unwrap();
    assert!((w - 254.0).abs() < 1e-9 && (h - 152.4).abs() < 1e-9);
    let expected = [[1.0, 1.0], [2.0, 1.0], [3.0, 1.0], [5.0, 3.1]];
    assert_eq!(found.holes.len(), expected.len(), "{found:?}");
    for (got, want) in found.holes.iter().zip(expected) {
        assert!(
            (got.at[0] - want[0] * 25.4).hypot(got.at[1] - want[1] * 25.4) < 1e-9,
            "{got:?} for {want:?}"
        );
    }
    assert!(
        found
            .left_out
            .iter()
            .any(|l| l.contains("circle on layer A: larger than 13 mm, a cut-out"))
    );
    let open = "layer A with lines and arcs (1) that close to nothing";
    assert!(found.left_out.iter().any(|l| l.contains(open)), "{found:?}");
    // By layer.
    let only = from_dxf(
        &file,
        &DxfChoice {
            layers: vec!["a".into(), "0".into()],
            ..every()
        },
    )
    .unwrap();
    assert_eq!(only.holes.len(), 2);
    assert!(
        only.left_out
            .iter()
            .any(|l| l.contains("point on layer C: its layer was not asked for"))
    );
    // The header's unit is honoured, and not overruled.
    for (code, mm) in [("1", 25.4), ("4", 1.0), ("5", 10.0), ("6", 1000.0)] {
        let one = dxf(Some(code), "", &point("0", "2", "3"));
        assert_eq!(
            from_dxf(&one, &every()).unwrap().holes[0].at,
            [2.0 * mm, 3.0 * mm]
        );
    }
    let inch = DxfChoice {
        units: Some(Units::Inch),
        ..every()
    };
    assert!(matches!(
        from_dxf(&dxf(Some("4"), "", &point("0", "2", "3")), &inch),
        Err(ExchangeError::OtherUnits { .. })
    ));
    assert_eq!(
        from_dxf(&dxf(None, "", &point("0", "2", "3")), &every()),
        Err(ExchangeError::NoUnits)
    );
    assert_eq!(
        from_dxf(&dxf(Some("0"), "", &point("0", "2", "3")), &inch)
            .unwrap()
            .holes[0]
            .at,
        [2.0 * 25.4, 3.0 * 25.4]
    );
}

#[test]
fn dxf_that_makes_no_sense() {
    for bytes in [
        &b""[..],
        b"hello",
        b"AutoCAD Binary DXF\r\n\x1a\0",
        b"AutoCAD DXB 1.0\r\n\x1a\0",
        b"0\nSECTION\n",
        &[0xff; 64],
    ] {
        let error = from_dxf(bytes, &every()).unwrap_err();
        assert!(matches!(error, ExchangeError::BadDxf { .. }), "{error}");
    }
    for bad in ["nan", "1e300", "-1e9", "inf"] {
        let file = dxf(
            Some("4"),
            "",
            &(point("0", bad, "1") + &point("0", "5", "5")),
        );
        match from_dxf(&file, &every()) {
            Ok(found) => assert!(
                found.holes.len() == 1 && !found.left_out.is_empty(),
                "{bad}: {found:?}"
            ),
            Err(e) => assert!(matches!(e, ExchangeError::BadDxf { .. }), "{bad}: {e}"),
        }
    }
    // A block inserted 30000 x 30000 times.
    let block = pairs(&[
        (0, "BLOCK"),
        (8, "0"),
        (2, "H"),
        (10, "0"),
        (20, "0"),
        (30, "0"),
    ]) + &point("0", "0", "0")
        + &pairs(&[(0, "ENDBLK"), (8, "0")]);
    let array = pairs(&[
        (0, "INSERT"),
        (8, "0"),
        (2, "H"),
        (10, "0"),
        (20, "0"),
        (30, "0"),
        (70, "30000"),
        (71, "30000"),
        (44, "0.01"),
        (45, "0.01"),
    ]);
    assert_eq!(
        from_dxf(&dxf(Some("4"), &block, &array), &every()),
        Err(ExchangeError::TooMuch { most: 200_000 })
    );
}

/// Another program reads what is written: `ezdxf` (Python), where it is installed.
#[test]
fn ezdxf_reads_it_back() {
    let there = Command::new("python3")
        .args(["-c", "import ezdxf"])
        .output();
    if !there.is_ok_and(|o| o.status.success()) {
        eprintln!("SKIPPED: python3 with ezdxf is not here");
        return;
    }
    const SCRIPT: &str = "\
import sys, ezdxf
doc = ezdxf.readfile(sys.argv[1])
errors = doc.audit().errors
m = doc.modelspace()
print(doc.header['$INSUNITS'], len(errors), len(m.query('CIRCLE')), len(m.query('TEXT')))
print(*[f'{v[0]:.6f},{v[1]:.6f}' for v in m.query('LWPOLYLINE')[0].get_points()], m.query('LWPOLYLINE')[0].closed)
for p in m.query('POINT'):
    print(p.dxf.layer, f'{p.dxf.location.x:.7f} {p.dxf.location.y:.7f}')
";
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("out.dxf");
    let ring = parse(
        starters::named("ring").unwrap().text,
        Path::new("ring.toml"),
    )
    .unwrap();
    for plan in [
        fixture("hatch-cover.toml"),
        fixture("keel-strip.toml"),
        ring,
    ] {
        fs::write(&path, to_dxf(&plan).unwrap()).unwrap();
        let ran = Command::new("python3")
            .args(["-c", SCRIPT])
            .arg(&path)
            .output()
            .unwrap();
        assert!(
            ran.status.success(),
            "{}",
            String::from_utf8_lossy(&ran.stderr)
        );
        let out = String::from_utf8(ran.stdout).unwrap();
        let mut lines = out.lines();
        let (code, mm) = match plan.units {
            Units::Inch => (1, 25.4),
            Units::Millimetre => (4, 1.0),
        };
        let n = plan.holes.len();
        assert_eq!(
            lines.next().unwrap(),
            format!("{code} 0 {n} {}", n + plan.drilled.len())
        );
        let (w, h) = (plan.width_mm / mm, plan.height_mm / mm);
        assert_eq!(
            lines.next().unwrap(),
            format!("0.000000,0.000000 {w:.6},0.000000 {w:.6},{h:.6} 0.000000,{h:.6} True")
        );
        let holes = plan
            .holes
            .iter()
            .map(|h| ("HOLES", h))
            .chain(plan.drilled.iter().map(|h| ("DRILLED", h)));
        for (layer, hole) in holes {
            let expected = format!("{layer} {:.7} {:.7}", hole.at.x / mm, hole.at.y / mm);
            assert_eq!(lines.next().unwrap(), expected, "{}", hole.name);
        }
    }
}

#[test]
fn on_the_command_line() {
    let dir = tempfile::tempdir().unwrap();
    let plan = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/hatch-cover.toml");
    let plan = plan.to_str().unwrap();
    for file in ["h.dxf", "h.csv"] {
        assert_eq!(
            run(dir.path(), &["plan", "export", plan, "--out", file]).code,
            0
        );
        let to = format!("{file}.toml");
        let mut args = vec!["plan", "import", file, "--out", &to];
        if file == "h.csv" {
            let ran = run(dir.path(), &args);
            assert!(
                ran.code == 2 && ran.err.contains("--sheet 12in,8.5in"),
                "{}",
                ran.err
            );
            args.extend(["--sheet", "12in,8.5in"]);
        }
        let ran = run(dir.path(), &args);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(
            ran.out.contains("44 holes") && ran.out.contains("Taken"),
            "{}",
            ran.out
        );
        assert!(
            ran.out.lines().all(|l| l.chars().count() <= 80),
            "{}",
            ran.out
        );
        assert_eq!(read(&dir.path().join(&to)).unwrap().holes.len(), 44);
        let again = run(dir.path(), &args);
        assert!(
            again.code == 2 && again.err.contains("exists already"),
            "{}",
            again.err
        );
    }
    // Points off the sheet: refused whole, nothing written.
    fs::write(dir.path().join("off.csv"), "x,y\n1,1\n20,1\n").unwrap();
    let ran = run(
        dir.path(),
        &[
            "plan", "import", "off.csv", "--units", "in", "--sheet", "12in,8in", "--out",
            "off.toml",
        ],
    );
    assert!(
        ran.code == 2 && ran.err.contains("past the right edge"),
        "{}",
        ran.err
    );
    assert!(!dir.path().join("off.toml").exists());
}

fn config() -> ProptestConfig {
    ProptestConfig {
        cases: 400,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(11),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn any_csv(text in "[\\PC\n\t;,0-9./-]{0,60}", inch in any::<bool>()) {
        let _ = csv(&text, inch.then_some(Units::Inch));
    }

    /// A sound file with a piece replaced: holes or an error, never a panic.
    #[test]
    fn broken_dxf(at in 0_usize..100_000, cut in 0_usize..60, put in prop::collection::vec(any::<u8>(), 0..12)) {
        let plan = parse(starters::named("ring").unwrap().text, Path::new("ring.toml")).unwrap();
        let mut bytes = to_dxf(&plan).unwrap();
        let at = at % bytes.len();
        let end = (at + cut).min(bytes.len());
        bytes.splice(at..end, put);
        if let Ok(found) = from_dxf(&bytes, &every()) {
            prop_assert!(found.holes.iter().all(|h| h.at.iter().all(|v| v.is_finite())));
        }
    }
}
