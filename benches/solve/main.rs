//! How long the survey of several photos takes: four photos of a strip of 1.2 m with eight cards.
//!
//! `cargo bench --bench solve` draws the photos, writes them as a phone does, and prints the time of each stage
//! of the check, decoding first. Bar of the project: at most 100 ms for all solves of a check, after detection. Ends
//! with status 1 if it fails.

use std::path::Path;
use std::process::ExitCode;
use std::time::Instant;

use punchready::card::find;
use punchready::check::{Given, check_watched};
use punchready::frame::Point;
use punchready::photo;
use punchready::plan;
use punchready::survey::{Cameras, Options, PrintScale, Priors, Sighting, survey_of};
use punchready::synth::marking::{Hand, Marking};
use punchready::synth::{
    Bench, Camera, ExifFacts, PlacedCard, Scene, SheetPiece, Surface, render, write_jpeg,
};

/// Bar of the project, ms.
const SOLVES_MS: f64 = 100.0;
const ROUNDS: usize = 5;
const PLAN: &str = r#"
title = "Solve"
units = "mm"
[sheet]
width = 1200
height = 50
thickness = 1.0
[rivet]
diameter = 3.2
[tolerance]
position = 1.5
[[row]]
name = "A"
along = "bottom"
edge_distance = 9
first = 10
pitch = 20
count = 60
"#;

fn main() -> ExitCode {
    let plan = plan::parse(PLAN, Path::new("solve.toml")).expect("the bench's own plan");
    let (w, h) = (plan.width_mm, plan.height_mm);
    let along = [80.0, 313.0, 313.0, 600.0, 600.0, 887.0, 887.0, 1120.0];
    let scene = Scene {
        sheet: SheetPiece::sized(w, h),
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards: (41..)
            .zip(along)
            .map(|(n, x)| PlacedCard::at(n, x, if n % 2 == 1 { h + 22.0 } else { -22.0 }, 0.01))
            .collect(),
        marks: Marking::of(&plan, &Hand::default()).marks,
        ..Scene::default()
    };
    let dir = tempfile::tempdir().expect("a folder for the photos");
    let files: Vec<_> = (0..4)
        .map(|i| {
            let aim = Point::new(170.0 + 286.7 * f64::from(i), h / 2.0);
            let tilt = 0.05 + 0.03 * f64::from(i);
            let camera = Camera::above(aim, 9.5, tilt, f64::from(i), 0.02, [4000, 1600])
                .with_distortion(0.012, -0.015, 0.0002, -0.0001);
            let file = dir.path().join(format!("{i}.jpg"));
            let scene = Scene {
                camera,
                ..scene.clone()
            };
            write_jpeg(&file, &render(&scene), &ExifFacts::default()).expect("a photo");
            file
        })
        .collect();

    let read = || -> Vec<_> {
        files
            .iter()
            .map(|f| photo::read(f).expect("the photo"))
            .collect()
    };
    println!(
        "four photos of 6.4 megapixels, eight cards; the fastest of {ROUNDS}, as the machine may be busy"
    );
    println!("  decode      {:>7.1} ms", fastest(|| drop(read())));
    let photos = read();
    let given = Given {
        print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    let found: Vec<_> = photos.iter().map(|p| find::find(&p.grey)).collect();
    let cards: usize = found.iter().map(|f| f.cards.len()).sum();
    let shots: Vec<(Priors, usize)> = photos
        .iter()
        .map(|p| {
            let (width, height) = p.grey.dimensions();
            (Priors::from_camera(&p.camera, width, height), 0)
        })
        .collect();
    let sightings: Vec<Sighting> = found
        .iter()
        .enumerate()
        .map(|(camera, f)| Sighting {
            cards: &f.cards,
            camera,
            ..Sighting::default()
        })
        .collect();
    let corners: usize = found
        .iter()
        .flat_map(|f| &f.cards)
        .map(|c| c.saddles.len())
        .sum();
    let solve = fastest(|| {
        survey_of(&sightings, &Cameras::of_shots(&shots), &Options::default()).expect("a survey");
    });
    println!("  one solve   {solve:>7.1} ms, of {cards} sightings of cards with {corners} corners");

    let refs: Vec<_> = photos.iter().collect();
    let mut stages: Vec<(&'static str, Vec<f64>)> = Vec::new();
    let mut ready = true;
    for _ in 0..ROUNDS {
        let mut timings: Vec<(&'static str, f64)> = Vec::new();
        let mut last = Instant::now();
        let checked = check_watched(&refs, &plan, &given, &mut |stage| {
            let ms = last.elapsed().as_secs_f64() * 1e3;
            last = Instant::now();
            match timings.iter_mut().find(|(s, _)| *s == stage) {
                Some((_, all)) => *all += ms,
                None => timings.push((stage, ms)),
            }
        });
        ready &= checked.survey().is_some();
        for &(stage, ms) in &timings {
            match stages.iter_mut().find(|(s, _)| *s == stage) {
                Some((_, all)) => all.push(ms),
                None => stages.push((stage, vec![ms])),
            }
        }
    }
    let mut solves = f64::NAN;
    for (stage, all) in &stages {
        let ms = all.iter().copied().fold(f64::INFINITY, f64::min);
        println!("  {stage:<11} {ms:>7.1} ms");
        if *stage == "survey" {
            solves = ms;
        }
    }
    let holds = ready && solves <= SOLVES_MS;
    println!(
        "{} all solves of a check {solves:.1} ms, bar {SOLVES_MS} ms",
        if holds { "pass" } else { "FAIL" }
    );
    if holds {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}

/// Least time of `work`, ms.
fn fastest(mut work: impl FnMut()) -> f64 {
    let time = |_| {
        let start = Instant::now();
        work();
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..ROUNDS).map(time).fold(f64::INFINITY, f64::min)
}
