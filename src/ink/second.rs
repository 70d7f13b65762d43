//! A second look at what could not be named, once the pen is known: paler ink that touches it falls away.
//!
//! A pen's strokes are about equally dark all over a sheet. What is half as dark or less is no stroke of it but print of
//! the mill or of a film, or a smear: where such ink and a mark make one figure, its dark part alone is the mark. The
//! pale part stays unsure, unless it turns out to be of a row of print.

use nalgebra::Vector2;

use super::figure::{self, Figure, pixels};
use super::lines::Line;
use super::name::{self, Name};
use super::pen::Pen;
use super::picture::Picture;
use crate::raster::components::components;

/// So many marks and ruled lines show how dark the pen is.
const ENOUGH: usize = 5;
/// Share of the pen's contrast at which its strokes end and below which ink is another's: a blurred stroke's rim is half
/// as dark as its middle.
const HALF: f64 = 0.5;
/// A pen of less contrast than this leaves no room for a paler ink.
const DARK_PEN: f64 = 0.4;
/// A stroke's rim reaches so far beyond where it is half as dark, mm.
const RIM_MM: f64 = 0.25;
/// Why a mark is unsure that paler ink runs past.
pub(super) const STRUCK: &str = "a mark with paler ink on both sides: struck out, or in print";
/// Smallest pale part that matters, and smallest dark one that is drawn, mm².
const PALE_MM2: f64 = 0.25;
const DARK_MM2: f64 = 0.05;
/// Pixels of a figure: of paler ink, of the pen's, and the rim of that.
const PALE: u8 = 1;
const DARK: u8 = 2;
const RIM: u8 = 3;

/// Contrast below which ink is not the pen's that drew the marks; `None` where that does not show.
pub(super) fn other_ink(lines: &[Line], figures: &[Figure], names: &[Name]) -> Option<f64> {
    let marks = figures
        .iter()
        .zip(names)
        .filter(|(_, n)| matches!(n, Name::Mark(_) | Name::Crossing(_)));
    let lines = lines.iter().map(|l| l.contrast);
    let mut levels: Vec<f64> = marks.map(|(f, _)| f.contrast).chain(lines).collect();
    levels.sort_by(f64::total_cmp);
    let usual = *levels.get(levels.len() / 2)?;
    (levels.len() >= ENOUGH && usual > DARK_PEN).then_some(HALF * usual)
}

/// Looks again at each figure in which there is ink both of the pen's darkness and paler than its
/// `other`.
pub(super) fn look(
    picture: &Picture,
    lines: &[Line],
    pen: Pen,
    figures: &mut Vec<Figure>,
    names: &mut Vec<Name>,
) {
    for i in 0..figures.len() {
        let may = matches!(
            names[i],
            Name::Unsure { .. } | Name::Doubtful(..) | Name::Ring(..) | Name::Crossing(_)
        );
        if !may {
            continue;
        }
        let Some((dark, pale)) = parted(picture, lines, &figures[i], pen.other) else {
            names[i] = name::name(picture, lines, pen, &figures[i]);
            continue;
        };
        let mut named: Vec<Name> = dark
            .iter()
            .map(|f| name::name(picture, lines, pen, f))
            .collect();
        // A ring's mark may be another figure.
        let is_mark = |n: &Name| matches!(n, Name::Mark(_) | Name::Crossing(_));
        if !named.iter().all(is_mark) {
            continue;
        }
        if named.iter().any(|n| is_struck(n, &pale)) {
            // What was read of the whole says more than that, if it is a ring's mark or two strokes that cross.
            let is_open = match &names[i] {
                Name::Ring(_, inside) => inside.as_ref().is_none_or(|n| n.is_unsure()),
                name => name.is_unsure(),
            };
            if !is_open || !named.iter().all(|n| matches!(n, Name::Mark(_))) {
                continue;
            }
            for name in &mut named {
                if let Name::Mark(m) = name {
                    *name = Name::Doubtful(m.clone(), STRUCK);
                }
            }
        }
        let unsure = pale.iter().map(|f| {
            if f.contrast < pen.pale {
                return Name::OfPrint;
            }
            Name::Unsure {
                at: f.middle(),
                size_mm: f.extent() / picture.scale,
                why: "paler ink that touches a mark",
            }
        });
        let mut parts = dark
            .iter()
            .cloned()
            .zip(named)
            .chain(pale.iter().cloned().zip(unsure));
        if let Some((figure, name)) = parts.next() {
            (figures[i], names[i]) = (figure, name);
        }
        let (more, their): (Vec<_>, Vec<_>) = parts.unzip();
        figures.extend(more);
        names.extend(their);
    }
}

/// Whether paler ink lies on opposite sides of a mark, as what strikes it out does, be it straight or not; the strokes of a
/// letter may do so too.
fn is_struck(name: &Name, pale: &[Figure]) -> bool {
    const WAYS: usize = 24;
    let at = match name {
        Name::Mark(m) => m.at,
        Name::Crossing(c) => c.mark.at,
        _ => return false,
    };
    let mut seen = [false; WAYS];
    for p in pale.iter().flat_map(|f| &f.points) {
        let d = p - at;
        let turn = d.y.atan2(d.x) / std::f64::consts::TAU + 0.5;
        seen[(turn * WAYS as f64) as usize % WAYS] = true;
    }
    (0..WAYS).any(|k| seen[k] && (10..=14).any(|half| seen[(k + half) % WAYS]))
}

/// The parts of a figure that are darker than `other`, with their rims, and the rest; `None` when there is no rest.
fn parted(
    picture: &Picture,
    lines: &[Line],
    figure: &Figure,
    other: f64,
) -> Option<(Vec<Figure>, Vec<Figure>)> {
    let mm = picture.scale;
    let rim = (RIM_MM * mm).ceil();
    let b = figure.bounds();
    let corner = Vector2::new(b[0].floor() - rim, b[1].floor() - rim);
    let width = (b[2] - b[0] + 2.0 * rim) as usize + 2;
    let height = (b[3] - b[1] + 2.0 * rim) as usize + 2;
    let place = |p: Vector2<f64>| {
        let d = p - corner;
        d.y as usize * width + d.x as usize
    };
    let mut mask = vec![0u8; width * height];
    for &p in &figure.points {
        mask[place(p)] = if f64::from(picture.contrast(p)) > other {
            DARK
        } else {
            PALE
        };
    }
    // What is near to the dark pixels is their rim.
    let dark: Vec<usize> = (0..mask.len()).filter(|&i| mask[i] == DARK).collect();
    let reach = rim as isize;
    for i in dark {
        for dy in -reach..=reach {
            for dx in -reach..=reach {
                let j = i as isize + dy * width as isize + dx;
                if let Some(v) = usize::try_from(j).ok().and_then(|j| mask.get_mut(j))
                    && *v == PALE
                    && dx * dx + dy * dy <= reach * reach
                {
                    *v = RIM;
                }
            }
        }
    }
    let parts = |least_mm2: f64, wanted: fn(u8) -> bool| {
        let least = (least_mm2 * mm * mm).ceil() as usize;
        let shapes = components(&mask, width, least, wanted);
        let parts = shapes
            .iter()
            .map(|c| pixels(c).map(|p| p + corner).collect());
        figure::of_parts(picture, lines, parts)
    };
    let pale = parts(PALE_MM2, |v| v == PALE);
    let dark = parts(DARK_MM2, |v| v == DARK || v == RIM);
    (!pale.is_empty() && !dark.is_empty()).then_some((dark, pale))
}
