//! Derivatives against central differences, block by block, and the covariance against an independent one.

use nalgebra::{DVector, Matrix2, SMatrix, Vector2, Vector3};

use super::assemble::{Case, list_cards};
use super::model::{LinePose, Pose, State, project};
use super::observe::{PointSeen, Problem, length};
use super::*;
use crate::card::layout::Layout;
use crate::card::{SeenCard, SeenSaddle};
use crate::frame::{Cov2, Pixel, Point};
use crate::photo::Camera;

/// Central differences of order h²: with steps of 1e-5 of the natural size some 1e-9 remain, and rounding of
/// 4000 px over the step some 1e-7.
const RELATIVE: f64 = 2e-6;

fn pose() -> Pose {
    let turn = nalgebra::Rotation3::from_euler_angles(std::f64::consts::PI - 0.35, 0.2, 0.4);
    Pose {
        rotation: turn.into_inner(),
        shift: Vector3::new(-40.0, 25.0, 420.0),
    }
}

fn lens() -> Lens {
    Lens {
        f_px: 2900.0,
        cx_px: 2010.0,
        cy_px: 1490.0,
        k1: 0.07,
        k2: -0.04,
        p1: 0.002,
        p2: -0.003,
        k3: 0.015,
        aspect: 1.02,
        skew: 0.004,
    }
}

/// Two photos of two cameras, two cards of which one lies beside the sheet, two lines: every kind of unknown is there.
fn crowded() -> (Problem, State) {
    let lens = lens();
    let mut other = pose();
    other.shift.x += 130.0;
    let card = |number: u16| {
        let layout = Layout::of(number).unwrap();
        SeenCard {
            number,
            saddles: layout
                .saddles
                .iter()
                .map(|s| SeenSaddle {
                    on_card: s.at,
                    at: Point::new(2000.0, 1500.0),
                    cov: Cov2::new(0.01, 0.003, 0.003, 0.02),
                })
                .collect(),
            outline: [Point::new(0.0, 0.0); 4],
        }
    };
    let cards = [card(2), card(5)];
    let lines: Vec<StraightLine> = [4, 9]
        .map(|id| StraightLine {
            id: LineId(id),
            points: (0..3)
                .map(|i| {
                    (
                        Point::new(1000.0 + 700.0 * f64::from(i), 1200.0 + 90.0 * f64::from(id)),
                        0.2,
                    )
                })
                .collect(),
        })
        .to_vec();
    let sighting = Sighting {
        cards: &cards,
        beside: &[1],
        lines: &lines,
        camera: 1,
    };
    let seen = [
        sighting,
        Sighting {
            camera: 0,
            ..sighting
        },
    ];
    let priors = Priors::from_camera(&Camera::default(), 4032, 3024);
    let options = Options {
        known: vec![KnownLength {
            between: [LineId(9), LineId(4)],
            mm: 90.0,
            sd_mm: 0.1,
        }],
        line_off_mm: vec![(LineId(9), 0.1)],
        ..Options::default()
    };
    let case = Case {
        seen: &seen,
        cameras: &Cameras::of_shots(&[(priors.clone(), 0), (priors, 0)]),
        options: &options,
    };
    let list = list_cards(&seen);
    let whole = case.assemble(&list, &[0, 1], true).unwrap();
    let line = |x: f64, y: f64, angle: f64, offset: f64| LinePose {
        pivot: Vector2::new(x, y),
        angle,
        offset,
        off: 0.2,
    };
    let state = State {
        lenses: vec![
            lens,
            Lens {
                f_px: 2700.0,
                ..lens
            },
        ],
        camera: vec![1, 0],
        scale: [1.004, 0.997],
        poses: vec![pose(), other],
        paper: 0.2,
        bench: -0.8,
        cards: vec![[0.0; 3], [95.0, -30.0, 0.7]],
        lines: vec![line(20.0, -60.0, 0.11, 0.4), line(30.0, 40.0, 0.13, -0.3)],
        feet: vec![0.0; whole.problem.points.len()],
    };
    (whole.problem, state)
}

/// Step of each unknown for differences: small against its natural size.
fn steps(problem: &Problem) -> Vec<f64> {
    let mut steps = vec![1e-4; problem.index.count];
    for photo in 0..2 {
        let at = problem.index.lens(photo);
        steps[at] = 1e-6;
        for s in &mut steps[at + 3..at + 9] {
            *s = 1e-6;
        }
        for k in 0..3 {
            steps[problem.index.pose(photo) + k] = 1e-6;
        }
    }
    steps[problem.index.card(1).unwrap() + 2] = 1e-6;
    for line in 0..2 {
        steps[problem.index.line(line)] = 1e-6;
    }
    steps
}

/// Checks analytic columns against differences of `value`, for all unknowns: those not in the row must not
/// matter.
fn compare<const N: usize>(
    problem: &Problem,
    state: &State,
    row: &[(usize, SMatrix<f64, N, 1>)],
    value: impl Fn(&State) -> SMatrix<f64, N, 1>,
    what: &str,
) {
    let steps = steps(problem);
    for (i, h) in steps.iter().enumerate() {
        let mut step = DVector::zeros(problem.index.count);
        step[i] = *h;
        let plus = value(&state.moved(&problem.index, &step));
        let minus = value(&state.moved(&problem.index, &-&step));
        let numeric = (plus - minus) / (2.0 * h);
        let analytic: SMatrix<f64, N, 1> = row.iter().filter(|r| r.0 == i).map(|r| r.1).sum();
        let err = (numeric - analytic).norm();
        let allowed = RELATIVE * (1.0 + analytic.norm());
        assert!(
            err < allowed,
            "{what} by {} ({i}): {analytic:?}, by differences {numeric:?}; off {err:e}, allowed {allowed:e}",
            problem.index.name(i)
        );
    }
}

#[test]
fn saddle_derivatives() {
    let (problem, state) = crowded();
    for s in problem.saddles.iter().step_by(7) {
        let r = problem.saddle(&state, s).unwrap();
        let row: Vec<_> = r
            .row
            .iter()
            .map(|(i, e)| (i, Vector2::new(e[0], e[1])))
            .collect();
        let value = |state: &State| s.at - problem.saddle(state, s).unwrap().miss;
        compare(&problem, &state, &row, value, "saddle");
    }
}

#[test]
fn line_point_derivatives() {
    let (problem, state) = crowded();
    for o in &problem.points {
        // Near the line, as in use: 3 px off.
        let line = state.lines[o.line];
        let on_line = line.middle() + line.direction() * 45.0;
        let p = project(
            state.lens(o.photo),
            &state.poses[o.photo],
            Vector3::new(on_line.x, on_line.y, 0.0),
        )
        .unwrap();
        let o = PointSeen {
            at: p.pixel + Vector2::new(1.0, -3.0),
            ..o.clone()
        };
        let (_, row) = problem.point(&state, &o, &mut 0.0).unwrap();
        let row: Vec<_> = row
            .iter()
            .map(|(i, e)| (i, SMatrix::<f64, 1, 1>::new(e[0])))
            .collect();
        let value = |state: &State| {
            SMatrix::<f64, 1, 1>::new(-problem.point(state, &o, &mut 0.0).unwrap().0)
        };
        compare(&problem, &state, &row, value, "line point");
    }
}

#[test]
fn length_derivatives() {
    let (problem, state) = crowded();
    let l = &problem.lengths[0];
    let (mm, by) = length(&state.lines, l.lines);
    // By hand: (10, 100) on the normal at 0.12 rad is 98.08; the offsets take 0.70.
    assert!((mm - 97.38).abs() < 0.01, "{mm}");
    let row: Vec<_> = problem
        .length_columns(l, by)
        .map(|(i, x)| (i, SMatrix::<f64, 1, 1>::new(x)))
        .to_vec();
    let value = |state: &State| SMatrix::<f64, 1, 1>::new(length(&state.lines, l.lines).0);
    compare(&problem, &state, &row, value, "length");
}

#[test]
fn landing_derivatives() {
    let (problem, state) = crowded();
    let at = Point::<Pixel>::new(2500.0, 1100.0);
    let view = |state: &State| View::new(*state.lens(1), state.poses[1]);
    let landed = view(&state).land(at).unwrap();
    let mut row: Vec<(usize, Vector2<f64>)> = Vec::new();
    for i in 0..LENS_UNKNOWNS {
        row.push((
            problem.index.lens(1) + i,
            landed.by_lens.column(i).into_owned(),
        ));
    }
    for i in 0..6 {
        row.push((
            problem.index.pose(1) + i,
            landed.by_pose.column(i).into_owned(),
        ));
    }
    let value = |state: &State| view(state).face_from_pixel(at).unwrap().vec();
    compare(&problem, &state, &row, value, "landing");
    let h = 1e-3;
    let along = |d: Vector2<f64>| {
        let plus = view(&state).face_from_pixel(at + d).unwrap();
        let minus = view(&state).face_from_pixel(at + -d).unwrap();
        (plus - minus) / (2.0 * h)
    };
    let numeric =
        Matrix2::from_columns(&[along(Vector2::new(h, 0.0)), along(Vector2::new(0.0, h))]);
    let err = (numeric - landed.by_pixel).norm();
    assert!(err < RELATIVE, "{err:e}");
    // A mark 1 mm up is seen where the face lies `by_height` further out.
    let place = Point::at(landed.at);
    let raised = view(&state).pixel_from_height(place, 1e-3).unwrap();
    let moved = (view(&state).face_from_pixel(raised).unwrap() - place) / 1e-3;
    let err = (moved - landed.by_height).norm();
    assert!(err < 1e-4, "{moved:?} {:?}", landed.by_height);
}

#[test]
fn the_fold_of_three_radial_terms() {
    let fold = |k1, k2, k3| {
        Lens {
            k1,
            k2,
            k3,
            ..Lens::default()
        }
        .fold_r2()
    };
    // d(r g)/dr = 1 + 7 k3 s³ alone; then (1 - s)(1 - s/2)(1 - s/4), whose roots are 1, 2 and 4.
    assert!((fold(0.0, 0.0, -1.0 / 7.0) - 1.0).abs() < 1e-12);
    let s = fold(-1.75 / 3.0, 0.875 / 5.0, -0.125 / 7.0);
    assert!((s - 1.0).abs() < 1e-9, "{s}");
    assert_eq!(fold(0.1, 0.0, 0.2), f64::INFINITY);
    // A vanishing k3 changes nothing.
    assert!((fold(-0.3, 0.01, 1e-12) - fold(-0.3, 0.01, 0.0)).abs() < 1e-6);
}

#[test]
fn undistortion_stops_at_the_fold() {
    let lens = Lens {
        k1: -0.4,
        k2: 0.0,
        p1: 0.0,
        p2: 0.0,
        k3: 0.0,
        ..lens()
    };
    let fold = lens.fold_r2();
    assert!((fold - 1.0 / 1.2).abs() < 1e-12, "{fold}");
    let edge = fold.sqrt();
    let last = lens.pixel_from_ray(Point::new(0.999 * edge, 0.0)).unwrap();
    let back = lens.ray_from_pixel(last).unwrap();
    assert!((back.x - 0.999 * edge).abs() < 1e-9, "{back:?}");
    assert!(lens.pixel_from_ray(Point::new(1.01 * edge, 0.0)).is_none());
    let beyond = lens.cx_px + lens.f_px * edge;
    assert!(
        lens.ray_from_pixel(Point::new(beyond, lens.cy_px))
            .is_none()
    );
}

#[test]
fn bars_are_understood_or_refused() {
    let s = PrintScale::from_bars([99.8, 19.9]).unwrap();
    assert!((s.mean[0] - 0.998).abs() < 1e-12 && (s.mean[1] - 0.995).abs() < 1e-12);
    assert!((s.sd[0] - 0.057_735 / 100.0).abs() < 1e-8, "{}", s.sd[0]);
    assert!((s.sd[1] / s.sd[0] - 5.0).abs() < 1e-12);
    for bad in [
        [75.0, 50.0],
        [50.0, 0.0],
        [50.0, f64::NAN],
        [-50.0, 50.0],
        [4.0, 50.0],
    ] {
        let e = PrintScale::from_bars(bad).unwrap_err().to_string();
        assert!(e.contains("20, 50 and 100 mm"), "{e}");
        let wrong = if bad[0] == 50.0 { bad[1] } else { bad[0] };
        assert!(e.contains(&format!("of {wrong} mm")), "{e}");
    }
}

/// Source: photo-exif.md, table "Focal length in pixels", computed from the diagonal rule.
#[test]
fn focal_lengths_from_exif() {
    let camera = |f35| Camera {
        focal_35mm: Some(f35),
        orientation: 1,
        ..Camera::default()
    };
    let table = [
        (26.0, 4032, 3024, 3028.6631),
        (24.0, 4000, 3000, 2773.5010),
        (28.0, 4608, 3456, 3727.5853),
    ];
    for (f35, w, h, f) in table {
        let p = Priors::from_camera(&camera(f35), w, h);
        assert!((p.lens.f_px - f).abs() < 5e-5, "{} {f}", p.lens.f_px);
        assert!(p.notes.is_empty() && p.source == LensSource::Exif);
    }
    // A 16:9 cut lies between the diagonal rule and the true value, both within one standard deviation.
    let p = Priors::from_camera(&camera(26.0), 4032, 2268);
    assert_eq!(p.notes[0].code, "cut-in-camera");
    let sd = p.lens_cov[(0, 0)].sqrt();
    for f in [2779.9432, 3028.6631_f64] {
        let off = (p.lens.f_px.ln() - f.ln()).abs() / sd;
        assert!(off < 1.0, "{off}");
    }
    // Turned upright: EXIF's size swaps sides; nothing was edited.
    let mut turned = camera(26.0);
    turned.exif_size = Some([4032, 3024]);
    turned.orientation = 6;
    assert!(
        Priors::from_camera(&turned, 3024, 4032).notes.is_empty(),
        "a turned photo is no edited one"
    );
    turned.orientation = 1;
    let edited = Priors::from_camera(&turned, 2000, 1500);
    assert_eq!(edited.notes[0].code, "edited-picture");
    assert!(edited.lens_cov[(1, 1)].sqrt() > 300.0);
    let none = Priors::from_camera(&Camera::default(), 4000, 3000);
    assert!(none.source == LensSource::None && (none.lens.f_px - 3400.0).abs() < 1e-6);
}

#[test]
fn odd_priors_are_refused() {
    let cards: [SeenCard; 0] = [];
    let seen = [Sighting {
        cards: &cards,
        ..Sighting::default()
    }];
    let mut priors = Priors::from_camera(&Camera::default(), 4032, 3024);
    let none = survey(&seen, &priors, &Options::default()).unwrap_err();
    assert_eq!(none, SurveyError::NoCards);
    assert_eq!(
        survey(&[], &priors, &Options::default()).unwrap_err(),
        SurveyError::NoCards
    );
    priors.scale.sd[1] = 0.0;
    let e = survey(&seen, &priors, &Options::default()).unwrap_err();
    assert!(matches!(e, SurveyError::BadValue { value: 0.0, .. }), "{e}");
}
