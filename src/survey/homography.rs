//! temporary
use crate::frame::Point;
use nalgebra::{Matrix2, Matrix3, SMatrix, Vector3};
use std::marker::PhantomData;

/// h
pub struct Homography<D, S> {
    m: Matrix3<f64>,
    f: PhantomData<fn() -> (D, S)>,
}
impl<D, S> Homography<D, S> {
    /// fit
    pub fn fit(pairs: &[(Point<S>, Point<D>)]) -> Result<Self, ()> {
        if pairs.len() < 4 {
            return Err(());
        }
        let norm = |v: Vec<(f64, f64)>| {
            let n = v.len() as f64;
            let cx = v.iter().map(|p| p.0).sum::<f64>() / n;
            let cy = v.iter().map(|p| p.1).sum::<f64>() / n;
            let s = v
                .iter()
                .map(|p| ((p.0 - cx).powi(2) + (p.1 - cy).powi(2)).sqrt())
                .sum::<f64>()
                / n;
            let k = 2f64.sqrt() / s;
            Matrix3::new(k, 0.0, -k * cx, 0.0, k, -k * cy, 0.0, 0.0, 1.0)
        };
        let ts = norm(pairs.iter().map(|p| (p.0.x, p.0.y)).collect());
        let td = norm(pairs.iter().map(|p| (p.1.x, p.1.y)).collect());
        let mut a = SMatrix::<f64, 9, 9>::zeros();
        for (s, d) in pairs {
            let s = ts * Vector3::new(s.x, s.y, 1.0);
            let d = td * Vector3::new(d.x, d.y, 1.0);
            let r1 = SMatrix::<f64, 9, 1>::from_row_slice(&[
                s.x,
                s.y,
                1.0,
                0.0,
                0.0,
                0.0,
                -d.x * s.x,
                -d.x * s.y,
                -d.x,
            ]);
            let r2 = SMatrix::<f64, 9, 1>::from_row_slice(&[
                0.0,
                0.0,
                0.0,
                s.x,
                s.y,
                1.0,
                -d.y * s.x,
                -d.y * s.y,
                -d.y,
            ]);
            a += r1 * r1.transpose() + r2 * r2.transpose();
        }
        let e = a.symmetric_eigen();
        let i = e.eigenvalues.imin();
        let v = e.eigenvectors.column(i);
        let h = Matrix3::new(v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]);
        let m = td.try_inverse().ok_or(())? * h * ts;
        if !m.iter().all(|x| x.is_finite()) {
            return Err(());
        }
        Ok(Self { m, f: PhantomData })
    }
    /// apply
    pub fn apply(&self, p: Point<S>) -> Point<D> {
        let q = self.m * Vector3::new(p.x, p.y, 1.0);
        Point::new(q.x / q.z, q.y / q.z)
    }
    /// jac
    pub fn jacobian(&self, p: Point<S>) -> Matrix2<f64> {
        let m = &self.m;
        let q = m * Vector3::new(p.x, p.y, 1.0);
        let (x, y, z) = (q.x / q.z, q.y / q.z, q.z);
        Matrix2::new(
            (m[(0, 0)] - x * m[(2, 0)]) / z,
            (m[(0, 1)] - x * m[(2, 1)]) / z,
            (m[(1, 0)] - y * m[(2, 0)]) / z,
            (m[(1, 1)] - y * m[(2, 1)]) / z,
        )
    }
}
