//! The catalogue: what is done to the sheets, and what a report must say of it.

use punchready::frame::{Point, Sheet};

use super::base::{Base, Needs};
use super::{harmless, holes, lying, strays};

/// One thing that is wrong, and where.
#[derive(Debug, Clone)]
pub(crate) struct Trouble {
    /// Where it is.
    pub(crate) at: Point<Sheet>,
    /// How far from there a report may place it, mm.
    pub(crate) reach_mm: f64,
    /// Holes of which any that is not good tells it.
    pub(crate) holes: Vec<String>,
    /// Whether it is wrong with a hole, which then must not be good; else it is wrong with the open face.
    pub(crate) of_hole: bool,
}

impl Trouble {
    /// How far from a mark a report may place it, mm: a mark's own size and some.
    const REACH_MM: f64 = 1.5;

    /// Ink or a thing that no hole asked for.
    pub(crate) fn stray(at: Point<Sheet>) -> Self {
        Self {
            at,
            reach_mm: Self::REACH_MM,
            holes: Vec::new(),
            of_hole: false,
        }
    }

    /// A hole that must not be good.
    pub(crate) fn hole(name: &str, at: Point<Sheet>) -> Self {
        Self {
            holes: vec![name.to_owned()],
            of_hole: true,
            ..Self::stray(at)
        }
    }

    /// The same, told as well by a hole that is not good.
    pub(crate) fn or_hole(mut self, name: &str) -> Self {
        self.holes.push(name.to_owned());
        self
    }

    /// The same, of something this large.
    pub(crate) fn reaching(mut self, reach_mm: f64) -> Self {
        self.reach_mm = reach_mm.max(self.reach_mm);
        self
    }
}

/// One kind of sheet.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kind {
    /// Its name on the command line and in the table.
    pub(crate) name: &'static str,
    /// What it asks of the sheet.
    pub(crate) needs: Needs,
    /// Draws it, and says what is wrong; nothing for what is harmless.
    pub(crate) put: fn(&mut Base) -> Vec<Trouble>,
    /// Nothing is wrong with it.
    pub(crate) harmless: bool,
}

impl Kind {
    /// Trouble of this name.
    pub(crate) const fn wrong(
        name: &'static str,
        needs: Needs,
        put: fn(&mut Base) -> Vec<Trouble>,
    ) -> Self {
        Self {
            name,
            needs,
            put,
            harmless: false,
        }
    }

    /// Something harmless of this name.
    pub(crate) const fn harmless(
        name: &'static str,
        needs: Needs,
        put: fn(&mut Base) -> Vec<Trouble>,
    ) -> Self {
        Self {
            harmless: true,
            ..Self::wrong(name, needs, put)
        }
    }
}

/// All kinds; a kind's number, which seeds its sheets, is its place here: add at the end of a list's file only, and all
/// others after it are drawn anew.
pub(crate) fn all() -> Vec<Kind> {
    [
        &strays::KINDS[..],
        &holes::KINDS[..],
        &lying::KINDS[..],
        &harmless::KINDS[..],
    ]
    .concat()
}
