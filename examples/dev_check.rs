use punchready::check::*;
use punchready::frame::*;
use punchready::synth::{self, *};
use std::time::Instant;
fn main() {
    let plan = punchready::plan::parse(demo::DEMO_PLAN, std::path::Path::new("demo.toml")).unwrap();
    let arg = std::env::args().nth(1).unwrap_or("demo".into());
    let scene = if arg == "ready" {
        demo::ready_scene(&plan)
    } else {
        demo::scene(&plan)
    };
    let path = std::path::PathBuf::from(format!("/tmp/look/{arg}.jpg"));
    let t = Instant::now();
    let r = synth::render(&scene);
    println!("render {:?}", t.elapsed());
    synth::write_jpeg(&path, &r, &ExifFacts::default()).unwrap();
    let t = Instant::now();
    let photo = punchready::photo::read(&path).unwrap();
    println!("decode {:?}", t.elapsed());
    let given = Given {
        print_scale: Some(punchready::survey::PrintScale::from_bars([100.0, 100.0]).unwrap()),
        card_below_mm: Some(0.0),
        known: vec![],
    };
    let c = check(&photo, &plan, &given);
    println!("{:?}", c.timings);
    if let Some(s) = c.survey() {
        println!(
            "rms {} noise {} scale {:?} lens {:?}",
            s.rms_px,
            s.noise_factor,
            s.scale,
            s.lens()
        );
        for l in &s.lines {
            println!("{l:?}");
        }
        println!("true {:?}", scene.camera);
    }
    for t in &r.truth.cards {
        if let Some(f) = c.found.cards.iter().find(|f| f.number == t.number) {
            let mut sq = 0.0;
            let mut bx = 0.0;
            let mut by = 0.0;
            for s in &f.saddles {
                let (_, p) = t
                    .saddles
                    .iter()
                    .find(|(q, _)| q.distance(s.on_card) < 1e-9)
                    .unwrap();
                let d = s.at - *p;
                sq += d.norm_squared();
                bx += d.x;
                by += d.y;
            }
            let n = f.saddles.len() as f64;
            println!(
                "card {} saddles {} rms {:.4} px bias {:.4} {:.4} u {:.4}",
                t.number,
                f.saddles.len(),
                (sq / n).sqrt(),
                bx / n,
                by / n,
                f.saddles[0].cov[(0, 0)].sqrt()
            );
        } else {
            println!("card {} NOT FOUND", t.number);
        }
    }
    println!("{:?}", c.found.left_out);
    for e in &c.outline.edges {
        println!("{e:?}");
    }
    println!("{:?} {:?}", c.outline.width_mm, c.outline.height_mm);
    let mut sq = 0.0;
    let mut n = 0;
    for t in &r.truth.marks {
        if let Some(m) = c
            .ink
            .marks
            .iter()
            .min_by(|a, b| a.at.distance(t.at).total_cmp(&b.at.distance(t.at)))
        {
            let d = m.at - t.at;
            if d.norm() < 2.0 {
                sq += d.norm_squared();
                n += 1;
                println!(
                    "{:?} ({:.3},{:.3}) u ({:.3},{:.3})",
                    t.name,
                    d.x,
                    d.y,
                    m.cov[(0, 0)].sqrt(),
                    m.cov[(1, 1)].sqrt()
                );
            }
        }
    }
    println!("rms {:.4} mm over {n}", (sq / n as f64).sqrt());
    let rep = c.report(&plan);
    println!("{}", punchready::report::text::summary(&rep, 80, false));
    let colour = punchready::photo::read_colour(&path).unwrap();
    let map = |p: Point<Sheet>| c.pixel_from_sheet(p);
    let t = Instant::now();
    punchready::report::picture::draw(&rep, &colour, &map)
        .unwrap()
        .save(format!("/tmp/look/{arg}-pic.png"))
        .unwrap();
    println!("picture {:?}", t.elapsed());
}
