//! EXIF orientation as a map of the plane: from the stored picture to the upright one.

use nalgebra::{Matrix2, SMatrix, Vector2};

use crate::frame::{Pixel, Point};
use crate::survey::{LENS_UNKNOWNS, Lens};

type LensCov = SMatrix<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>;

/// Upright = turn * stored + shift; px, a picture of width w spanning 0 to w.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turn {
    by: Matrix2<f64>,
    shift: Vector2<f64>,
    /// The stored picture's size, px.
    pub(super) stored: [u32; 2],
}

impl Turn {
    /// From EXIF's orientation and the *upright* picture's size, px.
    ///
    /// # Source
    /// Exif 2.32, 4.6.4 A (from memory), as `photo::upright` has it; the two are tested against each other.
    pub(super) fn of(orientation: u8, upright: [u32; 2]) -> Self {
        let (xx, xy, yx, yy) = match orientation {
            2 => (-1.0, 0.0, 0.0, 1.0),
            3 => (-1.0, 0.0, 0.0, -1.0),
            4 => (1.0, 0.0, 0.0, -1.0),
            5 => (0.0, 1.0, 1.0, 0.0),
            6 => (0.0, -1.0, 1.0, 0.0),
            7 => (0.0, -1.0, -1.0, 0.0),
            8 => (0.0, 1.0, -1.0, 0.0),
            _ => (1.0, 0.0, 0.0, 1.0),
        };
        let by = Matrix2::new(xx, xy, yx, yy);
        let [w, h] = upright.map(f64::from);
        // Where an axis is turned round, it is counted from the far side.
        let shift = Vector2::new(
            if xx + xy < 0.0 { w } else { 0.0 },
            if yx + yy < 0.0 { h } else { 0.0 },
        );
        let stored = if xx == 0.0 {
            [upright[1], upright[0]]
        } else {
            upright
        };
        Self { by, shift, stored }
    }

    /// Whether the stored picture is a mirror image.
    pub(super) fn mirrors(&self) -> bool {
        self.by.determinant() < 0.0
    }

    pub(super) fn stored_from_upright(&self, p: Point<Pixel>) -> Point<Pixel> {
        Point::at(self.by.transpose() * (p.vec() - self.shift))
    }

    /// A covariance of a place in the upright picture, in the stored one.
    pub(super) fn stored_cov(&self, cov: Matrix2<f64>) -> Matrix2<f64> {
        self.by.transpose() * cov * self.by
    }

    /// A lens of the stored picture, in the upright one, with its covariance. Square pixels only: aspect and
    /// skew are handed on as they are.
    ///
    /// The tangential terms are `r² q + 2 v (v·q)` with `q = (p2, p1)`, so that q turns as the picture does;
    /// the radial ones do not change.
    pub(super) fn upright_lens(&self, lens: &Lens, cov: &LensCov) -> (Lens, LensCov) {
        let c = self.by * Vector2::new(lens.cx_px, lens.cy_px) + self.shift;
        let q = self.by * Vector2::new(lens.p2, lens.p1);
        let turned = Lens {
            cx_px: c.x,
            cy_px: c.y,
            p1: q.y,
            p2: q.x,
            ..*lens
        };
        let mut by = LensCov::identity();
        by.fixed_view_mut::<2, 2>(1, 1).copy_from(&self.by);
        // In the order p1, p2.
        let m = &self.by;
        by.fixed_view_mut::<2, 2>(5, 5)
            .copy_from(&Matrix2::new(m.m22, m.m21, m.m12, m.m11));
        (turned, by * cov * by.transpose())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::photo::upright;
    use image::{GrayImage, Luma};
    use nalgebra::SVector;

    #[test]
    fn agrees_with_how_pictures_are_turned() {
        for orientation in 0..=8 {
            let mut stored = GrayImage::new(7, 4);
            stored.put_pixel(5, 1, Luma([255]));
            let turned = upright(stored, orientation);
            let (w, h) = turned.dimensions();
            let turn = Turn::of(orientation, [w, h]);
            assert_eq!(turn.stored, [7, 4], "{orientation}");
            let (x, y, _) = turned
                .enumerate_pixels()
                .find(|(.., p)| p.0[0] == 255)
                .unwrap();
            let at = Point::new(f64::from(x) + 0.5, f64::from(y) + 0.5);
            assert_eq!(
                turn.stored_from_upright(at),
                Point::new(5.5, 1.5),
                "{orientation}"
            );
        }
    }

    #[test]
    fn a_turned_lens_images_turned_rays() {
        let lens = Lens {
            f_px: 900.0,
            cx_px: 520.0,
            cy_px: 360.0,
            k1: 0.05,
            k2: -0.03,
            p1: 0.002,
            p2: -0.003,
            k3: 0.01,
            ..Lens::default()
        };
        let sd = SVector::<f64, LENS_UNKNOWNS>::from_fn(|i, _| 0.1 + i as f64);
        let mut cov = LensCov::from_diagonal(&sd.component_mul(&sd));
        cov[(1, 6)] = 0.3;
        cov[(6, 1)] = 0.3;
        for orientation in 1..=8 {
            let size = if orientation < 5 {
                [1000, 700]
            } else {
                [700, 1000]
            };
            let turn = Turn::of(orientation, size);
            let (turned, turned_cov) = turn.upright_lens(&lens, &cov);
            let ray = Vector2::new(0.3, -0.2);
            let direct = lens.pixel_from_ray(Point::at(ray)).unwrap();
            let upright = turned.pixel_from_ray(Point::at(turn.by * ray)).unwrap();
            let off = turn.stored_from_upright(upright).distance(direct);
            assert!(off < 1e-9, "{orientation}: {off}");
            // The covariance moves with the numbers: along any change of the lens both agree.
            let mut u = SVector::from(lens.unknowns());
            let change = cov.column(6) * 1e-4;
            u += change;
            let (moved, _) = turn.upright_lens(&Lens::from_unknowns(u.into()), &cov);
            let seen = SVector::from(moved.unknowns()) - SVector::from(turned.unknowns());
            let weight = turned_cov.try_inverse().unwrap();
            let before = change.dot(&(cov.try_inverse().unwrap() * change));
            assert!(
                (seen.dot(&(weight * seen)) / before - 1.0).abs() < 1e-6,
                "{orientation}"
            );
        }
    }
}
