//! The sums over all sheets, and the bars that they are held to.

use std::fmt;

use super::score::{Score, Told, rms};

/// Faultless sheets that read ready, of 17.
const READY: usize = 10;
/// Marks told where nothing was drawn, in all.
const INVENTED: usize = 5;
/// Share of the live strays on measured sheets that is told as marks, of those that nothing hides.
const STRAYS: f64 = 0.9;
/// Sheets measured, of 31, and of the 7 harder ones.
const MEASURED: usize = 30;
const MEASURED_OF_MORE: usize = 7;
/// Root mean square of the found marks, mm.
const RMS_MM: f64 = 0.08;
/// Share of the found marks within U: over all, and on any sheet of 12 marks or more.
const IN_U: f64 = 0.93;
const IN_U_OF_A_SHEET: f64 = 0.85;
const MARKS_OF_A_SHEET: usize = 12;

/// The sums.
pub(crate) struct Sums<'a> {
    all: &'a [Score],
    /// Of the sheets to measure.
    errors: Vec<[f64; 2]>,
    within: usize,
    /// Of the measured ones.
    strays: Vec<(Told, bool)>,
}

/// One bar, and whether it holds.
pub(crate) struct Bar {
    pub(crate) holds: bool,
    text: String,
}

impl fmt::Display for Bar {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let holds = if self.holds { "holds" } else { "FAILS" };
        write!(f, "{holds}: {}", self.text)
    }
}

fn at_most(what: &str, is: f64, bar: f64) -> Bar {
    Bar {
        holds: is <= bar,
        text: format!("{what}: {} (at most {bar})", rounded(is)),
    }
}

fn at_least(what: &str, is: f64, bar: f64) -> Bar {
    Bar {
        holds: is >= bar,
        text: format!("{what}: {} (at least {bar})", rounded(is)),
    }
}

fn rounded(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0
}

fn share(part: usize, of: usize) -> f64 {
    if of == 0 {
        1.0
    } else {
        part as f64 / of as f64
    }
}

impl<'a> Sums<'a> {
    /// The sums of these sheets.
    pub(crate) fn of(all: &'a [Score]) -> Self {
        let to_measure = || all.iter().filter(|s| s.to_measure);
        let measured = to_measure().filter(|s| s.measured);
        Self {
            all,
            errors: to_measure().flat_map(|s| s.errors.clone()).collect(),
            within: to_measure().map(Score::within_u).sum(),
            strays: measured.flat_map(|s| s.strays.clone()).collect(),
        }
    }

    fn count(&self, is: impl Fn(&Score) -> bool) -> usize {
        self.all.iter().filter(|s| is(s)).count()
    }

    fn verdicts(&self, kind: &str) -> [usize; 3] {
        ["ready", "not-ready", "cannot-tell"]
            .map(|verdict| self.count(|s| s.kind == kind && s.verdict == verdict))
    }

    /// Sheets that read ready and should not.
    fn wrong_ready(&self) -> usize {
        self.count(|s| s.kind != "faultless" && s.verdict == "ready")
    }

    fn wrongly_good(&self) -> usize {
        self.all.iter().map(|s| s.wrongly_good.len()).sum()
    }

    fn measured(&self) -> usize {
        self.count(|s| s.to_measure && s.measured)
    }

    fn told(&self, what: Told) -> usize {
        self.strays.iter().filter(|(told, _)| *told == what).count()
    }

    /// Live strays of which nothing is said, not even that their place was not seen, on any sheet to measure.
    fn untold(&self) -> usize {
        let strays = self
            .all
            .iter()
            .filter(|s| s.to_measure)
            .flat_map(|s| &s.strays);
        strays.filter(|(told, _)| *told == Told::Untold).count()
    }

    /// Bars on any samples: nothing is claimed that is not so.
    fn of_any(&self, measured: usize) -> Vec<Bar> {
        let scale_claimed = |s: &Score| {
            let cause = s.kind == "refuse or name the cause";
            cause && (s.verdict == "ready" || s.claims || !s.names_print)
        };
        vec![
            at_most(
                "faulty sheets that read ready",
                self.wrong_ready() as f64,
                0.0,
            ),
            at_most(
                "holes called good that are not",
                self.wrongly_good() as f64,
                0.0,
            ),
            at_least("sheets measured", self.measured() as f64, measured as f64),
            at_least(
                "share of found marks within U",
                share(self.within, self.errors.len()),
                IN_U,
            ),
            at_most(
                "sheets of a wrong scale of which something is claimed, or the cause is not named",
                self.count(scale_claimed) as f64,
                0.0,
            ),
        ]
    }

    /// The bars on the harder samples.
    pub(crate) fn bars_of_more(&self) -> Vec<Bar> {
        self.of_any(MEASURED_OF_MORE)
    }

    /// The bars on the samples.
    pub(crate) fn bars(&self) -> Vec<Bar> {
        let [ready, not_ready, _] = self.verdicts("faultless");
        let shown: Vec<Told> = self
            .strays
            .iter()
            .filter(|(_, hidden)| !hidden)
            .map(|(told, _)| *told)
            .collect();
        let as_marks = shown.iter().filter(|told| **told == Told::Mark).count();
        let invented: usize = self.all.iter().map(|s| s.invented).sum();
        let bad_u = |s: &Score| {
            s.to_measure
                && s.errors.len() >= MARKS_OF_A_SHEET
                && share(s.within_u(), s.errors.len()) < IN_U_OF_A_SHEET
        };
        let mut bars = self.of_any(MEASURED);
        bars.extend([
            at_least(
                "faultless sheets that read ready",
                ready as f64,
                READY as f64,
            ),
            at_most(
                "faultless sheets that read not ready",
                not_ready as f64,
                0.0,
            ),
            at_most(
                "marks told where nothing was drawn",
                invented as f64,
                INVENTED as f64,
            ),
            at_least(
                "share of live strays told as marks",
                share(as_marks, shown.len()),
                STRAYS,
            ),
            at_most("live strays untold", self.untold() as f64, 0.0),
            at_most("RMS of found marks, mm", rms(&self.errors), RMS_MM),
            at_most(
                "sheets of 12 marks or more with fewer than 0.85 within U",
                self.count(bad_u) as f64,
                0.0,
            ),
            at_most(
                "sheets moved by more than U",
                self.count(|s| s.to_measure && s.shift[0] > s.shift[1]) as f64,
                0.0,
            ),
        ]);
        bars
    }
}

impl fmt::Display for Sums<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for kind in ["faultless", "faulty"] {
            let [ready, not_ready, cannot_tell] = self.verdicts(kind);
            writeln!(
                f,
                "{:<10} ready {ready}, not ready {not_ready}, cannot tell {cannot_tell}",
                format!("{kind}:")
            )?;
        }
        let wanted = self.count(|s| s.to_measure);
        writeln!(
            f,
            "wrongly good holes {}; invented marks {}; unclear where nothing was drawn {}",
            self.wrongly_good(),
            self.all.iter().map(|s| s.invented).sum::<usize>(),
            self.all.iter().map(|s| s.unclear).sum::<usize>(),
        )?;
        writeln!(
            f,
            "live strays of measured sheets: {} told as marks, {} unclear, {} at a place not visible, {} untold; {} of them hidden",
            self.told(Told::Mark),
            self.told(Told::Unclear),
            self.told(Told::NotVisible),
            self.told(Told::Untold),
            self.strays.iter().filter(|(_, hidden)| *hidden).count(),
        )?;
        write!(
            f,
            "measured {} of {wanted}; rms {:.3} mm; in U {:.3} of {}",
            self.measured(),
            rms(&self.errors),
            share(self.within, self.errors.len()),
            self.errors.len()
        )
    }
}
