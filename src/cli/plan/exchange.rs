//! `punchready plan import` and `export`.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use punchready::draw;
use punchready::exchange::{self, DxfChoice, Imported, LARGEST_FILE};
use punchready::plan;
use punchready::report::words::{count, plain};

use super::super::exit::{Failure, Status};
use super::super::out;
use super::args::{ExportArgs, ImportArgs};
use super::say;

/// Largest circle that is a hole unless the user says otherwise, mm: 1/2 in and a little.
const LARGEST_HOLE_MM: f64 = 13.0;

/// Makes a plan from a CSV or DXF file.
pub(super) fn import(args: &ImportArgs) -> Result<Status, Failure> {
    let name = args.file.display().to_string();
    let failed = |e: exchange::ExchangeError| Failure::advised(&format!("{name}: {e}"));
    let found = match ending(&args.file).as_deref() {
        Some("csv" | "txt") => {
            exchange::from_csv(&bytes(&args.file)?, args.units.map(Into::into)).map_err(failed)?
        }
        Some("dxf") => {
            let choice = DxfChoice {
                units: args.units.map(Into::into),
                layers: args.layer.clone(),
                largest_mm: args.largest.unwrap_or(LARGEST_HOLE_MM),
            };
            exchange::from_dxf(&bytes(&args.file)?, &choice).map_err(failed)?
        }
        _ => {
            return Err(Failure::new(
                format!("{name}: its ending says no kind of file"),
                "name a .csv or .dxf file",
            ));
        }
    };
    let size = size(&found, args.sheet).ok_or_else(|| {
        Failure::new(
            format!("{name}: does not show the size of the sheet"),
            "say it: --sheet 12in,8.5in",
        )
    })?;
    let title = args.file.file_stem().unwrap_or_default().to_string_lossy();
    let text = exchange::plan_text(&found, &title, size, args.tolerance);
    // What is written must read as a plan.
    plan::parse(&text, &args.out).map_err(|e| {
        Failure::new(
            format!("{name}: what is in it makes no plan:\n{e}"),
            "nothing was written; lines are those of the plan it would be",
        )
    })?;
    super::new::new_file("--out", &args.out, text.as_bytes())?;
    let mut told = String::new();
    say(
        &mut told,
        "",
        &format!(
            "{}: {} from {}",
            args.out.display(),
            count(found.holes.len(), "hole", "holes"),
            plain(&name)
        ),
    );
    for (title, lines) in [("Taken", &found.taken), ("Left out", &found.left_out)] {
        if !lines.is_empty() {
            say(&mut told, "", title);
        }
        for line in lines {
            say(&mut told, "  - ", &plain(line));
        }
    }
    say(
        &mut told,
        "",
        "Compare it with the drawing before you mark from it: punchready plan check, plan sheet.",
    );
    out::print(&told)?;
    Ok(Status::Done)
}

/// The sheet's size: as the user says, else as the file shows.
fn size(found: &Imported, said: Option<[f64; 2]>) -> Option<[f64; 2]> {
    said.or(found.sheet_mm)
}

/// Writes a plan's holes.
pub(super) fn export(args: &ExportArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    out::check_places(&[("--out", &args.out)], &[&args.plan])?;
    let bytes = match ending(&args.out).as_deref() {
        Some("csv") => exchange::to_csv(&plan).into_bytes(),
        Some("dxf") => exchange::to_dxf(&plan).map_err(|e| Failure::advised(&e))?,
        _ => {
            return Err(Failure::new(
                format!(
                    "--out {}: its ending says no kind of file",
                    args.out.display()
                ),
                "name a file that ends in .csv or .dxf",
            ));
        }
    };
    draw::write(&args.out, &bytes).map_err(|e| Failure::told(&e))?;
    let drilled = match (plan.drilled.len(), ending(&args.out).as_deref()) {
        (0, _) => String::new(),
        (n, Some("dxf")) => format!(", and {n} drilled already, on a layer of their own"),
        (n, _) => format!("; {n} drilled already left out: a list of holes to mark"),
    };
    out::print(&format!(
        "{}: {}{drilled}\n",
        args.out.display(),
        count(plan.holes.len(), "hole", "holes")
    ))?;
    Ok(Status::Done)
}

fn ending(path: &Path) -> Option<String> {
    path.extension().map(|e| e.to_string_lossy().to_lowercase())
}

/// The file's bytes, one more than allowed at most: the reader then says that it is too large.
fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let failed = |e: std::io::Error| {
        Failure::new(
            format!("{}: cannot be read: {e}", path.display()),
            "check the name and that you may read it",
        )
    };
    let mut bytes = Vec::new();
    File::open(path)
        .and_then(|f| f.take(LARGEST_FILE + 1).read_to_end(&mut bytes))
        .map_err(failed)?;
    Ok(bytes)
}
