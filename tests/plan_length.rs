//! Lengths: against exact values, and as laws.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::path::PathBuf;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use punchready::plan::Units;
use punchready::plan::length::{
    self, MM_PER_INCH, nearest_fraction, parse, parse_option, parse_pair, show, show_planned,
};
use serde_json::Value;

/// One or two roundings of numbers below 1000 mm.
const EXACT_MM: f64 = 1e-12;

/// The reference data, or `None`, said aloud, where it is not at hand.
fn reference(file: &str) -> Option<Value> {
    let folder = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let path = folder.join(file);
    if !path.exists() {
        println!("SKIPPED: {file} is not at hand");
        return None;
    }
    Some(serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap())
}

/// Exact decimal values computed from 1 in = 25.4 mm by hand.
#[test]
fn forms_of_the_grammar() {
    let cases = [
        ("5/8", 15.875),
        ("2 17/32", 64.29375),
        ("2-17/32", 64.29375),
        ("17/32", 13.49375),
        ("14.3mm", 14.3),
        ("14.3 mm", 14.3),
        ("0.5in", 12.7),
        ("2 17/32\"", 64.29375),
        ("2 17/32 in", 64.29375),
        ("1 inch", 25.4),
        ("2 inches", 50.8),
        ("3\u{2033}", 76.2),
        ("1½", 38.1),
        ("1 ½", 38.1),
        ("⅜ in", 9.525),
        ("5.", 127.0),
        (".5", 12.7),
        ("\t1/2 ", 12.7),
        ("-1/8", -3.175),
    ];
    for (text, mm) in cases {
        let got = parse(text, Units::Inch).unwrap();
        assert!((got - mm).abs() < EXACT_MM, "{text}: {got}, expected {mm}");
    }
    assert_eq!(parse("5/8", Units::Millimetre).unwrap(), 0.625);
    assert_eq!(parse_option("0.8").unwrap(), 0.8);
    assert_eq!(parse_option("0.8mm").unwrap(), 0.8);
    assert!((parse_option("1/32in").unwrap() - 0.79375).abs() < EXACT_MM);
}

#[test]
fn refused_with_a_reason() {
    let said = |text| parse(text, Units::Inch).unwrap_err().to_string();
    assert_eq!(
        said("5/31"),
        "found \"5/31\": a rule has halves, 4ths, 8ths, 16ths, 32nds, 64ths and at most 128ths; \
         expected a length such as 14.3mm, 0.5in, 5/8 or 2 17/32"
    );
    assert_eq!(
        said("1,5"),
        "found \"1,5\": a comma is not taken; decimals have a point; \
         expected a length such as 14.3mm, 0.5in, 5/8 or 2 17/32"
    );
    assert_eq!(
        said("300 m"),
        "found \"300 m\": it is no number, or its unit is unknown; \
         expected a length such as 14.3mm, 0.5in, 5/8 or 2 17/32"
    );
    assert_eq!(
        said("5000"),
        "found \"5000\", which is more than 100 m; check its unit"
    );
    for text in [
        "1 5/4",
        "1.5 1/2",
        "1e3",
        "0x10",
        "1 -1/2",
        "+1",
        "1/2/4",
        "1_000",
        "٣",
        "1/256",
        "½½",
        "1 / 2",
        "mm",
        "-",
        "- 1",
        "1/2 ft",
        "99999999999999999999/2",
    ] {
        assert!(parse(text, Units::Inch).is_err(), "{text} was taken");
    }
}

#[test]
fn pairs_of_the_command_line() {
    assert_eq!(parse_pair("99.8mm,100.1mm").unwrap(), [99.8, 100.1]);
    assert_eq!(parse_pair("99.8, 100.1").unwrap(), [99.8, 100.1]);
    assert_eq!(
        parse_pair("99,8mm,100,1mm").unwrap_err().to_string(),
        "found 4 parts in \"99,8mm,100,1mm\"; expected two lengths with a comma between them and a point \
         for decimals, such as 99.8mm,100.1mm"
    );
    assert!(parse_pair("99.8mm").is_err());
    assert!(parse_pair("99.8mm,").is_err());
}

/// `fractions.json`: exact rational arithmetic from 1 in = 25.4 mm.
#[test]
fn reference_fractions() {
    let Some(data) = reference("fractions.json") else {
        return;
    };
    let text = |v: &Value, key: &str| v[key].as_str().unwrap().to_string();
    let mut checked = 0;
    for list in ["sixty_fourths", "parse"] {
        for case in data[list].as_array().unwrap() {
            let written = text(case, if list == "parse" { "text" } else { "fraction" });
            let mm: f64 = text(case, "mm").parse().unwrap();
            let got = parse(&written, Units::Inch).unwrap_or_else(|e| panic!("{written}: {e}"));
            assert!(
                (got - mm).abs() < EXACT_MM,
                "{written}: {got}, expected {mm}"
            );
            checked += 1;
        }
    }
    for case in data["must_refuse"].as_array().unwrap() {
        let written = case.as_str().unwrap();
        for units in [Units::Inch, Units::Millimetre] {
            assert!(parse(written, units).is_err(), "{written:?} was taken");
        }
        checked += 1;
    }
    for case in data["nearest_fraction"].as_array().unwrap() {
        let inch: f64 = text(case, "inch").parse().unwrap();
        let division = u32::try_from(case["denominator"].as_u64().unwrap()).unwrap();
        assert_eq!(
            nearest_fraction(inch, division),
            text(case, "nearest"),
            "{case}"
        );
        checked += 1;
    }
    assert_eq!(checked, 64 + 23 + 16 + 18, "the reference has changed");
}

#[test]
fn shown_to_people() {
    assert_eq!(show(0.9, Units::Inch), "1/32 in (0.9 mm)");
    assert_eq!(show(0.1, Units::Inch), "under 1/64 in (0.1 mm)");
    assert_eq!(show(-0.01, Units::Millimetre), "0.0 mm");
    assert_eq!(show(64.3, Units::Inch), "2 17/32 in (64.3 mm)");
    assert_eq!(
        show_planned(4.0625 * MM_PER_INCH, Units::Inch),
        "4 1/16 in (103.2 mm)"
    );
    assert_eq!(
        show_planned(2.07 * MM_PER_INCH, Units::Inch),
        "2.070 in (52.6 mm)"
    );
    assert_eq!(show_planned(103.25, Units::Millimetre), "103.25 mm");
    assert_eq!(show_planned(12.0, Units::Millimetre), "12 mm");
}

/// A fixed seed: the same cases every time.
fn config() -> ProptestConfig {
    ProptestConfig {
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(1),
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(config())]

    /// No text makes the parser panic, and what it takes is finite.
    #[test]
    fn any_text(text in any::<String>()) {
        if let Ok(mm) = parse(&text, Units::Inch) {
            prop_assert!(mm.is_finite());
        }
        let _ = parse_pair(&text);
    }

    /// Texts near the grammar.
    #[test]
    fn near_texts(text in "[-]?[0-9]{0,3}[ ./,-]{0,2}[0-9/½⅜]{0,4}(mm|in|\"| )?") {
        if let Ok(mm) = parse(&text, Units::Inch) {
            prop_assert!(mm.is_finite());
        }
    }

    /// A length on a 64th, shown as planned, reads back as itself, and is spoken of as positive or negative alike.
    #[test]
    fn there_and_back(parts in 1_i32..100_000, negative: bool) {
        let inches = f64::from(if negative { -parts } else { parts }) / 64.0;
        let shown = nearest_fraction(inches, 64);
        let mm = parse(&shown, Units::Inch).unwrap();
        prop_assert!((mm - inches * MM_PER_INCH).abs() < 1e-9, "{} -> {}", shown, mm);
        let decimal = parse(&format!("{mm}mm"), Units::Inch).unwrap();
        prop_assert_eq!(decimal, mm);
    }
}

#[test]
fn lengths_of_tables() {
    let inch = |x: f64| x * length::MM_PER_INCH;
    for (inches, text) in [
        (0.0, "0"),
        (0.6875, "11/16"),
        (2.53125, "2 17/32"),
        (-0.5, "-1/2"),
        (8.0, "8"),
        // On no 64th, however near: shown as it was written.
        (0.703, "0.703"),
        (0.7078, "0.708"),
    ] {
        assert_eq!(length::planned(inch(inches), Units::Inch), text);
    }
    assert_eq!(length::planned(14.3, Units::Millimetre), "14.30");
    // Never understated.
    assert_eq!(length::uncertainty(0.15, Units::Millimetre), "0.15");
    assert_eq!(length::uncertainty(0.1501, Units::Millimetre), "0.16");
    assert_eq!(length::uncertainty(0.0255, Units::Inch), "0.002");
    assert_eq!(length::measured(-0.001, Units::Millimetre), "0.00");
    assert_eq!(length::measured(f64::NAN, Units::Inch), "?");
}
