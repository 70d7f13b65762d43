//! Lines of print and writing.
//!
//! The mill prints its alloy, a hand letters a part's name. What tells characters from marks is how they stand: on one line,
//! alike in height, and nearer to each other than they are tall, where rivets stand three diameters apart at least (common
//! practice, no source). So lines of print are looked for, not letters: worn print breaks up into pieces of any shape, and
//! goes on behind cards and tools. A line of print stops nothing by itself, but ink no darker than it may hide in it.

use nalgebra::Vector2;

use super::beads::median;
use super::figure::{Figure, top};
use super::picture::Picture;
use super::shape::{main_direction, moments, thickness};

/// Characters are so tall, mm.
const TALL_MM: [f64; 2] = [1.2, 14.0];
/// Pieces of one line are nearer to each other than this share of the larger one's size: a space is half as wide as a
/// character is tall.
const GAP: f64 = 0.9;
/// A character is at least this share as tall as its line, and stands within this share of its height of its foot and head.
const WHOLE: f64 = 0.6;
const EVEN: f64 = 0.25;
/// So many characters make a line, so many times longer than tall; and of the ink round about this share is theirs.
const FEWEST: usize = 3;
const LONG: f64 = 2.2;
const MOST: f64 = 0.7;
/// Behind a card, a tool or a worn place a line goes on within so many heights.
const GOES_ON: f64 = 3.0;
/// Ink that is so many times darker than the print is none of it.
const DARKER: f64 = 1.3;

/// Where two strokes meet a character is thicker, by less than this.
const THICKER: f64 = 1.6;

/// A line of print.
#[derive(Debug, Clone)]
pub(super) struct Print {
    origin: Vector2<f64>,
    along: Vector2<f64>,
    /// From where to where along, and across from foot to head or the other way round: which is up does not show.
    span: [f64; 2],
    across: [f64; 2],
    /// How dark its ink is: the median of its characters.
    pub(super) darkness: f64,
    /// How thick its strokes are at their thickest: the median of its characters, px.
    thickest: f64,
}

/// The lines of print among the figures for which `may`.
pub(super) fn lines(
    picture: &Picture,
    figures: &[Figure],
    may: impl Fn(usize) -> bool,
) -> Vec<Print> {
    let mm = picture.scale;
    let pieces: Vec<usize> = (0..figures.len())
        .filter(|&i| may(i) && figures[i].extent() > 0.5 * TALL_MM[0] * mm)
        .collect();
    let bounds: Vec<[f64; 4]> = pieces.iter().map(|&i| figures[i].bounds()).collect();
    let near = |a: &[f64; 4], b: &[f64; 4]| {
        let size = |b: &[f64; 4]| (b[2] - b[0]).max(b[3] - b[1]) + 1.0;
        gap(a, b) < GAP * size(a).max(size(b)).min(TALL_MM[1] * mm)
    };
    let mut lines: Vec<Print> = Vec::new();
    for group in groups(&bounds, near) {
        let mut left: Vec<&Figure> = group.iter().map(|&k| &figures[pieces[k]]).collect();
        while let Some(row) = best_row(&left) {
            let line = Print::of(mm, &row);
            left.retain(|f| !row.iter().any(|r| std::ptr::eq(*r, *f)));
            lines.extend(line);
        }
    }
    // What stands beyond a gap in line with it is of the same line.
    for line in &mut lines {
        loop {
            let more = pieces
                .iter()
                .map(|&i| &figures[i])
                .filter(|f| line.goes_on_to(picture, f));
            let span = more.fold(line.span, |s, f| {
                let [along, _] = line.extents(f);
                [s[0].min(along[0]), s[1].max(along[1])]
            });
            if span == line.span {
                break;
            }
            line.span = span;
        }
    }
    lines
}

impl Print {
    fn of(mm: f64, members: &[&Figure]) -> Option<Self> {
        if members.len() < FEWEST {
            return None;
        }
        let points: Vec<Vector2<f64>> = members
            .iter()
            .flat_map(|f| f.points.iter().copied())
            .collect();
        let (origin, cov) = moments(&points);
        let mut line = Self {
            origin,
            along: main_direction(&cov),
            span: [f64::MAX, f64::MIN],
            across: [0.0; 2],
            darkness: 0.0,
            thickest: 0.0,
        };
        line.straighten(members);
        let extents: Vec<[[f64; 2]; 2]> = members.iter().map(|f| line.extents(f)).collect();
        let tallest = {
            let mut tall: Vec<f64> = extents.iter().map(|[_, a]| a[1] - a[0] + 1.0).collect();
            tall.sort_by(f64::total_cmp);
            tall[tall.len() * 3 / 4]
        };
        let whole = |e: &&[[f64; 2]; 2]| e[1][1] - e[1][0] + 1.0 > WHOLE * tallest;
        let side = |k: usize| median(extents.iter().filter(whole).map(|e| e[1][k]));
        line.across = [side(0), side(1)];
        let tall = line.across[1] - line.across[0] + 1.0;
        let slack = EVEN * tall;
        let fits = |e: &[[f64; 2]; 2]| {
            e[1][0] > line.across[0] - slack && e[1][1] < line.across[1] + slack
        };
        let of_line: Vec<usize> = (0..members.len()).filter(|&i| fits(&extents[i])).collect();
        let characters = of_line.iter().filter(|&&i| whole(&&extents[i])).count();
        let ink = |i: &usize| members[*i].points.len();
        let share = of_line.iter().map(ink).sum::<usize>() as f64 / points.len() as f64;
        line.span = of_line.iter().fold(line.span, |s, &i| {
            [s[0].min(extents[i][0][0]), s[1].max(extents[i][0][1])]
        });
        line.darkness = median(of_line.iter().map(|&i| members[i].contrast));
        line.thickest = median(
            of_line
                .iter()
                .map(|&i| thickness(&members[i].points) as f64),
        );
        let is_line = characters >= FEWEST
            && share > MOST
            && tall > TALL_MM[0] * mm
            && tall < TALL_MM[1] * mm
            && line.span[1] - line.span[0] > LONG * tall;
        is_line.then_some(line)
    }

    /// Turns it to how its characters stand in a row, by least squares: all of their ink together leans as letters do.
    fn straighten(&mut self, members: &[&Figure]) {
        let extents: Vec<[[f64; 2]; 2]> = members.iter().map(|f| self.extents(f)).collect();
        let tall = |e: &[[f64; 2]; 2]| e[1][1] - e[1][0] + 1.0;
        let tallest = extents.iter().map(tall).fold(0.0, f64::max);
        let whole = extents.iter().filter(|e| tall(e) > WHOLE * tallest);
        let middles: Vec<[f64; 2]> = whole.map(|e| e.map(|[a, b]| f64::midpoint(a, b))).collect();
        let n = middles.len() as f64;
        let mean = [0, 1].map(|k| middles.iter().map(|m| m[k]).sum::<f64>() / n);
        let (mut square, mut both) = (0.0, 0.0);
        for m in &middles {
            square += (m[0] - mean[0]).powi(2);
            both += (m[0] - mean[0]) * (m[1] - mean[1]);
        }
        if middles.len() >= FEWEST && square > 0.0 {
            let side = Vector2::new(-self.along.y, self.along.x);
            self.along = (self.along + side * (both / square)).normalize();
        }
    }

    fn tall(&self) -> f64 {
        self.across[1] - self.across[0] + 1.0
    }

    /// From where to where a figure reaches along, and across.
    fn extents(&self, figure: &Figure) -> [[f64; 2]; 2] {
        let mut e = [[f64::MAX, f64::MIN]; 2];
        for p in &figure.points {
            for (e, v) in e.iter_mut().zip(self.local(*p)) {
                *e = [e[0].min(v), e[1].max(v)];
            }
        }
        e
    }

    fn local(&self, p: Vector2<f64>) -> [f64; 2] {
        let d = p - self.origin;
        [d.dot(&self.along), self.along.perp(&d)]
    }

    /// Whether a figure stands in line, after no long stretch of bare face: what a card hides does not count.
    fn goes_on_to(&self, picture: &Picture, figure: &Figure) -> bool {
        let [along, across] = self.extents(figure);
        let slack = EVEN * self.tall();
        let middle = f64::midpoint(self.across[0], self.across[1]);
        let side = Vector2::new(-self.along.y, self.along.x);
        let bare = |from: f64, to: f64| {
            let steps = (0..(to - from).max(0.0) as i32).map(|s| from + f64::from(s));
            let places = steps.map(|s| self.origin + self.along * s + side * middle);
            places.filter(|p| picture.is_known(*p)).count() as f64
        };
        let gap = bare(along[1], self.span[0]) + bare(self.span[1], along[0]);
        gap < GOES_ON * self.tall()
            && across[0] > self.across[0] - slack
            && across[1] < self.across[1] + slack
    }

    /// Whether a place lies in the line.
    pub(super) fn holds(&self, p: Vector2<f64>) -> bool {
        let [s, t] = self.local(p);
        let slack = EVEN * self.tall();
        s > self.span[0] - slack
            && s < self.span[1] + slack
            && t > self.across[0] - slack
            && t < self.across[1] + slack
    }

    /// Whether ink of this darkness may be the print's.
    pub(super) fn is_as_dark_as(&self, darkness: f64) -> bool {
        darkness < DARKER * self.darkness
    }

    /// Whether some place of a figure is thicker than any of its characters are: a dot may be under it.
    pub(super) fn is_thicker_in(&self, figure: &Figure) -> bool {
        thickness(&figure.points) as f64 > THICKER * self.thickest
    }

    /// The corners of the area it takes, px.
    pub(super) fn corners(&self) -> [Vector2<f64>; 4] {
        let side = Vector2::new(-self.along.y, self.along.x);
        let at = |s: f64, t: f64| self.origin + self.along * s + side * t;
        let ([a, b], [c, d]) = (self.span, self.across);
        [at(a, c), at(b, c), at(b, d), at(a, d)]
    }
}

/// The line of print that a figure is a part of: all of it lies in print, of one line or of neighbours, and it is no darker.
pub(super) fn around<'p>(prints: &'p [Print], figure: &Figure) -> Option<&'p Print> {
    let as_dark = || prints.iter().filter(|p| p.is_as_dark_as(figure.contrast));
    let held = |p: &Vector2<f64>| as_dark().any(|line| line.holds(*p));
    let all = figure.points.iter().all(held);
    as_dark().find(|line| all && figure.points.iter().any(|&p| line.holds(p)))
}

/// Of figures that stand near each other those that lie in one row: between two lines as far apart as two of them are tall.
fn best_row<'f>(figures: &[&'f Figure]) -> Option<Vec<&'f Figure>> {
    let row = |a: &Figure, b: &Figure| -> Vec<&'f Figure> {
        let axis = Print {
            origin: a.middle(),
            along: (b.middle() - a.middle()).normalize(),
            span: [f64::MIN, f64::MAX],
            across: [0.0; 2],
            darkness: 0.0,
            thickest: 0.0,
        };
        let tall = [a, b].map(|f| {
            let [_, across] = axis.extents(f);
            across[1] - across[0] + 1.0
        });
        if tall[0].min(tall[1]) < WHOLE * tall[0].max(tall[1]) {
            return Vec::new();
        }
        let half = (0.5 + EVEN) * tall[0].max(tall[1]);
        let within = |f: &&&Figure| {
            let [_, across] = axis.extents(f);
            across[0] > -half && across[1] < half
        };
        figures.iter().filter(within).copied().collect()
    };
    // Neighbours far along the list are far apart as well: a few partners for each are enough.
    const PARTNERS: usize = 12;
    let mut best: Option<(usize, Vec<&'f Figure>)> = None;
    for (i, a) in figures.iter().enumerate() {
        let step = (figures.len() / PARTNERS).max(1);
        for b in figures[i + 1..].iter().step_by(step) {
            let row = row(a, b);
            let ink: usize = row.iter().map(|f| f.points.len()).sum();
            if row.len() >= FEWEST && best.as_ref().is_none_or(|(most, _)| ink > *most) {
                best = Some((ink, row));
            }
        }
    }
    best.map(|(_, row)| row)
}

/// Those that are near to each other, by way of others.
fn groups(bounds: &[[f64; 4]], near: impl Fn(&[f64; 4], &[f64; 4]) -> bool) -> Vec<Vec<usize>> {
    let mut group: Vec<usize> = (0..bounds.len()).collect();
    for a in 0..bounds.len() {
        for b in 0..a {
            let (p, q) = (top(&group, a), top(&group, b));
            if p != q && near(&bounds[a], &bounds[b]) {
                group[p.max(q)] = p.min(q);
            }
        }
    }
    let mut all = vec![Vec::new(); bounds.len()];
    for k in 0..bounds.len() {
        all[top(&group, k)].push(k);
    }
    all.retain(|g| !g.is_empty());
    all
}

fn gap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let apart = |k: usize| (a[k] - b[k + 2]).max(b[k] - a[k + 2]).max(0.0);
    apart(0).hypot(apart(1))
}
