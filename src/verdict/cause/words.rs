//! What a slip is called at the bench.

use super::{Cause, Slip};

impl Cause {
    /// A sentence for the bench about row `name`, whose holes are `names` in order.
    #[must_use]
    pub fn sentence(&self, name: &str, names: &[&str]) -> String {
        let (first, last) = (
            names.first().copied().unwrap_or("its first"),
            names.last().copied().unwrap_or("its last"),
        );
        let way =
            |mm: f64, plus: &'static str, minus: &'static str| if mm > 0.0 { plus } else { minus };
        let nth = |k: usize| names.get(k - 1).copied().unwrap_or("one mark");
        let steps = |from: &str, mm: f64| {
            format!(
                "{from} to {last} run {:.2} mm {} per step: measure each from the end edge instead of from the \
                 mark before",
                mm.abs(),
                way(mm, "long", "short")
            )
        };
        let what = match self.slip {
            Slip::Steps(mm) => steps(first, mm),
            Slip::StepsFrom(k, mm) => steps(nth(k), mm),
            Slip::Start(mm) => format!(
                "all marks lie {:.1} mm {} along the row: look where the rule was started from",
                mm.abs(),
                way(mm, "too far", "short")
            ),
            Slip::InchLine(mm) => format!(
                "all marks lie {:.1} mm, one inch, {}: measured from the rule's 1 in line?",
                mm.abs(),
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
                "from {} on, all marks lie {:.1} mm {}: one step was miscounted or misread there",
                nth(k),
                mm.abs(),
                way(mm, "too far", "short")
            ),
            Slip::Beside(mm) => format!(
                "all marks lie {:.1} mm too {} its edge: a misread edge distance, or a line ruled in the wrong place?",
                mm.abs(),
                way(mm, "far from", "near to")
            ),
            Slip::LineSide(mm) => format!(
                "all marks lie {:.1} mm too {} its edge, on the wrong side of the ruled line: its other side is where \
                 the row should be",
                mm.abs(),
                way(mm, "far from", "near to")
            ),
            Slip::Moved(along, across) => format!(
                "all marks lie {:.1} mm {} along the row and {:.1} mm too {} its edge: look what the row was measured \
                 from before moving them one by one",
                along.abs(),
                way(along, "too far", "short"),
                across.abs(),
                way(across, "far from", "near to")
            ),
            Slip::Slant(mm) => format!(
                "the row runs {:.1} mm {} its edge from {first} to {last}: rule its line anew at both ends",
                mm.abs(),
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
        format!("row {name}: {what} (chance {chance})")
    }
}
