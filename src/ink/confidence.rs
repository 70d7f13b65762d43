//! How surely a mark is one: a probability from a few things that can be measured and explained.
//!
//! A logistic regression (Cox, "The Regression Analysis of Binary Sequences", J. R. Stat. Soc. B 20, 1958, from memory):
//! the log of the odds is a weighted sum of the [`FEATURES`]. Each speaks for a mark or against it, for the reason given
//! there, and a weight of the other sign is not let in. Such a sum takes its parts for independent, and they are not: print
//! is crowded, off the lines and in company all at once. So the sum is bent into log odds that come true ([`Bend`]), as
//! Platt does with a straight line ("Probabilistic Outputs for Support Vector Machines", 1999, from memory).
//!
//! The numbers are in `confidence.toml`; `cargo bench --bench confidence -- --fit` draws scenes of many surfaces, pens,
//! lights and cameras and fits them; without `--fit` it shows on other scenes how well what they claim comes true.
//!
//! It is told with each mark, and one that is likelier none than one is unsure ink (`doubt`).

use std::sync::OnceLock;

use image::GrayImage;
use rayon::prelude::*;
use serde::Deserialize;

use super::beads::median;
use super::flat::{FlatInk, MarkInFlat};
use super::{Ink, Mark, MarkKind, Unsure};
use crate::frame::{Cov2, Flat, Point};

/// Number of features.
pub const N: usize = 13;

/// Which way a feature may move the probability.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Speaks {
    /// The more of it, the likelier a mark.
    For,
    /// The more of it, the less likely.
    Against,
    /// Either way: a kind of mark may be easier or harder to take for another thing.
    Either,
}

impl Speaks {
    /// Whether a weight is of the sign that has a reason.
    #[must_use]
    pub fn allows(self, weight: f64) -> bool {
        match self {
            Self::For => weight >= 0.0,
            Self::Against => weight <= 0.0,
            Self::Either => true,
        }
    }
}

/// What is measured of a mark: its name, which way it counts, what it is and why it counts that way.
pub const FEATURES: [(&str, Speaks, &str); N] = [
    (
        "noise",
        Speaks::For,
        "ln(1 + contrast over the noise and grain round about): grain and noise make spots of their own",
    ),
    (
        "contrast",
        Speaks::For,
        "how much the ink differs from the bare surface, 0 to 1: stains are pale",
    ),
    (
        "fainter",
        Speaks::For,
        "ln(contrast over the other marks' median contrast), 0 where not fainter: one pen, one darkness",
    ),
    (
        "size",
        Speaks::Against,
        "|ln(size over the median of the sheet's marks of that kind)|: a hand makes its marks alike",
    ),
    (
        "kind",
        Speaks::For,
        "share of the sheet's marks that are of the same kind: a hand keeps to one",
    ),
    (
        "place",
        Speaks::Against,
        "ln(standard deviation of its centre from its own ink, mm): ill-shaped ink has no plain centre",
    ),
    (
        "next",
        Speaks::Against,
        "exp(-distance to the next other ink / 2 mm) * darkness of the ink round about over its own, at most 1: print and \
         scribble come in company of their own",
    ),
    (
        "crowd",
        Speaks::Against,
        "share of the ring round it that is as dark as ink: lines, print, rims",
    ),
    (
        "off_line",
        Speaks::Against,
        "distance to the nearest ruled line over 3 mm, at most 1; a half without lines: marks stand on lines",
    ),
    (
        "resolution",
        Speaks::For,
        "ln(pixels a millimetre in the photo, in the worst direction): shapes show better from near",
    ),
    (
        "hidden",
        Speaks::Against,
        "share of places just round it that could not be read: rims and glare look like ink",
    ),
    ("tick", Speaks::Either, "1 for a tick"),
    ("cross", Speaks::Either, "1 for a cross"),
];

/// What was measured of a mark, and the probability from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// The values of [`FEATURES`].
    pub features: [f64; N],
    /// Probability that it is a mark, named rightly.
    pub probability: f64,
}

/// The weights.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Model {
    /// The sum where all features are at their means.
    pub intercept: f64,
    /// From the sum to the log of the odds.
    pub bend: Bend,
    /// One for each feature, in their order.
    pub feature: Vec<Weight>,
}

/// Two straight pieces that rise: from a weighted sum to the log of the odds.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bend {
    /// The sum at which they meet.
    pub knot: f64,
    /// The log of the odds where the sum is 0, if that is below the knot.
    pub offset: f64,
    /// What 1 more of the sum adds below the knot.
    pub below: f64,
    /// And above it.
    pub above: f64,
}

impl Bend {
    /// The sum as it is.
    pub const NONE: Self = Self {
        knot: 0.0,
        offset: 0.0,
        below: 1.0,
        above: 1.0,
    };

    /// The log of the odds.
    #[must_use]
    pub fn log_odds(&self, sum: f64) -> f64 {
        let over = (sum - self.knot).max(0.0);
        self.offset + self.below * (sum - over) + self.above * over
    }
}

/// The part of one feature.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Weight {
    /// Its name, as in [`FEATURES`].
    pub name: String,
    /// Mean and standard deviation in the scenes of the fit: a value counts as (value - mean) / sd.
    pub mean: f64,
    /// See `mean`.
    pub sd: f64,
    /// What one standard deviation adds to the sum.
    pub weight: f64,
}

impl Weight {
    /// How many standard deviations a value counts for.
    #[must_use]
    pub fn counted(&self, value: f64) -> f64 {
        ((value - self.mean) / self.sd).clamp(-FURTHEST_SD, FURTHEST_SD)
    }
}

/// A value counts no further from the mean than this, standard deviations: beyond what was seen nothing was learnt.
const FURTHEST_SD: f64 = 3.0;

impl Model {
    /// Reads the weights from the text of their file.
    ///
    /// # Errors
    /// A sentence on what is wrong.
    pub fn parse(text: &str) -> Result<Self, String> {
        let model: Self = toml::from_str(text).map_err(|e| e.to_string())?;
        let names = model.feature.iter().map(|f| f.name.as_str());
        if !names.eq(FEATURES.iter().map(|f| f.0)) {
            return Err("the features are not those of the program, in their order".to_owned());
        }
        let sound = |w: &Weight| {
            w.mean.is_finite() && w.weight.is_finite() && w.sd.is_finite() && w.sd > 0.0
        };
        if !model.feature.iter().all(sound) || !model.intercept.is_finite() {
            return Err("a number is not finite, or a standard deviation not above 0".to_owned());
        }
        let Bend {
            knot,
            offset,
            below,
            above,
        } = model.bend;
        let finite = [knot, offset, below, above].iter().all(|v| v.is_finite());
        if !finite || below <= 0.0 || above <= 0.0 {
            return Err("the bend does not rise".to_owned());
        }
        let reasoned = |(w, f): (&Weight, &(&str, Speaks, &str))| f.1.allows(w.weight);
        if !model.feature.iter().zip(&FEATURES).all(reasoned) {
            return Err("a weight is of the sign that has no reason".to_owned());
        }
        Ok(model)
    }

    /// The one that the program was built with. A file that is not sound, which a test forbids, leaves one that says a
    /// half of everything, so that a fit can begin with new features.
    #[must_use]
    pub fn built_in() -> &'static Self {
        static MODEL: OnceLock<Model> = OnceLock::new();
        MODEL.get_or_init(|| {
            Self::parse(include_str!("confidence.toml")).unwrap_or_else(|_| Self::unfitted())
        })
    }

    fn unfitted() -> Self {
        let feature = |(name, ..): &(&str, Speaks, &str)| Weight {
            name: (*name).to_owned(),
            mean: 0.0,
            sd: 1.0,
            weight: 0.0,
        };
        Self {
            intercept: 0.0,
            bend: Bend::NONE,
            feature: FEATURES.iter().map(feature).collect(),
        }
    }

    /// Probability that a mark with these features is one.
    #[must_use]
    pub fn probability(&self, features: &[f64; N]) -> f64 {
        1.0 / (1.0 + (-self.bend.log_odds(self.sum(features))).exp())
    }

    /// The weighted sum of these features.
    #[must_use]
    pub fn sum(&self, features: &[f64; N]) -> f64 {
        let parts = self.feature.iter().zip(features);
        let parts: f64 = parts.map(|(w, &x)| w.weight * w.counted(x)).sum();
        self.intercept + parts
    }
}

/// Radius of the middle of a mark, where its ink is looked at, mm: a fine dot's.
const CORE_MM: f64 = 0.4;
/// The ring that shows the bare surface, mm, and how coarsely it is looked at.
const RING_MM: [f64; 2] = [1.6, 3.6];
/// Ink in the ring: as dark as this share of the mark's contrast.
const AS_DARK: f64 = 0.5;
/// The darkest ink of the ring is this share of it: what noise does not make.
const DARKEST: f64 = 0.03;
/// Noise is no less than this, levels: rounding to whole ones.
const LEAST_NOISE: f64 = 0.5;
/// Places this far beyond a mark's own extent are asked whether they could be read, mm.
const ROUND_MM: f64 = 1.5;

/// Ink of a mark's shape in a flat picture.
#[derive(Debug, Clone, Copy)]
pub struct Shape {
    /// Its centre, px.
    pub at: Point<Flat>,
    /// Covariance of `at` from the ink alone, px².
    pub cov: Cov2,
    /// The kind of mark whose shape it has.
    pub kind: MarkKind,
    /// Largest extent, mm.
    pub size_mm: f64,
}

impl Shape {
    /// That of a mark.
    #[must_use]
    pub fn of_mark(m: &MarkInFlat) -> Self {
        Self {
            at: m.at,
            cov: m.cov,
            kind: m.kind,
            size_mm: m.size_mm,
        }
    }
}

/// Measures the features of what was read from one flat picture.
#[derive(Debug)]
pub struct Measure<'a> {
    flat: &'a GrayImage,
    px_per_mm: f64,
    ink: &'a FlatInk,
    /// Median contrast of the sheet's marks.
    usual: f64,
}

impl<'a> Measure<'a> {
    /// For `ink`, as read from `flat`.
    #[must_use]
    pub fn of(flat: &'a GrayImage, px_per_mm: f64, ink: &'a FlatInk) -> Self {
        let contrast = |m: &MarkInFlat| Look::at(flat, px_per_mm, m.at).contrast;
        let contrasts: Vec<f64> = ink.marks.par_iter().map(contrast).collect();
        let usual = median(contrasts.into_iter());
        Self {
            flat,
            px_per_mm,
            ink,
            usual,
        }
    }

    /// The values of [`FEATURES`]. `photo_px_per_mm`: at its place, in the photo, in the worst direction.
    #[must_use]
    pub fn features(&self, shape: &Shape, photo_px_per_mm: f64) -> [f64; N] {
        let Self {
            ink, px_per_mm: px, ..
        } = *self;
        let look = Look::at(self.flat, px, shape.at);
        let alike = || ink.marks.iter().filter(|o| o.kind == shape.kind);
        let sigma = shape.cov.symmetric_eigenvalues().max().max(0.0).sqrt() / px;
        let ratio = |a: f64, b: f64| (a.max(1e-3) / b.max(1e-3)).ln();
        // The first of its kind is like itself.
        let usual_size = match alike().count() {
            0 => shape.size_mm,
            _ => median(alike().map(|m| m.size_mm)),
        };
        [
            (look.contrast / look.noise).ln_1p(),
            look.contrast,
            ratio(look.contrast, self.usual).min(0.0),
            ratio(shape.size_mm, usual_size).abs(),
            alike().count() as f64 / ink.marks.len().max(1) as f64,
            sigma.max(1e-3).ln(),
            (-next_ink_mm(ink, shape, px) / 2.0).exp() * look.company,
            look.crowd,
            off_line_mm(ink, shape.at, px).map_or(0.5, |d| (d / 3.0).min(1.0)),
            photo_px_per_mm.max(0.1).ln(),
            hidden_share(ink, shape, px),
            f64::from(u8::from(shape.kind == MarkKind::Tick)),
            f64::from(u8::from(shape.kind == MarkKind::Cross)),
        ]
    }
}

/// The surface round a place, and the ink in its middle.
struct Look {
    /// Difference from bare, as a share of it: darker or brighter.
    contrast: f64,
    /// Standard deviation of the bare surface, as a share of its level.
    noise: f64,
    /// Share of the ring that is as dark (or bright) as ink.
    crowd: f64,
    /// Darkness of the darkest ink in the ring over its own, at most 1.
    company: f64,
}

impl Look {
    fn at(flat: &GrayImage, px_per_mm: f64, at: Point<Flat>) -> Self {
        let (w, h) = (i64::from(flat.width()), i64::from(flat.height()));
        let reach = RING_MM[1] * px_per_mm;
        let (mut core, mut ring) = (Vec::new(), Vec::new());
        for y in (at.y - reach) as i64..=(at.y + reach) as i64 {
            for x in (at.x - reach) as i64..=(at.x + reach) as i64 {
                if x < 0 || y < 0 || x >= w || y >= h {
                    continue;
                }
                let level = flat.get_pixel(x as u32, y as u32)[0];
                let away = (x as f64 + 0.5 - at.x).hypot(y as f64 + 0.5 - at.y) / px_per_mm;
                if level == 0 {
                    // Nothing is known there.
                } else if away <= CORE_MM {
                    core.push(level);
                } else if (RING_MM[0]..=RING_MM[1]).contains(&away) {
                    ring.push(level);
                }
            }
        }
        core.sort_unstable();
        ring.sort_unstable();
        let share = |v: &[u8], s: f64| {
            let i = (s * v.len().saturating_sub(1) as f64).round() as usize;
            v.get(i).map_or(0.0, |&v| f64::from(v))
        };
        let bare = share(&ring, 0.5).max(1.0);
        // Ink darkens (or, scribed, brightens) one side of the spread: the other is the surface's own.
        let spread = (share(&ring, 0.84) - bare).min(bare - share(&ring, 0.16));
        let (dark, bright) = (bare - share(&core, 0.2), share(&core, 0.8) - bare);
        let ink = dark.max(bright).max(0.0);
        let like_ink = ring
            .iter()
            .filter(|&&v| {
                let off = if dark >= bright {
                    bare - f64::from(v)
                } else {
                    f64::from(v) - bare
                };
                off > AS_DARK * ink && off > 0.0
            })
            .count();
        let round_about = if dark >= bright {
            bare - share(&ring, DARKEST)
        } else {
            share(&ring, 1.0 - DARKEST) - bare
        };
        Self {
            company: (round_about / ink.max(1.0)).clamp(0.0, 1.0),
            contrast: ink / bare.max(ink),
            noise: spread.max(LEAST_NOISE) / bare,
            crowd: like_ink as f64 / ring.len().max(1) as f64,
        }
    }
}

/// Distance to the rim of the next other mark or unsure ink, mm.
fn next_ink_mm(ink: &FlatInk, shape: &Shape, px_per_mm: f64) -> f64 {
    // A tick is long across its line and no wider than a pen: that is not where its neighbour stands.
    let marks = ink.marks.iter().map(|o| (o.at, 2.0 * CORE_MM));
    let unsure = ink.unsure.iter().map(|u| (u.at, u.size_mm));
    marks
        .chain(unsure)
        .filter(|(at, _)| at.distance(shape.at) > 0.0)
        .map(|(at, size)| (at.distance(shape.at) / px_per_mm - size / 2.0).max(0.0))
        .fold(100.0, f64::min)
}

/// Distance to the nearest ruled line's axis, mm.
fn off_line_mm(ink: &FlatInk, at: Point<Flat>, px_per_mm: f64) -> Option<f64> {
    ink.lines
        .iter()
        .map(|l| {
            let along = l.ends[1] - l.ends[0];
            let t = along.dot(&(at - l.ends[0])) / along.norm_squared().max(1e-9);
            let foot = l.ends[0] + along * t.clamp(0.0, 1.0);
            foot.distance(at) / px_per_mm
        })
        .min_by(f64::total_cmp)
}

fn hidden_share(ink: &FlatInk, shape: &Shape, px_per_mm: f64) -> f64 {
    const PLACES: u32 = 8;
    let radius = (shape.size_mm / 2.0 + ROUND_MM) * px_per_mm;
    let hidden = (0..PLACES)
        .filter(|&i| {
            let (s, c) = (std::f64::consts::TAU * f64::from(i) / f64::from(PLACES)).sin_cos();
            !ink.is_readable(Point::new(shape.at.x + radius * c, shape.at.y + radius * s))
        })
        .count();
    hidden as f64 / f64::from(PLACES)
}

/// Below this a mark is likelier none than one.
pub const LIKELY: f64 = 0.5;

/// Why a mark below [`LIKELY`] is unsure.
pub const UNLIKELY: &str = "looks like a mark, but too little for one to be sure";

/// Takes for unsure ink what is likelier no mark than one. A mark that is crossed out asks for nothing; a ringed one
/// stays what it was named: its own ring is dark ink round about, and no print is ringed.
pub(crate) fn doubt(ink: &mut Ink) {
    let unlikely = |m: &mut Mark| {
        !m.crossed_out && !m.ringed && m.evidence.is_some_and(|e| e.probability < LIKELY)
    };
    let doubted = ink.marks.extract_if(.., unlikely).map(|m| Unsure {
        at: m.at,
        cov: m.cov,
        size_mm: m.size_mm,
        why: UNLIKELY,
        writing: false,
        evidence: m.evidence,
    });
    ink.unsure.extend(doubted);
    ink.unsure
        .sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
    use super::*;

    #[test]
    fn the_file_of_weights_is_sound() {
        let text = include_str!("confidence.toml");
        let model = Model::parse(text).unwrap();
        assert_eq!(&model, Model::built_in());
        // What was measured in the fit's scenes on the average is surely a mark.
        let mean = std::array::from_fn(|k| model.feature[k].mean);
        assert!(
            model.probability(&mean) > 0.9,
            "{}",
            model.probability(&mean)
        );
        // A dark ring round it speaks against a mark.
        let (head, crowd) = text.split_once("name = \"crowd\"").unwrap();
        let wrong_sign = format!(
            "{head}name = \"crowd\"{}",
            crowd.replacen("weight = -", "weight = ", 1)
        );
        for (broken, told) in [
            (
                text.replace("name = \"crowd\"", "name = \"cloud\""),
                "features",
            ),
            (text.replacen("sd = ", "sd = -", 1), "above 0"),
            (wrong_sign, "no reason"),
            (text.replace("\nbelow = ", "\nbelow = -"), "does not rise"),
            (text.replacen("\nintercept", "\nintercpt", 1), "intercpt"),
        ] {
            let why = Model::parse(&broken).unwrap_err();
            assert!(why.contains(told), "{why}");
        }
    }

    /// A dot of level 60 on a surface of level 160 and 161, 10 px a millimetre.
    fn dot(level: u8) -> (GrayImage, FlatInk) {
        let flat = GrayImage::from_fn(200, 200, |x, y| {
            let away = (f64::from(x) + 0.5 - 100.0).hypot(f64::from(y) + 0.5 - 100.0);
            image::Luma([if away < 5.0 {
                level
            } else {
                160 + ((x + y) % 2) as u8
            }])
        });
        let mark = MarkInFlat {
            at: Point::new(100.0, 100.0),
            cov: Cov2::identity() * 0.01,
            kind: MarkKind::Dot,
            size_mm: 1.0,
            ringed: false,
            crossed_out: false,
        };
        let mut ink = FlatInk::default();
        ink.marks.push(mark);
        (flat, ink)
    }

    #[test]
    fn features_are_what_they_say() {
        let of = |level| {
            let (flat, ink) = dot(level);
            Measure::of(&flat, 10.0, &ink).features(&Shape::of_mark(&ink.marks[0]), 8.0)
        };
        let named =
            |f: &[f64; N], name: &str| f[FEATURES.iter().position(|n| n.0 == name).unwrap()];
        let f = of(60);
        // 100 of 160 levels, against half a level of noise.
        assert!((named(&f, "contrast") - 0.625).abs() < 0.01, "{f:?}");
        assert!(
            (named(&f, "noise") - (100.0f64 / 0.5).ln_1p()).abs() < 0.1,
            "{f:?}"
        );
        assert!((named(&f, "place") - 0.01f64.ln()).abs() < 1e-9, "{f:?}");
        assert!((named(&f, "resolution") - 8.0f64.ln()).abs() < 1e-9);
        assert_eq!(named(&f, "crowd"), 0.0);
        assert_eq!(named(&f, "kind"), 1.0);
        assert!(named(&f, "next") < 1e-9);
        // Paler ink is less of everything that speaks for it, and so less likely.
        let pale = of(148);
        assert!(named(&pale, "contrast") < named(&f, "contrast"));
        let model = Model::built_in();
        assert!(model.probability(&pale) < model.probability(&f));
    }

    #[test]
    fn company_counts_as_far_as_it_is_as_dark() {
        let next = |level: u8| {
            let (mut flat, mut ink) = dot(60);
            let spot = Point::new(126.0, 100.0);
            for (x, y, p) in flat.enumerate_pixels_mut() {
                let away = (f64::from(x) + 0.5 - spot.x).hypot(f64::from(y) + 0.5 - spot.y);
                if away < 7.0 {
                    *p = image::Luma([level]);
                }
            }
            ink.marks.push(MarkInFlat {
                at: spot,
                ..ink.marks[0].clone()
            });
            let shape = Shape::of_mark(&ink.marks[0]);
            let features = Measure::of(&flat, 10.0, &ink).features(&shape, 8.0);
            features[FEATURES.iter().position(|f| f.0 == "next").unwrap()]
        };
        // 2.6 mm away, less the 0.4 mm from its middle to its rim.
        let near = (-2.2f64 / 2.0).exp();
        assert!((next(60) - near).abs() < 0.01, "{}", next(60));
        // 30 levels darker than the face instead of 100.
        assert!((next(130) - 0.3 * near).abs() < 0.01, "{}", next(130));
    }

    #[test]
    fn each_feature_moves_it_the_way_it_says() {
        let model = Model::built_in();
        let mean: [f64; N] = std::array::from_fn(|k| model.feature[k].mean);
        for (k, (name, speaks, _)) in FEATURES.iter().enumerate() {
            let claims = |sd: f64| {
                let mut f = mean;
                f[k] += sd * model.feature[k].sd;
                model.probability(&f)
            };
            let all: Vec<f64> = (-8..=8).map(|i| claims(0.5 * f64::from(i))).collect();
            assert!(all.iter().all(|p| (0.0..=1.0).contains(p)), "{name}");
            let rises = all.windows(2).all(|w| w[1] >= w[0]);
            let falls = all.windows(2).all(|w| w[1] <= w[0]);
            assert!(
                if *speaks == Speaks::For {
                    rises
                } else {
                    falls || *speaks == Speaks::Either && rises
                },
                "{name}: {all:?}"
            );
        }
        // Most of them do tell something.
        let heard = model.feature.iter().filter(|w| w.weight != 0.0).count();
        assert!(heard >= 6, "{heard}");
    }

    #[test]
    fn an_unlikely_mark_is_unsure_ink() {
        let mark = |x: f64, probability| Mark {
            at: Point::new(x, 5.0),
            cov: Cov2::identity() * 0.01,
            kind: MarkKind::Dot,
            size_mm: 0.8,
            ringed: false,
            crossed_out: false,
            evidence: Some(Evidence {
                features: [0.0; N],
                probability,
            }),
        };
        let doubted = |m: &Mark| {
            let mut ink = Ink::unseen([50.0, 20.0]);
            ink.marks = vec![m.clone()];
            doubt(&mut ink);
            assert_eq!(ink.marks.len() + ink.unsure.len(), 1);
            assert!(ink.unsure.iter().all(|u| u.why == UNLIKELY && u.at == m.at));
            ink.unsure.len()
        };
        assert_eq!(doubted(&mark(20.3, LIKELY)), 0);
        assert_eq!(doubted(&mark(20.3, LIKELY - 0.01)), 1);
        assert_eq!(doubted(&mark(40.0, 0.1)), 1);
        let struck = Mark {
            crossed_out: true,
            ..mark(20.0, 0.1)
        };
        assert_eq!(doubted(&struck), 0);
        let ringed = Mark {
            ringed: true,
            ..mark(20.0, 0.1)
        };
        assert_eq!(doubted(&ringed), 0);
        let worked = Mark {
            evidence: None,
            ..mark(20.0, 0.1)
        };
        assert_eq!(doubted(&worked), 0);
    }
}
