//! The photos of each step.

use std::f64::consts::TAU;
use std::path::Path;

use crate::skin::{AMID, AT_ONE_SIDE, skin};
use nalgebra::{Vector2, Vector3};
use punchready::check::Given;
use punchready::frame::{Point, Sheet};
use punchready::photo::{self, Photo};
use punchready::plan::{self, Plan};
use punchready::survey::PrintScale;
use punchready::synth::marking::{Hand, Marking, Style};
use punchready::synth::{
    Bench, Camera, ExifFacts, PlacedCard, Rng, Scene, SheetPiece, Surface, render, truth_of,
    write_jpeg,
};

/// A step of the bench.
pub(crate) struct Step {
    pub(crate) name: &'static str,
    /// Cases that make 2000 marks and more, or enough for a bar of accuracy.
    pub(crate) photos: usize,
    pub(crate) bar: Bar,
    pub(crate) case: fn(u64) -> Case,
}

/// What a step must hold.
pub(crate) enum Bar {
    /// Root mean square of the error, and what 95 % do not exceed.
    Accuracy { rms_mm: f64, high_mm: Option<f64> },
    /// The same with the size taken off, as a strip's is known only as well as its print.
    ApartFromScale { rms_mm: f64 },
    /// How often U holds the truth.
    Coverage,
    /// The same, where U is told with more caution than the nuisances are drawn with.
    Caution,
}

pub(crate) const STEPS: [Step; 12] = [
    Step {
        name: "careful",
        photos: 16,
        bar: Bar::Accuracy {
            rms_mm: 0.03,
            high_mm: Some(0.06),
        },
        case: |seed| sheet(seed, "careful", 4.0, &CAREFUL),
    },
    Step {
        name: "careful, 45°",
        photos: 16,
        bar: Bar::Accuracy {
            rms_mm: 0.06,
            high_mm: None,
        },
        case: |seed| sheet(seed, "careful, 45°", 45.0, &CAREFUL),
    },
    Step {
        name: "careful strip",
        photos: 10,
        bar: Bar::ApartFromScale { rms_mm: 0.08 },
        case: |seed| strip(seed, &CAREFUL),
    },
    Step {
        name: "easy",
        photos: 40,
        bar: Bar::Coverage,
        case: |seed| sheet(seed, "easy", 4.0, &AS_CLAIMED),
    },
    Step {
        name: "tilted",
        photos: 40,
        bar: Bar::Coverage,
        case: |seed| sheet(seed, "tilted", 40.0, &AS_CLAIMED),
    },
    Step {
        name: "strip",
        photos: 20,
        bar: Bar::Coverage,
        case: |seed| strip(seed, &AS_CLAIMED),
    },
    Step {
        name: "no profile",
        photos: 40,
        bar: Bar::Coverage,
        case: |seed| {
            sheet(
                seed,
                "no profile",
                20.0,
                &Nuisance {
                    exif: false,
                    ..AS_CLAIMED
                },
            )
        },
    },
    Step {
        name: "careful dots",
        photos: 16,
        bar: Bar::Accuracy {
            rms_mm: 0.03,
            high_mm: Some(0.06),
        },
        case: |seed| {
            let dots = Nuisance {
                dots: true,
                ..CAREFUL
            };
            sheet(seed, "careful dots", 4.0, &dots)
        },
    },
    Step {
        name: "careful skin",
        photos: 16,
        bar: Bar::Accuracy {
            rms_mm: 0.1,
            high_mm: None,
        },
        case: |seed| skin(seed, AT_ONE_SIDE, &CAREFUL),
    },
    Step {
        name: "careful skin, one card",
        photos: 16,
        bar: Bar::Accuracy {
            rms_mm: 0.1,
            high_mm: None,
        },
        case: |seed| skin(seed, AMID, &CAREFUL),
    },
    Step {
        name: "skin",
        photos: 40,
        bar: Bar::Coverage,
        case: |seed| skin(seed, AT_ONE_SIDE, &AS_CLAIMED),
    },
    Step {
        name: "skin, one card",
        photos: 40,
        bar: Bar::Caution,
        case: |seed| skin(seed, AMID, &AS_CLAIMED),
    },
];

/// How far the scene is from what the check takes it for.
#[derive(Clone, Copy)]
pub(crate) struct Nuisance {
    /// Standard deviation of the print's scale, and the limits of a rule's reading of its bars, mm.
    print_sd: f64,
    rule_mm: f64,
    /// Limits of the print's height, mm.
    print_height_mm: [f64; 2],
    /// Standard deviation of the face's height, mm.
    pub(crate) flatness_mm: f64,
    /// The photo says what camera took it.
    exif: bool,
    /// Pixels a millimetre in a photo of a whole sheet.
    px_per_mm: f64,
    /// What the lens does, standard deviations of k1 and k2, and how far the middle of a ruled line lies off the
    /// straight one, mm: of a skin.
    pub(crate) lens_sd: [f64; 2],
    pub(crate) bow_mm: f64,
    /// Marked with dots and no lines, instead of ticks across lines.
    dots: bool,
}

/// All as the uncertainty claims it.
const AS_CLAIMED: Nuisance = Nuisance {
    print_sd: 0.003,
    rule_mm: 0.1,
    print_height_mm: [0.05, 0.3],
    flatness_mm: FLATNESS_MM,
    exif: true,
    px_per_mm: 7.5,
    lens_sd: [0.05, 0.03],
    bow_mm: 0.1,
    dots: false,
};
/// A flat sheet, and cards printed true.
const CAREFUL: Nuisance = Nuisance {
    print_sd: 0.0,
    rule_mm: 0.0,
    print_height_mm: [0.1, 0.1],
    flatness_mm: 0.0,
    exif: true,
    px_per_mm: 10.0,
    lens_sd: [0.03, 0.02],
    bow_mm: 0.05,
    dots: false,
};

/// One check and its truth.
pub(crate) struct Case {
    pub(crate) name: String,
    pub(crate) plan: Plan,
    pub(crate) photos: Vec<Photo>,
    pub(crate) cameras: Vec<Camera>,
    pub(crate) given: Given,
    /// Where each hole's mark truly is.
    pub(crate) truth: Vec<(String, Point<Sheet>)>,
    /// The same on a flat sheet, as the photo is drawn.
    pub(crate) drawn: Vec<(String, Point<Sheet>)>,
}

/// How far from flat the sheet is, standard deviation, mm: what the survey takes.
const FLATNESS_MM: f64 = 0.1;
/// The shortest and the longest wave of it, mm: a sheet lies hollow or crowned over its length, and has no bumps.
const WAVES_MM: [f64; 2] = [120.0, 600.0];

/// Chance of one case.
pub(crate) struct Dice(pub(crate) Rng);

impl Dice {
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.0.unit()
    }

    pub(crate) fn normal(&mut self) -> f64 {
        let (a, b) = (self.0.unit(), self.0.unit());
        (-2.0 * (1.0 - a).ln()).sqrt() * (TAU * b).cos()
    }
}

/// A face that is not quite flat.
pub(crate) struct Height(Vec<[f64; 4]>);

impl Height {
    pub(crate) fn of(dice: &mut Dice, flatness_mm: f64) -> Self {
        let waves = 6;
        let gain = flatness_mm * (2.0 / f64::from(waves)).sqrt();
        Self(
            (0..waves)
                .map(|_| {
                    let k = TAU / dice.between(WAVES_MM[0], WAVES_MM[1]);
                    let way = dice.between(0.0, TAU);
                    [
                        k * way.cos(),
                        k * way.sin(),
                        dice.between(0.0, TAU),
                        gain * dice.normal(),
                    ]
                })
                .collect(),
        )
    }

    pub(crate) fn at(&self, p: Point<Sheet>) -> f64 {
        let wave = |[kx, ky, phase, a]: &[f64; 4]| a * (kx * p.x + ky * p.y + phase).cos();
        self.0.iter().map(wave).sum()
    }
}

/// What the cards are printed at, and what a rule reads of their bars.
pub(crate) fn print(dice: &mut Dice, nuisance: &Nuisance) -> ([f64; 2], Option<PrintScale>) {
    let scale = [0, 1].map(|_| 1.0 + nuisance.print_sd * dice.normal());
    let rule = nuisance.rule_mm;
    let read = scale.map(|s| 100.0 * s + dice.between(-rule, rule));
    (scale, PrintScale::from_bars(read).ok())
}

pub(crate) fn plan_of(text: &str) -> Plan {
    plan::parse(text, Path::new("coverage.toml")).expect("the bench's own plan")
}

pub(crate) fn read_back(scene: &Scene, name: &str) -> Photo {
    let dir = tempfile::tempdir().expect("a folder for the photo");
    let file = dir.path().join(name);
    write_jpeg(&file, &render(scene), &ExifFacts::default()).expect("a photo");
    let mut photo = photo::read(&file).expect("the photo");
    photo.path = name.into();
    photo
}

fn marked(plan: &Plan, seed: u64, dots: bool) -> Marking {
    let hand = Hand {
        scatter_mm: 0.12,
        line_scatter_mm: 0.06,
        seed,
        ..Hand::default()
    };
    let hand = if dots {
        Hand {
            rows: Style::Dot,
            ruled: false,
            ..hand
        }
    } else {
        hand
    };
    Marking::of(plan, &hand)
}

/// A lens as phones have it, corrected but for some percent.
fn bent(camera: Camera, dice: &mut Dice) -> Camera {
    let [k1, k2] = [0.02 * dice.normal(), 0.015 * dice.normal()];
    let [p1, p2] = [4e-4 * dice.normal(), 4e-4 * dice.normal()];
    camera.with_distortion(k1, k2, p1, p2)
}

/// Cards on scrap of the sheet's thickness, flat or not quite.
pub(crate) fn placed(
    places: &[(u16, f64, f64)],
    dice: &mut Dice,
    scale: [f64; 2],
    nuisance: &Nuisance,
) -> Vec<PlacedCard> {
    let [low, high] = nuisance.print_height_mm;
    let card = |&(number, x, y): &(u16, f64, f64)| PlacedCard {
        height_mm: dice.between(low, high),
        print_scale: scale,
        ..PlacedCard::at(number, x, y, dice.between(-0.1, 0.1))
    };
    places.iter().map(card).collect()
}

/// Of each hole the mark nearest to it as drawn.
pub(crate) fn drawn(scene: &Scene, plan: &Plan) -> Vec<(String, Point<Sheet>)> {
    let marks = truth_of(scene).marks;
    plan.holes
        .iter()
        .filter_map(|h| {
            let nearest = marks
                .iter()
                .min_by(|a, b| a.at.distance(h.at).total_cmp(&b.at.distance(h.at)))?;
            Some((h.name.clone(), nearest.at))
        })
        .collect()
}

/// A sheet in one photo.
fn sheet(seed: u64, name: &str, tilt_deg: f64, nuisance: &Nuisance) -> Case {
    let plan = plan_of(
        r#"
        title = "Coverage"
        units = "mm"
        [sheet]
        width = 170
        height = 110
        thickness = 1.0
        [rivet]
        diameter = 3.2
        [tolerance]
        position = 0.8
        [[row]]
        name = "A"
        along = "bottom"
        edge_distance = 9
        first = 10
        pitch = 10
        count = 16
        [[row]]
        name = "B"
        along = "top"
        edge_distance = 9
        first = 15
        pitch = 10
        count = 15
        [[row]]
        name = "C"
        along = "bottom"
        edge_distance = 43
        first = 12
        pitch = 11
        count = 14
        [[row]]
        name = "D"
        along = "bottom"
        edge_distance = 70
        first = 17
        pitch = 11
        count = 13
        "#,
    );
    let mut dice = Dice(Rng::new(0xc0f_fee ^ (seed << 8) ^ tilt_deg as u64));
    let (w, h) = (plan.width_mm, plan.height_mm);
    let (scale, bars) = print(&mut dice, nuisance);
    let places = [
        (7, w + 42.0, 0.4 * h),
        (12, 0.3 * w, h + 42.0),
        (45, -24.0, 0.5 * h),
    ];
    let mut cards = placed(&places, &mut dice, scale, nuisance);
    cards[2].turn_rad += TAU / 4.0;
    let camera = Camera::above(
        Point::new(w / 2.0 + 12.0, h / 2.0 + 18.0),
        nuisance.px_per_mm,
        (tilt_deg * dice.between(0.8, 1.1)).to_radians(),
        dice.between(0.0, TAU),
        dice.between(-0.05, 0.05),
        [300.0, 240.0].map(|mm| (mm * nuisance.px_per_mm) as u32),
    );
    let mut camera = bent(camera, &mut dice);
    // EXIF rounds the focal length, and focusing near moves the lens.
    camera.focal_px *= 1.0 + 0.02 * dice.normal();
    camera.principal.x += 12.0 * dice.normal();
    camera.principal.y += 12.0 * dice.normal();
    let benches = [Bench::Dark, Bench::Wood];
    let scene = Scene {
        sheet: SheetPiece {
            thickness_mm: 1.0,
            burr: dice.between(0.0, 0.6),
            contact_shadow: dice.between(0.2, 0.8),
            ..SheetPiece::sized(w, h)
        },
        bench: benches[seed as usize % 2],
        surface: Surface::Mill,
        cards,
        marks: marked(&plan, seed + 1, nuisance.dots).marks,
        camera,
        seed,
        ..Scene::default()
    };
    let mut photo = read_back(&scene, "photo.jpg");
    if !nuisance.exif {
        photo.camera = photo::Camera::default();
    }
    let height = Height::of(&mut dice, nuisance.flatness_mm);
    let drawn = drawn(&scene, &plan);
    Case {
        name: format!("{name} {seed}"),
        truth: raised(drawn.clone(), &height, &scene.camera, [w, h]),
        drawn,
        cameras: vec![scene.camera],
        photos: vec![photo],
        given: Given {
            print_scale: bars,
            card_below_mm: Some(0.0),
            ..Given::default()
        },
        plan,
    }
}

/// Where the marks truly are if the face as drawn flat were one that is not: each place lies where its ray meets the
/// face, and so do the edges that the sheet is measured from.
fn raised(
    drawn: Vec<(String, Point<Sheet>)>,
    height: &Height,
    camera: &Camera,
    [w, h]: [f64; 2],
) -> Vec<(String, Point<Sheet>)> {
    let eye: Vector3<f64> = camera.position;
    let truly = |p: Point<Sheet>| {
        let lever = (p - Point::new(eye.x, eye.y)) / eye.z;
        p + -lever * height.at(p)
    };
    let fit = |points: &[(f64, f64)]| {
        let n = points.len() as f64;
        let (mt, mv) = points
            .iter()
            .fold((0.0, 0.0), |(a, b), p| (a + p.0 / n, b + p.1 / n));
        let (tt, tv) = points.iter().fold((0.0, 0.0), |(a, b), p| {
            (a + (p.0 - mt).powi(2), b + (p.0 - mt) * (p.1 - mv))
        });
        (mv - tv / tt * mt, tv / tt)
    };
    let steps = || (0..=40).map(|i| f64::from(i) / 40.0);
    let bottom: Vec<(f64, f64)> = steps()
        .map(|t| truly(Point::new(t * w, 0.0)))
        .map(|p| (p.x, p.y))
        .collect();
    let left: Vec<(f64, f64)> = steps()
        .map(|t| truly(Point::new(0.0, t * h)))
        .map(|p| (p.y, p.x))
        .collect();
    let ((y0, slope), (x0, lean)) = (fit(&bottom), fit(&left));
    // The crossing, to first order in the slopes; both are below 0.001.
    let origin = Vector2::new(x0 + lean * y0, y0 + slope * x0);
    drawn
        .into_iter()
        .map(|(name, p)| {
            let q = truly(p).vec() - origin;
            (name, Point::new(q.x + slope * q.y, q.y - slope * q.x))
        })
        .collect()
}

/// A strip of 1.2 m in four photos.
fn strip(seed: u64, nuisance: &Nuisance) -> Case {
    let plan = plan_of(
        r#"
        title = "Coverage strip"
        units = "mm"
        [sheet]
        width = 1200
        height = 50
        thickness = 1.0
        [rivet]
        diameter = 3.2
        [tolerance]
        position = 1.5
        [[row]]
        name = "A"
        along = "bottom"
        edge_distance = 9
        first = 10
        pitch = 20
        count = 60
        [[row]]
        name = "B"
        along = "top"
        edge_distance = 9
        first = 20
        pitch = 20
        count = 59
        "#,
    );
    let mut dice = Dice(Rng::new(0x57_219 ^ (seed << 8)));
    let (w, h) = (plan.width_mm, plan.height_mm);
    let (scale, bars) = print(&mut dice, nuisance);
    // One card each above and below where neighbouring photos meet, and one at each end.
    let along = [80.0, 313.0, 313.0, 600.0, 600.0, 887.0, 887.0, 1120.0];
    let places: Vec<_> = (41..)
        .zip(along)
        .map(|(number, x)| (number, x, if number % 2 == 1 { h + 22.0 } else { -22.0 }))
        .collect();
    let cards = placed(&places, &mut dice, scale, nuisance);
    let scene = Scene {
        sheet: SheetPiece {
            thickness_mm: 1.0,
            burr: dice.between(0.0, 0.6),
            contact_shadow: dice.between(0.2, 0.8),
            ..SheetPiece::sized(w, h)
        },
        bench: Bench::Dark,
        surface: Surface::Mill,
        cards,
        marks: marked(&plan, seed + 1, nuisance.dots).marks,
        seed,
        ..Scene::default()
    };
    let lens = bent(Camera::default(), &mut dice);
    let f = 1.0 + 0.02 * dice.normal();
    let cameras: Vec<Camera> = (0..4)
        .map(|i| {
            let mut camera = Camera::above(
                // So that however it is held the end photos show the strip's ends and some bench.
                Point::new(170.0 + 286.7 * f64::from(i), h / 2.0),
                7.5,
                dice.between(2.0, 12.0_f64).to_radians(),
                dice.between(0.0, TAU),
                dice.between(-0.03, 0.03),
                [3000, 1200],
            );
            camera.k = lens.k;
            camera.p = lens.p;
            camera.focal_px *= f * (1.0 + 0.002 * dice.normal());
            camera.principal.x += 3.0 * dice.normal();
            camera.principal.y += 3.0 * dice.normal();
            camera
        })
        .collect();
    let photo = |(i, camera): (usize, &Camera)| {
        let scene = Scene {
            camera: camera.clone(),
            ..scene.clone()
        };
        read_back(&scene, &format!("{i}.jpg"))
    };
    let drawn = drawn(&scene, &plan);
    Case {
        name: format!("strip {seed}"),
        truth: drawn.clone(),
        drawn,
        photos: cameras.iter().enumerate().map(photo).collect(),
        cameras,
        given: Given {
            print_scale: bars,
            card_below_mm: Some(0.0),
            ..Given::default()
        },
        plan,
    }
}
