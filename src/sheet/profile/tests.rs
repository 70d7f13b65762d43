//! Steps on profiles of known light.

use super::*;

fn profile(level: impl Fn(f64) -> f64) -> Profile {
    let levels = (-34..=34).map(|k| {
        let x = f64::from(k) * 0.05;
        // Blur of one pixel, 0.1 mm.
        (-20..=20)
            .map(|j| level(x + f64::from(j) * 0.0025))
            .sum::<f64>()
            / 41.0
    });
    Profile {
        levels: levels.collect(),
        step: 0.05,
        first: -1.7,
    }
}

/// A fifth of the blur.
const PLACE_MM: f64 = 0.02;

#[test]
fn a_plain_step_is_found() {
    let found = edge_in(&profile(|x| if x < 0.23 { 0.5 } else { 0.1 })).unwrap();
    assert!((found - 0.23).abs() < PLACE_MM, "{found}");
}

#[test]
fn the_shadow_beyond_the_edge_is_not_the_edge() {
    let with_shadow = |x: f64| {
        if x < -0.3 {
            0.4
        } else if x < 0.0 {
            0.1
        } else {
            (0.1 + 0.9 * x).min(0.7)
        }
    };
    let found = edge_in(&profile(with_shadow)).unwrap();
    assert!((found + 0.3).abs() < PLACE_MM, "{found}");
}

#[test]
fn the_face_ends_before_a_lit_side_wall() {
    let px_per_mm = 10.0;
    let walled = profile(|x| {
        if x < -0.2 {
            0.5
        } else if x < 0.2 {
            0.3
        } else {
            0.02
        }
    });
    let end = sheet_end(&walled, 0.4, px_per_mm, WALL_HIDDEN).unwrap();
    assert!((end.out + 0.2).abs() < PLACE_MM, "{}", end.out);
    assert!(end.doubt_mm < 0.1, "both steps show: {}", end.doubt_mm);
    // Without a wall in view the same two steps are a burr and the sheet's end.
    let burr = sheet_end(&walled, 0.0, px_per_mm, WALL_HIDDEN).unwrap();
    assert!((burr.out - 0.2).abs() < PLACE_MM, "{}", burr.out);
}

#[test]
fn a_wall_that_does_not_show_is_doubt() {
    let plain = profile(|x| if x < 0.1 { 0.5 } else { 0.02 });
    let end = sheet_end(&plain, 0.4, 10.0, WALL_HIDDEN).unwrap();
    // Either the face ends at the step before a wall as dark as the bench, or the wall, as bright as the face, does: amid
    // both, and all between them alike likely.
    let amid = end.out + end.beyond_mm;
    assert!((amid + 0.1).abs() < PLACE_MM, "{amid}");
    assert!(
        (end.doubt_mm - 0.4 / 12f64.sqrt()).abs() < 0.01,
        "{}",
        end.doubt_mm
    );
}

#[test]
fn a_bright_rim_belongs_to_the_face() {
    let rimmed = profile(|x| match x {
        x if x < -0.2 => 0.3,
        x if x < 0.0 => 0.7,
        _ => 0.25,
    });
    let end = sheet_end(&rimmed, 0.0, 10.0, WALL_HIDDEN).unwrap();
    assert!(end.out.abs() < PLACE_MM, "{}", end.out);
    assert!(end.rim > 0.4, "{}", end.rim);
    let alone = edge_in(&rimmed).unwrap();
    assert!(alone.abs() < PLACE_MM, "{alone}");
    // A band as wide as the side wall shows may be that instead.
    let ends = sheet_ends(&rimmed, 0.2, 10.0, WALL_HIDDEN);
    assert_eq!(ends.len(), 2);
    assert!((ends[0].out + 0.2).abs() < PLACE_MM && ends[1].out.abs() < PLACE_MM);
    // With a wall that ends further on, the rim is one.
    let walled = profile(|x| match x {
        x if x < -0.2 => 0.3,
        x if x < 0.0 => 0.7,
        x if x < 0.5 => 0.25,
        _ => 0.02,
    });
    let end = sheet_end(&walled, 0.5, 10.0, WALL_HIDDEN).unwrap();
    assert!(end.out.abs() < PLACE_MM, "{}", end.out);
}

#[test]
fn beside_burnt_out_metal_the_edge_is_nearer_to_it() {
    // Light of 2.5 in a file that ends at 1, blurred by a Gaussian of one pixel, 0.1 mm; the edge at 0.
    let erf = |x: f64| {
        // Abramowitz and Stegun, Handbook of Mathematical Functions, 1964, 7.1.27, from memory.
        let a = x.abs();
        let t = 1.0 + a * (0.278_393 + a * (0.230_389 + a * (0.000_972 + a * 0.078_108)));
        (1.0 - t.powi(-4)).copysign(x)
    };
    let levels = (-34..=34).map(|k| {
        let x = f64::from(k) * 0.05;
        (0.1 + 2.4 * 0.5 * (1.0 - erf(x / 0.1 / 2f64.sqrt()))).min(1.0)
    });
    let clipped = Profile {
        levels: levels.collect(),
        step: 0.05,
        first: -1.7,
    };
    let end = sheet_end(&clipped, 0.0, 10.0, WALL_HIDDEN).unwrap();
    let at = end.out + end.beyond_mm;
    assert!(
        at.abs() < 2.0 * end.doubt_mm && at.abs() < end.out.abs(),
        "{} and {at}",
        end.out
    );
}

#[test]
fn a_fainter_step_before_a_bright_grid_line_is_the_edge() {
    let on_mat = |x: f64| match x {
        x if x < 0.0 => 0.3,
        x if (0.6..1.0).contains(&x) => 0.5,
        _ => 0.15,
    };
    let end = sheet_end(&profile(on_mat), 0.0, 10.0, WALL_HIDDEN).unwrap();
    assert!(end.out.abs() < PLACE_MM, "{}", end.out);
}

#[test]
fn a_template_that_ends_before_the_metal_leaves_two_ends() {
    let paper_on_metal = |x: f64| match x {
        x if x < 0.0 => 0.8,
        x if x < 1.2 => 0.45,
        _ => 0.02,
    };
    let end = sheet_end(&profile(paper_on_metal), 0.0, 10.0, WALL_HIDDEN).unwrap();
    assert!(end.out.abs() < PLACE_MM, "{}", end.out);
    assert!(
        (end.second_mm.unwrap() - 1.2).abs() < 0.1,
        "{:?}",
        end.second_mm
    );
    // A wall of that width, a shadow and a bench's line are none.
    let walled = sheet_end(&profile(paper_on_metal), 1.2, 10.0, WALL_HIDDEN).unwrap();
    assert_eq!(walled.second_mm, None);
    let shadow = |x: f64| match x {
        x if x < 0.0 => 0.8,
        x if x < 1.2 => 0.1,
        _ => 0.4,
    };
    let end = sheet_end(&profile(shadow), 0.0, 10.0, WALL_HIDDEN).unwrap();
    assert_eq!(end.second_mm, None);
    let line = |x: f64| match x {
        x if x < 0.0 => 0.5,
        x if (0.6..1.0).contains(&x) => 0.5,
        _ => 0.1,
    };
    let end = sheet_end(&profile(line), 0.0, 10.0, WALL_HIDDEN).unwrap();
    assert_eq!(end.second_mm, None);
}

#[test]
fn a_plain_surface_has_no_edge() {
    let bare = profile(|x| 0.4 + 0.001 * x);
    assert!(sheet_end(&bare, 0.0, 10.0, WALL_HIDDEN).is_none());
    assert!(edge_in(&profile(|x| 0.4 + 0.001 * x)).is_none());
}
