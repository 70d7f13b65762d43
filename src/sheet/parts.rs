//! A side from its parts: each part shows where the sheet may end there, and the side is the line on which most of them
//! have it.
//!
//! Face and bench may be brighter or darker than each other by turns along one side, its rim may shine in one part and
//! not in the next, and a hand or a card may lie over some: so each part is read by itself, and they vote.

use super::axis::{Axis, Hit, least_squares};
use super::fine::STEP_MM;
use super::profile::{End, Profile, stacked};

/// A side is looked at in parts of at least so many profiles, 10 mm, and of so many parts.
const PART: usize = 6;
const MIN_PARTS: usize = 4;
const MAX_PARTS: usize = 10;
/// Parts have the side on one straight line within this, mm: a lens that nobody told of bends it so much.
const ON_LINE_MM: f64 = 0.3;
/// How near to a line counts for it, mm: two steps that lie side by side all along are two lines, not one that leans.
const SHARP_MM: f64 = 0.12;
/// And on one parabola within this, mm.
const ON_BENT_MM: f64 = 0.2;
/// A line that so many of the parts have, against the one that most have, may be the side as well.
const ABOUT_AS_MANY: f64 = 0.85;
/// A side turns against its rough line by less than this, rad.
const MAX_SLOPE: f64 = 0.03;
/// Fewest parts whose rim shows that tell how wide it is on the others.
const FEWEST_RIMS: usize = 3;
/// Fewest parts that tell a parabola.
const BENT_PARTS: usize = 5;

/// A part of a side and where the sheet may end there.
struct Part {
    along: f64,
    reach: [f64; 2],
    ends: Vec<End>,
}

/// Where the sheet ends on a part.
pub(super) struct Pick {
    along: f64,
    /// Where along the side the part begins and ends, mm.
    pub(super) reach: [f64; 2],
    pub(super) end: End,
}

/// A side that its parts agree on.
pub(super) struct Agreed {
    pub(super) line: Axis,
    pub(super) picks: Vec<Pick>,
}

impl Agreed {
    /// The end of the part that a profile belongs to; `None` where the part shows the side elsewhere or not at all.
    pub(super) fn end_at(&self, along: f64) -> Option<&End> {
        let of_part = |p: &&Pick| (p.reach[0]..=p.reach[1]).contains(&along);
        self.picks.iter().find(of_part).map(|p| &p.end)
    }

    /// Standard deviation of what the parts cannot tell, mm.
    pub(super) fn doubt_mm(&self) -> f64 {
        self.picks.iter().map(|p| p.end.doubt_mm).sum::<f64>() / self.picks.len() as f64
    }

    /// The places of the parts themselves, and their scatter about a straight line, mm.
    pub(super) fn hits(&self) -> (Vec<Hit>, f64) {
        let hits: Vec<Hit> = self
            .picks
            .iter()
            .map(|p| Hit {
                along: p.along,
                out: edge(&p.end),
            })
            .collect();
        let (offset, slope) = least_squares(&hits);
        let square: f64 = hits.iter().map(|h| h.off(offset, slope).powi(2)).sum();
        let free = (hits.len() as f64 - 2.0).max(1.0);
        (hits, (square / free).sqrt())
    }

    /// How much brighter than the face its rim is on most parts, as a share.
    pub(super) fn rim(&self) -> f64 {
        let mut all: Vec<f64> = self.picks.iter().map(|p| p.end.rim).collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2]
    }

    /// The same with each part amid its two places, if none of them is sure of one.
    fn settled(mut self) -> Self {
        if self.picks.iter().all(|p| p.end.other_mm.is_some()) {
            let n = self.picks.len() as f64;
            let mean = self
                .picks
                .iter()
                .filter_map(|p| p.end.other_mm)
                .sum::<f64>()
                / n
                / 2.0;
            for p in &mut self.picks {
                p.end = p.end.amid();
            }
            self.line = self.line.moved(mean, 0.0);
        }
        self
    }

    /// How far beyond the side most parts step once more, mm, if they do.
    pub(super) fn second_mm(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.picks.iter().filter_map(|p| p.end.second_mm).collect();
        all.sort_by(f64::total_cmp);
        (2 * all.len() > self.picks.len()).then(|| all[all.len() / 2])
    }
}

/// The line on which at least `share` of the parts of a side have it; `profiles` were taken along `rough`.
pub(super) fn agree(
    rough: &Axis,
    profiles: &[(f64, Profile)],
    share: f64,
    ends: impl Fn(&Profile) -> Vec<End>,
) -> Option<Agreed> {
    let n = (profiles.len() / PART).min(MAX_PARTS);
    if n < MIN_PARTS {
        return None;
    }
    let part = |p: &[(f64, Profile)]| {
        let (first, last) = (p.first()?, p.last()?);
        Some(Part {
            along: p.iter().map(|(a, _)| a).sum::<f64>() / p.len() as f64,
            reach: [first.0 - STEP_MM / 2.0, last.0 + STEP_MM / 2.0],
            ends: ends(&stacked(p)?),
        })
    };
    let mut parts: Vec<Part> = (0..n)
        .filter_map(|k| part(&profiles[k * profiles.len() / n..(k + 1) * profiles.len() / n]))
        .collect();
    with_hidden_rims(&mut parts);
    let fewest = ((share * n as f64).ceil() as usize).max(MIN_PARTS);
    let (offset, slope) = straight(&parts, rough.length)?;
    let mut line = rough.moved(offset, slope);
    let mut near = ON_LINE_MM;
    // First those on the straight line, then those on what bends with them.
    loop {
        let picks = picked(rough, &line, &parts, near);
        if picks.len() < fewest {
            return None;
        }
        line = through(rough, &picks)?;
        if near <= ON_BENT_MM {
            let picks = picked(rough, &line, &parts, near);
            return (picks.len() >= fewest).then(|| Agreed { line, picks }.settled());
        }
        near = ON_BENT_MM;
    }
}

/// A rim as bright as the bench beside it makes no fall: what shows is where it begins. Where other parts tell how wide it
/// is, a part that only rises may have such a one.
fn with_hidden_rims(parts: &mut [Part]) {
    let mut bands: Vec<f64> = parts
        .iter()
        .flat_map(|p| p.ends.iter().map(|e| e.band_mm))
        .filter(|band| *band > 0.0)
        .collect();
    if bands.len() < FEWEST_RIMS {
        return;
    }
    bands.sort_by(f64::total_cmp);
    let band = bands[bands.len() / 2];
    for p in parts {
        if let [end] = p.ends[..]
            && end.slope > 0.0
            && end.other_mm.is_none()
        {
            let plain = End {
                other_mm: Some(band),
                ..end
            };
            let hidden = End {
                beyond_mm: end.beyond_mm + band,
                other_mm: Some(-band),
                ..end
            };
            p.ends = vec![plain, hidden];
        }
    }
}

/// How far outward the face ends.
fn edge(end: &End) -> f64 {
    end.out + end.beyond_mm
}

/// The straight line, as offset and slope, on which most parts have the side; those that are not sure count half. Of
/// several on which about as many have it the innermost: going outward the sheet's edge comes before where its shadow or
/// its side wall ends.
fn straight(parts: &[Part], length: f64) -> Option<(f64, f64)> {
    let all: Vec<Hit> = parts
        .iter()
        .flat_map(|p| {
            p.ends.iter().map(|e| Hit {
                along: p.along,
                out: edge(e),
            })
        })
        .collect();
    let mut lines: Vec<(f64, f64, f64)> = Vec::new();
    for (i, a) in all.iter().enumerate() {
        for b in &all[i + 1..] {
            if b.along - a.along < length / 4.0 {
                continue;
            }
            let slope = (b.out - a.out) / (b.along - a.along);
            if slope.abs() > MAX_SLOPE {
                continue;
            }
            let offset = a.out - slope * a.along;
            let of_part = |p: &Part| {
                let off = |e: &End| (edge(e) - offset - slope * p.along).abs() / SHARP_MM;
                let worth = |e: &End| {
                    let near = (1.0 - off(e).powi(2)).max(0.0);
                    near * if e.other_mm.is_none() { 1.0 } else { 0.5 }
                };
                p.ends.iter().map(worth).fold(0.0, f64::max)
            };
            let worth: f64 = parts.iter().map(of_part).sum();
            lines.push((worth, offset, slope));
        }
    }
    let best = lines.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let middle = |l: &(f64, f64, f64)| l.1 + l.2 * length / 2.0;
    let inner = lines
        .iter()
        .filter(|l| l.0 >= ABOUT_AS_MANY * best.0)
        .filter(|l| middle(l) < middle(&best) - 2.0 * SHARP_MM)
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let (_, offset, slope) = inner.copied().unwrap_or(best);
    Some((offset, slope))
}

/// Of each part that has an end within `near` of the line, the nearest.
fn picked(rough: &Axis, line: &Axis, parts: &[Part], near: f64) -> Vec<Pick> {
    let of_part = |p: &Part| {
        let at = line.beyond(rough, p.along);
        let off = |e: &End| (edge(e) - at).abs();
        let end = p
            .ends
            .iter()
            .min_by(|a, b| off(a).total_cmp(&off(b)))
            .filter(|e| off(e) < near)?;
        Some(Pick {
            along: p.along,
            reach: p.reach,
            end: *end,
        })
    };
    parts.iter().filter_map(of_part).collect()
}

/// The line through the parts' ends, bent where there are enough of them.
fn through(rough: &Axis, picks: &[Pick]) -> Option<Axis> {
    let hits: Vec<Hit> = picks
        .iter()
        .map(|p| Hit {
            along: p.along,
            out: edge(&p.end),
        })
        .collect();
    if hits.len() >= BENT_PARTS {
        return rough.bent(&hits);
    }
    let (offset, slope) = least_squares(&hits);
    Some(rough.moved(offset, slope))
}
