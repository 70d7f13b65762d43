//! The sheet's own edges, in small drawn photos whose truth is known.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

use image::Rgb;
use nalgebra::Vector3;
use punchready::card::find;
use punchready::frame::Point;
use punchready::ink::Seen;
use punchready::photo;
use punchready::sheet::{self, Look, SheetError, Sides};
use punchready::survey::{Options, PrintScale, Priors, Sighting, survey};
use punchready::synth::{
    Bench, Camera, ExifFacts, Mark, PlacedCard, Rendered, Scene, SheetPiece, Surface, render,
    write_jpeg,
};

const SIZE_MM: [f64; 2] = [150.0, 60.0];
/// How far an edge may be from the truth, mm: half a pixel and some of the survey.
const EDGE_MM: f64 = 0.12;
/// The same where only colour shows it, kept for every other pixel: an eighth of one of its own.
const COLOURED_MM: f64 = 0.035;

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
    found_in(scene, &render(scene), true)
}

fn found_in(
    scene: &Scene,
    drawn: &Rendered,
    in_colour: bool,
) -> Result<(Sides, Vec<Off>), SheetError> {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("photo.jpg");
    write_jpeg(&file, drawn, &ExifFacts::default()).unwrap();
    let photo = photo::read(&file).unwrap();
    let grey = photo::Later::none();
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
            colour: if in_colour { &photo.colour } else { &grey },
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

/// The scene's photo with all but its cards painted anew: `colour` of a place of the sheet's frame, mm, or `None` to
/// leave it. Mixed in light over the pixel and its neighbours' halves, as a lens does, with some noise.
fn painted(scene: &Scene, colour: impl Fn(f64, f64, [u8; 3]) -> Option<[f64; 3]>) -> Rendered {
    let mut drawn = render(scene);
    let [w, h] = SIZE_MM;
    let on_card = |x: f64, y: f64| {
        (w + 9.0..w + 71.0).contains(&x) && (-1.0..h + 1.0).contains(&y)
            || y > h + 6.5 && y < h + 33.5
    };
    const SAMPLES: i32 = 5;
    let mut dice = 1u32;
    for (px, py, pixel) in drawn.image.enumerate_pixels_mut() {
        let was = pixel.0;
        let mut light = [0.0; 3];
        let mut left = false;
        for k in 0..SAMPLES * SAMPLES {
            let at = |i: i32| (f64::from(i) + 0.5) / f64::from(SAMPLES) * 1.6 - 0.3;
            let p = Point::new(
                f64::from(px) + at(k % SAMPLES),
                f64::from(py) + at(k / SAMPLES),
            );
            let p = scene.camera.back_to_plane(p, 0.0);
            if on_card(p.x, p.y) {
                left = true;
                break;
            }
            let Some(c) = colour(p.x, p.y, was) else {
                left = true;
                break;
            };
            for (sum, c) in light.iter_mut().zip(c) {
                *sum += (c / 255.0).powf(2.2) / f64::from(SAMPLES * SAMPLES);
            }
        }
        if left {
            continue;
        }
        *pixel = Rgb(light.map(|l| {
            dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(dice >> 24) / 256.0 * 8.0 - 4.0;
            (l.powf(1.0 / 2.2) * 255.0 + noise).round() as u8
        }));
    }
    drawn
}

/// How far outside the sheet a place is, mm; inside less than 0.
fn outside(x: f64, y: f64) -> f64 {
    (-x).max(-y).max(x - SIZE_MM[0]).max(y - SIZE_MM[1])
}

fn assert_honest(off: &[Off]) {
    for (line, out, sd) in off {
        assert!(
            out.abs() < EDGE_MM + 2.0 * sd,
            "line {line} is {out:.3} mm out, told as {sd:.3}"
        );
    }
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

#[test]
fn a_sheet_as_bright_as_its_bench_is_found_by_its_colour() {
    // Green on brown: 120 and 122 grey levels.
    let scene = scene(Bench::Dark, 12.0, -70.0);
    let drawn = painted(&scene, |x, y, _| {
        Some(if outside(x, y) < 0.0 {
            [104.0, 134.0, 92.0]
        } else {
            [150.0, 115.0, 84.0]
        })
    });
    let without = found_in(&scene, &drawn, false);
    assert!(without.is_err(), "{:?}", without.map(|(_, off)| off));
    let (sides, off) = found_in(&scene, &drawn, true).unwrap();
    println!("off {off:?}");
    assert_eq!(sides.lines[0].len(), 4);
    // The little that brightness steps lies 0.06 to 0.09 mm inside, where the mix of both colours begins.
    for (line, out, sd) in &off {
        assert!(
            *sd > 0.05 && out.abs() < *sd,
            "line {line} is {out:.3} mm out, told as {sd:.3}"
        );
    }
    assert_near(&off, COLOURED_MM);
}

#[test]
fn colours_without_a_sheet_are_none() {
    // A bench of coloured boards.
    let scene = scene(Bench::Dark, 12.0, -70.0);
    let drawn = painted(&scene, |_, y, _| {
        Some(if (y / 37.0).floor() as i32 % 2 == 0 {
            [104.0, 134.0, 92.0]
        } else {
            [150.0, 115.0, 84.0]
        })
    });
    assert!(found_in(&scene, &drawn, true).is_err());
}

#[test]
fn a_badly_filed_edge_is_found_with_a_doubt() {
    // The outermost 0.0 to 0.24 mm are as dark as the bench, here more of them and there less.
    let scene = scene(Bench::Dark, 8.0, -80.0);
    let drawn = painted(&scene, |x, y, _| {
        let along = x + y;
        let rim = 0.12 + 0.07 * (along * 0.9).sin() + 0.05 * (along * 0.37).sin();
        Some(if outside(x, y) < -rim {
            [170.0; 3]
        } else {
            [60.0; 3]
        })
    });
    let (sides, off) = found_in(&scene, &drawn, true).unwrap();
    assert_eq!(sides.lines[0].len(), 4);
    assert_honest(&off);
}

#[test]
fn a_template_inside_the_metals_edge_leaves_two() {
    let scene = scene(Bench::Dark, 5.0, -80.0);
    let drawn = painted(&scene, |x, y, _| {
        Some(if outside(x, y) > 0.0 {
            [45.0; 3]
        } else if x < 1.2 {
            [150.0; 3]
        } else {
            [225.0; 3]
        })
    });
    let (sides, _) = found_in(&scene, &drawn, true).unwrap();
    assert!(
        sides
            .seconds
            .iter()
            .any(|(id, mm)| id.0 == 3 && (mm - 1.2).abs() < 0.15),
        "{:?}",
        sides.seconds
    );
    assert!(sides.seconds.iter().all(|(id, _)| id.0 == 3));
}

/// Bare metal mirrors the room: along the sheet it is by turns darker and brighter than a bench of even white.
fn mirrored(x: f64, y: f64) -> [f64; 3] {
    if outside(x, y) > 0.0 {
        [170.0; 3]
    } else {
        [170.0 + 60.0 * (0.055 * x + 0.11 * y).sin(); 3]
    }
}

#[test]
fn metal_brighter_and_darker_than_its_bench_by_turns_is_found() {
    let scene = scene(Bench::Dark, 8.0, -80.0);
    let drawn = painted(&scene, |x, y, _| Some(mirrored(x, y)));
    let (sides, off) = found_in(&scene, &drawn, false).unwrap();
    assert_eq!(sides.lines[0].len(), 4, "{off:?}");
    assert_honest(&off);
}

#[test]
fn a_bright_rim_ends_where_the_metal_does() {
    // Face and bench alike but for colour, and 0.25 mm of bare, bright rim, as a sheared painted sheet has it.
    const RIM_MM: f64 = 0.25;
    let scene = scene(Bench::Dark, 8.0, -80.0);
    let drawn = painted(&scene, |x, y, _| {
        Some(match outside(x, y) {
            out if out > 0.0 => [150.0, 115.0, 84.0],
            out if out > -RIM_MM => [225.0; 3],
            _ => [104.0, 134.0, 92.0],
        })
    });
    let (sides, off) = found_in(&scene, &drawn, true).unwrap();
    assert_eq!(sides.lines[0].len(), 4, "{off:?}");
    // Paint ends a rim's width inside; the edge is where the rim does.
    assert_near(&off, 0.4 * RIM_MM);
}

#[test]
fn a_side_that_is_partly_covered_is_measured_by_what_is_left() {
    // A dark cloth over a third of the bottom edge, and over the bench there.
    let scene = scene(Bench::Dark, 8.0, -80.0);
    let drawn = painted(&scene, |x, y, _| {
        let cloth = y < 6.0 && x > 12.0 && x < 62.0;
        Some(if cloth {
            [40.0; 3]
        } else if outside(x, y) > 0.0 {
            [120.0; 3]
        } else {
            [205.0; 3]
        })
    });
    let (sides, off) = found_in(&scene, &drawn, false).unwrap();
    assert!(sides.meet());
    assert_near(&off, EDGE_MM);
}

#[test]
fn the_edge_comes_before_its_shadow() {
    // A hard shadow of 1 mm along the bottom edge.
    let scene = scene(Bench::Dark, 8.0, -80.0);
    let drawn = painted(&scene, |x, y, _| {
        Some(if outside(x, y) <= 0.0 {
            [150.0; 3]
        } else if y < 0.0 && y > -1.0 && x > 0.0 && x < SIZE_MM[0] {
            [95.0; 3]
        } else {
            [200.0; 3]
        })
    });
    let (_, off) = found_in(&scene, &drawn, false).unwrap();
    assert_honest(&off);
}
