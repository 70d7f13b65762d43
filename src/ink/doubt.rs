//! Why ink is unclear.
//!
//! A cause is a value, so that nothing hangs on its wording: programs and saved answers go by [`Doubt::code`], people read
//! [`Doubt::text`].

use std::fmt;

/// Why ink is unclear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Doubt {
    /// A character of writing or print.
    Writing,
    /// No shape that is known.
    NoShape,
    /// One stroke, and no ruled line to say which place on it is meant.
    StrokeAlone,
    /// A tick that crosses two ruled lines.
    TickOnTwoLines,
    /// Longer than ticks are.
    StrokeTooLong,
    /// It leans more than ticks do.
    StrokeLeans,
    /// It touches its line from one side.
    StrokeNotAcross,
    /// It ends before its line.
    StrokeShort,
    /// Larger than dots are.
    SpotTooLarge,
    /// Smaller than dots are.
    SpotTooSmall,
    /// Larger than any mark, and too small for a thing.
    DarkSpot,
    /// A ruled line is thicker there than a dot makes it.
    ThickOnLine,
    /// A spot where a ruled line ends.
    AtLineEnd,
    /// A spot on a line that touches a mark on it.
    FromUnder,
    /// A spot on a stroke of a mark.
    OnStroke,
    /// A spot on the crossing of two ruled lines.
    OnCrossing,
    /// A mark over paler ink.
    OverPaler,
    /// A spot that may be a mark or dirt.
    MayBeDirt,
    /// Nothing shows, on a line that would hide a fine dot.
    OnLikeLine,
    /// Nothing shows, on a face that would hide a pale mark.
    InTexture,
    /// Dark ink where marks are bright.
    DarkAmongBright,
    /// A pale stroke runs through what looks like a dot on a line.
    Across,
    /// A pale stroke runs through a mark.
    Through,
    /// A tick in a row of dots.
    AmongDots,
    /// Two strokes that cross.
    Crossing,
    /// An upright cross over other ink.
    Upright,
    /// A loop that leaves the mark beside it outside.
    RingBeside,
    /// A ring round nothing.
    RingEmpty,
    /// A ring with a thick place.
    RingThick,
    /// A loop that a stroke crosses.
    RingStruck,
    /// At the rim of what hides the sheet.
    AtRim,
    /// Strokes that a punch left of what struck a mark out.
    DimpleStruck,
    /// A pen's mark where a dimple or a hole is looked for.
    NotWorked,
    /// Ringed and crossed out.
    RingedAndStruck,
    /// Crossed out in one photo, and not in another.
    StruckInOnePhoto,
}

impl Doubt {
    /// All of them.
    pub const ALL: [Self; 35] = [
        Self::Writing,
        Self::NoShape,
        Self::StrokeAlone,
        Self::TickOnTwoLines,
        Self::StrokeTooLong,
        Self::StrokeLeans,
        Self::StrokeNotAcross,
        Self::StrokeShort,
        Self::SpotTooLarge,
        Self::SpotTooSmall,
        Self::DarkSpot,
        Self::ThickOnLine,
        Self::AtLineEnd,
        Self::FromUnder,
        Self::OnStroke,
        Self::OnCrossing,
        Self::OverPaler,
        Self::MayBeDirt,
        Self::OnLikeLine,
        Self::InTexture,
        Self::DarkAmongBright,
        Self::Across,
        Self::Through,
        Self::AmongDots,
        Self::Crossing,
        Self::Upright,
        Self::RingBeside,
        Self::RingEmpty,
        Self::RingThick,
        Self::RingStruck,
        Self::AtRim,
        Self::DimpleStruck,
        Self::NotWorked,
        Self::RingedAndStruck,
        Self::StruckInOnePhoto,
    ];

    /// A fixed word for programs and saved answers.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::Writing => "writing",
            Self::NoShape => "no-shape",
            Self::StrokeAlone => "stroke-alone",
            Self::TickOnTwoLines => "tick-on-two-lines",
            Self::StrokeTooLong => "stroke-too-long",
            Self::StrokeLeans => "stroke-leans",
            Self::StrokeNotAcross => "stroke-not-across",
            Self::StrokeShort => "stroke-short",
            Self::SpotTooLarge => "spot-too-large",
            Self::SpotTooSmall => "spot-too-small",
            Self::DarkSpot => "dark-spot",
            Self::ThickOnLine => "thick-on-line",
            Self::AtLineEnd => "at-line-end",
            Self::FromUnder => "from-under",
            Self::OnStroke => "on-stroke",
            Self::OnCrossing => "on-crossing",
            Self::OverPaler => "over-paler",
            Self::MayBeDirt => "may-be-dirt",
            Self::OnLikeLine => "on-like-line",
            Self::InTexture => "in-texture",
            Self::DarkAmongBright => "dark-among-bright",
            Self::Across => "across-line",
            Self::Through => "through-mark",
            Self::AmongDots => "tick-among-dots",
            Self::Crossing => "crossing",
            Self::Upright => "upright-cross",
            Self::RingBeside => "ring-beside",
            Self::RingEmpty => "ring-empty",
            Self::RingThick => "ring-thick",
            Self::RingStruck => "ring-struck",
            Self::AtRim => "at-rim",
            Self::DimpleStruck => "dimple-struck",
            Self::NotWorked => "not-worked",
            Self::RingedAndStruck => "ringed-and-struck",
            Self::StruckInOnePhoto => "struck-in-one-photo",
        }
    }

    /// The cause with this code.
    #[must_use]
    pub fn of_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|d| d.code() == code)
    }

    /// As half a sentence: "a single stroke away from any ruled line".
    #[must_use]
    pub fn text(self) -> &'static str {
        match self {
            Self::Writing => "writing or print",
            Self::NoShape => "ink of no known shape",
            Self::StrokeAlone => "a single stroke away from any ruled line",
            Self::TickOnTwoLines => "a tick across two ruled lines",
            Self::StrokeTooLong => "a stroke too long for a tick",
            Self::StrokeLeans => "a stroke that leans too much for a tick",
            Self::StrokeNotAcross => "a stroke that does not cross its line",
            Self::StrokeShort => "a stroke that does not reach its line",
            Self::SpotTooLarge => "a spot too large for a dot",
            Self::SpotTooSmall => "a speck smaller than a pen's dot",
            Self::DarkSpot => "a dark spot too large for a pen's mark",
            Self::ThickOnLine => "a dot, or a pen blot, on a ruled line",
            Self::AtLineEnd => "a spot at the end of a ruled line: a dot, or a pen blot",
            Self::FromUnder => {
                "ink on a ruled line beside a mark: one more dot, or a part of the mark"
            }
            Self::OnStroke => "a spot on a stroke of a mark: a dot, or a pen blot",
            Self::OnCrossing => "a spot where two ruled lines cross: a dot, or a pen blot",
            Self::OverPaler => "a mark with paler ink round it: crossed out, or in print",
            Self::MayBeDirt => "a spot that may be a mark or dirt",
            Self::OnLikeLine => "a ruled line as dark as the pen: a fine dot would not show on it",
            Self::InTexture => "a face too rough for ink so pale: a mark might not show there",
            Self::DarkAmongBright => "dark ink on a face that is marked with bright lines",
            Self::Across => "a pale stroke across a ruled line: a scratch, or a tick",
            Self::Through => "a pale stroke through a mark: crossed out, or a scratch",
            Self::AmongDots => "a stroke across a line of dots: a tick, or a dot crossed out",
            Self::Crossing => "two strokes that cross: a mark or a cross-out",
            Self::Upright => "an upright cross over other ink: a mark, or print",
            Self::RingBeside => "a loop beside a mark: a ring, or a stroke through it",
            Self::RingEmpty => "a ring with no mark in it",
            Self::RingThick => "a ring with a thick place: a dot on it, or a pen blot",
            Self::RingStruck => "a loop with a stroke across it",
            Self::AtRim => "ink at the edge of a covered area",
            Self::DimpleStruck => {
                "strokes round a dimple: a mark that was crossed out, and punched all the same"
            }
            Self::NotWorked => {
                "a mark that is not punched or drilled yet, as far as the photo shows"
            }
            Self::RingedAndStruck => "a mark both ringed and crossed out",
            Self::StruckInOnePhoto => "a mark that is crossed out in one photo and not in another",
        }
    }

    /// Whether it is of what was seen over or beside a mark. Another photo that shows the mark plainly does not settle that: a
    /// blurrier one shows less of a strike, and no less of the mark.
    pub(crate) fn is_over_a_mark(self) -> bool {
        matches!(
            self,
            Self::FromUnder
                | Self::OnStroke
                | Self::OnCrossing
                | Self::OverPaler
                | Self::Across
                | Self::Through
                | Self::AmongDots
                | Self::Crossing
                | Self::Upright
                | Self::RingBeside
                | Self::RingEmpty
                | Self::RingThick
        )
    }

    /// Whether it is of what surely is a ring. A loop beside a mark may be a stroke through it.
    pub(crate) fn is_of_ring(self) -> bool {
        matches!(self, Self::RingEmpty | Self::RingThick)
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text())
    }
}

#[cfg(test)]
mod tests {
    use super::Doubt;

    #[test]
    fn each_cause_has_a_code_and_a_text_of_its_own() {
        for (i, a) in Doubt::ALL.iter().enumerate() {
            assert_eq!(Doubt::of_code(a.code()), Some(*a));
            let plain = |c: char| c.is_ascii_lowercase() || c == '-';
            assert!(a.code().chars().all(plain), "{}", a.code());
            for b in &Doubt::ALL[i + 1..] {
                assert!(
                    a != b && a.code() != b.code() && a.text() != b.text(),
                    "{a}"
                );
            }
        }
    }
}
