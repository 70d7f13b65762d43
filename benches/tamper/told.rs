//! What a report says of the trouble, read as any program would read it: from its JSON.

use punchready::frame::{Point, Sheet};
use serde_json::Value;

use super::kinds::Trouble;

/// How one sheet was read.
#[derive(Debug, Clone)]
pub(crate) struct Reading {
    /// The report's own text.
    pub(crate) json: String,
    /// The verdict's code.
    pub(crate) verdict: String,
    /// Codes of its reasons.
    pub(crate) reasons: Vec<String>,
    /// Places were measured at all.
    pub(crate) measured: bool,
    /// Of each trouble, what is said.
    pub(crate) said: Vec<Said>,
    /// Holes that are not as planned and were called good.
    pub(crate) wrongly_good: Vec<String>,
}

/// What a report says of one trouble.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Said {
    /// Something is named at its place: a stray, ink that is unclear, a hole that is not good.
    Named,
    /// Its place is said to be not seen.
    Unseen,
    /// Nothing.
    Nothing,
}

impl Reading {
    /// Reads the report.
    pub(crate) fn of(json: String, troubles: &[Trouble]) -> Self {
        let report: Value = serde_json::from_str(&json).unwrap();
        let holes = report["holes"].as_array().unwrap();
        let good = |name: &String| {
            let hole = holes.iter().find(|h| h["name"] == name.as_str());
            hole.is_some_and(|h| h["state"] == "good")
        };
        let wrongly_good = troubles
            .iter()
            .filter(|t| t.of_hole)
            .flat_map(|t| t.holes.iter().filter(|n| good(n)).cloned())
            .collect();
        let reasons = report["reasons"].as_array().unwrap();
        Self {
            verdict: report["verdict"].as_str().unwrap().to_owned(),
            reasons: reasons
                .iter()
                .map(|r| r["code"].as_str().unwrap_or_default().to_owned())
                .collect(),
            measured: holes.iter().any(|h| !h["found"].is_null()),
            said: troubles
                .iter()
                .map(|t| said(&report, t, t.holes.iter().all(good)))
                .collect(),
            wrongly_good,
            json,
        }
    }

    /// Whether it reads ready.
    pub(crate) fn is_ready(&self) -> bool {
        self.verdict == "ready"
    }

    /// Whether it reads ready and should not: with trouble on the open face that is said to be unseen it may, for the plan
    /// allows some of the face to go unseen.
    pub(crate) fn is_wrong(&self, troubles: &[Trouble]) -> bool {
        let said = self.said.iter().zip(troubles);
        let mut unsaid = said.filter(|(said, t)| t.of_hole || **said != Said::Unseen);
        self.is_ready() && unsaid.next().is_some()
    }
}

fn said(report: &Value, trouble: &Trouble, holes_good: bool) -> Said {
    /// Half of the largest ink that may stand for the mark in it, mm: a letter, an X. A whole line is no place.
    const HALF_MM: f64 = 5.0;
    let near = |s: &Value| {
        let half = (s["size"].as_f64().unwrap_or(0.0) / 2.0).min(HALF_MM);
        let stands = point(&s["at"]).distance(trouble.at) <= trouble.reach_mm + half;
        let harmless = s["state"] == "cancelled" || s["state"] == "speck";
        stands && !harmless
    };
    let strays = report["strays"].as_array().unwrap();
    let unseen = report["seen"]["unseen"].as_array().unwrap();
    if !holes_good || strays.iter().any(near) {
        Said::Named
    } else if unseen.iter().any(|outline| holds(outline, trouble.at)) {
        Said::Unseen
    } else {
        Said::Nothing
    }
}

fn point(value: &Value) -> Point<Sheet> {
    let at = |i: usize| value[i].as_f64().unwrap_or(f64::NAN);
    Point::new(at(0), at(1))
}

/// Whether the outline goes round `at`: an upward ray crosses it an odd number of times.
fn holds(outline: &Value, at: Point<Sheet>) -> bool {
    let corners: Vec<Point<Sheet>> = outline.as_array().unwrap().iter().map(point).collect();
    let ends = corners.iter().zip(corners.iter().cycle().skip(1));
    let crossed = ends.filter(|(a, b)| {
        (a.x > at.x) != (b.x > at.x) && at.y < a.y + (b.y - a.y) * (at.x - a.x) / (b.x - a.x)
    });
    crossed.count() % 2 == 1
}
