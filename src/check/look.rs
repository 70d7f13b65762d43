//! A first look at one photo, while the sheet still lies there: cards, sharpness, the sheet's edges, distance, glare. Nothing
//! is measured of any mark, and nothing is promised of the check.

use super::{NO_SHEET, UNSAID_THICKNESS_MM, reason, together};
use crate::card::{blur, find};
use crate::frame::{Pixel, Point};
use crate::ink::view::MIN_PX_PER_MM;
use crate::photo::Photo;
use crate::plan::Plan;
use crate::sheet::{self, Look as At};
use crate::survey::LineId;
use crate::verdict::Reason;

use super::Given;

/// A good scale, px/mm: marks of half a millimetre are five pixels wide.
const GOOD_PX_PER_MM: f64 = 6.0;
/// So many cards, well apart, hold scale and tilt firmly.
const GOOD_CARDS: usize = 3;
/// Edges of a sheet.
const EDGES: u32 = 4;
/// Levels from here are burnt out, and what share of the sheet may be without a word: of 1 % a few marks may be.
const BURNT: u8 = 251;
const BURNT_SHARE: f64 = 0.01;
/// Pixels between two that are looked at for glare, along both axes.
const STRIDE: u32 = 8;

/// What a first look shows.
#[derive(Debug, Clone, Default)]
pub struct FirstLook {
    /// The cards that can be used: number, and corners in the upright photo.
    pub cards: Vec<(u16, [Point<Pixel>; 4])>,
    /// How many of the sheet's four edges were found, where they were looked for.
    pub edges: Option<usize>,
    /// Corners of the sheet in the upright photo, where all of it was found.
    pub sheet: Option<[Point<Pixel>; 4]>,
    /// Pixels a millimetre, where the cards tell.
    pub px_per_mm: Option<f64>,
    /// Share of contrast that the smallest dot keeps, where the cards tell.
    pub kept: Option<f64>,
    /// Share of the sheet, or of the photo where none was found, that is burnt out.
    pub burnt: f64,
    /// Why this photo cannot be measured.
    pub stops: Option<Reason>,
    /// What would make it better, a sentence each.
    pub better: Vec<String>,
}

/// Looks at one photo. The plan says how large the sheet is.
#[must_use]
pub fn first_look(photo: &Photo, plan: &Plan, given: &Given) -> FirstLook {
    let shots = together::in_order(&[photo], given);
    let found = vec![find::find(&photo.grey)];
    let cards = &found[0].cards;
    let mut look = FirstLook {
        cards: cards.iter().map(|c| (c.number, c.outline)).collect(),
        kept: blur::of_photo(&photo.grey, cards).map(|s| s.kept()),
        ..FirstLook::default()
    };
    if let Err(stop) = measure(&shots, &found, plan, &mut look) {
        look.stops = Some(stop);
    }
    look.burnt = burnt(photo, look.sheet.as_ref());
    look.better = better(&look, &found[0]);
    look
}

/// Scale and sheet, by the cards.
fn measure(
    shots: &[together::Shot],
    found: &[find::Found],
    plan: &Plan,
    look: &mut FirstLook,
) -> Result<(), Reason> {
    let sharp = together::sharp(shots, found);
    let together = together::by_cards(shots, found, sharp)?;
    let scale = 1.0 / together.survey.mm_per_px;
    look.px_per_mm = scale.is_finite().then_some(scale);
    if plan.datum.is_some() {
        // The edges need not show.
        return Ok(());
    }
    let looks: Vec<At> = together
        .survey
        .model()
        .views()
        .iter()
        .map(|view| At {
            grey: &shots[0].photo.grey,
            colour: &shots[0].photo.colour,
            view,
            cards: &found[0].cards,
        })
        .collect();
    let size_mm = [plan.width_mm, plan.height_mm];
    let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
    let sides = sheet::find(&looks, &together.survey, size_mm, thickness)
        .map_err(|e| reason(NO_SHEET, e))?;
    let edges = (0..EDGES).filter(|i| sides.shows(LineId(*i))).count();
    look.edges = Some(edges);
    if let Some(view) = together.survey.view(0).filter(|_| edges == EDGES as usize) {
        let corners = sides.corners.map(|c| view.pixel_from_face(c));
        if let [Some(a), Some(b), Some(c), Some(d)] = corners {
            look.sheet = Some([a, b, c, d]);
        }
    }
    Ok(())
}

/// Share of the sheet's pixels that are burnt out, of all where there is no sheet.
fn burnt(photo: &Photo, sheet: Option<&[Point<Pixel>; 4]>) -> f64 {
    let inside = |x: f64, y: f64| {
        let Some(corners) = sheet else { return true };
        let sides = (0..4).map(|i| {
            let (a, b) = (corners[i], corners[(i + 1) % 4]);
            (b.x - a.x) * (y - a.y) - (b.y - a.y) * (x - a.x)
        });
        let left = sides.filter(|s| *s > 0.0).count();
        left == 0 || left == 4
    };
    let (width, height) = photo.grey.dimensions();
    let (mut all, mut out) = (0_u32, 0_u32);
    for y in (0..height).step_by(STRIDE as usize) {
        for x in (0..width).step_by(STRIDE as usize) {
            if inside(f64::from(x), f64::from(y)) {
                all += 1;
                out += u32::from(photo.grey.get_pixel(x, y)[0] >= BURNT);
            }
        }
    }
    f64::from(out) / f64::from(all.max(1))
}

/// What would make the next photo better.
fn better(look: &FirstLook, found: &find::Found) -> Vec<String> {
    let mut all: Vec<String> = found
        .left_out
        .iter()
        .map(|l| {
            let name = l
                .number
                .map_or_else(|| "a card".to_owned(), |n| format!("card {n}"));
            format!("{name} cannot be used: {}", l.why)
        })
        .collect();
    if let Some(edges) = look.edges.filter(|n| *n < EDGES as usize) {
        all.push(format!(
            "only {edges} of the sheet's four edges were found: let all of it show, with a bench of another brightness round it (not needed where another photo shows the rest)"
        ));
    }
    if let Some(scale) = look.px_per_mm {
        if scale < MIN_PX_PER_MM {
            all.push(format!(
                "too far away: {scale:.1} pixels for each mm, and nothing counts as visible under {MIN_PX_PER_MM}; come nearer, or take several photos"
            ));
        } else if scale < GOOD_PX_PER_MM {
            all.push(format!(
                "rather far away: {scale:.1} pixels for each mm; come nearer if all of the sheet still shows"
            ));
        }
    }
    if look.burnt > BURNT_SHARE {
        let what = if look.sheet.is_some() {
            "sheet"
        } else {
            "photo"
        };
        all.push(format!(
            "{:.0} % of the {what} is burnt out by glare: tilt the phone or move the lamp, so that no light shines back at you from the metal",
            (100.0 * look.burnt).ceil()
        ));
    }
    if look.stops.is_none() && look.cards.len() < GOOD_CARDS {
        let n = look.cards.len();
        let cards = if n == 1 { "card" } else { "cards" };
        all.push(format!(
            "{n} {cards} in view: enough, but three or four well apart make every place more certain"
        ));
    }
    all
}
