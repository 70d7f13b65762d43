//! Drawings and templates: what stands on them, and that a template is true to size.
#![allow(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod cli_support;

use std::path::Path;

use cli_support::run;
use punchready::card::print::Paper;
use punchready::drafting::{TemplateError, drawing, template, template_svg};
use punchready::draw;
use punchready::plan::{Plan, parse, read, starters};

fn fixture(name: &str) -> Plan {
    read(
        &Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("fixtures")
            .join(name),
    )
    .unwrap()
}

/// Contents of the texts of a drawing, with the paper place of each.
fn texts(svg: &str) -> Vec<(String, [f64; 2])> {
    svg.split("<text transform=\"translate(")
        .skip(1)
        .map(|t| {
            let (place, rest) = t.split_once(')').unwrap();
            let xy: Vec<f64> = place.split(' ').map(|v| v.parse().unwrap()).collect();
            let what = rest
                .split_once('>')
                .unwrap()
                .1
                .split_once("</text>")
                .unwrap()
                .0;
            (what.to_string(), [xy[0], xy[1]])
        })
        .collect()
}

/// Centres of the circles of this radius, paper mm.
fn circles(svg: &str, radius: f64) -> Vec<[f64; 2]> {
    let number = |t: &str, key: &str| -> f64 {
        t.split_once(key)
            .unwrap()
            .1
            .split_once('"')
            .unwrap()
            .0
            .parse()
            .unwrap()
    };
    svg.split("<circle ")
        .skip(1)
        .filter(|t| (number(t, "r=\"") - radius).abs() < 1e-6)
        .map(|t| [number(t, "cx=\""), number(t, "cy=\"")])
        .collect()
}

#[test]
fn every_station_is_dimensioned_from_the_edge() {
    let plan = fixture("hatch-cover.toml");
    let svg = drawing(&plan, Paper::A4);
    let texts = texts(&svg);
    let count = |what: &str| texts.iter().filter(|t| t.0 == what).count();
    // Rows A and B: 11/16 + k 13/16, on two sides; by hand.
    for figure in [
        "11/16", "1 1/2", "2 5/16", "3 1/8", "3 15/16", "4 3/4", "5 9/16", "6 3/8", "7 3/16", "8",
        "8 13/16", "9 5/8", "10 7/16", "11 1/4",
    ] {
        assert_eq!(count(figure), 2, "{figure}");
    }
    // C: 1 9/16 + k 43/48, which is on no 64th; D is.
    for (figure, n) in [
        ("1 9/16", 2),
        ("2.458", 1),
        ("2 15/32", 1),
        ("6 15/16", 2),
        ("0", 4),
        ("5/16", 4),
        ("12", 1),
        ("8 1/2", 1),
        ("2 17/32", 2),
    ] {
        assert_eq!(count(figure), n, "{figure}");
    }
    assert!(
        texts
            .iter()
            .any(|t| t.0.contains("own drawing and approved data rule"))
    );
    assert!(count("Scale 1 : 2") == 1 && count("Dimensions in inches") == 1);
    // To scale: holes lie on the paper as on the sheet, by half.
    let drawn = circles(&svg, 3.175 / 4.0);
    assert_eq!(drawn.len(), 44);
    let (a, b) = (drawn[0], drawn[13]);
    let apart = (a[0] - b[0]).hypot(a[1] - b[1]);
    let planned = plan.holes[0].at.distance(plan.holes[13].at);
    assert!((apart - planned / 2.0).abs() < 1e-5, "{apart}");
}

#[test]
fn figures_stay_on_the_page_and_apart() {
    for (name, text) in starters::STARTERS.iter().map(|s| (s.name, s.text)) {
        let plan = parse(text, Path::new(name)).unwrap();
        for paper in [Paper::A4, Paper::Letter] {
            let svg = drawing(&plan, paper);
            let [short, long] = paper.size_mm();
            let all = texts(&svg);
            for (what, [x, y]) in &all {
                assert!(
                    *x > 0.0 && *x < long && *y > 0.0 && *y < long && x.min(*y) < short,
                    "{name}: {what} at {x}, {y}"
                );
            }
            for (i, a) in all.iter().enumerate() {
                for b in &all[i + 1..] {
                    let off = (a.1[0] - b.1[0]).hypot(a.1[1] - b.1[1]);
                    assert!(off > 1.5, "{name}: {} on {} at {:?}", a.0, b.0, a.1);
                }
            }
        }
    }
}

/// Many holes on a small scale: figures are moved apart, not printed over each other.
#[test]
fn crowded_figures_are_spread() {
    let text = "units = \"mm\"\n[sheet]\nwidth = 1200\nheight = 300\n[tolerance]\nposition = 1\n[[row]]\nname = \"A\"\n\
                along = \"bottom\"\nedge_distance = 10\nfirst = 300\npitch = 10\ncount = 40\n";
    let plan = parse(text, Path::new("p.toml")).unwrap();
    let svg = drawing(&plan, Paper::A4);
    let mut xs: Vec<f64> = texts(&svg)
        .into_iter()
        .filter(|t| {
            t.0.parse::<f64>()
                .is_ok_and(|v| (300.0..=690.0).contains(&v) && v != 300.0)
        })
        .map(|t| t.1[0])
        .collect();
    xs.sort_by(f64::total_cmp);
    assert_eq!(xs.len(), 39);
    // Printed to a nanometre.
    assert!(xs.windows(2).all(|w| w[1] - w[0] > 3.1 - 1e-5), "{xs:?}");
}

/// More holes than figures have room for: fewer figures, within the piece's length, and the drawing says so.
#[test]
fn a_row_with_too_many_figures_is_thinned() {
    let row = |name: &str, along: &str, first: f64, pitch: f64, count: usize| {
        format!(
            "[[row]]\nname = \"{name}\"\nalong = \"{along}\"\nedge_distance = 9\nfirst = {first}\npitch = {pitch}\n\
             count = {count}\n"
        )
    };
    let head = "units = \"mm\"\n[sheet]\nwidth = 1200\nheight = 90\n[tolerance]\nposition = 0.5\n";
    let long = row("Strip", "bottom", 15.0, 13.0, 91);
    let short = row("B", "top", 15.0, 19.5, 61);
    let plan = parse(&format!("{head}{long}{short}"), Path::new("p.toml")).unwrap();
    let all = texts(&drawing(&plan, Paper::A4));
    let note = "Row Strip: for want of room not every hole has its figure here; punchready plan stations lists all.";
    assert!(all.iter().any(|t| t.0 == note), "{all:?}");
    let x_of = |what: &str| all.iter().find(|t| t.0 == what).map(|t| t.1[0]);
    // Every second and the last stand there, and those of the other row all.
    for there in ["15", "41", "1185", "34.5", "1165.5"] {
        assert!(x_of(there).is_some(), "{there}");
    }
    assert_eq!(x_of("28"), None);
    // A figure's own place is half its height beside its line; the piece is 240 mm long on paper.
    let figures: Vec<f64> = all
        .iter()
        .filter(|t| {
            t.0.parse::<f64>()
                .is_ok_and(|v| v != 90.0 && v != 1200.0 && v != 9.0)
        })
        .map(|t| t.1[0])
        .collect();
    let [least, most] = [f64::min, f64::max].map(|f| figures.iter().copied().reduce(f).unwrap());
    assert!(most - least < 240.0 + 1e-5, "{least} to {most}");
    for (i, a) in all.iter().enumerate() {
        for b in &all[i + 1..] {
            let off = (a.1[0] - b.1[0]).hypot(a.1[1] - b.1[1]);
            assert!(off > 1.5, "{} on {} at {:?}", a.0, b.0, a.1);
        }
    }
    // A fourth ring of figures has no room, which is told too.
    let rows: String = (0..4)
        .map(|i| row(["A", "B", "C", "D"][i], "bottom", 15.0 + i as f64, 100.0, 8))
        .enumerate()
        .map(|(i, r)| r.replace("= 9\n", &format!("= {}\n", 9 + 15 * i)))
        .collect();
    let plan = parse(&format!("{head}{rows}"), Path::new("p.toml")).unwrap();
    let all = texts(&drawing(&plan, Paper::A4));
    assert!(
        all.iter()
            .any(|t| t.0.starts_with("Row D: for want of room")),
        "{all:?}"
    );
}

/// Lines to the outer figures are drawn before the inner figures, whose white ground then interrupts them.
#[test]
fn lines_pass_behind_figures() {
    let plan = parse(
        starters::named("two-rows").unwrap().text,
        Path::new("two-rows.toml"),
    )
    .unwrap();
    let svg = drawing(&plan, Paper::A4);
    // The last hole of the outer ring, B18, and the first of the inner one.
    let [outer, inner] = [">11.372</text>", ">5/16</text>"].map(|f| svg.find(f).unwrap());
    assert!(outer < inner, "{outer} {inner}");
}

/// On a narrow piece the names of rows that face each other would meet: the first of them is printed.
#[test]
fn names_are_not_printed_over_each_other() {
    let side = |name: &str, along: &str| {
        format!(
            "[[row]]\nname = \"{name}\"\nalong = \"{along}\"\nedge_distance = 8\nfirst = 13\npitch = 13\ncount = 90\n"
        )
    };
    let text = format!(
        "units = \"mm\"\n[sheet]\nwidth = 100\nheight = 1200\n[tolerance]\nposition = 0.5\n{}{}",
        side("Left", "left"),
        side("Right", "right")
    );
    let plan = parse(&text, Path::new("p.toml")).unwrap();
    let all = texts(&drawing(&plan, Paper::A4));
    let there = ["Left1", "Right1", "Left90", "Right90"].map(|n| all.iter().any(|t| t.0 == n));
    assert_eq!(there, [true, false, true, false]);
}

#[test]
fn templates_are_true_to_size() {
    let plan = fixture("hatch-cover.toml");
    // One piece: every hole where it is planned, to the micrometre.
    let whole = template_svg(&plan);
    assert!(
        whole.contains("h100v0.25h-100z") && whole.contains("h0.25v100h-0.25z"),
        "bars"
    );
    assert!(
        texts(&whole)
            .iter()
            .any(|t| t.0.contains("Lay a steel rule")),
        "instruction"
    );
    let drawn = circles(&whole, 3.175 / 2.0);
    assert_eq!(drawn.len(), plan.holes.len());
    for (p, hole) in drawn.iter().zip(&plan.holes) {
        let at = [p[0] - 6.0, plan.height_mm + 6.0 - p[1]];
        assert!(
            (at[0] - hole.at.x).hypot(at[1] - hole.at.y) < 1e-5,
            "{}",
            hole.name
        );
    }
    for paper in [Paper::A4, Paper::Letter] {
        let pages = template(&plan, paper).unwrap();
        assert!(pages.len() >= 2);
        let [short, long] = paper.size_mm();
        for page in &pages {
            assert!(
                page.contains(&format!("width=\"{short}mm\" height=\"{long}mm\""))
                    || page.contains(&format!("width=\"{long}mm\" height=\"{short}mm\""))
            );
            let all = texts(page);
            assert!(
                all.iter().any(|t| t.0 == "100 mm across")
                    && all.iter().any(|t| t.0 == "100 mm down")
            );
            // The bars: one path whose two lines are 100 mm long.
            assert!(
                page.contains("h100v0.25h-100z") && page.contains("h0.25v100h-0.25z"),
                "bars"
            );
        }
        let pdf = draw::pdf("t", &pages).unwrap();
        assert!(pdf.starts_with(b"%PDF"));
    }
}

/// An alignment mark is at the same place of the sheet on both pages of a joint, and each page of a joint
/// has at least two.
#[test]
fn alignment_marks_meet() {
    let plan = fixture("hatch-cover.toml");
    let pages = template(&plan, Paper::A4).unwrap();
    let marks: Vec<Vec<[f64; 2]>> = pages
        .iter()
        .map(|page| {
            // Where the sheet's corner lies on this page: from the first hole.
            let hole = circles(page, 3.175 / 2.0)[0];
            let corner = [hole[0] - plan.holes[0].at.x, hole[1] + plan.holes[0].at.y];
            circles(page, 2.0)
                .iter()
                .map(|m| [m[0] - corner[0], corner[1] - m[1]])
                .collect()
        })
        .collect();
    assert_eq!(pages.len(), 2);
    assert!(marks[0].len() >= 2);
    assert_eq!(marks[0].len(), marks[1].len());
    for (a, b) in marks[0].iter().zip(&marks[1]) {
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-5, "{a:?} {b:?}");
    }
}

/// No page is printed on which nothing is to be seen, every hole is on one, and each page can be laid against another.
#[test]
fn no_page_is_empty() {
    let plan = |width: f64, height: f64, holes: &[[f64; 2]]| {
        let mut text = format!(
            "units = \"mm\"\n[sheet]\nwidth = {width}\nheight = {height}\n[rivet]\ndiameter = 3.2\n[tolerance]\nposition = 1\n"
        );
        for (i, [x, y]) in holes.iter().enumerate() {
            text += &format!("[[hole]]\nname = \"P{i}\"\nx = {x}\ny = {y}\n");
        }
        parse(&text, Path::new("p.toml")).unwrap()
    };
    // Upright A4 shows 178 x 249 mm: a piece that ends with the window needs no page for the margin beyond.
    let fits = plan(178.0 - 8.0, 249.0 - 8.0, &[[20.0, 20.0]]);
    assert_eq!(template(&fits, Paper::A4).unwrap().len(), 1);
    let large = plan(
        1500.0,
        1200.0,
        &[
            [20.0, 20.0],
            [1480.0, 1180.0],
            [750.0, 600.0],
            [700.0, 20.0],
        ],
    );
    let pages = template(&large, Paper::A4).unwrap();
    let place = |page: &str| -> [usize; 5] {
        let said = texts(page)
            .into_iter()
            .find(|t| t.0.contains("from the left"))
            .unwrap()
            .0;
        let numbers = said
            .split(|c: char| !c.is_ascii_digit())
            .filter_map(|n| n.parse().ok());
        let all: Vec<usize> = numbers.collect();
        [all[2], all[4], all[3], all[5], all[1]]
    };
    let [.., columns, rows, printed] = place(&pages[0]);
    assert_eq!(printed, pages.len());
    assert!(
        pages.len() < columns * rows,
        "{} of {columns} x {rows}",
        pages.len()
    );
    let at: Vec<[usize; 2]> = pages.iter().map(|p| [place(p)[0], place(p)[1]]).collect();
    // From the first to all others by pages side by side.
    let mut reached = vec![at[0]];
    let mut i = 0;
    while i < reached.len() {
        let [c, r] = reached[i];
        let beside =
            |p: &&[usize; 2]| p[0].abs_diff(c) + p[1].abs_diff(r) == 1 && !reached.contains(p);
        let more: Vec<[usize; 2]> = at.iter().filter(beside).copied().collect();
        reached.extend(more);
        i += 1;
    }
    assert_eq!(reached.len(), at.len(), "{at:?}");
    for hole in &large.holes {
        let there = |page: &&String| {
            texts(page).iter().any(|t| {
                // Its name stands in the window of the page.
                t.0 == hole.name
                    && (22.0..=297.0).contains(&t.1[0])
                    && (34.0..=297.0).contains(&t.1[1])
            })
        };
        assert!(pages.iter().any(|p| there(&p)), "{}", hole.name);
    }
    // One map of the pages on each, with one page filled.
    for page in &pages {
        assert_eq!(
            page.matches("fill=\"#000\" stroke=\"#000\" stroke-width=\"0.2\"/>")
                .count(),
            1
        );
    }
}

#[test]
fn a_wall_of_pages_is_refused() {
    let text = "units = \"mm\"\n[sheet]\nwidth = 4000\nheight = 4000\n[tolerance]\nposition = 1\n[[hole]]\nname = \"P\"\nx = 50\ny = 50\n";
    let plan = parse(text, Path::new("p.toml")).unwrap();
    assert!(
        matches!(template(&plan, Paper::A4), Err(TemplateError::TooManyPages { pages }) if pages > 200)
    );
    // The drawing still fits its page.
    assert!(drawing(&plan, Paper::A4).contains("Scale 1 : "));
}

/// Ink where the hole is, and none beside it: rendered, at 10 px/mm.
#[test]
fn rendered_ink_is_where_the_hole_is() {
    let plan = parse(starters::named("coupon").unwrap().text, Path::new("c.toml")).unwrap();
    let pixels = draw::pixels(&template_svg(&plan), 10.0).unwrap();
    let dark = |x: f64, y: f64| {
        let (px, py) = (
            ((x + 6.0) * 10.0) as u32,
            ((plan.height_mm - y + 6.0) * 10.0) as u32,
        );
        pixels.pixel(px, py).unwrap().red() < 128
    };
    for hole in &plan.holes {
        // Along the cross's arms, outside the circle; half a pixel wide, so look at a few.
        let arm = (-2..=2).any(|k| dark(hole.at.x + 0.1 * f64::from(k), hole.at.y + 2.5));
        assert!(arm, "{}", hole.name);
        assert!(!dark(hole.at.x - 1.0, hole.at.y + 2.5), "{}", hole.name);
    }
}

#[test]
fn on_the_command_line() {
    let dir = tempfile::tempdir().unwrap();
    run(dir.path(), &["plan", "new", "patch", "--out", "patch.toml"]);
    for (more, file, part) in [
        (&[][..], "patch-drawing.pdf", "1 page"),
        (&["--template"][..], "patch-template.pdf", "1 page"),
        (
            &["--template", "--paper", "letter", "--out", "t.svg"][..],
            "t.svg",
            "template",
        ),
        (&["--out", "d.svg"][..], "d.svg", "mark from its figures"),
    ] {
        let ran = run(
            dir.path(),
            &[&["plan", "sheet", "patch.toml"], more].concat(),
        );
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{more:?}");
        assert!(ran.out.contains(part), "{}", ran.out);
        assert!(dir.path().join(file).is_file(), "{file}");
    }
    let once = std::fs::read(dir.path().join("patch-drawing.pdf")).unwrap();
    run(dir.path(), &["plan", "sheet", "patch.toml"]);
    assert_eq!(
        once,
        std::fs::read(dir.path().join("patch-drawing.pdf")).unwrap()
    );
    for bad in ["d.png", "patch.toml"] {
        assert_eq!(
            run(dir.path(), &["plan", "sheet", "patch.toml", "--out", bad]).code,
            2,
            "{bad}"
        );
    }
}
