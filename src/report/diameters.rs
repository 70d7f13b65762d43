//! Rows as marked, in rivet diameters: one table for the text and the page.

use super::Report;
use crate::plan::length::show_planned;

/// The figures of all rows in rivet diameters.
pub(super) struct InDiameters {
    /// What D is.
    pub(super) of: String,
    /// The name of each row, and its cells: edge distance at its start and end, their U; least, mean and largest
    /// pitch, their U.
    pub(super) rows: Vec<(String, [String; 7])>,
}

/// `None` where the plan has no rivet diameter.
pub(super) fn of(r: &Report) -> Option<InDiameters> {
    let d = r.plan.rivet_mm?;
    let plain = |mm: f64| format!("{:.2}", mm / d);
    // Rounded up, so that it is never understated; 1e-6 of a step is binary rounding.
    let doubt = |mm: f64| format!("{:.2}", (100.0 * mm / d - 1e-6).ceil() / 100.0);
    let cell = |mm: Option<f64>, show: &dyn Fn(f64) -> String| mm.map_or_else(|| "-".into(), show);
    let rows = r.verdict.rows.iter().map(|x| {
        let edge = |i: usize| cell(x.edge_distance_mm.map(|e| e[i]), &plain);
        let pitch = |i: usize| cell(x.pitch_mm.map(|p| p[i]), &plain);
        let cells = [
            edge(0),
            edge(1),
            cell(x.uncertainty_mm, &doubt),
            pitch(0),
            pitch(1),
            pitch(2),
            cell(x.pitch_uncertainty_mm, &doubt),
        ];
        (x.row.clone(), cells)
    });
    Some(InDiameters {
        of: format!("D = {}; U with k = 2", show_planned(d, r.plan.units)),
        rows: rows.collect(),
    })
}
