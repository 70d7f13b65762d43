//! How a round pit shows: the brightness of a hollow of revolution under one lamp, fitted to what is seen.
//!
//! Whatever the metal's gloss and the punch's angle, a hollow of revolution looks the same on both sides of the plane
//! through its axis and the lamp: its brightness is a sum of even harmonics round the axis, each with its own course from
//! the middle outwards. Three of them, and a few places along the radius, hold all that a blurred pit of some ten pixels
//! shows. The burr that the punch has raised round the pit slopes the other way, so it has harmonics of its own.

use image::GrayImage;
use nalgebra::{SMatrix, SVector, Vector2};

use super::worked::Bare;

/// Coefficients: levels of core and flank, the first harmonic of both, the second of the flank; level and first
/// harmonic of the burr.
pub(super) const COUNT: usize = 11;
/// Where the pairs of coefficients begin that turn with the lamp, cosine before sine, and of which harmonic they are.
pub(super) const TURNING: [(usize, f64); 4] = [(2, 1.0), (FLANK, 1.0), (6, 2.0), (RIM, 1.0)];
/// First harmonics of flank and burr.
const FLANK: usize = 4;
const RIM: usize = 9;
/// Sectors in which a pit's rim is looked at.
pub(super) const SECTORS: usize = 12;
/// The coefficients of a pit, in the order above.
pub(super) type Look = SVector<f64, COUNT>;
/// How well they are known before looking: the inverse of their covariance.
pub(super) type Known = SMatrix<f64, COUNT, COUNT>;

/// Width of the burr round a pit, mm.
const BURR_MM: f64 = 0.25;
/// Half-width of the blurred step where a pit ends, px and mm.
const STEP_PX: f64 = 0.8;
const STEP_MM: f64 = 0.05;
/// Where a stroke that leads away from a pit is looked for, beyond the rim, mm.
const BEYOND_MM: [f64; 2] = [0.4, 0.55];
/// How far round a pit the face is looked at, beyond its rim, mm.
const ROUND_MM: f64 = 0.45;
/// Where the face round a place is measured, mm from it.
const FACE_MM: [f64; 2] = [1.3, 2.3];
/// What a model of a few harmonics leaves unexplained, share of the face's brightness.
const MODEL: f64 = 0.04;
/// Darkest light that is told from darker, share of the face's.
const DARKEST: f64 = 0.15;
/// A pixel of ink beside a pit costs what this many standard deviations do, squared: ink may be anywhere.
const INK_COST: f64 = 9.0;

/// What is seen about a place: logarithms of the light as a share of the face's.
pub(super) struct Patch {
    low: [usize; 2],
    size: [usize; 2],
    differs: Vec<f64>,
    /// Pixels a millimetre.
    mm: f64,
    /// Standard deviation of the bare face.
    noise: f64,
}

/// A pit fitted to a patch.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pit {
    pub(super) at: Vector2<f64>,
    /// Its radius, px.
    pub(super) radius: f64,
    pub(super) look: Look,
    /// What is left unexplained, in variances, less what the bare face alone leaves.
    pub(super) cost: f64,
}

impl Pit {
    /// The direction in which its flank grows brighter: away from the lamp. Of the frame it was fitted in.
    pub(super) fn brightens(&self) -> Vector2<f64> {
        let v = Vector2::new(self.look[FLANK], self.look[FLANK + 1]);
        v.try_normalize(1e-9).unwrap_or_else(Vector2::x)
    }

    /// By what share of it the difference between its lit and its shaded flank goes on beyond the rim.
    pub(super) fn goes_on(&self) -> f64 {
        let flank = Vector2::new(self.look[FLANK], self.look[FLANK + 1]);
        let rim = Vector2::new(self.look[RIM], self.look[RIM + 1]);
        rim.dot(&flank) / flank.norm_squared().max(1e-9)
    }
}

impl Patch {
    /// The patch about `middle`; `None` where less than half of its face is to be seen.
    pub(super) fn about(
        bare: &Bare,
        flat: &GrayImage,
        middle: Vector2<f64>,
        mm: f64,
    ) -> Option<Self> {
        let reach = FACE_MM[1] * mm;
        let range = |c: f64, n: u32| {
            let low = (c - reach).max(0.0) as usize;
            (low, ((c + reach).max(0.0) as usize + 1).min(n as usize))
        };
        let ((x0, x1), (y0, y1)) = (
            range(middle.x, flat.width()),
            range(middle.y, flat.height()),
        );
        if x1 <= x0 || y1 <= y0 {
            return None;
        }
        let mut differs = Vec::with_capacity((x1 - x0) * (y1 - y0));
        let mut face = Vec::new();
        for y in y0..y1 {
            for x in x0..x1 {
                let seen = flat.as_raw()[y * flat.width() as usize + x] > 0;
                let d = if seen {
                    f64::from(bare.differs(flat, x, y))
                } else {
                    f64::NAN
                };
                let r = (Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - middle).norm() / mm;
                if seen && r > FACE_MM[0] && r < FACE_MM[1] {
                    face.push(d);
                }
                differs.push(d);
            }
        }
        let area = std::f64::consts::PI * (FACE_MM[1].powi(2) - FACE_MM[0].powi(2)) * mm * mm;
        if (face.len() as f64) < 0.5 * area {
            return None;
        }
        face.sort_by(f64::total_cmp);
        let level = face[face.len() / 2];
        let mut off: Vec<f64> = face.iter().map(|d| (d - level).abs()).collect();
        off.sort_by(f64::total_cmp);
        // A third of the face may be under ink: what is nearest the level counts.
        let noise = off[off.len() / 3] / 0.4307;
        differs
            .iter_mut()
            .for_each(|d| *d = ((1.0 + *d) / (1.0 + level)).max(DARKEST).ln());
        Some(Self {
            low: [x0, y0],
            size: [x1 - x0, y1 - y0],
            differs,
            mm,
            noise,
        })
    }

    /// Calls `with` for each pixel within `reach` px of `at`: offset and value.
    fn each(&self, at: Vector2<f64>, reach: f64, mut with: impl FnMut(Vector2<f64>, f64)) {
        let own = at - Vector2::new(self.low[0] as f64, self.low[1] as f64);
        let range = |c: f64, n: usize| {
            let low = (c - reach).max(0.0) as usize;
            low..((c + reach).max(0.0) as usize + 1).min(n)
        };
        for y in range(own.y, self.size[1]) {
            for x in range(own.x, self.size[0]) {
                let v = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - own;
                let d = self.differs[y * self.size[0] + x];
                if v.norm_squared() < reach * reach && !d.is_nan() {
                    with(v, d);
                }
            }
        }
    }

    /// Standard deviation of a pixel round the model.
    fn sigma(&self) -> f64 {
        self.noise.hypot(MODEL)
    }

    /// The pit of this centre and radius that explains most, given what is `known` of its look beforehand in the frame
    /// of `lit`, a unit vector away from the lamp.
    pub(super) fn fit(
        &self,
        at: Vector2<f64>,
        radius: f64,
        lit: Vector2<f64>,
        (mean, known): (&Look, &Known),
    ) -> Option<Pit> {
        let sigma = self.sigma();
        let weight = sigma.powi(-2);
        let shape = Shape::of(radius, self.mm);
        let reach = radius + ROUND_MM * self.mm;
        let mut normal = *known;
        let mut right = known * mean;
        let mut square = (mean.transpose() * known * mean)[0];
        // Ink beside the pit, and what the face alone would leave.
        let (mut beside, mut alone) = (0.0, 0.0);
        self.each(at, reach, |v, d| {
            let own = d * d * weight;
            alone += own.min(INK_COST);
            let r = v.norm();
            let inked = own > INK_COST;
            if r > radius + shape.step && (inked || r > radius + shape.burr + shape.step) {
                beside += own.min(INK_COST);
                return;
            }
            let row = shape.row(v, lit);
            normal.syger(weight, &row, &row, 1.0);
            right += row * (d * weight);
            square += own;
        });
        // Only the lower triangle was filled.
        normal.fill_upper_triangle_with_lower_triangle();
        let look = normal.cholesky()?.solve(&right);
        let left = square - look.dot(&right);
        Some(Pit {
            at,
            radius,
            look,
            cost: left + beside - alone,
        })
    }

    /// The value between pixels.
    fn sample(&self, p: Vector2<f64>) -> Option<f64> {
        let own = p - Vector2::new(self.low[0] as f64 + 0.5, self.low[1] as f64 + 0.5);
        let (x, y) = (own.x.floor(), own.y.floor());
        if x < 0.0 || y < 0.0 || x as usize + 1 >= self.size[0] || y as usize + 1 >= self.size[1] {
            return None;
        }
        let (u, v) = (own.x - x, own.y - y);
        let at =
            |dx: usize, dy: usize| self.differs[(y as usize + dy) * self.size[0] + x as usize + dx];
        let d = (1.0 - v) * ((1.0 - u) * at(0, 0) + u * at(1, 0))
            + v * ((1.0 - u) * at(0, 1) + u * at(1, 1));
        (!d.is_nan()).then_some(d)
    }

    /// How much what lies in one direction from `at` differs from the face: the median from the first distance to the second,
    /// px. `None` where a place is not seen.
    pub(super) fn along(
        &self,
        at: Vector2<f64>,
        way: Vector2<f64>,
        [from, to]: [f64; 2],
    ) -> Option<f64> {
        let count = ((to - from).ceil() as usize).max(1);
        let places = (0..=count).map(|k| from + (to - from) * k as f64 / count as f64);
        let seen: Option<Vec<f64>> = places.map(|r| self.sample(at + way * r)).collect();
        let mut differs: Vec<f64> = seen?.iter().map(|d| d.abs()).collect();
        differs.sort_by(f64::total_cmp);
        Some(differs[differs.len() / 2])
    }

    /// Of each sector round a pit, from x on: how bright its flank is, and what lies outside its rim, near and further.
    pub(super) fn sectors(&self, pit: &Pit) -> [[f64; 3]; SECTORS] {
        let outside = pit.radius + STEP_PX.hypot(STEP_MM * self.mm);
        let places = [
            [0.5, 0.75].map(|t| t * pit.radius),
            [0.5, 1.0].map(|t| outside + t * BURR_MM * self.mm),
            BEYOND_MM.map(|t| outside + t * self.mm),
        ];
        std::array::from_fn(|k| {
            places.map(|radii| {
                let (mut sum, mut n) = (0.0, 0.0);
                for (turn, r) in [-1.0, 0.0, 1.0].iter().flat_map(|t| radii.map(|r| (t, r))) {
                    let angle = (k as f64 + turn / 3.0) * std::f64::consts::TAU / SECTORS as f64;
                    if let Some(d) =
                        self.sample(pit.at + Vector2::new(angle.cos(), angle.sin()) * r)
                    {
                        (sum, n) = (sum + d, n + 1.0);
                    }
                }
                sum / f64::max(n, 1.0)
            })
        })
    }

    /// Mean level of the part of a pit's flank about a direction.
    pub(super) fn crescent(&self, pit: &Pit, towards: Vector2<f64>) -> Option<f64> {
        let (mut sum, mut n) = (0.0, 0);
        self.each(pit.at, 0.95 * pit.radius, |v, d| {
            let r = v.norm();
            if r > 0.35 * pit.radius && v.dot(&towards) > 0.6 * r {
                sum += d;
                n += 1;
            }
        });
        (n > 2).then(|| sum / f64::from(n))
    }

    /// Share of what a pit's inside varies that its look explains.
    pub(super) fn explained(&self, pit: &Pit, lit: Vector2<f64>) -> f64 {
        let shape = Shape::of(pit.radius, self.mm);
        let (mut n, mut sum, mut square, mut left) = (0.0, 0.0, 0.0, 0.0);
        self.each(pit.at, pit.radius, |v, d| {
            n += 1.0;
            sum += d;
            square += d * d;
            left += (d - shape.row(v, lit).dot(&pit.look)).powi(2);
        });
        let spread = square - sum * sum / f64::max(n, 1.0);
        1.0 - left / spread.max(1e-9)
    }
}

/// Where the parts of a pit's look lie, px.
struct Shape {
    radius: f64,
    step: f64,
    burr: f64,
}

impl Shape {
    fn of(radius: f64, mm: f64) -> Self {
        Self {
            radius,
            step: STEP_PX.hypot(STEP_MM * mm),
            burr: BURR_MM * mm,
        }
    }

    /// The model's row for a pixel at `v` from the axis.
    fn row(&self, v: Vector2<f64>, lit: Vector2<f64>) -> Look {
        let r = v.norm();
        let away = if r > 1e-9 { v / r } else { Vector2::zeros() };
        let c = away.dot(&lit);
        let s = lit.x * away.y - lit.y * away.x;
        let smooth = |t: f64| {
            let t = (0.5 + 0.5 * t).clamp(0.0, 1.0);
            t * t * (3.0 - 2.0 * t)
        };
        let inside = smooth((self.radius - r) / self.step);
        let t = r / self.radius;
        // Core and flank take over from each other half-way; at the axis nothing has a direction.
        let flank = smooth((t - 0.55) / 0.35) * inside;
        let core = inside - flank;
        let core_turns = core * (t / 0.55).min(1.0);
        let burr = (1.0
            - ((r - self.radius - 0.5 * self.burr) / (0.5 * self.burr + self.step)).powi(2))
        .max(0.0)
            * (1.0 - inside);
        Look::from_column_slice(&[
            core,
            flank,
            core_turns * c,
            core_turns * s,
            flank * c,
            flank * s,
            flank * (c * c - s * s),
            flank * 2.0 * c * s,
            burr,
            burr * c,
            burr * s,
        ])
    }
}
