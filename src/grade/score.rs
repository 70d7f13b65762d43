//! Points for what was found, by the rubric.
//!
//! In doubt for the student: U is taken off each deviation, what was not seen does not count, and what could
//! not be judged from the photo is left to the instructor, never guessed.
//!
//! A hole without a mark counts as nothing wherever its mark would: in its place, in both spacings beside it, in what is
//! measured of its row. So no mark is so bad that leaving it out would pay, and each mark that is added in its place adds
//! points (`tests/grade_score.rs` holds both by many pieces).

mod judge;

use super::findings::Findings;
use super::rubric::{Benefit, Rubric};
use crate::plan::Plan;
use judge::{Judge, Judged, left};

/// One item as marked.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemScore {
    /// Its key in the rubric; `instructor` for what is given by eye.
    pub key: &'static str,
    /// What it is called on the sheet.
    pub name: String,
    /// Points that can be had.
    pub weight: f64,
    /// Share of them, 0 to 1; `None`: left to the instructor.
    pub share: Option<f64>,
    /// Share of them that holes without a mark have cost.
    pub unmarked: f64,
    /// The figure behind it, or why it is left.
    pub figure: String,
    /// What was in doubt, and that it was counted for the student.
    pub doubt: Option<String>,
}

impl ItemScore {
    /// Points had.
    #[must_use]
    pub fn points(&self) -> Option<f64> {
        self.share.map(|s| s * self.weight)
    }
}

/// A piece as marked.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// The items that have a weight, in the rubric's order.
    pub items: Vec<ItemScore>,
    /// Why the piece fails whatever its points; empty as a rule.
    pub fails: Vec<String>,
    /// Points of the judged items.
    pub points: f64,
    /// Points that the judged items could give.
    pub judged: f64,
    /// Points left to the instructor.
    pub left: f64,
}

impl Score {
    /// Percent of the points that could be judged; `None` where these are less than half of all, for a few items
    /// say nothing of a whole piece.
    #[must_use]
    pub fn percent(&self) -> Option<f64> {
        let enough = self.judged > 0.0 && self.judged >= self.left;
        enough.then(|| 100.0 * self.points / self.judged)
    }

    /// Whether it passes, where the rubric says from when.
    #[must_use]
    pub fn passed(&self, rubric: &Rubric) -> Option<bool> {
        let needed = rubric.result.pass?.0;
        // As printed: nobody fails by a fraction that the sheet does not show.
        let percent = self.percent()?.round();
        Some(self.fails.is_empty() && percent >= needed)
    }
}

/// Marks a piece. `None` where nothing could be measured: there is nothing to go by.
#[must_use]
pub fn score(found: &Findings, plan: &Plan, rubric: &Rubric) -> Option<Score> {
    if !found.measured {
        return None;
    }
    let judge = Judge {
        found,
        plan,
        rubric,
    };
    let lines = &rubric.lines;
    let mut items: Vec<ItemScore> = Vec::new();
    let mut add = |key, name: &str, weight: f64, judged: Judged| {
        if weight > 0.0 {
            items.push(ItemScore {
                key,
                name: name.to_owned(),
                weight,
                share: judged.share,
                unmarked: judged.unmarked,
                figure: judged.figure,
                doubt: judged.doubt,
            });
        }
    };
    add(
        "presence",
        "Every hole marked",
        rubric.presence.weight.0,
        judge.presence(),
    );
    add(
        "position",
        "Marks in their places",
        rubric.position.weight.0,
        judge.position(),
    );
    add(
        "spacing",
        "Spacing from mark to mark",
        rubric.spacing.weight.0,
        judge.spacing(),
    );
    add(
        "edge_distance",
        "Distance from the edge",
        rubric.edge_distance.weight.0,
        judge.edge_distance(),
    );
    add(
        "lines.straight",
        "Rows straight",
        lines.straight.weight.0,
        judge.straight(),
    );
    add(
        "lines.parallel",
        "Rows level with their edge",
        lines.parallel.weight.0,
        judge.parallel(),
    );
    add(
        "lines.thin",
        "Ruled lines thin",
        lines.thin.weight.0,
        judge.thin(),
    );
    add(
        "lines.one_pass",
        "Lines ruled once",
        lines.one_pass.weight.0,
        judge.one_pass(),
    );
    add(
        "strays",
        "No extra marks",
        rubric.strays.weight.0,
        judge.strays(),
    );
    add(
        "rings",
        "Rings where asked",
        rubric.rings.weight.0,
        judge.rings(),
    );
    for item in &rubric.by_eye {
        add(
            "instructor",
            &item.name,
            item.weight.0,
            left("given by your instructor"),
        );
    }
    let points = items.iter().filter_map(ItemScore::points).sum();
    let of = |judged: bool| {
        let those = items.iter().filter(|i| i.share.is_some() == judged);
        those.map(|i| i.weight).sum::<f64>()
    };
    let (judged, open) = (of(true), of(false));
    Some(Score {
        fails: judge.fails(),
        points,
        judged,
        left: open,
        items,
    })
}

/// The same with every value taken as measured: for the instructor, beside the grade.
#[must_use]
pub fn as_measured(found: &Findings, plan: &Plan, rubric: &Rubric) -> Option<f64> {
    let mut strict = rubric.clone();
    strict.doubt.benefit = Benefit::Measured;
    score(found, plan, &strict)?.percent()
}
