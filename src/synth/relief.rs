//! What a punch and a drill leave in the metal: dimples and holes, lit and seen as the solid shapes they are.
//!
//! A dimple is a cone with a raised rim: each of its facets mirrors and scatters the lamp by its own slope, and a part of
//! the room is hidden from its depth. Through a hole the bench is seen, dark but for where the lamp reaches down, with
//! the far side of the wall and a burr round the rim.

use nalgebra::{Vector2, Vector3};

use super::marks::{Mark, Shape};
use super::noise::smooth;
use super::scene::Scene;

/// Side of a cell of the look-up grid, mm.
const CELL_MM: f64 = 4.0;
/// Width of a hole's burr and of a dimple's raised rim, mm.
const BURR_MM: f64 = 0.16;
const RIM_MM: f64 = 0.22;
/// Slope of a dimple's flank (a punch ground to 90 degrees) and of its rim, from the face, rad.
const FLANK_RAD: f64 = std::f64::consts::FRAC_PI_4;
const RIM_RAD: f64 = 0.22;
/// Share of the light that comes from the whole room, and a lamp's lobe in bare metal: its strength over
/// the scattered light, and its spread, rad.
const ROOM: f64 = 0.45;
const ROUGH: [f64; 2] = [1.5, 0.30];
/// The same in metal that a punch has polished: strength and spread.
const POLISHED: [f64; 2] = [4.0, 0.17];
/// Reflectance of metal that a punch has burnished.
const BURNISHED: [f32; 3] = [0.50, 0.50, 0.51];

/// A dimple or a hole.
#[derive(Debug, Clone, Copy)]
struct Pit {
    at: Vector2<f64>,
    radius_mm: f64,
    through: bool,
    seed: u32,
}

/// All dimples and holes of a face, found by place.
pub(super) struct Relief {
    pits: Vec<Pit>,
    low: Vector2<f64>,
    columns: usize,
    rows: usize,
    cells: Vec<Vec<u16>>,
    lamp: Vector3<f64>,
    eye: Vector3<f64>,
    thickness_mm: f64,
}

/// What one part of a pixel shows: the face's own radiance, the light on it, and what lies behind a hole there.
#[derive(Debug, Clone, Copy)]
pub(super) struct Part {
    /// Its place on the face, and where the same ray meets the bench, mm.
    pub(super) face: Vector2<f64>,
    pub(super) bench: Vector2<f64>,
    /// Its size, mm.
    pub(super) size_mm: f64,
    /// Light on the face, and radiance of bench and side wall in full light.
    pub(super) light: [f32; 3],
    pub(super) below: [f32; 3],
    pub(super) wall: [f32; 3],
}

impl Relief {
    pub(super) fn new(scene: &Scene) -> Self {
        let pits: Vec<Pit> = (1u32..).zip(&scene.marks).filter_map(pit).collect();
        let (mut low, mut high) = (Vector2::zeros(), Vector2::zeros());
        if let Some(first) = pits.first() {
            (low, high) = (first.at, first.at);
        }
        for p in &pits {
            low = low.inf(&p.at);
            high = high.sup(&p.at);
        }
        // No pit reaches beyond the cell next to its own.
        low -= Vector2::repeat(2.0 * CELL_MM);
        high += Vector2::repeat(2.0 * CELL_MM);
        let columns = ((high.x - low.x) / CELL_MM).ceil() as usize;
        let rows = ((high.y - low.y) / CELL_MM).ceil() as usize;
        let mut cells = vec![Vec::new(); columns * rows];
        for (index, p) in (0u16..).zip(&pits) {
            let v = (p.at - low) / CELL_MM;
            let (i, j) = (v.x as usize, v.y as usize);
            for (dj, di) in (0..3).flat_map(|dj| (0..3).map(move |di| (dj, di))) {
                let (i, j) = (i + di - 1, j + dj - 1);
                if i < columns && j < rows {
                    cells[j * columns + i].push(index);
                }
            }
        }
        Self {
            pits,
            low,
            columns,
            rows,
            cells,
            lamp: scene.light.lamp_mm,
            eye: scene.camera.position,
            thickness_mm: scene.sheet.thickness_mm,
        }
    }

    fn at(&self, at: Vector2<f64>) -> &[u16] {
        let v = (at - self.low) / CELL_MM;
        let inside =
            v.x >= 0.0 && v.y >= 0.0 && v.x < self.columns as f64 && v.y < self.rows as f64;
        if inside {
            &self.cells[v.y as usize * self.columns + v.x as usize]
        } else {
            &[]
        }
    }

    /// Whether a pixel of this size may see a pit.
    pub(super) fn is_near(&self, at: Vector2<f64>, size_mm: f64) -> bool {
        self.at(at).iter().any(|&i| {
            let p = &self.pits[usize::from(i)];
            (p.at - at).norm() < p.radius_mm + RIM_MM + 2.0 * size_mm
        })
    }

    /// The radiance of a part whose face, with its paint, has the radiance `painted`.
    pub(super) fn over(&self, painted: [f32; 3], part: &Part) -> [f32; 3] {
        let mut out = painted;
        for &i in self.at(part.face) {
            let p = &self.pits[usize::from(i)];
            let v = part.face - p.at;
            let r = v.norm();
            if r > p.radius_mm + RIM_MM + part.size_mm {
                continue;
            }
            out = if p.through {
                self.hole(p, out, part, v)
            } else {
                self.dimple(p, out, part, v)
            };
        }
        out
    }

    /// Brightness of a facet of this normal over that of the level face, for metal that scatters and mirrors.
    fn facet(&self, at: Vector2<f64>, normal: Vector3<f64>, lobe: [f64; 2]) -> f64 {
        let here = Vector3::new(at.x, at.y, 0.0);
        let (lamp, eye) = (
            (self.lamp - here).normalize(),
            (self.eye - here).normalize(),
        );
        let half = (lamp + eye).normalize();
        let seen = |n: Vector3<f64>, [strength, spread]: [f64; 2]| {
            let off = half.dot(&n).clamp(-1.0, 1.0).acos();
            let lit = (1.0 - ROOM) * lamp.dot(&n).max(0.0) / lamp.z.max(0.1);
            ROOM + lit + strength * (-(off / spread).powi(2)).exp()
        };
        seen(normal, lobe) / seen(Vector3::z(), ROUGH)
    }

    fn dimple(&self, p: &Pit, out: [f32; 3], part: &Part, v: Vector2<f64>) -> [f32; 3] {
        let r = v.norm();
        let away = v.try_normalize(1e-9).unwrap_or_else(Vector2::x);
        let (s, c) = profile(r, p.radius_mm).sin_cos();
        let shade = self.facet(part.face, Vector3::new(away.x * s, away.y * s, c), POLISHED);
        // The rim: metal pushed up, which still bears what was drawn there.
        let rim = cover(r - p.radius_mm - RIM_MM, part.size_mm);
        let look = mixed(out, out.map(|c| c * shade as f32), rim);
        // The cone is scraped bare. Its depth sees less of the room.
        let depth = (1.0 - r / p.radius_mm).clamp(0.0, 1.0);
        let rough = 1.0 + 0.12 * f64::from(smooth(p.seed, v.x / 0.12, v.y / 0.12));
        let tone = shade * (1.0 - 0.45 * depth) * rough;
        let metal: [f32; 3] = std::array::from_fn(|c| part.light[c] * BURNISHED[c] * tone as f32);
        mixed(look, metal, cover(r - p.radius_mm, part.size_mm))
    }

    fn hole(&self, p: &Pit, out: [f32; 3], part: &Part, v: Vector2<f64>) -> [f32; 3] {
        let r = v.norm();
        let away = v.try_normalize(1e-9).unwrap_or_else(Vector2::x);
        // The burr: a small bead, broken here and there.
        let turn = away.y.atan2(away.x);
        let ragged = f64::from(smooth(p.seed, turn * 3.0, 0.5 * p.radius_mm));
        let bead = BURR_MM * (0.6 + 0.4 * ragged);
        let slope = 0.5 * (1.0 - ((r - p.radius_mm) / bead.max(0.02)).clamp(0.0, 1.0));
        let (s, c) = slope.sin_cos();
        let raised = self.facet(part.face, Vector3::new(away.x * s, away.y * s, c), ROUGH) as f32;
        let rim = cover(r - p.radius_mm - bead, part.size_mm);
        let look = mixed(out, out.map(|c| c * raised), rim);
        // Inside: the ray goes on to the bench, or meets the wall on its way.
        let foot = cover((part.bench - p.at).norm() - p.radius_mm, part.size_mm);
        // The lamp reaches the bench where its own ray passes the hole; the room, through what the hole leaves open.
        let here = Vector3::new(part.bench.x, part.bench.y, -self.thickness_mm);
        let to_lamp = self.lamp - here;
        let passes = part.bench + to_lamp.xy() * (self.thickness_mm / to_lamp.z.max(1.0));
        let lit = cover((passes - p.at).norm() - p.radius_mm, 0.3);
        let open = p.radius_mm.powi(2) / (p.radius_mm.powi(2) + self.thickness_mm.powi(2));
        let reaches = (ROOM * open) as f32 + (1.0 - ROOM) as f32 * lit;
        // The wall that is seen looks back across the hole: bright if the lamp stands behind the viewer.
        let inward = Vector3::new(-away.x, -away.y, 0.0);
        let facing = to_lamp.normalize().dot(&inward).max(0.0);
        let side = (ROOM * 0.5 + 0.9 * facing) as f32;
        let through = mixed(
            part.wall.map(|c| c * side),
            part.below.map(|c| c * reaches),
            foot,
        );
        mixed(look, through, cover(r - p.radius_mm, part.size_mm))
    }
}

/// Slope of a dimple's surface at `r` from its axis, rad: a cone with a blunt tip, a rounded shoulder, and a raised rim;
/// above 0 it faces away from the axis. All slopes in between are met somewhere, so that a lamp glints on the shoulder.
fn profile(r: f64, radius_mm: f64) -> f64 {
    let step = |a: f64, b: f64| {
        let t = ((r - a) / (b - a)).clamp(0.0, 1.0);
        t * t * (3.0 - 2.0 * t)
    };
    if r < radius_mm {
        let (tip, shoulder) = (step(0.0, 0.2 * radius_mm), step(radius_mm, 0.6 * radius_mm));
        -FLANK_RAD * tip.min(shoulder)
    } else {
        RIM_RAD * (std::f64::consts::PI * ((r - radius_mm) / RIM_MM).clamp(0.0, 1.0)).sin()
    }
}

fn pit((index, mark): (u32, &Mark)) -> Option<Pit> {
    let (at, diameter_mm, through) = match mark.shape {
        Shape::Hole { at, diameter_mm } => (at, diameter_mm, true),
        Shape::Dimple { at, diameter_mm } => (at, diameter_mm, false),
        _ => return None,
    };
    Some(Pit {
        at: at.vec(),
        radius_mm: diameter_mm / 2.0,
        through,
        seed: index.wrapping_mul(0x9e37_79b9),
    })
}

/// Share of a part of this size that lies inside, `outside` mm from the border.
fn cover(outside: f64, size_mm: f64) -> f32 {
    (0.5 - outside / size_mm.max(1e-6)).clamp(0.0, 1.0) as f32
}

fn mixed(a: [f32; 3], b: [f32; 3], share: f32) -> [f32; 3] {
    std::array::from_fn(|c| a[c] + (b[c] - a[c]) * share)
}
