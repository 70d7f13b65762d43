//! A drawn class: students with their habits, each piece photographed by hand as often as is wanted, and the
//! instructor's key, which is made from the truth.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::path::{Path, PathBuf};

use punchready::check::Given;
use punchready::frame::{Cov2, Point};
use punchready::grade::findings::Findings;
use punchready::grade::look::Known;
use punchready::ink::{self, RuledLine, Seen};
use punchready::plan::{self, Edge, Plan};
use punchready::sheet::{MeasuredEdge, Outline};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking, Style};
use punchready::synth::{
    self, Bench, Camera, ExifFacts, Light, Mark, PlacedCard, Rng, Scene, Sensor, Shape, SheetPiece,
    Surface,
};
use punchready::verdict;

/// The coupon of the fixtures.
pub(crate) fn coupon() -> (PathBuf, Plan) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/coupon.toml");
    let plan = plan::read(&path).unwrap();
    (path, plan)
}

/// What the instructor says besides: the print is true to size, the cards lie level with the face.
pub(crate) fn known() -> Known {
    Known {
        given: Given {
            print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
            card_below_mm: Some(0.0),
            ..Given::default()
        },
        profiles: Vec::new(),
    }
}

/// Names for a class, so that pages look as they will.
pub(crate) const NAMES: [&str; 24] = [
    "Ada", "Bram", "Chidi", "Dilara", "Emre", "Fatou", "Goran", "Hanna", "Ines", "Jonas", "Kofi",
    "Lale", "Mei", "Nils", "Olga", "Pavel", "Quyen", "Rosa", "Sami", "Tomas", "Uma", "Vera", "Wim",
    "Yusuf",
];

/// The piece of student `n`: careful and less careful hands, and the usual slips in turn.
pub(crate) fn piece(plan: &Plan, n: usize) -> Marking {
    let mut rng = Rng::new(900 + n as u64);
    let hand = Hand {
        scatter_mm: rng.between(0.08, 0.3),
        line_scatter_mm: rng.between(0.04, 0.2),
        rows: if n % 5 == 4 { Style::Dot } else { Style::Tick },
        dot_mm: 1.2,
        seed: 70 + n as u64,
        ..Hand::default()
    };
    // A slip of a whole row is a plan misread: lines and marks follow it.
    let mut meant = plan.clone();
    let moved = |meant: &mut Plan, row: &str, by: &dyn Fn(usize) -> f64| {
        let holes = meant
            .holes
            .iter_mut()
            .filter(|h| h.row.as_deref() == Some(row));
        for (k, hole) in holes.enumerate() {
            hole.at.x += by(k);
        }
    };
    match n % 8 {
        1 => {
            let step = rng.between(0.08, 0.2);
            moved(&mut meant, "A", &|k| step * k as f64);
        }
        2 => {
            let row = meant.rows.iter_mut().find(|r| r.name == "B").unwrap();
            let off = rng.between(0.8, 1.4);
            row.edge_distance_mm += off;
            let below = |h: &&mut plan::Hole| h.row.as_deref() == Some("B");
            meant
                .holes
                .iter_mut()
                .filter(below)
                .for_each(|h| h.at.y -= off);
        }
        3 => {
            let start = rng.between(0.9, 1.6);
            moved(&mut meant, "B", &|_| start);
        }
        5 => moved(&mut meant, "A", &|k| if k >= 4 { 1.59 } else { 0.0 }),
        _ => {}
    }
    let mut marking = Marking::of(&meant, &hand);
    let (w, h) = (plan.width_mm, plan.height_mm);
    if n % 3 == 1 {
        let at = Point::new(rng.between(0.2, 0.8) * w, rng.between(0.2, 0.5) * h);
        marking = marking.stray(at);
        if n.is_multiple_of(2) {
            marking = marking.cross_out(at);
        }
    }
    if n % 6 == 4 {
        let hole = &plan.holes[n % plan.holes.len()];
        marking = marking.drop_hole(&hole.name).unwrap();
    }
    if n % 7 == 3 {
        marking = marking.shift("A6", 1.9, 0.0).unwrap();
    }
    marking
}

/// Photo number `shot` of a piece, taken by hand: no two from the same place, on `size` pixels.
pub(crate) fn photo(plan: &Plan, marking: &Marking, shot: u64, size: [u32; 2]) -> Scene {
    let mut rng = Rng::new(31 * shot + 5);
    let (w, h) = (plan.width_mm, plan.height_mm);
    let gap = 8.0;
    let cards = vec![
        PlacedCard::at(7, w + gap + 33.0, 0.4 * h, rng.between(-0.15, 0.15)),
        PlacedCard::at(45, 0.5 * w, -gap - 15.0, rng.between(-0.05, 0.05)),
        PlacedCard::at(12, -gap - 33.0, 0.55 * h, rng.between(-0.15, 0.15)),
    ];
    let (left, right) = (-gap - 70.0, w + gap + 70.0);
    let px_per_mm = rng.between(0.86, 0.95) * f64::from(size[0]) / (right - left);
    let centre = Point::new(
        (left + right) / 2.0 + rng.between(-4.0, 4.0),
        h / 2.0 - 8.0 + rng.between(-6.0, 6.0),
    );
    let camera = Camera::above(
        centre,
        px_per_mm,
        rng.between(0.02, 0.2),
        rng.between(-3.1, 3.1),
        rng.between(-0.06, 0.06),
        size,
    )
    .with_distortion(0.012, -0.015, 0.0002, -0.0001);
    Scene {
        camera,
        sheet: SheetPiece {
            thickness_mm: plan.thickness_mm.unwrap_or(1.0),
            ..SheetPiece::sized(w, h)
        },
        bench: Bench::Wood,
        surface: Surface::Mill,
        cards,
        marks: marking.marks.clone(),
        light: Light {
            level: rng.between(0.85, 1.1),
            gradient: [rng.between(-0.08, 0.08), rng.between(-0.08, 0.08)],
            ..Light::default()
        },
        sensor: Sensor {
            blur_px: rng.between(0.7, 1.0),
            ..Sensor::default()
        },
        seed: shot,
        ..Scene::default()
    }
}

/// 12, 3 and 1.5 megapixels.
pub(crate) const FULL: [u32; 2] = [4032, 3024];
pub(crate) const HALF: [u32; 2] = [2016, 1512];
pub(crate) const SMALL: [u32; 2] = [1440, 1080];

/// Draws a scene into a JPEG file.
pub(crate) fn draw(scene: &Scene, path: &Path) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    synth::write_jpeg(path, &synth::render(scene), &ExifFacts::default()).unwrap();
}

/// What the instructor finds who knows where everything truly is: the piece without a photo between.
pub(crate) fn key(plan: &Plan, marking: &Marking) -> Findings {
    let scene = photo(plan, marking, 1, FULL);
    let truth = synth::truth_of(&scene);
    let exact = Cov2::identity() * 1e-12;
    let marks = truth
        .marks
        .iter()
        .map(|m| ink::Mark {
            probability: None,
            at: m.at,
            cov: exact,
            kind: m.kind,
            size_mm: m.size_mm,
            ringed: m.ringed,
            crossed_out: m.crossed_out,
        })
        .collect();
    let lines = scene.marks.iter().filter_map(line).collect();
    let (w, h) = (plan.width_mm, plan.height_mm);
    let corners = [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)].map(|(x, y)| Point::new(x, y));
    let edges = [Edge::Bottom, Edge::Right, Edge::Top, Edge::Left]
        .into_iter()
        .enumerate()
        .map(|(i, edge)| MeasuredEdge {
            edge,
            ends: [corners[i], corners[(i + 1) % 4]],
            u_offset_mm: 0.0,
            u_angle_rad: 0.0,
        })
        .collect();
    let outline = Outline {
        edges,
        width_mm: Some([w, 0.0]),
        height_mm: Some([h, 0.0]),
    };
    let ink = ink::Ink {
        marks,
        lines,
        unsure: Vec::new(),
        seen: Seen::of([w, h], |_| true),
    };
    let verdict = verdict::decide(plan, &ink, &outline, &[]);
    let mut key = Findings::of(&verdict, &ink.lines, Vec::new());
    key.measured = true;
    key.seen = 1.0;
    key.size_mm = [Some([w, 0.0]), Some([h, 0.0])];
    key
}

fn line(mark: &Mark) -> Option<RuledLine> {
    match mark.shape {
        Shape::Line {
            from, to, width_mm, ..
        } => Some(RuledLine {
            ends: [from, to],
            width_mm,
            u_mm: 0.0,
        }),
        _ => None,
    }
}
