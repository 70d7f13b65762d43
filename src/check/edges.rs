//! What the sheet's edges give: the datum, the outline, and whether its size is the plan's.

use nalgebra::Vector2;

use super::{Given, Known, UNSAID_THICKNESS_MM};
use crate::card::SeenCard;
use crate::frame::{Face, Pixel, Point};
use crate::plan::{Edge, Plan};
use crate::sheet::{self, MeasuredEdge, Outline, Sides};
use crate::survey::{KNOWN_SD_MM, KnownLength, LineId, Options, SheetDatum, SheetFrame, Survey};
use crate::verdict::{Reason, Weight};

/// Where a cut edge ends lies within so much to either side of where it is taken to be, mm: burr and rounding
/// reach about a twentieth of a sheet's thickness each. And what one pixel hides of them, px. Points on an edge scatter
/// less, but all lean the same way.
const EDGE_MM: f64 = 0.05;
const EDGE_PX: f64 = 0.25;
/// Heights of a face so far apart hardly go together, mm: a sheet lies hollow or crowned over some hands' breadths.
const FLAT_OVER_MM: f64 = 100.0;

/// The places, in each photo's list, of the cards whose middle lies off the sheet.
pub(super) fn beside(survey: &Survey, cards: &[&[SeenCard]], sides: &Sides) -> Vec<Vec<usize>> {
    let off = |p: Point<Face>| {
        let corners = &sides.corners;
        (0..4).any(|i| (corners[(i + 1) % 4] - corners[i]).perp(&(p - corners[i])) < 0.0)
    };
    // A card of the solve lies where that puts it, the same in all photos.
    let solved = |photo: usize, place: usize| {
        let card = survey
            .cards
            .iter()
            .find(|c| c.seen.contains(&(photo, place)))?;
        Some(card.face_from_card.origin)
    };
    let seen = |photo: usize, card: &SeenCard| {
        let middle = card.outline.iter().map(|p| p.vec()).sum::<Vector2<f64>>() / 4.0;
        survey.view(photo)?.face_from_pixel(Point::at(middle))
    };
    cards
        .iter()
        .enumerate()
        .map(|(photo, cards)| {
            (0..cards.len())
                .filter(|&i| {
                    solved(photo, i)
                        .or_else(|| seen(photo, &cards[i]))
                        .is_none_or(off)
                })
                .collect()
        })
        .collect()
}

/// Adds to the edges what all points on them may be off together.
pub(super) fn doubt(survey: &mut Survey, sides: &Sides) {
    for &(line, sd_mm) in &sides.doubts {
        doubt_edge(survey, line, sd_mm);
    }
}

/// Adds to an edge what all points on it may be off together: `wall_mm` for what its side wall hides, and what a cut
/// edge always leaves open.
pub(crate) fn doubt_edge(survey: &mut Survey, line: LineId, wall_mm: f64) {
    // Where a cut edge ends is a matter of its burr and its side wall, and of the pixel that shows them.
    let Some(edge) = survey.line(line) else {
        return;
    };
    let across = Vector2::new(-edge.direction.y, edge.direction.x);
    let views = survey.model().views();
    let finest = views
        .iter()
        .filter_map(|v| v.mm_per_px(edge.middle))
        .fold(f64::INFINITY, f64::min);
    // An edge is no flatter than the face: raised, it seems to lie further from the point below the camera.
    let levers = edge.off_mm.iter().filter_map(|&(photo, _)| {
        let [x, y, z] = views.get(photo)?.camera_mm();
        Some((across.dot(&(edge.middle - Point::new(x, y))) / z).powi(2))
    });
    let lever = (levers.sum::<f64>() / edge.off_mm.len().max(1) as f64).sqrt();
    let raised = lever * survey.flatness_mm * share_of_mean(edge.ends[0].distance(edge.ends[1]));
    // Anywhere between limits alike: a rectangular distribution (JCGM 100:2008, 4.3.7, from memory).
    let cut = EDGE_MM.hypot(EDGE_PX * finest) / 3f64.sqrt();
    survey.doubt_line(line, wall_mm.hypot(cut).hypot(raised));
}

/// Standard deviation of the mean height along an edge of this length over that of the height at one place, as the
/// line is drawn through all of it.
///
/// # Source
/// Mean of a stationary process whose correlation falls off exponentially: Vanmarcke, "Random Fields", 1983, from memory.
fn share_of_mean(length_mm: f64) -> f64 {
    let a = length_mm / FLAT_OVER_MM;
    if a < 1e-3 {
        return 1.0;
    }
    (2.0 * (a - 1.0 + (-a).exp())).sqrt() / a
}

pub(super) fn options(plan: &Plan, given: &Given, sides: &Sides, turns: u32) -> Options {
    let thickness = plan.thickness_mm.unwrap_or(UNSAID_THICKNESS_MM);
    let seen = |edge| {
        sides
            .lines
            .iter()
            .flatten()
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
        paper_mm: given.paper_mm(),
        ..Options::default()
    }
}

pub(crate) fn datum(size_mm: [f64; 2], turns: u32) -> SheetDatum {
    SheetDatum::Edges {
        base: (sheet::line_of(Edge::Bottom, turns), Edge::Bottom),
        other: (sheet::line_of(Edge::Left, turns), Edge::Left),
        size_mm,
    }
}

pub(super) fn outline(survey: &Survey, frame: &SheetFrame, turns: u32) -> Outline {
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

/// A size of the sheet that is not the plan's: a wrong scale, a wrong edge, or a wrong sheet.
pub(super) struct OtherSize {
    edges: [Edge; 2],
    off_mm: f64,
    pub(super) weight: Weight,
    pub(super) reason: Reason,
}

pub(super) fn other_sizes(plan: &Plan, outline: &Outline) -> Vec<OtherSize> {
    let sides = [
        (
            "width",
            [Edge::Left, Edge::Right],
            outline.width_mm,
            plan.width_mm,
        ),
        (
            "height",
            [Edge::Bottom, Edge::Top],
            outline.height_mm,
            plan.height_mm,
        ),
    ];
    sides
        .into_iter()
        .filter_map(|(name, edges, measured, planned)| {
            let [mm, u] = measured?;
            let off_mm = (mm - planned).abs();
            let beyond = off_mm - 2.0 * u;
            if beyond <= plan.tolerance_mm / 2.0 {
                return None;
            }
            let weight = if beyond > plan.tolerance_mm { Weight::Blocks } else { Weight::Note };
            let text = format!(
                "the sheet's {name} measures {mm:.2} ± {:.2} mm, the plan says {planned:.2} mm: either something else was taken for the sheet (--picture or --report shows what), or the plan is not this sheet's (if a rule says so too, put its size into the plan), or the scale is wrong (lay a rule on a card's bars and use --bars)",
                2.0 * u
            );
            let reason = Reason { code: "sheet-size", text };
            Some(OtherSize { edges, off_mm, weight, reason })
        })
        .collect()
}

/// Where the sheet is of another size than planned, which of its edges is wrong does not show, or whether the scale is:
/// each may be by all of the difference.
pub(super) fn doubt_sizes(survey: &mut Survey, sizes: &[OtherSize], turns: u32) {
    for size in sizes {
        for edge in size.edges {
            survey.doubt_line(sheet::line_of(edge, turns), size.off_mm / 2.0);
        }
    }
}

/// An edge that the places are measured from, beyond which another could as well be the sheet's: a paper template that
/// ends a millimetre inside the metal. The sheet's size settles it if it is the planned one as measured, and would not
/// be with the other edge; but not a size that was told, as then all else is made to fit it.
pub(super) fn second_edge(
    plan: &Plan,
    given: &Given,
    outline: &Outline,
    sides: &Sides,
    turns: u32,
) -> Option<Reason> {
    let across = [
        (
            Edge::Bottom,
            "bottom",
            Known::SheetHeight,
            outline.height_mm,
            plan.height_mm,
            Edge::Top,
        ),
        (
            Edge::Left,
            "left",
            Known::SheetWidth,
            outline.width_mm,
            plan.width_mm,
            Edge::Right,
        ),
    ];
    let second = |edge| {
        let line = sheet::line_of(edge, turns);
        let of_line = sides.seconds.iter().filter(|(l, _)| *l == line);
        of_line.map(|(_, mm)| *mm).max_by(f64::total_cmp)
    };
    across
        .into_iter()
        .find_map(|(edge, name, known, measured, planned, opposite)| {
            let beyond = second(edge)?;
            let settled = !given.known.iter().any(|(k, _)| *k == known)
                && second(opposite).is_none()
                && measured.is_some_and(|[mm, u]| {
                    (mm - planned).abs() + 2.0 * u < (mm + beyond - planned).abs() - 2.0 * u
                });
            (!settled).then(|| Reason {
                code: "two-edges",
                text: format!(
                    "the {name} edge shows twice: {beyond:.1} mm beyond the line that was taken for it there is another, and either may be the sheet's (something glued on it, a film, a strip on the bench?); make the true edge show alone, or give two marks as the datum in the plan"
                ),
            })
        })
}

/// Where the photos show the plan's corners: the photo's place in the list of all, and the corners it shows.
pub(super) fn corners(
    size_mm: [f64; 2],
    frames: &[SheetFrame],
    kept: &[usize],
) -> Vec<(usize, Vec<Point<Pixel>>)> {
    let corners = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)];
    let place = |(x, y)| Point::new(x * size_mm[0], y * size_mm[1]);
    let of_photo = |frame: &SheetFrame| {
        corners
            .iter()
            .filter_map(|&c| frame.pixel_from_sheet(place(c)))
            .collect()
    };
    kept.iter()
        .copied()
        .zip(frames.iter().map(of_photo))
        .collect()
}
