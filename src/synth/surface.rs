//! Light and materials: the radiance of a place, before anything is drawn on it.
//!
//! Full scale is 1. Textures are looked up once a pixel, so that they are as strong beside a mark as
//! far from it.

use nalgebra::{Vector2, Vector3};

use super::marks::Shape;
use super::noise::{cloudy, smooth};
use super::scene::{Bench, Scene, Surface};

/// Radiance of white paper over its reflectance at level 1: 0.82 of it is then 0.74 of full scale.
const EXPOSURE: f32 = 0.9;
/// Reflectance of bare aluminium as the camera sees it away from any sheen.
const ALUMINIUM: [f32; 3] = [0.50, 0.505, 0.515];

pub(super) struct Shade<'a> {
    scene: &'a Scene,
    grain: Vector2<f64>,
    seed: u32,
    /// Strength of the texture of bench, paper and print: 0 or 1.
    texture: f32,
    smudges: Vec<(Vector2<f64>, f64, f64)>,
}

fn scaled(colour: [f32; 3], by: f32) -> [f32; 3] {
    colour.map(|c| c * by)
}

pub(super) fn times(a: [f32; 3], b: [f32; 3]) -> [f32; 3] {
    [a[0] * b[0], a[1] * b[1], a[2] * b[2]]
}

impl<'a> Shade<'a> {
    pub(super) fn new(scene: &'a Scene) -> Self {
        let grain_rad = match scene.surface {
            Surface::Brushed { grain_rad, .. } => grain_rad,
            _ => 0.0,
        };
        let smudges = scene
            .marks
            .iter()
            .filter_map(|m| match m.shape {
                Shape::Smudge {
                    at,
                    length_mm,
                    strength,
                } => Some((at.vec(), length_mm, strength)),
                _ => None,
            })
            .collect();
        Self {
            scene,
            grain: Vector2::new(grain_rad.cos(), grain_rad.sin()),
            seed: (scene.seed as u32).wrapping_mul(2_654_435_761) ^ 0x5eed,
            texture: if scene.plain { 0.0 } else { 1.0 },
            smudges,
        }
    }

    /// What a white matt surface at `at` would radiate.
    pub(super) fn light(&self, at: Vector2<f64>) -> [f32; 3] {
        let light = &self.scene.light;
        let from = at
            - Vector2::new(
                self.scene.sheet.width_mm / 2.0,
                self.scene.sheet.height_mm / 2.0,
            );
        let tilt = (light.gradient[0] * from.x + light.gradient[1] * from.y) / 100.0;
        let mut level = light.level * (1.0 + tilt).clamp(0.1, 3.0);
        for shadow in &light.shadows {
            let (s, c) = shadow.towards_rad.sin_cos();
            let inside = (at - shadow.through.vec()).dot(&Vector2::new(c, s));
            let t = (inside / shadow.softness_mm.max(1e-6) + 0.5).clamp(0.0, 1.0);
            level *= 1.0 - shadow.depth * t * t * (3.0 - 2.0 * t);
        }
        scaled(light.tint, level as f32 * EXPOSURE)
    }

    /// The bare face at `at`, seen in a pixel of `pixel_mm`.
    pub(super) fn face(&self, at: Vector2<f64>, pixel_mm: f64, light: [f32; 3]) -> [f32; 3] {
        let seed = self.seed;
        let bare = match &self.scene.surface {
            Surface::Mill => self.metal(at, pixel_mm, light, 0.3),
            Surface::Brushed { contrast, .. } => self.metal(at, pixel_mm, light, *contrast as f32),
            Surface::Paper => {
                let fibre = cloudy(seed, at.x * 2.0, at.y * 2.0);
                times(light, scaled([0.82, 0.815, 0.80], 1.0 + 0.012 * fibre))
            }
            Surface::Primer => {
                let pebble = cloudy(seed, at.x * 1.3, at.y * 1.3);
                let broad = cloudy(seed ^ 7, at.x / 30.0, at.y / 30.0);
                let tone = 1.0 + 0.02 * pebble + 0.03 * broad;
                times(light, scaled([0.46, 0.47, 0.46], tone))
            }
            Surface::LayoutDye => {
                let brush = smooth(seed, at.x / 25.0, at.y / 1.6);
                let broad = cloudy(seed ^ 7, at.x / 18.0, at.y / 18.0);
                let tone = 1.0 + 0.15 * brush + 0.2 * broad;
                times(light, scaled([0.035, 0.05, 0.16], tone))
            }
            Surface::Plain(colour) => times(light, *colour),
            Surface::Texture { picture, mm_per_px } => {
                times(light, sample(picture, at / mm_per_px.max(1e-6)))
            }
        };
        let mut out = bare;
        for &(middle, length, strength) in &self.smudges {
            let v = (at - middle) / length;
            let away = v.x * v.x + v.y * v.y / 0.56;
            if away < 0.25 {
                // Ridges of a fingertip, some 0.45 mm apart, bent round its middle.
                let bend = Vector2::new(v.x, v.y + 0.35).norm() * length;
                let ridge = (bend * std::f64::consts::TAU / 0.45).sin() as f32;
                let soft = (1.0 - away * 4.0) as f32;
                let patch = 0.6 + 0.4 * cloudy(seed ^ 99, at.x / 2.0, at.y / 2.0);
                out = scaled(
                    out,
                    1.0 - strength as f32 * soft * patch * (0.55 + 0.45 * ridge),
                );
            }
        }
        out
    }

    /// What lamps add to the face's radiance at `at`, all colours alike.
    pub(super) fn glare(&self, at: Vector2<f64>) -> f32 {
        let lamps = &self.scene.light.glare;
        let sum: f64 = lamps
            .iter()
            .map(|glare| {
                let (s, c) = glare.turn_rad.sin_cos();
                let v = at - glare.at.vec();
                let u = (c * v.x + s * v.y) / glare.radius_mm[0];
                let w = (c * v.y - s * v.x) / glare.radius_mm[1];
                glare.peak * (-0.5 * (u * u + w * w)).exp()
            })
            .sum();
        sum as f32
    }

    /// Bare aluminium: it mirrors a blurred room, smeared across its grain.
    fn metal(&self, at: Vector2<f64>, pixel_mm: f64, light: [f32; 3], contrast: f32) -> [f32; 3] {
        let seed = self.seed;
        let u = self.grain.dot(&at);
        let v = self.grain.x * at.y - self.grain.y * at.x;
        // Streaks finer than a pixel average out within it.
        let seen = |fine_mm: f64| (fine_mm / pixel_mm.max(1e-3)).min(1.0).sqrt() as f32;
        let streaks = 0.50 * seen(0.12) * smooth(seed ^ 1, u / 9.0, v / 0.12)
            + 0.42 * seen(0.35) * smooth(seed ^ 2, u / 28.0, v / 0.35)
            + 0.30 * smooth(seed ^ 3, u / 70.0, v / 1.3)
            + 0.22 * smooth(seed ^ 4, u / 160.0, v / 6.0);
        let pits = 0.35 * seen(0.15) * smooth(seed ^ 5, at.x / 0.15, at.y / 0.15);
        let clouds = cloudy(seed ^ 6, u / 45.0, v / 22.0);
        let tone = 1.0 + contrast * (0.16 * streaks + 0.08 * pits) + 0.035 * clouds;
        let sheen = self.sheen(at, contrast) * (1.0 + 0.5 * contrast * streaks);
        let mut out = times(light, scaled(ALUMINIUM, tone));
        for c in 0..3 {
            out[c] += light[c] * sheen;
        }
        out
    }

    /// The lamp in the metal: narrow along the grain, long across it (after Ward, "Measuring and
    /// Modeling Anisotropic Reflection", SIGGRAPH 1992, from memory).
    fn sheen(&self, at: Vector2<f64>, contrast: f32) -> f32 {
        let light = &self.scene.light;
        if light.sheen <= 0.0 {
            return 0.0;
        }
        let here = Vector3::new(at.x, at.y, 0.0);
        let to_lamp = (light.lamp_mm - here).normalize();
        let to_eye = (self.scene.camera.position - here).normalize();
        let half = to_lamp + to_eye;
        let slope = half.xy() / half.z.max(1e-6);
        let along = self.grain.dot(&slope);
        let across = self.grain.x * slope.y - self.grain.y * slope.x;
        let (rough_along, rough_across) = (0.16, 0.34 + 0.2 * f64::from(contrast));
        let bell = (-(along / rough_along).powi(2) - (across / rough_across).powi(2)).exp();
        (light.sheen * bell) as f32
    }

    /// The sheared side of the sheet.
    pub(super) fn side(&self, at: Vector2<f64>, light: [f32; 3]) -> [f32; 3] {
        let tear = smooth(self.seed ^ 21, (at.x + at.y) / 0.3, (at.x - at.y) / 0.3);
        times(light, scaled(ALUMINIUM, 0.55 + 0.15 * tear))
    }

    /// The bench at `at`.
    pub(super) fn bench(&self, at: Vector2<f64>, light: [f32; 3]) -> [f32; 3] {
        let seed = self.seed ^ 0xbe;
        let (x, y) = (at.x, at.y);
        let colour = match self.scene.bench {
            Bench::Wood => {
                // Years of growth: bands warped along the plank.
                let warp = 9.0 * f64::from(cloudy(seed, x / 190.0, y / 42.0));
                let rings = ((y + warp * 3.0) / 5.5).sin() as f32;
                let fibre = smooth(seed ^ 1, x / 14.0, y / 0.35);
                let pores = smooth(seed ^ 2, x / 5.0, y / 0.22).max(0.55) - 0.55;
                let tone = 1.0 + self.texture * (0.13 * rings + 0.10 * fibre - 0.5 * pores);
                scaled([0.36, 0.215, 0.115], tone)
            }
            Bench::Grey => {
                let speck = cloudy(seed, x / 0.8, y / 0.8);
                scaled([0.20, 0.205, 0.21], 1.0 + self.texture * 0.05 * speck)
            }
            Bench::WhitePaper => {
                let fibre = cloudy(seed, x * 2.0, y * 2.0);
                scaled([0.80, 0.80, 0.79], 1.0 + self.texture * 0.01 * fibre)
            }
            Bench::Dark => {
                let weave = smooth(seed, x / 0.7, y / 0.7);
                scaled([0.03, 0.03, 0.033], 1.0 + self.texture * 0.3 * weave)
            }
            Bench::LikeSheet => {
                let speck = cloudy(seed, x / 0.5, y / 0.5);
                scaled(ALUMINIUM, 1.0 + self.texture * 0.03 * speck)
            }
        };
        times(light, colour)
    }

    /// White paper of a card, in its own coordinates.
    pub(super) fn paper(&self, at: Vector2<f64>, light: [f32; 3]) -> [f32; 3] {
        let fibre = cloudy(self.seed ^ 0xca, at.x * 2.0, at.y * 2.0);
        times(
            light,
            scaled([0.82, 0.82, 0.815], 1.0 + self.texture * 0.01 * fibre),
        )
    }

    /// Toner or printer's ink.
    pub(super) fn toner(&self, at: Vector2<f64>, light: [f32; 3]) -> [f32; 3] {
        let mottle = cloudy(self.seed ^ 0xcb, at.x * 3.0, at.y * 3.0);
        times(
            light,
            scaled([0.05, 0.05, 0.052], 1.0 + self.texture * 0.15 * mottle),
        )
    }

    /// Irregularity of the burr at `along` mm of an edge, -1 to 1.
    pub(super) fn burr(&self, edge: usize, along: f64) -> f32 {
        let edge = edge as f64 * 1000.0;
        0.6 * smooth(self.seed ^ 31, along / 2.5, edge)
            + 0.4 * smooth(self.seed ^ 32, along / 0.4, edge)
    }
}

/// A picture repeated without end, between its pixels; sRGB to linear.
fn sample(picture: &image::RgbImage, at: Vector2<f64>) -> [f32; 3] {
    let (w, h) = picture.dimensions();
    if w == 0 || h == 0 {
        return [0.5; 3];
    }
    let (x, y) = (at.x - 0.5, at.y - 0.5);
    let (tx, ty) = ((x - x.floor()) as f32, (y - y.floor()) as f32);
    let wrap = |v: f64, n: u32| (v.floor() as i64).rem_euclid(i64::from(n)) as u32;
    let pixel = |i: f64, j: f64| {
        let p = picture.get_pixel(wrap(i, w), wrap(j, h)).0;
        p.map(super::sensor::linear)
    };
    let (a, b) = (pixel(x, y), pixel(x + 1.0, y));
    let (c, d) = (pixel(x, y + 1.0), pixel(x + 1.0, y + 1.0));
    let mut out = [0.0; 3];
    for k in 0..3 {
        let low = a[k] * (1.0 - tx) + b[k] * tx;
        let high = c[k] * (1.0 - tx) + d[k] * tx;
        out[k] = low * (1.0 - ty) + high * ty;
    }
    out
}
