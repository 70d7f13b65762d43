//! Several photos of one piece, each measured by itself, read as one.
//!
//! What photos of one camera share (the print of the cards, the lens) is not known here, so nothing gains
//! certainty by being seen twice: of two measurements of a mark the better one counts, with its own covariance.

use nalgebra::Vector2;

use crate::check::Checked;
use crate::frame::{Cov2, Point, Sheet};
use crate::ink::{Ink, Mark, Seen, Unsure};
use crate::plan::Plan;

/// Two photos show the same mark within this distance, whatever their uncertainty says, mm: less than the
/// two marks of a double hole are apart.
const SAME_MM: f64 = 0.5;
/// Standard deviations within which two measurements of one mark agree.
const SAME_SD: f64 = 3.0;
/// No mark lies further than this from where a photo shows it, mm.
const FURTHEST_MM: f64 = 1.5;
/// Half the largest mark, mm.
const MARK_RADIUS_MM: f64 = 1.0;

/// What is said where two photos tell different things of a mark.
const ODDS: &str = "one photo shows a mark here, another shows none";
const CROSSED: &str = "crossed out in one photo and not in another";

/// The ink of a piece from all its photos that could be measured, which are at least one.
pub(super) fn join(views: &[&Checked], plan: &Plan) -> Ink {
    let size_mm = [plan.width_mm, plan.height_mm];
    let seen = Seen::of(size_mm, |at| views.iter().any(|v| v.ink.seen.sees(at)));
    let mut ink = Ink {
        marks: Vec::new(),
        lines: best(views).map_or_else(Vec::new, |v| v.ink.lines.clone()),
        unsure: Vec::new(),
        seen,
    };
    for group in groups(views) {
        settle(&group, views, plan, &mut ink);
    }
    for (v, view) in views.iter().enumerate() {
        for unsure in &view.ink.unsure {
            if !settled(unsure, v, views, plan) && !known(unsure, &ink.unsure) {
                ink.unsure.push(unsure.clone());
            }
        }
    }
    ink.marks
        .sort_by(|a, b| a.at.x.total_cmp(&b.at.x).then(a.at.y.total_cmp(&b.at.y)));
    ink
}

/// The photo that shows the sheet largest.
pub(super) fn best<'c>(views: &[&'c Checked]) -> Option<&'c Checked> {
    let scale = |v: &Checked| v.survey().map_or(f64::INFINITY, |s| s.mm_per_px);
    views
        .iter()
        .copied()
        .min_by(|a, b| scale(a).total_cmp(&scale(b)))
}

/// One mark as each photo shows it: the number of the photo, and the mark.
type Group<'c> = Vec<(usize, &'c Mark)>;

fn groups<'c>(views: &[&'c Checked]) -> Vec<Group<'c>> {
    let mut groups: Vec<Group> = Vec::new();
    for (v, view) in views.iter().enumerate() {
        for mark in &view.ink.marks {
            let near = groups
                .iter_mut()
                .filter(|g| g.iter().all(|(of, _)| *of != v))
                .filter(|g| g.iter().any(|(_, m)| same(m, mark)))
                .min_by(|a, b| {
                    let away = |g: &Group| g[0].1.at.distance(mark.at);
                    away(a).total_cmp(&away(b))
                });
            match near {
                Some(group) => group.push((v, mark)),
                None => groups.push(vec![(v, mark)]),
            }
        }
    }
    groups
}

fn same(a: &Mark, b: &Mark) -> bool {
    let d: Vector2<f64> = a.at - b.at;
    let sum: Cov2 = a.cov + b.cov;
    let by_sd = sum
        .try_inverse()
        .is_some_and(|w| d.dot(&(w * d)) <= SAME_SD * SAME_SD);
    d.norm() <= SAME_MM || (by_sd && d.norm() <= FURTHEST_MM)
}

/// Puts the mark of a group where it belongs: among the marks, or with what could not be named.
fn settle(group: &Group, views: &[&Checked], plan: &Plan, ink: &mut Ink) {
    let Some((_, best)) = group
        .iter()
        .min_by(|a, b| a.1.cov.trace().total_cmp(&b.1.cov.trace()))
    else {
        return;
    };
    let mut mark = (*best).clone();
    mark.ringed = group.iter().any(|(_, m)| m.ringed);
    let crossed = group.iter().filter(|(_, m)| m.crossed_out).count();
    let unsure = |why| Unsure {
        at: mark.at,
        cov: mark.cov,
        size_mm: mark.size_mm,
        why,
    };
    if crossed != 0 && crossed != group.len() {
        ink.unsure.push(unsure(CROSSED));
        return;
    }
    // A mark that another photo shows the bare face of may be a glint. At a hole's place it counts: marks are
    // missed more often than made up, and the doubt is the student's.
    let denied = views.iter().enumerate().any(|(v, view)| {
        group.iter().all(|(of, _)| *of != v)
            && bare(view, mark.at, mark.size_mm.max(2.0 * MARK_RADIUS_MM))
    });
    if denied && !at_hole(plan, mark.at, plan.tolerance_mm + MARK_RADIUS_MM) {
        ink.unsure.push(unsure(ODDS));
        return;
    }
    ink.marks.push(mark);
}

/// Whether a photo surely shows nothing within `reach_mm` of a place.
fn bare(view: &Checked, at: Point<Sheet>, reach_mm: f64) -> bool {
    let near = |p: Point<Sheet>| p.distance(at) <= reach_mm;
    view.ink.seen.sees(at)
        && !view.ink.marks.iter().any(|m| near(m.at))
        && !view
            .ink
            .unsure
            .iter()
            .any(|u| u.at.distance(at) <= reach_mm + u.size_mm / 2.0)
}

fn at_hole(plan: &Plan, at: Point<Sheet>, reach_mm: f64) -> bool {
    plan.holes.iter().any(|h| h.at.distance(at) <= reach_mm)
}

/// Whether ink that photo `of` could not name is settled by another: named there, or, away from all holes,
/// seen to be nothing. At a hole's place it stays: the hole must not read as missing because of it.
fn settled(unsure: &Unsure, of: usize, views: &[&Checked], plan: &Plan) -> bool {
    let reach = MARK_RADIUS_MM + unsure.size_mm / 2.0;
    let elsewhere = || views.iter().enumerate().filter(|(v, _)| *v != of);
    let named = elsewhere().any(|(_, view)| {
        let near = |p: Point<Sheet>| p.distance(unsure.at) <= reach;
        view.ink.marks.iter().any(|m| near(m.at))
            && !view
                .ink
                .unsure
                .iter()
                .any(|u| u.at.distance(unsure.at) <= reach)
    });
    let nothing = || {
        elsewhere().any(|(_, view)| bare(view, unsure.at, reach))
            && !at_hole(plan, unsure.at, plan.tolerance_mm + reach)
    };
    named || nothing()
}

/// Whether another photo's unnamed ink at this place is told already.
fn known(unsure: &Unsure, told: &[Unsure]) -> bool {
    told.iter()
        .any(|t| t.at.distance(unsure.at) <= (t.size_mm + unsure.size_mm) / 2.0)
}
