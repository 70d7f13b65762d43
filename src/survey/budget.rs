//! What each source of uncertainty has to do with the covariance.
//!
//! The normal matrix is a sum over what was observed and expected, N = Σ Nk, and the covariance is its inverse Q. So
//! Q = Q N Q = Σ Q Nk Q: each source's part is what its own errors do to the unknowns, and the parts add up.
//!
//! # Source
//! Propagation of uncorrelated inputs: JCGM 100:2008, 5.1.2, from memory.

use nalgebra::DMatrix;

use super::model::State;
use super::observe::Problem;

/// A source of uncertainty that all places of a survey share.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Noise of the checker corners, of the points on edges, and of lengths measured by rule.
    Solve,
    /// The size of the cards' print.
    Scale,
    /// What was not known of the lens.
    Lens,
    /// How high the cards' print lies over the face.
    Height,
    /// Where the sheet's edges end: see [`super::Options::line_off_mm`] and [`super::Survey::doubt_line`].
    Datum,
}

impl Source {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Solve,
        Self::Scale,
        Self::Lens,
        Self::Height,
        Self::Datum,
    ];
}

/// A survey's covariance by source.
#[derive(Debug, Clone)]
pub(super) struct Parts([DMatrix<f64>; Source::ALL.len()]);

impl Parts {
    /// The parts of `cov`, which is the inverse of the normal matrix of `problem` at `state`.
    pub(super) fn of(problem: &Problem, state: &State, cov: &DMatrix<f64>) -> Self {
        let (index, e) = (&problem.index, &problem.expected);
        let one = |at: usize, sd: f64| {
            let with = cov.column(at);
            with * with.transpose() / (sd * sd)
        };
        let scale = (0..2)
            .map(|i| one(index.scale() + i, e.scale_sd[i]))
            .fold(DMatrix::zeros(index.count, index.count), |sum, m| sum + m);
        let with = cov.columns(0, e.lenses.len());
        let lens = with * &e.lens_weight * with.transpose();
        let none = DMatrix::zeros(index.count, index.count);
        let height = [(index.paper, e.paper[1]), (index.bench, e.bench[1])]
            .into_iter()
            .filter_map(|(at, sd)| Some(one(at?, sd)))
            .fold(none.clone(), |sum, m| sum + m);
        let datum = (0..problem.factors.len() - 1)
            .filter_map(|line| Some(one(index.off(line)?, e.lines_off[line])))
            .fold(none, |sum, m| sum + m);
        let solve = match problem.normal(&mut state.clone()) {
            Some(normal) => cov * observed(problem, normal.matrix) * cov,
            None => cov - &scale - &lens - &height - &datum,
        };
        Self([solve, scale, lens, height, datum])
    }

    pub(super) fn get(&self, source: Source) -> &DMatrix<f64> {
        &self.0[source as usize]
    }

    /// Makes room for further unknowns.
    pub(super) fn grow(&mut self, count: usize) {
        for part in &mut self.0 {
            part.resize_mut(count, count, 0.0);
        }
    }

    /// Adds variance to one unknown.
    pub(super) fn add(&mut self, source: Source, at: usize, variance: f64) {
        self.0[source as usize][(at, at)] += variance;
    }
}

/// The normal matrix without what was expected before. What the covariance leaves when the other parts are taken off is the
/// same, but a small difference of large numbers: its digits then change with the machine's sines.
fn observed(problem: &Problem, mut normal: DMatrix<f64>) -> DMatrix<f64> {
    let (index, e) = (&problem.index, &problem.expected);
    let n = e.lenses.len();
    normal
        .view_mut((0, 0), (n, n))
        .zip_apply(&e.lens_weight, |all, expected| *all -= expected);
    let scale = (0..2).map(|i| (Some(index.scale() + i), e.scale_sd[i]));
    let heights = [(index.paper, e.paper[1]), (index.bench, e.bench[1])];
    let off = (0..problem.factors.len() - 1).map(|line| (index.off(line), e.lines_off[line]));
    for (at, sd) in scale.chain(heights).chain(off) {
        if let Some(at) = at {
            normal[(at, at)] -= 1.0 / (sd * sd);
        }
    }
    normal
}
