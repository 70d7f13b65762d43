//! Whether what surrounds a dimple is what a punch left of a mark, or of a stroke that had struck the mark out.
//!
//! The punch wipes out the middle of both. Further out a mark's own strokes lead away from it along its ruled line and square
//! to that, as those of an upright cross do; a stroke that strikes out leads away aslant. So ink is looked for there, in all
//! directions between.

use image::GrayImage;
use nalgebra::Vector2;

use super::dimple::FlatDimple;
use super::pit::Patch;
use super::worked::Bare;

/// From so far beyond a dimple's rim, where its burr ends, ink is looked for over the second, mm.
const BEYOND_MM: f64 = 0.35;
const LENGTH_MM: f64 = 0.6;
/// A dimple nearer than this to a ruled line stands on it, mm.
const ON_LINE_MM: f64 = 1.0;
/// A mark's own strokes are up to this wide to each side, mm, and lean by up to the second, rad.
const HALF_PEN_MM: f64 = 0.3;
const LEAN: f64 = 0.2;
/// Step between the directions looked in, rad.
const STEP: f64 = 0.05;
/// A stroke differs from the face by this at least (logarithm of its share of the face's light), and by so many times what
/// the face shows beside the mark.
const LEAST: f64 = 0.08;
const OVER_FACE: f64 = 1.5;
/// Between strokes less than this share of their ink is seen; in a blot or at a ring there is as much all round.
const BETWEEN: f64 = 0.5;
/// Where the face is looked at for comparison, along the line from the dimple, mm.
const BESIDE_MM: [f64; 6] = [-5.2, -4.4, -3.6, 3.6, 4.4, 5.2];

/// What lies round a dimple.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Round {
    /// Nothing but what may be a mark's own strokes.
    Mark,
    /// Strokes that lead away aslant.
    Aslant,
    /// Ink on all sides, or grain; or too little is seen to tell.
    Unclear,
}

/// A ruled line near a dimple: its direction (length 1), and how far the dimple lies beside it, px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Near {
    pub(super) along: Vector2<f64>,
    pub(super) off: f64,
}

/// What lies round a dimple near these `lines`.
pub(super) fn round(
    bare: &Bare,
    flat: &GrayImage,
    mm: f64,
    dimple: &FlatDimple,
    lines: &[Near],
) -> Round {
    let from = dimple.diameter / 2.0 + BEYOND_MM * mm;
    let own = (HALF_PEN_MM * mm / from).min(1.0).asin() + LEAN;
    let to = from + LENGTH_MM * mm;
    let is_own = |way: &Vector2<f64>| {
        lines.iter().any(|l| {
            // The sine of twice the angle is as small near square to a line as near it.
            let aslant = (2.0 * l.along.dot(way) * l.along.perp(way)).abs();
            let is_on = l.off.abs() < ON_LINE_MM * mm && aslant < (2.0 * own).sin();
            // Or the way leads to ink of the line.
            let [near, far] = [from, to].map(|r| l.off + r * l.along.perp(way));
            let clear = near.abs().min(far.abs()) > HALF_PEN_MM * mm && near * far > 0.0;
            is_on || !clear
        })
    };
    let ways: Vec<Vector2<f64>> = (0..(std::f64::consts::TAU / STEP) as i32)
        .map(|k| f64::from(k) * STEP)
        .map(|turn| Vector2::new(turn.cos(), turn.sin()))
        .filter(|way| !is_own(way))
        .collect();
    // The least and the most that is seen in any of them.
    let range = |at: Vector2<f64>| {
        let patch = Patch::about(bare, flat, at, mm)?;
        let along = |way: &Vector2<f64>| patch.along(at, *way, [from, to]);
        let each: Option<Vec<f64>> = ways.iter().map(along).collect();
        let mut each = each?;
        each.sort_by(f64::total_cmp);
        Some((*each.first()?, *each.last()?))
    };
    let Some((least, most)) = range(dimple.at) else {
        return Round::Unclear;
    };
    if most <= LEAST {
        return Round::Mark;
    }
    let along = lines.first().map_or(Vector2::x(), |l| l.along);
    let mut beside: Vec<f64> = BESIDE_MM
        .iter()
        .filter_map(|d| Some(range(dimple.at + along * (d * mm))?.1))
        .collect();
    beside.sort_by(f64::total_cmp);
    // The median: other marks may stand at some of these places. In grain as strong as this a stroke would not show.
    let stands_out = (beside.get(beside.len() / 2)).is_some_and(|face| most > OVER_FACE * face);
    if stands_out && least < BETWEEN * most {
        Round::Aslant
    } else {
        Round::Unclear
    }
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    const MM: f64 = 12.0;

    /// What lies round a dimple of 1.2 mm amid a ruled line, with ink where `ink` says, mm from the dimple.
    fn seen(ink: impl Fn(f64, f64) -> bool) -> Round {
        seen_beside(None, ink)
    }

    /// And with another ruled line near.
    fn seen_beside(beside: Option<Near>, ink: impl Fn(f64, f64) -> bool) -> Round {
        let flat = GrayImage::from_fn(360, 240, |x, y| {
            let (x, y) = ((f64::from(x) - 180.0) / MM, (f64::from(y) - 120.0) / MM);
            let wiped = x.hypot(y) < 0.6;
            let line = y.abs() < 0.2;
            Luma([if !wiped && (line || ink(x, y)) {
                90
            } else {
                200
            }])
        });
        let dimple = FlatDimple {
            at: Vector2::new(180.0, 120.0),
            diameter: 1.2 * MM,
            sigma: 1.0,
        };
        let on = Near {
            along: Vector2::x(),
            off: 0.0,
        };
        let lines: Vec<Near> = std::iter::once(on).chain(beside).collect();
        round(&Bare::of(&flat, MM), &flat, MM, &dimple, &lines)
    }

    #[test]
    fn a_ticks_arms_lead_away_square_to_its_line_and_what_strikes_it_out_aslant() {
        assert_eq!(seen(|_, _| false), Round::Mark);
        let tick = |x: f64, y: f64| (x - 0.15 * y).abs() < 0.25 && y.abs() < 2.2;
        assert_eq!(seen(tick), Round::Mark);
        // Struck through from lower left to upper right, by a stroke that ends 1.8 mm from the middle.
        let strike = |x: f64, y: f64| (0.8 * x + 0.6 * y).abs() < 0.2 && x.hypot(y) < 1.8;
        assert_eq!(seen(strike), Round::Aslant);
        assert_eq!(seen(|x, y| tick(x, y) || strike(x, y)), Round::Aslant);
        // On one side alone; both ways.
        assert_eq!(seen(|x, y| strike(x, y) && y > 0.0), Round::Aslant);
        assert_eq!(seen(|x, y| strike(x, y) || strike(-x, y)), Round::Aslant);
    }

    #[test]
    fn a_ruled_line_beside_the_dimple_strikes_nothing_out() {
        let line = |x: f64, _: f64| (x + 1.1).abs() < 0.2;
        let known = Near {
            along: Vector2::y(),
            off: -1.1 * MM,
        };
        assert_eq!(seen(line), Round::Aslant);
        assert_eq!(seen_beside(Some(known), line), Round::Mark);
        // Known or not, it hides no stroke on the other side.
        let strike = |x: f64, y: f64| (0.8 * x + 0.6 * y).abs() < 0.2 && x > 0.0;
        let both = |x: f64, y: f64| line(x, y) || strike(x, y);
        assert_eq!(seen_beside(Some(known), both), Round::Aslant);
    }

    #[test]
    fn grain_that_would_hide_a_stroke_is_unclear() {
        let grain = |_: f64, y: f64| (y + 10.0).rem_euclid(0.5) < 0.25;
        assert_eq!(seen(grain), Round::Unclear);
    }

    #[test]
    fn a_ring_is_no_stroke() {
        let ring = |x: f64, y: f64| (x.hypot(y) - 1.25).abs() < 0.22;
        assert_eq!(seen(ring), Round::Unclear);
    }
}
