//! What of a mark's uncertainty comes from where.

use super::merge::{Blend, Merged};
use crate::frame::{Cov2, Point, Sheet};
use crate::survey::{Leaning, SheetFrame, Source};
use crate::verdict::{HoleResult, direction_of_u};

/// Standard uncertainties of a mark's place by their source, along the direction in which its U is told, mm. Their
/// squares add up to that of U/2.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Budget {
    /// Noise of the cards' corners and of the edges' points.
    pub solve: f64,
    /// The size of the cards' print.
    pub scale: f64,
    /// What was not known of the lens.
    pub lens: f64,
    /// How low the cards beside the sheet lie.
    pub height: f64,
    /// Where the sheet's edges end.
    pub datum: f64,
    /// How far from flat the face may be.
    pub flatness: f64,
    /// The mark itself: its ink, and the photo's noise.
    pub localisation: f64,
}

impl Budget {
    /// Names and values of the parts, in a fixed order.
    #[must_use]
    pub fn parts(&self) -> [(&'static str, f64); 7] {
        [
            ("solve", self.solve),
            ("scale", self.scale),
            ("lens", self.lens),
            ("height", self.height),
            ("datum", self.datum),
            ("flatness", self.flatness),
            ("localisation", self.localisation),
        ]
    }
}

/// Covariances of one mark's place by their source, mm².
#[derive(Debug, Clone)]
pub(super) struct Shares {
    at: Point<Sheet>,
    cov: Cov2,
    shared: [Cov2; Source::ALL.len()],
    flatness: Cov2,
    /// All of them together.
    all_shared: Cov2,
}

/// The shares of all marks.
pub(super) fn shares(merged: &Merged, frames: &[SheetFrame]) -> Vec<Shares> {
    let of_mark = |(m, blend): (&crate::ink::Mark, &Blend)| {
        let leanings: Option<Vec<(Leaning, Cov2)>> = blend
            .iter()
            .map(|(photo, at, weight)| {
                let frame = &frames[*photo];
                Some((frame.leaning(frame.pixel_from_sheet(*at)?)?, *weight))
            })
            .collect();
        let leanings = leanings?;
        let frame = &frames[0];
        let sum = |of: &dyn Fn(&Leaning, &Leaning) -> Cov2| {
            let mut all = Cov2::zeros();
            for (a, wa) in &leanings {
                for (b, wb) in &leanings {
                    all += wa * of(a, b) * wb.transpose();
                }
            }
            all
        };
        Some(Shares {
            at: m.at,
            cov: m.cov,
            shared: Source::ALL.map(|s| sum(&|a, b| frame.shared_from(s, a, b))),
            flatness: sum(&|a, b| a.by_flatness * b.by_flatness.transpose()),
            all_shared: sum(&|a, b| frame.shared(a, b)),
        })
    };
    let marks = merged.ink.marks.iter().zip(&merged.blends);
    marks.filter_map(of_mark).collect()
}

/// The budget of a hole's mark; `None` where there is none, or its uncertainty is not known.
pub(super) fn budget(hole: &HoleResult, shares: &[Shares]) -> Option<Budget> {
    let found = hole.found?;
    let of_mark = shares.iter().find(|s| s.at == found)?;
    let way = direction_of_u(&of_mark.cov, found - hole.planned)?;
    let variance = |cov: &Cov2| way.dot(&(cov * way)).max(0.0);
    let u = |source: Source| variance(&of_mark.shared[source as usize]).sqrt();
    let mut budget = Budget {
        solve: u(Source::Solve),
        scale: u(Source::Scale),
        lens: u(Source::Lens),
        height: u(Source::Height),
        datum: u(Source::Datum),
        flatness: variance(&of_mark.flatness).sqrt(),
        localisation: 0.0,
    };
    // Not what the parts leave: rounding of the larger ones would show in the last digits of this small one.
    let own = variance(&of_mark.cov) - variance(&of_mark.all_shared);
    budget.localisation = own.max(0.0).sqrt();
    Some(budget)
}
