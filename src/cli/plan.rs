//! `punchready plan`.

use std::fmt::Write as _;
use std::path::Path;

use punchready::plan::length::show_planned;
use punchready::plan::{self, Edge, Head, Plan, PlanError};
use punchready::report::words::{count, percent, plain};

use super::exit::{Failure, Status};
use super::out;

/// Reads a plan and says what it holds.
pub(crate) fn check(path: &Path) -> Result<Status, Failure> {
    out::print(&describe(&read(path)?))?;
    Ok(Status::Done)
}

/// Reads a plan; of a file that is not there or is none, says where to get one to start from.
pub(super) fn read(path: &Path) -> Result<Plan, Failure> {
    plan::read(path).map_err(|e| match e {
        PlanError::Unreadable { .. } => Failure::new(
            e.to_string(),
            "check the name and that you may read it; punchready demo DIR writes a plan to start from",
        ),
        _ => Failure::told(&e),
    })
}

fn describe(plan: &Plan) -> String {
    let length = |mm| show_planned(mm, plan.units);
    let mut out = String::new();
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(out, "{}", plain(&plan.title));
    let _ = write!(
        out,
        "  sheet      {} wide, {} high",
        length(plan.width_mm),
        length(plan.height_mm)
    );
    if let Some(mm) = plan.thickness_mm {
        let _ = write!(out, ", {} thick", length(mm));
    }
    let _ = writeln!(out);
    if let Some(mm) = plan.rivet_mm {
        let head = match plan.head {
            Some(Head::Protruding) => ", protruding head",
            Some(Head::Countersunk) => ", countersunk head",
            None => "",
        };
        let _ = writeln!(out, "  rivet      {}{head}", length(mm));
    }
    let _ = writeln!(
        out,
        "  tolerance  {} round each hole",
        length(plan.tolerance_mm)
    );
    let _ = writeln!(
        out,
        "  seen       {} of the face or more, to be ready",
        percent(plan.seen_fraction)
    );
    if let Some([a, b]) = &plan.datum {
        let _ = writeln!(out, "  datum      holes {} and {}", plain(a), plain(b));
    }
    for row in &plan.rows {
        let edge = match row.along {
            Edge::Bottom => "bottom",
            Edge::Right => "right",
            Edge::Top => "top",
            Edge::Left => "left",
        };
        let _ = write!(
            out,
            "  row {}: {} along the {edge} edge, {} from it",
            plain(&row.name),
            count(row.stations_mm.len(), "hole", "holes"),
            length(row.edge_distance_mm),
        );
        if let [first, .., last] = row.stations_mm[..] {
            let _ = write!(
                out,
                ",\n         from {} to {}",
                length(first),
                length(last)
            );
        }
        let _ = writeln!(out);
    }
    for hole in plan.holes.iter().filter(|h| h.row.is_none()) {
        let _ = writeln!(
            out,
            "  hole {}: x {}, y {}",
            plain(&hole.name),
            length(hole.at.x),
            length(hole.at.y)
        );
    }
    let _ = writeln!(out, "  {} in all", count(plan.holes.len(), "hole", "holes"));
    out
}
