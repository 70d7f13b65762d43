//! Laws that covariances keep: positive definite, the same in another unit, the same from another gauge card.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

mod survey_scene;

use punchready::card::SeenCard;
use punchready::frame::{Cov2, Point, Sheet};
use punchready::survey::{Cameras, Options, SheetDatum, Sighting, StraightLine, Survey, survey_of};
use survey_scene::*;

/// Rounding of a solve in other units or from another gauge, relative: the normal matrix' condition is some 1e8.
const ALIKE: f64 = 1e-4;
/// Places move in rounding of the settled solve alone, mm.
const PLACE_MM: f64 = 1e-4;

struct Photos {
    scenes: Vec<Scene>,
    cards: Vec<Vec<SeenCard>>,
    lines: Vec<Vec<StraightLine>>,
}

/// Two photos of one table, with noise.
fn photos() -> Photos {
    let mut first = Scene::plain();
    first.noise_px = 0.05;
    first.edge_noise_px = 0.15;
    let mut second = first.clone();
    second.eye.at = nalgebra::Vector3::new(190.0, 150.0, 410.0);
    second.eye.roll = -0.2;
    let mut dice = Dice(77);
    let scenes = vec![first, second];
    let cards = scenes.iter().map(|s| s.cards(&mut dice)).collect();
    let lines = scenes.iter().map(|s| s.edges(50, &mut dice)).collect();
    Photos {
        scenes,
        cards,
        lines,
    }
}

fn solved(p: &Photos, unit: f64) -> Survey {
    let sightings: Vec<Sighting> = (0..p.cards.len())
        .map(|camera| Sighting {
            cards: &p.cards[camera],
            lines: &p.lines[camera],
            camera,
            ..Sighting::default()
        })
        .collect();
    let base = Options::default();
    let options = Options {
        paper_mm: base.paper_mm.map(|p| p * unit),
        bench_mm: base.bench_mm.map(|b| b * unit),
        flatness_mm: base.flatness_mm * unit,
        ..base
    };
    let shots: Vec<_> = p.scenes.iter().map(|s| (true_priors(s), 0)).collect();
    survey_of(&sightings, &Cameras::of_shots(&shots), &options).unwrap()
}

/// Each mark as both photos have it.
fn measured(p: &Photos, s: &Survey, unit: f64) -> Vec<(Point<Sheet>, Cov2)> {
    let SheetDatum::Edges {
        base,
        other,
        size_mm,
    } = p.scenes[0].datum()
    else {
        unreachable!()
    };
    let datum = SheetDatum::Edges {
        base,
        other,
        size_mm: size_mm.map(|m| m * unit),
    };
    let mut all = Vec::new();
    for (photo, scene) in p.scenes.iter().enumerate() {
        let frame = s.sheet_frame(&datum, photo).unwrap();
        for m in marks() {
            let pixel = scene.eye.see(m.x, m.y, 0.0);
            all.push(frame.point(pixel, Cov2::identity() * 0.04).unwrap());
        }
    }
    all
}

#[test]
fn covariances_are_positive_definite() {
    let p = photos();
    let s = solved(&p, 1.0);
    assert!(s.covariance().clone().cholesky().is_some());
    for (at, cov) in measured(&p, &s, 1.0) {
        let eigen = cov.symmetric_eigenvalues();
        assert!(eigen.min() > 0.0, "{at:?} {cov}");
    }
    // What two photos have in common is no more than either has.
    let datum = p.scenes[0].datum();
    let frames = [0, 1].map(|i| s.sheet_frame(&datum, i).unwrap());
    for m in marks() {
        let lean = [0, 1].map(|i| {
            let pixel = p.scenes[i].eye.see(m.x, m.y, 0.0);
            frames[i].leaning(pixel).unwrap()
        });
        let [a, b] = [0, 1].map(|i| frames[0].shared(&lean[i], &lean[i]));
        let both = frames[0].shared(&lean[0], &lean[1]);
        let gap = a + b - both - both.transpose();
        assert!(gap.symmetric_eigenvalues().min() > -1e-12, "{gap}");
    }
}

#[test]
fn another_unit_changes_nothing_but_the_unit() {
    let p = photos();
    // The same table in tenths of an inch... as numbers: everything 0.4 times as long.
    let unit = 0.4;
    let mut q = photos();
    for card in q.cards.iter_mut().flatten() {
        for saddle in &mut card.saddles {
            saddle.on_card = Point::at(saddle.on_card.vec() * unit);
        }
    }
    let (a, b) = (solved(&p, 1.0), solved(&q, unit));
    for ((at, cov), (to, con)) in measured(&p, &a, 1.0).iter().zip(measured(&q, &b, unit)) {
        let moved = (at.vec() - to.vec() / unit).norm();
        assert!(moved < PLACE_MM, "{at:?} {to:?}");
        same_cov(&(con / (unit * unit)), cov, ALIKE, "another unit");
    }
}

#[test]
fn another_gauge_card_changes_nothing() {
    let p = photos();
    let mut q = photos();
    // The first card is the one of the lowest number: 3, 7 and 12 become 12, 7 and 3.
    for card in q.cards.iter_mut().flatten() {
        card.number = 15 - card.number;
        if card.number == 8 {
            card.number = 7;
        }
    }
    let (a, b) = (solved(&p, 1.0), solved(&q, 1.0));
    assert_ne!(
        a.cards[0].seen, b.cards[0].seen,
        "the gauge is another card"
    );
    for ((at, cov), (to, con)) in measured(&p, &a, 1.0).iter().zip(measured(&q, &b, 1.0)) {
        assert!(at.distance(to) < PLACE_MM, "{at:?} {to:?}");
        same_cov(&con, cov, ALIKE, "another gauge");
    }
}
