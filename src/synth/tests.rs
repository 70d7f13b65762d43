//! The drawn photo against its own truth, and the camera against published numbers.
#![allow(
    clippy::print_stdout,
    reason = "tests say aloud what they measured and what they skip"
)]

use std::f64::consts::FRAC_PI_2;
use std::path::PathBuf;

use nalgebra::{DMatrix, DVector, Vector2, Vector3};

use super::marking::{Hand, Marking, Style};
use super::*;
use crate::frame::{Pixel, Point, Sheet};
use crate::ink::MarkKind;
use crate::plan::{Edge, Hole, Plan, Row, Units};

/// Folder of the reference data; `None` (said aloud) when it is not there.
fn reference(file: &str) -> Option<serde_json::Value> {
    let folder = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/reference")),
        PathBuf::from,
    );
    let path = folder.join(file);
    if !path.exists() {
        println!("skipped: {} does not exist", path.display());
        return None;
    }
    Some(serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap())
}

fn pairs(value: &serde_json::Value) -> Vec<Vector2<f64>> {
    let list = value.as_array().unwrap();
    list.iter()
        .map(|p| Vector2::new(p[0].as_f64().unwrap(), p[1].as_f64().unwrap()))
        .collect()
}

#[test]
fn lens_agrees_with_opencv_both_ways() {
    /// The reference gives twelve decimals.
    const EXACT: f64 = 2e-12;
    /// The same through 3050 px of focal length.
    const EXACT_PX: f64 = 1e-8;
    let Some(data) = reference("undistort.json") else {
        return;
    };
    let [fx, fy] = [0, 1].map(|i| data["meta"]["camera_matrix"][i][i].as_f64().unwrap());
    let [cx, cy] = [0, 1].map(|i| data["meta"]["camera_matrix"][i][2].as_f64().unwrap());
    let mut used = 0;
    for case in data["cases"].as_array().unwrap() {
        let c: Vec<f64> = case["coefficients"]
            .as_array()
            .unwrap()
            .iter()
            .map(|v| v.as_f64().unwrap())
            .collect();
        if c[4..].iter().any(|&v| v != 0.0) {
            continue; // k3 and the rational model: not in this camera
        }
        used += 1;
        let camera = Camera {
            focal_px: fx,
            principal: Point::from_whole_centres(cx, cy),
            position: Vector3::new(0.0, 0.0, 500.0),
            look_at: Vector3::zeros(),
            roll_rad: 0.0,
            ..Camera::default()
        }
        .with_distortion(c[0], c[1], c[2], c[3]);
        let bent_px = pairs(&case["distorted_px"]);
        let straight = pairs(&case["undistorted_normalised"]);
        for (bent_px, straight) in bent_px.iter().zip(&straight) {
            let bent = Vector2::new((bent_px.x - cx) / fx, (bent_px.y - cy) / fy);
            let there = (camera.undistort(bent).0 - straight).norm();
            let back = (camera.distort(*straight) - bent).norm();
            assert!(
                there < EXACT && back < EXACT,
                "{}: {there:e} {back:e}, allowed {EXACT:e}",
                case["name"]
            );
            // Through the whole camera: a point on the plane 500 mm below, y up.
            let world = Vector3::new(straight.x * 500.0, -straight.y * 500.0, 0.0);
            let seen = camera.project(world);
            let expected = Point::<Pixel>::from_whole_centres(bent_px.x, cy + bent.y * fx);
            let off = seen.distance(expected);
            assert!(off < EXACT_PX, "{}: {off:e} px", case["name"]);
        }
    }
    assert!(used >= 3, "only {used} cases use k1, k2, p1, p2 alone");
}

#[test]
fn camera_looks_the_way_it_says() {
    /// Rounding of numbers near 1000.
    const EXACT_PX: f64 = 1e-9;
    let middle = Point::new(100.0, 50.0);
    let see = |c: &Camera, x: f64, y: f64| c.project(Vector3::new(x, y, 0.0));
    let near = |p: Point<Pixel>, x: f64, y: f64| {
        assert!(p.distance(Point::new(x, y)) < EXACT_PX, "{p:?} {x} {y}");
    };
    let straight = Camera::above(middle, 4.0, 0.0, 0.0, 0.0, [800, 600]);
    near(see(&straight, 100.0, 50.0), 400.0, 300.0);
    near(see(&straight, 110.0, 50.0), 440.0, 300.0);
    near(see(&straight, 100.0, 60.0), 400.0, 260.0);
    // Rolled a quarter, what lay to the right lies above: content turns anticlockwise.
    let rolled = Camera::above(middle, 4.0, 0.0, 0.0, FRAC_PI_2, [800, 600]);
    near(see(&rolled, 110.0, 50.0), 400.0, 260.0);
    // Leaning towards +x, the camera is nearer to what lies there.
    let tilted = Camera::above(middle, 4.0, 0.5, 0.0, 0.0, [800, 600]);
    near(see(&tilted, 100.0, 50.0), 400.0, 300.0);
    let right = see(&tilted, 110.0, 50.0).x - 400.0;
    let left = 400.0 - see(&tilted, 90.0, 50.0).x;
    assert!(right > left && right < 40.0, "{right} {left}");
    // A point of the axis stays put at any height; what is higher and off it moves outward.
    let up = straight.project(Vector3::new(110.0, 50.0, 5.0));
    assert!(up.x > 440.0 && (up.y - 300.0).abs() < EXACT_PX, "{up:?}");
}

#[test]
fn pixels_and_planes_map_there_and_back() {
    /// Rounding of numbers near 1000.
    const EXACT_MM: f64 = 1e-8;
    let camera = Camera::above(Point::new(150.0, 100.0), 5.0, 0.4, 2.0, 0.3, [2016, 1512])
        .with_distortion(0.08, -0.1, 0.001, -0.002);
    for z in [-1.0, 0.0, 3.0] {
        for (x, y) in [(0.0, 0.0), (300.0, 10.0), (140.0, 210.0)] {
            let px = camera.project(Vector3::new(x, y, z));
            let back = camera.back_to_plane(px, z);
            let off = (back - Vector2::new(x, y)).norm();
            assert!(off < EXACT_MM, "{off:e} mm");
        }
    }
}

/// One channel of a picture.
struct Plane {
    width: usize,
    values: Vec<f64>,
}

impl Plane {
    fn of(image: &image::RgbImage) -> Self {
        Self {
            width: image.width() as usize,
            values: image.pixels().map(|p| f64::from(p.0[1])).collect(),
        }
    }

    /// The light before the sensor makes bytes of it, blurred by `blur_px`.
    fn light(scene: &Scene, blur_px: f64) -> Self {
        let mut scene = scene.clone();
        scene.sensor.blur_px = blur_px;
        let traced = trace::trace(&scene);
        let left = (blur_px * blur_px - traced.blur_px2).max(0.0).sqrt();
        let rgb = sensor::gauss(&traced.rgb, traced.width, left);
        Self {
            width: traced.width,
            values: rgb.iter().skip(1).step_by(3).map(|&v| v.into()).collect(),
        }
    }

    fn at(&self, column: usize, row: usize) -> f64 {
        self.values[row * self.width + column]
    }
}

/// The saddle of the brightness near `start`: quadratic fits to a window that follows it.
///
/// A checker corner is even about its middle, so at the true middle the fit's slope vanishes, whatever
/// the window, the blur and the grey curve.
fn saddle_near(photo: &Plane, start: Point<Pixel>) -> Point<Pixel> {
    let value = |x: f64, y: f64| cubic(photo, x, y);
    let mut at = start;
    let reach = -3..=3;
    for _ in 0..12 {
        let mut rows = Vec::new();
        let mut values = Vec::new();
        for j in reach.clone() {
            for i in reach.clone() {
                let (u, v) = (f64::from(i), f64::from(j));
                rows.extend([1.0, u, v, u * u, u * v, v * v]);
                values.push(value(at.x + u, at.y + v));
            }
        }
        let a = DMatrix::from_row_slice(values.len(), 6, &rows);
        let fit = a
            .svd(true, true)
            .solve(&DVector::from_vec(values), 1e-12)
            .unwrap();
        let (p, q, r) = (2.0 * fit[3], fit[4], 2.0 * fit[5]);
        let det = p * r - q * q;
        assert!(det < 0.0, "no saddle near {start:?}");
        let step = Vector2::new(-(r * fit[1] - q * fit[2]), -(p * fit[2] - q * fit[1])) / det;
        at = at + step.map(|s| s.clamp(-0.5, 0.5));
    }
    at
}

/// Brightness between pixels (Catmull and Rom's cubic).
fn cubic(photo: &Plane, x: f64, y: f64) -> f64 {
    let weights = |t: f64| {
        [
            ((-0.5 * t + 1.0) * t - 0.5) * t,
            (1.5 * t - 2.5) * t * t + 1.0,
            ((-1.5 * t + 2.0) * t + 0.5) * t,
            (0.5 * t - 0.5) * t * t,
        ]
    };
    let (x, y) = (x - 0.5, y - 0.5);
    let (i, j) = (x.floor(), y.floor());
    let (wx, wy) = (weights(x - i), weights(y - j));
    let mut sum = 0.0;
    for (b, wy) in wy.iter().enumerate() {
        for (a, wx) in wx.iter().enumerate() {
            let column = (i + a as f64 - 1.0) as usize;
            let row = (j + b as f64 - 1.0) as usize;
            sum += wx * wy * photo.at(column, row);
        }
    }
    sum
}

fn card_scene() -> Scene {
    let mut curled = PlacedCard::at(41, 75.0, 20.0, 0.02);
    curled.curl_mm = 1.5;
    curled.height_mm = 0.3;
    let mut stretched = PlacedCard::at(2, 110.0, 75.0, -0.6);
    stretched.print_scale = [0.97, 1.02];
    stretched.height_mm = -1.0;
    let mut camera = Camera::above(Point::new(75.0, 60.0), 5.6, 0.3, 0.9, 0.2, [1008, 756])
        .with_distortion(0.4, -0.8, 0.003, -0.002);
    // As far off as with 12 MP: a saddle is even about its middle only where perspective is weak.
    camera.focal_px *= 4.0;
    camera.position = camera.look_at + (camera.position - camera.look_at) * 4.0;
    let mut scene = Scene {
        camera,
        cards: vec![PlacedCard::at(1, 38.0, 75.0, 0.3), stretched, curled],
        ..Scene::default()
    }
    .clean();
    scene.sensor.blur_px = 1.0;
    scene
}

/// Largest and root mean square distance of the saddles seen in the photo from the truth, px.
fn saddle_errors(photo: &Plane, truth: &Truth) -> (f64, f64) {
    let errors: Vec<f64> = truth
        .cards
        .iter()
        .flat_map(|c| &c.saddles)
        .map(|&(_, px)| saddle_near(photo, px + Vector2::new(0.2, -0.1)).distance(px))
        .collect();
    assert_eq!(errors.len(), 32 + 32 + 54);
    let max = errors.iter().copied().fold(0.0, f64::max);
    let mean2 = errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64;
    println!("saddles: rms {:.4} px, max {max:.4} px", mean2.sqrt());
    (max, mean2.sqrt())
}

#[test]
fn saddles_lie_where_the_truth_says() {
    /// Of the light itself, blurred enough (2.5 px) to be read between pixels: what is left is perspective
    /// and the interpolation's own error, which falls with more blur and not with more parts per pixel.
    const LIGHT_PX: f64 = 0.01;
    /// Of the picture: 8 bits, motion and sharpening come on top.
    const PICTURE_PX: f64 = 0.02;
    let mut scene = card_scene();
    let truth = truth_of(&scene);
    let (max, _) = saddle_errors(&Plane::light(&scene, 2.5), &truth);
    assert!(max < LIGHT_PX, "light: {max} px, allowed {LIGHT_PX} px");
    for (motion, sharpen) in [([0.0; 2], 0.0), ([3.0, 1.5], 0.4)] {
        scene.sensor.blur_px = 1.6;
        scene.sensor.motion_px = motion;
        scene.sensor.sharpen = sharpen;
        let (max, _) = saddle_errors(&Plane::of(&render(&scene).image), &truth);
        assert!(
            max < PICTURE_PX,
            "picture: {max} px, allowed {PICTURE_PX} px"
        );
    }
}

/// Centroid of the ink within `reach_mm` of `near`, on the sheet: each pixel is taken to the sheet and
/// weighed with its ink and its size there.
fn ink_centroid(
    photo: &Rendered,
    linear: impl Fn(u32, u32) -> f64,
    near: Point<Sheet>,
    reach_mm: f64,
) -> Point<Sheet> {
    let middle = photo.pixel_from_sheet(near);
    let reach = (reach_mm * 12.0) as i64;
    let blank = photo.pixel_from_sheet(near + Vector2::new(reach_mm * 1.3, 0.0));
    let white = linear(blank.x as u32, blank.y as u32);
    let mut sum = Vector2::zeros();
    let mut weight = 0.0;
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let (x, y) = (middle.x as i64 + dx, middle.y as i64 + dy);
            let px = Point::<Pixel>::new(x as f64 + 0.5, y as f64 + 0.5);
            let at = photo.sheet_from_pixel(px);
            if at.distance(near) > reach_mm {
                continue;
            }
            let right = photo.sheet_from_pixel(px + Vector2::x()) - at;
            let down = photo.sheet_from_pixel(px + Vector2::y()) - at;
            let area = (right.x * down.y - right.y * down.x).abs();
            let ink = area * (white - linear(x as u32, y as u32));
            sum += at.vec() * ink;
            weight += ink;
        }
    }
    Point::at(sum / weight)
}

#[test]
fn dots_have_their_centroid_where_the_truth_says() {
    /// A twentieth of a pixel at the 5 px/mm of this photo: what 8 bits leave of a small dot.
    const PICTURE_MM: f64 = 0.01;
    /// Before the bytes: half a hundredth of a pixel.
    const LIGHT_MM: f64 = 0.001;
    let sizes = [0.4, 0.6, 0.8, 1.1, 1.5];
    let marks = (0..20)
        .map(|i| {
            let (x, y) = (
                20.13 + 13.37 * f64::from(i % 5),
                20.0 + 11.21 * f64::from(i / 5),
            );
            let mut mark = Mark::dot(x, y).sized(sizes[i as usize % 5]);
            mark.ink.wobble = 2.0;
            mark.ink.patchy = 0.5;
            mark
        })
        .collect();
    let mut camera = Camera::above(Point::new(45.0, 40.0), 5.0, 0.3, 2.2, 0.4, [640, 480])
        .with_distortion(0.4, 0.0, 0.003, 0.0);
    // As far off as with 12 MP: blur under strong perspective shifts a centroid by itself.
    camera.focal_px *= 6.0;
    camera.position = camera.look_at + (camera.position - camera.look_at) * 6.0;
    let mut scene = Scene {
        camera,
        marks,
        seed: 3,
        ..Scene::default()
    }
    .clean();
    scene.sensor.blur_px = 0.7;
    let photo = render(&scene);
    let light = Plane::light(&scene, 0.7);
    let mut worst = [0.0f64; 2];
    for mark in &photo.truth.marks {
        let reach = mark.size_mm / 2.0 * 1.5 + 0.6;
        let picture = ink_centroid(&photo, |x, y| photo.linear(x, y), mark.at, reach);
        let traced = |x: u32, y: u32| light.at(x as usize, y as usize);
        let raw = ink_centroid(&photo, traced, mark.at, reach);
        worst[0] = worst[0].max(picture.distance(mark.at));
        worst[1] = worst[1].max(raw.distance(mark.at));
    }
    println!(
        "dots: worst {:.4} mm in the picture, {:.4} mm in the light",
        worst[0], worst[1]
    );
    assert!(worst[0] < PICTURE_MM, "{} mm in the picture", worst[0]);
    assert!(worst[1] < LIGHT_MM, "{} mm in the light", worst[1]);
}

#[test]
fn the_sheet_covers_as_much_light_as_it_should() {
    /// Mean shift of an edge that the area, or the centroid, may show.
    const ALLOWED_PX: f64 = 0.002;
    let scene = Scene {
        camera: Camera::above(Point::new(40.0, 30.0), 6.0, 0.25, 1.0, 0.07, [640, 480]),
        sheet: SheetPiece {
            burr: 0.0,
            contact_shadow: 0.0,
            thickness_mm: 0.0,
            corner_shift_mm: [[0.0, 0.0], [0.4, -0.3], [1.0, 0.2], [-0.2, 0.5]],
            ..SheetPiece::sized(80.0, 60.0)
        },
        bench: Bench::Dark,
        ..Scene::default()
    }
    .clean();
    let light = Plane::light(&scene, 0.0);
    let (dark, bright) = (light.at(2, 2), light.at(320, 240));
    let mut area = 0.0;
    let mut moment = Vector2::zeros();
    for (i, v) in light.values.iter().enumerate() {
        let share = (v - dark) / (bright - dark);
        let (column, row) = (i % light.width, i / light.width);
        area += share;
        moment += Vector2::new(column as f64 + 0.5, row as f64 + 0.5) * share;
    }
    let seen = moment / area;
    // The same of the polygon through the true corners.
    let corners = truth_of(&scene).sheet_corners.map(|p| p.vec());
    let (mut true_area, mut perimeter) = (0.0, 0.0);
    let mut true_moment = Vector2::zeros();
    for i in 0..4 {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        let cross = a.x * b.y - a.y * b.x;
        true_area += cross / 2.0;
        true_moment += (a + b) * (cross / 6.0);
        perimeter += (b - a).norm();
    }
    let shift = (area - true_area.abs()) / perimeter;
    let centroid = (seen - true_moment / true_area).norm();
    println!("edges: shift {shift:.5} px, centroid {centroid:.5} px");
    assert!(shift.abs() < ALLOWED_PX, "edges lie {shift} px outward");
    assert!(centroid < ALLOWED_PX, "centroid is off by {centroid} px");
}

#[test]
fn ticks_are_read_where_they_cross_the_line() {
    /// Rounding.
    const EXACT_MM: f64 = 1e-9;
    let mut scene = Scene {
        marks: vec![
            Mark::line(Point::new(0.0, 10.0), Point::new(100.0, 12.0)),
            Mark::tick(50.0, 10.8, FRAC_PI_2),
            Mark::tick(50.0, 60.0, FRAC_PI_2),
            Mark::dot(80.0, 60.0),
            Mark::ring(80.5, 60.0),
            Mark::cross(30.0, 60.0, 0.0),
            Mark::cross_out(30.0, 60.5),
        ],
        ..Scene::default()
    };
    scene.seed = 5;
    let truth = truth_of(&scene);
    let places: Vec<_> = truth.marks.iter().map(|m| m.at).collect();
    let wanted = [(50.0, 11.0), (50.0, 60.0), (80.0, 60.0), (30.0, 60.0)];
    for (at, (x, y)) in places.iter().zip(wanted) {
        assert!(at.distance(Point::new(x, y)) < EXACT_MM, "{at:?}");
    }
    let flags: Vec<_> = truth
        .marks
        .iter()
        .map(|m| (m.ringed, m.crossed_out))
        .collect();
    let no = (false, false);
    assert_eq!(flags, [no, no, (true, false), (false, true)]);
}

#[test]
fn same_scene_same_bytes_whatever_the_threads() {
    let mut scene = card_scene();
    scene.surface = Surface::Mill;
    scene.sensor = Sensor {
        motion_px: [1.0, 0.5],
        ..Sensor::default()
    };
    scene.marks = vec![Mark::dot(20.0, 20.0), Mark::ring(20.0, 20.0)];
    let with = |threads: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| render(&scene).image)
    };
    let one = with(1);
    assert!(one == with(2), "two threads draw another picture than one");
    scene.seed += 1;
    assert!(one != render(&scene).image, "the seed changes nothing");
}

#[test]
fn what_a_card_covers_is_not_in_view() {
    let scene = Scene {
        marks: [(50.0, 50.0), (50.0, 96.0), (-5.0, 50.0), (250.0, 50.0)]
            .map(|(x, y)| Mark::dot(x, y))
            .to_vec(),
        cards: vec![PlacedCard::at(1, 52.0, 51.0, 0.7)],
        camera: Camera::above(Point::new(60.0, 60.0), 5.0, 0.2, 0.0, 0.0, [1200, 900]),
        ..Scene::default()
    };
    let seen: Vec<_> = truth_of(&scene).marks.iter().map(|m| m.in_view).collect();
    // Under the card; just beside its corner; off the sheet; off the picture.
    assert_eq!(seen, [false, true, false, false]);
}

/// Stored to upright by the table of Exif 2.32, tag 0x0112 (as in the jpegexiforient manual page).
fn upright_from_stored(orientation: u8, [w, h]: [u32; 2], [x, y]: [u32; 2]) -> [u32; 2] {
    match orientation {
        1 => [x, y],
        2 => [w - 1 - x, y],
        3 => [w - 1 - x, h - 1 - y],
        4 => [x, h - 1 - y],
        5 => [y, x],
        6 => [h - 1 - y, x],
        7 => [h - 1 - y, w - 1 - x],
        _ => [y, w - 1 - x],
    }
}

#[test]
fn all_eight_orientations_come_upright() {
    /// Mean difference that JPEG at quality 95 leaves, grey levels.
    const ALLOWED: f64 = 3.0;
    let mut scene = card_scene();
    scene.camera = Camera::above(Point::new(60.0, 60.0), 2.0, 0.1, 0.0, 0.0, [240, 180]);
    let photo = render(&scene);
    for orientation in 1..=8 {
        let facts = ExifFacts {
            orientation,
            quality: 95,
            ..ExifFacts::default()
        };
        let bytes = jpeg::jpeg_bytes(&photo, &facts).unwrap();
        let stored = image::load_from_memory(&bytes).unwrap().to_rgb8();
        let (w, h) = stored.dimensions();
        let mut sum = 0.0;
        for (x, y, p) in stored.enumerate_pixels() {
            let [i, j] = upright_from_stored(orientation, [w, h], [x, y]);
            let q = photo.image.get_pixel(i, j);
            sum += (f64::from(p.0[1]) - f64::from(q.0[1])).abs();
        }
        let mean = sum / f64::from(w * h);
        assert!(mean < ALLOWED, "orientation {orientation}: {mean} levels");

        let exif = exif::Reader::new()
            .read_from_container(&mut std::io::Cursor::new(&bytes))
            .unwrap();
        let number = |tag| {
            let field = exif.get_field(tag, exif::In::PRIMARY).unwrap();
            field.value.get_uint(0).unwrap()
        };
        assert_eq!(number(exif::Tag::Orientation), u32::from(orientation));
        assert_eq!(number(exif::Tag::FocalLengthIn35mmFilm), 26);
        assert_eq!(number(exif::Tag::PixelXDimension), w);
        assert_eq!(number(exif::Tag::PixelYDimension), h);
        let make = exif.get_field(exif::Tag::Make, exif::In::PRIMARY).unwrap();
        assert_eq!(make.display_value().to_string(), "\"Example\"");
    }
    let bad = ExifFacts {
        orientation: 9,
        ..ExifFacts::default()
    };
    assert!(matches!(
        jpeg::jpeg_bytes(&photo, &bad),
        Err(SynthError::Orientation(9))
    ));
}

fn two_row_plan() -> Plan {
    let e = 8.0;
    let mut holes = Vec::new();
    let stations: Vec<f64> = (0..6).map(|k| 20.0 + 20.0 * f64::from(k)).collect();
    for (k, &s) in stations.iter().enumerate() {
        holes.push((format!("A{}", k + 1), Some("A"), Point::new(s, e)));
    }
    for (k, &s) in stations.iter().enumerate() {
        holes.push((format!("B{}", k + 1), Some("B"), Point::new(140.0 - e, s)));
    }
    holes.push(("P1".into(), None, Point::new(70.0, 60.0)));
    let row = |name: &str, along| Row {
        name: name.into(),
        along,
        edge_distance_mm: e,
        stations_mm: stations.clone(),
    };
    Plan {
        title: "Practice coupon".into(),
        units: Units::Millimetre,
        width_mm: 140.0,
        height_mm: 140.0,
        thickness_mm: None,
        rivet_mm: None,
        head: None,
        drill: None,
        tolerance_mm: 0.8,
        seen_fraction: 0.98,
        risk: None,
        datum: None,
        drilled: Vec::new(),
        runs: Vec::new(),
        rows: vec![row("A", Edge::Bottom), row("B", Edge::Right)],
        holes: holes
            .into_iter()
            .map(|(name, row, at)| Hole {
                name,
                row: row.map(str::to_owned),
                at,
            })
            .collect(),
    }
}

#[test]
fn a_careful_hand_marks_every_hole_once_and_near() {
    /// Five standard deviations of the hand's 0.1 mm.
    const NEAR_MM: f64 = 0.5;
    let plan = two_row_plan();
    for rows in [Style::Tick, Style::Dot, Style::Cross] {
        for ruled in [true, false] {
            let hand = Hand {
                rows,
                ruled,
                ..Hand::default()
            };
            let marks = Marking::of(&plan, &hand).marks;
            let truth = truth_of(&Scene {
                marks,
                ..Scene::default()
            });
            assert_eq!(truth.lines.len(), if ruled { 2 } else { 0 });
            let names: Vec<_> = truth.marks.iter().map(|m| m.name.as_deref()).collect();
            let wanted: Vec<_> = plan.holes.iter().map(|h| Some(h.name.as_str())).collect();
            assert_eq!(names, wanted);
            let mut spread = 0.0;
            for (mark, hole) in truth.marks.iter().zip(&plan.holes) {
                let off = mark.at.distance(hole.at);
                spread += off / plan.holes.len() as f64;
                assert!(off < NEAR_MM, "{}: {off} mm", hole.name);
            }
            assert!(spread > 0.02, "the hand is too good: {spread} mm");
        }
    }
}

#[test]
fn faults_are_where_they_were_put() {
    /// A tick's slant on its line moves the crossing by rounding only.
    const EXACT_MM: f64 = 1e-9;
    let plan = two_row_plan();
    let right = Marking::of(&plan, &Hand::default());
    let before = |name: &str| right.place(name).unwrap();
    let wrong = right
        .clone()
        .shift("A2", 1.2, 0.0)
        .and_then(|m| m.shift("A4", 0.0, 1.5))
        .and_then(|m| m.drop_hole("B3"))
        .and_then(|m| m.double("B5", 0.0, 2.0))
        .and_then(|m| m.ring_hole("P1"))
        .and_then(|m| m.cross_out_hole("A6"))
        .unwrap()
        .stray(Point::new(50.0, 90.0));
    let truth = truth_of(&Scene {
        marks: wrong.marks.clone(),
        ..Scene::default()
    });
    let find = |name: &str| truth.marks.iter().find(|m| m.name.as_deref() == Some(name));
    let off = |name: &str| find(name).unwrap().at - before(name);
    // A2 slides on its line, which is off level by some hundredths of a mm over the sheet.
    assert!((off("A2").x - 1.2).abs() < 0.01, "{}", off("A2"));
    assert!((off("A4") - Vector2::new(0.0, 1.5)).norm() < EXACT_MM);
    assert_eq!(find("A4").unwrap().kind, MarkKind::Dot);
    assert!(find("B3").is_none());
    assert!(find("P1").unwrap().ringed && find("A6").unwrap().crossed_out);
    let unnamed: Vec<_> = truth.marks.iter().filter(|m| m.name.is_none()).collect();
    assert_eq!(unnamed.len(), 2);
    assert!(unnamed[1].at.distance(Point::new(50.0, 90.0)) < EXACT_MM);
    assert!(wrong.drop_hole("Z9").is_err());
}

#[test]
fn the_demo_shows_all_of_its_sheet_and_its_faults() {
    let shipped = crate::plan::parse(demo::DEMO_PLAN, std::path::Path::new("demo.toml")).unwrap();
    for plan in [two_row_plan(), shipped] {
        let scene = demo::scene(&plan);
        let truth = truth_of(&scene);
        let (w, h) = (scene.camera.width.into(), scene.camera.height.into());
        let saddles = truth.cards.iter().flat_map(|c| &c.saddles).map(|s| s.1);
        for p in truth.sheet_corners.into_iter().chain(saddles) {
            assert!(p.x > 0.0 && p.y > 0.0 && p.x < w && p.y < h, "{p:?}");
        }
        assert_eq!(truth.cards.len(), 3);
        let faults = demo::faults(&plan);
        let named = |name: &Option<String>| truth.marks.iter().find(|m| m.name == *name);
        assert!(named(&faults.missing).is_none());
        let off = named(&faults.off).unwrap();
        let hole = plan
            .holes
            .iter()
            .find(|h| Some(&h.name) == faults.off.as_ref());
        let distance = off.at.distance(hole.unwrap().at);
        assert!((distance - demo::OFF_MM).abs() < 0.5, "{distance} mm");
        let strays: Vec<_> = truth.marks.iter().filter(|m| m.name.is_none()).collect();
        assert_eq!(strays.len(), 2);
        assert!(!strays[0].crossed_out && strays[1].crossed_out);
        let ready = truth_of(&demo::ready_scene(&plan));
        assert_eq!(ready.marks.len(), plan.holes.len());
    }
}
