//! The check itself, in a process of its own, so that its peak memory is its own.

use std::fs;
use std::path::Path;
use std::time::Instant;

use punchready::check::{Checked, check_watched};
use punchready::verdict::{Decision, HoleState, StrayState};
use punchready::{photo, report};
use serde::{Deserialize, Serialize};

use crate::case::Case;

/// What the check said, as far as it is scored.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Answer {
    pub(crate) verdict: String,
    pub(crate) reasons: Vec<(String, String)>,
    pub(crate) holes: Vec<HoleSaid>,
    pub(crate) marks: Vec<MarkSaid>,
    /// Live, cancelled or unsure, and where.
    pub(crate) strays: Vec<(String, [f64; 2])>,
    /// Unsure ink: where, and why.
    pub(crate) unsure: Vec<([f64; 2], String)>,
    /// Cells of the face that were not seen: their middles and side.
    pub(crate) unseen: Vec<[f64; 2]>,
    pub(crate) cell_mm: f64,
    pub(crate) seen: f64,
    pub(crate) cards: Vec<u16>,
    pub(crate) left_out: Vec<String>,
    pub(crate) survey: Option<[f64; 3]>,
    pub(crate) sizes: [Option<[f64; 2]>; 2],
    pub(crate) timings_ms: Vec<(String, f64)>,
    pub(crate) total_ms: f64,
    pub(crate) peak_mb: f64,
}

#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct HoleSaid {
    pub(crate) name: String,
    pub(crate) state: String,
    pub(crate) found: Option<[f64; 2]>,
    pub(crate) u: Option<f64>,
}

#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct MarkSaid {
    pub(crate) at: [f64; 2],
    /// xx, xy, yy.
    pub(crate) cov: [f64; 3],
    pub(crate) kind: String,
    pub(crate) ringed: bool,
    pub(crate) crossed_out: bool,
}

/// Reads and checks the photo; draws the report's picture to `picture` if asked.
pub(crate) fn run(case: &Case, file: &Path, picture: Option<&Path>) -> Result<Answer, String> {
    let start = Instant::now();
    let photo = photo::read(file).map_err(|e| e.to_string())?;
    let read_ms = 1e3 * start.elapsed().as_secs_f64();
    let mut timings_ms = vec![("read".to_owned(), read_ms)];
    let mut last = Instant::now();
    let mut lap = |stage: &'static str| {
        timings_ms.push((stage.to_owned(), 1e3 * last.elapsed().as_secs_f64()));
        last = Instant::now();
    };
    let checked = check_watched(&[&photo], &case.plan, &case.given, &mut lap);
    let total_ms = 1e3 * start.elapsed().as_secs_f64();
    let peak_mb = peak_mb();
    let mut answer = answer(&checked);
    answer.timings_ms = timings_ms;
    answer.total_ms = total_ms;
    answer.peak_mb = peak_mb;
    if let Some(out) = picture {
        let colour = photo::read_colour(file).map_err(|e| e.to_string())?;
        let map = |p| checked.pixel_from_sheet(p);
        let drawn = report::picture::draw(&checked.report(&case.plan), &colour, &map)
            .map_err(|e| e.to_string())?;
        drawn.save(out).map_err(|e| e.to_string())?;
    }
    Ok(answer)
}

/// Peak resident memory of this process, MB (Linux; 0 elsewhere).
fn peak_mb() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|l| l.starts_with("VmHWM:"));
    let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
    kb.unwrap_or(0.0) / 1024.0
}

fn answer(checked: &Checked) -> Answer {
    let xy = |p: punchready::frame::Point<punchready::frame::Sheet>| [p.x, p.y];
    let verdict = &checked.verdict;
    let seen = &checked.ink.seen;
    let survey = checked.survey();
    Answer {
        verdict: match verdict.decision {
            Decision::Ready => "ready",
            Decision::NotReady => "not-ready",
            Decision::CannotTell => "cannot-tell",
        }
        .to_owned(),
        reasons: verdict
            .reasons
            .iter()
            .map(|r| (r.code.to_owned(), r.text.clone()))
            .collect(),
        holes: verdict
            .holes
            .iter()
            .map(|h| HoleSaid {
                name: h.name.clone(),
                state: match h.state {
                    HoleState::Good => "good",
                    HoleState::Off => "off",
                    HoleState::Close => "close",
                    HoleState::Missing => "missing",
                    HoleState::Cancelled => "cancelled",
                    HoleState::Double => "double",
                    HoleState::Unseen => "unseen",
                }
                .to_owned(),
                found: h.found.map(xy),
                u: h.uncertainty_mm,
            })
            .collect(),
        marks: checked
            .ink
            .marks
            .iter()
            .map(|m| MarkSaid {
                at: xy(m.at),
                cov: [m.cov[(0, 0)], m.cov[(0, 1)], m.cov[(1, 1)]],
                kind: format!("{:?}", m.kind).to_lowercase(),
                ringed: m.ringed,
                crossed_out: m.crossed_out,
            })
            .collect(),
        strays: verdict
            .strays
            .iter()
            .map(|s| {
                let state = match s.state {
                    StrayState::Stray => "stray",
                    StrayState::Cancelled => "cancelled",
                    StrayState::Unsure => "unsure",
                };
                (state.to_owned(), xy(s.at))
            })
            .collect(),
        unsure: checked
            .ink
            .unsure
            .iter()
            .map(|u| (xy(u.at), u.why.to_string()))
            .collect(),
        unseen: (0..seen.cells.len())
            .filter(|&i| !seen.cells[i])
            .map(|i| {
                let (column, row) = (i % seen.columns, i / seen.columns);
                [column, row].map(|k| (k as f64 + 0.5) * seen.cell_mm)
            })
            .collect(),
        cell_mm: seen.cell_mm,
        seen: seen.fraction(),
        cards: checked.found[0].cards.iter().map(|c| c.number).collect(),
        left_out: checked.found[0]
            .left_out
            .iter()
            .map(|l| format!("{:?} {}", l.number, l.why))
            .chain(
                survey
                    .iter()
                    .flat_map(|s| &s.left_out)
                    .map(|l| format!("card {}: {}", l.number, l.reason)),
            )
            .collect(),
        survey: survey.map(|s| [s.rms_px, s.mm_per_px, s.noise_factor]),
        sizes: [checked.outline.width_mm, checked.outline.height_mm],
        timings_ms: Vec::new(),
        total_ms: 0.0,
        peak_mb: 0.0,
    }
}
