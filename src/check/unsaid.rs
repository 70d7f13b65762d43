//! What the user left unsaid, where that is most of what keeps holes from being proven.

use super::{Checked, Given, Measured};
use crate::frame::Cov2;
use crate::survey::{SheetDatum, SheetFrame, Survey};
use crate::verdict::decision_rule::COVERAGE_FACTOR;
use crate::verdict::{HEIGHT_UNSAID, HoleState, PRINT_UNSAID, Reason, Weight, direction_of_u};

/// From this share of a hole's variance on, what is unsaid is most of it.
const MOST: f64 = 0.5;

/// Notes on what to say, if it is most of the uncertainty of most close holes.
pub(super) fn findings(checked: &Checked, given: &Given) -> Vec<(Weight, Reason)> {
    let Some(Measured { survey, .. }) = &checked.measured else {
        return Vec::new();
    };
    let note = |code, text: &str| {
        let text = text.to_owned();
        (Weight::Note, Reason { code, text })
    };
    let print = note(
        PRINT_UNSAID,
        "much of U comes from the size of the cards' print, which was not measured (--bars)",
    );
    let height = note(
        HEIGHT_UNSAID,
        "much of U comes from how low the cards lie, which was not given (--card-below)",
    );
    let knowing_print = given.print_scale.is_none().then(|| survey.knowing_print());
    let knowing_height = given
        .card_below_mm
        .is_none()
        .then(|| survey.knowing_height());
    let gains = |sure: &Option<Survey>| sure.as_ref().is_some_and(|s| gains(checked, s));
    match (gains(&knowing_print), gains(&knowing_height)) {
        (true, _) => vec![print],
        (_, true) => vec![height],
        _ if gains(&knowing_print.map(|s| s.knowing_height())) && knowing_height.is_some() => {
            vec![print, height]
        }
        _ => Vec::new(),
    }
}

/// Whether most close holes would lose most of their variance in a survey that is as sure as `sure`.
fn gains(checked: &Checked, sure: &Survey) -> bool {
    let Some(Measured { survey, datum, .. }) = &checked.measured else {
        return false;
    };
    let (now, then) = (frames(survey, datum), frames(sure, datum));
    let mut close = 0;
    let mut gain = 0;
    for hole in &checked.verdict.holes {
        if hole.state != HoleState::Close {
            continue;
        }
        close += 1;
        let (Some(found), Some(expanded)) = (hole.found, hole.uncertainty_mm) else {
            continue;
        };
        // The mark's own share is the same in both, and falls out. Of several photos the surest counts.
        let covs = |frames: &[SheetFrame]| -> Vec<Cov2> {
            let in_view = |frame: &SheetFrame| {
                let pixel = frame.pixel_from_sheet(found)?;
                Some(frame.point(pixel, Cov2::zeros())?.1)
            };
            frames.iter().filter_map(in_view).collect()
        };
        // Along the direction in which U is told.
        let var = |covs: &[Cov2]| {
            let along = |cov: &Cov2| {
                let way = direction_of_u(cov, found - hole.planned)?;
                Some(way.dot(&(cov * way)))
            };
            covs.iter().filter_map(along).min_by(f64::total_cmp)
        };
        if let (Some(a), Some(b)) = (var(&covs(&now)), var(&covs(&then))) {
            let all = (expanded / COVERAGE_FACTOR).powi(2);
            gain += usize::from(a - b > MOST * all);
        }
    }
    close > 0 && 2 * gain > close
}

/// The sheet's frame in each photo.
fn frames<'s>(survey: &'s Survey, datum: &SheetDatum) -> Vec<SheetFrame<'s>> {
    (0..survey.model().views().len())
        .filter_map(|view| survey.sheet_frame(datum, view).ok())
        .collect()
}
