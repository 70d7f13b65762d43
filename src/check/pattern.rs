//! A sheet of which no end shows: one edge gives direction and distance from it, and along it the marks themselves are
//! laid on the plan. That shows whether they are right to each other, not where they lie on the sheet.

use nalgebra::Vector2;

use super::{Edged, reason};
use crate::frame::{Point, Sheet};
use crate::ink::Ink;
use crate::plan::{Edge, Plan};
use crate::sheet::{self, Sides};
use crate::survey::{LineId, SheetDatum, Survey};
use crate::verdict::{Reason, Weight};

/// The line that stands for the edge that no photo shows: after all that photos do.
const PLACED: LineId = LineId(u32::MAX);
/// Marks laid on the plan tell nothing of where they lie on the sheet: a rule that slipped moves all of them. So much, mm,
/// standard deviation, is beyond any tolerance, and no hole can be called right or wrong by it.
const UNKNOWN_MM: f64 = 2.0;
/// The edge that is made up for is square to the other as sheets are cut, rad.
const SQUARE_RAD: f64 = 0.002;
/// Fewest marks that are laid on the plan.
const FEWEST: usize = 5;

/// Where the end that does not show is put.
#[derive(Debug, Clone, Copy)]
pub(super) struct Placed {
    /// The edge that does not show.
    missing: Edge,
    /// The one that does and meets it.
    base: Edge,
    /// How far along the base the missing edge lies from where it was first put, mm.
    along_mm: f64,
}

/// What has to be made up for when the plan is turned by `turns`; `None` where both edges of the datum show, or neither.
pub(super) fn missing(sides: &Sides, turns: u32) -> Option<Placed> {
    let shows = |edge| sides.shows(sheet::line_of(edge, turns));
    let [missing, base] = match (shows(Edge::Left), shows(Edge::Bottom)) {
        (false, true) => [Edge::Left, Edge::Bottom],
        (true, false) => [Edge::Bottom, Edge::Left],
        _ => return None,
    };
    Some(Placed {
        missing,
        base,
        along_mm: 0.0,
    })
}

impl Placed {
    /// The survey with the missing edge in it, and the datum of both.
    pub(super) fn put_in(
        self,
        survey: &mut Survey,
        sides: &Sides,
        size_mm: [f64; 2],
        turns: u32,
    ) -> SheetDatum {
        // The corners go round from the lower left as the sheet was first taken to lie.
        let corner = |i: u32| sides.corners[((i + turns) % 4) as usize].vec();
        let (along, across) = match self.missing {
            Edge::Left => (corner(1) - corner(0), corner(3) - corner(0)),
            _ => (corner(3) - corner(0), corner(1) - corner(0)),
        };
        let middle = corner(0) + along.normalize() * self.along_mm + across / 2.0;
        survey.place_line(
            PLACED,
            Point::at(middle),
            across.normalize(),
            [UNKNOWN_MM, SQUARE_RAD],
        );
        SheetDatum::Edges {
            base: (sheet::line_of(self.base, turns), self.base),
            other: (PLACED, self.missing),
            size_mm,
        }
    }

    /// Moves the missing edge to where most marks fit the plan along the base; how many do.
    fn fitted(&mut self, plan: &Plan, ink: &Ink, turned: bool) -> usize {
        let place = |p: Point<Sheet>| {
            if turned {
                Vector2::new(plan.width_mm - p.x, plan.height_mm - p.y)
            } else {
                p.vec()
            }
        };
        let marks: Vec<Vector2<f64>> = ink
            .marks
            .iter()
            .filter(|m| !m.crossed_out)
            .map(|m| place(m.at))
            .collect();
        let axis = usize::from(self.missing == Edge::Bottom);
        let near = plan.tolerance_mm;
        let mut shifts: Vec<f64> = Vec::new();
        for m in &marks {
            for h in &plan.holes {
                let off = m - h.at.vec();
                if off[1 - axis].abs() < 2.0 * near {
                    shifts.push(off[axis]);
                }
            }
        }
        shifts.sort_by(f64::total_cmp);
        // Of equal ones the first: the nearest to where the edge was put would be no better a guess.
        let count = |from: usize| {
            let upto = shifts[from] + near;
            shifts[from..].iter().take_while(|s| **s <= upto).count()
        };
        let best = (0..shifts.len()).max_by_key(|&i| (count(i), shifts.len() - i));
        let Some(best) = best else { return 0 };
        let n = count(best);
        let middle = shifts[best + n / 2];
        self.along_mm += middle;
        n
    }
}

/// Lays the marks that were read in the frame of `edged.placed` on the plan, the one way round or the other. A finding that
/// says so; it blocks, as where the marks lie on the sheet is not shown.
pub(super) fn lay(edged: &mut Edged, plan: &Plan, ink: &Ink) -> Result<(Weight, Reason), Reason> {
    let turns = edged.turns;
    let other = (turns + 2) % 4;
    let mut ways: Vec<(usize, u32, Placed)> = Vec::new();
    if let Some(mut placed) = edged.placed {
        ways.push((placed.fitted(plan, ink, false), turns, placed));
        // The other way round the opposite edges are the plan's.
        if let Some(opposite) = missing(&edged.sides, other).filter(|p| p.missing == placed.missing)
        {
            let mut turned = opposite;
            ways.push((turned.fitted(plan, ink, true), other, turned));
        }
    }
    ways.sort_by_key(|w| std::cmp::Reverse(w.0));
    let Some(&(held, turns, placed)) = ways.first().filter(|w| w.0 >= FEWEST) else {
        return Err(reason(
            "no-datum",
            "only one edge that the places are measured from shows, and too few marks fit the plan to lay them on it; let a photo show the corner from which the plan measures, with some bench round it, or name two datum marks in the plan",
        ));
    };
    edged.turns = turns;
    edged.placed = Some(placed);
    let edge = match placed.missing {
        Edge::Bottom => "bottom",
        _ => "left",
    };
    let text = format!(
        "the {edge} edge does not show, so where the marks lie along the other is not shown; laid on the plan as they fit best, {held} of {} lie within tolerance of it: measure one mark's distance from the {edge} edge with a steel rule, or take one more photo that shows that edge and a card",
        plan.holes.len()
    );
    Ok((Weight::Blocks, reason("pattern-only", text)))
}
