//! Where the sheet lies in a drawing: which closed line is its outline, or where the user says it is.

use super::ExchangeError;
use super::dxf_in::DxfChoice;
use super::shapes::{Contour, Shape};
use super::tags::{key, shown};

/// Closed lines looked at, the largest first: a sheet that is not among the thousand largest is none.
const MOST_CONTOURS: usize = 1000;
/// Points along a closed line up to which it is asked whether a hole lies within it; beyond, within the box round it.
const MOST_POINTS: usize = 200;
/// The size as the user says it and as it is drawn may differ by this, mm: by less the check of a photo is not misled.
const SAME_SIZE_MM: f64 = 0.1;
/// Share of the holes from which on a smaller closed line may be the sheet too.
const MANY: f64 = 0.5;

/// The sheet in a drawing.
pub(super) struct Placed {
    /// Its lower left corner, mm in the drawing.
    pub(super) origin_mm: [f64; 2],
    pub(super) sheet_mm: Option<[f64; 2]>,
    pub(super) taken: Vec<String>,
    pub(super) left_out: Vec<String>,
    pub(super) warnings: Vec<String>,
}

/// A closed line that may be the outline, and how many holes it holds.
struct Candidate<'c> {
    contour: &'c Contour,
    holds: usize,
}

impl Candidate<'_> {
    /// "254 x 152.4 mm on layer OUTLINE".
    fn told(&self) -> String {
        let [w, h] = self.contour.size().map(show);
        format!("{w} x {h} mm on layer {}", shown(&self.contour.layer))
    }
}

/// To the micron: sizes of sheets are told so that they can be compared with a drawing.
fn show(mm: f64) -> String {
    let text = format!("{mm:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl Placed {
    pub(super) fn of(
        contours: &[Contour],
        holes: &[[f64; 2]],
        choice: &DxfChoice,
    ) -> Result<Self, ExchangeError> {
        if let Some(origin_mm) = choice.origin_mm {
            let [x, y] = origin_mm.map(show);
            let unused = contours
                .iter()
                .map(|c| unused(c, "the sheet's place was given"));
            return Ok(Self {
                origin_mm,
                sheet_mm: choice.sheet_mm,
                taken: vec![format!(
                    "the sheet's lower left corner at x {x}, y {y} mm of the drawing, as you say"
                )],
                left_out: unused.collect(),
                warnings: Vec::new(),
            });
        }
        let mut candidates = candidates(contours, holes, choice);
        // Of those that hold as many, the smallest: a drawing's frame holds all that is in it.
        candidates.sort_by(|a, b| {
            let area = |c: &Candidate| c.contour.box_area();
            b.holds.cmp(&a.holds).then(area(a).total_cmp(&area(b)))
        });
        let holder = candidates.first().filter(|c| c.holds > 0);
        let Some(holder) = holder else {
            return Self::without(contours, choice);
        };
        let rivals = rivals(holder, &candidates)?;
        let worked = match holder.contour.shape() {
            Shape::Rectangle => String::new(),
            Shape::Worked(mm) => format!(
                "; its corners are rounded, cut or notched, by {} mm at most: the plan has the whole rectangle",
                show(mm)
            ),
            Shape::Other => {
                return Err(ExchangeError::NoRectangle {
                    outline: holder.told(),
                });
            }
        };
        let size = holder.contour.size();
        if let Some(said) = choice.sheet_mm
            && (0..2).any(|k| (said[k] - size[k]).abs() > SAME_SIZE_MM)
        {
            let [w, h] = said.map(show);
            return Err(ExchangeError::OtherSize {
                outline: holder.told(),
                said: format!("{w} x {h} mm"),
            });
        }
        let others = contours
            .iter()
            .filter(|c| !std::ptr::eq(*c, holder.contour))
            .map(|c| {
                let small = c.size().iter().all(|s| *s <= choice.largest_mm);
                unused(
                    c,
                    if small {
                        "no circle and no outline; if it is a hole, it must be drawn as a circle"
                    } else {
                        "not the outline: a cut-out or a frame"
                    },
                )
            });
        Ok(Self {
            origin_mm: holder.contour.low,
            sheet_mm: Some(size),
            taken: vec![format!(
                "the closed line of {} as the sheet's outline, its lower left corner as the origin{worked}",
                holder.told()
            )],
            left_out: others.collect(),
            warnings: rivals,
        })
    }

    /// Where no closed line holds a hole.
    fn without(contours: &[Contour], choice: &DxfChoice) -> Result<Self, ExchangeError> {
        if let Some(layer) = &choice.outline {
            return Err(ExchangeError::NoOutline {
                layer: shown(layer),
            });
        }
        if choice.sheet_mm.is_some() {
            return Err(ExchangeError::NoOrigin);
        }
        let unused = contours.iter().map(|c| unused(c, "it holds no hole"));
        Ok(Self {
            origin_mm: [0.0; 2],
            sheet_mm: None,
            taken: Vec::new(),
            left_out: unused.collect(),
            warnings: Vec::new(),
        })
    }
}

fn unused(contour: &Contour, why: &str) -> String {
    format!("closed line on layer {}: {why}", shown(&contour.layer))
}

fn candidates<'c>(
    contours: &'c [Contour],
    holes: &[[f64; 2]],
    choice: &DxfChoice,
) -> Vec<Candidate<'c>> {
    let asked = |c: &&Contour| {
        let layer = choice.outline.as_deref();
        layer.is_none_or(|l| key(l) == key(&c.layer))
    };
    let mut largest: Vec<&Contour> = contours.iter().filter(asked).collect();
    largest.sort_by(|a, b| b.box_area().total_cmp(&a.box_area()));
    largest.truncate(MOST_CONTOURS);
    let holds = |c: &Contour, at: [f64; 2]| {
        let in_box = (0..2).all(|k| (c.low[k]..=c.high[k]).contains(&at[k]));
        in_box && (c.points() > MOST_POINTS || c.holds(at))
    };
    let mut all: Vec<Candidate> = largest
        .into_iter()
        .map(|contour| Candidate {
            contour,
            holds: holes.iter().filter(|h| holds(contour, **h)).count(),
        })
        .collect();
    // One that is drawn twice is one.
    all.dedup_by(|a, b| a.contour.is_same(b.contour));
    all
}

/// What is to be said of the other closed lines that hold many of the holes.
///
/// # Errors
/// Where a smaller one may be the sheet, with a hole or two beside it that are none: the places of all holes hang on it.
fn rivals(holder: &Candidate, all: &[Candidate]) -> Result<Vec<String>, ExchangeError> {
    let others = all.iter().filter(|c| {
        !std::ptr::eq(c.contour, holder.contour) && c.holds as f64 >= MANY * holder.holds as f64
    });
    let (mut smaller, mut larger) = (Vec::new(), Vec::new());
    for c in others {
        let told = format!("{}, with {} of the holes in it", c.told(), c.holds);
        if c.contour.box_area() < holder.contour.box_area() {
            smaller.push(told);
        } else {
            larger.push(told);
        }
    }
    if smaller.is_empty() {
        let warn = |told| format!("another closed line could be meant for the sheet: {told}");
        return Ok(larger.into_iter().map(warn).collect());
    }
    smaller.insert(0, format!("{}, with {}", holder.told(), holder.holds));
    Err(ExchangeError::TwoOutlines { which: smaller })
}
