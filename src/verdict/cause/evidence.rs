//! How likely a row's marks are under one model, whatever the size of the slip and the scatter of the hand.

use nalgebra::{DMatrix, DVector};

use super::{RowMarks, Slip};

/// A model of where a slip puts the marks.
pub(super) struct Model {
    /// The slip; `None` for models that claim none.
    pub(super) slip: Option<Slip>,
    /// Along the row, and across it.
    pub(super) ways: [Way; 2],
    /// Logarithm of its odds before looking, and of what else was seen (line, sheet) under it.
    pub(super) log_prior: f64,
}

/// A model in one direction: displacements are `left` + parts times their sizes + scatter.
#[derive(Clone)]
pub(super) struct Way {
    /// The displacements less all that is fixed, mm.
    pub(super) left: DVector<f64>,
    /// The parts whose sizes are fitted.
    pub(super) parts: Vec<Part>,
}

/// A part of a model whose size is fitted.
#[derive(Clone)]
pub(super) struct Part {
    /// The displacements that 1 mm of it makes, the largest 1 mm.
    pub(super) shape: DVector<f64>,
    /// What is known of its size before looking.
    pub(super) prior: Prior,
}

/// What is known of a size before looking.
#[derive(Debug, Clone, Copy)]
pub(super) enum Prior {
    /// About zero, as often above this as below it, mm; a Cauchy distribution, since a gross slip is no wonder.
    Within(f64),
    /// At zero with this standard deviation, mm: the model has its size already.
    Near(f64),
}

/// Scatter of a hand that marks with pen and rule along one direction, mm: as often above as below; and the
/// factor that is one standard deviation of its logarithm. Common practice, no source: marks within 1/64 in.
const HAND_MM: f64 = 0.15;
const HAND_FACTOR: f64 = 1.8;
/// Steps of the sum over the hand's scatter, and how many standard deviations it spans each way.
const HAND_STEPS: i32 = 10;
const HAND_SPAN: f64 = 3.0;

/// The covariance of the marks' displacements in one direction but for the scatter of the hand: each mark's own, and
/// what all marks of a photo share, since its scale and its datum are known only so well.
pub(super) struct Noise {
    own_mm2: f64,
    /// Unit vectors that the shared part has, and its variance along each, mm².
    axes: Vec<(DVector<f64>, f64)>,
}

impl Noise {
    /// Of directions along and across the row.
    pub(super) fn of(row: &RowMarks) -> Option<[Self; 2]> {
        let n = row.stations_mm.len();
        let far = row.stations_mm.last()?.abs().max(f64::MIN_POSITIVE);
        let stretch = DVector::from_fn(n, |k, _| row.stations_mm[k] / far * row.shared.stretch_mm);
        let offset = DVector::from_element(n, row.shared.offset_mm);
        let base = &offset * offset.transpose();
        let own_mm2 = row.sd_mm * row.sd_mm;
        Some([
            Self::with(own_mm2, &base + &stretch * stretch.transpose()),
            Self::with(own_mm2, base),
        ])
    }

    fn with(own_mm2: f64, shared: DMatrix<f64>) -> Self {
        /// Less is rounding, mm².
        const LEAST_MM2: f64 = 1e-10;
        let eigen = shared.symmetric_eigen();
        let axes = eigen
            .eigenvectors
            .column_iter()
            .zip(eigen.eigenvalues.iter())
            .filter(|(_, v)| **v > LEAST_MM2)
            .map(|(axis, v)| (axis.into_owned(), *v))
            .collect();
        Self { own_mm2, axes }
    }
}

/// The logarithm of the model's probability times that of the marks under it, up to a number that is the same for
/// all models of a row. The sizes are integrated by Laplace's approximation, which is exact but for the curve of
/// the prior; the scatter by a sum, in each direction by itself: a mark on a ruled line is off along it alone.
pub(super) fn log_evidence(model: &Model, noise: &[Noise; 2]) -> f64 {
    of_way(&model.ways[0], &noise[0]) + of_way(&model.ways[1], &noise[1]) + model.log_prior
}

fn of_way(way: &Way, noise: &Noise) -> f64 {
    let products = Products::of(way, noise);
    let logs: Vec<f64> = (-HAND_STEPS..=HAND_STEPS)
        .map(|i| {
            let z = HAND_SPAN * f64::from(i) / f64::from(HAND_STEPS);
            let hand = HAND_MM * HAND_FACTOR.powf(z);
            of_scatter(way, noise, &products, hand * hand + noise.own_mm2) - 0.5 * z * z
        })
        .collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + logs.iter().map(|l| (l - top).exp()).sum::<f64>().ln()
}

/// Scalar products of what is left and of the parts: in all, and along each axis of the shared noise.
struct Products {
    all: DMatrix<f64>,
    along_axes: DMatrix<f64>,
}

impl Products {
    fn of(way: &Way, noise: &Noise) -> Self {
        let vectors: Vec<&DVector<f64>> = std::iter::once(&way.left)
            .chain(way.parts.iter().map(|p| &p.shape))
            .collect();
        let n = vectors.len();
        Self {
            all: DMatrix::from_fn(n, n, |i, j| vectors[i].dot(vectors[j])),
            along_axes: DMatrix::from_fn(n, noise.axes.len(), |i, a| {
                vectors[i].dot(&noise.axes[a].0)
            }),
        }
    }

    /// Weighted by the inverse of the noise's covariance.
    fn weighted(&self, noise: &Noise, variance: f64) -> DMatrix<f64> {
        let mut out = &self.all / variance;
        for (a, (_, shared)) in noise.axes.iter().enumerate() {
            let along = self.along_axes.column(a);
            out += along * along.transpose() * (1.0 / (variance + shared) - 1.0 / variance);
        }
        out
    }
}

/// The same for one scatter: `variance` is that of the hand and of a mark's own measurement, mm².
fn of_scatter(way: &Way, noise: &Noise, products: &Products, variance: f64) -> f64 {
    let mut log = -0.5 * way.left.len() as f64 * variance.ln();
    for (_, shared) in &noise.axes {
        log -= 0.5 * (1.0 + shared / variance).ln();
    }
    let mut g = products.weighted(noise, variance);
    // Parts are fitted one after the other, and each is taken off what is left and off the later ones.
    for (i, part) in (1..).zip(&way.parts) {
        let own = 1.0 / g[(i, i)].max(f64::MIN_POSITIVE);
        let size = g[(0, i)] * own;
        let column = g.column(i).into_owned();
        g -= &column * column.transpose() * own;
        log += match part.prior {
            Prior::Within(half) => {
                let density = 1.0 / (std::f64::consts::PI * half * (1.0 + (size / half).powi(2)));
                // A size is not better known before looking than after.
                (density * (std::f64::consts::TAU * own).sqrt())
                    .min(1.0)
                    .ln()
            }
            Prior::Near(sd) => {
                let sum = sd * sd + own;
                0.5 * (own / sum).ln() - 0.5 * size * size / sum
            }
        };
    }
    log - 0.5 * g[(0, 0)]
}

impl Way {
    /// The sizes of its parts by plain least squares, mm; the parts must be square to each other.
    pub(super) fn sizes(&self) -> Vec<f64> {
        self.parts
            .iter()
            .map(|p| p.shape.dot(&self.left) / p.shape.norm_squared().max(f64::MIN_POSITIVE))
            .collect()
    }
}
