//! Which slip explains a row of marks, on numerical rows with noise.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cause_rows;

use cause_rows::{EDGE_DISTANCE_MM, EDGE_MM, Noise, SD_MM, Seen, share, share_of, stations};
use punchready::plan::Units;
use punchready::verdict::cause::{RowLine, RowMarks, RowSheet, Shared, Slip, explain};

#[test]
fn no_cause_is_claimed_where_there_is_none() {
    let as_planned = |_: usize, s: f64| [s, EDGE_DISTANCE_MM];
    // With everything that may be seen: a line on its place, ruled along the far side of the pen, and a sheet cut
    // a little large.
    let line = |off: f64| {
        Some(RowLine {
            middle_mm: EDGE_DISTANCE_MM + off,
            width_mm: 0.5,
        })
    };
    let sheet = |excess_mm: f64| {
        Some(RowSheet {
            excess_mm,
            edge_at_mm: 0.0,
        })
    };
    for count in [5, 7, 10, 14] {
        for (what, seen) in [
            ("marks alone", Seen::default()),
            (
                "line and sheet as planned",
                Seen {
                    line: line(0.0),
                    sheet: sheet(0.0),
                },
            ),
            (
                "line half its width off, sheet 0.5 mm large",
                Seen {
                    line: line(0.25),
                    sheet: sheet(0.5),
                },
            ),
        ] {
            let claimed = share_of(&stations(count), seen, as_planned, |c| c.is_some());
            println!("{count} holes, {what}: claimed in {:.2} %", 100.0 * claimed);
            assert!(claimed <= 0.02, "{count} holes, {what}: {claimed}");
        }
    }
}

/// One mark out by itself is no slip of its row.
#[test]
fn one_mark_out_is_no_cause() {
    for count in [6, 8, 14] {
        for out in [0, count / 2, count - 1] {
            let claimed = share(
                count,
                |k, s| [s + if k == out { 1.2 } else { 0.0 }, EDGE_DISTANCE_MM],
                |c| c.is_some(),
            );
            println!(
                "{count} holes, mark {} out: {:.2} %",
                out + 1,
                100.0 * claimed
            );
            assert!(
                claimed <= 0.02,
                "{count} holes, mark {}: {claimed}",
                out + 1
            );
        }
    }
}

/// Named right in this share of the rows at least: the bar.
const BAR: f64 = 0.95;

/// The effect, the largest displacement that the slip makes, is three times the scatter of a mark, or the smallest
/// that there is of its kind: a figure of the rule, an inch, an end.
///
/// Slips that grow along the row, and those that are shared by a part of it, are small at most marks: of these the
/// bar cannot be kept at that size, see [`what_no_judge_can_do`]; they are held to it at the sizes named.
#[test]
fn the_right_cause_is_named() {
    let e = EDGE_DISTANCE_MM;
    let effect = 3.0 * SD_MM;
    let mut missed = Vec::new();
    for count in [8, 10, 14] {
        let steps = count as f64 - 1.0;
        let length = 20.0 * steps;
        let mut told = |what: &str, bar: f64, share: f64| {
            println!("{count} holes, {what}: {:.1} %", 100.0 * share);
            if share < bar {
                missed.push(format!("{count} holes, {what}: {share}"));
            }
        };
        let along = |d: f64| move |_: usize, s: f64| [s + d, e];
        told(
            "start",
            BAR,
            share(
                count,
                along(effect),
                |c| matches!(c, Some(Slip::Start(mm)) if mm > 0.0),
            ),
        );
        told(
            "inch line",
            BAR,
            share(count, along(25.4), |c| matches!(c, Some(Slip::InchLine(_)))),
        );
        told(
            "beside",
            BAR,
            share(
                count,
                |_, s| [s, e - effect],
                |c| matches!(c, Some(Slip::Beside(mm)) if mm < 0.0),
            ),
        );
        told(
            "moved",
            BAR,
            share(
                count,
                |_, s| [s - effect, e - effect],
                |c| matches!(c, Some(Slip::Moved(a, b)) if a < 0.0 && b < 0.0),
            ),
        );
        told(
            "other end",
            BAR,
            share(
                count,
                |k, _| [EDGE_MM - 17.0 - 20.0 * k as f64, e],
                |c| matches!(c, Some(Slip::OtherEnd)),
            ),
        );
        // The pitch of 20 mm stepped off as 13/16 in or 3/4 in.
        for pitch in [20.6375, 19.05] {
            told(
                "pitch in sixteenths of an inch",
                BAR,
                share(
                    count,
                    |k, s| [s + (pitch - 20.0) * k as f64, e],
                    |c| matches!(c, Some(Slip::Unit(mm)) if (mm - pitch).abs() < 1e-9),
                ),
            );
        }
        told(
            "an inch as 25 mm",
            BAR,
            share(
                count,
                |_, s| [s * 25.0 / 25.4, e],
                |c| matches!(c, Some(Slip::InchAs(_))),
            ),
        );
        let step = effect / steps;
        for (sds, bar) in [(3.0, 0.0), (5.0, BAR)] {
            let step = step * sds / 3.0;
            told(
                &format!("steps, {sds} sd at the end"),
                bar,
                share(
                    count,
                    |k, s| [s - step * k as f64, e],
                    |c| matches!(c, Some(Slip::Steps(mm)) if mm < 0.0),
                ),
            );
        }
        let slant = |about: f64, size: f64| {
            share(
                count,
                |_, s| [s, e + size * ((s - 17.0) / length - about)],
                |c| matches!(c, Some(Slip::Slant(mm)) if mm > 0.0),
            )
        };
        for (sds, bar) in [(3.0, 0.0), (5.0, BAR)] {
            told(
                &format!("slant from its start, {sds} sd"),
                bar,
                slant(0.0, sds * SD_MM),
            );
            told(
                &format!("slant about its middle, {sds} sd each way"),
                bar,
                slant(0.5, 2.0 * sds * SD_MM),
            );
        }
        let jump =
            |size: f64| move |k: usize, s: f64| [s + if k >= count / 2 { size } else { 0.0 }, e];
        let sds = share(count, jump(effect), |c| matches!(c, Some(Slip::From(..))));
        println!("{count} holes, miscount, 3 sd: {:.1} %", 100.0 * sds);
        // The least that a miscount can be: a division of the rule.
        for (what, size, bar) in [
            ("1/32 in", 25.4 / 32.0, 0.85),
            ("1 mm", 1.0, BAR),
            ("1/16 in", 25.4 / 16.0, BAR),
        ] {
            told(
                &format!("miscount by {what}"),
                bar,
                share(
                    count,
                    jump(size),
                    |c| matches!(c, Some(Slip::From(k, _)) if k == count / 2 + 1),
                ),
            );
        }
    }
    assert!(missed.is_empty(), "{missed:#?}");
}

/// A row of 14, right up to its fifth mark and stepped from there: the mark from which is named within one, and the
/// step to 0.06 mm. Of a row right up to its second mark no more can be said than that it was stepped.
#[test]
fn steps_from_a_later_mark_are_named_with_the_mark() {
    let e = EDGE_DISTANCE_MM;
    for step in [-0.4, 0.4] {
        let named = share(
            14,
            |k, s| [s + step * k.saturating_sub(4) as f64, e],
            |c| matches!(c, Some(Slip::StepsFrom(4..=6, mm)) if (mm - step).abs() < 0.06),
        );
        println!(
            "14 holes, steps of {step} mm from A5 on: {:.1} %",
            100.0 * named
        );
        assert!(named >= BAR, "{named}");
        let stepped = share(
            14,
            |k, s| [s + step * k.saturating_sub(1) as f64, e],
            |c| matches!(c, Some(Slip::Steps(_) | Slip::StepsFrom(2..=3, _))),
        );
        println!(
            "14 holes, steps of {step} mm from A2 on: {:.1} %",
            100.0 * stepped
        );
        assert!(stepped >= BAR, "{stepped}");
    }
}

/// Slips that need stations of their own, or a line, or a sheet, to show.
#[test]
fn what_line_and_sheet_show_is_named() {
    let e = EDGE_DISTANCE_MM;
    let mut missed = Vec::new();
    let mut told = |what: &str, share: f64| {
        println!("{what}: {:.1} %", 100.0 * share);
        if share < BAR {
            missed.push(format!("{what}: {share}"));
        }
    };
    for count in [8, 10, 14] {
        // The first gaps are shorter by the least that shows: three times the scatter.
        let mut uneven = stations(count);
        for (k, s) in uneven.iter_mut().enumerate() {
            *s += 3.0 * SD_MM * (k as f64).min(2.0);
        }
        let (first, last) = (uneven[0], uneven[count - 1]);
        let turned: Vec<f64> = uneven.iter().rev().map(|s| first + last - s).collect();
        told(
            &format!("{count} holes, mirrored"),
            share_of(
                &uneven,
                Seen::default(),
                |k, _| [turned[k], e],
                |c| matches!(c, Some(Slip::Mirrored)),
            ),
        );
        for width_mm in [0.45, 0.6, 0.9] {
            for side in [-1.0, 1.0] {
                let line = Some(RowLine {
                    middle_mm: e + side * width_mm / 2.0,
                    width_mm,
                });
                let seen = Seen { line, sheet: None };
                told(
                    &format!("{count} holes, wrong side of a line of {width_mm} mm"),
                    share_of(
                        &stations(count),
                        seen,
                        |_, s| [s, e + side * width_mm],
                        |c| matches!(c, Some(Slip::LineSide(mm)) if mm * side > 0.0),
                    ),
                );
            }
            // The line is off with its marks: beside, and not the line's side.
            let line = Some(RowLine {
                middle_mm: e + width_mm,
                width_mm,
            });
            told(
                &format!("{count} holes, line and marks {width_mm} mm beside"),
                share_of(
                    &stations(count),
                    Seen { line, sheet: None },
                    |_, s| [s, e + width_mm],
                    |c| matches!(c, Some(Slip::Beside(_))),
                ),
            );
        }
        // A print that is off by half a percent, the least that a fit to the page does.
        for percent in [-0.5, 0.5, 1.0] {
            let share = percent / 100.0;
            let sheet = Some(RowSheet {
                excess_mm: share * EDGE_MM,
                edge_at_mm: 0.0,
            });
            told(
                &format!("{count} holes, scale off by {percent} %"),
                share_of(
                    &stations(count),
                    Seen { line: None, sheet },
                    |_, s| [s * (1.0 + share), e * (1.0 + share)],
                    |c| matches!(c, Some(Slip::Scale(got)) if (got - share).abs() < 0.002),
                ),
            );
        }
        // The same drift on a sheet of the right size is no matter of scale.
        let sheet = Some(RowSheet {
            excess_mm: 0.0,
            edge_at_mm: 0.0,
        });
        told(
            &format!("{count} holes, steps on a sheet of the right size"),
            share_of(
                &stations(count),
                Seen { line: None, sheet },
                |k, s| [s - 0.12 * k as f64, e],
                |c| matches!(c, Some(Slip::Steps(_))),
            ),
        );
    }
    assert!(missed.is_empty(), "{missed:#?}");
}

/// Why the bar is not set at an effect of three times the standard deviation of *its own estimate*, nor for steps
/// and miscounts at three times the scatter of a mark.
///
/// By the lemma of Neyman and Pearson ("On the Problem of the Most Efficient Tests of Statistical Hypotheses", Phil.
/// Trans. R. Soc. A 231, 1933, 289-337; from memory) no test beats that by the likelihood ratio. For one slip of known
/// kind, size and sign, with the scatter known, that ratio depends on the marks through z alone, the estimate over its
/// standard deviation: normal about 0 without the slip, about 3 with it. To claim it in at most 2 % of rows with none z
/// must exceed 2.05, and with the slip it does so in 83 % of rows. So 95 % at three standard deviations and 2 % of
/// false claims cannot be had together, not even by a judge who knows all that a real one has to find out.
///
/// And two slips of equal odds whose displacements differ by d (in units of the scatter, summed over the marks as
/// squares) are told apart by the best judge with Φ(d/2) of right answers at most: for steps of 3 sd at the end of a row of 8,
/// and a miscount of 3 sd before its fourth mark, d = 2.5 and 90 %.
#[test]
fn what_no_judge_can_do() {
    let mut noise = Noise(0x9e37_79b9_7f4a_7c15);
    let count = 200_000;
    let quantile = |mut z: Vec<f64>, share: f64| {
        z.sort_by(f64::total_cmp);
        z[(share * z.len() as f64) as usize]
    };
    let limit = quantile((0..count).map(|_| noise.normal()).collect(), 0.98);
    let found =
        (0..count).filter(|_| 3.0 + noise.normal() > limit).count() as f64 / f64::from(count);
    println!(
        "effect of 3 of its own sd, 2 % false claims: {:.1} % at best",
        100.0 * found
    );
    assert!((found - 0.828).abs() < 0.01, "{found}");

    let steps: Vec<f64> = (0..8).map(|k| 3.0 * f64::from(k) / 7.0).collect();
    let jump: Vec<f64> = (0..8).map(|k| if k >= 3 { 3.0 } else { 0.0 }).collect();
    let nearer = |from: &[f64], noise: &mut Noise| {
        let marks: Vec<f64> = from.iter().map(|d| d + noise.normal()).collect();
        let off = |to: &[f64]| -> f64 { marks.iter().zip(to).map(|(m, t)| (m - t).powi(2)).sum() };
        off(&steps) < off(&jump)
    };
    let right = (0..count).filter(|_| nearer(&steps, &mut noise)).count() as f64 / f64::from(count);
    println!(
        "steps of 3 sd against a miscount of 3 sd, both known: {:.1} % at best",
        100.0 * right
    );
    assert!((right - 0.898).abs() < 0.01, "{right}");

    // What is reached without knowing kind, size, sign or scatter, at effects of so many of their own sd.
    let e = EDGE_DISTANCE_MM;
    for own in [3.0, 4.0, 5.0, 6.0] {
        let n = 10;
        let start = own * SD_MM / f64::from(n).sqrt();
        let ramp: f64 = (0..n)
            .map(|k| (f64::from(k) / f64::from(n - 1)).powi(2))
            .sum();
        let end = own * SD_MM / ramp.sqrt();
        let shares = [
            share(
                n as usize,
                |_, s| [s + start, e],
                |c| matches!(c, Some(Slip::Start(_))),
            ),
            share(
                n as usize,
                |_, s| [s, e + start],
                |c| matches!(c, Some(Slip::Beside(_))),
            ),
            share(
                n as usize,
                |k, s| [s + end * k as f64 / f64::from(n - 1), e],
                |c| matches!(c, Some(Slip::Steps(_))),
            ),
        ];
        let [a, b, c] = shares.map(|s| 100.0 * s);
        println!("{own} of its own sd, 10 holes: start {a:.1} %, beside {b:.1} %, steps {c:.1} %");
    }
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
            shared: Shared::default(),
            line: None,
            sheet: None,
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
    let sentence = cause.sentence("A", &["A1", "A2", "A3", "A4", "A5"], Units::Millimetre);
    assert_eq!(
        sentence,
        "row A: A1 to A5 run 0.40 mm short per step: measure each from the end edge, not from the mark before \
         (how likely this is accident: 0.1 % or less)"
    );
}

/// The sentence names the mark from which the row was stepped, also where one before it was not read.
#[test]
fn the_mark_stepped_from_is_named() {
    let stations = stations(14);
    let names: Vec<String> = (1..=14).map(|k| format!("A{k}")).collect();
    for unread in [None, Some(1)] {
        let read: Vec<usize> = (0..14).filter(|k| Some(*k) != unread).collect();
        let marks: Vec<[f64; 2]> = read
            .iter()
            .map(|&k| {
                [
                    stations[k] - 0.4 * k.saturating_sub(4) as f64,
                    EDGE_DISTANCE_MM,
                ]
            })
            .collect();
        let planned: Vec<f64> = read.iter().map(|&k| stations[k]).collect();
        let cause = explain(&RowMarks {
            stations_mm: &planned,
            edge_mm: EDGE_MM,
            edge_distance_mm: EDGE_DISTANCE_MM,
            marks: &marks,
            sd_mm: 0.05,
            shared: Shared::default(),
            line: None,
            sheet: None,
        })
        .unwrap();
        let names: Vec<&str> = read.iter().map(|&k| names[k].as_str()).collect();
        assert_eq!(
            cause.sentence("A", &names, Units::Millimetre),
            "row A: A5 to A14 run 0.40 mm short per step: measure each from the end edge, not from the mark \
             before (how likely this is accident: 0.1 % or less)"
        );
    }
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
            unclear: false,
            ringed: false,
            kind: None,
            probability: None,
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
                probability: None,
            })
            .collect()
    };
    fn explained<'a>(
        (plan, row): (&punchready::plan::Plan, &punchready::plan::Row),
        holes: &'a [HoleResult],
        strays: &[Stray],
    ) -> Option<(punchready::verdict::cause::Cause, Vec<&'a str>)> {
        let outline = punchready::sheet::Outline::default();
        of_row(plan, row, (holes, strays), &[], &outline)
    }
    let piece = (&plan, row);
    let (told, names) = explained(piece, &holes, &strays(0.0, &mut noise)).unwrap();
    assert_eq!(names.len(), row.stations_mm.len());
    assert_eq!(told.slip, Slip::OtherEnd);
    // Marks far from the row's line are not its marks.
    assert_eq!(explained(piece, &holes, &strays(30.0, &mut noise)), None);
    let good: Vec<HoleResult> = holes
        .iter()
        .map(|h| HoleResult {
            state: HoleState::Good,
            ..h.clone()
        })
        .collect();
    assert_eq!(explained(piece, &good, &strays(0.0, &mut noise)), None);
}
