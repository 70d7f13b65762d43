//! The lens: from a ray to a pixel and back.

use nalgebra::{Matrix2, SMatrix, Vector2};

use crate::frame::{Pixel, Point, Ray};

/// Number of lens unknowns, in the order ln f, cx, cy, k1, k2, p1, p2.
pub const LENS_UNKNOWNS: usize = 7;

/// Newton steps allowed for one undistortion; from the distorted point three to five are usual, more
/// only next to the fold.
const MAX_NEWTON: usize = 40;
/// A Newton step below this (normalised units) is rounding.
const NEWTON_DONE: f64 = 1e-15;
/// Largest misfit of an accepted undistortion, normalised units: 1e-11 is 3e-8 px at f = 3000 px.
const UNDISTORT_MISFIT: f64 = 1e-11;

/// One focal length, a principal point, two radial and two tangential coefficients.
///
/// With `r² = x² + y²` of the ray: `x' = x (1 + k1 r² + k2 r⁴) + 2 p1 x y + p2 (r² + 2 x²)`,
/// `y' = y (1 + k1 r² + k2 r⁴) + p1 (r² + 2 y²) + 2 p2 x y`, pixel `= (cx + f x', cy + f y')`.
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
}

/// A projected ray with its derivatives.
pub(super) struct Imaged {
    pub(super) pixel: Vector2<f64>,
    pub(super) by_ray: Matrix2<f64>,
    pub(super) by_lens: SMatrix<f64, 2, LENS_UNKNOWNS>,
}

impl Lens {
    /// As the vector of unknowns: ln f, cx, cy, k1, k2, p1, p2.
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
        ]
    }

    /// From the vector of unknowns.
    #[must_use]
    pub fn from_unknowns(u: [f64; LENS_UNKNOWNS]) -> Self {
        let [ln_f, cx_px, cy_px, k1, k2, p1, p2] = u;
        Self {
            f_px: ln_f.exp(),
            cx_px,
            cy_px,
            k1,
            k2,
            p1,
            p2,
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
        let g = 1.0 + r2 * (self.k1 + r2 * self.k2);
        let slope = 2.0 * (self.k1 + 2.0 * self.k2 * r2);
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
        // Smallest positive root of d(r g)/dr = 1 + 3 k1 s + 5 k2 s² with s = r².
        let (a, b) = (5.0 * self.k2, 3.0 * self.k1);
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

    fn image(&self, ray: Vector2<f64>) -> Vector2<f64> {
        let d = self.distort_with_slope(ray).0;
        Vector2::new(self.cx_px + self.f_px * d.x, self.cy_px + self.f_px * d.y)
    }

    /// The ray that a pixel shows, by Newton's method on the forward model; `None` where no ray maps there.
    #[must_use]
    pub fn ray_from_pixel(&self, pixel: Point<Pixel>) -> Option<Point<Ray>> {
        self.ray_below_fold(pixel, self.fold_r2())
    }

    pub(super) fn ray_below_fold(&self, pixel: Point<Pixel>, fold_r2: f64) -> Option<Point<Ray>> {
        let target = Vector2::new(
            (pixel.x - self.cx_px) / self.f_px,
            (pixel.y - self.cy_px) / self.f_px,
        );
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

    /// Images a ray with all derivatives. Does not look at the fold: the solver must be able to pass by it.
    pub(super) fn image_with_slopes(&self, ray: Vector2<f64>) -> Imaged {
        let (d, by) = self.distort_with_slope(ray);
        let (x, y, f) = (ray.x, ray.y, self.f_px);
        let r2 = x * x + y * y;
        let r4 = r2 * r2;
        Imaged {
            pixel: Vector2::new(self.cx_px + f * d.x, self.cy_px + f * d.y),
            by_ray: by * f,
            by_lens: SMatrix::from_columns(&[
                d * f,
                Vector2::x(),
                Vector2::y(),
                ray * (f * r2),
                ray * (f * r4),
                Vector2::new(2.0 * x * y, r2 + 2.0 * y * y) * f,
                Vector2::new(r2 + 2.0 * x * x, 2.0 * x * y) * f,
            ]),
        }
    }
}
