//! The sheet's frame in the face, and marks expressed in it with all correlations.
//!
//! A mark's place in the sheet depends on the survey three ways: through the mark itself, through the corner
//! and through the direction of the base line. All three move together when pose, lens or scale are off, so
//! their derivatives are added up before the covariance is formed.

use std::fmt;

use nalgebra::{DVector, Matrix2, Matrix2xX, Vector2};

use super::budget::Source;
use super::input::LineId;
use super::result::{Survey, symmetric};
use super::start::turn;
use super::view::Landed;
use crate::frame::{Cov2, Face, Pixel, Point, Rigid, Sheet};
use crate::plan::Edge;

/// Two edges must cross at least this steeply, degrees, to fix a corner.
const MIN_CROSSING_DEG: f64 = 20.0;
/// Two marks nearer than this give no direction worth the name, mm.
const MIN_MARKS_MM: f64 = 10.0;

/// What ties the sheet's frame to the face.
#[derive(Debug, Clone)]
pub enum SheetDatum {
    /// Two edges that meet. The first gives the direction, their crossing the place.
    Edges {
        /// The edge that gives the direction.
        base: (LineId, Edge),
        /// The edge that crosses it.
        other: (LineId, Edge),
        /// Width and height of the sheet as planned, mm: where the corner is when it is not the lower left.
        size_mm: [f64; 2],
    },
    /// Two marks. The first gives the place, both the direction; the scale is not adjusted.
    Marks {
        /// Where the photo shows them, and their covariance, px².
        seen: [(Point<Pixel>, Cov2); 2],
        /// Where they are on the sheet.
        planned: [Point<Sheet>; 2],
    },
}

/// Why there is no sheet frame.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum DatumError {
    /// An edge is not among the survey's lines.
    NoLine {
        /// The line.
        line: LineId,
        /// The edge it should be.
        edge: Edge,
    },
    /// The two edges do not meet in a corner of the sheet, or cross too flatly.
    NoCorner {
        /// The edges.
        edges: [Edge; 2],
        /// Angle between their lines, degrees.
        angle_deg: f64,
    },
    /// The lines lie to each other as no unmirrored sheet has them.
    WrongSide {
        /// The edges.
        edges: [Edge; 2],
    },
    /// A datum mark's pixel does not show the face.
    OffFace {
        /// The pixel.
        at: [f64; 2],
    },
    /// The two marks are too close.
    TooClose {
        /// Their distance as seen, and as planned, mm.
        mm: [f64; 2],
    },
}

impl fmt::Display for DatumError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoLine { line, edge } => write!(
                f,
                "the {edge:?} edge (line {}) was not found in the photo; keep it in view and free of clutter, or name two datum marks in the plan",
                line.0
            ),
            Self::NoCorner {
                edges: [a, b],
                angle_deg,
            } => write!(
                f,
                "the {a:?} and {b:?} edges stand {angle_deg:.1} degrees to each other and make no corner ({MIN_CROSSING_DEG} at least); use two edges that meet"
            ),
            Self::WrongSide { edges: [a, b] } => write!(
                f,
                "the {a:?} and {b:?} edges lie to each other as on a mirrored sheet; check which edge is which, and that the picture is not mirrored"
            ),
            Self::OffFace { at: [x, y] } => write!(
                f,
                "the datum mark at pixel ({x:.1}, {y:.1}) does not show the face"
            ),
            Self::TooClose {
                mm: [seen, planned],
            } => write!(
                f,
                "the datum marks are {seen:.1} mm apart ({planned:.1} mm in the plan); {MIN_MARKS_MM} mm at least are needed to fix a direction"
            ),
        }
    }
}
impl std::error::Error for DatumError {}

/// Part of a frame's uncertainty that is not the survey's: a datum mark's own.
struct Own {
    at: Point<Pixel>,
    cov: Cov2,
    origin: Matrix2<f64>,
    angle: Vector2<f64>,
}

/// The sheet's frame, ready to express many marks in it.
pub struct SheetFrame<'a> {
    survey: &'a Survey,
    photo: usize,
    /// Direction of the sheet's x axis in the face, rad.
    angle: f64,
    /// The datum point in the face and in the sheet.
    origin: Vector2<f64>,
    corner: Vector2<f64>,
    by_origin: Matrix2xX<f64>,
    by_angle: DVector<f64>,
    own: Vec<Own>,
    /// Distance of the two datum marks as seen less as planned, mm; `None` for edges.
    pub marks_gap_mm: Option<f64>,
}

/// How a place depends on what all places share.
#[derive(Debug, Clone)]
pub struct Leaning {
    by_unknowns: Matrix2xX<f64>,
    /// By the face's height, mm for one standard deviation of it.
    pub by_flatness: Vector2<f64>,
}

/// A line of the face in the sheet's frame.
#[derive(Debug, Clone, Copy)]
pub struct SheetLine {
    /// Its ends where it was seen.
    pub ends: [Point<Sheet>; 2],
    /// Standard uncertainty of its offset at its middle, mm.
    pub u_offset_mm: f64,
    /// Standard uncertainty of its direction, rad.
    pub u_angle_rad: f64,
}

impl Survey {
    /// The sheet's frame for marks of photo `photo` (datum marks are pixels of it too).
    ///
    /// # Errors
    /// [`DatumError`] when the datum is not seen or cannot fix a frame.
    pub fn sheet_frame(
        &self,
        datum: &SheetDatum,
        photo: usize,
    ) -> Result<SheetFrame<'_>, DatumError> {
        match datum {
            SheetDatum::Edges {
                base,
                other,
                size_mm,
            } => self.frame_from_edges(photo, *base, *other, *size_mm),
            SheetDatum::Marks { seen, planned } => self.frame_from_marks(photo, seen, planned),
        }
    }

    /// A mark of the first photo in the sheet's frame, with the covariance of survey, datum, mark and
    /// flatness together, mm². For many marks make a [`Survey::sheet_frame`] once. `Ok(None)` where the pixel
    /// does not show the face.
    ///
    /// # Errors
    /// As [`Survey::sheet_frame`].
    pub fn sheet_point(
        &self,
        datum: &SheetDatum,
        p: Point<Pixel>,
        cov_px: Cov2,
    ) -> Result<Option<(Point<Sheet>, Cov2)>, DatumError> {
        Ok(self.sheet_frame(datum, 0)?.point(p, cov_px))
    }

    fn frame_from_edges(
        &self,
        photo: usize,
        base: (LineId, Edge),
        other: (LineId, Edge),
        [width, height]: [f64; 2],
    ) -> Result<SheetFrame<'_>, DatumError> {
        let find = |(line, edge): (LineId, Edge)| {
            self.model()
                .line_pose(line)
                .ok_or(DatumError::NoLine { line, edge })
        };
        let (base_at, b) = find(base)?;
        let (other_at, o) = find(other)?;
        let edges = [base.1, other.1];
        let lies = |e: Edge| matches!(e, Edge::Bottom | Edge::Top);
        let sine = b.direction().perp(&o.direction());
        let angle_deg = sine.abs().min(1.0).asin().to_degrees();
        let no_corner = DatumError::NoCorner { edges, angle_deg };
        if lies(base.1) == lies(other.1) || angle_deg < MIN_CROSSING_DEG {
            return Err(no_corner);
        }
        let normals = Matrix2::from_rows(&[b.normal().transpose(), o.normal().transpose()]);
        let solve = normals.try_inverse().ok_or(no_corner)?;
        let crossing = solve
            * Vector2::new(
                b.normal().dot(&b.pivot) + b.offset,
                o.normal().dot(&o.pivot) + o.offset,
            );

        // Which way the base runs: its middle lies inside, seen from the corner.
        let inward = b.direction().dot(&(b.middle() - crossing));
        let starts_at_corner = matches!(other.1, Edge::Left | Edge::Bottom);
        let along = if (inward > 0.0) == starts_at_corner {
            b.angle
        } else {
            b.angle + std::f64::consts::PI
        };
        let angle = if lies(base.1) {
            along
        } else {
            along - std::f64::consts::FRAC_PI_2
        };
        // The other edge must lie on the sheet's side of the base.
        let m = turn(-angle, o.middle() - crossing);
        let inside = match base.1 {
            Edge::Bottom => m.y > 0.0,
            Edge::Top => m.y < 0.0,
            Edge::Left => m.x > 0.0,
            Edge::Right => m.x < 0.0,
        };
        if !inside {
            return Err(DatumError::WrongSide { edges });
        }
        let has = |e: Edge| edges.contains(&e);
        let corner = Vector2::new(
            if has(Edge::Right) { width } else { 0.0 },
            if has(Edge::Top) { height } else { 0.0 },
        );

        // normal · dC = d offset + (direction · (C - pivot)) d angle, for each line.
        let n = self.index.count;
        let mut by_origin = Matrix2xX::zeros(n);
        let mut by_angle = DVector::zeros(n);
        for (row, line, at) in [(0, b, base_at), (1, o, other_at)] {
            let column = solve.column(row);
            let place = self.index.line(at);
            let reach = line.direction().dot(&(crossing - line.pivot));
            for i in 0..2 {
                by_origin[(i, place)] += column[i] * reach;
                by_origin[(i, place + 1)] += column[i];
            }
        }
        by_angle[self.index.line(base_at)] = 1.0;
        Ok(SheetFrame {
            survey: self,
            photo,
            angle,
            origin: crossing,
            corner,
            by_origin,
            by_angle,
            own: Vec::new(),
            marks_gap_mm: None,
        })
    }

    fn frame_from_marks(
        &self,
        photo: usize,
        seen: &[(Point<Pixel>, Cov2); 2],
        planned: &[Point<Sheet>; 2],
    ) -> Result<SheetFrame<'_>, DatumError> {
        let land = |p: Point<Pixel>| {
            self.view(photo)
                .and_then(|v| v.land(p))
                .ok_or(DatumError::OffFace { at: [p.x, p.y] })
        };
        let first = land(seen[0].0)?;
        let second = land(seen[1].0)?;
        let across = second.at - first.at;
        let plan = planned[1] - planned[0];
        let (length, plan_length) = (across.norm(), plan.norm());
        if !(length > MIN_MARKS_MM && plan_length > MIN_MARKS_MM) {
            return Err(DatumError::TooClose {
                mm: [length, plan_length],
            });
        }
        let angle = across.y.atan2(across.x) - plan.y.atan2(plan.x);
        // d angle = across x d across / length².
        let swing = Vector2::new(-across.y, across.x) / (length * length);
        let g = [&first, &second].map(|l| self.by_unknowns(photo, l));
        let by_angle = (&g[1] - &g[0]).transpose() * swing;
        let own = vec![
            Own {
                at: seen[0].0,
                cov: self.own_cov(&first, seen[0].1),
                origin: Matrix2::identity(),
                angle: -swing,
            },
            Own {
                at: seen[1].0,
                cov: self.own_cov(&second, seen[1].1),
                origin: Matrix2::zeros(),
                angle: swing,
            },
        ];
        let [by_origin, _] = g;
        Ok(SheetFrame {
            survey: self,
            photo,
            angle,
            origin: first.at,
            corner: planned[0].vec(),
            by_origin,
            by_angle: DVector::from_column_slice(by_angle.as_slice()),
            own,
            marks_gap_mm: Some(length - plan_length),
        })
    }
}

impl SheetFrame<'_> {
    /// The frame as a rigid motion.
    #[must_use]
    pub fn face_from_sheet(&self) -> Rigid<Face, Sheet> {
        let zero = self.origin - turn(self.angle, self.corner);
        Rigid::new(self.angle, Point::at(zero))
    }

    /// The way back.
    #[must_use]
    pub fn sheet_from_face(&self) -> Rigid<Sheet, Face> {
        self.face_from_sheet().inverse()
    }

    /// Where a place of the sheet is imaged.
    #[must_use]
    pub fn pixel_from_sheet(&self, p: Point<Sheet>) -> Option<Point<Pixel>> {
        self.survey
            .view(self.photo)?
            .pixel_from_face(self.face_from_sheet() * p)
    }

    /// The place of the sheet that a pixel shows.
    #[must_use]
    pub fn sheet_from_pixel(&self, p: Point<Pixel>) -> Option<Point<Sheet>> {
        let face = self.survey.view(self.photo)?.face_from_pixel(p)?;
        Some(self.sheet_from_face() * face)
    }

    /// A mark in the sheet's frame and its covariance, mm²: survey, datum, the mark's `cov_px`, flatness.
    /// A datum mark itself (the very same pixel) shares its own error with the datum.
    #[must_use]
    pub fn point(&self, p: Point<Pixel>, cov_px: Cov2) -> Option<(Point<Sheet>, Cov2)> {
        let survey = self.survey;
        let landed = survey.view(self.photo)?.land(p)?;
        let (back, by_turn, reach) = self.turned(&landed);
        let g = self.by_unknowns(&landed);
        let mut cov = &g * &survey.cov * g.transpose();
        let mut is_datum = false;
        for own in &self.own {
            let same = own.at == p;
            is_datum |= same;
            let mut d = by_turn * own.angle.transpose() - back * own.origin;
            if same {
                d += back;
            }
            cov += d * own.cov * d.transpose();
        }
        if !is_datum {
            cov += back * survey.own_cov(&landed, cov_px) * back.transpose();
        }
        Some((Point::at(back * reach + self.corner), symmetric(cov)))
    }

    /// How the place on the sheet that this photo shows at `p` depends on the survey and on the face's height;
    /// `None` where the pixel does not show the face.
    #[must_use]
    pub fn leaning(&self, p: Point<Pixel>) -> Option<Leaning> {
        let landed = self.survey.view(self.photo)?.land(p)?;
        let (back, ..) = self.turned(&landed);
        Some(Leaning {
            by_unknowns: self.by_unknowns(&landed),
            by_flatness: back * landed.by_height * self.survey.flatness_mm,
        })
    }

    /// Covariance of the places that two photos give for the same mark, mm²: what they have in common.
    #[must_use]
    pub fn shared(&self, a: &Leaning, b: &Leaning) -> Cov2 {
        &a.by_unknowns * &self.survey.cov * b.by_unknowns.transpose()
            + a.by_flatness * b.by_flatness.transpose()
    }

    /// What one source of uncertainty has in [`Self::shared`].
    #[must_use]
    pub fn shared_from(&self, source: Source, a: &Leaning, b: &Leaning) -> Cov2 {
        &a.by_unknowns * self.survey.parts.get(source) * b.by_unknowns.transpose()
    }

    /// The turn from face to sheet, its derivative for a landed pixel, and that from the datum point.
    fn turned(&self, landed: &Landed) -> (Matrix2<f64>, Vector2<f64>, Vector2<f64>) {
        let (s, c) = self.angle.sin_cos();
        let back = Matrix2::new(c, s, -s, c);
        let reach = landed.at - self.origin;
        (back, Matrix2::new(-s, c, -c, -s) * reach, reach)
    }

    /// Derivative of the place on the sheet by the survey's unknowns.
    fn by_unknowns(&self, landed: &Landed) -> Matrix2xX<f64> {
        let (back, by_turn, _) = self.turned(landed);
        let mut g = self.survey.by_unknowns(self.photo, landed);
        g -= &self.by_origin;
        g = back * g;
        g += by_turn * self.by_angle.transpose();
        g
    }

    /// A line of the survey in the sheet's frame; `None` if it was not given.
    #[must_use]
    pub fn line(&self, id: LineId) -> Option<SheetLine> {
        let survey = self.survey;
        let (at, pose) = survey.model().line_pose(id)?;
        let solved = survey.line(id)?;
        let to_sheet = self.sheet_from_face();
        let place = survey.index.line(at);
        let (normal, reach) = (pose.normal(), pose.middle() - self.origin);
        // Across the line: its own offset, less what the frame moves, less what the frame turns.
        let by_frame_turn = normal.dot(&Vector2::new(-reach.y, reach.x));
        let mut offset = -(self.by_origin.transpose() * normal) - &self.by_angle * by_frame_turn;
        offset[place + 1] += 1.0;
        let mut angle = -self.by_angle.clone();
        angle[place] += 1.0;
        let mut var_offset = offset.dot(&(&survey.cov * &offset));
        let mut var_angle = angle.dot(&(&survey.cov * &angle));
        for own in &self.own {
            let d = -(own.origin.transpose() * normal) - own.angle * by_frame_turn;
            var_offset += d.dot(&(own.cov * d));
            var_angle += own.angle.dot(&(own.cov * own.angle));
        }
        Some(SheetLine {
            ends: solved.ends.map(|e| to_sheet * e),
            u_offset_mm: var_offset.max(0.0).sqrt(),
            u_angle_rad: var_angle.max(0.0).sqrt(),
        })
    }
}
