//! The sheet's own edges in the photo, and the datum they give.
//!
//! | step | module |
//! | --- | --- |
//! | the photo's brightness and colour, one plane at a time | `channel` |
//! | straight segments of edges | `segments` |
//! | the straight lines that these draw | `lines` |
//! | how different the two sides of a line are | `contrast` |
//! | the rectangle of the planned size | `coarse` |
//! | sub-pixel points along its sides | `fine` |
//! | a side as a line, straight or bent | `axis` |
//! | a side by what most of its parts show | `parts` |
//! | where the sheet ends on a profile across a side | `profile` |

mod axis;
mod channel;
mod coarse;
mod contrast;
mod fine;
mod lines;
mod parts;
mod profile;
mod segments;

use std::fmt;

use image::GrayImage;

use crate::card::SeenCard;
use crate::frame::{Face, Pixel, Point, Sheet};
use crate::photo::Later;
use crate::plan::Edge;
use crate::survey::{LineId, StraightLine, Survey, View};
use channel::Channel;
use coarse::Rectangle;
use contrast::Contrast;
use fine::SidePoints;

/// One edge of the sheet as measured, in the `Sheet` frame.
#[derive(Debug, Clone, Copy)]
pub struct MeasuredEdge {
    /// Which edge.
    pub edge: Edge,
    /// Two points on it, mm: its ends where it was seen.
    pub ends: [Point<Sheet>; 2],
    /// Standard uncertainty of its offset at its middle, mm.
    pub u_offset_mm: f64,
    /// Standard uncertainty of its direction, rad.
    pub u_angle_rad: f64,
}

/// The sheet's outline as far as it was seen, in the `Sheet` frame.
#[derive(Debug, Clone, Default)]
pub struct Outline {
    /// The edges found, each at most once.
    pub edges: Vec<MeasuredEdge>,
    /// Measured width, mm, and its standard uncertainty, where both side edges were seen.
    pub width_mm: Option<[f64; 2]>,
    /// Measured height, mm, and its standard uncertainty, where both other edges were seen.
    pub height_mm: Option<[f64; 2]>,
}

impl Outline {
    /// Distance of a place from the nearest of the edges found, and the standard uncertainty of that edge there, mm;
    /// `None` where no edge was found.
    #[must_use]
    pub fn nearest_edge(&self, at: Point<Sheet>) -> Option<[f64; 2]> {
        let distances = self.edges.iter().filter_map(|e| e.distance(at));
        distances.min_by(|a, b| a[0].total_cmp(&b[0]))
    }
}

impl MeasuredEdge {
    /// Distance of a place from the edge's line, and the standard uncertainty of the line at its foot, mm; `None` for
    /// an edge without length.
    fn distance(&self, at: Point<Sheet>) -> Option<[f64; 2]> {
        let [from, to] = self.ends.map(|p| p.vec());
        let along = (to - from).try_normalize(f64::MIN_POSITIVE)?;
        let arm = at.vec() - (from + to) / 2.0;
        let lever_mm = along.dot(&arm) * self.u_angle_rad;
        Some([along.perp(&arm).abs(), self.u_offset_mm.hypot(lever_mm)])
    }
}

/// Why no sheet could be found.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SheetError {
    /// No rectangle of about the planned size.
    NotFound {
        /// Planned width and height, mm.
        planned_mm: [f64; 2],
    },
    /// A rectangle of the planned shape in another size.
    OtherSize {
        /// Its width and height, mm.
        measured_mm: [f64; 2],
        /// Planned width and height, mm.
        planned_mm: [f64; 2],
    },
    /// No edge shows well enough to be measured.
    NoCorner {
        /// The edges that do.
        found: usize,
    },
}

impl fmt::Display for SheetError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotFound { planned_mm: [w, h] } => write!(
                f,
                "no sheet of {w:.1} x {h:.1} mm was found; show all its edges with some bench round them, on a bench of another brightness (a dark cloth under bare metal), and check the sheet's size in the plan"
            ),
            Self::OtherSize {
                measured_mm: [mw, mh],
                planned_mm: [w, h],
            } => write!(
                f,
                "the sheet measures {mw:.1} x {mh:.1} mm where the plan says {w:.1} x {h:.1} mm: the card seems to be printed at {:.1} %; lay a rule on its bars and say what they measure with --bars, or put the sheet's true size into the plan",
                100.0 * (w / mw + h / mh) / 2.0
            ),
            Self::NoCorner { found } => write!(
                f,
                "{found} of the sheet's edges can be measured; show the bottom and the left edge, without clutter or cards on them"
            ),
        }
    }
}

impl std::error::Error for SheetError {}

/// One photo to look for the sheet in.
#[derive(Debug, Clone, Copy)]
pub struct Look<'a> {
    /// The upright photo.
    pub grey: &'a GrayImage,
    /// Its colour.
    pub colour: &'a Later,
    /// Its map, from the survey.
    pub view: &'a View,
    /// The cards in it.
    pub cards: &'a [SeenCard],
}

impl Look<'_> {
    /// Where it shows a place of the face, at least `margin` px from its rim.
    fn pixel(&self, p: Point<Face>, margin: f64) -> Option<Point<Pixel>> {
        let q = self.view.pixel_from_face(p)?;
        let (w, h) = (f64::from(self.grey.width()), f64::from(self.grey.height()));
        (q.x > margin && q.y > margin && q.x < w - margin && q.y < h - margin).then_some(q)
    }

    /// The place of the face in the middle of it.
    fn middle(&self) -> Option<Point<Face>> {
        let (w, h) = (f64::from(self.grey.width()), f64::from(self.grey.height()));
        self.view.face_from_pixel(Point::new(w / 2.0, h / 2.0))
    }
}

/// The sheet's sides in the photos.
#[derive(Debug, Clone)]
pub struct Sides {
    /// For each photo, points along each side that shows in it, for the survey: bottom, right, top, left are
    /// lines 0 to 3 of the way the sheet was first taken to lie.
    pub lines: Vec<Vec<StraightLine>>,
    /// Standard deviation of what all points of a line may be off outward together, mm: a side wall or a burr that
    /// passes for the face's edge. For [`crate::survey::Options::line_off_mm`].
    pub doubts: Vec<(LineId, f64)>,
    /// Sides beyond which the photo steps once more as it does there, and how far beyond, mm: either may be the sheet's
    /// edge.
    pub seconds: Vec<(LineId, f64)>,
    /// Whether a quarter turn also fits the planned size.
    pub square: bool,
    /// Roughly where its corners are: lower left, lower right, upper right, upper left.
    pub corners: [Point<Face>; 4],
    channels: &'static [Channel],
    found: Vec<[Option<SidePoints>; 4]>,
}

impl Sides {
    /// What was found of the sides in each photo, put together.
    fn of(
        channels: &'static [Channel],
        found: Vec<[Option<SidePoints>; 4]>,
        corners: [Point<Face>; 4],
        square: bool,
    ) -> Self {
        let id = |i: usize| LineId(i as u32);
        let of_photo = |sides: &[Option<SidePoints>; 4]| {
            let shown = sides.iter().enumerate().filter_map(|(i, side)| {
                Some(StraightLine {
                    id: id(i),
                    points: side.as_ref()?.points.clone(),
                })
            });
            shown.collect()
        };
        let side = |i: usize| found.iter().filter_map(move |sides| sides[i].as_ref());
        // What the points of a photo may be off together moves the line by their share of all points.
        let doubt = |i: usize| {
            let (sum, n) = side(i).fold((0.0, 0.0), |(sum, n), s| {
                let points = s.points.len() as f64;
                (sum + points * s.doubt_mm, n + points)
            });
            (n > 0.0).then(|| (id(i), sum / n))
        };
        let seconds = |i: usize| side(i).filter_map(move |s| Some((id(i), s.second_mm?)));
        Self {
            lines: found.iter().map(of_photo).collect(),
            doubts: (0..4).filter_map(doubt).collect(),
            seconds: (0..4).flat_map(seconds).collect(),
            square,
            corners,
            channels,
            found,
        }
    }

    /// The same once more by a survey that has these sides in it, and so knows pose and lens better than the one that
    /// they were found by: what still bends a side is then no lens. `looks`: as before, with that survey's maps. A side
    /// that is not found so stays as it was.
    #[must_use]
    pub fn again(&self, looks: &[Look], survey: &Survey, thickness_mm: f64) -> Self {
        let line = |i: usize| survey.line(LineId(i as u32));
        let corner = |i: usize| {
            let both = line((i + 3) % 4).zip(line(i));
            both.and_then(|(a, b)| a.meet(b)).unwrap_or(self.corners[i])
        };
        let rectangle = Rectangle {
            corners: [0, 1, 2, 3].map(corner),
        };
        let contrast = Contrast {
            looks,
            channels: self.channels,
        };
        let of_photo = |(look, before): (&Look, &[Option<SidePoints>; 4])| {
            let mut sides = fine::sides(look, &contrast, &rectangle, thickness_mm);
            for (side, before) in sides.iter_mut().zip(before) {
                if before.is_none() || side.is_none() {
                    side.clone_from(before);
                }
            }
            sides
        };
        let found = looks.iter().zip(&self.found).map(of_photo).collect();
        Self::of(self.channels, found, self.corners, self.square)
    }

    /// Whether a side shows.
    #[must_use]
    pub fn shows(&self, line: LineId) -> bool {
        self.lines.iter().flatten().any(|l| l.id == line)
    }

    /// Whether two sides that meet show.
    #[must_use]
    pub fn meet(&self) -> bool {
        (0..4).any(|i| self.shows(LineId(i)) && self.shows(LineId((i + 1) % 4)))
    }
}

/// The line of an edge when the plan is turned by `quarter_turns` from how the sheet was first taken to
/// lie.
#[must_use]
pub fn line_of(edge: Edge, quarter_turns: u32) -> LineId {
    let side = match edge {
        Edge::Bottom => 0,
        Edge::Right => 1,
        Edge::Top => 2,
        Edge::Left => 3,
    };
    LineId((side + quarter_turns) % 4)
}

/// All four edges, anticlockwise from the bottom.
pub const EDGES: [Edge; 4] = [Edge::Bottom, Edge::Right, Edge::Top, Edge::Left];

/// Finds the sheet of `size_mm` (width, height) and about `thickness_mm` by its edges. The `looks` are those of
/// the survey's photos, in its order; each shows the whole sheet or a part of it.
///
/// Of the ways in which a sheet of that size can lie in the rectangle found, the one most nearly upright
/// in the photos is taken first; the marks may show that another is meant.
///
/// Brightness shows edges best; colour is looked at too only where brightness shows no sheet.
///
/// # Errors
/// [`SheetError`] when no such rectangle stands out, or too little of its edges.
pub fn find(
    looks: &[Look],
    survey: &Survey,
    size_mm: [f64; 2],
    thickness_mm: f64,
) -> Result<Sides, SheetError> {
    let by_grey = find_in(&[Channel::Grey], looks, survey, size_mm, thickness_mm);
    let enough = match &by_grey {
        Ok(sides) => sides.meet(),
        Err(SheetError::NotFound { .. } | SheetError::NoCorner { .. }) => false,
        Err(_) => true,
    };
    if enough || looks.iter().all(|l| l.colour.get().is_none()) {
        return by_grey;
    }
    match find_in(&Channel::ALL, looks, survey, size_mm, thickness_mm) {
        Ok(sides) if sides.meet() || by_grey.is_err() => Ok(sides),
        _ => by_grey,
    }
}

fn find_in(
    channels: &'static [Channel],
    looks: &[Look],
    survey: &Survey,
    size_mm: [f64; 2],
    thickness_mm: f64,
) -> Result<Sides, SheetError> {
    let rectangle = coarse::rectangle(channels, looks, survey, size_mm)?;
    let square = (size_mm[0] - size_mm[1]).abs() < 0.02 * size_mm[0];
    let step = if square { 1 } else { 2 };
    let upright = (0..4)
        .step_by(step)
        .map(|turns| rectangle.turned(turns))
        .max_by(|a, b| rightward(looks, a).total_cmp(&rightward(looks, b)))
        .unwrap_or(rectangle);
    let contrast = Contrast { looks, channels };
    let found: Vec<_> = looks
        .iter()
        .map(|look| fine::sides(look, &contrast, &upright, thickness_mm))
        .collect();
    if found.iter().flatten().all(Option::is_none) {
        return Err(SheetError::NoCorner { found: 0 });
    }
    Ok(Sides::of(channels, found, upright.corners, square))
}

/// How much the rectangle's x axis runs to the right in the photos, each -1 to 1.
fn rightward(looks: &[Look], r: &coarse::Rectangle) -> f64 {
    let of_photo = |look: &Look| {
        let jacobian = look.view.local_scale(look.middle()?)?;
        Some((jacobian * r.x_axis()).normalize().x)
    };
    looks.iter().filter_map(of_photo).sum()
}
