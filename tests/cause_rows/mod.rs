//! Numerical rows of marks with noise, and how often a slip of them is explained.
#![allow(dead_code, reason = "each test needs some of it")]

use punchready::verdict::cause::{RowLine, RowMarks, RowSheet, Shared, Slip, explain};

/// Standard deviation of a mark, mm: a careful hand.
pub(crate) const SD_MM: f64 = 0.15;
/// Rows for each case.
const ROWS: usize = 1000;
/// Length of the sheet edge, mm.
pub(crate) const EDGE_MM: f64 = 300.0;
/// Edge distance of the rows, mm.
pub(crate) const EDGE_DISTANCE_MM: f64 = 8.0;

/// A small generator with a fixed seed (Marsaglia's xorshift, 2003, from memory; normals by Box and Muller).
pub(crate) struct Noise(pub(crate) u64);

impl Noise {
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self) -> f64 {
        let (u, v) = (self.uniform().max(1e-300), self.uniform());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

/// A row to be marked out: `count` holes, 20 mm apart.
pub(crate) fn stations(count: usize) -> Vec<f64> {
    (0..count).map(|k| 17.0 + 20.0 * k as f64).collect()
}

/// What a numerical row has besides its marks.
#[derive(Clone, Copy, Default)]
pub(crate) struct Seen {
    pub(crate) line: Option<RowLine>,
    pub(crate) sheet: Option<RowSheet>,
}

/// Share of rows with these stations, moved by `slip`, for which `right` holds of what is explained.
pub(crate) fn share_of(
    stations: &[f64],
    seen: Seen,
    slip: impl Fn(usize, f64) -> [f64; 2],
    right: impl Fn(Option<Slip>) -> bool,
) -> f64 {
    let mut noise = Noise(0x2545_f491_4f6c_dd1d);
    let hits = (0..ROWS)
        .filter(|_| {
            let mut marks: Vec<[f64; 2]> = stations
                .iter()
                .enumerate()
                .map(|(k, &s)| {
                    let [x, y] = slip(k, s);
                    [x + SD_MM * noise.normal(), y + SD_MM * noise.normal()]
                })
                .collect();
            marks.sort_by(|a, b| a[0].total_cmp(&b[0]));
            let row = RowMarks {
                stations_mm: stations,
                edge_mm: EDGE_MM,
                edge_distance_mm: EDGE_DISTANCE_MM,
                marks: &marks,
                sd_mm: 0.05,
                shared: Shared::default(),
                line: seen.line,
                sheet: seen.sheet,
            };
            right(explain(&row).map(|c| c.slip))
        })
        .count();
    hits as f64 / ROWS as f64
}

/// [`share_of`] rows of `count` holes, by their marks alone.
pub(crate) fn share(
    count: usize,
    slip: impl Fn(usize, f64) -> [f64; 2],
    right: impl Fn(Option<Slip>) -> bool,
) -> f64 {
    share_of(&stations(count), Seen::default(), slip, right)
}
