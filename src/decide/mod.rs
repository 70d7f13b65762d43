//! A person's answers to ink that could not be named.
//!
//! | step | module |
//! | --- | --- |
//! | the file: read, checked, written | [`file`](mod@file) |
//! | which answer is to which ink, and what it changes | [`honour`](mod@honour) |
//!
//! A place is known by where it is on the sheet, so that an answer holds for the next photo as well. An answer counts for
//! ink that the program could not name, and for nothing else: what was named stays as it was named, and an answer
//! that fits no such ink is told.

pub mod file;
pub mod honour;

use std::path::PathBuf;

use crate::frame::{Point, Sheet};
use crate::ink::Doubt;

/// A file of answers.
#[derive(Debug, Clone, PartialEq)]
pub struct Answers {
    /// The file.
    pub file: PathBuf,
    /// Title of the plan that they were given for.
    pub plan: String,
    /// Names of the photos that they were given for, without folders.
    pub photos: Vec<String>,
    /// One for each place, in the order of the file.
    pub places: Vec<Answer>,
}

/// What a person says of one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Its short name.
    pub name: String,
    /// Line of the file, from 1.
    pub line: usize,
    /// The middle of the ink, mm.
    pub at: Point<Sheet>,
    /// Expanded uncertainty U (k = 2) of `at`, mm.
    pub uncertainty_mm: f64,
    /// Largest extent of the ink, mm.
    pub size_mm: f64,
    /// Why the program could not name it, in words.
    pub why: String,
    /// The same as a value; nothing in answers that were saved when only the words were.
    pub cause: Option<Doubt>,
    /// The answer.
    pub says: Says,
}

impl Answer {
    /// Whether it is to ink that is unclear for this reason: by the cause, whatever its wording was when the answer was saved.
    #[must_use]
    pub fn is_to(&self, why: Doubt) -> bool {
        match self.cause {
            Some(cause) => cause == why,
            None => self.why == why.text(),
        }
    }
}

/// What the ink is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Says {
    /// Nobody has answered yet.
    Open,
    /// Dirt, a scratch, a stamp, a slip of the pen: nothing to be drilled.
    NotAMark,
    /// A mark; where, if it was measured by rule.
    Mark(Option<ByRule>),
}

impl Says {
    /// As the file and the JSON have it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "?",
            Self::NotAMark => "not a mark",
            Self::Mark(_) => "mark",
        }
    }
}

/// A mark's place as measured by rule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ByRule {
    /// The place, mm.
    pub at: Point<Sheet>,
    /// Its expanded uncertainty U (k = 2), mm.
    pub uncertainty_mm: f64,
}

/// Ink that a person named.
#[derive(Debug, Clone, PartialEq)]
pub struct Decided {
    /// The place's short name.
    pub name: String,
    /// What was said: never [`Says::Open`].
    pub says: Says,
    /// The middle of the ink as this check sees it, mm.
    pub ink_at: Point<Sheet>,
    /// Its expanded uncertainty, mm.
    pub ink_u_mm: f64,
    /// The mark's place that counts, mm: by rule where that was given, else the ink's; the ink's where it is no mark.
    pub at: Point<Sheet>,
    /// Expanded uncertainty of `at`, mm.
    pub uncertainty_mm: f64,
    /// Largest extent of the ink, mm.
    pub size_mm: f64,
    /// Why the program could not name it.
    pub why: Doubt,
}

/// What came of the answers.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Outcome {
    /// What was decided by a person, in the order of the file.
    pub decided: Vec<Decided>,
    /// Places that have a name in the file and are still open.
    pub open: Vec<(Point<Sheet>, String)>,
    /// Numbers of names up to this one are taken.
    pub taken: usize,
}

/// How the short names begin; a number follows.
const LETTER: char = 'U';

/// The short names of places of unsure ink, in their order: by the file where it has them, else the next free numbers.
#[must_use]
pub fn names(outcome: &Outcome, places: impl Iterator<Item = Point<Sheet>>) -> Vec<String> {
    let mut next = outcome.taken;
    places
        .map(|at| {
            let known = outcome.open.iter().find(|(p, _)| p.distance(at) < 1e-9);
            known.map_or_else(
                || {
                    next += 1;
                    format!("{LETTER}{next}")
                },
                |(_, name)| name.clone(),
            )
        })
        .collect()
}

/// The number of a short name: 3 of `U3`.
fn number(name: &str) -> Option<usize> {
    name.strip_prefix(LETTER)?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_is_to_a_cause_whatever_its_wording_was() {
        let mut answer = Answer {
            name: "U1".into(),
            line: 1,
            at: Point::new(1.0, 2.0),
            uncertainty_mm: 0.1,
            size_mm: 1.0,
            why: "as it was worded once".into(),
            cause: Some(Doubt::StrokeAlone),
            says: Says::NotAMark,
        };
        assert!(answer.is_to(Doubt::StrokeAlone) && !answer.is_to(Doubt::NoShape));
        // Saved when only words were: they must be the same.
        answer.cause = None;
        assert!(!answer.is_to(Doubt::StrokeAlone));
        answer.why = Doubt::StrokeAlone.text().into();
        assert!(answer.is_to(Doubt::StrokeAlone));
    }
}
