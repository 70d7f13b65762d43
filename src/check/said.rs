//! What the user says besides the plan, as it is typed: on the command line and on the page alike.
//!
//! Each function takes one text and gives its value, or a sentence on what was expected.

use super::{Corner, Given, Known, Stage};
use crate::plan::{Plan, length};
use crate::survey::PrintScale;

/// A measured side further than this from the plan's, as a share of it, is a slip of the unit.
const KNOWN_RANGE: f64 = 0.05;

/// What a rule shows on the bars, across and down: `99.8mm,100.1mm`.
///
/// # Errors
/// What is wrong with the text, or that no print has such bars.
pub fn bars(text: &str) -> Result<PrintScale, String> {
    let measured_mm = length::parse_pair(text).map_err(|e| e.to_string())?;
    PrintScale::from_bars(measured_mm).map_err(|e| e.to_string())
}

/// How far the work is: `marked`, `punched`, `drilled`.
///
/// # Errors
/// The words that there are.
pub fn stage(text: &str) -> Result<Stage, String> {
    Stage::named(text).ok_or_else(|| "expected marked, punched or drilled".to_owned())
}

/// A length measured by rule, mm: `sheet-width=304.6mm`.
///
/// # Errors
/// What is wrong with name or length.
pub fn known(text: &str) -> Result<(Known, f64), String> {
    const EXPECTED: &str = "expected sheet-width=LENGTH or sheet-height=LENGTH";
    let (name, value) = text.split_once('=').ok_or(EXPECTED)?;
    let name = Known::named(name.trim())
        .ok_or_else(|| format!("there is no length {name:?}; {EXPECTED}"))?;
    let mm = length::parse_option(value).map_err(|e| e.to_string())?;
    if mm <= 0.0 {
        return Err("a sheet's size is more than zero".to_owned());
    }
    Ok((name, mm))
}

/// The corner of the photo at which the plan's lower left is.
///
/// # Errors
/// The words that there are.
pub fn corner(text: &str) -> Result<Corner, String> {
    Corner::named(text)
        .ok_or_else(|| "expected lower-left, lower-right, upper-right or upper-left".to_owned())
}

/// Thickness of the cards' paper, mm.
///
/// # Errors
/// What is wrong with the length.
pub fn thickness(text: &str) -> Result<f64, String> {
    /// Cards thicker than this are boards, mm.
    const THICKEST_MM: f64 = 10.0;
    let mm = length::parse_option(text).map_err(|e| e.to_string())?;
    if !(0.0..=THICKEST_MM).contains(&mm) {
        return Err(format!("expected a length from 0 to {THICKEST_MM} mm"));
    }
    Ok(mm)
}

/// How far the cards beside the sheet lie below its face, mm.
///
/// # Errors
/// What is wrong with the length.
pub fn below(text: &str) -> Result<f64, String> {
    /// A card further than this from the face is not beside a sheet, mm.
    const FURTHEST_MM: f64 = 100.0;
    let mm = length::parse_option(text).map_err(|e| e.to_string())?;
    if mm.abs() > FURTHEST_MM {
        return Err(format!(
            "expected a length within {FURTHEST_MM} mm of the face"
        ));
    }
    Ok(mm)
}

/// Refuses a measured side that cannot belong to this sheet: `12` for 12 inches would be taken as 12 mm.
///
/// # Errors
/// What was found; what to do.
pub fn believable(given: &Given, plan: &Plan) -> Result<(), [String; 2]> {
    for &(name, mm) in &given.known {
        let planned = match name {
            Known::SheetWidth => plan.width_mm,
            Known::SheetHeight => plan.height_mm,
        };
        if (mm / planned - 1.0).abs() > KNOWN_RANGE {
            return Err([
                format!(
                    "--known {}: {mm} mm is far from the plan's {}",
                    name.name(),
                    length::show_planned(planned, plan.units)
                ),
                "give the unit (304.6mm, 12in; a bare number is millimetres), or correct the plan"
                    .to_owned(),
            ]);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of one product near 300.
    const ROUNDING_MM: f64 = 1e-12;

    #[test]
    fn known_lengths() {
        let (name, mm) = known("sheet-width=12in").unwrap();
        assert_eq!(name, Known::SheetWidth);
        assert!((mm - 304.8).abs() < ROUNDING_MM, "{mm}");
        for bad in [
            "sheet-width",
            "depth=1mm",
            "sheet-height=",
            "sheet-height=-3mm",
            "sheet-height=0",
        ] {
            assert!(known(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn bars_of_no_print_are_refused() {
        assert!(bars("99.8mm,100.1mm").is_ok());
        for bad in ["100mm", "100mm,70mm", "100,1mm,100mm"] {
            assert!(bars(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn height_of_cards() {
        assert_eq!(below("-0.5mm"), Ok(-0.5));
        assert!(below("2in").is_ok() && below("1000").is_err());
    }
}
