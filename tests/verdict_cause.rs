//! Which slip explains a row of marks, on numerical rows with noise.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use punchready::verdict::cause::{RowMarks, Slip, explain};

/// Standard deviation of a mark, mm: a careful hand.
const SD_MM: f64 = 0.15;
/// Rows for each case.
const ROWS: usize = 2000;
/// Sheet edge and edge distance, mm.
const EDGE_MM: f64 = 300.0;
const EDGE_DISTANCE_MM: f64 = 8.0;

/// A small generator with a fixed seed (Marsaglia's xorshift, 2003, from memory; normals by Box and Muller).
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let (u, v) = (self.uniform().max(1e-300), self.uniform());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }
}

/// Share of rows of `count` holes, moved by `slip`, for which `right` holds of what is explained.
fn share(
    count: usize,
    slip: impl Fn(usize, f64) -> [f64; 2],
    right: impl Fn(Option<Slip>) -> bool,
) -> f64 {
    let stations: Vec<f64> = (0..count).map(|k| 17.0 + 20.0 * k as f64).collect();
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
                stations_mm: &stations,
                edge_mm: EDGE_MM,
                edge_distance_mm: EDGE_DISTANCE_MM,
                marks: &marks,
                sd_mm: 0.05,
            };
            right(explain(&row).map(|c| c.slip))
        })
        .count();
    hits as f64 / ROWS as f64
}

#[test]
fn no_cause_is_claimed_where_there_is_none() {
    for count in [5, 7, 10, 14] {
        let claimed = share(count, |_, s| [s, EDGE_DISTANCE_MM], |c| c.is_some());
        println!("{count} holes: claimed in {:.2} %", 100.0 * claimed);
        assert!(claimed <= 0.02, "{count} holes: {claimed}");
    }
}

/// The effect (the largest displacement it makes) is three times the scatter of a mark.
#[test]
fn the_right_cause_is_named() {
    let e = EDGE_DISTANCE_MM;
    let effect = 3.0 * SD_MM;
    let mut least: f64 = 1.0;
    for count in [8, 10, 14] {
        let steps = count as f64 - 1.0;
        let length = 20.0 * steps;
        let mut held = |what: &str, share: f64| {
            println!("{count} holes, {what}: {:.1} %", 100.0 * share);
            least = least.min(share);
        };
        held(
            "start",
            share(
                count,
                |_, s| [s + effect, e],
                |c| matches!(c, Some(Slip::Start(mm)) if mm > 0.0),
            ),
        );
        held(
            "beside",
            share(
                count,
                |_, s| [s, e - effect],
                |c| matches!(c, Some(Slip::Beside(mm)) if mm < 0.0),
            ),
        );
        held(
            "inch line",
            share(
                count,
                |_, s| [s + 25.4, e],
                |c| matches!(c, Some(Slip::InchLine(_))),
            ),
        );
        held(
            "other end",
            share(
                count,
                |k, _| [EDGE_MM - 17.0 - 20.0 * k as f64, e],
                |c| matches!(c, Some(Slip::OtherEnd)),
            ),
        );
        // What grows along the row is small at most marks: three times the scatter at the far end is told, and
        // twice that held to the bar.
        let step = effect / steps;
        let weak = share(
            count,
            |k, s| [s - step * k as f64, e],
            |c| matches!(c, Some(Slip::Steps(mm)) if mm < 0.0),
        );
        println!(
            "{count} holes, steps, 3 sd at the end: {:.1} %",
            100.0 * weak
        );
        held(
            "steps, 6 sd at the end",
            share(
                count,
                |k, s| [s - 2.0 * step * k as f64, e],
                |c| matches!(c, Some(Slip::Steps(mm)) if mm < 0.0),
            ),
        );
        let slant = |about: f64, size: f64| {
            share(
                count,
                |_, s| [s, e + size * ((s - 17.0) / length - about)],
                |c| matches!(c, Some(Slip::Slant(mm)) if mm > 0.0),
            )
        };
        println!(
            "{count} holes, slant from its start, 3 sd at the end: {:.1} %",
            100.0 * slant(0.0, effect)
        );
        held(
            "slant from its start, 6 sd at the end",
            slant(0.0, 2.0 * effect),
        );
        println!(
            "{count} holes, slant about its middle, 3 sd each way: {:.1} %",
            100.0 * slant(0.5, 2.0 * effect)
        );
        held(
            "slant about its middle, 5 sd each way",
            slant(0.5, 10.0 / 3.0 * effect),
        );
        let jump =
            |size: f64| move |k: usize, s: f64| [s + if k >= count / 2 { size } else { 0.0 }, e];
        let weak = share(count, jump(effect), |c| matches!(c, Some(Slip::From(..))));
        println!("{count} holes, miscount, 3 sd: {:.1} %", 100.0 * weak);
        held(
            "miscount by 1/16 in",
            share(
                count,
                jump(1.5875),
                |c| matches!(c, Some(Slip::From(k, _)) if k == count / 2 + 1),
            ),
        );
    }
    assert!(least >= 0.95, "{least}");
}

#[test]
fn what_cannot_be_judged_is_not() {
    let stations = [10.0, 30.0, 50.0, 70.0, 90.0];
    let row = |marks: &[[f64; 2]]| {
        explain(&RowMarks {
            stations_mm: &stations,
            edge_mm: 100.0,
            edge_distance_mm: 8.0,
            marks,
            sd_mm: 0.05,
        })
    };
    assert!(row(&[[11.0, 8.0]; 4]).is_none());
    assert!(row(&[[f64::NAN, 8.0]; 5]).is_none());
    // Same from both ends: the other end cannot be told, and nothing is wrong.
    let exact: Vec<[f64; 2]> = stations.iter().map(|&s| [s, 8.0]).collect();
    assert!(row(&exact).is_none());
    let off: Vec<[f64; 2]> = stations
        .iter()
        .enumerate()
        .map(|(k, &s)| [s - 0.4 * k as f64, 8.0])
        .collect();
    let cause = row(&off).unwrap();
    let sentence = cause.sentence("A", &["A1", "A2", "A3", "A4", "A5"]);
    assert_eq!(
        sentence,
        "row A: A1 to A5 run 0.40 mm short per step: measure each from the end edge instead of from the mark before \
         (chance 0.1 % or less)"
    );
}

/// A row of the fixture measured from the wrong end: its marks belong to no hole, and the slip is named.
#[test]
fn a_row_of_strays_is_explained() {
    use punchready::frame::Point;
    use punchready::verdict::cause::of_row;
    use punchready::verdict::{HoleResult, HoleState, Stray, StrayState};

    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/hatch-cover.toml");
    let plan = punchready::plan::read(&path).unwrap();
    let row = &plan.rows[0];
    let holes: Vec<HoleResult> = plan
        .holes
        .iter()
        .filter(|h| h.row.as_deref() == Some("A"))
        .map(|h| HoleResult {
            name: h.name.clone(),
            row: h.row.clone(),
            planned: h.at,
            found: None,
            uncertainty_mm: None,
            state: HoleState::Missing,
            ringed: false,
            kind: None,
        })
        .collect();
    let mut noise = Noise(7);
    let strays = |inward: f64, noise: &mut Noise| -> Vec<Stray> {
        holes
            .iter()
            .map(|h| Stray {
                at: Point::new(
                    plan.width_mm - h.planned.x + SD_MM * noise.normal(),
                    h.planned.y + inward + SD_MM * noise.normal(),
                ),
                uncertainty_mm: 0.1,
                ringed: false,
                state: StrayState::Stray,
                size_mm: 0.8,
                why: None,
            })
            .collect()
    };
    let told = of_row(&plan, row, &holes, &strays(0.0, &mut noise)).unwrap();
    assert!(
        told.starts_with("row A: the marks fit when measured from the other end edge"),
        "{told}"
    );
    // Marks far from the row's line are not its marks.
    assert_eq!(of_row(&plan, row, &holes, &strays(30.0, &mut noise)), None);
    let good: Vec<HoleResult> = holes
        .iter()
        .map(|h| HoleResult {
            state: HoleState::Good,
            ..h.clone()
        })
        .collect();
    assert_eq!(of_row(&plan, row, &good, &strays(0.0, &mut noise)), None);
}
