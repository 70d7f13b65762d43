//! Finding cards in a photo: dark frames at several sizes, their payload, then their checker corners.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::code::Read;
use super::layout::{FRAME_CELLS, Layout, Saddle};
use super::payload::{self, Payload};
use super::quad::{self, Quad};
use super::{SeenCard, SeenSaddle, saddle};
use crate::frame::{Card, Pixel, Point};
use crate::raster::components::{Component, components};
use crate::raster::pyramid::halve;
use crate::raster::sample;
use crate::raster::threshold::dark_mask;
use crate::survey::homography::Homography;

/// What keeps a card that was seen from being used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Cause {
    /// Part of it lies outside the photo.
    CutByFrame,
    /// Its checker squares are too few pixels wide.
    TooSmall,
    /// Too few of its checker corners are in the open.
    Covered,
    /// Frame and checkers are there, but the pattern is no card's.
    Unreadable,
}

impl Cause {
    /// A stable name.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::CutByFrame => "cut-by-frame",
            Self::TooSmall => "too-small",
            Self::Covered => "covered",
            Self::Unreadable => "unreadable",
        }
    }
}

/// A card that was seen and not used.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// Its number, where it could be read.
    pub number: Option<u16>,
    /// Where its middle is.
    pub at: Point<Pixel>,
    /// Why.
    pub cause: Cause,
    /// The same in words, and what to do.
    pub why: String,
}

/// The cards of a photo.
#[derive(Debug, Clone, Default)]
pub struct Found {
    /// The usable ones, by number, then from left to right.
    pub cards: Vec<SeenCard>,
    /// The others.
    pub left_out: Vec<LeftOut>,
}

/// A frame's cells are looked for between about 2.3 and 12 px; the sizes between two halvings
/// overlap, so that every card is well inside the range of one picture.
const MIN_FRAME_PX: u32 = 15;
const MAX_FRAME_PX: u32 = 150;
/// Half the window of the dark mask, px: it must reach the paper from the middle of a frame's stroke
/// at the largest cell, and not much further, or a shadow's edge counts as dark.
const WINDOW_PX: usize = 11;
/// Darker than its surroundings by this share; ink on paper is darker by half or more, and a window
/// that is mostly ink lowers the mean.
const DROP: f64 = 0.09;
/// The smallest copy that is searched: shorter side, px.
const SMALLEST_PX: u32 = 200;
/// Up to this size the photo itself is always searched; above, only when its half-size copy shows
/// that cards are small or shows none.
const ALWAYS_SEARCHED_PX: u32 = 4_400_000;
/// Cells below this, px of the full photo, may be too small for the half-size copy.
const SMALL_CELL_PX: f64 = 9.0;
/// Fewest corners for a card to be kept: a homography has 8 unknowns, 4 points, and as many again to
/// check it.
pub const MIN_SADDLES: usize = 8;
/// Checker squares narrower than this are smeared into one another, px: a window of
/// [`saddle::MIN_RADIUS_PX`] then reaches past the next corner.
const SMALLEST_SQUARE_PX: f64 = 2.8;
/// A square card's cell is 0.72 of a checker square: below this width, px, the squares reach the limit
/// above, with the frame's outline known to a fifth of a pixel a cell.
const SMALLEST_CELL_PX: f64 = 2.2;
/// Largest window round a corner, px: past this the edges are long enough.
const MAX_RADIUS_PX: f64 = 12.0;

/// Finds all cards. Takes the upright grey photo; places are in its pixels.
#[must_use]
pub fn find(grey: &GrayImage) -> Found {
    let mut copies: Vec<GrayImage> = Vec::new();
    loop {
        let last = copies.last().unwrap_or(grey);
        if last.width().min(last.height()) / 2 < SMALLEST_PX {
            break;
        }
        copies.push(halve(last));
    }
    let pictures: Vec<&GrayImage> = std::iter::once(grey).chain(&copies).collect();
    let mut found = Found::default();
    for level in (0..pictures.len()).rev() {
        let small = found.cards.iter().any(|c| cell_px(c) < SMALL_CELL_PX);
        let large_photo = grey.width() * grey.height() > ALWAYS_SEARCHED_PX;
        if level == 0 && large_photo && !found.cards.is_empty() && !small {
            break;
        }
        search(&pictures, level, &mut found);
    }
    let Found { cards, left_out } = &mut found;
    left_out.retain(|l| !cards.iter().any(|c| inside(&c.outline, l.at)));
    cards.sort_by(|a, b| {
        a.number
            .cmp(&b.number)
            .then(a.outline[0].x.total_cmp(&b.outline[0].x))
    });
    found
}

fn cell_px(card: &SeenCard) -> f64 {
    let Some(layout) = Layout::of(card.number) else {
        return 0.0;
    };
    let [ul, ur, lr, ll] = card.outline;
    let across = ul.distance(ur).min(ll.distance(lr)) / layout.size_mm[0];
    let down = ul.distance(ll).min(ur.distance(lr)) / layout.size_mm[1];
    across.min(down) * layout.cell_mm
}

/// Corners of one flat card lie on one map within hundredths of a square, a few hundredths where it curls;
/// corners of other things, which may be anywhere within a third of a square, do not.
const LATTICE_SQUARES: f64 = 0.05;

/// Whether the corners' places are those of a printed card, by their RMS misfit.
fn is_lattice(card: &SeenCard) -> bool {
    let pairs: Vec<_> = card.saddles.iter().map(|s| (s.on_card, s.at)).collect();
    let (Ok(map), Some(layout)) = (
        Homography::<Pixel, Card>::fit(&pairs),
        Layout::of(card.number),
    ) else {
        return false;
    };
    let square: f64 = pairs
        .iter()
        .map(|(on, at)| map.map(*on).map_or(f64::MAX, |p| (p - *at).norm_squared()))
        .sum();
    let side_px = cell_px(card) / layout.cell_mm * layout.checker_mm;
    (square / pairs.len() as f64).sqrt() < LATTICE_SQUARES * side_px
}

fn inside(outline: &[Point<Pixel>; 4], p: Point<Pixel>) -> bool {
    (0..4).all(|i| (outline[(i + 1) % 4] - outline[i]).perp(&(p - outline[i])) >= 0.0)
}

fn search(pictures: &[&GrayImage], level: usize, found: &mut Found) {
    let picture = pictures[level];
    let scale = f64::from(1u32 << level);
    let mask = dark_mask(picture, WINDOW_PX, DROP);
    let shapes = components(&mask, picture.width() as usize, 60, |v| v == 1);
    let quads: Vec<Quad> = shapes
        .into_par_iter()
        .filter(frame_sized)
        .filter_map(|c| quad::around(&c))
        .collect();
    for quad in quads {
        let middle = Point::at((quad[0] + quad[1] + quad[2] + quad[3]) / 4.0 * scale);
        if found.cards.iter().any(|c| inside(&c.outline, middle)) {
            continue;
        }
        let Some(cells) = from_cells(&quad) else {
            continue;
        };
        let read = payload::read(picture, |x, y| {
            let p = cells.map(Point::new(x, y)).unwrap_or(middle);
            (p.x, p.y)
        });
        match read {
            Payload::Nothing => {}
            Payload::Unreadable => {
                // Any pattern's corners stand in the same places: are they there? At least half of them,
                // for a checked cloth round something dark has a few by chance.
                let field = [1, super::layout::LAST_SQUARE + 1]
                    .into_iter()
                    .any(|number| {
                        let all = Layout::of(number).map_or(usize::MAX, |l| l.saddles.len());
                        [0, 1].into_iter().any(|turns| {
                            measure(pictures, level, &quad, number, turns).is_some_and(|c| {
                                // On both sides of the frame: a cloth may end at something dark.
                                let right = c.saddles.iter().filter(|s| s.on_card.x > 0.0);
                                let right = right.count();
                                let left = c.saddles.len() - right;
                                2 * c.saddles.len() >= all
                                    && 6 * left.min(right) >= all
                                    && is_lattice(&c)
                            })
                        })
                    });
                if field
                    && !found
                        .left_out
                        .iter()
                        .any(|l| l.at.distance(middle) < 20.0 * scale)
                {
                    let why = "its pattern cannot be read; keep hands, glare and shadow edges off its middle".to_owned();
                    found.left_out.push(LeftOut {
                        number: None,
                        at: middle,
                        cause: Cause::Unreadable,
                        why,
                    });
                }
            }
            Payload::Card { read, .. } => {
                match measure(pictures, level, &quad, read.number, read.quarter_turns) {
                    Some(card) => {
                        found.left_out.retain(|l| {
                            l.number != Some(card.number) || l.at.distance(middle) > 20.0 * scale
                        });
                        found.cards.push(card);
                    }
                    None if found.left_out.iter().all(|l| l.number != Some(read.number)) => {
                        let (cause, why) = too_few(pictures[0], &quad, scale, &read);
                        found.left_out.push(LeftOut {
                            number: Some(read.number),
                            at: middle,
                            cause,
                            why,
                        });
                    }
                    None => {}
                }
            }
        }
    }
}

/// Why a card whose number is read shows too few checker corners.
fn too_few(photo: &GrayImage, quad: &Quad, scale: f64, read: &Read) -> (Cause, String) {
    let corners = quad.map(|q| q * scale);
    let side = |i: usize| (corners[(i + 1) % 4] - corners[i]).norm();
    let cell = (0..4).map(side).fold(f64::INFINITY, f64::min) / FRAME_CELLS as f64;
    let whole = Layout::of(read.number).is_none_or(|layout| {
        let pairs: Vec<_> = (0..4)
            .map(|i| {
                let seen = corners[(i + 4 - usize::from(read.quarter_turns)) % 4];
                (layout.frame_corners()[i], Point::at(seen))
            })
            .collect();
        let inside = |p: Point<Pixel>| {
            let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
            p.x > 0.0 && p.y > 0.0 && p.x < w && p.y < h
        };
        Homography::<Pixel, Card>::fit(&pairs).is_ok_and(|map| {
            let corners = layout.outer_corners();
            corners.iter().all(|&c| map.map(c).is_some_and(inside))
        })
    });
    if !whole {
        return (
            Cause::CutByFrame,
            format!(
                "the photo's edge cuts it, and fewer than {MIN_SADDLES} of its checker corners are in the photo; show the whole card"
            ),
        );
    }
    if cell < SMALLEST_CELL_PX {
        return (
            Cause::TooSmall,
            format!(
                "its cells are {cell:.1} px wide, and {SMALLEST_CELL_PX} px are needed; go nearer, or take the photo at full size"
            ),
        );
    }
    (
        Cause::Covered,
        format!(
            "fewer than {MIN_SADDLES} of its checker corners can be measured; take off what covers it, and lay it flat and in focus"
        ),
    )
}

fn frame_sized(c: &Component) -> bool {
    let (short, long) = (c.width().min(c.height()), c.width().max(c.height()));
    let box_area = (c.width() * c.height()) as usize;
    // A bare frame fills half of its own square, and its square half of the box when turned by 45
    // degrees.
    short >= MIN_FRAME_PX && long <= MAX_FRAME_PX && long <= 4 * short && c.area * 6 >= box_area
}

/// Pixels of the searched picture from cells (y down).
fn from_cells(quad: &Quad) -> Option<Homography<Pixel, Card>> {
    let h = FRAME_CELLS as f64 / 2.0;
    let corners = [(-h, -h), (h, -h), (h, h), (-h, h)];
    let pairs: Vec<_> = corners
        .iter()
        .zip(quad)
        .map(|(&(x, y), &q)| (Point::new(x, y), Point::at(q)))
        .collect();
    Homography::fit(&pairs).ok()
}

/// Measures the checker corners of card `number`, seen turned by `quarter_turns`, first in the picture
/// in which the frame was found, then in ever finer ones.
fn measure(
    pictures: &[&GrayImage],
    level: usize,
    quad: &Quad,
    number: u16,
    quarter_turns: u8,
) -> Option<SeenCard> {
    let layout = Layout::of(number)?;
    let scale = f64::from(1u32 << level);
    let pairs: Vec<_> = (0..4)
        .map(|corner| {
            (
                layout.frame_corners()[corner],
                Point::at(quad[(corner + 4 - usize::from(quarter_turns)) % 4] * scale),
            )
        })
        .collect();
    let mut pixel_from_card: Homography<Pixel, Card> = Homography::fit(&pairs).ok()?;
    let mut saddles = Vec::new();
    for tier in (0..=level).rev() {
        let seen = measure_in(pictures[tier], tier, &layout, &pixel_from_card);
        // A copy too small for the corners' windows says nothing; the next finer one may.
        if seen.len() < MIN_SADDLES && tier > 0 {
            continue;
        }
        saddles = consistent(seen);
        if saddles.len() < MIN_SADDLES {
            return None;
        }
        let pairs: Vec<_> = saddles.iter().map(|s| (s.on_card, s.at)).collect();
        pixel_from_card = Homography::fit(&pairs).ok()?;
    }
    let mut outline = [Point::new(0.0, 0.0); 4];
    for (seen, corner) in outline.iter_mut().zip(layout.outer_corners()) {
        *seen = pixel_from_card.map(corner)?;
    }
    Some(SeenCard {
        number,
        saddles,
        outline,
    })
}

/// Noise that rounding to whole levels alone brings, grey levels: 1/√12.
const LEAST_NOISE: f64 = 0.29;
/// Corners measured in one batch before the map is fitted anew.
const BATCH: usize = 4;

/// Measures corners outward from the frame: the map is known well where it was fitted and worse further
/// off, where an error of a whole square would show the same colours again. So the nearest corners are
/// measured first, and each batch corrects the map for the next.
fn measure_in(
    picture: &GrayImage,
    tier: usize,
    layout: &Layout,
    begin: &Homography<Pixel, Card>,
) -> Vec<SeenSaddle> {
    let scale = f64::from(1u32 << tier);
    let mut order: Vec<&Saddle> = layout.saddles.iter().collect();
    order.sort_by(|a, b| a.at.vec().norm().total_cmp(&b.at.vec().norm()));
    let anchors: Vec<_> = layout
        .frame_corners()
        .into_iter()
        .filter_map(|c| Some((c, begin.map(c)?)))
        .collect();
    let plain: Vec<Point<Pixel>> = layout
        .saddles
        .iter()
        .filter_map(|s| {
            let half = layout.checker_mm / 2.0;
            let p = begin.map(Point::new(s.at.x + half, s.at.y + half))?;
            Some(Point::at(p.vec() / scale))
        })
        .collect();
    let noise = saddle::noise_of(picture, &plain)
        .unwrap_or(1.0)
        .max(LEAST_NOISE);
    let mut pixel_from_card = *begin;
    let mut seen: Vec<SeenSaddle> = Vec::new();
    for batch in order.chunks(BATCH) {
        let before = seen.len();
        for s in batch {
            let Some((start, jacobian)) = place_and_slope(&pixel_from_card, s.at, scale) else {
                continue;
            };
            let nearest_px = jacobian.singular_values().min() * layout.checker_mm;
            let radius = (0.46 * nearest_px).min(MAX_RADIUS_PX);
            if nearest_px < SMALLEST_SQUARE_PX {
                continue;
            }
            // Copies only lead to the photo itself, where the corners are measured.
            let measured = if tier == 0 {
                saddle::refine(picture, start, radius, noise)
            } else {
                saddle::near(picture, start, radius, noise)
            };
            let Some(r) = measured else {
                continue;
            };
            if r.at.distance(start) < 0.35 * nearest_px
                && has_colours(picture, r.at, &jacobian, layout, s)
            {
                seen.push(SeenSaddle {
                    on_card: s.at,
                    at: Point::at(r.at.vec() * scale),
                    cov: r.cov * (scale * scale),
                });
            }
        }
        if seen.len() > before {
            // The frame's corners hold the fit while few saddles are in it; they are rougher, and later
            // many saddles outvote them.
            let pairs: Vec<_> = anchors
                .iter()
                .copied()
                .chain(seen.iter().map(|s| (s.on_card, s.at)))
                .collect();
            if let Ok(better) = Homography::fit(&pairs) {
                pixel_from_card = better;
            }
        }
    }
    seen
}

/// Where a point of the card appears in a copy of the photo `scale` times smaller, and how that changes
/// by millimetres on the card.
pub(super) fn place_and_slope(
    pixel_from_card: &Homography<Pixel, Card>,
    at: Point<Card>,
    scale: f64,
) -> Option<(Point<Pixel>, Matrix2<f64>)> {
    let see = |x: f64, y: f64| pixel_from_card.map(Point::new(at.x + x, at.y + y));
    let columns = [
        see(0.5, 0.0)? - see(-0.5, 0.0)?,
        see(0.0, 0.5)? - see(0.0, -0.5)?,
    ];
    Some((
        Point::at(see(0.0, 0.0)?.vec() / scale),
        Matrix2::from_columns(&columns) / scale,
    ))
}

/// Whether the four squares that meet at the corner are dark and light as printed.
fn has_colours(
    picture: &GrayImage,
    at: Point<Pixel>,
    jacobian: &Matrix2<f64>,
    layout: &Layout,
    s: &Saddle,
) -> bool {
    let d = 0.38 * layout.checker_mm;
    let grey = |x: f64, y: f64| {
        let p = at + jacobian * Vector2::new(x, y);
        sample(picture, p.x, p.y)
    };
    let one = [grey(d, d), grey(-d, -d)];
    let other = [grey(-d, d), grey(d, -d)];
    let (dark, light) = if s.upper_right_dark {
        (one, other)
    } else {
        (other, one)
    };
    let (dark, light) = (dark[0].max(dark[1]), light[0].min(light[1]));
    light - dark > 0.12 * light && light - dark > 4.0
}

/// Leaves out corners that do not sit where the others say: a finger's edge crossing the field can
/// look like a corner. Compared with a homography through all, so lens distortion within a card must
/// be allowed for.
fn consistent(mut seen: Vec<SeenSaddle>) -> Vec<SeenSaddle> {
    loop {
        let pairs: Vec<_> = seen.iter().map(|s| (s.on_card, s.at)).collect();
        let Ok(h) = Homography::<Pixel, Card>::fit(&pairs) else {
            return seen;
        };
        let residuals: Vec<f64> = seen
            .iter()
            .map(|s| h.map(s.on_card).map_or(f64::MAX, |p| p.distance(s.at)))
            .collect();
        let mut sorted = residuals.clone();
        sorted.sort_by(f64::total_cmp);
        let median = sorted[sorted.len() / 2];
        let worst = (0..residuals.len()).max_by(|&a, &b| residuals[a].total_cmp(&residuals[b]));
        match worst {
            // Down to fewer than a card needs, if it comes to that: what is left must fit.
            Some(i) if residuals[i] > (5.0 * median).max(0.35) => {
                seen.swap_remove(i);
            }
            _ => break,
        }
    }
    seen.sort_by(|a, b| {
        a.on_card
            .y
            .total_cmp(&b.on_card.y)
            .then(a.on_card.x.total_cmp(&b.on_card.x))
    });
    seen
}
