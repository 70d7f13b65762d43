//! One photo as a map: pixels to the face and back.

use nalgebra::{Matrix2, SMatrix, Vector2, Vector3};

use super::input::LineId;
use super::lens::{LENS_UNKNOWNS, Lens};
use super::model::{LinePose, Pose, State, meet_face, project};
use crate::frame::{Face, Pixel, Point, Ray};

/// One photo's camera, with the face as its world.
#[derive(Debug, Clone)]
pub struct View {
    pub(super) lens: Lens,
    pub(super) pose: Pose,
    fold_r2: f64,
}

/// A pixel on the face and its derivatives.
pub(super) struct Landed {
    pub(super) at: Vector2<f64>,
    pub(super) by_pixel: Matrix2<f64>,
    pub(super) by_lens: SMatrix<f64, 2, LENS_UNKNOWNS>,
    pub(super) by_pose: SMatrix<f64, 2, 6>,
    /// How far a height of 1 mm moves it.
    pub(super) by_height: Vector2<f64>,
}

impl View {
    pub(super) fn new(lens: Lens, pose: Pose) -> Self {
        Self {
            lens,
            pose,
            fold_r2: lens.fold_r2(),
        }
    }

    /// The lens.
    #[must_use]
    pub fn lens(&self) -> &Lens {
        &self.lens
    }

    /// Where a point of the face is imaged; `None` behind the camera or beyond what the lens can show.
    #[must_use]
    pub fn pixel_from_face(&self, p: Point<Face>) -> Option<Point<Pixel>> {
        self.pixel_from_height(p, 0.0)
    }

    /// The same for a point `height_mm` above the face.
    #[must_use]
    pub fn pixel_from_height(&self, p: Point<Face>, height_mm: f64) -> Option<Point<Pixel>> {
        let c = self.pose.rotation * Vector3::new(p.x, p.y, height_mm) + self.pose.shift;
        if c.z.is_nan() || c.z <= 0.0 {
            return None;
        }
        let (x, y) = (c.x / c.z, c.y / c.z);
        if x * x + y * y >= self.fold_r2 {
            return None;
        }
        let bent = self.lens.distort(Point::new(x, y));
        Some(Point::at(self.lens.onto_sensor(bent)))
    }

    /// The undistorted ray of a pixel; `None` where no ray is imaged there.
    #[must_use]
    pub fn ray_from_pixel(&self, p: Point<Pixel>) -> Option<Point<Ray>> {
        self.lens.ray_below_fold(p, self.fold_r2)
    }

    /// The place on the face that a pixel shows; `None` where the ray misses it.
    #[must_use]
    pub fn face_from_pixel(&self, p: Point<Pixel>) -> Option<Point<Face>> {
        let ray = self.ray_from_pixel(p)?;
        meet_face(&self.pose, ray.vec(), 0.0).map(Point::at)
    }

    /// Derivative of the pixel by the place on the face, px/mm; `None` behind the camera.
    #[must_use]
    pub fn local_scale(&self, p: Point<Face>) -> Option<Matrix2<f64>> {
        let q = project(&self.lens, &self.pose, Vector3::new(p.x, p.y, 0.0))?;
        Some(q.by_face.fixed_columns::<2>(0).into_owned())
    }

    /// Millimetres per pixel at a place, the mean over directions.
    #[must_use]
    pub fn mm_per_px(&self, p: Point<Face>) -> Option<f64> {
        let det = self.local_scale(p)?.determinant().abs();
        Some(1.0 / det.sqrt())
    }

    /// Angle between the upright on the face and the line of sight at `p`, rad.
    #[must_use]
    pub fn view_angle(&self, p: Point<Face>) -> f64 {
        let c = self.pose.centre();
        f64::atan2((c.x - p.x).hypot(c.y - p.y), c.z)
    }

    /// The face's upright, length 1, as the camera has it: x right, y down, z forward, so that z < 0.
    #[must_use]
    pub fn upright_in_camera(&self) -> Vector3<f64> {
        self.pose.rotation.column(2).into_owned()
    }

    /// Camera centre over the face: x, y and height, mm.
    #[must_use]
    pub fn camera_mm(&self) -> [f64; 3] {
        self.pose.centre().into()
    }

    pub(super) fn land(&self, p: Point<Pixel>) -> Option<Landed> {
        let at = self.face_from_pixel(p)?.vec();
        let q = project(&self.lens, &self.pose, Vector3::new(at.x, at.y, 0.0))?;
        // The pixel is held: by_face dP + by_unknowns du = dp.
        let by_pixel = q.by_face.fixed_columns::<2>(0).into_owned().try_inverse()?;
        let c = self.pose.centre();
        Some(Landed {
            at,
            by_pixel,
            by_lens: -(by_pixel * q.by_lens),
            by_pose: -(by_pixel * q.by_pose),
            // A mark that stands higher seems to lie further from the camera's foot point.
            by_height: (at - Vector2::new(c.x, c.y)) / c.z,
        })
    }
}

/// One value of everything a position depends on: all photos' maps and the lines of the face.
#[derive(Debug, Clone)]
pub struct Model {
    views: Vec<View>,
    ids: Vec<LineId>,
    lines: Vec<LinePose>,
}

impl Model {
    pub(super) fn new(state: &State, ids: &[LineId]) -> Self {
        Self {
            views: state
                .poses
                .iter()
                .enumerate()
                .map(|(photo, pose)| View::new(*state.lens(photo), *pose))
                .collect(),
            ids: ids.to_vec(),
            lines: state.lines.clone(),
        }
    }

    /// One for each photo, in the order given.
    #[must_use]
    pub fn views(&self) -> &[View] {
        &self.views
    }

    /// A point on a line and the line's direction (length 1) in the face; `None` if it was not given.
    #[must_use]
    pub fn line(&self, id: LineId) -> Option<(Point<Face>, Vector2<f64>)> {
        let l = self.lines.get(self.ids.binary_search(&id).ok()?)?;
        Some((Point::at(l.middle()), l.direction()))
    }

    pub(super) fn line_pose(&self, id: LineId) -> Option<(usize, &LinePose)> {
        let k = self.ids.binary_search(&id).ok()?;
        Some((k, self.lines.get(k)?))
    }
}
