//! One piece, measured from its photos.
//!
//! [`look`] is the one place where grading meets the check: a check of several photos at once takes its place
//! there.

use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;

use super::findings::{Findings, FoundPhoto, kept};
use super::{join, twins};
use crate::check::{Checked, Given, check};
use crate::frame::{Point, Sheet};
use crate::lens::profile::{Profile, choose};
use crate::photo;
use crate::plan::Plan;
use crate::report::{Report, straight};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{self, Verdict};

/// Long side of the picture on the student's sheet, px: sharp at 200 dpi over the width of a page.
const PICTURE_PX: f64 = 1500.0;
/// Quality of its JPEG.
const QUALITY: u8 = 82;

/// What is known besides the plan, the same for the whole class.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// As a check is given it; `camera` is chosen for each photo from `profiles`.
    pub given: Given,
    /// Camera profiles to choose from.
    pub profiles: Vec<Profile>,
}

/// A piece as measured.
#[derive(Debug, Clone)]
pub struct Look {
    /// What was found.
    pub findings: Findings,
    /// The sheet seen straight on with a sign for each finding, JPEG; `None` where nothing was measured.
    pub picture: Option<Vec<u8>>,
}

/// Measures a piece. A photo that cannot be read or measured is told in the findings; the others count.
///
/// One photo at a time is in memory.
#[must_use]
pub fn look(photos: &[PathBuf], plan: &Plan, known: &Known) -> Look {
    let mut told = Vec::new();
    let mut checks: Vec<(usize, Checked)> = Vec::new();
    for (i, path) in photos.iter().enumerate() {
        let (photo, checked) = one(path, plan, known);
        if let Some(checked) = checked.filter(|_| photo.failed.is_none()) {
            checks.push((i, checked));
        }
        told.push(photo);
    }
    let views: Vec<&Checked> = checks.iter().map(|(_, c)| c).collect();
    let joined;
    let (verdict, ink) = match views[..] {
        [] => {
            let unseen = crate::ink::Ink::unseen([plan.width_mm, plan.height_mm]);
            joined = (
                verdict::decide(plan, &unseen, &crate::sheet::Outline::default(), &[]),
                unseen,
            );
            (&joined.0, &joined.1)
        }
        [only] => (&only.verdict, &only.ink),
        _ => {
            let ink = join::join(&views, plan);
            // The edges as the best photo has them; each photo's marks are measured from its own.
            let outline = join::best(&views)
                .map(|b| b.outline.clone())
                .unwrap_or_default();
            joined = (verdict::decide(plan, &ink, &outline, &[]), ink);
            (&joined.0, &joined.1)
        }
    };
    let best = join::best(&views);
    let mut findings = Findings::of(verdict, &ink.lines, told);
    if let Some(best) = best {
        let outline = &best.outline;
        findings.size_mm = [outline.width_mm, outline.height_mm]
            .map(|side| side.map(|[mm, u]| [kept(mm), kept(COVERAGE_FACTOR * u)]));
    }
    findings.seen = kept(ink.seen.fraction());
    findings.mm_per_px = best.and_then(|b| b.survey()).map(|s| kept(s.mm_per_px));
    let shown = checks
        .iter()
        .find(|(_, c)| best.is_some_and(|b| std::ptr::eq(b, c)));
    let picture = shown.and_then(|(i, c)| picture(&photos[*i], c, plan, verdict, ink));
    Look { findings, picture }
}

/// Reads and checks one photo, and lets go of it.
fn one(path: &Path, plan: &Plan, known: &Known) -> (FoundPhoto, Option<Checked>) {
    let photo = match photo::read(path) {
        Ok(photo) => photo,
        Err(e) => return (unread(path, &e), None),
    };
    let mut given = known.given.clone();
    if !known.profiles.is_empty() {
        given.camera = Some(choose(&known.profiles, &photo));
    }
    let checked = check(&photo, plan, &given);
    let failed = checked.survey().is_none().then(|| {
        let first = checked.verdict.reasons.first();
        first.map_or_else(
            || "nothing could be measured".to_owned(),
            |r| r.text.clone(),
        )
    });
    let found = FoundPhoto {
        size: photo.grey.dimensions().into(),
        print: twins::print(&photo.grey),
        failed,
    };
    (found, Some(checked))
}

/// A photo that could not be read, without its path: the stored result has no names in it.
fn unread(path: &Path, error: &photo::PhotoError) -> FoundPhoto {
    let text = error.to_string();
    let named = format!("{}: ", path.display());
    FoundPhoto {
        size: [0, 0],
        print: String::new(),
        failed: Some(text.strip_prefix(&named).unwrap_or(&text).to_owned()),
    }
}

/// The sheet straight on with its signs. A picture that cannot be made is no reason to lose the grade.
fn picture(
    path: &Path,
    checked: &Checked,
    plan: &Plan,
    verdict: &Verdict,
    ink: &crate::ink::Ink,
) -> Option<Vec<u8>> {
    let colour = photo::read_colour(path).ok()?;
    let map = |at: Point<Sheet>| checked.pixel_from_sheet(at);
    let report = Report {
        verdict,
        lines: &ink.lines,
        seen: &ink.seen,
        ..checked.report(plan)
    };
    let drawn = straight::draw(&report, &colour, &map, PICTURE_PX).ok()?;
    let mut jpeg = Vec::new();
    // Encoded from pixels alone: nothing of the photo's own data, place or time can come along.
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(&drawn)
        .ok()?;
    Some(jpeg)
}
