//! Roughly where the sheet lies: the rectangle of the planned size among the straight edges of the
//! photo, as they lie on the face.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::channel::Channel;
use super::contrast::{Contrast, MIN_STEP};
use super::lines::{DrawnLine, lines, near_mm, proposed};
use super::segments::{self, Segment};
use super::{Look, SheetError};
use crate::frame::{Face, Pixel, Point};
use crate::survey::Survey;

/// The four sides of a rectangle on the face: corners in order lower left, lower right, upper right,
/// upper left of *one* way to lay the planned sheet into it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rectangle {
    pub(super) corners: [Point<Face>; 4],
}

impl Rectangle {
    /// The same rectangle with the plan's lower left corner at the opposite corner.
    pub(super) fn turned(&self, quarter_turns: usize) -> Self {
        let c = self.corners;
        Self {
            corners: [0, 1, 2, 3].map(|i| c[(i + quarter_turns) % 4]),
        }
    }

    /// Direction of the plan's x axis.
    pub(super) fn x_axis(&self) -> Vector2<f64> {
        (self.corners[1] - self.corners[0]).normalize()
    }
}

/// Rectangles that are looked at closely.
const MAX_RECTANGLES: usize = 80;
/// Shortest drawn length of a line, mm and share of the sheet's shorter side.
const MIN_DRAWN_MM: f64 = 12.0;
const MIN_DRAWN_SHARE: f64 = 0.3;
/// Opposite sides may lean to each other, and neighbours from square, by this much, rad, when the survey
/// is good; a survey from one small card may lean more.
const LEAN: f64 = 0.012;
/// A rectangle whose sides part two brightnesses is so much likelier to be the sheet, against the share of
/// its outline that shows; and so much again by the side that parts them least.
const STEP_SAYS: f64 = 0.6;
const LEAST_SAYS: f64 = 0.3;
/// Least mean of [`contrast::Contrast::step`]: 6 % of the brightness. A sheet on a bench of its own grey
/// cannot be told from lines drawn on it, and a wrong datum is worse than none.
const LEAST_STEP: f64 = 0.2;
/// Triples of lines whose fourth side is looked for in the photo itself.
const MAX_TRIPLES: usize = 60;
/// A side found by its step alone counts this much of one that is drawn.
const SWEPT: f64 = 0.7;
/// A side with less than this share of it in the photo is out of the picture.
const MIN_IN_PHOTO: f64 = 0.2;
/// However poor the survey, no outline this much off is taken for the sheet, mm.
const MAX_DOUBT_MM: f64 = 15.0;
/// A side must show this share of what of it lies in the photo.
const MIN_SHOWN: f64 = 0.4;
/// How far a cut sheet may be from its planned size, share and mm: a sheet cut worse than this is
/// another sheet, or the scale is wrong.
const SIZE_SHARE: f64 = 0.012;
const SIZE_MM: f64 = 1.5;
/// When nothing of the planned size is there, this share more is tried, to say that the scale looks
/// wrong.
const WIDE_SHARE: f64 = 0.09;

/// The rectangle of `size` (width, height, mm) that shows best in these `channels`.
pub(super) fn rectangle(
    channels: &[Channel],
    looks: &[Look],
    survey: &Survey,
    size: [f64; 2],
) -> Result<Rectangle, SheetError> {
    let shortest = MIN_DRAWN_MM
        .max(MIN_DRAWN_SHARE * size[0].min(size[1]))
        .min(60.0);
    let contrast = Contrast { looks, channels };
    let near_mm = near_mm(looks.len());
    let drawn = channels
        .iter()
        .flat_map(|&channel| {
            let seen = |look: &Look| Some(segments::on_face(look, look.plane(channel)?));
            let segments: Vec<Segment> = looks.iter().filter_map(seen).flatten().collect();
            proposed(&segments, shortest, near_mm)
        })
        .collect();
    let lines = lines(drawn, &contrast);
    let doubts = lines.par_iter().map(|l| doubt(survey, looks, l)).collect();
    let search = Search {
        lines: &lines,
        doubts,
        contrast,
        size,
    };
    if let Some(r) = search.best(SIZE_SHARE, SIZE_MM) {
        return Ok(r);
    }
    let planned_mm = size;
    match search.best(WIDE_SHARE, 0.0) {
        Some(r) => {
            let side = |i: usize, j: usize| r.corners[i].distance(r.corners[j]);
            let measured_mm = [
                (side(0, 1) + side(3, 2)) / 2.0,
                (side(0, 3) + side(1, 2)) / 2.0,
            ];
            // Printed at another scale, both sides are off by the same share.
            let ratio = [measured_mm[0] / size[0], measured_mm[1] / size[1]];
            if (ratio[0] - ratio[1]).abs() < 0.01 {
                Err(SheetError::OtherSize {
                    measured_mm,
                    planned_mm,
                })
            } else {
                Err(SheetError::NotFound { planned_mm })
            }
        }
        None => Err(SheetError::NotFound { planned_mm }),
    }
}

/// Whether `p` lies in the outline, made wider by `margin` px.
pub(super) fn inside(outline: &[Point<Pixel>; 4], p: Point<Pixel>, margin: f64) -> bool {
    (0..4).all(|i| {
        let side = outline[(i + 1) % 4] - outline[i];
        side.perp(&(p - outline[i])) >= -margin * side.norm()
    })
}

/// How far the survey may be off at a line's ends, three standard deviations, mm. An unsaid print scale,
/// which makes everything larger or smaller alike, is in it too.
fn doubt(survey: &Survey, looks: &[Look], line: &DrawnLine) -> f64 {
    let ends = [line.cells.first(), line.cells.last()]
        .into_iter()
        .flatten();
    ends.map(|&s| {
        let at = Point::at(line.normal * line.offset + line.along() * f64::from(s));
        let photo = looks.iter().position(|l| l.pixel(at, 0.0).is_some());
        let photo = photo.unwrap_or(0);
        let seen = looks[photo]
            .view
            .pixel_from_face(at)
            .and_then(|p| survey.face_point(photo, p, nalgebra::Matrix2::zeros()));
        seen.map_or(MAX_DOUBT_MM, |(_, c)| {
            3.0 * c.symmetric_eigenvalues().max().max(0.0).sqrt()
        })
    })
    .fold(0.0, f64::max)
    .min(MAX_DOUBT_MM)
}

/// The search for four lines that bound the sheet.
struct Search<'a> {
    lines: &'a [DrawnLine],
    /// How far the survey may be off at each line, mm.
    doubts: Vec<f64>,
    contrast: Contrast<'a>,
    size: [f64; 2],
}

/// One side of a rectangle: a drawn line, or one that only its step in the photo shows.
#[derive(Clone, Copy)]
enum Side {
    Drawn(usize),
    Swept(f64),
}

fn highest(scored: Vec<(f64, Rectangle)>) -> Option<Rectangle> {
    let better = |best: Option<(f64, Rectangle)>, s: (f64, Rectangle)| match best {
        Some(b) if b.0 >= s.0 => Some(b),
        _ => Some(s),
    };
    scored.into_iter().fold(None, better).map(|(_, r)| r)
}

impl Search<'_> {
    fn best(&self, share: f64, slack_mm: f64) -> Option<Rectangle> {
        let across = self.pairs(self.size[0], share, slack_mm);
        let up = self.pairs(self.size[1], share, slack_mm);
        let mut found: Vec<(f64, Rectangle, [Side; 4])> = Vec::new();
        // Each pair once across: the other way round is the same rectangle turned.
        for &[a, b] in across.iter().filter(|[a, b]| a < b) {
            for &[c, d] in &up {
                let lines = [a, b, c, d].map(|i| &self.lines[i]);
                let doubt = self.doubt_of(&[a, b, c, d]);
                if let Some(r) = self.laid(lines, doubt, share, slack_mm) {
                    let sides = [c, b, d, a].map(Side::Drawn);
                    if let Some(shown) = self.shown(&r, &sides) {
                        found.push((shown, r, sides));
                    }
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.truncate(4 * MAX_RECTANGLES);
        found.extend(self.triples(&across, &up, share, slack_mm));
        let scored: Vec<(f64, Rectangle)> = found
            .into_par_iter()
            .filter_map(|(_, r, sides)| Some((self.score(&r, &sides)?, r)))
            .collect();
        highest(scored).or_else(|| highest(self.doubles(&across, &up, share, slack_mm)))
    }

    /// Rectangles of two drawn sides, whose ends no photo shows: where between them the sheet lies stays open.
    fn doubles(
        &self,
        across: &[[usize; 2]],
        up: &[[usize; 2]],
        share: f64,
        slack_mm: f64,
    ) -> Vec<(f64, Rectangle)> {
        let mut found = Vec::new();
        for (pairs, upright) in [(across, true), (up, false)] {
            let long = self.size[usize::from(upright)];
            for &[a, b] in pairs.iter().filter(|[a, b]| a < b) {
                let (p, q) = (&self.lines[a], &self.lines[b]);
                let way = p.along();
                let reach = |l: &DrawnLine| {
                    let at = |s: &i32| (l.normal * l.offset + l.along() * f64::from(*s)).dot(&way);
                    [at(&l.cells[0]), at(&l.cells[l.cells.len() - 1])]
                };
                let ends = [reach(p), reach(q)].concat();
                let (low, high) = ends
                    .iter()
                    .fold((f64::MAX, f64::MIN), |(l, h), &e| (l.min(e), h.max(e)));
                let doubt = self.doubt_of(&[a, b]);
                for hand in [-0.5, 0.5] {
                    let end = |by: f64| DrawnLine {
                        normal: way,
                        offset: (low + high) / 2.0 + by * long,
                        cells: Vec::new(),
                        excess: 0.0,
                        step: 0.0,
                    };
                    let (c, d) = (&end(hand), &end(-hand));
                    let (lines, sides) = if upright {
                        ([p, q, c, d], [None, Some(b), None, Some(a)])
                    } else {
                        ([c, d, p, q], [Some(a), None, Some(b), None])
                    };
                    let Some(r) = self.laid(lines, doubt, share, slack_mm) else {
                        continue;
                    };
                    let out_of_sight = (0..4).filter(|&i| sides[i].is_none()).all(|i| {
                        let [from, to] = [i, (i + 1) % 4].map(|k| r.corners[k].vec());
                        self.contrast.in_photo(from, to) < MIN_IN_PHOTO
                    });
                    let sides = sides.map(|s| s.map_or(Side::Swept(0.0), Side::Drawn));
                    if out_of_sight && let Some(score) = self.score(&r, &sides) {
                        found.push((score, r));
                    }
                }
            }
        }
        found
    }

    /// Rectangles of three drawn sides, whose fourth is where the photo steps most near its planned place,
    /// or out of the picture.
    fn triples(
        &self,
        across: &[[usize; 2]],
        up: &[[usize; 2]],
        share: f64,
        slack_mm: f64,
    ) -> Vec<(f64, Rectangle, [Side; 4])> {
        let mut found: Vec<(f64, Rectangle, [Side; 4], usize, f64)> = Vec::new();
        for (pairs, upright) in [(across, true), (up, false)] {
            let apart = self.size[usize::from(upright)];
            for &[a, b] in pairs.iter().filter(|[a, b]| a < b) {
                let square_to = |c: &usize| {
                    let l = &self.lines[*c];
                    l.normal.dot(&self.lines[a].normal).abs() < 0.2 && l.step >= MIN_STEP
                };
                for c in (0..self.lines.len()).filter(square_to) {
                    let doubt = self.doubt_of(&[a, b, c]);
                    let drawn = &self.lines[c];
                    for shift in [-apart, apart] {
                        let fourth = DrawnLine {
                            normal: drawn.normal,
                            offset: drawn.offset + shift,
                            cells: Vec::new(),
                            excess: 0.0,
                            step: 0.0,
                        };
                        let (p, q) = (&self.lines[a], &self.lines[b]);
                        // Place of the missing side in the order bottom, right, top, left.
                        for first in [true, false] {
                            let (lines, sides, missing) = match (upright, first) {
                                (true, true) => {
                                    ([p, q, &fourth, drawn], [None, Some(b), Some(c), Some(a)], 0)
                                }
                                (true, false) => {
                                    ([p, q, drawn, &fourth], [Some(c), Some(b), None, Some(a)], 2)
                                }
                                (false, true) => {
                                    ([&fourth, drawn, p, q], [Some(a), Some(c), Some(b), None], 3)
                                }
                                (false, false) => {
                                    ([drawn, &fourth, p, q], [Some(a), None, Some(b), Some(c)], 1)
                                }
                            };
                            let Some(r) = self.laid(lines, doubt, share, slack_mm) else {
                                continue;
                            };
                            let sides = sides.map(|s| s.map_or(Side::Swept(0.0), Side::Drawn));
                            if let Some(shown) = self.shown(&r, &sides) {
                                found.push((shown, r, sides, missing, doubt));
                            }
                        }
                    }
                }
            }
        }
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        found.truncate(MAX_TRIPLES);
        found
            .into_par_iter()
            .filter_map(|(shown, mut r, mut sides, missing, doubt)| {
                let (i, j) = (missing, (missing + 1) % 4);
                let (a, b) = (r.corners[i].vec(), r.corners[j].vec());
                let reach = share * self.size[(missing + 1) % 2] + slack_mm + doubt;
                if self.contrast.in_photo(a, b) >= MIN_IN_PHOTO {
                    let swept = self.contrast.sweep(a, b, reach, self.lean(doubt))?;
                    // The ends move along the neighbouring sides.
                    let along =
                        |from: usize, to: usize| (r.corners[from] - r.corners[to]).normalize();
                    let (u, v) = (along(i, (i + 3) % 4), along(j, (j + 1) % 4));
                    r.corners[i] = Point::at(a + u * swept.out[0]);
                    r.corners[j] = Point::at(b + v * swept.out[1]);
                    sides[missing] = Side::Swept(swept.share);
                }
                Some((shown, r, sides))
            })
            .collect()
    }

    /// Share of the outline that is drawn, wherever the photo ends; `None` when a side hardly is. A side that
    /// is only swept counts for nothing.
    fn shown(&self, r: &Rectangle, sides: &[Side; 4]) -> Option<f64> {
        let mut sum = 0.0;
        for (i, side) in sides.iter().enumerate() {
            let &Side::Drawn(line) = side else { continue };
            let line = &self.lines[line];
            if line.step < 0.5 * MIN_STEP {
                return None;
            }
            let (a, b) = (r.corners[i].vec(), r.corners[(i + 1) % 4].vec());
            let n = ((b - a).norm() / 2.0).ceil().max(4.0) as usize;
            let shown = line.shown(a, b, &vec![true; n]);
            if shown < 0.5 * MIN_SHOWN {
                return None;
            }
            sum += (shown + STEP_SAYS * line.step) / 4.0;
        }
        Some(sum)
    }

    fn doubt_of(&self, lines: &[usize]) -> f64 {
        lines.iter().map(|&i| self.doubts[i]).fold(0.0, f64::max)
    }

    fn lean(&self, doubt: f64) -> f64 {
        LEAN + 2.0 * doubt / self.size[0].min(self.size[1])
    }

    /// Pairs of nearly parallel lines about `wanted` apart: left and right, or bottom and top, in either order.
    fn pairs(&self, wanted: f64, share: f64, slack_mm: f64) -> Vec<[usize; 2]> {
        let mut out = Vec::new();
        for (i, a) in self.lines.iter().enumerate() {
            for (j, b) in self.lines.iter().enumerate() {
                if i == j || a.normal.perp(&b.normal).abs() > 0.2 {
                    continue;
                }
                let apart = [
                    (a.normal.dot(&b.middle()) - a.offset).abs(),
                    (b.normal.dot(&a.middle()) - b.offset).abs(),
                ];
                let doubt = self.doubts[i].max(self.doubts[j]);
                let near = apart
                    .iter()
                    .any(|d| (d - wanted).abs() < share * wanted + slack_mm + doubt);
                if near && a.normal.perp(&b.normal).abs() < self.lean(doubt) {
                    out.push([i, j]);
                }
            }
        }
        out
    }

    /// The rectangle of left, right, bottom and top, in the anticlockwise sense only.
    fn laid(
        &self,
        [left, right, bottom, top]: [&DrawnLine; 4],
        doubt: f64,
        share: f64,
        slack_mm: f64,
    ) -> Option<Rectangle> {
        let corners = [
            bottom.meet(left)?,
            bottom.meet(right)?,
            top.meet(right)?,
            top.meet(left)?,
        ];
        let side = |i: usize| corners[(i + 1) % 4] - corners[i];
        for i in 0..4 {
            let wanted = self.size[i % 2];
            if (side(i).norm() - wanted).abs() > share * wanted + slack_mm + 1.4 * doubt {
                return None;
            }
            let next = side((i + 1) % 4);
            let sine = side(i).perp(&next) / (side(i).norm() * next.norm());
            let cosine = side(i).dot(&next) / (side(i).norm() * next.norm());
            if sine < 0.0 || cosine.abs() > self.lean(doubt) {
                return None;
            }
        }
        Some(Rectangle {
            corners: corners.map(Point::at),
        })
    }

    /// How well the sides show and how near they are to the planned size; `None` when one that should show
    /// does not, or parts nothing from nothing: a mat's grid, a ruled line. The sides come in the order
    /// bottom, right, top, left.
    fn score(&self, r: &Rectangle, sides: &[Side; 4]) -> Option<f64> {
        let (mut total, mut weight, mut doubt) = (0.0, 0.0, 0.0f64);
        let mut steps: Vec<f64> = Vec::new();
        for (i, &side) in sides.iter().enumerate() {
            let (a, b) = (r.corners[i].vec(), r.corners[(i + 1) % 4].vec());
            let length = (b - a).norm();
            let visible = self.contrast.visible(a, b);
            let seen = visible.iter().filter(|v| **v).count() as f64 / visible.len() as f64;
            weight += length;
            let shown = match side {
                Side::Drawn(line) => {
                    doubt = doubt.max(self.doubts[line]);
                    self.lines[line].shown(a, b, &visible)
                }
                Side::Swept(_) if seen < MIN_IN_PHOTO => continue,
                Side::Swept(share) => SWEPT * share,
            };
            if seen < MIN_IN_PHOTO {
                return None;
            }
            let step = self.contrast.step(a, b)?;
            // Noise breaks what is drawn; two sides that differ all along show the side as well.
            let shown = shown.max(SWEPT * step);
            if shown < MIN_SHOWN {
                return None;
            }
            if step < MIN_STEP {
                return None;
            }
            steps.push(step);
            total += shown * seen * length;
        }
        let mean = steps.iter().sum::<f64>() / steps.len() as f64;
        let least = steps.iter().copied().fold(1.0, f64::min);
        if mean < LEAST_STEP {
            return None;
        }
        let off: f64 = (0..4)
            .map(|i| {
                let side = r.corners[i].distance(r.corners[(i + 1) % 4]) - self.size[i % 2];
                (side / (0.8 + 0.002 * self.size[i % 2] + doubt))
                    .powi(2)
                    .min(9.0)
            })
            .sum();
        // Sheets are cut to size as a rule: among outlines that show as well, the one of the planned size.
        Some(total / weight - 0.02 * off + STEP_SAYS * mean + LEAST_SAYS * least)
    }
}
