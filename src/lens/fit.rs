//! All photos of one flat board in one adjustment: the survey's, with an open mind about the lens.
//!
//! The board is one card to it, seen in every photo; its scale is the gauge, and its aspect (a printer's
//! difference across and down) is free. What is added here is the judging of whole photos: one in which the
//! page was bent, or that another lens took, is found by its misfit and left out.

use nalgebra::{SMatrix, SVector, Vector2};

use super::error::LensError;
use crate::card::{SeenCard, SeenSaddle};
use crate::frame::{Face, Pixel, Point};
use crate::photo::Camera;
use crate::survey::{
    LENS_UNKNOWNS, Lens, LensSource, Options, PrintScale, Priors, Sighting, Survey, survey,
};

/// Photos that any fit needs: two views of a plane fix a camera. A good set has more, see `judge`.
pub const MIN_PHOTOS: usize = 2;
/// A photo that fits this many times worse than the middle one of the others is left out: photos of one set
/// differ in sharpness by a half and more, a page bent by a paper's thickness shows five times the noise.
const TIMES_WORSE: f64 = 2.5;
/// Unless a tenth of its corners miss by no more than this, px: harmless.
const HARMLESS_PX: f64 = 0.2;
/// Corners further off than this, in standard deviations of all, are not counted.
const OUTLIER_SIGMAS: f64 = 6.0;
/// The board is scaled to this extent for the adjustment, mm. Its size has no say in the lens, and the
/// survey's own limit (0.15 mm of misfit) is meant for cards on sheets: here it becomes 1.5 % of the page.
const EXTENT_MM: f64 = 10.0;
/// How far a print's aspect is from 1.
const ASPECT_SD: f64 = 0.01;
/// Its scale is not looked for.
const GAUGE_SD: f64 = 1e-6;
/// What may be expected of any lens, standard deviations: ln f, principal point over the diagonal, k1, k2,
/// p1 p2, k3, aspect, skew. With a mind more open than this a single photo's start wanders off.
const ANY_LENS: [f64; 8] = [0.35, 0.05, 0.5, 0.5, 0.01, 0.3, 0.02, 0.01];
/// The second round expects what the first found, within this many of its standard deviations: it pulls by
/// a ten-thousandth of one at the most where the first was pulled by a whole one.
const FREED: f64 = 100.0;
const HELD_SD: f64 = 1e-12;

/// One photo of a flat board.
#[derive(Debug, Clone, Copy)]
pub struct BoardView<'a> {
    /// The photo, for people.
    pub name: &'a str,
    /// Corners: `on_card` in the board's frame (mm, y up), `at` in the photo.
    pub corners: &'a [SeenSaddle],
}

/// Which parts of the lens are solved for, beside f, cx, cy, k1 and k2. The others are held: k3, p1, p2 and
/// skew at 0, the pixel aspect at 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Free {
    /// p1 and p2.
    pub tangential: bool,
    /// k3.
    pub k3: bool,
    /// The pixels' aspect: for published calibrations.
    pub aspect: bool,
    /// The columns' lean: for published calibrations.
    pub skew: bool,
    /// Whether the board's aspect is free: a print's; not a machined target's.
    pub board_aspect: bool,
}

impl Default for Free {
    fn default() -> Self {
        Self {
            tangential: true,
            k3: false,
            aspect: false,
            skew: false,
            board_aspect: true,
        }
    }
}

impl Free {
    /// For each lens unknown, whether it is solved for.
    #[must_use]
    pub fn unknowns(&self) -> [bool; LENS_UNKNOWNS] {
        let t = self.tangential;
        [
            true,
            true,
            true,
            true,
            true,
            t,
            t,
            self.k3,
            self.aspect,
            self.skew,
        ]
    }
}

/// How one photo fits.
#[derive(Debug, Clone)]
pub struct PhotoFit {
    /// Its place in the list given.
    pub index: usize,
    /// RMS distance of its counted corners from where the fit puts them, px.
    pub rms_px: f64,
    /// What one in ten of all its corners, counted or not, misses by at least, px: says whether it fits.
    pub misfit_px: f64,
    /// Each corner: where it was seen, how far that is from where the fit puts it (px), whether it counts.
    pub corners: Vec<(Point<Pixel>, Vector2<f64>, bool)>,
    /// The board's upright in the camera's frame, length 1 (x right, y down, z forward; z < 0).
    pub upright: [f64; 3],
}

/// A fitted lens.
#[derive(Debug, Clone)]
pub struct LensFit {
    /// The lens, in the frame of the corners.
    pub lens: Lens,
    /// Covariance in the order of [`Lens::unknowns`]; the residuals decide the unit weight.
    pub covariance: SMatrix<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>,
    /// What was solved for.
    pub free: Free,
    /// Picture size, px.
    pub size: [u32; 2],
    /// RMS distance of all counted corners from where the fit puts them, px.
    pub rms_px: f64,
    /// Corners counted.
    pub corners: usize,
    /// The misfits over the standard deviations stated with the corners.
    pub noise_factor: f64,
    /// The board's height over its width as designed, that of the print being 1, and its standard deviation.
    pub board_aspect: [f64; 2],
    /// The photos that took part.
    pub photos: Vec<PhotoFit>,
    /// Photos left out: place in the list given, and why.
    pub left_out: Vec<(usize, String)>,
}

impl LensFit {
    /// Standard deviations of the unknowns, in the order of [`Lens::unknowns`]; 0 for those held.
    #[must_use]
    pub fn sd(&self) -> [f64; LENS_UNKNOWNS] {
        let free = self.free.unknowns();
        std::array::from_fn(|i| {
            if free[i] {
                self.covariance[(i, i)].sqrt()
            } else {
                0.0
            }
        })
    }
}

/// Fits a lens to photos of a flat board, all taken by one camera in pictures of `size` (px). Photos that do
/// not fit the others are left out and named; not more than a third of them.
///
/// # Errors
/// [`LensError::TooFew`] below [`MIN_PHOTOS`] usable photos; [`LensError::Unsolved`] when they fit no lens.
///
/// # Source
/// The idea of several free views of a plane: Zhang, "A Flexible New Technique for Camera Calibration",
/// MSR-TR-98-71, 1998.
pub fn calibrate(
    views: &[BoardView],
    size: [u32; 2],
    camera: &Camera,
    free: Free,
) -> Result<LensFit, LensError> {
    let cards = scaled(views);
    let mut kept: Vec<usize> = (0..views.len()).collect();
    let mut left_out = Vec::new();
    let few = |usable| LensError::TooFew {
        usable,
        needed: MIN_PHOTOS,
    };
    if kept.len() < MIN_PHOTOS {
        return Err(few(kept.len()));
    }
    let case = Case {
        cards: &cards,
        size,
        any_lens: any_lens(size, camera, free),
        free,
    };
    let most = views.len() / 3;
    loop {
        let fit = case.fit(&kept);
        let may_drop = left_out.len() < most && kept.len() > MIN_PHOTOS;
        let suspect = match &fit {
            Ok(fit) => worst(fit).map(|(index, why)| (index, Some(why))),
            // Which one spoils it is tried out.
            Err(_) => spoiler(&case, &kept).map(|index| (index, None)),
        };
        match (suspect, fit) {
            (Some((index, why)), _) if may_drop => {
                kept.retain(|k| *k != index);
                let why = why.unwrap_or_else(|| {
                    "with it no lens fits the photos; was the page flat, and the same lens used?".into()
                });
                left_out.push((index, why));
            }
            (_, Ok(mut fit)) => {
                left_out.sort();
                fit.left_out = left_out;
                return Ok(fit);
            }
            (_, Err(error)) => return Err(error),
        }
    }
}

struct Case<'a> {
    cards: &'a [Vec<SeenCard>],
    size: [u32; 2],
    any_lens: Priors,
    free: Free,
}

impl Case<'_> {
    fn fit(&self, kept: &[usize]) -> Result<LensFit, LensError> {
        let seen: Vec<Sighting> = kept
            .iter()
            .map(|&k| Sighting {
                cards: &self.cards[k],
                ..Sighting::default()
            })
            .collect();
        let options = Options {
            paper_mm: [0.0, 0.0],
            ..Options::default()
        };
        let solve = |priors: &Priors| {
            survey(&seen, priors, &options).map_err(|why| LensError::Unsolved {
                photos: kept.len(),
                why,
            })
        };
        let first = solve(&self.any_lens)?;
        let mut freed = self.any_lens.clone();
        freed.lens = *first.lens();
        for (i, free) in self.free.unknowns().into_iter().enumerate() {
            if free {
                freed.lens_cov[(i, i)] = FREED * FREED * first.covariance()[(i, i)];
            }
        }
        Ok(self.told(kept, &solve(&freed)?))
    }

    /// What the survey found, with the unit weight taken from the residuals alone: the survey itself never
    /// takes the corners for better than they say they are.
    fn told(&self, kept: &[usize], solved: &Survey) -> LensFit {
        let mut photos = Vec::new();
        let (mut square, mut square_px, mut count) = (0.0, 0.0, 0);
        for (view, &index) in solved.model().views().iter().zip(kept) {
            let corners = self.cards[index].iter().flat_map(|c| &c.saddles);
            let mut told = Vec::new();
            let (mut own_px, mut own) = (0.0, 0);
            let mut all_px = Vec::new();
            for s in corners {
                let on_face = Point::<Face>::new(
                    s.on_card.x * solved.scale[0],
                    s.on_card.y * solved.scale[1],
                );
                let weight = s.cov.try_inverse();
                let (Some(at), Some(weight)) = (view.pixel_from_face(on_face), weight) else {
                    told.push((s.at, Vector2::zeros(), false));
                    continue;
                };
                let miss = s.at - at;
                let far = miss.dot(&(weight * miss));
                let counts = far.sqrt() <= OUTLIER_SIGMAS * solved.noise_factor;
                all_px.push(miss.norm());
                told.push((s.at, miss, counts));
                if counts {
                    square += far;
                    own_px += miss.norm_squared();
                    own += 1;
                }
            }
            square_px += own_px;
            count += own;
            photos.push(PhotoFit {
                index,
                misfit_px: tenth(all_px),
                rms_px: (own_px / f64::from(own.max(1))).sqrt(),
                corners: told,
                upright: view.upright_in_camera().into(),
            });
        }
        let unknowns = self.free.unknowns().iter().filter(|f| **f).count()
            + 6 * photos.len()
            + usize::from(self.free.board_aspect);
        let redundancy = (2.0 * f64::from(count) - unknowns as f64).max(1.0);
        let noise_factor = (square / redundancy).sqrt();
        let by = noise_factor / solved.noise_factor;
        let cov = solved.covariance();
        let mut covariance = cov.fixed_view::<LENS_UNKNOWNS, LENS_UNKNOWNS>(0, 0) * (by * by);
        // What is held is known, not measured.
        for (i, free) in self.free.unknowns().iter().enumerate() {
            if !free {
                covariance.row_mut(i).fill(0.0);
                covariance.column_mut(i).fill(0.0);
                covariance[(i, i)] = HELD_SD * HELD_SD;
            }
        }
        // Held values moved by less than a rounding; they are what they were.
        let mut lens = solved.lens().unknowns();
        for (i, held) in self.any_lens.lens.unknowns().into_iter().enumerate() {
            if !self.free.unknowns()[i] {
                lens[i] = held;
            }
        }
        LensFit {
            lens: Lens::from_unknowns(lens),
            covariance,
            free: self.free,
            size: self.size,
            rms_px: (square_px / f64::from(count.max(1))).sqrt(),
            corners: count as usize,
            noise_factor,
            board_aspect: [
                solved.scale[1] / solved.scale[0],
                by * solved.scale_u[1] / solved.scale[0],
            ],
            photos,
            left_out: Vec::new(),
        }
    }
}

/// What a tenth of the values exceed; 0 of none.
fn tenth(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() * 9 / 10).copied().unwrap_or(0.0)
}

/// The photo that fits far worse than the others, and a sentence on it.
fn worst(fit: &LensFit) -> Option<(usize, String)> {
    let worst = fit.photos.iter().max_by(|a, b| {
        a.misfit_px
            .total_cmp(&b.misfit_px)
            .then(b.index.cmp(&a.index))
    })?;
    let mut others: Vec<f64> = fit
        .photos
        .iter()
        .filter(|p| p.index != worst.index)
        .map(|p| p.misfit_px)
        .collect();
    others.sort_by(f64::total_cmp);
    let middle = others.get(others.len() / 2)?;
    (worst.misfit_px > TIMES_WORSE * middle && worst.misfit_px > HARMLESS_PX).then(|| {
        (
            worst.index,
            format!(
                "a tenth of its corners miss the common lens by {:.2} px or more, in the other photos by {middle:.2} px; the page was bent or moved, or the photo is unsharp",
                worst.misfit_px
            ),
        )
    })
}

/// The photo without which the others fit best, if without it they fit at all.
fn spoiler(case: &Case, kept: &[usize]) -> Option<usize> {
    if kept.len() <= MIN_PHOTOS {
        return None;
    }
    kept.iter()
        .filter_map(|&index| {
            let others: Vec<usize> = kept.iter().copied().filter(|k| *k != index).collect();
            Some((case.fit(&others).ok()?.rms_px, index))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))
        .map(|(_, index)| index)
}

/// The boards as cards of one number, scaled to [`EXTENT_MM`].
fn scaled(views: &[BoardView]) -> Vec<Vec<SeenCard>> {
    let extent = views
        .iter()
        .flat_map(|v| v.corners)
        .map(|c| c.on_card.x.abs().max(c.on_card.y.abs()))
        .fold(0.0, f64::max);
    let by = if extent > 0.0 {
        EXTENT_MM / extent
    } else {
        1.0
    };
    let card = |v: &BoardView| SeenCard {
        number: 1,
        saddles: v
            .corners
            .iter()
            .map(|s| SeenSaddle {
                on_card: Point::at(s.on_card.vec() * by),
                ..*s
            })
            .collect(),
        // No stage after this one looks at it.
        outline: [Point::new(0.0, 0.0); 4],
    };
    views.iter().map(|v| vec![card(v)]).collect()
}

/// EXIF's focal length to start from, and what may be expected of any lens.
fn any_lens(size: [u32; 2], camera: &Camera, free: Free) -> Priors {
    // The stored picture: its orientation plays no part.
    let stored = Camera {
        orientation: 1,
        ..camera.clone()
    };
    let mut priors = Priors::from_camera(&stored, size[0], size[1]);
    let diagonal = f64::from(size[0]).hypot(f64::from(size[1]));
    let [f, c, k1, k2, p, k3, aspect, skew] = ANY_LENS;
    let c = c * diagonal;
    let open = [f, c, c, k1, k2, p, p, k3, aspect, skew];
    let unknowns = free.unknowns();
    let sd =
        SVector::<f64, LENS_UNKNOWNS>::from_fn(|i, _| if unknowns[i] { open[i] } else { HELD_SD });
    priors.lens_cov = SMatrix::from_diagonal(&sd.component_mul(&sd));
    priors.source = LensSource::None;
    priors.notes.clear();
    priors.scale = PrintScale {
        mean: [1.0; 2],
        sd: [
            GAUGE_SD,
            if free.board_aspect {
                ASPECT_SD
            } else {
                GAUGE_SD
            },
        ],
    };
    priors
}
