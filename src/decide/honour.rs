//! Which answer is to which ink, and what it changes.

use super::{Answer, Answers, ByRule, Decided, Outcome, Says, number};
use crate::check::Stage;
use crate::frame::{Cov2, Point, Sheet};
use crate::ink::{Doubt, Ink, Mark, MarkKind};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{Reason, Weight, expanded_widest, pairing};

/// However uncertain its place, an answer is to no ink further away than this, mm: about the size of a mark.
const FURTHEST_MM: f64 = 3.0;
/// The middle of ink moves by this from photo to photo besides its U, mm: light and blur move its rim.
const MIDDLE_MM: f64 = 0.3;
/// Ink of one size is measured within this, mm, and this share of it; ink that grew by more was drawn over since.
const SIZE_MM: f64 = 0.6;
const SIZE_SHARE: f64 = 0.25;
/// In ink of a larger extent no place can be given for a mark, mm: it is writing or dirt with a mark in it.
const LARGEST_MARK_MM: f64 = 6.0;
/// A place by rule may lie outside of the ink's extent by this, mm, besides the uncertainties: a rim is not sharp.
const RIM_MM: f64 = 0.5;

/// Ink that may be answered for.
struct Open {
    at: Point<Sheet>,
    cov: Cov2,
    size_mm: f64,
    why: Doubt,
    of: Of,
}

#[derive(Clone, Copy, PartialEq)]
enum Of {
    /// `Ink::unsure`, by its place in it.
    Unsure(usize),
    /// A mark that contradicts itself, by its place in `Ink::marks`.
    Mark(usize),
}

/// Puts the answers into what was read. `photos` are the names of this check's. What cannot be honoured is a finding;
/// none of them makes the sheet better.
#[must_use]
pub fn honour(
    ink: &mut Ink,
    answers: &Answers,
    stage: Stage,
    photos: &[String],
) -> (Outcome, Vec<(Weight, Reason)>) {
    let open = open_to_answers(ink);
    let u = |o: &Open| expanded_widest(&o.cov);
    let reach = |a: &Answer, o: &Open| {
        let reach = a.uncertainty_mm + u(o) + MIDDLE_MM;
        // A reach that is no number reaches nothing.
        if reach.is_finite() {
            reach.min(FURTHEST_MM)
        } else {
            0.0
        }
    };
    let asked: Vec<_> = answers.places.iter().map(|a| a.at.vec()).collect();
    let there: Vec<_> = open.iter().map(|o| o.at.vec()).collect();
    let pairs = pairing::pair(
        &asked,
        &there,
        |a, o| reach(&answers.places[a], &open[o]),
        FURTHEST_MM,
    );
    let mut outcome = Outcome {
        taken: answers
            .places
            .iter()
            .filter_map(|a| number(&a.name))
            .max()
            .unwrap_or(0),
        ..Outcome::default()
    };
    let mut told = Told {
        answers,
        findings: Vec::new(),
    };
    told.other_photos(photos);
    let mut gone: Vec<Of> = Vec::new();
    let mut marks: Vec<Mark> = Vec::new();
    for (i, answer) in answers.places.iter().enumerate() {
        let Some(o) = pairs.mark_of[i].map(|o| &open[o]) else {
            if answer.says != Says::Open {
                told.no_ink(answer, ink, &open);
            }
            continue;
        };
        if (o.size_mm - answer.size_mm).abs() > SIZE_MM + SIZE_SHARE * o.size_mm.max(answer.size_mm)
        {
            if answer.says != Says::Open {
                told.other_size(answer, o.size_mm);
            }
            continue;
        }
        // A person answered for what the photo showed then. What reads otherwise now may be other ink: on another piece
        // of the same plan, or drawn over since.
        if !answer.is_to(o.why) {
            if answer.says != Says::Open {
                told.add(
                    "answer-not-honoured",
                    answer,
                    &format!(
                        "is to \"{}\", and what is there now reads as \"{}\": it may be other ink, so look again",
                        crate::plan::length::shorten(&answer.why),
                        o.why
                    ),
                );
            }
            continue;
        }
        let against = answers.places.iter().enumerate().find(|(j, other)| {
            let contrary = std::mem::discriminant(&other.says)
                != std::mem::discriminant(&answer.says)
                && other.says != Says::Open
                && answer.says != Says::Open;
            *j != i && contrary && other.at.distance(o.at) <= reach(other, o)
        });
        if let Some((_, other)) = against {
            told.add(
                "answers-contradict",
                answer,
                &format!(
                    "and {} contradict each other about one place, so neither counts",
                    other.name
                ),
            );
            continue;
        }
        let decided = |says, at, uncertainty_mm| Decided {
            name: answer.name.clone(),
            says,
            ink_at: o.at,
            ink_u_mm: u(o),
            at,
            uncertainty_mm,
            size_mm: o.size_mm,
            why: o.why,
        };
        match answer.says {
            Says::Open => outcome.open.push((o.at, answer.name.clone())),
            _ if o.why == Doubt::NotWorked => told.add(
                "answer-not-honoured",
                answer,
                "is to a mark that was read, and is only not punched or drilled yet, as far as the photo shows: take a photo from nearer",
            ),
            Says::NotAMark => {
                gone.push(o.of);
                outcome.decided.push(decided(Says::NotAMark, o.at, u(o)));
            }
            Says::Mark(_) if stage > Stage::Marked => told.add(
                "answer-not-honoured",
                answer,
                "says that ink is a mark, and at this stage only what punch or drill left counts",
            ),
            Says::Mark(rule) => match place(o, rule) {
                Ok((at, cov)) => {
                    gone.push(o.of);
                    marks.push(Mark {
                        at,
                        cov,
                        kind: MarkKind::Answered,
                        size_mm: o.size_mm,
                        ringed: matches!(o.of, Of::Mark(_)),
                        crossed_out: false,
                        probability: None,
                    });
                    outcome
                        .decided
                        .push(decided(Says::Mark(rule), at, expanded_widest(&cov)));
                }
                Err(why) => told.add("answer-not-honoured", answer, &why),
            },
        }
    }
    put_in(ink, &gone, marks, &outcome);
    (outcome, told.findings)
}

/// All that the verdict calls unsure ink.
fn open_to_answers(ink: &Ink) -> Vec<Open> {
    let unsure = ink.unsure.iter().enumerate().map(|(i, u)| Open {
        at: u.at,
        cov: u.cov,
        size_mm: u.size_mm,
        why: u.why,
        of: Of::Unsure(i),
    });
    let contrary = ink.marks.iter().enumerate();
    let contrary = contrary
        .filter(|(_, m)| m.ringed && m.crossed_out)
        .map(|(i, m)| Open {
            at: m.at,
            cov: m.cov,
            size_mm: m.size_mm,
            why: Doubt::RingedAndStruck,
            of: Of::Mark(i),
        });
    unsure
        .chain(contrary)
        .filter(|o| o.at.x.is_finite() && o.at.y.is_finite())
        .collect()
}

/// Where the mark is, with its covariance, or why that cannot be said.
fn place(o: &Open, rule: Option<ByRule>) -> Result<(Point<Sheet>, Cov2), String> {
    let by_ink = expanded_widest(&o.cov);
    if let Some(rule) = rule {
        let away = rule.at.distance(o.at);
        let most = o.size_mm / 2.0 + RIM_MM + rule.uncertainty_mm + by_ink;
        if away > most {
            return Err(format!(
                "gives a place {away:.1} mm away from the ink it is for, {most:.1} mm at most are possible: measure again, from the left and bottom edge as the plan draws the sheet"
            ));
        }
        let sd = rule.uncertainty_mm / COVERAGE_FACTOR;
        return Ok((rule.at, Cov2::identity() * (sd * sd)));
    }
    if !by_ink.is_finite() {
        return Err(
            "is to ink whose place is not known: measure it with a steel rule (rule_x, rule_y)"
                .to_owned(),
        );
    }
    if o.size_mm > LARGEST_MARK_MM {
        return Err(format!(
            "says that ink {:.1} mm across is a mark, and where in it the mark lies does not show: measure its place with a steel rule (rule_x, rule_y)",
            o.size_mm
        ));
    }
    // The mark's centre is somewhere in the ink: even over a disc of its size, whose variance along either axis is a
    // sixteenth of the diameter squared (integral of r² cos² over the disc).
    let disc = o.size_mm * o.size_mm / 16.0;
    Ok((o.at, o.cov + Cov2::identity() * disc))
}

/// Takes out what is decided, and puts in the marks.
fn put_in(ink: &mut Ink, gone: &[Of], marks: Vec<Mark>, outcome: &Outcome) {
    let mut i = 0;
    ink.unsure.retain(|_| {
        i += 1;
        !gone.contains(&Of::Unsure(i - 1))
    });
    let no_marks: Vec<Point<Sheet>> = outcome
        .decided
        .iter()
        .filter(|d| d.says == Says::NotAMark)
        .map(|d| d.ink_at)
        .collect();
    let mut kept = Vec::with_capacity(ink.marks.len());
    for (i, mut mark) in std::mem::take(&mut ink.marks).into_iter().enumerate() {
        if gone.contains(&Of::Mark(i)) {
            // Ringed and crossed out, and not to be drilled: then the cross-out is what was meant. The other answer
            // put a mark of its own in its place.
            if !no_marks.iter().any(|p| p.distance(mark.at) < 1e-9) {
                continue;
            }
            mark.ringed = false;
        }
        kept.push(mark);
    }
    kept.extend(marks);
    kept.sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    ink.marks = kept;
}

/// What is told of answers that change nothing.
struct Told<'a> {
    answers: &'a Answers,
    findings: Vec<(Weight, Reason)>,
}

impl Told<'_> {
    fn file(&self) -> String {
        let name = self.answers.file.file_name();
        name.map_or_else(String::new, |n| n.to_string_lossy().into_owned())
    }

    fn add(&mut self, code: &'static str, answer: &Answer, rest: &str) {
        let text = format!(
            "the answer {} ({} line {}) {rest}",
            answer.name,
            self.file(),
            answer.line
        );
        self.findings.push((Weight::Note, Reason { code, text }));
    }

    /// An answer with no unsure ink at its place.
    fn no_ink(&mut self, answer: &Answer, ink: &Ink, open: &[Open]) {
        let reach = FURTHEST_MM.min(answer.uncertainty_mm + MIDDLE_MM + answer.size_mm / 2.0);
        let near = |p: Point<Sheet>| p.distance(answer.at) <= reach;
        let what = if ink.marks.iter().any(|m| near(m.at)) {
            "changes nothing: the ink at its place was read as a mark this time"
        } else if open.iter().any(|o| near(o.at)) {
            "changes nothing: another answer is nearer to the ink at its place"
        } else if ink.seen.sees(answer.at) {
            "changes nothing: no unclear mark is at its place now"
        } else {
            "changes nothing: its place is not visible this time"
        };
        self.add("answer-unused", answer, what);
    }

    fn other_size(&mut self, answer: &Answer, size_mm: f64) {
        let rest = format!(
            "is to ink {:.1} mm across, and what is there now is {size_mm:.1} mm across: it may be other ink, so look again",
            answer.size_mm
        );
        self.add("answer-not-honoured", answer, &rest);
    }

    /// Answers that were given for other photos may be for another piece of the same plan.
    fn other_photos(&mut self, photos: &[String]) {
        let given = &self.answers.photos;
        let some = self.answers.places.iter().any(|a| a.says != Says::Open);
        if !some || given.is_empty() || given.iter().any(|g| photos.contains(g)) {
            return;
        }
        let text = format!(
            "the answers in {} were given for {}, and this is another photo: they hold only if it is the same piece, and nothing was drawn on it since",
            self.file(),
            given.join(", ")
        );
        let code = "answers-of-other-photo";
        self.findings.push((Weight::Note, Reason { code, text }));
    }
}

/// What a verdict with such decisions must say.
#[must_use]
pub fn said(outcome: &Outcome) -> Option<Reason> {
    if outcome.decided.is_empty() {
        return None;
    }
    let list = |wanted: fn(&Says) -> bool| -> Vec<&str> {
        let some = outcome.decided.iter().filter(|d| wanted(&d.says));
        some.map(|d| d.name.as_str()).collect()
    };
    let marks = list(|s| matches!(s, Says::Mark(_)));
    let none = list(|s| matches!(s, Says::NotAMark));
    let mut parts = Vec::new();
    if !marks.is_empty() {
        let verb = if marks.len() == 1 {
            "is a mark"
        } else {
            "are marks"
        };
        parts.push(format!("{} {verb}", marks.join(", ")));
    }
    if !none.is_empty() {
        let verb = if none.len() == 1 {
            "is no mark"
        } else {
            "are no marks"
        };
        parts.push(format!("{} {verb}", none.join(", ")));
    }
    let n = outcome.decided.len();
    let text = format!(
        "rests on {n} answer{} by a person about unclear marks: {}",
        if n == 1 { "" } else { "s" },
        parts.join("; ")
    );
    Some(Reason {
        code: "decided-by-person",
        text,
    })
}
