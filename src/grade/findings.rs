//! What was found on a piece, as it is stored: no name, no file name, nothing of where a photo was taken.

use serde::{Deserialize, Serialize};

use crate::ink::RuledLine;
use crate::report::words::{HOLE_STATES, hole_code, stray_code};
use crate::verdict::{HoleState, StrayState, Verdict};

/// Name and version of the stored format.
pub const FORMAT: &str = "punchready.grade/1";
/// Lengths are kept to a nanometre: short, and read back as exactly what was written.
const KEPT: f64 = 1e6;

/// All that a grade rests on. Lengths in mm, places in the `Sheet` frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Findings {
    /// [`FORMAT`].
    pub format: String,
    /// Whether any photo could be measured; if not, the rest says nothing of the piece.
    pub measured: bool,
    /// The decision of the check: `ready`, `not-ready` or `cannot-tell`.
    pub verdict: String,
    /// One for each planned hole, in the plan's order.
    pub holes: Vec<FoundHole>,
    /// Everything else on the face.
    pub strays: Vec<FoundStray>,
    /// Figures of the plan's rows.
    pub rows: Vec<FoundRow>,
    /// Ruled lines.
    pub lines: Vec<FoundLine>,
    /// The sheet's measured width and height, each with its expanded uncertainty (k = 2).
    pub size_mm: [Option<[f64; 2]>; 2],
    /// Share of the face that was seen, 0 to 1.
    pub seen: f64,
    /// Size of a pixel of the best photo on the sheet.
    pub mm_per_px: Option<f64>,
    /// The photos, in the order of their content's hash.
    pub photos: Vec<FoundPhoto>,
}

/// A planned hole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundHole {
    /// Its name.
    pub name: String,
    /// Its row.
    pub row: Option<String>,
    /// Where it should be.
    pub planned: [f64; 2],
    /// Where its mark is.
    pub found: Option<[f64; 2]>,
    /// Expanded uncertainty U (k = 2) of that.
    pub u_mm: Option<f64>,
    /// What became of it.
    #[serde(with = "hole_state")]
    pub state: HoleState,
    /// Its mark is ringed.
    pub ringed: bool,
}

impl FoundHole {
    /// How far the mark is from its plan; `None` without a live mark.
    #[must_use]
    pub fn off_mm(&self) -> Option<f64> {
        let [x, y] = self.live()?;
        Some((x - self.planned[0]).hypot(y - self.planned[1]))
    }

    /// Where its live mark is.
    #[must_use]
    pub fn live(&self) -> Option<[f64; 2]> {
        self.found.filter(|_| self.state != HoleState::Cancelled)
    }

    /// U of the mark; nothing is proven of one whose uncertainty is not known.
    #[must_use]
    pub fn u(&self) -> f64 {
        self.u_mm.unwrap_or(f64::INFINITY)
    }
}

/// A mark, or unnamed ink, where no hole is planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundStray {
    /// Where it is.
    pub at: [f64; 2],
    /// Expanded uncertainty U (k = 2) of that.
    pub u_mm: f64,
    /// It is ringed.
    pub ringed: bool,
    /// Stray, crossed out or unsure.
    #[serde(with = "stray_state")]
    pub state: StrayState,
}

/// Figures of a row as marked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundRow {
    /// Its name.
    pub row: String,
    /// Distance from its edge at the first and the last mark.
    pub edge_distance_mm: Option<[f64; 2]>,
    /// Expanded uncertainty of the edge distances.
    pub u_mm: Option<f64>,
    /// Largest distance of a mark from the straight line through the row.
    pub straightness_mm: Option<f64>,
}

/// A ruled line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundLine {
    /// Its ends.
    pub ends: [[f64; 2]; 2],
    /// Its width.
    pub width_mm: f64,
}

/// A photo of the piece.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FoundPhoto {
    /// Upright width and height, px.
    pub size: [u32; 2],
    /// Perceptual hash, see [`super::twins`]; empty where the photo could not be read.
    pub print: String,
    /// Why nothing could be measured in it.
    pub failed: Option<String>,
}

impl Findings {
    /// Of a verdict and the ruled lines it was made with.
    #[must_use]
    pub fn of(verdict: &Verdict, lines: &[RuledLine], photos: Vec<FoundPhoto>) -> Self {
        let place = |p: crate::frame::Point<crate::frame::Sheet>| [kept(p.x), kept(p.y)];
        Self {
            format: FORMAT.to_owned(),
            measured: photos.iter().any(|p| p.failed.is_none()),
            verdict: crate::report::words::decision_code(verdict.decision).to_owned(),
            holes: verdict
                .holes
                .iter()
                .map(|h| FoundHole {
                    name: h.name.clone(),
                    row: h.row.clone(),
                    planned: place(h.planned),
                    found: h.found.map(place),
                    u_mm: h.uncertainty_mm.filter(|u| u.is_finite()).map(kept),
                    state: h.state,
                    ringed: h.ringed,
                })
                .collect(),
            strays: verdict
                .strays
                .iter()
                .map(|s| FoundStray {
                    at: place(s.at),
                    // JSON has no infinity; a metre reaches over any piece.
                    u_mm: kept(s.uncertainty_mm.min(1000.0)),
                    ringed: s.ringed,
                    state: s.state,
                })
                .collect(),
            rows: verdict
                .rows
                .iter()
                .map(|r| FoundRow {
                    row: r.row.clone(),
                    edge_distance_mm: r.edge_distance_mm.map(|d| d.map(kept)),
                    u_mm: r.uncertainty_mm.map(kept),
                    straightness_mm: r.straightness_mm.map(kept),
                })
                .collect(),
            lines: lines
                .iter()
                .map(|l| FoundLine {
                    ends: l.ends.map(place),
                    width_mm: kept(l.width_mm),
                })
                .collect(),
            size_mm: [None; 2],
            seen: 0.0,
            mm_per_px: None,
            photos,
        }
    }

    /// The holes of a row, in order.
    pub fn of_row<'a>(&'a self, row: &'a str) -> impl Iterator<Item = &'a FoundHole> {
        self.holes
            .iter()
            .filter(move |h| h.row.as_deref() == Some(row))
    }
}

/// `mm` as it is stored.
#[must_use]
pub(super) fn kept(mm: f64) -> f64 {
    (mm * KEPT).round() / KEPT
}

mod hole_state {
    use super::{HOLE_STATES, HoleState, hole_code};
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(s: &HoleState, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(hole_code(*s))
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<HoleState, D::Error> {
        let word = String::deserialize(from)?;
        HOLE_STATES
            .into_iter()
            .find(|s| hole_code(*s) == word)
            .ok_or_else(|| D::Error::custom(format!("{word:?} is no state of a hole")))
    }
}

mod stray_state {
    use super::{StrayState, stray_code};
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(s: &StrayState, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(stray_code(*s))
    }

    pub(super) fn deserialize<'d, D: Deserializer<'d>>(from: D) -> Result<StrayState, D::Error> {
        let word = String::deserialize(from)?;
        [StrayState::Stray, StrayState::Cancelled, StrayState::Unsure]
            .into_iter()
            .find(|s| stray_code(*s) == word)
            .ok_or_else(|| D::Error::custom(format!("{word:?} is no state of a stray")))
    }
}
