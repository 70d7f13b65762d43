//! What the report on one sheet is worth.

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;
use std::time::{Duration, Instant};

use serde_json::Value;

use super::sheet::{Truth, list, point, report};

/// A find further than this from every mark is of nothing that was drawn, mm.
const NEAR_MM: f64 = 1.5;

/// What is said of a live stray.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Told {
    /// It is a mark.
    Mark,
    /// Ink that is unclear.
    Unclear,
    /// Its place is not seen.
    NotVisible,
    /// Nothing.
    Untold,
}

/// The score of one sheet.
#[derive(Debug)]
pub(crate) struct Score {
    pub(crate) name: String,
    /// What was asked, in one word: `faultless`, `faulty`, or what should be said instead of a verdict.
    pub(crate) kind: String,
    /// Places are to be measured.
    pub(crate) to_measure: bool,
    pub(crate) verdict: String,
    /// Some place was measured.
    pub(crate) measured: bool,
    /// How many holes are said to be in each state.
    states: BTreeMap<String, usize>,
    /// Holes called good that are not.
    pub(crate) wrongly_good: Vec<String>,
    /// Some hole is said to be surely good or off.
    pub(crate) claims: bool,
    /// A reason or note speaks of the cards' print.
    pub(crate) names_print: bool,
    /// Marks, and unclear ink, told where nothing was drawn.
    pub(crate) invented: usize,
    pub(crate) unclear: usize,
    /// Each live stray: what is said of it, and whether something hides it.
    pub(crate) strays: Vec<(Told, bool)>,
    /// Of each found mark of a hole: how far it is from the nearest true mark, and its U, mm.
    pub(crate) errors: Vec<[f64; 2]>,
    /// How far all found marks together are from the true ones, and their largest U, mm: an edge that is off moves all.
    pub(crate) shift: [f64; 2],
    took: Duration,
}

impl Score {
    /// Checks the sheet in this folder.
    pub(crate) fn of(folder: &Path) -> Self {
        let truth = Truth::read(folder);
        let start = Instant::now();
        let report = report(folder, &truth);
        let took = start.elapsed();
        let marks = truth.marks();
        let holes = list(&report["holes"]);
        let mut states = BTreeMap::new();
        let mut wrongly_good = Vec::new();
        for hole in holes {
            let state = hole["state"].as_str().unwrap();
            let name = hole["name"].as_str().unwrap();
            *states.entry(state.to_owned()).or_default() += 1;
            if state == "good" && truth.state_of(name) != "good" {
                wrongly_good.push(name.to_owned());
            }
        }
        let kind = match truth.answer() {
            "measure" if truth.is_faultless() => "faultless",
            "measure" => "faulty",
            other => other,
        };
        let near = |at: [f64; 2]| {
            let away = marks.iter().map(|m| (distance(m.at, at), m.at));
            away.min_by(|a, b| a.0.total_cmp(&b.0))
                .unwrap_or((f64::INFINITY, at))
        };
        let found: Vec<[f64; 4]> = holes
            .iter()
            .filter(|h| !h["found"].is_null())
            .map(|h| {
                let at = point(&h["found"]);
                let (away, true_at) = near(at);
                let u = h["uncertainty"].as_f64().unwrap_or(0.0);
                [away, u, at[0] - true_at[0], at[1] - true_at[1]]
            })
            .collect();
        let measured = !found.is_empty();
        let close: Vec<[f64; 4]> = found.into_iter().filter(|f| f[0] <= NEAR_MM).collect();
        let far = list(&report["strays"])
            .iter()
            .filter(|s| near(point(&s["at"])).0 > NEAR_MM);
        let far: Vec<&str> = far.map(|s| s["state"].as_str().unwrap()).collect();
        let strays = marks.iter().filter(|m| m.live_stray);
        Self {
            name: folder.file_name().unwrap().to_string_lossy().into_owned(),
            kind: kind.to_owned(),
            to_measure: truth.answer() == "measure",
            verdict: report["verdict"].as_str().unwrap().to_owned(),
            measured,
            wrongly_good,
            claims: ["good", "off"].iter().any(|s| states.contains_key(*s)),
            states,
            names_print: names_print(&report),
            invented: far
                .iter()
                .filter(|s| !["unsure", "unclear", "speck", "cancelled"].contains(s))
                .count(),
            unclear: far
                .iter()
                .filter(|s| ["unsure", "unclear"].contains(s))
                .count(),
            strays: strays.map(|m| (told(&report, m.at), m.hidden)).collect(),
            shift: shift(&close),
            errors: close.iter().map(|f| [f[0], f[1]]).collect(),
            took,
        }
    }

    /// How many of the found marks are within U.
    pub(crate) fn within_u(&self) -> usize {
        self.errors.iter().filter(|[away, u]| away <= u).count()
    }

    fn count(&self, what: Told) -> usize {
        self.strays.iter().filter(|(told, _)| *told == what).count()
    }
}

/// Mean offset of the found marks, and their largest U, mm.
fn shift(close: &[[f64; 4]]) -> [f64; 2] {
    let n = close.len().max(1) as f64;
    let mean = [2, 3].map(|i| close.iter().map(|f| f[i]).sum::<f64>() / n);
    let widest = close.iter().map(|f| f[1]).fold(0.0, f64::max);
    [mean[0].hypot(mean[1]), widest]
}

fn names_print(report: &Value) -> bool {
    let reasons = list(&report["reasons"]).iter().map(|r| &r["text"]);
    let texts = reasons
        .chain(list(&report["notes"]))
        .filter_map(Value::as_str);
    texts
        .into_iter()
        .any(|t| t.contains("printed at") || t.contains("--bars"))
}

fn told(report: &Value, at: [f64; 2]) -> Told {
    let strays = list(&report["strays"]).iter();
    let near: Vec<&str> = strays
        .filter(|s| distance(point(&s["at"]), at) <= NEAR_MM)
        .map(|s| s["state"].as_str().unwrap())
        .collect();
    let unclear = |s: &&str| matches!(*s, "unsure" | "unclear");
    let unseen = list(&report["seen"]["unseen"]);
    // One that is said to be dirt or crossed out is not told.
    if near.contains(&"stray") {
        Told::Mark
    } else if near.iter().any(unclear) {
        Told::Unclear
    } else if unseen.iter().any(|outline| holds(outline, at)) {
        Told::NotVisible
    } else {
        Told::Untold
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Whether the outline goes round `at`: an upward ray crosses it an odd number of times.
fn holds(outline: &Value, at: [f64; 2]) -> bool {
    let corners: Vec<[f64; 2]> = list(outline).iter().map(point).collect();
    let ends = corners.iter().zip(corners.iter().cycle().skip(1));
    let crossed = ends.filter(|(a, b)| {
        (a[0] > at[0]) != (b[0] > at[0])
            && at[1] < a[1] + (b[1] - a[1]) * (at[0] - a[0]) / (b[0] - a[0])
    });
    crossed.count() % 2 == 1
}

/// Root mean square of the errors, mm.
pub(crate) fn rms(errors: &[[f64; 2]]) -> f64 {
    let sum: f64 = errors.iter().map(|e| e[0] * e[0]).sum();
    (sum / errors.len() as f64).sqrt()
}

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let states: Vec<String> = self
            .states
            .iter()
            .map(|(s, n)| format!("{n} {s}"))
            .collect();
        write!(
            f,
            "{:<12} {:<12} {:<10} {}; invented {} unclear {}",
            self.name,
            self.verdict,
            self.kind,
            states.join(", "),
            self.invented,
            self.unclear,
        )?;
        if !self.strays.is_empty() {
            write!(
                f,
                "; strays {} mark {} unclear {} not visible {} untold",
                self.count(Told::Mark),
                self.count(Told::Unclear),
                self.count(Told::NotVisible),
                self.count(Told::Untold)
            )?;
        }
        if !self.errors.is_empty() {
            write!(
                f,
                "; rms {:.3} in U {}/{} shift {:.3}",
                rms(&self.errors),
                self.within_u(),
                self.errors.len(),
                self.shift[0]
            )?;
        }
        write!(f, " {:.1} s", self.took.as_secs_f64())?;
        if !self.wrongly_good.is_empty() {
            write!(f, "  WRONGLY GOOD {}", self.wrongly_good.join(", "))?;
        }
        Ok(())
    }
}
