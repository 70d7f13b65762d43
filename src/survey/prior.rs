//! What is known before the photo is measured: the camera and the print.

use nalgebra::{DMatrix, SMatrix};

use super::error::SurveyError;
use super::lens::{LENS_UNKNOWNS, Lens};
use crate::photo::Camera;

/// Diagonal of the 36 x 24 mm frame, to which 35 mm equivalents refer (CIPA DCG-001, from memory).
const DIAGONAL_35MM: f64 = 43.266_615_305_567_87;
/// ln f from EXIF: 35 mm equivalents are whole numbers near 26 (2 %), the diagonal and the width rule
/// differ by 4 %, and focusing close adds some.
const LN_F_SD_EXIF: f64 = 0.06;
/// ln f with no word from the camera: phones from wide to portrait lens.
const LN_F_SD_OPEN: f64 = 0.35;
/// Typical focal length of a phone's main lens over the longer side of the picture.
const OPEN_F_PER_SIDE: f64 = 0.85;
/// Principal point from the centre, as part of the diagonal.
const CENTRE_SD: f64 = 0.01;
/// The same when the picture was cropped, perhaps to one side.
const CENTRE_SD_CROPPED: f64 = 0.15;
/// Phones have mostly corrected pictures.
const K1_SD: f64 = 0.05;
const K2_SD: f64 = 0.03;
const P_SD: f64 = 0.001;
/// k3, pixel aspect and skew are held where they are unless a calibration frees them.
const HELD_SD: f64 = 1e-12;
/// Aspect ratios that a sensor delivers whole: 4:3 and 3:2, with room for odd rows.
const WHOLE_ASPECT: std::ops::RangeInclusive<f64> = 1.30..=1.53;
/// Aspect ratios agree within this: scaling rounds each side to whole pixels.
const SAME_ASPECT: f64 = 0.005;
/// Zoom factors below this are none.
const ZOOMED: f64 = 1.01;

/// Lengths of the printed bars, mm.
const BARS_MM: [f64; 3] = [20.0, 50.0, 100.0];
/// A printer's "fit to page" shrinks by 3 to 6 %, photo prints by up to a tenth.
const BAR_RANGE: f64 = 0.15;
/// A steel rule is read to ±0.1 mm, rectangular.
const BAR_SD_MM: f64 = 0.1 / 1.732_050_807_568_877_2;
/// Print scale of a home printer, unmeasured.
const SCALE_SD: f64 = 0.005;

/// Where the camera data came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LensSource {
    /// A camera profile.
    Profile,
    /// The photo's EXIF fields.
    Exif,
    /// Nowhere: an open mind.
    None,
}

impl LensSource {
    /// The word in the result file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Profile => "profile",
            Self::Exif => "exif",
            Self::None => "none",
        }
    }
}

/// Something the user should know; the solve went on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// A fixed word for programs.
    pub code: &'static str,
    /// A sentence for people.
    pub text: String,
}

/// True size over designed size of the print, across and down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrintScale {
    /// Across and down.
    pub mean: [f64; 2],
    /// Standard deviations.
    pub sd: [f64; 2],
}

impl PrintScale {
    /// Not measured: 1 ± 0.5 %.
    #[must_use]
    pub fn unsaid() -> Self {
        Self {
            mean: [1.0; 2],
            sd: [SCALE_SD; 2],
        }
    }

    /// From what the bars across and down really measure, mm. The printed length is the nearest of 20, 50
    /// and 100 mm; the reading counts as ±0.1 mm.
    ///
    /// # Errors
    /// [`SurveyError::Bars`] when a value is not within 15 % of a printed bar.
    pub fn from_bars(measured_mm: [f64; 2]) -> Result<Self, SurveyError> {
        let mut scale = Self::unsaid();
        for (i, which) in ["across", "down"].into_iter().enumerate() {
            let nominal = BARS_MM
                .into_iter()
                .find(|bar| (measured_mm[i] / bar - 1.0).abs() <= BAR_RANGE)
                .ok_or(SurveyError::Bars {
                    given_mm: measured_mm,
                    which,
                })?;
            scale.mean[i] = measured_mm[i] / nominal;
            scale.sd[i] = BAR_SD_MM / nominal;
        }
        Ok(scale)
    }
}

/// What is known before the solve.
#[derive(Debug, Clone)]
pub struct Priors {
    /// Expected lens.
    pub lens: Lens,
    /// Covariance of its unknowns, in the order of [`Lens::unknowns`].
    pub lens_cov: SMatrix<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>,
    /// Where that came from.
    pub source: LensSource,
    /// The print.
    pub scale: PrintScale,
    /// What was odd about the camera data.
    pub notes: Vec<Note>,
}

impl Priors {
    /// From EXIF; `width` and `height` are those of the upright picture in px.
    ///
    /// f in px is f35 times the picture's diagonal over 43.27 mm. A picture of another shape than 4:3 or 3:2
    /// was probably cut from such a one in the camera, which keeps f in pixels: the prior then spans both
    /// readings. So it does with digital zoom, which some cameras count into f35 and some do not.
    #[must_use]
    pub fn from_camera(camera: &Camera, width: u32, height: u32) -> Self {
        let (w, h) = (f64::from(width), f64::from(height));
        let diagonal = w.hypot(h);
        let mut notes = Vec::new();
        let mut centre_sd = CENTRE_SD * diagonal;

        // EXIF gives the size before the turn.
        let exif = camera.exif_size.map(|[a, b]| {
            if (5..=8).contains(&camera.orientation) {
                [b, a]
            } else {
                [a, b]
            }
        });
        let edited = exif.filter(|e| *e != [width, height] && e.iter().all(|s| *s > 0));

        let f35 = camera.focal_35mm.filter(|f| f.is_finite() && *f > 1.0);
        let (mut ln_f, mut ln_f_var, source) = match f35 {
            Some(f) => (
                (f * diagonal / DIAGONAL_35MM).ln(),
                LN_F_SD_EXIF.powi(2),
                LensSource::Exif,
            ),
            None => (
                (OPEN_F_PER_SIDE * w.max(h)).ln(),
                LN_F_SD_OPEN.powi(2),
                LensSource::None,
            ),
        };
        if f35.is_some() {
            let (long, short) = (w.max(h), w.min(h));
            if !WHOLE_ASPECT.contains(&(long / short)) && edited.is_none() {
                // The smallest 4:3 frame round the picture.
                let whole = (long.max(short * 4.0 / 3.0)) * 1.25;
                let gap = (whole / diagonal).ln();
                ln_f += gap / 2.0;
                ln_f_var += (gap / 2.0).powi(2);
                notes.push(Note {
                    code: "cut-in-camera",
                    text: format!(
                        "the picture is {width} x {height}, not the usual 4:3 or 3:2: the focal length from EXIF may be off by {:.0} %",
                        100.0 * gap.exp_m1()
                    ),
                });
            }
            if let Some(zoom) = camera.digital_zoom.filter(|z| z.is_finite() && *z > ZOOMED) {
                let gap = zoom.ln();
                ln_f += gap / 2.0;
                ln_f_var += (gap / 2.0).powi(2);
                notes.push(Note {
                    code: "digital-zoom",
                    text: format!(
                        "the photo was taken with digital zoom {zoom:.2}: the focal length is little known; photos without zoom measure better"
                    ),
                });
            }
        }
        if let Some([ew, eh]) = edited {
            let (fw, fh) = (f64::from(ew), f64::from(eh));
            let same_shape = ((w / h) / (fw / fh) - 1.0).abs() < SAME_ASPECT;
            if let (Some(f), false) = (f35, same_shape) {
                // A cut keeps f in pixels.
                ln_f = (f * fw.hypot(fh) / DIAGONAL_35MM).ln();
            }
            ln_f_var += LN_F_SD_OPEN.powi(2);
            centre_sd = CENTRE_SD_CROPPED * diagonal;
            notes.push(Note {
                code: "edited-picture",
                text: format!(
                    "the picture is {width} x {height}, but the camera wrote {ew} x {eh}: it was cropped or resized after the shot, so the camera data count for little; use the photo as taken"
                ),
            });
        }
        Self {
            lens: Lens {
                f_px: ln_f.exp(),
                cx_px: w / 2.0,
                cy_px: h / 2.0,
                ..Lens::default()
            },
            lens_cov: SMatrix::from_diagonal(&nalgebra::SVector::from([
                ln_f_var,
                centre_sd.powi(2),
                centre_sd.powi(2),
                K1_SD.powi(2),
                K2_SD.powi(2),
                P_SD.powi(2),
                P_SD.powi(2),
                HELD_SD.powi(2),
                HELD_SD.powi(2),
                HELD_SD.powi(2),
            ])),
            source,
            scale: PrintScale::unsaid(),
            notes,
        }
    }

    /// The same with another print scale.
    #[must_use]
    pub fn with_scale(mut self, scale: PrintScale) -> Self {
        self.scale = scale;
        self
    }
}

/// What is known of the cameras of several photos before the solve.
#[derive(Debug, Clone)]
pub struct Cameras {
    /// Expected lens of each.
    pub lenses: Vec<Lens>,
    /// Covariance of all their unknowns together, [`LENS_UNKNOWNS`] a camera.
    pub cov: DMatrix<f64>,
    /// Where that came from, the least of all photos.
    pub source: LensSource,
    /// The print.
    pub scale: PrintScale,
    /// What was odd about the camera data.
    pub notes: Vec<Note>,
}

impl Cameras {
    /// One camera for all photos.
    #[must_use]
    pub fn one(priors: &Priors) -> Self {
        let n = LENS_UNKNOWNS;
        Self {
            lenses: vec![priors.lens],
            cov: DMatrix::from_fn(n, n, |i, j| priors.lens_cov[(i, j)]),
            source: priors.source,
            scale: priors.scale,
            notes: priors.notes.clone(),
        }
    }

    /// A camera for each photo. Photos whose `like` is the same come from one phone held the same way: what is
    /// unknown of its lens is common to them, but for what focusing and the stabiliser change from shot to shot.
    #[must_use]
    pub fn of_shots(shots: &[(Priors, usize)]) -> Self {
        let Some((first, _)) = shots.first() else {
            return Self::one(&Priors::from_camera(&Camera::default(), 1, 1));
        };
        let k = LENS_UNKNOWNS;
        let cov = DMatrix::from_fn(k * shots.len(), k * shots.len(), |i, j| {
            let ((a, like), (b, other)) = (&shots[i / k], &shots[j / k]);
            if i / k != j / k && like != other {
                return 0.0;
            }
            let common = (a.lens_cov[(i % k, j % k)] + b.lens_cov[(i % k, j % k)]) / 2.0;
            let diagonal = (2.0 * a.lens.cx_px).hypot(2.0 * a.lens.cy_px);
            common
                + if i == j {
                    shot_var(i % k, diagonal)
                } else {
                    0.0
                }
        });
        let mut notes: Vec<Note> = Vec::new();
        for note in shots.iter().flat_map(|(p, _)| &p.notes) {
            if !notes.contains(note) {
                notes.push(note.clone());
            }
        }
        let rank = |s: LensSource| match s {
            LensSource::Profile => 2,
            LensSource::Exif => 1,
            LensSource::None => 0,
        };
        let source = shots.iter().map(|(p, _)| p.source).min_by_key(|s| rank(*s));
        Self {
            lenses: shots.iter().map(|(p, _)| p.lens).collect(),
            cov,
            source: source.unwrap_or(first.source),
            scale: first.scale,
            notes,
        }
    }

    /// Standard deviation of a camera's ln f.
    pub(super) fn ln_f_sd(&self, camera: usize) -> f64 {
        let at = LENS_UNKNOWNS * camera;
        self.cov[(at, at)].sqrt()
    }
}

/// Variance of a lens unknown from shot to shot of one phone.
fn shot_var(unknown: usize, diagonal_px: f64) -> f64 {
    let sd = match unknown {
        // The lens stands f/d further out when it focuses at d: 0.4 % between 300 and 400 mm for f = 5 mm.
        0 => 0.003,
        // The stabiliser moves the lens against the sensor, by tens of micrometres.
        1 | 2 => 0.001 * diagonal_px,
        3 => 0.002,
        4 => 0.002,
        5 | 6 => 1e-4,
        _ => HELD_SD,
    };
    sd * sd
}
