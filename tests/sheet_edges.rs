//! The sheet's own edges, in small drawn photos whose truth is known.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

use nalgebra::Vector3;
use punchready::card::find;
use punchready::frame::Point;
use punchready::ink::Seen;
use punchready::photo;
use punchready::sheet::{self, Look, SheetError, Sides};
use punchready::survey::{Options, PrintScale, Priors, Sighting, survey};
use punchready::synth::{
    Bench, Camera, ExifFacts, Mark, PlacedCard, Scene, SheetPiece, Surface, render, write_jpeg,
};

const SIZE_MM: [f64; 2] = [150.0, 60.0];
/// How far an edge may be from the truth, mm: half a pixel and some of the survey.
const EDGE_MM: f64 = 0.12;

fn scene(bench: Bench, tilt_deg: f64, lean_deg: f64) -> Scene {
    let [w, h] = SIZE_MM;
    let quarter = std::f64::consts::FRAC_PI_2;
    Scene {
        sheet: SheetPiece::sized(w, h),
        bench,
        surface: Surface::Mill,
        cards: vec![
            PlacedCard::at(7, w + 40.0, 0.5 * h, quarter),
            PlacedCard::at(45, 0.5 * w, h + 20.0, 0.0),
        ],
        camera: Camera::above(
            Point::new(0.6 * w, 0.6 * h),
            7.0,
            f64::to_radians(tilt_deg),
            f64::to_radians(lean_deg),
            0.0,
            [1800, 1200],
        ),
        seed: 5,
        ..Scene::default()
    }
}

/// A line, how far outward of the truth its points are, mean in mm, and the doubt told of it, mm.
type Off = (u32, f64, f64);

fn found(scene: &Scene) -> Result<(Sides, Vec<Off>), SheetError> {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("photo.jpg");
    write_jpeg(&file, &render(scene), &ExifFacts::default()).unwrap();
    let photo = photo::read(&file).unwrap();
    let cards = find::find(&photo.grey).cards;
    let (width, height) = photo.grey.dimensions();
    let priors = Priors::from_camera(&photo.camera, width, height)
        .with_scale(PrintScale::from_bars([100.0, 100.0]).unwrap());
    let sighting = Sighting {
        cards: &cards,
        ..Sighting::default()
    };
    let survey = survey(&[sighting], &priors, &Options::default()).unwrap();
    let sides = sheet::find(
        &[Look {
            grey: &photo.grey,
            view: survey.view(0).unwrap(),
            cards: &cards,
        }],
        &survey,
        SIZE_MM,
        scene.sheet.thickness_mm,
    )?;
    let off = sides.lines[0]
        .iter()
        .map(|line| {
            let n = line.points.len() as f64;
            let mean = line
                .points
                .iter()
                .map(|(p, _)| {
                    let at = scene.camera.back_to_plane(*p, 0.0);
                    let outward = [-at.y, at.x - SIZE_MM[0], at.y - SIZE_MM[1], -at.x];
                    outward[line.id.0 as usize]
                })
                .sum::<f64>()
                / n;
            let doubt = sides.doubts.iter().find(|(id, _)| *id == line.id);
            (line.id.0, mean, doubt.map_or(0.0, |(_, sd)| *sd))
        })
        .collect();
    Ok((sides, off))
}

fn assert_near(off: &[Off], limit: f64) {
    for (line, out, _) in off {
        assert!(out.abs() < limit, "line {line} is {out:.3} mm out");
    }
}

#[test]
fn all_four_edges_are_found() {
    let (sides, off) = found(&scene(Bench::Dark, 6.0, -80.0)).unwrap();
    assert_eq!(sides.lines[0].len(), 4);
    assert_near(&off, EDGE_MM);
}

#[test]
fn a_ruled_line_is_no_edge() {
    let mut scene = scene(Bench::Wood, 15.0, -60.0);
    let [w, h] = SIZE_MM;
    for y in [8.0, h - 8.0] {
        scene
            .marks
            .push(Mark::line(Point::new(0.0, y), Point::new(w, y)));
    }
    let (_, off) = found(&scene).unwrap();
    assert_near(&off, 0.3);
}

#[test]
fn the_side_wall_is_not_the_face_or_is_doubt() {
    for lean in [-90.0, 90.0, 180.0] {
        let mut scene = scene(Bench::Dark, 30.0, lean);
        scene.sheet.thickness_mm = 1.6;
        for card in &mut scene.cards {
            card.height_mm = 0.0;
        }
        let (_, off) = found(&scene).unwrap();
        for (line, out, sd) in off {
            assert!(
                out.abs() < EDGE_MM + 2.0 * sd,
                "leaning {lean}: line {line} is {out:.3} mm out, told as {sd:.3}"
            );
        }
    }
}

#[test]
fn three_edges_do_when_the_fourth_is_out_of_the_picture() {
    let mut scene = scene(Bench::Dark, 6.0, -80.0);
    // The right edge and its card leave the picture; another card lies on the left of the one above.
    scene.cards[0] = PlacedCard::at(7, 0.3 * SIZE_MM[0], -45.0, 0.0);
    let by = Vector3::new(-75.0, -12.0, 0.0);
    scene.camera.position += by;
    scene.camera.look_at += by;
    let edge = scene
        .camera
        .project(Vector3::new(SIZE_MM[0], SIZE_MM[1] / 2.0, 0.0));
    assert!(edge.x > f64::from(scene.camera.width), "{edge:?}");
    let (sides, off) = found(&scene).unwrap();
    let ids: Vec<u32> = sides.lines[0].iter().map(|l| l.id.0).collect();
    assert!(ids.contains(&0) && ids.contains(&3), "{ids:?}");
    assert_near(&off, EDGE_MM);
}

#[test]
fn a_photo_without_a_sheet_is_refused() {
    let mut scene = scene(Bench::Wood, 10.0, -80.0);
    scene.sheet = SheetPiece::sized(20.0, 12.0);
    assert!(matches!(found(&scene), Err(SheetError::NotFound { .. })));
}

#[test]
fn thin_cells_count_by_their_area() {
    // 10.2 mm wide: the sixth column of cells is 0.2 mm wide.
    let left = Seen::of([10.2, 4.0], |at| at.x < 4.0);
    assert!(
        (left.fraction() - 4.0 / 10.2).abs() < 1e-9,
        "{}",
        left.fraction()
    );
}
