//! The sheet that a student gets: what it says, once, for the page ([`html`]) and for paper ([`pdf`]).
//!
//! It speaks of this piece and of nobody else's: no ranking, no comparison.

use super::findings::Findings;
use super::habits::{Slipped, first, slips};
use super::rubric::{Benefit, Rubric};
use super::score::{Score, score};
use super::{page, paper};
use crate::draw::DrawError;
use crate::plan::Plan;

pub use paper::Size;

/// What a sheet says.
#[derive(Debug, Clone)]
pub struct Feedback {
    /// The student's name or number.
    pub who: String,
    /// What the rubric is called.
    pub title: String,
    /// What the piece is called.
    pub piece: String,
    /// The result.
    pub stand: Stand,
    /// The items.
    pub items: Vec<Line>,
    /// Why the piece fails whatever its points; empty as a rule.
    pub fails: Vec<String>,
    /// What to change first, at most two.
    pub habits: Vec<String>,
    /// What went well or is to be known, a sentence each.
    pub notes: Vec<String>,
    /// The sheet straight on with its signs, JPEG.
    pub picture: Option<Vec<u8>>,
}

/// The result.
#[derive(Debug, Clone, PartialEq)]
pub enum Stand {
    /// Marked.
    Marked {
        /// Of 100, whole.
        percent: u32,
        /// Passed or not, where the rubric says from when.
        passed: Option<bool>,
        /// Points, of how many that could be judged, and how many are left to the instructor.
        points: [f64; 3],
    },
    /// Nothing could be judged, and why.
    Open(String),
}

/// An item on the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its name.
    pub name: String,
    /// Points that can be had.
    pub weight: f64,
    /// Points had; `None`: a box for the instructor.
    pub points: Option<f64>,
    /// The figure behind them.
    pub figure: String,
    /// What was in doubt.
    pub doubt: Option<String>,
}

impl Feedback {
    /// The sheet of one piece.
    #[must_use]
    pub fn of(
        who: &str,
        found: &Findings,
        plan: &Plan,
        rubric: &Rubric,
        picture: Option<Vec<u8>>,
    ) -> Self {
        let mut sheet = Self {
            who: who.to_owned(),
            title: rubric.title.clone(),
            piece: plan.title.clone(),
            stand: Stand::Open(String::new()),
            items: Vec::new(),
            fails: Vec::new(),
            habits: Vec::new(),
            notes: Vec::new(),
            picture,
        };
        let Some(score) = score(found, plan, rubric) else {
            sheet.stand = Stand::Open(not_measured(found));
            sheet
                .notes
                .push("This says nothing about your work: only the photo is lacking.".into());
            return sheet;
        };
        sheet.stand = stand(&score, rubric);
        sheet.items = score
            .items
            .iter()
            .map(|i| Line {
                name: i.name.clone(),
                weight: i.weight,
                points: i.points(),
                figure: i.figure.clone(),
                doubt: i.doubt.clone(),
            })
            .collect();
        sheet.fails.clone_from(&score.fails);
        let all = slips(found, plan, &score);
        sheet.habits = first(&all)
            .into_iter()
            .map(|s: &Slipped| s.advice.clone())
            .collect();
        sheet.notes = notes(&score, rubric, found);
        sheet
    }

    /// What stands where habits are told: their heading.
    #[must_use]
    pub fn habits_heading(&self) -> &'static str {
        match self.habits.len() {
            0 => "What to keep doing",
            1 => "One thing to change first",
            _ => "Two things to change first",
        }
    }

    /// What stands there when there are none.
    pub const KEEP: &'static str = "Nothing cost you points that the photo can show. Keep measuring every mark from the same edge, and keep the pen sharp.";
}

fn stand(score: &Score, rubric: &Rubric) -> Stand {
    match score.percent() {
        Some(percent) => Stand::Marked {
            percent: percent.round().clamp(0.0, 100.0) as u32,
            passed: score.passed(rubric),
            points: [score.points, score.judged, score.left],
        },
        None => Stand::Open("the photo shows less than half of what is to be judged".into()),
    }
}

/// Why nothing was measured: what is told of the first photo.
#[must_use]
pub fn not_measured(found: &Findings) -> String {
    let why = found.photos.iter().find_map(|p| p.failed.as_deref());
    why.unwrap_or("no photo that can be opened was handed in")
        .to_owned()
}

fn notes(score: &Score, rubric: &Rubric, found: &Findings) -> Vec<String> {
    let mut notes = Vec::new();
    if score.items.iter().any(|i| i.doubt.is_some()) && rubric.doubt.benefit == Benefit::Student {
        notes.push("Where the photo leaves a doubt, it was counted for you.".into());
    }
    if score.left > 0.0 {
        notes.push(format!(
            "{} points are not for a photo to judge; your instructor gives them.",
            points(score.left)
        ));
    }
    let lost = found.photos.iter().filter(|p| p.failed.is_some()).count();
    if lost > 0 {
        notes.push(format!(
            "{lost} of {} photos could not be measured; the rest was enough.",
            found.photos.len()
        ));
    }
    notes
}

/// Points as they are printed.
#[must_use]
pub fn points(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// The sheet as one self-contained page. Printed, it is the page of [`pdf`]: one sheet of paper.
#[must_use]
pub fn html(sheet: &Feedback, size: Size) -> String {
    page::html(sheet, size)
}

/// The sheet on one page of paper, PDF.
///
/// # Errors
/// [`DrawError`].
pub fn pdf(sheet: &Feedback, size: Size) -> Result<Vec<u8>, DrawError> {
    paper::pdf(sheet, size)
}
