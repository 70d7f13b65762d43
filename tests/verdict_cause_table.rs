//! The table in docs/accuracy.md of slips: how often each is named right, and from which size on nineteen times in twenty.
//!
//! `PUNCHREADY_BLESS=1 cargo test --release --test verdict_cause_table` writes it anew.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cause_rows;

use std::fs;
use std::path::Path;

use cause_rows::{EDGE_DISTANCE_MM, EDGE_MM, SD_MM, Seen, share, share_of, stations};
use punchready::verdict::cause::{RowLine, RowSheet, Slip};

/// Holes of the rows: the least share of the three is told.
const COUNTS: [usize; 3] = [8, 10, 14];
/// The bar that a slip is held to from some size on.
const BAR: f64 = 0.95;
/// Sizes tried, in multiples of the marks' scatter: the first is the one of the table's second column.
const SIZES: [f64; 13] = [
    3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0, 7.5, 8.0, 9.0, 10.0,
];
const E: f64 = EDGE_DISTANCE_MM;

/// Share of rows with so many holes in which a slip of so many mm is named right.
type Named = fn(usize, f64) -> f64;

/// The same of a slip that has a size of its own.
type NamedAsIs = fn(usize) -> f64;

fn last(count: usize) -> f64 {
    (count - 1) as f64
}

/// Slips of any size: what the size is that of, and the share.
const GROWING: [(&str, &str, Named); 8] = [
    (
        "started elsewhere than at the edge",
        "every mark",
        |n, mm| {
            share(
                n,
                |_, s| [s + mm, E],
                |c| matches!(c, Some(Slip::Start(d)) if d > 0.0),
            )
        },
    ),
    ("row beside its place", "every mark", |n, mm| {
        share(
            n,
            |_, s| [s, E - mm],
            |c| matches!(c, Some(Slip::Beside(d)) if d < 0.0),
        )
    }),
    (
        "measured from another corner",
        "every mark, along and across",
        |n, mm| {
            share(
                n,
                |_, s| [s - mm, E - mm],
                |c| matches!(c, Some(Slip::Moved(a, b)) if a < 0.0 && b < 0.0),
            )
        },
    ),
    (
        "on the wrong side of its ruled line",
        "the line's width",
        |n, mm| {
            let line = Some(RowLine {
                middle_mm: E + mm / 2.0,
                width_mm: mm,
            });
            share_of(
                &stations(n),
                Seen { line, sheet: None },
                |_, s| [s, E + mm],
                |c| matches!(c, Some(Slip::LineSide(d)) if d > 0.0),
            )
        },
    ),
    ("stepped from mark to mark", "the last mark", |n, mm| {
        share(
            n,
            |k, s| [s - mm * k as f64 / last(n), E],
            |c| matches!(c, Some(Slip::Steps(d)) if d < 0.0),
        )
    }),
    ("row not parallel to its edge", "the last mark", |n, mm| {
        share(
            n,
            |k, s| [s, E + mm * k as f64 / last(n)],
            |c| matches!(c, Some(Slip::Slant(d)) if d > 0.0),
        )
    }),
    ("row turned about its middle", "both end marks", |n, mm| {
        share(
            n,
            |k, s| [s, E + mm * (2.0 * k as f64 / last(n) - 1.0)],
            |c| matches!(c, Some(Slip::Slant(d)) if d > 0.0),
        )
    }),
    (
        "one step miscounted, and which",
        "each mark from there on",
        |n, mm| {
            share(
                n,
                |k, s| [s + if k >= n / 2 { mm } else { 0.0 }, E],
                |c| matches!(c, Some(Slip::From(k, d)) if k == n / 2 + 1 && d > 0.0),
            )
        },
    ),
];

/// Slips that have a size of their own.
const GIVEN: [(&str, NamedAsIs); 6] = [
    ("from the rule's 1 in line", |n| {
        share(
            n,
            |_, s| [s + 25.4, E],
            |c| matches!(c, Some(Slip::InchLine(_))),
        )
    }),
    ("from the other end", |n| {
        share(
            n,
            |k, _| [EDGE_MM - 17.0 - 20.0 * k as f64, E],
            |c| matches!(c, Some(Slip::OtherEnd)),
        )
    }),
    ("turned end for end, first two gaps 0.45 mm shorter", |n| {
        let mut uneven = stations(n);
        for (k, s) in uneven.iter_mut().enumerate() {
            *s += 3.0 * SD_MM * (k as f64).min(2.0);
        }
        let ends = uneven[0] + uneven[n - 1];
        let turned: Vec<f64> = uneven.iter().rev().map(|s| ends - s).collect();
        share_of(
            &uneven,
            Seen::default(),
            |k, _| [turned[k], E],
            |c| matches!(c, Some(Slip::Mirrored)),
        )
    }),
    ("a pitch of 20 mm stepped off as 13/16 in", |n| {
        share(
            n,
            |k, s| [s + 0.6375 * k as f64, E],
            |c| matches!(c, Some(Slip::Unit(mm)) if (mm - 20.6375).abs() < 1e-9),
        )
    }),
    ("an inch taken as 25 mm", |n| {
        share(
            n,
            |_, s| [s * 25.0 / 25.4, E],
            |c| matches!(c, Some(Slip::InchAs(_))),
        )
    }),
    ("the print 0.5 % off, not the marks", |n| {
        let sheet = Some(RowSheet {
            excess_mm: 0.005 * EDGE_MM,
            edge_at_mm: 0.0,
        });
        share_of(
            &stations(n),
            Seen { line: None, sheet },
            |_, s| [s * 1.005, E * 1.005],
            |c| matches!(c, Some(Slip::Scale(_))),
        )
    }),
];

fn least(of: impl Fn(usize) -> f64) -> f64 {
    COUNTS.into_iter().map(of).fold(1.0, f64::min)
}

/// Rounded down, so that no share is overstated.
fn percent(share: f64) -> String {
    format!("{:.0} %", (100.0 * share + 1e-9).floor())
}

fn table() -> String {
    let mut out = String::from(
        "| slip | its size is that of | named right at 3 times the scatter | 95 % and more from |\n\
         | --- | --- | --: | --: |\n",
    );
    for (name, of, named) in GROWING {
        let at = |times: f64| least(|n| named(n, times * SD_MM));
        let held = SIZES.into_iter().find(|&times| at(times) >= BAR);
        let held = held.map_or("not held".into(), |times| {
            format!("{times} times, {:.3} mm", times * SD_MM)
        });
        out += &format!("| {name} | {of} | {} | {held} |\n", percent(at(SIZES[0])));
    }
    for (name, named) in GIVEN {
        let share = least(named);
        assert!(share >= BAR, "{name}: {share}");
        out += &format!("| {name} | it has one size | {} | |\n", percent(share));
    }
    out
}

#[test]
fn the_accuracy_page_says_what_is_held() {
    const MARKS: [&str; 2] = ["<!-- causes: begin -->\n", "<!-- causes: end -->"];
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/accuracy.md");
    let page = fs::read_to_string(&path).unwrap();
    let [from, to] = MARKS.map(|m| page.find(m).unwrap());
    let from = from + MARKS[0].len();
    let table = table();
    println!("{table}");
    if std::env::var_os("PUNCHREADY_BLESS").is_some() {
        fs::write(&path, format!("{}{table}{}", &page[..from], &page[to..])).unwrap();
        return;
    }
    assert_eq!(page[from..to].trim_end(), table.trim_end());
}
