//! When a measured value proves that a limit is kept, or that it is broken.
//!
//! The rule is the guard band w = r U; unless the plan chooses a risk, r = 1 with k = 2, as in ISO 14253-1 of 1998 and 2013 (from memory); it is
//! stricter than the 95 % default of the 2017 edition. Conformance probability after JCGM 106:2012,
//! 7.2 to 7.4 (from memory).

use std::f64::consts::{FRAC_2_SQRT_PI, PI, SQRT_2};

/// Coverage factor of the expanded uncertainty, U = k u (JCGM 100:2008, 6.2.1, from memory).
pub const COVERAGE_FACTOR: f64 = 2.0;

/// Guard band over U, r = w / U with U = 2 u, that leaves a risk of `risk` at a limit: the conformance probability there
/// is 1 - risk (JCGM 106:2012, 8.3.2, from memory). With no risk chosen r is 1, which is a risk of 0.0228.
#[must_use]
pub fn guard_over_u(risk: Option<f64>) -> f64 {
    let Some(risk) = risk else { return 1.0 };
    // The quantile by halving: the distribution function is known to 1e-15, and 60 halvings of 16 are finer.
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = f64::midpoint(low, high);
        if normal_cdf(middle) < 1.0 - risk {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high) / COVERAGE_FACTOR
}

/// What a measurement proves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Proof {
    /// The limit is kept.
    Kept,
    /// The limit is broken.
    Broken,
    /// Neither.
    Neither,
}

/// Judges a value that has an upper limit only, such as a distance; all in one unit.
///
/// `expanded` is U. A value or a U that is not a number proves nothing.
#[must_use]
pub fn judge(value: f64, expanded: f64, upper: f64) -> Proof {
    if value + expanded <= upper {
        Proof::Kept
    } else if value - expanded > upper {
        Proof::Broken
    } else {
        Proof::Neither
    }
}

/// Judges a value between two limits; all in one unit.
#[must_use]
pub fn judge_between(value: f64, expanded: f64, lower: f64, upper: f64) -> Proof {
    match (
        judge(value, expanded, upper),
        judge(-value, expanded, -lower),
    ) {
        (Proof::Kept, Proof::Kept) => Proof::Kept,
        (Proof::Broken, _) | (_, Proof::Broken) => Proof::Broken,
        _ => Proof::Neither,
    }
}

/// Probability that the true value lies between the limits, for a normal distribution about `value`
/// with standard uncertainty `u` above 0. A limit that is not there is an infinite one.
#[must_use]
pub fn conformance_probability(value: f64, u: f64, lower: f64, upper: f64) -> f64 {
    normal_cdf((upper - value) / u) - normal_cdf((lower - value) / u)
}

/// The standard normal distribution function.
#[must_use]
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z / SQRT_2)
}

/// The complementary error function, to about 1e-15 absolute.
///
/// # Source
/// Abramowitz and Stegun, Handbook of Mathematical Functions, 7.1.6 (series) and 7.1.14 (continued
/// fraction), from memory.
#[must_use]
pub fn erfc(x: f64) -> f64 {
    /// Below, the series needs some 50 terms and loses no digit; above, the fraction is quick.
    const SERIES_BELOW: f64 = 2.5;
    /// Steps of the continued fraction, backwards; 60 are enough for 1e-16 at `SERIES_BELOW`.
    const STEPS: u32 = 60;
    if x.is_nan() {
        return x;
    }
    if x.abs() < SERIES_BELOW {
        // erf x = 2/sqrt(pi) exp(-x^2) sum over n of 2^n x^(2n+1) / (1 3 5 ... (2n+1)): all terms of one sign.
        let (mut term, mut sum, mut n) = (x, x, 1.0);
        while term.abs() > sum.abs() * f64::EPSILON / 4.0 {
            term *= 2.0 * x * x / (2.0 * n + 1.0);
            sum += term;
            n += 1.0;
        }
        return 1.0 - FRAC_2_SQRT_PI * (-x * x).exp() * sum;
    }
    let z = x.abs();
    let mut fraction = z;
    for k in (1..=STEPS).rev() {
        fraction = z + f64::from(k) / 2.0 / fraction;
    }
    let tail = (-z * z).exp() / (PI.sqrt() * fraction);
    if x < 0.0 { 2.0 - tail } else { tail }
}
