//! From drawn photos of the lens page to a profile and its use, through the real program.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;
mod lens_set;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use cli_support::{coupon, halved, run};
use image::GrayImage;
use lens_set::{GOOD, LENS, OFF_CENTRE, SIZE, SQUARE_ON, draw, scene};
use nalgebra::SMatrix;
use punchready::card::print::{Paper, lens_page_svg};
use punchready::card::{find, lens_page};
use punchready::draw::pixels;
use punchready::frame::Point;
use punchready::lens::Profile;
use punchready::lens::profile::Made;
use punchready::photo;
use punchready::survey::{LENS_UNKNOWNS, Lens};
use punchready::synth::{self, ExifFacts, demo};
use serde_json::Value;
use tempfile::TempDir;

/// Bar of the project: each parameter within three of its standard deviations.
const SIGMAS: f64 = 3.0;
/// A page drawn without noise; eight bits leave some hundredths.
const DRAWN_PX: f64 = 0.05;

/// The page as it is printed shows its corners where the fit will expect them, in true size.
#[test]
fn the_printed_page_is_the_pattern_the_fit_knows() {
    const PX_PER_MM: f64 = 5.0;
    for paper in [Paper::A4, Paper::Letter] {
        let drawn = pixels(&lens_page_svg(paper).unwrap(), PX_PER_MM).unwrap();
        let (w, h) = (drawn.width(), drawn.height());
        let [wide, high] = paper.size_mm().map(|mm| mm * PX_PER_MM);
        assert!((f64::from(w) - wide).abs() < 1.0 && (f64::from(h) - high).abs() < 1.0);
        let grey = GrayImage::from_fn(w, h, |x, y| image::Luma([drawn.pixel(x, y).unwrap().red()]));
        let found = find::find(&grey);
        let board = lens_page::board(&found.cards);
        assert_eq!(
            board.len(),
            lens_page::corners().len(),
            "{:?}",
            found.left_out
        );
        // Rounding the paper to whole pixels shifts nothing: the page is drawn from the upper left.
        let first = &board[0];
        let shift =
            first.at.vec() - nalgebra::Vector2::new(first.on_card.x, -first.on_card.y) * PX_PER_MM;
        for c in &board {
            let expected = Point::new(
                c.on_card.x * PX_PER_MM + shift.x,
                -c.on_card.y * PX_PER_MM + shift.y,
            );
            let off = c.at.distance(expected);
            assert!(off < 2.0 * DRAWN_PX, "{paper:?} {:?}: {off} px", c.on_card);
        }
        // In the middle across, and clear of the rim that printers do not reach.
        let middle = paper.size_mm()[0] / 2.0 * PX_PER_MM;
        assert!(
            (shift.x - middle).abs() < 2.0 * DRAWN_PX,
            "{} {middle}",
            shift.x
        );
        let lowest = board.iter().map(|c| c.at.y).fold(0.0, f64::max);
        assert!(
            lowest < f64::from(h) - 10.0 * PX_PER_MM,
            "{paper:?}: {lowest}"
        );
    }
}

/// The drawn photos, made once: a good set and one taken without tilting, and some bad ones.
struct Photos(TempDir);

impl Photos {
    fn dir() -> &'static Path {
        static PHOTOS: OnceLock<Photos> = OnceLock::new();
        PHOTOS
            .get_or_init(|| {
                let dir = tempfile::tempdir().unwrap();
                fs::create_dir(dir.path().join("flat")).unwrap();
                draw(dir.path(), &GOOD);
                draw(&dir.path().join("flat"), &SQUARE_ON);
                // The page hangs through by 5 mm.
                let mut bent = scene(&GOOD[2], 20);
                for card in &mut bent.cards {
                    let x = card.centre.x - 130.0;
                    card.height_mm = 5.0 * (x / 60.0).powi(2);
                }
                let rendered = synth::render(&bent);
                let path = |name: &str| dir.path().join(name);
                synth::write_jpeg(&path("bent.jpg"), &rendered, &ExifFacts::default()).unwrap();
                let other = ExifFacts {
                    model: "Pocket 2".into(),
                    ..ExifFacts::default()
                };
                synth::write_jpeg(&path("other.jpg"), &rendered, &other).unwrap();
                let mut bare = scene(&GOOD[0], 21);
                bare.cards.clear();
                synth::write_jpeg(
                    &path("bare.jpg"),
                    &synth::render(&bare),
                    &ExifFacts::default(),
                )
                .unwrap();
                fs::copy(path("page-1.jpg"), path("copy.jpg")).unwrap();
                fs::write(
                    path("broken.jpg"),
                    &fs::read(path("page-2.jpg")).unwrap()[..20_000],
                )
                .unwrap();
                Photos(dir)
            })
            .0
            .path()
    }
}

fn names(count: usize) -> Vec<String> {
    (1..=count).map(|i| format!("page-{i}.jpg")).collect()
}

/// Runs `lens` on photos of `dir`, with results in `out`; status, summary and JSON.
fn lens(dir: &Path, photos: &[String], out: &Path, more: &[&str]) -> (i32, String, Value) {
    let json = out.join("lens.json");
    let (profile, picture) = (out.join("lens.toml"), out.join("lens.png"));
    let mut args = vec!["lens"];
    args.extend(photos.iter().map(String::as_str));
    args.extend([
        "--json",
        json.to_str().unwrap(),
        "--out",
        profile.to_str().unwrap(),
    ]);
    args.extend(["--picture", picture.to_str().unwrap()]);
    args.extend(more);
    let ran = run(dir, &args);
    let text = fs::read_to_string(&json).unwrap();
    (
        ran.code,
        format!("{}{}", ran.out, ran.err),
        serde_json::from_str(&text).unwrap(),
    )
}

fn number(json: &Value, key: &str) -> [f64; 2] {
    let v = &json["lens"][key];
    [v["value"].as_f64().unwrap(), v["sd"].as_f64().unwrap()]
}

fn truth() -> [(&'static str, f64); 7] {
    let [w, h] = SIZE.map(f64::from);
    [
        ("f_px", scene(&GOOD[0], 1).camera.focal_px),
        ("cx_px", w / 2.0 + OFF_CENTRE[0]),
        ("cy_px", h / 2.0 + OFF_CENTRE[1]),
        ("k1", LENS[0]),
        ("k2", LENS[1]),
        ("p1", LENS[2]),
        ("p2", LENS[3]),
    ]
}

#[test]
fn a_drawn_set_gives_the_drawn_lens() {
    let out = tempfile::tempdir().unwrap();
    let (code, said, json) = lens(Photos::dir(), &names(GOOD.len()), out.path(), &[]);
    println!("{said}");
    assert_eq!(code, 0, "{said}");
    assert!(said.starts_with("GOOD ENOUGH"), "{said}");
    for (key, truth) in truth() {
        let [got, sd] = number(&json, key);
        let off = (got - truth).abs() / sd;
        println!("{key}: {got} ± {sd}, truth {truth}: {off:.2} sigma");
        assert!(
            off < SIGMAS,
            "{key}: {got} ± {sd}, truth {truth}: {off} sigma"
        );
    }
    assert_eq!(number(&json, "k3"), [0.0, 0.0]);
    assert_eq!(json["format"], "punchready.calibration/1");
    assert_eq!(json["next"], Value::Null);
    assert_eq!(json["photos"].as_array().unwrap().len(), GOOD.len());
    let profile = Profile::read(&out.path().join("lens.toml")).unwrap();
    assert_eq!(profile.size, SIZE);
    assert_eq!(profile.camera.model.as_deref(), Some("Pocket 1"));
    assert!((profile.lens.f_px - number(&json, "f_px")[0]).abs() < 1e-9);
    let picture = image::open(out.path().join("lens.png")).unwrap();
    assert!(picture.width() > 1200);
    // With k3 the same within its own, larger uncertainty.
    let (_, said, free) = lens(Photos::dir(), &names(GOOD.len()), out.path(), &["--k3"]);
    let [k3, sd] = number(&free, "k3");
    assert!(k3.abs() < SIGMAS * sd && sd > 0.0, "{k3} ± {sd}; {said}");
    assert!(number(&free, "k2")[1] > number(&json, "k2")[1]);
}

/// The phone held otherwise: the same pixels stored, turned upright by EXIF. The corners are found in the
/// turned picture, so that they differ by what a pixel's order of summing does.
const TURNED_SIGMAS: f64 = 0.2;

#[test]
fn how_the_phone_was_held_does_not_matter() {
    let out = tempfile::tempdir().unwrap();
    let (_, _, plain) = lens(Photos::dir(), &names(GOOD.len()), out.path(), &[]);
    let mut photos = names(GOOD.len());
    for (i, orientation) in [(2, 6), (3, 3), (5, 8)] {
        let rendered = synth::render(&scene(&GOOD[i], i as u64 + 1));
        let turned = synth::Rendered {
            image: photo::upright(rendered.image.clone(), orientation),
            ..rendered
        };
        let facts = ExifFacts {
            orientation,
            // Of the sensor, not of the turned picture.
            focal_35mm: Some(26),
            ..ExifFacts::default()
        };
        let path = out.path().join(format!("held-{i}.jpg"));
        synth::write_jpeg(&path, &turned, &facts).unwrap();
        photos[i] = path.to_str().unwrap().to_owned();
    }
    let (code, said, json) = lens(Photos::dir(), &photos, out.path(), &[]);
    assert_eq!(code, 0, "{said}");
    assert_eq!(json["left_out"], serde_json::json!([]));
    for (key, _) in truth() {
        let ([a, sd], [b, _]) = (number(&plain, key), number(&json, key));
        assert!((a - b).abs() < TURNED_SIGMAS * sd, "{key}: {a} {b} ± {sd}");
    }
}

#[test]
fn bad_photos_are_named_and_left_out() {
    let out = tempfile::tempdir().unwrap();
    let (_, _, plain) = lens(Photos::dir(), &names(GOOD.len()), out.path(), &[]);
    let bad = [
        "bent.jpg",
        "other.jpg",
        "bare.jpg",
        "copy.jpg",
        "broken.jpg",
    ];
    let mut photos = names(GOOD.len());
    photos.splice(3..3, bad.map(str::to_owned));
    let (code, said, json) = lens(Photos::dir(), &photos, out.path(), &[]);
    println!("{said}");
    assert_eq!(code, 0, "{said}");
    let left_out = json["left_out"].as_array().unwrap();
    assert_eq!(left_out.len(), bad.len(), "{left_out:?}");
    for (file, why) in [
        ("bent.jpg", "bent"),
        ("other.jpg", "Pocket 2"),
        ("bare.jpg", "0 corners of the lens page found"),
        ("copy.jpg", "same picture as page-1.jpg"),
        ("broken.jpg", "cut short"),
    ] {
        let l = left_out.iter().find(|l| l["file"] == file).unwrap();
        assert!(l["why"].as_str().unwrap().contains(why), "{l}");
        assert!(said.contains(file), "{said}");
    }
    for (key, _) in truth() {
        let ([a, sd], [b, _]) = (number(&plain, key), number(&json, key));
        assert!((a - b).abs() < 1e-3 * sd, "{key}: {a} {b} ± {sd}");
    }
}

#[test]
fn a_set_without_tilts_is_not_enough_and_says_what_next() {
    let out = tempfile::tempdir().unwrap();
    let (code, said, json) = lens(
        &Photos::dir().join("flat"),
        &names(SQUARE_ON.len()),
        out.path(),
        &[],
    );
    println!("{said}");
    assert_eq!(code, 3, "{said}");
    assert_eq!(json["good_enough"], false);
    assert!(
        json["next"].as_str().unwrap().contains("30 degrees"),
        "{said}"
    );
    assert!(said.contains("too few tilted photos"), "{said}");
    assert!(said.contains("was not written"), "{said}");
    assert!(!out.path().join("lens.toml").exists());
    // What it says of the lens is right all the same, and honestly uncertain.
    for (key, truth) in truth() {
        let [got, sd] = number(&json, key);
        assert!(
            (got - truth).abs() < SIGMAS * sd,
            "{key}: {got} ± {sd}, truth {truth}"
        );
    }
    // One photo, or none of the page: not enough either, and what to do.
    for photos in [&["page-1.jpg"][..], &["../bare.jpg"]] {
        let mut args = vec!["lens"];
        args.extend(photos);
        let ran = run(&Photos::dir().join("flat"), &args);
        assert_eq!((ran.code, ran.out.as_str()), (3, ""), "{}", ran.err);
        assert!(ran.err.contains("take more"), "{}", ran.err);
    }
}

#[test]
fn slips_of_the_command_line_are_two() {
    let dir = Photos::dir();
    for (args, wanted) in [
        (&["lens", "nowhere.jpg"][..], "no such photo"),
        (&["lens", "page-1.jpg", "--out", "p.txt"], ".toml"),
        (&["lens", "page-1.jpg", "--picture", "p.jpg"], ".png"),
        (
            &["lens", "page-1.jpg", "--json", "nowhere/p.json"],
            "no such folder",
        ),
        (&["lens"], "PHOTO"),
        (&["cards", "--lens-page", "--shape", "strip"], "--lens-page"),
    ] {
        let ran = run(dir, args);
        assert_eq!(
            (ran.code, ran.out.as_str()),
            (2, ""),
            "{args:?}: {}",
            ran.err
        );
        assert!(ran.err.contains(wanted), "{args:?}: {}", ran.err);
    }
}

/// The profile of the camera that takes `path`: what is true of it, as sure as a good calibration.
fn true_profile(path: &Path, camera: &synth::Camera) -> Profile {
    let sd = [3e-4, 1.0, 1.0, 5e-4, 1e-3, 3e-5, 3e-5];
    let mut covariance = SMatrix::<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>::identity() * 1e-24;
    for (i, sd) in sd.iter().enumerate() {
        covariance[(i, i)] = sd * sd;
    }
    Profile {
        path: PathBuf::from("profile.toml"),
        camera: photo::read(path).unwrap().camera,
        size: [camera.width, camera.height],
        lens: Lens {
            f_px: camera.focal_px,
            cx_px: camera.principal.x,
            cy_px: camera.principal.y,
            k1: camera.k[0],
            k2: camera.k[1],
            p1: camera.p[0],
            p2: camera.p[1],
            ..Lens::default()
        },
        covariance,
        made: Made {
            photos: 9,
            corners: 3000,
            rms_px: 0.1,
        },
    }
}

#[test]
fn check_uses_a_profile_that_suits_and_refuses_another() {
    let dir = tempfile::tempdir().unwrap();
    let at = dir.path();
    let (plan_file, plan) = coupon();
    let mut ready = halved(demo::ready_scene(&plan));
    ready.camera = ready.camera.with_distortion(0.04, -0.05, 0.0006, -0.0005);
    cli_support::draw(&ready, &at.join("sheet.jpg"));
    let profile = true_profile(&at.join("sheet.jpg"), &ready.camera);
    fs::write(at.join("profile.toml"), profile.to_toml()).unwrap();
    let check = |more: &[&str]| {
        let mut args = vec!["check", "sheet.jpg", "--plan", plan_file.to_str().unwrap()];
        args.extend([
            "--bars",
            "100mm,100mm",
            "--card-below",
            "0mm",
            "--json",
            "-",
        ]);
        args.extend(more);
        run(at, &args)
    };
    let json = |more: &[&str]| -> Value {
        let ran = check(more);
        assert_eq!(ran.code, 0, "{more:?}: {}{}", ran.out, ran.err);
        serde_json::from_str(&ran.out).unwrap()
    };
    let without = json(&[]);
    assert_eq!(without["survey"]["lens"], "exif");
    let with = json(&["--lens", "profile.toml"]);
    assert_eq!(with["survey"]["lens"], "profile");
    let mean_u = |j: &Value| {
        let holes = j["holes"].as_array().unwrap();
        holes
            .iter()
            .map(|h| h["uncertainty"].as_f64().unwrap())
            .sum::<f64>()
            / holes.len() as f64
    };
    println!(
        "mean U {:.4} mm without, {:.4} mm with profile",
        mean_u(&without),
        mean_u(&with)
    );
    // The JSON has thousandths of a millimetre.
    assert!(mean_u(&with) <= mean_u(&without) + 0.0005);
    // A folder: the one that suits, or a word that none does.
    fs::create_dir(at.join("profiles")).unwrap();
    let mut other = profile.clone();
    other.camera.model = Some("Pocket 2".into());
    fs::write(at.join("profiles/a.toml"), other.to_toml()).unwrap();
    let none = json(&["--lens", "profiles"]);
    assert_eq!(none["survey"]["lens"], "exif");
    let told = none.to_string();
    assert!(told.contains("Pocket 2"), "{told}");
    fs::write(at.join("profiles/b.toml"), profile.to_toml()).unwrap();
    assert_eq!(json(&["--lens", "profiles"])["survey"]["lens"], "profile");
    // A file that does not suit, or is none.
    fs::write(at.join("not.toml"), "units = \"in\"\n").unwrap();
    fs::create_dir(at.join("empty")).unwrap();
    for (lens, wanted) in [
        ("profiles/a.toml", "model is Pocket 1, expected Pocket 2"),
        ("not.toml", "no camera profile"),
        ("nowhere.toml", "cannot be read"),
        ("empty", "no .toml file"),
    ] {
        let ran = check(&["--lens", lens]);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{lens}: {}", ran.err);
        assert!(
            ran.err.contains(wanted) && ran.err.contains("hint: "),
            "{lens}: {}",
            ran.err
        );
    }
}
