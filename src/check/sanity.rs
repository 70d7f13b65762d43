//! Cross-checks that catch a wrong scale before it harms: bars against each other, cards against each other, the marks'
//! spacing against the plan's. (The sheet's size against the plan's is in `edges`.)

use nalgebra::Vector2;

use super::{Checked, Given, Measured};
use crate::card::SeenCard;
use crate::card::find::Found;
use crate::plan::Plan;
use crate::survey::Survey;
use crate::verdict::{HoleState, Reason, Weight};

/// Printers stretch a page otherwise along than across by up to this share; a rule misread by 1 mm on 100 mm shows.
const BARS_DIFFER: f64 = 0.006;
/// Standard deviations that the ratio of both print scales is let be off.
const RATIO_SIGMAS: f64 = 3.0;
/// The photo tells that ratio about as well as the rule does where both together are this much surer than the rule alone.
const TELLS: f64 = 0.7;
/// A print that is stretched by more than this is no ordinary one: unmeasured, a print's size is taken to be known to half
/// of it, mostly alike both ways (common practice, no source).
const STRETCHED: f64 = 0.01;
/// A card that seems larger or smaller than the others by this share is of another print: one that lies 2 mm lower
/// than they from 400 mm above seems smaller by 0.5 %.
const CARD_DIFFERS: f64 = 0.008;
/// Cards below this many corners tell too little of their size.
const CORNERS: usize = 12;
/// Spacing of all marks together that differs from the plan's by this share is told, if it is this many standard
/// deviations beyond chance.
const SPACING_DIFFERS: f64 = 0.004;
const SPACING_SIGMAS: f64 = 4.0;
/// Marks, and the stretch they cover, mm, from which their spacing is told.
const MARKS: usize = 6;
const STRETCH_MM: f64 = 60.0;
/// A mark that misses the common stretch by this many times the median is another mistake.
const FAR: f64 = 5.0;

/// What does not go together.
pub(super) fn findings(checked: &Checked, plan: &Plan, given: &Given) -> Vec<(Weight, Reason)> {
    let mut all = Vec::new();
    let survey = checked.measured.as_ref().map(|m| &m.survey);
    all.extend(bars(given, survey.map(Survey::print_ratio)));
    if let Some(Measured { survey, kept, .. }) = &checked.measured {
        let found: Vec<&Found> = kept.iter().map(|&k| &checked.found[k]).collect();
        all.extend(cards(survey, &found));
        all.extend(spacing(checked, plan, given));
    }
    all
}

/// A print that nobody measured, and that the photo shows to be of another size across than down: then nothing is known
/// of its size, and so nothing can be claimed of any place.
pub(super) fn stretched(survey: &Survey, given: &Given) -> Option<Reason> {
    let [ratio, sd] = survey.print_ratio();
    let beyond = (ratio - 1.0).abs() - RATIO_SIGMAS * sd;
    (given.print_scale.is_none() && beyond > STRETCHED).then(|| Reason {
        code: "print-stretched",
        text: format!(
            "the cards seem to be printed at {:.1} % across of what they are down, so their size cannot be relied on: lay a rule on the bars of a card and give both lengths with --bars, or print them anew at 100 %",
            100.0 * ratio
        ),
    })
}

/// Bars that no printer makes; `ratio`: across over down as the photo itself shows it, and its standard uncertainty. Where
/// that is sure, and the same, the rule was read right.
fn bars(given: &Given, ratio: Option<[f64; 2]>) -> Option<(Weight, Reason)> {
    let scale = given.print_scale?;
    let [a, d] = scale.mean;
    let read = scale.sd[0].hypot(scale.sd[1]);
    if let Some([ratio, sd]) = ratio
        && sd < TELLS * read
        && (ratio * d / a - 1.0).abs() < RATIO_SIGMAS * read
    {
        return None;
    }
    let apart = (a / d - 1.0).abs() - 2.0 * scale.sd[0].hypot(scale.sd[1]);
    (apart > BARS_DIFFER).then(|| {
        let text = format!(
            "the bars say that the cards are printed at {:.1} % across and {:.1} % down: printers hardly do that; lay the rule on both bars again, and see that they are of the same card",
            100.0 * a,
            100.0 * d
        );
        (Weight::Blocks, Reason { code: "bars-differ", text })
    })
}

/// Size of a card as the photo shows it on the face, over its designed size.
fn apparent_size(survey: &Survey, photo: usize, card: &SeenCard) -> Option<f64> {
    let view = survey.view(photo)?;
    let pairs: Vec<(Vector2<f64>, Vector2<f64>)> = card
        .saddles
        .iter()
        .filter_map(|s| Some((s.on_card.vec(), view.face_from_pixel(s.at)?.vec())))
        .collect();
    if pairs.len() < CORNERS {
        return None;
    }
    let spread = |points: &mut dyn Iterator<Item = Vector2<f64>>| {
        let points: Vec<Vector2<f64>> = points.collect();
        let middle = points.iter().sum::<Vector2<f64>>() / points.len() as f64;
        points
            .iter()
            .map(|p| (p - middle).norm_squared())
            .sum::<f64>()
    };
    let designed = spread(&mut pairs.iter().map(|p| p.0));
    let shown = spread(&mut pairs.iter().map(|p| p.1));
    (designed > 0.0).then(|| (shown / designed).sqrt())
}

/// Cards of another print than the others. One that the survey left out does no harm, but why it did not fit is told.
fn cards(survey: &Survey, found: &[&Found]) -> Vec<(Weight, Reason)> {
    let mut sizes: Vec<(u16, f64)> = Vec::new();
    let mut unused: Vec<(u16, f64)> = Vec::new();
    for (photo, found) in found.iter().enumerate() {
        for (place, card) in found.cards.iter().enumerate() {
            let seen = |seen: &[(usize, usize)]| seen.contains(&(photo, place));
            let list = if survey.cards.iter().any(|c| seen(&c.seen)) {
                &mut sizes
            } else {
                &mut unused
            };
            if let Some(size) = apparent_size(survey, photo, card)
                && !list.iter().any(|(n, _)| *n == card.number)
            {
                list.push((card.number, size));
            }
        }
    }
    let mut sorted: Vec<f64> = sizes.iter().map(|(_, s)| *s).collect();
    sorted.sort_by(f64::total_cmp);
    let Some(&usual) = sorted.get(sorted.len() / 2) else {
        return Vec::new();
    };
    let reason = |text| Reason {
        code: "cards-differ",
        text,
    };
    let differs = |(_, size): &(u16, f64)| (size / usual - 1.0).abs() > CARD_DIFFERS;
    let mut told: Vec<(Weight, Reason)> = Vec::new();
    if let [(a, size_a), (b, size_b)] = sizes.as_slice() {
        let ratio = size_a / size_b;
        if (ratio - 1.0).abs() > CARD_DIFFERS {
            told.push((Weight::Blocks, reason(format!(
                "card {a} seems to be printed at {:.1} % of the size of card {b}, or one of them lies higher: print all cards in one go, lay a rule on the bars of both, and lay both level with the face",
                100.0 * ratio
            ))));
        }
    } else {
        told.extend(sizes.iter().filter(|s| differs(s)).map(|(number, size)| {
            (Weight::Blocks, reason(format!(
                "card {number} seems to be printed at {:.1} % of the other cards' size, or lies at another height: lay a rule on its bars, or take it away",
                100.0 * size / usual
            )))
        }));
    }
    told.extend(unused.iter().filter(|s| differs(s)).map(|(number, size)| {
        (Weight::Note, reason(format!(
            "card {number}, which was left out, seems to be printed at {:.1} % of the other cards' size, or lies at another height: lay a rule on its bars",
            100.0 * size / usual
        )))
    }));
    told
}

/// The marks' spacing as a whole against the plan's: a wrong scale stretches all of it alike.
fn spacing(checked: &Checked, plan: &Plan, given: &Given) -> Option<(Weight, Reason)> {
    let pairs: Vec<Pair> = checked
        .verdict
        .holes
        .iter()
        .filter(|h| matches!(h.state, HoleState::Good | HoleState::Close | HoleState::Off))
        .filter_map(|h| Some((h.planned.vec(), h.found?.vec())))
        .collect();
    let mut fit = Stretch::of(&pairs)?;
    // A mark paired with its neighbour's hole says nothing of the scale.
    let (near, far) = fit.split(&pairs);
    if !far.is_empty() {
        fit = Stretch::of(&near)?;
    }
    let Stretch { ratio, sd, .. } = fit;
    let off = (ratio - 1.0).abs();
    if off <= SPACING_DIFFERS || off <= SPACING_SIGMAS * sd {
        return None;
    }
    let sides = [
        (checked.outline.width_mm, plan.width_mm),
        (checked.outline.height_mm, plan.height_mm),
    ];
    let shares: Vec<f64> = sides
        .iter()
        .filter_map(|(measured, planned)| Some((*measured)?[0] / planned - 1.0))
        .collect();
    let cause = if shares.len() < sides.len() {
        "the sheet's size was not measured both ways, so whether it is the marks or the cards' print does not show: lay a rule on the cards' bars"
    } else if shares.iter().all(|share| share.abs() < off / 2.0) {
        "the sheet has its planned size, so it is the marks: were they set out with a worn or stretched rule, or another pitch?"
    } else if given.print_scale.is_none() {
        "the sheet's size is wrong by as much: the cards seem to be printed at another size; lay a rule on their bars and give both lengths with --bars"
    } else {
        "the sheet's size is wrong by as much: lay the rule on the cards' bars again"
    };
    let text = format!(
        "the marks stand {:.1} % of the plan's distances apart on the whole; {cause}",
        100.0 * ratio
    );
    let code = "spacing";
    Some((Weight::Note, Reason { code, text }))
}

type Pair = (Vector2<f64>, Vector2<f64>);

/// How much the second places of pairs are stretched over the first.
struct Stretch {
    middles: Pair,
    ratio: f64,
    sd: f64,
}

impl Stretch {
    /// `None`: too few, or too near to each other.
    fn of(pairs: &[Pair]) -> Option<Self> {
        if pairs.len() < MARKS {
            return None;
        }
        let n = pairs.len() as f64;
        let middles = pairs
            .iter()
            .fold((Vector2::zeros(), Vector2::zeros()), |(a, b), p| {
                (a + p.0 / n, b + p.1 / n)
            });
        let from_middle = |p: &Pair| (p.0 - middles.0, p.1 - middles.1);
        let local: Vec<Pair> = pairs.iter().map(from_middle).collect();
        let planned: f64 = local.iter().map(|(a, _)| a.norm_squared()).sum();
        let reach = local.iter().map(|(a, _)| a.norm()).fold(0.0, f64::max);
        if 2.0 * reach < STRETCH_MM {
            return None;
        }
        let ratio = local.iter().map(|(a, b)| a.dot(b)).sum::<f64>() / planned;
        let left: f64 = local
            .iter()
            .map(|(a, b)| (b - a * ratio).norm_squared())
            .sum();
        let sd = (left / (2.0 * n - 4.0) / planned).sqrt();
        Some(Self { middles, ratio, sd })
    }

    /// Those pairs that fit about as the median does, and the others.
    fn split(&self, pairs: &[Pair]) -> (Vec<Pair>, Vec<Pair>) {
        let miss =
            |(a, b): &Pair| ((b - self.middles.1) - (a - self.middles.0) * self.ratio).norm();
        let mut all: Vec<f64> = pairs.iter().map(miss).collect();
        all.sort_by(f64::total_cmp);
        let usual = all[all.len() / 2];
        pairs.iter().partition(|p| miss(p) < FAR * usual)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::survey::PrintScale;

    #[test]
    fn a_mark_paired_with_its_neighbours_hole_does_not_hide_the_scale() {
        let mut pairs: Vec<Pair> = (0..12)
            .map(|i| {
                (
                    Vector2::new(20.0 * f64::from(i), 10.0),
                    Vector2::new(20.4 * f64::from(i), 10.0),
                )
            })
            .collect();
        pairs[11].1.x -= 20.0;
        let first = Stretch::of(&pairs).unwrap();
        let (near, far) = first.split(&pairs);
        assert_eq!(far.len(), 1);
        assert!((Stretch::of(&near).unwrap().ratio - 1.02).abs() < 1e-9);
        assert!((first.ratio - 1.02).abs() > 0.01);
    }

    #[test]
    fn bars_that_no_printer_makes_are_told() {
        let of = |across, down| {
            bars(
                &Given {
                    print_scale: PrintScale::from_bars([across, down]).ok(),
                    ..Given::default()
                },
                None,
            )
        };
        assert!(of(100.0, 100.0).is_none());
        assert!(of(99.7, 100.1).is_none());
        let (weight, told) = of(97.0, 100.0).unwrap();
        assert_eq!(weight, Weight::Blocks);
        assert!(told.text.contains("97.0 % across"), "{}", told.text);
        // The photo shows the same stretch, so the rule was read right; another, or none for sure, and it was not.
        let given = Given {
            print_scale: PrintScale::from_bars([97.0, 100.0]).ok(),
            ..Given::default()
        };
        assert!(bars(&given, Some([0.9702, 0.0003])).is_none());
        assert!(bars(&given, Some([0.985, 0.0003])).is_some());
        assert!(bars(&given, Some([0.97, 0.0008])).is_some());
    }
}
