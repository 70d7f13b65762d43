//! A careful hand marks a plan out, and faults are put in.
//!
//! ```
//! # use punchready::plan::Plan;
//! use punchready::synth::marking::{Hand, Marking, NoSuchHole};
//! use punchready::synth::{Scene, SheetPiece, render};
//! # fn demo(plan: &Plan) -> Result<(), NoSuchHole> {
//! let marking = Marking::of(plan, &Hand::default()).shift("A3", 1.2, 0.0)?.drop_hole("A7")?;
//! let scene = Scene {
//!     sheet: SheetPiece::sized(plan.width_mm, plan.height_mm),
//!     marks: marking.marks,
//!     ..Scene::default()
//! };
//! let photo = render(&scene);
//! # Ok(()) }
//! ```

use std::f64::consts::FRAC_PI_2;
use std::fmt;

use nalgebra::Vector2;

use super::marks::{Ink, Mark, RingStyle, Shape, on_line};
use super::noise::Rng;
use crate::frame::{Point, Sheet};
use crate::plan::{Edge, Plan, Row};

/// How a hole is marked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// A spot.
    Dot,
    /// A short stroke across the row's line.
    Tick,
    /// Two short strokes.
    Cross,
}

/// Who marks, and how well.
#[derive(Debug, Clone)]
pub struct Hand {
    /// Scatter of a mark, standard deviation along each axis, mm.
    pub scatter_mm: f64,
    /// Scatter of each end of a ruled line across it, standard deviation, mm.
    pub line_scatter_mm: f64,
    /// How far the middle of a ruled line lies off the straight line between its ends, standard deviation, mm.
    pub line_bow_mm: f64,
    /// How the holes of rows are marked.
    pub rows: Style,
    /// How single holes are marked.
    pub singles: Style,
    /// Whether a line is ruled along each row.
    pub ruled: bool,
    /// Share of each line that the pen skipped.
    pub broken: f64,
    /// Mean diameter of dots, mm; each varies by a sixth.
    pub dot_mm: f64,
    /// The ink.
    pub ink: Ink,
    /// Seed of the hand's chance.
    pub seed: u64,
}

impl Default for Hand {
    fn default() -> Self {
        Self {
            scatter_mm: 0.10,
            line_scatter_mm: 0.06,
            line_bow_mm: 0.0,
            rows: Style::Tick,
            singles: Style::Cross,
            ruled: true,
            broken: 0.0,
            dot_mm: 0.8,
            ink: Ink::default(),
            seed: 1,
        }
    }
}

/// A fault was to be put on a hole that is not marked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoSuchHole(pub String);

impl fmt::Display for NoSuchHole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "no mark was made for a hole named {:?}; names are those of the plan",
            self.0
        )
    }
}

impl std::error::Error for NoSuchHole {}

/// A plan marked out.
#[derive(Debug, Clone)]
pub struct Marking {
    /// Lines first, then marks in the plan's order, then what was added. Marks bear their hole's name.
    pub marks: Vec<Mark>,
    hand: Hand,
    rng: Rng,
}

/// The two ends of a row's line as the plan has it, and the direction along it.
fn row_line(plan: &Plan, row: &Row) -> ([Point<Sheet>; 2], Vector2<f64>) {
    /// A line stops short of the sheet's edges, mm.
    const SHORT_MM: f64 = 1.5;
    let (w, h, e) = (plan.width_mm, plan.height_mm, row.edge_distance_mm);
    let across = |y: f64| [Point::new(SHORT_MM, y), Point::new(w - SHORT_MM, y)];
    let up = |x: f64| [Point::new(x, SHORT_MM), Point::new(x, h - SHORT_MM)];
    match row.along {
        Edge::Bottom => (across(e), Vector2::x()),
        Edge::Top => (across(h - e), Vector2::x()),
        Edge::Left => (up(e), Vector2::y()),
        Edge::Right => (up(w - e), Vector2::y()),
    }
}

impl Marking {
    /// Marks out every hole of `plan`.
    #[must_use]
    pub fn of(plan: &Plan, hand: &Hand) -> Self {
        let mut out = Self {
            marks: Vec::new(),
            hand: hand.clone(),
            rng: Rng::new(hand.seed),
        };
        let mut lines = Vec::new();
        for row in &plan.rows {
            let ([mut from, mut to], along) = row_line(plan, row);
            let across = Vector2::new(-along.y, along.x);
            from = from + across * (hand.line_scatter_mm * out.rng.normal());
            to = to + across * (hand.line_scatter_mm * out.rng.normal());
            let bow = if hand.line_bow_mm > 0.0 {
                hand.line_bow_mm * out.rng.normal()
            } else {
                0.0
            };
            lines.push((row.name.as_str(), [from, to], along, bow));
            if hand.ruled {
                let mut mark = out.inked(Mark::line(from, to));
                if let Shape::Line { broken, bow_mm, .. } = &mut mark.shape {
                    *broken = hand.broken;
                    *bow_mm = bow;
                }
                out.marks.push(mark);
            }
        }
        for hole in &plan.holes {
            let line = lines
                .iter()
                .find(|(name, ..)| hole.row.as_deref() == Some(*name));
            let (mut at, style) = (
                out.scattered(hole.at),
                line.map_or(hand.singles, |_| hand.rows),
            );
            if let (Some((_, [from, to], along, bow)), true) = (line, hand.ruled) {
                // The hand sets the mark on the line that it has ruled.
                let length = (*to - *from).norm();
                let way = (*to - *from) / length;
                let off = Vector2::new(-way.y, way.x);
                let t = (at - *from).dot(along) / way.dot(along);
                at = Point::at(on_line(from.vec(), to.vec(), *bow, t / length));
                if style != Style::Tick {
                    at = at + off * (0.5 * hand.scatter_mm * out.rng.normal());
                }
            }
            let heading = line.map_or(0.0, |(_, _, along, _)| along.y.atan2(along.x));
            let mark = out.made(style, at, heading).named(&hole.name);
            out.marks.push(mark);
        }
        out
    }

    fn inked(&self, mut mark: Mark) -> Mark {
        mark.ink = self.hand.ink;
        mark
    }

    fn scattered(&mut self, at: Point<Sheet>) -> Point<Sheet> {
        let s = self.hand.scatter_mm;
        at + Vector2::new(s * self.rng.normal(), s * self.rng.normal())
    }

    /// A mark of `style` at `at`, on a line of direction `heading`.
    fn made(&mut self, style: Style, at: Point<Sheet>, heading: f64) -> Mark {
        let slant = 0.05 * self.rng.normal();
        let size = 1.0 + self.rng.normal().clamp(-2.0, 2.0) / 6.0;
        let mark = match style {
            Style::Dot => Mark::dot(at.x, at.y).sized(self.hand.dot_mm * size),
            Style::Tick => Mark::tick(at.x, at.y, heading + FRAC_PI_2 + slant).sized(4.0 * size),
            Style::Cross => Mark::cross(at.x, at.y, heading + slant).sized(3.0 * size),
        };
        self.inked(mark)
    }

    fn position(&self, hole: &str) -> Result<usize, NoSuchHole> {
        self.marks
            .iter()
            .position(|m| m.name.as_deref() == Some(hole))
            .ok_or_else(|| NoSuchHole(hole.to_owned()))
    }

    /// Where the mark of `hole` is.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn place(&self, hole: &str) -> Result<Point<Sheet>, NoSuchHole> {
        Ok(self.marks[self.position(hole)?].at())
    }

    /// Moves the mark of `hole` by (dx, dy) mm. A tick that would leave its line becomes a dot, since a
    /// tick is read where it crosses.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn shift(mut self, hole: &str, dx: f64, dy: f64) -> Result<Self, NoSuchHole> {
        let i = self.position(hole)?;
        if let Shape::Tick { angle_rad, .. } = self.marks[i].shape {
            let off_line = dx * angle_rad.cos() + dy * angle_rad.sin();
            if off_line.abs() > 0.25 * dx.hypot(dy) {
                let at = self.marks[i].at();
                self.marks[i] = self.made(Style::Dot, at, 0.0).named(hole);
            }
        }
        self.marks[i].shift(dx, dy);
        Ok(self)
    }

    /// Leaves the mark of `hole` out.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn drop_hole(mut self, hole: &str) -> Result<Self, NoSuchHole> {
        let i = self.position(hole)?;
        self.marks.remove(i);
        Ok(self)
    }

    /// Makes a second mark for `hole`, (dx, dy) mm from the first.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn double(mut self, hole: &str, dx: f64, dy: f64) -> Result<Self, NoSuchHole> {
        let mut again = self.marks[self.position(hole)?].clone();
        again.name = None;
        again.shift(dx, dy);
        self.marks.push(again);
        Ok(self)
    }

    /// Makes a dot that no hole asked for.
    #[must_use]
    pub fn stray(mut self, at: Point<Sheet>) -> Self {
        let mark = self.made(Style::Dot, at, 0.0);
        self.marks.push(mark);
        self
    }

    /// Draws a ring round `at`.
    #[must_use]
    pub fn ring(mut self, at: Point<Sheet>, diameter_mm: f64, style: RingStyle) -> Self {
        let mut mark = self.inked(Mark::ring(at.x, at.y).sized(diameter_mm));
        if let Shape::Ring { style: s, .. } = &mut mark.shape {
            *s = style;
        }
        self.marks.push(mark);
        self
    }

    /// Draws a closed ring of 7 mm round the mark of `hole`.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn ring_hole(self, hole: &str) -> Result<Self, NoSuchHole> {
        let at = self.place(hole)?;
        Ok(self.ring(at, 7.0, RingStyle::Closed))
    }

    /// Draws an X of two strokes of 7 mm over `at`.
    #[must_use]
    pub fn cross_out(mut self, at: Point<Sheet>) -> Self {
        let mark = self.inked(Mark::cross_out(at.x, at.y));
        self.marks.push(mark);
        self
    }

    /// Crosses the mark of `hole` out.
    ///
    /// # Errors
    /// [`NoSuchHole`] if it has no mark.
    pub fn cross_out_hole(self, hole: &str) -> Result<Self, NoSuchHole> {
        let at = self.place(hole)?;
        Ok(self.cross_out(at))
    }

    /// Adds any other mark.
    #[must_use]
    pub fn with(mut self, mark: Mark) -> Self {
        self.marks.push(mark);
        self
    }
}
