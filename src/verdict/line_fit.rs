//! Straight lines through points.

use nalgebra::{Matrix2, Vector2};

/// Rounds of York's iteration; it settles in about ten.
const YORK_ROUNDS: usize = 200;
/// Change of the slope at which York's iteration has settled, relative to 1 + slope.
const YORK_SETTLED: f64 = 1e-15;
/// Standard uncertainty below which a coordinate counts as exact, in the points' unit.
const EXACT: f64 = 1e-9;

/// A line with the points' mean on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Mean of the points.
    pub centroid: Vector2<f64>,
    /// Unit vector along; x positive, or y positive where x is 0.
    pub direction: Vector2<f64>,
    /// Root mean square distance of the points.
    pub rms: f64,
}

impl Line {
    /// Unit normal, to the left of the direction.
    #[must_use]
    pub fn normal(&self) -> Vector2<f64> {
        Vector2::new(-self.direction.y, self.direction.x)
    }

    /// Signed distance of `p`, positive to the left.
    #[must_use]
    pub fn distance(&self, p: Vector2<f64>) -> f64 {
        self.normal().dot(&(p - self.centroid))
    }
}

/// The line of least squared orthogonal distance; `None` below two distinct points.
///
/// # Source
/// Pearson, "On Lines and Planes of Closest Fit to Systems of Points in Space", Phil. Mag. 2(11),
/// 1901, 559-572.
#[must_use]
pub fn orthogonal(points: &[Vector2<f64>]) -> Option<Line> {
    if points.len() < 2 {
        return None;
    }
    let n = points.len() as f64;
    let centroid = points.iter().sum::<Vector2<f64>>() / n;
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for p in points {
        let d = p - centroid;
        xx += d.x * d.x;
        xy += d.x * d.y;
        yy += d.y * d.y;
    }
    let spread = xx + yy;
    if spread == 0.0 || !spread.is_finite() {
        return None;
    }
    // Twice the angle of the long axis; exact also for level and upright lines.
    let angle = 0.5 * (2.0 * xy).atan2(xx - yy);
    let mut direction = Vector2::new(angle.cos(), angle.sin());
    if direction.x < 0.0 || (direction.x == 0.0 && direction.y < 0.0) {
        direction = -direction;
    }
    let mut line = Line {
        centroid,
        direction,
        rms: 0.0,
    };
    let sum: f64 = points.iter().map(|&p| line.distance(p).powi(2)).sum();
    line.rms = (sum / n).sqrt();
    Some(line)
}

/// The orthogonal line through those points that lie on one line, and which they are.
///
/// Starts from the least median of distances over a fixed choice of pairs, and drops what is further
/// than 3.5 robust standard deviations (at least `floor`, in the points' unit). Up to about a third
/// of the points may be elsewhere. `None` below two distinct points.
///
/// # Source
/// Rousseeuw, "Least Median of Squares Regression", J. Am. Stat. Assoc. 79, 1984, 871-880; the factor
/// 1.4826 (1 + 5 / (n - 2)) from Rousseeuw and Leroy, 1987 (both from memory).
#[must_use]
pub fn robust(points: &[Vector2<f64>], floor: f64) -> Option<(Line, Vec<bool>)> {
    /// Robust standard deviations from the line at which a point is elsewhere: 1 sound point in 2000.
    const CUT: f64 = 3.5;
    /// Refits until the choice of points holds.
    const ROUNDS: usize = 20;
    /// Below this number all pairs are tried, above, some of them.
    const ALL_PAIRS: usize = 24;
    let n = points.len();
    let everything = orthogonal(points)?;
    if n < 4 {
        // Three points cannot outvote one of them.
        return Some((everything, vec![true; n]));
    }
    let steps: Vec<usize> = if n <= ALL_PAIRS {
        (1..n).collect()
    } else {
        vec![n / 2, n / 3, 2 * n / 3, n / 4, n - 1]
    };
    let mut best: Option<(f64, Line)> = None;
    for step in steps {
        for i in 0..n - step {
            let Some(line) = orthogonal(&[points[i], points[i + step]]) else {
                continue;
            };
            let median = median_distance(points, &line);
            if best.is_none_or(|b| median < b.0) {
                best = Some((median, line));
            }
        }
    }
    let (median, mut line) = best?;
    let small_sample = 1.0 + 5.0 / (n as f64 - 2.0);
    let cut = CUT * (1.4826 * small_sample * median).max(floor);
    let mut on_line = vec![false; n];
    for _ in 0..ROUNDS {
        let now: Vec<bool> = points
            .iter()
            .map(|&p| line.distance(p).abs() <= cut)
            .collect();
        if now == on_line {
            break;
        }
        let kept: Vec<Vector2<f64>> = points
            .iter()
            .zip(&now)
            .filter_map(|(&p, &on)| on.then_some(p))
            .collect();
        let Some(refit) = orthogonal(&kept) else {
            break;
        };
        line = refit;
        on_line = now;
    }
    Some((line, on_line))
}

fn median_distance(points: &[Vector2<f64>], line: &Line) -> f64 {
    let mut distances: Vec<f64> = points.iter().map(|&p| line.distance(p).abs()).collect();
    let middle = distances.len() / 2;
    *distances.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// A line y = intercept + slope x, fitted to points with an uncertainty each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeightedLine {
    /// y at x = 0.
    pub intercept: f64,
    /// Rise over run.
    pub slope: f64,
    /// Standard uncertainty of the intercept, from the weights alone.
    pub u_intercept: f64,
    /// Standard uncertainty of the slope, from the weights alone.
    pub u_slope: f64,
    /// x at which intercept and slope are not correlated.
    pub pivot: f64,
    /// Weighted sum of squares; n - 2 is to be expected.
    pub chi_squared: f64,
}

impl WeightedLine {
    /// y at `x`.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }

    /// Standard uncertainty of y at `x`.
    #[must_use]
    pub fn u_at(&self, x: f64) -> f64 {
        let at_pivot = self.u_intercept.powi(2) - (self.pivot * self.u_slope).powi(2);
        (at_pivot.max(0.0) + ((x - self.pivot) * self.u_slope).powi(2)).sqrt()
    }
}

/// Fits a line to points with a 2x2 covariance each. The line must not be upright: turn the points
/// so that it runs along x.
///
/// `None` below two points of different x, or when a covariance is not one.
///
/// # Source
/// York, Evensen, Martinez, De Basabe Delgado, "Unified equations for the slope, intercept, and
/// standard errors of the best straight line", Am. J. Phys. 72, 2004, 367-375.
#[must_use]
pub fn weighted(points: &[(Vector2<f64>, Matrix2<f64>)]) -> Option<WeightedLine> {
    let plain: Vec<Vector2<f64>> = points.iter().map(|p| p.0).collect();
    let start = orthogonal(&plain)?;
    if start.direction.x == 0.0 {
        return None;
    }
    let mut slope = start.direction.y / start.direction.x;
    let sound =
        |c: &Matrix2<f64>| c.iter().all(|v| v.is_finite()) && c[(0, 0)] >= 0.0 && c[(1, 1)] >= 0.0;
    if !points
        .iter()
        .all(|(p, c)| sound(c) && p.x.is_finite() && p.y.is_finite())
    {
        return None;
    }
    let mut fit = None;
    for _ in 0..YORK_ROUNDS {
        let (next, line) = york_step(points, slope)?;
        let settled = (next - slope).abs() <= YORK_SETTLED * (1.0 + slope.abs());
        slope = next;
        fit = Some(line);
        if settled {
            break;
        }
    }
    fit
}

/// One round: the next slope, and the line for the present one.
fn york_step(points: &[(Vector2<f64>, Matrix2<f64>)], slope: f64) -> Option<(f64, WeightedLine)> {
    // Per point: weight of its residual, and its variances.
    let terms: Vec<(f64, Vector2<f64>, &Matrix2<f64>)> = points
        .iter()
        .map(|(p, c)| {
            let variance = c[(1, 1)] + slope * slope * c[(0, 0)] - 2.0 * slope * c[(0, 1)];
            (1.0 / variance.max(EXACT * EXACT), *p, c)
        })
        .collect();
    let total: f64 = terms.iter().map(|t| t.0).sum();
    let mean = terms.iter().map(|t| t.1 * t.0).sum::<Vector2<f64>>() / total;
    let (mut above, mut below) = (0.0, 0.0);
    let mut adjusted = Vec::with_capacity(terms.len());
    for (w, p, c) in &terms {
        let d = p - mean;
        // York's beta, written with variances so that a variance of 0 is harmless.
        let beta =
            w * (d.x * c[(1, 1)] + slope * d.y * c[(0, 0)] - (slope * d.x + d.y) * c[(0, 1)]);
        above += w * beta * d.y;
        below += w * beta * d.x;
        adjusted.push((*w, beta));
    }
    let next = above / below;
    if !next.is_finite() {
        return None;
    }
    let beta_mean = adjusted.iter().map(|(w, b)| w * b).sum::<f64>() / total;
    let spread: f64 = adjusted
        .iter()
        .map(|(w, b)| w * (b - beta_mean).powi(2))
        .sum();
    let u_slope = (1.0 / spread).sqrt();
    let pivot = mean.x + beta_mean;
    let intercept = mean.y - next * mean.x;
    let line = WeightedLine {
        intercept,
        slope: next,
        u_intercept: (1.0 / total + (pivot * u_slope).powi(2)).sqrt(),
        u_slope,
        pivot,
        chi_squared: terms
            .iter()
            .map(|(w, p, _)| w * (p.y - intercept - next * p.x).powi(2))
            .sum(),
    };
    Some((next, line))
}
