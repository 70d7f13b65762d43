//! Places that call for a look, enlarged.

use std::fmt::Write;

use image::RgbImage;

use super::flat::{self, Window};
use super::signs::Sign;
use super::{PixelFromSheet, Report, ReportError, answers, asis, overlay, words};
use crate::frame::{Point, Sheet};
use crate::plan::{Units, length};
use crate::verdict::{HoleState, StrayState};

/// Most places shown: beyond this the page grows too heavy for a phone, and the sheet is too far off
/// for crops to help.
const MAX_CROPS: usize = 24;
/// Places to be answered are shown beyond that, so many: more than this nobody answers, and a nearer photo helps.
const MAX_UNSURE: usize = 96;
/// Side of a crop, px.
const SIDE_PX: f64 = 400.0;
/// Smallest and largest side, mm: less shows no surroundings, more enlarges nothing.
const SIDE_MM: [f64; 2] = [12.0, 40.0];
/// Quality of the JPEG: ink has sharp rims.
const QUALITY: u8 = 85;

/// One enlarged place.
pub(super) struct Crop {
    /// Its sign.
    pub(super) sign: Sign,
    /// What it is: "A7 close".
    pub(super) title: String,
    /// Why it is shown.
    pub(super) why: String,
    /// The short name to answer by, where it is unsure.
    pub(super) name: Option<String>,
    /// The same as the photo has it, as a `data:` address, where it is unsure.
    pub(super) as_is: Option<String>,
    /// The picture, flattened, as a `data:` address.
    pub(super) picture: String,
    /// What is drawn over it, SVG elements for a view box of 400 by 400.
    pub(super) over: String,
}

/// Where to look, before it is drawn.
pub(super) struct Place {
    sign: Sign,
    name: Option<String>,
    title: String,
    why: String,
    middle: Point<Sheet>,
    planned: Option<Point<Sheet>>,
    found: Option<(Point<Sheet>, f64)>,
    extent_mm: f64,
}

impl Place {
    pub(super) fn middle(&self) -> Point<Sheet> {
        self.middle
    }
}

/// The places to look at, what is unsure first, and how many find no room.
pub(super) fn places(r: &Report) -> (Vec<Place>, usize) {
    let mut places = stray_places(r);
    places.extend(hole_places(r));
    let all = places.len();
    let unsure = places.iter().filter(|p| p.name.is_some()).count();
    places.sort_by_key(|p| match p.sign {
        Sign::Unsure => 0,
        Sign::Close => 1,
        Sign::Double => 2,
        Sign::RingedStray => 3,
        Sign::Stray => 4,
        _ => 5,
    });
    places.truncate(unsure.clamp(MAX_CROPS, MAX_UNSURE));
    let left_out = all - places.len();
    (places, left_out)
}

fn stray_places(r: &Report) -> Vec<Place> {
    r.verdict
        .strays
        .iter()
        .zip(answers::names(r))
        .filter(|(s, _)| s.state != StrayState::Cancelled)
        .map(|(s, name)| Place {
            sign: Sign::of_stray(s),
            title: format!(
                "{}{} at {} {}",
                name.as_ref().map_or_else(String::new, |n| format!("{n} ")),
                words::stray_word(s),
                words::measured_place(s.at, r.plan.units),
                length::unit_sign(r.plan.units)
            ),
            planned: name.as_ref().and_then(|_| planned_near(r, s.at)),
            name,
            why: sentence(words::stray_meaning(s)),
            middle: s.at,
            found: Some((s.at, s.uncertainty_mm)),
            extent_mm: s.size_mm,
        })
        .collect()
}

/// The planned place in the picture of unsure ink: whether it is a mark often shows by where it is.
fn planned_near(r: &Report, at: Point<Sheet>) -> Option<Point<Sheet>> {
    let planned = r.plan.holes.iter().map(|h| h.at);
    planned
        .filter(|p| p.distance(at) < SIDE_MM[0] / 2.0)
        .min_by(|a, b| a.distance(at).total_cmp(&b.distance(at)))
}

fn hole_places(r: &Report) -> Vec<Place> {
    let u = r.plan.units;
    r.verdict
        .holes
        .iter()
        .filter(|h| overlay::worth_a_look(h) && h.state != HoleState::Unseen)
        .map(|h| {
            let mut why = sentence(words::hole_meaning(h));
            if let (Some(d), Some(unc)) = (words::distance_mm(h), h.uncertainty_mm) {
                why = format!(
                    "{why}. {} from plan, U {}, allowed {}",
                    words::both(d, u),
                    length::uncertainty(unc, u),
                    words::planned_both(r.plan.tolerance_mm, u)
                );
            }
            Place {
                sign: Sign::of_hole(h.state),
                name: None,
                title: format!("{} {}", h.name, words::hole_word(h)),
                why,
                middle: h.found.map_or(h.planned, |f| f.midpoint(h.planned)),
                planned: Some(h.planned),
                found: h.found.map(|f| (f, h.uncertainty_mm.unwrap_or(0.0))),
                extent_mm: words::distance_mm(h).unwrap_or(0.0) + 2.0 * r.plan.tolerance_mm,
            }
        })
        .collect()
}

/// `half` with a capital first letter.
fn sentence(half: &str) -> String {
    let mut chars = half.chars();
    chars
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(chars).collect())
}

/// The place as the photo shows it.
///
/// # Errors
/// [`ReportError::Draw`] when it cannot be encoded.
pub(super) fn crop(
    r: &Report,
    photo: &RgbImage,
    map: PixelFromSheet,
    p: &Place,
) -> Result<Crop, ReportError> {
    let side = (3.0 * p.extent_mm).clamp(SIDE_MM[0], SIDE_MM[1]);
    let half = nalgebra::Vector2::new(side / 2.0, side / 2.0);
    let window = Window {
        low: p.middle + -half,
        high: p.middle + half,
        px_per_mm: SIDE_PX / side,
    };
    let mut seen = flat::blank(window);
    flat::resample(&mut seen, photo, map, window, &|_| true);
    let picture = flat::data_uri(&seen, QUALITY)?;
    let mut over = String::new();
    if let Some(planned) = p.planned {
        let [x, y] = window.at(planned);
        let radius = r.plan.tolerance_mm * window.px_per_mm;
        let arm = 0.35 * radius;
        stroke(&circle(x, y, radius), "#0072b2", 2.4, "none", &mut over);
        let plus = format!(
            "M{:.1} {y:.1}h{:.1}M{x:.1} {:.1}v{:.1}",
            x - arm,
            2.0 * arm,
            y - arm,
            2.0 * arm
        );
        stroke(&plus, "#0072b2", 2.4, "none", &mut over);
    }
    if let Some((at, unc)) = p.found {
        let [x, y] = window.at(at);
        let radius = (unc * window.px_per_mm).max(3.0);
        stroke(
            &circle(x, y, radius),
            p.sign.colour(),
            3.0,
            "6 4",
            &mut over,
        );
    }
    bar(r.plan.units, window.px_per_mm, &mut over);
    let as_is = match p.name {
        Some(_) => asis::crop(photo, map, p.middle, side)?,
        None => None,
    };
    Ok(Crop {
        sign: p.sign,
        name: p.name.clone(),
        as_is,
        title: p.title.clone(),
        why: p.why.clone(),
        picture,
        over,
    })
}

fn circle(x: f64, y: f64, r: f64) -> String {
    format!(
        "M{:.1} {y:.1}a{r:.1} {r:.1} 0 1 0 {:.1} 0a{r:.1} {r:.1} 0 1 0 {:.1} 0Z",
        x - r,
        2.0 * r,
        -2.0 * r
    )
}

// Writing to a string cannot fail.
fn stroke(d: &str, colour: &str, width: f64, dash: &str, svg: &mut String) {
    let _ = write!(
        svg,
        "<path d=\"{d}\" fill=\"none\" stroke=\"#fff\" stroke-opacity=\".8\" \
         stroke-width=\"{:.1}\"/><path d=\"{d}\" fill=\"none\" stroke=\"{colour}\" \
         stroke-width=\"{width:.1}\" stroke-dasharray=\"{dash}\"/>",
        2.0 * width
    );
}

/// A bar of known length in the lower left corner.
fn bar(u: Units, px_per_mm: f64, svg: &mut String) {
    let (mm, text) = match u {
        Units::Inch => (3.175, "1/8 in"),
        Units::Millimetre => (3.0, "3 mm"),
    };
    let long = mm * px_per_mm;
    let d = format!("M14 378v8h{long:.1}v-8");
    stroke(&d, "#111", 3.0, "none", svg);
    let _ = write!(
        svg,
        "<text x=\"{:.1}\" y=\"388\" font-family=\"{}\" font-size=\"20\" fill=\"#111\" \
         stroke=\"#fff\" stroke-width=\"5\" paint-order=\"stroke\">{text}</text>",
        long + 24.0,
        overlay::FONTS
    );
}
