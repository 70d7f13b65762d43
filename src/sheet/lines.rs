//! The straight lines that segments draw on the face.

use nalgebra::Vector2;
use rayon::prelude::*;

use super::contrast::Contrast;
use super::segments::Segment;

/// Segments join one line within this, mm.
const NEAR_MM: f64 = 0.7;
/// Photos joined by cards alone do not quite lie in line: for each more, so much more, mm, up to the limit.
const MORE_NEAR_MM: f64 = 0.25;
const MOST_NEAR_MM: f64 = 1.5;
/// Directions of a segment and of its line differ by less than this, rad, and more for short segments.
const SAME_WAY: f64 = 0.025;
/// Grain and print hold many segments: only what a line holds more than the bands beside it, this far out,
/// counts.
const BESIDE_MM: f64 = 1.8;
/// Of two lines that are one edge, dark from bright one way and the other, this share may be drawn by both at most: a
/// ruled line is drawn so all along.
const MOST_DOUBLED: f64 = 0.3;
/// Middles of two lines this far apart, mm, tell how both together run.
const APART_MM: f64 = 40.0;
/// Lines that are looked at in each sector of directions (grain fills one with lines, the sheet's other sides
/// lie in another), and sectors of a whole turn.
const MAX_LINES: usize = 36;
const SECTORS: f64 = 24.0;
/// Segments of a sector that may propose a line.
const MAX_SEEDS: usize = 110;

/// A straight line drawn by segments.
pub(super) struct DrawnLine {
    /// Unit normal and offset: points p with normal . p = offset.
    pub(super) normal: Vector2<f64>,
    pub(super) offset: f64,
    /// Millimetre cells along it that are drawn, sorted; along is the normal turned a quarter clockwise.
    pub(super) cells: Vec<i32>,
    /// Length of the segments on it less those beside it, mm.
    pub(super) excess: f64,
    /// How far it parts two brightnesses, see [`Contrast::step`].
    pub(super) step: f64,
}

impl DrawnLine {
    pub(super) fn along(&self) -> Vector2<f64> {
        Vector2::new(self.normal.y, -self.normal.x)
    }

    /// A point amid what is drawn.
    pub(super) fn middle(&self) -> Vector2<f64> {
        self.normal * self.offset + self.along() * f64::from(self.cells[self.cells.len() / 2])
    }

    /// This line and one that goes on where it ends, but parts dark from bright the other way; `None` if that is not so.
    /// An edge of bare metal on a white bench is drawn so: the metal mirrors the room, here brighter and there darker
    /// than the bench.
    fn with_opposite(&self, other: &Self) -> Option<Self> {
        if (self.normal + other.normal).norm() > SAME_WAY {
            return None;
        }
        let off = |a: &Self, b: &Self| (a.normal.dot(&b.middle()) - a.offset).abs();
        if off(self, other).max(off(other, self)) > 2.0 * NEAR_MM {
            return None;
        }
        // The other's cells run the other way.
        let mut cells: Vec<i32> = other.cells.iter().map(|c| -c - 1).collect();
        let doubled = cells
            .iter()
            .filter(|&c| self.cells.binary_search(c).is_ok())
            .count();
        if doubled as f64 > MOST_DOUBLED * self.cells.len().min(cells.len()) as f64 {
            return None;
        }
        cells.extend_from_slice(&self.cells);
        cells.sort_unstable();
        cells.dedup();
        // Through both where they lie apart, else as the longer one runs.
        let (a, b) = (self.middle(), other.middle());
        let (longer, shorter) = (self.excess, other.excess);
        let apart = b - a;
        let normal = if apart.norm() > APART_MM {
            let across = Vector2::new(-apart.y, apart.x).normalize();
            if across.dot(&self.normal) < 0.0 {
                -across
            } else {
                across
            }
        } else {
            self.normal
        };
        let share = longer / (longer + shorter);
        Some(Self {
            normal,
            offset: normal.dot(&(a * share + b * (1.0 - share))),
            cells,
            excess: longer + shorter,
            step: 0.0,
        })
    }

    pub(super) fn meet(&self, other: &Self) -> Option<Vector2<f64>> {
        let sine = self.normal.perp(&other.normal);
        if sine.abs() < 0.5 {
            return None;
        }
        Some((other.along() * -self.offset + self.along() * other.offset) / -sine)
    }

    /// Share of the visible stretches of the segment from `a` to `b` that is drawn.
    pub(super) fn shown(&self, a: Vector2<f64>, b: Vector2<f64>, visible: &[bool]) -> f64 {
        let n = visible.len();
        let step = (b - a) / n as f64;
        let along = self.along();
        let mut seen = 0;
        let mut drawn = 0;
        for k in (0..n).filter(|&k| visible[k]) {
            let s = (a + step * (k as f64 + 0.5)).dot(&along).floor() as i32;
            seen += 1;
            drawn += i32::from((s - 1..=s + 1).any(|c| self.cells.binary_search(&c).is_ok()));
        }
        f64::from(drawn) / f64::from(seen.max(1))
    }
}

/// How near to a line its segments lie, mm, where they are of so many photos.
pub(super) fn near_mm(photos: usize) -> f64 {
    let more = MORE_NEAR_MM * photos.saturating_sub(1) as f64;
    (NEAR_MM + more).min(MOST_NEAR_MM)
}

/// The straight lines that the segments of a channel draw. Each long segment proposes one, and takes in the others
/// along it, first those near by.
pub(super) fn proposed(segments: &[Segment], shortest_mm: f64, near_mm: f64) -> Vec<DrawnLine> {
    let mut order: Vec<usize> = (0..segments.len()).collect();
    order.sort_by(|&a, &b| {
        segments[b]
            .length()
            .total_cmp(&segments[a].length())
            .then(a.cmp(&b))
    });
    // As with the lines: some of every direction.
    let mut proposals = [0usize; SECTORS as usize + 1];
    order.retain(|&i| {
        let k = sector(&segments[i].normal);
        proposals[k] += 1;
        proposals[k] <= MAX_SEEDS
    });
    // A line's segments point nearly its way: those of its sector and the ones beside are enough to look at.
    let way = |k: usize, s: &Segment| {
        let k = (sector(&s.normal) + SECTORS as usize - k) % SECTORS as usize;
        k <= 1 || k == SECTORS as usize - 1
    };
    let alike: Vec<Vec<Segment>> = (0..=SECTORS as usize)
        .map(|k| segments.iter().filter(|s| way(k, s)).copied().collect())
        .collect();
    order
        .into_par_iter()
        .filter_map(|seed| {
            let seed = &segments[seed];
            drawn(&alike[sector(&seed.normal)], seed, shortest_mm, near_mm)
        })
        .collect()
}

/// Which sector of a whole turn a direction lies in, up to [`SECTORS`].
fn sector(normal: &Vector2<f64>) -> usize {
    ((normal.y.atan2(normal.x) / std::f64::consts::TAU + 0.5) * SECTORS) as usize
}

/// The lines worth a look, each once.
pub(super) fn lines(mut proposed: Vec<DrawnLine>, contrast: &Contrast) -> Vec<DrawnLine> {
    let mut lines: Vec<DrawnLine> = Vec::new();
    proposed.sort_by(|a, b| b.excess.total_cmp(&a.excess));
    for line in proposed {
        let middle = line.middle();
        let same = |l: &DrawnLine| {
            (l.normal - line.normal).norm() < 0.02 && (l.normal.dot(&middle) - l.offset).abs() < 0.6
        };
        if !lines.iter().any(same) {
            lines.push(line);
        }
    }
    let both: Vec<DrawnLine> = (0..lines.len())
        .flat_map(|i| (i + 1..lines.len()).map(move |j| [i, j]))
        .filter_map(|[i, j]| lines[i].with_opposite(&lines[j]))
        .collect();
    lines.extend(both);
    lines.par_iter_mut().for_each(|l| {
        let at = |s: i32| l.normal * l.offset + l.along() * (f64::from(s) + 0.5);
        let stride = l.cells.len().div_ceil(24).max(1);
        let places: Vec<Vector2<f64>> = l.cells.iter().step_by(stride).map(|&s| at(s)).collect();
        l.step = contrast.step_at(&places, l.normal).unwrap_or(0.0);
    });
    // What parts two brightnesses first: grain, a mat's grid and ruled lines fill a sector without.
    let worth = |l: &DrawnLine| l.excess * (0.2 + l.step);
    lines.sort_by(|a, b| worth(b).total_cmp(&worth(a)));
    let mut alike = [0usize; SECTORS as usize + 1];
    lines.retain(|l| {
        alike[sector(&l.normal)] += 1;
        alike[sector(&l.normal)] <= MAX_LINES
    });
    lines
}

/// The line along `seed`; `None` when it holds little more than the bands beside it.
fn drawn(
    segments: &[Segment],
    seed: &Segment,
    shortest_mm: f64,
    near_mm: f64,
) -> Option<DrawnLine> {
    let mut normal = seed.normal;
    let mut offset = normal.dot(&seed.middle());
    let mut on: Vec<&Segment> = Vec::new();
    for reach in [40.0, 100.0, f64::MAX, f64::MAX] {
        let near = |s: &&Segment| {
            let way = SAME_WAY + 0.3 / s.length();
            s.ends
                .iter()
                .all(|e| (normal.dot(e) - offset).abs() < near_mm)
                && s.normal.dot(&normal) > 0.0
                && s.normal.perp(&normal).abs() < way
                && (s.middle() - seed.middle()).norm() - s.length() / 2.0 < reach
        };
        on = segments.iter().filter(near).collect();
        let total: f64 = on.iter().map(|s| s.length()).sum();
        if total <= 0.0 {
            return None;
        }
        let mean = on
            .iter()
            .map(|s| s.middle() * s.length())
            .sum::<Vector2<f64>>()
            / total;
        let spread = |s: &&Segment| {
            s.ends
                .iter()
                .map(|e| (e - mean) * (e - mean).transpose())
                .sum::<nalgebra::Matrix2<f64>>()
                * s.length()
        };
        let cov = on.iter().map(spread).sum::<nalgebra::Matrix2<f64>>();
        let angle = 0.5 * f64::atan2(2.0 * cov[(0, 1)], cov[(0, 0)] - cov[(1, 1)]);
        let across = Vector2::new(-angle.sin(), angle.cos());
        normal = if across.dot(&normal) < 0.0 {
            -across
        } else {
            across
        };
        offset = normal.dot(&mean);
    }
    let beside: f64 = segments
        .iter()
        .filter(|s| {
            let d = (normal.dot(&s.middle()) - offset).abs();
            // Beyond what counts as on it.
            let beside = BESIDE_MM - NEAR_MM + near_mm;
            d > beside
                && d < beside + near_mm
                && s.normal.dot(&normal) > 0.0
                && s.normal.perp(&normal).abs() < SAME_WAY + 0.3 / s.length()
        })
        .map(Segment::length)
        .sum();
    let along = Vector2::new(normal.y, -normal.x);
    let mut cells: Vec<i32> = on
        .iter()
        .flat_map(|s| {
            let [a, b] = s.ends.map(|e| along.dot(&e).floor() as i32);
            a.min(b)..=a.max(b)
        })
        .collect();
    cells.sort_unstable();
    cells.dedup();
    let excess = on.iter().map(|s| s.length()).sum::<f64>() - beside;
    (excess >= 0.7 * shortest_mm && cells.len() as f64 >= shortest_mm).then_some(DrawnLine {
        normal,
        offset,
        cells,
        excess,
        step: 0.0,
    })
}
