//! Points, doubts, what fails, and what to change first: on pieces whose marks are known exactly.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod grade_support;

use std::path::Path;

use grade_support::{coupon, key};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use punchready::frame::Point;
use punchready::grade::feedback::{Feedback, Size, Stand, html};
use punchready::grade::findings::{Findings, FoundLine};
use punchready::grade::habits::{Habit, first, slips};
use punchready::grade::rubric::{Rubric, STARTER, parse};
use punchready::grade::score::{ItemScore, Score, as_measured, score};
use punchready::plan::Plan;
use punchready::synth::marking::{Hand, Marking};
use punchready::verdict::{HoleState, StrayState};

/// Rounding of a mean over some marks.
const EXACT: f64 = 1e-6;

fn steady() -> Hand {
    Hand {
        scatter_mm: 0.0,
        line_scatter_mm: 0.0,
        ..Hand::default()
    }
}

fn perfect(plan: &Plan) -> Findings {
    key(plan, &Marking::of(plan, &steady()))
}

fn starter(plan: &Plan) -> Rubric {
    with(plan, &[])
}

/// The starter with some of its text changed.
fn with(plan: &Plan, changes: &[(&str, &str)]) -> Rubric {
    let text = changes.iter().fold(STARTER.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    parse(&text, Path::new("starter.toml"), plan).unwrap()
}

fn item<'s>(score: &'s Score, key: &str) -> &'s ItemScore {
    score.items.iter().find(|i| i.key == key).unwrap()
}

fn shifted(found: &Findings, hole: &str, dx: f64, dy: f64) -> Findings {
    let mut found = found.clone();
    let hole = found.holes.iter_mut().find(|h| h.name == hole).unwrap();
    let [x, y] = hole.found.unwrap();
    hole.found = Some([x + dx, y + dy]);
    found
}

#[test]
fn a_perfect_piece_has_all_points_but_those_by_eye() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let marked = score(&perfect(&plan), &plan, &rubric).unwrap();
    assert_eq!(
        (marked.points, marked.judged, marked.left),
        (95.0, 95.0, 5.0)
    );
    assert_eq!(marked.percent(), Some(100.0));
    assert_eq!(marked.passed(&rubric), Some(true));
    assert!(marked.fails.is_empty());
    let by_eye = item(&marked, "instructor");
    assert_eq!((by_eye.share, by_eye.points()), (None, None));
    assert!(slips(&perfect(&plan), &plan, &marked).is_empty());
    // The rubric that says nothing of a pass gives no such word.
    let plain = with(&plan, &[("pass = 60 ", "# pass = 60 ")]);
    assert_eq!(marked.passed(&plain), None);
}

#[test]
fn each_fault_costs_its_own_item() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let clean = Marking::of(&plan, &steady());
    let marked = |m: Marking| score(&key(&plan, &m), &plan, &rubric).unwrap();
    let close = |a: f64, b: f64| assert!((a - b).abs() < EXACT, "{a} {b}");

    let missing = marked(clean.clone().drop_hole("B2").unwrap());
    close(item(&missing, "presence").share.unwrap(), 16.0 / 17.0);
    assert!(item(&missing, "presence").figure.contains("no mark at B2"));
    // It counts as nothing in its place, in two of the 15 spacings, and for its row.
    close(item(&missing, "position").share.unwrap(), 16.0 / 17.0);
    close(item(&missing, "spacing").share.unwrap(), 13.0 / 15.0);
    for key in ["edge_distance", "lines.straight", "lines.parallel"] {
        close(item(&missing, key).share.unwrap(), 0.5);
    }
    let told = &item(&missing, "spacing").figure;
    assert!(
        told.contains("2 for want of a mark counted as nothing"),
        "{told}"
    );

    let crossed = marked(clean.clone().cross_out_hole("A3").unwrap());
    close(item(&crossed, "presence").share.unwrap(), 16.0 / 17.0);
    assert!(
        item(&crossed, "presence")
            .figure
            .contains("not marked again: A3")
    );

    // 1.5 tolerances: halfway between 75 and 0 percent.
    let off = marked(
        clean
            .clone()
            .shift("A5", 1.5 * plan.tolerance_mm, 0.0)
            .unwrap(),
    );
    close(item(&off, "position").share.unwrap(), (16.0 + 0.375) / 17.0);
    // Two of the 15 spacings are out by as much.
    close(
        item(&off, "spacing").share.unwrap(),
        (13.0 + 2.0 * 0.375) / 15.0,
    );
    assert!(
        item(&off, "position")
            .figure
            .contains("most at A5, 0.047 in"),
        "{off:?}"
    );

    let at = Point::new(70.0, 20.0);
    let stray = marked(clean.clone().stray(at));
    close(item(&stray, "strays").share.unwrap(), 0.5);
    let in_time = marked(clean.clone().stray(at).cross_out(at));
    close(item(&in_time, "strays").share.unwrap(), 0.95);
    assert!(
        item(&in_time, "strays")
            .figure
            .contains("1 crossed out in time")
    );
    let three = marked(
        [20.0, 60.0, 100.0]
            .into_iter()
            .fold(clean.clone(), |m, x| m.stray(Point::new(x, 15.0))),
    );
    close(item(&three, "strays").share.unwrap(), 0.0);

    let rings = with(
        &plan,
        &[(
            "weight = 0\nholes = \"none\"",
            "weight = 10\nholes = [\"A1\", \"A9\"]",
        )],
    );
    let half = key(&plan, &clean.clone().ring_hole("A1").unwrap());
    let half = score(&half, &plan, &rings).unwrap();
    close(item(&half, "rings").share.unwrap(), 0.5);
    assert!(item(&half, "rings").figure.contains("none round A9"));
}

#[test]
fn lines_are_judged_by_what_is_found_of_them() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let found = perfect(&plan);
    assert_eq!(found.lines.len(), 2);
    let mut twice = found.clone();
    let again = FoundLine {
        ends: twice.lines[0].ends.map(|[x, y]| [x, y - 1.6]),
        width_mm: 0.5,
    };
    twice.lines.push(again);
    let marked = score(&twice, &plan, &rubric).unwrap();
    assert_eq!(item(&marked, "lines.one_pass").share, Some(0.5));
    assert!(
        item(&marked, "lines.one_pass")
            .figure
            .contains("side by side")
    );
    let mut thick = found.clone();
    thick.lines[1].width_mm = 0.9;
    let marked = score(&thick, &plan, &rubric).unwrap();
    assert!((item(&marked, "lines.thin").share.unwrap() - 0.75).abs() < EXACT);
    // Two pieces of one line, end to end, were ruled once.
    let mut pieces = found.clone();
    let [a, b] = pieces.lines[0].ends;
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    pieces.lines[0].ends = [a, middle];
    pieces.lines.push(FoundLine {
        ends: [[middle[0] + 3.0, middle[1]], b],
        width_mm: 0.5,
    });
    let marked = score(&pieces, &plan, &rubric).unwrap();
    assert_eq!(item(&marked, "lines.one_pass").share, Some(1.0));
    // Nothing ruled, or nothing seen of it: not for the photo to say.
    let mut none = found;
    none.lines.clear();
    let marked = score(&none, &plan, &rubric).unwrap();
    for key in ["lines.thin", "lines.one_pass"] {
        assert_eq!(item(&marked, key).share, None, "{key}");
    }
    assert_eq!(marked.percent(), Some(100.0), "what is left does not count");
}

#[test]
fn a_doubt_is_the_students() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let mut found = shifted(&perfect(&plan), "A5", 1.5 * plan.tolerance_mm, 0.0);
    for hole in &mut found.holes {
        hole.u_mm = Some(0.25 * plan.tolerance_mm);
    }
    let marked = score(&found, &plan, &rubric).unwrap();
    // Counted as 1.25 tolerances: three quarters of the way down from 75 percent are left.
    let wanted = (16.0 + 0.5625) / 17.0;
    assert!(
        (item(&marked, "position").share.unwrap() - wanted).abs() < EXACT,
        "{marked:?}"
    );
    let doubt = item(&marked, "position").doubt.clone().unwrap();
    assert!(
        doubt.contains("counted for you") && doubt.contains("(1 of 17)"),
        "{doubt}"
    );
    // As measured, for the instructor: less, and never more.
    let strict = as_measured(&found, &plan, &rubric).unwrap();
    assert!(strict < marked.percent().unwrap());
    let measured = with(&plan, &[("for = \"student\" ", "for = \"measured\" ")]);
    let same = score(&found, &plan, &measured).unwrap();
    assert_eq!(same.percent(), Some(strict));

    // What is not seen costs nothing, up to a share; beyond it the item is left to the instructor.
    let unseen = |n: usize| {
        let mut found = perfect(&plan);
        for hole in found.holes.iter_mut().take(n) {
            hole.state = HoleState::Unseen;
            hole.found = None;
            hole.u_mm = None;
        }
        score(&found, &plan, &rubric).unwrap()
    };
    let some = unseen(4);
    assert_eq!(item(&some, "presence").share, Some(1.0));
    assert!(
        item(&some, "presence")
            .doubt
            .as_ref()
            .unwrap()
            .contains("not judged from the photo")
    );
    assert!(
        item(&some, "position")
            .doubt
            .as_ref()
            .unwrap()
            .contains("4 not visible")
    );
    let many = unseen(6);
    assert_eq!(item(&many, "presence").share, None);
    assert_eq!(item(&many, "position").share, None);
    // With most of the points open there is no score at all.
    assert_eq!(many.percent(), None);
    assert_eq!(many.passed(&rubric), None);
}

#[test]
fn only_what_is_sure_fails_at_once() {
    let (_, plan) = coupon();
    let rubric = with(&plan, &[("# edge_under = 2.0", "edge_under = 2.0")]);
    let fails = |found: &Findings| score(found, &plan, &rubric).unwrap().fails.join("; ");
    let clean = Marking::of(&plan, &steady());
    let at = Point::new(70.0, 20.0);
    let ringed = key(
        &plan,
        &clean
            .clone()
            .stray(at)
            .ring(at, 7.0, punchready::synth::RingStyle::Closed),
    );
    assert!(fails(&ringed).contains("ringed mark"), "{}", fails(&ringed));
    let mut unsure = ringed.clone();
    unsure
        .strays
        .iter_mut()
        .for_each(|s| s.state = StrayState::Unsure);
    assert_eq!(fails(&unsure), "");

    // 6 tolerances are 4.76 mm: beyond it with U granted, or not.
    let far = |u: f64| {
        let mut found = shifted(&perfect(&plan), "A5", 5.0, 0.0);
        found.holes.iter_mut().for_each(|h| h.u_mm = Some(u));
        fails(&found)
    };
    assert!(far(0.1).contains("A5 further than"), "{}", far(0.1));
    assert_eq!(far(0.3), "");

    // Two diameters of 1/8 in are 6.35 mm; the row stands at 7.94 mm.
    let near = |u: f64| {
        let mut found = shifted(&perfect(&plan), "A2", 0.0, 1.8);
        found.holes.iter_mut().for_each(|h| h.u_mm = Some(u));
        fails(&found)
    };
    assert!(near(0.1).contains("A2 nearer to an edge"), "{}", near(0.1));
    assert_eq!(near(0.3), "");

    let five = (1..=5).fold(clean, |m, k| m.drop_hole(&format!("A{k}")).unwrap());
    let found = key(&plan, &five);
    assert!(
        fails(&found).contains("5 holes without a mark"),
        "{}",
        fails(&found)
    );
    let marked = score(&found, &plan, &rubric).unwrap();
    assert_eq!(marked.passed(&rubric), Some(false), "whatever the points");
}

#[test]
fn habits_are_those_behind_the_points() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let hand = Hand {
        scatter_mm: 0.08,
        line_scatter_mm: 0.02,
        ..Hand::default()
    };
    let habits = |change: &dyn Fn(&mut Plan), after: &dyn Fn(Marking) -> Marking| {
        let mut meant = plan.clone();
        change(&mut meant);
        let found = key(&plan, &after(Marking::of(&meant, &hand)));
        let marked = score(&found, &plan, &rubric).unwrap();
        let all = slips(&found, &plan, &marked);
        let told: Vec<(Habit, Option<String>)> = first(&all)
            .iter()
            .map(|s| (s.habit, s.row.clone()))
            .collect();
        let advice: Vec<String> = first(&all).iter().map(|s| s.advice.clone()).collect();
        (told, advice)
    };
    let along = |meant: &mut Plan, row: &str, by: &dyn Fn(usize) -> f64| {
        let own = meant
            .holes
            .iter_mut()
            .filter(|h| h.row.as_deref() == Some(row));
        own.enumerate().for_each(|(k, h)| h.at.x += by(k));
    };
    let row = |n: &str| Some(n.to_owned());
    let asis = |m: Marking| m;

    let (told, advice) = habits(&|p| along(p, "A", &|k| 0.25 * k as f64), &asis);
    assert_eq!(told[0], (Habit::Steps, row("A")));
    assert!(advice[0].contains("instead of stepping"), "{advice:?}");
    // Stepped from a later mark: the mark is named, and how far it is out at the last.
    let late = |k: usize| 0.4 * k.saturating_sub(2) as f64;
    let (told, advice) = habits(&|p| along(p, "A", &late), &asis);
    assert_eq!(told[0], (Habit::Steps, row("A")));
    let wanted = "In row A all is well up to A3, and from there small errors add up, to 0.09";
    assert!(advice[0].starts_with(wanted), "{advice:?}");
    let (told, _) = habits(&|p| along(p, "B", &|_| 1.4), &asis);
    assert_eq!(told[0], (Habit::Start, row("B")));
    let (told, _) = habits(
        &|p| along(p, "A", &|k| if k > 4 { 1.6 } else { 0.0 }),
        &asis,
    );
    assert_eq!(told[0], (Habit::Miscounted, row("A")));
    let beside = |p: &mut Plan| {
        p.rows[1].edge_distance_mm += 1.2;
        let own = p.holes.iter_mut().filter(|h| h.row.as_deref() == Some("B"));
        own.for_each(|h| h.at.y -= 1.2);
    };
    let (told, advice) = habits(&beside, &asis);
    assert_eq!(told[0], (Habit::Beside, row("B")));
    assert!(advice[0].contains("too far from its edge"), "{advice:?}");

    // Two sorts of slip, the costlier first, and no more than two.
    let (told, _) = habits(&beside, &|m| {
        let m = m.drop_hole("A2").unwrap().drop_hole("A7").unwrap();
        m.stray(Point::new(30.0, 20.0))
            .stray(Point::new(90.0, 20.0))
    });
    // The two holes cost most, for the figures of their row go with them; the other row next, the strays least.
    let wanted = [(Habit::Missing, None), (Habit::Beside, row("B"))];
    assert_eq!(told, wanted);
}

#[test]
fn where_nothing_was_measured_nothing_is_guessed() {
    let (_, plan) = coupon();
    let rubric = starter(&plan);
    let mut found = perfect(&plan);
    found.measured = false;
    assert!(score(&found, &plan, &rubric).is_none());
    let sheet = Feedback::of("Ana", &found, &plan, &rubric, None);
    assert!(matches!(sheet.stand, Stand::Open(_)) && sheet.items.is_empty());
    let page = html(&sheet, Size::A4);
    assert!(page.contains("not graded yet") && page.contains("says nothing about your work"));
    assert!(!page.contains("of 100"));
}

/// A piece by hand: each hole's mark moved by so much, or left out, and strays.
#[derive(Debug, Clone)]
struct Made {
    marks: Vec<Option<[f64; 2]>>,
    strays: Vec<[f64; 2]>,
    rubric: String,
}

impl Made {
    fn percent(&self, plan: &Plan) -> Option<f64> {
        let rubric = parse(&self.rubric, Path::new("r.toml"), plan).unwrap();
        let mut marking = Marking::of(plan, &steady());
        for (hole, mark) in plan.holes.iter().zip(&self.marks) {
            marking = match mark {
                Some([dx, dy]) => marking.shift(&hole.name, *dx, *dy).unwrap(),
                None => marking.drop_hole(&hole.name).unwrap(),
            };
        }
        for [x, y] in &self.strays {
            marking = marking.stray(Point::new(*x, *y));
        }
        score(&key(plan, &marking), plan, &rubric)
            .unwrap()
            .percent()
    }

    /// With another mark at one hole.
    fn with(&self, hole: usize, mark: Option<[f64; 2]>) -> Self {
        let mut other = self.clone();
        other.marks[hole] = mark;
        other
    }
}

fn made(holes: usize) -> impl Strategy<Value = Made> {
    // Up to where a mark is still that hole's; most are near, some are out of all bands.
    let mark = prop_oneof![
        4 => (-0.6..0.6, -0.6..0.6).prop_map(|(x, y)| Some([x, y])),
        2 => (-2.2..2.2, -2.2..2.2).prop_map(|(x, y)| Some([x, y])),
        1 => Just(None),
    ];
    let weights = prop::collection::vec(0_u32..40, 7);
    let bands = prop_oneof![
        Just("[[0.5, 100], [1, 75], [2, 0]]"),
        Just("[[1, 100], [3, 50]]"),
        Just("[[0.25, 80], [0.5, 40], [4, 0]]"),
    ];
    let rubric =
        (weights, bands, any::<bool>(), any::<bool>()).prop_map(|(w, b, steps, student)| {
            let by = if student { "student" } else { "measured" };
            let banded = |name: &str, weight: u32| {
                format!("[{name}]\nweight = {weight}\nbands = {b}\nsteps = {steps}\n")
            };
            format!(
                "[doubt]\nfor = \"{by}\"\n[presence]\nweight = {}\n",
                w[0] + 1
            ) + &banded("position", w[1])
                + &banded("spacing", w[2])
                + &banded("edge_distance", w[3])
                + &banded("lines.straight", w[4])
                + &banded("lines.parallel", w[5])
                + &format!("[strays]\nweight = {}\n", w[6])
        });
    // Further from every hole than a mark may be from its own.
    let strays = prop::collection::vec((30.0..120.0, 15.0..40.0).prop_map(|(x, y)| [x, y]), 0..3);
    (prop::collection::vec(mark, holes), strays, rubric).prop_map(|(marks, strays, rubric)| Made {
        marks,
        strays,
        rubric,
    })
}

/// Pieces tried, each with every hole left out and marked in turn.
const PIECES: u32 = 60;

proptest! {
    #![proptest_config(ProptestConfig {
        cases: PIECES,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(23),
        ..ProptestConfig::default()
    })]

    /// Whatever the rubric: no mark is so bad that leaving it out pays, and what was left out is worth marking.
    #[test]
    fn leaving_out_never_pays(piece in made(17)) {
        let (_, plan) = coupon();
        prop_assert_eq!(plan.holes.len(), piece.marks.len());
        let now = piece.percent(&plan);
        for (i, hole) in plan.holes.iter().enumerate() {
            let (less, more) = match piece.marks[i] {
                Some(_) => (piece.with(i, None).percent(&plan), now),
                None => (now, piece.with(i, Some([0.0, 0.0])).percent(&plan)),
            };
            if let (Some(less), Some(more)) = (less, more) {
                prop_assert!(less <= more + EXACT, "{} without: {less}, with: {more}", hole.name);
            }
        }
        let mut clean = piece.clone();
        clean.strays.clear();
        if let (Some(with), Some(without)) = (now, clean.percent(&plan)) {
            prop_assert!(without >= with - EXACT, "strays raise {without} to {with}");
        }
        clean.marks.iter_mut().for_each(|m| *m = Some([0.0, 0.0]));
        if let (Some(with), Some(best)) = (now, clean.percent(&plan)) {
            prop_assert!(best >= with - EXACT, "{best} for a piece without fault, {with} with");
        }
    }
}
