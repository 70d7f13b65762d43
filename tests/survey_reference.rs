//! The survey's parts against published data and numbers computed by other programs.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

use std::path::PathBuf;

use nalgebra::{Rotation3, Vector3};
use punchready::card::{SeenCard, SeenSaddle};
use punchready::frame::{Card, Cov2, Pixel, Point, Ray};
use punchready::photo::Camera;
use punchready::survey::{Homography, LENS_UNKNOWNS, Lens, Options, Priors, Sighting, survey};
use serde_json::Value;

/// The reference data, if this machine has them.
fn reference(file: &str) -> Option<Value> {
    let root = std::env::var_os("PUNCHREADY_REFERENCE").map_or_else(
        || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/reference"),
        PathBuf::from,
    );
    let path = root.join(file);
    match std::fs::read_to_string(&path) {
        Ok(text) => Some(serde_json::from_str(&text).unwrap()),
        Err(e) => {
            println!("SKIPPED: {}: {e}", path.display());
            None
        }
    }
}

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}
fn pairs(v: &Value) -> Vec<[f64; 2]> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|p| {
            let n = numbers(p);
            [n[0], n[1]]
        })
        .collect()
}

/// The reference's own rounding and scipy's stopping rule.
const PROBE_PX: f64 = 1e-6;

/// Source: homography.json, least squares by scipy from a normalised DLT by numpy.
#[test]
fn homographies_agree_with_scipy() {
    let Some(data) = reference("homography.json") else {
        return;
    };
    for case in data["cases"].as_array().unwrap() {
        let name = case["name"].as_str().unwrap();
        let point = |[x, y]: [f64; 2]| (x, y);
        let given: Vec<(Point<Card>, Point<Ray>)> = pairs(&case["src"])
            .into_iter()
            .zip(pairs(&case["dst"]))
            .map(|(s, d)| {
                let ((a, b), (c, e)) = (point(s), point(d));
                (Point::new(a, b), Point::new(c, e))
            })
            .collect();
        let h = Homography::fit(&given).unwrap();
        let probes = pairs(&case["probe_src"]);
        for (s, d) in probes.iter().zip(pairs(&case["probe_dst"])) {
            let got = h.map(Point::new(s[0], s[1])).unwrap();
            let err = got.distance(Point::new(d[0], d[1]));
            assert!(
                err < PROBE_PX,
                "{name}: {err:e} px off, allowed {PROBE_PX:e}"
            );
            let back = h.inverse().unwrap().map(got).unwrap();
            assert!((back.x - s[0]).hypot(back.y - s[1]) < 1e-6, "{name}");
        }
        let square: f64 = given
            .iter()
            .map(|(s, d)| h.map(*s).unwrap().distance(*d).powi(2))
            .sum();
        let rms = (square / given.len() as f64).sqrt();
        let theirs = case["rms_reprojection_px"]["H"].as_f64().unwrap();
        assert!((rms - theirs).abs() < 1e-6, "{name}: {rms} {theirs}");
    }
}

/// Newton's method ends at rounding.
const UNDISTORT: f64 = 1e-9;

/// Source: undistort.json, roots found by scipy and checked by OpenCV. Cases with more coefficients than
/// this lens model has are left out.
#[test]
fn undistortion_agrees_with_scipy() {
    let Some(data) = reference("undistort.json") else {
        return;
    };
    let k = &data["meta"]["camera_matrix"];
    let (row0, row1) = (numbers(&k[0]), numbers(&k[1]));
    let mut tried = 0;
    for case in data["cases"].as_array().unwrap() {
        let c = numbers(&case["coefficients"]);
        if c.iter().skip(5).any(|c| *c != 0.0) {
            continue;
        }
        tried += 1;
        let lens = Lens {
            f_px: 1.0,
            cx_px: 0.0,
            cy_px: 0.0,
            k1: c[0],
            k2: c[1],
            p1: c[2],
            p2: c[3],
            k3: c[4],
            ..Lens::default()
        };
        let wanted = pairs(&case["undistorted_normalised"]);
        for (p, u) in pairs(&case["distorted_px"]).iter().zip(wanted) {
            let bent = Point::<Pixel>::new((p[0] - row0[2]) / row0[0], (p[1] - row1[2]) / row1[1]);
            let ray = lens.ray_from_pixel(bent).unwrap();
            let err = (ray.x - u[0]).hypot(ray.y - u[1]);
            assert!(
                err < UNDISTORT,
                "{}: {err:e}, allowed {UNDISTORT:e}",
                case["name"]
            );
            let back = lens.pixel_from_ray(ray).unwrap().distance(bent);
            assert!(back < 1e-13, "there and back {back:e}");
        }
    }
    assert_eq!(tried, 7);
}

const SQUARE_MM: f64 = 25.0;
/// Wide enough that no corner counts as an outlier, as none does in plain least squares.
const STATED_PX: f64 = 0.5;

/// The chessboard's corners as a card: its x along the rows, y up against the rows, from the middle.
fn chessboard(corners: &Value) -> Vec<SeenSaddle> {
    pairs(corners)
        .iter()
        .enumerate()
        .map(|(i, p)| {
            let (column, row) = ((i % 9) as f64, (i / 9) as f64);
            SeenSaddle {
                on_card: Point::new((column - 4.0) * SQUARE_MM, (2.5 - row) * SQUARE_MM),
                at: Point::from_whole_centres(p[0], p[1]),
                cov: Cov2::identity() * STATED_PX.powi(2),
            }
        })
        .collect()
}

/// OpenCV's own RMS and its recomputation in the same file differ by 5e-7 px over all views (single
/// precision); a view alone differs by a little more.
const VIEW_RMS_PX: f64 = 5e-6;

/// Source: calibration.json, model k1k2, OpenCV 4.14. Their camera, put through our lens, leaves their
/// residuals: the forward model and the half pixel agree.
#[test]
fn opencvs_camera_leaves_opencvs_residuals() {
    let (Some(corners), Some(calibration)) = (
        reference("opencv-chessboard/corners.json"),
        reference("opencv-chessboard/calibration.json"),
    ) else {
        return;
    };
    let model = &calibration["left"]["models"][1];
    assert_eq!(model["name"], "k1k2");
    let p = &model["parameters"];
    let get = |n: &str| p[n].as_f64().unwrap();
    let centre = Point::<Pixel>::from_whole_centres(get("cx"), get("cy"));
    let mut lens = Lens {
        f_px: get("fx"),
        cx_px: centre.x,
        cy_px: centre.y,
        k1: get("k1"),
        k2: get("k2"),
        p1: get("p1"),
        p2: get("p2"),
        ..Lens::default()
    };
    let views = model["views"].as_array().unwrap();
    let seen = corners["left"].as_array().unwrap();
    for (view, photo) in views.iter().zip(seen) {
        assert_eq!(view["file"], photo["file"]);
        let turn = Rotation3::new(Vector3::from_vec(numbers(&view["rvec"])));
        let shift = Vector3::from_vec(numbers(&view["tvec_squares"]));
        let mut square = 0.0;
        let points = pairs(&photo["corners"]);
        for (i, at) in points.iter().enumerate() {
            let c = turn * Vector3::new((i % 9) as f64, (i / 9) as f64, 0.0) + shift;
            let ray = Point::<Ray>::new(c.x / c.z, c.y / c.z);
            // They have a focal length for each axis; ours is square. One axis at a time.
            lens.f_px = get("fx");
            let x = lens.pixel_from_ray(ray).unwrap().x;
            lens.f_px = get("fy");
            let y = lens.pixel_from_ray(ray).unwrap().y;
            let measured = Point::<Pixel>::from_whole_centres(at[0], at[1]);
            square += measured.distance(Point::new(x, y)).powi(2);
        }
        let rms = (square / points.len() as f64).sqrt();
        let theirs = view["rms_px"].as_f64().unwrap();
        assert!(
            (rms - theirs).abs() < VIEW_RMS_PX,
            "{}: {rms} px, theirs {theirs}",
            view["file"]
        );
    }
}

/// f, cx, cy (first pixel's centre at 0), k1, k2 and their standard deviations, and the RMS in px, of
/// `cv2.calibrateCameraExtended` (OpenCV 5.0.0) on corners.json with CALIB_FIX_ASPECT_RATIO,
/// CALIB_ZERO_TANGENT_DIST and CALIB_FIX_K3: the same model as ours with p1 = p2 = 0.
const SQUARE_PIXELS: [(&str, f64, f64); 5] = [
    ("f", 532.886_532_51, 0.430),
    ("cx", 342.496_738_82, 0.483),
    ("cy", 232.856_881_46, 0.523),
    ("k1", -0.290_499_53, 0.002_31),
    ("k2", 0.104_102_07, 0.007_82),
];
const SQUARE_PIXELS_RMS: f64 = 0.205_345_075;
/// The same minimum, up to single precision there and the very weak expectations here.
const SIGMAS: f64 = 0.01;
const RMS_PX: f64 = 1e-6;

/// All 13 photos in one survey with an open mind.
#[test]
fn thirteen_chessboards_give_opencvs_camera() {
    let Some(corners) = reference("opencv-chessboard/corners.json") else {
        return;
    };
    let cards: Vec<Vec<SeenCard>> = corners["left"]
        .as_array()
        .unwrap()
        .iter()
        .map(|photo| {
            let saddles = chessboard(&photo["corners"]);
            let outline = [saddles[0].at, saddles[8].at, saddles[53].at, saddles[45].at];
            vec![SeenCard {
                number: 1,
                saddles,
                outline,
            }]
        })
        .collect();
    let sightings: Vec<Sighting> = cards
        .iter()
        .map(|c| Sighting {
            cards: c,
            ..Sighting::default()
        })
        .collect();
    let mut priors = Priors::from_camera(&Camera::default(), 640, 480);
    // Next to nothing is expected of the lens, but that the tangential terms, k3 and skew are zero, and the
    // pixels square.
    priors.lens_cov.fill_diagonal(1e6);
    priors.lens_cov[(0, 0)] = 1.0;
    for i in 5..LENS_UNKNOWNS {
        priors.lens_cov[(i, i)] = 1e-18;
    }
    priors.scale.sd = [1e-6; 2];
    let options = Options {
        paper_mm: [0.0, 0.0],
        ..Options::default()
    };
    let s = survey(&sightings, &priors, &options).unwrap();
    let lens = s.lens();
    let (cx, cy) = Point::<Pixel>::new(lens.cx_px, lens.cy_px).to_whole_centres();
    let ours = [lens.f_px, cx, cy, lens.k1, lens.k2];
    for (ours, (name, theirs, sd)) in ours.into_iter().zip(SQUARE_PIXELS) {
        let off = (ours - theirs).abs() / sd;
        assert!(
            off < SIGMAS,
            "{name}: {ours}, theirs {theirs}: {off} sigma, allowed {SIGMAS}"
        );
    }
    let off = (s.rms_px - SQUARE_PIXELS_RMS).abs();
    assert!(off < RMS_PX, "rms {} px: {off:e}", s.rms_px);
    assert_eq!(s.model().views().len(), 13);
    // Their standard deviations are those of residuals; ours those of the stated 0.5 px.
    let stated = STATED_PX * std::f64::consts::SQRT_2 / s.rms_px;
    let sd_f = s.covariance()[(0, 0)].sqrt() * lens.f_px / stated;
    assert!((sd_f / SQUARE_PIXELS[0].2 - 1.0).abs() < 0.05, "{sd_f}");
}
