//! The lens: from a ray to a pixel and back.

use nalgebra::{Matrix2, SMatrix, Vector2};

use crate::frame::{Pixel, Point, Ray};

/// Number of lens unknowns, in the order ln f, cx, cy, k1, k2, p1, p2, k3, aspect, skew.
pub const LENS_UNKNOWNS: usize = 10;
/// The same in words, for messages.
pub const LENS_NAMES: [&str; LENS_UNKNOWNS] = [
    "focal length",
    "principal point across",
    "principal point down",
    "distortion k1",
    "distortion k2",
    "distortion p1",
    "distortion p2",
    "distortion k3",
    "pixel aspect",
    "skew",
];

/// Newton steps allowed for one undistortion; from the distorted point three to five are usual, more
/// only next to the fold.
const MAX_NEWTON: usize = 40;
/// A Newton step below this (normalised units) is rounding.
const NEWTON_DONE: f64 = 1e-15;
/// Largest misfit of an accepted undistortion, normalised units: 1e-11 is 3e-8 px at f = 3000 px.
const UNDISTORT_MISFIT: f64 = 1e-11;

/// One focal length, a principal point, two radial and two tangential coefficients.
///
/// With `r² = x² + y²` of the ray and `g = 1 + k1 r² + k2 r⁴ + k3 r⁶`:
/// `x' = x g + 2 p1 x y + p2 (r² + 2 x²)`, `y' = y g + p1 (r² + 2 y²) + 2 p2 x y`,
/// pixel `= (cx + f (x' + skew y'), cy + f aspect y')`.
///
/// A phone's pixels are square: aspect 1 and skew 0 unless a calibration asks for them, and k3 is 0 unless
/// it was asked for. [`Lens::default`] is the lens that changes nothing: f 1, all else 0.
///
/// # Source
/// Brown, "Close-range camera calibration", Photogrammetric Engineering 37(8), 1971, 855-866, in the
/// order and sign of OpenCV's documentation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    /// Focal length, px.
    pub f_px: f64,
    /// Principal point in the `Pixel` frame: x, px.
    pub cx_px: f64,
    /// Principal point in the `Pixel` frame: y, px.
    pub cy_px: f64,
    /// Radial, second order.
    pub k1: f64,
    /// Radial, fourth order.
    pub k2: f64,
    /// Tangential.
    pub p1: f64,
    /// Tangential.
    pub p2: f64,
    /// Radial, sixth order.
    pub k3: f64,
    /// Focal length down over focal length across, both in px.
    pub aspect: f64,
    /// Lean of the columns: `f * skew` is gamma of the camera matrix.
    pub skew: f64,
}

impl Default for Lens {
    fn default() -> Self {
        Self {
            f_px: 1.0,
            cx_px: 0.0,
            cy_px: 0.0,
            k1: 0.0,
            k2: 0.0,
            p1: 0.0,
            p2: 0.0,
            k3: 0.0,
            aspect: 1.0,
            skew: 0.0,
        }
    }
}

/// A projected ray with its derivatives.
pub(super) struct Imaged {
    pub(super) pixel: Vector2<f64>,
    pub(super) by_ray: Matrix2<f64>,
    pub(super) by_lens: SMatrix<f64, 2, LENS_UNKNOWNS>,
}

impl Lens {
    /// As the vector of unknowns, in the order of [`LENS_NAMES`], the focal length as ln f.
    #[must_use]
    pub fn unknowns(&self) -> [f64; LENS_UNKNOWNS] {
        [
            self.f_px.ln(),
            self.cx_px,
            self.cy_px,
            self.k1,
            self.k2,
            self.p1,
            self.p2,
            self.k3,
            self.aspect,
            self.skew,
        ]
    }

    /// From the vector of unknowns.
    #[must_use]
    pub fn from_unknowns(u: [f64; LENS_UNKNOWNS]) -> Self {
        let [ln_f, cx_px, cy_px, k1, k2, p1, p2, k3, aspect, skew] = u;
        Self {
            f_px: ln_f.exp(),
            cx_px,
            cy_px,
            k1,
            k2,
            p1,
            p2,
            k3,
            aspect,
            skew,
        }
    }

    /// Distorts an ideal ray; both normalised.
    #[must_use]
    pub fn distort(&self, ray: Point<Ray>) -> Vector2<f64> {
        self.distort_with_slope(ray.vec()).0
    }

    fn distort_with_slope(&self, v: Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        let (x, y) = (v.x, v.y);
        let r2 = x * x + y * y;
        let g = 1.0 + r2 * (self.k1 + r2 * (self.k2 + r2 * self.k3));
        let slope = 2.0 * (self.k1 + r2 * (2.0 * self.k2 + r2 * 3.0 * self.k3));
        let (gx, gy) = (slope * x, slope * y);
        let (p1, p2) = (self.p1, self.p2);
        let bent = Vector2::new(
            x * g + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * g + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        );
        let cross = 2.0 * (p1 * x + p2 * y);
        let by = Matrix2::new(
            g + x * gx + 2.0 * p1 * y + 6.0 * p2 * x,
            x * gy + cross,
            y * gx + cross,
            g + y * gy + 6.0 * p1 * y + 2.0 * p2 * x,
        );
        (bent, by)
    }

    /// The squared ray radius at which the radial polynomial turns back; no ray beyond it is imaged.
    #[must_use]
    pub fn fold_r2(&self) -> f64 {
        // Smallest positive root of d(r g)/dr = 1 + 3 k1 s + 5 k2 s² + 7 k3 s³ with s = r².
        let (c, a, b) = (7.0 * self.k3, 5.0 * self.k2, 3.0 * self.k1);
        if c != 0.0 {
            return first_root(|s| 1.0 + s * (b + s * (a + s * c)), [c, a, b]);
        }
        if a.abs() < 1e-300 {
            return if b < 0.0 { -1.0 / b } else { f64::INFINITY };
        }
        let disc = b * b - 4.0 * a;
        if disc < 0.0 {
            return f64::INFINITY;
        }
        // The stable pair of roots; q is never zero with a root at a finite place.
        let q = -0.5 * (b + b.signum() * disc.sqrt());
        [q / a, 1.0 / q]
            .into_iter()
            .filter(|s| *s > 0.0)
            .fold(f64::INFINITY, f64::min)
    }

    /// Images a ray; `None` beyond the fold of the distortion.
    #[must_use]
    pub fn pixel_from_ray(&self, ray: Point<Ray>) -> Option<Point<Pixel>> {
        (ray.vec().norm_squared() < self.fold_r2()).then(|| Point::at(self.image(ray.vec())))
    }

    pub(super) fn image(&self, ray: Vector2<f64>) -> Vector2<f64> {
        self.onto_sensor(self.distort_with_slope(ray).0)
    }

    /// A distorted ray's pixel.
    pub(super) fn onto_sensor(&self, d: Vector2<f64>) -> Vector2<f64> {
        Vector2::new(
            self.cx_px + self.f_px * (d.x + self.skew * d.y),
            self.cy_px + self.f_px * self.aspect * d.y,
        )
    }

    /// The ray that a pixel shows, by Newton's method on the forward model; `None` where no ray maps there.
    #[must_use]
    pub fn ray_from_pixel(&self, pixel: Point<Pixel>) -> Option<Point<Ray>> {
        self.ray_below_fold(pixel, self.fold_r2())
    }

    pub(super) fn ray_below_fold(&self, pixel: Point<Pixel>, fold_r2: f64) -> Option<Point<Ray>> {
        let down = (pixel.y - self.cy_px) / (self.f_px * self.aspect);
        let across = (pixel.x - self.cx_px) / self.f_px - self.skew * down;
        let target = Vector2::new(across, down);
        let mut v = target;
        if v.norm_squared() >= fold_r2 {
            v *= 0.9 * (fold_r2 / v.norm_squared()).sqrt();
        }
        for _ in 0..MAX_NEWTON {
            let (bent, by) = self.distort_with_slope(v);
            let mut step = by.try_inverse()? * (target - bent);
            if !step.iter().all(|s| s.is_finite()) {
                return None;
            }
            // A step over the fold would end on the wrong branch.
            let mut halvings = 0;
            while (v + step).norm_squared() >= fold_r2 && halvings < 60 {
                step *= 0.5;
                halvings += 1;
            }
            v += step;
            if step.norm() < NEWTON_DONE * (1.0 + v.norm()) {
                break;
            }
        }
        let misfit = (self.distort_with_slope(v).0 - target).norm();
        (misfit < UNDISTORT_MISFIT && v.norm_squared() < fold_r2).then(|| Point::at(v))
    }

    /// Derivative of a ray's pixel by the lens, in the order of [`Lens::unknowns`].
    #[must_use]
    pub fn slopes(&self, ray: Point<Ray>) -> SMatrix<f64, 2, LENS_UNKNOWNS> {
        self.image_with_slopes(ray.vec()).by_lens
    }

    /// Images a ray with all derivatives. Does not look at the fold: the solver must be able to pass by it.
    /// [`Self::image`] and its derivative by the ray.
    pub(super) fn image_with_ray_slope(&self, ray: Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        let (d, by) = self.distort_with_slope(ray);
        let f = self.f_px;
        let on_sensor = Matrix2::new(f, f * self.skew, 0.0, f * self.aspect);
        (self.onto_sensor(d), on_sensor * by)
    }

    pub(super) fn image_with_slopes(&self, ray: Vector2<f64>) -> Imaged {
        let (d, by) = self.distort_with_slope(ray);
        let (x, y, f) = (ray.x, ray.y, self.f_px);
        let r2 = x * x + y * y;
        let r4 = r2 * r2;
        let on_sensor = Matrix2::new(f, f * self.skew, 0.0, f * self.aspect);
        Imaged {
            pixel: self.onto_sensor(d),
            by_ray: on_sensor * by,
            by_lens: SMatrix::from_columns(&[
                on_sensor * d,
                Vector2::x(),
                Vector2::y(),
                on_sensor * ray * r2,
                on_sensor * ray * r4,
                on_sensor * Vector2::new(2.0 * x * y, r2 + 2.0 * y * y),
                on_sensor * Vector2::new(r2 + 2.0 * x * x, 2.0 * x * y),
                on_sensor * ray * (r2 * r4),
                Vector2::new(0.0, f * d.y),
                Vector2::new(f * d.y, 0.0),
            ]),
        }
    }
}

/// Smallest positive root of a cubic that is 1 at zero, with coefficients of s³, s², s; infinity if none.
/// Between neighbouring turning points a cubic runs one way, so a change of sign there is bisected.
fn first_root(value: impl Fn(f64) -> f64, [c, a, b]: [f64; 3]) -> f64 {
    // Cauchy's bound on the roots.
    let bound = 1.0 + (a.abs().max(b.abs()).max(1.0)) / c.abs();
    let mut stops = vec![bound];
    let disc = a * a - 3.0 * c * b;
    if disc > 0.0 {
        stops.extend([-1.0, 1.0].map(|s| (-a + s * disc.sqrt()) / (3.0 * c)));
    }
    stops.retain(|s| *s > 0.0 && *s <= bound);
    stops.sort_by(f64::total_cmp);
    let mut low = 0.0;
    for stop in stops {
        let mut high = stop;
        if value(high) <= 0.0 {
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                if value(middle) > 0.0 {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            return high;
        }
        low = stop;
    }
    f64::INFINITY
}
