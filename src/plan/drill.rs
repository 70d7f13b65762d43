//! Drills by number and letter, and which of them serves which rivet.

use super::Units;
use super::error::Faults;
use super::length::{self, MM_PER_INCH, show_planned};
use super::rules::Status;
use super::table::Table;

/// A drill: its name, or its diameter as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Drill {
    /// `#30`, `F`, or the diameter as written.
    pub name: String,
    /// Its diameter, mm.
    pub diameter_mm: f64,
}

/// Number and letter drills, in ten-thousandths of an inch: ASME B94.11M-1993, from memory; `#68` to `#12` agree
/// with two public code tables.
const DRILLS: [(&str, u32); 29] = [
    ("#60", 400),
    ("#53", 595),
    ("#52", 635),
    ("#51", 670),
    ("#50", 700),
    ("#42", 935),
    ("#41", 960),
    ("#40", 980),
    ("#39", 995),
    ("#33", 1130),
    ("#32", 1160),
    ("#31", 1200),
    ("#30", 1285),
    ("#29", 1360),
    ("#27", 1440),
    ("#26", 1470),
    ("#22", 1570),
    ("#21", 1590),
    ("#20", 1610),
    ("#19", 1660),
    ("#16", 1770),
    ("#14", 1820),
    ("#13", 1850),
    ("#12", 1890),
    ("#11", 1910),
    ("#10", 1935),
    ("#9", 1960),
    ("#1", 2280),
    ("F", 2570),
];

/// The drill of this name, such as `#30` or `no. 30`.
#[must_use]
pub fn named(name: &str) -> Option<Drill> {
    let plain = name.trim().to_uppercase();
    let number = plain
        .strip_prefix("NO.")
        .or_else(|| plain.strip_prefix('#'))
        .map(str::trim);
    let wanted = number.map_or_else(|| plain.clone(), |n| format!("#{n}"));
    DRILLS
        .iter()
        .find(|(n, _)| *n == wanted)
        .map(|&(name, size)| Drill {
            name: name.to_owned(),
            diameter_mm: f64::from(size) * 1e-4 * MM_PER_INCH,
        })
}

/// Which drill serves which rivet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Serves {
    /// The rivet, in 32nds of an inch.
    pub rivet_32nds: u32,
    /// Its drills for the finished hole, the usual one first.
    pub drills: &'static [&'static str],
    /// Whether that was read or is only remembered.
    pub status: Status,
}

/// Drills for the finished holes of solid rivets: FAA-H-8083-31 ch. 4 and NAVEDTRA 14018 table 13-2, both from
/// memory; those that were read stand in TM 10-5410-221-14/1 table 4-3.
pub const RIVETS: [Serves; 6] = [
    serves(2, &["#51"], Status::Memory),
    serves(3, &["#40"], Status::Memory),
    serves(4, &["#30"], Status::Verified),
    serves(5, &["#21", "#20"], Status::Memory),
    serves(6, &["#11", "#10"], Status::Memory),
    serves(8, &["F"], Status::Verified),
];

const fn serves(rivet_32nds: u32, drills: &'static [&'static str], status: Status) -> Serves {
    Serves {
        rivet_32nds,
        drills,
        status,
    }
}

/// The drills for a rivet of this diameter, mm; `None` for one that is none of the usual sizes.
#[must_use]
pub fn for_rivet(diameter_mm: f64) -> Option<&'static Serves> {
    /// A metric plan rounds an inch size by less than this, mm.
    const ROUNDED_MM: f64 = 0.08;
    RIVETS.iter().find(|s| {
        let size = f64::from(s.rivet_32nds) / 32.0 * MM_PER_INCH;
        (size - diameter_mm).abs() < ROUNDED_MM
    })
}

/// What is to be said of a plan's drill for its rivet; `None` where it suits, or where the rivet is of no usual size.
#[must_use]
pub fn advice(rivet_mm: f64, drill: &Drill, units: Units) -> Option<String> {
    /// Drills this near are one, mm: a hole is no better than that.
    const SAME_MM: f64 = 0.03;
    let found = format!("the drill {} ({:.2} mm)", drill.name, drill.diameter_mm);
    let rivet = show_planned(rivet_mm, units);
    let (usual, source) = match for_rivet(rivet_mm) {
        Some(s) => {
            let read = match s.status {
                Status::Memory => "remembered, look it up",
                _ => "FAA-H-8083-31 ch. 4",
            };
            let sizes: Vec<Drill> = s.drills.iter().filter_map(|n| named(n)).collect();
            if sizes
                .iter()
                .any(|d| (d.diameter_mm - drill.diameter_mm).abs() < SAME_MM)
            {
                return None;
            }
            (sizes, read)
        }
        None => (Vec::new(), ""),
    };
    let names: Vec<String> = usual
        .iter()
        .map(|d| format!("{} ({:.2} mm)", d.name, d.diameter_mm))
        .collect();
    let finish = if names.is_empty() {
        String::new()
    } else {
        format!(
            "; the finished hole is drilled {} ({source})",
            names.join(" or ")
        )
    };
    if drill.diameter_mm < rivet_mm {
        return Some(format!(
            "{found} is smaller than the rivet, {rivet}: a pilot hole{finish}"
        ));
    }
    let largest = usual.iter().map(|d| d.diameter_mm).fold(0.0, f64::max);
    if usual.is_empty() {
        return None;
    }
    let what = if drill.diameter_mm > largest + SAME_MM {
        "leaves the rivet more room than is usual"
    } else {
        "is not the usual one"
    };
    Some(format!("{found} {what} for a rivet of {rivet}{finish}"))
}

/// The drill of a plan's table: a name or a diameter.
pub(super) fn read(table: &Table, units: Units, faults: &mut Faults) -> Option<Drill> {
    /// Larger than any rivet hole, mm.
    const LARGEST_MM: f64 = 25.0;
    if !table.has("drill") {
        return None;
    }
    if let Some(name) = table.as_text("drill")
        && let Some(drill) = named(name)
    {
        return Some(drill);
    }
    if let Some(name) = table.as_text("drill")
        && (name.trim().starts_with('#') || length::parse(name, units).is_err())
    {
        let text = format!(
            "there is no drill \"{}\" in the table; expected a number drill such as \"#30\", or a diameter such as \"1/8\" or \"3.3mm\"",
            length::shorten(name)
        );
        faults.add(table.place_of("drill"), table.name_of("drill"), text);
        return None;
    }
    let got = table.optional_length("drill", units, faults)?;
    if got.value > 0.0 && got.value <= LARGEST_MM {
        return Some(Drill {
            name: show_planned(got.value, units),
            diameter_mm: got.value,
        });
    }
    let text = format!(
        "found {:.1} mm; expected more than 0 and at most {LARGEST_MM:.0} mm",
        got.value
    );
    faults.add(got.at, table.name_of("drill"), text);
    None
}
