//! Lengths as people read them, in the plan's unit.

use crate::frame::{Point, Sheet};
use crate::plan::Units;
use crate::verdict::HoleResult;

/// Millimetres in an inch, exact by definition.
const MM_PER_INCH: f64 = 25.4;
/// Finest fraction on a workshop rule.
const FRACTION: f64 = 64.0;
/// A length this near a fraction, in inches, was meant as one: half of the last decimal shown.
const FRACTION_SLACK_IN: f64 = 0.0005;

/// The unit's sign.
pub(super) fn sign(units: Units) -> &'static str {
    match units {
        Units::Inch => "in",
        Units::Millimetre => "mm",
    }
}

/// The unit's name.
pub(super) fn name(units: Units) -> &'static str {
    match units {
        Units::Inch => "inches",
        Units::Millimetre => "millimetres",
    }
}

/// A planned length without its sign: a fraction where it is one, else decimals.
pub(super) fn planned(mm: f64, units: Units) -> String {
    if units == Units::Inch {
        let inches = mm / MM_PER_INCH;
        let parts = (inches * FRACTION).round();
        let near = (inches - parts / FRACTION).abs() < FRACTION_SLACK_IN;
        if near && parts.abs() < 1e9 {
            return fraction(parts as i64);
        }
    }
    measured(mm, units)
}

/// `parts` 64ths of an inch as whole number and reduced fraction.
fn fraction(parts: i64) -> String {
    let minus = if parts < 0 { "-" } else { "" };
    let (mut over, mut under) = (parts.abs() % 64, 64);
    let whole = parts.abs() / 64;
    while over != 0 && over % 2 == 0 {
        (over, under) = (over / 2, under / 2);
    }
    match (whole, over) {
        (_, 0) => format!("{minus}{whole}"),
        (0, _) => format!("{minus}{over}/{under}"),
        _ => format!("{minus}{whole} {over}/{under}"),
    }
}

/// A measured length without its sign: thousandths of an inch or hundredths of a millimetre.
pub(super) fn measured(mm: f64, units: Units) -> String {
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

/// An uncertainty without its sign, rounded *up* so that it is never understated.
pub(super) fn uncertainty(mm: f64, units: Units) -> String {
    let step_mm = match units {
        Units::Inch => 0.001 * MM_PER_INCH,
        Units::Millimetre => 0.01,
    };
    // 1e-6 of a step: 0.15 mm is not 16 hundredths because of binary rounding.
    measured((mm / step_mm - 1e-6).ceil() * step_mm, units)
}

/// A measured length with its sign, and in millimetres too where the plan is in inches.
pub(super) fn both(mm: f64, units: Units) -> String {
    with_mm(measured(mm, units), mm, units)
}

/// A planned length with its sign, and in millimetres too where the plan is in inches.
pub(super) fn planned_both(mm: f64, units: Units) -> String {
    with_mm(planned(mm, units), mm, units)
}

fn with_mm(text: String, mm: f64, units: Units) -> String {
    match units {
        Units::Inch => format!("{text} in ({} mm)", measured(mm, Units::Millimetre)),
        Units::Millimetre => format!("{text} mm"),
    }
}

/// A place without signs: "11/16, 5/16".
pub(super) fn planned_place(at: Point<Sheet>, units: Units) -> String {
    format!("{}, {}", planned(at.x, units), planned(at.y, units))
}

/// A measured place without signs.
pub(super) fn measured_place(at: Point<Sheet>, units: Units) -> String {
    format!("{}, {}", measured(at.x, units), measured(at.y, units))
}

/// How far the mark is from its plan, mm; `None` without a mark.
pub(super) fn distance_mm(hole: &HoleResult) -> Option<f64> {
    hole.found.map(|f| f.distance(hole.planned))
}

/// Which way the mark is off, as the plan draws the sheet: "0.055 right, 0.004 up".
pub(super) fn which_way(hole: &HoleResult, units: Units) -> Option<String> {
    let offset = hole.found? - hole.planned;
    let part = |mm: f64, plus: &str, minus: &str| {
        let text = measured(mm.abs(), units);
        let zero = text.bytes().all(|b| b == b'0' || b == b'.');
        (!zero).then(|| format!("{text} {}", if mm > 0.0 { plus } else { minus }))
    };
    let parts: Vec<String> = [
        part(offset.x, "right", "left"),
        part(offset.y, "up", "down"),
    ]
    .into_iter()
    .flatten()
    .collect();
    Some(if parts.is_empty() {
        "on the spot".into()
    } else {
        parts.join(", ")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fractions_only_where_they_were_meant() {
        for (inches, text) in [
            (0.0, "0"),
            (0.6875, "11/16"),
            (2.53125, "2 17/32"),
            (-0.5, "-1/2"),
            (8.0, "8"),
            (0.703, "45/64"),
            (0.7078, "0.708"),
        ] {
            assert_eq!(planned(inches * MM_PER_INCH, Units::Inch), text);
        }
        assert_eq!(planned(14.3, Units::Millimetre), "14.30");
    }

    #[test]
    fn uncertainty_is_never_understated() {
        assert_eq!(uncertainty(0.15, Units::Millimetre), "0.15");
        assert_eq!(uncertainty(0.1501, Units::Millimetre), "0.16");
        assert_eq!(uncertainty(0.0255, Units::Inch), "0.002");
        assert_eq!(measured(-0.001, Units::Millimetre), "0.00");
        assert_eq!(measured(f64::NAN, Units::Inch), "?");
    }
}
