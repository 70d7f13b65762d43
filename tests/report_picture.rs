//! The photo with signs: they are where the marks are, the rest of the photo is left alone.
#![allow(
    clippy::unwrap_used,
    reason = "a failing test may panic, in its helpers too"
)]

mod report_fixture;

use std::path::Path;

use image::{Rgb, RgbImage};
use punchready::frame::{Point, Sheet};
use punchready::report::{ReportError, picture};
use report_fixture::{crowd, every_state, hostile, photo, pixel_from_sheet, ready, stopped};

/// Half a side of the square round a mark in which its sign must show, px: the smallest sign has a
/// radius of 34 px in the 4000 px wide photo.
const ROUND_PX: i64 = 45;
/// Pixels that a sign changes there at least: a thin circle of 30 px radius has over 600.
const CHANGED: usize = 400;

/// Rows above the photo in the picture: where its upper right corner, free of signs, is found again.
fn banner_rows(picture: &RgbImage, photo: &RgbImage) -> u32 {
    let free = |b: u32| {
        (0..40).all(|y| (3500..4000).all(|x| picture.get_pixel(x, b + y) == photo.get_pixel(x, y)))
    };
    (0..picture.height() - photo.height())
        .find(|b| free(*b))
        .expect("the photo is in the picture")
}

fn changed(picture: &RgbImage, photo: &RgbImage, b: u32, at: Point<Sheet>) -> usize {
    let p = pixel_from_sheet(at).unwrap();
    let mut n = 0;
    for dy in -ROUND_PX..=ROUND_PX {
        for dx in -ROUND_PX..=ROUND_PX {
            let (x, y) = ((p.x as i64 + dx) as u32, (p.y as i64 + dy) as u32);
            n += usize::from(picture.get_pixel(x, y + b) != photo.get_pixel(x, y));
        }
    }
    n
}

#[test]
fn every_hole_and_stray_has_its_sign_and_empty_metal_has_none() {
    let f = every_state();
    let photo = photo(&f);
    let picture = picture::draw(&f.report(), &photo, &pixel_from_sheet).unwrap();
    assert_eq!(picture.width(), photo.width());
    // For looking at.
    let looked_at = Path::new(env!("CARGO_TARGET_TMPDIR")).join("report_picture.png");
    picture.save(looked_at).unwrap();
    let b = banner_rows(&picture, &photo);
    for h in &f.verdict.holes {
        let n = changed(&picture, &photo, b, h.found.unwrap_or(h.planned));
        assert!(n > CHANGED, "{} {:?}: {n} pixels changed", h.name, h.state);
    }
    for s in &f.verdict.strays {
        let n = changed(&picture, &photo, b, s.at);
        assert!(
            n > CHANGED,
            "{:?} at {:?}: {n} pixels changed",
            s.state,
            s.at
        );
    }
    for at in [Point::new(80.0, 90.0), Point::new(190.0, 180.0)] {
        assert_eq!(changed(&picture, &photo, b, at), 0, "drawn on at {at:?}");
    }
    // Labels stay inside: the photo's rim is as it was, but for the sheet's corner at lower left.
    let rim = (0..4000)
        .flat_map(|x| [(x, 0), (x, 2)])
        .chain((500..4000).flat_map(|x| [(x, 2997), (x, 2999)]))
        .chain((0..3000).flat_map(|y| [(3997, y), (3999, y)]))
        .chain((0..2000).flat_map(|y| [(0, y), (2, y)]));
    for (x, y) in rim {
        assert_eq!(
            picture.get_pixel(x, y + b),
            photo.get_pixel(x, y),
            "rim at {x}, {y}"
        );
    }
}

#[test]
fn marks_themselves_stay_visible() {
    // The very middle of each mark is as the photo shows it: signs go round marks, labels beside.
    let f = every_state();
    let photo = photo(&f);
    let picture = picture::draw(&f.report(), &photo, &pixel_from_sheet).unwrap();
    let b = banner_rows(&picture, &photo);
    let strays = f.verdict.strays.iter().map(|s| s.at);
    for at in strays {
        let p = pixel_from_sheet(at).unwrap();
        for (dx, dy) in [(0, 0), (-4, 3), (5, -2)] {
            let (x, y) = ((p.x as i32 + dx) as u32, (p.y as i32 + dy) as u32);
            assert_eq!(
                picture.get_pixel(x, y + b),
                photo.get_pixel(x, y),
                "mark at {at:?}"
            );
        }
    }
}

#[test]
fn verdicts_differ_at_a_glance() {
    let (a, b) = (every_state(), ready());
    let grey = RgbImage::from_pixel(800, 600, Rgb([150; 3]));
    let map = |p: Point<Sheet>| pixel_from_sheet(p).map(|q| Point::new(q.x / 5.0, q.y / 5.0));
    let a = picture::draw(&a.report(), &grey, &map).unwrap();
    let b = picture::draw(&b.report(), &grey, &map).unwrap();
    assert_ne!(a.get_pixel(2, 2), b.get_pixel(2, 2));
    assert_ne!(a.get_pixel(2, 2), grey.get_pixel(2, 2));
}

#[test]
fn large_photos_are_scaled_down_and_small_ones_kept() {
    let f = every_state();
    let large = RgbImage::from_pixel(6000, 4500, Rgb([150; 3]));
    let map = |p: Point<Sheet>| pixel_from_sheet(p).map(|q| Point::new(q.x * 1.5, q.y * 1.5));
    let p = picture::draw(&f.report(), &large, &map).unwrap();
    assert_eq!(p.width(), 4000);
    let small = RgbImage::from_pixel(40, 30, Rgb([150; 3]));
    let map = |p: Point<Sheet>| pixel_from_sheet(p).map(|q| Point::new(q.x / 100.0, q.y / 100.0));
    assert_eq!(
        picture::draw(&f.report(), &small, &map).unwrap().width(),
        40
    );
}

#[test]
fn what_cannot_be_drawn_is_said() {
    let f = every_state();
    let empty = picture::draw(&f.report(), &RgbImage::new(0, 0), &pixel_from_sheet);
    assert!(matches!(empty, Err(ReportError::EmptyPhoto)));
    // Nothing can be placed: the picture grows by the list of what is not in it.
    let grey = RgbImage::from_pixel(800, 600, Rgb([150; 3]));
    let nowhere = picture::draw(&f.report(), &grey, &|_| None).unwrap();
    let nan = picture::draw(&f.report(), &grey, &|_| Some(Point::new(f64::NAN, 1.0))).unwrap();
    assert_eq!(nowhere, nan);
    let all = ready();
    let map = |p: Point<Sheet>| pixel_from_sheet(p).map(|q| Point::new(q.x / 5.0, q.y / 5.0));
    let placed = picture::draw(&all.report(), &grey, &map).unwrap();
    let lost = picture::draw(&all.report(), &grey, &|_| None).unwrap();
    assert!(lost.height() > placed.height());
}

#[test]
fn hostile_names_and_crowds_are_drawn() {
    let map = |p: Point<Sheet>| pixel_from_sheet(p).map(|q| Point::new(q.x / 2.5, q.y / 2.5));
    let grey = RgbImage::from_pixel(1600, 1200, Rgb([150; 3]));
    for f in [hostile(), crowd()] {
        let a = picture::draw(&f.report(), &grey, &map).unwrap();
        let b = picture::draw(&f.report(), &grey, &map).unwrap();
        assert!(a == b, "same input, other picture");
    }
}

#[test]
fn where_nothing_was_measured_what_was_found_is_outlined() {
    let f = stopped();
    let photo = photo(&f);
    let picture = picture::draw(&f.report(), &photo, &|_| None).unwrap();
    let b = banner_rows(&picture, &photo);
    let differs = |x: u32, y: u32| picture.get_pixel(x, y + b) != photo.get_pixel(x, y);
    // On the outlines, and not on empty bench.
    assert!(differs(300, 500) && differs(550, 400), "the card");
    assert!((1500..3300).any(|x| differs(x, 600)), "the sheet");
    assert!(!differs(1100, 1000) && !differs(3600, 2800));
}

/// The picture may be sent without its page: a verdict that rests on a person's answers says so there too.
#[test]
fn what_a_person_decided_is_said_in_the_banner() {
    let mut f = ready();
    let photo = photo(&f);
    let rows = |f: &report_fixture::Fixture| {
        let picture = picture::draw(&f.report(), &photo, &pixel_from_sheet).unwrap();
        banner_rows(&picture, &photo)
    };
    let plain = rows(&f);
    f.person.decided.push(punchready::decide::Decided {
        name: "U1".into(),
        says: punchready::decide::Says::NotAMark,
        ink_at: Point::new(118.4, 131.0),
        ink_u_mm: 0.21,
        at: Point::new(118.4, 131.0),
        uncertainty_mm: 0.21,
        size_mm: 3.1,
        why: punchready::ink::Doubt::StrokeAlone,
    });
    // At least one more line of letters.
    assert!(rows(&f) > plain + 60, "{} {plain}", rows(&f));
}
