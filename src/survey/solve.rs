//! Levenberg-Marquardt, and the weights that the residuals ask for.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::error::SurveyError;
use super::model::State;
use super::observe::{HUBER_SIGMAS, Normal, Problem};

/// A step that moves nothing by more than this part of its standard deviation ends the solve.
const SETTLED_SIGMAS: f64 = 1e-7;
/// The same while the weights are not settled: they hardly change by so little.
const LOOSE_SIGMAS: f64 = 1e-2;
/// What counts as settled when rounding stops the descent.
const ROUNDING_SIGMAS: f64 = 1e-4;
/// What counts as settled when the steps run out: no position is off by more than this part of its own
/// uncertainty. Only cards that fit badly come to this: Gauss and Newton leave out what large residuals add.
const GOOD_ENOUGH_SIGMAS: f64 = 0.05;
pub(super) const MAX_STEPS: usize = 60;
/// Steps of the first round.
const LEARNING_STEPS: usize = 15;
const FIRST_DAMPING: f64 = 1e-4;
const MAX_DAMPING: f64 = 1e12;
/// Steps shorter than this need no look at the bend of the valley, which is of second order in them.
const STRAIGHT_SIGMAS: f64 = 0.1;
/// A bend of more than this part of the step is not to be trusted.
const MAX_BEND: f64 = 0.75;
/// Rises of the cost below this part of it are rounding.
const COST_ROUNDING: f64 = 1e-12;
/// Largest turn of a pose in one step, rad: beyond it the linear model means nothing.
const MAX_TURN: f64 = 0.5;
/// Rounds of weighting at most; three are usual.
const MAX_ROUNDS: usize = 8;
/// Weights are settled when no factor changes by more than this part.
const FACTOR_SETTLED: f64 = 1e-3;
/// A group's factor is taken from its residuals only with this redundancy; below it the stated
/// standard deviations are kept, because a handful of residuals says little of their spread.
const MIN_REDUNDANCY: f64 = 10.0;
/// Observations this many (rescaled) standard deviations off are switched off.
const OUTLIER_SIGMAS: f64 = 6.0;
/// At most this part of a group may be switched off: more is not outliers but a wrong model.
const MAX_OFF: f64 = 0.2;

/// A settled solve.
#[derive(Debug, Clone)]
pub(super) struct Settled {
    pub(super) state: State,
    pub(super) cov: DMatrix<f64>,
    pub(super) rcond: f64,
    /// The last step was short; else the state is only where the steps ran out.
    pub(super) steady: bool,
}

/// How far a descent goes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effort {
    pub(super) max_steps: usize,
    pub(super) damping: f64,
    /// A step no longer than this, in standard deviations, is the last.
    pub(super) enough: f64,
}

impl Effort {
    pub(super) fn steps(max_steps: usize) -> Self {
        Self {
            max_steps,
            damping: FIRST_DAMPING,
            enough: SETTLED_SIGMAS,
        }
    }
}

/// Steps downhill until settled or until the effort is spent; whether it settled comes last.
pub(super) fn descend(
    problem: &Problem,
    start: &State,
    effort: Effort,
) -> Result<(State, Normal, bool), SurveyError> {
    let behind = SurveyError::Diverged {
        steps: 0,
        rms_px: f64::INFINITY,
    };
    let mut state = start.clone();
    let mut normal = problem.normal(&mut state).ok_or(behind)?;
    let mut damping = effort.damping;
    let mut last = f64::INFINITY;
    for _ in 0..effort.max_steps {
        if damping > MAX_DAMPING {
            break;
        }
        let Some(damped) = Damped::new(&normal, damping) else {
            damping = raised(damping);
            continue;
        };
        let step = damped.solve(&normal.pull);
        let size = step.dot(&(&normal.matrix * &step)).max(0.0).sqrt();
        let turned = (0..problem.index.photos)
            .map(|k| step.rows(problem.index.pose(k), 3).norm())
            .fold(0.0, f64::max);
        if !size.is_finite() || turned > MAX_TURN {
            damping = raised(damping);
            continue;
        }
        let allowed = normal.cost * (1.0 + COST_ROUNDING) + 1e-18;
        let attempt = |step: &DVector<f64>| {
            let mut trial = state.moved(&problem.index, step);
            let next = problem.normal(&mut trial)?;
            (next.cost <= allowed).then_some((trial, next))
        };
        // Along the bent valley first, then straight on.
        let bent = if size > STRAIGHT_SIGMAS {
            problem
                .bend(&state, &normal, &step)
                .map(|pull| damped.solve(&pull) * 0.5)
                .filter(|bend| damped.length(bend) < MAX_BEND * damped.length(&step))
                .and_then(|bend| attempt(&(&step + bend)))
        } else {
            None
        };
        if let Some((trial, next)) = bent.or_else(|| attempt(&step)) {
            state = trial;
            normal = next;
            last = size;
            damping = if damping > 1e-10 { damping / 10.0 } else { 0.0 };
            if size < effort.enough {
                break;
            }
            continue;
        }
        if size < ROUNDING_SIGMAS && damping < 1e-3 {
            // Only rounding stands in the way.
            last = size;
            break;
        }
        damping = raised(damping);
    }
    state.tidy();
    Ok((state, normal, last < GOOD_ENOUGH_SIGMAS))
}

fn raised(damping: f64) -> f64 {
    (damping * 10.0).max(1e-8)
}

/// Factored normal matrix with a damped diagonal. The diagonal is first scaled to one: the unknowns span
/// twelve orders of magnitude.
struct Damped {
    scale: DVector<f64>,
    factor: Cholesky<f64, Dyn>,
}

impl Damped {
    fn new(normal: &Normal, damping: f64) -> Option<Self> {
        let m = &normal.matrix;
        let scale = m.diagonal().map(|d| 1.0 / d.sqrt());
        let scaled = DMatrix::from_fn(m.nrows(), m.ncols(), |i, j| {
            let v = m[(i, j)] * scale[i] * scale[j];
            if i == j { v * (1.0 + damping) } else { v }
        });
        Some(Self {
            factor: scaled.cholesky()?,
            scale,
        })
    }
    fn solve(&self, pull: &DVector<f64>) -> DVector<f64> {
        self.factor
            .solve(&pull.component_mul(&self.scale))
            .component_mul(&self.scale)
    }
    /// Length with each unknown in units of its standard deviation when all others are held.
    fn length(&self, step: &DVector<f64>) -> f64 {
        step.component_div(&self.scale).norm()
    }
}

/// Inverse of the normal matrix, and the reciprocal condition of its scaled form.
fn invert(matrix: &DMatrix<f64>) -> Result<(DMatrix<f64>, f64), usize> {
    let scale = matrix.diagonal().map(|d| 1.0 / d.sqrt());
    if let Some(bad) = scale.iter().position(|s| !s.is_finite()) {
        return Err(bad);
    }
    let n = matrix.nrows();
    let scaled = DMatrix::from_fn(n, n, |i, j| matrix[(i, j)] * scale[i] * scale[j]);
    let Some(chol) = scaled.clone().cholesky() else {
        let eigen = scaled.symmetric_eigen();
        let low = eigen.eigenvalues.imin();
        return Err(eigen.eigenvectors.column(low).iamax());
    };
    let inverse = chol.inverse();
    // One-norms: within a factor n of the true condition, and cheap.
    let norm = |m: &DMatrix<f64>| m.column_iter().map(|c| c.lp_norm(1)).fold(0.0, f64::max);
    let rcond = 1.0 / (norm(&scaled) * norm(&inverse));
    let mut cov = DMatrix::from_fn(n, n, |i, j| inverse[(i, j)] * scale[i] * scale[j]);
    // Symmetric to the last bit, so that later products are too.
    cov.fill_upper_triangle_with_lower_triangle();
    Ok((cov, rcond))
}

/// Solves, and in rounds adapts the weights: each group's standard deviations are multiplied by the root of
/// its weighted square sum over its redundancy, never by less than one (the stated ones count the noise
/// within a patch of pixels, so they can be too small, hardly too large).
pub(super) fn settle(problem: &mut Problem, start: &State) -> Result<Settled, SurveyError> {
    let mut state = start.clone();
    let mut rounds = 0;
    let mut weighed = false;
    loop {
        // With the stated standard deviations a bent card is all outliers, and the way down is rough. So the
        // first round only learns what spread to reckon with.
        let enough = if weighed {
            SETTLED_SIGMAS
        } else {
            LOOSE_SIGMAS
        };
        let effort = if rounds == 0 {
            Effort {
                enough,
                ..Effort::steps(LEARNING_STEPS)
            }
        } else {
            Effort {
                max_steps: MAX_STEPS,
                damping: 0.0,
                enough,
            }
        };
        let (next, normal, steady) = descend(problem, &state, effort)?;
        state = next;
        let (cov, rcond) = invert(&normal.matrix).map_err(|i| SurveyError::IllConditioned {
            unknown: problem.index.name(i),
            rcond: 0.0,
        })?;
        rounds += 1;
        let settled = Settled {
            state: state.clone(),
            cov,
            rcond,
            steady,
        };
        if weighed {
            return Ok(settled);
        }
        let changed = rounds < MAX_ROUNDS && problem.reweigh(&settled);
        weighed = rounds > 1 && !changed;
    }
}

impl Problem {
    /// Takes factors and outliers from the residuals; whether anything changed.
    fn reweigh(&mut self, settled: &Settled) -> bool {
        let groups = self.factors.len();
        let mut square_sum = vec![0.0; groups];
        let mut redundancy = vec![0.0; groups];
        let mut state = settled.state.clone();
        let cov = &settled.cov;
        // Distances in standard deviations, and the share of each observation that the unknowns took up.
        let mut far_saddles = vec![0.0; self.saddles.len()];
        for (i, s) in self.saddles.iter().enumerate() {
            let Some(r) = self.saddle(&state, s) else {
                return false;
            };
            let white = s.whiten / self.factors[0];
            let d = (white * r.miss).norm();
            far_saddles[i] = d;
            if s.on {
                let w = (HUBER_SIGMAS / d).min(1.0);
                let rows: Vec<_> = r.row.iter().collect();
                let spread = quadratic(&rows, cov, |e| white * nalgebra::Vector2::new(e[0], e[1]));
                square_sum[0] += w * d * d;
                redundancy[0] += 2.0 - w * spread;
            }
        }
        let mut far_points = vec![0.0; self.points.len()];
        for (i, o) in self.points.iter().enumerate() {
            let mut foot = state.feet[i];
            let Some((miss, row)) = self.point(&state, o, &mut foot) else {
                return false;
            };
            state.feet[i] = foot;
            let g = 1 + o.line;
            let white = 1.0 / (o.sigma * self.factors[g]);
            let d = (miss * white).abs();
            far_points[i] = d;
            if o.on {
                let w = (HUBER_SIGMAS / d).min(1.0);
                let rows: Vec<_> = row.iter().collect();
                let spread = quadratic(&rows, cov, |e| nalgebra::Vector2::new(e[0] * white, 0.0));
                square_sum[g] += w * d * d;
                redundancy[g] += 1.0 - w * spread;
            }
        }
        let mut changed = false;
        for g in 0..groups {
            if redundancy[g] < MIN_REDUNDANCY {
                continue;
            }
            let new = (self.factors[g] * (square_sum[g] / redundancy[g]).sqrt()).max(1.0);
            changed |= (new / self.factors[g] - 1.0).abs() > FACTOR_SETTLED;
            let ratio = self.factors[g] / new;
            self.factors[g] = new;
            if g == 0 {
                far_saddles.iter_mut().for_each(|d| *d *= ratio);
            } else {
                for (d, o) in far_points.iter_mut().zip(&self.points) {
                    if o.line == g - 1 {
                        *d *= ratio;
                    }
                }
            }
        }
        changed | self.switch(&far_saddles, &far_points)
    }

    fn switch(&mut self, far_saddles: &[f64], far_points: &[f64]) -> bool {
        let mut changed = false;
        let cards = self.saddles.iter().map(|s| s.card + 1).max().unwrap_or(0);
        for card in 0..cards {
            let of_card = |s: &&super::observe::SaddleSeen| s.card == card;
            let total = self.saddles.iter().filter(of_card).count();
            let limit = limit(
                total,
                self.saddles
                    .iter()
                    .zip(far_saddles)
                    .filter(|(s, _)| s.card == card)
                    .map(|(_, d)| *d),
            );
            for (s, d) in self.saddles.iter_mut().zip(far_saddles) {
                if s.card == card {
                    let on = *d <= limit;
                    changed |= on != s.on;
                    s.on = on;
                }
            }
        }
        for line in 0..self.factors.len() - 1 {
            let of_line = |o: &&super::observe::PointSeen| o.line == line;
            let total = self.points.iter().filter(of_line).count();
            let limit = limit(
                total,
                self.points
                    .iter()
                    .zip(far_points)
                    .filter(|(o, _)| o.line == line)
                    .map(|(_, d)| *d),
            );
            for (o, d) in self.points.iter_mut().zip(far_points) {
                if o.line == line {
                    let on = *d <= limit;
                    changed |= on != o.on;
                    o.on = on;
                }
            }
        }
        changed
    }

    /// RMS of the distances of all saddles of a photo from their places, counted or not, px: where a card moved
    /// between photos many are switched off.
    pub(super) fn photo_rms_px(&self, state: &State, photo: usize) -> f64 {
        let of_photo = self.saddles.iter().filter(|s| s.photo == photo);
        let (mut sum, mut count) = (0.0, 0);
        for r in of_photo.filter_map(|s| self.saddle(state, s)) {
            sum += r.miss.norm_squared();
            count += 1;
        }
        (sum / f64::max(f64::from(count), 1.0)).sqrt()
    }

    /// RMS of the distances of all counted saddles (of one card) from their places, px, and their number.
    pub(super) fn rms_px(&self, state: &State, card: Option<usize>) -> (f64, usize) {
        let mut sum = 0.0;
        let mut count = 0;
        for s in &self.saddles {
            if s.on && card.is_none_or(|c| c == s.card) {
                match self.saddle(state, s) {
                    Some(r) => sum += r.miss.norm_squared(),
                    None => return (f64::INFINITY, 0),
                }
                count += 1;
            }
        }
        ((sum / count.max(1) as f64).sqrt(), count)
    }
}

/// Distance beyond which an observation is switched off; never more than [`MAX_OFF`] of them.
fn limit(total: usize, far: impl Iterator<Item = f64>) -> f64 {
    let mut far: Vec<f64> = far.collect();
    far.sort_by(f64::total_cmp);
    let kept = total - (total as f64 * MAX_OFF) as usize;
    match kept.checked_sub(1).and_then(|i| far.get(i)) {
        Some(d) if *d > OUTLIER_SIGMAS => *d,
        _ => OUTLIER_SIGMAS,
    }
}

/// Trace of J Q Jᵀ for one (whitened) pair of rows.
fn quadratic(
    rows: &[(usize, [f64; 2])],
    cov: &DMatrix<f64>,
    white: impl Fn([f64; 2]) -> nalgebra::Vector2<f64>,
) -> f64 {
    let rows: Vec<_> = rows.iter().map(|(i, e)| (*i, white(*e))).collect();
    let mut sum = 0.0;
    for (k, (j, b)) in rows.iter().enumerate() {
        let column = cov.column(*j);
        // Both halves of the symmetric matrix, and its diagonal once.
        sum += column[*j] * b.dot(b);
        for (i, a) in &rows[k + 1..] {
            sum += 2.0 * column[*i] * a.dot(b);
        }
    }
    sum
}
