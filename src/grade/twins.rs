//! One piece handed in by two students: the same photo, or the same marks.
//!
//! Photos are compared by a perceptual hash, which a copy keeps when it is saved anew, made smaller or
//! brighter: signs of the lowest coefficients of the cosine transform against their median, as in Zauner,
//! "Implementation and Benchmarking of Perceptual Image Hash Functions", Hagenberg, 2010 (from memory).
//! Two photos from one stand look alike though the pieces differ, so the marks have the last word: where both
//! are measured, and lie apart by more than the measurement can be wrong, the pieces are two.
//!
//! Marks alone tell too: what a hand leaves after the slips of each row are taken off is its own.

use std::f64::consts::PI;

use image::{GrayImage, imageops};

use super::findings::Findings;

/// The photo shrunk to this side before the transform.
const SIDE: usize = 32;
/// Coefficients kept, each way: 16 x 16 without the mean, 255 signs.
const KEPT: usize = 16;
/// Photos with fewer signs apart than this share are alike: copies differ in under a twentieth, two photos of
/// one scene by hand in about a third.
const ALIKE: f64 = 0.1;
/// Marks needed in common before they can tell two hands apart.
const ENOUGH: usize = 8;
/// Where what is left of two hands lies nearer together than this share of what is left of each, it is one
/// hand's work: of two hands it lies further apart than each is long (by the root of two), of one photographed
/// twice a fifth to a third.
const ONE_HAND: f64 = 0.5;

/// The perceptual hash of an upright photo, as hexadecimal digits.
#[must_use]
pub fn print(grey: &GrayImage) -> String {
    let small = imageops::thumbnail(grey, SIDE as u32, SIDE as u32);
    let value = |x: usize, y: usize| f64::from(small.get_pixel(x as u32, y as u32).0[0]);
    let wave = |i: usize, k: usize| (PI * (i as f64 + 0.5) * k as f64 / SIDE as f64).cos();
    // Rows first, then columns.
    let mut along = vec![[0.0; SIDE]; KEPT];
    for (k, out) in along.iter_mut().enumerate() {
        for (y, out) in out.iter_mut().enumerate() {
            *out = (0..SIDE).map(|x| value(x, y) * wave(x, k)).sum();
        }
    }
    let mut parts: Vec<f64> = Vec::with_capacity(KEPT * KEPT - 1);
    for l in 0..KEPT {
        for (k, row) in along.iter().enumerate() {
            if (k, l) != (0, 0) {
                parts.push((0..SIDE).map(|y| row[y] * wave(y, l)).sum());
            }
        }
    }
    let mut ordered = parts.clone();
    ordered.sort_by(f64::total_cmp);
    let median = ordered[ordered.len() / 2];
    let bits: Vec<bool> = parts.iter().map(|p| *p > median).collect();
    bits.chunks(4)
        .map(|four| {
            let digit = four.iter().fold(0, |d, b| 2 * d + u32::from(*b));
            char::from_digit(digit, 16).unwrap_or('0')
        })
        .collect()
}

/// Share of the signs in which two hashes differ, 0 to 1; `None` where there is nothing to compare.
#[must_use]
pub fn apart(a: &str, b: &str) -> Option<f64> {
    if a.is_empty() || a.len() != b.len() {
        return None;
    }
    let digit = |c: char| c.to_digit(16);
    let mut differ = 0;
    for (x, y) in a.chars().zip(b.chars()) {
        differ += (digit(x)? ^ digit(y)?).count_ones();
    }
    Some(f64::from(differ) / (4 * a.len()) as f64)
}

/// Why two pieces may be one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Twin {
    /// The photos are alike, and the marks do not say otherwise.
    Photos,
    /// The photos differ and the marks are one hand's.
    Marks,
}

/// Whether two pieces may be one.
#[must_use]
pub fn twin(a: &Findings, b: &Findings) -> Option<Twin> {
    let alike = a.photos.iter().any(|p| {
        let near =
            |q: &super::findings::FoundPhoto| apart(&p.print, &q.print).is_some_and(|d| d <= ALIKE);
        b.photos.iter().any(near)
    });
    match (alike, hands(a, b)) {
        (true, None | Some(Hands { same: true, .. })) => Some(Twin::Photos),
        (true, Some(hands)) if !hands.apart => Some(Twin::Photos),
        (false, Some(Hands { same: true, .. })) => Some(Twin::Marks),
        _ => None,
    }
}

/// What the marks of two pieces say.
struct Hands {
    /// They are one hand's work on one piece.
    same: bool,
    /// They lie apart by more than measuring explains.
    apart: bool,
}

fn hands(a: &Findings, b: &Findings) -> Option<Hands> {
    let left = [left_over(a), left_over(b)];
    let (mut between, mut own, mut noise) = (Vec::new(), Vec::new(), Vec::new());
    for (i, (h, g)) in a.holes.iter().zip(&b.holes).enumerate() {
        if let (Some(p), Some(q), Some(up), Some(uq)) =
            (left[0].get(i)?, left[1].get(i)?, h.u_mm, g.u_mm)
        {
            between.push((p[0] - q[0]).hypot(p[1] - q[1]));
            own.push(p[0].hypot(p[1]));
            own.push(q[0].hypot(q[1]));
            noise.push(up.hypot(uq));
        }
    }
    if between.len() < ENOUGH || a.holes.len() != b.holes.len() {
        return None;
    }
    let (between, own, noise) = (median(&mut between), median(&mut own), median(&mut noise));
    Some(Hands {
        same: between < ONE_HAND * own,
        apart: between > noise,
    })
}

/// The middle value: one mark that two hands set wrong alike does not make them one.
fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

/// What each mark is off after the slips of its row (its shift, turn and step) are taken off, mm; the single
/// holes' common shift. `None` without a mark, and where a row has too few to tell.
fn left_over(found: &Findings) -> Vec<Option<[f64; 2]>> {
    /// Marks of a row that leave something after its shift and step.
    const FEWEST: usize = 4;
    let mut out = vec![None; found.holes.len()];
    let mut names: Vec<Option<&str>> = found.holes.iter().map(|h| h.row.as_deref()).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        let own: Vec<(usize, f64, [f64; 2])> = found
            .holes
            .iter()
            .enumerate()
            .filter(|(_, h)| h.row.as_deref() == name)
            .filter_map(|(i, h)| {
                let [x, y] = h.live()?;
                let off = [x - h.planned[0], y - h.planned[1]];
                Some((i, h.planned[0] + h.planned[1], off))
            })
            .collect();
        if own.len() < FEWEST {
            continue;
        }
        let n = own.len() as f64;
        let middle = own.iter().map(|o| o.1).sum::<f64>() / n;
        let spread: f64 = own.iter().map(|o| (o.1 - middle).powi(2)).sum();
        let mut rest = vec![[0.0; 2]; own.len()];
        for axis in 0..2 {
            let mean = own.iter().map(|o| o.2[axis]).sum::<f64>() / n;
            let slope = if name.is_some() && spread > 0.0 {
                own.iter()
                    .map(|o| (o.1 - middle) * (o.2[axis] - mean))
                    .sum::<f64>()
                    / spread
            } else {
                0.0
            };
            for (r, o) in rest.iter_mut().zip(&own) {
                r[axis] = o.2[axis] - mean - slope * (o.1 - middle);
            }
        }
        for (r, o) in rest.into_iter().zip(&own) {
            out[o.0] = Some(r);
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_copy_keeps_its_print() {
        // Patches of all sorts of brightness, as a photo has: every part of the print is well off its median.
        let photo = GrayImage::from_fn(640, 480, |x, y| {
            let patch = (x / 40) * 12 + y / 40;
            let mixed = (patch + 1).wrapping_mul(2_654_435_761) >> 24;
            image::Luma([40 + (mixed * 170 / 255) as u8])
        });
        let own = print(&photo);
        assert_eq!(own.len(), 64);
        let smaller = imageops::resize(&photo, 320, 240, imageops::FilterType::Triangle);
        let brighter = GrayImage::from_fn(640, 480, |x, y| {
            image::Luma([photo.get_pixel(x, y).0[0].saturating_add(15)])
        });
        let flipped = imageops::flip_horizontal(&photo);
        assert!(apart(&own, &print(&smaller)).unwrap() < ALIKE / 2.0);
        assert!(apart(&own, &print(&brighter)).unwrap() < ALIKE / 2.0);
        assert!(apart(&own, &print(&flipped)).unwrap() > 2.0 * ALIKE);
        assert_eq!(apart(&own, ""), None);
    }
}
