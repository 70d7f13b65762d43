//! Published layout figures, in rivet diameters, with the place each comes from and how it was verified.

/// The document a figure is from: a rule set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Book {
    /// FAA Advisory Circular 43.13-1B (8 Sep 1998, Change 1 of 27 Sep 2001).
    Circular,
    /// FAA-H-8083-31, Aviation Maintenance Technician Handbook - Airframe (2012), volume 1.
    Handbook,
    /// U.S. Navy NAVEDTRA 14018, Aviation Structural Mechanic (H & S) 3 & 2.
    Navy,
    /// U.S. Army TM 10-5410-229-13&P.
    Army,
}

/// All of them.
pub const BOOKS: [Book; 4] = [Book::Circular, Book::Handbook, Book::Navy, Book::Army];

/// What a figure limits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Least distance of a hole from an edge.
    EdgeLeast,
    /// Greatest distance of the outer row from its edge.
    EdgeMost,
    /// Edge distance to be aimed at.
    EdgeAdvised,
    /// Least distance between neighbours of a row.
    PitchLeast,
    /// Greatest distance between neighbours of a row.
    PitchMost,
    /// Pitch that is seldom gone below.
    PitchUsualLow,
    /// Pitch that is seldom gone beyond.
    PitchUsualHigh,
    /// Least distance between rows.
    TransverseLeast,
    /// Rivet diameter over sheet thickness, about.
    DiameterToThickness,
}

/// Which rivet heads a figure is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heads {
    /// Both.
    Any,
    /// Protruding ones.
    Protruding,
    /// Flush ones.
    Flush,
}

/// Which layouts a figure is for, by number of rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rows {
    /// All.
    Any,
    /// One row.
    One,
    /// Two rows.
    Two,
    /// One or three rows.
    OneOrThree,
    /// Two rows or more.
    TwoUp,
    /// Three rows or more.
    ThreeUp,
}

impl Rows {
    /// Whether a layout of `n` rows is meant.
    #[must_use]
    pub const fn holds(self, n: usize) -> bool {
        match self {
            Self::Any => true,
            Self::One => n == 1,
            Self::Two => n == 2,
            Self::OneOrThree => n == 1 || n == 3,
            Self::TwoUp => n >= 2,
            Self::ThreeUp => n >= 3,
        }
    }
}

/// How well a figure is known to stand in its document.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Status {
    /// Read in a copy of the document.
    Verified,
    /// Remembered from the document, and read in an independent text.
    Secondary,
    /// Follows from a worked example that was read in a copy.
    Derived,
    /// Remembered only: it never judges a plan, and is never cited as "per".
    Memory,
}

/// One published figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rule {
    /// Its name in the reference data of this project.
    pub id: &'static str,
    /// What it limits.
    pub kind: Kind,
    /// The limit in rivet diameters (for [`Kind::DiameterToThickness`], in sheet thicknesses).
    pub multiple: f64,
    /// Heads it is for.
    pub heads: Heads,
    /// Layouts it is for.
    pub rows: Rows,
    /// The document.
    pub book: Book,
    /// Document, paragraph and page.
    pub source: &'static str,
    /// How well it is known.
    pub status: Status,
}

impl Rule {
    /// The limit for a rivet of this diameter (or a sheet of this thickness), mm.
    #[must_use]
    pub fn limit_mm(&self, of_mm: f64) -> f64 {
        self.multiple * of_mm
    }
}

const fn rule(
    id: &'static str,
    kind: Kind,
    multiple: f64,
    (heads, rows): (Heads, Rows),
    (book, source): (Book, &'static str),
    status: Status,
) -> Rule {
    Rule {
        id,
        kind,
        multiple,
        heads,
        rows,
        book,
        source,
        status,
    }
}

/// Every figure, in the order of the documents.
pub const RULES: [Rule; 28] = [
    rule(
        "ac-edge-min-single",
        Kind::EdgeLeast,
        2.0,
        (Heads::Any, Rows::One),
        (Book::Circular, "FAA AC 43.13-1B, par 4-57c(1), p 4-17"),
        Status::Secondary,
    ),
    rule(
        "ac-pitch-min-single",
        Kind::PitchLeast,
        3.0,
        (Heads::Any, Rows::One),
        (Book::Circular, "FAA AC 43.13-1B, par 4-57c(1), p 4-17"),
        Status::Secondary,
    ),
    rule(
        "ac-edge-min-double",
        Kind::EdgeLeast,
        2.0,
        (Heads::Protruding, Rows::Two),
        (
            Book::Circular,
            "FAA AC 43.13-1B, par 4-57c(2), figure 4-5(A)",
        ),
        Status::Memory,
    ),
    rule(
        "ac-pitch-min-double",
        Kind::PitchLeast,
        4.0,
        (Heads::Protruding, Rows::Two),
        (
            Book::Circular,
            "FAA AC 43.13-1B, figure 4-5(A), confirmed by the par 4-58g example",
        ),
        Status::Derived,
    ),
    rule(
        "ac-pitch-min-triple",
        Kind::PitchLeast,
        3.0,
        (Heads::Protruding, Rows::ThreeUp),
        (Book::Circular, "FAA AC 43.13-1B, figure 4-5"),
        Status::Memory,
    ),
    rule(
        "ac-dia-about-3t",
        Kind::DiameterToThickness,
        3.0,
        (Heads::Any, Rows::Any),
        (Book::Circular, "FAA AC 43.13-1B, par 4-58g(2)(a), p 4-27"),
        Status::Verified,
    ),
    rule(
        "faa-edge-min-universal",
        Kind::EdgeLeast,
        2.0,
        (Heads::Protruding, Rows::Any),
        (
            Book::Handbook,
            "FAA-H-8083-31 Vol 1 ch 4, 'Edge Distance', fig 4-84",
        ),
        Status::Secondary,
    ),
    rule(
        "faa-edge-min-flush",
        Kind::EdgeLeast,
        2.5,
        (Heads::Flush, Rows::Any),
        (
            Book::Handbook,
            "FAA-H-8083-31 Vol 1 ch 4, 'Edge Distance', fig 4-84",
        ),
        Status::Secondary,
    ),
    rule(
        "faa-edge-recommended",
        Kind::EdgeAdvised,
        2.5,
        (Heads::Any, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Edge Distance'"),
        Status::Secondary,
    ),
    rule(
        "faa-edge-max",
        Kind::EdgeMost,
        4.0,
        (Heads::Any, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Edge Distance'"),
        Status::Secondary,
    ),
    rule(
        "faa-pitch-min",
        Kind::PitchLeast,
        3.0,
        (Heads::Any, Rows::OneOrThree),
        (
            Book::Handbook,
            "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch', fig 4-85",
        ),
        Status::Secondary,
    ),
    rule(
        "faa-pitch-min-two-row",
        Kind::PitchLeast,
        4.0,
        (Heads::Any, Rows::Two),
        (
            Book::Handbook,
            "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch', fig 4-85",
        ),
        Status::Memory,
    ),
    rule(
        "faa-pitch-usual-low",
        Kind::PitchUsualLow,
        4.0,
        (Heads::Any, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch'"),
        Status::Memory,
    ),
    rule(
        "faa-pitch-usual-high",
        Kind::PitchUsualHigh,
        6.0,
        (Heads::Any, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch'"),
        Status::Memory,
    ),
    rule(
        "faa-pitch-max",
        Kind::PitchMost,
        10.0,
        (Heads::Any, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Pitch'"),
        Status::Secondary,
    ),
    rule(
        "faa-spacing-min-protruding",
        Kind::PitchLeast,
        3.5,
        (Heads::Protruding, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Spacing'"),
        Status::Memory,
    ),
    rule(
        "faa-spacing-min-flush",
        Kind::PitchLeast,
        4.0,
        (Heads::Flush, Rows::Any),
        (Book::Handbook, "FAA-H-8083-31 Vol 1 ch 4, 'Rivet Spacing'"),
        Status::Memory,
    ),
    rule(
        "faa-transverse-min",
        Kind::TransverseLeast,
        2.5,
        (Heads::Any, Rows::Any),
        (
            Book::Handbook,
            "FAA-H-8083-31 Vol 1 ch 4, 'Transverse Pitch'",
        ),
        Status::Secondary,
    ),
    rule(
        "navy-pitch-min",
        Kind::PitchLeast,
        3.0,
        (Heads::Any, Rows::Any),
        (
            Book::Navy,
            "NAVEDTRA 14018, ch 13, 'Spacing and Edge Distance'",
        ),
        Status::Verified,
    ),
    rule(
        "navy-pitch-usual-low",
        Kind::PitchUsualLow,
        4.0,
        (Heads::Any, Rows::Any),
        (
            Book::Navy,
            "NAVEDTRA 14018, ch 13, 'Spacing and Edge Distance'",
        ),
        Status::Verified,
    ),
    rule(
        "navy-pitch-usual-high",
        Kind::PitchUsualHigh,
        8.0,
        (Heads::Any, Rows::Any),
        (
            Book::Navy,
            "NAVEDTRA 14018, ch 13, 'Spacing and Edge Distance'",
        ),
        Status::Verified,
    ),
    rule(
        "navy-transverse-min",
        Kind::TransverseLeast,
        2.5,
        (Heads::Any, Rows::TwoUp),
        (Book::Navy, "NAVEDTRA 14018, ch 13, 'Transverse Pitch'"),
        Status::Secondary,
    ),
    rule(
        "navy-edge-min",
        Kind::EdgeLeast,
        2.0,
        (Heads::Protruding, Rows::Any),
        (Book::Navy, "NAVEDTRA 14018, ch 13, 'Edge Distance'"),
        Status::Secondary,
    ),
    rule(
        "navy-edge-max",
        Kind::EdgeMost,
        4.0,
        (Heads::Protruding, Rows::Any),
        (Book::Navy, "NAVEDTRA 14018, ch 13, 'Edge Distance'"),
        Status::Memory,
    ),
    rule(
        "navy-edge-min-flush",
        Kind::EdgeLeast,
        2.5,
        (Heads::Flush, Rows::Any),
        (Book::Navy, "NAVEDTRA 14018, ch 13, 'Edge Distance'"),
        Status::Secondary,
    ),
    rule(
        "army-edge-min",
        Kind::EdgeLeast,
        2.0,
        (Heads::Any, Rows::Any),
        (Book::Army, "TM 10-5410-229-13&P par 5-6(3)(b), p 5-4"),
        Status::Verified,
    ),
    rule(
        "army-pitch-min",
        Kind::PitchLeast,
        3.0,
        (Heads::Any, Rows::Any),
        (Book::Army, "TM 10-5410-229-13&P par 5-6(3)(b), p 5-4"),
        Status::Verified,
    ),
    rule(
        "army-transverse-min",
        Kind::TransverseLeast,
        2.5,
        (Heads::Any, Rows::Any),
        (Book::Army, "TM 10-5410-229-13&P par 5-6(3)(b), p 5-4"),
        Status::Verified,
    ),
];
