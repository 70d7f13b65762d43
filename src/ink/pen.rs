//! This sheet's pen and this sheet's dirt, learned together from all that is on the face.
//!
//! A hand sets a sheet out with one pen: its spots are about equally wide and dark, and so are its strokes. Dust, pits and
//! grain are smaller and paler, and how much so differs from sheet to sheet. Both are found here as the two parts of a
//! mixture, by expectation and maximisation (Dempster, Laird and Rubin, J. R. Stat. Soc. B 39, 1977, from memory), in the
//! logarithms of width and darkness, where one factor is one distance. The plan's holes tell which ink is the pen's to begin
//! with: a mark belongs there, the nearer the likelier, and dirt falls anywhere. Nothing else of the plan is used, and a hole's
//! place makes no ink a mark by itself.

use nalgebra::Vector2;

use super::look::{Build, Look};
use super::tint::Tint;

/// Something on the face that may be a mark.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    /// Its middle, px.
    pub(super) at: Vector2<f64>,
    /// How wide and dark it is.
    pub(super) look: Look,
    /// Its colour, where that shows.
    pub(super) tint: Option<Tint>,
    /// Of a shape that a mark has.
    pub(super) shaped: bool,
    /// Where it is what is over a ruled line's own ink: that.
    pub(super) line: Option<LineInk>,
}

/// A ruled line's own ink beside something over it.
#[derive(Debug, Clone, Copy)]
pub(super) struct LineInk {
    /// How dark it is.
    pub(super) darkness: f64,
    /// Its colour, where that shows.
    pub(super) tint: Option<Tint>,
}

/// Where marks are meant to be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Expected<'a> {
    /// The places, px.
    pub(super) places: &'a [Vector2<f64>],
    /// How far from its place a mark may lie, px.
    pub(super) reach: f64,
}

impl Expected<'_> {
    /// The nearest place within reach, and how far from it, as a share of the reach.
    pub(super) fn at(&self, p: Vector2<f64>) -> Option<(usize, f64)> {
        let near = self.places.iter().enumerate();
        near.map(|(i, e)| ((e - p).norm(), i))
            .filter(|(d, _)| *d <= self.reach)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map(|(d, i)| (i, d / self.reach))
    }
}

/// Which of the ways that a plan may lie fits the pieces best: the one whose places hold the most ink. The first of those as
/// good.
pub(super) fn best_way(pieces: &[Piece], ways: &[Vec<Vector2<f64>>], reach: f64) -> usize {
    let held = |places: &[Vector2<f64>]| -> f64 {
        let ink = |p: &Piece| p.look.darkness * p.look.width_mm.min(SPOT_MM);
        let most = |place: &Vector2<f64>| {
            let near = pieces
                .iter()
                .filter(|p| p.shaped && (p.at - place).norm() <= reach);
            near.map(ink).fold(0.0, f64::max)
        };
        places.iter().map(most).sum()
    };
    let mut best = (0, f64::MIN);
    for (i, places) in ways.iter().enumerate() {
        let sum = held(places);
        if sum > best.1 {
            best = (i, sum);
        }
    }
    best.0
}

/// No hand and no dust is quite regular: a few in ten scatter so many times as far.
const WIDE: f64 = 3.0;
const SHARE: f64 = 0.1;

/// Mean and standard deviation of a logarithm.
#[derive(Debug, Clone, Copy)]
struct Normal {
    mean: f64,
    sd: f64,
}

impl Normal {
    /// Natural logarithm of the density.
    fn log_density(&self, x: f64) -> f64 {
        let density = |sd: f64| {
            let z = (x - self.mean) / sd;
            (-0.5 * z * z).exp() / (sd * std::f64::consts::TAU.sqrt())
        };
        ((1.0 - SHARE) * density(self.sd) + SHARE * density(WIDE * self.sd))
            .max(f64::MIN_POSITIVE)
            .ln()
    }

    /// From samples with weights, and as if `like` had been seen `strength` times before.
    fn of(samples: &[(f64, f64)], like: Self, strength: f64) -> Self {
        let weight: f64 = samples.iter().map(|s| s.1).sum::<f64>() + strength;
        let mean =
            (samples.iter().map(|(x, w)| x * w).sum::<f64>() + like.mean * strength) / weight;
        let spread = samples
            .iter()
            .map(|(x, w)| w * (x - mean).powi(2))
            .sum::<f64>()
            + strength * (like.sd.powi(2) + (like.mean - mean).powi(2));
        Self {
            mean,
            sd: (spread / weight).sqrt(),
        }
    }
}

/// Mean colour of an ink and the standard deviation of each of its two parts.
#[derive(Debug, Clone, Copy)]
struct Hue {
    mean: Vector2<f64>,
    sd: f64,
}

impl Hue {
    /// As [`Normal::log_density`]; 0 where no colour was measured.
    fn log_density(&self, tint: Option<Tint>) -> f64 {
        let Some(tint) = tint else {
            return 0.0;
        };
        let square = (tint.of - self.mean).norm_squared();
        let density = |sd: f64| {
            let variance = sd * sd + tint.sd * tint.sd;
            (-0.5 * square / variance).exp() / (std::f64::consts::TAU * variance)
        };
        ((1.0 - SHARE) * density(self.sd) + SHARE * density(WIDE * self.sd))
            .max(f64::MIN_POSITIVE)
            .ln()
    }

    /// From tints with weights, and as if `like` had been seen `strength` times before. What was measured badly weighs little.
    fn of(samples: &[(Tint, f64)], like: Self, strength: f64, least: f64) -> Self {
        let share = |t: &Tint| least * least / (least * least + t.sd * t.sd);
        let weight: f64 = samples.iter().map(|(t, w)| w * share(t)).sum::<f64>() + strength;
        let sum: Vector2<f64> = samples.iter().map(|(t, w)| t.of * *w * share(t)).sum();
        let mean = (sum + like.mean * strength) / weight;
        let own = |(t, w): &(Tint, f64)| {
            let beyond = (t.of - mean).norm_squared() / 2.0 - t.sd * t.sd;
            w * share(t) * beyond.max(0.0)
        };
        let before = like.sd.powi(2) + (like.mean - mean).norm_squared() / 2.0;
        let spread = samples.iter().map(own).sum::<f64>() + strength * before;
        Self {
            mean,
            sd: (spread / weight).sqrt().max(least),
        }
    }
}

/// Inks are of any colour, levels of Cb and Cr of one that takes all light: a blue, a red or a green marker lies some 60 from grey
/// (JFIF 1.02 of sRGB's own, dulled by half; from memory).
const INKS: Hue = Hue {
    mean: Vector2::new(0.0, 0.0),
    sd: 40.0,
};
/// So many of other pens are black, or pencils (common practice, no source).
const BLACK: f64 = 0.5;
/// Dust, pits, scratches and shadows are grey, or rust and what the face mirrors, and differ by so much.
const DIRT_HUE: Hue = Hue {
    mean: Vector2::new(0.0, 0.0),
    sd: 15.0,
};
/// Natural logarithm of how often another pen is of this colour.
fn other_hue(tint: Option<Tint>) -> f64 {
    let of = |hue: Hue| hue.log_density(tint).exp();
    let grey = Hue {
        mean: Vector2::new(0.0, 0.0),
        sd: HUE_VARIES,
    };
    (BLACK * of(grey) + (1.0 - BLACK) * of(INKS)).ln()
}

/// One pen's colour varies at least by so much: thin ink is brighter and purer than thick.
const HUE_VARIES: f64 = 15.0;

/// A fine marker's spot and stroke, mm, and how far pens differ, as a logarithm: fibre points from 0.3 to 1.2 mm (common
/// practice, no source).
const SPOT_MM: f64 = 0.6;
const STROKE_MM: f64 = 0.45;
const PENS_DIFFER: f64 = 0.4;
/// A spot is so many times as wide as a stroke of the same pen: the point spreads while it rests.
const SPOT_OVER_STROKE: f64 = 1.3;
/// One pen's ink varies at least so much in width and in darkness, as a logarithm: pressure, and what blur takes from the
/// smaller ones.
const WIDTH_VARIES: f64 = 0.16;
const DARKNESS_VARIES: f64 = 0.12;
/// Dust and pits: usual width, mm, and darkness beside the pen's, each with its spread as a logarithm, before a sheet is seen;
/// so many pieces of it weigh as much as that.
const DIRT_MM: f64 = 0.3;
const DIRT_DARKNESS: f64 = 0.3;
const DIRT_VARIES: f64 = 0.5;
const DIRT_WEIGHS: f64 = 4.0;
/// And what dirt varies at least.
const DIRT_LEAST: f64 = 0.25;
/// So many marks are made where none is planned, on an average sheet, and so many of these with another pen or a pencil: of any
/// width that pens have, and of any darkness from a tenth of black on.
const STRAYS: f64 = 1.0;
const OTHER_PEN: f64 = 0.25;
/// A pen along a rule swells so often, places in a mm; and what is over the line there has the ink of a disc of so many mm.
const SWELLINGS: f64 = 0.1;
/// At a planned place its mark is missing, or does not show, as seldom as this.
const NO_MARK: f64 = 0.2;
const SWOLLEN: Normal = Normal {
    mean: -1.2,
    sd: 0.45,
};
/// At a planned place a mark is missing, or is not this pen's, as seldom as this.
const MISSING: f64 = 0.05;
/// A marker's ink leaves a fifth of the light of bare metal, encoded a half.
const USUAL_DARKNESS: f64 = 0.5;
/// Where no places are known, of the things with a mark's shape this share are marks.
const UNPLANNED: f64 = 0.5;
/// A hand's slip, as a share of the reach of a planned place: a standard deviation of a millimetre.
const SLIPS: f64 = 0.33;
/// And so often it slips by any way.
const ANY_WAY: f64 = 0.15;
/// So often, beside ink of a mark's shape, is a mark ink of another: it ran, or something touches it.
const SHAPELESS: f64 = 0.3;
/// Rounds of estimation: by then nothing moves.
const ROUNDS: usize = 12;

/// The darkness of what most of the ink was drawn with: the median over its area.
fn of_most_ink(pieces: &[Piece]) -> f64 {
    let mut ink: Vec<(f64, f64)> = (pieces.iter().filter(|p| p.shaped))
        .map(|p| (p.look.darkness, p.look.darkness * p.look.width_mm.powi(2)))
        .collect();
    ink.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut left = ink.iter().map(|i| i.1).sum::<f64>() / 2.0;
    let middle = ink.iter().find(|i| {
        left -= i.1;
        left <= 0.0
    });
    middle.map_or(USUAL_DARKNESS, |m| m.0)
}

/// How much more often a hand's mark than dirt lies so far from its place, as a share of the reach: along a line, or on the
/// face. Some slip by any way.
fn aimed(away: f64, on_line: bool) -> f64 {
    let bell = (-0.5 * (away / SLIPS).powi(2)).exp();
    let most = if on_line {
        2.0 / (SLIPS * std::f64::consts::TAU.sqrt())
    } else {
        1.0 / (2.0 * SLIPS * SLIPS)
    };
    (1.0 - ANY_WAY) * most * bell + ANY_WAY
}

/// Of the pieces at each place the likeliest, a mark's shape counted, and of those as likely the darkest: how far from the place it
/// lies, as a share of the reach.
fn owners(
    pieces: &[Piece],
    at: &[Option<(usize, f64)>],
    likely: &[f64],
    places: usize,
) -> Vec<Option<f64>> {
    let mut best: Vec<Option<(usize, (f64, f64))>> = vec![None; places];
    for (i, piece) in pieces.iter().enumerate() {
        let Some((place, _)) = at[i] else {
            continue;
        };
        let odds = likely[i] / (1.0 - likely[i]).max(1e-9);
        // A ring is as surely the pen's as what stands in it, and is no mark.
        let odds = if piece.shaped {
            odds
        } else {
            SHAPELESS * odds.min(1.0)
        };
        let ink = (odds, piece.look.darkness);
        if best[place].is_none_or(|(_, b)| ink > b) {
            best[place] = Some((i, ink));
        }
    }
    let mut owns = vec![None; pieces.len()];
    for (i, _) in best.into_iter().flatten() {
        owns[i] = at[i].map(|(_, away)| away);
    }
    owns
}

/// What was learned of a sheet.
#[derive(Debug, Clone)]
pub(super) struct Pen {
    spot: Normal,
    stroke: Normal,
    darkness: Normal,
    hue: Hue,
    dirt_width: Normal,
    dirt_darkness: Normal,
    /// Pieces of dirt on the sheet.
    dirt: f64,
    /// Dirt that falls within reach of a planned place, on average: on the bare face, and what is over a line there.
    dirt_at_place: [f64; 2],
    /// Places where a ruled line is thicker of itself: on all lines, and within reach of a planned place.
    swellings: f64,
    swellings_at_place: f64,
    /// The hand sets out with dots more than with strokes, which show on any line.
    sets_dots: bool,
    /// Marks where none is planned, on average.
    strays: f64,
    /// How many pieces at planned places it was learned from.
    pub(super) learned_from: usize,
}

impl Pen {
    /// Learns from all pieces; `area` is that of the face, px².
    ///
    /// Comes with how far each piece that is the likeliest at a planned place lies from it, as a share of the reach: one place has one
    /// mark.
    pub(super) fn learn(
        pieces: &[Piece],
        expected: Expected,
        area: f64,
        [lines_px, lines_mm]: [f64; 2],
    ) -> (Self, Vec<Option<f64>>) {
        let at: Vec<Option<(usize, f64)>> = pieces.iter().map(|p| expected.at(p.at)).collect();
        let mut pen = Self::before(pieces, &at, expected.places.len());
        // How much of the face, and of the ruled lines, is within reach of a place.
        let share = (std::f64::consts::PI * expected.reach.powi(2) / area.max(1.0)).min(1.0);
        let of_lines = (2.0 * expected.reach / lines_px.max(1.0)).min(1.0);
        let mut owns = vec![None; pieces.len()];
        for _ in 0..ROUNDS {
            let likely: Vec<f64> = (pieces.iter().zip(&at))
                .map(|(p, at)| pen.is_mark(p, at.map(|(_, away)| away)))
                .collect();
            owns = match expected.places.len() {
                0 => pieces.iter().map(|p| p.shaped.then_some(0.0)).collect(),
                places => owners(pieces, &at, &likely, places),
            };
            let of_pen: Vec<f64> = (pieces.iter().zip(&owns).zip(&likely))
                .map(|((p, owns), likely)| match owns {
                    Some(_) => *likely,
                    None => pen.is_mark(p, None),
                })
                .collect();
            pen.estimate(pieces, &owns, &of_pen);
            let fallen = |on_line: bool| -> f64 {
                let all = pieces
                    .iter()
                    .zip(&of_pen)
                    .filter(|(p, _)| p.line.is_some() == on_line);
                all.map(|(_, w)| 1.0 - w).sum::<f64>() + 1.0
            };
            pen.dirt_at_place = [share * fallen(false), of_lines * fallen(true)];
            pen.swellings = SWELLINGS * lines_mm;
            pen.swellings_at_place =
                NO_MARK * SWELLINGS * 2.0 * expected.reach * lines_mm / lines_px.max(1.0);
        }
        if expected.places.is_empty() {
            owns.fill(None);
        }
        (pen, owns)
    }

    /// A first guess: the pen drew what is darkest at most of the planned places; where nothing is, what most ink is of.
    fn before(pieces: &[Piece], at: &[Option<(usize, f64)>], places: usize) -> Self {
        let mut darkest = vec![0.0f64; places];
        for (p, place) in pieces.iter().zip(at) {
            if let Some((i, _)) = place
                && p.shaped
            {
                darkest[*i] = darkest[*i].max(p.look.darkness);
            }
        }
        let mut drawn: Vec<f64> = darkest.into_iter().filter(|d| *d > 0.0).collect();
        drawn.sort_by(f64::total_cmp);
        let darkness = drawn.get(drawn.len() / 2).copied();
        let darkness = darkness
            .unwrap_or_else(|| of_most_ink(pieces))
            .max(0.05)
            .ln();
        Self {
            spot: Normal {
                mean: SPOT_MM.ln(),
                sd: PENS_DIFFER,
            },
            stroke: Normal {
                mean: STROKE_MM.ln(),
                sd: PENS_DIFFER,
            },
            darkness: Normal {
                mean: darkness,
                sd: 0.3,
            },
            hue: INKS,
            dirt_width: Normal {
                mean: DIRT_MM.ln(),
                sd: DIRT_VARIES,
            },
            dirt_darkness: Normal {
                mean: darkness + DIRT_DARKNESS.ln(),
                sd: DIRT_VARIES,
            },
            dirt: 10.0,
            dirt_at_place: [0.01, 0.1],
            swellings: 1.0,
            swellings_at_place: 0.1,
            sets_dots: false,
            strays: match places {
                0 => UNPLANNED * pieces.iter().filter(|p| p.shaped).count() as f64,
                _ => STRAYS,
            },
            learned_from: 0,
        }
    }

    fn estimate(&mut self, pieces: &[Piece], owns: &[Option<f64>], of_pen: &[f64]) {
        let samples = |build: Build, value: fn(&Look) -> f64| -> Vec<(f64, f64)> {
            let own = pieces.iter().zip(owns).zip(of_pen);
            own.filter(|((p, owns), _)| owns.is_some() && p.shaped && p.look.build == build)
                .map(|((p, _), w)| (value(&p.look).max(1e-3).ln(), *w))
                .collect()
        };
        let width = |l: &Look| l.width_mm;
        let (spots, strokes) = (samples(Build::Spot, width), samples(Build::Stroke, width));
        let weight = |s: &[(f64, f64)]| s.iter().map(|s| s.1).sum::<f64>();
        let any = Normal {
            mean: SPOT_MM.ln(),
            sd: PENS_DIFFER,
        };
        // What only strokes tell of spots, and the other way round, is told as loosely as hands differ.
        let from_strokes = Normal::of(
            &strokes,
            Normal {
                mean: any.mean - SPOT_OVER_STROKE.ln(),
                sd: any.sd,
            },
            0.5,
        );
        let from_spots = Normal::of(&spots, any, 0.5);
        let loosely = |n: Normal, by: f64| Normal {
            mean: n.mean + by,
            sd: n.sd.hypot(0.25),
        };
        self.sets_dots = weight(&spots) > weight(&strokes);
        self.spot = if !self.sets_dots {
            Normal::of(&spots, loosely(from_strokes, SPOT_OVER_STROKE.ln()), 1.0)
        } else {
            from_spots
        };
        self.stroke = if weight(&spots) > weight(&strokes) {
            Normal::of(&strokes, loosely(from_spots, -SPOT_OVER_STROKE.ln()), 1.0)
        } else {
            from_strokes
        };
        self.spot.sd = self.spot.sd.max(WIDTH_VARIES);
        self.stroke.sd = self.stroke.sd.max(WIDTH_VARIES);
        let mut dark = samples(Build::Spot, |l| l.darkness);
        dark.extend(samples(Build::Stroke, |l| l.darkness));
        self.learned_from = dark.iter().filter(|d| d.1 > 0.5).count();
        self.darkness = Normal::of(
            &dark,
            Normal {
                mean: self.darkness.mean,
                sd: 0.3,
            },
            0.5,
        );
        self.darkness.sd = self.darkness.sd.max(DARKNESS_VARIES);
        let tints = (pieces.iter().zip(owns).zip(of_pen)).filter_map(|((p, owns), w)| {
            owns.filter(|_| p.shaped)?;
            Some((p.tint?, *w))
        });
        self.hue = Hue::of(&tints.collect::<Vec<_>>(), INKS, 0.5, HUE_VARIES);
        let dirt: Vec<(&Piece, f64)> = pieces
            .iter()
            .zip(of_pen)
            .filter(|(p, _)| p.look.build == Build::Spot)
            .map(|(p, w)| (p, 1.0 - w))
            .collect();
        let of_dirt = |value: fn(&Look) -> f64| -> Vec<(f64, f64)> {
            dirt.iter()
                .map(|(p, w)| (value(&p.look).max(1e-3).ln(), *w))
                .collect()
        };
        let like = |mean: f64| Normal {
            mean,
            sd: DIRT_VARIES,
        };
        self.dirt_width = Normal::of(&of_dirt(|l| l.width_mm), like(DIRT_MM.ln()), DIRT_WEIGHS);
        let pale = like(self.darkness.mean + DIRT_DARKNESS.ln());
        self.dirt_darkness = Normal::of(&of_dirt(|l| l.darkness), pale, DIRT_WEIGHS);
        self.dirt_width.sd = self.dirt_width.sd.max(DIRT_LEAST);
        self.dirt_darkness.sd = self.dirt_darkness.sd.max(DIRT_LEAST);
        self.dirt = dirt.iter().map(|d| d.1).sum::<f64>() + 1.0;
    }

    /// How dark this pen's ink is, 0 to 1.
    pub(super) fn darkness(&self) -> f64 {
        self.darkness.mean.exp()
    }

    /// Whether this pen's finer dots hardly show on a line so dark and so wide, mm: ink over like ink is no darker, and what
    /// is no wider than the line has no rim of its own.
    pub(super) fn shows_little_on(&self, line_darkness: f64, line_mm: f64) -> bool {
        let fine_mm = (self.spot.mean - 2.0 * self.spot.sd).exp();
        self.sets_dots && self.may_have_drawn(line_darkness) && line_mm > fine_mm
    }

    /// How dark this pen's palest marks are, 0 to 1: two standard deviations below the usual one.
    pub(super) fn palest(&self) -> f64 {
        (self.darkness.mean - 2.0 * self.darkness.sd).exp()
    }

    /// Whether ink of this darkness may be the pen's: within three standard deviations, or darker.
    pub(super) fn may_have_drawn(&self, darkness: f64) -> bool {
        darkness.max(1e-3).ln() > self.darkness.mean - 3.0 * self.darkness.sd
    }

    /// Probability that a piece is this pen's or another pen's mark, and no dirt.
    ///
    /// `away`: how far it lies from the planned place that it is the likeliest at, as a share of the reach; nothing elsewhere. Dirt
    /// falls as thickly at the rim of the reach as in its middle, a hand's mark does not.
    pub(super) fn is_mark(&self, piece: &Piece, away: Option<f64>) -> f64 {
        let look = &piece.look;
        let (w, d) = (look.width_mm.max(1e-3).ln(), look.darkness.max(1e-3).ln());
        let width = match look.build {
            Build::Spot => self.spot,
            Build::Stroke => self.stroke,
        };
        let own =
            width.log_density(w) + self.darkness.log_density(d) + self.hue.log_density(piece.tint);
        let usual = match look.build {
            Build::Spot => SPOT_MM,
            Build::Stroke => STROKE_MM,
        };
        let any = Normal {
            mean: usual.ln(),
            sd: PENS_DIFFER,
        };
        // Evenly over the logarithm of darkness from a tenth of black to black.
        let other = any.log_density(w) - 10f64.ln().ln() + other_hue(piece.tint);
        let drawn = (1.0 - OTHER_PEN) * own.exp() + OTHER_PEN * other.exp();
        let fallen = self.dirt_width.log_density(w)
            + self.dirt_darkness.log_density(d)
            + DIRT_HUE.log_density(piece.tint);
        let fallen = fallen.exp();
        let on_line = usize::from(piece.line.is_some());
        let (marks, dirt, swellings) = if let Some(away) = away {
            (
                (1.0 - MISSING) * aimed(away, piece.line.is_some()),
                self.dirt_at_place[on_line],
                self.swellings_at_place,
            )
        } else {
            (self.strays, self.dirt, self.swellings)
        };
        // A thicker place of a line is as dark as the line, and of its colour.
        let swollen = piece.line.map_or(0.0, |line| {
            let dark = Normal {
                mean: line.darkness.max(1e-3).ln(),
                sd: DARKNESS_VARIES,
            };
            let hue = line.tint.map_or(INKS, |t| Hue {
                mean: t.of,
                sd: HUE_VARIES.hypot(t.sd),
            });
            (SWOLLEN.log_density(w) + dark.log_density(d) + hue.log_density(piece.tint)).exp()
        });
        let other = dirt * fallen + swellings * swollen;
        marks * drawn / (marks * drawn + other).max(f64::MIN_POSITIVE)
    }
}
