//! Real photos: part of each chessboard is the card, and the rest is predicted.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

use std::path::PathBuf;

use nalgebra::SMatrix;
use punchready::card::{SeenCard, SeenSaddle, saddle};
use punchready::frame::{Card, Cov2, Pixel, Point};
use punchready::photo::Camera;
use punchready::survey::{LENS_UNKNOWNS, Options, Priors, Sighting, Survey, survey};
use serde_json::Value;

/// Columns and rows of corners (OpenCV's samples/data, Apache-2.0), and the squares' side. They are 25 mm; taken as 10,
/// which changes the unit and nothing else, photos of 0.3 megapixels are not refused for their coarseness.
const COLUMNS: usize = 9;
const ROWS: usize = 6;
const SQUARE_MM: f64 = 10.0;
/// Columns that make the card.
const CARD: usize = 5;
/// Noise of a listed corner and of an own one, each axis: what a calibration from them leaves over both, 0.205 px by
/// OpenCV's own account and 0.169 px (`lens_reference.rs`), over the root of two.
const LISTED_PX: f64 = 0.145;
const OWN_PX: f64 = 0.12;
/// Window of an own corner, as in `real_cards.rs`.
const WINDOW_PX: f64 = 5.0;
/// A board of paper on cardboard, held by hand: 0.25 mm in that unit.
const BOARD_FLAT_MM: f64 = 0.1;
/// The corners beyond the card are found within this share of a square, RMS; half as far out again as the card is wide.
const RMS_SQUARES: f64 = 0.02;
/// Least share of coordinates within U. The corners of a photo share its pose, so 13 photos say it to some percent.
const HELD: f64 = 0.88;

/// The corners of every board: those listed, or the program's own, started a pixel off them.
fn corners(own: bool) -> Option<Vec<Vec<SeenSaddle>>> {
    let root = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let folder = root.join("opencv-chessboard");
    let path = folder.join("corners.json");
    let Ok(text) = std::fs::read_to_string(&path) else {
        println!("SKIPPED: {} is not there", path.display());
        return None;
    };
    let data: Value = serde_json::from_str(&text).unwrap();
    let photos = data["left"].as_array().unwrap().iter();
    let of_photo = |photo: &Value| {
        let points = photo["corners"].as_array().unwrap().iter().enumerate();
        let grey = own.then(|| {
            let file = folder.join(photo["file"].as_str().unwrap());
            image::open(file).unwrap().to_luma8()
        });
        points
            .map(|(i, p)| {
                let [x, y] = [0, 1].map(|k| p[k].as_f64().unwrap());
                // The board's second axis runs down in the picture, the card's up.
                let on_card = Point::<Card>::new(
                    (i % COLUMNS) as f64 * SQUARE_MM,
                    -((i / COLUMNS) as f64) * SQUARE_MM,
                );
                let listed = Point::<Pixel>::from_whole_centres(x, y);
                let refined = grey.as_ref().map(|grey| {
                    let (s, c) = (i as f64 * 2.4).sin_cos();
                    let start = Point::new(listed.x + c, listed.y + s);
                    saddle::refine(grey, start, WINDOW_PX, 1.0).unwrap().at
                });
                let sd = if own { OWN_PX } else { LISTED_PX };
                SeenSaddle {
                    on_card,
                    at: refined.unwrap_or(listed),
                    cov: Cov2::identity() * (sd * sd),
                }
            })
            .collect()
    };
    Some(photos.map(of_photo).collect())
}

fn solve(boards: &[Vec<SeenSaddle>], priors: &Priors) -> Survey {
    let cards: Vec<Vec<SeenCard>> = boards
        .iter()
        .map(|saddles| {
            let last = saddles[saddles.len() - 1].at;
            let first = saddles[0].at;
            vec![SeenCard {
                number: 1,
                saddles: saddles.clone(),
                outline: [first, last, first, first],
            }]
        })
        .collect();
    let sightings: Vec<Sighting> = cards
        .iter()
        .map(|cards| Sighting {
            cards,
            ..Sighting::default()
        })
        .collect();
    let options = Options {
        paper_mm: [0.0, 0.0],
        flatness_mm: BOARD_FLAT_MM,
        ..Options::default()
    };
    survey(&sightings, priors, &options).unwrap()
}

#[test]
fn the_rest_of_a_real_chessboard_is_where_the_card_says() {
    for own in [false, true] {
        if let Some(boards) = corners(own) {
            predicted(if own { "own" } else { "listed" }, &boards);
        }
    }
}

fn predicted(whose: &str, boards: &[Vec<SeenSaddle>]) {
    let mut open = Priors::from_camera(&Camera::default(), 640, 480);
    open.lens_cov[(3, 3)] = 1.0;
    open.lens_cov[(4, 4)] = 1.0;
    open.scale.sd = [1e-6; 2];
    let (mut square, mut held, mut all, mut worst) = (0.0, 0, 0, 0.0_f64);
    for k in 0..boards.len() {
        assert_eq!(boards[k].len(), COLUMNS * ROWS);
        // The camera from the twelve others.
        let others: Vec<_> = (0..boards.len()).filter(|j| *j != k).collect();
        let others: Vec<_> = others.into_iter().map(|j| boards[j].clone()).collect();
        let by_others = solve(&others, &open);
        let mut priors = open.clone();
        priors.lens = *by_others.lens();
        let cov = by_others.covariance();
        priors.lens_cov = SMatrix::<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>::from_fn(|i, j| cov[(i, j)]);
        let (card, rest): (Vec<SeenSaddle>, Vec<SeenSaddle>) = boards[k]
            .iter()
            .enumerate()
            .map(|(i, s)| (i % COLUMNS < CARD, *s))
            .fold((Vec::new(), Vec::new()), |(mut a, mut b), (on, s)| {
                if on {
                    a.push(s)
                } else {
                    b.push(s)
                }
                (a, b)
            });
        let s = solve(&[card], &priors);
        for corner in &rest {
            let (at, cov) = s.face_point(0, corner.at, corner.cov).unwrap();
            let error = at.vec() - corner.on_card.vec();
            square += error.norm_squared();
            worst = worst.max(error.norm());
            for (e, var) in [(error.x, cov[(0, 0)]), (error.y, cov[(1, 1)])] {
                all += 1;
                held += usize::from(e.abs() <= 2.0 * var.sqrt());
            }
        }
    }
    let rms = (2.0 * square / f64::from(all)).sqrt() / SQUARE_MM;
    let share = held as f64 / f64::from(all);
    println!(
        "{} {whose} corners of {} photos: RMS {rms:.4} of a square, worst {:.4}; U holds {share:.3}",
        all / 2,
        boards.len(),
        worst / SQUARE_MM
    );
    assert!(rms < RMS_SQUARES, "{whose}: {rms}");
    assert!(share > HELD, "{whose}: {share}");
}
