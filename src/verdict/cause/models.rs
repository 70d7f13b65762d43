//! Where each slip puts a row's marks.

use nalgebra::DVector;

use super::evidence::{Model, Part, Prior, Way};
use super::{FEWEST, RowLine, RowMarks, Slip};

/// Odds before looking that a row has no slip: most rows are marked out well.
const NONE: f64 = 0.5;
/// Odds that one mark of an otherwise good row is out by itself.
const ONE_OUT: f64 = 0.1;
/// Odds of each slip, by how often it is met: common practice, no source.
const COMMON: f64 = 0.06;
const RARE: f64 = 0.02;
/// Share of rows stepped from mark to mark of which this began later than at the first mark.
const LATER: f64 = 0.1;

/// Sizes that half of all slips stay below, mm. Steps and starts add up hundredths; a miscount is a division of
/// the rule or more; a mark by itself may be anywhere.
const SMALL_MM: f64 = 0.8;
const MISCOUNT_MM: f64 = 2.0;
const ANYWHERE_MM: f64 = 3.0;
/// A start within this of an inch is the inch line, mm.
const INCH_WITHIN_MM: f64 = 0.6;
/// Two layouts that differ by less than this nowhere are the same, mm.
const SAME_MM: f64 = 0.3;
/// Standard deviation of a sheet's cut size, mm, and of the scale of a print that is off, as a share: office
/// printers (common practice, no source).
const CUT_MM: f64 = 0.4;
const PRINT_OFF: f64 = 0.006;
/// Standard deviation of where a line is ruled, mm, and of where a mark is set beside it.
const RULED_MM: f64 = 0.25;
const BESIDE_LINE_MM: f64 = 0.08;

/// The displacements of a row's marks.
struct Row<'a> {
    given: &'a RowMarks<'a>,
    n: usize,
    along: DVector<f64>,
    across: DVector<f64>,
}

/// A part with this value at each mark, by its index.
fn part(n: usize, prior: Prior, value: impl Fn(usize) -> f64) -> Part {
    Part {
        shape: DVector::from_fn(n, |k, _| value(k)),
        prior,
    }
}

impl Row<'_> {
    /// A model that adds `parts` to the plan, along the row and across it.
    fn model(
        &self,
        odds: f64,
        parts: [Vec<Part>; 2],
        slip: impl FnOnce(&[f64]) -> Option<Slip>,
    ) -> Model {
        self.from(odds, [self.along.clone(), self.across.clone()], parts, slip)
    }

    /// A model whose marks stand further by `value` along the row, with no size to fit.
    fn fixed(&self, odds: f64, value: &[f64], slip: Slip) -> Model {
        let left = &self.along - DVector::from_column_slice(value);
        self.from(odds, [left, self.across.clone()], [vec![], vec![]], |_| {
            Some(slip)
        })
    }

    /// A model of displacements that are `left` when what is fixed is taken off.
    fn from(
        &self,
        odds: f64,
        left: [DVector<f64>; 2],
        parts: [Vec<Part>; 2],
        slip: impl FnOnce(&[f64]) -> Option<Slip>,
    ) -> Model {
        let [along, across] = left;
        let [parts_along, parts_across] = parts;
        let ways =
            [(along, parts_along), (across, parts_across)].map(|(left, parts)| Way { left, parts });
        let sizes: Vec<f64> = ways.iter().flat_map(Way::sizes).collect();
        Model {
            slip: slip(&sizes),
            ways,
            log_prior: odds.ln(),
        }
    }
}

/// All models for a row, those that claim nothing among them.
pub(super) fn models(given: &RowMarks) -> Vec<Model> {
    let n = given.stations_mm.len();
    let row = Row {
        given,
        n,
        along: DVector::from_fn(n, |k, _| given.marks[k][0] - given.stations_mm[k]),
        across: DVector::from_fn(n, |k, _| given.marks[k][1] - given.edge_distance_mm),
    };
    let mut out = vec![row.model(NONE, [vec![], vec![]], |_| None)];
    one_out(&row, &mut out);
    lengths(&row, &mut out);
    ends(&row, &mut out);
    units(&row, &mut out);
    sideways(&row, &mut out);
    if let Some(line) = given.line {
        line_side(&row, line, &mut out);
    }
    scale(&row, &mut out);
    out
}

/// One mark by itself is out: no slip of the row.
fn one_out(row: &Row, out: &mut Vec<Model>) {
    let odds = ONE_OUT / (3 * row.n) as f64;
    for k in 0..row.n {
        let only = || {
            part(row.n, Prior::Within(ANYWHERE_MM), |i| {
                f64::from(u8::from(i == k))
            })
        };
        for parts in [
            [vec![only()], vec![]],
            [vec![], vec![only()]],
            [vec![only()], vec![only()]],
        ] {
            out.push(row.model(odds, parts, |_| None));
        }
    }
}

/// Steps, start, miscount.
fn lengths(row: &Row, out: &mut Vec<Model>) {
    let n = row.n;
    // The first mark is right, each further pitch adds the same; a mark may not have been read.
    let s = row.given.stations_mm;
    let length = s[n - 1] - s[0];
    let mut gaps: Vec<f64> = s.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    let in_steps = |length: f64| (length / gaps[gaps.len() / 2]).round().max(1.0);
    let steps = in_steps(length);
    let ramp = part(n, Prior::Within(SMALL_MM), |k| (s[k] - s[0]) / length);
    out.push(
        row.model((1.0 - LATER) * COMMON, [vec![ramp], vec![]], |s| {
            Some(Slip::Steps(s[0] / steps))
        }),
    );
    // Right up to mark k, and each pitch from there on adds the same. Fewer marks than agree by chance are no drift.
    let places = (n - 1).saturating_sub(FEWEST);
    for k in 1..=places {
        let rest = s[n - 1] - s[k];
        let ramp = part(n, Prior::Within(SMALL_MM), |i| {
            (s[i] - s[k]).max(0.0) / rest
        });
        let odds = LATER * COMMON / places as f64;
        out.push(row.model(odds, [vec![ramp], vec![]], |s| {
            Some(Slip::StepsFrom(k + 1, s[0] / in_steps(rest)))
        }));
    }
    let all = |prior| part(n, prior, |_| 1.0);
    let start = all(Prior::Within(SMALL_MM));
    out.push(row.model(COMMON, [vec![start], vec![]], |s| {
        let inch = (s[0].abs() - 25.4).abs() < INCH_WITHIN_MM;
        Some(if inch {
            Slip::InchLine(s[0])
        } else {
            Slip::Start(s[0])
        })
    }));
    for inch in [-25.4, 25.4] {
        let left = [row.along.add_scalar(-inch), row.across.clone()];
        let near = all(Prior::Near(INCH_WITHIN_MM / 2.0));
        out.push(row.from(RARE / 2.0, left, [vec![near], vec![]], |s| {
            Some(Slip::InchLine(inch + s[0]))
        }));
    }
    // At least two marks after the jump: one alone is a mark that is out.
    let places = n - 2;
    for k in 1..=places {
        let jump = part(n, Prior::Within(MISCOUNT_MM), |i| {
            f64::from(u8::from(i >= k))
        });
        out.push(
            row.model(COMMON / places as f64, [vec![jump], vec![]], |s| {
                Some(Slip::From(k + 1, s[0]))
            }),
        );
    }
}

/// The same distances from the other end, and the stations in reverse order.
fn ends(row: &Row, out: &mut Vec<Model>) {
    let s = row.given.stations_mm;
    let n = row.n;
    let turned = |about: f64| -> Vec<f64> { (0..n).map(|k| about - s[n - 1 - k] - s[k]).collect() };
    let from_end = turned(row.given.edge_mm);
    let reversed = turned(s[0] + s[n - 1]);
    let differ = |a: &[f64], b: &[f64]| a.iter().zip(b).any(|(x, y)| (x - y).abs() > SAME_MM);
    let plan = vec![0.0; n];
    let from_end_shows = differ(&from_end, &plan);
    if from_end_shows {
        out.push(row.fixed(RARE, &from_end, Slip::OtherEnd));
    }
    let told_apart = !from_end_shows || differ(&reversed, &from_end);
    if differ(&reversed, &plan) && told_apart {
        out.push(row.fixed(RARE, &reversed, Slip::Mirrored));
    }
}

/// The pitch taken in another unit: the whole millimetre or the sixteenth of an inch next to it; and an inch taken
/// as 25 mm.
fn units(row: &Row, out: &mut Vec<Model>) {
    const SIXTEENTH_MM: f64 = 25.4 / 16.0;
    /// A pitch this near to a figure of the unit was written in it, mm; pitches are even to within it.
    const WRITTEN_MM: f64 = 1e-6;
    let s = row.given.stations_mm;
    let pitch = (s[row.n - 1] - s[0]) / (row.n - 1) as f64;
    let even = s
        .windows(2)
        .all(|w| (w[1] - w[0] - pitch).abs() < WRITTEN_MM);
    let mut pitches = Vec::new();
    for unit in [1.0, SIXTEENTH_MM] {
        let [below, above] = [(pitch / unit).floor() * unit, (pitch / unit).ceil() * unit];
        if even && (pitch - below).min(above - pitch) > WRITTEN_MM {
            pitches.extend([below, above].into_iter().filter(|p| *p > 0.0));
        }
    }
    let odds = RARE / (pitches.len() + 1) as f64;
    for wrong in pitches {
        let further: Vec<f64> = (0..row.n).map(|k| (wrong - pitch) * k as f64).collect();
        out.push(row.fixed(odds, &further, Slip::Unit(wrong)));
    }
    let further: Vec<f64> = s.iter().map(|s| s * (25.0 / 25.4 - 1.0)).collect();
    out.push(row.fixed(odds, &further, Slip::InchAs(25.0)));
}

/// Beside, slanting, or moved both ways.
fn sideways(row: &Row, out: &mut Vec<Model>) {
    let n = row.n;
    let level = || part(n, Prior::Within(SMALL_MM), |_| 1.0);
    let mut by = 0.0;
    let mut beside = row.model(COMMON, [vec![], vec![level()]], |s| {
        by = s[0];
        Some(Slip::Beside(s[0]))
    });
    if let Some(line) = row.given.line {
        // The row's line is off alike, or it is where it should be.
        let off = line.middle_mm - row.given.edge_distance_mm;
        let told = 0.5 * (1.0 + normal(off - by, RULED_MM) / normal(off, RULED_MM).max(1e-300));
        beside.log_prior += told.ln();
    }
    out.push(beside);
    out.push(row.model(RARE, [vec![level()], vec![level()]], |s| {
        Some(Slip::Moved(s[0], s[1]))
    }));
    // Slant: right at one of its ends, or anywhere.
    let s = row.given.stations_mm;
    let (first, last) = (s[0], s[n - 1]);
    let middle = s.iter().sum::<f64>() / n as f64;
    let slant = |s: &[f64]| Some(Slip::Slant(s[0]));
    for pivot in [first, middle, last] {
        let arm = part(n, Prior::Within(SMALL_MM), |k| {
            (s[k] - pivot) / (last - first)
        });
        let parts = if pivot == middle {
            vec![arm, level()]
        } else {
            vec![arm]
        };
        out.push(row.model(COMMON / 3.0, [vec![], parts], slant));
    }
}

fn normal(x: f64, sd: f64) -> f64 {
    (-0.5 * (x / sd).powi(2)).exp() / sd
}

/// One side of the ruled line is where the row should be, and the marks stand on the other.
fn line_side(row: &Row, line: RowLine, out: &mut Vec<Model>) {
    let off = line.middle_mm - row.given.edge_distance_mm;
    for side in [-1.0, 1.0] {
        let wide = side * line.width_mm;
        let left = [row.along.clone(), row.across.add_scalar(-wide)];
        let near = part(row.n, Prior::Near(BESIDE_LINE_MM), |_| 1.0);
        let mut model = row.from(COMMON / 2.0, left, [vec![], vec![near]], |s| {
            Some(Slip::LineSide(wide + s[0]))
        });
        let told = normal(off - wide / 2.0, BESIDE_LINE_MM) / normal(off, RULED_MM).max(1e-300);
        model.log_prior += told.max(1e-300).ln();
        out.push(model);
    }
}

/// Everything measures too large, the sheet too.
fn scale(row: &Row, out: &mut Vec<Model>) {
    let Some(sheet) = row.given.sheet else {
        return;
    };
    let (s, edge_mm) = (row.given.stations_mm, row.given.edge_mm);
    let far = s[row.n - 1].max(f64::MIN_POSITIVE);
    // Rows along the top or the right edge lie further from the datum too, and so nearer to their own edge.
    let from_datum = (row.given.edge_distance_mm - sheet.edge_at_mm).abs();
    let outward = if sheet.edge_at_mm > 0.0 { -1.0 } else { 1.0 };
    let share = sheet.excess_mm / edge_mm;
    let along = DVector::from_fn(row.n, |k, _| row.along[k] - share * s[k]);
    let across = row.across.add_scalar(-outward * share * from_datum);
    let near = part(row.n, Prior::Near(CUT_MM / edge_mm * far), |k| s[k] / far);
    let mut model = row.from(COMMON, [along, across], [vec![near], vec![]], |s| {
        Some(Slip::Scale(share + s[0] / far))
    });
    let both = CUT_MM.hypot(PRINT_OFF * edge_mm);
    let told = normal(sheet.excess_mm, both) / normal(sheet.excess_mm, CUT_MM).max(1e-300);
    model.log_prior += told.max(1e-300).ln();
    out.push(model);
}
