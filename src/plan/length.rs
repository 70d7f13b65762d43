//! Lengths as people write them, and as people read them.
//!
//! Grammar, after spaces at both ends are taken off:
//!
//! ```text
//! length   = ["-"] number [unit]
//! number   = decimal | fraction | whole (spaces | "-") fraction | [whole] glyph
//! decimal  = digits ["." [digits]] | "." digits        no exponent, no comma
//! fraction = digits "/" digits       the lower a power of two, 1 to 128
//! glyph    = ½ ¼ ¾ ⅛ ⅜ ⅝ ⅞
//! unit     = mm | in | inch | inches | " | ″           else the unit the caller names
//! ```
//!
//! A lower number that no rule has (`5/31`) is refused: it is a slip of the finger, not a length.

use std::fmt;

use super::Units;

/// 1 in = 25.4 mm exactly (International yard and pound agreement, 1959; from memory).
pub const MM_PER_INCH: f64 = 25.4;

/// Longest length taken, mm: no sheet this program can look at is longer than 100 m.
const LONGEST_MM: f64 = 1e5;

/// Finest division taken in a fraction; a rule shows 64ths, and half of one can be judged by eye.
const FINEST_DIVISION: u64 = 128;

/// Finest division shown, that of a machinist's rule.
const SHOWN_DIVISION: u32 = 64;

/// More characters than this are no length; it keeps messages short.
const LONGEST_TEXT: usize = 40;

/// A text that is not a length.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LengthError {
    /// Nothing but spaces.
    Empty,
    /// Not of the grammar; `why` is half a sentence.
    NotALength {
        /// The text, shortened.
        text: String,
        /// What stands in the way.
        why: &'static str,
    },
    /// Further than 100 m from zero.
    TooLong {
        /// The text, shortened.
        text: String,
    },
    /// A list that does not have two lengths.
    NotAPair {
        /// The text, shortened.
        text: String,
        /// How many parts it has.
        parts: usize,
    },
}

impl fmt::Display for LengthError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const EXPECTED: &str = r#"expected a length such as 14.3mm, 0.5in, 5/8 or 2 17/32"#;
        match self {
            Self::Empty => write!(f, "nothing there; {EXPECTED}"),
            Self::NotALength { text, why } => write!(f, "found \"{text}\": {why}; {EXPECTED}"),
            Self::TooLong { text } => {
                write!(
                    f,
                    "found \"{text}\", which is more than 100 m; check its unit"
                )
            }
            Self::NotAPair { text, parts } => write!(
                f,
                "found {parts} part{} in \"{text}\"; expected two lengths with a comma between them and a \
                 point for decimals, such as 99.8mm,100.1mm",
                if *parts == 1 { "" } else { "s" }
            ),
        }
    }
}
impl std::error::Error for LengthError {}

/// Shortens `text` for a message, and keeps control characters out of the terminal.
pub(crate) fn shorten(text: &str) -> String {
    let mut short: String = text
        .chars()
        .take(LONGEST_TEXT)
        .map(|c| if c.is_control() { '\u{fffd}' } else { c })
        .collect();
    if text.chars().nth(LONGEST_TEXT).is_some() {
        short.push_str("...");
    }
    short
}

/// Reads one length and gives it in mm; without a unit of its own it counts in `bare`.
///
/// # Errors
/// [`LengthError`] when `text` is not of the grammar at the head of this module.
pub fn parse(text: &str, bare: Units) -> Result<f64, LengthError> {
    let refuse = |why| LengthError::NotALength {
        text: shorten(text),
        why,
    };
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(LengthError::Empty);
    }
    let (body, units) = split_unit(trimmed, bare);
    let (body, sign) = match body.strip_prefix('-') {
        Some(rest) => (rest, -1.0),
        None => (body, 1.0),
    };
    if body.is_empty() {
        return Err(refuse("there is no number"));
    }
    let mm = sign * number(body).map_err(refuse)? * mm_per(units);
    if mm.abs() > LONGEST_MM {
        return Err(LengthError::TooLong {
            text: shorten(text),
        });
    }
    Ok(mm)
}

/// Reads a length of the command line: bare numbers are millimetres.
///
/// # Errors
/// As [`parse`].
pub fn parse_option(text: &str) -> Result<f64, LengthError> {
    parse(text, Units::Millimetre)
}

/// Reads two lengths with a comma between, such as `99.8mm,100.1mm`; bare numbers are millimetres.
///
/// # Errors
/// [`LengthError::NotAPair`] unless there are two, else as [`parse`]. A decimal comma makes more than
/// two parts, and is refused rather than guessed at.
pub fn parse_pair(text: &str) -> Result<[f64; 2], LengthError> {
    let parts: Vec<&str> = text.split(',').collect();
    match parts[..] {
        [across, down] => Ok([parse_option(across)?, parse_option(down)?]),
        _ => Err(LengthError::NotAPair {
            text: shorten(text),
            parts: parts.len(),
        }),
    }
}

/// Millimetres in one of `units`.
#[must_use]
pub fn mm_per(units: Units) -> f64 {
    match units {
        Units::Inch => MM_PER_INCH,
        Units::Millimetre => 1.0,
    }
}

/// Parts the unit from the end of a trimmed text.
fn split_unit(text: &str, bare: Units) -> (&str, Units) {
    const SUFFIXES: [(&str, Units); 6] = [
        ("mm", Units::Millimetre),
        ("inches", Units::Inch),
        ("inch", Units::Inch),
        ("in", Units::Inch),
        ("\"", Units::Inch),
        ("\u{2033}", Units::Inch),
    ];
    for (suffix, units) in SUFFIXES {
        if let Some(body) = text.strip_suffix(suffix) {
            return (body.trim_end(), units);
        }
    }
    (text, bare)
}

/// The number without sign and unit.
fn number(body: &str) -> Result<f64, &'static str> {
    if let Some((at, glyph)) = body.char_indices().next_back()
        && let Some(part) = glyph_value(glyph)
    {
        let before = body[..at].trim_end();
        return Ok(if before.is_empty() {
            part
        } else {
            whole(before)? + part
        });
    }
    if !body.contains('/') {
        return decimal(body);
    }
    // The whole part ends at the first space or hyphen.
    let Some((before, after)) = body.split_once([' ', '-', '\t']) else {
        return Ok(fraction(body)?.0);
    };
    let (part, below_one) = fraction(after.trim_start())?;
    if !below_one {
        return Err("the fraction behind a whole number must be less than 1");
    }
    Ok(whole(before)? + part)
}

/// Digits only.
fn whole(text: &str) -> Result<f64, &'static str> {
    if text.is_empty() || !text.bytes().all(|b| b.is_ascii_digit()) {
        return Err("the part before a fraction must be a whole number");
    }
    text.parse().map_err(|_| "its number cannot be read")
}

/// Digits with at most one point among them.
fn decimal(text: &str) -> Result<f64, &'static str> {
    let digits = text.bytes().filter(u8::is_ascii_digit).count();
    let points = text.bytes().filter(|&b| b == b'.').count();
    if text.contains(',') {
        return Err("a comma is not taken; decimals have a point");
    }
    if digits == 0 || points > 1 || digits + points != text.len() {
        return Err("it is no number, or its unit is unknown");
    }
    text.parse().map_err(|_| "its number cannot be read")
}

/// A fraction's value, and whether it is less than 1.
fn fraction(text: &str) -> Result<(f64, bool), &'static str> {
    const BROKEN: &str = "a fraction needs one whole number above and one below";
    let (above, below) = text.split_once('/').ok_or(BROKEN)?;
    let digits = |t: &str| -> Result<u64, &'static str> {
        if t.is_empty() || !t.bytes().all(|b| b.is_ascii_digit()) {
            return Err(BROKEN);
        }
        t.parse().map_err(|_| "its number cannot be read")
    };
    let (above, below) = (digits(above)?, digits(below)?);
    if !below.is_power_of_two() || below > FINEST_DIVISION {
        return Err("a rule has halves, 4ths, 8ths, 16ths, 32nds, 64ths and at most 128ths");
    }
    Ok((above as f64 / below as f64, above < below))
}

/// The value of a vulgar-fraction character.
fn glyph_value(c: char) -> Option<f64> {
    Some(match c {
        '½' => 0.5,
        '¼' => 0.25,
        '¾' => 0.75,
        '⅛' => 0.125,
        '⅜' => 0.375,
        '⅝' => 0.625,
        '⅞' => 0.875,
        _ => return None,
    })
}

/// Millimetres for a message: to a tenth, and small ones to the thousandth.
pub(super) fn shown_mm(mm: f64) -> String {
    if mm.abs() < 1.0 {
        let text = format!("{mm:.3}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        format!("{mm:.1}")
    }
}

/// A length in its unit for a message, as the plan has it: `0.47 in`, `12 mm`.
pub(super) fn show_bound(mm: f64, units: Units) -> String {
    match units {
        Units::Millimetre => format!("{} mm", shown_mm(mm)),
        Units::Inch => {
            let text = format!("{:.3}", mm / MM_PER_INCH);
            let short = text.trim_end_matches('0').trim_end_matches('.');
            format!("{short} in")
        }
    }
}

/// The fraction nearest to `inches` with at most `division` below, reduced: `2 17/32`, `-1/8`, `0`.
#[must_use]
pub fn nearest_fraction(inches: f64, division: u32) -> String {
    let parts = (inches.abs() * f64::from(division)).round();
    if !parts.is_finite() {
        return inches.to_string();
    }
    let parts = parts as u64;
    let (whole, mut above, mut below) = (
        parts / u64::from(division),
        parts % u64::from(division),
        u64::from(division),
    );
    while above > 0 && above % 2 == 0 && below % 2 == 0 {
        above /= 2;
        below /= 2;
    }
    let sign = if inches < 0.0 && parts > 0 { "-" } else { "" };
    match (whole, above) {
        (w, 0) => format!("{sign}{w}"),
        (0, a) => format!("{sign}{a}/{below}"),
        (w, a) => format!("{sign}{w} {a}/{below}"),
    }
}

/// A *measured* length for people who lay a rule on it: `1/32 in (0.9 mm)` for a reader of inches, else `0.9 mm`.
#[must_use]
pub fn show(mm: f64, units: Units) -> String {
    match units {
        Units::Millimetre => format!("{} mm", tenths(mm)),
        Units::Inch => {
            let fraction = nearest_fraction(mm / MM_PER_INCH, SHOWN_DIVISION);
            let inches = if fraction == "0" {
                "under 1/64".to_owned()
            } else {
                fraction
            };
            format!("{inches} in ({} mm)", tenths(mm))
        }
    }
}

/// A *measured* length as fine as it was measured: `0.046 in (1.18 mm)`, or `1.18 mm`.
#[must_use]
pub fn show_fine(mm: f64, units: Units) -> String {
    match units {
        Units::Inch => format!(
            "{} in ({} mm)",
            measured(mm, units),
            measured(mm, Units::Millimetre)
        ),
        Units::Millimetre => format!("{} mm", measured(mm, units)),
    }
}

/// Two measured lengths: `0.047 to 0.157 in (1.20 to 4.00 mm)`, or `1.20 to 4.00 mm`.
#[must_use]
pub fn show_range(low_mm: f64, high_mm: f64, units: Units) -> String {
    let in_units = |units| {
        let (low, high) = (measured(low_mm, units), measured(high_mm, units));
        if low == high {
            format!("{low} {}", unit_sign(units))
        } else {
            format!("{low} to {high} {}", unit_sign(units))
        }
    };
    match units {
        Units::Millimetre => in_units(units),
        Units::Inch => format!("{} ({})", in_units(units), in_units(Units::Millimetre)),
    }
}

/// A *planned* length for people, in the plan's own unit: `4 1/16 in (103.2 mm)`, `2.070 in (52.6 mm)`
/// where it is on no 64th, or `103.2 mm`.
#[must_use]
pub fn show_planned(mm: f64, units: Units) -> String {
    match units {
        Units::Millimetre => format!("{} mm", short_decimal(mm)),
        Units::Inch => format!("{} in ({} mm)", planned(mm, units), tenths(mm)),
    }
}

/// The unit's sign.
#[must_use]
pub fn unit_sign(units: Units) -> &'static str {
    match units {
        Units::Inch => "in",
        Units::Millimetre => "mm",
    }
}

/// The unit's name, of many.
#[must_use]
pub fn unit_name(units: Units) -> &'static str {
    match units {
        Units::Inch => "inches",
        Units::Millimetre => "millimetres",
    }
}

/// A planned length for a table, without its sign: a fraction where it is on a 64th, else as [`measured`].
#[must_use]
pub fn planned(mm: f64, units: Units) -> String {
    /// A length this near to a 64th was meant to be on it; the rest is rounding.
    const ON_DIVISION_INCH: f64 = 1e-6;
    let inches = mm / MM_PER_INCH;
    let parts = inches * f64::from(SHOWN_DIVISION);
    let near = (parts - parts.round()).abs() < ON_DIVISION_INCH * f64::from(SHOWN_DIVISION);
    if units == Units::Inch && near {
        nearest_fraction(inches, SHOWN_DIVISION)
    } else {
        measured(mm, units)
    }
}

/// A measured length for a table, without its sign: thousandths of an inch or hundredths of a millimetre;
/// `?` for what is no number.
#[must_use]
pub fn measured(mm: f64, units: Units) -> String {
    if !mm.is_finite() {
        return "?".into();
    }
    let text = match units {
        Units::Inch => format!("{:.3}", mm / MM_PER_INCH),
        Units::Millimetre => format!("{mm:.2}"),
    };
    // No "-0.000": it reads as a direction that is not there.
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| b == b'0' || b == b'.') => rest.to_string(),
        _ => text,
    }
}

/// An uncertainty for a table, without its sign, rounded *up* so that it is never understated.
#[must_use]
pub fn uncertainty(mm: f64, units: Units) -> String {
    let step_mm = match units {
        Units::Inch => 0.001 * MM_PER_INCH,
        Units::Millimetre => 0.01,
    };
    // 1e-6 of a step: 0.15 mm is not 16 hundredths because of binary rounding.
    measured((mm / step_mm - 1e-6).ceil() * step_mm, units)
}

/// One decimal, halves away from zero (1/4 in is 6.4 mm however it was computed), and never "-0.0".
fn tenths(mm: f64) -> String {
    /// Above the rounding of any sheet's lengths, in tenths of a millimetre.
    const NUDGE: f64 = 1e-6;
    let tenths = (mm.abs() * 10.0 + NUDGE).round() / 10.0;
    let sign = if mm < 0.0 && tenths > 0.0 { "-" } else { "" };
    format!("{sign}{tenths:.1}")
}

/// Two decimals at most, without the zeros at the end.
fn short_decimal(mm: f64) -> String {
    let text = format!("{mm:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" {
        "0".into()
    } else {
        short.into()
    }
}
