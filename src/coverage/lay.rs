//! Where camera and cards go.

use super::{CoverageError, Phone};
use crate::card::layout::Layout as CardLayout;
use crate::frame::{Point, Sheet};
use crate::plan::Plan;

/// Scale that is good for one photo, and the least for many; px/mm.
const GOOD_PX_PER_MM: f64 = 10.0;
const LEAST_PX_PER_MM: f64 = 5.0;
/// Of a long piece each photo is taken with this, px/mm: nearer costs more photos, which add their own errors.
const STRIP_PX_PER_MM: f64 = 8.0;
/// Clear space between sheet and card, and round everything, mm.
const GAP_MM: f64 = 8.0;
const MARGIN_MM: f64 = 12.0;
/// A square card and a strip card, outer sides, mm.
const SQUARE_MM: f64 = 60.0;
const STRIP_MM: [f64; 2] = [120.0, 25.0];
/// Neighbouring photos share so much, mm: a strip card whole, with room for a hand's aim.
const OVERLAP_MM: f64 = STRIP_MM[0] + 40.0;
/// The first numbers of squares and of strips.
const FIRST_SQUARE: u16 = 1;
const FIRST_STRIP: u16 = 41;
/// A card on the face keeps so far from holes, mm.
const FROM_HOLE_MM: f64 = 6.0;
/// How far from its best place a card on the face may go, mm.
const MOVE_MM: f64 = 90.0;

/// A card in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct LaidCard {
    /// Its number.
    pub number: u16,
    /// Its middle.
    pub at: Point<Sheet>,
    /// Whether its longer side runs along y.
    pub upright: bool,
    /// Whether it lies on the face; else beside the sheet.
    pub on_face: bool,
}

impl LaidCard {
    /// Half its extents along x and y, mm.
    #[must_use]
    pub fn half_mm(&self) -> [f64; 2] {
        let [w, h] = CardLayout::of(self.number).map_or([0.0; 2], |l| l.size_mm);
        if self.upright {
            [h / 2.0, w / 2.0]
        } else {
            [w / 2.0, h / 2.0]
        }
    }
}

/// Where everything goes.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// How high the camera is above the face, mm.
    pub height_mm: f64,
    /// Pixels a millimetre straight below it.
    pub px_per_mm: f64,
    /// What each photo is aimed at.
    pub photos: Vec<Point<Sheet>>,
    /// Whether the picture's longer side lies along x.
    pub long_side_along_x: bool,
    /// The cards.
    pub cards: Vec<LaidCard>,
}

/// Lays out photos and cards for a plan. `height_mm`: how high the camera will be held, if that is given.
///
/// # Errors
/// [`CoverageError`] when it cannot be done from that height, or not at all.
pub fn lay(plan: &Plan, phone: &Phone, height_mm: Option<f64>) -> Result<Layout, CoverageError> {
    let size = [plan.width_mm, plan.height_mm];
    let most_mm = phone.height_mm(LEAST_PX_PER_MM);
    if let Some(height_mm) = height_mm.filter(|h| *h > most_mm) {
        return Err(CoverageError::TooHigh { height_mm, most_mm });
    }
    let long_x = size[0] >= size[1];
    let field = |height: f64| {
        let [a, b] = phone.field_mm(height);
        if long_x { [a, b] } else { [b, a] }
    };
    // All in one photo, with cards on the four sides.
    let whole = size.map(|s| s + 2.0 * (GAP_MM + card_depth(size) + MARGIN_MM));
    let fits = |height: f64| (0..2).all(|i| field(height)[i] >= whole[i]);
    let least = (0..2)
        .map(|i| whole[i] / field(1.0)[i])
        .fold(0.0, f64::max)
        .max(phone.height_mm(GOOD_PX_PER_MM));
    let single = height_mm.map_or(least <= most_mm, fits);
    if single {
        let height = height_mm.unwrap_or(least);
        return Ok(Layout {
            height_mm: height,
            px_per_mm: phone.focal_px() / height,
            photos: vec![Point::new(size[0] / 2.0, size[1] / 2.0)],
            long_side_along_x: long_x,
            cards: round(size),
        });
    }
    let height = height_mm.unwrap_or_else(|| {
        // A narrow piece in one row of photos, if the cards on both sides of it fit into one.
        let across = usize::from(long_x);
        let row = whole[across] / field(1.0)[across];
        let usual = phone.height_mm(STRIP_PX_PER_MM);
        if row <= most_mm {
            row.max(usual)
        } else {
            usual
        }
    });
    let field = field(height);
    if let Some(i) = (0..2).find(|&i| field[i] < OVERLAP_MM + SQUARE_MM) {
        let least_mm = height * (OVERLAP_MM + SQUARE_MM) / field[i];
        return Err(CoverageError::TooLow {
            height_mm: height,
            least_mm,
        });
    }
    let [columns, rows] = [0, 1].map(|i| aims(size[i], whole[i], field[i]));
    let photos = rows
        .iter()
        .flat_map(|&y| columns.iter().map(move |&x| Point::new(x, y)))
        .collect();
    let cards = between(plan, &columns, &rows)?;
    Ok(Layout {
        height_mm: height,
        px_per_mm: phone.focal_px() / height,
        photos,
        long_side_along_x: long_x,
        cards,
    })
}

/// How far a card beside a piece of this size reaches out from it: strips lie along narrow pieces.
fn card_depth(size: [f64; 2]) -> f64 {
    if size[0].min(size[1]) < SQUARE_MM {
        STRIP_MM[1]
    } else {
        SQUARE_MM
    }
}

/// Places along one side at which photos are aimed.
fn aims(size: f64, whole: f64, field: f64) -> Vec<f64> {
    if whole <= field {
        return vec![size / 2.0];
    }
    // The ends need the sheet's edge and some bench beyond it.
    let reach = size + 2.0 * MARGIN_MM.max(GAP_MM + MARGIN_MM);
    let count = ((reach - OVERLAP_MM) / (field - OVERLAP_MM))
        .ceil()
        .max(2.0);
    let first = field / 2.0 - (reach - size) / 2.0;
    let step = (size - 2.0 * first) / (count - 1.0);
    (0..count as usize)
        .map(|i| first + step * i as f64)
        .collect()
}

/// Cards on the four sides of a piece that one photo shows.
fn round([w, h]: [f64; 2]) -> Vec<LaidCard> {
    let out = GAP_MM + card_depth([w, h]) / 2.0;
    let narrow = w.min(h) < SQUARE_MM;
    let places = [
        (w + out, 0.5 * h, true),
        (0.4 * w, h + out, false),
        (-out, 0.5 * h, true),
        (0.6 * w, -out, false),
    ];
    let first = if narrow { FIRST_STRIP } else { FIRST_SQUARE };
    (first..)
        .zip(places)
        .map(|(number, (x, y, upright))| LaidCard {
            number,
            at: Point::new(x, y),
            upright,
            on_face: false,
        })
        .collect()
}

/// Cards where neighbouring photos meet, two for each pair, and at the ends.
fn between(plan: &Plan, columns: &[f64], rows: &[f64]) -> Result<Vec<LaidCard>, CoverageError> {
    let size = [plan.width_mm, plan.height_mm];
    let out = GAP_MM + STRIP_MM[1] / 2.0;
    let meets = |aims: &[f64], size: f64| -> Vec<f64> {
        let mut all = vec![STRIP_MM[0] / 2.0];
        all.extend(aims.windows(2).map(|w| (w[0] + w[1]) / 2.0));
        all.push(size - STRIP_MM[0] / 2.0);
        all
    };
    let mut places: Vec<(f64, f64, bool, bool)> = Vec::new();
    if rows.len() == 1 || columns.len() == 1 {
        let along_x = rows.len() == 1;
        let (aims, i) = if along_x { (columns, 0) } else { (rows, 1) };
        let all = meets(aims, size[i]);
        for (k, t) in all.iter().enumerate() {
            let end = k == 0 || k + 1 == all.len();
            // One at an end, alternately; where photos meet, one on either side.
            let sides = [-out, size[1 - i] + out];
            for (s, side) in sides.into_iter().enumerate() {
                if !end || (k == 0) == (s == 0) {
                    let (x, y) = if along_x { (*t, side) } else { (side, *t) };
                    places.push((x, y, !along_x, false));
                }
            }
        }
    } else {
        // Beside the sheet where photos meet at its rim, and on its face where they meet inside.
        for x in meets(columns, size[0]) {
            places.push((x, -out, false, false));
            places.push((x, size[1] + out, false, false));
        }
        for y in meets(rows, size[1]) {
            places.push((-out, y, true, false));
            places.push((size[0] + out, y, true, false));
        }
        let mid = |aims: &[f64]| {
            aims.windows(2)
                .map(|w| (w[0] + w[1]) / 2.0)
                .collect::<Vec<_>>()
        };
        for &y in rows {
            places.extend(mid(columns).into_iter().map(|x| (x, y, true, true)));
        }
        for &x in columns {
            places.extend(mid(rows).into_iter().map(|y| (x, y, false, true)));
        }
    }
    let mut cards: Vec<LaidCard> = Vec::new();
    let numbers = usize::from(crate::card::code::COUNT);
    if places.len() > numbers {
        return Err(CoverageError::TooManyCards {
            needed: places.len(),
            numbers,
        });
    }
    // Strips first, then squares where there are no more strips.
    let order = (FIRST_STRIP..=crate::card::code::COUNT).chain(FIRST_SQUARE..FIRST_STRIP);
    for ((x, y, upright, on_face), number) in places.into_iter().zip(order) {
        let card = LaidCard {
            number,
            at: Point::new(x, y),
            upright,
            on_face,
        };
        let card = if on_face {
            bare_place(plan, card)?
        } else {
            card
        };
        cards.push(card);
    }
    Ok(cards)
}

/// The card moved to the nearest place that covers no hole.
fn bare_place(plan: &Plan, card: LaidCard) -> Result<LaidCard, CoverageError> {
    let half = card.half_mm().map(|h| h + FROM_HOLE_MM);
    let bare = |at: Point<Sheet>| {
        plan.holes
            .iter()
            .all(|h| (h.at.x - at.x).abs() > half[0] || (h.at.y - at.y).abs() > half[1])
    };
    let steps = (MOVE_MM / 5.0) as i32;
    let mut places: Vec<Point<Sheet>> = (-steps..=steps)
        .flat_map(|i| (-steps..=steps).map(move |j| (f64::from(i) * 5.0, f64::from(j) * 5.0)))
        .map(|(dx, dy)| Point::new(card.at.x + dx, card.at.y + dy))
        .collect();
    places.sort_by(|a, b| a.distance(card.at).total_cmp(&b.distance(card.at)));
    match places.into_iter().find(|&p| bare(p)) {
        Some(at) => Ok(LaidCard { at, ..card }),
        None => Err(CoverageError::NoRoom { at: card.at }),
    }
}
