//! From marks and plan to a decision, and what to do at the bench.
//!
//! | step | file |
//! | --- | --- |
//! | which mark belongs to which hole | [`pairing`] |
//! | what shows where holes are drilled already | `drilled` |
//! | state of each hole, and what else is on the face | `states`, by the [`decision_rule`] |
//! | figures of the rows | `figures`, with [`line_fit`] |
//! | the decision, and why | `reasons` |
//! | what slip explains a whole row | [`cause`] |
//! | what to do at the bench | `bench`, in `words` |
//! | what to change for the next photo | [`coach`] |

mod bench;
pub mod cause;
pub mod coach;
pub mod decision_rule;
mod drilled;
mod figures;
pub mod line_fit;
pub mod pairing;
mod reasons;
mod states;
mod words;

pub(crate) use states::{direction_of_u, expanded_widest};
pub use words::place_near;
pub(crate) use words::{names, nearest};

use crate::frame::{Point, Sheet};
use crate::ink::{Doubt, Ink, MarkKind};
use crate::plan::Plan;
use crate::sheet::Outline;

/// Pairs marks (places in mm) with the plan's holes, by the gates that [`decide`] uses.
pub(crate) fn pair_with_plan(plan: &Plan, marks: &[nalgebra::Vector2<f64>]) -> pairing::Pairs {
    let planned: Vec<_> = plan.holes.iter().map(|h| h.at.vec()).collect();
    let gates = states::gates(&planned, plan.tolerance_mm);
    let widest = gates.iter().copied().fold(0.0, f64::max);
    pairing::pair(&planned, marks, |h, _| gates[h], widest)
}

/// Compares what was found with the plan.
///
/// All places are in the `Sheet` frame, mm. `extra` are findings of earlier stages: those that
/// [block](Weight::Blocks) keep the sheet from reading as ready, notes are passed on. The order of the
/// ink changes nothing.
///
/// - A hole whose place shows only unclear ink is `Unseen`, and `unclear`: not surely missing, never
///   good. `Unseen` is a hole whose place was not wholly seen and that has no mark.
/// - The further marks of a `Double` hole are in `strays` too: nothing on the face is left out.
/// - A mark both ringed and crossed out contradicts itself, and is unsure ink.
/// - A covariance that is none gives no uncertainty, and the hole is `Close`.
/// - Where an earlier stage stopped before anything was read, its finding is the whole story: that
///   nothing was seen of any hole is a consequence, and is not told as a reason of its own.
#[must_use]
pub fn decide(plan: &Plan, ink: &Ink, outline: &Outline, extra: &[(Weight, Reason)]) -> Verdict {
    let ink = &*drilled::left_out(plan, ink);
    let judged = states::judge_face(plan, ink);
    let rows = figures::figures(plan, &judged, outline);
    let (decision, reasons, bench) = if reasons::stopped(ink, extra) {
        (
            Decision::CannotTell,
            reasons::causes(extra),
            bench::start_over(),
        )
    } else {
        let (decision, reasons) = reasons::weigh(plan, ink, outline, &judged, extra);
        let found = bench::Found {
            lines: &ink.lines,
            outline,
        };
        let bench = bench::list(plan, &judged, &reasons, &found);
        (decision, reasons, bench)
    };
    Verdict {
        decision,
        reasons,
        holes: judged.holes,
        strays: judged.strays,
        rows,
        bench,
    }
}

/// Code of the finding that most of what makes holes close is the print of the cards, which nobody measured.
pub const PRINT_UNSAID: &str = "print-unsaid";
/// Code of the finding that it is how low the cards lie, which nobody said.
pub const HEIGHT_UNSAID: &str = "height-unsaid";

/// What a finding of an earlier stage does to the decision.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    /// The sheet is surely not as it should be.
    Wrong,
    /// The sheet cannot read as ready.
    Blocks,
    /// Worth knowing; changes nothing.
    Note,
}

/// The decision on the whole sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Decision {
    /// Every hole good and seen, no live stray, no unsure ink, the face seen.
    Ready,
    /// At least one thing is surely wrong.
    NotReady,
    /// Nothing is surely wrong, and not all could be proven right.
    CannotTell,
}

/// What became of a planned hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HoleState {
    /// Distance from plan + U within tolerance.
    Good,
    /// Distance - U beyond tolerance.
    Off,
    /// Neither can be proven: measure it by hand.
    Close,
    /// Seen clearly, and no mark there.
    Missing,
    /// A mark is there, and crossed out.
    Cancelled,
    /// Two candidate marks for one hole.
    Double,
    /// The photo does not show that place.
    Unseen,
}

/// One planned hole and what was found for it.
#[derive(Debug, Clone)]
pub struct HoleResult {
    /// The hole's name.
    pub name: String,
    /// Its row, or `None` for a single hole.
    pub row: Option<String>,
    /// Where it should be, mm.
    pub planned: Point<Sheet>,
    /// Where its mark is, mm; `None` where there is no mark.
    pub found: Option<Point<Sheet>>,
    /// Expanded uncertainty U (k = 2) of `found` along its offset, mm.
    pub uncertainty_mm: Option<f64>,
    /// The state.
    pub state: HoleState,
    /// `Unseen` for unclear ink at its place, which may be its mark; the place itself is visible.
    pub unclear: bool,
    /// The mark is ringed.
    pub ringed: bool,
    /// What sort of mark it is.
    pub kind: Option<MarkKind>,
    /// How surely it is a mark, 0 to 1; `None` without one, and for what was not read from ink.
    pub probability: Option<f64>,
}

/// What a mark that no hole asked for is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrayState {
    /// A live mark where no hole is planned: it may be drilled.
    Stray,
    /// Crossed out: harmless.
    Cancelled,
    /// Ink that could not be named.
    Unsure,
}

/// A mark, or unnamed ink, where no hole is planned.
#[derive(Debug, Clone)]
pub struct Stray {
    /// Where it is, mm.
    pub at: Point<Sheet>,
    /// Expanded uncertainty U (k = 2), mm.
    pub uncertainty_mm: f64,
    /// It is ringed: it *will* be drilled unless it is crossed out.
    pub ringed: bool,
    /// Stray, cancelled or unsure.
    pub state: StrayState,
    /// Largest extent, mm.
    pub size_mm: f64,
    /// For unsure ink: why it could not be named.
    pub why: Option<Doubt>,
    /// How surely it is a mark, 0 to 1; `None` for ink that does not look like one, and for what was not read from ink.
    pub probability: Option<f64>,
}

/// Figures of one row as marked.
#[derive(Debug, Clone)]
pub struct RowFigures {
    /// The row's name.
    pub row: String,
    /// Distance of the row from its own edge at the first and the last mark, mm; `None` if the edge
    /// was not seen or fewer than two marks were found.
    pub edge_distance_mm: Option<[f64; 2]>,
    /// Angle between row and edge, degrees, positive when the row runs away from the edge.
    pub angle_deg: Option<f64>,
    /// Expanded uncertainty of the edge distances, mm.
    pub uncertainty_mm: Option<f64>,
    /// Smallest, mean and largest distance between neighbouring marks, mm.
    pub pitch_mm: Option<[f64; 3]>,
    /// Largest expanded uncertainty of those distances, mm, the marks taken as independent.
    pub pitch_uncertainty_mm: Option<f64>,
    /// Largest distance of a mark from the straight line through the row, mm.
    pub straightness_mm: Option<f64>,
}

/// Why the decision is what it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reason {
    /// A fixed word for programs, such as `stray-mark`.
    pub code: &'static str,
    /// A sentence for people.
    pub text: String,
}

/// The verdict on a sheet.
#[derive(Debug, Clone)]
pub struct Verdict {
    /// Ready, not ready or cannot tell.
    pub decision: Decision,
    /// Why, the gravest first.
    pub reasons: Vec<Reason>,
    /// One for each planned hole, in the plan's order.
    pub holes: Vec<HoleResult>,
    /// Everything else on the face.
    pub strays: Vec<Stray>,
    /// One for each row, in the plan's order.
    pub rows: Vec<RowFigures>,
    /// What to do at the bench, in the order to do it.
    pub bench: Vec<String>,
}
