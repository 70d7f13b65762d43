//! The shape of a figure: a spot, straight strokes, a loop.

use nalgebra::{Matrix2, Vector2};

use super::pixels::Pixels;

/// A straight stroke.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    /// A point on its axis.
    pub(super) origin: Vector2<f64>,
    /// Unit vector along it.
    pub(super) along: Vector2<f64>,
    /// Ends, along from the origin, px.
    pub(super) span: [f64; 2],
    /// Standard deviation of its pixels across the axis, px.
    pub(super) spread: f64,
    /// How many of the figure's pixels it explains.
    pub(super) pixels: usize,
}

impl Stroke {
    /// Width, blur included, px: its pixels are spread evenly over it, which is 3.46 spreads.
    pub(super) fn width(&self) -> f64 {
        3.46 * self.spread
    }

    /// Length, px.
    pub(super) fn length(&self) -> f64 {
        self.span[1] - self.span[0] + 1.0
    }

    /// Whether both ends of `other` lie within `near` of this axis.
    fn runs_along(&self, other: &Self, near: f64) -> bool {
        other.span.iter().all(|&s| {
            let end = other.origin + other.along * s;
            self.along.perp(&(end - self.origin)).abs() < near
        })
    }

    /// Where two axes cross: the point, and how far along each.
    pub(super) fn crossing(&self, other: &Self) -> Option<(Vector2<f64>, f64, f64)> {
        let sine = self.along.perp(&other.along);
        if sine.abs() < 0.3 {
            return None;
        }
        let d = other.origin - self.origin;
        let s = d.perp(&other.along) / sine;
        let p = self.origin + self.along * s;
        Some((p, s, (p - other.origin).dot(&other.along)))
    }

    /// Whether the place `s` along leaves an arm of at least `share` of the length on both hands.
    pub(super) fn splits_at(&self, s: f64, share: f64) -> bool {
        let arm = share * self.length();
        s - self.span[0] > arm && self.span[1] - s > arm
    }
}

/// Mean and covariance of points.
pub(super) fn moments(points: &[Vector2<f64>]) -> (Vector2<f64>, Matrix2<f64>) {
    let n = points.len().max(1) as f64;
    let mean = points.iter().sum::<Vector2<f64>>() / n;
    let cov = points
        .iter()
        .map(|p| (p - mean) * (p - mean).transpose())
        .sum::<Matrix2<f64>>()
        / n;
    (mean, cov)
}

/// Direction of the largest spread.
pub(super) fn main_direction(cov: &Matrix2<f64>) -> Vector2<f64> {
    let angle = 0.5 * f64::atan2(2.0 * cov[(0, 1)], cov[(0, 0)] - cov[(1, 1)]);
    Vector2::new(angle.cos(), angle.sin())
}

/// Length along the main direction, width across it, px, pixels' own size included.
pub(super) fn length_and_width(points: &[Vector2<f64>]) -> (f64, f64) {
    let (mean, cov) = moments(points);
    let along = main_direction(&cov);
    let extent = |v: Vector2<f64>| {
        let (low, high) = points
            .iter()
            .map(|p| (p - mean).dot(&v))
            .fold((f64::MAX, f64::MIN), |(l, h), d| (l.min(d), h.max(d)));
        high - low + 1.0
    };
    (extent(along), extent(Vector2::new(-along.y, along.x)))
}

/// Usual width of the strokes that these pixels draw, px: a stroke's area is its length times its width, its rim twice
/// its length.
pub(super) fn stroke_width(points: &[Vector2<f64>]) -> f64 {
    let inside = Pixels::of(points);
    2.0 * inside.count() as f64 / (inside.rim() as f64).max(1.0)
}

/// A tail is thinner than this share of its dot, and no longer than this many of its diameters.
const TAIL_THIN: f64 = 0.55;
const TAIL_LONG: f64 = 1.3;
/// A dot holds this share of the ink at least, and is this much longer than wide at most.
const DOT_SHARE: f64 = 0.6;
const DOT_LONG: f64 = 1.45;
/// It fills this share of the ellipse round it: a cross is as wide as long too.
const DOT_FULL: f64 = 0.85;
/// Half the angle in which a tail leaves its dot, as a cosine: a stroke through a dot leaves it on both sides.
const TAIL_SIDE: f64 = 0.4;

/// It fills more than this share of the rectangle round it and its tail, by what the above leave room for.
const SPARSE: f64 = 0.03;

/// The dot of a dot with a thin tail on one side; `None` where the points are no such thing.
pub(super) fn without_tail(points: &[Vector2<f64>]) -> Option<Vec<Vector2<f64>>> {
    let all = Pixels::of(points);
    if (points.len() as f64) < SPARSE * all.area() as f64 {
        return None;
    }
    let mut layers = vec![all];
    while let Some(inner) = layers.last().filter(|l| l.count() > 0) {
        layers.push(inner.peeled(layers.len() % 2 == 0));
    }
    // The last layer is empty; a disc was peeled once for each pixel of its radius.
    let radius = layers.len() - 2;
    let depth = (TAIL_THIN * radius as f64).ceil() as usize;
    if radius < 3 || depth >= layers.len() - 1 {
        return None;
    }
    let kept = &layers[depth];
    let reach = depth as i64;
    let near = |p: &&Vector2<f64>| kept.within(**p, reach, reach * reach + 1);
    let (core, tail): (Vec<_>, Vec<_>) = points.iter().partition(near);
    let (middle, _) = moments(&core);
    let (length, width) = length_and_width(&core);
    let away: Vector2<f64> = tail.iter().map(|p| *p - middle).sum();
    let towards = away.normalize();
    let one_sided = tail.iter().all(|p| {
        let d = *p - middle;
        d.norm() < 0.6 * width || d.dot(&towards) > TAIL_SIDE * d.norm()
    });
    let far = tail
        .iter()
        .map(|p| (*p - middle).norm())
        .fold(0.0, f64::max);
    let disc = std::f64::consts::FRAC_PI_4 * length * width;
    let is_dot = core.len() as f64 > DOT_SHARE * points.len() as f64
        && core.len() as f64 > DOT_FULL * disc
        && length < DOT_LONG * width
        && one_sided
        && far - length / 2.0 < TAIL_LONG * length;
    is_dot.then_some(core)
}

/// How many times a figure's pixels can be peeled before none is left: about the radius of the largest disc in it, px.
pub(super) fn thickness(points: &[Vector2<f64>]) -> usize {
    let mut layer = Pixels::of(points);
    let mut times = 0;
    while layer.count() > 0 {
        times += 1;
        layer = layer.peeled(times % 2 == 0);
    }
    times
}

/// A stroke explains at least this share of its figure.
const LEAST_SHARE: f64 = 0.15;
/// What lies within this many bands of a stroke's axis, all along, is part of that stroke.
const SLIVER: f64 = 1.8;

/// Splits points into straight strokes, the strongest first, and what no stroke explains.
///
/// `band`: how far from its axis a stroke's pixels may lie, px. `shortest`: the shortest stroke, px.
/// `gap`: the longest pause in a stroke, px; a ruled line that was taken out leaves one.
pub(super) fn strokes(
    points: &[Vector2<f64>],
    band: f64,
    shortest: f64,
    gap: f64,
) -> (Vec<Stroke>, Vec<Vector2<f64>>) {
    let mut left = points.to_vec();
    let mut found = Vec::new();
    while found.len() < 5 && left.len() >= 6 {
        // Where an earlier stroke was taken out a later one pauses for its width, and more as it leans.
        let pause = if found.is_empty() {
            gap
        } else {
            gap.max(4.5 * band)
        };
        let Some(stroke) = strongest(&left, band, pause) else {
            break;
        };
        if stroke.length() < shortest || stroke.length() < 1.7 * 2.0 * 1.73 * stroke.spread {
            break;
        }
        // Slivers along a stroke that is bolder than the band, or swells in its middle, are no strokes.
        let small = (stroke.pixels as f64) < LEAST_SHARE * points.len() as f64;
        let along = |f: &Stroke| f.runs_along(&stroke, SLIVER * band);
        if small || found.iter().any(along) {
            break;
        }
        let width = band.max(2.0 * stroke.spread);
        left.retain(|p| !covers(&stroke, *p, width));
        found.push(stroke);
    }
    (found, left)
}

fn covers(stroke: &Stroke, p: Vector2<f64>, band: f64) -> bool {
    let d = p - stroke.origin;
    let s = d.dot(&stroke.along);
    stroke.along.perp(&d).abs() <= band && s >= stroke.span[0] - 1.0 && s <= stroke.span[1] + 1.0
}

/// The straight band that holds the most pixels: all directions through a spread of points, then the
/// best one fitted.
fn strongest(points: &[Vector2<f64>], band: f64, gap: f64) -> Option<Stroke> {
    const DIRECTIONS: usize = 36;
    let step = points.len().div_ceil(60).max(1);
    let thin = points.len().div_ceil(400).max(1);
    let some: Vec<Vector2<f64>> = points.iter().copied().step_by(thin).collect();
    // Most pixels; of as many the first through which, and of its directions the first.
    let mut best: Option<(usize, std::cmp::Reverse<usize>, Vector2<f64>)> = None;
    for k in 0..DIRECTIONS {
        let angle = k as f64 * std::f64::consts::PI / DIRECTIONS as f64;
        let along = Vector2::new(angle.cos(), angle.sin());
        let across: Vec<f64> = some.iter().map(|q| along.perp(q)).collect();
        for i in (0..points.len()).step_by(step) {
            let own = along.perp(&points[i]);
            let inside = across.iter().filter(|a| (*a - own).abs() <= 0.7 * band);
            let through = (inside.count(), std::cmp::Reverse(i));
            if best.is_none_or(|(n, first, _)| through > (n, first)) {
                best = Some((through.0, through.1, along));
            }
        }
    }
    let (_, std::cmp::Reverse(first), mut along) = best?;
    let mut origin = points[first];
    let mut stroke = None;
    for _ in 0..4 {
        let mut inside: Vec<(f64, Vector2<f64>)> = points
            .iter()
            .filter(|q| along.perp(&(*q - origin)).abs() <= band)
            .map(|q| ((q - origin).dot(&along), *q))
            .collect();
        inside.sort_by(|a, b| a.0.total_cmp(&b.0));
        // The longest stretch without a pause.
        let (mut start, mut kept) = (0, 0..0);
        for i in 0..inside.len() {
            if i > 0 && inside[i].0 - inside[i - 1].0 > gap {
                start = i;
            }
            if i + 1 - start > kept.len() {
                kept = start..i + 1;
            }
        }
        let chosen: Vec<Vector2<f64>> = inside[kept].iter().map(|(_, q)| *q).collect();
        if chosen.len() < 5 {
            break;
        }
        let (mean, cov) = moments(&chosen);
        (origin, along) = (mean, main_direction(&cov));
        let (low, high) = chosen
            .iter()
            .map(|q| (q - mean).dot(&along))
            .fold((f64::MAX, f64::MIN), |(l, h), d| (l.min(d), h.max(d)));
        let across = Vector2::new(-along.y, along.x);
        stroke = Some(Stroke {
            origin,
            along,
            span: [low, high],
            spread: across.dot(&(cov * across)).max(0.0).sqrt(),
            pixels: chosen.len(),
        });
    }
    stroke
}

/// A loop drawn round something.
#[derive(Debug, Clone)]
pub(super) struct Loop {
    /// Its middle.
    pub(super) middle: Vector2<f64>,
    /// Distance from the middle to its outer rim by direction, px.
    rim: [f64; SECTORS],
    /// Median of the rim, px.
    pub(super) radius: f64,
    /// How the ink inside hangs on the rim.
    pub(super) joined: Joined,
}

/// How ink inside a loop hangs on its rim: not at all, on one side, or right across.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Joined {
    No,
    OneSide,
    Across,
}

const SECTORS: usize = 36;
/// A stroke that runs out over a loop lies in fewer sectors than half of these; the loop itself bends little in them.
const SPIKE_SECTORS: usize = 7;
/// In this share of its sectors a loop's outermost ink lies on the loop, within this factor; elsewhere strokes run out, or a
/// ruled line was taken out.
const MIN_ON_RIM: f64 = 0.65;
const OVER_RIM: f64 = 1.2;
/// Share of directions in which a loop must show its rim. The rest: a gap, or where a line was taken out.
const MIN_CLOSED: f64 = 0.75;

/// The end of a loop that was drawn past its start lies beside the rim within this share of the radius; it is so many
/// times longer than wide, and at most so far from square to the radius, cosine.
const BESIDE_RIM: f64 = 0.4;
const LONG_END: f64 = 2.5;
const ALONG_RIM: f64 = 0.5;

impl Loop {
    /// Whether `p` lies inside.
    pub(super) fn holds(&self, p: Vector2<f64>) -> bool {
        (p - self.middle).norm() < 0.85 * self.rim[sector(p - self.middle)]
    }

    /// Distance of the outer rim in this direction, px.
    pub(super) fn rim_at(&self, out: Vector2<f64>) -> f64 {
        let turn = (out.y.atan2(out.x) / std::f64::consts::TAU + 1.0) % 1.0 * SECTORS as f64 - 0.5;
        let (k, u) = (turn.floor(), turn - turn.floor());
        let of = |k: f64| self.rim[(k as i64).rem_euclid(SECTORS as i64) as usize];
        (1.0 - u) * of(k) + u * of(k + 1.0)
    }

    /// Whether a stroke runs along the rim: the end of a loop that was drawn past its start.
    pub(super) fn ends_in(&self, stroke: &[Vector2<f64>]) -> bool {
        let (mean, cov) = moments(stroke);
        let eigen = cov.symmetric_eigenvalues();
        let outward = (mean - self.middle).normalize();
        let beside = |p: &Vector2<f64>| {
            let d = p - self.middle;
            (d.norm() - self.rim[sector(d)]).abs() < BESIDE_RIM * self.radius
        };
        eigen.max() > LONG_END.powi(2) * eigen.min()
            && main_direction(&cov).dot(&outward).abs() < ALONG_RIM
            && stroke.iter().all(beside)
    }
}

/// Width of the stroke that a loop was drawn with: in each direction how far ink goes in from the rim
/// without a pause, and of these the upper quartile (ink inside may touch the rim in a few).
fn rim_width(points: &[Vector2<f64>], outline: &Loop) -> f64 {
    let mut depths: Vec<Vec<f64>> = vec![Vec::new(); SECTORS];
    for p in points {
        let d = p - outline.middle;
        depths[sector(d)].push(outline.rim[sector(d)] - d.norm());
    }
    let mut widths: Vec<f64> = depths
        .iter_mut()
        .filter(|d| !d.is_empty())
        .map(|d| {
            d.sort_by(f64::total_cmp);
            let pause = d.windows(2).find(|w| w[1] - w[0] > 2.0).map(|w| w[0]);
            pause.unwrap_or(d[d.len() - 1]) + 1.0
        })
        .collect();
    widths.sort_by(f64::total_cmp);
    widths[widths.len() * 3 / 4]
}

/// Where ink inside hangs on the rim it reaches the cut that parts it from that.
fn joined(outline: &Loop, inner: &[Vector2<f64>], clear: f64) -> Joined {
    const NEAR_PX: f64 = 2.0;
    let touching: Vec<Vector2<f64>> = inner
        .iter()
        .map(|p| p - outline.middle)
        .filter(|d| outline.rim[sector(*d)] - clear - d.norm() < NEAR_PX)
        .collect();
    let Some(first) = touching.first() else {
        return Joined::No;
    };
    // A dot that touches the rim does so within a right angle of directions.
    if touching.iter().any(|d| d.dot(first) < 0.0) {
        Joined::Across
    } else {
        Joined::OneSide
    }
}

fn sector(d: Vector2<f64>) -> usize {
    let turn = (d.y.atan2(d.x) / std::f64::consts::TAU + 1.0) % 1.0;
    ((turn * SECTORS as f64) as usize).min(SECTORS - 1)
}

/// The rim without the ends of strokes that run out over it, such as those of a cross-out: each sector's median with
/// its neighbours. `None` where too little is `drawn` on it for a loop to show.
fn without_spikes(rim: &[f64; SECTORS], drawn: &[f64; SECTORS]) -> Option<[f64; SECTORS]> {
    let smooth: [f64; SECTORS] = std::array::from_fn(|k| {
        let mut near: [f64; SPIKE_SECTORS] =
            std::array::from_fn(|i| rim[(k + i + SECTORS - SPIKE_SECTORS / 2) % SECTORS]);
        near.sort_by(f64::total_cmp);
        near[SPIKE_SECTORS / 2]
    });
    let like = |(d, s): &(&f64, &f64)| **d < OVER_RIM * **s && **s < OVER_RIM * **d;
    let on_it = drawn.iter().zip(&smooth).filter(like).count();
    (on_it as f64 > MIN_ON_RIM * SECTORS as f64).then_some(smooth)
}

/// The loop that these points draw, and the points inside it, if they are one.
///
/// `pen`: the widest stroke of a pen, px. `band_at` says which places a taken-out line hides.
pub(super) fn as_loop(
    points: &[Vector2<f64>],
    pen: f64,
    hidden: impl Fn(Vector2<f64>) -> bool,
) -> Option<(Loop, Vec<Vector2<f64>>)> {
    let (mean, _) = moments(points);
    let mut middle = mean;
    let mut rim = [0.0f64; SECTORS];
    // The middle of the rim, not of the ink: a mark inside, or one side drawn twice, pulls the mean.
    for _ in 0..4 {
        rim = [0.0; SECTORS];
        let mut at = [middle; SECTORS];
        for p in points {
            let k = sector(p - middle);
            if (p - middle).norm() > rim[k] {
                rim[k] = (p - middle).norm();
                at[k] = *p;
            }
        }
        let seen: Vec<Vector2<f64>> = (0..SECTORS)
            .filter(|&k| rim[k] > 0.0)
            .map(|k| at[k])
            .collect();
        if seen.len() < SECTORS / 2 {
            return None;
        }
        let b = seen
            .iter()
            .fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, p| {
                [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
            });
        middle = Vector2::new((b[0] + b[2]) / 2.0, (b[1] + b[3]) / 2.0);
    }
    let mut sorted: Vec<f64> = rim.iter().copied().filter(|&r| r > 0.0).collect();
    sorted.sort_by(f64::total_cmp);
    let radius = sorted[sorted.len() / 2];
    if radius < 1.6 * pen {
        return None;
    }
    let closed = (0..SECTORS)
        .filter(|&k| {
            let angle = (k as f64 + 0.5) / SECTORS as f64 * std::f64::consts::TAU;
            let there = middle + Vector2::new(angle.cos(), angle.sin()) * radius;
            // An ellipse's short half-axis may be half of its long one.
            rim[k] > 0.55 * radius || hidden(there)
        })
        .count();
    if (closed as f64) < MIN_CLOSED * SECTORS as f64 {
        return None;
    }
    let drawn = rim;
    for r in &mut rim {
        if *r < 0.55 * radius {
            *r = radius;
        }
    }
    if let Some(smooth) = without_spikes(&rim, &drawn) {
        rim = smooth;
    }
    let mut outline = Loop {
        middle,
        rim,
        radius,
        joined: Joined::No,
    };
    // The rim is as wide as this pen draws; the inside is mostly empty.
    let clear = rim_width(points, &outline).min(pen) + 0.3 * pen;
    let inner: Vec<Vector2<f64>> = points
        .iter()
        .copied()
        .filter(|&p| (p - middle).norm() < outline.rim[sector(p - middle)] - clear)
        .collect();
    let inside_area: f64 = outline
        .rim
        .iter()
        .map(|r| (r - clear).max(0.0).powi(2))
        .sum::<f64>()
        * std::f64::consts::PI
        / SECTORS as f64;
    if inside_area <= 0.0 || inner.len() as f64 > 0.4 * inside_area {
        return None;
    }
    outline.joined = joined(&outline, &inner, clear);
    Some((outline, inner))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid(inside: impl Fn(f64, f64) -> bool) -> Vec<Vector2<f64>> {
        (0..120 * 120)
            .map(|i| Vector2::new(f64::from(i % 120) + 0.5, f64::from(i / 120) + 0.5))
            .filter(|p| inside(p.x, p.y))
            .collect()
    }

    #[test]
    fn an_x_is_two_strokes_that_cross_where_they_were_drawn() {
        let x = grid(|x, y| {
            let near = |t: f64| t.abs() < 3.0;
            let (u, v) = (x - 60.0, y - 50.0);
            u.hypot(v) < 40.0 && (near(0.8 * u - 0.6 * v) || near(0.7 * u + 0.714 * v))
        });
        let (found, left) = strokes(&x, 4.5, 12.0, 8.0);
        assert_eq!(found.len(), 2, "{found:?}");
        let (p, ..) = found[0].crossing(&found[1]).unwrap();
        assert!((p - Vector2::new(60.0, 50.0)).norm() < 0.6, "{p}");
        assert!(left.len() * 20 < x.len());
    }

    #[test]
    fn a_ring_is_a_loop_and_a_disc_is_not() {
        let ring = grid(|x, y| {
            let r = ((x - 60.0) / 1.2).hypot(y - 60.0);
            (r - 35.0).abs() < 2.5 && !(x > 60.0 && (y - 60.0).abs() < 6.0)
        });
        let (found, inner) = as_loop(&ring, 5.0, |_| false).unwrap();
        assert!(
            (found.middle - Vector2::new(60.0, 60.0)).norm() < 3.0,
            "{:?}",
            found.middle
        );
        assert!(inner.is_empty());
        assert!(found.holds(Vector2::new(70.0, 55.0)) && !found.holds(Vector2::new(60.0, 105.0)));
        // A cross-out over a loop lies in it but for its ends.
        let struck = grid(|x, y| {
            let (u, v) = (x - 60.0, y - 60.0);
            let arm = |t: f64| t.abs() < 2.5 && u.hypot(v) < 52.0;
            (u.hypot(v) - 35.0).abs() < 2.5 || arm(0.8 * u - 0.6 * v) || arm(0.6 * u + 0.8 * v)
        });
        let (found, inner) = as_loop(&struck, 5.0, |_| false).unwrap();
        assert!((found.radius - 37.0).abs() < 2.0, "{}", found.radius);
        let (strokes, left) = strokes(&inner, 4.5, 12.0, 8.0);
        assert_eq!(strokes.len(), 2, "{strokes:?}");
        assert!(left.len() * 20 < inner.len(), "{}", left.len());
        assert!(
            as_loop(&grid(|x, y| (x - 60.0).hypot(y - 60.0) < 30.0), 5.0, |_| {
                false
            })
            .is_none()
        );
    }
}
