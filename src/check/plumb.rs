//! What ruled lines tell of the lens: on the face they are straight, so what bends them in the photo is the lens.
//!
//! Cards and sheet edges settle the lens where they lie. Where the cards lie at one side only and no edge is in the
//! picture, nothing else says what the lens does at the other side, and U there is mostly that. A line drawn along a rule
//! is no straighter than the rule and the hand, though, and one that is bowed would bend the lens: so lines count only
//! where they make U noticeably smaller, as much as a hand's line deserves, and only if several agree.

use nalgebra::{DMatrix, DVector, Vector2};

use crate::frame::{Cov2, Pixel, Point, Sheet};
use crate::ink::Axis;
use crate::plan::{Units, length};
use crate::report::words;
use crate::survey::{
    LensSource, LineId, Model, SheetDatum, SheetFrame, StraightLine, Survey, View,
};

/// How far the middle of a line along a rule lies off the straight line between its ends, standard deviation, mm: the
/// rule's edge is true to some hundredths, and a pen that leans otherwise as it goes moves by a tenth (common practice,
/// no source).
const BOW_MM: f64 = 0.1;
/// A line whose bow is beyond so many standard deviations of what the others leave open is not straight.
const BOWED_SIGMAS: f64 = 2.5;
/// A line that is bent by so many standard deviations more than the survey can explain is not straight either.
const BEYOND_SIGMAS: f64 = 3.5;
/// Points that scatter more than this about a smooth curve, mm, are of a line drawn twice, or of print.
const MAX_SCATTER_MM: f64 = 0.12;
/// A line whose bend the survey foresees within so many times [`BOW_MM`] tells it nothing.
const TELLS: f64 = 1.5;
/// The shortest line that is looked at, mm, and the fewest points.
const MIN_LENGTH_MM: f64 = 60.0;
const MIN_POINTS: usize = 8;
/// At most so many lines, those that tell most.
const MAX_LINES: usize = 6;
/// By what part U of some mark must shrink, were the lens's bend known for sure.
const GAIN: f64 = 0.15;
/// Pieces of one line follow each other with gaps up to this and overlap by no more, mm; lie so far beside each other there;
/// and differ so much in direction, sine: a lens that nobody told of bends a line by that between two pieces.
const GAP_MM: f64 = 15.0;
const OVERLAP_MM: f64 = 10.0;
const BESIDE_MM: f64 = 0.6;
const TURN: f64 = 0.04;
/// Lines are witnesses of each other if they lie on different sides of the picture's middle, cosine: two along one side
/// may be drawn along one bent rule.
const OTHER_SIDE: f64 = 0.5;
/// Names of the ruled lines: beyond those of the sheet's edges.
const FIRST_ID: u32 = 100;

/// What the photo shows.
pub(super) struct Shown {
    /// Its marks and their own covariances, px².
    pub(super) marks: Vec<(Point<Pixel>, Cov2)>,
    /// Its ruled lines.
    pub(super) axes: Vec<Axis>,
}

/// A survey in which ruled lines have a say.
pub(super) struct Settled {
    pub(super) survey: Survey,
    /// Lines that were left out because the others show them to be bowed.
    pub(super) bowed: Vec<Bowed>,
}

/// A line that is not straight.
pub(super) struct Bowed {
    ends: [Point<Sheet>; 2],
    by_mm: f64,
}

impl Bowed {
    pub(super) fn said(&self, units: Units) -> String {
        let [a, b] = self.ends.map(|p| words::measured_place(p, units));
        format!(
            "the ruled line from ({a}) to ({b}) {} is bowed by {}, as the other lines show, so it is not used to find what the lens does: is the rule straight?",
            length::unit_sign(units),
            words::both(self.by_mm, units)
        )
    }
}

/// A ruled line.
struct Ruled {
    /// Points on it, and millimetres per pixel there.
    points: Vec<(Point<Pixel>, f64)>,
    /// Scatter of its points about a smooth curve, mm.
    own_mm: f64,
    /// How far the survey has it bowed, and the standard deviation of that by what the survey leaves open, mm.
    bow_mm: f64,
    open_mm: f64,
    /// From the picture's middle towards the line, on the face, length 1.
    side: Vector2<f64>,
}

/// The survey with the photo's ruled lines in it; `None` where they would gain nothing, or do not agree. `solve` makes a
/// survey with these lines besides all that it had.
pub(super) fn settle(
    survey: &Survey,
    datum: &SheetDatum,
    shown: &Shown,
    solve: impl Fn(&[StraightLine]) -> Option<Survey>,
) -> Option<Settled> {
    if survey.lens_source == LensSource::Profile || !would_gain(survey, datum, shown)? {
        return None;
    }
    let lines = joined(survey.view(0)?, &shown.axes);
    let lines = lines.into_iter().filter_map(|at| Ruled::of(survey, at));
    // What no lens can explain that the survey holds possible is bowed by itself.
    let (mut lines, mut bowed): (Vec<Ruled>, Vec<Ruled>) =
        lines.partition(|l| l.bow_mm.abs() <= BEYOND_SIGMAS * l.open_mm.hypot(BOW_MM));
    lines.sort_by(|a, b| b.open_mm.total_cmp(&a.open_mm));
    lines.truncate(MAX_LINES);
    let solved = |lines: &[&Ruled]| {
        let survey = solve(&straight(lines))?;
        let bows = lines.iter().map(|l| Some(l.bow_in(&survey)?.abs()));
        let worst = bows
            .collect::<Option<Vec<f64>>>()?
            .into_iter()
            .fold(0.0, f64::max);
        Some((worst, survey))
    };
    loop {
        let all: Vec<&Ruled> = lines.iter().collect();
        if !have_witnesses(&all) {
            return None;
        }
        let (worst_mm, survey) = solved(&all)?;
        if worst_mm <= straight_mm(all.len()) {
            let bowed = bowed
                .iter()
                .filter_map(|l| l.told(&survey, datum))
                .collect();
            return Some(Settled { survey, bowed });
        }
        // The line without which the others agree best.
        let without = |i: usize| {
            let mut others = all.clone();
            others.remove(i);
            Some((solved(&others)?.0, i))
        };
        let (_, odd) = (0..all.len())
            .filter_map(without)
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        bowed.push(lines.remove(odd));
    }
}

/// Whether U of some mark would shrink noticeably, were the lens's bend known.
fn would_gain(survey: &Survey, datum: &SheetDatum, shown: &Shown) -> Option<bool> {
    let sure = survey.knowing_bend();
    let now = survey.sheet_frame(datum, 0).ok()?;
    let then = sure.sheet_frame(datum, 0).ok()?;
    let u = |frame: &SheetFrame, (at, own): (Point<Pixel>, Cov2)| {
        let (_, cov) = frame.point(at, own)?;
        Some(cov.symmetric_eigenvalues().max().max(0.0).sqrt())
    };
    let gains = |&mark: &(Point<Pixel>, Cov2)| match (u(&now, mark), u(&then, mark)) {
        (Some(now), Some(then)) => then < (1.0 - GAIN) * now,
        _ => false,
    };
    Some(shown.marks.iter().any(gains))
}

/// Whether some two of the lines lie at different sides of the picture's middle.
fn have_witnesses(lines: &[&Ruled]) -> bool {
    let apart = |a: &Ruled, b: &Ruled| a.side.dot(&b.side) < OTHER_SIDE;
    (0..lines.len()).any(|i| lines[i + 1..].iter().any(|b| apart(lines[i], b)))
}

/// How far each of `count` lines may be bowed when all are solved together, mm. The lens takes on the n-th part of what
/// one is bowed, and the rest is left. So of two lines one that is bowed by 0.35 mm passes, and of three one by 0.31:
/// that bends the lens by 0.18 mm and by 0.10 mm along such a line, which is within U of [`BOW_MM`], twice that.
fn straight_mm(count: usize) -> f64 {
    BOWED_SIGMAS * BOW_MM * (1.0 - 1.0 / count as f64).sqrt()
}

/// The lines as the survey takes them.
fn straight(lines: &[&Ruled]) -> Vec<StraightLine> {
    let count: usize = lines.iter().map(|l| l.points.len()).sum();
    // All may be drawn along one rule that is not straight, so together they must tell a bend no better than to
    // [`BOW_MM`]. The middle's place off the chord is known to s √(45 / 4n) from n points along a line whose standard
    // deviation is s, by the variance of u² over -1 to 1, 4/45.
    let bow_var = BOW_MM * BOW_MM * count as f64 * 4.0 / 45.0;
    let of = |(id, line): (u32, &&Ruled)| {
        let sd_mm = (line.own_mm.powi(2) + bow_var).sqrt();
        let points = line.points.iter();
        StraightLine {
            id: LineId(id),
            points: points
                .map(|&(p, mm_per_px)| (p, sd_mm / mm_per_px))
                .collect(),
        }
    };
    (FIRST_ID..).zip(lines).map(of).collect()
}

impl Ruled {
    /// The line through these points; `None` if it is none that tells anything.
    fn of(survey: &Survey, at: Vec<Point<Pixel>>) -> Option<Self> {
        let view = survey.view(0)?;
        let ends = [*at.first()?, at[at.len() / 2], *at.last()?];
        let curve = Curve::of(&on_face(view, &at)?)?;
        if at.len() < MIN_POINTS
            || curve.length_mm < MIN_LENGTH_MM
            || curve.scatter_mm > MAX_SCATTER_MM
        {
            return None;
        }
        let known = ends.map(|p| (p, Cov2::zeros()));
        let bend = |model: &Model, at: &[Point<Pixel>]| {
            let [a, middle, b] = on_face(model.views().first()?, at)?[..] else {
                return None;
            };
            let chord = (b - a).try_normalize(f64::MIN_POSITIVE)?;
            Some(Vector2::new(chord.perp(&(middle - a)), 0.0))
        };
        let open_mm = survey.derived_cov(&known, bend)?[(0, 0)].max(0.0).sqrt();
        let lens = view.lens();
        let middle = view.face_from_pixel(Point::new(lens.cx_px, lens.cy_px))?;
        let along = (curve.to - curve.from).normalize();
        let reach = curve.from - middle.vec();
        let side = (reach - along * along.dot(&reach)).try_normalize(f64::MIN_POSITIVE)?;
        let points = at
            .iter()
            .map(|&p| Some((p, view.mm_per_px(view.face_from_pixel(p)?)?)))
            .collect::<Option<_>>()?;
        (open_mm > TELLS * BOW_MM).then_some(Self {
            points,
            own_mm: curve.scatter_mm,
            bow_mm: curve.bow_mm,
            open_mm,
            side,
        })
    }

    fn at(&self) -> Vec<Point<Pixel>> {
        self.points.iter().map(|p| p.0).collect()
    }

    /// How far a survey has it bowed, mm.
    fn bow_in(&self, survey: &Survey) -> Option<f64> {
        Some(Curve::of(&on_face(survey.view(0)?, &self.at())?)?.bow_mm)
    }

    /// What is told of it where it is bowed.
    fn told(&self, survey: &Survey, datum: &SheetDatum) -> Option<Bowed> {
        let frame = survey.sheet_frame(datum, 0).ok()?;
        let [from, to] =
            [self.points.first()?, self.points.last()?].map(|p| frame.sheet_from_pixel(p.0));
        let mut ends = [from?, to?];
        ends.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        Some(Bowed {
            ends,
            by_mm: self.bow_in(survey)?.abs(),
        })
    }
}

fn on_face(view: &View, at: &[Point<Pixel>]) -> Option<Vec<Vector2<f64>>> {
    at.iter()
        .map(|&p| Some(view.face_from_pixel(p)?.vec()))
        .collect()
}

/// A smooth curve through points in their order.
struct Curve {
    from: Vector2<f64>,
    to: Vector2<f64>,
    length_mm: f64,
    /// How far its middle lies off the straight line between its ends.
    bow_mm: f64,
    /// Scatter of the points about it.
    scatter_mm: f64,
}

impl Curve {
    /// By least squares, of third degree across the chord: more than a lens does to a line.
    fn of(points: &[Vector2<f64>]) -> Option<Self> {
        let (from, to) = (*points.first()?, *points.last()?);
        let chord = to - from;
        let length_mm = chord.norm();
        let along = chord.try_normalize(f64::MIN_POSITIVE)?;
        let half = length_mm / 2.0;
        let place = |p: &Vector2<f64>| along.dot(&(p - from)) / half - 1.0;
        let powers = DMatrix::from_fn(points.len(), 4, |i, k| place(&points[i]).powi(k as i32));
        let across =
            DVector::from_iterator(points.len(), points.iter().map(|p| along.perp(&(p - from))));
        let by = (powers.tr_mul(&powers))
            .cholesky()?
            .solve(&powers.tr_mul(&across));
        let left = (&powers * &by - across).norm_squared();
        let free = points.len().checked_sub(4).filter(|n| *n > 0)?;
        Some(Self {
            from,
            to,
            length_mm,
            bow_mm: -by[2],
            scatter_mm: (left / free as f64).sqrt(),
        })
    }
}

/// The lines with the pieces of each put together: what an unknown lens bends is found in pieces.
fn joined(view: &View, axes: &[Axis]) -> Vec<Vec<Point<Pixel>>> {
    let mut lines: Vec<Vec<Point<Pixel>>> = Vec::new();
    for axis in axes {
        let mut line = axis.clone();
        // As long as another goes on where this one ends, or ends where it starts.
        while let Some((i, both)) = lines
            .iter()
            .enumerate()
            .find_map(|(i, other)| Some((i, one_line(view, &line, other)?)))
        {
            lines.remove(i);
            line = both;
        }
        lines.push(line);
    }
    lines
}

/// Both as one line in the order along it, if one goes on where the other ends.
fn one_line(view: &View, a: &[Point<Pixel>], b: &[Point<Pixel>]) -> Option<Vec<Point<Pixel>>> {
    let (at_a, at_b) = (on_face(view, a)?, on_face(view, b)?);
    let way = |p: &[Vector2<f64>]| (p.last()? - p.first()?).try_normalize(f64::MIN_POSITIVE);
    let (way_a, way_b) = (way(&at_a)?, way(&at_b)?);
    if way_a.perp(&way_b).abs() > TURN {
        return None;
    }
    let turned = way_a.dot(&way_b) < 0.0;
    let (mut b, mut at_b) = (b.to_vec(), at_b);
    if turned {
        b.reverse();
        at_b.reverse();
    }
    let follows = |before: &[Vector2<f64>], after: &[Vector2<f64>]| {
        let step = after.first()? - before.last()?;
        let along = (way_a + if turned { -way_b } else { way_b }).normalize();
        let (gap, beside) = (along.dot(&step), along.perp(&step));
        ((-OVERLAP_MM..GAP_MM).contains(&gap) && beside.abs() < BESIDE_MM).then_some(())
    };
    if follows(&at_a, &at_b).is_some() {
        Some([a, &b].concat())
    } else if follows(&at_b, &at_a).is_some() {
        Some([&b, a].concat())
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a fit of third degree over 100 mm.
    const EXACT_MM: f64 = 1e-9;

    #[test]
    fn a_bow_is_told_from_scatter_and_from_a_double_bend() {
        let at = |y: fn(f64) -> f64| -> Vec<Vector2<f64>> {
            let places = (0..=25).map(|i| f64::from(i) / 12.5 - 1.0);
            places.map(|u| Vector2::new(50.0 * u, y(u))).collect()
        };
        let bowed = Curve::of(&at(|u| 0.3 * (1.0 - u * u))).unwrap();
        assert!((bowed.bow_mm - 0.3).abs() < EXACT_MM, "{}", bowed.bow_mm);
        assert!(bowed.scatter_mm < EXACT_MM && (bowed.length_mm - 100.0).abs() < EXACT_MM);
        let bent_twice = Curve::of(&at(|u| 0.3 * u * (1.0 - u * u))).unwrap();
        assert!(bent_twice.bow_mm.abs() < EXACT_MM && bent_twice.scatter_mm < EXACT_MM);
        // Every other point 0.4 mm off, as of a line drawn twice.
        let mut twice = at(|_| 0.0);
        twice.iter_mut().step_by(2).for_each(|p| p.y = 0.4);
        let twice = Curve::of(&twice).unwrap();
        assert!(twice.scatter_mm > MAX_SCATTER_MM, "{}", twice.scatter_mm);
        assert!(Curve::of(&at(|_| 0.0)[..4]).is_none());
    }

    #[test]
    fn one_bowed_line_among_several_is_found_or_within_u() {
        // What passes is bowed by straight_mm · n / (n - 1), and bends the lens by the n-th part of it.
        for n in 2..=MAX_LINES {
            let passes = straight_mm(n) * n as f64 / (n as f64 - 1.0);
            let does = passes / n as f64;
            assert!(does <= 2.0 * BOW_MM, "{n} lines: {does:.3} mm");
        }
    }
}
