//! Where the centre of a mark is, to a fraction of a pixel, and how well that is known.

use nalgebra::{Matrix2, Vector2};

use super::figure::{Figure, Foot};
use super::lines::Line;
use super::picture::Picture;
use super::shape::Stroke;

/// A place in the flat picture with its covariance, px and px², and the diameter of the disc that
/// would hold as much ink, px.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) at: Vector2<f64>,
    pub(super) cov: Matrix2<f64>,
    pub(super) diameter: f64,
}

/// Neighbouring pixels share blur and grain: noise averages as if there were this many times fewer.
const SHARED: f64 = 6.0;
/// Shares of a spot's contrast between which ink comes to count: below the first lie grain, flare and the lens's smear,
/// which have nothing to do with where the ink is, and above the second each bit more of ink counts in full. Between them
/// it comes in gradually: weights that set in with a kink would make the mean jump with the pixels' places, by 0.01 px and
/// more, so that in little noise it had 1.6 times the least error (`cargo bench --bench bound`), where it now has 1.1.
/// On real photos (`tests/real_dots.rs`) such means lie 5 to 13 % nearer to the listed centres than with a kink, and more
/// evenly along the dots' own rows. (A blurred disc fitted to the rim comes to the least error in drawn dots, but twice as
/// far from the listed centres: what is soft on one side only moves it more.)
const ONSET: [f64; 2] = [0.05, 0.45];
/// What is left with no noise at all: rounding, resampling, JPEG blocks, px.
const FLOOR_PX: f64 = 0.04;
/// The pen's own raggedness, mm: fibres and flow shift the ink's middle from where it was set down.
const RAGGED_MM: f64 = 0.01;
/// Along a ruled line the ink so near a tick says where the tick crosses it, mm.
const NEAR_A_TICK_MM: f64 = 10.0;

pub(super) fn floor(picture: &Picture) -> f64 {
    FLOOR_PX.powi(2) + (RAGGED_MM * picture.scale).powi(2)
}

/// A pixel, how much it weighs in a mean, and how much more it would with so much more contrast.
struct Weight {
    at: Vector2<f64>,
    weight: f64,
    gain: f64,
}

/// Centre of a spot: the mean of its pixels and their rim, weighted by how dark they are.
pub(super) fn spot(picture: &Picture, figure: &Figure) -> Place {
    // Two pixels beyond the mask: the blurred skirt weighs on both sides alike, cut off it would not.
    const SKIRT: i64 = 2;
    let b = figure.bounds().map(|v| v.floor() as i64);
    let (x0, y0) = (b[0] - SKIRT, b[1] - SKIRT);
    let (w, h) = (
        (b[2] - x0 + SKIRT + 1) as usize,
        (b[3] - y0 + SKIRT + 1) as usize,
    );
    let mut near = vec![false; w * h];
    for p in &figure.points {
        let (x, y) = (p.x.floor() as i64 - x0, p.y.floor() as i64 - y0);
        for dy in -SKIRT..=SKIRT {
            for dx in -SKIRT..=SKIRT {
                near[(y + dy) as usize * w + (x + dx) as usize] = true;
            }
        }
    }
    let onset = ONSET.map(|share| share * figure.contrast);
    let mut weights = Vec::new();
    for (i, _) in near.iter().enumerate().filter(|(_, n)| **n) {
        let at = Vector2::new(
            (x0 + (i % w) as i64) as f64 + 0.5,
            (y0 + (i / w) as i64) as f64 + 0.5,
        );
        let (weight, gain) = gradual(f64::from(picture.contrast(at)), onset);
        weights.push(Weight { at, weight, gain });
    }
    weighted(picture, &weights)
}

/// How much a contrast counts, and the slope of that: nothing below `from`, and in full above `to`; a parabola between.
fn gradual(contrast: f64, [from, to]: [f64; 2]) -> (f64, f64) {
    let over = (contrast - from).max(0.0);
    let wide = to - from;
    if over < wide {
        (over * over / (2.0 * wide), over / wide)
    } else {
        (over - wide / 2.0, 1.0)
    }
}

/// The mean of pixels by their weights.
///
/// Noise of standard deviation σ in the contrast, of slope g in each weight, moves it by σ sqrt(Σ(g (x - m))²) / Σw.
fn weighted(picture: &Picture, weights: &[Weight]) -> Place {
    let total: f64 = weights.iter().map(|w| w.weight).sum::<f64>().max(1e-6);
    let at = weights
        .iter()
        .map(|w| w.at * w.weight)
        .sum::<Vector2<f64>>()
        / total;
    let noise = picture.ground.texture_at(at.x, at.y);
    let spread = weights
        .iter()
        .map(|w| {
            let d = (w.at - at) * w.gain;
            d * d.transpose()
        })
        .sum::<Matrix2<f64>>();
    let cov = spread * (SHARED * (noise / total).powi(2)) + Matrix2::identity() * floor(picture);
    let peak = weights
        .iter()
        .map(|w| w.weight)
        .fold(0.0, f64::max)
        .max(1e-6);
    let area = weights.iter().map(|w| w.weight.max(0.0)).sum::<f64>() / peak;
    Place {
        at,
        cov,
        diameter: 2.0 * (area / std::f64::consts::PI).sqrt(),
    }
}

/// Centre of a spot on a ruled line.
///
/// Along the line: the mean of the ink that is there beyond the line's own. Across: halfway between
/// the spot's upper and lower rim, or, when it shows on one side only, its radius below that rim.
pub(super) fn spot_on_line(picture: &Picture, line: &Line, feet: &[Foot]) -> Place {
    let from = feet.iter().map(|f| f.span[0]).fold(f64::MAX, f64::min);
    let to = feet.iter().map(|f| f.span[1]).fold(f64::MIN, f64::max);
    let above = feet.iter().map(|f| f.reach).fold(0.0, f64::max);
    let below = feet.iter().map(|f| f.reach).fold(0.0, f64::min);
    let (low, high) = (below.min(-line.half) - 3.0, above.max(line.half) + 3.0);
    let columns: Vec<f64> = grid(low, high);
    // The line's own ink to the left and right of the spot.
    let clear = 0.35 * picture.scale;
    let beside: Vec<f64> = grid(from - clear - 0.8 * picture.scale, from - clear)
        .into_iter()
        .chain(grid(to + clear, to + clear + 0.8 * picture.scale))
        .collect();
    let own: Vec<f64> = columns
        .iter()
        .map(|&t| {
            beside
                .iter()
                .map(|&s| f64::from(picture.contrast(line.point(s, t))))
                .sum::<f64>()
                / beside.len().max(1) as f64
        })
        .collect();
    let mut extra = Vec::new();
    for s in grid(from - 2.5, to + 2.5) {
        for (&t, own) in columns.iter().zip(&own) {
            extra.push(Weight {
                at: Vector2::new(s, t),
                weight: f64::from(picture.contrast(line.point(s, t))) - own,
                gain: 1.0,
            });
        }
    }
    let mean = weighted(picture, &extra);
    // Where the line and its spot are equally black only the rims show; the mean along still holds.
    let s = mean.at.x.clamp(from, to);
    let width = to - from + 1.0;
    let rim = |side: f64, reach: f64| {
        let mut rims: Vec<f64> = grid(s - 0.2 * width, s + 0.2 * width)
            .iter()
            .map(|&s| rim_at(picture, line, s, side, reach))
            .collect();
        rims.sort_by(f64::total_cmp);
        rims[rims.len() / 2]
    };
    let (top, bottom) = (rim(1.0, above + 3.0), rim(-1.0, -below + 3.0));
    let two_sided = above > 0.0 && below < 0.0;
    // Of a spot on one side the rim is seen, and how wide it is where the line begins: the circle through both.
    let out = if above > 0.0 { top } else { -bottom };
    let stands_out = (out - line.half).max(1.0);
    let circle = (width * width / 4.0 + stands_out * stands_out) / (2.0 * stands_out);
    // It does not show on the other side, and stands out by no more than its own width.
    let radius = circle.clamp(
        stands_out / 2.0,
        f64::midpoint(out, line.half).max(width / 2.0),
    );
    let t = match (above > 0.0, below < 0.0) {
        (true, false) => top - radius,
        (false, true) => bottom + radius,
        _ => (top + bottom) / 2.0,
    };
    let u_along = (0.06 + 0.02 * picture.scale * 0.5).powi(2);
    // A rim is known to a sixth of a pixel; from one rim alone the radius is known to a tenth, and as the width is to half a pixel.
    let u_across = if two_sided {
        0.17f64.powi(2)
    } else {
        let by_width = 0.5 * width / (4.0 * stands_out);
        (0.1 * width).powi(2) + 0.04 + by_width * by_width
    };
    let turn = Matrix2::from_columns(&[line.along, Vector2::new(-line.along.y, line.along.x)]);
    let cov = turn * Matrix2::new(u_along, 0.0, 0.0, u_across) * turn.transpose()
        + Matrix2::identity() * floor(picture);
    let tall = if two_sided {
        top - bottom
    } else {
        2.0 * radius
    };
    Place {
        at: line.point(s, t),
        cov,
        diameter: tall.max(width),
    }
}

fn grid(from: f64, to: f64) -> Vec<f64> {
    let n = (to - from).max(0.0).round() as usize;
    (0..=n)
        .map(|i| from + (to - from) * i as f64 / n.max(1) as f64)
        .collect()
}

/// Where, coming in from beyond on one side, the ink rises to half of the most that it has there: between a line and the spot
/// beside it the face may show.
fn rim_at(picture: &Picture, line: &Line, s: f64, side: f64, furthest: f64) -> f64 {
    const STEP: f64 = 0.25;
    let contrast = |t: f64| picture.smooth_contrast(line.point(s, side * t));
    let steps = (furthest / STEP).ceil() as i32;
    let ink: Vec<f64> = (0..=steps).map(|i| contrast(f64::from(i) * STEP)).collect();
    // The outermost rise of any height that counts: the line may be darker than the spot, and the spot than the line.
    let beyond_line = (line.half / STEP) as usize;
    let most = |from: usize| {
        ink[from.min(ink.len() - 1)..]
            .iter()
            .copied()
            .fold(0.0, f64::max)
    };
    let half = most(0).min(most(beyond_line + 2).max(0.5 * most(0))) / 2.0;
    let last = ink.iter().rposition(|c| *c > half).unwrap_or(0);
    side * (last as f64 + 1.0) * STEP
}

/// The crossing of a tick with its ruled line.
pub(super) fn crossing_with_line(picture: &Picture, stroke: &Stroke, line: &Line) -> Option<Place> {
    let ruled = Stroke {
        origin: line.origin,
        along: line.along,
        span: line.span,
        spread: line.half / 1.7,
        pixels: 0,
    };
    let (at, ..) = stroke.crossing(&ruled)?;
    // Across the stroke its axis is known to the spread over the root of its free pieces (one each
    // half millimetre); seen along the line that grows as the stroke leans.
    let sine = stroke.along.perp(&line.along).abs();
    let free = (stroke.length() / (0.5 * picture.scale)).max(2.0);
    let u_along = 0.5 * stroke.spread / free.sqrt() / sine;
    // The stroke crosses the ink, which need not lie where the straight line has it.
    let strays = line.strays(line.local(at).0, NEAR_A_TICK_MM * picture.scale);
    let u_across = line.sigma.hypot(strays);
    let turn = Matrix2::from_columns(&[line.along, Vector2::new(-line.along.y, line.along.x)]);
    let cov =
        turn * Matrix2::new(u_along * u_along, 0.0, 0.0, u_across * u_across) * turn.transpose();
    Some(Place {
        at,
        cov: cov + Matrix2::identity() * floor(picture),
        diameter: stroke.length(),
    })
}

/// The crossing of two strokes.
pub(super) fn crossing(picture: &Picture, a: &Stroke, b: &Stroke) -> Option<Place> {
    let (at, ..) = a.crossing(b)?;
    let sine = a.along.perp(&b.along).abs();
    let free = (a.length().min(b.length()) / (0.5 * picture.scale)).max(2.0);
    let u = 0.5 * a.spread.max(b.spread) / free.sqrt() / sine;
    Some(Place {
        at,
        cov: Matrix2::identity() * (u * u + floor(picture)),
        diameter: a.length().max(b.length()),
    })
}
