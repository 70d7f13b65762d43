//! A side of the sheet as a line on the face, straight or bent, and places found near it.

use nalgebra::{Matrix3, Vector2, Vector3};

use crate::frame::{Face, Point};

/// A place on a profile: how far outward from the rough line, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    pub(super) along: f64,
    pub(super) out: f64,
}

impl Hit {
    /// How far outward of a line it is, mm.
    pub(super) fn off(&self, offset: f64, slope: f64) -> f64 {
        self.out - offset - slope * self.along
    }
}

/// A side on the face: straight, or bent as a lens that the first survey does not know yet bends it.
#[derive(Debug, Clone)]
pub(super) struct Axis {
    pub(super) start: Vector2<f64>,
    pub(super) along: Vector2<f64>,
    pub(super) outward: Vector2<f64>,
    pub(super) length: f64,
    /// How far outward of its ends' chord its middle is, mm.
    pub(super) bow: f64,
}

impl Axis {
    /// From `a` to `b`, anticlockwise round the sheet: outward is to the right.
    pub(super) fn through(a: Vector2<f64>, b: Vector2<f64>, bow: f64) -> Self {
        let along = (b - a).normalize();
        Self {
            start: a,
            along,
            outward: Vector2::new(along.y, -along.x),
            length: (b - a).norm(),
            bow,
        }
    }

    pub(super) fn point(&self, along: f64, out: f64) -> Point<Face> {
        let t = self.share(along);
        let out = out + self.bow * (1.0 - t * t);
        Point::at(self.start + self.along * along + self.outward * out)
    }

    /// Where along it, -1 to 1 from end to end.
    pub(super) fn share(&self, along: f64) -> f64 {
        2.0 * along / self.length - 1.0
    }

    pub(super) fn moved(&self, offset: f64, slope: f64) -> Self {
        let end =
            |along: f64| self.start + self.along * along + self.outward * (offset + slope * along);
        Self::through(end(0.0), end(self.length), self.bow)
    }

    /// The parabola nearest to the hits; `None` when they do not tell one.
    pub(super) fn bent(&self, hits: &[Hit]) -> Option<Self> {
        let row = |h: &Hit| {
            let t = self.share(h.along);
            Vector3::new(1.0, t, 1.0 - t * t)
        };
        let square: Matrix3<f64> = hits.iter().map(|h| row(h) * row(h).transpose()).sum();
        let right: Vector3<f64> = hits.iter().map(|h| row(h) * h.out).sum();
        let fit = square.cholesky()?.solve(&right);
        let slope = 2.0 * fit[1] / self.length;
        let mut bent = self.moved(fit[0] - fit[1], slope);
        bent.bow += fit[2];
        Some(bent)
    }

    /// How far outward of `other` it is at `along`.
    pub(super) fn beyond(&self, other: &Self, along: f64) -> f64 {
        let at = self.point(along, 0.0).vec() - other.point(along, 0.0).vec();
        at.dot(&other.outward)
    }
}

/// The largest set of hits on one straight line, by trying lines through pairs; `near`: mm.
pub(super) fn agreeing(hits: &[Hit], near: f64) -> Vec<Hit> {
    let mut best: Vec<Hit> = Vec::new();
    let n = hits.len();
    let stride = (n / 12).max(1);
    for i in (0..n).step_by(stride) {
        for j in (i + n / 4 + 1..n).step_by(stride) {
            let slope = (hits[j].out - hits[i].out) / (hits[j].along - hits[i].along);
            if slope.abs() > 0.03 {
                continue;
            }
            let fits =
                |h: &&Hit| (h.out - hits[i].out - slope * (h.along - hits[i].along)).abs() < near;
            let count = hits.iter().filter(fits).count();
            if count > best.len() {
                best = hits.iter().filter(fits).copied().collect();
            }
        }
    }
    // Once more round the fitted line, so that the pair that proposed it has no say.
    if best.len() > 2 {
        let (offset, slope) = least_squares(&best);
        best = hits
            .iter()
            .filter(|h| (h.out - offset - slope * h.along).abs() < near)
            .copied()
            .collect();
    }
    best
}

pub(super) fn least_squares(hits: &[Hit]) -> (f64, f64) {
    let n = hits.len() as f64;
    let (ms, mo) = (
        hits.iter().map(|h| h.along).sum::<f64>() / n,
        hits.iter().map(|h| h.out).sum::<f64>() / n,
    );
    let (mut ss, mut so) = (0.0, 0.0);
    for h in hits {
        ss += (h.along - ms).powi(2);
        so += (h.along - ms) * (h.out - mo);
    }
    let slope = if ss > 0.0 { so / ss } else { 0.0 };
    (mo - slope * ms, slope)
}
