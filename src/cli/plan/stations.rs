//! `punchready plan stations`.

use std::fmt::Write as _;
use std::path::Path;

use punchready::draw;
use punchready::plan::length::{MM_PER_INCH, show_planned};
use punchready::plan::stations::{Division, Table, share, show_error, tables};
use punchready::plan::{Plan, Units};
use punchready::report::words::plain;

use super::super::exit::{Failure, Status};
use super::super::out::{self, Output};
use super::args::StationsArgs;
use super::say;

/// How the first line of the CSV file begins.
const CSV_SIGN: &str = "table,datum,hole,shared";

/// Prints the tables of a plan.
pub(super) fn run(args: &StationsArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    let tables = tables(&plan);
    let to_stdout = args.csv.as_deref() == Some(Path::new("-"));
    if let Some(path) = args.csv.as_deref().filter(|_| !to_stdout) {
        let place = Output {
            flag: "--csv",
            path,
            sign: CSV_SIGN,
        };
        out::check_places(&[place], &[&args.plan], args.force)?;
        draw::write(path, csv(&tables).as_bytes()).map_err(|e| Failure::advised(&e))?;
    }
    out::print(&if to_stdout {
        csv(&tables)
    } else {
        text(&plan, &tables)
    })?;
    Ok(Status::Done)
}

fn text(plan: &Plan, tables: &[Table]) -> String {
    let mut out = String::new();
    let unit = match plan.units {
        Units::Inch => "inches",
        Units::Millimetre => "mm",
    };
    let _ = writeln!(out, "{}", plain(&plan.title));
    say(
        &mut out,
        "",
        &format!(
            "Mark every hole from the datum named, never from the hole before. \"off\" is what rounding to the \
             division does, in {unit}: + lies too far from the datum."
        ),
    );
    for table in tables {
        let _ = writeln!(out);
        let place = if table.place.is_empty() {
            String::new()
        } else {
            format!(" {}", table.place)
        };
        say(
            &mut out,
            "",
            &format!("{}{}", plain(&table.title), plain(&place)),
        );
        say(&mut out, "  ", &format!("from {}:", plain(&table.datum)));
        let longest = table.lines.iter().map(|l| l.hole.chars().count()).max();
        // Room for the brackets round a shared hole, and for the title.
        let names = longest.unwrap_or(0).max(4) + 2;
        let _ = writeln!(
            out,
            "  {:<names$}  {:>9}  {:>9} {:>8}  {:>9} {:>8}  {:>9}",
            "hole", "inches", "1/64 in", "off", "1/32 in", "off", "mm"
        );
        for line in &table.lines {
            let name = if line.shared {
                format!("({})", plain(&line.hole))
            } else {
                plain(&line.hole)
            };
            let [(fine, fine_off), (coarse, coarse_off)] =
                [Division::Sixtyfourth, Division::ThirtySecond].map(|d| d.round(line.station_mm));
            let _ = writeln!(
                out,
                "  {name:<names$}  {:>9.4}  {fine:>9} {:>8}  {coarse:>9} {:>8}  {:>9.2}",
                line.station_mm / MM_PER_INCH,
                show_error(fine_off, plan.units),
                show_error(coarse_off, plan.units),
                line.station_mm
            );
        }
        if table.lines.iter().any(|l| l.shared) {
            say(
                &mut out,
                "  ",
                "( ): this hole is marked with another row, or drilled already.",
            );
        }
        for division in [
            Division::Sixtyfourth,
            Division::ThirtySecond,
            Division::HalfMillimetre,
        ] {
            let worst = table.worst(division);
            let mut line = format!(
                "rounding to {}: at most {}, {}",
                division.name(),
                show_worst(worst, plan.units),
                share(worst, plan.tolerance_mm)
            );
            if let Some(advice) = table.advice(division, plan) {
                let _ = write!(line, "; better: {advice}");
            }
            say(&mut out, "  ", &plain(&line));
        }
    }
    let _ = writeln!(out);
    let tolerance = show_planned(plan.tolerance_mm, plan.units);
    say(
        &mut out,
        "",
        &format!(
            "The tolerance is {tolerance} round each hole. The hand and the rule take their share too."
        ),
    );
    out
}

fn show_worst(mm: f64, units: Units) -> String {
    match units {
        Units::Inch => format!("{:.4} in", mm / MM_PER_INCH),
        Units::Millimetre => format!("{mm:.3} mm"),
    }
}

/// One line for each hole; errors are rounded less exact.
fn csv(tables: &[Table]) -> String {
    let mut out = String::from(
        "table,datum,hole,shared,inches,mm,nearest_64th_in,error_64th_mm,nearest_32nd_in,error_32nd_mm\n",
    );
    for table in tables {
        for line in &table.lines {
            let (fine, fine_off) = Division::Sixtyfourth.round(line.station_mm);
            let (coarse, coarse_off) = Division::ThirtySecond.round(line.station_mm);
            // Names have no comma and no quote; titles and data are this program's words round names.
            let _ = writeln!(
                out,
                "\"{}\",\"{}\",{},{},{:.6},{:.5},{fine},{fine_off:.5},{coarse},{coarse_off:.5}",
                table.title,
                table.datum,
                line.hole,
                line.shared,
                line.station_mm / MM_PER_INCH,
                line.station_mm
            );
        }
    }
    out
}
