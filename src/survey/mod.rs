//! The survey: one least-squares adjustment ties the photo to the face.
//!
//! Unknowns: the pose of the face in each photo; the lens; each card's place in the face (the first card is
//! the gauge: its centre is the `Face` origin, its x axis the `Face` x axis); the print scale; straight lines
//! of the face; the height of the print over the face, and if need be that of the bench. Observations: checker corners, points on straight lines,
//! known lengths, and what is expected of the camera and the print.
//!
//! | step | module |
//! | --- | --- |
//! | what is given | [`input`], [`prior`] |
//! | lens and camera equation | [`lens`], `model` |
//! | cards, lines and lengths as observations | `assemble`, `observe` |
//! | a first pose from one card | [`homography`], `start` |
//! | the solve and its weights | `solve` |
//! | cards that do not lie flat | `suspect` |
//! | positions on the face and their covariance | [`view`], [`result`] |
//! | the sheet's frame | [`datum`] |
//! | which source of uncertainty does how much | `budget` |
//!
//! Use it twice: first with the cards only; then with the edge points that the first survey helped to find.

mod budget;
pub mod datum;
pub mod error;
pub mod homography;
pub mod input;
pub mod lens;
pub mod prior;
pub mod result;
pub mod view;

mod assemble;
mod model;
mod observe;
mod solve;
mod start;
mod suspect;
#[cfg(test)]
mod tests;

pub use budget::Source;
pub use datum::{DatumError, Leaning, SheetDatum, SheetFrame, SheetLine};
pub use error::SurveyError;
pub use homography::{Homography, HomographyError};
pub use input::{
    KNOWN_SD_MM, KnownLength, LineId, Options, PAPER_MM, PAPER_SAID_SD_MM, Sighting, StraightLine,
    TIE_SD, Tie,
};
pub use lens::{LENS_NAMES, LENS_UNKNOWNS, Lens};
pub use prior::{Cameras, LensSource, Note, PrintScale, Priors};
pub use result::{FaceLine, LeftOut, Survey, SurveyedCard};
pub use view::{Model, View};

use assemble::{Assembled, CardId, Case, list_cards};
use observe::Problem;
use solve::Settled;

/// Usable checker corners that at least one card must show.
pub const MIN_SADDLES: usize = 16;
/// A card with fewer usable corners is left out: its place would rest on too little.
pub const MIN_CARD_SADDLES: usize = 8;
/// Largest RMS misfit of the corners, mm on the card: more is no flat print on a flat face.
pub const MAX_RMS_MM: f64 = 0.15;
/// Largest angle between the view of a card and the upright on the face, degrees: beyond it a height of
/// 0.1 mm moves a mark by 0.4 mm.
pub const MAX_TILT_DEG: f64 = 75.0;

/// Reciprocal condition of the scaled normal matrix below which rounding spoils the covariance.
const MIN_RCOND: f64 = 1e-14;
/// Known lengths need lines parallel within this, degrees.
const MAX_WEDGE_DEG: f64 = 3.0;
/// Expected values this many standard deviations from the solved ones are told.
const SURPRISE_SIGMAS: f64 = 3.5;
/// Leaving out one card must lower the misfit to this part of the misfit of all, and below this part of what
/// leaving out any other card does; else it is not clear which card is at fault.
const CLEAR_GAIN: f64 = 0.7;
const CLEAR_LEAD: f64 = 0.75;
/// Cards tried when one is at fault.
const MAX_TRIED: usize = 6;

/// Measures the face in one or more photos of one camera.
///
/// Cards that do not lie flat in the face are left out if it is clear which ones, and named in
/// [`Survey::left_out`]; known lengths count only when lines are given.
///
/// # Errors
/// Each [`SurveyError`] says what is wrong and what to do: no or too little of a card, a bad fit, a view too
/// flat, a solve that does not settle, values that cannot be used.
///
/// # Source
/// Adjustment with expected values as observations: Mikhail and Ackermann, "Observations and Least Squares",
/// 1976, from memory; robust weights: Huber, Annals of Mathematical Statistics 35(1), 1964, 73-101.
pub fn survey(
    seen: &[Sighting],
    priors: &Priors,
    options: &Options,
) -> Result<Survey, SurveyError> {
    survey_of(seen, &Cameras::one(priors), options)
}

/// The same for photos of several cameras, or of one whose lens is not quite the same in all of them:
/// each [`Sighting`] says which camera took it.
///
/// # Errors
/// As [`survey`].
pub fn survey_of(
    seen: &[Sighting],
    cameras: &Cameras,
    options: &Options,
) -> Result<Survey, SurveyError> {
    let case = Case {
        seen,
        cameras,
        options,
    };
    case.check()?;
    let mut cards = list_cards(seen);
    let mut left_out = too_small(&cards);
    let mut warnings = cameras.notes.clone();
    warn_of_doubles(&cards, &mut warnings);
    enough(&cards)?;

    let mut fit = cards_only(&case, &cards)?;
    loop {
        let fits = suspect::fits(&fit.0.problem, &fit.1.state, fit.0.cards.len());
        if fit.1.steady && !suspect::any_suspect(&fits) {
            break;
        }
        match at_fault(&case, &cards, &fit, &fits) {
            Some((local, better)) => {
                let id = fit.0.cards[local];
                cards[id].dropped = true;
                left_out.push(LeftOut {
                    number: cards[id].number,
                    seen: cards[id].seen.clone(),
                    reason: why_left_out(&fits[local]),
                });
                fit = better;
            }
            None => {
                warnings.push(unclear(&cards, &fit.0, &fits));
                break;
            }
        }
    }

    let (mut whole, mut settled) = fit;
    if seen.iter().any(|s| !s.lines.is_empty()) {
        (whole, settled) = with_lines(&case, &cards, &settled)?;
    }
    if !settled.steady {
        return Err(SurveyError::Diverged {
            steps: solve::MAX_STEPS,
            rms_px: whole.problem.rms_px(&settled.state, None).0,
        });
    }
    if settled.rcond < MIN_RCOND {
        return Err(SurveyError::IllConditioned {
            unknown: "the solve as a whole".to_owned(),
            rcond: settled.rcond,
        });
    }
    surprises(&whole, &settled, &mut warnings);
    let survey = result::finish(
        &case,
        &cards,
        (whole, settled),
        result::Told { left_out, warnings },
    );
    accept(&survey)?;
    Ok(survey)
}

fn too_small(cards: &[CardId]) -> Vec<LeftOut> {
    cards
        .iter()
        .filter(|c| c.dropped)
        .map(|c| LeftOut {
            number: c.number,
            seen: c.seen.clone(),
            reason: format!(
                "it shows {} usable checker corners; {MIN_CARD_SADDLES} are needed",
                c.most
            ),
        })
        .collect()
}

fn enough(cards: &[CardId]) -> Result<(), SurveyError> {
    let best = cards
        .iter()
        .max_by_key(|c| (c.most, std::cmp::Reverse(c.number)))
        .ok_or(SurveyError::NoCards)?;
    if best.most < MIN_SADDLES {
        return Err(SurveyError::TooFewSaddles {
            card: best.number,
            seen: best.most,
        });
    }
    Ok(())
}

fn warn_of_doubles(cards: &[CardId], warnings: &mut Vec<Note>) {
    let mut numbers: Vec<u16> = cards.iter().map(|c| c.number).collect();
    numbers.sort_unstable();
    let mut doubles: Vec<u16> = numbers
        .windows(2)
        .filter(|w| w[0] == w[1])
        .map(|w| w[0])
        .collect();
    doubles.dedup();
    for number in doubles {
        warnings.push(Note {
            code: "same-number",
            text: format!(
                "card {number} is there more than once; each is used, but cards of different numbers are safer"
            ),
        });
    }
}

/// Start values and solve without lines.
fn cards_only(case: &Case, cards: &[CardId]) -> Result<(Assembled, Settled), SurveyError> {
    enough(cards)?;
    let photos: Vec<usize> = (0..case.seen.len()).collect();
    let mut whole = case.assemble(cards, &photos, false)?;
    let mut parts = Vec::new();
    for photo in photos {
        let part = case.assemble(cards, &[photo], false)?;
        if part.cards.is_empty() {
            return Err(SurveyError::NotLinked { photo });
        }
        let state = start::of_photo(case, cards, &part)?;
        parts.push((part, state));
    }
    let begin = start::join(&whole, &parts)?;
    let settled = solve::settle(&mut whole.problem, &begin)?;
    Ok((whole, settled))
}

/// The solve with lines and lengths, from the one without.
fn with_lines(
    case: &Case,
    cards: &[CardId],
    before: &Settled,
) -> Result<(Assembled, Settled), SurveyError> {
    let photos: Vec<usize> = (0..case.seen.len()).collect();
    let mut whole = case.assemble(cards, &photos, true)?;
    let mut begin = before.state.clone();
    let off_face = SurveyError::NoSuchLine {
        line: whole.lines[0],
        points: 0,
    };
    start::add_lines(&whole.problem, whole.lines.len(), &mut begin).ok_or(off_face)?;
    for l in &whole.problem.lengths {
        let [a, b] = l.lines;
        let turn = begin.lines[a].angle - begin.lines[b].angle;
        let angle_deg = turn.sin().abs().asin().to_degrees();
        if angle_deg > MAX_WEDGE_DEG {
            return Err(SurveyError::NotParallel {
                lines: [whole.lines[a], whole.lines[b]],
                angle_deg,
            });
        }
    }
    let settled = solve::settle(&mut whole.problem, &begin)?;
    Ok((whole, settled))
}

/// The card whose absence makes the others fit, and the solve without it; `None` where that is not clear.
fn at_fault(
    case: &Case,
    cards: &[CardId],
    (whole, settled): &(Assembled, Settled),
    fits: &[suspect::Fit],
) -> Option<(usize, (Assembled, Settled))> {
    if whole.cards.len() < 2 {
        return None;
    }
    let all = suspect::misfit(&whole.problem, &settled.state);
    let mut order: Vec<usize> = (0..fits.len()).collect();
    order.sort_by(|a, b| {
        let worst = |f: &suspect::Fit| f.rms_px.max(f.stands_off_px);
        worst(&fits[*b]).total_cmp(&worst(&fits[*a])).then(a.cmp(b))
    });
    let mut tried: Vec<(f64, usize, (Assembled, Settled))> = Vec::new();
    for local in order.into_iter().take(MAX_TRIED) {
        let mut fewer = cards.to_vec();
        fewer[whole.cards[local]].dropped = true;
        if let Ok(fit) = cards_only_kept(case, &fewer) {
            let misfit = suspect::misfit(&fit.0.problem, &fit.1.state);
            tried.push((misfit, local, fit));
        }
    }
    tried.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let second = tried.get(1).map_or(f64::INFINITY, |t| t.0);
    let (misfit, local, fit) = tried.into_iter().next()?;
    (misfit < CLEAR_GAIN * all && misfit < CLEAR_LEAD * second).then_some((local, fit))
}

/// As [`cards_only`], with what counts as enough asked of the kept cards.
fn cards_only_kept(case: &Case, cards: &[CardId]) -> Result<(Assembled, Settled), SurveyError> {
    let kept: Vec<CardId> = cards.iter().filter(|c| !c.dropped).cloned().collect();
    enough(&kept)?;
    cards_only(case, cards)
}

fn why_left_out(fit: &suspect::Fit) -> String {
    if fit.is_bent() {
        format!(
            "it does not lie flat in the face: it stands off by {:.1} mm ({:.1} px); tape it down",
            fit.stands_off_mm, fit.stands_off_px
        )
    } else {
        format!(
            "it does not fit the other cards (misfit {:.2} px); tape it down flat beside the marks",
            fit.rms_px
        )
    }
}

fn unclear(cards: &[CardId], whole: &Assembled, fits: &[suspect::Fit]) -> Note {
    let worst = (0..fits.len())
        .max_by(|a, b| {
            let worst = |f: &suspect::Fit| f.rms_px.max(f.stands_off_px);
            worst(&fits[*a]).total_cmp(&worst(&fits[*b]))
        })
        .unwrap_or(0);
    let (number, f) = (cards[whole.cards[worst]].number, fits[worst]);
    if fits.len() == 1 {
        Note {
            code: "card-not-flat",
            text: format!(
                "card {number} does not lie flat (it stands off by {:.1} mm) and there is no other card; tape it down and take the photo again",
                f.stands_off_mm
            ),
        }
    } else {
        Note {
            code: "cards-not-in-one-plane",
            text: format!(
                "the cards do not lie in one plane (card {number} stands off by {:.1} mm), and which one is wrong cannot be told; tape all of them down flat on the sheet",
                f.stands_off_mm
            ),
        }
    }
}

/// Tells where the solve ended far from what was expected.
fn surprises(whole: &Assembled, settled: &Settled, warnings: &mut Vec<Note>) {
    let problem: &Problem = &whole.problem;
    let state = &settled.state;
    for l in &problem.lengths {
        let (mm, by) = observe::length(&state.lines, l.lines);
        // The misfit's own spread: what was read, less what the solve took over.
        let columns = problem.length_columns(l, by);
        let mut var = l.sd * l.sd;
        for (i, x) in columns {
            for (j, y) in columns {
                var -= x * y * settled.cov[(i, j)];
            }
        }
        let sd = var.max((0.1 * l.sd).powi(2)).sqrt();
        if (l.mm - mm).abs() > SURPRISE_SIGMAS * sd {
            let [a, b] = l.lines.map(|k| whole.lines[k].0);
            warnings.push(Note {
                code: "known-length",
                text: format!(
                    "the length given between lines {a} and {b} is {:.2} mm, but the photo shows {mm:.2} mm; check the length, and measure the bars of the cards (--bars)",
                    l.mm
                ),
            });
        }
    }
    let e = &problem.expected;
    for i in 0..2 {
        let off = (state.scale[i] - e.scale[i]) / e.scale_sd[i];
        if off.abs() > SURPRISE_SIGMAS {
            warnings.push(Note {
                code: "print-scale",
                text: format!(
                    "the print measures {:.2} % of its size {}, expected were {:.2} % ± {:.2} %; check the lengths given and the bars",
                    100.0 * state.scale[i],
                    ["across", "down"][i],
                    100.0 * e.scale[i],
                    100.0 * e.scale_sd[i]
                ),
            });
        }
    }
    if let Some(cov) = e.lens_weight.clone().try_inverse() {
        let solved = state.lenses.iter().flat_map(Lens::unknowns);
        let surprises = |(i, (now, was)): (usize, (f64, &f64))| {
            ((now - was) / cov[(i, i)].sqrt()).abs() > SURPRISE_SIGMAS
        };
        // Told once: which of the lens's numbers it is helps nobody at the bench.
        if solved.zip(e.lenses.iter()).enumerate().any(surprises) {
            warnings.push(Note {
                code: "lens",
                text: "the lens is not as expected: was the picture cropped or edited, or is the profile another camera's?"
                    .to_owned(),
            });
        }
    }
}

fn accept(survey: &Survey) -> Result<(), SurveyError> {
    for card in &survey.cards {
        for &(photo, _) in &card.seen {
            let tilt = survey.model().views()[photo].view_angle(card.face_from_card.origin);
            let tilt_deg = tilt.to_degrees();
            if tilt_deg.is_nan() || tilt_deg > MAX_TILT_DEG {
                return Err(SurveyError::TooTilted { photo, tilt_deg });
            }
        }
    }
    let rms_mm = survey.rms_px * survey.mm_per_px;
    if rms_mm.is_nan() || rms_mm > MAX_RMS_MM {
        let worst = survey
            .cards
            .iter()
            .max_by(|a, b| a.rms_px.total_cmp(&b.rms_px))
            .map_or((0, f64::NAN), |c| (c.number, c.rms_px));
        return Err(SurveyError::DoesNotFit {
            rms_px: survey.rms_px,
            rms_mm,
            worst,
            cards: survey.cards.len(),
        });
    }
    Ok(())
}
