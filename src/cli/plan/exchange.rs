//! `punchready plan import` and `export`.

use std::path::Path;

use punchready::draw;
use punchready::exchange::{self, DxfChoice, ExchangeError, LARGEST_FILE};
use punchready::file;
use punchready::plan;
use punchready::report::words::{count, plain};

use super::super::exit::{Failure, Status};
use super::super::out::{self, Output};
use super::args::{ExportArgs, ImportArgs};
use super::say;

/// Largest circle that is a hole unless the user says otherwise, mm: 1/2 in and a little.
const LARGEST_HOLE_MM: f64 = 13.0;
/// How far a mark may be from its place where neither file nor user says it, mm: 1/32 in.
const TOLERANCE_MM: f64 = 0.8;
/// Kinds of things told of a file at most, of each list: a drawing may have as many layers as it likes.
const MOST_TOLD: usize = 20;

/// Makes a plan from a CSV or DXF file.
pub(super) fn import(args: &ImportArgs) -> Result<Status, Failure> {
    let name = args.file.display().to_string();
    let failed = |e: exchange::ExchangeError| Failure::advised(&format!("{name}: {e}"));
    let is_drawing = ending(&args.file).as_deref() == Some("dxf");
    let for_drawings = [
        ("--layer", !args.layer.is_empty()),
        ("--outline", args.outline.is_some()),
        ("--origin", args.origin.is_some()),
    ];
    if let Some((flag, _)) = for_drawings.iter().find(|(_, given)| *given && !is_drawing) {
        return Err(Failure::new(
            format!("{flag}: {name} is no DXF file"),
            "leave it out; x and y of a list count from the sheet's lower left corner",
        ));
    }
    let found = match ending(&args.file).as_deref() {
        Some("csv" | "txt") => {
            exchange::from_csv(&bytes(&args.file)?, args.units.map(Into::into)).map_err(failed)?
        }
        Some("dxf") => {
            let choice = DxfChoice {
                units: args.units.map(Into::into),
                layers: args.layer.clone(),
                outline: args.outline.clone(),
                largest_mm: args.largest.unwrap_or(LARGEST_HOLE_MM),
                sheet_mm: args.sheet,
                origin_mm: args.origin,
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
    let size = args.sheet.or(found.sheet_mm).ok_or_else(|| {
        let hint = if is_drawing {
            "say it, and where its lower left corner is: --sheet 12in,8.5in --origin 0in,0in"
        } else {
            "say it: --sheet 12in,8.5in"
        };
        Failure::new(format!("{name}: does not show the size of the sheet"), hint)
    })?;
    let title = args.file.file_stem().unwrap_or_default().to_string_lossy();
    let tolerance = args.tolerance.or(found.tolerance_mm);
    let text = exchange::plan_text(&found, &title, size, tolerance.unwrap_or(TOLERANCE_MM));
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
            out::name(&args.out),
            count(found.holes.len(), "hole", "holes"),
            plain(&name)
        ),
    );
    for (title, lines) in [
        ("Look at this first", &found.warnings),
        ("Taken", &found.taken),
        ("Left out", &found.left_out),
    ] {
        if !lines.is_empty() {
            say(&mut told, "", title);
        }
        for line in lines.iter().take(MOST_TOLD) {
            say(&mut told, "  - ", &plain(line));
        }
        if lines.len() > MOST_TOLD {
            let more = format!("and {} more kinds", lines.len() - MOST_TOLD);
            say(&mut told, "  - ", &more);
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

/// Writes a plan's holes.
pub(super) fn export(args: &ExportArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    let (sign, bytes) = match ending(&args.out).as_deref() {
        Some("csv") => ("name,row,x_", exchange::to_csv(&plan).into_bytes()),
        Some("dxf") => (
            exchange::DXF_SIGN,
            exchange::to_dxf(&plan).map_err(|e| Failure::advised(&e))?,
        ),
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
    let place = Output {
        flag: "--out",
        path: &args.out,
        sign,
    };
    out::check_places(&[place], &[&args.plan], args.force)?;
    draw::write(&args.out, &bytes).map_err(|e| Failure::advised(&e))?;
    let is_list = ending(&args.out).as_deref() == Some("csv");
    let drilled = match (plan.drilled.len(), is_list) {
        (0, _) => String::new(),
        (n, false) => format!(", and {n} drilled already, on a layer of their own"),
        (n, true) => format!("; {n} drilled already left out: a list of holes to mark"),
    };
    let not_held = if is_list {
        "a list has neither the sheet's size nor tolerance and rivet"
    } else {
        "what rows say of themselves (edge distance, pitch) is not in it, only their holes"
    };
    out::print(&format!(
        "{}: {}{drilled}\n{not_held}\n",
        out::name(&args.out),
        count(plan.holes.len(), "hole", "holes")
    ))?;
    Ok(Status::Done)
}

fn ending(path: &Path) -> Option<String> {
    path.extension().map(|e| e.to_string_lossy().to_lowercase())
}

/// The file's bytes.
fn bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let failed = |e: std::io::Error| {
        Failure::new(
            format!("{}: cannot be read: {e}", path.display()),
            "check the name and that you may read it",
        )
    };
    file::read(path, LARGEST_FILE)
        .map_err(failed)?
        .ok_or_else(|| {
            Failure::advised(&format!("{}: {}", path.display(), ExchangeError::TooLarge))
        })
}
