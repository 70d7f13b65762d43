//! The ladder's photos on hard surfaces, in hard light, of hard hands and with everything wrong at once.

use punchready::check::check;
use punchready::photo;
use punchready::synth::{render, truth_of, write_jpeg};

use super::case::Case;
use super::plans::Plans;
use super::{Sample, True, samples as of_check, steps};

/// Surfaces, hands, everything at once; and those on reading ink.
const HARD: [usize; 8] = [8, 10, 13, 15, 16, 17, 18, 19];

/// The samples of all of them, one photo after the other: they are large. Tells what has the shape of
/// a mark and is unsure.
pub(crate) fn samples() -> Vec<Sample> {
    let all = steps::all(&Plans::read().unwrap());
    let hard = all.iter().filter(|c| HARD.contains(&c.step));
    hard.flat_map(of_case).collect()
}

fn of_case(case: &Case) -> Vec<Sample> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo.jpg");
    write_jpeg(&path, &render(&case.scene), &case.exif).unwrap();
    let checked = check(&photo::read(&path).unwrap(), &case.plan, &case.given);
    for (u, probability) in checked
        .ink
        .unsure
        .iter()
        .filter_map(|u| Some((u, u.probability?)))
    {
        println!(
            "{}/{} {}: unsure at ({:.1}, {:.1}): {}, {:.3}",
            case.step, case.number, case.title, u.at.x, u.at.y, u.why, probability
        );
    }
    let marks: Vec<True> = truth_of(&case.scene)
        .marks
        .iter()
        .map(|m| {
            let mut otherwise = case.crossed_otherwise.iter().chain(&case.questioned);
            let crossed = m.crossed_out || otherwise.any(|p| p.distance(m.at) < 1.0);
            (m.at, crossed)
        })
        .collect();
    of_check(&checked, &marks)
}
