//! Lines and arcs of a drawing, what they close to, and which of it is the sheet.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Ends nearer than this are one, mm: programs round what they write, and no sheet has a gap like this.
const SNAP_MM: f64 = 0.01;
/// Sides this near to upright are upright, mm.
const SQUARE_MM: f64 = 0.01;
/// Straight parts that an arc is taken for where only its inside is asked for.
const PARTS: usize = 16;
/// Largest worked corner (fillet, chamfer, notch) of a piece that is still a rectangle, as a share of its short side:
/// with more of it gone there is no side left to measure from.
const CORNER: f64 = 0.25;

/// A line or a circular arc, mm.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
    /// Tangent of a quarter of the angle that it turns, counter-clockwise; 0 for a line.
    pub(super) bulge: f64,
}

impl Stroke {
    fn reversed(self) -> Self {
        Self {
            from: self.to,
            to: self.from,
            bulge: -self.bulge,
        }
    }

    /// Centre and radius of an arc.
    fn circle(&self) -> Option<([f64; 2], f64)> {
        if self.bulge == 0.0 {
            return None;
        }
        let [ax, ay] = self.from;
        let [dx, dy] = [self.to[0] - ax, self.to[1] - ay];
        // From the middle of the chord to the centre, as a share of the chord, to the left of it.
        let off = (1.0 - self.bulge * self.bulge) / (4.0 * self.bulge);
        let centre = [ax + dx / 2.0 - dy * off, ay + dy / 2.0 + dx * off];
        Some((centre, apart(centre, self.from)))
    }

    /// Points along it without the last.
    fn points(&self) -> Vec<[f64; 2]> {
        let Some((c, _)) = self.circle() else {
            return vec![self.from];
        };
        let turn = 4.0 * self.bulge.atan();
        let [x, y] = [self.from[0] - c[0], self.from[1] - c[1]];
        (0..PARTS)
            .map(|i| {
                let (sin, cos) = (turn * i as f64 / PARTS as f64).sin_cos();
                [c[0] + cos * x - sin * y, c[1] + sin * x + cos * y]
            })
            .collect()
    }
}

pub(super) fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// A closed line and the layer it lies on.
#[derive(Debug)]
pub(super) struct Contour {
    pub(super) layer: String,
    strokes: Vec<Stroke>,
    points: Vec<[f64; 2]>,
    pub(super) low: [f64; 2],
    pub(super) high: [f64; 2],
}

impl Contour {
    /// `None` if it does not close, or goes through no place.
    pub(super) fn of(layer: &str, strokes: Vec<Stroke>) -> Option<Self> {
        let next = strokes.iter().skip(1).chain(strokes.first());
        if !strokes
            .iter()
            .zip(next)
            .all(|(a, b)| apart(a.to, b.from) <= SNAP_MM)
        {
            return None;
        }
        let points: Vec<[f64; 2]> = strokes.iter().flat_map(Stroke::points).collect();
        if points.is_empty() || !points.iter().flatten().all(|v| v.is_finite()) {
            return None;
        }
        let fold =
            |k: usize, f: fn(f64, f64) -> f64| points.iter().map(|p| p[k]).fold(points[0][k], f);
        Some(Self {
            layer: layer.to_owned(),
            low: [fold(0, f64::min), fold(1, f64::min)],
            high: [fold(0, f64::max), fold(1, f64::max)],
            strokes,
            points,
        })
    }

    /// Centre and diameter, where it is a circle in arcs.
    pub(super) fn circle(&self) -> Option<([f64; 2], f64)> {
        let (centre, radius) = self.strokes.first()?.circle()?;
        let mut turn = 0.0;
        for stroke in &self.strokes {
            let (c, r) = stroke.circle()?;
            if apart(c, centre) > SNAP_MM || (r - radius).abs() > SNAP_MM {
                return None;
            }
            turn += 4.0 * stroke.bulge.atan();
        }
        ((turn.abs() - TAU).abs() < 1e-3).then_some((centre, 2.0 * radius))
    }

    pub(super) fn size(&self) -> [f64; 2] {
        [self.high[0] - self.low[0], self.high[1] - self.low[1]]
    }

    pub(super) fn points(&self) -> usize {
        self.points.len()
    }

    pub(super) fn box_area(&self) -> f64 {
        self.size()[0] * self.size()[1]
    }

    /// Whether a place is inside it or on it.
    pub(super) fn holds(&self, at: [f64; 2]) -> bool {
        let mut inside = false;
        for (i, a) in self.points.iter().enumerate() {
            let b = self.points[(i + 1) % self.points.len()];
            if (a[1] > at[1]) != (b[1] > at[1]) {
                let x = a[0] + (at[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                inside ^= at[0] < x;
            }
        }
        inside
    }

    /// Whether both are one rectangle, drawn twice.
    pub(super) fn is_same(&self, other: &Self) -> bool {
        apart(self.low, other.low) < SQUARE_MM && apart(self.high, other.high) < SQUARE_MM
    }

    /// What kind of sheet it is: an upright rectangle, one with worked corners, or none.
    pub(super) fn shape(&self) -> Shape {
        let size = self.size();
        let short = size[0].min(size[1]);
        if short < SQUARE_MM {
            return Shape::Other;
        }
        let mut worked: f64 = 0.0;
        // Each place along it: on a side of the box, or within a corner.
        for p in &self.points {
            let off = |k: usize| (p[k] - self.low[k]).min(self.high[k] - p[k]);
            let (x, y) = (off(0), off(1));
            if x.min(y) > SQUARE_MM {
                worked = worked.max(x.max(y));
            }
        }
        // And each straight part keeps to a side, or cuts a corner.
        for s in self.strokes.iter().filter(|s| s.bulge == 0.0) {
            let along = (0..2).any(|k| {
                let on =
                    |v: f64| (s.from[k] - v).abs() < SQUARE_MM && (s.to[k] - v).abs() < SQUARE_MM;
                on(self.low[k]) || on(self.high[k])
            });
            if !along {
                worked = worked.max(apart(s.from, s.to));
            }
        }
        // Its corners must be there: a triangle has three of them on the box too.
        let bare = self.corners_missing();
        if worked == 0.0 && bare == 0 {
            Shape::Rectangle
        } else if worked > 0.0 && worked <= CORNER * short {
            Shape::Worked(worked)
        } else {
            Shape::Other
        }
    }

    fn corners_missing(&self) -> usize {
        let [x, y] = [[self.low[0], self.high[0]], [self.low[1], self.high[1]]];
        let corners = [[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]];
        let there = |c: &[f64; 2]| self.points.iter().any(|p| apart(*p, *c) <= 2.0 * SQUARE_MM);
        corners.iter().filter(|c| !there(c)).count()
    }
}

/// What a contour is as a sheet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shape {
    /// An upright rectangle.
    Rectangle,
    /// One with rounded, cut or notched corners, the largest so long, mm.
    Worked(f64),
    /// Anything else.
    Other,
}

/// Strokes of one layer joined where their ends meet. Given back are the loops, and how many strokes are in none: those
/// that end free, and those that meet more than one other.
pub(super) fn joined(strokes: &[Stroke]) -> (Vec<Vec<Stroke>>, usize) {
    // Ends by cells of the snap; a neighbour may lie in the next cell.
    let cell = |p: [f64; 2]| p.map(|v| (v / SNAP_MM).floor() as i64);
    let mut ends: BTreeMap<[i64; 2], Vec<(usize, bool)>> = BTreeMap::new();
    for (i, s) in strokes.iter().enumerate() {
        ends.entry(cell(s.from)).or_default().push((i, true));
        ends.entry(cell(s.to)).or_default().push((i, false));
    }
    let place = |(i, begin): (usize, bool)| {
        if begin {
            strokes[i].from
        } else {
            strokes[i].to
        }
    };
    // The one other end that meets this one.
    let partner = |end: (usize, bool)| -> Option<(usize, bool)> {
        let at = place(end);
        let [x, y] = cell(at);
        let mut met = None;
        for cx in x - 1..=x + 1 {
            for cy in y - 1..=y + 1 {
                // A crowd at one place is no outline, and would take long.
                let here = ends.get(&[cx, cy]).map_or(&[][..], Vec::as_slice);
                for &other in here.iter().take(8) {
                    if other != end && apart(place(other), at) <= SNAP_MM {
                        if met.is_some() {
                            return None;
                        }
                        met = Some(other);
                    }
                }
            }
        }
        met
    };
    // A chain that ends free has no part in a loop: an end that meets the loop too would meet two, and so none.
    let mut used = vec![false; strokes.len()];
    let mut loops = Vec::new();
    for start in 0..strokes.len() {
        if std::mem::replace(&mut used[start], true) {
            continue;
        }
        let mut path = vec![strokes[start]];
        let mut end = (start, false);
        let closed = loop {
            let Some((next, begin)) = partner(end) else {
                break false;
            };
            if next == start {
                break begin;
            }
            if std::mem::replace(&mut used[next], true) {
                break false;
            }
            let s = strokes[next];
            path.push(if begin { s } else { s.reversed() });
            end = (next, !begin);
        };
        if closed {
            loops.push(path);
        }
    }
    let in_loops: usize = loops.iter().map(Vec::len).sum();
    let left = strokes.len() - in_loops;
    (loops, left)
}
