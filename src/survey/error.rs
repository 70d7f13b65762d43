//! Why a survey is refused, with the numbers and the next step.

use std::fmt;

use super::{LineId, MAX_RMS_MM, MAX_TILT_DEG, MIN_SADDLES};

/// A survey that is refused.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub enum SurveyError {
    /// No card was found in any photo.
    NoCards,
    /// No card shows enough checker corners.
    TooFewSaddles {
        /// The best seen card.
        card: u16,
        /// Its usable corners.
        seen: usize,
    },
    /// The usable corners of a card lie on one line.
    Flattened {
        /// The card.
        card: u16,
        /// What the fit says.
        why: String,
    },
    /// A photo shares no card with the others.
    NotLinked {
        /// Its place in the list of photos, from 0.
        photo: usize,
    },
    /// The cards do not fit one flat face.
    DoesNotFit {
        /// RMS misfit of the corners, px.
        rms_px: f64,
        /// The same on the card, mm.
        rms_mm: f64,
        /// The card that fits worst, and its RMS, px.
        worst: (u16, f64),
        /// Cards in the solve.
        cards: usize,
    },
    /// The face is seen at too flat an angle.
    TooTilted {
        /// Photo, from 0.
        photo: usize,
        /// Angle between the view and the upright on the face, degrees.
        tilt_deg: f64,
    },
    /// The card is seen from behind: the picture is mirrored.
    Mirrored {
        /// Photo, from 0.
        photo: usize,
        /// A card that shows it.
        card: u16,
    },
    /// The solve ran away or did not settle.
    Diverged {
        /// Steps taken.
        steps: usize,
        /// Last RMS, px.
        rms_px: f64,
    },
    /// The observations leave some unknown open.
    IllConditioned {
        /// What is open.
        unknown: String,
        /// Reciprocal condition of the scaled normal matrix.
        rcond: f64,
    },
    /// A known length names a line that was not given, or a line has too few points.
    NoSuchLine {
        /// The line.
        line: LineId,
        /// Points on it.
        points: usize,
    },
    /// A known length between lines that are not parallel.
    NotParallel {
        /// The lines.
        lines: [LineId; 2],
        /// Angle between them, degrees.
        angle_deg: f64,
    },
    /// A given value that cannot be used.
    BadValue {
        /// What it is.
        what: &'static str,
        /// The value.
        value: f64,
        /// What it should be.
        wanted: &'static str,
    },
    /// Measured bars that match no printed bar.
    Bars {
        /// As given, across and down, mm.
        given_mm: [f64; 2],
        /// Which of the two is wrong.
        which: &'static str,
    },
}

impl fmt::Display for SurveyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoCards => write!(
                f,
                "no scale card in the photo; lay at least one printed card flat on the sheet and take the photo again"
            ),
            Self::TooFewSaddles { card, seen } => write!(
                f,
                "card {card} shows {seen} usable checker corners, and no card shows more; {MIN_SADDLES} are needed; keep the whole card in view, out of glare and in focus"
            ),
            Self::Flattened { card, why } => write!(
                f,
                "card {card} cannot be placed: {why}; keep the whole card in view and out of glare"
            ),
            Self::NotLinked { photo } => write!(
                f,
                "photo {} shares no card with the other photos; let neighbouring photos show a common card",
                photo + 1
            ),
            Self::DoesNotFit {
                rms_px,
                rms_mm,
                worst: (card, worst_px),
                cards,
            } => {
                write!(
                    f,
                    "the checker corners miss one flat face by {rms_px:.2} px RMS ({rms_mm:.3} mm; {MAX_RMS_MM} mm is allowed), card {card} worst with {worst_px:.2} px; "
                )?;
                if *cards > 1 {
                    write!(
                        f,
                        "tape the cards down flat, all at the level of the face, or say how far below it they lie (--card-below)"
                    )
                } else {
                    write!(f, "tape the card down flat on the sheet")
                }
            }
            Self::TooTilted { photo, tilt_deg } => write!(
                f,
                "photo {} is taken at too steep an angle: {tilt_deg:.0} degrees from straight above; {MAX_TILT_DEG:.0} is the limit; hold the camera straight above the sheet",
                photo + 1
            ),
            Self::Mirrored { photo, card } => write!(
                f,
                "photo {} shows card {card} mirrored; use the picture as the camera took it, not a mirrored (selfie) copy",
                photo + 1
            ),
            Self::Diverged { steps, rms_px } => write!(
                f,
                "the solve did not settle in {steps} steps (misfit {rms_px:.2} px); check that the cards are printed by this program and lie flat"
            ),
            Self::IllConditioned { unknown, rcond } => write!(
                f,
                "the photo leaves {unknown} open (reciprocal condition {rcond:.1e}); add a card far from the first, or use a camera profile"
            ),
            Self::NoSuchLine { line, points } => write!(
                f,
                "line {} has {points} points in the photo; at least 2 are needed to use it",
                line.0
            ),
            Self::NotParallel {
                lines: [a, b],
                angle_deg,
            } => write!(
                f,
                "a length is given between lines {} and {}, which stand {angle_deg:.1} degrees to each other; it needs two parallel edges",
                a.0, b.0
            ),
            Self::BadValue {
                what,
                value,
                wanted,
            } => write!(f, "{what} is {value}; it must be {wanted}"),
            Self::Bars { given_mm, which } => write!(
                f,
                "the bar {which} of {} mm matches no printed bar: the cards carry bars of 20, 50 and 100 mm, and a print is within 15 % of that; given were {} mm across and {} mm down; lay a steel rule on the bars of one card and give both lengths (--bars ACROSS,DOWN)",
                given_mm[usize::from(*which == "down")],
                given_mm[0],
                given_mm[1]
            ),
        }
    }
}
impl std::error::Error for SurveyError {}
