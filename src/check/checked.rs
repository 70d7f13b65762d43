//! A finished check, as the reports take it.

use super::budget::{Budget, Shares, budget};
use super::together::{Shot, Together};
use super::{Given, Measured, UNSAID_THICKNESS_MM};
use crate::card::{self, blur};
use crate::decide::{self, Outcome};
use crate::frame::{Pixel, Point, Sheet};
use crate::ink::Ink;
use crate::ink::view::MIN_PX_PER_MM;
use crate::plan::Plan;
use crate::report::{
    CardSummary, Fit, InPhoto, LensSource, PhotoSummary, Report, Shown, SurveySummary,
};
use crate::sheet::Outline;
use crate::survey::{self, Survey};
use crate::verdict::coach::{self, Advice, Taken};
use crate::verdict::{self, Reason, Verdict, Weight};

/// A finished check.
#[derive(Debug, Clone)]
pub struct Checked {
    /// The verdict.
    pub verdict: Verdict,
    /// What was read from the sheet.
    pub ink: Ink,
    /// The sheet's edges.
    pub outline: Outline,
    /// The cards of each photo, used and not; the photos sorted by their names.
    pub found: Vec<card::find::Found>,
    /// What came of a person's answers.
    pub person: Outcome,
    /// What to change for the next photo.
    pub advice: Vec<Advice>,
    pub(super) measured: Option<Measured>,
    /// The outline that was tried and found to be of another size, by photo.
    pub(super) tried: Vec<(usize, Vec<Point<Pixel>>)>,
    pub(super) findings: Vec<(Weight, Reason)>,
    pub(super) notes: Vec<String>,
    /// Of each mark, what of its uncertainty comes from where.
    pub(super) shares: Vec<Shares>,
    photos: Vec<PhotoSummary>,
}

impl Checked {
    pub(super) fn nothing_yet(shots: &[Shot], plan: &Plan) -> Self {
        let ink = Ink::unseen([plan.width_mm, plan.height_mm]);
        let outline = Outline::default();
        Self {
            verdict: verdict::decide(plan, &ink, &outline, &[]),
            ink,
            outline,
            found: Vec::new(),
            person: Outcome::default(),
            advice: Vec::new(),
            measured: None,
            tried: Vec::new(),
            findings: Vec::new(),
            notes: shots
                .iter()
                .flat_map(|s| s.photo.warnings.clone())
                .collect(),
            shares: Vec::new(),
            photos: shots.iter().map(summary).collect(),
        }
    }

    pub(super) fn note(&mut self, code: &'static str, text: String) {
        self.findings.push((Weight::Note, Reason { code, text }));
    }

    /// Cards that were seen and not used: fewer cards mean a less certain result, and each is easily mended.
    pub(super) fn note_left_out(&mut self) {
        for text in self.cards_not_used() {
            self.note("card-left-out", text);
        }
    }

    /// Cards that were seen and not used, with the photo's name where there are several.
    fn cards_not_used(&self) -> Vec<String> {
        let several = self.photos.len() > 1;
        let mut all = Vec::new();
        for (found, photo) in self.found.iter().zip(&self.photos) {
            for l in &found.left_out {
                let text = said_of(l);
                all.push(if several {
                    format!("{}: {text}", photo.name)
                } else {
                    text
                });
            }
        }
        all
    }

    /// Photos that were given and not measured.
    pub(super) fn tell_left_out(&mut self, together: &Together) {
        for l in &together.left_out {
            self.findings.push((l.weight, l.reason.clone()));
            if let Some(photo) = self.photos.get_mut(l.photo) {
                photo.left_out = Some(l.reason.text.clone());
            }
        }
    }

    /// Puts a person's answers in the place of ink that could not be named.
    pub(super) fn hear(&mut self, given: &Given) {
        if let (Some(answers), true) = (&given.answers, self.measured.is_some()) {
            let photos: Vec<String> = self.photos.iter().map(|p| p.name.clone()).collect();
            let (outcome, findings) =
                decide::honour::honour(&mut self.ink, answers, given.stage, &photos);
            self.person = outcome;
            self.findings.extend(findings);
        }
    }

    /// Says what a person decided: at once where the sheet is ready, for then it rests on it.
    pub(super) fn tell_decided(&mut self) {
        if let Some(said) = decide::honour::said(&self.person) {
            let reasons = &mut self.verdict.reasons;
            match self.verdict.decision {
                verdict::Decision::Ready => reasons.insert(1.min(reasons.len()), said),
                _ => reasons.push(said),
            }
        }
    }

    /// Works out what would help most in the next photo.
    pub(super) fn advise(&mut self, plan: &Plan, shots: &[Shot]) {
        let taken = self.survey().and_then(|s| {
            let px_per_mm = 1.0 / s.mm_per_px;
            let away_mm = s.view(0)?.lens().f_px * s.mm_per_px;
            let first = *self.measured.as_ref()?.kept.first()?;
            let unsure = !self.ink.unsure.is_empty();
            let spread = unsure
                .then(|| blur::of_photo(&shots[first].photo.grey, &self.found[first].cards))
                .flatten();
            (px_per_mm.is_finite() && away_mm.is_finite()).then_some(Taken {
                away_mm,
                px_per_mm,
                needed_px_per_mm: MIN_PX_PER_MM,
                kept: spread.map_or(1.0, |s| s.kept()),
                moved: spread.is_some_and(|s| s.moved()),
            })
        });
        self.advice = coach::advise(plan, &self.verdict, &self.ink.seen, taken);
    }

    /// A print that nobody measured is uncertain: say so, for it is easily put right.
    pub(super) fn warn_of_print(&mut self, given: &Given) {
        if given.print_scale.is_none() {
            self.notes.push(
                "the cards' bars were not measured, so their print counts as uncertain by 0.5 %: lay a steel rule on them and give both lengths with --bars"
                    .to_owned(),
            );
        }
    }

    /// Cards beside the sheet may lie lower than its face: say so when the user did not.
    pub(super) fn warn_of_bench(
        &mut self,
        plan: &Plan,
        given: &Given,
        together: &Together,
        beside: &[Vec<usize>],
    ) {
        let cards = together.cards(&self.found);
        let mut numbers: Vec<u16> = beside
            .iter()
            .zip(cards)
            .flat_map(|(beside, cards)| beside.iter().map(|&i| cards[i].number))
            .collect();
        if beside.len() > 1 {
            numbers.sort_unstable();
            numbers.dedup();
        }
        if numbers.is_empty() || given.card_below_mm.is_some() {
            return;
        }
        let numbers: Vec<String> = numbers.iter().map(u16::to_string).collect();
        let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
        let (cards, lies, it) = match numbers.len() {
            1 => ("card", "lies", "it lies"),
            _ => ("cards", "lie", "they lie"),
        };
        self.notes.push(format!(
            "{cards} {} {lies} beside the sheet: add --card-below {thickness:.2}mm if {it} on the bench, or --card-below 0mm if {it} level with the marked face; until you do, the result is less certain",
            numbers.join(", ")
        ));
    }

    /// Where a photo shows a place of the sheet, by the photo's place in [`Report::photos`]; `None` when it is not
    /// measured.
    #[must_use]
    pub fn pixel_in_photo(&self, photo: usize, at: Point<Sheet>) -> Option<Point<Pixel>> {
        let m = self.measured.as_ref()?;
        let view = m.kept.iter().position(|&k| k == photo)?;
        m.survey
            .sheet_frame(&m.datum, view)
            .ok()?
            .pixel_from_sheet(at)
    }

    /// The same of the first photo.
    #[must_use]
    pub fn pixel_from_sheet(&self, at: Point<Sheet>) -> Option<Point<Pixel>> {
        self.pixel_in_photo(0, at)
    }

    /// Of each hole, what of its mark's uncertainty comes from where.
    #[must_use]
    pub fn budgets(&self) -> Vec<Option<Budget>> {
        let holes = self.verdict.holes.iter();
        holes.map(|h| budget(h, &self.shares)).collect()
    }

    /// What each photo shows of the face, where several were measured.
    fn shown(&self) -> Vec<Option<&Shown>> {
        let Some(m) = self.measured.as_ref().filter(|m| !m.shown.is_empty()) else {
            return Vec::new();
        };
        let of = |photo| m.shown.get(m.kept.iter().position(|&k| k == photo)?);
        (0..self.photos.len()).map(of).collect()
    }

    /// The survey, when there was one.
    #[must_use]
    pub fn survey(&self) -> Option<&Survey> {
        self.measured.as_ref().map(|m| &m.survey)
    }

    /// The check as the reports take it.
    #[must_use]
    pub fn report<'a>(&'a self, plan: &'a Plan) -> Report<'a> {
        let survey = self.survey();
        let mut cards: Vec<CardSummary> = survey.map_or_else(Vec::new, |s| {
            s.cards
                .iter()
                .map(|c| CardSummary {
                    number: c.number,
                    saddles: c.saddles_used,
                    rms_px: Some(c.rms_px),
                    used: true,
                    note: None,
                })
                .collect()
        });
        let mut left_out: Vec<String> = Vec::new();
        for l in survey.iter().flat_map(|s| &s.left_out) {
            left_out.push(format!("card {}: {}", l.number, l.reason));
        }
        left_out.extend(self.cards_not_used());
        if survey.is_none() {
            let all = self.found.iter().flat_map(|f| &f.cards);
            cards.extend(all.map(|c| CardSummary {
                number: c.number,
                saddles: c.saddles.len(),
                rms_px: None,
                used: false,
                note: None,
            }));
        }
        let mut in_photo: Vec<InPhoto> = Vec::new();
        for (photo, found) in self.found.iter().enumerate() {
            in_photo.extend(found.cards.iter().map(|c| InPhoto {
                photo,
                card: Some(c.number),
                corners: c.outline.to_vec(),
            }));
        }
        in_photo.extend(self.tried.iter().map(|(photo, corners)| InPhoto {
            photo: *photo,
            card: None,
            corners: corners.clone(),
        }));
        let mut notes = self.notes.clone();
        notes.extend(
            survey
                .iter()
                .flat_map(|s| s.warnings.iter().map(|n| n.text.clone())),
        );
        Report {
            plan,
            verdict: &self.verdict,
            budgets: self.budgets(),
            lines: &self.ink.lines,
            seen: &self.ink.seen,
            person: &self.person,
            advice: &self.advice,
            outline: &self.outline,
            survey: SurveySummary {
                fit: survey.map(|s| Fit {
                    rms_px: s.rms_px,
                    mm_per_px: s.mm_per_px,
                    lens: match s.lens_source {
                        survey::LensSource::Profile => LensSource::Profile,
                        survey::LensSource::Exif => LensSource::Exif,
                        survey::LensSource::None => LensSource::None,
                    },
                    scale: s.scale,
                    scale_u: s.scale_u[0].max(s.scale_u[1]),
                }),
                cards,
                left_out,
            },
            in_photo,
            photos: self.photos.clone(),
            shown: self.shown(),
            notes,
        }
    }
}

/// What is said of a photo.
fn summary(shot: &Shot) -> PhotoSummary {
    let photo = shot.photo;
    let camera: Vec<&str> = [&photo.camera.make, &photo.camera.model]
        .into_iter()
        .flatten()
        .map(String::as_str)
        .collect();
    PhotoSummary {
        file: photo.path.display().to_string(),
        name: shot.name.clone(),
        width: photo.grey.width(),
        height: photo.grey.height(),
        camera: (!camera.is_empty()).then(|| camera.join(" ")),
        left_out: None,
    }
}

/// A card that was seen and not used, in a sentence.
fn said_of(l: &card::find::LeftOut) -> String {
    let name = l
        .number
        .map_or_else(|| "a card".to_owned(), |n| format!("card {n}"));
    format!(
        "{name} at pixel ({:.0}, {:.0}) is not used: {}",
        l.at.x, l.at.y, l.why
    )
}
