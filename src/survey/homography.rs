//! Plane to plane: the homography, fitted by normalised direct linear transform and refined.

use std::fmt;
use std::marker::PhantomData;
use std::ops::Mul;

use nalgebra::{Matrix3, SMatrix, SVector, Vector2, Vector3};

use crate::frame::Point;

/// Points needed at least.
const MIN_POINTS: usize = 4;
/// Points whose spread across is below this part of their spread along count as being on one line.
const MIN_SPREAD: f64 = 0.005;
/// Second smallest eigenvalue of the normal matrix over the largest: below it more than one homography
/// fits. Four corners of a tidy quadrilateral give some 1e-3.
const MIN_EIGEN: f64 = 1e-12;
/// Refinement ends when a step moves no (normalised) entry by more than this.
const REFINED: f64 = 1e-13;
const MAX_REFINE: usize = 30;

/// Why no homography could be fitted.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum HomographyError {
    /// Fewer than four pairs.
    TooFew {
        /// Pairs given.
        given: usize,
    },
    /// The points lie on one line, or otherwise leave the map open.
    Degenerate {
        /// Spread across over spread along, of the source points.
        spread: f64,
    },
}

impl fmt::Display for HomographyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFew { given } => {
                write!(
                    f,
                    "{given} point pairs are too few for a homography; {MIN_POINTS} are needed"
                )
            }
            Self::Degenerate { spread } => write!(
                f,
                "the points lie too nearly on one line to fix a homography (spread across / along = {spread:.4}); use points from the whole card"
            ),
        }
    }
}
impl std::error::Error for HomographyError {}

/// A projective map from plane `Src` to plane `Dst`.
pub struct Homography<Dst, Src> {
    /// The matrix, up to scale, for homogeneous columns (x, y, 1).
    pub matrix: Matrix3<f64>,
    frames: PhantomData<fn(Src) -> Dst>,
}

impl<Dst, Src> Homography<Dst, Src> {
    /// From a matrix, up to scale.
    #[must_use]
    pub fn new(matrix: Matrix3<f64>) -> Self {
        Self {
            matrix,
            frames: PhantomData,
        }
    }

    /// The image of `p`; `None` on the line that goes to infinity.
    #[must_use]
    pub fn map(&self, p: Point<Src>) -> Option<Point<Dst>> {
        let v = self.matrix * Vector3::new(p.x, p.y, 1.0);
        let (x, y) = (v.x / v.z, v.y / v.z);
        (x.is_finite() && y.is_finite()).then(|| Point::new(x, y))
    }

    /// The way back; `None` if the map is singular.
    #[must_use]
    pub fn inverse(&self) -> Option<Homography<Src, Dst>> {
        self.matrix.try_inverse().map(Homography::new)
    }

    /// Fits by normalised DLT, then minimises the sum of squared distances in `Dst`.
    ///
    /// # Errors
    /// [`HomographyError::TooFew`] below four pairs; [`HomographyError::Degenerate`] when they lie on a line.
    ///
    /// # Source
    /// Hartley, "In defense of the eight-point algorithm", IEEE PAMI 19(6), 1997, 580-593, for the
    /// normalisation.
    pub fn fit(pairs: &[(Point<Src>, Point<Dst>)]) -> Result<Self, HomographyError> {
        if pairs.len() < MIN_POINTS {
            return Err(HomographyError::TooFew { given: pairs.len() });
        }
        let src = Normalised::of(pairs.iter().map(|p| p.0.vec()));
        let dst = Normalised::of(pairs.iter().map(|p| p.1.vec()));
        let degenerate = HomographyError::Degenerate { spread: src.spread };
        // `!(>)`: a spread that is not a number is degenerate too.
        if !(src.spread > MIN_SPREAD && dst.scale.is_finite() && dst.scale > 0.0) {
            return Err(degenerate);
        }
        let start = direct(&src.points, &dst.points).ok_or(degenerate.clone())?;
        let fine = refine(start, &src.points, &dst.points).ok_or(degenerate.clone())?;
        let back = dst.matrix().try_inverse().ok_or(degenerate)?;
        Ok(Self::new(back * fine * src.matrix()))
    }
}

impl<Dst, Src> Clone for Homography<Dst, Src> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<Dst, Src> Copy for Homography<Dst, Src> {}
impl<Dst, Src> fmt::Debug for Homography<Dst, Src> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}", self.matrix)
    }
}
impl<A, B, C> Mul<Homography<B, C>> for Homography<A, B> {
    type Output = Homography<A, C>;
    fn mul(self, other: Homography<B, C>) -> Homography<A, C> {
        Homography::new(self.matrix * other.matrix)
    }
}

/// Points moved to their centroid and scaled to a mean square distance of 2.
struct Normalised {
    centre: Vector2<f64>,
    scale: f64,
    spread: f64,
    points: Vec<Vector2<f64>>,
}

impl Normalised {
    fn of(points: impl Iterator<Item = Vector2<f64>>) -> Self {
        let mut points: Vec<_> = points.collect();
        let n = points.len() as f64;
        let centre = points.iter().sum::<Vector2<f64>>() / n;
        let mut moment = nalgebra::Matrix2::zeros();
        for p in &points {
            let d = p - centre;
            moment += d * d.transpose() / n;
        }
        let scale = (2.0 / moment.trace()).sqrt();
        let eigen = moment.symmetric_eigenvalues();
        let spread = (eigen.min().max(0.0) / eigen.max()).sqrt();
        for p in &mut points {
            *p = (*p - centre) * scale;
        }
        Self {
            centre,
            scale,
            spread,
            points,
        }
    }

    fn matrix(&self) -> Matrix3<f64> {
        let s = self.scale;
        #[rustfmt::skip]
        let m = Matrix3::new(
            s, 0.0, -s * self.centre.x,
            0.0, s, -s * self.centre.y,
            0.0, 0.0, 1.0,
        );
        m
    }
}

fn direct(src: &[Vector2<f64>], dst: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    let mut normal = SMatrix::<f64, 9, 9>::zeros();
    for (s, d) in src.iter().zip(dst) {
        #[rustfmt::skip]
        let rows = [
            SVector::<f64, 9>::from([s.x, s.y, 1.0, 0.0, 0.0, 0.0, -d.x * s.x, -d.x * s.y, -d.x]),
            SVector::<f64, 9>::from([0.0, 0.0, 0.0, s.x, s.y, 1.0, -d.y * s.x, -d.y * s.y, -d.y]),
        ];
        for row in rows {
            normal += row * row.transpose();
        }
    }
    let eigen = normal.symmetric_eigen();
    let mut order: Vec<usize> = (0..9).collect();
    order.sort_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]));
    let ratio = eigen.eigenvalues[order[1]] / eigen.eigenvalues[order[8]];
    if ratio.is_nan() || ratio < MIN_EIGEN {
        return None;
    }
    let h = eigen.eigenvectors.column(order[0]);
    let h = Matrix3::from_row_iterator(h.iter().copied());
    // The centroid is seen, so its image is finite and h33 is not zero.
    let h = h / h.m33;
    h.iter().all(|v| v.is_finite()).then_some(h)
}

/// Levenberg-Marquardt over the eight entries with h33 = 1.
fn refine(start: Matrix3<f64>, src: &[Vector2<f64>], dst: &[Vector2<f64>]) -> Option<Matrix3<f64>> {
    let mut h = start;
    let (mut cost, mut normal, mut pull) = equations(&h, src, dst)?;
    let mut damping = 1e-6;
    for _ in 0..MAX_REFINE {
        let mut damped = normal;
        for i in 0..8 {
            damped[(i, i)] *= 1.0 + damping;
        }
        let step = damped.cholesky()?.solve(&pull);
        let mut trial = h;
        for i in 0..8 {
            trial[(i / 3, i % 3)] += step[i];
        }
        match equations(&trial, src, dst) {
            Some(next) if next.0 <= cost * (1.0 + 1e-13) => {
                h = trial;
                (cost, normal, pull) = next;
                damping = if damping > 1e-12 {
                    damping / 100.0
                } else {
                    0.0
                };
                if step.amax() < REFINED {
                    break;
                }
            }
            _ => {
                if step.amax() < REFINED {
                    break;
                }
                damping = (damping * 100.0).max(1e-6);
            }
        }
    }
    Some(h)
}

type Equations = (f64, SMatrix<f64, 8, 8>, SVector<f64, 8>);

fn equations(h: &Matrix3<f64>, src: &[Vector2<f64>], dst: &[Vector2<f64>]) -> Option<Equations> {
    let mut cost = 0.0;
    let mut normal = SMatrix::<f64, 8, 8>::zeros();
    let mut pull = SVector::<f64, 8>::zeros();
    for (s, d) in src.iter().zip(dst) {
        let v = h * Vector3::new(s.x, s.y, 1.0);
        // All points are on the centroid's side of the horizon, where v.z > 0.
        if v.z.is_nan() || v.z <= 0.0 {
            return None;
        }
        let at = Vector2::new(v.x / v.z, v.y / v.z);
        let miss = d - at;
        cost += miss.norm_squared();
        let (x, y, w) = (s.x / v.z, s.y / v.z, 1.0 / v.z);
        #[rustfmt::skip]
        let rows = [
            SVector::<f64, 8>::from([x, y, w, 0.0, 0.0, 0.0, -x * at.x, -y * at.x]),
            SVector::<f64, 8>::from([0.0, 0.0, 0.0, x, y, w, -x * at.y, -y * at.y]),
        ];
        for (row, m) in rows.iter().zip(miss.iter()) {
            normal += row * row.transpose();
            pull += row * *m;
        }
    }
    Some((cost, normal, pull))
}
