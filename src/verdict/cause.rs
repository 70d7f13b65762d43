//! Why a whole row is out: the usual slips of marking out, weighed against each other and against chance.
//!
//! Each slip is a model of where the marks then lie. Models are compared by the Bayesian information
//! criterion, whose differences stand for odds (Schwarz, "Estimating the Dimension of a Model", Ann.
//! Statist. 6, 1978, 461-464; Kass and Raftery, "Bayes Factors", J. Am. Stat. Assoc. 90, 1995, 773-795;
//! both from memory). The scatter of the hand is not known, and is part of every fit.

use super::decision_rule::COVERAGE_FACTOR;
use super::{HoleResult, HoleState, Stray, StrayState};
use crate::frame::{Point, Sheet};
use crate::plan::{Edge, Plan, Row};

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
    /// Least standard deviation of a mark's place along one direction, mm: that of the measurement.
    pub sd_mm: f64,
}

/// A slip that explains the marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Slip {
    /// Stepped from hole to hole: each step is this much too long, mm.
    Steps(f64),
    /// All marks this far along, mm: started from another place than the edge.
    Start(f64),
    /// [`Slip::Start`] by an inch: measured from the rule's 1 in line, or as if from it.
    InchLine(f64),
    /// Measured from the other end of the edge.
    OtherEnd,
    /// From this station on (number from 1), all are this much further, mm.
    From(usize, f64),
    /// The row is this far too far from its edge all along, mm: the wrong side of a line, or a misread
    /// edge distance.
    Beside(f64),
    /// The row runs away from its edge by this much from its first to its last mark, mm.
    Slant(f64),
}

/// What explains a row, and how sure that is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// The slip.
    pub slip: Slip,
    /// Probability that the marks lie so by chance, 0 to 1.
    pub chance: f64,
    /// Probability that it is this slip and no other of those known, 0 to 1.
    pub probability: f64,
    /// Scatter of the marks round it, one direction, mm.
    pub scatter_mm: f64,
}

/// Fewer marks agree by chance.
const FEWEST: usize = 5;
/// Most rows are marked out well: odds of no slip before looking.
const PRIOR_NONE: f64 = 0.5;
/// A cause is claimed below this probability of chance.
const CLAIM_CHANCE: f64 = 0.12;
/// Odds for the simpler of two slips where one fits whatever the other does, as a start from anywhere fits
/// the other end's marks: tuned on rows with noise, so that the right one is named.
const OCCAM: f64 = 10.0;
/// The same for a row that slants about any place, against one that is all too near or far.
const OCCAM_SLANT: f64 = 3.0;
/// A start within this many standard deviations of an inch is the inch line.
const INCH_WITHIN_SD: f64 = 3.0;

/// A model fitted.
struct Fit {
    slip: Option<Slip>,
    squares: f64,
    parameters: f64,
    prior: f64,
}

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
        .all(|v| v.is_finite())
        && row.sd_mm.is_finite()
        && row.edge_mm.is_finite()
        && row.edge_distance_mm.is_finite();
    if n < FEWEST || row.marks.len() != n || !sound {
        return None;
    }
    let fits = fits(row);
    let count = 2.0 * n as f64;
    // The measurement's own noise is always there: no fit is better than that.
    let floor = count * row.sd_mm.max(1e-6).powi(2);
    let score = |f: &Fit| {
        -0.5 * (count * (f.squares.max(floor) / count).ln() + f.parameters * count.ln())
            + f.prior.ln()
    };
    let scores: Vec<f64> = fits.iter().map(score).collect();
    let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = scores.iter().map(|s| (s - top).exp()).collect();
    let total: f64 = weights.iter().sum();
    let same = |a: Option<Slip>, b: Option<Slip>| match (a, b) {
        (Some(a), Some(b)) => std::mem::discriminant(&a) == std::mem::discriminant(&b),
        (None, None) => true,
        _ => false,
    };
    let share = |slip: Option<Slip>| -> f64 {
        fits.iter()
            .zip(&weights)
            .filter(|(f, _)| same(f.slip, slip))
            .map(|(_, w)| w)
            .sum::<f64>()
            / total
    };
    let best = (0..fits.len()).max_by(|&a, &b| weights[a].total_cmp(&weights[b]))?;
    let slip = fits[best].slip?;
    let cause = Cause {
        slip,
        chance: share(None),
        probability: share(Some(slip)),
        scatter_mm: (fits[best].squares / (count - fits[best].parameters)).sqrt(),
    };
    (cause.chance < CLAIM_CHANCE && cause.probability > 0.5).then_some(cause)
}

fn fits(row: &RowMarks) -> Vec<Fit> {
    let n = row.stations_mm.len();
    let along: Vec<f64> = (0..n)
        .map(|k| row.marks[k][0] - row.stations_mm[k])
        .collect();
    let across: Vec<f64> = row
        .marks
        .iter()
        .map(|m| m[1] - row.edge_distance_mm)
        .collect();
    let squares = |v: &[f64]| v.iter().map(|x| x * x).sum::<f64>();
    let (a2, c2) = (squares(&along), squares(&across));
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let mut out = vec![Fit {
        slip: None,
        squares: a2 + c2,
        parameters: 0.0,
        prior: PRIOR_NONE,
    }];
    let prior = (1.0 - PRIOR_NONE) / 6.0;
    let mut add = |slip, squares, parameters, prior| {
        out.push(Fit {
            slip: Some(slip),
            squares,
            parameters,
            prior,
        });
    };
    // Steps: the first is right, each further one adds the same.
    let kk: f64 = (0..n).map(|k| (k * k) as f64).sum();
    let step = along
        .iter()
        .enumerate()
        .map(|(k, r)| k as f64 * r)
        .sum::<f64>()
        / kk;
    let rest: Vec<f64> = along
        .iter()
        .enumerate()
        .map(|(k, r)| r - step * k as f64)
        .collect();
    add(Slip::Steps(step), squares(&rest) + c2, 1.0, prior);
    // Start.
    let start = mean(&along);
    let rest: Vec<f64> = along.iter().map(|r| r - start).collect();
    let sd = (squares(&rest) / n as f64).sqrt().max(row.sd_mm);
    let inch = (start.abs() - 25.4).abs() < INCH_WITHIN_SD * sd;
    let slip = if inch {
        Slip::InchLine(start)
    } else {
        Slip::Start(start)
    };
    add(slip, squares(&rest) + c2, 1.0, prior);
    // One step miscounted: a jump before one of the marks.
    for k in 1..n {
        let jump = mean(&along[k..]);
        let rest =
            squares(&along[..k]) + along[k..].iter().map(|r| (r - jump).powi(2)).sum::<f64>();
        add(
            Slip::From(k + 1, jump),
            rest + c2,
            1.0,
            prior / OCCAM_SLANT / (n - 1) as f64,
        );
    }
    // Other end: the same distances, from there.
    let other = (0..n)
        .map(|k| (row.marks[k][0] - (row.edge_mm - row.stations_mm[n - 1 - k])).powi(2))
        .sum::<f64>();
    add(Slip::OtherEnd, other + c2, 0.0, OCCAM * prior);
    // Beside.
    let beside = mean(&across);
    let level: Vec<f64> = across.iter().map(|c| c - beside).collect();
    add(Slip::Beside(beside), a2 + squares(&level), 1.0, prior);
    // Slant: right at one of its ends, or anywhere.
    let (first, last) = (row.stations_mm[0], row.stations_mm[n - 1]);
    let length = last - first;
    let middle = mean(row.stations_mm);
    for (pivot, from, parameters, odds) in [
        (first, &across, 1.0, prior / 2.0),
        (last, &across, 1.0, prior / 2.0),
        (middle, &level, 2.0, prior / OCCAM_SLANT),
    ] {
        let arms: Vec<f64> = row.stations_mm.iter().map(|s| s - pivot).collect();
        let slope = from.iter().zip(&arms).map(|(c, s)| c * s).sum::<f64>()
            / squares(&arms).max(f64::MIN_POSITIVE);
        let rest: Vec<f64> = from.iter().zip(&arms).map(|(c, s)| c - slope * s).collect();
        add(
            Slip::Slant(slope * length),
            a2 + squares(&rest),
            parameters,
            odds,
        );
    }
    out
}

impl Cause {
    /// A sentence for the bench about row `name`, whose holes are `names` in order.
    #[must_use]
    pub fn sentence(&self, name: &str, names: &[&str]) -> String {
        let (first, last) = (
            names.first().copied().unwrap_or("its first"),
            names.last().copied().unwrap_or("its last"),
        );
        let way =
            |mm: f64, plus: &'static str, minus: &'static str| if mm > 0.0 { plus } else { minus };
        let what = match self.slip {
            Slip::Steps(mm) => format!(
                "{first} to {last} run {:.2} mm {} per step: measure each from the end edge instead of from the \
                 mark before",
                mm.abs(),
                way(mm, "long", "short")
            ),
            Slip::Start(mm) => format!(
                "all marks lie {:.1} mm {} along the row: look where the rule was started from",
                mm.abs(),
                way(mm, "too far", "short")
            ),
            Slip::InchLine(mm) => format!(
                "all marks lie {:.1} mm, one inch, {}: measured from the rule's 1 in line?",
                mm.abs(),
                way(mm, "too far", "short")
            ),
            Slip::OtherEnd => "the marks fit when measured from the other end edge".into(),
            Slip::From(k, mm) => format!(
                "from {} on, all marks lie {:.1} mm {}: one step was miscounted or misread there",
                names.get(k - 1).copied().unwrap_or("one mark"),
                mm.abs(),
                way(mm, "too far", "short")
            ),
            Slip::Beside(mm) => format!(
                "all marks lie {:.1} mm too {} its edge: the wrong side of the ruled line, or a misread edge \
                 distance?",
                mm.abs(),
                way(mm, "far from", "near to")
            ),
            Slip::Slant(mm) => format!(
                "the row runs {:.1} mm {} its edge from {first} to {last}: rule its line anew at both ends",
                mm.abs(),
                way(mm, "away from", "towards")
            ),
        };
        // Never 0: nothing is that sure.
        let chance = (self.chance * 100.0).max(0.1);
        format!("row {name}: {what} (chance {chance:.1} % or less)")
    }
}

/// The slip that explains row `row` of the plan, as a sentence for the bench; `None` when all its holes are
/// good, when there is not one live mark for each station on or near its line, or as [`explain`].
///
/// The row's marks are those of its own holes and the live strays near its line: a row measured from the
/// wrong end leaves nothing but strays.
#[must_use]
pub fn of_row(plan: &Plan, row: &Row, holes: &[HoleResult], strays: &[Stray]) -> Option<String> {
    /// Strays further from the row's line are not meant for it, mm.
    const NEAR_LINE_MM: f64 = 6.0;
    let own: Vec<&HoleResult> = holes
        .iter()
        .filter(|h| h.row.as_ref() == Some(&row.name))
        .collect();
    if own.iter().all(|h| h.state == HoleState::Good) {
        return None;
    }
    let level = row.along.is_level();
    let edge_mm = if level { plan.width_mm } else { plan.height_mm };
    let place = |at: Point<Sheet>| match row.along {
        Edge::Bottom => [at.x, at.y],
        Edge::Top => [at.x, plan.height_mm - at.y],
        Edge::Left => [at.y, at.x],
        Edge::Right => [at.y, plan.width_mm - at.x],
    };
    let of_holes = own
        .iter()
        .filter(|h| h.state != HoleState::Cancelled)
        .filter_map(|h| Some((place(h.found?), h.uncertainty_mm?)));
    let near = strays
        .iter()
        .filter(|s| s.state == StrayState::Stray)
        .map(|s| (place(s.at), s.uncertainty_mm))
        .filter(|(p, _)| (p[1] - row.edge_distance_mm).abs() <= NEAR_LINE_MM);
    let mut marks: Vec<([f64; 2], f64)> = of_holes.chain(near).collect();
    marks.sort_by(|a, b| a.0[0].total_cmp(&b.0[0]));
    let expanded = marks.iter().map(|m| m.1).sum::<f64>() / marks.len().max(1) as f64;
    let places: Vec<[f64; 2]> = marks.iter().map(|m| m.0).collect();
    let cause = explain(&RowMarks {
        stations_mm: &row.stations_mm,
        edge_mm,
        edge_distance_mm: row.edge_distance_mm,
        marks: &places,
        sd_mm: expanded / COVERAGE_FACTOR,
    })?;
    let names: Vec<&str> = own.iter().map(|h| h.name.as_str()).collect();
    Some(cause.sentence(&row.name, &names))
}
