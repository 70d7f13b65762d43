//! Plans and marks against published figures, and those figures against the reference data.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod common;

use std::path::Path;

use punchready::frame::Point;
use punchready::plan::rules::{
    AUTHORITY, BOOKS, Book, Gravity, Kind, Marked, RULES, Status, as_marked, review,
};
use punchready::plan::{Plan, parse, starters};
use serde_json::Value;

/// Rounding of one product of lengths below 100 mm.
const EXACT_MM: f64 = 1e-12;
const IN: f64 = 25.4;

fn take(text: &str) -> Plan {
    parse(text, Path::new("p.toml")).unwrap_or_else(|e| panic!("{e}"))
}

/// A sheet of 12 x 8 in for 1/8 in rivets.
fn plan(head: &str, body: &str) -> Plan {
    take(&format!(
        "units = \"in\"\n[sheet]\nwidth = 12\nheight = 8\nthickness = 0.04\n[rivet]\ndiameter = \"1/8\"\n\
         head = \"{head}\"\n[tolerance]\nposition = \"1/64\"\n{body}"
    ))
}

fn row(name: &str, edge: f64, first: f64, pitch: f64, count: usize) -> String {
    format!(
        "[[row]]\nname = \"{name}\"\nalong = \"bottom\"\nedge_distance = {edge}\nfirst = {first}\npitch = {pitch}\n\
         count = {count}\n"
    )
}

fn reference() -> Option<Value> {
    common::reference_json("riveting-rules.json")
}

/// Every figure as in `riveting-rules.json`: multiple, status, and the value for each rivet.
#[test]
fn figures_are_those_of_the_reference() {
    let Some(data) = reference() else { return };
    let listed = data["rules"].as_array().unwrap();
    assert_eq!(listed.len(), RULES.len());
    for (entry, rule) in listed.iter().zip(&RULES) {
        assert_eq!(entry["id"], rule.id);
        let status = match rule.status {
            Status::Verified => "verified",
            Status::Secondary => "secondary",
            Status::Derived => "derived",
            Status::Memory => "memory",
        };
        assert_eq!(entry["status"], status, "{}", rule.id);
        let multiple = entry["multiple_of_D"]
            .as_str()
            .or(entry["multiple_of_t"].as_str())
            .unwrap();
        assert_eq!(
            multiple.parse::<f64>().unwrap(),
            rule.multiple,
            "{}",
            rule.id
        );
        for value in entry["values"].as_array().into_iter().flatten() {
            let parts: Vec<f64> = value["D_in"]
                .as_str()
                .unwrap()
                .split('/')
                .map(|p| p.parse().unwrap())
                .collect();
            let mm: f64 = value["value_mm"].as_str().unwrap().parse().unwrap();
            let got = rule.limit_mm(parts[0] / parts[1] * IN);
            assert!((got - mm).abs() < EXACT_MM, "{}: {got} for {mm}", rule.id);
        }
        // The source as printed is the source of the reference, shortened: every paragraph, page and figure
        // number in it stands there too.
        let full = entry["source"].as_str().unwrap();
        for word in rule
            .source
            .split([' ', ',', ';'])
            .filter(|w| w.contains(|c: char| c.is_ascii_digit()))
        {
            assert!(full.contains(word), "{}: {word} is not in {full}", rule.id);
        }
    }
}

#[test]
fn what_is_only_remembered_is_never_cited() {
    // One row at 2.9 D breaks 3 D (secondary and verified) and 3.5 D (memory).
    let found = review(
        &plan("protruding", &row("A", 0.3125, 1.0, 0.3625, 5)),
        &BOOKS,
    );
    let memory: Vec<_> = found
        .findings
        .iter()
        .filter(|f| f.rules.iter().all(|r| r.status == Status::Memory) && !f.rules.is_empty())
        .collect();
    assert_eq!(memory.len(), 1);
    assert_eq!(memory[0].gravity, Gravity::Recalled);
    assert!(
        !memory[0].sentence().contains(" per "),
        "{}",
        memory[0].sentence()
    );
    assert!(memory[0].sentence().contains("'Rivet Spacing'"));
    assert!(memory[0].sentence().contains("not verified"));
    // Whatever the plan: a remembered source never stands behind "per".
    for finding in &found.findings {
        let sentence = finding.sentence();
        let cited = sentence.split(" (remembered").next().unwrap();
        for rule in finding.rules.iter().filter(|r| r.status == Status::Memory) {
            let also_read = finding
                .rules
                .iter()
                .any(|r| r.status != Status::Memory && r.source == rule.source);
            assert!(also_read || !cited.contains(rule.source), "{sentence}");
        }
    }
}

#[test]
fn pitch_of_one_row() {
    let found = review(
        &plan("protruding", &row("A", 0.3125, 1.0, 0.3625, 5)),
        &BOOKS,
    );
    let under: Vec<String> = found
        .findings
        .iter()
        .filter(|f| f.gravity == Gravity::Under)
        .map(|f| f.sentence())
        .collect();
    assert_eq!(
        under,
        [
            "row A: pitch (2.90 D, 0.362 in (9.2 mm)) is under 3 D for one row per FAA AC 43.13-1B, par \
             4-57c(1), p 4-17; FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch', fig 4-85; NAVEDTRA 14018, ch 13, \
             'Spacing and Edge Distance'; TM 10-5410-229-13&P par 5-6(3)(b), p 5-4"
        ]
    );
    // At 3 D exactly nothing is under; for 3/32, 1/8, 5/32 and 3/16 alike.
    for d in ["3/32", "1/8", "5/32", "3/16"] {
        let pitch = 3.0
            * d.split('/')
                .map(|p| p.parse::<f64>().unwrap())
                .reduce(|a, b| a / b)
                .unwrap();
        let text = row("A", 0.5, 1.0, pitch, 12);
        let mut at = plan("protruding", &text);
        at.rivet_mm = Some(pitch / 3.0 * IN);
        let grave = |p: &Plan| {
            review(p, &BOOKS)
                .findings
                .iter()
                .filter(|f| f.gravity == Gravity::Under)
                .count()
        };
        assert_eq!(grave(&at), 0, "{d}");
        at.rivet_mm = Some(pitch / 3.0 * IN * 1.0001);
        assert_eq!(grave(&at), 1, "{d}");
    }
}

/// AC figure 4-5(A) asks for 4 D in two rows, which the example of par 4-58g confirms (20 rivets in each of
/// two rows over 10 in); the Navy and the Army ask for 3 D; three rows have 3 D everywhere.
#[test]
fn pitch_depends_on_rows_and_rule_set() {
    let rows = |n: usize| -> String {
        (0..n)
            .map(|i| {
                let name = ["A", "B", "C"][i];
                let shift = if i == 1 { 0.21875 } else { 0.0 };
                row(name, 0.3125 + 0.375 * i as f64, 1.0 + shift, 0.4375, 8)
            })
            .collect()
    };
    let pitch_under = |n: usize, books: &[Book]| {
        review(&plan("protruding", &rows(n)), books)
            .findings
            .into_iter()
            .any(|f| f.gravity == Gravity::Under && f.text.contains("pitch"))
    };
    // 3.5 D.
    assert!(!pitch_under(1, &BOOKS));
    assert!(pitch_under(2, &BOOKS));
    assert!(pitch_under(2, &[Book::Circular]));
    assert!(!pitch_under(2, &[Book::Navy, Book::Army]));
    assert!(!pitch_under(3, &BOOKS));
    let layouts = review(&plan("protruding", &rows(3)), &BOOKS).layouts;
    assert!(layouts.iter().all(|l| l.seam_rows == 3));
    assert!((layouts[0].transverse.as_ref().unwrap().0 - 0.375 * IN).abs() < 1e-9);
}

#[test]
fn edges_and_heads() {
    let said = |head: &str, edge: f64| -> Vec<String> {
        review(&plan(head, &row("A", edge, 1.0, 0.625, 8)), &BOOKS)
            .findings
            .iter()
            .map(|f| f.sentence())
            .collect()
    };
    // 2 D protruding passes, flush wants 2.5 D.
    assert_eq!(said("protruding", 0.25), Vec::<String>::new());
    let flush = said("countersunk", 0.25);
    assert_eq!(flush.len(), 1);
    assert!(
        flush[0].contains("edge distance (2.00 D, 1/4 in (6.4 mm)) is under 2.5 D")
            && flush[0].contains("NAVEDTRA 14018, ch 13, 'Edge Distance'"),
        "{flush:?}"
    );
    assert_eq!(said("countersunk", 0.3125), Vec::<String>::new());
    assert!(said("protruding", 0.24)[0].contains("under 2 D"));
    let far = said("protruding", 0.51);
    assert!(
        far[0].contains("over 4 D per FAA-H-8083-31 Vol 1 ch 4, 'Edge Distance'"),
        "{far:?}"
    );
    // The second row of a seam is no edge row.
    let two = row("A", 0.3125, 1.0, 0.625, 8) + &row("B", 0.75, 1.3125, 0.625, 7);
    let found = review(&plan("protruding", &two), &BOOKS).findings;
    assert!(found.is_empty(), "{found:?}");
}

#[test]
fn wide_pitch_ends_and_row_distance() {
    let wide = review(&plan("protruding", &row("A", 0.3125, 1.0, 1.3, 8)), &BOOKS).findings;
    let text: Vec<String> = wide.iter().map(|f| f.sentence()).collect();
    assert!(
        text.iter()
            .any(|t| t.contains("over 10 D per FAA-H-8083-31")),
        "{text:?}"
    );
    assert!(
        text.iter()
            .any(|t| t.contains("over the usual 8 D per NAVEDTRA 14018")),
        "{text:?}"
    );
    let end = review(
        &plan("protruding", &row("A", 0.3125, 0.2, 0.625, 8)),
        &BOOKS,
    )
    .findings;
    assert!(end[0].text.starts_with("end distance (1.60 D"), "{end:?}");
    let near = row("A", 0.3125, 1.0, 0.625, 8) + &row("B", 0.6, 1.3125, 0.625, 7);
    let found = review(&plan("protruding", &near), &BOOKS).findings;
    assert!(
        found[0].text.starts_with("distance from row B (2.30 D")
            && found[0].rules[0].kind == Kind::TransverseLeast,
        "{found:?}"
    );
    let beside = row("A", 0.3125, 1.0, 0.625, 8) + &row("B", 0.75, 1.0, 0.625, 8);
    let found = review(&plan("protruding", &beside), &BOOKS).findings;
    let beside = found
        .iter()
        .filter(|f| f.gravity == Gravity::Advice && f.text.contains("side by side"));
    assert_eq!(beside.count(), 1, "{found:?}");
}

/// Reference: "0.75 x pitch falls below 2.5 D whenever the pitch is below 3 1/3 D".
#[test]
fn three_quarters_of_the_pitch_against_the_least_row_distance() {
    let Some(data) = reference() else { return };
    let least = RULES.iter().find(|r| r.id == "faa-transverse-min").unwrap();
    for case in data["transverse_pitch_75_percent"].as_array().unwrap() {
        let inch = |key: &str| {
            let text = case[key].as_str().unwrap();
            punchready::plan::length::parse(text, punchready::plan::Units::Inch).unwrap()
        };
        let met = 0.75 * inch("pitch_in") >= least.limit_mm(inch("D_in")) - 1e-9;
        assert_eq!(case["meets_2.5D_minimum"], met, "{case}");
    }
}

#[test]
fn rows_that_meet_and_cross() {
    let column = "[[row]]\nname = \"C\"\nalong = \"left\"\nedge_distance = 1.05\nfirst = 0.3125\npitch = 0.625\ncount = 8\n";
    let found = review(
        &plan("protruding", &(row("A", 0.3125, 1.0, 0.625, 8) + column)),
        &BOOKS,
    )
    .findings;
    assert!(
        found[0].about == "holes A1 and C1"
            && found[0].text.contains("0.40 D")
            && found[0].text.contains("twice"),
        "{found:?}"
    );
    let near = column.replace("1.05", "1.3125");
    let found = review(
        &plan("protruding", &(row("A", 0.3125, 1.0, 0.625, 8) + &near)),
        &BOOKS,
    )
    .findings;
    assert!(
        found[0].text.contains("2.50 D") && found[0].text.contains("under 3 D"),
        "{found:?}"
    );
}

#[test]
fn no_rivet_no_findings() {
    let mut plan = plan("protruding", &row("A", 0.1, 1.0, 0.2, 5));
    assert!(!review(&plan, &BOOKS).findings.is_empty());
    plan.rivet_mm = None;
    let found = review(&plan, &BOOKS);
    assert!(found.findings.is_empty() && found.layouts.len() == 1);
    assert!(AUTHORITY.contains("drawing and approved data rule"));
}

/// U decides between "under", "cannot be told" and silence.
#[test]
fn marks_as_found() {
    let plan = plan("protruding", &row("A", 0.3125, 1.0, 0.4375, 3));
    let d = 0.125 * IN;
    let mark = |hole, x: f64, y: f64, u| Marked {
        hole,
        at: Point::new(x * IN, y * IN),
        uncertainty_mm: u,
        // The bottom edge, known exactly.
        edge_mm: Some([y * IN, 0.0]),
    };
    let as_planned = [
        mark("A1", 1.0, 0.3125, 0.1),
        mark("A2", 1.4375, 0.3125, 0.1),
        mark("A3", 1.875, 0.3125, 0.1),
    ];
    assert_eq!(as_marked(&plan, &as_planned, &BOOKS), []);
    // A2 is 1.9 D from the edge: 0.3 mm under 2 D.
    let low = mark("A2", 1.4375, 1.9 * 0.125, 0.1);
    let found = as_marked(&plan, &[as_planned[0], low, as_planned[2]], &BOOKS);
    assert_eq!(found.len(), 1);
    assert!(found[0].sure && found[0].holes == ["A2"] && found[0].limit_d == 2.0);
    assert!((found[0].value_mm - 1.9 * d).abs() < 1e-9);
    assert!(
        found[0].text.starts_with("edge distance of A2 as marked is 1.90 D +/- 0.03 D, 15/64 in (6.0 mm): under 2 D per FAA AC"),
        "{}",
        found[0].text
    );
    let unsure = Marked {
        uncertainty_mm: 0.4,
        ..low
    };
    let found = as_marked(&plan, &[as_planned[0], unsure, as_planned[2]], &BOOKS);
    assert!(
        !found[0].sure && found[0].text.contains("cannot be told from 2 D"),
        "{found:?}"
    );
    // The edge as measured counts, with its own U, and an edge that was not seen proves nothing.
    let piece_ends_early = Marked {
        edge_mm: Some([1.8 * d, 0.2]),
        ..as_planned[1]
    };
    let found = as_marked(&plan, &[piece_ends_early], &BOOKS);
    assert!(found[0].sure && (found[0].value_mm - 1.8 * d).abs() < 1e-9);
    assert!((found[0].uncertainty_mm - 0.1_f64.hypot(0.2)).abs() < 1e-12);
    let edge_unseen = Marked {
        edge_mm: None,
        ..low
    };
    assert_eq!(as_marked(&plan, &[edge_unseen], &BOOKS), []);
    // Spacing: U of both marks; 2.8 D with U of 0.1 each is under 3 D by 0.635 mm.
    let near = mark("A2", 1.0 + 2.8 * 0.125, 0.3125, 0.1);
    let found = as_marked(&plan, &[as_planned[0], near], &BOOKS);
    assert_eq!(found[0].holes, ["A1", "A2"]);
    assert!(found[0].sure && (found[0].uncertainty_mm - 0.1 * 2f64.sqrt()).abs() < 1e-12);
    assert!(
        found
            .iter()
            .all(|f| f.rules.iter().all(|r| r.status != Status::Memory))
    );
    // What is no measurement says nothing.
    assert_eq!(
        as_marked(
            &plan,
            &[Marked {
                uncertainty_mm: f64::NAN,
                ..low
            }],
            &BOOKS
        ),
        []
    );
    assert_eq!(as_marked(&plan, &[mark("Z9", 0.0, 0.0, 0.1)], &BOOKS), []);
}

#[test]
fn starters_are_sound() {
    for starter in &starters::STARTERS {
        let plan = take(starter.text);
        let found = review(&plan, &BOOKS);
        assert!(
            found.findings.is_empty(),
            "{}: {:?}",
            starter.name,
            found.findings
        );
        assert!(
            plan.rivet_mm.is_some() && plan.holes.len() >= 16,
            "{}",
            starter.name
        );
        assert!(
            starter.text.lines().all(|l| l.chars().count() <= 110),
            "{}",
            starter.name
        );
        assert!(starter.text.contains("approved data rule"));
    }
    let rows = |name: &str| {
        let plan = take(starters::named(name).unwrap().text);
        review(&plan, &BOOKS)
            .layouts
            .iter()
            .map(|l| l.seam_rows)
            .max()
            .unwrap()
    };
    assert_eq!(
        (rows("row"), rows("two-rows"), rows("three-rows")),
        (1, 2, 3)
    );
    assert_eq!(rows("coupon"), 2);
}

/// A rib's row amid a skin has no edge distance that could be too large; one that stands a little too far in has.
#[test]
fn a_row_amid_the_skin_is_no_edge_row() {
    let over = |edge: f64| {
        let body = row("A", edge, 0.5, 0.75, 14);
        let found = review(&plan("protruding", &body), &BOOKS).findings;
        found
            .iter()
            .filter(|f| f.text.contains("edge distance") && f.text.contains("over"))
            .count()
    };
    // 1/8 in rivets: 4 D are half an inch, 10 D are 1 1/4 in.
    assert_eq!([over(0.5), over(0.75), over(1.25), over(4.0)], [0, 1, 1, 0]);
}
