//! What to change for the next photo: one or two sentences, by what kept this one from showing or proving it.

use super::states::{HALF_FINGER_MM, LARGEST_INK_MM, MARK_RADIUS_MM, grid_is_sound};
use super::words::{names, nearest, place_near};
use super::{Decision, HoleState, Reason, Stray, StrayState, Verdict};
use crate::frame::{Point, Sheet};
use crate::ink::{Blind, Seen};
use crate::plan::length::MM_PER_INCH;
use crate::plan::{Plan, Units};

/// What to change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Advice {
    /// A fixed word for programs: `glare`, `unsure-ink`, `no-card`.
    pub cause: &'static str,
    /// The holes that it is about, if it is about some.
    pub holes: Vec<String>,
    /// A sentence for people.
    pub text: String,
}

/// How the photo was taken, as far as advice needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taken {
    /// Distance of the camera from the sheet, mm.
    pub away_mm: f64,
    /// Least photo pixels a millimetre, in the worst direction, with which marks are read.
    pub needed_px_per_mm: f64,
    /// Photo pixels a millimetre in the sheet's middle.
    pub px_per_mm: f64,
    /// Share of its contrast that a small dot keeps, blurred as the photo is.
    pub kept: f64,
    /// It is the phone's motion that blurs.
    pub moved: bool,
}

/// More than this nobody reads.
const MOST: usize = 2;
/// Phones do not focus nearer than about this, mm (common knowledge, no source).
const NEAREST_MM: f64 = 120.0;
/// So many pixels a millimetre show a pen's stroke of 0.4 mm as a careful eye sees it.
const LOOK_PX_PER_MM: f64 = 12.0;
/// A photo in which a small dot keeps less of its contrast is better taken again than from nearer.
const WELL_KEPT: f64 = 0.5;
/// A patch that is not seen is told from this area on, mm², where too little of the face is seen.
const PATCH_MM2: f64 = 25.0;

/// What would help most, the gravest first; nothing where all was proven.
#[must_use]
pub fn advise(plan: &Plan, verdict: &Verdict, seen: &Seen, taken: Option<Taken>) -> Vec<Advice> {
    let Some(taken) = taken else {
        return before_measuring(&verdict.reasons);
    };
    let mut all: Vec<Advice> = Vec::new();
    let mut tell = |cause, holes: &[usize], text| {
        let holes = holes.iter().map(|&h| plan.holes[h].name.clone()).collect();
        all.push(Advice { cause, holes, text });
    };
    let told_causes = blind_holes(plan, verdict, seen);
    for (cause, holes) in &told_causes {
        let text = of_cause(*cause, &names(plan, holes), holes.len() > 1, taken);
        tell(cause.code(), holes, text);
    }
    if verdict.reasons.iter().any(|r| r.code == "face-unseen") {
        let of_holes = |c| told_causes.iter().any(|(cause, _)| *cause == c);
        if let Some((cause, at)) = largest_patch(seen).filter(|(c, _)| !of_holes(*c)) {
            let place = nearest(plan, at).map_or_else(
                || "a part of the face".to_owned(),
                |_| format!("the face {}", place_near(plan, at)),
            );
            tell(cause.code(), &[], of_cause(cause, &place, false, taken));
        }
    }
    // A thing that is not much darker than the metal, such as a finger, shows by rims that no pen draws.
    let (things, ink): (Vec<_>, Vec<_>) = verdict
        .strays
        .iter()
        .filter(|s| s.state == StrayState::Unsure)
        .partition(|s| s.size_mm > LARGEST_INK_MM);
    let near = |some: &[&Stray]| {
        let mut near: Vec<usize> = some.iter().filter_map(|s| nearest(plan, s.at)).collect();
        near.sort_unstable();
        near.dedup();
        near
    };
    let dark_thing = told_causes.iter().any(|(c, _)| *c == Blind::Covered);
    if !things.is_empty() && !dark_thing {
        let mut holes: Vec<usize> = (0..plan.holes.len())
            .filter(|&h| {
                let beside = |s: &&Stray| {
                    s.at.distance(plan.holes[h].at) <= s.size_mm / 2.0 + HALF_FINGER_MM
                };
                verdict.holes[h].state != HoleState::Good && things.iter().any(beside)
            })
            .collect();
        if holes.is_empty() {
            holes = near(&things);
        }
        let text = format!(
            "something lies over or near {}, or is written there: take away what you can (hand, tool, rule, smear){ADD}",
            names(plan, &holes)
        );
        tell("covered", &holes, text);
    }
    // What lies at a thing's rim is a part of it.
    let ink: Vec<&Stray> = ink
        .into_iter()
        .filter(|s| {
            let apart = |t: &&Stray| s.at.distance(t.at) > t.size_mm / 2.0 + HALF_FINGER_MM;
            // Nor does it need a photo of its own where a hole is told to be hidden already.
            let told = nearest(plan, s.at)
                .is_some_and(|h| told_causes.iter().any(|(_, holes)| holes.contains(&h)));
            !told && things.iter().all(apart)
        })
        .collect();
    if !ink.is_empty() {
        let near = near(&ink);
        let places = names(plan, &near);
        if taken.kept < WELL_KEPT {
            let (cause, by) = if taken.moved {
                (
                    "shake",
                    "the phone moved: hold it still with both hands, and bring more light",
                )
            } else {
                (
                    "blur",
                    "the photo is blurred: tap on the sheet to focus, hold the phone still, and bring more light",
                )
            };
            tell(
                cause,
                &near,
                format!("there are unclear marks near {places}, and {by}{ADD}"),
            );
        } else {
            tell("unsure-ink", &near, lean_closer(plan, &places, taken));
        }
    }
    let close: Vec<usize> = of_state(verdict, HoleState::Close);
    if !close.is_empty() && verdict.decision == Decision::CannotTell && all.is_empty() {
        let few = verdict
            .reasons
            .iter()
            .any(|r| [super::PRINT_UNSAID, super::HEIGHT_UNSAID].contains(&r.code));
        // What was left unsaid is told at the bench already, and costs no photo.
        if !few {
            let text = format!(
                "{} too close to call: lay one more card at the other end of the row, take a photo from straight above, and add it to the same check",
                format_args!(
                    "{} {}",
                    names(plan, &close),
                    if close.len() == 1 { "is" } else { "are" }
                )
            );
            let holes = close.iter().map(|&h| plan.holes[h].name.clone()).collect();
            let cause = "too-uncertain";
            all.push(Advice { cause, holes, text });
        }
    }
    all.truncate(MOST);
    all
}

fn of_state(verdict: &Verdict, state: HoleState) -> Vec<usize> {
    (0..verdict.holes.len())
        .filter(|&h| verdict.holes[h].state == state)
        .collect()
}

/// The unseen holes by what hides them, the cause of most holes first.
fn blind_holes(plan: &Plan, verdict: &Verdict, seen: &Seen) -> Vec<(Blind, Vec<usize>)> {
    let mut by_cause: Vec<(Blind, Vec<usize>)> = Vec::new();
    for h in of_state(verdict, HoleState::Unseen) {
        let radius = plan.tolerance_mm + MARK_RADIUS_MM;
        let Some(cause) = main_cause(seen, plan.holes[h].at, radius) else {
            continue;
        };
        match by_cause.iter_mut().find(|(c, _)| *c == cause) {
            Some((_, holes)) => holes.push(h),
            None => by_cause.push((cause, vec![h])),
        }
    }
    by_cause.sort_by(|(a, x), (b, y)| y.len().cmp(&x.len()).then(a.cmp(b)));
    by_cause
}

/// What hides most of the cells that touch a circle round a place.
fn main_cause(seen: &Seen, at: Point<Sheet>, radius_mm: f64) -> Option<Blind> {
    if !grid_is_sound(seen) || seen.blind.len() != seen.cells.len() {
        return None;
    }
    let mut counts = [0usize; Blind::ALL.len()];
    for (i, cause) in seen.blind.iter().enumerate() {
        let Some(cause) = cause else { continue };
        let cell = [i % seen.columns, i / seen.columns];
        if seen.away(cell, at) <= radius_mm
            && let Some(k) = Blind::ALL.iter().position(|c| c == cause)
        {
            counts[k] += 1;
        }
    }
    most(&counts)
}

fn most(counts: &[usize; Blind::ALL.len()]) -> Option<Blind> {
    let most = *counts.iter().max()?;
    let k = counts.iter().position(|&n| n == most)?;
    (most > 0).then_some(Blind::ALL[k])
}

/// The cause that hides most of the face, and a place in the middle of what it hides.
fn largest_patch(seen: &Seen) -> Option<(Blind, Point<Sheet>)> {
    if !grid_is_sound(seen) || seen.blind.len() != seen.cells.len() {
        return None;
    }
    let mut counts = [0usize; Blind::ALL.len()];
    for cause in seen.blind.iter().flatten() {
        if let Some(k) = Blind::ALL.iter().position(|c| c == cause) {
            counts[k] += 1;
        }
    }
    let cause = most(&counts)?;
    let cells: Vec<usize> = (0..seen.blind.len())
        .filter(|&i| seen.blind[i] == Some(cause))
        .collect();
    let area = cells.len() as f64 * seen.cell_mm * seen.cell_mm;
    let middle = |of: fn(usize, usize) -> usize| {
        let sum: f64 = cells
            .iter()
            .map(|&i| of(i, seen.columns) as f64 + 0.5)
            .sum();
        sum / cells.len() as f64 * seen.cell_mm
    };
    (area >= PATCH_MM2).then(|| {
        let at = Point::new(middle(|i, n| i % n), middle(|i, n| i / n));
        (cause, at)
    })
}

const ADD: &str = ". Then add one photo to the same check; do not move the sheet or the cards";

fn of_cause(cause: Blind, places: &str, several: bool, taken: Taken) -> String {
    let are = if several { "are" } else { "is" };
    let lie = if several { "lie" } else { "lies" };
    let them = if several { "them" } else { "it" };
    match cause {
        Blind::Glare => {
            format!("glare over {places}: move the lamp or tilt the phone a little{ADD}")
        }
        Blind::Shadow => format!(
            "{places} {lie} in deep shadow: step out of the light, or bring one more lamp{ADD}"
        ),
        Blind::Blur => format!(
            "{places} {are} blurred: tap there to focus, hold the phone still with both hands, and keep it level with the sheet{ADD}"
        ),
        Blind::Covered => {
            format!(
                "something lies over {places}, such as a hand, a tool or paper: take it away{ADD}"
            )
        }
        Blind::Print => format!(
            "{places} {lie} in print as dark as the pen's ink: look there by eye, or wipe the print off before you mark"
        ),
        Blind::Card => format!(
            "a scale card lies over {places}: lay it beside the marks, and check the new photo by itself, for cards must not move between the photos of one check"
        ),
        Blind::Oblique => format!(
            "{places} {are} seen at too steep an angle: hold the phone straight above {them}{ADD}"
        ),
        Blind::Far => format!(
            "{places} {are} too small in the photo (about {:.1} pixels for each mm, {:.1} needed): come nearer, or give the photo at full size; of a long sheet take several photos that share cards",
            taken.px_per_mm, taken.needed_px_per_mm
        ),
        Blind::Texture => format!(
            "the metal round {places} is too streaked for ink to stand out: light it from another side, across the grain{ADD}"
        ),
        Blind::Outside => format!(
            "{places} {are} not in the picture: step back, or take one that shows {them} and two of the cards{ADD}"
        ),
        Blind::Rim => format!("{places} {lie} at the very edge of the sheet: look there by eye"),
    }
}

/// Unclear marks: from how near a photo would show what it is.
fn lean_closer(plan: &Plan, places: &str, taken: Taken) -> String {
    let wanted = taken.away_mm * taken.px_per_mm / LOOK_PX_PER_MM;
    let at = if places.is_empty() {
        "it".to_owned()
    } else {
        places.to_owned()
    };
    if wanted < 0.8 * taken.away_mm && taken.away_mm > 1.25 * NEAREST_MM {
        format!(
            "there are unclear marks near {at}: add a photo to the same check that shows them from about {}, with a card or two in it (this one is from {})",
            roughly(wanted.max(NEAREST_MM), plan.units),
            roughly(taken.away_mm, plan.units)
        )
    } else {
        format!(
            "there are unclear marks near {at}, and the photo is near enough: look at the metal; wipe off what is dirt, and say what the rest is with --decide"
        )
    }
}

/// A distance of the camera: "8 in (20 cm)", or "20 cm".
fn roughly(mm: f64, units: Units) -> String {
    let cm = (mm / 10.0).round();
    match units {
        Units::Inch => format!("{:.0} in ({cm:.0} cm)", mm / MM_PER_INCH),
        Units::Millimetre => format!("{cm:.0} cm"),
    }
}

/// Where nothing could be measured: what to do about the first thing that stopped it.
fn before_measuring(reasons: &[Reason]) -> Vec<Advice> {
    let has = |code: &str| reasons.iter().any(|r| r.code == code);
    let says = |part: &str| reasons.iter().any(|r| r.text.contains(part));
    let mut all: Vec<(&'static str, &str)> = Vec::new();
    if has("no-survey") && says("no scale card") {
        if has("card-left-out") {
            all.push(("card-unreadable", "a scale card shows but cannot be read (see why above): bring the whole of it into the picture, flat, sharp and out of glare and shadow, or come nearer"));
        } else {
            all.push(("no-card", "lay one or two printed scale cards flat beside the marks, with the whole card in the picture, out of glare and shadow, and take the photo again"));
        }
    } else if has("no-survey") && says("corners") && !says("flat face") {
        all.push(("card-unreadable", "keep a whole scale card in the picture, out of glare, sharp, and near enough that its squares are plain to see"));
    }
    if has("blurred") {
        if says("too small") || says("too coarse") {
            all.push(("far", "come nearer until sheet and cards fill the picture, and give the photo as the phone took it, at full size"));
        } else if says("the phone moved") {
            all.push((
                "shake",
                "hold the phone still with both hands, elbows on the bench, and bring more light",
            ));
        } else {
            all.push((
                "blur",
                "tap on the sheet to focus, hold the phone still, and bring more light",
            ));
        }
    }
    if has("no-sheet") || says("was not found in the photo") {
        all.push(("no-edge", "show the whole sheet with some bench round it, on something darker or lighter than the metal, so that its left and bottom edges stand out"));
    }
    if says("too steep an angle") {
        all.push(("oblique", "hold the phone straight above the sheet"));
    }
    all.truncate(MOST);
    all.into_iter()
        .map(|(cause, text)| Advice {
            cause,
            holes: Vec::new(),
            text: text.to_owned(),
        })
        .collect()
}
