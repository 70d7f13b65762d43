//! The profile file: there and back, whom it suits, and what it becomes in another picture of the camera.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::path::{Path, PathBuf};

use image::GrayImage;
use nalgebra::SMatrix;
use punchready::frame::{Point, Ray};
use punchready::lens::Profile;
use punchready::lens::profile::{Made, choose};
use punchready::photo::{Camera, Later, Photo};
use punchready::survey::{LENS_UNKNOWNS, Lens, LensSource};

type LensCov = SMatrix<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>;

fn camera() -> Camera {
    Camera {
        make: Some("Example".into()),
        model: Some("Pocket \"1\"".into()),
        focal_mm: Some(4.25),
        focal_35mm: Some(26.0),
        digital_zoom: None,
        exif_size: Some([4032, 3024]),
        orientation: 1,
    }
}

fn profile() -> Profile {
    let sd = [2e-4, 0.8, 0.7, 3e-4, 8e-4, 2e-5, 3e-5, 4e-4];
    let mut covariance = LensCov::identity() * 1e-24;
    for (i, sd) in sd.iter().enumerate() {
        covariance[(i, i)] = sd * sd;
    }
    let mut tie = |i: usize, j: usize, r: f64| {
        covariance[(i, j)] = r * sd[i] * sd[j];
        covariance[(j, i)] = covariance[(i, j)];
    };
    tie(3, 4, -0.95);
    tie(1, 6, 0.8);
    tie(2, 5, -0.7);
    Profile {
        path: PathBuf::from("pocket.toml"),
        camera: camera(),
        size: [4032, 3024],
        lens: Lens {
            f_px: 3051.25,
            cx_px: 2031.4,
            cy_px: 1498.1,
            k1: 0.0612,
            k2: -0.0801,
            p1: 0.00061,
            p2: -0.00082,
            k3: 0.004,
            ..Lens::default()
        },
        covariance,
        made: Made {
            photos: 9,
            corners: 3120,
            rms_px: 0.091,
        },
    }
}

/// The upright picture's size; nothing in it.
fn photo(camera: Camera, [width, height]: [u32; 2]) -> Photo {
    Photo {
        path: PathBuf::from("sheet.jpg"),
        grey: GrayImage::new(width, height),
        colour: Later::none(),
        camera,
        warnings: Vec::new(),
    }
}

/// Standard deviations are written to six digits, correlations to nine.
const WRITTEN: f64 = 2e-5;

#[test]
fn there_and_back() {
    let p = profile();
    let text = p.to_toml();
    println!("{text}");
    let back = Profile::parse(&text, Path::new("pocket.toml")).unwrap();
    assert_eq!(back.lens, p.lens);
    assert_eq!(back.size, p.size);
    assert_eq!(back.made, p.made);
    assert_eq!(back.camera.model, p.camera.model);
    assert_eq!(back.camera.focal_35mm, p.camera.focal_35mm);
    for i in 0..LENS_UNKNOWNS {
        for j in 0..LENS_UNKNOWNS {
            let unit = (p.covariance[(i, i)] * p.covariance[(j, j)]).sqrt();
            let off = (back.covariance[(i, j)] - p.covariance[(i, j)]).abs() / unit;
            assert!(off < WRITTEN, "{i} {j}: {off}");
        }
    }
    assert_eq!(back.to_toml(), text);
    assert!(text.len() < 3000, "{} bytes", text.len());
}

#[test]
fn broken_files_say_what_is_wrong() {
    let text = profile().to_toml();
    for (from, to, wanted) in [
        (
            "punchready.lens/1",
            "punchready.lens/9",
            "punchready.lens/9",
        ),
        ("k1 = ", "k1 = \"x\" #", "expected f64"),
        ("k2 = ", "kk = ", "kk"),
        ("f_px = 3051.25", "f_px = -1.0", "focal length"),
        ("f_px = 3051.25", "f_px = nan", "f_px"),
        ("width_px = 4032", "width_px = 3", "picture size"),
        ("-0.950000000", "-1.950000000", "correlations"),
        ("sd = [", "sd = [1.0, ", "standard deviations"),
        ("[made]", "[", ""),
    ] {
        assert!(text.contains(from), "{from}");
        let error = Profile::parse(&text.replacen(from, to, 1), Path::new("p.toml")).unwrap_err();
        let said = error.to_string();
        assert!(
            said.starts_with("p.toml: ") && said.contains(wanted),
            "{to}: {said}"
        );
        assert!(said.contains("make it again"), "{said}");
    }
    let missing = Profile::read(Path::new("no-such-file.toml")).unwrap_err();
    assert!(
        missing.to_string().contains("no-such-file.toml"),
        "{missing}"
    );
}

/// Rounding of products near 4000.
const ROUNDING_PX: f64 = 1e-6;

#[test]
fn scaled_to_another_resolution_and_turned_with_the_picture() {
    let p = profile();
    let whole = p.priors(&photo(camera(), [4032, 3024])).unwrap();
    assert_eq!(whole.source, LensSource::Profile);
    assert_eq!(whole.lens, p.lens);
    // Autofocus and stabiliser come on top of the profile's own uncertainty.
    let diagonal = 5040.0;
    assert!((whole.lens_cov[(0, 0)].sqrt() - 0.005_f64.hypot(2e-4)).abs() < 1e-6);
    assert!((whole.lens_cov[(1, 1)].sqrt() - (0.002_f64 * diagonal).hypot(0.8)).abs() < 1e-3);
    assert!((whole.lens_cov[(3, 3)] / p.covariance[(3, 3)] - 1.0).abs() < 1e-12);

    let half = Camera {
        exif_size: Some([2016, 1512]),
        ..camera()
    };
    let small = p.priors(&photo(half, [2016, 1512])).unwrap();
    for (x, y) in [(0.4, 0.3), (-0.5, 0.2), (0.0, 0.0)] {
        let ray = Point::<Ray>::new(x, y);
        let (a, b) = (
            whole.lens.pixel_from_ray(ray).unwrap(),
            small.lens.pixel_from_ray(ray).unwrap(),
        );
        assert!(
            (a.x - 2.0 * b.x).hypot(a.y - 2.0 * b.y) < ROUNDING_PX,
            "{a:?} {b:?}"
        );
    }
    let share = small.lens_cov[(2, 2)] / whole.lens_cov[(2, 2)];
    assert!((share - 0.25).abs() < 1e-9, "{share}");

    // Held upright: stored pixels the same, the picture is turned by EXIF's 6: right is then stored down.
    let held = Camera {
        orientation: 6,
        ..camera()
    };
    let upright = p.priors(&photo(held, [3024, 4032])).unwrap();
    let ray = Point::<Ray>::new(0.3, -0.2);
    let stored = whole.lens.pixel_from_ray(ray).unwrap();
    // Upright (X, Y) = (h - y, x), and rays alike.
    let seen = upright.lens.pixel_from_ray(Point::new(0.2, 0.3)).unwrap();
    assert!(
        (seen.x - (3024.0 - stored.y)).abs() < ROUNDING_PX,
        "{seen:?} {stored:?}"
    );
    assert!(
        (seen.y - stored.x).abs() < ROUNDING_PX,
        "{seen:?} {stored:?}"
    );
    assert!(upright.lens_cov.cholesky().is_some());
}

#[test]
fn refused_for_another_camera_and_for_a_changed_picture() {
    let p = profile();
    let other = |change: fn(&mut Camera), size: [u32; 2], wanted: &str| {
        let mut c = camera();
        c.exif_size = None;
        change(&mut c);
        let said = p.priors(&photo(c, size)).unwrap_err().to_string();
        assert!(
            said.starts_with("pocket.toml: ") && said.contains(wanted),
            "{wanted}: {said}"
        );
    };
    let whole = [4032, 3024];
    other(|c| c.make = Some("Other".into()), whole, "maker is Other");
    other(|c| c.model = None, whole, "model is not said");
    other(
        |c| c.focal_mm = Some(6.0),
        whole,
        "focal length is 6 mm, expected 4.25 mm",
    );
    other(
        |c| c.focal_35mm = Some(52.0),
        whole,
        "35 mm equivalent is 52 mm",
    );
    other(|c| c.digital_zoom = Some(2.0), whole, "digital zoom");
    // Cropped, with EXIF that tells, also to the same shape; cropped by the camera to 16:9; a square.
    other(
        |c| c.exif_size = Some([4032, 3024]),
        [3000, 3000],
        "cropped or resized",
    );
    other(
        |c| c.exif_size = Some([4032, 3024]),
        [2016, 1512],
        "cropped or resized",
    );
    other(|_| (), [4032, 2268], "another shape");
    other(|_| (), [3024, 3024], "another shape");
    // Stored upright: which way it was turned is not known.
    other(|_| (), [3024, 4032], "another shape");
    // Letter case and blanks of the maker's name do not count.
    let mut same = camera();
    same.make = Some("EXAMPLE ".into());
    assert!(p.priors(&photo(same, whole)).is_ok());
}

#[test]
fn the_one_that_suits_is_chosen_and_none_is_told() {
    let mut wide = profile();
    wide.camera.focal_35mm = Some(13.0);
    wide.lens.f_px = 1500.0;
    let taken = photo(camera(), [4032, 3024]);
    let chosen = choose(&[wide.clone(), profile()], &taken);
    assert_eq!(chosen.source, LensSource::Profile);
    assert_eq!(chosen.lens.f_px, 3051.25);
    for none in [vec![wide.clone()], vec![wide.clone(), wide.clone()]] {
        let priors = choose(&none, &taken);
        assert_eq!(priors.source, LensSource::Exif);
        assert!(
            priors.notes.iter().any(|n| n.code == "no-profile"),
            "{:?}",
            priors.notes
        );
    }
}
