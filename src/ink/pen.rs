//! The pen of this sheet: how dark its ink is, and from there, what is too faint to be its ink.
//!
//! A fixed contrast cannot tell a hard pencil's line from a marker's ghost. The sheet shows which pen was used: where
//! nothing on it is darker than its ruled lines, laid twice where strokes cross, the hand wrote with a pale pencil, and
//! what is about as dark as the lines is its ink. Where anything is darker, pale things are print, stain or scratch.

use super::beads::median;
use super::figure::Figure;
use super::lines::Line;
use super::name::{self, Name};
use super::picture::Picture;

/// Ink fainter than this is not taken for a mark on a sheet that has darker ink.
const FAINT: f64 = 0.24;
/// Strokes paler than this are print or stain there.
const PALE: f64 = 0.2;
/// One pencil's strokes differ in contrast by no more than this share, by pressure and by blur.
const SAME_PEN: f64 = 0.8;
/// So many crosses are no chance of print or stain.
const ENOUGH_CROSSES: usize = 5;

/// Contrasts, 0 bare to 1 black.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    /// Fainter than this: not sure that it is ink.
    pub(super) faint: f64,
    /// A stroke paler than this: print or stain.
    pub(super) pale: f64,
    /// Ink paler than this was not drawn with the pen that drew the marks; 0 while those are not known.
    pub(super) other: f64,
}

impl Pen {
    /// The pen that drew `lines` and `figures`. Without a ruled line only crosses, several of them, show that pale things
    /// are a pencil's.
    pub(super) fn of(picture: &Picture, lines: &[Line], figures: &[Figure]) -> Self {
        let line = lines.iter().map(|l| l.contrast).fold(0.0, f64::max);
        let line = if lines.is_empty() {
            of_crosses(picture, figures)
        } else {
            line
        };
        let laid_twice = 1.0 - (1.0 - line).powi(2);
        let pencil = line > 0.0 && figures.iter().all(|f| f.contrast <= laid_twice);
        let own = if pencil { SAME_PEN * line } else { f64::MAX };
        Self {
            faint: own.min(FAINT),
            pale: own.min(PALE),
            other: 0.0,
        }
    }
}

/// Contrast of the crosses on a sheet without ruled lines; 0 when there are too few.
fn of_crosses(picture: &Picture, figures: &[Figure]) -> f64 {
    let any = Pen {
        faint: 0.0,
        pale: 0.0,
        other: 0.0,
    };
    let crosses = figures.iter().filter(|f| {
        f.feet.is_empty() && matches!(name::name(picture, &[], any, f), Name::Crossing(_))
    });
    let contrasts: Vec<f64> = crosses.map(|f| f.contrast).collect();
    if contrasts.len() < ENOUGH_CROSSES {
        return 0.0;
    }
    median(contrasts.into_iter())
}
