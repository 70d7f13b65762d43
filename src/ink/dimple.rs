//! Dimples of a centre punch: round pits whose flank towards the lamp lies in shadow while the other is lit.
//!
//! A dot of ink is as round, but dark alike on all sides. Strokes that cross are dark on one side of many a place, but the
//! dark goes on there: a pit ends at its rim, and the strokes that lead to it end there too, since the punch has laid the
//! metal bare. All dimples of a photo are lit from one side by one lamp, so those that are surely some tell how the
//! others look.

use image::GrayImage;
use nalgebra::{Rotation2, Vector2};
use rayon::prelude::*;

use super::pit::{Known, Look, Patch, Pit, SECTORS, TURNING};
use super::worked::Bare;

/// A dimple in a flat picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct FlatDimple {
    pub(super) at: Vector2<f64>,
    pub(super) diameter: f64,
    /// Standard uncertainty along one direction, px.
    pub(super) sigma: f64,
}

/// Radii that are tried, mm: from a prick punch tapped once to a heavy centre punch.
const TRIED_MM: [f64; 8] = [0.27, 0.33, 0.40, 0.48, 0.57, 0.67, 0.78, 0.90];
/// One punch makes dimples of like size; tried again are these shares of their median, which vary by the second.
const SHARES: [f64; 6] = [0.75, 0.85, 0.95, 1.05, 1.15, 1.25];
const SIZE_SPREAD: f64 = 0.12;
/// A dimple's axis is within this of the ink or the planned place where it is looked for, mm; and two of them are further
/// apart than the second.
const SEARCH_MM: f64 = 0.7;
const APART_MM: f64 = 1.1;
/// Share of what varies in a pit that its look explains: of one alone, and of one that is like the others.
const EXPLAINED: [f64; 2] = [0.8, 0.7];
/// The lit side of a pit is bare metal, and no darker than this (logarithm of its share of the face's light); and it is
/// brighter than the other side by the second.
const LIT: f64 = -0.2;
const SHADED: f64 = 0.12;
/// The burr slopes the other way than the flank beside it. Where the dark of a pit goes on beyond its rim by more than this
/// share, it is the edge of ink: of one alone, and of one that is like the others.
const GOES_ON: [f64; 2] = [0.5, 0.75];
/// Darker than this is a stroke, which ends at a pit's rim: the flank is brighter by the second,
/// again of one alone and of one that is like the others.
const STROKE: f64 = -0.25;
const BITTEN: [f64; 2] = [0.15, 0.08];
/// With fewer sectors of twelve in which a stroke ends, the lit side must outshine the face by the second: a blot beside
/// bare metal has a dark and a level side too.
const FEWEST_BITTEN: usize = 2;
const OUTSHINES: f64 = 0.1;
/// In a dark face a pit is a bright disc: brighter than this all round, where strokes that cross leave corners.
const BRIGHT: f64 = 0.2;
/// Dimples are lit from one side: the cosine within which their directions agree; and so many must, for from fewer it does
/// not show where the lamp is.
const ALIKE: f64 = 0.85;
const FEWEST: usize = 3;
/// Standard deviation of each coefficient of a look, beyond what is seen to vary; and how far off, in variances, a
/// look may be.
const LOOK_VARIES: f64 = 0.08;
const LOOK_OFF: f64 = 30.0;
/// What shows of a pit lies towards its lit side: on the other the shadow fades into the burr, which is bright there. On
/// pits drawn by the laws of light, 0.8 to 1.5 mm wide under forty lamps, by 0.02 to 0.11 mm.
const SHIFT_MM: f64 = 0.065;
/// The crest is rounded, so that a pit's outermost ring is as bright as the face: it looks narrower by this, mm.
const CREST_MM: f64 = 0.15;
/// Standard uncertainty of its axis, mm: what that shift varies, and the fit.
const SIGMA_MM: f64 = 0.05;

/// A pit at a place where one was looked for.
struct Candidate {
    patch: Patch,
    seed: Vector2<f64>,
    pit: Pit,
}

/// What is believed of pits beforehand.
struct Belief {
    /// Away from the lamp: the frame of `mean` and `known`.
    lit: Vector2<f64>,
    mean: Look,
    known: Known,
    /// Median radius, px.
    radius: Option<f64>,
}

/// The dimples of a flat picture at or near `seeds`.
pub(super) fn find(
    bare: &Bare,
    flat: &GrayImage,
    mm: f64,
    seeds: &[Vector2<f64>],
) -> Vec<FlatDimple> {
    let anything = Belief {
        lit: Vector2::x(),
        mean: Look::zeros(),
        known: Known::identity() * 4.0,
        radius: None,
    };
    let candidates: Vec<Candidate> = seeds
        .par_iter()
        .filter_map(|&seed| {
            let patch = Patch::about(bare, flat, seed, mm)?;
            let pit = search(&patch, seed, mm, &anything)?;
            Some(Candidate { patch, seed, pit })
        })
        .collect();
    let sure: Vec<&Pit> = candidates
        .iter()
        .filter(|c| {
            is_pit(
                &c.patch,
                (&c.pit, c.seed),
                mm,
                (&anything, c.pit.brightens()),
            )
        })
        .map(|c| &c.pit)
        .collect();
    let Some(belief) = learnt(&sure) else {
        return Vec::new();
    };
    let again: Vec<Candidate> = candidates
        .into_par_iter()
        .filter_map(|c| {
            let pit = search(&c.patch, c.seed, mm, &belief)?;
            Some(Candidate { pit, ..c })
        })
        .filter(|c| {
            let off = c.pit.look - belief.mean;
            off.dot(&(belief.known * off)) < LOOK_OFF
                && is_pit(&c.patch, (&c.pit, c.seed), mm, (&belief, belief.lit))
        })
        .collect();
    let mut found: Vec<&Pit> = Vec::new();
    for c in &again {
        if found
            .iter()
            .all(|f| (f.at - c.pit.at).norm() > APART_MM * mm)
        {
            found.push(&c.pit);
        }
    }
    if found.len() < FEWEST {
        return Vec::new();
    }
    let dimple = |p: &Pit| FlatDimple {
        at: p.at - belief.lit * (SHIFT_MM * mm),
        diameter: 2.0 * p.radius + CREST_MM * mm,
        sigma: SIGMA_MM * mm,
    };
    found.into_iter().map(dimple).collect()
}

/// Whether a fitted pit is one, whose flank is brightest towards `lit`.
fn is_pit(
    patch: &Patch,
    (pit, seed): (&Pit, Vector2<f64>),
    mm: f64,
    (belief, lit): (&Belief, Vector2<f64>),
) -> bool {
    let (Some(bright), Some(dark)) = (patch.crescent(pit, lit), patch.crescent(pit, -lit)) else {
        return false;
    };
    let like = usize::from(belief.radius.is_some());
    (pit.at - seed).norm() < 0.95 * SEARCH_MM * mm
        && patch.explained(pit, belief.lit) > EXPLAINED[like]
        && bright > LIT
        && bright - dark > SHADED
        && pit.goes_on() < GOES_ON[like]
        && has_rim(patch, pit, lit, BITTEN[like])
}

/// Whether a pit ends at its rim all round, where strokes are darker than its flank by `least`.
fn has_rim(patch: &Patch, pit: &Pit, lit: Vector2<f64>, least: f64) -> bool {
    let sectors = patch.sectors(pit);
    let count = |is: &dyn Fn(f64, &[f64; 3]) -> bool| {
        let towards = |k: usize| {
            let angle = k as f64 * std::f64::consts::TAU / SECTORS as f64;
            Vector2::new(angle.cos(), angle.sin()).dot(&lit)
        };
        (0..SECTORS)
            .filter(|&k| is(towards(k), &sectors[k]))
            .count()
    };
    let level = sectors.iter().map(|s| s[0]).sum::<f64>() / SECTORS as f64;
    if level > BRIGHT {
        return count(&|_, [flank, ..]| *flank < BRIGHT) == 0;
    }
    // A stroke that leads away from the pit: one that only passes by is dark near it and not further off.
    let stroke = |[_, near, far]: &[f64; 3]| *near < STROKE && *far < STROKE;
    let ends = |[flank, near, _]: &[f64; 3]| *flank > near + least;
    let bitten = count(&|_, s| stroke(s) && ends(s));
    // In the shadow a pit is as dark as ink.
    let whole = count(&|towards, s| stroke(s) && !ends(s) && towards > -0.2);
    let shines = count(&|towards, s| towards > 0.4 && s[0] > OUTSHINES) > 0;
    whole == 0 && (bitten >= FEWEST_BITTEN || shines)
}

/// What the pits of a photo that are lit from one side have in common.
fn learnt(sure: &[&Pit]) -> Option<Belief> {
    let agree = |way: Vector2<f64>| {
        sure.iter()
            .filter(move |p| p.brightens().dot(&way) > ALIKE)
            .copied()
    };
    let way = sure
        .iter()
        .map(|p| p.brightens())
        .max_by_key(|&way| agree(way).count())?;
    let lit: Vector2<f64> = agree(way).map(Pit::brightens).sum();
    let lit = lit.try_normalize(1e-9)?;
    let like: Vec<(Look, f64)> = agree(lit)
        .map(|p| (turned(&p.look, lit), p.radius))
        .collect();
    if like.len() < FEWEST {
        return None;
    }
    let n = like.len() as f64;
    let mut mean = like.iter().map(|l| l.0).sum::<Look>() / n;
    let mut spread = Known::identity() * LOOK_VARIES.powi(2);
    for (look, _) in &like {
        let off = look - mean;
        spread += off * off.transpose() / n;
    }
    // Both sides of the plane through lamp and axis look alike.
    for (k, _) in TURNING {
        mean[k + 1] = 0.0;
    }
    let mut radii: Vec<f64> = like.iter().map(|l| l.1).collect();
    radii.sort_by(f64::total_cmp);
    Some(Belief {
        lit,
        mean,
        known: spread.try_inverse()?,
        radius: Some(radii[radii.len() / 2]),
    })
}

/// A look in the frame of the direction `lit`.
fn turned(look: &Look, lit: Vector2<f64>) -> Look {
    let mut out = *look;
    let angle = lit.y.atan2(lit.x);
    for (k, order) in TURNING {
        let v = Rotation2::new(-order * angle) * Vector2::new(look[k], look[k + 1]);
        (out[k], out[k + 1]) = (v.x, v.y);
    }
    out
}

/// The pit near `seed` that explains most: tried on every pixel, then between them.
fn search(patch: &Patch, seed: Vector2<f64>, mm: f64, belief: &Belief) -> Option<Pit> {
    let fit = |at: Vector2<f64>, radius: f64| {
        let mut pit = patch.fit(at, radius, belief.lit, (&belief.mean, &belief.known))?;
        if let Some(usual) = belief.radius {
            pit.cost += ((radius / usual).ln() / SIZE_SPREAD).powi(2);
        }
        Some(pit)
    };
    let better = |a: Pit, b: Pit| if b.cost < a.cost { b } else { a };
    let radii: Vec<f64> = belief.radius.map_or_else(
        || TRIED_MM.iter().map(|r| r * mm).collect(),
        |usual| SHARES.iter().map(|s| s * usual).collect(),
    );
    let n = (SEARCH_MM * mm) as i32;
    let mut best: Option<Pit> = None;
    for radius in radii {
        for (j, i) in (-n..=n).flat_map(|j| (-n..=n).map(move |i| (j, i))) {
            let v = Vector2::new(f64::from(i), f64::from(j));
            if v.norm() <= SEARCH_MM * mm
                && let Some(pit) = fit(seed + v, radius)
            {
                best = Some(best.map_or(pit, |b| better(b, pit)));
            }
        }
    }
    let mut best = best?;
    let mut step = 0.5;
    // Ever finer; each round ends, since the cost only falls.
    for _ in 0..40 {
        let from = best;
        for (x, y, r) in [
            (step, 0.0, 0.0),
            (-step, 0.0, 0.0),
            (0.0, step, 0.0),
            (0.0, -step, 0.0),
            (0.0, 0.0, 0.7 * step),
            (0.0, 0.0, -0.7 * step),
        ] {
            if let Some(pit) = fit(from.at + Vector2::new(x, y), from.radius + r) {
                best = better(best, pit);
            }
        }
        if best.cost >= from.cost {
            step *= 0.5;
        }
        if step < 0.1 {
            break;
        }
    }
    Some(best)
}
