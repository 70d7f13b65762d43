//! Drawings from other programs: every hole at its place, or refused, or listed.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use punchready::exchange::{DxfChoice, ExchangeError, Found, Imported, from_dxf};
use punchready::plan::Units;
use serde_json::Value;

/// Drawings generated: each way to draw a hole, an outline and a thing that is neither comes at least ten times, in every
/// release.
const DRAWINGS: &str = "210";
/// Places differ by this at most, mm: what is written has nine digits or more, and a micron is far below any mark.
const SAME_MM: f64 = 1e-3;
/// A hostile file must end by then: ten times what it takes on a busy machine, a hundredth of what the square of it would.
const SOON: Duration = Duration::from_secs(100);

fn choice(units: Option<Units>) -> DxfChoice {
    DxfChoice {
        units,
        largest_mm: 13.0,
        ..DxfChoice::default()
    }
}

/// All of one list are in the other, one each.
fn compare(file: &str, what: &str, found: &[Found], wanted: &Value, faults: &mut Vec<String>) {
    let wanted: Vec<[f64; 2]> = serde_json::from_value(wanted.clone()).unwrap();
    if found.len() != wanted.len() {
        let (n, m) = (found.len(), wanted.len());
        faults.push(format!("{file}: {n} {what} for {m}"));
    }
    for w in wanted {
        let near = |f: &&Found| (f.at[0] - w[0]).hypot(f.at[1] - w[1]) < SAME_MM;
        if found.iter().filter(near).count() != 1 {
            faults.push(format!("{file}: of {what}, {w:?} is not there once"));
        }
    }
}

/// Written by `ezdxf` (Python), where it is installed; the truth is the generator's.
#[test]
fn two_hundred_drawings_of_another_program() {
    let there = Command::new("python3")
        .args(["-c", "import ezdxf"])
        .output();
    if !there.is_ok_and(|o| o.status.success()) {
        eprintln!("SKIPPED: python3 with ezdxf is not here");
        return;
    }
    let dir = tempfile::tempdir().unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/dxf/generate.py");
    let ran = Command::new("python3")
        .arg(script)
        .arg(dir.path())
        .arg(DRAWINGS)
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{said}");
    let truth = fs::read(dir.path().join("truth.json")).unwrap();
    let truth: Vec<Value> = serde_json::from_slice(&truth).unwrap();
    let (mut faults, mut holes) = (Vec::new(), 0);
    for drawing in &truth {
        let file = drawing["file"].as_str().unwrap();
        let units = drawing["units"].as_str().map(|u| match u {
            "in" => Units::Inch,
            _ => Units::Millimetre,
        });
        let bytes = fs::read(dir.path().join(file)).unwrap();
        let found = match from_dxf(&bytes, &choice(units)) {
            Ok(found) => found,
            Err(e) => {
                faults.push(format!("{file}: refused: {e}"));
                continue;
            }
        };
        let sheet: [f64; 2] = serde_json::from_value(drawing["sheet"].clone()).unwrap();
        let size = found.sheet_mm.unwrap_or_default();
        if (0..2).any(|k| (size[k] - sheet[k]).abs() > SAME_MM) {
            faults.push(format!("{file}: sheet of {size:?} for {sheet:?}"));
        }
        compare(file, "holes", &found.holes, &drawing["holes"], &mut faults);
        compare(
            file,
            "drilled",
            &found.drilled,
            &drawing["drilled"],
            &mut faults,
        );
        for words in drawing["hidden"].as_array().unwrap() {
            let words = words.as_str().unwrap();
            if !found.left_out.iter().any(|l| l.contains(words)) {
                faults.push(format!("{file}: not told: {words}"));
            }
        }
        holes += found.holes.len() + found.drilled.len();
    }
    println!(
        "{} drawings, {holes} holes, {} faults",
        truth.len(),
        faults.len()
    );
    assert!(faults.is_empty(), "{faults:#?}");
    assert!(truth.len() >= 200 && holes >= 2000, "{holes} holes");
}

/// An entity as pairs of code and value, by commas.
fn entity(kind: &str, layer: &str, pairs: &str) -> String {
    let mut text = format!("0\n{kind}\n8\n{layer}\n");
    for pair in pairs.split_whitespace() {
        let (code, value) = pair.split_once('=').unwrap();
        text += &format!("{code}\n{value}\n");
    }
    text
}

fn circle(layer: &str, x: f64, y: f64) -> String {
    entity("CIRCLE", layer, &format!("10={x} 20={y} 40=1.6"))
}

fn closed(layer: &str, corners: &[(f64, f64)]) -> String {
    let mut pairs = format!("90={} 70=1", corners.len());
    for (x, y) in corners {
        pairs += &format!(" 10={x} 20={y}");
    }
    entity("LWPOLYLINE", layer, &pairs)
}

fn rectangle(layer: &str, [x, y]: [f64; 2], [w, h]: [f64; 2]) -> String {
    closed(layer, &[(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
}

/// A drawing in millimetres.
fn drawing(blocks: &str, entities: &str) -> Vec<u8> {
    format!(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n\
         0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"
    )
    .into_bytes()
}

fn read(entities: &str, choice: &DxfChoice) -> Result<Imported, ExchangeError> {
    from_dxf(&drawing("", entities), choice)
}

/// Four holes in a sheet of 100 x 60 at (10, 20).
fn four() -> String {
    [(20.0, 30.0), (100.0, 30.0), (100.0, 70.0), (20.0, 70.0)]
        .map(|(x, y)| circle("HOLES", x, y))
        .concat()
}

fn sheet() -> String {
    rectangle("SHEET", [10.0, 20.0], [100.0, 60.0])
}

#[test]
fn a_polygon_is_no_sheet() {
    let triangle = closed("SHEET", &[(0.0, 0.0), (250.0, 0.0), (0.0, 250.0)]);
    let turned = closed(
        "SHEET",
        &[(60.0, -60.0), (190.0, 50.0), (60.0, 160.0), (-70.0, 50.0)],
    );
    let bent = [
        (0.0, 0.0),
        (200.0, 0.0),
        (200.0, 50.0),
        (115.0, 50.0),
        (115.0, 90.0),
        (0.0, 90.0),
    ];
    for outline in [triangle, turned, closed("SHEET", &bent)] {
        let refused = read(&(four() + &outline), &choice(None))
            .unwrap_err()
            .to_string();
        assert!(
            refused.contains("on layer SHEET that is no upright rectangle")
                && refused.contains("--origin"),
            "{refused}"
        );
    }
    // A cut corner leaves a rectangle, and is told.
    let cut = [
        (10.0, 20.0),
        (110.0, 20.0),
        (110.0, 72.0),
        (102.0, 80.0),
        (10.0, 80.0),
    ];
    let found = read(&(four() + &closed("SHEET", &cut)), &choice(None)).unwrap();
    assert_eq!(found.sheet_mm, Some([100.0, 60.0]));
    assert!(
        found.taken[0].contains("by 11.314 mm at most"),
        "{:?}",
        found.taken
    );
}

#[test]
fn a_frame_is_no_sheet() {
    let frame = rectangle("FRAME", [-50.0, -50.0], [420.0, 297.0]);
    let both = four() + &frame + &sheet();
    let found = read(&both, &choice(None)).unwrap();
    assert_eq!(found.sheet_mm, Some([100.0, 60.0]));
    assert_eq!(found.holes[0].at, [10.0, 10.0]);
    assert!(
        found.taken[0].contains("100 x 60 mm on layer SHEET"),
        "{:?}",
        found.taken
    );
    assert!(
        found
            .warnings
            .iter()
            .any(|w| w.contains("420 x 297 mm on layer FRAME")),
        "{:?}",
        found.warnings
    );
    // A sign in the title block is no hole: with it, either could be the sheet.
    let signed = both + &circle("TITLE", 300.0, -40.0);
    let refused = read(&signed, &choice(None)).unwrap_err().to_string();
    assert!(
        refused.contains("420 x 297 mm on layer FRAME, with 5")
            && refused.contains("100 x 60 mm on layer SHEET, with 4")
            && refused.contains("--outline"),
        "{refused}"
    );
    let only = DxfChoice {
        layers: vec!["holes".into()],
        ..choice(None)
    };
    let found = read(&signed, &only).unwrap();
    // The outline is on a layer that was not asked for holes.
    assert_eq!(
        (found.holes.len(), found.sheet_mm),
        (4, Some([100.0, 60.0]))
    );
    let on = |layer: &str| DxfChoice {
        outline: Some(layer.into()),
        ..choice(None)
    };
    let found = read(&signed, &on("sheet")).unwrap();
    assert_eq!(
        (found.holes.len(), found.sheet_mm),
        (5, Some([100.0, 60.0]))
    );
    let refused = read(&signed, &on("HOLES")).unwrap_err().to_string();
    assert!(
        refused.contains("no closed line on layer HOLES"),
        "{refused}"
    );
}

#[test]
fn where_the_sheet_lies_is_said_or_asked() {
    let said = |origin_mm| DxfChoice {
        sheet_mm: Some([100.0, 60.0]),
        origin_mm,
        ..choice(None)
    };
    let refused = read(&four(), &said(None)).unwrap_err().to_string();
    assert!(refused.contains("expected --origin X,Y"), "{refused}");
    let found = read(&four(), &said(Some([10.0, 20.0]))).unwrap();
    assert_eq!(found.holes[0].at, [10.0, 10.0]);
    assert!(
        found.taken[0].contains("x 10, y 20 mm of the drawing"),
        "{:?}",
        found.taken
    );
    // An outline of another size is no place for that sheet.
    let other = four() + &rectangle("SHEET", [10.0, 20.0], [100.0, 61.0]);
    let refused = read(&other, &said(None)).unwrap_err().to_string();
    assert!(
        refused.contains("100 x 61 mm on layer SHEET; --sheet says 100 x 60 mm"),
        "{refused}"
    );
    assert_eq!(
        read(&(four() + &sheet()), &said(None)).unwrap().sheet_mm,
        Some([100.0, 60.0])
    );
}

#[test]
fn nothing_is_lost_in_silence() {
    // Every thing that is drawn is in one of the lists.
    let odd = entity("MPOLYGON", "X", "10=1") + &entity("ACAD_PROXY_ENTITY", "X", "90=1");
    let missing = entity("INSERT", "X", "2=GONE 10=5 20=5");
    let found = read(&(four() + &sheet() + &odd + &missing), &choice(None)).unwrap();
    for words in [
        "1 x mpolygon on layer X: neither",
        "1 x acad_proxy_entity on layer X: neither",
        "1 x block GONE on layer X: the file does not have that block",
    ] {
        assert!(
            found
                .left_out
                .iter()
                .any(|l| l == words || l.starts_with(words)),
            "{words}: {:?}",
            found.left_out
        );
    }
    let counted = "8 things in the drawing, counted through its blocks: 4 taken as holes, 3 left out, 1 lines";
    assert!(
        found.taken.iter().any(|l| l.starts_with(counted)),
        "{:?}",
        found.taken
    );
    // A file that was cut short is no drawing, wherever the cut is.
    let whole = String::from_utf8(drawing("", &(four() + &sheet()))).unwrap();
    let lines: Vec<&str> = whole.lines().collect();
    for n in 1..lines.len() {
        let cut = lines[..n].join("\n");
        let read = from_dxf(cut.as_bytes(), &choice(None));
        assert!(
            matches!(read, Err(ExchangeError::BadDxf { .. })),
            "cut after line {n}: {read:?}"
        );
    }
}

#[test]
fn hostile_drawings_end_soon() {
    let start = Instant::now();
    let block = |name: &str, inside: &str| {
        format!("0\nBLOCK\n8\n0\n2\n{name}\n70\n0\n10\n0\n20\n0\n{inside}0\nENDBLK\n8\n0\n")
    };
    let too_much = |blocks: &str, entities: &str, what: &str| {
        let read = from_dxf(&drawing(blocks, entities), &choice(None));
        assert!(
            matches!(read, Err(ExchangeError::TooMuch { .. })),
            "{what}: {read:?}"
        );
    };
    // Far away nothing is counted as a hole; there are just as many of them.
    let far = "2=H 10=9e9 20=0 70=30000 71=30000 44=1 45=1";
    too_much(
        &block("H", &circle("0", 0.0, 0.0)),
        &entity("INSERT", "0", far),
        "far away",
    );
    let none = "2=H 10=0 20=0 70=2147483647 71=2147483647";
    too_much(
        &block("H", ""),
        &entity("INSERT", "0", none),
        "nothing, often",
    );
    // Ten times ten times ten.
    let mut blocks = block("B0", &circle("0", 0.0, 0.0));
    for i in 1..12 {
        let inside = entity("INSERT", "0", &format!("2=B{} 10=1e7 20=0", i - 1)).repeat(10);
        blocks += &block(&format!("B{i}"), &inside);
    }
    too_much(&blocks, &entity("INSERT", "0", "2=B11 10=0 20=0"), "nested");
    // Blocks that hold each other end.
    let circular =
        block("A", &entity("INSERT", "0", "2=B")) + &block("B", &entity("INSERT", "0", "2=A"));
    let read = from_dxf(
        &drawing(
            &circular,
            &(entity("INSERT", "0", "2=A") + &four() + &sheet()),
        ),
        &choice(None),
    );
    let found = read.unwrap();
    assert!(
        found
            .left_out
            .iter()
            .any(|l| l.contains("blocks that hold each other")),
        "{found:?}"
    );
    // As many layers as there are things, lines that all meet in one place, and a long chain that does not close.
    let layers: String = (0..40_000)
        .map(|i| entity("TEXT", &format!("L{i}"), "10=0 20=0"))
        .collect();
    let star: String = (0..40_000)
        .map(|i| entity("LINE", "S", &format!("10=0 20=0 11={i} 21=5")))
        .collect();
    let chain: String = (0..40_000)
        .map(|i| {
            entity(
                "LINE",
                "C",
                &format!("10={i} 20={} 11={} 21={}", i % 7, i + 1, (i + 1) % 7),
            )
        })
        .collect();
    let found = from_dxf(
        &drawing("", &(layers + &star + &chain + &four() + &sheet())),
        &choice(None),
    )
    .unwrap();
    assert_eq!(found.holes.len(), 4);
    let took = start.elapsed();
    println!("hostile drawings: {took:?}");
    assert!(took < SOON, "{took:?}");
}
