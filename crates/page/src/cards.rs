//! Cards to print: the command line's pages.

use punchready::card::layout::Shape;
use punchready::card::print::{self, Paper};
use punchready::draw;
use serde::Deserialize;
use serde_json::json;

use crate::{Answer, Refusal};

#[derive(Deserialize)]
pub(crate) struct Cards {
    paper: Paper,
    shape: Shape,
}

impl Cards {
    /// The page as PDF, and as SVG to look at.
    pub(crate) fn run(self) -> Answer {
        let numbers = print::first_page(self.shape);
        let pages =
            print::pages(self.paper, self.shape, &numbers).map_err(|e| Refusal::told(&e))?;
        // As the command line titles it.
        let pdf = draw::pdf("punchready scale cards", &pages).map_err(|e| Refusal::told(&e))?;
        let mut files = vec![pdf];
        files.extend(pages.into_iter().map(String::into_bytes));
        Ok((json!({"numbers": numbers}), files))
    }
}
