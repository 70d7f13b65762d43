//! The roll: each piece with its marks, and why the instructor should look at it again.

use super::feedback::not_measured;
use super::habits::{Slipped, slips};
use super::rubric::Rubric;
use super::run::Done;
use super::score::{Score, as_measured, score};
use super::twins::{Twin, twin};
use crate::plan::Plan;
use crate::verdict::{HoleState, StrayState};

/// How the reason begins of a piece that has no score.
pub const NOT_GRADED: &str = "not graded";
/// Points of 100 that doubt may be worth before the instructor is asked to look.
const DOUBT_WORTH: f64 = 5.0;
/// Points of 100 on either side of a pass that another photo may change.
const NEAR_PASS: f64 = 2.0;
/// Pieces needed before one of them can be called odd.
const ENOUGH: usize = 8;
/// A piece this many interquartile ranges below the lower quartile is far out (Tukey, "Exploratory Data
/// Analysis", 1977, from memory).
const FAR_OUT: f64 = 3.0;

/// One piece on the roll.
#[derive(Debug)]
pub struct Entry<'a> {
    /// Name or number, as it is shown.
    pub label: String,
    /// The file name of its sheet without ending.
    pub file: String,
    /// The piece.
    pub done: &'a Done,
    /// Its marks; `None` where nothing could be measured.
    pub score: Option<Score>,
    /// Percent with every value taken as measured.
    pub strict: Option<f64>,
    /// What went wrong, the costliest first.
    pub slips: Vec<Slipped>,
    /// Why to look again, a sentence each.
    pub look: Vec<String>,
}

/// The roll of a class, in its order. `labels`: how each is shown; `files`: how its sheet is called.
#[must_use]
pub fn roll<'a>(
    class: &'a [Done],
    labels: &[String],
    files: &[String],
    plan: &Plan,
    rubric: &Rubric,
) -> Vec<Entry<'a>> {
    let mut all: Vec<Entry> = class
        .iter()
        .zip(labels)
        .zip(files)
        .map(|((done, label), file)| {
            let marked = score(&done.findings, plan, rubric);
            Entry {
                label: label.clone(),
                file: file.clone(),
                done,
                slips: marked
                    .as_ref()
                    .map_or_else(Vec::new, |s| slips(&done.findings, plan, s)),
                strict: as_measured(&done.findings, plan, rubric),
                score: marked,
                look: Vec::new(),
            }
        })
        .collect();
    let percents: Vec<f64> = all.iter().filter_map(Entry::percent).collect();
    let low = far_out(&percents);
    for entry in &mut all {
        entry.look = reasons(entry, rubric, low);
    }
    let told: Vec<Vec<String>> = twins_of(&all)
        .into_iter()
        .map(|sorts| {
            let sorts = sorts.into_iter().zip([SAME_PHOTO, SAME_MARKS]);
            let some = sorts.filter(|(with, _)| !with.is_empty());
            some.map(|(with, what)| format!("{what} {}", named(&with, &all)))
                .collect()
        })
        .collect();
    for (entry, told) in all.iter_mut().zip(told) {
        entry.look.extend(told);
    }
    all
}

const SAME_PHOTO: &str = "handed in with the same photo as";
const SAME_MARKS: &str = "its marks lie exactly as those of";

/// For each piece the others of which it may be a copy: by their photos, and by their marks.
fn twins_of(all: &[Entry]) -> Vec<[Vec<usize>; 2]> {
    let mut twins = vec![[Vec::new(), Vec::new()]; all.len()];
    for i in 0..all.len() {
        for j in i + 1..all.len() {
            let Some(twin) = twin(&all[i].done.findings, &all[j].done.findings) else {
                continue;
            };
            let sort = usize::from(twin == Twin::Marks);
            twins[i][sort].push(j);
            twins[j][sort].push(i);
        }
    }
    twins
}

/// "Ana, Ben, Cem and 9 more": one photo that a whole class handed in is one sentence.
fn named(which: &[usize], all: &[Entry]) -> String {
    /// More names than this would hide what else there is to look at.
    const SHOWN: usize = 4;
    let names = which.iter().take(SHOWN).map(|&i| all[i].label.as_str());
    let mut text = names.collect::<Vec<_>>().join(", ");
    if which.len() > SHOWN {
        text += &format!(" and {} more", which.len() - SHOWN);
    }
    text
}

impl Entry<'_> {
    /// Its score of 100, where it could be graded.
    #[must_use]
    pub fn percent(&self) -> Option<f64> {
        self.score.as_ref().and_then(Score::percent)
    }
}

/// The percent below which a piece is odd in its class.
fn far_out(percents: &[f64]) -> Option<f64> {
    let [low, _, high] = quartiles(percents).filter(|_| percents.len() >= ENOUGH)?;
    Some(low - FAR_OUT * (high - low))
}

/// Lower quartile, median, upper quartile, with straight lines between neighbours; `None` of nothing.
#[must_use]
pub fn quartiles(values: &[f64]) -> Option<[f64; 3]> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    Some([0.25, 0.5, 0.75].map(|share| {
        let at = share * last as f64;
        let (i, part) = (at.floor() as usize, at.fract());
        let next = sorted[(i + 1).min(last)];
        sorted[i] + part * (next - sorted[i])
    }))
}

fn reasons(entry: &Entry, rubric: &Rubric, low: Option<f64>) -> Vec<String> {
    let mut look = Vec::new();
    let found = &entry.done.findings;
    for unread in &entry.done.unread {
        // The path may hold a name; which file it is shows on the terminal.
        let why = unread.rsplit(": ").next().unwrap_or("it cannot be read");
        look.push(format!("a photo could not be opened: {why}"));
    }
    let Some(score) = &entry.score else {
        look.push(format!("{NOT_GRADED}: {}", not_measured(found)));
        return look;
    };
    for photo in found.photos.iter().filter(|p| p.failed.is_some()) {
        let why = photo.failed.as_deref().unwrap_or_default();
        look.push(format!("one of its photos was no use: {why}"));
    }
    for why in &score.fails {
        look.push(format!("fails by the rubric: {why}"));
    }
    let holes = |state| found.holes.iter().filter(|h| h.state == state).count();
    let mut count = |n: usize, one: &str, many: &str| {
        if n > 0 {
            look.push(format!("{n} {}", if n == 1 { one } else { many }));
        }
    };
    count(
        found
            .strays
            .iter()
            .filter(|s| s.state == StrayState::Unsure)
            .count(),
        "unclear mark",
        "unclear marks",
    );
    count(
        holes(HoleState::Unseen),
        "hole not judged from the photo",
        "holes not judged from the photo",
    );
    let open: Vec<&str> = score
        .items
        .iter()
        .filter(|i| i.share.is_none() && i.key != "instructor")
        .map(|i| i.name.as_str())
        .collect();
    if !open.is_empty() {
        look.push(format!(
            "left to you, not visible well enough: {}",
            open.join(", ")
        ));
    }
    if let (Some(percent), Some(strict)) = (score.percent(), entry.strict)
        && percent - strict > DOUBT_WORTH
    {
        look.push(format!(
            "{:.0} points were in doubt and given",
            percent - strict
        ));
    }
    if let (Some(percent), Some(pass)) = (score.percent(), rubric.result.pass)
        && (percent - pass.0).abs() <= NEAR_PASS
        && score.fails.is_empty()
    {
        look.push(format!("within {NEAR_PASS:.0} points of a pass"));
    }
    if let (Some(percent), Some(low)) = (score.percent(), low)
        && percent < low
    {
        look.push(
            "far below the rest of the class: is it the right piece, the right way round?".into(),
        );
    }
    look
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quartiles_of_known_lists() {
        assert_eq!(quartiles(&[]), None);
        assert_eq!(quartiles(&[7.0]), Some([7.0; 3]));
        assert_eq!(quartiles(&[4.0, 1.0, 3.0, 2.0, 5.0]), Some([2.0, 3.0, 4.0]));
        assert_eq!(quartiles(&[1.0, 2.0, 3.0, 4.0]), Some([1.75, 2.5, 3.25]));
    }
}
