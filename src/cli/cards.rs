//! `punchready cards`.

use std::path::PathBuf;

use punchready::card::code;
use punchready::card::layout::{Layout, Shape};
use punchready::card::print::{self, Paper};

use super::args::{CardsArgs, ShapeName};
use super::exit::{Failure, Status};
use super::out::{self, Output};

/// Which cards to write, and where.
#[derive(Debug)]
pub(crate) struct Options {
    pdf: Option<PathBuf>,
    lens_page: bool,
    paper: Paper,
    shape: Shape,
    page_numbers: Vec<u16>,
    png: Option<PathBuf>,
    png_numbers: Vec<u16>,
    px_per_mm: u32,
}

impl Options {
    pub(crate) fn of(args: CardsArgs) -> Result<Self, Failure> {
        let asked = args.numbers.map(|n| n.0);
        let first = asked.iter().flatten().find_map(|&n| Layout::of(n));
        let shape = args
            .shape
            .map_or_else(|| first.map_or(Shape::Square, |l| l.shape), Shape::from);
        let page_numbers = asked.clone().unwrap_or_else(|| print::first_page(shape));
        let every = || {
            let wanted = args.shape.map(Shape::from);
            (1..=code::COUNT)
                .filter(|&n| wanted.is_none_or(|s| Layout::of(n).is_some_and(|l| l.shape == s)))
                .collect()
        };
        let own_name = || {
            if args.lens_page {
                return PathBuf::from(format!("punchready-lens-page-{}.pdf", name(args.paper)));
            }
            let shape = match shape {
                Shape::Square => ShapeName::Square,
                Shape::Strip => ShapeName::Strip,
            };
            PathBuf::from(format!(
                "punchready-cards-{}-{}.pdf",
                name(shape),
                name(args.paper)
            ))
        };
        let pdf = match (args.out, &args.png) {
            (Some(path), _) => Some(path),
            (None, None) => Some(own_name()),
            (None, Some(_)) => None,
        };
        let place = pdf.as_deref().map(|path| Output {
            flag: "--out",
            path,
            sign: out::SIGN,
        });
        out::check_places(place.as_slice(), &[], args.force)?;
        Ok(Self {
            pdf,
            lens_page: args.lens_page,
            paper: args.paper.into(),
            shape,
            page_numbers,
            png: args.png,
            png_numbers: asked.unwrap_or_else(every),
            px_per_mm: args.px_per_mm,
        })
    }
}

/// A choice as it is typed.
fn name(value: impl clap::ValueEnum) -> String {
    value
        .to_possible_value()
        .map_or_else(String::new, |v| v.get_name().to_owned())
}

/// Writes the cards and says what to do with them.
pub(crate) fn run(options: &Options) -> Result<Status, Failure> {
    if let (Some(path), true) = (&options.pdf, options.lens_page) {
        print::write_lens_page(options.paper, path).map_err(|e| Failure::advised(&e))?;
        out::print(&format!(
            "wrote {}: the lens page\n\
             next: print it at any size and do not cut it; tape it perfectly flat to glass or\n\
             a board; take 8 to 12 photos at 1x, most of them tilted by about 30 degrees, to\n\
             all sides; then run punchready lens PHOTO... --out my-phone.toml\n",
            out::name(path),
        ))?;
        return Ok(Status::Done);
    }
    if let Some(path) = &options.pdf {
        print::write_pdf(options.paper, options.shape, &options.page_numbers, path)
            .map_err(|e| Failure::advised(&e))?;
        let cards = options.page_numbers.len();
        out::print(&format!(
            "wrote {}: {cards} card{}\n\
             next: print it at 100 % (\"actual size\", no fitting to the page), lay a steel\n\
             rule on its two bars, and give what it shows to the check: --bars ACROSS,DOWN,\n\
             such as --bars 99.8mm,100.1mm\n",
            out::name(path),
            if cards == 1 { "" } else { "s" },
        ))?;
    }
    if let Some(dir) = &options.png {
        let written = print::write_pngs(dir, &options.png_numbers, options.px_per_mm)
            .map_err(|e| Failure::advised(&e))?;
        out::print(&format!(
            "wrote {}: {} PNG, {} pixels per mm, and cards.json with their sizes\n\
             next: print each at its outer size, lay a steel rule on its two bars, and give\n\
             what it shows to the check: --bars ACROSS,DOWN\n",
            out::name(dir),
            written.len().saturating_sub(1),
            options.px_per_mm,
        ))?;
    }
    Ok(Status::Done)
}
