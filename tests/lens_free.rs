//! Without a profile: what settles k1.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod survey_scene;

use punchready::survey::Options;
use survey_scene::{Dice, Scene, priors, solve};

/// Within this many standard deviations.
const SIGMAS: f64 = 3.0;
/// k1 is expected at 0 ± 0.05. Two cards settle it to 0.010; the sheet's four edges, 60 points of half a pixel
/// on each, to 0.007. This is a seventh of what was expected, with some room.
const SETTLED_SD: f64 = 0.0075;

#[test]
fn the_sheets_straight_edges_settle_k1() {
    for k1 in [-0.08, 0.06] {
        let mut scene = Scene::plain();
        scene.eye.k = [k1, 0.01];
        scene.noise_px = 0.1;
        scene.edge_noise_px = 0.5;
        scene.cards.truncate(2);
        let mut dice = Dice(42);
        let cards = scene.cards(&mut dice);
        let lines = scene.edges(60, &mut dice);
        let told = |lines: &[_]| {
            let s = solve(&cards, lines, &priors(), &Options::default()).unwrap();
            [s.lens().k1, s.covariance()[(3, 3)].sqrt()]
        };
        let [alone, alone_sd] = told(&[]);
        let [with, with_sd] = told(&lines);
        println!("k1 {k1}: cards {alone:.4} ± {alone_sd:.4}, with edges {with:.4} ± {with_sd:.4}");
        assert!(
            (alone - k1).abs() < SIGMAS * alone_sd,
            "{alone} ± {alone_sd}"
        );
        assert!((with - k1).abs() < SIGMAS * with_sd, "{with} ± {with_sd}");
        assert!(
            with_sd < SETTLED_SD && with_sd < 0.8 * alone_sd,
            "{with_sd} {alone_sd}"
        );
    }
}
