//! The fit: ridge logistic regression by Newton's method with signs that have a reason, the bend that makes it come true, and
//! the file it is written to.

use std::fmt::Write;

use nalgebra::{SMatrix, SVector, Vector3};
use punchready::ink::confidence::{Bend, FEATURES, Model, N, Weight};

use super::Sample;

/// Prior of a weight: normal about 0 with this variance's inverse. It keeps a feature that happens to part the samples
/// without a fault from running away.
const RIDGE: f64 = 1.0;
const ROUNDS: usize = 50;
const DONE: f64 = 1e-9;
/// The same of a weight that would have the sign that has no reason: nothing is left of it.
const HELD: f64 = 1e12;
/// The sum at which the bend's pieces meet: 88 %, where the marks that nothing speaks against part from the others.
const KNOT: f64 = 2.0;

type Vector = SVector<f64, { N + 1 }>;

/// The weights under which the samples are likeliest, of those whose signs have a reason.
pub(crate) fn fit(samples: &[&Sample]) -> Model {
    let n = samples.len() as f64;
    let round = |v: f64| (v * 1e4).round() / 1e4;
    let feature = |k: usize| {
        let mean = samples.iter().map(|s| s.features[k]).sum::<f64>() / n;
        let square = |s: &&Sample| (s.features[k] - mean).powi(2);
        let sd = (samples.iter().map(square).sum::<f64>() / n).sqrt();
        Weight {
            name: FEATURES[k].0.to_owned(),
            mean: round(mean),
            sd: round(sd).max(1e-3),
            weight: 0.0,
        }
    };
    let mut model = Model {
        intercept: 0.0,
        bend: Bend::NONE,
        feature: (0..N).map(feature).collect(),
    };
    let row = |s: &Sample| {
        Vector::from_fn(|k, _| match k {
            0 => 1.0,
            _ => model.feature[k - 1].counted(s.features[k - 1]),
        })
    };
    let rows: Vec<(Vector, f64)> = samples
        .iter()
        .map(|s| (row(s), f64::from(u8::from(s.right))))
        .collect();
    let mut ridge = Vector::repeat(RIDGE);
    // The intercept is free.
    ridge[0] = 0.0;
    loop {
        let beta = likeliest(&rows, &ridge);
        // Whatever goes furthest the wrong way is held at 0, and the rest found anew.
        let wrong = (1..=N)
            .filter(|&k| ridge[k] < HELD && !FEATURES[k - 1].1.allows(beta[k]))
            .max_by(|&a, &b| beta[a].abs().total_cmp(&beta[b].abs()));
        if let Some(k) = wrong {
            ridge[k] = HELD;
            continue;
        }
        model.intercept = round(beta[0]);
        for (k, w) in model.feature.iter_mut().enumerate() {
            let held = ridge[k + 1] >= HELD;
            w.weight = if held { 0.0 } else { round(beta[k + 1]) };
        }
        model.bend = bend(&model, samples);
        return model;
    }
}

/// The bend under which the samples are likeliest.
fn bend(model: &Model, samples: &[&Sample]) -> Bend {
    let rows: Vec<(Vector3<f64>, f64)> = samples
        .iter()
        .map(|s| {
            let sum = model.sum(&s.features);
            let over = (sum - KNOT).max(0.0);
            let x = Vector3::new(1.0, sum - over, over);
            (x, f64::from(u8::from(s.right)))
        })
        .collect();
    let round = |v: f64| (v * 1e4).round() / 1e4;
    let beta = likeliest(&rows, &Vector3::repeat(0.0));
    Bend {
        knot: KNOT,
        offset: round(beta[0]),
        below: round(beta[1]),
        above: round(beta[2]),
    }
}

/// Newton's method on the log of the likelihood, with a normal prior of inverse variance `ridge` on each weight.
fn likeliest<const D: usize>(
    rows: &[(SVector<f64, D>, f64)],
    ridge: &SVector<f64, D>,
) -> SVector<f64, D> {
    let mut beta = SVector::zeros();
    for _ in 0..ROUNDS {
        let mut gradient = -ridge.component_mul(&beta);
        let mut hessian = SMatrix::<f64, D, D>::from_diagonal(ridge);
        for (x, y) in rows {
            let p = 1.0 / (1.0 + (-beta.dot(x)).exp());
            gradient += x * (y - p);
            hessian += x * x.transpose() * (p * (1.0 - p));
        }
        let step = hessian.cholesky().unwrap().solve(&gradient);
        beta += step;
        if step.norm() < DONE {
            break;
        }
    }
    beta
}

/// The file.
pub(crate) fn text(model: &Model, samples: &[&Sample]) -> String {
    let wrong = samples.iter().filter(|s| !s.right).count();
    let mut out = format!(
        "# How surely a mark is one. Written by `cargo bench --bench confidence -- --fit`: ridge logistic regression on\n\
         # {} marks read in drawn scenes, {wrong} of them wrong. They are summed up as\n\
         #   sum = intercept + sum of weight * (value - mean) / sd,\n\
         # each value taken no further than 3 sd from its mean. A positive weight speaks for a mark. A weight of 0 would have\n\
         # come out with the sign that has no reason (src/ink/confidence.rs), and is held there. The log of the odds is\n\
         #   offset + below * sum            up to sum = knot, and above * (sum - knot) more beyond,\n\
         # fitted on the same marks.\n\n\
         # The sum where all values are at their means.\n\
         intercept = {:?}\n\n\
         [bend]\n\
         knot = {:?}\n\
         offset = {:?}\n\
         below = {:?}\n\
         above = {:?}\n",
        samples.len(),
        model.intercept,
        model.bend.knot,
        model.bend.offset,
        model.bend.below,
        model.bend.above
    );
    for (w, (_, _, what)) in model.feature.iter().zip(FEATURES) {
        let _ = write!(
            out,
            "\n# {what}\n[[feature]]\nname = {:?}\nmean = {:?}\nsd = {:?}\nweight = {:?}\n",
            w.name, w.mean, w.sd, w.weight
        );
    }
    out
}
