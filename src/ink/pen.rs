//! The pen of this sheet: how dark its ink is, and from there, what is too faint to be its ink.
//!
//! A fixed contrast cannot tell a hard pencil's line from a marker's ghost. The sheet shows which pen was used: where
//! nothing on it is darker than its ruled lines, laid twice where strokes cross, the hand wrote with a pale pencil, and
//! what is about as dark as the lines is its ink. Where anything is darker, pale things are print, stain or scratch.

use super::figure::Figure;
use super::lines::Line;

/// Ink fainter than this is not taken for a mark on a sheet that has darker ink.
const FAINT: f64 = 0.24;
/// Strokes paler than this are print or stain there.
const PALE: f64 = 0.2;
/// One pencil's strokes differ in contrast by no more than this share, by pressure and by blur.
const SAME_PEN: f64 = 0.8;

/// Contrasts, 0 bare to 1 black.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    /// Fainter than this: not sure that it is ink.
    pub(super) faint: f64,
    /// A stroke paler than this: print or stain.
    pub(super) pale: f64,
}

impl Pen {
    /// The pen that drew `lines` and `figures`. Without a ruled line nothing shows that pale things are a pencil's.
    pub(super) fn of(lines: &[Line], figures: &[Figure]) -> Self {
        let line = lines.iter().map(|l| l.contrast).fold(0.0, f64::max);
        let laid_twice = 1.0 - (1.0 - line).powi(2);
        let pencil = line > 0.0 && figures.iter().all(|f| f.contrast <= laid_twice);
        let own = if pencil { SAME_PEN * line } else { f64::MAX };
        Self {
            faint: own.min(FAINT),
            pale: own.min(PALE),
        }
    }
}
