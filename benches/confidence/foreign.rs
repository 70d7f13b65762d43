//! Photos of the drawer in `tests/foreign`, with the truth beside each.

use std::path::Path;

use punchready::check::{Corner, Given, check};
use punchready::frame::{Point, Sheet};
use punchready::plan::length;
use punchready::survey::PrintScale;
use punchready::{photo, plan};
use rayon::prelude::*;
use serde_json::Value;

use super::{Sample, True, samples as of_check};

/// The samples of all photos below a folder, in the order of their names.
pub(crate) fn samples(dir: &Path) -> Vec<Sample> {
    let mut truths = Vec::new();
    gather(dir, &mut truths);
    truths.sort();
    truths
        .par_iter()
        .flat_map_iter(|file| of_photo(file))
        .collect()
}

fn gather(dir: &Path, out: &mut Vec<std::path::PathBuf>) {
    for entry in std::fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            gather(&path, out);
        } else if path.extension().is_some_and(|e| e == "json")
            && path.with_extension("jpg").exists()
        {
            out.push(path);
        }
    }
}

fn of_photo(file: &Path) -> Vec<Sample> {
    let truth: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    if truth["readable"] != true {
        return Vec::new();
    }
    let plan = plan::read(&file.with_extension("toml")).unwrap();
    let photo = photo::read(&file.with_extension("jpg")).unwrap();
    let mut given = Given::default();
    let args: Vec<&str> = list(&truth["args"]).filter_map(Value::as_str).collect();
    for pair in args.chunks(2) {
        let [name, value] = pair else { continue };
        match *name {
            "--bars" => {
                let bars = length::parse_pair(value).unwrap();
                given.print_scale = PrintScale::from_bars(bars).ok();
            }
            "--card-below" => given.card_below_mm = length::parse_option(value).ok(),
            "--datum-corner" => given.datum_corner = Corner::named(value),
            other => panic!("{}: what is {other}?", file.display()),
        }
    }
    let place = |v: &Value| -> Option<Point<Sheet>> {
        let at = if v.is_array() {
            v
        } else {
            v.get("at").or(v.get("found"))?
        };
        Some(Point::new(at.get(0)?.as_f64()?, at.get(1)?.as_f64()?))
    };
    let mut marks: Vec<True> = Vec::new();
    for (key, crossed) in [("holes", false), ("strays", false), ("struck", true)] {
        for v in list(&truth[key]) {
            if key == "holes" && v["state"] == "cancelled" {
                marks.extend(place(&v["planned"]).map(|at| (at, true)));
            } else {
                let v = if key == "holes" { &v["found"] } else { v };
                marks.extend(place(v).map(|at| (at, crossed)));
            }
        }
    }
    // A mark of a hole may be the one that was struck.
    let struck: Vec<Point<Sheet>> = marks.iter().filter(|m| m.1).map(|m| m.0).collect();
    marks.retain(|m| m.1 || !struck.iter().any(|p| p.distance(m.0) < 0.5));
    of_check(&check(&photo, &plan, &given), &marks)
}

fn list(v: &Value) -> impl Iterator<Item = &Value> {
    v.as_array().into_iter().flatten()
}
