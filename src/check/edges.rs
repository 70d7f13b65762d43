//! What the sheet's edges give: the datum, the outline, and whether its size is the plan's.

use nalgebra::Vector2;

use super::{Given, Known, UNSAID_THICKNESS_MM};
use crate::card::SeenCard;
use crate::frame::{Face, Pixel, Point};
use crate::plan::length::{show, show_fine, show_planned};
use crate::plan::{Edge, Plan};
use crate::sheet::{self, MeasuredEdge, Outline, Sides};
use crate::survey::{
    KNOWN_SD_MM, KnownLength, LineId, Options, SheetDatum, SheetFrame, StraightLine, Survey, Tie,
    View,
};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{Reason, Weight};

/// Where a cut edge ends lies within so much to either side of where it is taken to be, mm: burr and rounding
/// reach about a twentieth of a sheet's thickness each. And what one pixel hides of them, px. Points on an edge scatter
/// less, but all lean the same way.
const EDGE_MM: f64 = 0.05;
const EDGE_PX: f64 = 0.25;
/// What of that varies along the edge, as a share, and over how much of it that is alike, mm: shine and shadow, burr and
/// blur change from one end to the other (a judgement, no source).
const VARIES: f64 = 0.5;
const ALIKE_OVER_MM: f64 = 100.0;
/// An edge that shows to within this of a corner shows to the corner, mm: that itself is rounded and burred, and no
/// points are taken there.
const REACHES_MM: f64 = 8.0;
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

/// What all points on each edge may be off together, for [`Options::line_off_mm`]: what its side wall hides, and what a
/// cut edge always leaves open. `survey`: the one that the edges were found by.
fn lines_off(survey: &Survey, sides: &Sides) -> Vec<(LineId, f64)> {
    let of_line = |&(id, wall_mm): &(LineId, f64)| {
        let views = survey.model().views().iter().zip(&sides.lines);
        let ends = views.filter_map(|(view, lines)| {
            let points = &lines.iter().find(|l| l.id == id)?.points;
            let on_face = |p: Option<&(Point<Pixel>, f64)>| view.face_from_pixel(p?.0);
            Some((view, [on_face(points.first())?, on_face(points.last())?]))
        });
        edge_off(ends, survey.flatness_mm).map(|cut| (id, wall_mm.hypot(cut)))
    };
    sides.doubts.iter().filter_map(of_line).collect()
}

/// The sides' points with what a cut edge leaves open and varies along it, which many points do not average out: each
/// counts as little as makes all of them together tell no more than the stretches over which it is alike.
pub(super) fn varying(survey: &Survey, sides: &Sides) -> Vec<Vec<StraightLine>> {
    let views = survey.model().views().iter();
    let of_photo = |(view, lines): (&View, &Vec<StraightLine>)| {
        let of_line = |line: &StraightLine| weakened(view, line).unwrap_or_else(|| line.clone());
        lines.iter().map(of_line).collect()
    };
    views.zip(&sides.lines).map(of_photo).collect()
}

fn weakened(view: &View, line: &StraightLine) -> Option<StraightLine> {
    let on_face = |p: Option<&(Point<Pixel>, f64)>| view.face_from_pixel(p?.0);
    let ends = [on_face(line.points.first())?, on_face(line.points.last())?];
    let mm_per_px = view.mm_per_px(ends[0].midpoint(ends[1]))?;
    let stretches = (ends[0].distance(ends[1]) / ALIKE_OVER_MM).max(1.0);
    let own_px = VARIES * cut_mm(mm_per_px) / mm_per_px;
    let more_px = own_px * (line.points.len() as f64 / stretches).sqrt();
    let points = line.points.iter().map(|&(p, sd)| (p, sd.hypot(more_px)));
    Some(StraightLine {
        id: line.id,
        points: points.collect(),
    })
}

/// Standard deviation of where a cut edge ends, mm: anywhere between limits alike, a rectangular distribution
/// (JCGM 100:2008, 4.3.7, from memory).
fn cut_mm(mm_per_px: f64) -> f64 {
    EDGE_MM.hypot(EDGE_PX * mm_per_px) / 3f64.sqrt()
}

/// Adds to each edge what it is still not straight by: what bends it was no lens, or is one that the solve does not know
/// well enough, and so the whole edge may be off as its points are.
pub(super) fn doubt_bent(survey: &mut Survey) {
    let off: Vec<(LineId, f64)> = survey
        .lines
        .iter()
        .filter_map(|l| {
            let mm_per_px = survey
                .model()
                .views()
                .iter()
                .find_map(|v| v.mm_per_px(l.middle))?;
            Some((l.id, l.rms_px * mm_per_px))
        })
        .collect();
    for (line, sd_mm) in off {
        survey.doubt_line(line, sd_mm);
    }
}

/// Adds to an edge of a survey that was foreseen what a cut edge always leaves open.
pub(crate) fn doubt_edge(survey: &mut Survey, line: LineId) {
    let Some(edge) = survey.line(line) else {
        return;
    };
    let views = survey.model().views();
    let of_photo = |&(photo, _): &(usize, f64)| Some((views.get(photo)?, edge.ends));
    let off = edge_off(edge.off_mm.iter().filter_map(of_photo), survey.flatness_mm);
    if let Some(sd_mm) = off {
        survey.doubt_line(line, sd_mm);
    }
}

/// What all points on an edge may be off together, mm: where a cut edge ends is a matter of its burr and of the pixel that
/// shows it. `seen`: the photos that show it, and its ends in each.
fn edge_off<'v>(
    seen: impl Iterator<Item = (&'v View, [Point<Face>; 2])>,
    flatness_mm: f64,
) -> Option<f64> {
    let (mut finest, mut levers, mut length, mut count) = (f64::INFINITY, 0.0, 0.0_f64, 0.0);
    for (view, [from, to]) in seen {
        let middle = from.midpoint(to);
        let along = (to - from).try_normalize(f64::MIN_POSITIVE)?;
        let [x, y, z] = view.camera_mm();
        // An edge is no flatter than the face: raised, it seems to lie further from the point below the camera.
        levers += (along.perp(&(middle - Point::new(x, y))) / z).powi(2);
        length = length.max(from.distance(to));
        finest = finest.min(view.mm_per_px(middle)?);
        count += 1.0;
    }
    if count == 0.0 {
        return None;
    }
    let raised = (levers / count).sqrt() * flatness_mm * share_of_mean(length);
    let common = cut_mm(finest) * (1.0 - VARIES * VARIES).sqrt();
    Some(common.hypot(raised))
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

/// What the solve with the edges is told; `survey`: the one that they were found by.
pub(super) fn options(
    plan: &Plan,
    given: &Given,
    sides: &Sides,
    turns: u32,
    (survey, ties): (&Survey, Vec<Tie>),
) -> Options {
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
        ties,
        line_off_mm: lines_off(survey, sides),
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

/// An edge of the datum that no photo shows, where the opposite one does and the length between them was told.
#[derive(Debug, Clone, Copy)]
pub(super) struct FarEdge {
    near: Edge,
    far: Edge,
    mm: f64,
}

/// What the places are measured from instead of an edge that does not show; `None` where both edges of the datum show, or
/// nothing stands for the one that does not.
pub(super) fn far_edge(survey: &Survey, turns: u32, given: &Given) -> Option<FarEdge> {
    let shows = |edge| survey.line(sheet::line_of(edge, turns)).is_some();
    let (near, far, name) = match (shows(Edge::Left), shows(Edge::Bottom)) {
        (false, true) => (Edge::Left, Edge::Right, Known::SheetWidth),
        (true, false) => (Edge::Bottom, Edge::Top, Known::SheetHeight),
        _ => return None,
    };
    let told = given.known.iter().find(|(known, _)| *known == name)?;
    whole(survey, far, turns).then_some(FarEdge {
        near,
        far,
        mm: told.1,
    })
}

/// Whether an edge shows from corner to corner. No size speaks for an end whose opposite does not show, and the rim of a
/// card at the picture's border, or print across the face, is as straight as it.
pub(super) fn whole(survey: &Survey, edge: Edge, turns: u32) -> bool {
    let line = |edge| survey.line(sheet::line_of(edge, turns));
    let sides = match edge {
        Edge::Left | Edge::Right => [Edge::Bottom, Edge::Top],
        Edge::Bottom | Edge::Top => [Edge::Left, Edge::Right],
    };
    line(edge).is_some_and(|end| {
        let reaches = |side| {
            let corner = line(side).and_then(|side| end.meet(side));
            let near = |c: Point<Face>| end.ends.iter().any(|e| e.distance(c) < REACHES_MM);
            corner.is_some_and(near)
        };
        sides.into_iter().all(reaches)
    })
}

impl FarEdge {
    /// The datum by it, and what the length between is not known to put into the survey.
    pub(super) fn datum(
        self,
        survey: &mut Survey,
        mut size_mm: [f64; 2],
        turns: u32,
    ) -> SheetDatum {
        let line = |edge| (sheet::line_of(edge, turns), edge);
        survey.doubt_line(line(self.far).0, KNOWN_SD_MM);
        let [base, other] = if self.near == Edge::Left {
            size_mm[0] = self.mm;
            [Edge::Bottom, self.far]
        } else {
            size_mm[1] = self.mm;
            [self.far, Edge::Left]
        };
        SheetDatum::Edges {
            base: line(base),
            other: line(other),
            size_mm,
        }
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
                "the sheet's {name} measures {} (U {}), the plan says {}: either something else was taken for the sheet (--picture or --report shows what), or the plan is not this sheet's (if a rule says so too, put its size into the plan), or the scale is wrong (lay a rule on a card's bars and use --bars)",
                show_fine(mm, plan.units),
                show_fine(2.0 * u, plan.units),
                show_planned(planned, plan.units)
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

/// An edge that may lie elsewhere.
pub(super) struct SecondEdge {
    line: LineId,
    beyond_mm: f64,
    pub(super) reason: Reason,
}

/// Either edge may be the sheet's: U reaches from the one to the other.
pub(super) fn doubt_second(survey: &mut Survey, second: &SecondEdge) {
    survey.doubt_line(second.line, second.beyond_mm / COVERAGE_FACTOR);
}

/// The edges that the places are measured from, beyond which another could as well be the sheet's: a paper template that
/// ends a millimetre inside the metal. The sheet's size settles it if it is the planned one as measured, and would not
/// be with the other edge; but not a size that was told, as then all else is made to fit it.
pub(super) fn second_edges(
    plan: &Plan,
    given: &Given,
    outline: &Outline,
    sides: &Sides,
    turns: u32,
) -> Vec<SecondEdge> {
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
        .filter_map(|(edge, name, known, measured, planned, opposite)| {
            let beyond = second(edge)?;
            let settled = !given.known.iter().any(|(k, _)| *k == known)
                && second(opposite).is_none()
                && measured.is_some_and(|[mm, u]| {
                    (mm - planned).abs() + 2.0 * u < (mm + beyond - planned).abs() - 2.0 * u
                });
            let reason = || Reason {
                code: "two-edges",
                text: format!(
                    "the {name} edge shows twice: {} beyond the line that was taken for it there is another, and either may be the sheet's (something glued on it, a film, a strip on the bench?); make the true edge show alone, or give two marks as the datum in the plan",
                    show(beyond, plan.units)
                ),
            };
            (!settled).then(|| SecondEdge {
                line: sheet::line_of(edge, turns),
                beyond_mm: beyond,
                reason: reason(),
            })
        })
        .collect()
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
