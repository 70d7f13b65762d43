//! The values of a rubric, and how each is read from TOML: with its own range, told where it is left.

use std::fmt;

use serde::Deserialize;
use serde::de::{self, Deserializer, SeqAccess, Visitor};

use crate::plan::{Units, length};

/// Heaviest item; more is a slip of the finger.
const HEAVIEST: f64 = 1000.0;
/// A limit beyond this is none, tolerances and mm.
const FURTHEST: f64 = 1000.0;

/// Which holes are to be ringed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Ringed {
    /// None.
    #[default]
    None,
    /// All.
    All,
    /// These.
    These(Vec<String>),
}

/// Points of an item: 0 or more.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Weight(pub f64);

/// A percentage, 0 to 100.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Percent(pub f64);

impl Percent {
    /// As a share of 1.
    #[must_use]
    pub fn share(self) -> f64 {
        self.0 / 100.0
    }
}

/// So many rivet diameters, more than 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Diameters(pub f64);

/// A distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reach {
    /// In tolerances of the plan.
    Tolerances(f64),
    /// In mm.
    Mm(f64),
}

impl Reach {
    /// In mm, for a plan of this tolerance.
    #[must_use]
    pub fn mm(self, tolerance_mm: f64) -> f64 {
        match self {
            Self::Tolerances(n) => n * tolerance_mm,
            Self::Mm(mm) => mm,
        }
    }
}

/// One band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Largest deviation.
    pub up_to: Reach,
    /// What it is worth, percent.
    pub percent: f64,
}

/// Bands, from the smallest deviation to the largest.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bands(pub Vec<Band>);

/// Numbers as TOML has them: with a point or without.
struct Number {
    expected: &'static str,
    range: [f64; 2],
}

impl Visitor<'_> for Number {
    type Value = f64;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.expected)
    }

    fn visit_i64<E: de::Error>(self, v: i64) -> Result<f64, E> {
        self.visit_f64(v as f64)
    }

    fn visit_f64<E: de::Error>(self, v: f64) -> Result<f64, E> {
        if v >= self.range[0] && v <= self.range[1] {
            return Ok(v);
        }
        Err(E::custom(format!("found {v}; expected {}", self.expected)))
    }
}

impl<'d> Deserialize<'d> for Weight {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let number = Number {
            expected: "points, a number from 0 to 1000",
            range: [0.0, HEAVIEST],
        };
        from.deserialize_any(number).map(Self)
    }
}

impl<'d> Deserialize<'d> for Percent {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let number = Number {
            expected: "percent, a number from 0 to 100",
            range: [0.0, 100.0],
        };
        from.deserialize_any(number).map(Self)
    }
}

impl<'d> Deserialize<'d> for Diameters {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        let number = Number {
            expected: "rivet diameters, a number from 0.1 to 20",
            range: [0.1, 20.0],
        };
        from.deserialize_any(number).map(Self)
    }
}

struct ReachOf;

impl Visitor<'_> for ReachOf {
    type Value = Reach;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(
            "so many tolerances, such as 1.5, or a length with its unit, such as \"1/32in\"",
        )
    }

    fn visit_i64<E: de::Error>(self, v: i64) -> Result<Reach, E> {
        self.visit_f64(v as f64)
    }

    fn visit_f64<E: de::Error>(self, v: f64) -> Result<Reach, E> {
        if (0.0..=FURTHEST).contains(&v) {
            return Ok(Reach::Tolerances(v));
        }
        Err(E::custom(format!(
            "found {v}; expected 0 to {FURTHEST} tolerances"
        )))
    }

    fn visit_str<E: de::Error>(self, v: &str) -> Result<Reach, E> {
        // A bare text would be neither tolerances nor plainly a unit.
        if !v.chars().any(|c| c.is_alphabetic() || "\"″".contains(c)) {
            return Err(E::custom(format!(
                "found \"{v}\" without a unit; expected a length such as \"1/32in\" or \"0.8mm\""
            )));
        }
        let mm = length::parse(v, Units::Millimetre).map_err(|e| E::custom(e.to_string()))?;
        if (0.0..=FURTHEST).contains(&mm) {
            return Ok(Reach::Mm(mm));
        }
        Err(E::custom(format!(
            "found {mm} mm; expected 0 to {FURTHEST} mm"
        )))
    }
}

impl<'d> Deserialize<'d> for Reach {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(ReachOf)
    }
}

impl<'d> Deserialize<'d> for Bands {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        struct List;
        impl<'d> Visitor<'d> for List {
            type Value = Bands;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list of [distance, percent], such as [[1, 100], [3, 0]]")
            }

            fn visit_seq<A: SeqAccess<'d>>(self, mut seq: A) -> Result<Bands, A::Error> {
                let mut bands: Vec<Band> = Vec::new();
                while let Some((up_to, percent)) = seq.next_element::<(Reach, Percent)>()? {
                    let percent = percent.0;
                    if bands.last().is_some_and(|b| b.percent < percent) {
                        return Err(de::Error::custom(format!(
                            "band {} gives more percent than the one before it; expected falling percents",
                            bands.len() + 1
                        )));
                    }
                    bands.push(Band { up_to, percent });
                }
                if bands.is_empty() {
                    return Err(de::Error::custom("no bands; expected at least one"));
                }
                Ok(Bands(bands))
            }
        }
        from.deserialize_seq(List)
    }
}

impl<'d> Deserialize<'d> for Ringed {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        struct Which;
        impl<'d> Visitor<'d> for Which {
            type Value = Ringed;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("\"none\", \"all\", or a list of holes such as [\"P1\", \"P2\"]")
            }

            fn visit_str<E: de::Error>(self, v: &str) -> Result<Ringed, E> {
                match v {
                    "none" => Ok(Ringed::None),
                    "all" => Ok(Ringed::All),
                    other => Err(E::custom(format!(
                        "found \"{other}\"; expected \"none\", \"all\", or a list of holes"
                    ))),
                }
            }

            fn visit_seq<A: SeqAccess<'d>>(self, mut seq: A) -> Result<Ringed, A::Error> {
                let mut names = Vec::new();
                while let Some(name) = seq.next_element::<String>()? {
                    names.push(name);
                }
                Ok(Ringed::These(names))
            }
        }
        from.deserialize_any(Which)
    }
}
