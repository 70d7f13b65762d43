//! Whether a set of photos is good enough, and which photo to take next.

use super::coverage::{Coverage, SIDES};
use super::fit::LensFit;
use crate::frame::Point;

/// Photos of a good set.
pub const ENOUGH_PHOTOS: usize = 6;
/// Tilted photos of a good set, and to how many sides.
pub const ENOUGH_TILTED: usize = 4;
const ENOUGH_SIDES: usize = 3;
/// Share of the picture's cells that a good set covers.
const ENOUGH_COVER: f64 = 0.85;
/// Standard deviation of the focal length that is good enough, as a part of it: autofocus changes it by as
/// much from shot to shot.
const F_SD: f64 = 0.003;
/// The same of the principal point, over the diagonal: a stabilised lens wanders by as much.
const CENTRE_SD: f64 = 0.002;
/// Distortion at the picture's corner, standard deviation over the diagonal: a pixel of 12 megapixels.
const BEND_SD: f64 = 0.0002;
/// Largest RMS of a good set: this over the diagonal, but not below half a pixel.
const RMS: f64 = 0.0002;
const RMS_PX: f64 = 0.5;

/// What a set lacks, most important first.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub enum Lack {
    /// A corner of the picture without corners of the page: 0 upper left, then clockwise.
    Corner(usize),
    /// Too few tilted photos; the side (place in [`SIDES`]) from which the next should be.
    Tilt(usize),
    /// A large part of the picture without corners of the page; the share that is covered.
    Cover(f64),
    /// Too few photos; how many are there.
    Photos(usize),
    /// The focal length is uncertain; its relative standard deviation.
    Focal(f64),
    /// The principal point is uncertain; its standard deviation, px.
    Centre(f64),
    /// The distortion is uncertain; its standard deviation at the picture's corner, px.
    Bend(f64),
    /// The corners miss by too much, px; more photos do not help.
    Misfit(f64),
}

/// The judgement of a set of photos.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// What is lacking; empty when the set is good enough.
    pub lacks: Vec<Lack>,
    /// Standard deviation of the distortion at the picture's corners, px.
    pub bend_sd_px: f64,
    /// What to do next, in a sentence; `None` when the set is good enough.
    pub next: Option<String>,
}

impl Judgement {
    /// Judges a fit.
    #[must_use]
    pub fn of(fit: &LensFit, coverage: &Coverage) -> Self {
        let [w, h] = fit.size.map(f64::from);
        let diagonal = w.hypot(h);
        let sd = fit.sd();
        let bend_sd_px = bend_sd_px(fit);
        let mut lacks = Vec::new();
        let allowed = (RMS * diagonal).max(RMS_PX);
        if fit.rms_px > allowed {
            lacks.push(Lack::Misfit(fit.rms_px));
        }
        let corners = coverage.corners();
        lacks.extend((0..4).filter(|i| !corners[*i]).map(Lack::Corner));
        let sides = coverage.sides();
        let tilted: usize = sides.iter().sum();
        let from = sides.iter().filter(|n| **n > 0).count();
        // The side opposite to one that is there says least that is new, so the empty ones go first.
        let mut least: Vec<usize> = (0..4).collect();
        least.sort_by_key(|s| (sides[*s], *s));
        if tilted < ENOUGH_TILTED || from < ENOUGH_SIDES {
            lacks.push(Lack::Tilt(least[0]));
        }
        if coverage.share() < ENOUGH_COVER {
            lacks.push(Lack::Cover(coverage.share()));
        }
        if fit.photos.len() < ENOUGH_PHOTOS {
            lacks.push(Lack::Photos(fit.photos.len()));
        }
        if sd[0] > F_SD {
            lacks.push(Lack::Focal(sd[0]));
        }
        let centre = sd[1].max(sd[2]);
        if centre > CENTRE_SD * diagonal {
            lacks.push(Lack::Centre(centre));
        }
        if bend_sd_px > BEND_SD * diagonal {
            lacks.push(Lack::Bend(bend_sd_px));
        }
        let next = lacks.first().map(|l| advice(*l, least[0]));
        Self {
            lacks,
            bend_sd_px,
            next,
        }
    }

    /// Whether the profile is worth keeping.
    #[must_use]
    pub fn good_enough(&self) -> bool {
        self.lacks.is_empty()
    }
}

/// What is lacking, in words.
#[must_use]
pub fn said(lack: Lack) -> String {
    match lack {
        Lack::Corner(i) => format!("the {} corner of the picture was never covered", CORNERS[i]),
        Lack::Tilt(side) => format!(
            "too few tilted photos: {ENOUGH_TILTED} are needed, to {ENOUGH_SIDES} sides, and none or few fall away at the {} side",
            SIDES[side]
        ),
        Lack::Cover(share) => format!(
            "only {:.0} % of the picture was covered; {:.0} % are needed",
            100.0 * share,
            100.0 * ENOUGH_COVER
        ),
        Lack::Photos(n) => format!("{n} photos; {ENOUGH_PHOTOS} are needed"),
        Lack::Focal(sd) => format!(
            "the focal length is known to {:.2} % only; {:.1} % are needed",
            100.0 * sd,
            100.0 * F_SD
        ),
        Lack::Centre(px) => format!("the principal point is known to {px:.0} px only"),
        Lack::Bend(px) => {
            format!("the distortion at the picture's corners is known to {px:.1} px only")
        }
        Lack::Misfit(px) => format!(
            "the corners miss the fitted lens by {px:.2} px RMS: the page is not flat, or the photos are unsharp"
        ),
    }
}

const CORNERS: [&str; 4] = ["upper left", "upper right", "lower right", "lower left"];

fn advice(lack: Lack, side: usize) -> String {
    let tilt = |side: usize| {
        format!(
            "take a photo with the page filling the picture, the phone tilted by about 30 degrees so that the page lies further away at the {} side of the picture",
            SIDES[side]
        )
    };
    match lack {
        Lack::Corner(i) => format!(
            "take a photo with the page pushed into the {} corner of the picture (as the picture is stored, mostly the long way across); a part of the page may be cut off",
            CORNERS[i]
        ),
        Lack::Tilt(side) => tilt(side),
        Lack::Cover(_) => "take a photo from nearer, so that the page reaches past all edges of the picture".into(),
        Lack::Photos(_) | Lack::Focal(_) => tilt(side),
        Lack::Centre(_) => "take a tilted photo with the phone turned by a quarter turn".into(),
        Lack::Bend(_) => "take two more photos from nearer, so that the page reaches past all edges of the picture".into(),
        Lack::Misfit(_) => "tape the page flat to glass or a board, clean the lens, and take all photos again".into(),
    }
}

/// Standard deviation of where the distortion puts the picture's corner, px: the largest of the four.
fn bend_sd_px(fit: &LensFit) -> f64 {
    let [w, h] = fit.size.map(f64::from);
    let lens = &fit.lens;
    [(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]
        .into_iter()
        .map(|(x, y)| {
            // Where a corner's ray cannot be had, the distortion is not known there at all.
            let Some(ray) = lens.ray_from_pixel(Point::new(x, y)) else {
                return f64::INFINITY;
            };
            let by = lens.slopes(ray);
            let cov = &fit.covariance;
            let mut var = 0.0;
            // k1, k2, p1, p2, k3: the bend; f and the principal point are judged by themselves.
            for i in 3..8 {
                for j in 3..8 {
                    var += cov[(i, j)] * by.column(i).dot(&by.column(j));
                }
            }
            var.max(0.0).sqrt()
        })
        .fold(0.0, f64::max)
}
