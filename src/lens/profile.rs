//! The profile file: TOML, small and readable, and whether it suits a photo.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use nalgebra::{SMatrix, SVector};
use serde::Deserialize;

use super::error::ProfileError;
use super::fit::LensFit;
use super::report::plus_minus;
use super::shot::{changed, other_camera};
use super::turn::Turn;
use crate::photo::{Camera, MIN_SIDE, Photo};
use crate::survey::{LENS_UNKNOWNS, Lens, LensSource, Note, PrintScale, Priors};

/// The first line's word, and its version.
pub const FORMAT: &str = "punchready.lens/1";
/// Pictures are of the same shape when their sides' ratios agree within this: whole pixels.
const SAME_SHAPE: f64 = 0.002;
/// What a phone changes from shot to shot, whatever its profile says. Autofocus moves the lens out by the
/// square of its focal length over the distance: between 300 and 600 mm a phone's focal length in pixels
/// changes by some 0.7 %, a spread of 0.5 %.
const FOCUS_SD: f64 = 0.005;
/// A stabilised lens or sensor wanders by some ten pixels of 12 megapixels: part of the diagonal.
const WANDER_SD: f64 = 0.002;
/// Largest profile file, bytes; one is some 2 kB.
const MAX_BYTES: u64 = 100_000;
/// Keys of the lens table, in the order of the unknowns (f as itself).
const KEYS: [&str; 8] = ["f_px", "cx_px", "cy_px", "k1", "k2", "p1", "p2", "k3"];
/// Standard deviation of what the profile holds.
const HELD_SD: f64 = 1e-12;

type LensCov = SMatrix<f64, LENS_UNKNOWNS, LENS_UNKNOWNS>;

/// A camera's profile.
#[derive(Debug, Clone)]
pub struct Profile {
    /// The file it was read from or is to be written to; for messages.
    pub path: PathBuf,
    /// The camera, as EXIF has it.
    pub camera: Camera,
    /// Size of the stored picture, px.
    pub size: [u32; 2],
    /// The lens, in the stored picture; square pixels.
    pub lens: Lens,
    /// Covariance in the order of [`Lens::unknowns`].
    pub covariance: LensCov,
    /// Photos and corners it was made from, and their RMS misfit, px.
    pub made: Made,
}

/// What a profile was made from.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Made {
    /// Photos.
    pub photos: usize,
    /// Corners.
    pub corners: usize,
    /// RMS misfit of the corners, px.
    pub rms_px: f64,
}

/// The file's shape.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    format: String,
    camera: CameraTable,
    lens: LensTable,
    uncertainty: UncertaintyTable,
    made: Made,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CameraTable {
    make: Option<String>,
    model: Option<String>,
    focal_mm: Option<f64>,
    focal_35mm: Option<f64>,
    width_px: u32,
    height_px: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LensTable {
    f_px: f64,
    cx_px: f64,
    cy_px: f64,
    k1: f64,
    k2: f64,
    p1: f64,
    p2: f64,
    k3: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UncertaintyTable {
    sd: Vec<f64>,
    correlation: Vec<Vec<f64>>,
}

impl Profile {
    /// From a fit of square pixels.
    #[must_use]
    pub fn of(fit: &LensFit, camera: &Camera, path: &Path) -> Self {
        Self {
            path: path.to_owned(),
            camera: camera.clone(),
            size: fit.size,
            lens: fit.lens,
            covariance: fit.covariance,
            made: Made {
                photos: fit.photos.len(),
                corners: fit.corners,
                rms_px: fit.rms_px,
            },
        }
    }

    /// As the text of its file.
    #[must_use]
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        let f = self.lens.f_px;
        let sd: Vec<f64> = (0..KEYS.len())
            .map(|i| self.covariance[(i, i)].sqrt())
            .map(|sd| if sd <= 2.0 * HELD_SD { 0.0 } else { sd })
            .collect();
        // Writing to a string cannot fail, here and below.
        let _ = writeln!(
            out,
            "# Camera profile, made by punchready lens. Give it to punchready check with --lens FILE.\n\
             format = \"{FORMAT}\"\n\n\
             # The photos it is for: as the camera writes them, not cropped; other sizes of the same shape are scaled to.\n\
             [camera]"
        );
        for (key, value) in [("make", &self.camera.make), ("model", &self.camera.model)] {
            if let Some(text) = value {
                let _ = writeln!(out, "{key} = {}", toml::Value::from(text.as_str()));
            }
        }
        for (key, value) in [
            ("focal_mm", self.camera.focal_mm),
            ("focal_35mm", self.camera.focal_35mm),
        ] {
            if let Some(mm) = value {
                let _ = writeln!(out, "{key} = {mm:?}");
            }
        }
        let _ = writeln!(
            out,
            "width_px = {}\nheight_px = {}\n\n\
             # Brown's model; the principal point counts from the picture's upper left corner as it is stored.\n\
             [lens]",
            self.size[0], self.size[1]
        );
        let values = [
            f,
            self.lens.cx_px,
            self.lens.cy_px,
            self.lens.k1,
            self.lens.k2,
            self.lens.p1,
            self.lens.p2,
            self.lens.k3,
        ];
        for (i, (key, value)) in KEYS.iter().zip(values).enumerate() {
            let pm = if i == 0 { f * sd[0] } else { sd[i] };
            let said = if pm > 0.0 {
                format!("  # {}", plus_minus(value, pm))
            } else {
                "  # held".to_owned()
            };
            let _ = writeln!(out, "{key} = {value:?}{said}");
        }
        let _ = writeln!(
            out,
            "\n# Standard deviations and correlations of ln f, cx, cy, k1, k2, p1, p2, k3.\n[uncertainty]\nsd = {}\ncorrelation = [",
            list(&sd, |v| format!("{:?}", rounded(v)))
        );
        for i in 1..KEYS.len() {
            let row: Vec<f64> = (0..i)
                .map(|j| {
                    if sd[i] > 0.0 && sd[j] > 0.0 {
                        self.covariance[(i, j)] / (sd[i] * sd[j])
                    } else {
                        0.0
                    }
                })
                .collect();
            let _ = writeln!(out, "  {},", list(&row, |v| format!("{v:.9}")));
        }
        let _ = writeln!(
            out,
            "]\n\n[made]\nphotos = {}\ncorners = {}\nrms_px = {:?}",
            self.made.photos,
            self.made.corners,
            rounded(self.made.rms_px)
        );
        out
    }

    /// From the text of a file; `path` is for messages.
    ///
    /// # Errors
    /// [`ProfileError::Broken`] with what is wrong.
    pub fn parse(text: &str, path: &Path) -> Result<Self, ProfileError> {
        let broken = |why: String| ProfileError::Broken {
            path: path.to_owned(),
            why,
        };
        let file: File = toml::from_str(text).map_err(|e| broken(e.message().to_owned()))?;
        if file.format != FORMAT {
            return Err(broken(format!(
                "its format is {:?}, this program reads {FORMAT:?}",
                file.format
            )));
        }
        let l = &file.lens;
        let values = [l.f_px, l.cx_px, l.cy_px, l.k1, l.k2, l.p1, l.p2, l.k3];
        if let Some(i) = values.iter().position(|v| !v.is_finite()) {
            return Err(broken(format!("lens.{} is not a finite number", KEYS[i])));
        }
        let size = [file.camera.width_px, file.camera.height_px];
        if l.f_px <= 0.0 || size.iter().any(|s| *s < MIN_SIDE) {
            return Err(broken(
                "focal length and picture size must be those of a photo".into(),
            ));
        }
        let covariance = covariance(&file.uncertainty).map_err(broken)?;
        let c = file.camera;
        Ok(Self {
            path: path.to_owned(),
            camera: Camera {
                make: c.make,
                model: c.model,
                focal_mm: c.focal_mm,
                focal_35mm: c.focal_35mm,
                ..Camera::default()
            },
            size,
            lens: Lens {
                f_px: l.f_px,
                cx_px: l.cx_px,
                cy_px: l.cy_px,
                k1: l.k1,
                k2: l.k2,
                p1: l.p1,
                p2: l.p2,
                k3: l.k3,
                ..Lens::default()
            },
            covariance,
            made: file.made,
        })
    }

    /// Reads a profile.
    ///
    /// # Errors
    /// [`ProfileError`] when the file cannot be read or is none.
    pub fn read(path: &Path) -> Result<Self, ProfileError> {
        let unreadable = |why| ProfileError::Unreadable {
            path: path.to_owned(),
            why,
        };
        let broken = |why| ProfileError::Broken {
            path: path.to_owned(),
            why,
        };
        let bytes = crate::file::read(path, MAX_BYTES)
            .map_err(unreadable)?
            .ok_or_else(|| {
                broken(format!(
                    "it has more than {MAX_BYTES} bytes, a profile some 2000"
                ))
            })?;
        let text = String::from_utf8(bytes).map_err(|_| broken("it is not UTF-8 text".into()))?;
        Self::parse(&text, path)
    }

    /// Reads all profiles (`*.toml`) of a folder, by name.
    ///
    /// # Errors
    /// [`ProfileError`] when the folder or one of the files cannot be read, or there is none.
    pub fn read_folder(path: &Path) -> Result<Vec<Self>, ProfileError> {
        let unreadable = |why| ProfileError::Unreadable {
            path: path.to_owned(),
            why,
        };
        let mut files = Vec::new();
        for entry in std::fs::read_dir(path).map_err(unreadable)? {
            let file = entry.map_err(unreadable)?.path();
            if file.extension().is_some_and(|e| e == "toml") {
                files.push(file);
            }
        }
        files.sort();
        if files.is_empty() {
            return Err(ProfileError::NoneThere {
                path: path.to_owned(),
            });
        }
        files.iter().map(|f| Self::read(f)).collect()
    }

    /// What is known of the camera of `photo` by this profile: turned and scaled to its picture, with what a
    /// phone changes from shot to shot added. The print is unsaid.
    ///
    /// # Errors
    /// [`ProfileError::DoesNotSuit`] when maker, model, focal length or shape differ, with digital zoom, and
    /// when the picture was changed after the shot.
    pub fn priors(&self, photo: &Photo) -> Result<Priors, ProfileError> {
        let refused = |why, todo| ProfileError::DoesNotSuit {
            path: self.path.clone(),
            why,
            todo,
        };
        const OTHER: &str = "make a profile of this camera, or leave --lens out";
        const AS_TAKEN: &str = "use the photo as taken, or leave --lens out";
        let (w, h) = photo.grey.dimensions();
        let turn = Turn::of(photo.camera.orientation, [w, h]);
        if let Some(why) = other_camera(&self.camera, &photo.camera) {
            return Err(refused(why, OTHER));
        }
        if let Some(why) = changed(&photo.camera, turn.stored) {
            return Err(refused(why, AS_TAKEN));
        }
        let [sw, sh] = turn.stored.map(f64::from);
        let [pw, ph] = self.size.map(f64::from);
        if ((sw / sh) / (pw / ph) - 1.0).abs() > SAME_SHAPE {
            return Err(refused(
                format!(
                    "it is stored as {} x {} pixels, the profile is for {} x {}: another shape, so it was cropped, in the camera or after",
                    turn.stored[0], turn.stored[1], self.size[0], self.size[1]
                ),
                AS_TAKEN,
            ));
        }
        let (lens, covariance) = self.scaled((sw * sh / (pw * ph)).sqrt());
        let (lens, mut lens_cov) = turn.upright_lens(&lens, &covariance);
        let wander = WANDER_SD * sw.hypot(sh);
        for (i, sd) in [FOCUS_SD, wander, wander].into_iter().enumerate() {
            lens_cov[(i, i)] += sd * sd;
        }
        Ok(Priors {
            lens,
            lens_cov,
            source: LensSource::Profile,
            scale: PrintScale::unsaid(),
            notes: Vec::new(),
        })
    }

    /// The lens in a picture of `by` times as many pixels along each side.
    fn scaled(&self, by: f64) -> (Lens, LensCov) {
        let l = &self.lens;
        let lens = Lens {
            f_px: l.f_px * by,
            cx_px: l.cx_px * by,
            cy_px: l.cy_px * by,
            ..*l
        };
        let mut covariance = self.covariance;
        for i in 1..3 {
            covariance.row_mut(i).scale_mut(by);
            covariance.column_mut(i).scale_mut(by);
        }
        (lens, covariance)
    }
}

/// The first profile that suits the photo; without one, what its EXIF says and a note of it.
///
/// # Errors
/// None of its own: a photo without a suitable profile is measured all the same.
#[must_use]
pub fn choose(profiles: &[Profile], photo: &Photo) -> Priors {
    let suitable = profiles.iter().find_map(|p| p.priors(photo).ok());
    suitable.unwrap_or_else(|| {
        let (w, h) = photo.grey.dimensions();
        let mut priors = Priors::from_camera(&photo.camera, w, h);
        let why = match profiles {
            [only] => only.priors(photo).err().map(|e| e.to_string()),
            _ => None,
        };
        priors.notes.push(Note {
            code: "no-profile",
            text: why.unwrap_or_else(|| {
                format!(
                    "none of the {} camera profiles suits the photo; it was measured without one",
                    profiles.len()
                )
            }),
        });
        priors
    })
}

fn covariance(table: &UncertaintyTable) -> Result<LensCov, String> {
    let n = KEYS.len();
    let shape_is_right = table.sd.len() == n
        && table.correlation.len() == n - 1
        && table
            .correlation
            .iter()
            .enumerate()
            .all(|(i, r)| r.len() == i + 1);
    if !shape_is_right {
        return Err(format!(
            "uncertainty needs {n} standard deviations and the {} rows of correlations below the diagonal",
            n - 1
        ));
    }
    if table.sd.iter().any(|s| !(s.is_finite() && *s >= 0.0)) {
        return Err("a standard deviation is negative or not finite".into());
    }
    let mut sd = SVector::<f64, LENS_UNKNOWNS>::repeat(HELD_SD);
    let mut correlation = LensCov::identity();
    for i in 0..n {
        sd[i] = table.sd[i].max(HELD_SD);
        for j in 0..i {
            let r = table.correlation[i - 1][j];
            correlation[(i, j)] = r;
            correlation[(j, i)] = r;
        }
    }
    if !correlation.iter().all(|r| r.is_finite()) || correlation.cholesky().is_none() {
        return Err("the correlations are not those of a covariance".into());
    }
    Ok(LensCov::from_fn(|i, j| correlation[(i, j)] * sd[i] * sd[j]))
}

/// To six significant digits.
fn rounded(v: f64) -> f64 {
    format!("{v:.5e}").parse().unwrap_or(v)
}

fn list(values: &[f64], show: impl Fn(f64) -> String) -> String {
    let shown: Vec<String> = values.iter().map(|v| show(*v)).collect();
    format!("[{}]", shown.join(", "))
}
