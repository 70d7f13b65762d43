//! The observation equations: residuals, derivatives, and the normal equations made of them.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2, Vector3};

use super::lens::{LENS_UNKNOWNS, Lens};
use super::model::{CardPose, Index, LinePose, State, pixel_along, pixel_of, project};

/// Huber's threshold in standard deviations: within it least squares, beyond it the pull is constant.
pub(super) const HUBER_SIGMAS: f64 = 3.0;
/// Newton steps from an observed line point to its foot on the imaged line.
const FOOT_STEPS: usize = 6;
/// A foot this near its place changes the distance by the square of it, which is nothing; px.
const FOOT_PX: f64 = 1e-6;
/// Part of a step over which its second derivative is taken.
const BEND_STEP: f64 = 0.1;

/// A checker corner in a photo.
#[derive(Debug, Clone)]
pub(super) struct SaddleSeen {
    pub(super) photo: usize,
    pub(super) card: usize,
    pub(super) on_card: Vector2<f64>,
    pub(super) beside: bool,
    pub(super) at: Vector2<f64>,
    /// W with WᵀW = inverse covariance.
    pub(super) whiten: Matrix2<f64>,
    /// Counted, or switched off as an outlier.
    pub(super) on: bool,
}

/// A point of a straight line in a photo.
#[derive(Debug, Clone)]
pub(super) struct PointSeen {
    pub(super) photo: usize,
    pub(super) line: usize,
    pub(super) at: Vector2<f64>,
    pub(super) sigma: f64,
    pub(super) on: bool,
}

/// A length between two lines.
#[derive(Debug, Clone)]
pub(super) struct LengthSeen {
    pub(super) lines: [usize; 2],
    pub(super) mm: f64,
    pub(super) sd: f64,
}

/// How one card lies on another.
#[derive(Debug, Clone)]
pub(super) struct TieSeen {
    pub(super) cards: [usize; 2],
    pub(super) lies: CardPose,
    /// Standard deviations of place (mm) and angle (rad).
    pub(super) sd: [f64; 2],
}

/// A normal distribution of some unknowns.
#[derive(Debug, Clone)]
pub(super) struct Expected {
    /// All cameras' lenses in one vector, and the inverse of its covariance.
    pub(super) lenses: DVector<f64>,
    pub(super) lens_weight: DMatrix<f64>,
    pub(super) scale: [f64; 2],
    pub(super) scale_sd: [f64; 2],
    /// Mean and standard deviation of the heights of print and bench.
    pub(super) paper: [f64; 2],
    pub(super) bench: [f64; 2],
    /// Of each line, the standard deviation of what its points are off together; 0: nothing.
    pub(super) lines_off: Vec<f64>,
}

/// All observations of one solve.
#[derive(Debug, Clone)]
pub(super) struct Problem {
    pub(super) index: Index,
    pub(super) saddles: Vec<SaddleSeen>,
    pub(super) points: Vec<PointSeen>,
    pub(super) lengths: Vec<LengthSeen>,
    pub(super) ties: Vec<TieSeen>,
    pub(super) expected: Expected,
    /// By how much the stated standard deviations are too small: first for saddles, then for each line.
    pub(super) factors: Vec<f64>,
}

/// Normal equations at a state.
pub(super) struct Normal {
    pub(super) matrix: DMatrix<f64>,
    pub(super) pull: DVector<f64>,
    pub(super) cost: f64,
    /// The weighted rows of saddles and line points, in their order.
    rows: Vec<Kept>,
}

/// A pair of rows with whitening and weight in them, and what puts whitening and weight on a misfit.
struct Kept {
    row: Row,
    root: Matrix2<f64>,
    miss: Vector2<f64>,
}

/// Residual and derivatives of a saddle, in px.
pub(super) struct SaddleRow {
    pub(super) miss: Vector2<f64>,
    pub(super) row: Row,
    /// Derivative of the pixel by the height of the place on the card.
    pub(super) by_height: Vector2<f64>,
    /// Derivatives by the card's place (x, y, angle), for the gauge card too.
    pub(super) by_place: [Vector2<f64>; 3],
}

/// Columns and entries of a pair of rows; columns ascend.
pub(super) struct Row {
    len: usize,
    columns: [usize; Row::MOST],
    entries: [[f64; 2]; Row::MOST],
}

impl Row {
    const MOST: usize = LENS_UNKNOWNS + 2 + 6 + 2 + 3;
    fn new() -> Self {
        Self {
            len: 0,
            columns: [0; Self::MOST],
            entries: [[0.0; 2]; Self::MOST],
        }
    }
    fn push(&mut self, column: usize, x: f64, y: f64) {
        self.columns[self.len] = column;
        self.entries[self.len] = [x, y];
        self.len += 1;
    }
    pub(super) fn iter(&self) -> impl Iterator<Item = (usize, [f64; 2])> + '_ {
        self.columns[..self.len]
            .iter()
            .copied()
            .zip(self.entries[..self.len].iter().copied())
    }
}

impl Problem {
    pub(super) fn height(&self, state: &State, saddle: &SaddleSeen) -> f64 {
        state.paper + if saddle.beside { state.bench } else { 0.0 }
    }

    /// The place of a saddle on its card, turned as that lies, and in the face.
    fn saddle_in_face(&self, state: &State, s: &SaddleSeen) -> (Vector2<f64>, Vector3<f64>) {
        let [x, y, angle] = state.cards[s.card];
        let (sin, cos) = angle.sin_cos();
        let printed = Vector2::new(s.on_card.x * state.scale[0], s.on_card.y * state.scale[1]);
        let turned = Vector2::new(
            cos * printed.x - sin * printed.y,
            sin * printed.x + cos * printed.y,
        );
        let face = Vector3::new(turned.x + x, turned.y + y, self.height(state, s));
        (turned, face)
    }

    /// `None` behind the camera.
    pub(super) fn saddle(&self, state: &State, s: &SaddleSeen) -> Option<SaddleRow> {
        let (turned, face) = self.saddle_in_face(state, s);
        let (sin, cos) = state.cards[s.card][2].sin_cos();
        let p = project(state.lens(s.photo), &state.poses[s.photo], face)?;
        let fx = p.by_face.column(0);
        let fy = p.by_face.column(1);
        let mut row = Row::new();
        let at = self.index.lens(s.photo);
        for i in 0..LENS_UNKNOWNS {
            row.push(at + i, p.by_lens[(0, i)], p.by_lens[(1, i)]);
        }
        let across = (fx * cos + fy * sin) * s.on_card.x;
        let up = (fy * cos - fx * sin) * s.on_card.y;
        let scale = self.index.scale();
        row.push(scale, across.x, across.y);
        row.push(scale + 1, up.x, up.y);
        let at = self.index.pose(s.photo);
        for i in 0..6 {
            row.push(at + i, p.by_pose[(0, i)], p.by_pose[(1, i)]);
        }
        let by_height = p.by_face.column(2);
        if let Some(at) = self.index.paper {
            row.push(at, by_height.x, by_height.y);
        }
        if let (true, Some(at)) = (s.beside, self.index.bench) {
            row.push(at, by_height.x, by_height.y);
        }
        let spin = fy * turned.x - fx * turned.y;
        let by_place = [fx.into_owned(), fy.into_owned(), spin];
        if let Some(at) = self.index.card(s.card) {
            for (i, c) in by_place.iter().enumerate() {
                row.push(at + i, c.x, c.y);
            }
        }
        Some(SaddleRow {
            miss: s.at - p.pixel,
            row,
            by_height: by_height.into_owned(),
            by_place,
        })
    }

    /// Moves `foot` to the place on the line nearest to an observed point. Returns the pixel there and the imaged line's
    /// direction.
    fn find_foot(
        state: &State,
        o: &PointSeen,
        foot: &mut f64,
    ) -> Option<(Vector2<f64>, Vector2<f64>)> {
        let line = &state.lines[o.line];
        let (d, middle) = (line.direction(), line.middle() + line.normal() * line.off);
        let (lens, pose) = (state.lens(o.photo), &state.poses[o.photo]);
        let at = |t: f64| {
            let q = middle + d * t;
            pixel_along(lens, pose, Vector3::new(q.x, q.y, 0.0), d)
        };
        let (mut pixel, mut tangent) = at(*foot)?;
        for _ in 0..FOOT_STEPS {
            let step = tangent.dot(&(o.at - pixel)) / tangent.norm_squared();
            *foot += step;
            if (step * tangent.norm()).abs() < FOOT_PX {
                break;
            }
            (pixel, tangent) = at(*foot)?;
        }
        Some((pixel, tangent))
    }

    /// Distance of an observed point from the imaged line, px, with its derivatives. Moves `foot` to the
    /// nearest place on the line. The derivative by the foot vanishes there, so it is left out.
    pub(super) fn point(&self, state: &State, o: &PointSeen, foot: &mut f64) -> Option<(f64, Row)> {
        Self::find_foot(state, o, foot)?;
        let line = &state.lines[o.line];
        let (d, n) = (line.direction(), line.normal());
        let q = line.middle() + n * line.off + d * *foot;
        let face = Vector3::new(q.x, q.y, 0.0);
        let p = project(state.lens(o.photo), &state.poses[o.photo], face)?;
        let fx = p.by_face.column(0);
        let fy = p.by_face.column(1);
        let tangent = (fx * d.x + fy * d.y).normalize();
        let across = Vector2::new(-tangent.y, tangent.x);
        let mut row = Row::new();
        let at = self.index.lens(o.photo);
        for i in 0..LENS_UNKNOWNS {
            row.push(at + i, across.dot(&p.by_lens.column(i)), 0.0);
        }
        let at = self.index.pose(o.photo);
        for i in 0..6 {
            row.push(at + i, across.dot(&p.by_pose.column(i)), 0.0);
        }
        let by_normal = across.dot(&(fx * n.x + fy * n.y));
        if let Some(at) = self.index.off(o.line) {
            row.push(at, by_normal, 0.0);
        }
        let at = self.index.line(o.line);
        row.push(at, by_normal * *foot, 0.0);
        row.push(at + 1, by_normal, 0.0);
        Some((across.dot(&(o.at - p.pixel)), row))
    }

    /// Normal equations of everything; `None` if something came behind the camera.
    pub(super) fn normal(&self, state: &mut State) -> Option<Normal> {
        let n = self.index.count;
        let mut normal = Normal {
            matrix: DMatrix::zeros(n, n),
            pull: DVector::zeros(n),
            cost: 0.0,
            rows: Vec::with_capacity(self.saddles.len() + self.points.len()),
        };
        for s in self.saddles.iter().filter(|s| s.on) {
            let r = self.saddle(state, s)?;
            normal.add(r.row, r.miss, s.whiten / self.factors[0]);
        }
        for (k, o) in self.points.iter().enumerate().filter(|(_, o)| o.on) {
            let mut foot = state.feet[k];
            let (miss, row) = self.point(state, o, &mut foot)?;
            state.feet[k] = foot;
            let w = 1.0 / (o.sigma * self.factors[1 + o.line]);
            normal.add(row, Vector2::new(miss, 0.0), Matrix2::identity() * w);
        }
        for l in &self.lengths {
            let (mm, entries) = length(&state.lines, l.lines);
            normal.add_one(
                &self.length_columns(l, entries),
                (l.mm - mm) / l.sd,
                1.0 / l.sd,
            );
        }
        for tie in &self.ties {
            self.add_tie(state, tie, &mut normal);
        }
        self.add_expected(state, &mut normal);
        // Only the lower triangle was filled.
        normal.matrix.fill_upper_triangle_with_lower_triangle();
        normal.cost.is_finite().then_some(normal)
    }

    /// Misfits of all counted saddles and line points, px, without derivatives.
    fn misses(&self, state: &State) -> Option<Vec<Vector2<f64>>> {
        let mut all = Vec::with_capacity(self.saddles.len() + self.points.len());
        for s in self.saddles.iter().filter(|s| s.on) {
            let (_, face) = self.saddle_in_face(state, s);
            all.push(s.at - pixel_of(state.lens(s.photo), &state.poses[s.photo], face)?);
        }
        for (k, o) in self.points.iter().enumerate().filter(|(_, o)| o.on) {
            let (pixel, tangent) = Self::find_foot(state, o, &mut state.feet[k].clone())?;
            let across = Vector2::new(-tangent.y, tangent.x).normalize();
            all.push(Vector2::new(across.dot(&(o.at - pixel)), 0.0));
        }
        Some(all)
    }

    /// Right-hand side of the bend: what the second derivative of the misfits along `step` pulls at the
    /// unknowns. Solved with the same matrix it gives the acceleration of the path along the valley.
    ///
    /// # Source
    /// Geodesic acceleration: Transtrum and Sethna, "Improvements to the Levenberg-Marquardt algorithm for
    /// nonlinear least-squares minimization", arXiv:1201.5885, 2012, from memory.
    pub(super) fn bend(
        &self,
        state: &State,
        normal: &Normal,
        step: &DVector<f64>,
    ) -> Option<DVector<f64>> {
        let at = |h: f64| self.misses(&state.moved(&self.index, &(step * h)));
        let (minus, plus) = (at(-BEND_STEP)?, at(BEND_STEP)?);
        let mut pull = DVector::zeros(self.index.count);
        for (k, kept) in normal.rows.iter().enumerate() {
            let second = (minus[k] - kept.miss * 2.0 + plus[k]) / (BEND_STEP * BEND_STEP);
            let r = kept.root * second;
            for (i, [x, y]) in kept.row.iter() {
                pull[i] += x * r.x + y * r.y;
            }
        }
        Some(pull)
    }

    pub(super) fn length_columns(&self, l: &LengthSeen, entries: [f64; 4]) -> [(usize, f64); 4] {
        let [a, b] = l.lines.map(|k| self.index.line(k));
        [
            (a, entries[0]),
            (a + 1, entries[1]),
            (b, entries[2]),
            (b + 1, entries[3]),
        ]
    }

    /// A tie as three equations: what the second card's pose lies off where the first has it.
    fn add_tie(&self, state: &State, tie: &TieSeen, normal: &mut Normal) {
        let [a, b] = tie.cards.map(|c| state.cards[c]);
        let [from, to] = tie.cards.map(|c| self.index.card(c));
        let (s, c) = a[2].sin_cos();
        let (x, y) = (
            c * tie.lies[0] - s * tie.lies[1],
            s * tie.lies[0] + c * tie.lies[1],
        );
        let turn = b[2] - a[2] - tie.lies[2];
        let off = [
            b[0] - a[0] - x,
            b[1] - a[1] - y,
            turn.sin().atan2(turn.cos()),
        ];
        let by_turn = [y, -x, -1.0];
        for i in 0..3 {
            let sd = tie.sd[i / 2];
            let mut entries = Vec::with_capacity(3);
            if let Some(at) = from {
                if i < 2 {
                    entries.push((at + i, -1.0));
                }
                entries.push((at + 2, by_turn[i]));
            }
            if let Some(at) = to {
                entries.push((at + i, 1.0));
            }
            normal.add_one(&entries, -off[i] / sd, 1.0 / sd);
        }
    }

    fn add_expected(&self, state: &State, normal: &mut Normal) {
        let e = &self.expected;
        let now = state.lenses.iter().flat_map(Lens::unknowns);
        let miss = &e.lenses - DVector::from_iterator(e.lenses.len(), now);
        let pull = &e.lens_weight * &miss;
        for i in 0..e.lenses.len() {
            normal.pull[i] += pull[i];
            for j in 0..=i {
                normal.matrix[(i, j)] += e.lens_weight[(i, j)];
            }
        }
        normal.cost += miss.dot(&pull);
        for i in 0..2 {
            let sd = e.scale_sd[i];
            normal.add_one(
                &[(self.index.scale() + i, 1.0)],
                (e.scale[i] - state.scale[i]) / sd,
                1.0 / sd,
            );
        }
        for (k, line) in state.lines.iter().enumerate() {
            if let Some(at) = self.index.off(k) {
                let sd = e.lines_off[k];
                normal.add_one(&[(at, 1.0)], -line.off / sd, 1.0 / sd);
            }
        }
        let heights = [
            (self.index.paper, e.paper, state.paper),
            (self.index.bench, e.bench, state.bench),
        ];
        for (at, [mean, sd], now) in heights {
            if let Some(at) = at {
                normal.add_one(&[(at, 1.0)], (mean - now) / sd, 1.0 / sd);
            }
        }
    }
}

impl Normal {
    fn add(&mut self, mut row: Row, miss: Vector2<f64>, whiten: Matrix2<f64>) {
        let r = whiten * miss;
        let d = r.norm();
        let (weight, cost) = if d <= HUBER_SIGMAS {
            (1.0, d * d)
        } else {
            (
                HUBER_SIGMAS / d,
                2.0 * HUBER_SIGMAS * d - HUBER_SIGMAS * HUBER_SIGMAS,
            )
        };
        self.cost += cost;
        let root = whiten * f64::sqrt(weight);
        let r = root * miss;
        for e in &mut row.entries[..row.len] {
            *e = [
                root.m11 * e[0] + root.m12 * e[1],
                root.m21 * e[0] + root.m22 * e[1],
            ];
        }
        let (columns, entries) = (&row.columns[..row.len], &row.entries[..row.len]);
        let n = self.pull.len();
        for (b, (&j, [x, y])) in columns.iter().zip(entries).enumerate() {
            self.pull[j] += x * r.x + y * r.y;
            // Columns ascend, and a column of the matrix lies in one piece.
            let down = &mut self.matrix.as_mut_slice()[j * n..(j + 1) * n];
            for (&i, e) in columns[b..].iter().zip(&entries[b..]) {
                down[i] += x * e[0] + y * e[1];
            }
        }
        self.rows.push(Kept { row, root, miss });
    }

    /// One equation of its own, already divided by its standard deviation in `miss`.
    fn add_one(&mut self, entries: &[(usize, f64)], miss: f64, weight: f64) {
        self.cost += miss * miss;
        for &(i, x) in entries {
            self.pull[i] += x * weight * miss;
            for &(j, y) in entries {
                if j <= i {
                    self.matrix[(i, j)] += x * weight * y * weight;
                }
            }
        }
    }
}

/// Distance between two nearly parallel lines, each measured from the middle of the other, averaged; with
/// its derivatives by the angle and offset of both.
pub(super) fn length(lines: &[LinePose], pair: [usize; 2]) -> (f64, [f64; 4]) {
    let [a, b] = pair.map(|k| lines[k]);
    let mut mm = 0.0;
    let mut by = [0.0; 4];
    for (from, to, own, other) in [(a, b, 0, 2), (b, a, 2, 0)] {
        let reach = from.middle() - to.pivot;
        let signed = to.normal().dot(&reach) - to.offset;
        let half = 0.5 * signed.signum();
        mm += half * signed;
        by[own] -= half * from.offset * to.normal().dot(&from.direction());
        by[own + 1] += half * to.normal().dot(&from.normal());
        by[other] -= half * to.direction().dot(&reach);
        by[other + 1] -= half;
    }
    (mm, by)
}
