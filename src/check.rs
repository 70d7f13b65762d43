//! The main job: the stages, called in the order the data flows.
//!
//! [`check`] is the whole story; what follows it is what it needs to tell it honestly.

mod marks;
mod turn;
mod unsaid;

use std::time::{Duration, Instant};

use nalgebra::Vector2;

use crate::card::{self, SeenCard, blur};
use crate::frame::{Pixel, Point, Sheet};
use crate::ink::{self, Ink};
use crate::photo::Photo;
use crate::plan::rules::{BOOKS, Marked, as_marked};
use crate::plan::{Edge, Plan};
use crate::report::{CardSummary, Fit, InPhoto, LensSource, PhotoSummary, Report, SurveySummary};
use crate::sheet::{self, MeasuredEdge, Outline, Sides};
use crate::survey::{
    self, KNOWN_SD_MM, KnownLength, Options, PrintScale, Priors, SheetDatum, SheetFrame, Sighting,
    Survey,
};
use crate::verdict::{self, HoleState, Reason, Verdict, Weight};
use turn::Way;

pub use turn::Corner;

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
    checked.note_left_out();
    if let Err(stop) = measure(photo, plan, given, &mut checked, &mut clock) {
        checked.findings.push((Weight::Blocks, stop));
    }
    checked.verdict = verdict::decide(plan, &checked.ink, &checked.outline, &checked.findings);
    let unsaid = unsaid::findings(&checked, given);
    if !unsaid.is_empty() {
        checked.findings.extend(unsaid);
        checked.verdict = verdict::decide(plan, &checked.ink, &checked.outline, &checked.findings);
    }
    checked
        .notes
        .extend(under_as_marked(plan, &checked.verdict));
    clock.lap("verdict", &mut checked);
    checked
}

/// Notes of edge distances and spacings that are surely under a published least value as marked. They change
/// nothing in the verdict: the plan and its tolerance decide, and the approved data decide on the plan.
fn under_as_marked(plan: &Plan, verdict: &Verdict) -> Vec<String> {
    let marks: Vec<Marked> = verdict
        .holes
        .iter()
        .filter(|h| h.state != HoleState::Cancelled)
        .filter_map(|h| {
            Some(Marked {
                hole: &h.name,
                at: h.found?,
                uncertainty_mm: h.uncertainty_mm?,
            })
        })
        .collect();
    as_marked(plan, &marks, &BOOKS)
        .into_iter()
        .filter(|f| f.sure)
        .map(|f| f.text)
        .collect()
}

/// From cards to ink; on the way out early, the reason.
fn measure(
    photo: &Photo,
    plan: &Plan,
    given: &Given,
    checked: &mut Checked,
    clock: &mut Clock,
) -> Result<(), Reason> {
    if let Some(names) = &plan.datum {
        return marks::measure((photo, plan, given), names, checked, clock);
    }
    let cards = checked.found.cards.clone();
    let sharp = sharp_enough(&photo.grey, &cards);
    clock.lap("blur", checked);
    sharp?;
    let size_mm = [plan.width_mm, plan.height_mm];
    let (width, height) = photo.grey.dimensions();
    let mut priors = given
        .camera
        .clone()
        .unwrap_or_else(|| Priors::from_camera(&photo.camera, width, height));
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
    let mut turns = given.datum_corner.map_or(0, Corner::turns);
    if turns % 2 == 1 && !sides.square {
        return Err(reason(
            "datum-corner",
            "the sheet is not square, so the plan's lower left corner can only be at the lower left or the upper right of the photo: give one of these with --datum-corner",
        ));
    }
    let mut settled = given.datum_corner.is_some();
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
        let way = if settled {
            Way::Turned(turns)
        } else {
            turn::which(plan, &ink, sides.square)
        };
        match way {
            Way::Turned(t) if t != turns => {
                turns = t;
                settled = true;
            }
            Way::Turned(_) | Way::Either(_) => {
                // With a wrong outline or a wrong scale every place is wrong: then nothing is claimed of
                // any hole.
                for (weight, finding) in size_findings(plan, &outline) {
                    if weight == Weight::Blocks {
                        let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
                        let corner = |(x, y)| Point::new(x * size_mm[0], y * size_mm[1]);
                        checked.tried = corners
                            .iter()
                            .filter_map(|&c| frame.pixel_from_sheet(corner(c)))
                            .collect();
                        return Err(finding);
                    }
                    checked.findings.push((weight, finding));
                }
                if let Way::Either([a, b]) = way {
                    return Err(two_ways(a, b));
                }
                if turns != 0 && given.datum_corner.is_none() {
                    checked.note(
                        "sheet-turned",
                        format!(
                            "the marks fit the plan with its lower left corner at the {} in the photo",
                            Corner::of(turns).name().replace('-', " ")
                        ),
                    );
                }
                checked.outline = outline;
                checked.ink = ink;
                drop(frame);
                for l in &survey.left_out {
                    checked.note("card-left-out", format!("card {}: {}", l.number, l.reason));
                }
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
    /// Where the plan's lower left corner is in the upright photo; unsaid, the marks tell.
    pub datum_corner: Option<Corner>,
    /// The camera by its profile, see [`crate::lens::Profile::priors`]; unsaid, by the photo's EXIF data.
    pub camera: Option<Priors>,
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
    /// The outline that was tried and found to be of another size.
    tried: Vec<Point<Pixel>>,
    findings: Vec<(Weight, Reason)>,
    notes: Vec<String>,
    photo: PhotoSummary,
}

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
            tried: Vec::new(),
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

    /// Cards that were seen and not used: fewer cards mean a less certain result, and each is easily mended.
    fn note_left_out(&mut self) {
        let said: Vec<String> = self.found.left_out.iter().map(said_of).collect();
        for text in said {
            self.note("card-left-out", text);
        }
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
        left_out.extend(self.found.left_out.iter().map(said_of));
        if survey.is_none() {
            cards.extend(self.found.cards.iter().map(|c| CardSummary {
                number: c.number,
                saddles: c.saddles.len(),
                rms_px: None,
                used: false,
                note: None,
            }));
        }
        let mut in_photo: Vec<InPhoto> = Vec::new();
        in_photo.extend(self.found.cards.iter().map(|c| InPhoto {
            card: Some(c.number),
            corners: c.outline.to_vec(),
        }));
        if !self.tried.is_empty() {
            in_photo.push(InPhoto {
                card: None,
                corners: self.tried.clone(),
            });
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

/// Least share of its contrast that a small dot must keep: below a fifth (edges spread by 0.37 mm), ink as
/// black as it gets differs from the metal by no more than grain does, and nothing may be taken for bare.
const LEAST_KEPT: f64 = 0.2;
/// A photo in focus spreads edges by up to this, px: then it is the distance that makes them coarse.
const IN_FOCUS_PX: f64 = 1.2;

/// Whether the smallest dots would show; else what blurs the photo.
fn sharp_enough(grey: &image::GrayImage, cards: &[SeenCard]) -> Result<(), Reason> {
    if cards.is_empty() {
        return Ok(());
    }
    let blurred = |text: String| Err(reason("blurred", text));
    let Some(spread) = blur::of_photo(grey, cards) else {
        return blurred(
            "how sharp the photo is cannot be measured: the cards' squares are too small in it, or covered or in glare; come nearer, and keep hands and glare off the cards".to_owned(),
        );
    };
    let kept = spread.kept();
    if kept >= LEAST_KEPT {
        return Ok(());
    }
    let [most, least] = spread.mm;
    let dot = format!(
        "a dot of {} mm keeps {:.0} % of its contrast, and {:.0} % are needed",
        2.0 * blur::DOT_RADIUS_MM,
        // Rounded down, so that too little never reads as enough.
        (100.0 * kept).floor(),
        100.0 * LEAST_KEPT
    );
    blurred(if spread.moved() {
        format!(
            "the phone moved: edges on the cards are smeared by {most:.2} mm in one direction and {least:.2} mm across it (standard deviation; {dot}); hold the phone still with both hands, and bring more light"
        )
    } else if spread.px[0] < IN_FOCUS_PX {
        format!(
            "the photo is too coarse: edges on the cards are smeared by {most:.2} mm (standard deviation; {dot}) though it is in focus; come nearer, or send the photo at full size"
        )
    } else {
        format!(
            "the photo is blurred: edges on the cards are smeared by {most:.2} mm (standard deviation; {dot}); tap on the sheet to focus, hold the phone still, bring more light, or come nearer"
        )
    })
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

/// Marks that fit the plan two ways round: whichever is taken, some would be called right that are not.
fn two_ways(a: Corner, b: Corner) -> Reason {
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
                "the sheet's {name} measures {mm:.2} ± {:.2} mm, the plan says {planned:.2} mm: either something else was taken for the sheet (--picture or --report shows what), or the plan is not this sheet's, or the scale is wrong (lay a rule on a card's bars and use --bars)",
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
