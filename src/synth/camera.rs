//! The camera: where it stands, where it looks, and what its lens does.
//!
//! Written from the pinhole model and OpenCV's distortion polynomial alone.

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};

use crate::frame::{Pixel, Point, Sheet};

/// 35 mm equivalent focal length of an ordinary phone's main camera, mm.
pub const USUAL_FOCAL_35MM: f64 = 26.0;
/// Diagonal of the 36 x 24 mm frame, mm.
pub const DIAGONAL_35MM: f64 = 43.266_615_305_567_87;
/// Steps of Newton's method that undo the distortion; five reach rounding for phone lenses.
const NEWTON_STEPS: usize = 8;

/// A camera above the sheet. World frame: mm, x and y as in `Sheet`, z up from the marked face.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Picture width, px.
    pub width: u32,
    /// Picture height, px.
    pub height: u32,
    /// Focal length, px, both ways alike.
    pub focal_px: f64,
    /// Principal point, px, `Pixel` frame (first pixel's centre at 0.5).
    pub principal: Point<Pixel>,
    /// Radial distortion, second and fourth power (OpenCV's k1, k2).
    pub k: [f64; 2],
    /// Tangential distortion (OpenCV's p1, p2).
    pub p: [f64; 2],
    /// Where the lens is, mm.
    pub position: Vector3<f64>,
    /// The point on which the optical axis is aimed, mm.
    pub look_at: Vector3<f64>,
    /// Turn of the camera about its axis, rad; positive turns the *picture's content* anticlockwise.
    pub roll_rad: f64,
}

impl Default for Camera {
    /// Straight above the middle of a 304.8 x 215.9 mm sheet, 3 MP, the sheet filling most of it.
    fn default() -> Self {
        Self::above(Point::new(152.4, 107.95), 5.6, 0.0, 0.0, 0.0, [2016, 1512])
    }
}

impl Camera {
    /// A camera aimed at `centre` with `px_per_mm` there, leaning by `tilt_rad` from straight above
    /// towards `tilt_direction_rad` (from x, anticlockwise), rolled by `roll_rad`; `size`: width and
    /// height, px. Lens as a phone's main camera, without distortion.
    #[must_use]
    pub fn above(
        centre: Point<Sheet>,
        px_per_mm: f64,
        tilt_rad: f64,
        tilt_direction_rad: f64,
        roll_rad: f64,
        [width, height]: [u32; 2],
    ) -> Self {
        let diagonal = f64::from(width).hypot(f64::from(height));
        let focal_px = USUAL_FOCAL_35MM * diagonal / DIAGONAL_35MM;
        let look_at = Vector3::new(centre.x, centre.y, 0.0);
        let lean = Vector3::new(
            tilt_rad.sin() * tilt_direction_rad.cos(),
            tilt_rad.sin() * tilt_direction_rad.sin(),
            tilt_rad.cos(),
        );
        Self {
            width,
            height,
            focal_px,
            principal: Point::new(f64::from(width) / 2.0, f64::from(height) / 2.0),
            k: [0.0; 2],
            p: [0.0; 2],
            position: look_at + lean * (focal_px / px_per_mm),
            look_at,
            roll_rad,
        }
    }

    /// The same camera with lens distortion k1, k2, p1, p2 (OpenCV's model).
    #[must_use]
    pub fn with_distortion(mut self, k1: f64, k2: f64, p1: f64, p2: f64) -> Self {
        self.k = [k1, k2];
        self.p = [p1, p2];
        self
    }

    /// Rows: the picture's right, the picture's down, and the way the camera looks, in the world.
    #[must_use]
    pub fn axes(&self) -> Matrix3<f64> {
        let forward = (self.look_at - self.position).normalize();
        // Looking straight along y, "up in the picture" is taken from z.
        let up = if forward.y.abs() > 0.999 {
            Vector3::z()
        } else {
            Vector3::y()
        };
        let level = forward.cross(&up).normalize();
        let plumb = forward.cross(&level);
        let (s, c) = self.roll_rad.sin_cos();
        let right = level * c + plumb * s;
        let down = plumb * c - level * s;
        Matrix3::from_rows(&[right.transpose(), down.transpose(), forward.transpose()])
    }

    /// What the lens makes of a straight ray (both normalised).
    #[must_use]
    pub fn distort(&self, ray: Vector2<f64>) -> Vector2<f64> {
        let (x, y) = (ray.x, ray.y);
        let r2 = x * x + y * y;
        let gain = 1.0 + r2 * (self.k[0] + r2 * self.k[1]);
        let [p1, p2] = self.p;
        Vector2::new(
            x * gain + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * gain + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        )
    }

    /// Derivative of [`Self::distort`].
    fn distort_slope(&self, ray: Vector2<f64>) -> Matrix2<f64> {
        let (x, y) = (ray.x, ray.y);
        let r2 = x * x + y * y;
        let [k1, k2] = self.k;
        let [p1, p2] = self.p;
        let gain = 1.0 + r2 * (k1 + r2 * k2);
        let dgain = 2.0 * (k1 + 2.0 * k2 * r2);
        let cross = dgain * x * y + 2.0 * p1 * x + 2.0 * p2 * y;
        Matrix2::new(
            gain + dgain * x * x + 2.0 * p1 * y + 6.0 * p2 * x,
            cross,
            cross,
            gain + dgain * y * y + 6.0 * p1 * y + 2.0 * p2 * x,
        )
    }

    /// The straight ray that the lens turned into `bent`, and the derivative of ray by `bent`.
    #[must_use]
    pub fn undistort(&self, bent: Vector2<f64>) -> (Vector2<f64>, Matrix2<f64>) {
        let mut ray = bent;
        for _ in 0..NEWTON_STEPS {
            let miss = bent - self.distort(ray);
            let slope = self.distort_slope(ray);
            let step = inverse(&slope) * miss;
            ray += step;
            if step.norm_squared() < 1e-30 {
                break;
            }
        }
        (ray, inverse(&self.distort_slope(ray)))
    }

    /// Where a point of the world (mm) appears.
    #[must_use]
    pub fn project(&self, world: Vector3<f64>) -> Point<Pixel> {
        let seen = self.axes() * (world - self.position);
        let bent = self.distort(Vector2::new(seen.x / seen.z, seen.y / seen.z));
        Point::at(bent * self.focal_px + self.principal.vec())
    }

    /// The point of the plane `z_mm` that appears at `at`.
    #[must_use]
    pub fn back_to_plane(&self, at: Point<Pixel>, z_mm: f64) -> Vector2<f64> {
        let (ray, _) = self.undistort((at - self.principal) / self.focal_px);
        let d = self.axes().transpose() * Vector3::new(ray.x, ray.y, 1.0);
        let p = self.position + d * ((z_mm - self.position.z) / d.z);
        p.xy()
    }

    /// 35 mm equivalent focal length by the diagonal rule, mm.
    #[must_use]
    pub fn focal_35mm(&self) -> f64 {
        let diagonal = f64::from(self.width).hypot(f64::from(self.height));
        self.focal_px * DIAGONAL_35MM / diagonal
    }
}

fn inverse(m: &Matrix2<f64>) -> Matrix2<f64> {
    let det = m[(0, 0)] * m[(1, 1)] - m[(0, 1)] * m[(1, 0)];
    Matrix2::new(m[(1, 1)], -m[(0, 1)], -m[(1, 0)], m[(0, 0)]) / det
}

/// A pixel's view of one plane: where its centre falls, and how far one pixel right or down moves it.
/// A pixel is so small that second order does not matter (under 1e-4 px for any phone).
#[derive(Debug, Clone, Copy)]
pub(super) struct Patch {
    pub(super) at: Vector2<f64>,
    pub(super) right: Vector2<f64>,
    pub(super) down: Vector2<f64>,
}

impl Patch {
    /// Size of a pixel on the plane, mm (root mean square over directions).
    pub(super) fn pixel_mm(&self) -> f64 {
        ((self.right.norm_squared() + self.down.norm_squared()) / 2.0).sqrt()
    }

    /// The place at (dx, dy) pixels from the pixel's centre.
    pub(super) fn sub(&self, [dx, dy]: [f64; 2]) -> Vector2<f64> {
        self.at + self.right * dx + self.down * dy
    }
}

/// The camera with everything that does not change from pixel to pixel worked out.
pub(super) struct Viewer<'a> {
    camera: &'a Camera,
    world_from_ray: Matrix3<f64>,
}

/// The ray of one pixel.
pub(super) struct PixelRay {
    origin: Vector3<f64>,
    direction: Vector3<f64>,
    by_right: Vector3<f64>,
    by_down: Vector3<f64>,
}

impl<'a> Viewer<'a> {
    pub(super) fn new(camera: &'a Camera) -> Self {
        Self {
            camera,
            world_from_ray: camera.axes().transpose(),
        }
    }

    /// The ray through the centre of pixel (column, row).
    pub(super) fn ray(&self, column: i64, row: i64) -> PixelRay {
        let at = Point::<Pixel>::new(column as f64 + 0.5, row as f64 + 0.5);
        let bent = (at - self.camera.principal) / self.camera.focal_px;
        let (ray, slope) = self.camera.undistort(bent);
        let per_px = slope / self.camera.focal_px;
        let m = &self.world_from_ray;
        let spread = |j: usize| m.column(0) * per_px[(0, j)] + m.column(1) * per_px[(1, j)];
        PixelRay {
            origin: self.camera.position,
            direction: m * Vector3::new(ray.x, ray.y, 1.0),
            by_right: spread(0),
            by_down: spread(1),
        }
    }
}

impl PixelRay {
    /// How far the ray moves sideways per mm of height.
    pub(super) fn lean(&self) -> Vector2<f64> {
        self.direction.xy() / self.direction.z
    }

    /// This pixel's view of the plane `z_mm`.
    pub(super) fn patch(&self, z_mm: f64) -> Patch {
        let d = &self.direction;
        let reach = (z_mm - self.origin.z) / d.z;
        let slide = |by: &Vector3<f64>| (by.xy() - d.xy() * (by.z / d.z)) * reach;
        Patch {
            at: self.origin.xy() + d.xy() * reach,
            right: slide(&self.by_right),
            down: slide(&self.by_down),
        }
    }
}
