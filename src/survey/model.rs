//! The unknowns, how they stand in one vector, and the camera equation with its derivatives.

use nalgebra::{DVector, Matrix2x3, Matrix3, Rotation3, SMatrix, Vector2, Vector3};

use super::lens::{LENS_NAMES, LENS_UNKNOWNS, Lens};

/// Where a photo was taken from: `camera = rotation * face + shift`; camera x right, y down, z forward, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pose {
    pub(super) rotation: Matrix3<f64>,
    pub(super) shift: Vector3<f64>,
}

impl Pose {
    /// Camera centre in the face frame.
    pub(super) fn centre(&self) -> Vector3<f64> {
        -(self.rotation.transpose() * self.shift)
    }
}

/// A card, or a line, in the face. For cards x, y (mm) and angle (rad).
pub(super) type CardPose = [f64; 3];

/// A line in the face: `pivot + offset * normal + t * direction`, with direction (cos, sin) of the angle and
/// normal 90 degrees to its left. The pivot is fixed: the middle of where the line was seen, so that angle
/// and offset hardly correlate.
#[derive(Debug, Clone, Copy)]
pub(super) struct LinePose {
    pub(super) pivot: Vector2<f64>,
    pub(super) angle: f64,
    pub(super) offset: f64,
    /// How far along the normal from it all points that were seen lie.
    pub(super) off: f64,
}

impl LinePose {
    pub(super) fn direction(&self) -> Vector2<f64> {
        Vector2::new(self.angle.cos(), self.angle.sin())
    }
    pub(super) fn normal(&self) -> Vector2<f64> {
        Vector2::new(-self.angle.sin(), self.angle.cos())
    }
    /// The point nearest to the pivot.
    pub(super) fn middle(&self) -> Vector2<f64> {
        self.pivot + self.normal() * self.offset
    }
}

/// One value of all unknowns.
#[derive(Debug, Clone)]
pub(super) struct State {
    /// One for each camera.
    pub(super) lenses: Vec<Lens>,
    /// Of each photo, which camera took it.
    pub(super) camera: Vec<usize>,
    pub(super) scale: [f64; 2],
    pub(super) poses: Vec<Pose>,
    /// Height of the print over what its card lies on, mm.
    pub(super) paper: f64,
    /// Height of what the cards beside the sheet lie on, mm: one bench in all photos.
    pub(super) bench: f64,
    pub(super) cards: Vec<CardPose>,
    pub(super) lines: Vec<LinePose>,
    /// Place along its line of the foot of each line point; a start value, not an unknown.
    pub(super) feet: Vec<f64>,
}

/// Where each unknown stands in the vector: lenses, print scale, poses (turn 3, shift 2, depth), height of the
/// print, bench height, cards but the first, what the points of some
/// lines are off together, lines (angle, offset).
#[derive(Debug, Clone)]
pub(super) struct Index {
    pub(super) photos: usize,
    cameras: usize,
    /// Per photo: its camera.
    camera: Vec<usize>,
    /// The place of the print's height, where that is unknown.
    pub(super) paper: Option<usize>,
    /// The place of the bench height, where that is unknown.
    pub(super) bench: Option<usize>,
    cards_at: usize,
    lines_at: usize,
    /// Per line: the place of what its points are off together, where that is unknown.
    off: Vec<Option<usize>>,
    pub(super) count: usize,
}

impl Index {
    /// `camera`: of each photo, its camera, counted from 0 without gaps.
    pub(super) fn new(
        camera: Vec<usize>,
        [paper_unknown, bench_unknown]: [bool; 2],
        cards: usize,
        lines_off: &[bool],
    ) -> Self {
        let photos = camera.len();
        let cameras = camera.iter().max().map_or(0, |c| c + 1);
        let paper_at = LENS_UNKNOWNS * cameras + 2 + 6 * photos;
        let paper = paper_unknown.then_some(paper_at);
        let bench_at = paper_at + usize::from(paper_unknown);
        let bench = bench_unknown.then_some(bench_at);
        let next = bench_at + usize::from(bench_unknown);
        let mut lines_at = next + 3 * cards.saturating_sub(1);
        let off = lines_off
            .iter()
            .map(|unknown| {
                let at = lines_at;
                lines_at += usize::from(*unknown);
                unknown.then_some(at)
            })
            .collect();
        Self {
            photos,
            cameras,
            camera,
            paper,
            bench,
            cards_at: next,
            lines_at,
            off,
            count: lines_at + 2 * lines_off.len(),
        }
    }
    /// Of each photo, its camera.
    pub(super) fn cameras(&self) -> &[usize] {
        &self.camera
    }
    /// The lens of a photo.
    pub(super) fn lens(&self, photo: usize) -> usize {
        LENS_UNKNOWNS * self.camera[photo]
    }
    pub(super) fn scale(&self) -> usize {
        LENS_UNKNOWNS * self.cameras
    }
    pub(super) fn pose(&self, photo: usize) -> usize {
        self.scale() + 2 + 6 * photo
    }
    /// `None` for the first card, which is the gauge.
    pub(super) fn card(&self, card: usize) -> Option<usize> {
        (card > 0).then(|| self.cards_at + 3 * (card - 1))
    }
    pub(super) fn line(&self, line: usize) -> usize {
        self.lines_at + 2 * line
    }
    /// Makes room for one more line, after all others.
    pub(super) fn add_line(&mut self) {
        self.off.push(None);
        self.count += 2;
    }
    /// The place of what a line's points are off together, where that is unknown.
    pub(super) fn off(&self, line: usize) -> Option<usize> {
        self.off[line]
    }
    /// What the unknown at place `i` is, for messages.
    pub(super) fn name(&self, i: usize) -> String {
        let (scale, poses) = (self.scale(), self.pose(0));
        let poses_end = self.pose(self.photos);
        match i {
            _ if i < scale => format!("the {}", LENS_NAMES[i % LENS_UNKNOWNS]),
            _ if i < poses => {
                format!("the print scale {}", ["across", "down"][i - scale])
            }
            _ if i < poses_end => format!("the pose of photo {}", (i - poses) / 6 + 1),
            _ if self.paper == Some(i) => "the height of the print".to_owned(),
            _ if i < self.cards_at => "the height of the bench".to_owned(),
            _ if self.off.contains(&Some(i)) => "what an edge hides".to_owned(),
            _ if i < self.lines_at => {
                format!(
                    "the place of card {} of the list",
                    (i - self.cards_at) / 3 + 2
                )
            }
            _ => format!(
                "the place of line {} of the list",
                (i - self.lines_at) / 2 + 1
            ),
        }
    }
}

impl State {
    /// Moves by `step`; turns are applied from the left, in the camera frame. The unknown of depth is
    /// ln (depth / f): a longer lens further off gives nearly the same picture, and a solver that has to
    /// change both in step crawls along a curved valley.
    pub(super) fn moved(&self, index: &Index, step: &DVector<f64>) -> Self {
        let mut next = self.clone();
        for (c, lens) in next.lenses.iter_mut().enumerate() {
            let mut unknowns = lens.unknowns();
            for (i, v) in unknowns.iter_mut().enumerate() {
                *v += step[LENS_UNKNOWNS * c + i];
            }
            *lens = Lens::from_unknowns(unknowns);
        }
        for i in 0..2 {
            next.scale[i] += step[index.scale() + i];
        }
        for (k, pose) in next.poses.iter_mut().enumerate() {
            let at = index.pose(k);
            let turn = Rotation3::new(Vector3::new(step[at], step[at + 1], step[at + 2]));
            pose.rotation = turn.into_inner() * pose.rotation;
            pose.shift.x += step[at + 3];
            pose.shift.y += step[at + 4];
            pose.shift.z *= (step[at + 5] + step[index.lens(k)]).exp();
        }
        if let Some(at) = index.paper {
            next.paper += step[at];
        }
        if let Some(at) = index.bench {
            next.bench += step[at];
        }
        for (j, card) in next.cards.iter_mut().enumerate() {
            if let Some(at) = index.card(j) {
                for (i, v) in card.iter_mut().enumerate() {
                    *v += step[at + i];
                }
            }
        }
        for (j, line) in next.lines.iter_mut().enumerate() {
            let at = index.line(j);
            line.angle += step[at];
            line.offset += step[at + 1];
            if let Some(at) = index.off(j) {
                line.off += step[at];
            }
        }
        next
    }

    /// The lens of a photo.
    pub(super) fn lens(&self, photo: usize) -> &Lens {
        &self.lenses[self.camera[photo]]
    }

    /// Removes the rounding of many small turns.
    pub(super) fn tidy(&mut self) {
        for pose in &mut self.poses {
            pose.rotation = nearest_rotation(pose.rotation);
        }
    }
}

/// The rotation nearest to `m` in the sum of squares.
pub(super) fn nearest_rotation(m: Matrix3<f64>) -> Matrix3<f64> {
    let svd = m.svd(true, true);
    match (svd.u, svd.v_t) {
        (Some(u), Some(v_t)) => {
            let d = (u * v_t).determinant().signum();
            u * Matrix3::from_diagonal(&Vector3::new(1.0, 1.0, d)) * v_t
        }
        _ => m,
    }
}

/// A point of the face in the photo, with all derivatives.
pub(super) struct Projected {
    pub(super) pixel: Vector2<f64>,
    pub(super) by_face: Matrix2x3<f64>,
    pub(super) by_pose: SMatrix<f64, 2, 6>,
    pub(super) by_lens: SMatrix<f64, 2, LENS_UNKNOWNS>,
}

/// The camera equation; `None` behind the camera. `face` is (x, y, height), mm.
pub(super) fn project(lens: &Lens, pose: &Pose, face: Vector3<f64>) -> Option<Projected> {
    let turned = pose.rotation * face;
    let c = turned + pose.shift;
    if c.z.is_nan() || c.z <= 1e-9 {
        return None;
    }
    let inv = 1.0 / c.z;
    let ray = Vector2::new(c.x * inv, c.y * inv);
    let imaged = lens.image_with_slopes(ray);
    let by_camera = imaged.by_ray * Matrix2x3::new(inv, 0.0, -ray.x * inv, 0.0, inv, -ray.y * inv);
    // exp(w) v = v + w x v, so that the derivative by the turn is -[v]x.
    let by_turn = -(by_camera * turned.cross_matrix());
    let mut by_pose = SMatrix::<f64, 2, 6>::zeros();
    by_pose.fixed_columns_mut::<3>(0).copy_from(&by_turn);
    by_pose.fixed_columns_mut::<3>(3).copy_from(&by_camera);
    // Depth as ln (depth / f), see [`State::moved`]: with it held, ln f moves the depth too.
    let by_depth = by_camera.column(2) * pose.shift.z;
    by_pose.set_column(5, &by_depth);
    let mut by_lens = imaged.by_lens;
    by_lens.column_mut(0).zip_apply(&by_depth, |a, b| *a += b);
    Some(Projected {
        pixel: imaged.pixel,
        by_face: by_camera * pose.rotation,
        by_pose,
        by_lens,
    })
}

/// [`project`] without its derivatives.
pub(super) fn pixel_of(lens: &Lens, pose: &Pose, face: Vector3<f64>) -> Option<Vector2<f64>> {
    let c = pose.rotation * face + pose.shift;
    (c.z > 1e-9).then(|| lens.image(Vector2::new(c.x / c.z, c.y / c.z)))
}

/// [`project`] with no derivatives but that by the place on the face along `way`.
pub(super) fn pixel_along(
    lens: &Lens,
    pose: &Pose,
    face: Vector3<f64>,
    way: Vector2<f64>,
) -> Option<(Vector2<f64>, Vector2<f64>)> {
    let c = pose.rotation * face + pose.shift;
    if c.z.is_nan() || c.z <= 1e-9 {
        return None;
    }
    let ray = Vector2::new(c.x / c.z, c.y / c.z);
    let moved = pose.rotation.column(0) * way.x + pose.rotation.column(1) * way.y;
    let (pixel, by_ray) = lens.image_with_ray_slope(ray);
    Some((pixel, by_ray * (moved.xy() - ray * moved.z) / c.z))
}

/// Where the ray meets the plane at `height`, mm in the face frame; `None` if it does not.
pub(super) fn meet_face(pose: &Pose, ray: Vector2<f64>, height: f64) -> Option<Vector2<f64>> {
    let d = pose.rotation.transpose() * Vector3::new(ray.x, ray.y, 1.0);
    let c = pose.centre();
    let s = (height - c.z) / d.z;
    (s.is_finite() && s > 0.0).then(|| Vector2::new(c.x + s * d.x, c.y + s * d.y))
}
