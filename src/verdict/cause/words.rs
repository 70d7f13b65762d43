//! What a slip is called at the bench.

use crate::plan::Units;
use crate::plan::length::{show, show_fine};

use super::{Cause, Slip};

impl Cause {
    /// A sentence for the bench about row `name`, whose holes are `names` in order.
    #[must_use]
    pub fn sentence(&self, name: &str, names: &[&str], units: Units) -> String {
        let fine = |mm: f64| show_fine(mm.abs(), units);
        let rough = |mm: f64| show(mm.abs(), units);
        let (first, last) = (
            names.first().copied().unwrap_or("its first"),
            names.last().copied().unwrap_or("its last"),
        );
        let way =
            |mm: f64, plus: &'static str, minus: &'static str| if mm > 0.0 { plus } else { minus };
        let nth = |k: usize| names.get(k - 1).copied().unwrap_or("one mark");
        let steps = |from: &str, mm: f64| {
            format!(
                "{from} to {last} run {} {} per step: measure each from the end edge, not from the mark before",
                fine(mm),
                way(mm, "long", "short")
            )
        };
        let what = match self.slip {
            Slip::Steps(mm) => steps(first, mm),
            Slip::StepsFrom(k, mm) => steps(nth(k), mm),
            Slip::Start(mm) => format!(
                "all marks lie {} {} along the row: look where the rule was started from",
                rough(mm),
                way(mm, "too far", "short")
            ),
            Slip::InchLine(mm) => format!(
                "all marks lie one inch {}: measured from the rule's 1 in line?",
                way(mm, "too far", "short")
            ),
            Slip::OtherEnd => "the marks fit when measured from the other end edge".into(),
            Slip::Mirrored => {
                "the marks fit the stations in reverse order: was the strip or template turned end for end?".into()
            }
            Slip::Unit(mm) => {
                let sixteenths = mm / 25.4 * 16.0;
                let figure = if (sixteenths - sixteenths.round()).abs() < 1e-6 {
                    format!("{sixteenths:.0}/16 in ({mm:.2} mm)")
                } else {
                    format!("{mm:.0} mm")
                };
                format!("the marks fit a pitch of {figure}: was the pitch stepped off in the wrong unit?")
            }
            Slip::InchAs(mm) => {
                format!("the marks fit when each inch is taken as {mm:.0} mm: use a rule in the plan's unit")
            }
            Slip::From(k, mm) => format!(
                "from {} on, all marks lie {} {}: one step was miscounted or misread there",
                nth(k),
                rough(mm),
                way(mm, "too far", "short")
            ),
            Slip::Beside(mm) => format!(
                "all marks lie {} too {} its edge: a misread edge distance, or a line ruled in the wrong place?",
                rough(mm),
                way(mm, "far from", "near to")
            ),
            Slip::LineSide(mm) => format!(
                "all marks lie {} too {} its edge, on the wrong side of the ruled line: its other side is where \
                 the row should be",
                rough(mm),
                way(mm, "far from", "near to")
            ),
            Slip::Moved(along, across) => format!(
                "all marks lie {} {} along the row and {} too {} its edge: look what the row was measured \
                 from before you mark them again one by one",
                rough(along),
                way(along, "too far", "short"),
                rough(across),
                way(across, "far from", "near to")
            ),
            Slip::Slant(mm) => format!(
                "the row runs {} {} its edge from {first} to {last}: rule its line again, measured at both ends",
                rough(mm),
                way(mm, "away from", "towards")
            ),
            Slip::Scale(share) => format!(
                "its marks and the sheet itself both measure {:.2} % {}: the scale is off, not the marks",
                (100.0 * share).abs(),
                way(share, "large", "small")
            ),
        };
        // Never 0: nothing is that sure.
        let chance = match self.chance * 100.0 {
            percent if percent <= 0.1 => "0.1 % or less".into(),
            percent => format!("{percent:.1} %"),
        };
        format!("row {name}: {what} (how likely this is accident: {chance})")
    }
}
