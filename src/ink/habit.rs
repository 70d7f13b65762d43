//! What a hand means by two strokes that cross.
//!
//! An x may set a hole out or strike a mark out, and a small dot under the crossing does not show. What else is
//! on the sheet tells: somebody who sets out with crosses makes them alike, and strikes out with larger ones;
//! somebody who sets out with dots or ticks has no use for an x but to strike out. A + that stands upright to the
//! sheet is a mark. Where that does not tell, nobody can.

use super::MarkKind;
use super::name::Crossing;

/// What a crossing says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Meaning {
    /// A hole goes here.
    Mark,
    /// No hole goes here.
    CrossOut,
    /// Either.
    Unsure,
}

/// How the marks on a sheet were made.
#[derive(Debug, Clone, Copy)]
pub(super) struct Habit {
    crossings: usize,
    /// Dots and ticks.
    others: usize,
    /// Those of the crossings that stand upright to the sheet.
    upright: usize,
    /// Median size of the crossings that have nothing under them, mm.
    usual_mm: f64,
}

/// A hand sets out with crosses when there are this many, and at most one other mark for every so many.
const FEWEST: usize = 3;
const PER_OTHER: usize = 4;
/// No hand sets out with a cross larger than this, however like the others it is, mm.
const LARGEST_MM: f64 = 6.5;
/// A hand's crosses are alike within the first factor; beyond the second one is not meant like the others.
const ALIKE: f64 = 1.35;
const LARGER: f64 = 1.6;
/// A slanted cross up to this long may be a mark where nothing else tells; where dots or ticks are the habit,
/// up to the second length; from the third on it strikes out, and a sheet whose crosses are usually so large may
/// have been set out with them or struck out whole, mm.
const CROSS_MM: f64 = 4.3;
const CROSS_AMONG_DOTS_MM: f64 = 2.8;
const CROSS_OUT_MM: f64 = 5.4;
/// A cross over other ink strikes it out from this length on, mm.
const OVER_INK_MM: f64 = 3.0;

/// Whether a hand that made these marks on ruled lines sets out with dots there: a stroke through a dot hides it, so that
/// one among them may strike out, however like a tick.
pub(super) fn sets_out_with_dots(on_lines: impl Iterator<Item = MarkKind>) -> bool {
    let (mut dots, mut ticks) = (0, 0);
    for kind in on_lines {
        dots += usize::from(kind == MarkKind::Dot);
        ticks += usize::from(kind == MarkKind::Tick);
    }
    dots >= FEWEST && dots >= PER_OTHER * ticks
}

impl Habit {
    pub(super) fn of(crossings: &[Crossing], others: usize) -> Self {
        // Those with other ink under them are struck out, most likely, and no example of a mark.
        let plain = crossings.iter().filter(|c| !c.over_ink);
        let mut sizes: Vec<f64> = plain.map(|c| c.size_mm).collect();
        if sizes.is_empty() {
            sizes = crossings.iter().map(|c| c.size_mm).collect();
        }
        sizes.sort_by(f64::total_cmp);
        Self {
            crossings: crossings.len(),
            others,
            upright: crossings.iter().filter(|c| c.upright).count(),
            usual_mm: sizes.get(sizes.len() / 2).copied().unwrap_or(0.0),
        }
    }

    /// What this crossing says.
    pub(super) fn meaning(&self, crossing: &Crossing) -> Meaning {
        match self.meaning_of_square(crossing) {
            Meaning::Mark if !crossing.square => Meaning::Unsure,
            meaning => meaning,
        }
    }

    fn meaning_of_square(&self, crossing: &Crossing) -> Meaning {
        let size = crossing.size_mm;
        if crossing.upright && !crossing.over_ink && size < CROSS_OUT_MM {
            return Meaning::Mark;
        }
        let sets_out_with_crosses = self.crossings >= FEWEST
            && self.others * PER_OTHER <= self.crossings
            && self.usual_mm < LARGEST_MM;
        if sets_out_with_crosses {
            let large = self.usual_mm >= CROSS_OUT_MM || size > LARGEST_MM;
            let struck = crossing.over_ink || size >= CROSS_OUT_MM;
            // An x among many + is not meant like them.
            let odd =
                !crossing.upright && self.upright * PER_OTHER > self.crossings * (PER_OTHER - 1);
            return if size > LARGER * self.usual_mm && struck {
                Meaning::CrossOut
            } else if size > ALIKE * self.usual_mm || crossing.over_ink || odd || large {
                Meaning::Unsure
            } else {
                Meaning::Mark
            };
        }
        if crossing.over_ink {
            // What lies under a + may be a dimple, or print: nobody strikes out with an upright cross.
            return if size > OVER_INK_MM && !crossing.upright {
                Meaning::CrossOut
            } else {
                Meaning::Unsure
            };
        }
        let dots_are_the_habit = self.others >= FEWEST && self.others >= 2 * self.crossings;
        let longest = if dots_are_the_habit {
            CROSS_AMONG_DOTS_MM
        } else {
            CROSS_MM
        };
        if size <= longest && !crossing.upright {
            Meaning::Mark
        } else if size >= CROSS_OUT_MM && !crossing.upright {
            Meaning::CrossOut
        } else {
            Meaning::Unsure
        }
    }
}

#[cfg(test)]
mod tests {
    use nalgebra::{Matrix2, Vector2};

    use super::super::name::FlatMark;
    use super::*;

    fn cross(size_mm: f64, over_ink: bool, upright: bool) -> Crossing {
        Crossing {
            mark: FlatMark {
                at: Vector2::zeros(),
                cov: Matrix2::identity(),
                kind: MarkKind::Cross,
                size_mm,
                ringed: false,
                crossed_out: false,
                strokes: Vec::new(),
                probability: 1.0,
            },
            size_mm,
            reach: 10.0,
            over_ink,
            upright,
            square: true,
        }
    }

    #[test]
    fn two_strokes_that_are_not_square_to_each_other_are_no_mark() {
        let mut row = [4.0; 5].map(|s| cross(s, false, false)).to_vec();
        row[2].square = false;
        let habit = Habit::of(&row, 0);
        let said: Vec<Meaning> = row.iter().map(|c| habit.meaning(c)).collect();
        assert_eq!(said[1], Meaning::Mark);
        assert_eq!(said[2], Meaning::Unsure);
        let larger = Crossing {
            square: false,
            ..cross(7.2, true, false)
        };
        assert_eq!(habit.meaning(&larger), Meaning::CrossOut);
    }

    #[test]
    fn crosses_that_are_alike_are_marks_and_a_larger_one_strikes_out() {
        let mut row: Vec<Crossing> = [3.9, 4.4, 4.1, 3.6, 4.8]
            .map(|s| cross(s, false, false))
            .to_vec();
        row.push(cross(7.2, false, false));
        let habit = Habit::of(&row, 1);
        let said: Vec<Meaning> = row.iter().map(|c| habit.meaning(c)).collect();
        assert!(said[..5].iter().all(|m| *m == Meaning::Mark), "{said:?}");
        assert_eq!(said[5], Meaning::CrossOut);
        assert_eq!(habit.meaning(&cross(4.0, true, false)), Meaning::Unsure);
    }

    #[test]
    fn among_dots_an_x_is_never_taken_for_a_mark_unless_it_is_tiny() {
        let row = [cross(3.6, false, false)];
        let habit = Habit::of(&row, 12);
        assert_eq!(habit.meaning(&row[0]), Meaning::Unsure);
        assert_eq!(habit.meaning(&cross(6.5, false, false)), Meaning::CrossOut);
        assert_eq!(habit.meaning(&cross(3.6, true, false)), Meaning::CrossOut);
        assert_eq!(habit.meaning(&cross(3.6, false, true)), Meaning::Mark);
        assert_eq!(habit.meaning(&cross(2.2, false, false)), Meaning::Mark);
    }

    #[test]
    fn an_x_among_many_upright_crosses_is_unsure() {
        let mut row: Vec<Crossing> = (0..8).map(|_| cross(3.0, false, true)).collect();
        row.push(cross(3.4, false, false));
        let habit = Habit::of(&row, 0);
        assert_eq!(habit.meaning(&row[0]), Meaning::Mark);
        assert_eq!(habit.meaning(&row[8]), Meaning::Unsure);
    }

    #[test]
    fn large_crosses_that_are_alike_may_strike_out_what_does_not_show_under_them() {
        let of = |sizes: [f64; 4]| {
            let row = sizes.map(|s| cross(s, false, false));
            let habit = Habit::of(&row, 0);
            row.map(|c| habit.meaning(&c))
        };
        assert!(
            of([5.6, 5.9, 6.1, 6.3])
                .iter()
                .all(|m| *m == Meaning::Unsure)
        );
        // One of them alone, however like the others.
        let said = of([5.0, 5.2, 5.3, 6.9]);
        assert!(said[..3].iter().all(|m| *m == Meaning::Mark), "{said:?}");
        assert_eq!(said[3], Meaning::Unsure);
    }

    #[test]
    fn a_sheet_of_large_crosses_was_struck_out_whole() {
        let row = [7.0, 7.5, 8.0].map(|s| cross(s, false, false));
        let habit = Habit::of(&row, 0);
        assert!(row.iter().all(|c| habit.meaning(c) == Meaning::CrossOut));
    }
}
