//! `punchready plan sheet`.

use std::path::PathBuf;

use punchready::card::print::Paper;
use punchready::drafting;
use punchready::draw;
use punchready::report::words::count;

use super::super::exit::{Failure, Status};
use super::super::out::{self, Output};
use super::args::SheetArgs;

/// Draws a plan into a file.
pub(super) fn run(args: &SheetArgs) -> Result<Status, Failure> {
    let plan = super::read(&args.plan)?;
    let kind = if args.template { "template" } else { "drawing" };
    let path = args.out.clone().unwrap_or_else(|| {
        let stem = args.plan.file_stem().unwrap_or_default().to_string_lossy();
        PathBuf::from(format!("{stem}-{kind}.pdf"))
    });
    let place = Output {
        flag: "--out",
        path: &path,
        sign: out::SIGN,
    };
    out::check_places(&[place], &[&args.plan], args.force)?;
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    let paper = Paper::from(args.paper);
    let told = |e: draw::DrawError| Failure::advised(&e);
    let (bytes, pages) = match (ending.as_deref(), args.template) {
        (Some("svg"), false) => (drafting::drawing(&plan, paper).into_bytes(), 1),
        (Some("svg"), true) => (drafting::template_svg(&plan).into_bytes(), 1),
        (Some("pdf"), template) => {
            let pages = if template {
                drafting::template(&plan, paper).map_err(|e| Failure::advised(&e))?
            } else {
                vec![drafting::drawing(&plan, paper)]
            };
            (draw::pdf(&plan.title, &pages).map_err(told)?, pages.len())
        }
        _ => {
            return Err(Failure::new(
                format!("--out {}: its ending says no kind of file", path.display()),
                "name a file that ends in .pdf or .svg",
            ));
        }
    };
    draw::write(&path, &bytes).map_err(told)?;
    let next = if args.template {
        "Print at 100 % (actual size) and lay a steel rule on both 100 mm bars before you use it."
    } else {
        "A drawing to scale: mark from its figures, never by measuring the print."
    };
    out::print(&format!(
        "{}: {kind}, {}\n{next}\n",
        out::name(&path),
        count(pages, "page", "pages")
    ))?;
    Ok(Status::Done)
}
