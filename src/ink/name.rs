//! Naming figures: dot, tick, cross, ring, cross-out, or unsure.

use nalgebra::{Matrix2, Vector2};

use super::Doubt;
use super::MarkKind;
use super::beads::median;
use super::figure::{Figure, Foot};
use super::lines::Line;
use super::picture::Picture;
use super::place::{self, Place};
use super::shape::{self, Joined, Loop, Stroke};

/// A mark in the flat picture.
#[derive(Debug, Clone)]
pub(super) struct FlatMark {
    pub(super) at: Vector2<f64>,
    pub(super) cov: Matrix2<f64>,
    pub(super) kind: MarkKind,
    pub(super) size_mm: f64,
    pub(super) ringed: bool,
    pub(super) crossed_out: bool,
    /// The strokes it is made of: none of a dot, one of a tick, two of a cross.
    pub(super) strokes: Vec<OwnStroke>,
    /// How surely it is a pen's, 0 to 1: 1 until the pen is known.
    pub(super) probability: f64,
}

/// A stroke that a mark is made of, through about its centre.
#[derive(Debug, Clone, Copy)]
pub(super) struct OwnStroke {
    /// Unit vector along it.
    pub(super) along: Vector2<f64>,
    /// Its width, blur included, px.
    pub(super) width: f64,
}

impl From<&Stroke> for OwnStroke {
    fn from(s: &Stroke) -> Self {
        Self {
            along: s.along,
            width: s.width(),
        }
    }
}

/// What a figure was named.
#[derive(Debug, Clone)]
pub(super) enum Name {
    /// Here goes a hole.
    Mark(FlatMark),
    /// A loop, and what was drawn inside and touches it.
    Ring(Box<Loop>, Option<Box<Name>>),
    /// Two strokes that cross: a mark, or a mark struck out. The hand's habit on this sheet decides.
    Crossing(Crossing),
    /// Ink without a sure meaning.
    Unsure {
        at: Vector2<f64>,
        size_mm: f64,
        why: Doubt,
    },
    /// Of a mark's shape, and something speaks against it: why.
    Doubtful(FlatMark, Doubt),
    /// A character of writing or print.
    Character { at: Vector2<f64>, size_mm: f64 },
    /// Far smaller than this hand's dots: dust.
    Speck,
    /// A thicker place or a further piece of a ruled line.
    OfLine,
    /// The sheet's own rim.
    OfEdge,
    /// On a thing that lies on the face, or its rim.
    OfThing,
}

/// Two strokes that cross.
#[derive(Debug, Clone)]
pub(super) struct Crossing {
    /// The mark it is if it is one.
    pub(super) mark: FlatMark,
    /// The longer stroke, blur and pen's width taken off, mm.
    pub(super) size_mm: f64,
    /// Half the shorter stroke, px.
    pub(super) reach: f64,
    /// Other ink lies under the crossing.
    pub(super) over_ink: bool,
    /// Both strokes run along the sheet's axes: +, not x.
    pub(super) upright: bool,
    /// They are about square to each other, as the arms of a mark are; a stroke through an arm need not be.
    pub(super) square: bool,
}

/// Diameters of a dot, mm: the pen's finest point to its broadest, with a margin for measuring.
const DOT_MM: [f64; 2] = [0.22, 1.9];
/// Longest over shortest side of a dot.
const DOT_ASPECT: f64 = 2.0;
/// A dot fills this share of the ellipse in its bounds.
const SOLID: f64 = 0.65;
/// How far a pen that was drawn away may have shifted its dot's middle, in diameters.
const DRAWN_AWAY: f64 = 0.05;
/// Half the widest pen stroke, mm, with a hand's wobble.
const BAND_MM: f64 = 0.42;
/// Half a stroke in units of its usual width, with what it swells.
const HALF: f64 = 0.6;
/// Widest pen stroke, mm.
const PEN_MM: f64 = 0.8;
/// A ring round a tick is no smaller than this, mm.
const SMALL_RING_MM: f64 = 2.2;
/// Shortest stroke that is one, mm.
const STROKE_MM: f64 = 1.1;
/// Arms of a cross are no paler than this share of the darker one.
const HALF_AS_DARK: f64 = 0.5;
/// Ink beside two crossing strokes within this of their crossing shows what they strike out, mm; how much
/// of it there must be, mm².
const UNDER_MM: f64 = 0.9;
const UNDER_MM2: f64 = 0.06;
/// So does ink that no stroke explains, within this of the crossing, mm; from this area on, mm².
const LEFT_MM: f64 = 2.0;
const LEFT_MM2: f64 = 0.15;
/// Under a broad pen's strokes a mark shows further out: so many half widths.
const UNDER_HALVES: f64 = 2.4;
/// Beyond this share of the shorter stroke's half there is nothing but its arms.
const ARM: f64 = 0.6;
/// A cross leans less than this from the sheet's axes to count as upright, rad.
const UPRIGHT: f64 = 0.4;
/// The arms of a mark are square to each other within this, rad.
const SQUARE: f64 = 0.6;
/// Longest tick, mm.
const TICK_MM: f64 = 12.0;
/// A sheet's corner may be rounded within this, mm; no rivet is nearer to two edges.
const ROUND_CORNER_MM: f64 = 3.0;
/// A stroke in line with a ruled line, this near to its end, mm, and no darker than so many times it, is a piece of it.
const FURTHER_MM: f64 = 14.0;
const DARKER: f64 = 2.0;
/// Lines that lean less than this to each other run side by side, sine; nearer than the second they are one, mm.
const SIDE_BY_SIDE: f64 = 0.2;
const SAME_LINE_MM: f64 = 0.25;
/// What stands out of a line by less is looked at together with the line, mm.
const BEAD_MM: f64 = 0.6;
/// Ink this far from a stroke's axis is no part of it, mm.
const BESIDE_MM: f64 = 0.8;
/// Strokes must explain this share of a figure's pixels.
const EXPLAINED: f64 = 0.8;

/// Names one figure.
pub(super) fn name(picture: &Picture, lines: &[Line], figure: &Figure) -> Name {
    let mm = picture.scale;
    if along_the_rim(picture, figure) {
        return Name::OfEdge;
    }
    if let Some(named) = bulge(picture, lines, figure) {
        return named;
    }
    let (length, width) = shape::length_and_width(&figure.points);
    let compact = length < DOT_ASPECT * width || length - width < 2.5;
    if figure.feet.is_empty() && compact && length < 2.6 * mm {
        // A small cross is as wide as long, too, but no disc.
        if !is_solid(figure)
            && let crossing @ Name::Crossing(_) = by_strokes(picture, lines, figure)
        {
            return crossing;
        }
        return dot(picture, figure);
    }
    if let Some(dot) = dot_with_tail(picture, lines, figure) {
        return dot;
    }
    let hidden = |p: Vector2<f64>| {
        lines.iter().any(|l| {
            let (s, t) = l.local(p);
            t.abs() < l.half + 2.0 && s > l.span[0] && s < l.span[1]
        })
    };
    if let Some((outline, inner)) = shape::as_loop(&figure.points, PEN_MM * mm, hidden) {
        let drawn = inner.len() as f64 > (0.25 * mm).powi(2);
        let inside = (drawn && !outline.ends_in(&inner)).then(|| {
            let feet = figure
                .feet
                .iter()
                .copied()
                .filter(|f| {
                    lines
                        .get(f.line)
                        .is_some_and(|l| outline.holds(l.point((f.span[0] + f.span[1]) / 2.0, 0.0)))
                })
                .collect();
            let inner = Figure {
                points: inner,
                feet,
                contrast: figure.contrast,
            };
            Box::new(match name(picture, lines, &inner) {
                // A ring is drawn round its mark: what reaches across a small one is a stroke of the same figure, or
                // lies on a hole's rim.
                Name::Mark(m)
                    if outline.joined == Joined::Across
                        && (m.kind == MarkKind::Dot || outline.radius < SMALL_RING_MM * mm) =>
                {
                    unsure(picture, figure, Doubt::RingStruck)
                }
                // By itself it is measured with its line, and here the ring's own ink is in the way of that.
                Name::OfLine => match inner.feet.first() {
                    Some(foot) => {
                        let place = place::spot_on_line(picture, &lines[foot.line], &inner.feet);
                        mark(picture, &place, MarkKind::Dot, &[])
                    }
                    None => Name::OfLine,
                },
                named => named,
            })
        });
        return Name::Ring(Box::new(outline), inside);
    }
    by_strokes(picture, lines, figure)
}

fn unsure(picture: &Picture, figure: &Figure, why: Doubt) -> Name {
    Name::Unsure {
        at: figure.middle(),
        size_mm: figure.extent() / picture.scale,
        why,
    }
}

fn mark(picture: &Picture, place: &Place, kind: MarkKind, strokes: &[&Stroke]) -> Name {
    Name::Mark(flat_mark(picture, place, kind, strokes))
}

fn flat_mark(picture: &Picture, place: &Place, kind: MarkKind, strokes: &[&Stroke]) -> FlatMark {
    FlatMark {
        at: place.at,
        cov: place.cov,
        kind,
        size_mm: place.diameter / picture.scale,
        ringed: false,
        crossed_out: false,
        strokes: strokes.iter().map(|&s| OwnStroke::from(s)).collect(),
        probability: 1.0,
    }
}

fn dot(picture: &Picture, figure: &Figure) -> Name {
    let place = place::spot(picture, figure);
    let diameter_mm = place.diameter / picture.scale;
    if diameter_mm > DOT_MM[1] {
        return unsure(picture, figure, Doubt::SpotTooLarge);
    }
    if diameter_mm < DOT_MM[0] {
        return unsure(picture, figure, Doubt::SpotTooSmall);
    }
    mark(picture, &place, MarkKind::Dot, &[])
}

/// Whether it fills the ellipse in its bounds, as a dot does.
fn is_solid(figure: &Figure) -> bool {
    let b = figure.bounds();
    let bounds = (b[2] - b[0] + 1.0) * (b[3] - b[1] + 1.0);
    figure.points.len() as f64 > SOLID * std::f64::consts::FRAC_PI_4 * bounds
}

/// A dot from which the pen was drawn away while it still touched.
fn dot_with_tail(picture: &Picture, lines: &[Line], figure: &Figure) -> Option<Name> {
    let points = shape::without_tail(&figure.points)?;
    let feet = figure.feet.iter().filter_map(|foot| {
        let side = foot.reach.signum();
        let reach = points
            .iter()
            .map(|&p| lines[foot.line].local(p).1 * side)
            .fold(0.0, f64::max);
        (reach > 0.0).then_some(Foot {
            reach: reach * side,
            ..*foot
        })
    });
    let core = Figure {
        feet: feet.collect(),
        points,
        contrast: figure.contrast,
    };
    let named = if core.feet.is_empty() {
        dot(picture, &core)
    } else {
        bulge(picture, lines, &core)?
    };
    let Name::Mark(mut m) = named else {
        return None;
    };
    // The pen moved: where it was set down first is a guess.
    m.cov += Matrix2::identity() * (DRAWN_AWAY * m.size_mm * picture.scale).powi(2);
    Some(Name::Mark(m))
}

/// A figure that stands out of a ruled line by no more than a dot or a short tick does.
fn bulge(picture: &Picture, lines: &[Line], figure: &Figure) -> Option<Name> {
    let mm = picture.scale;
    let line = &lines[figure.feet.first()?.line];
    let feet: Vec<Foot> = figure
        .feet
        .iter()
        .copied()
        .filter(|f| f.line == figure.feet[0].line)
        .collect();
    let span = feet.iter().fold([f64::MAX, f64::MIN], |s, f| {
        [s[0].min(f.span[0]), s[1].max(f.span[1])]
    });
    // A disc that only just touches the line is wider than where it touches.
    let (length, width) = shape::length_and_width(&figure.points);
    let wide = if length < DOT_ASPECT * width {
        width.max(span[1] - span[0] + 1.0)
    } else {
        span[1] - span[0] + 1.0
    };
    let above = feet.iter().map(|f| f.reach).fold(0.0, f64::max);
    let below = feet.iter().map(|f| -f.reach).fold(0.0, f64::max);
    let height = |reach: f64| (reach + 0.5 - line.half).max(0.0);
    let (up, down) = (height(above), height(below));
    let tallest = up.max(down);
    let sides = usize::from(above > 0.0) + usize::from(below > 0.0);
    if wide > 2.4 * mm {
        // The pen lingered, or ran beside the rule for a while.
        return (tallest < 0.4 * mm && tallest < 0.2 * wide).then_some(Name::OfLine);
    }
    if tallest > 1.9 * mm {
        return None;
    }
    let across = up + down + 2.0 * line.half;
    let slender = if sides == 1 {
        tallest > 1.4 * wide && tallest > 0.9 * mm
    } else {
        across > 1.6 * wide && across > 1.3 * mm
    };
    if slender {
        return None;
    }
    // A spot hardly wider than its line is measured with the line, which has a part in it.
    if tallest < BEAD_MM * mm {
        return Some(Name::OfLine);
    }
    let place = place::spot_on_line(picture, line, &feet);
    if place.diameter > 2.1 * mm {
        return Some(unsure(picture, figure, Doubt::ThickOnLine));
    }
    Some(mark(picture, &place, MarkKind::Dot, &[]))
}

fn by_strokes(picture: &Picture, lines: &[Line], figure: &Figure) -> Name {
    let mm = picture.scale;
    // A ruled line that was taken out leaves a pause as wide as its band.
    let gap = lines.iter().map(|l| 2.0 * l.half).fold(0.0, f64::max) + 0.8 * mm;
    // A broad marker's strokes are wider than the usual pen's.
    let band = (BAND_MM * mm).max(HALF * shape::stroke_width(&figure.points));
    let (strokes, left) = shape::strokes(&figure.points, band, STROKE_MM * mm, gap);
    let explained = 1.0 - left.len() as f64 / figure.points.len() as f64;
    let Some(first) = strokes.first() else {
        return unsure(picture, figure, Doubt::NoShape);
    };
    if let Some(x) = cross_out_or_cross(picture, figure, &strokes, &left) {
        return x;
    }
    // Of a stroke with something beside it not even the pen's direction is sure.
    let beside = left.iter().filter(|p| {
        let d = *p - first.origin;
        first.along.perp(&d).abs() > BESIDE_MM * mm
    });
    let alone = (beside.count() as f64) < LEFT_MM2 * mm * mm;
    let is_single = strokes.len() == 1 && explained > EXPLAINED && alone;
    if is_single {
        single(picture, lines, figure, first)
    } else {
        unsure(picture, figure, Doubt::NoShape)
    }
}

/// Two strokes that cross well inside both.
fn cross_out_or_cross(
    picture: &Picture,
    figure: &Figure,
    strokes: &[Stroke],
    left: &[Vector2<f64>],
) -> Option<Name> {
    let mm = picture.scale;
    for (i, a) in strokes.iter().enumerate() {
        for b in &strokes[i + 1..] {
            let Some((at, s, t)) = a.crossing(b) else {
                continue;
            };
            let (long, short) = (a.length().max(b.length()), a.length().min(b.length()));
            if !a.splits_at(s, 0.18) || !b.splits_at(t, 0.18) || long > 2.6 * short {
                continue;
            }
            // All other ink must lie under the crossing: a mark that was crossed out.
            let reach = short / 2.0;
            let others = strokes
                .iter()
                .filter(|c| !std::ptr::eq(*c, a) && !std::ptr::eq(*c, b));
            let other_ink: usize = others.clone().map(|c| c.pixels).sum::<usize>();
            let stray = left
                .iter()
                .filter(|p| (*p - at).norm() > 0.6 * reach)
                .count();
            let far = others.clone().any(|c| (c.origin - at).norm() > 0.8 * reach);
            if far || stray as f64 > (1.0 - EXPLAINED) * figure.points.len() as f64 {
                continue;
            }
            let place = place::crossing(picture, a, b)?;
            let width = a.width().max(b.width());
            // A stroke's frayed end lies on its axis, what it strikes out beside both.
            let beside = left.iter().filter(|p| {
                (*p - at).norm() < LEFT_MM * mm
                    && [a, b]
                        .iter()
                        .all(|s| s.along.perp(&(*p - s.origin)).abs() > width / 2.0)
            });
            let over_ink = other_ink > 0
                || beside.count() as f64 > LEFT_MM2 * mm * mm
                || ink_under(picture, figure, at, [a, b]);
            // Blur and the pen's width lengthen a stroke by about that width.
            let size_mm = (long - width) / mm;
            let upright = [a, b]
                .iter()
                .all(|s| s.along.x.abs().min(s.along.y.abs()) < UPRIGHT.sin());
            return Some(Name::Crossing(Crossing {
                mark: flat_mark(
                    picture,
                    &place,
                    MarkKind::Cross,
                    &of_one_pen(picture, at, [a, b]),
                ),
                size_mm,
                reach: reach.max(1.0),
                over_ink,
                upright,
                square: a.along.dot(&b.along).abs() < SQUARE.sin(),
            }));
        }
    }
    None
}

/// Those of two strokes that cross at `at` which the pen of the darker one drew: the arms of a cross are of one pen, and a
/// much paler stroke across a mark is none of it.
fn of_one_pen<'s>(
    picture: &Picture,
    at: Vector2<f64>,
    strokes: [&'s Stroke; 2],
) -> Vec<&'s Stroke> {
    let clear = UNDER_MM * picture.scale;
    let ink = |s: &Stroke| {
        let along = (s.span[0].ceil() as i32..=s.span[1] as i32)
            .map(|k| s.origin + s.along * f64::from(k))
            .filter(|p| (p - at).norm() > clear);
        median(along.map(|p| picture.smooth_contrast(p)))
    };
    let inks = strokes.map(ink);
    let darker = inks[0].max(inks[1]);
    let kept = strokes.into_iter().zip(inks);
    kept.filter(|(_, ink)| *ink > HALF_AS_DARK * darker)
        .map(|(s, _)| s)
        .collect()
}

/// Whether ink beside both strokes, near their crossing, shows a mark under them.
fn ink_under(picture: &Picture, figure: &Figure, at: Vector2<f64>, strokes: [&Stroke; 2]) -> bool {
    let mm = picture.scale;
    // The arms show how wide the pen draws; what lies under the crossing would add to it there.
    let arm = 0.5 * strokes[0].length().min(strokes[1].length());
    let from_axis = |p: &Vector2<f64>| {
        let from = |s: &Stroke| s.along.perp(&(p - s.origin)).abs();
        from(strokes[0]).min(from(strokes[1]))
    };
    let outer = |p: &&Vector2<f64>| (**p - at).norm() > ARM * arm;
    let arms: Vec<f64> = figure.points.iter().filter(outer).map(from_axis).collect();
    // Spread evenly over half the width, they are a quarter of it from the axis on average.
    let half = 2.0 * arms.iter().sum::<f64>() / arms.len().max(1) as f64;
    // Blur fills the corners between two strokes.
    let beside = |p: &Vector2<f64>| from_axis(p) > 1.25 * half + 1.0;
    let reach = (UNDER_MM * mm).max(UNDER_HALVES * half);
    let near = |p: &Vector2<f64>| (p - at).norm() < reach;
    let area = figure
        .points
        .iter()
        .filter(|p| near(p) && beside(p))
        .count();
    area as f64 > UNDER_MM2 * mm * mm
}

/// A stroke by itself: across a ruled line it is a tick.
fn single(picture: &Picture, lines: &[Line], figure: &Figure, stroke: &Stroke) -> Name {
    let mm = picture.scale;
    for line in lines {
        let ends =
            [stroke.span[0], stroke.span[1]].map(|s| line.local(stroke.origin + stroke.along * s));
        let near = ends.iter().all(|(s, t)| {
            let (before, after) = (line.span[0] - s, s - line.span[1]);
            t.abs() < 0.5 * mm + line.half && before.max(after) < FURTHER_MM * mm
        });
        let alike = figure.contrast < DARKER * line.contrast;
        if near && alike && stroke.along.perp(&line.along).abs() < 0.09 {
            return Name::OfLine;
        }
    }
    let Some(line) = figure.feet.first().map(|f| &lines[f.line]) else {
        return unsure(picture, figure, Doubt::StrokeAlone);
    };
    if across_another(mm, lines, line, stroke) {
        return unsure(picture, figure, Doubt::TickOnTwoLines);
    }
    if stroke.length() > TICK_MM * mm {
        return unsure(picture, figure, Doubt::StrokeTooLong);
    }
    if stroke.along.perp(&line.along).abs() < 0.55 {
        return unsure(picture, figure, Doubt::StrokeLeans);
    }
    let Some(place) = place::crossing_with_line(picture, stroke, line) else {
        return unsure(picture, figure, Doubt::StrokeNotAcross);
    };
    // It must come to the line: a stroke that stops short of it marks something else.
    let s = (place.at - stroke.origin).dot(&stroke.along);
    let slack = line.half + 0.5 * mm;
    if s < stroke.span[0] - slack || s > stroke.span[1] + slack {
        return unsure(picture, figure, Doubt::StrokeShort);
    }
    mark(picture, &place, MarkKind::Tick, &[stroke])
}

/// Whether the stroke crosses another line that runs beside `line`, drawn with the same pen: which of the two it was
/// drawn on does not show.
fn across_another(mm: f64, lines: &[Line], line: &Line, stroke: &Stroke) -> bool {
    let middle = stroke.origin + stroke.along * ((stroke.span[0] + stroke.span[1]) / 2.0);
    let (_, across) = line.local(middle);
    lines.iter().any(|other| {
        let beside = other.along.perp(&line.along).abs() < SIDE_BY_SIDE;
        let (s, t) = other.local(middle);
        let turned = if other.along.dot(&line.along) < 0.0 {
            -t
        } else {
            t
        };
        let apart = (turned - across).abs();
        let sine = stroke.along.perp(&other.along).abs();
        beside
            && apart > SAME_LINE_MM * mm
            && t.abs() < sine * stroke.length() / 2.0
            && s > other.span[0]
            && s < other.span[1]
    })
}

/// The dark rim of the sheet itself, or its shadow, in the outermost millimetre.
fn along_the_rim(picture: &Picture, figure: &Figure) -> bool {
    let reach = 1.1 * picture.scale;
    let (w, h) = (f64::from(picture.width), f64::from(picture.height));
    let b = figure.bounds();
    let (wide, tall) = (b[2] - b[0] + 1.0, b[3] - b[1] + 1.0);
    let beside = b[2] < reach || b[0] > w - reach;
    let over = b[3] < reach || b[1] > h - reach;
    // Corners are often rounded: what is dark there is the bench.
    let round = ROUND_CORNER_MM * picture.scale;
    let in_corner = (b[2] < round || b[0] > w - round) && (b[3] < round || b[1] > h - round);
    in_corner || (beside && tall > 1.5 * wide) || (over && wide > 1.5 * tall)
}
