//! The main job: the stages, called in the order the data flows.
//!
//! [`check`] is the whole story; what follows it is what it needs to tell it honestly.

use std::time::{Duration, Instant};

use nalgebra::Vector2;

use crate::card::{self, SeenCard};
use crate::frame::{Pixel, Point, Sheet};
use crate::ink::{self, Ink};
use crate::photo::Photo;
use crate::plan::{Edge, Plan};
use crate::report::{CardSummary, LensSource, PhotoSummary, Report, SurveySummary};
use crate::sheet::{self, MeasuredEdge, Outline, Sides};
use crate::survey::{
    self, KNOWN_SD_MM, KnownLength, Options, PrintScale, Priors, SheetDatum, SheetFrame, Sighting,
    Survey,
};
use crate::verdict::{self, Reason, Verdict, Weight};

/// Checks the marks in a photo against a plan.
///
/// Never fails: what keeps the photo from being measured (no card, a card that is not flat, no sheet
/// edges) is a verdict of "cannot tell" whose reasons say what to do.
#[must_use]
pub fn check(photo: &Photo, plan: &Plan, given: &Given) -> Checked {
    let mut checked = Checked::nothing_yet(photo, plan);
    let mut clock = Clock::start();
    let found = card::find::find(&photo.grey);
    clock.lap("cards", &mut checked);
    checked.found = found;
    if let Err(stop) = measure(photo, plan, given, &mut checked, &mut clock) {
        checked.findings.push((Weight::Blocks, stop));
    }
    checked.verdict = verdict::decide(plan, &checked.ink, &checked.outline, &checked.findings);
    clock.lap("verdict", &mut checked);
    checked
}

/// From cards to ink; on the way out early, the reason.
fn measure(
    photo: &Photo,
    plan: &Plan,
    given: &Given,
    checked: &mut Checked,
    clock: &mut Clock,
) -> Result<(), Reason> {
    if let Some([a, b]) = &plan.datum {
        // Measured from the edges, every place would be told from another datum than the plan means.
        return Err(reason(
            "datum-marks",
            format!(
                "the plan takes its datum from the marks {a} and {b}, which cannot be done yet; take the line datum out of the plan to measure from the sheet's lower left corner"
            ),
        ));
    }
    let cards = checked.found.cards.clone();
    let size_mm = [plan.width_mm, plan.height_mm];
    let (width, height) = photo.grey.dimensions();
    let mut priors = Priors::from_camera(&photo.camera, width, height);
    if let Some(scale) = given.print_scale {
        priors = priors.with_scale(scale);
    }
    // First the cards alone, to see roughly where everything is; then all that is straight and known.
    let rough = survey::survey(
        &[Sighting {
            cards: &cards,
            ..Sighting::default()
        }],
        &priors,
        &Options::default(),
    )
    .map_err(|e| reason("no-survey", e))?;
    clock.lap("survey", checked);
    let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
    let sides = sheet::find(&photo.grey, &rough, &cards, size_mm, thickness)
        .map_err(|e| reason("no-sheet", e))?;
    clock.lap("sheet", checked);
    let beside = beside(&rough, &cards, &sides);
    checked.warn_of_print(given);
    checked.warn_of_bench(plan, given, &cards, &beside);
    let mut turns = 0;
    loop {
        let options = options(plan, given, &sides, turns);
        let sighting = Sighting {
            cards: &cards,
            beside: &beside,
            lines: &sides.lines,
        };
        let mut survey =
            survey::survey(&[sighting], &priors, &options).map_err(|e| reason("no-survey", e))?;
        for &(line, sd_mm) in &sides.doubts {
            survey.doubt_line(line, sd_mm);
        }
        clock.lap("survey", checked);
        let datum = datum(size_mm, turns);
        let frame = survey
            .sheet_frame(&datum, 0)
            .map_err(|e| reason("no-datum", e))?;
        let outline = outline(&survey, &frame, turns);
        let (ink, _) = ink::read(&photo.grey, &frame, &outline, &cards, size_mm);
        clock.lap("ink", checked);
        let better = if turns == 0 {
            better_turn(plan, &ink, sides.square)
        } else {
            None
        };
        match better {
            Some(t) => turns = t,
            None => {
                // With a wrong outline or a wrong scale every place is wrong: then nothing is claimed of
                // any hole.
                for (weight, finding) in size_findings(plan, &outline) {
                    if weight == Weight::Blocks {
                        return Err(finding);
                    }
                    checked.findings.push((weight, finding));
                }
                if turns != 0 {
                    checked.note(
                        "sheet-turned",
                        format!(
                            "the marks fit the plan with its lower left corner {} in the photo",
                            CORNERS[turns as usize]
                        ),
                    );
                }
                checked.outline = outline;
                checked.ink = ink;
                drop(frame);
                checked.measured = Some((survey, datum));
                return Ok(());
            }
        }
    }
}

/// What the user says besides the plan.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// The print scale, from what the bars measure.
    pub print_scale: Option<PrintScale>,
    /// How far below the face the cards beside the sheet lie, mm.
    pub card_below_mm: Option<f64>,
    /// Measured lengths.
    pub known: Vec<(Known, f64)>,
}

/// A length that the user can measure and tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Known {
    /// From the left to the right edge, at the middle.
    SheetWidth,
    /// From the bottom to the top edge, at the middle.
    SheetHeight,
}

impl Known {
    /// By its name on the command line.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "sheet-width" => Some(Self::SheetWidth),
            "sheet-height" => Some(Self::SheetHeight),
            _ => None,
        }
    }
}

/// A finished check.
#[derive(Debug, Clone)]
pub struct Checked {
    /// The verdict.
    pub verdict: Verdict,
    /// What was read from the sheet.
    pub ink: Ink,
    /// The sheet's edges.
    pub outline: Outline,
    /// The cards, used and not.
    pub found: card::find::Found,
    /// How long each stage took, in order.
    pub timings: Vec<(&'static str, Duration)>,
    measured: Option<(Survey, SheetDatum)>,
    findings: Vec<(Weight, Reason)>,
    notes: Vec<String>,
    photo: PhotoSummary,
}

/// Where the plan's lower left corner is seen, by quarter turns from upright.
const CORNERS: [&str; 4] = [
    "at the lower left",
    "at the lower right",
    "at the upper right",
    "at the upper left",
];
/// A sheet is only taken to lie another way round when that explains this many marks more.
const CLEARLY_BETTER: usize = 3;
/// A mark counts as a hole's for this purpose within this many tolerances.
const NEAR_TOLERANCES: f64 = 1.0;

impl Checked {
    fn nothing_yet(photo: &Photo, plan: &Plan) -> Self {
        let ink = Ink::unseen([plan.width_mm, plan.height_mm]);
        let outline = Outline::default();
        let camera: Vec<&str> = [&photo.camera.make, &photo.camera.model]
            .into_iter()
            .flatten()
            .map(String::as_str)
            .collect();
        Self {
            verdict: verdict::decide(plan, &ink, &outline, &[]),
            ink,
            outline,
            found: card::find::Found::default(),
            timings: Vec::new(),
            measured: None,
            findings: Vec::new(),
            notes: photo.warnings.clone(),
            photo: PhotoSummary {
                file: photo.path.display().to_string(),
                width: photo.grey.width(),
                height: photo.grey.height(),
                camera: (!camera.is_empty()).then(|| camera.join(" ")),
            },
        }
    }

    fn note(&mut self, code: &'static str, text: String) {
        self.findings.push((Weight::Note, Reason { code, text }));
    }

    /// A print that nobody measured is uncertain: say so, for it is easily put right.
    fn warn_of_print(&mut self, given: &Given) {
        if given.print_scale.is_none() {
            self.notes.push(
                "the cards' bars were not measured, so their print counts as uncertain by 0.5 %: lay a steel rule on them and give both lengths with --bars"
                    .to_owned(),
            );
        }
    }

    /// Cards beside the sheet may lie lower than its face: say so when the user did not.
    fn warn_of_bench(&mut self, plan: &Plan, given: &Given, cards: &[SeenCard], beside: &[usize]) {
        if beside.is_empty() || given.card_below_mm.is_some() {
            return;
        }
        let numbers: Vec<String> = beside
            .iter()
            .map(|&i| cards[i].number.to_string())
            .collect();
        let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
        let (cards, lies, it) = match numbers.len() {
            1 => ("card", "lies", "it lies"),
            _ => ("cards", "lie", "they lie"),
        };
        self.notes.push(format!(
            "{cards} {} {lies} beside the sheet: add --card-below {thickness:.2}mm if {it} on the bench, or --card-below 0mm if {it} level with the marked face; unsaid, the result is less certain",
            numbers.join(", ")
        ));
    }

    /// Where the photo shows a place of the sheet; `None` when nothing could be measured.
    #[must_use]
    pub fn pixel_from_sheet(&self, at: Point<Sheet>) -> Option<Point<Pixel>> {
        let (survey, datum) = self.measured.as_ref()?;
        survey.sheet_frame(datum, 0).ok()?.pixel_from_sheet(at)
    }

    /// The survey, when there was one.
    #[must_use]
    pub fn survey(&self) -> Option<&Survey> {
        self.measured.as_ref().map(|(s, _)| s)
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
                    rms_px: c.rms_px,
                    used: true,
                    note: None,
                })
                .collect()
        });
        let mut left_out: Vec<String> = Vec::new();
        for l in survey.iter().flat_map(|s| &s.left_out) {
            left_out.push(format!("card {}: {}", l.number, l.reason));
        }
        for l in &self.found.left_out {
            let name = l
                .number
                .map_or_else(|| "a card".to_owned(), |n| format!("card {n}"));
            left_out.push(format!(
                "{name} at pixel ({:.0}, {:.0}): {}",
                l.at.x, l.at.y, l.why
            ));
        }
        if survey.is_none() {
            cards.extend(self.found.cards.iter().map(|c| CardSummary {
                number: c.number,
                saddles: c.saddles.len(),
                rms_px: 0.0,
                used: false,
                note: Some("found, but the photo could not be measured".to_owned()),
            }));
        }
        let mut notes = self.notes.clone();
        notes.extend(
            survey
                .iter()
                .flat_map(|s| s.warnings.iter().map(|n| n.text.clone())),
        );
        Report {
            plan,
            verdict: &self.verdict,
            lines: &self.ink.lines,
            seen: &self.ink.seen,
            outline: &self.outline,
            survey: SurveySummary {
                rms_px: survey.map_or(0.0, |s| s.rms_px),
                mm_per_px: survey.map_or(0.0, |s| s.mm_per_px),
                cards,
                left_out,
                lens: match survey.map(|s| s.lens_source) {
                    Some(survey::LensSource::Profile) => LensSource::Profile,
                    Some(survey::LensSource::Exif) => LensSource::Exif,
                    _ => LensSource::None,
                },
                scale: survey.map_or([1.0; 2], |s| s.scale),
                scale_u: survey.map_or(0.0, |s| s.scale_u[0].max(s.scale_u[1])),
            },
            photos: vec![self.photo.clone()],
            notes,
        }
    }
}

/// Height of a card's print over what it lies on, mm: between level with it (a card let in, or pressed
/// flat into film) and a sheet of office paper, 0.1 mm, above it.
const PRINT_ABOVE_MM: f64 = 0.05;
/// Thickness taken when the plan gives none, mm.
const UNSAID_THICKNESS_MM: f64 = 1.0;

fn reason(code: &'static str, error: impl ToString) -> Reason {
    Reason {
        code,
        text: error.to_string(),
    }
}

/// The cards whose middle lies off the sheet.
fn beside(survey: &Survey, cards: &[SeenCard], sides: &Sides) -> Vec<usize> {
    let middle =
        |c: &SeenCard| Point::at(c.outline.iter().map(|p| p.vec()).sum::<Vector2<f64>>() / 4.0);
    let off = |c: &SeenCard| {
        survey.face_from_pixel(middle(c)).is_none_or(|p| {
            let corners = &sides.corners;
            (0..4).any(|i| (corners[(i + 1) % 4] - corners[i]).perp(&(p - corners[i])) < 0.0)
        })
    };
    (0..cards.len()).filter(|&i| off(&cards[i])).collect()
}

fn options(plan: &Plan, given: &Given, sides: &Sides, turns: u32) -> Options {
    let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
    let seen = |edge| {
        sides
            .lines
            .iter()
            .any(|l| l.id == sheet::line_of(edge, turns))
    };
    let known = given
        .known
        .iter()
        .filter_map(|&(name, mm)| {
            let edges = match name {
                Known::SheetWidth => [Edge::Left, Edge::Right],
                Known::SheetHeight => [Edge::Bottom, Edge::Top],
            };
            let between = edges.map(|e| sheet::line_of(e, turns));
            edges.iter().all(|&e| seen(e)).then_some(KnownLength {
                between,
                mm,
                sd_mm: KNOWN_SD_MM,
            })
        })
        .collect();
    Options {
        // Unsaid, a card beside the sheet lies anywhere from level with the face to on the bench: about
        // the level that is usual when somebody takes care, a rectangular spread of one thickness.
        bench_mm: given
            .card_below_mm
            .map_or([0.0, thickness / 3f64.sqrt()], |b| [-b, 0.0]),
        known,
        paper_mm: PRINT_ABOVE_MM,
        ..Options::default()
    }
}

fn datum(size_mm: [f64; 2], turns: u32) -> SheetDatum {
    SheetDatum::Edges {
        base: (sheet::line_of(Edge::Bottom, turns), Edge::Bottom),
        other: (sheet::line_of(Edge::Left, turns), Edge::Left),
        size_mm,
    }
}

fn outline(survey: &Survey, frame: &SheetFrame, turns: u32) -> Outline {
    let edges = sheet::EDGES
        .into_iter()
        .filter_map(|edge| {
            let line = frame.line(sheet::line_of(edge, turns))?;
            Some(MeasuredEdge {
                edge,
                ends: line.ends,
                u_offset_mm: line.u_offset_mm,
                u_angle_rad: line.u_angle_rad,
            })
        })
        .collect();
    let across = |a, b| survey.line_distance(sheet::line_of(a, turns), sheet::line_of(b, turns));
    Outline {
        edges,
        width_mm: across(Edge::Left, Edge::Right),
        height_mm: across(Edge::Bottom, Edge::Top),
    }
}

/// Quarter turns by which the marks fit the plan clearly better than as the sheet was taken to lie.
///
/// A plain rectangle has no upright of its own: only its marks say which corner the plan starts from.
fn better_turn(plan: &Plan, ink: &Ink, square: bool) -> Option<u32> {
    let (w, h) = (plan.width_mm, plan.height_mm);
    let near = NEAR_TOLERANCES * plan.tolerance_mm;
    let fits = |turns: u32| {
        plan.holes
            .iter()
            .filter(|hole| {
                ink.marks.iter().any(|m| {
                    let p = m.at;
                    let turned = match turns {
                        1 => Point::new(p.y, w - p.x),
                        2 => Point::new(w - p.x, h - p.y),
                        3 => Point::new(h - p.y, p.x),
                        _ => p,
                    };
                    turned.distance(hole.at) < near
                })
            })
            .count()
    };
    let as_is = fits(0);
    let ways: &[u32] = if square { &[1, 2, 3] } else { &[2] };
    let best = ways.iter().copied().max_by_key(|&t| fits(t))?;
    let count = fits(best);
    (count >= as_is + CLEARLY_BETTER && count >= 2 * as_is).then_some(best)
}

/// A sheet of another size than planned means a wrong scale or a wrong sheet.
fn size_findings(plan: &Plan, outline: &Outline) -> Vec<(Weight, Reason)> {
    let sides = [
        ("width", outline.width_mm, plan.width_mm),
        ("height", outline.height_mm, plan.height_mm),
    ];
    sides
        .into_iter()
        .filter_map(|(name, measured, planned)| {
            let [mm, u] = measured?;
            let beyond = (mm - planned).abs() - 2.0 * u;
            if beyond <= plan.tolerance_mm / 2.0 {
                return None;
            }
            let weight = if beyond > plan.tolerance_mm { Weight::Blocks } else { Weight::Note };
            let text = format!(
                "the sheet's {name} measures {mm:.2} ± {:.2} mm, the plan says {planned:.2} mm: check it by rule; if the plan is right, the scale is wrong (lay a rule on a card's bars and use --bars)",
                2.0 * u
            );
            Some((weight, Reason { code: "sheet-size", text }))
        })
        .collect()
}

/// Times the stages.
struct Clock(Instant);

impl Clock {
    fn start() -> Self {
        Self(Instant::now())
    }

    fn lap(&mut self, stage: &'static str, checked: &mut Checked) {
        let now = Instant::now();
        let took = now - self.0;
        self.0 = now;
        match checked.timings.iter_mut().find(|(s, _)| *s == stage) {
            Some((_, t)) => *t += took,
            None => checked.timings.push((stage, took)),
        }
    }
}
