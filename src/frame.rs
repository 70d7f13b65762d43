//! Frames: which coordinates a point is in, as a type.
//!
//! A point of one frame cannot be given where another is asked:
//!
//! ```compile_fail
//! use punchready::frame::{Pixel, Point, Sheet};
//! fn on_sheet(_: Point<Sheet>) {}
//! on_sheet(Point::<Pixel>::new(1.0, 2.0));
//! ```
//!
//! **Half-pixel convention, stated once.** In [`Pixel`] the *centre* of the first pixel is
//! (0.5, 0.5), so that an image of width `w` spans 0 to `w`. Libraries that put the centre of the
//! first pixel on (0, 0) (OpenCV, `imageproc`) are met through [`Point::from_whole_centres`] and
//! [`Point::to_whole_centres`]; nothing else adds or takes 0.5.

use std::fmt;
use std::marker::PhantomData;
use std::ops::{Add, Mul, Sub};

use nalgebra::{Matrix2, Vector2};

/// Upright photo. Pixels; x right, y down; the first pixel's centre is (0.5, 0.5).
pub enum Pixel {}
/// Undistorted, normalised camera coordinates: x right, y down, at unit depth.
pub enum Ray {}
/// Printed scale card. Millimetres as designed; origin at the card's centre, x right, y *up*.
pub enum Card {}
/// The marked face. Millimetres; the first card fixes origin and direction; x right, y up.
pub enum Face {}
/// The sheet as the plan draws it. Millimetres; origin lower left, x right, y up.
pub enum Sheet {}
/// The flat view of the sheet. Pixels; x right, y down; first pixel's centre is (0.5, 0.5).
pub enum Flat {}

/// A 2x2 covariance; units are the square of the frame's unit.
pub type Cov2 = Matrix2<f64>;

/// A point in the frame `F`.
pub struct Point<F> {
    /// Along the frame's x axis.
    pub x: f64,
    /// Along the frame's y axis.
    pub y: f64,
    frame: PhantomData<fn() -> F>,
}

impl<F> Point<F> {
    /// The point (x, y).
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self {
            x,
            y,
            frame: PhantomData,
        }
    }

    /// The vector from the frame's origin.
    #[must_use]
    pub fn vec(self) -> Vector2<f64> {
        Vector2::new(self.x, self.y)
    }

    /// The point at `v` from the frame's origin.
    #[must_use]
    pub fn at(v: Vector2<f64>) -> Self {
        Self::new(v.x, v.y)
    }

    /// Distance to `other`, in the frame's unit.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self - other).norm()
    }

    /// The point halfway to `other`.
    #[must_use]
    pub fn midpoint(self, other: Self) -> Self {
        Self::at((self.vec() + other.vec()) / 2.0)
    }
}

impl Point<Pixel> {
    /// From a library that puts the first pixel's centre on (0, 0), such as OpenCV or `imageproc`.
    #[must_use]
    pub fn from_whole_centres(x: f64, y: f64) -> Self {
        Self::new(x + 0.5, y + 0.5)
    }

    /// To a library that puts the first pixel's centre on (0, 0).
    #[must_use]
    pub fn to_whole_centres(self) -> (f64, f64) {
        (self.x - 0.5, self.y - 0.5)
    }
}

// By hand: derive would demand the traits of F too.
impl<F> Clone for Point<F> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<F> Copy for Point<F> {}
impl<F> PartialEq for Point<F> {
    fn eq(&self, o: &Self) -> bool {
        self.x == o.x && self.y == o.y
    }
}
impl<F> fmt::Debug for Point<F> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "({:.4}, {:.4})", self.x, self.y)
    }
}
impl<F> Sub for Point<F> {
    type Output = Vector2<f64>;
    fn sub(self, o: Self) -> Vector2<f64> {
        self.vec() - o.vec()
    }
}
impl<F> Add<Vector2<f64>> for Point<F> {
    type Output = Self;
    fn add(self, v: Vector2<f64>) -> Self {
        Self::at(self.vec() + v)
    }
}

/// A rigid motion in the plane from frame `Src` to frame `Dst`: turn by `angle_rad`, then shift.
pub struct Rigid<Dst, Src> {
    /// Anticlockwise in a frame whose y runs up.
    pub angle_rad: f64,
    /// Where the source frame's origin lies in the destination frame.
    pub origin: Point<Dst>,
    src: PhantomData<fn() -> Src>,
}

impl<Dst, Src> Rigid<Dst, Src> {
    /// Turn by `angle_rad`, with the source's origin at `origin`.
    #[must_use]
    pub fn new(angle_rad: f64, origin: Point<Dst>) -> Self {
        Self {
            angle_rad,
            origin,
            src: PhantomData,
        }
    }

    /// The motion that changes nothing but the frame's name.
    #[must_use]
    pub fn identity() -> Self {
        Self::new(0.0, Point::new(0.0, 0.0))
    }

    /// The rotation as a matrix.
    #[must_use]
    pub fn rotation(&self) -> Matrix2<f64> {
        let (s, c) = self.angle_rad.sin_cos();
        Matrix2::new(c, -s, s, c)
    }

    /// The way back.
    #[must_use]
    pub fn inverse(&self) -> Rigid<Src, Dst> {
        let back = -(self.rotation().transpose() * self.origin.vec());
        Rigid::new(-self.angle_rad, Point::at(back))
    }
}

impl<Dst, Src> Clone for Rigid<Dst, Src> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<Dst, Src> Copy for Rigid<Dst, Src> {}
impl<Dst, Src> fmt::Debug for Rigid<Dst, Src> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.5} rad, {:?}", self.angle_rad, self.origin)
    }
}
impl<Dst, Src> Mul<Point<Src>> for Rigid<Dst, Src> {
    type Output = Point<Dst>;
    fn mul(self, p: Point<Src>) -> Point<Dst> {
        Point::at(self.rotation() * p.vec() + self.origin.vec())
    }
}
impl<A, B, C> Mul<Rigid<B, C>> for Rigid<A, B> {
    type Output = Rigid<A, C>;
    fn mul(self, r: Rigid<B, C>) -> Rigid<A, C> {
        Rigid::new(self.angle_rad + r.angle_rad, self * r.origin)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations on numbers near 100.
    const EXACT: f64 = 1e-12;

    #[test]
    fn rigid_there_and_back_and_in_order() {
        let face_from_sheet: Rigid<Face, Sheet> = Rigid::new(0.3, Point::new(10.0, -4.0));
        let sheet_from_card: Rigid<Sheet, Card> = Rigid::new(-1.1, Point::new(5.0, 7.0));
        let p = Point::<Card>::new(3.0, 2.0);
        let chained = (face_from_sheet * sheet_from_card) * p;
        let stepwise = face_from_sheet * (sheet_from_card * p);
        assert!(
            chained.distance(stepwise) < EXACT,
            "{chained:?} {stepwise:?}"
        );
        let q = face_from_sheet.inverse() * (face_from_sheet * Point::<Sheet>::new(1.0, 2.0));
        assert!(q.distance(Point::new(1.0, 2.0)) < EXACT);
    }

    #[test]
    fn whole_centres_are_half_a_pixel_away() {
        let p = Point::<Pixel>::from_whole_centres(0.0, 0.0);
        assert_eq!((p.x, p.y), (0.5, 0.5));
        assert_eq!(p.to_whole_centres(), (0.0, 0.0));
    }
}
