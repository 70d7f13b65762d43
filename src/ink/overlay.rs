//! Ink that a mark's own strokes do not explain: a dot on a tick, on an arm of a cross or of an X, on the crossing of two ruled
//! lines, on a ring. A stroke's ink may grow along it, as a pen is pressed and lifted; where it grows and falls again within a dot's width,
//! something was set on it.

use nalgebra::{Matrix2, Vector2};
use rayon::prelude::*;

use super::MarkKind;
use super::beads::{disc, median};
use super::lines::Line;
use super::name::FlatMark;
use super::picture::Picture;
use super::shape::Loop;

/// So far beside a stroke's axis ink still counts, mm, and so far along from a spot the stroke shows its own width.
const BESIDE_MM: f64 = 0.9;
const FLANK_MM: f64 = 0.9;
/// Half of the stretch over which a spot's ink is added up, mm.
const HALF_MM: f64 = 0.2;
/// A stroke goes on as far as it has this share of its ink, at most so far from its mark, mm.
const GOES_ON: f64 = 0.35;
const FURTHEST_MM: f64 = 9.0;
/// A ruled line across a stroke hides this much beside itself, mm.
const CLEAR_MM: f64 = 0.25;
/// A stroke that is wider by less than this somewhere is a hand's, mm, and share of its own width.
const WIDER_MM: f64 = 0.12;
const WIDER: f64 = 0.3;
/// A dot's chord, where it is half as wide again as the stroke, is longer than a disc's by this factor at most, and by blur, px.
const LONGER: f64 = 1.2;
const BLUR_PX: f64 = 2.5;
/// And at its ends, where it is thicker or thinner as the pen is set down and lifted.
const WIDER_AT_END: f64 = 0.6;
/// How this hand's strokes end is known from so many of them; what is wider by so many standard deviations is no end. They vary by
/// so many mm at least.
const FEWEST_ENDS: usize = 6;
const ENDS_VARY: f64 = 4.0;
const LEAST_MM: f64 = 0.05;

/// A ring's ends, which meet or lie beside each other, swell its stroke by less than this share of its width within a dot's length: a
/// dot of the same pen is half as wide again (a judgement: of fifty rings drawn elsewhere two swelled by a third, none by more).
const ENDS_MEET: f64 = 0.45;

/// A place on a stroke that is wider than the stroke round about.
struct Swell {
    /// The spot that would make it so, and how dark the stroke is there.
    spot: (FlatMark, f64),
    /// Where along the stroke, px.
    along: i32,
    /// How much wider than the stroke, px.
    wider: f64,
    /// At the stroke's end: there the pen was set down or lifted.
    at_end: bool,
}

/// Spots on the strokes of marks, each with how dark the stroke is there. A hand sets its pen down and lifts it alike all over
/// a sheet: at the end of a stroke only what is wider than this hand's ends are is a spot.
pub(super) fn on_strokes(
    picture: &Picture,
    lines: &[Line],
    marks: &[&FlatMark],
) -> Vec<(FlatMark, f64)> {
    let of_marks: Vec<(Vec<Swell>, [f64; 2])> = (marks.par_iter())
        .flat_map_iter(|mark| {
            mark.strokes.iter().map(|s| {
                let crossed = (mark.strokes.iter())
                    .filter(|o| o.along.perp(&s.along).abs() > 0.3)
                    .map(|o| (o.along, o.width));
                on_stroke(
                    picture,
                    lines,
                    mark.at,
                    s.along,
                    &crossed.collect::<Vec<_>>(),
                )
            })
        })
        .collect();
    let mut ends: Vec<f64> = of_marks.iter().flat_map(|(_, ends)| *ends).collect();
    ends.retain(|e| e.is_finite());
    let usual = median(ends.iter().copied());
    let spread = 1.4826 * median(ends.iter().map(|e| (e - usual).abs()));
    let limit = if ends.len() < FEWEST_ENDS {
        0.0
    } else {
        usual + ENDS_VARY * spread.max(LEAST_MM * picture.scale)
    };
    let swells = of_marks.into_iter().flat_map(|(swells, _)| swells);
    let spots = swells.filter(|s| !s.at_end || s.wider > limit);
    spots.map(|s| s.spot).collect()
}

/// Swells of the stroke through `at`, and how much wider it is at its two ends, px, nothing where that cannot be told; `others`
/// are strokes of the same mark that cross it there: direction and width.
fn on_stroke(
    picture: &Picture,
    lines: &[Line],
    at: Vector2<f64>,
    along: Vector2<f64>,
    others: &[(Vector2<f64>, f64)],
) -> (Vec<Swell>, [f64; 2]) {
    let mm = picture.scale;
    let side = Vector2::new(-along.y, along.x);
    let place = |s: f64| (at + along * s, side);
    let hidden = |s: f64| {
        let by_own = others.iter().any(|(o, width)| {
            let sine = o.perp(&along).abs();
            s.abs() * sine < width / 2.0 + CLEAR_MM * mm
        });
        by_own || hides(lines, mm, at + along * s, along)
    };
    let furthest = (FURTHEST_MM * mm) as i32;
    let course = Course::of(picture, [-furthest, furthest], place, hidden);
    let near = (-furthest / 4..=furthest / 4).filter(|&s| !course.is_hidden(s));
    let usual = median(near.map(|s| course.at(s).ink));
    let end = |way: i32| -> i32 {
        let goes = |s: &i32| course.at(way * s).ink > GOES_ON * usual || course.is_hidden(way * s);
        way * (0..furthest).take_while(goes).last().unwrap_or(0)
    };
    course.swells(picture, [end(-1), end(1)], place)
}

/// Whether a ruled line hides the ink of a stroke that runs `along` there.
fn hides(lines: &[Line], mm: f64, p: Vector2<f64>, along: Vector2<f64>) -> bool {
    lines.iter().any(|l| {
        let sine = l.along.perp(&along).abs();
        sine > 0.3 && l.is_under(p, CLEAR_MM * mm / sine)
    })
}

/// Spots on a ring's stroke, which is so `wide`, px. Where the strokes of what stands `inside` reach the ring nothing can be said.
pub(super) fn on_ring(
    picture: &Picture,
    lines: &[Line],
    (ring, wide): (&Loop, f64),
    inside: Option<&FlatMark>,
) -> Vec<FlatMark> {
    let mm = picture.scale;
    let radius = ring.radius - wide / 2.0;
    let round = (std::f64::consts::TAU * radius) as i32;
    let flank = (FLANK_MM * mm).round() as i32 + (HALF_MM * mm).round() as i32;
    // A pixel along the stroke is the same angle all round, as rings are round.
    let place = |s: f64| {
        let out = nalgebra::Rotation2::new(s / radius) * Vector2::x();
        (ring.middle + out * (ring.rim_at(out) - wide / 2.0), out)
    };
    let hidden = |s: f64| {
        let (p, out) = place(s);
        let by_inner = inside.is_some_and(|m| {
            let reach = (m.size_mm / 2.0 + 2.0 * BESIDE_MM) * mm;
            let beside = |along: Vector2<f64>| along.perp(&(p - m.at)).abs() < BESIDE_MM * mm;
            (p - m.at).norm() < reach && m.strokes.iter().any(|s| beside(s.along))
        });
        by_inner || hides(lines, mm, p, Vector2::new(-out.y, out.x))
    };
    // Round a little more than once: what lies at the seam has both its sides.
    let range = [-flank, round + flank];
    let course = Course::of(picture, range, place, hidden);
    let (swells, _) = course.swells(picture, range, place);
    let swells = swells
        .into_iter()
        .filter(|s| !s.at_end && (0..round).contains(&s.along))
        .filter(|s| s.wider > ENDS_MEET * wide);
    swells.map(|s| s.spot.0).collect()
}

/// A column across a stroke: its ink, that times how far across it lies, and its darkest.
#[derive(Debug, Clone, Copy, Default)]
struct Column {
    ink: f64,
    moment: f64,
    darkest: f64,
}

/// The ink along a stroke, column by column, a pixel apart.
struct Course {
    first: i32,
    columns: Vec<Column>,
    hidden: Vec<bool>,
}

impl Course {
    /// Along [from, to]; `place`: where on the stroke's axis that is, and the way across it.
    fn of(
        picture: &Picture,
        [from, to]: [i32; 2],
        place: impl Fn(f64) -> (Vector2<f64>, Vector2<f64>),
        hidden: impl Fn(f64) -> bool,
    ) -> Self {
        let reach = (BESIDE_MM * picture.scale).ceil() as i32;
        let column = |s: i32| {
            let (p, side) = place(f64::from(s));
            let mut all = Column::default();
            for t in (-reach..=reach).map(f64::from) {
                let c = picture.smooth_contrast(p + side * t).max(0.0);
                all.ink += c;
                all.moment += c * t;
                all.darkest = all.darkest.max(c);
            }
            all
        };
        Self {
            first: from,
            columns: (from..=to).map(column).collect(),
            hidden: (from..=to).map(|s| hidden(f64::from(s))).collect(),
        }
    }

    fn at(&self, s: i32) -> Column {
        self.columns[(s - self.first) as usize]
    }

    fn is_hidden(&self, s: i32) -> bool {
        self.hidden[(s - self.first) as usize]
    }

    /// Swells between the stroke's ends, and how much wider it is at each of them, px, nothing where that cannot be told.
    fn swells(
        &self,
        picture: &Picture,
        [first, last]: [i32; 2],
        place: impl Fn(f64) -> (Vector2<f64>, Vector2<f64>),
    ) -> (Vec<Swell>, [f64; 2]) {
        let mm = picture.scale;
        let half = ((HALF_MM * mm).round() as i32).max(1);
        let flank = (FLANK_MM * mm).round() as i32;
        let known = self.first..self.first + self.columns.len() as i32;
        let mean = |s: i32| -> Option<f64> {
            let near: Vec<f64> = (s - half..=s + half)
                .filter(|s| known.contains(s) && !self.is_hidden(*s))
                .map(|s| self.at(s).ink)
                .collect();
            (near.len() as i32 > half).then(|| near.iter().sum::<f64>() / near.len() as f64)
        };
        let inside = |s: i32| s >= first && s <= last;
        let mut spots: Vec<(f64, i32, f64, bool)> = Vec::new();
        let mut ends = [f64::NEG_INFINITY; 2];
        for s in first..=last {
            let Some(here) = mean(s) else { continue };
            // Where a line or another stroke hides the next place, the one beyond it tells.
            let beyond = |way: i32| {
                (flank..)
                    .map(|d| s + way * d)
                    .take_while(|f| inside(*f))
                    .find_map(mean)
            };
            let flanks = [beyond(-1), beyond(1)];
            let Some(own) = flanks.iter().copied().flatten().reduce(f64::max) else {
                continue;
            };
            // Beyond an end there is no stroke to compare with, and a pen rests there.
            let at_end = flanks.iter().any(Option::is_none);
            let least = if at_end { WIDER_AT_END } else { WIDER };
            let darkness = self.at(s).darkest.max(0.05);
            let wider = (here - own) / darkness;
            if at_end {
                let end = usize::from(s - first > last - s);
                ends[end] = f64::max(ends[end], wider);
            }
            // A disc rises and falls within its own chord; where a hand presses, the stroke grows over a longer way.
            let half_over = own + (here - own) / 2.0;
            let goes = |way: i32| {
                let over = |k: &i32| inside(s + way * k) && self.at(s + way * k).ink > half_over;
                (0..flank).take_while(over).count() as f64
            };
            let length = goes(1) + goes(-1) - 1.0;
            let (d, w) = (here / darkness, own / darkness);
            let chord = (d * d - (d + w).powi(2) / 4.0).max(0.0).sqrt();
            if !at_end && length > LONGER * chord + BLUR_PX {
                continue;
            }
            if wider > (WIDER_MM * mm).max(least * own / darkness) {
                spots.push((wider, s, own, at_end));
            }
        }
        spots.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut kept: Vec<i32> = Vec::new();
        let mut found = Vec::new();
        for (wider, s, own, at_end) in spots {
            if kept.iter().any(|k| (k - s).abs() <= flank) {
                continue;
            }
            kept.push(s);
            let near = (s - flank..=s + flank).filter(|&k| inside(k) && !self.is_hidden(k));
            let mass: f64 = near.map(|k| (self.at(k).ink - own).max(0.0)).sum();
            let Column {
                ink,
                moment,
                darkest,
            } = self.at(s);
            let diameter = disc(mass, darkest, darkest, own / darkest, 0.0);
            let (p, side) = place(f64::from(s));
            found.push(Swell {
                spot: (
                    spot(picture, p + side * (moment / ink.max(1e-6)), diameter),
                    darkest,
                ),
                along: s,
                wider,
                at_end,
            });
        }
        (found, ends)
    }
}

/// Spots where two ruled lines cross, each with how dark the lines are there together.
pub(super) fn on_crossings(picture: &Picture, lines: &[Line]) -> Vec<(FlatMark, f64)> {
    let mut found = Vec::new();
    for (i, a) in lines.iter().enumerate() {
        for b in &lines[i + 1..] {
            found.extend(on_crossing(picture, a, b));
        }
    }
    found
}

fn on_crossing(picture: &Picture, a: &Line, b: &Line) -> Option<(FlatMark, f64)> {
    let mm = picture.scale;
    let sine = a.along.perp(&b.along);
    if sine.abs() < 0.3 {
        return None;
    }
    let at = a.point((b.origin - a.origin).perp(&b.along) / sine, 0.0);
    let slack = BESIDE_MM * mm;
    if !a.is_under(at, slack) || !b.is_under(at, slack) {
        return None;
    }
    // Each line's own ink across, beside the crossing; ink over ink lets through the product of both.
    let reach = (BESIDE_MM * mm).ceil() as i32;
    let own = |line: &Line, t: f64| {
        let (s0, _) = line.local(at);
        let beside = [-2.0, -1.6, -1.3, 1.3, 1.6, 2.0].map(|d| d * BESIDE_MM * mm / sine.abs());
        let inside = beside
            .into_iter()
            .filter(|d| s0 + d > line.span[0] && s0 + d < line.span[1]);
        median(inside.map(|d| picture.smooth_contrast(line.point(s0 + d, t))))
    };
    let profile = |line: &Line| -> Vec<f64> {
        (-reach - 2..=reach + 2)
            .map(|t| own(line, f64::from(t)).max(0.0))
            .collect()
    };
    let (pa, pb) = (profile(a), profile(b));
    let of = |profile: &[f64], t: f64| {
        let t = t + f64::from(reach + 2);
        let i = (t.max(0.0) as usize).min(profile.len() - 2);
        let u = (t - i as f64).clamp(0.0, 1.0);
        profile[i] * (1.0 - u) + profile[i + 1] * u
    };
    let (mut mass, mut most) = (0.0, 0.0f64);
    for y in -reach..=reach {
        for x in -reach..=reach {
            let d = Vector2::new(f64::from(x), f64::from(y));
            if d.norm() > f64::from(reach) {
                continue;
            }
            let p = at + d;
            let expected = 1.0 - (1.0 - of(&pa, a.local(p).1)) * (1.0 - of(&pb, b.local(p).1));
            let over = picture.smooth_contrast(p) - expected;
            mass += over;
            most = most.max(picture.smooth_contrast(p));
        }
    }
    let line = pa.iter().chain(&pb).copied().fold(0.0, f64::max);
    let wide = pa.iter().sum::<f64>().min(pb.iter().sum::<f64>()) / line.max(0.05);
    // Both lines hide a part of a disc there; what shows of it is measured as if one did.
    let diameter = disc(mass.max(0.0), most, line.min(most), wide, 0.0);
    let shows = mass > WIDER_MM * mm * mm * WIDER * most;
    shows.then(|| (spot(picture, at, diameter), line))
}

fn spot(picture: &Picture, at: Vector2<f64>, diameter: f64) -> FlatMark {
    FlatMark {
        at,
        // Its rims are not seen: a tenth of its width.
        cov: Matrix2::identity() * (0.1 * diameter).powi(2),
        kind: MarkKind::Dot,
        size_mm: diameter / picture.scale,
        ringed: false,
        crossed_out: false,
        strokes: Vec::new(),
        probability: 1.0,
    }
}
