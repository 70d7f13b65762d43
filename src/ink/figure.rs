//! Figures: what one hand drew in one place.
//!
//! Ruled lines are taken out first; what touches a line from both sides at the same place was one
//! stroke before, and is put together again.

use nalgebra::Vector2;

use super::lines::Line;
use super::picture::{LINE_BIT, Picture};
use crate::raster::components::{Component, components};

/// Smallest area of a piece, as the side of a square, mm: smaller is a speck.
const SPECK_MM: f64 = 0.16;
/// How near to a line's band a piece must come to touch it, px.
const TOUCH_PX: f64 = 1.8;
/// Feet on the two sides of a line belong together when they come this near along it, mm.
const FACING_MM: f64 = 0.2;
/// Feet on the same side of a line, such as the two arms of an X cut at its crossing, mm.
const BESIDE_MM: f64 = 0.45;

/// Where a figure meets a ruled line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Foot {
    /// The line's number.
    pub(super) line: usize,
    /// From where to where along the line, px.
    pub(super) span: [f64; 2],
    /// How far the figure reaches from the axis, px; its sign says to which side.
    pub(super) reach: f64,
}

/// One figure, in pixels of the flat picture.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    /// The middles of its pixels, those in a line's band left out.
    pub(super) points: Vec<Vector2<f64>>,
    /// Where it touches ruled lines.
    pub(super) feet: Vec<Foot>,
    /// Largest contrast of its core (the 90 % point).
    pub(super) contrast: f64,
}

impl Figure {
    fn weigh(&mut self, picture: &Picture) {
        let mut contrasts: Vec<f32> = self.points.iter().map(|&p| picture.contrast(p)).collect();
        contrasts.sort_by(f32::total_cmp);
        self.contrast = f64::from(contrasts[contrasts.len() * 9 / 10]);
    }

    /// Smallest x, smallest y, largest x, largest y of the pixels' middles.
    pub(super) fn bounds(&self) -> [f64; 4] {
        bounds(&self.points)
    }

    /// Middle of the bounds.
    pub(super) fn middle(&self) -> Vector2<f64> {
        let b = self.bounds();
        Vector2::new((b[0] + b[2]) / 2.0, (b[1] + b[3]) / 2.0)
    }

    /// Longer side of the bounds, px.
    pub(super) fn extent(&self) -> f64 {
        let b = self.bounds();
        (b[2] - b[0]).max(b[3] - b[1]) + 1.0
    }
}

/// Marks the bands of the lines in the picture's mask.
pub(super) fn take_out(picture: &mut Picture, lines: &[Line]) {
    for line in lines {
        let band = line.half + 0.6;
        let steps = (line.span[1] - line.span[0] + 4.0) * 2.0;
        for k in 0..=steps as i64 {
            let s = line.span[0] - 2.0 + k as f64 / 2.0;
            let mut t = -band;
            while t <= band {
                picture.set(line.point(s, t), LINE_BIT);
                t += 0.5;
            }
        }
    }
}

/// The figures, and how many specks were too small to be one.
pub(super) fn gather(picture: &Picture, lines: &[Line]) -> (Vec<Figure>, usize) {
    let smallest = (SPECK_MM * picture.scale).powi(2).max(4.0) as usize;
    let all = components(&picture.mask, picture.width as usize, 1, |v| {
        v & 1 != 0 && v & LINE_BIT == 0
    });
    let mut specks = 0;
    let mut pieces = Vec::new();
    for shape in all {
        let core = shape
            .runs
            .iter()
            .any(|r| (r.start..r.end).any(|x| picture.is_core(x, r.y)));
        let points: Vec<Vector2<f64>> = pixels(&shape).collect();
        let feet = feet(&points, lines);
        // A cap of a dot on a line may be small: it counts with its other side, below.
        if core && (shape.area >= smallest || !feet.is_empty()) {
            pieces.push((points, feet));
        } else {
            specks += usize::from(core);
        }
    }
    let mut figures = joined(picture, pieces);
    figures.retain(|f| {
        let enough = f.points.len() >= smallest;
        specks += usize::from(!enough);
        enough
    });
    (figures, specks)
}

/// The figures that these parts of one make.
pub(super) fn of_parts(
    picture: &Picture,
    lines: &[Line],
    parts: impl Iterator<Item = Vec<Vector2<f64>>>,
) -> Vec<Figure> {
    let pieces = parts.map(|points| {
        let feet = feet(&points, lines);
        (points, feet)
    });
    joined(picture, pieces.collect())
}

/// Pieces that a ruled line cut apart are one figure again.
fn joined(picture: &Picture, pieces: Vec<(Vec<Vector2<f64>>, Vec<Foot>)>) -> Vec<Figure> {
    let mut group: Vec<usize> = (0..pieces.len()).collect();
    for i in 0..pieces.len() {
        for j in 0..i {
            if together(picture.scale, &pieces[i].1, &pieces[j].1) {
                let (a, b) = (top(&group, i), top(&group, j));
                group[a.max(b)] = a.min(b);
            }
        }
    }
    let mut figures: Vec<(usize, Figure)> = Vec::new();
    for (i, (points, feet)) in pieces.into_iter().enumerate() {
        let owner = top(&group, i);
        match figures.iter_mut().find(|(o, _)| *o == owner) {
            Some((_, f)) => {
                f.points.extend(points);
                f.feet.extend(feet);
            }
            None => figures.push((
                owner,
                Figure {
                    points,
                    feet,
                    contrast: 0.0,
                },
            )),
        }
    }
    let mut figures: Vec<Figure> = figures.into_iter().map(|(_, f)| f).collect();
    for f in &mut figures {
        f.weigh(picture);
    }
    figures
}

/// The middles of a shape's pixels.
pub(super) fn pixels(shape: &Component) -> impl Iterator<Item = Vector2<f64>> + '_ {
    shape.runs.iter().flat_map(|r| {
        (r.start..r.end).map(|x| Vector2::new(f64::from(x) + 0.5, f64::from(r.y) + 0.5))
    })
}

/// The first of the group that `i` is in, each number but a first one leading to a smaller one of its group.
pub(super) fn top(group: &[usize], mut i: usize) -> usize {
    while group[i] != i {
        i = group[i];
    }
    i
}

fn together(scale: f64, a: &[Foot], b: &[Foot]) -> bool {
    a.iter().any(|f| {
        b.iter().any(|g| {
            let gap = (f.span[0] - g.span[1]).max(g.span[0] - f.span[1]);
            let facing = f.reach * g.reach < 0.0;
            f.line == g.line && gap <= if facing { FACING_MM } else { BESIDE_MM } * scale
        })
    })
}

/// The feet of a shape: for each line and side, the stretches of the line that it touches.
fn feet(points: &[Vector2<f64>], lines: &[Line]) -> Vec<Foot> {
    let mut out = Vec::new();
    let b = bounds(points);
    for (number, line) in lines.iter().enumerate() {
        let band = line.half + 0.6 + TOUCH_PX;
        let corners = [(b[0], b[1]), (b[2], b[1]), (b[0], b[3]), (b[2], b[3])]
            .map(|(x, y)| line.local(Vector2::new(x, y)));
        let nearest = corners.iter().map(|c| c.1).fold(f64::MAX, f64::min);
        let furthest = corners.iter().map(|c| c.1).fold(f64::MIN, f64::max);
        if nearest > band || furthest < -band {
            continue;
        }
        for side in [-1.0, 1.0] {
            let mut touched: Vec<f64> = Vec::new();
            let mut reach = 0.0f64;
            for &p in points {
                let (s, t) = line.local(p);
                if s < line.span[0] - 2.0 || s > line.span[1] + 2.0 || t * side <= 0.0 {
                    continue;
                }
                reach = reach.max(t * side);
                if t * side <= band {
                    touched.push(s);
                }
            }
            touched.sort_by(f64::total_cmp);
            for stretch in touched.chunk_by(|a, b| b - a <= 2.5) {
                out.push(Foot {
                    line: number,
                    span: [stretch[0], stretch[stretch.len() - 1]],
                    reach: reach * side,
                });
            }
        }
    }
    out
}

/// Smallest x, smallest y, largest x, largest y of the pixels' middles.
fn bounds(points: &[Vector2<f64>]) -> [f64; 4] {
    points
        .iter()
        .fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
            [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
        })
}
