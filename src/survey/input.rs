//! What the survey is given.

use crate::card::SeenCard;
use crate::frame::{Card, Pixel, Point, Rigid};

/// Names a straight line of the face: an edge of the sheet or a ruled line. The same in all photos.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LineId(pub u32);

/// Points in one photo along a line that is straight on the face.
#[derive(Debug, Clone)]
pub struct StraightLine {
    /// Which line.
    pub id: LineId,
    /// Where the photo shows it, and the standard deviation across it, px. Errors of neighbouring points
    /// should be independent: thin out points whose patches overlap.
    pub points: Vec<(Point<Pixel>, f64)>,
}

/// What was measured in one photo.
#[derive(Debug, Clone, Copy, Default)]
pub struct Sighting<'a> {
    /// The cards found.
    pub cards: &'a [SeenCard],
    /// Places in `cards` of those that lie on the bench beside the sheet, not on it. Left unsaid, three cards
    /// show it in their misfit; two do not: two heights look like one tilted face.
    pub beside: &'a [usize],
    /// The straight lines found.
    pub lines: &'a [StraightLine],
    /// Which of the cameras given took it.
    pub camera: usize,
}

/// A length the user gave: the distance between two parallel lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownLength {
    /// The lines.
    pub between: [LineId; 2],
    /// Their distance, mm.
    pub mm: f64,
    /// Its standard deviation, mm; [`KNOWN_SD_MM`] for a steel rule.
    pub sd_mm: f64,
}

/// How a card lies to another that no photo shows with it, as the sheet's edges tell. Known to [`TIE_SD`], it joins the
/// photos of the one with those of the other; lines and lengths then tell it better.
#[derive(Debug, Clone, Copy)]
pub struct Tie {
    /// Both cards: the photo, and the place in its list.
    pub cards: [(usize, usize); 2],
    /// How the second lies on the first.
    pub first_from_second: Rigid<Card, Card>,
}

/// Standard deviations of a tie, mm and rad: no better than two surveys by few cards, and so wide that what told it does
/// not count twice.
pub const TIE_SD: [f64; 2] = [2.0, 0.01];

/// Standard deviation of a length measured with a steel rule, mm: read to ±0.1 mm as the bars are, rectangular
/// (JCGM 100:2008, 4.3.7, from memory).
pub const KNOWN_SD_MM: f64 = 0.1 / 1.732_050_807_568_877_2;

/// Height of a card's print over what it lies on where nobody measured it, mean and standard deviation, mm: office paper
/// of 80 g/m² is 0.1 mm thick, card stock or paper on glue up to 0.3 mm, and a card that is let in lies at 0.
pub const PAPER_MM: [f64; 2] = [0.1, 0.1];
/// Standard deviation of that height where the thickness was measured, mm: glue or tape under the card, and how flat it
/// is pressed.
pub const PAPER_SAID_SD_MM: f64 = 0.03;

/// Settings of the survey.
#[derive(Debug, Clone)]
pub struct Options {
    /// Height of the cards' print over what they lie on, mean and standard deviation, mm; one stock for all.
    /// Standard deviation 0: known.
    pub paper_mm: [f64; 2],
    /// Height over the face of what the cards beside the sheet lie on, mean and standard deviation, mm:
    /// minus the sheet's thickness as a rule. Standard deviation 0: known.
    pub bench_mm: [f64; 2],
    /// Lengths the user gave.
    pub known: Vec<KnownLength>,
    /// Cards that no photo shows together.
    pub ties: Vec<Tie>,
    /// Of some lines, the standard deviation of what all points on them may be off together, mm: a side wall or a burr
    /// that passes for the edge. Known lengths and other lines may tell it.
    pub line_off_mm: Vec<(LineId, f64)>,
    /// Standard deviation of the face's height (flatness), mm.
    pub flatness_mm: f64,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            paper_mm: PAPER_MM,
            // Sheets of 0.4 to 1.6 mm.
            bench_mm: [-1.0, 0.5],
            known: Vec::new(),
            ties: Vec::new(),
            line_off_mm: Vec::new(),
            flatness_mm: 0.1,
        }
    }
}
