//! Writing and print: characters that stand in a row.
//!
//! A hand letters a part's name, the mill prints its alloy. What tells characters from marks is how they stand: alike in
//! height, on one line, and nearer to each other than they are tall, where rivets stand three diameters apart at least
//! (common practice, no source). A character stops nothing by itself, but what lies under it is not seen.

use nalgebra::Vector2;

use super::MarkKind;
use super::beads::median;
use super::figure::{Figure, top};
use super::lines::Line;
use super::name::Name;
use super::picture::Picture;
use super::shape::{Joined, main_direction, moments, stroke_width, thickness};

/// Characters are this tall at least and at most, mm.
const TALL_MM: [f64; 2] = [1.2, 14.0];
/// Neighbours are nearer to each other than this share of the smaller one's size.
const GAP: f64 = 0.6;
/// Heights in a row differ from their median by these factors at most: a comma is no character here.
const ALIKE: [f64; 2] = [0.62, 1.45];
/// A character's middle lies within this share of the height from the row's axis.
const STRAIGHT: f64 = 0.3;
/// Characters that touch are one figure, so many heights wide at most.
const WIDE: f64 = 5.0;
/// Signs that marks have as well, a stroke, a cross or a spot, are characters only among so many others.
const OTHERS: usize = 2;
/// A full stop is no darker than the print it stands in, but for this factor, and so much smaller.
const AS_DARK: f64 = 1.15;
const STOP: f64 = 0.45;
/// What is taller than this share of a line of pale print is none of the spots in it.
const SMALL: f64 = 0.6;
/// A dot of print is paler than so much of what is surely another pen's, and its middle this near to the row's foot or
/// head, in half heights: which of the two is up does not show.
const PALER: f64 = 1.4;
const AT_FOOT: f64 = 0.35;
/// A place in a character this many times as wide as its strokes may be a dot under them.
const THICK: f64 = 1.75;

/// Print within this of a place on a line counts, mm, but not the line's own rim, mm; so much of it, mm².
const ROUND_MM: f64 = 3.0;
const CLEAR_MM: f64 = 0.35;
const PRINT_MM2: f64 = 0.4;

/// Pieces of print so pale that it breaks up are nearer to each other than this, mm: a word's pause between them.
const PAUSE_MM: f64 = 5.0;
/// So many of them at least make a line of print, so tall at most, mm, and so many times longer than tall; pieces stand
/// over this share of its length.
const PIECES: usize = 6;
const LINE_TALL_MM: f64 = 6.0;
const LONG: f64 = 2.5;
const COVERED: f64 = 0.35;

/// What a figure may be in a row of characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    /// Of no shape that a mark has.
    Character,
    /// A stroke or a cross: a character where others stand beside it.
    Like,
    /// A spot, which may be a full stop.
    Spot,
}

/// The numbers of the figures that are characters of writing or print. Those paler than `other` may touch ruled lines:
/// they are no marks.
pub(super) fn characters(
    picture: &Picture,
    figures: &[Figure],
    names: &[Name],
    other: f64,
) -> Vec<usize> {
    let mm = picture.scale;
    let signs: Vec<(usize, Sign, [f64; 4])> = figures
        .iter()
        .zip(names)
        .enumerate()
        .filter_map(|(i, (figure, name))| {
            Some((i, sign(mm, figure, name, other)?, figure.bounds()))
        })
        .collect();
    let tall: Vec<_> = signs
        .iter()
        .filter(|(_, sign, _)| *sign != Sign::Spot)
        .collect();
    let near = |a: &[f64; 4], b: &[f64; 4]| gap(a, b) < GAP * extent(a).min(extent(b));
    let bounds: Vec<[f64; 4]> = tall.iter().map(|t| t.2).collect();
    let mut found = Vec::new();
    for group in groups(&bounds, near) {
        let members: Vec<(usize, Sign)> = group.iter().map(|&k| (tall[k].0, tall[k].1)).collect();
        let Some(row) = Row::of(mm, figures, &members, other) else {
            continue;
        };
        // A full stop, or a hyphen.
        let stops = signs.iter().map(|s| s.0).filter(|&i| {
            let mark = matches!(names[i], Name::Mark(_));
            row.has_stop(figures, i) && (!mark || row.is_of_print(&figures[i], other))
        });
        found.extend(stops);
        found.extend(row.members);
    }
    found
}

/// The numbers of the figures that are pieces of a line of print, each paler than `faint`.
pub(super) fn pale_print(picture: &Picture, figures: &[Figure], faint: f64) -> Vec<usize> {
    let mm = picture.scale;
    let pale: Vec<usize> = (0..figures.len())
        .filter(|&i| figures[i].feet.is_empty() && figures[i].contrast < faint)
        .collect();
    let bounds: Vec<[f64; 4]> = pale.iter().map(|&i| figures[i].bounds()).collect();
    let mut found = Vec::new();
    for group in groups(&bounds, |a, b| gap(a, b) < PAUSE_MM * mm) {
        let members: Vec<usize> = group.iter().map(|&k| pale[k]).collect();
        if members.len() < PIECES {
            continue;
        }
        let row = Row::through(figures, &members);
        let mut spans: Vec<[f64; 2]> = Vec::new();
        let mut across = [f64::MAX, f64::MIN];
        for &i in &members {
            let [along, sides] = row.extents(&figures[i]);
            spans.push(along);
            across = [across[0].min(sides[0]), across[1].max(sides[1])];
        }
        let tall = across[1] - across[0];
        let (length, covered) = covered(&mut spans);
        if tall < LINE_TALL_MM * mm && length > LONG * tall && covered > COVERED * length {
            let usual = median(members.iter().map(|&i| figures[i].contrast));
            // A spot that stands out of the print may be a pencil's dot.
            let spot = |i: &usize| {
                let figure = &figures[*i];
                figure.contrast > AS_DARK * usual
                    && is_spot(figure)
                    && figure.extent() < SMALL * tall
            };
            found.extend(members.into_iter().filter(|i| !spot(i)));
        }
    }
    found
}

/// Whether print paler than `other` lies round a place on a line: what looks like a dot there may be a piece of it.
pub(super) fn among_print(picture: &Picture, lines: &[Line], other: f64, at: Vector2<f64>) -> bool {
    let mm = picture.scale;
    let reach = (ROUND_MM * mm).ceil() as i32;
    let clear = |p: Vector2<f64>| {
        lines.iter().all(|l| {
            let (_, across) = l.local(p);
            across.abs() > l.half + CLEAR_MM * mm
        })
    };
    let pale = (-reach..=reach)
        .flat_map(|dy| (-reach..=reach).map(move |dx| Vector2::new(f64::from(dx), f64::from(dy))))
        .map(|d| at + d)
        .filter(|&p| picture.is_ink(p) && f64::from(picture.contrast(p)) < other && clear(p))
        .filter(|&p| {
            // The rim of a dark stroke is pale as well.
            let rim = (CLEAR_MM * mm).ceil();
            [[rim, 0.0], [-rim, 0.0], [0.0, rim], [0.0, -rim]]
                .iter()
                .all(|[dx, dy]| f64::from(picture.contrast(p + Vector2::new(*dx, *dy))) < other)
        })
        .count();
    pale as f64 > PRINT_MM2 * mm * mm
}

/// Length from the first to the last end, and how much of it some span covers.
fn covered(spans: &mut [[f64; 2]]) -> (f64, f64) {
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let (mut end, mut sum) = (spans[0][0], 0.0);
    for s in spans.iter() {
        sum += (s[1] - s[0].max(end)).max(0.0);
        end = end.max(s[1]);
    }
    (end - spans[0][0], sum)
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

fn sign(mm: f64, figure: &Figure, name: &Name, other: f64) -> Option<Sign> {
    if !figure.feet.is_empty() && figure.contrast > other {
        return None;
    }
    let size = figure.extent();
    let tall = size > TALL_MM[0] * mm && size < WIDE * TALL_MM[1] * mm;
    match name {
        Name::Unsure { .. } | Name::Doubtful(..) if size < TALL_MM[0] * mm => Some(Sign::Spot),
        Name::Mark(m) if m.kind == MarkKind::Dot => Some(Sign::Spot),
        Name::Unsure { .. } | Name::Doubtful(..) if tall && is_stroke(figure) => Some(Sign::Like),
        Name::Crossing(_) if tall => Some(Sign::Like),
        Name::Unsure { .. } | Name::Doubtful(..) | Name::OfPrint | Name::Ring(_, None) if tall => {
            Some(Sign::Character)
        }
        Name::Ring(_, Some(inner)) if tall && inner.is_unsure() => Some(Sign::Character),
        // An E's middle stroke, cut off its rim, looks like a dot.
        Name::Ring(outline, Some(_)) if tall && outline.joined != Joined::No => Some(Sign::Like),
        _ => None,
    }
}

/// Whether the figure is a single straight stroke.
fn is_stroke(figure: &Figure) -> bool {
    spread_ratio(figure) > 5.0
}

/// Whether it is about as wide as long.
fn is_spot(figure: &Figure) -> bool {
    spread_ratio(figure) < 2.0
}

/// Spread along over spread across.
fn spread_ratio(figure: &Figure) -> f64 {
    let (_, cov) = moments(&figure.points);
    let eigen = cov.symmetric_eigenvalues();
    (eigen.max() / eigen.min()).sqrt()
}

fn extent(b: &[f64; 4]) -> f64 {
    (b[2] - b[0]).max(b[3] - b[1]) + 1.0
}

fn gap(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    let apart = |k: usize| (a[k] - b[k + 2]).max(b[k] - a[k + 2]).max(0.0);
    apart(0).hypot(apart(1))
}

/// Characters on one line.
struct Row {
    origin: Vector2<f64>,
    along: Vector2<f64>,
    height: f64,
    /// From where to where along the axis.
    span: [f64; 2],
    contrast: f64,
    members: Vec<usize>,
}

impl Row {
    /// The axis of these figures.
    fn through(figures: &[Figure], members: &[usize]) -> Self {
        let points: Vec<Vector2<f64>> = members
            .iter()
            .flat_map(|&i| figures[i].points.iter().copied())
            .collect();
        let (origin, cov) = moments(&points);
        Self {
            origin,
            along: main_direction(&cov),
            height: 0.0,
            span: [0.0; 2],
            contrast: 0.0,
            members: Vec::new(),
        }
    }

    fn of(mm: f64, figures: &[Figure], members: &[(usize, Sign)], other: f64) -> Option<Self> {
        if members.len() < 2 {
            return None;
        }
        let numbers: Vec<usize> = members.iter().map(|m| m.0).collect();
        let mut row = Self::through(figures, &numbers);
        let heights = |row: &Self, of: &[(usize, Sign)]| {
            median(of.iter().map(|&(i, _)| {
                let [_, across] = row.extents(&figures[i]);
                across[1] - across[0] + 1.0
            }))
        };
        row.height = heights(&row, members);
        let kept: Vec<(usize, Sign)> = members
            .iter()
            .copied()
            .filter(|&(i, _)| row.suits(&figures[i]))
            .collect();
        let sure = kept.iter().filter(|(_, s)| *s == Sign::Character).count();
        let tall = row.height > TALL_MM[0] * mm && row.height < TALL_MM[1] * mm;
        if !tall || kept.len() < 2 || sure == 0 {
            return None;
        }
        row.height = heights(&row, &kept);
        row.contrast = median(kept.iter().map(|&(i, _)| figures[i].contrast));
        row.span = kept.iter().fold([f64::MAX, f64::MIN], |s, &(i, _)| {
            let [along, _] = row.extents(&figures[i]);
            [s[0].min(along[0]), s[1].max(along[1])]
        });
        row.members = kept
            .iter()
            .filter(|(_, s)| *s == Sign::Character || sure >= OTHERS)
            .map(|&(i, _)| i)
            // A pen's dot under a paler character would have made it as dark as the pen.
            .filter(|&i| figures[i].contrast < other || thickest(&figures[i]) < THICK)
            .collect();
        Some(row)
    }

    /// From where to where a figure reaches along the axis, and across it.
    fn extents(&self, figure: &Figure) -> [[f64; 2]; 2] {
        let mut e = [[f64::MAX, f64::MIN]; 2];
        for p in &figure.points {
            let d = p - self.origin;
            let local = [d.dot(&self.along), self.along.perp(&d)];
            for (e, v) in e.iter_mut().zip(local) {
                *e = [e[0].min(v), e[1].max(v)];
            }
        }
        e
    }

    fn suits(&self, figure: &Figure) -> bool {
        let [along, across] = self.extents(figure);
        let tall = across[1] - across[0] + 1.0;
        tall > ALIKE[0] * self.height
            && tall < ALIKE[1] * self.height
            && (across[0] + across[1]).abs() / 2.0 < STRAIGHT * self.height
            && along[1] - along[0] < WIDE * self.height
    }

    /// Whether a spot that may be a dot is surely of the print: much paler than the marks are, and at the foot of the row.
    fn is_of_print(&self, figure: &Figure, other: f64) -> bool {
        let [_, across] = self.extents(figure);
        let from_axis = f64::midpoint(across[0], across[1]).abs() / (self.height / 2.0);
        figure.contrast < PALER * other && (from_axis - 1.0).abs() < AT_FOOT
    }

    /// Whether a spot or a short stroke is of this row: as pale as its characters, small beside them, and among them.
    fn has_stop(&self, figures: &[Figure], spot: usize) -> bool {
        let figure = &figures[spot];
        let [along, across] = self.extents(figure);
        let half = self.height / 2.0;
        self.members.len() > OTHERS
            && figure.contrast < AS_DARK * self.contrast
            && figure.extent() < STOP * self.height
            && along[0] > self.span[0] - self.height
            && along[1] < self.span[1] + self.height
            && across[0] > -1.2 * half
            && across[1] < 1.2 * half
    }
}

/// The widest place of a figure in units of its strokes' usual width.
fn thickest(figure: &Figure) -> f64 {
    2.0 * thickness(&figure.points) as f64 / stroke_width(&figure.points)
}
