//! The dot finder on real photos of dots on metal and on a white board.

mod common;

use common::{reference, reference_json, rms};
use punchready::frame::{Flat, Point};
use punchready::ink::flat;
use punchready::photo;

/// Bars of the project: share of the listed dots that must be found, share of finds inside the grid that
/// are not listed, and the scatter of the centres after one common offset.
const MIN_RECALL: f64 = 0.98;
const MAX_EXTRA: f64 = 0.02;
const MAX_RMS_PX: f64 = 0.15;
/// A find belongs to a listed dot within this share of its diameter.
const NEAR: f64 = 0.3;

#[test]
fn listed_dots_are_found_where_they_are_listed() {
    let Some(listed) = reference_json("dot-grid-photos/centres.json") else {
        return;
    };
    for listed_photo in listed["photos"].as_array().unwrap() {
        let file = listed_photo["file"].as_str().unwrap();
        // The listed centres were taken from the brightest channel of each pixel. This lens shifts colours
        // against each other, up to 0.5 px at the rim, so other channels give other centres.
        let colour =
            photo::read_colour(&reference(&format!("dot-grid-photos/{file}")).unwrap()).unwrap();
        let grey = image::GrayImage::from_fn(colour.width(), colour.height(), |x, y| {
            image::Luma([*colour.get_pixel(x, y).0.iter().max().unwrap()])
        });
        let dots: Vec<(Point<Flat>, f64, bool)> = listed_photo["centres"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| {
                let number = |key: &str| c[key].as_f64().unwrap();
                // The list has the first pixel's centre at (0, 0).
                (
                    Point::new(number("x") + 0.5, number("y") + 0.5),
                    number("diameter_px"),
                    c["large"].as_bool().unwrap(),
                )
            })
            .collect();
        let mut sizes: Vec<f64> = dots.iter().map(|d| d.1).collect();
        sizes.sort_by(f64::total_cmp);
        // As if the usual dot were a pen's dot of 1.2 mm.
        let ink = flat::read(&grey, sizes[sizes.len() / 2] / 1.2, &[]);
        // The four large dots stand for nothing a pen makes.
        let small: Vec<_> = dots.iter().filter(|d| !d.2).collect();
        let mut offsets = Vec::new();
        let mut used = vec![false; ink.marks.len()];
        for (at, diameter, _) in &small {
            let near = (0..ink.marks.len())
                .find(|&i| !used[i] && ink.marks[i].at.distance(*at) < NEAR * diameter);
            if let Some(i) = near {
                used[i] = true;
                offsets.push(ink.marks[i].at - *at);
            } else {
                println!("  {file}: no dot at {at:?}, {diameter:.1} px wide");
            }
        }
        let bounds = small
            .iter()
            .fold([f64::MAX, f64::MAX, f64::MIN, f64::MIN], |b, (p, ..)| {
                [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
            });
        let inside = |p: Point<Flat>| {
            p.x > bounds[0] && p.x < bounds[2] && p.y > bounds[1] && p.y < bounds[3]
        };
        let large = |p: Point<Flat>| dots.iter().any(|d| d.2 && d.0.distance(p) < d.1);
        let extra: Vec<_> = (0..ink.marks.len())
            .filter(|&i| !used[i] && inside(ink.marks[i].at) && !large(ink.marks[i].at))
            .collect();
        let recall = offsets.len() as f64 / small.len() as f64;
        let mean = offsets.iter().sum::<nalgebra::Vector2<f64>>() / offsets.len() as f64;
        let scatter = rms(offsets.iter().map(|d| (d - mean).norm()));
        println!(
            "{file}: {} of {} found, {} extra, common offset ({:.3}, {:.3}) px, scatter {scatter:.3} px, {} unsure",
            offsets.len(),
            small.len(),
            extra.len(),
            mean.x,
            mean.y,
            ink.unsure.len()
        );
        for i in &extra {
            println!("  extra {:?}", ink.marks[*i]);
        }
        assert!(recall >= MIN_RECALL, "{file}: recall {recall}");
        assert!(
            extra.len() as f64 <= MAX_EXTRA * small.len() as f64,
            "{file}: {} extra",
            extra.len()
        );
        assert!(scatter <= MAX_RMS_PX, "{file}: scatter {scatter} px");
    }
}
