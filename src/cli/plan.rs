//! `punchready plan`.

use std::path::Path;

use punchready::plan::length::show_planned;
use punchready::plan::{self, Edge, Head, Plan, PlanError};
use punchready::report::text::paragraph;
use punchready::report::words::{count, percent, plain};

use super::exit::{Failure, Status};
use super::out;

/// Reads a plan and says what it holds.
pub(crate) fn check(path: &Path) -> Result<Status, Failure> {
    out::print(&describe(&read(path)?, out::columns()))?;
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

fn describe(plan: &Plan, width: usize) -> String {
    let length = |mm| show_planned(mm, plan.units);
    let mut out = paragraph("", &plan.title, width);
    let mut tell = |what: &str, text: String| {
        out.push_str(&paragraph(&format!("  {what}"), &text, width));
    };
    let mut sheet = format!(
        "{} wide, {} high",
        length(plan.width_mm),
        length(plan.height_mm)
    );
    if let Some(mm) = plan.thickness_mm {
        sheet.push_str(&format!(", {} thick", length(mm)));
    }
    tell("sheet      ", sheet);
    if let Some(mm) = plan.rivet_mm {
        let head = match plan.head {
            Some(Head::Protruding) => ", protruding head",
            Some(Head::Countersunk) => ", countersunk head",
            None => "",
        };
        tell("rivet      ", format!("{}{head}", length(mm)));
    }
    let tolerance = format!("{} round each hole", length(plan.tolerance_mm));
    tell("tolerance  ", tolerance);
    let seen = percent(plan.seen_fraction);
    tell(
        "seen       ",
        format!("{seen} of the face or more, to be ready"),
    );
    if let Some([a, b]) = &plan.datum {
        tell("datum      ", format!("holes {a} and {b}"));
    }
    for row in &plan.rows {
        let edge = match row.along {
            Edge::Bottom => "bottom",
            Edge::Right => "right",
            Edge::Top => "top",
            Edge::Left => "left",
        };
        let mut text = format!(
            "{} along the {edge} edge, {} from it",
            count(row.stations_mm.len(), "hole", "holes"),
            length(row.edge_distance_mm),
        );
        if let [first, .., last] = row.stations_mm[..] {
            text.push_str(&format!(", from {} to {}", length(first), length(last)));
        }
        tell(&format!("row {}: ", short(&row.name)), text);
    }
    for hole in plan.holes.iter().filter(|h| h.row.is_none()) {
        let text = format!("x {}, y {}", length(hole.at.x), length(hole.at.y));
        tell(&format!("hole {}: ", short(&hole.name)), text);
    }
    tell(
        "",
        format!("{} in all", count(plan.holes.len(), "hole", "holes")),
    );
    out
}

/// A name as the lead of a paragraph: a long one would leave no room for what is said of it.
fn short(name: &str) -> String {
    const LONGEST: usize = 16;
    let name = plain(name);
    if name.chars().count() <= LONGEST {
        return name;
    }
    let start: String = name.chars().take(LONGEST).collect();
    start + "..."
}
