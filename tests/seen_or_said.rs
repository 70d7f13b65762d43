//! A strike, a dot and a speck in photos of all blurs and scales: each is told, or its place is said to be not seen. None is
//! passed over on a sheet that reads ready.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::Path;

use punchready::check::{Given, check};
use punchready::frame::{Point, Sheet};
use punchready::photo;
use punchready::plan::{self, Plan};
use punchready::report::json;
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{
    Bench, Camera, ExifFacts, Ink, Mark, PlacedCard, Scene, Sensor, Shape, SheetPiece, Surface,
    render, write_jpeg,
};
use rayon::prelude::*;
use serde_json::Value;

/// A small sheet with room for one strip card above it.
const PLAN: &str = "
title = \"Strip\"
units = \"mm\"
[sheet]
width = 100
height = 40
thickness = 1.0
[tolerance]
position = 0.8
[[row]]
name = \"A\"
along = \"bottom\"
edge_distance = 10
first = 20
pitch = 20
count = 4
";
const PX_PER_MM: [f64; 3] = [5.0, 8.0, 12.0];
const BLUR_PX: [f64; 3] = [0.6, 1.2, 2.0];
/// How much of the pen's density the ink has.
const DARKNESS: [f64; 3] = [1.0, 0.65, 0.4];
/// A spot of 0.4 mm less dark than this share of the pen is dirt: nobody need name it.
const DIRT: f64 = 0.5;
/// A find within this of the place is of the thing, mm.
const NEAR_MM: f64 = 1.5;

/// What is drawn onto the faultless sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Thing {
    /// Nothing.
    Nothing,
    /// A slanting stroke over the tick of A2.
    Strike,
    /// A dot of 0.8 mm in the open.
    Dot,
    /// A spot of 0.4 mm in the open.
    Speck,
}

#[derive(Debug, Clone, Copy)]
struct Case {
    thing: Thing,
    px_per_mm: f64,
    blur_px: f64,
    darkness: f64,
    primer: bool,
}

impl Case {
    /// Where the thing is: over A2, or in the open.
    fn at(&self) -> Point<Sheet> {
        match self.thing {
            Thing::Strike => Point::new(40.0, 10.0),
            _ => Point::new(58.0, 26.0),
        }
    }

    fn scene(&self, plan: &Plan) -> Scene {
        let seed = (self.px_per_mm * 100.0 + self.blur_px * 10.0) as u64;
        let hand = Hand {
            scatter_mm: 0.05,
            line_scatter_mm: 0.03,
            seed,
            ..Hand::default()
        };
        let mut marks = Marking::of(plan, &hand).marks;
        let ink = Ink {
            density: Ink::default().density * self.darkness,
            ..Ink::default()
        };
        let at = self.at();
        let drawn = match self.thing {
            Thing::Nothing => None,
            Thing::Strike => Some(Mark::new(Shape::Tick {
                at,
                angle_rad: 0.8,
                length_mm: 4.0,
                width_mm: 0.45,
            })),
            Thing::Dot => Some(Mark::dot(at.x, at.y)),
            Thing::Speck => Some(Mark::dot(at.x, at.y).sized(0.4)),
        };
        marks.extend(drawn.map(|m| m.inked(ink)));
        let size = [108.0, 78.0].map(|mm: f64| (mm * self.px_per_mm * 1.03) as u32);
        let (w, h) = (plan.width_mm, plan.height_mm);
        Scene {
            camera: Camera::above(
                Point::new(w / 2.0, 34.0),
                self.px_per_mm,
                0.04,
                1.0,
                0.01,
                size,
            ),
            sheet: SheetPiece::sized(w, h),
            bench: Bench::Dark,
            surface: if self.primer {
                Surface::Primer
            } else {
                Surface::Mill
            },
            // Across its narrow side it is as wide as the sheet with its border.
            cards: vec![PlacedCard::at(42, w / 2.0, h + 18.0, 0.0)],
            marks,
            sensor: Sensor {
                blur_px: self.blur_px,
                ..Sensor::default()
            },
            seed,
            ..Scene::default()
        }
    }

    /// The report on its photo.
    fn report(&self) -> Value {
        let plan = plan::parse(PLAN, Path::new("plan.toml")).unwrap();
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("photo.jpg");
        write_jpeg(&path, &render(&self.scene(&plan)), &ExifFacts::default()).unwrap();
        let given = Given {
            print_scale: PrintScale::from_bars([100.0; 2]).ok(),
            card_below_mm: Some(0.0),
            ..Given::default()
        };
        let checked = check(&photo::read(&path).unwrap(), &plan, &given);
        serde_json::from_str(&json::to_string(&checked.report(&plan))).unwrap()
    }

    /// What is wrong with its report, if anything is.
    fn passed_over(&self) -> Option<String> {
        let report = self.report();
        let verdict = report["verdict"].as_str().unwrap();
        let holes = report["holes"].as_array().unwrap();
        let struck = holes.iter().find(|h| h["name"] == "A2").unwrap();
        let near = |s: &&Value| {
            let half = (s["size"].as_f64().unwrap_or(0.0) / 2.0).min(NEAR_MM);
            point(&s["at"]).distance(self.at()) <= NEAR_MM + half
        };
        let told = report["strays"].as_array().unwrap().iter().find(near);
        let unseen = report["seen"]["unseen"].as_array().unwrap();
        let unseen = unseen.iter().any(|outline| holds(outline, self.at()));
        let ready = verdict == "ready";
        let wrong = match self.thing {
            Thing::Nothing => !ready,
            Thing::Strike => ready || (struck["state"] == "good" && told.is_none()),
            // Paler than the pen and narrower than its strokes: it may be named dirt, but not left out.
            Thing::Speck if self.darkness < 1.0 => told.is_none() && !unseen,
            Thing::Dot | Thing::Speck => (ready || told.is_none()) && !unseen,
        };
        wrong.then(|| format!("{self:?}: {verdict}, {:?}", told.map(|s| &s["state"])))
    }
}

fn point(value: &Value) -> Point<Sheet> {
    let at = |i: usize| value[i].as_f64().unwrap();
    Point::new(at(0), at(1))
}

/// Whether the outline goes round `at`: an upward ray crosses it an odd number of times.
fn holds(outline: &Value, at: Point<Sheet>) -> bool {
    let corners: Vec<Point<Sheet>> = outline.as_array().unwrap().iter().map(point).collect();
    let ends = corners.iter().zip(corners.iter().cycle().skip(1));
    let crossed = ends.filter(|(a, b)| {
        (a.x > at.x) != (b.x > at.x) && at.y < a.y + (b.y - a.y) * (at.x - a.x) / (b.x - a.x)
    });
    crossed.count() % 2 == 1
}

/// All photos of one thing, and which of them pass it over.
fn passed_over(thing: Thing) -> Vec<String> {
    let is_asked = |c: &Case| c.thing != Thing::Speck || c.darkness >= DIRT;
    let mut cases = Vec::new();
    for (i, px_per_mm) in PX_PER_MM.into_iter().enumerate() {
        for (j, blur_px) in BLUR_PX.into_iter().enumerate() {
            for (k, darkness) in DARKNESS.into_iter().enumerate() {
                cases.push(Case {
                    thing,
                    px_per_mm,
                    blur_px,
                    darkness,
                    primer: (i + j + k) % 2 == 0,
                });
            }
        }
    }
    cases.retain(is_asked);
    cases.par_iter().filter_map(Case::passed_over).collect()
}

#[test]
#[ignore = "a pale one at 5 px/mm and a blur of 2 px reads ready, until what could have been seen is worked out place by place"]
fn a_strike_is_told_or_could_not_be_seen() {
    let wrong = passed_over(Thing::Strike);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
#[ignore = "a pale one at 5 px/mm and a blur of 2 px reads ready, until what could have been seen is worked out place by place"]
fn a_dot_is_told_or_could_not_be_seen() {
    let wrong = passed_over(Thing::Dot);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
#[ignore = "of 18 photos 4 read ready, one of them with ink as dark as the pen's, until what could have been seen is worked out place by place"]
fn a_speck_is_told_or_could_not_be_seen() {
    let wrong = passed_over(Thing::Speck);
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Else the three above would hold of a program that never says "ready".
#[test]
fn the_same_sheet_without_them_is_ready() {
    for primer in [false, true] {
        let sharp = Case {
            thing: Thing::Nothing,
            px_per_mm: 8.0,
            blur_px: 0.8,
            darkness: 1.0,
            primer,
        };
        assert_eq!(sharp.passed_over(), None);
    }
}
