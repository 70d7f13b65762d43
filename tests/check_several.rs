//! Several photos of one piece: one result, whatever their order, and no photo believed that does not fit.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod strip_scene;

use std::sync::OnceLock;

use punchready::check::{Checked, check_all};
use punchready::photo::Photo;
use punchready::plan::Plan;
use punchready::verdict::{Decision, HoleState};
use strip_scene::{cameras, given, marking, photo, plan, scene};

struct Strip {
    plan: Plan,
    photos: Vec<Photo>,
    truth: Vec<punchready::synth::TrueMark>,
}

fn strip() -> &'static Strip {
    static STRIP: OnceLock<Strip> = OnceLock::new();
    STRIP.get_or_init(|| {
        let dir = tempfile::tempdir().unwrap();
        let plan = plan();
        let scene = scene(&plan, marking(&plan, 3), 3);
        let photos = cameras(&plan)
            .iter()
            .zip(["left.jpg", "middle.jpg", "right.jpg"])
            .map(|(camera, name)| photo(&scene, camera, dir.path(), name))
            .collect();
        Strip {
            truth: punchready::synth::truth_of(&scene).marks,
            plan,
            photos,
        }
    })
}

fn checked(photos: &[&Photo]) -> Checked {
    check_all(photos, &strip().plan, &given())
}

#[test]
fn three_photos_of_a_strip_are_one_result() {
    let s = strip();
    let all = checked(&s.photos.iter().collect::<Vec<_>>());
    let v = &all.verdict;
    assert_eq!(v.decision, Decision::Ready, "{:?}", v.reasons);
    let mut sum = 0.0;
    for hole in &v.holes {
        let found = hole.found.unwrap();
        let u = hole.uncertainty_mm.unwrap();
        let off = s
            .truth
            .iter()
            .map(|t| t.at.distance(found))
            .fold(f64::INFINITY, f64::min);
        assert!(off < u, "{}: off {off:.3}, U {u:.3}", hole.name);
        sum += off * off;
    }
    let rms = (sum / v.holes.len() as f64).sqrt();
    assert!(rms < 0.08, "RMS {rms:.3} mm");
    assert!(v.holes.iter().all(|h| h.state == HoleState::Good));
}
