//! Everything a hand, a mill or chance leaves on the face.

use nalgebra::Vector2;

use crate::frame::{Point, Sheet};

/// How ink lies on the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ink {
    /// How much it covers, 0 to 1.
    pub density: f64,
    /// Its own reflectance, linear RGB.
    pub colour: [f32; 3],
    /// Width of its soft edge, mm.
    pub soft_mm: f64,
    /// How unsteady the hand is: 0 ruled, 1 ordinary, 2 careless.
    pub wobble: f64,
    /// How much its density varies from place to place, 0 to 1.
    pub patchy: f64,
}

impl Default for Ink {
    /// A fine black marker.
    fn default() -> Self {
        Self {
            density: 0.92,
            colour: [0.035, 0.035, 0.04],
            soft_mm: 0.08,
            wobble: 1.0,
            patchy: 0.12,
        }
    }
}

impl Ink {
    /// A scriber's bright line through layout dye.
    #[must_use]
    pub fn scribed() -> Self {
        Self {
            density: 0.9,
            colour: [0.55, 0.55, 0.56],
            soft_mm: 0.04,
            wobble: 0.5,
            patchy: 0.25,
        }
    }

    /// A soft pencil.
    #[must_use]
    pub fn pencil() -> Self {
        Self {
            density: 0.6,
            colour: [0.14, 0.14, 0.15],
            soft_mm: 0.12,
            wobble: 1.0,
            patchy: 0.45,
        }
    }
}

/// A mark of some shape, in some ink.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// What it is.
    pub shape: Shape,
    /// How it lies.
    pub ink: Ink,
    /// Name of the hole it was made for, if any; carried to the truth.
    pub name: Option<String>,
}

/// How a ring closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RingStyle {
    /// Ends meet.
    Closed,
    /// A gap of some 25 degrees is left.
    Open,
    /// The end runs past the start by some 30 degrees.
    Overshooting,
}

/// What a mark is. Lengths in mm, angles in rad from x, anticlockwise.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A spot of ink whose centroid is at `at`.
    Dot {
        /// Its centroid.
        at: Point<Sheet>,
        /// Mean diameter.
        diameter_mm: f64,
    },
    /// A short stroke; its truth is where its axis crosses the nearest ruled line.
    Tick {
        /// Its middle.
        at: Point<Sheet>,
        /// Its direction.
        angle_rad: f64,
        /// Its length.
        length_mm: f64,
        /// Its width.
        width_mm: f64,
    },
    /// Two short strokes that cross at `at`.
    Cross {
        /// The crossing.
        at: Point<Sheet>,
        /// Direction of the first stroke; the second is square to it.
        angle_rad: f64,
        /// Length of each stroke.
        length_mm: f64,
        /// Width of the strokes.
        width_mm: f64,
    },
    /// A loop drawn round `at`.
    Ring {
        /// Its middle.
        at: Point<Sheet>,
        /// Mean diameter.
        diameter_mm: f64,
        /// Width of the stroke.
        width_mm: f64,
        /// How it closes.
        style: RingStyle,
    },
    /// A large X drawn over `at`.
    CrossOut {
        /// Its middle.
        at: Point<Sheet>,
        /// Length of each stroke.
        length_mm: f64,
        /// Width of the strokes.
        width_mm: f64,
    },
    /// A line along a rule.
    Line {
        /// Its start.
        from: Point<Sheet>,
        /// Its end.
        to: Point<Sheet>,
        /// Its width.
        width_mm: f64,
        /// Share of its length that the pen skipped, 0 to 1.
        broken: f64,
        /// How far its middle lies to the left of the straight line between its ends, mm: the rule was not straight, or
        /// the pen leaned another way as it went.
        bow_mm: f64,
    },
    /// A row of printed characters.
    Text {
        /// Lower left corner of the first character.
        at: Point<Sheet>,
        /// Direction of the row.
        angle_rad: f64,
        /// Height of a capital.
        height_mm: f64,
        /// Capitals, digits, `-`, `.`, `/` and spaces; others are skipped.
        text: String,
        /// Strokes (true) or separate dots (false).
        joined: bool,
    },
    /// A bright thin scratch.
    Scratch {
        /// Its start.
        from: Point<Sheet>,
        /// Its end.
        to: Point<Sheet>,
        /// Its width.
        width_mm: f64,
        /// Radiance over that of the face: above 1 bright, below 1 dark.
        gain: f64,
    },
    /// A curl of swarf, bright with its shadow.
    Swarf {
        /// Where it lies.
        at: Point<Sheet>,
        /// Its length.
        length_mm: f64,
    },
    /// A grain of dust or dirt.
    Dust {
        /// Where it lies.
        at: Point<Sheet>,
        /// Its diameter.
        diameter_mm: f64,
    },
    /// A fingerprint.
    Smudge {
        /// Its middle.
        at: Point<Sheet>,
        /// Its length; it is three quarters as wide.
        length_mm: f64,
        /// How much it changes the brightness, such as 0.1.
        strength: f64,
    },
    /// A faint stain without a rim: oil, water, coolant.
    Stain {
        /// Its middle.
        at: Point<Sheet>,
        /// Its mean diameter, to half of its fading edge.
        diameter_mm: f64,
        /// Radiance over that of the face in its middle, such as 0.92.
        gain: f64,
    },
    /// A centre punch's dimple.
    Dimple {
        /// Its axis.
        at: Point<Sheet>,
        /// Its diameter.
        diameter_mm: f64,
    },
    /// A drilled hole.
    Hole {
        /// Its centre.
        at: Point<Sheet>,
        /// Its diameter.
        diameter_mm: f64,
    },
}

impl Mark {
    /// A mark of this shape in ordinary ink.
    #[must_use]
    pub fn new(shape: Shape) -> Self {
        Self {
            shape,
            ink: Ink::default(),
            name: None,
        }
    }

    /// A dot of 0.8 mm.
    #[must_use]
    pub fn dot(x: f64, y: f64) -> Self {
        Self::new(Shape::Dot {
            at: Point::new(x, y),
            diameter_mm: 0.8,
        })
    }

    /// A tick of 4 x 0.45 mm along `angle_rad`.
    #[must_use]
    pub fn tick(x: f64, y: f64, angle_rad: f64) -> Self {
        Self::new(Shape::Tick {
            at: Point::new(x, y),
            angle_rad,
            length_mm: 4.0,
            width_mm: 0.45,
        })
    }

    /// A drilled hole.
    #[must_use]
    pub fn hole(x: f64, y: f64, diameter_mm: f64) -> Self {
        Self::new(Shape::Hole {
            at: Point::new(x, y),
            diameter_mm,
        })
    }

    /// A centre punch's dimple.
    #[must_use]
    pub fn dimple(x: f64, y: f64, diameter_mm: f64) -> Self {
        Self::new(Shape::Dimple {
            at: Point::new(x, y),
            diameter_mm,
        })
    }

    /// A plus of two strokes of 3 mm.
    #[must_use]
    pub fn cross(x: f64, y: f64, angle_rad: f64) -> Self {
        Self::new(Shape::Cross {
            at: Point::new(x, y),
            angle_rad,
            length_mm: 3.0,
            width_mm: 0.45,
        })
    }

    /// A closed ring of 7 mm.
    #[must_use]
    pub fn ring(x: f64, y: f64) -> Self {
        Self::new(Shape::Ring {
            at: Point::new(x, y),
            diameter_mm: 7.0,
            width_mm: 0.5,
            style: RingStyle::Closed,
        })
    }

    /// An X of two strokes of 7 mm.
    #[must_use]
    pub fn cross_out(x: f64, y: f64) -> Self {
        Self::new(Shape::CrossOut {
            at: Point::new(x, y),
            length_mm: 7.0,
            width_mm: 0.55,
        })
    }

    /// A ruled line of 0.5 mm.
    #[must_use]
    pub fn line(from: Point<Sheet>, to: Point<Sheet>) -> Self {
        Self::new(Shape::Line {
            from,
            to,
            width_mm: 0.5,
            broken: 0.0,
            bow_mm: 0.0,
        })
    }

    /// A faint grey row of printed characters, 4 mm high.
    #[must_use]
    pub fn stamp(x: f64, y: f64, angle_rad: f64, text: &str) -> Self {
        let mut mark = Self::new(Shape::Text {
            at: Point::new(x, y),
            angle_rad,
            height_mm: 4.0,
            text: text.to_owned(),
            joined: true,
        });
        mark.ink.density = 0.35;
        mark.ink.colour = [0.12, 0.13, 0.16];
        mark
    }

    /// A thin bright scratch.
    #[must_use]
    pub fn scratch(from: Point<Sheet>, to: Point<Sheet>) -> Self {
        Self::new(Shape::Scratch {
            from,
            to,
            width_mm: 0.08,
            gain: 1.5,
        })
    }

    /// The same mark, named for a hole.
    #[must_use]
    pub fn named(mut self, name: &str) -> Self {
        self.name = Some(name.to_owned());
        self
    }

    /// The same mark in this ink.
    #[must_use]
    pub fn inked(mut self, ink: Ink) -> Self {
        self.ink = ink;
        self
    }

    /// The same mark in ink of this density.
    #[must_use]
    pub fn dense(mut self, density: f64) -> Self {
        self.ink.density = density;
        self
    }

    /// The same mark with this diameter or length, mm.
    #[must_use]
    pub fn sized(mut self, size_mm: f64) -> Self {
        match &mut self.shape {
            Shape::Dot { diameter_mm, .. }
            | Shape::Ring { diameter_mm, .. }
            | Shape::Dust { diameter_mm, .. }
            | Shape::Stain { diameter_mm, .. }
            | Shape::Dimple { diameter_mm, .. }
            | Shape::Hole { diameter_mm, .. } => *diameter_mm = size_mm,
            Shape::Tick { length_mm, .. }
            | Shape::Cross { length_mm, .. }
            | Shape::CrossOut { length_mm, .. }
            | Shape::Swarf { length_mm, .. }
            | Shape::Smudge { length_mm, .. } => *length_mm = size_mm,
            Shape::Text { height_mm, .. } => *height_mm = size_mm,
            Shape::Line { .. } | Shape::Scratch { .. } => {}
        }
        self
    }

    /// Its nominal place: centre, middle or start.
    #[must_use]
    pub fn at(&self) -> Point<Sheet> {
        match &self.shape {
            Shape::Dot { at, .. }
            | Shape::Tick { at, .. }
            | Shape::Cross { at, .. }
            | Shape::Ring { at, .. }
            | Shape::CrossOut { at, .. }
            | Shape::Text { at, .. }
            | Shape::Swarf { at, .. }
            | Shape::Dust { at, .. }
            | Shape::Stain { at, .. }
            | Shape::Smudge { at, .. }
            | Shape::Dimple { at, .. }
            | Shape::Hole { at, .. } => *at,
            Shape::Line { from, .. } | Shape::Scratch { from, .. } => *from,
        }
    }

    /// Moves it by (dx, dy) mm.
    pub fn shift(&mut self, dx: f64, dy: f64) {
        let by = Vector2::new(dx, dy);
        match &mut self.shape {
            Shape::Dot { at, .. }
            | Shape::Tick { at, .. }
            | Shape::Cross { at, .. }
            | Shape::Ring { at, .. }
            | Shape::CrossOut { at, .. }
            | Shape::Text { at, .. }
            | Shape::Swarf { at, .. }
            | Shape::Dust { at, .. }
            | Shape::Stain { at, .. }
            | Shape::Smudge { at, .. }
            | Shape::Dimple { at, .. }
            | Shape::Hole { at, .. } => *at = *at + by,
            Shape::Line { from, to, .. } | Shape::Scratch { from, to, .. } => {
                *from = *from + by;
                *to = *to + by;
            }
        }
    }
}

/// A place on a ruled line at `t`, 0 at its start and 1 at its end, whose middle lies `bow_mm` to the left.
pub(super) fn on_line(from: Vector2<f64>, to: Vector2<f64>, bow_mm: f64, t: f64) -> Vector2<f64> {
    let way = to - from;
    let left = Vector2::new(-way.y, way.x) / way.norm().max(1e-6);
    from + way * t + left * (4.0 * bow_mm * t * (1.0 - t))
}

/// The straight pieces that a ruled line is drawn in: a bowed one strays less than 0.002 of its bow from them.
pub(super) fn line_pieces(bow_mm: f64) -> u32 {
    if bow_mm == 0.0 { 1 } else { 24 }
}
