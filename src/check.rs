//! The main job: the stages, called in the order the data flows.
//!
//! [`check_all`] is the whole story; what follows it is what it needs to tell it honestly.
//!
//! | step | module |
//! | --- | --- |
//! | what the user says besides the plan | `given`, read from what is typed by [`said`] |
//! | a first look at a photo, before it is checked | `look` |
//! | whether a photo is sharp enough | `sharp` |
//! | which photos measure one piece together | `together` |
//! | datum, outline and size from the edges | `edges` |
//! | the same, where two marks are the datum | `marks` |
//! | what ruled lines tell of the lens | `plumb` |
//! | how far the work is: what counts as a mark, diameters | `stage` |
//! | one reading from those of all photos | `merge` |
//! | the marks laid on the plan, where an end of the sheet does not show | `pattern` |
//! | which way round the sheet lies | `turn` |
//! | what of each hole's uncertainty comes from where | `budget` |
//! | whether scale and sizes go together | `sanity` |
//! | what was left unsaid, where that matters | `unsaid` |
//! | the finished check, as the reports take it | `checked` |

mod apart;
mod budget;
mod checked;
pub(crate) mod edges;
mod given;
mod look;
mod marks;
mod merge;
mod pattern;
mod plumb;
pub mod said;
mod sanity;
mod sharp;
mod shrunk;
mod stage;
mod together;
mod turn;
mod unsaid;

use nalgebra::Vector2;

use crate::card;
use crate::frame::Point;
use crate::ink;
use crate::photo::Photo;
use crate::plan::Plan;
use crate::plan::length;
use crate::plan::rules::{BOOKS, Marked, as_marked};
use crate::report::Shown;
use crate::sheet::{self, Look, Outline, SheetError, Sides};
use crate::survey::{self, SheetDatum, Sighting, StraightLine, Survey, SurveyError};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{self, HoleState, Reason, Verdict, Weight};
use together::Together;
use turn::Way;

pub use budget::Budget;
pub use checked::Checked;
pub use given::{Given, Known};
pub use look::{FirstLook, first_look};
pub use stage::Stage;
pub use turn::Corner;

/// Checks the marks in a photo against a plan.
///
/// Never fails: what keeps the photo from being measured (no card, a card that is not flat, no sheet
/// edges) is a verdict of "cannot tell" whose reasons say what to do.
#[must_use]
pub fn check(photo: &Photo, plan: &Plan, given: &Given) -> Checked {
    check_all(&[photo], plan, given)
}

/// Checks the marks of one piece in several photos that share cards. Each may show all of it or a part. Their
/// order does not matter.
#[must_use]
pub fn check_all(photos: &[&Photo], plan: &Plan, given: &Given) -> Checked {
    check_watched(photos, plan, given, &mut |_| {})
}

/// The same, telling the name of each stage when it is done, for a progress bar or a clock of the caller. A stage that is
/// done more than once is told each time.
#[must_use]
pub fn check_watched(
    photos: &[&Photo],
    plan: &Plan,
    given: &Given,
    done: &mut dyn FnMut(&'static str),
) -> Checked {
    let shots = together::in_order(photos, given);
    let mut checked = Checked::nothing_yet(&shots, plan);
    checked.found = shots
        .iter()
        .map(|s| card::find::find(&s.photo.grey))
        .collect();
    done("cards");
    checked.note_left_out();
    if let Err(stop) = measure(&shots, plan, given, &mut checked, done) {
        checked.findings.push((Weight::Blocks, stop));
    }
    stage::judge(plan, given.stage, &mut checked);
    checked.hear(given);
    checked.verdict = verdict::decide(plan, &checked.ink, &checked.outline, &checked.findings);
    let mut more = sanity::findings(&checked, plan, given);
    more.extend(unsaid::findings(&checked, given));
    more.extend(shrunk::findings(&shots, checked.verdict.decision));
    more.extend(stage::said(given.stage, checked.verdict.decision));
    if !more.is_empty() {
        checked.findings.extend(more);
        checked.verdict = verdict::decide(plan, &checked.ink, &checked.outline, &checked.findings);
    }
    checked.tell_decided();
    checked.advise(plan, &shots);
    checked
        .notes
        .extend(under_as_marked(plan, &checked.verdict, &checked.outline));
    done("verdict");
    checked
}

/// Notes of edge distances and spacings that are surely under a published least value as marked, one each, and one of
/// those that cannot be told from it. They change nothing in the verdict: the plan and its tolerance decide, and the
/// approved data decide on the plan.
fn under_as_marked(plan: &Plan, verdict: &Verdict, outline: &Outline) -> Vec<String> {
    let marks: Vec<Marked> = verdict
        .holes
        .iter()
        .filter(|h| h.state != HoleState::Cancelled)
        .filter_map(|h| {
            Some(Marked {
                hole: &h.name,
                at: h.found?,
                uncertainty_mm: h.uncertainty_mm?,
                edge_mm: outline
                    .nearest_edge(h.found?)
                    .map(|[mm, u]| [mm, COVERAGE_FACTOR * u]),
            })
        })
        .collect();
    let (sure, unsure): (Vec<_>, Vec<_>) = as_marked(plan, &marks, &BOOKS)
        .into_iter()
        .partition(|f| f.sure);
    let mut notes: Vec<String> = sure.into_iter().map(|f| f.text).collect();
    // A plan at the least value itself has as many of these as marks.
    if let [first, others @ ..] = &unsure[..] {
        let mut text = first.text.clone();
        if !others.is_empty() {
            text.push_str(&format!("; {} more of such a kind", others.len()));
        }
        notes.push(text);
    }
    notes
}

/// From cards to ink; on the way out early, the reason.
fn measure(
    shots: &[together::Shot],
    plan: &Plan,
    given: &Given,
    checked: &mut Checked,
    done: &mut dyn FnMut(&'static str),
) -> Result<(), Reason> {
    if let Some(names) = &plan.datum {
        return marks::measure(shots, plan, given, names, checked, done);
    }
    let sharp = together::sharp(shots, &checked.found);
    done("blur");
    // First the cards alone, to see roughly where everything is; then all that is straight and known.
    let mut together = together::by_cards(shots, &checked.found, sharp)?;
    done("survey");
    let mut edged = edged(shots, plan, given, checked, done, &mut together)?;
    while let Some(mut more) =
        apart::joined(shots, (plan, given), checked, done, (&together, &edged))
    {
        let Ok(all) = self::edged(shots, plan, given, checked, done, &mut more) else {
            break;
        };
        // What the edges take away again would be joined again for ever.
        if more.kept.len() <= together.kept.len() {
            break;
        }
        (together, edged) = (more, all);
    }
    if let Some(why) = sanity::stretched(&edged.survey, given) {
        return Err(why);
    }
    checked.warn_of_print(given);
    checked.warn_of_bench(plan, given, &together, &edged.beside);
    checked.tell_left_out(&together);
    read(shots, plan, given, checked, done, &together, edged)
}

/// The survey with the sheet's edges in it, of as many of the photos as agree on them.
fn edged(
    shots: &[together::Shot],
    plan: &Plan,
    given: &Given,
    checked: &mut Checked,
    done: &mut dyn FnMut(&'static str),
    together: &mut Together,
) -> Result<Edged, Reason> {
    loop {
        let edged = match Edged::of(shots, plan, given, checked, done, together) {
            Ok(edged) => edged,
            Err(why) if why.code == NO_SHEET && together.kept.len() > 1 => {
                // Of photos between which the sheet was moved no two edges are one.
                let found = checked.found.clone();
                let shows =
                    |fewer: &Together| Edged::of(shots, plan, given, checked, done, fewer).is_ok();
                *together = together.without_one(shots, &found, shows).ok_or(why)?;
                continue;
            }
            Err(why) => return Err(why),
        };
        match together.without_off_edges(shots, &checked.found, &edged)? {
            Some(fewer) => *together = fewer,
            None => return Ok(edged),
        }
    }
}

/// The survey with the sheet's edges in it.
struct Edged {
    sides: Sides,
    /// Of each kept photo, the places of the cards that lie beside the sheet.
    beside: Vec<Vec<usize>>,
    /// Where the photo shows the plan's lower left corner when `turns` is 0.
    lies: Corner,
    turns: u32,
    survey: Survey,
    /// The edge of the datum that no photo shows, where it is put.
    placed: Option<pattern::Placed>,
    /// The survey's edges are doubted by what the sheet's size differs from the plan's, and where they show twice.
    doubted: bool,
}

impl Edged {
    fn of(
        shots: &[together::Shot],
        plan: &Plan,
        given: &Given,
        checked: &mut Checked,
        done: &mut dyn FnMut(&'static str),
        together: &Together,
    ) -> Result<Self, Reason> {
        let size_mm = [plan.width_mm, plan.height_mm];
        let cards = together.cards(&checked.found);
        let looks = looks(shots, together, &together.survey, &cards);
        let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
        let sides = sheet::find(&looks, &together.survey, size_mm, thickness)
            .map_err(|e| no_sheet(&e, plan))?;
        let beside = edges::beside(&together.survey, &cards, &sides);
        done("sheet");
        let lies = lies(together, &sides)?;
        let turns = given.datum_corner.map_or(0, |c| c.turns_from(lies));
        if turns % 2 == 1 && !sides.square {
            let [a, b] = [0, 2].map(|t| lies.turned(t).name().replace('-', " "));
            return Err(reason(
                "datum-corner",
                format!(
                    "the sheet is not square, so the plan's lower left corner can only be at the {a} or the {b} of the photo: give one of these with --datum-corner"
                ),
            ));
        }
        let mut edged = Self {
            survey: together.survey.clone(),
            sides,
            beside,
            lies,
            turns,
            placed: None,
            doubted: false,
        };
        edged.solve(shots, plan, given, checked, done, together)?;
        // With the edges the survey knows the lens where no card lies: by that they are measured once more.
        let cards = together.cards(&checked.found);
        let looks = self::looks(shots, together, &edged.survey, &cards);
        edged.sides = edged.sides.again(&looks, &edged.survey, thickness);
        done("sheet");
        edged.solve(shots, plan, given, checked, done, together)?;
        Ok(edged)
    }

    /// Solves with the edges, as they are named when the plan is turned by `turns`.
    fn solve(
        &mut self,
        shots: &[together::Shot],
        plan: &Plan,
        given: &Given,
        checked: &mut Checked,
        done: &mut dyn FnMut(&'static str),
        together: &Together,
    ) -> Result<(), Reason> {
        self.survey = self
            .surveyed(shots, (plan, given), &checked.found, together, &[])
            .map_err(|e| reason("no-survey", e))?;
        self.doubted = false;
        done("survey");
        Ok(())
    }

    /// The survey with the edges and these lines of the first photo.
    fn surveyed(
        &self,
        shots: &[together::Shot],
        (plan, given): (&Plan, &Given),
        found: &[card::find::Found],
        together: &Together,
        ruled: &[StraightLine],
    ) -> Result<Survey, SurveyError> {
        let found_by = &together.survey;
        let by = (found_by, together.ties());
        let options = edges::options(plan, given, &self.sides, self.turns, by);
        let cards = together.cards(found);
        let mut lines = edges::varying(found_by, &self.sides);
        if let Some(first) = lines.first_mut() {
            first.extend_from_slice(ruled);
        }
        let sightings: Vec<Sighting> = (0..cards.len())
            .map(|i| Sighting {
                cards: cards[i],
                beside: &self.beside[i],
                lines: &lines[i],
                camera: i,
            })
            .collect();
        let cameras = together::cameras(shots, &together.kept);
        let mut survey = survey::survey_of(&sightings, &cameras, &options)?;
        edges::doubt_bent(&mut survey);
        Ok(survey)
    }
}

/// What of the photos shows the sheet, by a survey of them.
fn looks<'a>(
    shots: &'a [together::Shot],
    together: &Together,
    survey: &'a Survey,
    cards: &[&'a [card::SeenCard]],
) -> Vec<Look<'a>> {
    let photos = together.kept.iter().zip(survey.model().views()).zip(cards);
    let of_photo =
        |((&k, view), &cards): ((&usize, &'a survey::View), &&'a [card::SeenCard])| Look {
            grey: &shots[k].photo.grey,
            colour: &shots[k].photo.colour,
            view,
            cards,
        };
    photos.map(of_photo).collect()
}

/// Where the first photo shows the lower left corner of the sheet as it was first taken to lie. Its corners may be out of
/// the picture: a small rectangle in the picture's middle lies as they do.
fn lies(together: &Together, sides: &Sides) -> Result<Corner, Reason> {
    const SMALL_MM: f64 = 5.0;
    let lost = || reason("no-datum", "the photo shows the face at too steep an angle");
    let view = together.survey.view(0).ok_or_else(lost)?;
    let middle = sides.corners.iter().map(|c| c.vec()).sum::<Vector2<f64>>() / 4.0;
    let lens = view.lens();
    let centre = Point::new(lens.cx_px, lens.cy_px);
    let at = view.face_from_pixel(centre).ok_or_else(lost)?;
    let mut seen = [centre; 4];
    for (seen, corner) in seen.iter_mut().zip(&sides.corners) {
        let small = at + (corner.vec() - middle).normalize() * SMALL_MM;
        *seen = view.pixel_from_face(small).ok_or_else(lost)?;
    }
    Ok(Corner::of_first(seen))
}

/// Reads the ink in every photo, finds out which way round the sheet lies, and puts it all together.
fn read(
    shots: &[together::Shot],
    plan: &Plan,
    given: &Given,
    checked: &mut Checked,
    done: &mut dyn FnMut(&'static str),
    together: &Together,
    mut edged: Edged,
) -> Result<(), Reason> {
    let size_mm = [plan.width_mm, plan.height_mm];
    let mut settled = given.datum_corner.is_some();
    let by_far = |edged: &Edged| edges::far_edge(&edged.survey, edged.turns, given);
    if by_far(&edged).is_none() {
        edged.placed = pattern::missing(&edged.sides, edged.turns);
    }
    let mut laid = edged.placed.is_none();
    loop {
        let turns = edged.turns;
        let mut with_placed = edged.survey.clone();
        let datum = match (edged.placed, by_far(&edged)) {
            (Some(placed), _) => placed.put_in(&mut with_placed, &edged.sides, size_mm, turns),
            (None, Some(far)) => far.datum(&mut with_placed, size_mm, turns),
            (None, None) => edges::datum(size_mm, turns),
        };
        let survey = &with_placed;
        let frames = (0..together.kept.len())
            .map(|i| survey.sheet_frame(&datum, i))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| reason("no-datum", e))?;
        let outline = edges::outline(survey, &frames[0], turns);
        let mut planned = turn::all_ways(plan, edged.sides.square);
        if settled {
            planned.truncate(1);
        }
        let cards = together.cards(&checked.found);
        let inks = together
            .kept
            .iter()
            .zip(&frames)
            .zip(&cards)
            .map(|((&k, frame), cards)| {
                let photo = &shots[k].photo;
                let (grey, colour) = (&photo.grey, photo.colour.get());
                let (mut ink, view, _) =
                    ink::read(grey, colour, frame, &outline, cards, size_mm, &planned);
                sharp::leave_out_blurred(&mut ink, grey, cards, frame);
                stage::with_worked(plan, given.stage, (&view, frame), ink)
            })
            .collect();
        done("ink");
        let names: Vec<String> = together
            .kept
            .iter()
            .map(|&k| shots[k].name.clone())
            .collect();
        let merged = merge::merge(&frames, inks, &names, plan)?;
        done("merge");
        if !laid {
            drop(frames);
            let finding = pattern::lay(&mut edged, plan, &merged.ink)?;
            checked.findings.push(finding);
            edged.solve(shots, plan, given, checked, done, together)?;
            (laid, settled) = (true, true);
            continue;
        }
        let way = if settled {
            Way::Turned(turns)
        } else {
            turn::which(plan, &merged.ink, edged.sides.square)
        };
        if let Way::Turned(t) = way
            && t != turns
        {
            drop(frames);
            edged.turns = t;
            edged.solve(shots, plan, given, checked, done, together)?;
            settled = true;
            continue;
        }
        // With a wrong outline or a wrong scale every place is wrong: then nothing is claimed of any hole.
        let sizes = if edged.doubted {
            Vec::new()
        } else {
            edges::other_sizes(plan, &outline)
        };
        if let Some(wrong) = sizes.iter().find(|s| s.weight == Weight::Blocks) {
            checked.tried = edges::corners(size_mm, &frames, &together.kept);
            return Err(wrong.reason.clone());
        }
        let seconds = if edged.doubted {
            Vec::new()
        } else {
            edges::second_edges(plan, given, &outline, &edged.sides, turns)
        };
        if !sizes.is_empty() || !seconds.is_empty() {
            drop(frames);
            edges::doubt_sizes(&mut edged.survey, &sizes, turns);
            for second in &seconds {
                edges::doubt_second(&mut edged.survey, second);
            }
            edged.doubted = true;
            let told = sizes.into_iter().map(|s| (s.weight, s.reason));
            checked.findings.extend(told);
            let told = seconds.into_iter().map(|s| (Weight::Note, s.reason));
            checked.findings.extend(told);
            continue;
        }
        if let Way::Either([a, b]) = way {
            return Err(two_ways([a, b].map(|t| edged.lies.turned(t))));
        }
        let corner = edged.lies.turned(turns);
        if corner != Corner::LowerLeft && given.datum_corner.is_none() {
            checked.note(
                "sheet-turned",
                format!(
                    "the marks fit the plan with its lower left corner at the {} in the photo",
                    corner.name().replace('-', " ")
                ),
            );
        }
        checked.shares = budget::shares(&merged, &frames);
        drop(frames);
        edged.survey = with_placed;
        checked.findings.extend(merged.findings);
        checked.outline = outline;
        checked.ink = merged.ink;
        for l in &edged.survey.left_out {
            checked.note("card-left-out", format!("card {}: {}", l.number, l.reason));
        }
        checked.measured = Some(Measured {
            survey: edged.survey,
            datum,
            kept: together.kept.clone(),
            shown: merged.shown,
        });
        return Ok(());
    }
}

/// What the places of a check rest on.
#[derive(Debug, Clone)]
struct Measured {
    survey: Survey,
    datum: SheetDatum,
    /// The photo of each of the survey's views.
    kept: Vec<usize>,
    /// What each view shows of the face; empty where there is but one.
    shown: Vec<Shown>,
}

/// Code of the finding that no sheet shows.
const NO_SHEET: &str = "no-sheet";

/// No sheet as planned, in the plan's unit.
fn no_sheet(error: &SheetError, plan: &Plan) -> Reason {
    let size = |[w, h]: [f64; 2]| {
        let (show, sign) = (
            |mm| length::measured(mm, plan.units),
            length::unit_sign(plan.units),
        );
        format!("{} x {} {sign}", show(w), show(h))
    };
    let text = match error {
        SheetError::NotFound { planned_mm } => format!(
            "no sheet of {} was found; show all its edges with some bench round them, on something much darker or lighter (a dark cloth under bare metal), and check the sheet's size in the plan",
            size(*planned_mm)
        ),
        SheetError::OtherSize {
            measured_mm,
            planned_mm,
        } => format!(
            "the sheet measures {} where the plan says {}: is it another sheet, or is its size wrong in the plan? If neither, the cards are printed at {:.1} %: lay a rule on their bars and give what they measure with --bars",
            size(*measured_mm),
            size(*planned_mm),
            50.0 * (planned_mm[0] / measured_mm[0] + planned_mm[1] / measured_mm[1])
        ),
        _ => error.to_string(),
    };
    reason(NO_SHEET, text)
}
/// Thickness taken when the plan gives none, mm.
const UNSAID_THICKNESS_MM: f64 = 1.0;

fn reason(code: &'static str, error: impl ToString) -> Reason {
    Reason {
        code,
        text: error.to_string(),
    }
}

/// Marks that fit the plan two ways round: whichever is taken, some would be called right that are not.
fn two_ways([a, b]: [Corner; 2]) -> Reason {
    let (a, b) = (a.name(), b.name());
    reason(
        "which-way-round",
        format!(
            "the marks fit the plan two ways round: most of them with its lower left corner at the {} of the photo, the rest only with it at the {} (were rows measured from the wrong end?). Say which is right with --datum-corner {a} or --datum-corner {b}",
            a.replace('-', " "),
            b.replace('-', " ")
        ),
    )
}
