//! Cards to print: the command line's pages.

use punchready::card::layout::Shape;
use punchready::card::print::{self, Paper};
use punchready::draw;
use serde::Deserialize;
use serde_json::json;

use crate::{Answer, Refusal};

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum PaperName {
    A4,
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::Letter => Self::Letter,
        }
    }
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum ShapeName {
    Square,
    Strip,
}

#[derive(Deserialize)]
pub(crate) struct Cards {
    paper: PaperName,
    shape: ShapeName,
}

impl Cards {
    /// The page as PDF, and as SVG to look at.
    pub(crate) fn run(self) -> Answer {
        let shape = match self.shape {
            ShapeName::Square => Shape::Square,
            ShapeName::Strip => Shape::Strip,
        };
        let numbers = print::first_page(shape);
        let pages =
            print::pages(self.paper.into(), shape, &numbers).map_err(|e| Refusal::told(&e))?;
        // As the command line titles it.
        let pdf = draw::pdf("punchready scale cards", &pages).map_err(|e| Refusal::told(&e))?;
        let mut files = vec![pdf];
        files.extend(pages.into_iter().map(String::into_bytes));
        Ok((json!({"numbers": numbers}), files))
    }
}
