//! What to do at the bench, in the order to do it.

use super::cause::{self, Slip};
use super::decision_rule::{Proof, judge};
use super::states::{Judged, expanded_offset};
use super::words::{names, nearest, offset_fine, place_near, planned_place, way};
use super::{HoleState, Reason, StrayState};
use crate::frame::{Point, Sheet};
use crate::ink::{Doubt, RuledLine};
use crate::plan::length::{show, show_fine, show_range};
use crate::plan::{Edge, Plan};
use crate::sheet::Outline;

/// What was found besides the marks, and helps to explain them.
pub(super) struct Found<'a> {
    pub(super) lines: &'a [RuledLine],
    pub(super) outline: &'a Outline,
}

/// One sentence for each thing to do, the gravest first.
pub(super) fn list(plan: &Plan, judged: &Judged, reasons: &[Reason], found: &Found) -> Vec<String> {
    let mut bench = Vec::new();
    counts(plan, judged, &mut bench);
    live_strays(plan, judged, &mut bench);
    doubles(plan, judged, &mut bench);
    rows(plan, judged, found, &mut bench);
    wrong_holes(plan, judged, &mut bench);
    unsure(plan, judged, &mut bench);
    close(plan, judged, reasons, &mut bench);
    unseen(plan, judged, &mut bench);
    if reasons.iter().any(|r| r.code == "face-unseen") {
        bench.push(
            "look over the parts of the face that the photo does not show, or take one more photo of them"
                .into(),
        );
    }
    bench
}

/// Strays to cross out: ringed ones each by itself, plain ones together where there are many.
fn live_strays(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    /// Each of so many is still told with its place.
    const EACH: usize = 8;
    let mut plain = Vec::new();
    for (s, (stray, at)) in judged.strays.iter().zip(&judged.stray_at).enumerate() {
        if stray.state != StrayState::Stray {
            continue;
        }
        if stray.ringed {
            let place = place_near(plan, stray.at);
            bench.push(format!(
                "RINGED extra mark {place}: it will be drilled as it stands; cross it out before anything else"
            ));
        } else if at.is_none() {
            plain.push(s);
        }
    }
    if plain.len() > EACH {
        bench.push(format!(
            "cross out {} extra marks, {}: the table of other marks gives the place of each",
            plain.len(),
            where_each(plan, judged, &plain)
        ));
        return;
    }
    for s in plain {
        let place = place_near(plan, judged.strays[s].at);
        bench.push(format!("extra mark {place}: cross it out"));
    }
}

fn doubles(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    for (h, hole) in judged.holes.iter().enumerate() {
        let (HoleState::Double, Some(found), Some(cov)) = (hole.state, hole.found, judged.covs[h])
        else {
            continue;
        };
        let others: Vec<String> = judged.seconds[h]
            .iter()
            .map(|&p| show(p.distance(found), plan.units))
            .collect();
        let offset = found - hole.planned;
        let keeps = judge(
            offset.norm(),
            expanded_offset(&cov, offset),
            plan.tolerance_mm,
        ) == Proof::Kept;
        let advice = if keeps {
            format!(
                "keep the one {} from its place and cross out the other, {} from it",
                show(offset.norm(), plan.units),
                others.join(" and ")
            )
        } else {
            format!(
                "cross out all of them and mark it again at {}",
                planned_place(plan, h)
            )
        };
        bench.push(format!(
            "{}: {} marks: {advice}",
            hole.name,
            others.len() + 1
        ));
    }
}

fn wrong_holes(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    for (h, hole) in judged.holes.iter().enumerate() {
        if let (HoleState::Off, Some(found)) = (hole.state, hole.found) {
            let ring = if hole.ringed { " (ringed)" } else { "" };
            let blind = if judged.seen[h] {
                ""
            } else {
                "; the photo does not show its planned place, look there first"
            };
            // A mark cannot be moved.
            let way = way(plan, hole.planned - found);
            bench.push(format!(
                "{}{ring}: cross it out and mark it again {way}{blind}",
                hole.name
            ));
        }
    }
    for (h, hole) in judged.holes.iter().enumerate() {
        if hole.state == HoleState::Cancelled {
            let place = planned_place(plan, h);
            bench.push(format!(
                "{}: its mark is crossed out: mark it again at {place}",
                hole.name
            ));
        }
    }
    for (h, hole) in judged.holes.iter().enumerate() {
        if hole.state == HoleState::Missing {
            bench.push(format!(
                "{}: mark it at {}",
                hole.name,
                planned_place(plan, h)
            ));
        }
    }
}

/// What to do where nothing could be measured; the reason says what is amiss.
pub(super) fn start_over() -> Vec<String> {
    vec![
        "fix the photo problem above, and check again: nothing on the sheet has been judged yet"
            .into(),
    ]
}

/// So many of a kind are told in one sentence: a list of 74 is not read.
const MANY: usize = 4;

/// Unclear marks, the same "why" together, in the order of the face.
fn unsure(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    let mut whys: Vec<(Option<Doubt>, Vec<usize>)> = Vec::new();
    for (s, stray) in judged.strays.iter().enumerate() {
        if stray.state == StrayState::Unsure {
            match whys.iter_mut().find(|(w, _)| *w == stray.why) {
                Some((_, places)) => places.push(s),
                None => whys.push((stray.why, vec![s])),
            }
        }
    }
    for (why, places) in whys {
        let place = match places[..] {
            [one] => match judged.stray_at[one] {
                Some(h) => format!("at {}", plan.holes[h].name),
                None => place_near(plan, judged.strays[one].at),
            },
            _ => format!(
                "in {} places, {}",
                places.len(),
                where_each(plan, judged, &places)
            ),
        };
        let (what, it, dirt) = match places.len() {
            1 => ("mark", "it", "it is dirt"),
            _ => ("marks", "each", "dirt"),
        };
        bench.push(if why == Some(Doubt::NotWorked) {
            format!(
                "not punched or drilled yet {place}, as far as the photo shows: do it, or take one more photo from nearer, with \
                 the lamp to one side"
            )
        } else {
            // Never "mark it again": it may be the mark.
            format!(
                "unclear {what} {place} ({}): look at {it}; wipe it off if {dirt}, else say what it is with --decide",
                why.map_or("ink of no known shape", Doubt::text)
            )
        });
    }
}

/// "at A1 to A4, and nearest to A7 and B2": strays by the holes they are at or nearest to; a few away from
/// holes are told to the tenth of a millimetre.
fn where_each(plan: &Plan, judged: &Judged, strays: &[usize]) -> String {
    let (at, away): (Vec<usize>, Vec<usize>) = strays
        .iter()
        .copied()
        .partition(|&s| judged.stray_at[s].is_some());
    let named = |mut holes: Vec<usize>| {
        holes.sort_unstable();
        holes.dedup();
        names(plan, &holes)
    };
    let mut parts = Vec::new();
    if !at.is_empty() {
        let holes = at.iter().filter_map(|&s| judged.stray_at[s]).collect();
        parts.push(format!("at {}", named(holes)));
    }
    if !away.is_empty() && away.len() < MANY {
        let told = away.iter().map(|&s| place_near(plan, judged.strays[s].at));
        parts.extend(told);
    } else if !away.is_empty() {
        let holes = away
            .iter()
            .filter_map(|&s| nearest(plan, judged.strays[s].at))
            .collect();
        parts.push(format!("nearest to {}", named(holes)));
    }
    parts.join("; ")
}

/// Holes that can be neither proven nor refuted: first what may settle them at the desk, then the rule.
fn close(plan: &Plan, judged: &Judged, reasons: &[Reason], bench: &mut Vec<String>) {
    let all: Vec<usize> = (0..judged.holes.len())
        .filter(|&h| judged.holes[h].state == HoleState::Close)
        .collect();
    if all.is_empty() {
        return;
    }
    let unsaid = |code| reasons.iter().any(|r| r.code == code);
    let bars = "what a steel rule shows on the two bars of a card (--bars)";
    let below = "how far the cards lie below the marked face (--card-below)";
    let say = match (unsaid(super::PRINT_UNSAID), unsaid(super::HEIGHT_UNSAID)) {
        (true, true) => Some(format!("{bars}, and {below}")),
        (true, false) => Some(bars.into()),
        (false, true) => Some(below.into()),
        (false, false) => None,
    };
    if let Some(say) = say {
        bench.push(format!(
            "first check again and give {say}: that may prove what is too close to call now, without a new photo"
        ));
    }
    // Those that look wrong are measured first.
    let (beyond, within): (Vec<usize>, Vec<usize>) = all.into_iter().partition(|&h| {
        let hole = &judged.holes[h];
        hole.found
            .is_some_and(|f| f.distance(hole.planned) > plan.tolerance_mm)
    });
    for holes in [beyond, within] {
        if holes.len() < MANY {
            bench.extend(holes.iter().map(|&h| measure(plan, judged, h)));
        } else {
            bench.push(measure_all(plan, judged, &holes));
        }
    }
}

fn measure(plan: &Plan, judged: &Judged, h: usize) -> String {
    let hole = &judged.holes[h];
    let told = match (hole.found, hole.uncertainty_mm) {
        (Some(found), Some(expanded)) => {
            let offset = found - hole.planned;
            format!(
                "{} from its place ({}), give or take {}; the plan allows {}",
                show_fine(offset.norm(), plan.units),
                offset_fine(plan, offset),
                show_fine(expanded, plan.units),
                show_fine(plan.tolerance_mm, plan.units)
            )
        }
        _ => NO_PLACE.into(),
    };
    format!("measure {} with a steel rule: {told}", hole.name)
}

const NO_PLACE: &str = "the photo does not give its place well enough";

fn measure_all(plan: &Plan, judged: &Judged, holes: &[usize]) -> String {
    let figures = holes.iter().filter_map(|&h| {
        let hole = &judged.holes[h];
        Some((hole.found?.distance(hole.planned), hole.uncertainty_mm?))
    });
    let (mut low, mut high) = ([f64::INFINITY; 2], [0.0_f64; 2]);
    let mut told = 0;
    for (distance, expanded) in figures {
        for (i, x) in [distance, expanded].into_iter().enumerate() {
            low[i] = low[i].min(x);
            high[i] = high[i].max(x);
        }
        told += 1;
    }
    let each = names(plan, holes);
    if told < holes.len() {
        return format!(
            "measure {each} with a steel rule: the photo does not give their places well enough"
        );
    }
    format!(
        "measure {each} with a steel rule: {} from their places, give or take {}; the plan allows {}",
        show_range(low[0], high[0], plan.units),
        show_range(low[1], high[1], plan.units),
        show_fine(plan.tolerance_mm, plan.units)
    )
}

fn unseen(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    let unseen: Vec<usize> = (0..judged.holes.len())
        .filter(|&h| judged.holes[h].state == HoleState::Unseen && !judged.seen[h])
        .collect();
    if !unseen.is_empty() {
        bench.push(format!(
            "look at {} by eye, or take one more photo: this one does not show {}",
            names(plan, &unseen),
            if unseen.len() == 1 { "it" } else { "them" }
        ));
    }
}

/// Rows with more marks than holes of which most are out: the plan's count may be the slip, and not the marks.
fn counts(plan: &Plan, judged: &Judged, bench: &mut Vec<String>) {
    for row in &plan.rows {
        let own: Vec<usize> = (0..plan.holes.len())
            .filter(|&h| plan.holes[h].row.as_deref() == Some(&row.name))
            .collect();
        let from_edge = |at: Point<Sheet>| match row.along {
            Edge::Bottom => at.y,
            Edge::Top => plan.height_mm - at.y,
            Edge::Left => at.x,
            Edge::Right => plan.width_mm - at.x,
        };
        let in_row = |s: &usize| {
            let stray = &judged.strays[*s];
            stray.state == StrayState::Stray
                && judged.stray_at[*s].is_none()
                && (from_edge(stray.at) - row.edge_distance_mm).abs() <= IN_ROW_MM
        };
        let extra = (0..judged.strays.len()).filter(in_row).count();
        let marked = own.iter().filter(|&&h| judged.holes[h].found.is_some());
        let out = own
            .iter()
            .filter(|&&h| judged.holes[h].state == HoleState::Off);
        let (marked, out) = (marked.count(), out.count());
        if extra > 0 && marked + extra > own.len() && 2 * out > own.len() {
            bench.push(format!(
                "{} marks for {} holes in row {}: is the plan's count right? Look at that before you cross anything out",
                marked + extra,
                own.len(),
                row.name
            ));
        }
    }
}

/// A mark so near to a row's line belongs to the row, mm: lines are ruled and marked to less, and rows lie further apart.
const IN_ROW_MM: f64 = 2.0;

/// One sentence for each row whose marks are all out in the same way; one for all that the scale explains.
fn rows(plan: &Plan, judged: &Judged, found: &Found, bench: &mut Vec<String>) {
    let mut scaled: Vec<(&str, f64)> = Vec::new();
    for row in &plan.rows {
        let marks = (&judged.holes[..], &judged.strays[..]);
        let Some((cause, names)) = cause::of_row(plan, row, marks, found.lines, found.outline)
        else {
            continue;
        };
        if let Slip::Scale(share) = cause.slip {
            scaled.push((&row.name, share));
            continue;
        }
        bench.push(cause.sentence(&row.name, &names, plan.units));
    }
    if !scaled.is_empty() {
        bench.push(cause::print_sentence(&scaled));
    }
}
