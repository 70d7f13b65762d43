//! Plans to start from, one for each common case. Each reads as a plan, and none is under a published
//! figure.

/// A plan to start from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Starter {
    /// Its name on the command line.
    pub name: &'static str,
    /// What it is for.
    pub about: &'static str,
    /// The plan, with comments.
    pub text: &'static str,
}

/// All of them.
pub const STARTERS: [Starter; 6] = [
    Starter {
        name: "row",
        about: "one row along an edge",
        text: include_str!("row.toml"),
    },
    Starter {
        name: "two-rows",
        about: "a seam of two staggered rows",
        text: include_str!("two-rows.toml"),
    },
    Starter {
        name: "three-rows",
        about: "a seam of three rows",
        text: include_str!("three-rows.toml"),
    },
    Starter {
        name: "patch",
        about: "a rectangular patch, one row all round, corners shared",
        text: include_str!("patch.toml"),
    },
    Starter {
        name: "ring",
        about: "a bolt circle, as round an inspection hole",
        text: include_str!("ring.toml"),
    },
    Starter {
        name: "coupon",
        about: "a student's lap-joint coupon",
        text: include_str!("coupon.toml"),
    },
];

/// The starter of this name.
#[must_use]
pub fn named(name: &str) -> Option<&'static Starter> {
    STARTERS.iter().find(|s| s.name == name)
}
