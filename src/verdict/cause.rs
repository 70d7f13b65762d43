//! Why a whole row is out: the usual slips of marking out, weighed against each other and against chance.
//!
//! | step | file |
//! | --- | --- |
//! | where each slip puts the marks | `models` |
//! | how likely the marks are under each | `evidence` |
//! | a row's marks, its line and its sheet, out of what was judged | `of_row` |
//! | the sentence for the bench | `words` |
//!
//! Slips are compared by their posterior probabilities: each is a small linear model of the marks' displacements
//! whose size has a prior in millimetres of the trade, and the scatter of the hand is a number to be found like
//! any other (Jeffreys, "Theory of Probability", 3rd ed. 1961, ch. V; Kass and Raftery, "Bayes Factors", J. Am.
//! Stat. Assoc. 90, 1995, 773-795; both from memory).

mod evidence;
mod models;
mod of_row;
mod words;

pub use of_row::{of_row, print_sentence};

use evidence::{Noise, log_evidence};
use models::models;

/// A row, in its own directions: along it from its end edge, and away from its edge.
#[derive(Debug, Clone, Copy)]
pub struct RowMarks<'a> {
    /// Planned stations, mm from the end edge, growing.
    pub stations_mm: &'a [f64],
    /// Length of the edge, mm.
    pub edge_mm: f64,
    /// Planned distance from the edge, mm.
    pub edge_distance_mm: f64,
    /// The marks found, in order along the row: place along it and distance from its edge, mm. One for each
    /// station.
    pub marks: &'a [[f64; 2]],
    /// Standard deviation of the measurement of a mark's place along one direction, mm: its own, by itself.
    pub sd_mm: f64,
    /// What the measurements of all marks of the row share.
    pub shared: Shared,
    /// The line ruled for the row, if one was seen.
    pub line: Option<RowLine>,
    /// How the sheet measures, if it was seen from edge to edge along the row.
    pub sheet: Option<RowSheet>,
}

/// Standard deviations of what the measurements of a row's marks share, mm.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shared {
    /// All are off alike, along or across: by the datum.
    pub offset_mm: f64,
    /// The last one is off along the row, and the others in proportion to their stations: by the scale.
    pub stretch_mm: f64,
}

/// A line ruled for a row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowLine {
    /// Distance of its middle from the row's edge, mm.
    pub middle_mm: f64,
    /// Its width, mm.
    pub width_mm: f64,
}

/// What the sheet's size says of the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RowSheet {
    /// Measured less planned length of the sheet along the row, mm.
    pub excess_mm: f64,
    /// Distance of the row's edge from the datum edge parallel to it, mm: 0 for rows along the bottom or left.
    pub edge_at_mm: f64,
}

/// A slip that explains the marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Slip {
    /// Stepped from hole to hole: each step is this much too long, mm.
    Steps(f64),
    /// Right up to this station (number from 1), and stepped from there: each step is this much too long, mm.
    StepsFrom(usize, f64),
    /// All marks this far along, mm: started from another place than the edge.
    Start(f64),
    /// [`Slip::Start`] by an inch: measured from the rule's 1 in line, or as if from it.
    InchLine(f64),
    /// Measured from the other end of the edge.
    OtherEnd,
    /// The stations in reverse order: a strip or template turned end for end.
    Mirrored,
    /// The pitch in another unit's nearest figure: this long, mm.
    Unit(f64),
    /// Each inch of every station taken as this many mm.
    InchAs(f64),
    /// From this station on (number from 1), all are this much further, mm.
    From(usize, f64),
    /// The row is this far too far from its edge all along, mm.
    Beside(f64),
    /// The row stands on the other side of its ruled line, this far from where it should, mm.
    LineSide(f64),
    /// All marks off alike along and across, mm: measured from another corner.
    Moved(f64, f64),
    /// The row runs away from its edge by this much from its first to its last mark, mm.
    Slant(f64),
    /// Row and sheet both measure too large by this share: the scale is wrong, not the marks.
    Scale(f64),
}

impl Slip {
    /// Whether both are of one kind: their evidence counts together.
    fn is_like(&self, other: &Self) -> bool {
        let kind = |slip: &Self| match slip {
            Self::StepsFrom(..) => std::mem::discriminant(&Self::Steps(0.0)),
            slip => std::mem::discriminant(slip),
        };
        kind(self) == kind(other)
    }
}

/// What explains a row, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// The slip.
    pub slip: Slip,
    /// Probability that no slip known here explains the marks: that they lie so by chance, 0 to 1.
    pub chance: f64,
    /// Probability that it is this slip and no other of those known, 0 to 1.
    pub probability: f64,
}

/// Fewer marks agree by chance.
const FEWEST: usize = 5;
/// A cause is claimed when it is more likely than not that there is one, and, of all that it may be, that it is this
/// one. The first keeps claims in rows with none below 2 %.
const CLAIM_CHANCE: f64 = 0.5;
const CLAIM_THIS: f64 = 0.5;
/// Of a row that was stepped, a later start than its first mark is claimed when it is this likely: it says that the
/// marks before are right, and the mark that it names.
const CLAIM_LATER: f64 = 0.9;

/// The slip that explains the marks of a row; `None` when there is none, when it cannot be told from
/// chance, or when two explain it alike. Needs five marks or more and one for each station.
#[must_use]
pub fn explain(row: &RowMarks) -> Option<Cause> {
    let n = row.stations_mm.len();
    let sound = row
        .marks
        .iter()
        .flatten()
        .chain(row.stations_mm)
        .chain([&row.sd_mm, &row.edge_mm, &row.edge_distance_mm])
        .chain([&row.shared.offset_mm, &row.shared.stretch_mm])
        .all(|v| v.is_finite());
    if n < FEWEST || row.marks.len() != n || !sound {
        return None;
    }
    let models = models(row);
    let noise = Noise::of(row)?;
    let logs: Vec<f64> = models.iter().map(|m| log_evidence(m, &noise)).collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let share = |of: &dyn Fn(Option<Slip>) -> bool| {
        let own = models.iter().zip(&weights).filter(|(m, _)| of(m.slip));
        own.map(|(_, w)| w).sum::<f64>() / total
    };
    // The kind of slip first, since one that may have begun at many marks is spread over as many models; then the
    // likeliest of that kind.
    let slips = || {
        models
            .iter()
            .zip(&weights)
            .filter_map(|(m, w)| Some((m.slip?, *w)))
    };
    let of_kind = |kind: &Slip| share(&|s| s.is_some_and(|s| s.is_like(kind)));
    let (kind, probability) = slips()
        .map(|(slip, _)| (slip, of_kind(&slip)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let is_later = |slip: &Slip| matches!(slip, Slip::StepsFrom(..));
    let later = share(&|s| s.as_ref().is_some_and(is_later)) > CLAIM_LATER * probability;
    let (slip, _) = slips()
        .filter(|(slip, _)| slip.is_like(&kind) && (later || !is_later(slip)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let cause = Cause {
        slip,
        chance: share(&|s| s.is_none()),
        probability,
    };
    let any = 1.0 - cause.chance;
    (cause.chance < CLAIM_CHANCE && cause.probability > CLAIM_THIS * any).then_some(cause)
}
