use punchready::frame::*;
use punchready::ink::flat;
use punchready::synth::{self, *};
use std::time::Instant;
fn main() {
    let plan = punchready::plan::parse(demo::DEMO_PLAN, std::path::Path::new("demo.toml")).unwrap();
    let mut scene = demo::scene(&plan);
    let ppm = 10.0;
    let (w, h) = ((plan.width_mm * ppm) as u32, (plan.height_mm * ppm) as u32);
    scene.camera = camera::Camera::above(
        Point::new(plan.width_mm / 2.0, plan.height_mm / 2.0),
        ppm,
        0.0,
        0.0,
        0.0,
        [w, h],
    );
    let t = Instant::now();
    let r = synth::render(&scene);
    println!("render {:?} {}x{}", t.elapsed(), w, h);
    let grey = image::imageops::grayscale(&r.image);
    grey.save("/tmp/look/flat.png").unwrap();
    let t = Instant::now();
    let ink = flat::read(&grey, ppm);
    println!(
        "read {:?}: {} marks {} lines {} unsure {} specks",
        t.elapsed(),
        ink.marks.len(),
        ink.lines.len(),
        ink.unsure.len(),
        ink.specks
    );
    let mut used = vec![false; ink.marks.len()];
    let mut sq = 0.0;
    let mut n = 0;
    for t in &r.truth.marks {
        let near = (0..ink.marks.len()).min_by(|&a, &b| {
            ink.marks[a]
                .at
                .distance(Point::new(t.px.x, t.px.y))
                .total_cmp(&ink.marks[b].at.distance(Point::new(t.px.x, t.px.y)))
        });
        if let Some(i) = near {
            let m = &ink.marks[i];
            let d = m.at - Point::new(t.px.x, t.px.y);
            if d.norm() < 15.0 {
                used[i] = true;
                sq += d.norm_squared();
                n += 1;
                println!(
                    "{:?} {:?} {:?} err ({:.2},{:.2}) px u {:.2},{:.2} size {:.2} true {:.2} ring {} {} out {} {}",
                    t.name,
                    t.kind,
                    m.kind,
                    d.x,
                    d.y,
                    m.cov[(0, 0)].sqrt(),
                    m.cov[(1, 1)].sqrt(),
                    m.size_mm,
                    t.size_mm,
                    m.ringed,
                    t.ringed,
                    m.crossed_out,
                    t.crossed_out
                );
                continue;
            }
        }
        println!(
            "MISSED {:?} {:?} {:?} {:?} ring {} out {}",
            t.name, t.kind, t.at, t.px, t.ringed, t.crossed_out
        );
    }
    println!("rms {:.3} px over {n}", (sq / n as f64).sqrt());
    for (i, m) in ink.marks.iter().enumerate() {
        if !used[i] {
            println!("EXTRA {m:?}");
        }
    }
    for l in &ink.lines {
        println!("{l:?}");
    }
    for u in &ink.unsure {
        println!("{u:?}");
    }
}
