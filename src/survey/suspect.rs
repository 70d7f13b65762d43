//! A card that does not lie flat in the face shows in its saddles: heights fitted to its residuals.

use nalgebra::{SMatrix, SVector, Vector2};

use super::model::State;
use super::observe::Problem;

/// Misfits below this are not worth dropping a card for, px.
const HARMLESS_PX: f64 = 0.3;
/// A card that fits this many times worse than the others together is suspect.
const TIMES_WORSE: f64 = 3.0;
/// Ratio of the mean square that six heights explain to what is left: chance exceeds 6 about once in
/// 50 000 cards of 32 corners.
const F_LIMIT: f64 = 6.0;
/// Unknowns of the height fit: shift, turn; height, two tilts, three bows.
const TERMS: usize = 9;
const HEIGHTS: usize = 6;
/// Weak expectation that keeps the fit finite where heights cannot be seen, mm.
const HEIGHT_SD_MM: f64 = 10.0;

/// How a card fits the common face.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fit {
    pub(super) rms_px: f64,
    pub(super) used: usize,
    /// Largest height of a saddle over the face, mm, as far as the residuals show one.
    pub(super) stands_off_mm: f64,
    /// What that moves in the photo, px.
    pub(super) stands_off_px: f64,
    pub(super) f_ratio: f64,
}

impl Fit {
    pub(super) fn is_bent(&self) -> bool {
        self.stands_off_px > HARMLESS_PX && self.f_ratio > F_LIMIT
    }
}

/// One for each card of the problem.
pub(super) fn fits(problem: &Problem, state: &State, cards: usize) -> Vec<Fit> {
    (0..cards).map(|c| fit(problem, state, c)).collect()
}

/// Whether any card, or the set, calls for a closer look.
pub(super) fn any_suspect(fits: &[Fit]) -> bool {
    fits.iter().enumerate().any(|(i, f)| {
        let (mut sum, mut n) = (0.0, 0);
        for (_, o) in fits.iter().enumerate().filter(|(j, _)| *j != i) {
            sum += o.rms_px.powi(2) * o.used as f64;
            n += o.used;
        }
        let others = (sum / n.max(1) as f64).sqrt();
        let worse = n > 0 && f.rms_px > TIMES_WORSE * others && f.rms_px > HARMLESS_PX;
        worse || f.is_bent()
    })
}

/// Weighted square sum of all saddles by their stated covariances over the redundancy, as a root: the
/// number that says whether a set of cards fits.
pub(super) fn misfit(problem: &Problem, state: &State) -> f64 {
    let mut sum = 0.0;
    let mut rows = 0.0;
    for s in problem.saddles.iter() {
        if let Some(r) = problem.saddle(state, s) {
            sum += (s.whiten * r.miss).norm_squared().min(100.0);
            rows += 2.0;
        }
    }
    let cards = problem
        .saddles
        .iter()
        .map(|s| s.card + 1)
        .max()
        .unwrap_or(0);
    let unknowns = 6.0 * problem.index.photos as f64 + 3.0 * cards as f64;
    (sum / f64::max(rows - unknowns, 1.0)).sqrt()
}

fn fit(problem: &Problem, state: &State, card: usize) -> Fit {
    let (rms_px, used) = problem.rms_px(state, Some(card));
    let of_card = || problem.saddles.iter().filter(|s| s.card == card);
    let mut half = Vector2::new(1.0, 1.0);
    for s in of_card() {
        half = half.sup(&s.on_card.abs());
    }
    let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
    let mut pull = SVector::<f64, TERMS>::zeros();
    let mut square = 0.0;
    let mut places = Vec::new();
    for s in of_card() {
        let Some(r) = problem.saddle(state, s) else {
            continue;
        };
        let (u, v) = (s.on_card.x / half.x, s.on_card.y / half.y);
        let g = r.by_height;
        let shape = [1.0, u, v, u * u, u * v, v * v];
        places.push((g.norm(), shape));
        let mut columns = SMatrix::<f64, 2, TERMS>::zeros();
        for (i, c) in r.by_place.iter().enumerate() {
            columns.set_column(i, c);
        }
        for (i, h) in shape.iter().enumerate() {
            columns.set_column(TERMS - HEIGHTS + i, &(g * *h));
        }
        let white = s.whiten * columns;
        let miss = s.whiten * r.miss;
        normal += white.transpose() * white;
        pull += white.transpose() * miss;
        square += miss.norm_squared();
    }
    let mut fit = Fit {
        rms_px,
        used,
        stands_off_mm: 0.0,
        stands_off_px: 0.0,
        f_ratio: 0.0,
    };
    let left = 2.0 * places.len() as f64 - TERMS as f64;
    if left < TERMS as f64 {
        return fit;
    }
    // Without heights: only the leading block.
    let flat = normal.fixed_view::<3, 3>(0, 0).into_owned();
    let flat_pull = pull.fixed_rows::<3>(0).into_owned();
    for i in TERMS - HEIGHTS..TERMS {
        normal[(i, i)] += HEIGHT_SD_MM.powi(-2);
    }
    let (Some(flat), Some(full)) = (flat.cholesky(), normal.cholesky()) else {
        return fit;
    };
    let explained_flat = flat_pull.dot(&flat.solve(&flat_pull));
    let solution = full.solve(&pull);
    let explained = pull.dot(&solution);
    let remains = (square - explained).max(0.0) / left;
    // Rounding alone must not read as a perfect bow.
    let floor = 1e-6;
    fit.f_ratio = (explained - explained_flat) / HEIGHTS as f64 / remains.max(floor);
    for (px_per_mm, shape) in places {
        let h: f64 = shape
            .iter()
            .enumerate()
            .map(|(i, s)| s * solution[TERMS - HEIGHTS + i])
            .sum();
        if h.abs() * px_per_mm > fit.stands_off_px {
            fit.stands_off_px = h.abs() * px_per_mm;
            fit.stands_off_mm = h.abs();
        }
    }
    fit
}
