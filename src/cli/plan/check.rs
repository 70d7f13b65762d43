//! `punchready plan check`.

use std::fmt::Write as _;

use punchready::plan::drill;
use punchready::plan::length::show_planned;
use punchready::plan::rules::{self, AUTHORITY, Gravity, Layout, Review, Status as Standing};
use punchready::plan::{Head, Path, Plan, Run};
use punchready::report::words::{count, percent, plain};

use super::super::exit::{Failure, Status};
use super::super::out;
use super::args::CheckArgs;
use super::say;

/// Reads a plan, says what it holds, and holds it against published figures.
pub(super) fn run(args: &CheckArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    let review = rules::review(&plan, args.rules.books());
    out::print(&format!("{}{}", describe(&plan), judge(&plan, &review)))?;
    let under = review.findings.iter().any(|f| f.gravity == Gravity::Under);
    Ok(if args.strict && under {
        Status::NotReady
    } else {
        Status::Done
    })
}

/// The table of distances, and what is found against published figures.
fn judge(plan: &Plan, review: &Review) -> String {
    let mut out = String::new();
    let Some(d) = review.rivet_mm else {
        say(&mut out, "", "");
        say(
            &mut out,
            "",
            "No rivet diameter in the plan, so distances are not held against handbook figures: add [rivet] \
             with diameter = \"1/8\".",
        );
        say(&mut out, "", AUTHORITY);
        return out;
    };
    let head = match plan.head {
        Some(Head::Protruding) => "protruding heads",
        Some(Head::Countersunk) => "countersunk heads",
        None => "head not said, taken as protruding",
    };
    say(&mut out, "", "");
    say(
        &mut out,
        "",
        &format!(
            "Distances in rivet diameters (D = {}, {head})",
            show_planned(d, plan.units)
        ),
    );
    if !review.layouts.is_empty() {
        for line in table(&review.layouts, d) {
            // Laid out already; wrapping would take the blanks out.
            let _ = writeln!(out, "  {line}");
        }
    }
    say(&mut out, "", "");
    if review.findings.is_empty() {
        say(
            &mut out,
            "",
            "Nothing is under or over the handbook figures that were looked up.",
        );
    }
    let groups = [
        (
            Gravity::Under,
            "Under a published least value, or in each other's way",
        ),
        (Gravity::Beyond, "Over a published or usual greatest value"),
        (Gravity::Advice, "Worth a look"),
        (
            Gravity::Recalled,
            "Under a value that is remembered only: look it up",
        ),
    ];
    for (gravity, title) in groups {
        let mut findings = review
            .findings
            .iter()
            .filter(|f| f.gravity == gravity)
            .peekable();
        if findings.peek().is_some() {
            say(&mut out, "", title);
            for finding in findings {
                say(&mut out, "  - ", &ended(&plain(&finding.sentence())));
            }
        }
    }
    say(&mut out, "", AUTHORITY);
    out
}

/// A full stop, unless the sentence has its end.
fn ended(sentence: &str) -> String {
    let stop = if sentence.ends_with('?') { "" } else { "." };
    format!("{sentence}{stop}")
}

/// The table of distances, line by line.
fn table(layouts: &[Layout], d: f64) -> Vec<String> {
    let in_d = |mm: f64| format!("{:.2}", mm / d);
    let pair = |p: [f64; 2]| {
        let [a, b] = p.map(in_d);
        if a == b { a } else { format!("{a} to {b}") }
    };
    let dash = || "-".to_string();
    let mut cells: Vec<[String; 6]> =
        vec![["Row", "Rows in seam", "Edge", "Ends", "Pitch", "Next row"].map(String::from)];
    for l in layouts {
        cells.push([
            plain(&l.name),
            l.seam_rows.to_string(),
            l.edge_mm.map_or_else(dash, in_d),
            l.ends_mm
                .map_or_else(dash, |[a, b]| format!("{}, {}", in_d(a), in_d(b))),
            l.pitch_mm.map_or_else(dash, pair),
            l.transverse.as_ref().map_or_else(dash, |(mm, other)| {
                format!("{} to {}", in_d(*mm), plain(other))
            }),
        ]);
    }
    let widths: Vec<usize> = (0..6)
        .map(|i| {
            cells
                .iter()
                .map(|c| c[i].chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    cells
        .iter()
        .map(|row| {
            let line: Vec<String> = row
                .iter()
                .zip(&widths)
                .map(|(cell, w)| format!("{cell:<w$}"))
                .collect();
            line.join("  ").trim_end().to_string()
        })
        .collect()
}

/// What the lines above do not tell of a run: slanting rows, circles, stations shared and left out.
fn describe_run(plan: &Plan, run: &Run, out: &mut String) {
    let length = |mm| show_planned(mm, plan.units);
    let own = run.stops.iter().filter(|s| !s.shared).count();
    let name = plain(&run.name);
    match &run.path {
        Path::Circle {
            centre,
            radius_mm,
            whole,
        } => {
            let _ = writeln!(
                out,
                "  circle {name}: {} on {} of {},\n         round x {}, y {}",
                count(own, "hole", "holes"),
                if *whole { "a circle" } else { "an arc" },
                length(2.0 * radius_mm),
                length(centre.x),
                length(centre.y)
            );
        }
        Path::Line { .. } if !plan.rows.iter().any(|r| r.name == run.name) => {
            if let (Some(a), Some(b)) = (run.stops.first(), run.stops.last()) {
                let _ = writeln!(
                    out,
                    "  row {name}: {}, from x {}, y {}\n         to x {}, y {}",
                    count(own, "hole", "holes"),
                    length(a.at.x),
                    length(a.at.y),
                    length(b.at.x),
                    length(b.at.y)
                );
            }
        }
        Path::Line { .. } => {}
    }
    let shared: Vec<String> = run
        .stops
        .iter()
        .filter(|s| s.shared)
        .map(|s| plain(&s.hole))
        .collect();
    if !shared.is_empty() {
        let _ = writeln!(out, "         {name} shares {}", shared.join(", "));
    }
    if !run.skipped.is_empty() {
        let numbers: Vec<String> = run.skipped.iter().map(ToString::to_string).collect();
        let _ = writeln!(
            out,
            "         {name} leaves out station {}",
            numbers.join(", ")
        );
    }
}

fn describe(plan: &Plan) -> String {
    let length = |mm| show_planned(mm, plan.units);
    let mut out = String::new();
    // Writing to a string cannot fail, here and below.
    let _ = writeln!(out, "{}", plain(&plan.title));
    let thick = plan
        .thickness_mm
        .map_or_else(String::new, |mm| format!(", {} thick", length(mm)));
    let sheet = format!(
        "{} wide, {} high{thick}",
        length(plan.width_mm),
        length(plan.height_mm)
    );
    say(&mut out, "  sheet      ", &sheet);
    if let Some(mm) = plan.rivet_mm {
        let head = match plan.head {
            Some(Head::Protruding) => ", protruding head",
            Some(Head::Countersunk) => ", countersunk head",
            None => "",
        };
        let _ = writeln!(out, "  rivet      {}{head}", length(mm));
    }
    if let Some(drill) = &plan.drill {
        let _ = writeln!(
            out,
            "  drill      {} ({:.2} mm)",
            plain(&drill.name),
            drill.diameter_mm
        );
    } else if let Some(serves) = plan.rivet_mm.and_then(drill::for_rivet) {
        let drills = serves.drills.join(" or ");
        let told = match serves.status {
            Standing::Memory => "remembered, look it up",
            _ => "by the handbook",
        };
        let _ = writeln!(
            out,
            "  drill      not said; for this rivet {drills}, {told}"
        );
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
        let edge = row.along.name();
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
    for run in &plan.runs {
        describe_run(plan, run, &mut out);
    }
    let singles = plan.holes.iter().filter(|h| h.row.is_none());
    for (hole, drilled) in singles
        .map(|h| (h, ""))
        .chain(plan.drilled.iter().map(|h| (h, ", drilled already")))
    {
        let _ = writeln!(
            out,
            "  hole {}: x {}, y {}{drilled}",
            plain(&hole.name),
            length(hole.at.x),
            length(hole.at.y)
        );
    }
    let _ = writeln!(out, "  {} in all", count(plan.holes.len(), "hole", "holes"));
    out
}
