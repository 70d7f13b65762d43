//! How far the photo spreads an edge, measured on the checker squares of a card that was found.
//!
//! An edge that is black and white in print shows in the photo how light was smeared: by the lens, by
//! missed focus, by motion, and by the pixels themselves. Edges lie aslant to the pixels, so that the pixels
//! of one strip across an edge sample it finely: the idea of the slanted edge in ISO 12233 (from memory).
//! Each edge between neighbouring corners is fitted with a step smeared by a bell; edges across and edges
//! down give the spread along the card's two axes. How the two go together is told by the corners: where
//! two dark and two light squares meet, a bell along a diagonal sees more of one colour than of the other.

use image::GrayImage;
use nalgebra::{Matrix2, Matrix4, Vector2, Vector4};

use super::find::place_and_slope;
use super::layout::{Layout, Saddle};
use super::{SeenCard, SeenSaddle};
use crate::frame::{Card, Pixel, Point};
use crate::raster::{linear_light, sample};
use crate::survey::homography::Homography;
use crate::verdict::decision_rule::erfc;

/// Radius of the smallest dot that must be seen, mm.
pub const DOT_RADIUS_MM: f64 = 0.25;
/// Spread in one direction over that in the other from which the phone must have moved: a lens out of
/// focus smears alike all ways, and its corner faults stay below.
const MOVED: f64 = 2.0;
/// Edges measured on each axis of a card, spread evenly: more cost time and change nothing.
const EDGES: usize = 8;
/// Fewest of them for a spread.
const MIN_EDGES: usize = 3;
/// The strip across an edge, squares: to each side, just short of the next edge; and along the edge, clear
/// of the corners.
const REACH_SQUARES: f64 = 0.45;
const ALONG_SQUARES: f64 = 0.25;
/// Narrower squares, px, hold too few pixels.
const MIN_SQUARE_PX: f64 = 6.0;
/// A strip is averaged in steps of this, px: below the narrowest spread that a photo has.
const STEP_PX: f64 = 0.5;
/// Most steps to each side, so that near photos cost no more.
const STEPS: f64 = 24.0;
/// Misfit of a step that is one, as a share of its height (noise, a scratch); a shadow's edge or a finger
/// across the strip is further off.
const MISFIT: f64 = 0.25;
/// Narrowest and widest spread that the fit may take, steps and squares.
const NARROWEST_STEPS: f64 = 0.2;
const WIDEST_SQUARES: f64 = 1.0;
/// A smeared step is flat to 1e-4 of its height from here, standard deviations.
const FLAT: f64 = 4.0;
const ROUNDS: usize = 20;
/// A change of the spread below this share ends the fit.
const DONE: f64 = 1e-3;

/// How far a photo spreads light about a card, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Along the card's x and y axes, mm on the card, in its middle.
    pub axes_mm: [f64; 2],
    /// In the photo at a right angle to the edges that lie across the card's x and y axes, px.
    pub axes_px: [f64; 2],
    /// In the direction of most and of least spread, mm on the card, in its middle.
    pub mm: [f64; 2],
    /// In the direction of most and of least spread in the photo, px.
    pub px: [f64; 2],
}

impl Spread {
    /// Share of its contrast that a dot of [`DOT_RADIUS_MM`] keeps in its middle: the part of the bell that
    /// lies within the dot; 1 - exp(-R²/2σ²) where the spread is alike all ways.
    #[must_use]
    pub fn kept(&self) -> f64 {
        const TURNS: u32 = 128;
        // Narrower than a tenth of the other makes no difference, but needs finer steps.
        let a = self.mm[0].max(1e-6);
        let b = self.mm[1].max(a / 10.0);
        // In polar coordinates; a periodic integrand, which equal steps integrate to all digits.
        let half = 0.5 * DOT_RADIUS_MM * DOT_RADIUS_MM;
        (0..TURNS)
            .map(|i| {
                let (s, c) = (std::f64::consts::TAU * f64::from(i) / f64::from(TURNS)).sin_cos();
                let q = (c / a).powi(2) + (s / b).powi(2);
                (1.0 - (-half * q).exp()) / q
            })
            .sum::<f64>()
            / (f64::from(TURNS) * a * b)
    }

    /// Whether the spread is that of a phone that moved.
    #[must_use]
    pub fn moved(&self) -> bool {
        self.px[0] > MOVED * self.px[1]
    }
}

/// The spread that stands for the whole photo: of the cards' that with the median contrast kept, of two
/// the worse. `None` when no card's could be measured.
#[must_use]
pub fn of_photo(grey: &GrayImage, cards: &[SeenCard]) -> Option<Spread> {
    let mut all: Vec<Spread> = cards.iter().filter_map(|c| of_card(grey, c)).collect();
    all.sort_by(|a, b| a.kept().total_cmp(&b.kept()));
    all.get(all.len().checked_sub(1)? / 2).copied()
}

/// The spread about one card; `None` when fewer than three edges of an axis could be measured.
#[must_use]
pub fn of_card(grey: &GrayImage, card: &SeenCard) -> Option<Spread> {
    let layout = Layout::of(card.number)?;
    let pairs: Vec<_> = card.saddles.iter().map(|s| (s.on_card, s.at)).collect();
    let map: Homography<Pixel, Card> = Homography::fit(&pairs).ok()?;
    let levels: [f64; 256] = std::array::from_fn(|v| linear_light(v as f64));
    // Across the edges, px: over a card seen aslant a millimetre has many sizes, a pixel one.
    let mut across_px = [0.0; 2];
    let mut together = Vec::new();
    for (axis, spread) in across_px.iter_mut().enumerate() {
        let edges = edges_across(card, &map, &layout, axis);
        let tried = edges.len().min(EDGES);
        let mut spreads = Vec::new();
        for [from, to] in (0..tried).map(|i| edges[i * edges.len() / tried]) {
            let Some(strip) = Strip::between(&map, &layout, [from, to], axis) else {
                continue;
            };
            let Some(step) = strip.profile(grey, &levels).and_then(|p| Step::fit(&p)) else {
                continue;
            };
            spreads.push(step.spread_mm / strip.mm_from_pixel.row(1).norm());
            together.extend([from, to].map(|end| correlation(grey, &end, &step)));
        }
        if spreads.len() < MIN_EDGES {
            return None;
        }
        spreads.sort_by(f64::total_cmp);
        *spread = spreads[spreads.len() / 2];
    }
    let rho = together.iter().sum::<f64>() / together.len() as f64;
    let (_, pixel_from_mm) = place_and_slope(&map, Point::new(0.0, 0.0), 1.0)?;
    let mm_from_pixel = pixel_from_mm.try_inverse()?;
    // In the middle of the card, by what a pixel's way across an edge is in mm.
    let [x, y] = [0, 1].map(|axis| across_px[axis] * mm_from_pixel.row(axis).norm());
    let on_card = Matrix2::new(x * x, rho * x * y, rho * x * y, y * y);
    Some(Spread {
        axes_px: across_px,
        axes_mm: [x, y],
        mm: principal(&on_card),
        px: principal(&(pixel_from_mm * on_card * pixel_from_mm.transpose())),
    })
}

/// Pairs of neighbouring corners, the edge between which lies across `axis`: both measured, or one of
/// them where the other must be, for strong blur hides corners that its edges survive.
fn edges_across(
    card: &SeenCard,
    map: &Homography<Pixel, Card>,
    layout: &Layout,
    axis: usize,
) -> Vec<[End; 2]> {
    let mut next = Vector2::zeros();
    next[1 - axis] = layout.checker_mm;
    let printed = |place: Vector2<f64>| {
        let near = |s: &&Saddle| (s.at.vec() - place).norm() < 0.1 * layout.checker_mm;
        layout.saddles.iter().find(near)
    };
    let seen = |printed: &Saddle| {
        let same = |s: &&SeenSaddle| s.on_card.distance(printed.at) < 0.1 * layout.checker_mm;
        card.saddles.iter().find(same).map(|s| s.at)
    };
    layout
        .saddles
        .iter()
        .filter_map(|from| {
            let to = printed(from.at.vec() + next)?;
            let places = [from, to].map(seen);
            places.iter().flatten().next()?;
            let end = |printed: &Saddle, seen: Option<Point<Pixel>>| {
                Some(End {
                    printed: *printed,
                    at: seen.or_else(|| map.map(printed.at))?,
                })
            };
            Some([end(from, places[0])?, end(to, places[1])?])
        })
        .collect()
}

/// An end of an edge between two squares.
#[derive(Clone, Copy)]
struct End {
    printed: Saddle,
    at: Point<Pixel>,
}

/// Larger and smaller standard deviation of a covariance.
fn principal(cov: &Matrix2<f64>) -> [f64; 2] {
    let e = cov.symmetric_eigenvalues();
    [e.max(), e.min()].map(|v| v.max(0.0).sqrt())
}

/// Correlation of the spread along the card's axes, by the level at a corner. A bell of correlation ρ has
/// 1/2 + asin ρ/π of itself in the two quadrants where x and y have the same sign (Sheppard 1899, from
/// memory).
fn correlation(grey: &GrayImage, s: &End, step: &Step) -> f64 {
    let level = linear_light(sample(grey, s.at.x, s.at.y));
    let lighter = ((level - step.middle) / step.half).clamp(-1.0, 1.0);
    let same_sign = if s.printed.upper_right_dark {
        -lighter
    } else {
        lighter
    };
    (same_sign * std::f64::consts::FRAC_PI_2).sin()
}

/// The strip across an edge.
struct Strip {
    middle: Point<Pixel>,
    /// mm along and across the edge from pixels.
    mm_from_pixel: Matrix2<f64>,
    /// Half the strip's extent along and across, mm.
    half_mm: Vector2<f64>,
    /// Half its bounding box, px.
    half_px: Vector2<f64>,
    step_mm: f64,
}

impl Strip {
    fn between(
        map: &Homography<Pixel, Card>,
        layout: &Layout,
        [from, to]: [End; 2],
        axis: usize,
    ) -> Option<Self> {
        let side = layout.checker_mm;
        let (_, slope) = place_and_slope(map, from.printed.at.midpoint(to.printed.at), 1.0)?;
        if slope.singular_values().min() * side < MIN_SQUARE_PX {
            return None;
        }
        // Along the edge by its own ends, which are placed to hundredths of a pixel.
        let along = (to.at - from.at) / side;
        let pixel_from_mm = Matrix2::from_columns(&[along, slope.column(axis).into_owned()]);
        let half_mm = Vector2::new(ALONG_SQUARES, REACH_SQUARES) * side;
        let mm_from_pixel = pixel_from_mm.try_inverse()?;
        // Across the edge a pixel's way is that much shorter than along the axis.
        let step_mm = (STEP_PX * mm_from_pixel.row(1).norm()).max(half_mm.y / STEPS);
        Some(Self {
            middle: from.at.midpoint(to.at),
            mm_from_pixel,
            half_mm,
            half_px: pixel_from_mm.abs() * half_mm,
            step_mm,
        })
    }

    /// Linear light across the edge: mean place, mm, and mean level of each step that holds pixels. `None`
    /// where the photo's edge cuts the strip.
    fn profile(&self, grey: &GrayImage, levels: &[f64; 256]) -> Option<Profile> {
        let (w, h) = (i64::from(grey.width()), i64::from(grey.height()));
        let low = (self.middle.vec() - self.half_px).map(|v| v.floor() as i64);
        let high = (self.middle.vec() + self.half_px).map(|v| v.ceil() as i64);
        if low.x < 0 || low.y < 0 || high.x > w || high.y > h {
            return None;
        }
        let n = (2.0 * self.half_mm.y / self.step_mm).ceil() as usize;
        let mut sums = vec![(0.0, 0.0, 0.0); n];
        for y in low.y..high.y {
            for x in low.x..high.x {
                let d = Vector2::new(x as f64 + 0.5, y as f64 + 0.5) - self.middle.vec();
                let mm = self.mm_from_pixel * d;
                if mm.x.abs() >= self.half_mm.x || mm.y.abs() >= self.half_mm.y {
                    continue;
                }
                let bin = ((mm.y + self.half_mm.y) / self.step_mm) as usize;
                if let Some((count, place, level)) = sums.get_mut(bin) {
                    *count += 1.0;
                    *place += mm.y;
                    *level += levels[usize::from(grey.as_raw()[(y * w + x) as usize])];
                }
            }
        }
        let points = sums.into_iter().filter(|s| s.0 > 0.0);
        Some(Profile {
            points: points
                .map(|(n, at, level)| [n, at / n, level / n])
                .collect(),
            reach_mm: self.half_mm.y,
            step_mm: self.step_mm,
        })
    }
}

/// Levels across an edge.
struct Profile {
    /// Pixels, mean place, mm, and mean level, in order.
    points: Vec<[f64; 3]>,
    reach_mm: f64,
    step_mm: f64,
}

/// A step smeared by a bell.
struct Step {
    middle: f64,
    /// Half its height, positive.
    half: f64,
    spread_mm: f64,
}

impl Step {
    /// Least squares (Levenberg-Marquardt) over middle, half height, place, and the spread's logarithm.
    fn fit(profile: &Profile) -> Option<Self> {
        let points = &profile.points;
        let third = points.len() / 3;
        if third < 2 {
            return None;
        }
        let mean = |p: &[[f64; 3]]| p.iter().map(|v| v[2]).sum::<f64>() / p.len() as f64;
        let (a, b) = (
            mean(&points[..third]),
            mean(&points[points.len() - third..]),
        );
        let narrowest = (NARROWEST_STEPS * profile.step_mm).ln();
        let widest = (WIDEST_SQUARES * profile.reach_mm / REACH_SQUARES).ln();
        let start = (profile.reach_mm / 6.0).ln().max(narrowest);
        let mut at = Vector4::new((a + b) / 2.0, (b - a) / 2.0, 0.0, start);
        let mut now = Sums::about(points, &at);
        let mut damping = 1e-3;
        for _ in 0..ROUNDS {
            let mut normal = now.normal;
            normal.set_diagonal(&(normal.diagonal() * (1.0 + damping)).add_scalar(1e-12));
            let step = normal.cholesky()?.solve(&now.right);
            let mut next = at + step;
            next[2] = next[2].clamp(-0.5 * profile.reach_mm, 0.5 * profile.reach_mm);
            next[3] = next[3]
                .clamp(at[3] - 0.7, at[3] + 0.7)
                .clamp(narrowest, widest);
            let then = Sums::about(points, &next);
            if then.square > now.square {
                damping *= 10.0;
                continue;
            }
            let change = (next[3] - at[3]).abs();
            (at, now) = (next, then);
            damping = (damping * 0.1).max(1e-9);
            if change < DONE {
                break;
            }
        }
        let half = at[1].abs();
        let misfit = (now.square / now.weight).sqrt();
        (misfit < MISFIT * half).then_some(Self {
            middle: at[0],
            half,
            spread_mm: at[3].exp(),
        })
    }
}

/// Normal equations of the fit.
struct Sums {
    normal: Matrix4<f64>,
    right: Vector4<f64>,
    square: f64,
    weight: f64,
}

impl Sums {
    fn about(points: &[[f64; 3]], at: &Vector4<f64>) -> Self {
        let mut sums = Self {
            normal: Matrix4::zeros(),
            right: Vector4::zeros(),
            square: 0.0,
            weight: 0.0,
        };
        let spread = at[3].exp();
        for &[weight, place, level] in points {
            let z = (place - at[2]) / spread;
            let step = if z.abs() < FLAT {
                1.0 - erfc(z / std::f64::consts::SQRT_2)
            } else {
                z.signum()
            };
            // Derivative of the step by z.
            let bell = (2.0 / std::f64::consts::PI).sqrt() * (-0.5 * z * z).exp();
            let slope = Vector4::new(1.0, step, -at[1] * bell / spread, -at[1] * bell * z);
            let off = level - at[0] - at[1] * step;
            sums.normal += slope * slope.transpose() * weight;
            sums.right += slope * (off * weight);
            sums.square += weight * off * off;
            sums.weight += weight;
        }
        sums
    }
}
