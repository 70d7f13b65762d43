//! What the reports say of a person's answers: names of places that are still open, what was decided, and the file to fill
//! in.

use super::{Report, words};
use crate::decide::file::{Entry, to_text};
use crate::decide::{self, Answer, Decided, Says};
use crate::frame::{Point, Sheet};
use crate::verdict::{StrayState, nearest};

/// Of each stray, the short name to answer by; `None` for what was named.
#[must_use]
pub fn names(r: &Report) -> Vec<Option<String>> {
    let unsure = |s: &&crate::verdict::Stray| s.state == StrayState::Unsure;
    let places = r.verdict.strays.iter().filter(unsure).map(|s| s.at);
    let mut names = decide::names(r.person, places).into_iter();
    r.verdict
        .strays
        .iter()
        .map(|s| unsure(&s).then(|| names.next()).flatten())
        .collect()
}

/// "U1 at 12.3, 45.6 mm is a mark (U 0.50 mm); to the program it was unclear: a spot that may be a mark or dirt".
pub(super) fn decided(r: &Report, d: &Decided) -> String {
    let u = r.plan.units;
    let place = format!(
        "{} {}",
        words::measured_place(d.at, u),
        crate::plan::length::unit_sign(u)
    );
    let said = match d.says {
        Says::Mark(Some(_)) => format!(
            "is a mark, its place measured with a steel rule (U {})",
            words::both(d.uncertainty_mm, u)
        ),
        Says::Mark(None) => format!(
            "is a mark, somewhere in its ink (U {})",
            words::both(d.uncertainty_mm, u)
        ),
        Says::NotAMark | Says::Open => "is no mark".to_owned(),
    };
    format!(
        "{} at {place}{} {said}; to the program it was unclear: {}",
        d.name,
        near(r, d.at),
        d.why
    )
}

/// ", near A3": the hole whose place is nearest.
fn near(r: &Report, at: Point<Sheet>) -> String {
    let hole = nearest(r.plan, at).map(|h| &r.plan.holes[h].name);
    hole.map_or_else(String::new, |name| format!(", near {name}"))
}

/// The file to fill in: what was answered, and what is open.
#[must_use]
pub fn template(r: &Report) -> String {
    let said = |at| {
        let u = r.plan.units;
        let sign = crate::plan::length::unit_sign(u);
        format!("at {} {sign}{}", words::measured_place(at, u), near(r, at))
    };
    let mut entries: Vec<Entry> = r
        .person
        .decided
        .iter()
        .map(|d| Entry {
            answer: Answer {
                name: d.name.clone(),
                line: 0,
                at: d.ink_at,
                uncertainty_mm: d.ink_u_mm,
                size_mm: d.size_mm,
                why: d.why.text().to_owned(),
                cause: Some(d.why),
                says: d.says,
            },
            said: said(d.ink_at),
        })
        .collect();
    for (stray, name) in r.verdict.strays.iter().zip(names(r)) {
        let Some(name) = name else { continue };
        entries.push(Entry {
            answer: Answer {
                name,
                line: 0,
                at: stray.at,
                uncertainty_mm: stray.uncertainty_mm,
                size_mm: stray.size_mm,
                why: words::stray_meaning(stray).to_owned(),
                cause: stray.why,
                says: Says::Open,
            },
            said: said(stray.at),
        });
    }
    let photos: Vec<String> = r.photos.iter().map(|p| p.name.clone()).collect();
    to_text(&r.plan.title, &photos, &entries)
}
