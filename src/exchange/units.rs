//! The unit of a drawing.

use super::ExchangeError;
use super::dxf_in::DxfChoice;
use super::tags::File;
use crate::plan::Units;
use crate::plan::length::{MM_PER_INCH, mm_per};

/// The unit of the plan to make, and mm for one unit of the file.
pub(super) fn unit(file: &File, choice: &DxfChoice) -> Result<(Units, f64), ExchangeError> {
    const INCH: Units = Units::Inch;
    const METRIC: Units = Units::Millimetre;
    // Codes of $INSUNITS, from memory.
    let said = match file.unit {
        1 => Some((INCH, MM_PER_INCH, "inches")),
        2 => Some((INCH, 12.0 * MM_PER_INCH, "feet")),
        8 => Some((INCH, MM_PER_INCH * 1e-6, "microinches")),
        9 => Some((INCH, MM_PER_INCH / 1000.0, "mils")),
        10 => Some((INCH, 36.0 * MM_PER_INCH, "yards")),
        4 => Some((METRIC, 1.0, "millimetres")),
        5 => Some((METRIC, 10.0, "centimetres")),
        6 => Some((METRIC, 1000.0, "metres")),
        13 => Some((METRIC, 1e-3, "microns")),
        14 => Some((METRIC, 100.0, "decimetres")),
        _ => None,
    };
    match (said, choice.units) {
        (Some((units, mm, _)), None) => Ok((units, mm)),
        (Some((units, mm, _)), Some(given)) if (mm - mm_per(given)).abs() < 1e-12 => {
            Ok((units, mm))
        }
        (Some((.., file)), Some(_)) => Err(ExchangeError::OtherUnits { file: file.into() }),
        (None, Some(given)) => Ok((given, mm_per(given))),
        (None, None) => Err(ExchangeError::NoUnits),
    }
}
