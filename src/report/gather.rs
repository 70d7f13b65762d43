//! What the page shows of the photos, gathered from one photo at a time: colour photos are large.

use std::borrow::Cow;

use image::{RgbImage, imageops};

use super::crops::{self, Crop};
use super::flat::{self, Window};
use super::{PixelFromSheet, Report, ReportError};
use crate::frame::{Point, Sheet};

/// Longest side of the copy of each photo, px, where there are several: they are shown to tell which is which.
const COPY_PX: f64 = 900.0;
/// The same of the only photo where it is all there is to show.
const ONLY_PX: f64 = 1800.0;
/// Two places are the same ink of one photo within this, mm: rounding.
const SAME_PLACE_MM: f64 = 1e-6;
/// Quality of their JPEGs.
const QUALITY: u8 = 80;

/// A photo, small, as a `data:` address.
pub(super) struct Copy {
    pub(super) uri: String,
    /// Its size, px.
    pub(super) size: [u32; 2],
    /// Its px a photo px, along x and y.
    pub(super) scale: [f64; 2],
}

/// All that is taken from the photos.
pub(super) struct Gathered {
    /// The flat view; `None` where nothing was measured.
    pub(super) flat: Option<RgbImage>,
    /// Enlarged places, and how many found no room.
    pub(super) crops: Vec<Crop>,
    pub(super) crops_left_out: usize,
    /// A copy of each photo, where there are several or nothing was measured.
    pub(super) copies: Vec<Copy>,
}

/// Gives a photo in colour, upright, by its place in [`Report::photos`].
pub type Load<'l, 'p, E> = &'l mut dyn FnMut(usize) -> Result<Cow<'p, RgbImage>, E>;

/// Goes through the photos; `maps` are theirs.
pub(super) fn gather<E: From<ReportError>>(
    r: &Report,
    maps: &[PixelFromSheet],
    window: Window,
    load: Load<'_, '_, E>,
) -> Result<Gathered, E> {
    let measured = r.survey.fit.is_some();
    let best = |at: Point<Sheet>| clearest(r, maps, at);
    let (places, crops_left_out) = if measured {
        crops::places(r)
    } else {
        (Vec::new(), 0)
    };
    let of_place: Vec<usize> = places.iter().map(|p| best(p.middle())).collect();
    let mut crops: Vec<Option<Crop>> = places.iter().map(|_| None).collect();
    let mut flat = measured.then(|| flat::blank(window));
    let mut copies = Vec::new();
    for (i, map) in maps.iter().enumerate() {
        let photo = load(i)?;
        if photo.width() == 0 || photo.height() == 0 {
            return Err(ReportError::EmptyPhoto.into());
        }
        if let Some(flat) = &mut flat {
            flat::resample(flat, &photo, map, window, &|at| best(at) == i);
        }
        for (place, crop) in places.iter().zip(&mut crops).enumerate() {
            if of_place[place] == i {
                *crop.1 = Some(crops::crop(r, &photo, map, crop.0)?);
            }
        }
        if maps.len() > 1 || !measured {
            let most = if maps.len() > 1 { COPY_PX } else { ONLY_PX };
            copies.push(copy(&photo, most)?);
        }
    }
    Ok(Gathered {
        flat,
        crops: crops.into_iter().flatten().collect(),
        crops_left_out,
        copies,
    })
}

/// The photo that shows a place best: the one in which its ink could not be named, or else one in which the place can be
/// read, free of glare and of what lies on the sheet; of several the one that shows it furthest from its rim.
#[must_use]
pub fn clearest(r: &Report, maps: &[PixelFromSheet], at: Point<Sheet>) -> usize {
    if maps.len() < 2 {
        return 0;
    }
    let mut best = ((false, false), f64::NEG_INFINITY, 0);
    for (i, (map, photo)) in maps.iter().zip(&r.photos).enumerate() {
        let Some(p) = map(at) else { continue };
        let [w, h] = [photo.width, photo.height].map(f64::from);
        let shown = r.shown.get(i).copied().flatten();
        let there = shown.map_or((false, false), |s| {
            let asked = s.unsure.iter().any(|u| u.distance(at) < SAME_PLACE_MM);
            (asked, s.seen.sees(at))
        });
        let room = p.x.min(w - p.x).min(p.y).min(h - p.y);
        if (there, room) > (best.0, best.1) {
            best = (there, room, i);
        }
    }
    best.2
}

fn copy(photo: &RgbImage, most: f64) -> Result<Copy, ReportError> {
    let (w, h) = (f64::from(photo.width()), f64::from(photo.height()));
    let shrink = (most / w.max(h)).min(1.0);
    let size = [w, h].map(|x| ((x * shrink).round() as u32).max(1));
    let small = imageops::thumbnail(photo, size[0], size[1]);
    Ok(Copy {
        uri: flat::data_uri(&small, QUALITY)?,
        size,
        scale: [f64::from(size[0]) / w, f64::from(size[1]) / h],
    })
}
