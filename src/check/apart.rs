//! Photos of one long piece that share no card: where each group of them shows an end of it, the length between the ends
//! joins them, and edges that run through all of them hold them straight.

use super::checked::Checked;
use super::together::{Shot, Together};
use super::{Edged, Given, Known, edges};
use crate::frame::{Card, Face, Rigid, Sheet};
use crate::plan::{Edge, Plan};
use crate::sheet;
use crate::survey::{SheetDatum, Survey, Tie};

/// The photos together with one of the groups that are apart; `None` where no group can be joined.
pub(super) fn joined(
    shots: &[Shot],
    (plan, given): (&Plan, &Given),
    checked: &mut Checked,
    done: &mut dyn FnMut(&'static str),
    (together, edged): (&Together, &Edged),
) -> Option<Together> {
    let here = Ended::of(edged, plan, given)?;
    for group in &together.apart {
        let found = checked.found.clone();
        let Some(other) = together.group(shots, &found, group) else {
            continue;
        };
        let Ok(other_edged) = Edged::of(shots, plan, given, checked, done, &other) else {
            continue;
        };
        let Some(there) = Ended::of(&other_edged, plan, given) else {
            continue;
        };
        let Some((a, b)) = first_card(&edged.survey).zip(first_card(&other_edged.survey)) else {
            continue;
        };
        let tie = Tie {
            cards: [a.0, b.0],
            first_from_second: a.1.inverse()
                * (here.face_from_sheet * there.face_from_sheet.inverse())
                * b.1,
        };
        let more = together.with(shots, &found, &other, tie);
        if more.is_some() {
            return more;
        }
    }
    None
}

/// A group that shows an end of the piece.
struct Ended {
    face_from_sheet: Rigid<Face, Sheet>,
}

impl Ended {
    /// `None` where the group shows no end, or shows the far one and nobody measured how far that is.
    fn of(edged: &Edged, plan: &Plan, given: &Given) -> Option<Self> {
        let mut size_mm = [plan.width_mm, plan.height_mm];
        // Along the longer side the piece is too long for one photo.
        let (base, [near, far], known) = if size_mm[0] >= size_mm[1] {
            (Edge::Bottom, [Edge::Left, Edge::Right], Known::SheetWidth)
        } else {
            (Edge::Left, [Edge::Bottom, Edge::Top], Known::SheetHeight)
        };
        let line = |edge| sheet::line_of(edge, edged.turns);
        let shows = |edge| edges::whole(&edged.survey, edge, edged.turns);
        let end = if shows(near) {
            near
        } else if shows(far) {
            let told = given.known.iter().find(|(name, _)| *name == known);
            size_mm[usize::from(known == Known::SheetHeight)] = told?.1;
            far
        } else {
            return None;
        };
        let datum = SheetDatum::Edges {
            base: (line(base), base),
            other: (line(end), end),
            size_mm,
        };
        let frame = edged.survey.sheet_frame(&datum, 0).ok()?;
        Some(Self {
            face_from_sheet: frame.face_from_sheet(),
        })
    }
}

/// A card of the survey, by photo and place in that photo's list, and how it lies.
fn first_card(survey: &Survey) -> Option<((usize, usize), Rigid<Face, Card>)> {
    let card = survey.cards.first()?;
    Some((*card.seen.first()?, card.face_from_card))
}
