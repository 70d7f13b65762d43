//! Drills by number and letter, and which of them serves which rivet.

use super::Units;
use super::error::Faults;
use super::length::{self, MM_PER_INCH, show_planned};
use super::rules::Status;
use super::table::{Got, Table};

/// A drill: its name, or its diameter as it was written.
#[derive(Debug, Clone, PartialEq)]
pub struct Drill {
    /// `#30`, `F`, or the diameter as written.
    pub name: String,
    /// Its diameter, mm.
    pub diameter_mm: f64,
}

/// Number drills `#1` to `#80`, in ten-thousandths of an inch: ASME B94.11M-1993, from memory. All of them agree with the
/// table of GNU Units 2.22 (between its rows, on its straight lines) and, to the thousandth that it has, with that of
/// bd_warehouse 0.4; `#68` to `#12` also with two public code tables.
const NUMBERS: [u32; 80] = [
    2280, 2210, 2130, 2090, 2055, 2040, 2010, 1990, 1960, 1935, 1910, 1890, 1850, 1820, 1800, 1770,
    1730, 1695, 1660, 1610, 1590, 1570, 1540, 1520, 1495, 1470, 1440, 1405, 1360, 1285, 1200, 1160,
    1130, 1110, 1100, 1065, 1040, 1015, 995, 980, 960, 935, 890, 860, 820, 810, 785, 760, 730, 700,
    670, 635, 595, 550, 520, 465, 430, 420, 410, 400, 390, 380, 370, 360, 350, 330, 320, 310, 292,
    280, 260, 250, 240, 225, 210, 200, 180, 160, 145, 135,
];

/// Letter drills `A` to `Z`, likewise.
const LETTERS: [u32; 26] = [
    2340, 2380, 2420, 2460, 2500, 2570, 2610, 2660, 2720, 2770, 2810, 2900, 2950, 3020, 3160, 3230,
    3320, 3390, 3480, 3580, 3680, 3770, 3860, 3970, 4040, 4130,
];

/// The drill of this name, such as `#30`, `no. 30` or `F`.
#[must_use]
pub fn named(name: &str) -> Option<Drill> {
    let plain = name.trim().to_uppercase();
    let number = plain
        .strip_prefix("NO.")
        .or_else(|| plain.strip_prefix('#'))
        .map(str::trim);
    let (name, size) = match (number, plain.as_bytes()) {
        (Some(n), _) if n.bytes().all(|b| b.is_ascii_digit()) => {
            let n: usize = n.parse().ok()?;
            (format!("#{n}"), *NUMBERS.get(n.checked_sub(1)?)?)
        }
        (None, &[letter @ b'A'..=b'Z']) => (plain.clone(), LETTERS[usize::from(letter - b'A')]),
        _ => return None,
    };
    Some(Drill {
        name,
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

/// Rivets of whole and half millimetres and the drills for their holes, mm: DIN 660 (medium fit), from memory.
const METRIC: [[f64; 2]; 8] = [
    [2.0, 2.1],
    [2.5, 2.6],
    [3.0, 3.1],
    [3.5, 3.6],
    [4.0, 4.2],
    [5.0, 5.2],
    [6.0, 6.3],
    [8.0, 8.4],
];

/// The drill for a metric rivet of this diameter, mm.
fn for_metric(diameter_mm: f64) -> Option<Drill> {
    /// Rivets this near are one, mm.
    const SAME_MM: f64 = 0.01;
    let found = METRIC.iter().find(|m| (m[0] - diameter_mm).abs() < SAME_MM);
    found.map(|m| Drill {
        name: format!("{} mm", m[1]),
        diameter_mm: m[1],
    })
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
    let inch = for_rivet(rivet_mm);
    let mut usual: Vec<Drill> = inch
        .iter()
        .flat_map(|s| s.drills)
        .filter_map(|n| named(n))
        .collect();
    // A rivet of 4 mm may be one of 5/32 in: either's drill suits.
    usual.extend(for_metric(rivet_mm));
    if usual
        .iter()
        .any(|d| (d.diameter_mm - drill.diameter_mm).abs() < SAME_MM)
    {
        return None;
    }
    let source = match inch {
        Some(s) if s.status != Status::Memory => "FAA-H-8083-31 ch. 4",
        _ => "remembered, look it up",
    };
    let names: Vec<String> = usual
        .iter()
        .map(|d| match d.name.ends_with("mm") {
            true => d.name.clone(),
            false => format!("{} ({:.2} mm)", d.name, d.diameter_mm),
        })
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
    /// From a pilot drill for the smallest rivet, #60 and a little less, to the hole of a rivet of 1/2 in, mm.
    const RANGE_MM: std::ops::RangeInclusive<f64> = 0.9..=13.0;
    if !table.has("drill") {
        return None;
    }
    let text = table.as_text("drill");
    let known = text.and_then(named);
    if let Some(name) = text
        && known.is_none()
        && (name.trim().starts_with('#') || length::parse(name, units).is_err())
    {
        let text = format!(
            "there is no drill \"{}\" in the table; expected a number drill such as \"#30\", or a diameter such as \"1/8\" or \"3.3mm\"",
            length::shorten(name)
        );
        faults.add(table.place_of("drill"), table.name_of("drill"), text);
        return None;
    }
    if let Some(drill) = known.clone().filter(|d| RANGE_MM.contains(&d.diameter_mm)) {
        return Some(drill);
    }
    let got = match known {
        Some(drill) => Got {
            value: drill.diameter_mm,
            at: table.place_of("drill"),
        },
        None => table.optional_length("drill", units, faults)?,
    };
    if RANGE_MM.contains(&got.value) {
        return Some(Drill {
            name: show_planned(got.value, units),
            diameter_mm: got.value,
        });
    }
    let text = format!(
        "found {} mm; expected {} to {} mm. Is the unit right?",
        length::shown_mm(got.value),
        RANGE_MM.start(),
        RANGE_MM.end()
    );
    let bare = got.value / length::mm_per(units);
    let number = bare.round();
    if (bare - number).abs() < 1e-9 && named(&format!("#{number}")).is_some() {
        let hint = format!("a drill by its number is written \"#{number}\"");
        faults.add_with_hint(got.at, table.name_of("drill"), text, hint);
    } else {
        faults.add(got.at, table.name_of("drill"), text);
    }
    None
}

/// The diameter of a solid rivet by its number as the trade writes it, mm: `-4`, `AD4`, `AD4-6`, `MS20470AD4-6`. The
/// first number is the diameter in 32nds of an inch, the second the length in 16ths (NASM20470, from memory).
pub(super) fn dash_number(text: &str) -> Option<f64> {
    /// Diameters that are made, in 32nds.
    const MADE: std::ops::RangeInclusive<u32> = 2..=12;
    let plain = text.trim().to_uppercase();
    let standards = ["MS20470", "MS20426", "AN470", "AN426", "NAS1097"];
    let bare = standards.iter().find_map(|s| plain.strip_prefix(s));
    let alloy = bare.unwrap_or(&plain).trim_start_matches('-');
    let letters = alloy.chars().take_while(char::is_ascii_alphabetic).count();
    let is_named = bare.is_some() || letters > 0 || plain.starts_with('-');
    let mut numbers = alloy[letters..].split('-');
    let digits = |t: &str| t.parse::<u32>().ok().filter(|_| t.len() <= 2);
    let diameter = digits(numbers.next()?)?;
    let sound = match (numbers.next(), numbers.next()) {
        (None, _) => true,
        (Some(length), None) => digits(length).is_some(),
        _ => false,
    };
    let made = is_named && letters <= 2 && sound && MADE.contains(&diameter);
    made.then(|| f64::from(diameter) / 32.0 * MM_PER_INCH)
}
