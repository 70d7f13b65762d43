//! Invented scenes whose truth is known, for the survey's tests.
//!
//! The camera here is written down another way than in the library: a place, two axes and plain sums.
#![allow(
    dead_code,
    unreachable_pub,
    reason = "each test file uses its part of this module"
)]

use nalgebra::{Matrix2, Vector2, Vector3};
use punchready::card::layout::Layout;
use punchready::card::{SeenCard, SeenSaddle};
use punchready::frame::{Cov2, Pixel, Point, Sheet};
use punchready::photo::Camera;
use punchready::plan::Edge;
use punchready::survey::{
    LineId, Options, Priors, SheetDatum, Sighting, StraightLine, Survey, SurveyError, survey,
};

/// Noise-free corners leave rounding of some 1e-12 of 4000 px, times the weakness of the geometry.
pub const EXACT_MM: f64 = 1e-6;

/// A generator small enough to read (splitmix64), so that the seeds mean the same for ever.
pub struct Dice(pub u64);
impl Dice {
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    pub fn normal(&mut self) -> f64 {
        let (a, b) = (self.uniform(), self.uniform());
        (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

/// A camera over the sheet: x, y of the sheet frame, z up.
#[derive(Clone)]
pub struct Eye {
    pub at: Vector3<f64>,
    pub look_at: Vector3<f64>,
    pub roll: f64,
    pub f: f64,
    pub c: [f64; 2],
    pub k: [f64; 2],
    pub p: [f64; 2],
}

impl Eye {
    pub fn see(&self, x: f64, y: f64, z: f64) -> Point<Pixel> {
        let forward = (self.look_at - self.at).normalize();
        // Sheet y is up in the picture before the roll.
        let right = forward.cross(&Vector3::y()).normalize();
        let down = forward.cross(&right);
        let (s, c) = self.roll.sin_cos();
        let (right, down) = (right * c + down * s, down * c - right * s);
        let d = Vector3::new(x, y, z) - self.at;
        let depth = d.dot(&forward);
        let (u, v) = (d.dot(&right) / depth, d.dot(&down) / depth);
        let (r, phi) = (u.hypot(v), v.atan2(u));
        let long = r + self.k[0] * r.powi(3) + self.k[1] * r.powi(5);
        let [p1, p2] = self.p;
        let side_u = p1 * r * r * (2.0 * phi).sin() + p2 * r * r * (2.0 + (2.0 * phi).cos());
        let side_v = p1 * r * r * (2.0 - (2.0 * phi).cos()) + p2 * r * r * (2.0 * phi).sin();
        Point::new(
            self.c[0] + self.f * (long * phi.cos() + side_u),
            self.c[1] + self.f * (long * phi.sin() + side_v),
        )
    }
}

/// A card on the table: number, place in the sheet frame and angle, height of what it lies on.
#[derive(Clone, Copy)]
pub struct Lain {
    pub number: u16,
    pub x: f64,
    pub y: f64,
    pub angle: f64,
    pub under: f64,
}

#[derive(Clone)]
pub struct Scene {
    pub eye: Eye,
    pub size: [f64; 2],
    pub cards: Vec<Lain>,
    pub scale: [f64; 2],
    pub noise_px: f64,
    pub edge_noise_px: f64,
}

pub const W: u32 = 4032;
pub const H: u32 = 3024;
pub const PAPER: f64 = 0.1;
pub const EDGES: [Edge; 4] = [Edge::Bottom, Edge::Right, Edge::Top, Edge::Left];

pub fn id(edge: Edge) -> LineId {
    LineId(edge as u32)
}

impl Scene {
    pub fn plain() -> Self {
        let lain = |number, x, y, angle| Lain {
            number,
            x,
            y,
            angle,
            under: 0.0,
        };
        Self {
            eye: Eye {
                at: Vector3::new(120.0, -60.0, 430.0),
                look_at: Vector3::new(155.0, 100.0, 0.0),
                roll: 0.12,
                f: 3050.0,
                c: [2030.0, 1500.0],
                k: [0.03, -0.02],
                p: [0.0006, -0.0008],
            },
            size: [304.8, 215.9],
            cards: vec![
                lain(3, 60.0, 160.0, 0.2),
                lain(7, 250.0, 120.0, -1.9),
                lain(12, 130.0, 70.0, 3.0),
            ],
            scale: [1.0, 1.0],
            noise_px: 0.0,
            edge_noise_px: 0.0,
        }
    }

    pub fn cards(&self, dice: &mut Dice) -> Vec<SeenCard> {
        self.cards
            .iter()
            .map(|c| self.card(c, dice, |_, _| 0.0))
            .collect()
    }

    /// A card with its print `rise(x, y)` above the paper.
    pub fn card(&self, c: &Lain, dice: &mut Dice, rise: impl Fn(f64, f64) -> f64) -> SeenCard {
        let (s, co) = c.angle.sin_cos();
        let place = |x: f64, y: f64| {
            let z = c.under + PAPER + rise(x, y);
            let (x, y) = (x * self.scale[0], y * self.scale[1]);
            self.eye.see(c.x + co * x - s * y, c.y + s * x + co * y, z)
        };
        let layout = Layout::of(c.number).unwrap();
        // Noise-free scenes still need a stated covariance.
        let sd = if self.noise_px > 0.0 {
            self.noise_px
        } else {
            0.05
        };
        // Not round, so that the off-diagonal is tried too.
        let root = Matrix2::new(sd, 0.0, 0.3 * sd, 0.9 * sd);
        let live = if self.noise_px > 0.0 { 1.0 } else { 0.0 };
        let saddles = layout
            .saddles
            .iter()
            .map(|k| {
                let noise = root * Vector2::new(dice.normal(), dice.normal()) * live;
                SeenSaddle {
                    on_card: k.at,
                    at: place(k.at.x, k.at.y) + noise,
                    cov: root * root.transpose(),
                }
            })
            .collect();
        SeenCard {
            number: c.number,
            saddles,
            outline: layout.outer_corners().map(|p| place(p.x, p.y)),
        }
    }

    pub fn edge(&self, edge: Edge, count: usize, dice: &mut Dice) -> StraightLine {
        let [w, h] = self.size;
        let sd = if self.edge_noise_px > 0.0 {
            self.edge_noise_px
        } else {
            0.1
        };
        let points = (0..count)
            .map(|i| {
                let t = 0.03 + 0.94 * i as f64 / (count - 1) as f64;
                let (x, y) = match edge {
                    Edge::Bottom => (t * w, 0.0),
                    Edge::Top => (t * w, h),
                    Edge::Left => (0.0, t * h),
                    Edge::Right => (w, t * h),
                };
                let noise = Vector2::new(dice.normal(), dice.normal()) * self.edge_noise_px;
                (self.eye.see(x, y, 0.0) + noise, sd)
            })
            .collect();
        StraightLine {
            id: id(edge),
            points,
        }
    }

    pub fn edges(&self, count: usize, dice: &mut Dice) -> Vec<StraightLine> {
        EDGES.map(|e| self.edge(e, count, dice)).to_vec()
    }

    pub fn datum(&self) -> SheetDatum {
        SheetDatum::Edges {
            base: (id(Edge::Bottom), Edge::Bottom),
            other: (id(Edge::Left), Edge::Left),
            size_mm: self.size,
        }
    }
}

pub fn exif() -> Camera {
    Camera {
        focal_35mm: Some(26.0),
        exif_size: Some([W, H]),
        orientation: 1,
        ..Camera::default()
    }
}

pub fn priors() -> Priors {
    Priors::from_camera(&exif(), W, H)
}

/// Priors with their centre on the truth: then noise-free observations are met exactly.
pub fn true_priors(scene: &Scene) -> Priors {
    let mut p = priors();
    let e = &scene.eye;
    p.lens = punchready::survey::Lens {
        f_px: e.f,
        cx_px: e.c[0],
        cy_px: e.c[1],
        k1: e.k[0],
        k2: e.k[1],
        p1: e.p[0],
        p2: e.p[1],
        ..punchready::survey::Lens::default()
    };
    p.scale.mean = scene.scale;
    p
}

pub fn solve(
    cards: &[SeenCard],
    lines: &[StraightLine],
    priors: &Priors,
    options: &Options,
) -> Result<Survey, SurveyError> {
    let sighting = Sighting {
        cards,
        lines,
        ..Sighting::default()
    };
    survey(&[sighting], priors, options)
}

pub fn marks() -> Vec<Point<Sheet>> {
    let mut all = Vec::new();
    for x in [8.0, 60.0, 152.0, 296.0] {
        for y in [8.0, 110.0, 208.0] {
            all.push(Point::new(x, y));
        }
    }
    all
}

/// Checks two covariances against each other.
pub fn same_cov(a: &Cov2, b: &Cov2, relative: f64, what: &str) {
    let off = (a - b).norm() / b.norm();
    assert!(
        off < relative,
        "{what}: {a} {b} differ by {off:e}, allowed {relative:e}"
    );
}
