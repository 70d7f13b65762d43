//! Several photos of one piece: one result, whatever their order, and no photo believed that does not fit.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod strip_scene;

use std::path::Path;
use std::sync::OnceLock;

use punchready::check::{Checked, Given, Known, check_all};
use punchready::frame::Point;
use punchready::photo::Photo;
use punchready::plan::Plan;
use punchready::synth::{Scene, TrueMark, truth_of};
use punchready::verdict::{Decision, HoleState};
use strip_scene::{cameras, given, marking, photo, plan, scene};

/// The order of the photos may show in rounding alone, and sums of some hundred terms near 600 mm keep 1e-9.
const ROUNDING_MM: f64 = 1e-7;
/// The project's bar for a strip, apart from the print scale, which is true here.
const STRIP_RMS_MM: f64 = 0.08;

struct Strip {
    plan: Plan,
    scene: Scene,
    photos: Vec<Photo>,
    truth: Vec<TrueMark>,
}

fn strip() -> &'static Strip {
    static STRIP: OnceLock<Strip> = OnceLock::new();
    STRIP.get_or_init(|| {
        let plan = plan();
        let scene = scene(&plan, marking(&plan, 3), 3);
        let names = ["left.jpg", "middle.jpg", "right.jpg"];
        let photos = (0..3).map(|i| drawn(&plan, &scene, i, names[i])).collect();
        Strip {
            truth: truth_of(&scene).marks,
            plan,
            scene,
            photos,
        }
    })
}

fn drawn(plan: &Plan, scene: &Scene, camera: usize, name: &str) -> Photo {
    let dir = tempfile::tempdir().unwrap();
    photo(scene, &cameras(plan)[camera], dir.path(), name)
}

/// The middle photo once more, of another scene and under another name.
fn other_middle(name: &str, change: impl FnOnce(&mut Scene)) -> Photo {
    let s = strip();
    let mut scene = s.scene.clone();
    scene.seed += 100;
    change(&mut scene);
    drawn(&s.plan, &scene, 1, name)
}

fn checked(photos: &[&Photo]) -> Checked {
    check_all(photos, &strip().plan, &given())
}

fn codes(c: &Checked) -> Vec<&'static str> {
    c.verdict.reasons.iter().map(|r| r.code).collect()
}

#[test]
fn three_photos_of_a_strip_are_one_result() {
    let s = strip();
    let [a, b, c] = [0, 1, 2].map(|i| &s.photos[i]);
    let all = checked(&[a, b, c]);
    let v = &all.verdict;
    assert_eq!(v.decision, Decision::Ready, "{:?}", v.reasons);
    let mut sum = 0.0;
    let mut within = 0;
    for hole in &v.holes {
        let found = hole.found.unwrap();
        let off = s
            .truth
            .iter()
            .map(|t| t.at.distance(found))
            .fold(f64::INFINITY, f64::min);
        within += usize::from(off <= hole.uncertainty_mm.unwrap());
        sum += off * off;
    }
    let rms = (sum / v.holes.len() as f64).sqrt();
    println!("RMS {rms:.4} mm, {within} of {} in U", v.holes.len());
    assert!(rms < STRIP_RMS_MM, "RMS {rms:.3} mm");
    assert!(within * 20 >= v.holes.len() * 19, "{within} within U");
    let report = all.report(&s.plan);
    // What each source does adds up to U: nothing is counted twice, and nothing left out.
    for (hole, budget) in v.holes.iter().zip(&report.budgets) {
        let parts = budget.unwrap().parts();
        let sum: f64 = parts.iter().map(|(_, u)| u * u).sum();
        let u = hole.uncertainty_mm.unwrap() / 2.0;
        assert!(
            (sum.sqrt() - u).abs() < ROUNDING_MM,
            "{}: {parts:?} {u}",
            hole.name
        );
        let part = |name: &str| parts.iter().find(|p| p.0 == name).unwrap().1;
        // What several photos share is not made less by their number.
        assert!(
            part("datum") > 0.02 && part("localisation") > 0.005,
            "{parts:?}"
        );
    }
    // The bars were read to a tenth: that tells most at the end far from the datum.
    let scale = |i: usize| report.budgets[i].unwrap().scale;
    assert!(scale(24) > 5.0 * scale(0), "{} {}", scale(24), scale(0));
    assert_eq!(report.photos.len(), 3);
    assert!(report.photos.iter().all(|p| p.left_out.is_none()));
    // Every photo shows its part, and none the whole.
    let last = s.plan.holes[24].at;
    let shown = [0, 1, 2].map(|i| {
        all.pixel_in_photo(i, last)
            .is_some_and(|p| p.x > 0.0 && p.x < 2128.0)
    });
    assert_eq!(shown, [false, false, true]);

    for order in [[c, a, b], [b, c, a], [c, b, a]] {
        let again = checked(&order);
        assert_eq!(again.verdict.decision, v.decision);
        assert_eq!(again.verdict.reasons, v.reasons);
        for (x, y) in again.verdict.holes.iter().zip(&v.holes) {
            assert_eq!(x.state, y.state);
            let moved = x.found.unwrap().distance(y.found.unwrap());
            assert!(moved < ROUNDING_MM, "{}: {moved:e}", x.name);
        }
        assert_eq!(again.report(&s.plan).photos, report.photos);
    }
}

#[test]
fn photos_that_are_no_use_are_named_and_left_out() {
    let s = strip();
    let alone = other_middle("alone.jpg", |scene| {
        scene.cards.retain(|c| c.number == 44);
        scene.cards[0].number = 60;
    });
    let mut blank = s.photos[0].clone();
    blank.path = "blank.jpg".into();
    blank.grey = image::GrayImage::from_pixel(800, 600, image::Luma([90]));
    let mut twin = s.photos[1].clone();
    twin.path = "twin.jpg".into();
    let all = checked(&[
        &blank,
        &s.photos[0],
        &alone,
        &s.photos[1],
        &twin,
        &s.photos[2],
    ]);
    assert_eq!(all.verdict.decision, Decision::Ready, "{:?}", codes(&all));
    let report = all.report(&s.plan);
    let why = |name: &str| {
        let photo = report.photos.iter().find(|p| p.file.ends_with(name));
        photo.unwrap().left_out.clone().unwrap_or_default()
    };
    assert!(
        why("alone.jpg").contains("shares no card"),
        "{}",
        why("alone.jpg")
    );
    assert!(
        why("blank.jpg").contains("no scale card"),
        "{}",
        why("blank.jpg")
    );
    assert!(
        why("twin.jpg").contains("same picture as middle.jpg"),
        "{}",
        why("twin.jpg")
    );
    assert_eq!(why("left.jpg"), "");
    // Photos of one name in several folders are told apart by the folder.
    let mut away = blank.clone();
    away.path = Path::new("away").join("left.jpg");
    let both = checked(&[&s.photos[0], &away, &s.photos[1], &s.photos[2]]);
    let text = format!("{} is left out", away.path.display());
    assert!(
        both.verdict
            .reasons
            .iter()
            .any(|r| r.text.starts_with(&text)),
        "{:?}",
        both.verdict.reasons
    );
    // None is hidden from the reader.
    for name in ["alone.jpg", "blank.jpg", "twin.jpg"] {
        assert!(
            all.verdict.reasons.iter().any(|r| r.text.contains(name)),
            "{name}"
        );
    }
}

#[test]
fn a_card_moved_between_photos_is_not_averaged_in() {
    let s = strip();
    let moved = other_middle("moved.jpg", |scene| {
        for card in &mut scene.cards {
            if [42, 43].contains(&card.number) {
                card.centre.x += 2.0;
            }
        }
    });
    // Against three that agree it is left out, and they are as sure as before.
    let all = checked(&[&s.photos[0], &s.photos[1], &s.photos[2], &moved]);
    let report = all.report(&s.plan);
    let left_out = |i: usize| report.photos[i].left_out.clone().unwrap_or_default();
    assert!(left_out(2).contains("moved"), "{:?}", codes(&all));
    assert_eq!(all.verdict.decision, Decision::Ready, "{:?}", codes(&all));
    // One against one: neither is believed.
    let two = checked(&[&s.photos[0], &moved]);
    assert_eq!(two.verdict.decision, Decision::CannotTell);
    // By the cards, where they are seen well enough, else by the marks.
    let told = |r: &punchready::verdict::Reason| {
        r.code == "photos-contradict" || r.text.contains("contradict each other")
    };
    assert!(two.verdict.reasons.iter().any(told), "{:?}", codes(&two));
    assert!(
        two.verdict
            .holes
            .iter()
            .all(|h| h.state == HoleState::Unseen)
    );
}

#[test]
fn a_length_that_was_told_stands_for_what_no_photo_shows() {
    let s = strip();
    let told = Given {
        known: vec![(Known::SheetWidth, s.plan.width_mm)],
        ..given()
    };
    // The left end in no photo; and both ends, in photos that have no card in common.
    for (shown, left_end) in [([1, 2], false), ([0, 2], true)] {
        let all = check_all(&shown.map(|i| &s.photos[i]), &s.plan, &told);
        let holes = &all.verdict.holes;
        let found: Vec<_> = holes.iter().filter(|h| h.found.is_some()).collect();
        assert!(3 * found.len() > holes.len(), "{:?}", codes(&all));
        let first = found.iter().any(|h| h.planned.x < 100.0);
        assert_eq!(first, left_end, "{:?}", codes(&all));
        assert!(found.iter().any(|h| h.planned.x > s.plan.width_mm - 100.0));
        let outside = |h: &&&punchready::verdict::HoleResult| {
            let off = s
                .truth
                .iter()
                .filter_map(|t| Some((t.at - h.found?).norm()));
            off.fold(f64::INFINITY, f64::min) > h.uncertainty_mm.unwrap()
        };
        let outside = found.iter().filter(outside).count();
        assert!(10 * outside <= found.len(), "{outside} of {}", found.len());
    }
}

#[test]
fn the_sheet_moved_between_photos_is_noticed() {
    let s = strip();
    // The cards all lie still, and the sheet with its marks is pushed by 1.5 mm: the same as all cards and the
    // camera pushed the other way.
    let pushed = other_middle("pushed.jpg", |scene| {
        for card in &mut scene.cards {
            card.centre.y += 1.5;
        }
    });
    let all = checked(&[&s.photos[0], &s.photos[1], &s.photos[2], &pushed]);
    assert_eq!(all.verdict.decision, Decision::Ready, "{:?}", codes(&all));
    assert!(codes(&all).contains(&"photo-left-out"), "{:?}", codes(&all));
    let all = checked(&[&s.photos[0], &pushed]);
    assert_ne!(all.verdict.decision, Decision::Ready);
    assert_eq!(
        all.verdict.decision,
        Decision::CannotTell,
        "{:?}",
        codes(&all)
    );
    // Neither of the two shows the sheet by itself: at most its pattern, or that they contradict each other.
    let codes = codes(&all);
    assert!(
        codes.contains(&"pattern-only") || codes == ["no-sheet"] || codes == ["photos-contradict"],
        "{codes:?}"
    );
}

#[test]
fn a_mark_that_only_one_photo_shows_is_a_contradiction() {
    let s = strip();
    let stray = Point::new(300.0, 20.0);
    let marked = other_middle("marked.jpg", |scene| {
        let more = marking(&s.plan, 3).stray(stray);
        scene.marks = more.marks;
    });
    let all = checked(&[&s.photos[0], &s.photos[1], &s.photos[2], &marked]);
    assert_ne!(all.verdict.decision, Decision::Ready);
    let told = all
        .verdict
        .reasons
        .iter()
        .find(|r| r.code == "photos-disagree")
        .unwrap_or_else(|| panic!("{:?}", all.verdict.reasons));
    assert!(
        told.text.contains("marked.jpg shows a mark"),
        "{}",
        told.text
    );
    assert!(told.text.contains("middle.jpg shows none"), "{}", told.text);
    // A hole's mark that is somewhere else in the second photo.
    let off = other_middle("off.jpg", |scene| {
        let more = marking(&s.plan, 3).shift("A13", 0.7, 0.0).unwrap();
        scene.marks = more.marks;
    });
    let all = checked(&[&s.photos[0], &s.photos[1], &s.photos[2], &off]);
    let hole = all.verdict.holes.iter().find(|h| h.name == "A13").unwrap();
    assert_ne!(hole.state, HoleState::Good);
    assert!(
        codes(&all).contains(&"photos-disagree"),
        "{:?}",
        codes(&all)
    );
    assert_eq!(
        all.verdict.decision,
        Decision::CannotTell,
        "{:?}",
        codes(&all)
    );
}

#[test]
fn what_one_photo_does_not_show_another_may() {
    let s = strip();
    // A lamp mirrors in the middle in one photo, and not in the other.
    let hidden = other_middle("hidden.jpg", |scene| {
        scene.light.glare.push(punchready::synth::Glare {
            at: Point::new(300.0, 9.0),
            radius_mm: [8.0, 5.0],
            turn_rad: 0.2,
            peak: 3.0,
        });
    });
    let without = checked(&[&s.photos[0], &hidden, &s.photos[2]]);
    assert_ne!(without.verdict.decision, Decision::Ready);
    let unseen = |c: &Checked| {
        let holes = c.verdict.holes.iter();
        holes.filter(|h| h.state == HoleState::Unseen).count()
    };
    assert!(unseen(&without) > 0);
    let with = checked(&[&s.photos[0], &hidden, &s.photos[1], &s.photos[2]]);
    assert_eq!(
        with.verdict.decision,
        Decision::Ready,
        "{:?} {:?}",
        with.verdict.reasons,
        with.ink.unsure
    );
    assert!(with.ink.seen.fraction() > without.ink.seen.fraction());
}
