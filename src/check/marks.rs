//! Two marks as datum: for sheets whose edges are no datum, or are not in the photo.
//!
//! The face is read twice: in a frame of its own, to find which two marks stand as the plan's two datum marks do and
//! have the most of its other marks where they belong; then in the frame that these two fix.

use nalgebra::{Matrix2, Vector2};

use super::{
    Checked, Edged, Given, Measured, budget, edges, merge, plumb, reason, sharp, stage, together,
};
use crate::frame::{Cov2, Pixel, Point, Sheet};
use crate::ink::{self, Ink, view, worked};
use crate::plan::Plan;
use crate::sheet::Outline;
use crate::survey::{LineId, SheetDatum, SheetFrame, StraightLine, Survey};
use crate::verdict::Reason;

/// Fewest holes with a mark in place, the two of the datum counted: two marks alone fit anywhere.
const FEWEST: usize = 3;
/// A mark's own uncertainty, mm: never less.
const LEAST_OWN_MM: f64 = 0.02;

/// From cards to ink, measured from the marks of the holes `names`; on the way out early, the reason.
pub(super) fn measure(
    shots: &[together::Shot],
    plan: &Plan,
    given: &Given,
    names: &[String; 2],
    checked: &mut Checked,
    done: &mut dyn FnMut(&'static str),
) -> Result<(), Reason> {
    let [shot] = shots else {
        return Err(reason(
            "datum-marks",
            "the plan takes its datum from two marks: that is done from one photo, which must show both; give one photo",
        ));
    };
    let photo = shot.photo;
    let sharp = together::sharp(shots, &checked.found);
    done("blur");
    let together = together::by_cards(shots, &checked.found, sharp)?;
    done("survey");
    let (width, height) = photo.grey.dimensions();
    let size_mm = [plan.width_mm, plan.height_mm];
    let cards = checked.found[0].cards.clone();
    checked.warn_of_print(given);
    // The edges help the survey where they are seen; the datum does not need them.
    let upright = Given {
        datum_corner: None,
        ..given.clone()
    };
    let edged = Edged::of(shots, plan, &upright, checked, done, &together)
        .ok()
        .filter(|e| e.sides.shows(LineId(0)) && e.sides.shows(LineId(3)));
    let by_edges = edged.is_some();
    let (mut survey, first, whole) = if let Some(edged) = &edged {
        checked.warn_of_bench(plan, given, &together, &edged.beside);
        (edged.survey.clone(), edges::datum(size_mm, 0), size_mm)
    } else {
        let (datum, whole) = own_frame(&together.survey, [width, height]).ok_or_else(|| {
            reason(
                "no-datum",
                "the photo shows the face at too steep an angle to be read",
            )
        })?;
        (together.survey.clone(), datum, whole)
    };
    let told = |e: &dyn std::fmt::Display| reason("no-datum", e);
    let (seen, shown) = {
        let frame = survey.sheet_frame(&first, 0).map_err(|e| told(&e))?;
        let outline = outline(&survey, &frame, by_edges);
        let (ink, flat, axes) = ink::read(
            &photo.grey,
            photo.colour.get(),
            &frame,
            &outline,
            &cards,
            whole,
            &[],
        );
        // Datum marks may be punched or drilled by now.
        let found = worked::read(&flat, &frame, &ink, Some(&[]));
        let ink = worked::put_in(ink, found);
        done("ink");
        let pair = find(plan, names, &ink)?;
        let pixel = |(at, cov): (Point<Sheet>, Cov2)| in_photo(&frame, at, cov);
        let marks = ink.marks.iter().map(|m| (m.at, m.cov));
        let shown = plumb::Shown {
            marks: marks.filter_map(pixel).collect(),
            axes,
        };
        let [Some(a), Some(b)] = pair.map(pixel) else {
            return Err(reason(
                "no-datum",
                "the datum marks lie at the edge of the photo: take it again with them further in",
            ));
        };
        ([a, b], shown)
    };
    let planned = names.each_ref().map(|n| plan.hole(n).map(|h| h.at));
    let [Some(a), Some(b)] = planned else {
        return Err(reason(
            "no-datum",
            "the plan has no hole of a datum mark's name",
        ));
    };
    let datum = SheetDatum::Marks {
        seen,
        planned: [a, b],
    };
    // What the lens does where no card lies the ruled lines may show, now that they are known.
    let with_lines = |lines: &[StraightLine]| match &edged {
        Some(edged) => edged
            .surveyed(shots, (plan, given), &checked.found, &together, lines)
            .ok(),
        None => together.with_lines(shots, &checked.found, lines),
    };
    if let Some(settled) = plumb::settle(&survey, &datum, &shown, with_lines) {
        survey = settled.survey;
        for bowed in &settled.bowed {
            checked.note("bowed-line", bowed.said(plan.units));
        }
    }
    done("survey");
    let frame = survey.sheet_frame(&datum, 0).map_err(|e| told(&e))?;
    let outline = outline(&survey, &frame, by_edges);
    let planned = vec![plan.holes.iter().map(|h| h.at).collect()];
    let (mut ink, flat, _) = ink::read(
        &photo.grey,
        photo.colour.get(),
        &frame,
        &outline,
        &cards,
        size_mm,
        &planned,
    );
    sharp::leave_out_blurred(&mut ink, &photo.grey, &cards, &frame);
    let ink = stage::with_worked(plan, given.stage, (&flat, &frame), ink);
    done("ink");
    let gap = frame.marks_gap_mm.unwrap_or_default();
    let frames = [frame];
    let merged = merge::merge(&frames, vec![ink], std::slice::from_ref(&shot.name), plan)?;
    checked.shares = budget::shares(&merged, &frames);
    drop(frames);
    let [a, b] = names;
    checked.note(
        "datum-marks",
        format!(
            "all places are measured from the marks {a} and {b}, as the plan says, not from the sheet's edges; they stand {} {} apart than planned, which shows at {b}",
            crate::report::words::both(gap.abs(), plan.units),
            if gap < 0.0 { "less" } else { "further" }
        ),
    );
    checked.outline = outline;
    checked.ink = merged.ink;
    for l in &survey.left_out {
        checked.note("card-left-out", format!("card {}: {}", l.number, l.reason));
    }
    checked.measured = Some(Measured {
        survey,
        datum,
        kept: together.kept,
        shown: merged.shown,
    });
    Ok(())
}

fn outline(survey: &Survey, frame: &SheetFrame, seen: bool) -> Outline {
    if seen {
        edges::outline(survey, frame, 0)
    } else {
        Outline::default()
    }
}

/// A frame for a face whose edges are not seen: x along the photo's rows at its middle, the whole photo in it; and
/// how far it reaches, mm.
fn own_frame(survey: &Survey, [width, height]: [u32; 2]) -> Option<(SheetDatum, [f64; 2])> {
    let at = |x: f64, y: f64| Point::<Pixel>::new(x * f64::from(width), y * f64::from(height));
    let seen = [at(0.35, 0.5), at(0.65, 0.5)];
    let on_face = |p| survey.face_from_pixel(p);
    let (a, b) = (on_face(seen[0])?, on_face(seen[1])?);
    let along = (b - a).normalize();
    let across = Vector2::new(-along.y, along.x);
    let (mut low, mut high) = (
        Vector2::repeat(f64::INFINITY),
        Vector2::repeat(f64::NEG_INFINITY),
    );
    for corner in [at(0.0, 0.0), at(1.0, 0.0), at(0.0, 1.0), at(1.0, 1.0)] {
        let v = on_face(corner)? - a;
        let p = Vector2::new(along.dot(&v), across.dot(&v));
        low = low.inf(&p);
        high = high.sup(&p);
    }
    let first = Point::at(-low);
    let datum = SheetDatum::Marks {
        seen: seen.map(|p| (p, Cov2::zeros())),
        planned: [first, first + Vector2::new((b - a).norm(), 0.0)],
    };
    let size = high - low;
    /// Further than this nothing can be read anyhow, mm.
    const LARGEST_MM: f64 = 3000.0;
    (size.max() < LARGEST_MM).then_some((datum, [size.x, size.y]))
}

/// The marks that stand as the two datum marks of the plan do: their places and covariances in the frame of `ink`.
///
/// Of all pairs at the right distance that one is taken which has the most of the plan's holes with a mark within
/// tolerance; of two that are alike, as a plain row from both ends is, the one more upright in the frame.
fn find(plan: &Plan, names: &[String; 2], ink: &Ink) -> Result<[(Point<Sheet>, Cov2); 2], Reason> {
    let [a, b] = names;
    let refuse = |why: &str| {
        let text = format!(
            "the datum marks {a} and {b} could not be found among the marks of the photo: {why}"
        );
        Err(reason("no-datum", text))
    };
    let (Some(first), Some(second)) = (plan.hole(a), plan.hole(b)) else {
        return refuse("the plan has no such hole");
    };
    let live: Vec<(Point<Sheet>, Cov2)> = ink
        .marks
        .iter()
        .filter(|m| !m.crossed_out)
        .map(|m| (m.at, m.cov))
        .collect();
    let planned = second.at - first.at;
    let mut best: Vec<(usize, f64, [usize; 2])> = Vec::new();
    for (i, (p, _)) in live.iter().enumerate() {
        for (j, (q, _)) in live.iter().enumerate() {
            let way = *q - *p;
            if i == j || (way.norm() - planned.norm()).abs() > 2.0 * plan.tolerance_mm {
                continue;
            }
            let angle = way.y.atan2(way.x) - planned.y.atan2(planned.x);
            let (s, c) = angle.sin_cos();
            let turn = Matrix2::new(c, -s, s, c);
            let held = plan.holes.iter().filter(|h| {
                let at = *p + turn * (h.at - first.at);
                live.iter()
                    .any(|(m, _)| m.distance(at) <= plan.tolerance_mm)
            });
            best.push((held.count(), c, [i, j]));
        }
    }
    best.sort_by(|x, y| y.0.cmp(&x.0).then(y.1.total_cmp(&x.1)));
    let Some(&(held, upright, [i, j])) = best.first() else {
        return refuse("no two marks are as far apart as these two in the plan");
    };
    if held < FEWEST.min(plan.holes.len()) {
        return refuse(
            "no two marks at their distance have other marks of the plan where they belong",
        );
    }
    // Another pair that explains as much and lies the same way round says that either may be meant.
    let rival = best[1..].iter().find(|(n, c, pair)| {
        let elsewhere = live[pair[0]].0.distance(live[i].0) > plan.tolerance_mm;
        *n == held && (c - upright).abs() < 0.5 && elsewhere
    });
    if rival.is_some() {
        return refuse(
            "two pairs of marks would do; keep other work out of the photo, or measure from the edges",
        );
    }
    Ok([live[i], live[j]])
}

/// Where the photo shows a mark of the frame, and its own covariance there, px²: without what the frame adds.
fn in_photo(frame: &SheetFrame, at: Point<Sheet>, cov: Cov2) -> Option<(Point<Pixel>, Cov2)> {
    let pixel = frame.pixel_from_sheet(at)?;
    let (_, of_frame) = frame.point(pixel, Cov2::zeros())?;
    let own = (cov - of_frame).symmetric_eigen();
    let least = own.eigenvalues.map(|v| v.max(LEAST_OWN_MM * LEAST_OWN_MM));
    let own = own.eigenvectors * Matrix2::from_diagonal(&least) * own.eigenvectors.transpose();
    let by_mm = view::jacobian(frame, at)?;
    Some((pixel, by_mm * own * by_mm.transpose()))
}
