//! Why a place could not be read: so that it can be said what to change for the next photo.

use super::view::{FlatView, MIN_PX_PER_MM, ROUND_CARD_MM, jacobian};
use super::{Doubt, Ink, Mark, Unsure};
use crate::card::SeenCard;
use crate::frame::{Pixel, Point, Sheet};
use crate::survey::SheetFrame;

/// Why a place cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Blind {
    /// It is blown out: a lamp or a window mirrors there.
    Glare,
    /// So little light comes from there that the sensor's noise hides ink.
    Shadow,
    /// Edges are smeared so far there that a mark would keep too little of its contrast.
    Blur,
    /// A thing lies on it: a hand, a tool.
    Covered,
    /// Print or writing as dark as the pen stands there.
    Print,
    /// A scale card lies on it.
    Card,
    /// It is seen so aslant that a mark has too few pixels in one direction.
    Oblique,
    /// A mark has too few pixels in all directions.
    Far,
    /// The surface is so streaked or grained that ink does not stand out of it.
    Texture,
    /// It is not in the picture.
    Outside,
    /// The sheet's own rim, and what is too near to it to be judged.
    Rim,
}

impl Blind {
    /// All, the one most worth telling first.
    pub const ALL: [Self; 11] = [
        Self::Glare,
        Self::Shadow,
        Self::Blur,
        Self::Covered,
        Self::Print,
        Self::Card,
        Self::Oblique,
        Self::Far,
        Self::Texture,
        Self::Outside,
        Self::Rim,
    ];

    /// A fixed word for programs.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::Glare => "glare",
            Self::Shadow => "shadow",
            Self::Blur => "blur",
            Self::Covered => "covered",
            Self::Print => "print",
            Self::Card => "card",
            Self::Oblique => "oblique",
            Self::Far => "far",
            Self::Texture => "texture",
            Self::Outside => "outside",
            Self::Rim => "rim",
        }
    }
}

/// What may keep a place from being read, apart from what its own pixels show.
pub(super) struct Sight<'a> {
    frame: &'a SheetFrame<'a>,
    size_px: [f64; 2],
    /// Outlines of the cards on the sheet, mm.
    cards: Vec<[Point<Sheet>; 4]>,
}

impl<'a> Sight<'a> {
    pub(super) fn of(frame: &'a SheetFrame<'a>, size_px: [u32; 2], cards: &[SeenCard]) -> Self {
        let on_sheet = |c: &SeenCard| {
            let [a, b, c, d] = c.outline;
            let at = |p: Point<Pixel>| frame.sheet_from_pixel(p);
            Some([at(a)?, at(b)?, at(c)?, at(d)?])
        };
        Self {
            frame,
            size_px: size_px.map(f64::from),
            cards: cards.iter().filter_map(on_sheet).collect(),
        }
    }

    /// Why the photo cannot show `at`, by where it lies; `None`: it can.
    pub(super) fn hinders(&self, at: Point<Sheet>) -> Option<Blind> {
        let inside = self.frame.pixel_from_sheet(at).is_some_and(|p| {
            p.x >= 0.0 && p.y >= 0.0 && p.x < self.size_px[0] && p.y < self.size_px[1]
        });
        if !inside {
            return Some(Blind::Outside);
        }
        if self.cards.iter().any(|c| holds(c, at)) {
            return Some(Blind::Card);
        }
        let Some(by_mm) = jacobian(self.frame, at) else {
            return Some(Blind::Oblique);
        };
        let s = by_mm.singular_values();
        if s.min() >= MIN_PX_PER_MM {
            None
        } else if s.max() >= MIN_PX_PER_MM {
            // Seen straight on from as far away it would have been enough.
            Some(Blind::Oblique)
        } else {
            Some(Blind::Far)
        }
    }

    /// Whether nothing shows at `at` of the flat view although nothing hinders: beyond the measured edges.
    pub(super) fn at_rim(&self, view: &FlatView, at: Point<Sheet>) -> Option<Blind> {
        (!view.shows(view.flat_from_sheet(at))).then_some(Blind::Rim)
    }
}

/// Whether the card's outline, grown a little, holds the place; the corners go round either way.
fn holds(corners: &[Point<Sheet>; 4], at: Point<Sheet>) -> bool {
    let turn = (corners[1] - corners[0])
        .perp(&(corners[2] - corners[1]))
        .signum();
    (0..4).all(|i| {
        let side = corners[(i + 1) % 4] - corners[i];
        turn * side.perp(&(at - corners[i])) >= -ROUND_CARD_MM * side.norm()
    })
}

/// Round a thing so much more may be its rim and not ink, mm: the flat view shows the rim with its shadow and blur.
const RIM_OF_THING_MM: f64 = 1.0;
/// Round blown-out light pits and grain turn as dark as ink, mm: there the level falls by half.
const RIM_OF_GLARE_MM: f64 = 2.5;

/// Takes what looks like a mark at the rim of a thing, a card or deep shadow for what it may be: the rim itself, or a mark
/// of which a part is hidden. Another photo, or an eye, tells.
pub(super) fn doubt_rims(ink: &mut Ink) {
    let hides = |c: &Option<Blind>| {
        matches!(
            c,
            Some(Blind::Covered | Blind::Card | Blind::Shadow | Blind::Glare)
        )
    };
    let seen = &ink.seen;
    let hidden: Vec<usize> = (0..seen.blind.len())
        .filter(|&i| hides(&seen.blind[i]))
        .collect();
    if hidden.is_empty() {
        return;
    }
    let at_rim = |m: &Mark| {
        hidden.iter().any(|&i| {
            // A card's rim was left out generously already.
            let more = match seen.blind[i] {
                Some(Blind::Card) => 0.0,
                Some(Blind::Glare) => RIM_OF_GLARE_MM,
                _ => RIM_OF_THING_MM,
            };
            let cell = [i % seen.columns, i / seen.columns];
            seen.away(cell, m.at) <= m.size_mm / 2.0 + more
        })
    };
    let (rim, kept) = std::mem::take(&mut ink.marks).into_iter().partition(at_rim);
    ink.marks = kept;
    let rim: Vec<Mark> = rim;
    ink.unsure.extend(rim.into_iter().map(|m| Unsure {
        at: m.at,
        cov: m.cov,
        size_mm: m.size_mm,
        why: Doubt::AtRim,
        writing: false,
        probability: None,
    }));
}
