//! The terminal summary and the JSON result, and that both say the same.
#![allow(
    clippy::unwrap_used,
    reason = "a failing test may panic, in its helpers too"
)]

mod report_fixture;

use std::path::Path;

use punchready::frame::{Point, Sheet};
use punchready::plan::Units;
use punchready::report::{CAUTION, json, page, picture, text, words};
use punchready::verdict::HoleState;
use report_fixture::{Fixture, IN, every_state, hostile, ready, stopped};
use serde_json::Value;

/// JSON lengths are rounded to 0.001 mm.
const JSON_MM: f64 = 0.000_500_1;
/// Lengths in text are rounded to 0.01 mm, on top of which the JSON's own rounding counts.
const TEXT_MM: f64 = 0.005 + JSON_MM;

/// Widest line of a text, in characters (the fixtures have no wide ones).
fn widest(text: &str) -> usize {
    text.lines().map(|l| l.chars().count()).max().unwrap_or(0)
}

fn without_colour(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        out.push_str(before);
        rest = after.split_once('m').expect("an unfinished sequence").1;
    }
    out + rest
}

fn parsed(f: &Fixture) -> Value {
    serde_json::from_str(&json::to_string(&f.report())).unwrap()
}

/// Compares with a stored text; with `PUNCHREADY_BLESS` set, stores it anew.
fn snapshot(name: &str, text: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/report_fixture")
        .join(name);
    if std::env::var_os("PUNCHREADY_BLESS").is_some() {
        std::fs::write(&path, text).unwrap();
    }
    let stored = std::fs::read_to_string(&path).unwrap();
    assert!(
        stored == text,
        "{name} changed; if that is meant, run again with PUNCHREADY_BLESS=1. Now:\n{text}"
    );
}

#[test]
fn snapshots() {
    snapshot(
        "every_state.txt",
        &text::summary(&every_state().report(), 80, false),
    );
    snapshot("ready.txt", &text::summary(&ready().report(), 80, false));
    snapshot(
        "narrow.txt",
        &text::summary(&every_state().report(), 40, false),
    );
    snapshot(
        "every_state.json",
        &json::to_string(&every_state().report()),
    );
}

#[test]
fn no_line_is_too_wide_and_colour_changes_no_letter() {
    for f in [every_state(), ready(), hostile(), stopped()] {
        for width in [30, 40, 60, 80, 100, 132] {
            let plain = text::summary(&f.report(), width, false);
            assert!(
                widest(&plain) <= width,
                "{} > {width}:\n{plain}",
                widest(&plain)
            );
            let coloured = text::summary(&f.report(), width, true);
            assert_eq!(without_colour(&coloured), plain);
            assert!(coloured.len() > plain.len() && !plain.contains('\u{1b}'));
        }
    }
    assert!(widest(&text::summary(&every_state().report(), 1, false)) <= 30);
}

#[test]
fn verdict_comes_first_and_caution_last() {
    for (f, word) in [(every_state(), "NOT READY"), (ready(), "READY")] {
        let text = text::summary(&f.report(), 80, false);
        assert!(text.trim_start().starts_with(word), "{text}");
        let last = text.trim_end().rsplit("\n\n").next().unwrap();
        assert_eq!(
            last.split_whitespace().collect::<Vec<_>>().join(" "),
            CAUTION
        );
    }
}

#[test]
fn every_hole_that_is_not_good_and_every_stray_is_named() {
    let f = every_state();
    let text = text::summary(&f.report(), 80, false);
    for (name, state) in [
        ("A3", "OUT OF PLACE"),
        ("A5", "MISSING"),
        ("A7", "TOO CLOSE TO CALL"),
        ("A9", "CROSSED OUT"),
        ("A11", "DOUBLE"),
        ("B8", "NOT VISIBLE"),
        ("B6", "UNCLEAR"),
    ] {
        let found = text.lines().any(|l| {
            let line = l.split_whitespace().collect::<Vec<_>>().join(" ");
            line == *name || line.starts_with(&format!("{name} {state}"))
        });
        assert!(found, "{name} {state} is not in:\n{text}");
    }
    for word in [
        "RINGED EXTRA MARK",
        " EXTRA MARK ",
        "UNCLEAR MARK",
        "crossed out",
    ] {
        assert!(text.contains(word), "{word} is not in:\n{text}");
    }
}

/// One word for each state: the same in the text, the JSON, the page and the picture.
#[test]
fn text_json_page_and_picture_have_one_word_for_each_state() {
    let f = every_state();
    let r = f.report();
    let text = text::summary(&r, 80, false);
    let json = parsed(&f);
    let map = |p: Point<Sheet>| Some(Point::new(p.x * 10.0, (f.plan.height_mm - p.y) * 10.0));
    let photo = image::RgbImage::from_pixel(3100, 2200, image::Rgb([180, 180, 180]));
    let page = page::html(&r, &photo, &map).unwrap();
    let signs = picture::signs_svg(&r, 0, &map);
    let mut states = 0;
    for (hole, in_json) in f
        .verdict
        .holes
        .iter()
        .zip(json["holes"].as_array().unwrap())
    {
        let word = words::hole_word(hole);
        assert_eq!(in_json["word"], word, "{}", hole.name);
        assert_eq!(
            in_json["state"],
            words::hole_code(hole.state),
            "{}",
            hole.name
        );
        let row = page
            .split("<tr")
            .find(|row| row.contains(&format!(">{}</a></th>", hole.name)))
            .unwrap();
        assert!(
            row.contains(&format!("</svg>{word}</td>")),
            "{}: {row}",
            hole.name
        );
        if hole.state == HoleState::Good {
            continue;
        }
        states += 1;
        let upper = word.to_uppercase();
        let in_text = text.lines().any(|l| {
            let line = l.split_whitespace().collect::<Vec<_>>().join(" ");
            line.starts_with(&format!("{} {upper}", hole.name))
        });
        assert!(in_text, "{} {upper}:\n{text}", hole.name);
        let said = match hole.state {
            HoleState::Off => format!("{} out by", hole.name),
            _ => format!("{} {word}", hole.name),
        };
        assert!(signs.contains(&said), "{said}: {signs}");
    }
    assert_eq!(states, 7);
    for (mark, in_json) in f
        .verdict
        .strays
        .iter()
        .zip(json["strays"].as_array().unwrap())
    {
        let word = words::stray_word(mark);
        assert_eq!(in_json["word"], word);
        assert_eq!(in_json["state"], words::stray_code(mark.state));
        let wanted = [word.to_owned(), word.to_uppercase()];
        assert!(wanted.iter().any(|w| text.contains(w)), "{word}:\n{text}");
        assert!(page.contains(word), "{word}");
    }
    // The counts in the first lines are of the same words.
    let first: Vec<&str> = text
        .lines()
        .take(4)
        .flat_map(str::split_whitespace)
        .collect();
    let first = first.join(" ");
    for word in [
        "out of place",
        "crossed out",
        "too close to call",
        "not visible",
        "unclear",
    ] {
        assert!(first.contains(&format!("1 {word}")), "{word}: {first}");
    }
}

#[test]
fn hostile_text_cannot_steer_the_terminal() {
    let f = hostile();
    let text = text::summary(&f.report(), 80, false);
    assert!(
        text.chars().all(|c| c == '\n' || !c.is_control()),
        "{text:?}"
    );
    // Programs get it as it was.
    assert_eq!(
        parsed(&f)["holes"][0]["name"],
        f.plan.holes[0].name.as_str()
    );
}

fn near(v: &Value, want: f64, allowed: f64) -> bool {
    v.as_f64().is_some_and(|v| (v - want).abs() <= allowed)
}

fn near_all(v: &Value, want: &[f64], allowed: f64) -> bool {
    v.as_array().is_some_and(|v| {
        v.len() == want.len() && v.iter().zip(want).all(|(v, w)| near(v, *w, allowed))
    })
}

#[test]
fn json_has_the_fields_of_the_format_in_their_order() {
    let f = every_state();
    let v = parsed(&f);
    let keys = |v: &Value| -> Vec<String> { v.as_object().unwrap().keys().cloned().collect() };
    let start = |v: &Value, want: &[&str]| assert_eq!(keys(v)[..want.len()], *want);
    start(
        &v,
        &[
            "format", "verdict", "reasons", "holes", "strays", "lines", "seen", "survey", "photos",
        ],
    );
    start(&v["reasons"][0], &["code", "text"]);
    start(
        &v["holes"][0],
        &[
            "name",
            "row",
            "planned",
            "found",
            "offset",
            "distance",
            "uncertainty",
            "state",
            "ringed",
        ],
    );
    start(&v["strays"][0], &["at", "uncertainty", "ringed", "state"]);
    start(
        &v["lines"][0],
        &["row", "edge_distance", "angle_deg", "uncertainty"],
    );
    start(&v["seen"], &["fraction", "unseen"]);
    start(
        &v["survey"],
        &["rms_px", "mm_per_px", "cards", "lens", "scale"],
    );
    start(&v["photos"][0], &["file", "width", "height", "camera"]);
    assert_eq!(v["format"], "punchready.check/1");
    assert_eq!(v["verdict"], "not-ready");
    assert_eq!(parsed(&ready())["verdict"], "ready");
}

#[test]
fn json_holds_what_the_report_holds() {
    let f = every_state();
    let v = parsed(&f);
    for (j, h) in v["holes"].as_array().unwrap().iter().zip(&f.verdict.holes) {
        assert_eq!(j["name"], h.name.as_str());
        assert_eq!(j["row"].as_str(), h.row.as_deref());
        assert_eq!(j["ringed"], h.ringed);
        assert!(near_all(
            &j["planned"],
            &[h.planned.x, h.planned.y],
            JSON_MM
        ));
        match h.found {
            Some(p) => {
                let o = p - h.planned;
                assert!(near_all(&j["found"], &[p.x, p.y], JSON_MM), "{j}");
                assert!(near_all(&j["offset"], &[o.x, o.y], JSON_MM), "{j}");
                assert!(near(&j["distance"], o.norm(), JSON_MM), "{j}");
                assert!(
                    near(&j["uncertainty"], h.uncertainty_mm.unwrap(), JSON_MM),
                    "{j}"
                );
            }
            None => {
                for key in ["found", "offset", "distance", "uncertainty"] {
                    assert!(j[key].is_null(), "{key} of {j}");
                }
            }
        }
    }
    let states: Vec<&str> = ["A1", "A3", "A5", "A7", "A9", "A11", "B8"]
        .iter()
        .map(|n| {
            let holes = v["holes"].as_array().unwrap();
            holes.iter().find(|h| h["name"] == *n).unwrap()["state"]
                .as_str()
                .unwrap()
        })
        .collect();
    assert_eq!(
        states,
        [
            "good",
            "off",
            "missing",
            "close",
            "cancelled",
            "double",
            "unseen"
        ]
    );
    for (j, s) in v["strays"]
        .as_array()
        .unwrap()
        .iter()
        .zip(&f.verdict.strays)
    {
        assert!(near_all(&j["at"], &[s.at.x, s.at.y], JSON_MM), "{j}");
        assert!(near(&j["uncertainty"], s.uncertainty_mm, JSON_MM), "{j}");
        assert_eq!(j["ringed"], s.ringed);
    }
    let states: Vec<&Value> = v["strays"]
        .as_array()
        .unwrap()
        .iter()
        .map(|s| &s["state"])
        .collect();
    assert_eq!(states, ["stray", "stray", "cancelled", "unsure"]);
    assert!(near_all(
        &v["lines"][0]["edge_distance"],
        &[7.94, 8.31],
        JSON_MM
    ));
    assert!(near(&v["lines"][0]["angle_deg"], 0.081, 1e-4));
    assert!(v["lines"][1]["edge_distance"].is_null());
    assert!(near(&v["seen"]["fraction"], f.seen.fraction(), 1e-6));
    assert!(near(&v["survey"]["rms_px"], 0.31, 1e-4));
    assert!(near_all(&v["survey"]["scale"], &[1.0021, 0.9987], 1e-6));
    assert_eq!(v["survey"]["lens"], "exif");
    assert_eq!(v["survey"]["cards"][1]["used"], false);
    assert_eq!(v["photos"][0]["file"], "hatch cover.jpg");
    assert_eq!(v["bench"].as_array().unwrap().len(), f.verdict.bench.len());
    assert_eq!(v["notes"][0], f.notes[0].as_str());
}

#[test]
fn what_is_no_number_is_null_in_json() {
    let mut f = every_state();
    f.survey.fit.as_mut().unwrap().rms_px = f64::NAN;
    f.verdict.rows[0].angle_deg = Some(f64::INFINITY);
    let v = parsed(&f);
    assert!(v["survey"]["rms_px"].is_null() && v["lines"][0]["angle_deg"].is_null());
}

#[test]
fn text_and_json_give_the_same_numbers() {
    for units in [Units::Millimetre, Units::Inch] {
        let mut f = every_state();
        f.plan.units = units;
        let (mm, step) = match units {
            Units::Millimetre => (1.0, TEXT_MM),
            Units::Inch => (IN, 0.0005 * IN + JSON_MM),
        };
        let text = text::summary(&f.report(), 120, false);
        let v = parsed(&f);
        let mut compared = 0;
        for j in v["holes"].as_array().unwrap() {
            let (Some(d), Some(u)) = (j["distance"].as_f64(), j["uncertainty"].as_f64()) else {
                continue;
            };
            if j["state"] == "good" {
                continue;
            }
            let name = j["name"].as_str().unwrap();
            let line = text
                .lines()
                .find(|l| l.trim_start().starts_with(&format!("{name} ")))
                .unwrap();
            let numbers: Vec<f64> = line
                .split("  ")
                .filter_map(|c| c.trim().parse::<f64>().ok())
                .map(|x| x * mm)
                .collect();
            assert!((numbers[0] - d).abs() <= step, "{line}: {d}");
            // Rounded up.
            assert!(
                numbers[1] >= u - JSON_MM && numbers[1] <= u + 2.0 * step,
                "{line}: {u}"
            );
            compared += 1;
        }
        assert_eq!(compared, 4, "holes with a mark that are not good");
        let row = text
            .lines()
            .find(|l| l.starts_with("  A  ") && l.contains("0.08"))
            .unwrap();
        let edge: Vec<f64> = row
            .split_whitespace()
            .filter_map(|c| c.parse().ok())
            .collect();
        let start = v["lines"][0]["edge_distance"][0].as_f64().unwrap();
        assert!(
            edge.iter().any(|e| (e * mm - start).abs() <= step),
            "{row}: {start}"
        );
    }
}

/// Whether `p` is inside a polygon, by crossings of a ray.
fn inside(polygon: &Value, p: [f64; 2]) -> bool {
    let points: Vec<[f64; 2]> = polygon
        .as_array()
        .unwrap()
        .iter()
        .map(|c| [c[0].as_f64().unwrap(), c[1].as_f64().unwrap()])
        .collect();
    let mut odd = false;
    for (i, a) in points.iter().enumerate() {
        let b = points[(i + 1) % points.len()];
        if (a[1] > p[1]) != (b[1] > p[1])
            && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
        {
            odd = !odd;
        }
    }
    odd
}

#[test]
fn unseen_polygons_cover_the_unseen_cells_once_and_no_other() {
    let mut f = every_state();
    f.seen.columns = 17;
    f.seen.rows = 13;
    f.plan.width_mm = 16.6 * f.seen.cell_mm;
    f.plan.height_mm = 12.8 * f.seen.cell_mm;
    // A fixed linear congruential generator (Numerical Recipes' constants, from memory).
    let mut state = 1u32;
    for round in 0..40u32 {
        f.seen.cells = (0..17 * 13)
            .map(|_| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                // From nearly all seen to nearly nothing seen: islands, corners, everything.
                (state >> 24) > round * 6
            })
            .collect();
        let v = parsed(&f);
        let polygons = v["seen"]["unseen"].as_array().unwrap();
        for (i, seen) in f.seen.cells.iter().enumerate() {
            let at = [
                ((i % 17) as f64 + 0.4) * f.seen.cell_mm,
                ((i / 17) as f64 + 0.6) * f.seen.cell_mm,
            ];
            let times = polygons.iter().filter(|p| inside(p, at)).count();
            assert_eq!(times, usize::from(!seen), "round {round}, cell {i}");
        }
    }
}

#[test]
fn where_nothing_was_measured_the_cause_is_not_buried() {
    let f = stopped();
    let text = text::summary(&f.report(), 80, false);
    assert!(
        text.contains("planned; nothing could be measured"),
        "{text}"
    );
    let cause = text.find("no sheet of").unwrap();
    assert!(cause < 300, "{text}");
    for noise in [
        "unseen",
        "UNSEEN",
        "0.00 px",
        "0.0 %",
        "Rows as marked",
        "not used",
    ] {
        assert!(!text.contains(noise), "{noise}:\n{text}");
    }
    assert!(text.contains("Scale cards: 3 (48 corners)"), "{text}");
    // To a program a zero would read as a perfect fit.
    let v = parsed(&f);
    for field in ["rms_px", "mm_per_px", "lens", "scale", "scale_uncertainty"] {
        assert!(v["survey"][field].is_null(), "{field}");
    }
    assert!(v["survey"]["cards"][0]["rms_px"].is_null());
    assert_eq!(v["holes"][0]["state"], "unseen");
}
