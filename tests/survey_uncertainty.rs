//! What the survey says of its errors, against errors made on purpose.
#![allow(clippy::unwrap_used, reason = "in tests a panic is the report")]

mod survey_scene;

use nalgebra::{Vector2, Vector3};
use punchready::frame::{Cov2, Point, Sheet};
use punchready::photo::Camera;
use punchready::plan::Edge;
use punchready::survey::{LENS_UNKNOWNS, Options, PrintScale, Priors, SheetDatum};
use survey_scene::*;

/// Draws a camera and a print from the priors, so that the truth varies as the priors say.
fn drawn(base: &Scene, p: &Priors, dice: &mut Dice) -> Scene {
    let mut scene = base.clone();
    let sd: Vec<f64> = (0..7).map(|i| p.lens_cov[(i, i)].sqrt()).collect();
    let mean = p.lens.unknowns();
    let mut draw = |i: usize| mean[i] + sd[i] * dice.normal();
    scene.eye.f = draw(0).exp();
    scene.eye.c = [draw(1), draw(2)];
    scene.eye.k = [draw(3), draw(4)];
    scene.eye.p = [draw(5), draw(6)];
    scene.scale = [0, 1].map(|i| p.scale.mean[i] + p.scale.sd[i] * dice.normal());
    scene
}

/// Share of coordinates that U = 2u should hold is 0.9545; 200 seeds with some correlated coordinates each
/// scatter by about 0.01, and a covariance wrong by a fifth leaves this range.
const HELD: std::ops::RangeInclusive<f64> = 0.92..=0.99;

struct Tally {
    held: usize,
    all: usize,
    square: f64,
}
impl Tally {
    fn new() -> Self {
        Self {
            held: 0,
            all: 0,
            square: 0.0,
        }
    }
    fn add(&mut self, err: Vector2<f64>, cov: &Cov2) {
        for (e, var) in [(err.x, cov.m11), (err.y, cov.m22)] {
            self.all += 1;
            self.held += usize::from(e.abs() <= 2.0 * var.sqrt());
        }
        // Normalised by the whole covariance: 2 on average.
        self.square += err.dot(&(cov.try_inverse().unwrap() * err));
    }
    fn check(&self, what: &str) {
        let share = self.held as f64 / self.all as f64;
        let mean = self.square / (self.all as f64 / 2.0);
        println!("{what}: U holds {share:.3}, normalised square {mean:.2} (2 expected)");
        assert!(
            HELD.contains(&share),
            "{what}: U holds {share}, wanted {HELD:?}"
        );
        assert!((1.6..=2.4).contains(&mean), "{what}: {mean}, 2 expected");
    }
}

/// Draws scene after scene from the priors, measures each, and compares errors with what the survey says.
fn tally(base: &Scene, p: &Priors, seeds: std::ops::Range<u64>, what: &str) {
    let options = Options {
        flatness_mm: 0.05,
        ..Options::default()
    };
    let mark_px = 0.4;
    let [mut sheet, mut face, mut by_marks, mut scale, mut width] =
        std::array::from_fn(|_| Tally::new());
    let [w, h] = base.size;
    let [a, b] = [
        Point::<Sheet>::new(0.07 * w, 0.15 * h),
        Point::new(0.92 * w, 0.88 * h),
    ];
    let mut u_mm = 0.0;
    for seed in seeds {
        let mut dice = Dice(1000 + seed);
        let scene = drawn(base, p, &mut dice);
        let (cards, lines) = (scene.cards(&mut dice), scene.edges(60, &mut dice));
        let s = solve(&cards, &lines, p, &options).unwrap();
        scale.add(
            Vector2::new(s.scale[0] - scene.scale[0], s.scale[1] - scene.scale[1]),
            &s.covariance()
                .fixed_view::<2, 2>(LENS_UNKNOWNS, LENS_UNKNOWNS)
                .into_owned(),
        );
        let [across, u] = s.line_distance(id(Edge::Left), id(Edge::Right)).unwrap();
        let [up, v] = s.line_distance(id(Edge::Bottom), id(Edge::Top)).unwrap();
        width.add(
            Vector2::new(across - w, up - h),
            &Cov2::new(u * u, 0.0, 0.0, v * v),
        );
        let mut measure = |m: Point<Sheet>| {
            let noise = Vector2::new(dice.normal(), dice.normal()) * mark_px;
            let z = options.flatness_mm * dice.normal();
            scene.eye.see(m.x, m.y, z) + noise
        };
        let cov_px = Cov2::identity() * mark_px * mark_px;
        let frame = s.sheet_frame(&scene.datum(), 0).unwrap();
        let two = SheetDatum::Marks {
            seen: [(measure(a), cov_px), (measure(b), cov_px)],
            planned: [a, b],
        };
        let two = s.sheet_frame(&two, 0).unwrap();
        for i in 0..12 {
            let m = Point::<Sheet>::new(
                w * (0.03 + 0.94 * f64::from(i % 4) / 3.0),
                h * (0.04 + 0.92 * f64::from(i / 4) / 2.0),
            );
            let px = measure(m);
            let (at, cov) = frame.point(px, cov_px).unwrap();
            sheet.add(at - m, &cov);
            u_mm += 2.0 * cov.trace().sqrt();
            let (at, cov) = two.point(px, cov_px).unwrap();
            by_marks.add(at - m, &cov);
            // The same mark by way of the true place of the first card.
            let c = scene.cards[0];
            let (sin, cos) = c.angle.sin_cos();
            let d = Vector2::new(m.x - c.x, m.y - c.y);
            let truth = Vector2::new(cos * d.x + sin * d.y, cos * d.y - sin * d.x);
            let (at, cov) = s.face_point(0, px, cov_px).unwrap();
            face.add(at.vec() - truth, &cov);
        }
    }
    println!("{what}: mean U {:.3} mm", u_mm / (sheet.all / 2) as f64);
    sheet.check("  in the sheet, by edges");
    by_marks.check("  in the sheet, by marks");
    face.check("  in the face");
    scale.check("  print scale");
    width.check("  sheet size");
}

/// Cards and edges, everything drawn from the priors: what the survey says of its errors is true.
#[test]
fn uncertainty_holds_the_truth_over_200_seeds() {
    let mut base = Scene::plain();
    base.noise_px = 0.12;
    base.edge_noise_px = 0.3;
    tally(&base, &priors(), 0..200, "three cards");
}

/// The weakest case that is still used: one card, seen squarely.
#[test]
fn uncertainty_holds_the_truth_with_one_card() {
    let mut base = Scene::plain();
    base.cards.truncate(1);
    base.cards[0].x = 120.0;
    base.cards[0].y = 110.0;
    base.eye.at = Vector3::new(140.0, 100.0, 420.0);
    base.eye.look_at = Vector3::new(150.0, 108.0, 0.0);
    base.noise_px = 0.08;
    base.edge_noise_px = 0.3;
    let bars = PrintScale::from_bars([50.0, 50.0]).unwrap();
    tally(
        &base,
        &priors().with_scale(bars),
        0..200,
        "one card, square",
    );
    // A strip card beside a narrow strip, at a slant.
    base.size = [300.0, 30.0];
    base.cards[0] = Lain {
        number: 45,
        x: 150.0,
        y: -16.0,
        angle: 0.05,
        under: 0.0,
    };
    base.eye.at = Vector3::new(150.0, -150.0, 380.0);
    base.eye.look_at = Vector3::new(150.0, 5.0, 0.0);
    tally(&base, &priors().with_scale(bars), 0..200, "one strip card");
}

/// Analytic and numerical propagation differ by the bend of the maps over a hundredth of a sigma.
const SAME_COV: f64 = 1e-4;

#[test]
fn covariance_agrees_with_differences() {
    let mut scene = Scene::plain();
    scene.noise_px = 0.1;
    scene.edge_noise_px = 0.2;
    let mut dice = Dice(5);
    let (cards, lines) = (scene.cards(&mut dice), scene.edges(60, &mut dice));
    let options = Options {
        flatness_mm: 0.0,
        ..Options::default()
    };
    let s = solve(&cards, &lines, &priors(), &options).unwrap();
    let own = Cov2::new(0.09, 0.02, 0.02, 0.16);
    let m = scene.eye.see(200.0, 30.0, 0.0);
    let size = scene.size;
    let find = |model: &punchready::survey::Model, line: Edge| {
        let (p, d) = model.line(id(line)).unwrap();
        (p.vec(), d)
    };
    // Corner by corner: each pair of neighbouring edges, each edge as base.
    let pairs = [
        (Edge::Bottom, Edge::Left),
        (Edge::Left, Edge::Bottom),
        (Edge::Top, Edge::Right),
        (Edge::Right, Edge::Bottom),
        (Edge::Top, Edge::Left),
        (Edge::Left, Edge::Top),
    ];
    for (base, other) in pairs {
        let datum = SheetDatum::Edges {
            base: (id(base), base),
            other: (id(other), other),
            size_mm: size,
        };
        let frame = s.sheet_frame(&datum, 0).unwrap();
        let (at, cov) = frame.point(m, own).unwrap();
        assert!(
            at.distance(Point::new(200.0, 30.0)) < 1.0,
            "{base:?} {other:?} {at:?}"
        );
        assert!(frame.pixel_from_sheet(at).unwrap().distance(m) < 1e-6);
        assert!(frame.sheet_from_pixel(m).unwrap().distance(at) < 1e-9);
        let zero = frame.face_from_sheet().angle_rad;
        let numeric = s
            .derived_cov(&[(m, own)], |model, px| {
                let (p, d) = find(model, base);
                let (q, e) = find(model, other);
                let corner = p + d * ((q - p).perp(&e) / d.perp(&e));
                let at = model.views()[0].face_from_pixel(px[0])?.vec();
                let (_, d0) = find(s.model(), base);
                let angle = zero + d0.perp(&d).atan2(d0.dot(&d));
                let (sin, cos) = angle.sin_cos();
                let v = at - corner;
                Some(Vector2::new(cos * v.x + sin * v.y, cos * v.y - sin * v.x))
            })
            .unwrap();
        same_cov(&cov, &numeric, SAME_COV, &format!("{base:?} {other:?}"));
        // A line in the frame: its middle's offset and its direction.
        let line = frame.line(id(Edge::Right)).unwrap();
        let far = s.line(id(Edge::Right)).unwrap();
        let numeric = s
            .derived_cov(&[], |model, _| {
                let (p, d) = find(model, base);
                let (q, e) = find(model, other);
                let corner = p + d * ((q - p).perp(&e) / d.perp(&e));
                let (l, direction) = find(model, Edge::Right);
                let turn = |v: Vector2<f64>| Vector2::new(d.dot(&v), d.perp(&v));
                let place = turn(l - corner);
                let along = turn(direction);
                let (_, d0) = find(s.model(), base);
                let back = |v: Vector2<f64>| Vector2::new(d0.dot(&v), d0.perp(&v));
                let along0 = back(far.direction);
                Some(Vector2::new(
                    along0.perp(&place),
                    along0.perp(&along).atan2(along0.dot(&along)),
                ))
            })
            .unwrap();
        let u = [numeric.m11.sqrt(), numeric.m22.sqrt()];
        assert!(
            (line.u_offset_mm - u[0]).abs() < 1e-3 * u[0] + 1e-9,
            "{base:?} {other:?} {line:?} {u:?}"
        );
        assert!(
            (line.u_angle_rad - u[1]).abs() < 1e-3 * u[1] + 1e-9,
            "{base:?} {other:?} {line:?} {u:?}"
        );
    }
    let eigen = s.covariance().clone().cholesky();
    assert!(eigen.is_some(), "the covariance is not positive definite");
}

/// Cards and cameras all over, with and without EXIF: each is solved, and the covariances hold.
#[test]
fn any_view_is_solved() {
    let mut held = Tally::new();
    for seed in 0..200_u64 {
        let mut dice = Dice(777 + seed);
        let open = seed % 3 == 0;
        let p = if open {
            Priors::from_camera(&Camera::default(), W, H)
        } else {
            priors()
        };
        let mut scene = Scene::plain();
        scene.noise_px = 0.05 + 0.2 * dice.uniform();
        scene.edge_noise_px = 0.3;
        let first = if seed % 5 == 0 { 41 } else { 1 };
        scene.cards = (0..1 + (seed % 4) as u16)
            .map(|i| Lain {
                number: first + i,
                x: 40.0 + 220.0 * dice.uniform(),
                y: 30.0 + 150.0 * dice.uniform(),
                angle: std::f64::consts::TAU * dice.uniform(),
                under: 0.0,
            })
            .collect();
        let tilt = 0.9 * dice.uniform();
        let (sin, cos) = (std::f64::consts::TAU * dice.uniform()).sin_cos();
        scene.eye.look_at = Vector3::new(
            100.0 + 100.0 * dice.uniform(),
            70.0 + 70.0 * dice.uniform(),
            0.0,
        );
        scene.eye.roll = std::f64::consts::TAU * dice.uniform();
        let mut scene = drawn(&scene, &p, &mut dice);
        let far = 470.0 * scene.eye.f / 3050.0;
        scene.eye.at =
            scene.eye.look_at + Vector3::new(tilt.sin() * cos, tilt.sin() * sin, tilt.cos()) * far;
        let (cards, lines) = (scene.cards(&mut dice), scene.edges(60, &mut dice));
        let s = solve(&cards, &lines, &p, &Options::default())
            .unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        assert!(s.left_out.is_empty(), "seed {seed}: {:?}", s.left_out);
        let frame = s.sheet_frame(&scene.datum(), 0).unwrap();
        for m in marks() {
            let px = scene.eye.see(m.x, m.y, 0.1 * dice.normal());
            let (at, cov) = frame.point(px, Cov2::zeros()).unwrap();
            held.add(at - m, &cov);
        }
    }
    held.check("any view");
}
