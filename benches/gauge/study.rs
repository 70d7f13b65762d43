//! A gauge study of the grade: the same piece photographed again, and held against the instructor's key.
//!
//! The repeatability standard deviation is that of ISO 5725-2:1994, 7.4 (from memory): the root of the mean
//! within-piece variance. A gauge study of the usual form would call 6 times that, over the range of grades
//! in use, its percentage.

use punchready::grade::findings::Findings;
use punchready::grade::rubric::Rubric;
use punchready::grade::score::score;
use punchready::plan::Plan;

/// One piece: the key, and what each photo of it gave.
pub(crate) struct Studied {
    pub(crate) key: Findings,
    pub(crate) photos: Vec<Findings>,
}

/// What the study says.
#[derive(Debug)]
pub(crate) struct Outcome {
    /// Repeatability standard deviation of the score, points of 100.
    pub(crate) score_sd: f64,
    /// Largest spread of a piece's scores, highest less lowest.
    pub(crate) widest: f64,
    /// The same of a mark's place, one direction, mm.
    pub(crate) place_sd_mm: f64,
    /// Share of photos whose score is within 3 points of the key's.
    pub(crate) near_key: f64,
    /// Mean of score less key.
    pub(crate) bias: f64,
    /// Largest distance from the key.
    pub(crate) worst: f64,
    /// Photos that gave no score.
    pub(crate) ungraded: usize,
    /// Photos that gave one.
    pub(crate) graded: usize,
}

pub(crate) fn outcome(pieces: &[Studied], plan: &Plan, rubric: &Rubric) -> Outcome {
    let percent = |f: &Findings| score(f, plan, rubric).and_then(|s| s.percent());
    let (mut within, mut freedom, mut widest) = (0.0, 0.0, 0.0_f64);
    let (mut places, mut place_freedom) = (0.0, 0.0);
    let mut misses: Vec<f64> = Vec::new();
    let mut ungraded = 0;
    for piece in pieces {
        let scores: Vec<f64> = piece.photos.iter().filter_map(percent).collect();
        ungraded += piece.photos.len() - scores.len();
        let (squares, n) = spread(&scores);
        within += squares;
        freedom += n;
        let range = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max)
            - scores.iter().copied().fold(f64::INFINITY, f64::min);
        widest = widest.max(range);
        let key = percent(&piece.key).unwrap_or(f64::NAN);
        misses.extend(scores.iter().map(|s| s - key));
        for h in 0..plan.holes.len() {
            for axis in 0..2 {
                let at: Vec<f64> = piece
                    .photos
                    .iter()
                    .filter_map(|f| Some(f.holes.get(h)?.live()?[axis]))
                    .collect();
                let (squares, n) = spread(&at);
                places += squares;
                place_freedom += n;
            }
        }
    }
    let n = misses.len() as f64;
    Outcome {
        score_sd: (within / freedom).sqrt(),
        widest,
        place_sd_mm: (places / place_freedom).sqrt(),
        near_key: misses.iter().filter(|m| m.abs() <= 3.0).count() as f64 / n,
        bias: misses.iter().sum::<f64>() / n,
        worst: misses.iter().map(|m| m.abs()).fold(0.0, f64::max),
        ungraded,
        graded: misses.len(),
    }
}

/// Squares about the mean, and their degrees of freedom.
fn spread(values: &[f64]) -> (f64, f64) {
    if values.len() < 2 {
        return (0.0, 0.0);
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (values.iter().map(|v| (v - mean).powi(2)).sum(), n - 1.0)
}
