//! Requests as the page makes them, answered without a browser. That a browser gives the same bytes is tested with the page
//! itself (`crates/page/web/tests`).
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fs;
use std::path::{Path, PathBuf};

use page::Desk;
use punchready::check::{Given, check, said};
use punchready::report::json;
use punchready::{photo, plan};
use serde_json::{Value, json as value};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../fixtures")
        .join(name)
}

fn ask(desk: &mut Desk, request: Value, files: Vec<Vec<u8>>) -> (Value, Vec<Vec<u8>>) {
    let mut parts = vec![request.to_string().into_bytes()];
    parts.extend(files);
    let mut answer = desk.answer(parts, &mut |_| {});
    let files = answer.split_off(1);
    (serde_json::from_slice(&answer[0]).unwrap(), files)
}

#[test]
fn a_check_is_that_of_the_library_byte_for_byte() {
    let text = fs::read_to_string(fixture("hatch-cover.toml")).unwrap();
    let bytes = fs::read(fixture("hatch-cover.jpg")).unwrap();
    let mut desk = Desk::default();
    let request = value!({
        "ask": "check", "plan": text, "plan_name": "plan.toml", "names": ["a.jpg"],
        "said": {"bars": "100mm,100mm", "card_below": "0mm"},
    });
    let (answer, files) = ask(&mut desk, request, vec![bytes.clone()]);

    let plan = plan::parse(&text, Path::new("plan.toml")).unwrap();
    let given = Given {
        print_scale: Some(said::bars("100mm,100mm").unwrap()),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    let photo = photo::of_bytes(bytes, Path::new("a.jpg")).unwrap();
    let checked = check(&photo, &plan, &given);
    let expected = json::to_string(&checked.report(&plan));
    assert_eq!(String::from_utf8(files[0].clone()).unwrap(), expected);

    // Each hole has its place in the photo, and the signs are those of the picture.
    let holes = answer["places"]["holes"].as_array().unwrap();
    assert_eq!(holes.len(), plan.holes.len());
    assert!(String::from_utf8_lossy(&files[1]).contains("viewBox=\"0 0 4032 3024\""));
    let (_, files) = ask(&mut desk, value!({"ask": "report"}), vec![]);
    assert!(files[0].starts_with(b"<!DOCTYPE html>"));
}

#[test]
fn a_first_look_finds_cards_and_sheet_and_says_what_is_amiss() {
    let text = fs::read_to_string(fixture("hatch-cover.toml")).unwrap();
    let bytes = fs::read(fixture("hatch-cover.jpg")).unwrap();
    let mut desk = Desk::default();
    let mut look = |plan: &str, bytes: Vec<u8>| {
        let request = value!({"ask": "look", "plan": plan, "name": "a.jpg"});
        ask(&mut desk, request, vec![bytes]).0
    };
    let good = look(&text, bytes.clone());
    assert_eq!(good["stops"], Value::Null, "{good}");
    assert_eq!(good["cards"].as_array().unwrap().len(), 3);
    assert!(good["sheet"].is_array());
    assert!(good["px_per_mm"].as_f64().unwrap() > 8.0);

    // The plan of another sheet.
    let other = look(&text.replace("width = 12", "width = 30"), bytes.clone());
    assert_eq!(other["sheet"], Value::Null);
    assert!(other["better"].to_string().contains("edges"), "{other}");
    // A photo of nothing.
    let blank = image::RgbImage::from_pixel(600, 400, image::Rgb([150, 150, 150]));
    let stopped = look(&text, punchready::draw::picture_jpeg(&blank, 90).unwrap());
    assert!(stopped["stops"]["text"].is_string(), "{stopped}");
    let cut = look(&text, bytes[..1000].to_vec());
    assert!(cut["error"].is_string() && cut["hint"].is_string(), "{cut}");
}

#[test]
fn a_plan_is_told_with_its_faults_and_tables() {
    let mut desk = Desk::default();
    let mut check = |text: &str| ask(&mut desk, value!({"ask": "plan", "text": text}), vec![]).0;
    for starter in punchready::plan::starters::STARTERS {
        let told = check(starter.text);
        assert_eq!(told["faults"], value!([]), "{}", starter.name);
        assert!(told["tables"]["sheet"].is_object());
        assert!(!told["plan"]["tables"].as_array().unwrap().is_empty());
    }
    let told = check("units = \"in\"\n[sheet]\nwidth = \"5/31\"\nheight = 3\n");
    assert_eq!(told["plan"], Value::Null);
    let lines: Vec<&Value> = told["faults"]
        .as_array()
        .unwrap()
        .iter()
        .map(|f| &f["line"])
        .collect();
    assert!(lines.contains(&&value!(3)), "{told}");
    assert_eq!(told["tables"]["sheet"]["height"], 3);
}

#[test]
fn what_cannot_be_done_is_said_and_harms_nothing() {
    let mut desk = Desk::default();
    assert!(desk.answer(vec![], &mut |_| {})[0].starts_with(b"{\"error\""));
    for request in [
        value!({"ask": "nothing"}),
        value!({"ask": "report"}),
        value!({"ask": "import", "name": "a.dxf"}),
        value!({"ask": "check", "plan": "x", "plan_name": "p", "names": []}),
    ] {
        let (answer, files) = ask(&mut desk, request.clone(), vec![]);
        assert!(answer["error"].is_string(), "{request}: {answer}");
        assert!(files.is_empty());
    }
    let (answer, files) = ask(
        &mut desk,
        value!({"ask": "cards", "paper": "a4", "shape": "strip"}),
        vec![],
    );
    assert_eq!(answer["numbers"].as_array().unwrap().len(), 12);
    assert!(files[0].starts_with(b"%PDF-") && files[1].starts_with(b"<svg"));
}
