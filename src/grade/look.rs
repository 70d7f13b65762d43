//! One piece, measured from its photos.
//!
//! [`look`] is the one place where grading meets the check.

use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;

use super::findings::{Findings, FoundPhoto, kept};
use super::twins;
use crate::check::{Checked, Given, check_all};
use crate::frame::{Point, Sheet};
use crate::lens::profile::{Profile, choose};
use crate::photo::{self, Photo};
use crate::plan::Plan;
use crate::report::{PixelFromSheet, Report, ReportError, straight};
use crate::verdict::HoleState;
use crate::verdict::decision_rule::COVERAGE_FACTOR;

/// Long side of the picture on the student's sheet, px: sharp at 200 dpi over the width of a page.
const PICTURE_PX: f64 = 1500.0;
/// Quality of its JPEG.
const QUALITY: u8 = 82;

/// What is known besides the plan, the same for the whole class.
#[derive(Debug, Clone, Default)]
pub struct Known {
    /// As a check is given it; `cameras` are chosen from `profiles`.
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
/// The photos of one piece are in memory together, grey.
#[must_use]
pub fn look(paths: &[PathBuf], plan: &Plan, known: &Known) -> Look {
    let mut told: Vec<FoundPhoto> = Vec::new();
    // The number of each photo that could be read.
    let (mut photos, mut number): (Vec<Photo>, Vec<usize>) = (Vec::new(), Vec::new());
    for (i, path) in paths.iter().enumerate() {
        match photo::read(path) {
            Ok(mut photo) => {
                told.push(FoundPhoto {
                    size: photo.grey.dimensions().into(),
                    print: twins::print(&photo.grey),
                    failed: None,
                });
                // What is said of a photo is stored, and its name may be a student's.
                photo.path = PathBuf::from(format!("photo {:02}", i + 1));
                photos.push(photo);
                number.push(i);
            }
            Err(e) => told.push(unread(path, &e)),
        }
    }
    let (checked, used) = measure(&photos, plan, known);
    drop(photos);
    let measured = checked.survey();
    let first = checked.verdict.reasons.first().map(|r| r.text.as_str());
    let report = checked.report(plan);
    for (k, &i) in number.iter().enumerate() {
        told[i].failed = match used.iter().position(|&u| u == k) {
            None => Some(ALONE.to_owned()),
            Some(_) if measured.is_none() => Some(first.unwrap_or(NOTHING).to_owned()),
            Some(at) => report.photos.get(at).and_then(|p| p.left_out.clone()),
        };
    }
    let mut findings = Findings::of(&checked.verdict, &checked.ink.lines, told);
    let outline = &checked.outline;
    findings.size_mm = [outline.width_mm, outline.height_mm]
        .map(|side| side.map(|[mm, u]| [kept(mm), kept(COVERAGE_FACTOR * u)]));
    findings.seen = kept(checked.ink.seen.fraction());
    findings.mm_per_px = measured.map(|s| kept(s.mm_per_px));
    let files: Vec<&Path> = used.iter().map(|&u| paths[number[u]].as_path()).collect();
    let picture = picture(&files, &checked, &report, plan);
    Look { findings, picture }
}

/// What is said of a photo that did not fit the others, where the best one alone was measured.
const ALONE: &str =
    "it does not fit the other photos of the piece: the cards or the piece were moved between them";
const NOTHING: &str = "nothing could be measured";

/// Checks the photos together. Where they cannot be (a student moved the cards between two of them), the one that
/// tells most of the piece is taken alone. Gives the check and the places of the photos it is of.
fn measure(photos: &[Photo], plan: &Plan, known: &Known) -> (Checked, Vec<usize>) {
    let of = |which: &[usize]| {
        let mut given = known.given.clone();
        if !known.profiles.is_empty() {
            let chosen = which.iter().map(|&i| choose(&known.profiles, &photos[i]));
            given.cameras = chosen.collect();
        }
        let shots: Vec<&Photo> = which.iter().map(|&i| &photos[i]).collect();
        check_all(&shots, plan, &given)
    };
    let all: Vec<usize> = (0..photos.len()).collect();
    let together = of(&all);
    if together.survey().is_some() || photos.len() < 2 {
        return (together, all);
    }
    let unseen = |c: &Checked| {
        let holes = c.verdict.holes.iter();
        holes.filter(|h| h.state == HoleState::Unseen).count()
    };
    all.iter()
        .map(|&i| (of(&[i]), vec![i]))
        .filter(|(checked, _)| checked.survey().is_some())
        .min_by_key(|(checked, _)| unseen(checked))
        .unwrap_or((together, all))
}

/// The photos that show the piece, by their places in the report, the best last: it shows most of the piece, and
/// of those that do, shows it largest. Where it shows all, the others are not needed.
fn shown(checked: &Checked, report: &Report, plan: &Plan) -> Vec<usize> {
    let (w, h) = (plan.width_mm, plan.height_mm);
    let corners = [(0.0, 0.0), (w, h), (w, 0.0), (0.0, h)].map(|(x, y)| Point::new(x, y));
    let all = plan.holes.len() + corners.len();
    let shows = |i: usize| {
        let size = [report.photos[i].width, report.photos[i].height].map(f64::from);
        let inside = |at: Point<Sheet>| {
            checked
                .pixel_in_photo(i, at)
                .is_some_and(|p| (0.0..=size[0]).contains(&p.x) && (0.0..=size[1]).contains(&p.y))
        };
        let places = plan.holes.iter().map(|h| h.at).chain(corners);
        let count = places.filter(|&at| inside(at)).count();
        let long = match [corners[0], corners[1]].map(|at| checked.pixel_in_photo(i, at)) {
            [Some(a), Some(b)] => a.distance(b),
            _ => 0.0,
        };
        (i, count, long)
    };
    let mut photos: Vec<(usize, usize, f64)> = (0..report.photos.len()).map(shows).collect();
    photos.retain(|p| p.1 > 0);
    photos.sort_by(|a, b| a.1.cmp(&b.1).then(a.2.total_cmp(&b.2)));
    match photos.last() {
        Some(&(best, count, _)) if count == all => vec![best],
        _ => photos.into_iter().map(|p| p.0).collect(),
    }
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

/// The sheet straight on with its signs; `files`: those of the report's photos. A picture that cannot be made is no
/// reason to lose the grade.
fn picture(files: &[&Path], checked: &Checked, report: &Report, plan: &Plan) -> Option<Vec<u8>> {
    let shown = shown(checked, report, plan);
    if shown.is_empty() {
        return None;
    }
    let map_of = |i: usize| move |place: Point<Sheet>| checked.pixel_in_photo(i, place);
    let maps: Vec<_> = shown.iter().map(|&i| map_of(i)).collect();
    let photos = shown.iter().zip(&maps).map(|(&i, map)| {
        let colour = photo::read_colour(files[i]).map_err(|_| ReportError::EmptyPhoto)?;
        Ok::<_, ReportError>((colour, map as PixelFromSheet))
    });
    let drawn = straight::draw(report, photos, PICTURE_PX).ok()?;
    let mut jpeg = Vec::new();
    // Encoded from pixels alone: nothing of the photo's own data, place or time can come along.
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(&drawn)
        .ok()?;
    Some(jpeg)
}
