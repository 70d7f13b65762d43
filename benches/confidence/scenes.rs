//! Scenes of the fit: a coupon marked out by all sorts of hands, on all sorts of metal, in all sorts of light, with what lies
//! on real sheets besides. Nothing here is tuned to the reader; the ranges are those of a workshop and a phone.

use std::f64::consts::{FRAC_PI_2, PI};
use std::path::Path;

use nalgebra::Vector2;
use punchready::check::{Given, check};
use punchready::frame::Point;
use punchready::photo;
use punchready::plan::{self, Plan};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking, Style};
use punchready::synth::{
    Bench, Camera, Clutter, ClutterKind, ExifFacts, Glare, Ink, Mark, PlacedCard, RingStyle, Rng,
    Scene, Sensor, Shape, SheetPiece, SoftShadow, Surface, render, truth_of, write_jpeg,
};

use super::{CLAIMED, Sample, True, samples};

/// Linear RGB of two primers, a film and a silver pencil.
const LIGHT_GREEN: [f32; 3] = [0.30, 0.38, 0.22];
const DARK_GREEN: [f32; 3] = [0.08, 0.12, 0.06];
const BLUE_FILM: [f32; 3] = [0.22, 0.40, 0.62];
const SILVER: [f32; 3] = [0.52, 0.52, 0.54];

/// The marks of scene `seed` as they were read. Its photo is put into `keep` if a mark of much claim is wrong.
pub(crate) fn samples_of(seed: u64, keep: Option<&Path>) -> Vec<Sample> {
    let plan = coupon();
    let scene = scene(&plan, seed);
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo.jpg");
    write_jpeg(&path, &render(&scene), &ExifFacts::default()).unwrap();
    let given = Given {
        print_scale: PrintScale::from_bars([100.0; 2]).ok(),
        card_below_mm: Some(0.0),
        ..Given::default()
    };
    let checked = check(&photo::read(&path).unwrap(), &plan, &given);
    let truth: Vec<True> = truth_of(&scene)
        .marks
        .iter()
        .map(|m| (m.at, m.crossed_out))
        .collect();
    let found = samples(&checked, &truth);
    if let Some(dir) = keep {
        for s in found.iter().filter(|s| !s.right) {
            let claim = s.probability;
            if claim >= CLAIMED {
                let (x, y) = (s.at.x, s.at.y);
                println!("{seed}: {} at ({x:.1}, {y:.1}), {claim:.3}", s.name);
                std::fs::copy(&path, dir.join(format!("{seed}.jpg"))).unwrap();
            }
        }
    }
    found
}

fn coupon() -> Plan {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/coupon.toml");
    plan::read(&path).unwrap()
}

fn pick<T: Clone>(rng: &mut Rng, all: &[T]) -> T {
    all[(rng.unit() * all.len() as f64) as usize % all.len()].clone()
}

fn scene(plan: &Plan, seed: u64) -> Scene {
    let rng = &mut Rng::new(seed ^ 0x5eed_c0de);
    let (w, h) = (plan.width_mm, plan.height_mm);
    let surface = pick(
        rng,
        &[
            Surface::Mill,
            Surface::Mill,
            Surface::Brushed {
                grain_rad: 0.0,
                contrast: 0.3,
            },
            Surface::Brushed {
                grain_rad: 0.1,
                contrast: 0.8,
            },
            Surface::Brushed {
                grain_rad: FRAC_PI_2,
                contrast: 0.6,
            },
            Surface::Primer,
            Surface::Paper,
            Surface::LayoutDye,
            Surface::Plain(LIGHT_GREEN),
            Surface::Plain(DARK_GREEN),
            Surface::Plain(BLUE_FILM),
        ],
    );
    let ink = match surface {
        Surface::LayoutDye => Ink::scribed(),
        Surface::Plain(DARK_GREEN) => Ink {
            colour: SILVER,
            ..Ink::default()
        },
        _ => pen(rng),
    };
    let hand = Hand {
        scatter_mm: 0.15,
        line_scatter_mm: 0.1,
        rows: pick(rng, &[Style::Dot, Style::Tick, Style::Tick, Style::Cross]),
        ruled: rng.unit() < 0.8,
        broken: if rng.unit() < 0.3 {
            rng.between(0.05, 0.3)
        } else {
            0.0
        },
        dot_mm: rng.between(0.5, 1.2),
        ink,
        seed,
        ..Hand::default()
    };
    let mut marks = Vec::new();
    dirt(rng, [w, h], &mut marks);
    marks.extend(faults(rng, plan, Marking::of(plan, &hand), ink).marks);
    let size = [2016, 1512];
    // From too far to read well to near enough for any pen.
    let px_per_mm = rng.between(4.2, 7.6);
    let mut scene = Scene {
        camera: Camera::above(
            Point::new(w / 2.0 + 16.0, h / 2.0 + 20.0),
            px_per_mm,
            rng.between(0.0, 0.45),
            rng.between(-PI, PI),
            rng.between(-0.1, 0.1),
            size,
        ),
        sheet: SheetPiece {
            thickness_mm: plan.thickness_mm.unwrap_or(1.0),
            ..SheetPiece::sized(w, h)
        },
        bench: pick(rng, &[Bench::Wood, Bench::Dark, Bench::Grey]),
        surface,
        cards: vec![
            PlacedCard::at(7, w + 39.0, 0.42 * h, 0.06),
            PlacedCard::at(12, 0.56 * w, h + 39.0, -0.08),
        ],
        marks,
        sensor: Sensor {
            blur_px: rng.between(0.6, 1.7),
            motion_px: [rng.between(0.0, 2.0), rng.between(0.0, 1.0)],
            full_well: 10f64.powf(rng.between(2.9, 4.0)),
            read_noise: rng.between(0.001, 0.004),
            sharpen: rng.between(0.0, 0.8),
            ..Sensor::default()
        },
        seed,
        ..Scene::default()
    };
    light(rng, [w, h], &mut scene);
    scene
}

fn pen(rng: &mut Rng) -> Ink {
    let marker = Ink::default();
    let coloured = |colour| Ink { colour, ..marker };
    let mut ink = pick(
        rng,
        &[
            marker,
            marker,
            coloured([0.04, 0.05, 0.30]),
            coloured([0.35, 0.04, 0.04]),
            coloured([0.03, 0.16, 0.06]),
            Ink::pencil(),
        ],
    );
    ink.density *= rng.between(0.6, 1.05);
    ink.patchy = rng.between(0.05, 0.5);
    ink.density = ink.density.min(0.97);
    ink
}

/// Seldom many, at most so many.
fn few(rng: &mut Rng, most: f64) -> usize {
    (rng.unit().powi(2) * (most + 0.99)) as usize
}

/// What a hand does wrong, and puts right again.
fn faults(rng: &mut Rng, plan: &Plan, mut marking: Marking, ink: Ink) -> Marking {
    let place = |rng: &mut Rng| {
        Point::new(
            rng.between(6.0, plan.width_mm - 6.0),
            rng.between(6.0, plan.height_mm - 30.0),
        )
    };
    for hole in &plan.holes {
        marking = match rng.unit() {
            u if u < 0.04 => marking.cross_out_hole(&hole.name).unwrap(),
            u if u < 0.08 => marking.ring_hole(&hole.name).unwrap(),
            u if u < 0.12 => {
                let turn = rng.between(0.0, 2.0 * PI);
                let by = rng.between(1.0, 3.5);
                let (s, c) = turn.sin_cos();
                marking.double(&hole.name, by * c, by * s).unwrap()
            }
            u if u < 0.16 => marking.drop_hole(&hole.name).unwrap(),
            _ => marking,
        };
    }
    // Touches of other pens: an earlier setting out, a slip.
    for _ in 0..few(rng, 3.0) {
        let ink = pen(rng);
        let mark = if rng.unit() < 0.6 {
            let at = place(rng);
            Mark::dot(at.x, at.y).sized(rng.between(0.3, 0.9))
        } else {
            let hole = pick(rng, &plan.holes).at;
            Mark::tick(hole.x + rng.between(3.0, 9.0), hole.y, FRAC_PI_2)
        };
        marking = marking.with(mark.inked(ink));
    }
    for _ in 0..(rng.unit() * 4.0) as usize {
        let at = place(rng);
        marking = match rng.unit() {
            u if u < 0.4 => marking.stray(at),
            u if u < 0.7 => marking.stray(at).cross_out(at),
            u if u < 0.85 => marking.ring(at, 6.0, RingStyle::Open),
            _ => marking.with(Mark::tick(at.x, at.y, rng.between(0.0, PI)).inked(ink)),
        };
    }
    marking
}

/// What lies and was scratched, stamped and smeared on the sheet before.
fn dirt(rng: &mut Rng, [w, h]: [f64; 2], marks: &mut Vec<Mark>) {
    let place = |rng: &mut Rng| Point::new(rng.between(2.0, w - 2.0), rng.between(2.0, h - 2.0));
    for _ in 0..few(rng, 3.0) {
        let at = place(rng);
        let (text, joined) = pick(
            rng,
            &[
                ("5052-H32 .040", true),
                ("LOT 20718", true),
                ("ALUMINUM 0.8", false),
                ("+X.x+", true),
            ],
        );
        marks.push(
            Mark::new(Shape::Text {
                at,
                angle_rad: pick(rng, &[0.0, FRAC_PI_2, 0.1]),
                height_mm: rng.between(1.5, 5.0),
                text: text.to_owned(),
                joined,
            })
            .dense(rng.between(0.15, 0.8)),
        );
    }
    for _ in 0..few(rng, 6.0) {
        let from = place(rng);
        let to = from + Vector2::new(rng.normal(), rng.normal()) * rng.between(1.0, 15.0);
        marks.push(Mark::new(Shape::Scratch {
            from,
            to,
            width_mm: rng.between(0.06, 0.35),
            gain: if rng.unit() < 0.5 {
                rng.between(0.3, 0.8)
            } else {
                rng.between(1.2, 1.8)
            },
        }));
    }
    for _ in 0..few(rng, 12.0) {
        let at = place(rng);
        marks.push(Mark::new(Shape::Swarf {
            at,
            length_mm: rng.between(0.5, 5.0),
        }));
    }
    for _ in 0..few(rng, 14.0) {
        let at = place(rng);
        marks.push(Mark::new(Shape::Dust {
            at,
            diameter_mm: rng.between(0.15, 0.9),
        }));
    }
    for _ in 0..few(rng, 3.0) {
        let at = place(rng);
        marks.push(Mark::new(Shape::Smudge {
            at,
            length_mm: rng.between(5.0, 30.0),
            strength: rng.between(0.03, 0.25),
        }));
    }
    for _ in 0..few(rng, 5.0) {
        // Spots of grease, corrosion and old ink: not meant as marks, and no hole's.
        let at = place(rng);
        marks.push(Mark::new(Shape::Smudge {
            at,
            length_mm: rng.between(0.6, 2.5),
            strength: rng.between(0.15, 0.5),
        }));
    }
}

fn light(rng: &mut Rng, [w, h]: [f64; 2], scene: &mut Scene) {
    let l = &mut scene.light;
    l.level = rng.between(0.35, 1.1);
    l.gradient = [rng.between(-0.2, 0.2), rng.between(-0.2, 0.2)];
    l.sheen = rng.between(0.1, 0.6);
    l.tint = pick(
        rng,
        &[[1.02, 1.0, 0.96], [1.15, 1.0, 0.75], [0.9, 1.0, 1.15]],
    );
    if rng.unit() < 0.3 {
        l.shadows.push(SoftShadow {
            through: Point::new(rng.between(0.0, w), rng.between(0.0, h)),
            towards_rad: rng.between(-PI, PI),
            softness_mm: rng.between(0.5, 12.0),
            depth: rng.between(0.3, 0.8),
        });
    }
    if rng.unit() < 0.3 {
        l.glare.push(Glare {
            at: Point::new(rng.between(0.0, w), rng.between(0.0, h)),
            radius_mm: [rng.between(3.0, 15.0), rng.between(3.0, 8.0)],
            turn_rad: rng.between(0.0, PI),
            peak: rng.between(0.2, 2.0),
        });
    }
    if rng.unit() < 0.2 {
        // A lamp's streak along the grain.
        l.glare.push(Glare {
            at: Point::new(rng.between(0.0, w), rng.between(0.0, h)),
            radius_mm: [60.0, rng.between(1.5, 4.0)],
            turn_rad: rng.between(-0.1, 0.1),
            peak: rng.between(0.1, 0.5),
        });
    }
    if rng.unit() < 0.2 {
        scene.clutter.push(Clutter {
            kind: pick(
                rng,
                &[
                    ClutterKind::Pen,
                    ClutterKind::Coin(20.0),
                    ClutterKind::Finger(16.0),
                    ClutterKind::DarkBlob(12.0),
                ],
            ),
            at: Vector2::new(rng.between(0.0, w), rng.between(-10.0, 25.0)),
            turn_rad: rng.between(0.0, PI),
            height_mm: 6.0,
        });
    }
}
