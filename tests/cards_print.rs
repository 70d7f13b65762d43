//! Printed cards: true size on paper, right to the pixel as PNG.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on must stop")]

use std::fs;
use std::path::Path;
use std::process::Command;

use image::GrayImage;
use punchready::card::code;
use punchready::card::layout::{Layout, Shape};
use punchready::card::print::{self, Paper, PrintError};
use punchready::draw;

const DPI: f64 = 300.0;
/// What a bar on the page may be off: a pixel at 300 dpi is 0.085 mm, and a rule reads no finer.
const BAR_TOLERANCE_MM: f64 = 0.1;

/// Runs a tool; `None`, aloud, when it is not installed.
fn run(name: &str, args: &[&str]) -> Option<String> {
    match Command::new(name).args(args).output() {
        Ok(out) => {
            assert!(
                out.status.success(),
                "{name} {args:?}: {}",
                String::from_utf8_lossy(&out.stderr)
            );
            Some(String::from_utf8_lossy(&out.stdout).into_owned())
        }
        Err(_) => {
            println!("SKIPPED: {name} is not installed");
            None
        }
    }
}

/// Lengths, mm, of all thin dark lines of at least `least_mm` across the page. The ends are taken by
/// how dark their pixels are, so that they are not whole pixels.
fn lines_across(page: &GrayImage, least_mm: f64) -> Vec<f64> {
    let mut found: Vec<(u32, u32, f64)> = Vec::new();
    for y in 0..page.height() {
        let dark = |x: u32| f64::from(255 - page.get_pixel(x, y).0[0]) / 255.0;
        let mut x = 0;
        while x < page.width() {
            let start = x;
            while x < page.width() && dark(x) > 0.9 {
                x += 1;
            }
            let fringe = if start > 0 && x < page.width() {
                dark(start - 1) + dark(x)
            } else {
                0.0
            };
            let length = (f64::from(x - start) + fringe) * 25.4 / DPI;
            // A line is a few rows thick: count it once.
            let seen =
                |&&(row, from, _): &&(u32, u32, f64)| y - row < 6 && from.abs_diff(start) < 3;
            if length >= least_mm && found.iter().find(seen).is_none() {
                found.push((y, start, length));
            }
            x += 1;
        }
    }
    found.into_iter().map(|(_, _, length)| length).collect()
}

fn transposed(page: &GrayImage) -> GrayImage {
    GrayImage::from_fn(page.height(), page.width(), |x, y| *page.get_pixel(y, x))
}

#[test]
fn pages_and_bars_have_their_true_size() {
    let dir = tempfile::tempdir().unwrap();
    for (paper, size_pt) in [
        (Paper::A4, [595.276, 841.89]),
        (Paper::Letter, [612.0, 792.0]),
    ] {
        for shape in [Shape::Square, Shape::Strip] {
            let path = dir.path().join("cards.pdf");
            print::write_pdf(paper, shape, &print::first_page(shape), &path).unwrap();
            let file = path.to_str().unwrap();
            let Some(info) = run("pdfinfo", &[file]) else {
                return;
            };
            let line = info.lines().find(|l| l.starts_with("Page size:")).unwrap();
            let got: Vec<f64> = line
                .split_whitespace()
                .filter_map(|w| w.parse().ok())
                .collect();
            let mut wanted = size_pt;
            if shape == Shape::Strip {
                wanted.reverse();
            }
            // pdfinfo prints six digits.
            assert!(
                got.iter().zip(wanted).all(|(g, w)| (g - w).abs() < 2e-3),
                "{line}: wanted {wanted:?}"
            );
            let text = print::pages(paper, shape, &print::first_page(shape))
                .unwrap()
                .concat();
            assert!(
                text.contains("--bars 99.8mm,100.1mm") && text.contains("100 %"),
                "{text}"
            );

            let root = dir.path().join("page");
            let args = [
                "-r",
                "300",
                "-gray",
                "-png",
                "-singlefile",
                file,
                root.to_str().unwrap(),
            ];
            if run("pdftoppm", &args).is_none() {
                return;
            }
            let page = image::open(root.with_extension("png")).unwrap().to_luma8();
            let (across, down) = match shape {
                Shape::Square => ([(100.0, 1), (50.0, 12)], [(100.0, 1), (50.0, 12)]),
                Shape::Strip => ([(100.0, 13), (20.0, 0)], [(100.0, 1), (20.0, 12)]),
            };
            for (way, view, bars) in [
                ("across", page.clone(), across),
                ("down", transposed(&page), down),
            ] {
                // The frames, at 25.2 and 17.5 mm, are the longest other runs of dark.
                let least = if shape == Shape::Square { 26.0 } else { 18.5 };
                let mut lines = lines_across(&view, least);
                for (length, count) in bars {
                    let like = |l: &f64| (l - length).abs() <= BAR_TOLERANCE_MM;
                    let right = lines.iter().filter(|l| like(l)).count();
                    assert_eq!(
                        right, count,
                        "{paper:?} {shape:?} {way}: bars of {length} mm within {BAR_TOLERANCE_MM} mm among {lines:?}"
                    );
                    lines.retain(|l| !like(l));
                }
                assert!(
                    lines.is_empty(),
                    "{paper:?} {shape:?} {way}: {lines:?} mm long"
                );
            }
        }
    }
}

#[test]
fn many_cards_make_many_pages() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("all.pdf");
    let numbers: Vec<u16> = (1..=40).collect();
    print::write_pdf(Paper::Letter, Shape::Square, &numbers, &path).unwrap();
    let Some(info) = run("pdfinfo", &[path.to_str().unwrap()]) else {
        return;
    };
    let pages = info.lines().find(|l| l.starts_with("Pages:")).unwrap();
    assert!(pages.ends_with(" 4"), "{pages}");
    let pages = print::pages(Paper::Letter, Shape::Square, &numbers).unwrap();
    for number in &numbers {
        let on = pages
            .iter()
            .filter(|page| page.contains(&format!(">{number}</text>")))
            .count();
        assert_eq!(on, 1, "card {number} is on {on} pages");
    }
}

/// Reads the payload of a PNG from the middle of its cells.
fn payload(png: &GrayImage, card: &Layout, px_per_mm: f64) -> u32 {
    let [w, h] = card.size_mm;
    let mut seen = 0;
    for row in 0..code::SIDE {
        for column in 0..code::SIDE {
            let x = w / 2.0 + (column as f64 - 2.0) * card.cell_mm;
            let y = h / 2.0 + (row as f64 - 2.0) * card.cell_mm;
            let value = png
                .get_pixel((x * px_per_mm) as u32, (y * px_per_mm) as u32)
                .0[0];
            seen |= u32::from(value < 128) << (row * code::SIDE + column);
        }
    }
    seen
}

#[test]
fn every_png_has_its_size_its_number_and_its_corners() {
    let dir = tempfile::tempdir().unwrap();
    let numbers: Vec<u16> = (1..=code::COUNT).collect();
    for px_per_mm in [print::PX_PER_MM, 7] {
        let files = print::write_pngs(dir.path(), &numbers, px_per_mm).unwrap();
        assert_eq!(files.len(), numbers.len() + 1);
        let list: serde_json::Value =
            serde_json::from_slice(&fs::read(&files[numbers.len()]).unwrap()).unwrap();
        for (entry, number) in list.as_array().unwrap().iter().zip(&numbers) {
            let card = Layout::of(*number).unwrap();
            assert_eq!(entry["number"], *number);
            assert_eq!(entry["outer_size_mm"], serde_json::json!(card.size_mm));
            assert_eq!(entry["px_per_mm"], px_per_mm);
            let (shape, bars) = match card.shape {
                Shape::Square => ("square", [50.0, 50.0]),
                Shape::Strip => ("strip", [100.0, 20.0]),
            };
            assert_eq!(entry["shape"], shape);
            assert_eq!(
                serde_json::json!(bars),
                serde_json::json!([entry["bar_across_mm"], entry["bar_down_mm"]])
            );
            let path = dir.path().join(entry["file"].as_str().unwrap());
            let png = image::open(&path).unwrap().to_luma8();
            let scale = f64::from(px_per_mm);
            let size = card.size_mm.map(|s| (s * scale) as u32);
            assert_eq!([png.width(), png.height()], size, "card {number}");
            let read = code::read(payload(&png, &card, scale)).unwrap();
            assert_eq!(
                (read.number, read.quarter_turns, read.wrong),
                (*number, 0, 0)
            );
            // Corners as the list has them: dark and light change about each, to the pixel.
            let saddles = entry["saddles"].as_array().unwrap();
            assert_eq!(saddles.len(), card.saddles.len());
            for saddle in saddles {
                let x = (saddle[0].as_f64().unwrap() + card.size_mm[0] / 2.0) * scale;
                let y = (card.size_mm[1] / 2.0 - saddle[1].as_f64().unwrap()) * scale;
                // The nearest pixels that lie wholly on one side.
                let (left, right) = (x.floor() as u32 - 1, x.ceil() as u32);
                let (above, below) = (y.floor() as u32 - 1, y.ceil() as u32);
                let at = |x, y| png.get_pixel(x, y).0[0];
                let four = [
                    at(right, above),
                    at(left, below),
                    at(left, above),
                    at(right, below),
                ];
                assert!(
                    four == [0, 0, 255, 255] || four == [255, 255, 0, 0],
                    "card {number} at {x},{y}: {four:?}"
                );
            }
            // A light rim all round: the card ends where its outer size says, and nothing is cut off.
            let rim = |x: u32, y: u32| x == 0 || y == 0 || x + 1 == size[0] || y + 1 == size[1];
            assert!(
                png.enumerate_pixels()
                    .all(|(x, y, p)| !rim(x, y) || p.0[0] == 255),
                "card {number}"
            );
        }
    }
}

#[test]
fn at_the_usual_scale_the_measuring_parts_are_black_or_white() {
    for number in [1, 41] {
        let card = Layout::of(number).unwrap();
        let svg = print::card_svg(number).unwrap();
        let png = draw::png(&svg, f64::from(print::PX_PER_MM)).unwrap();
        let png = image::load_from_memory(&png).unwrap().to_luma8();
        let scale = f64::from(print::PX_PER_MM);
        // From the lowest to the highest checker there is neither text nor bar.
        let half_height = if card.shape == Shape::Square {
            25.0
        } else {
            9.0
        };
        let half_width = if card.shape == Shape::Square {
            25.0
        } else {
            56.5
        };
        for (x, y, pixel) in png.enumerate_pixels() {
            let across = (f64::from(x) + 0.5) / scale - card.size_mm[0] / 2.0;
            let up = card.size_mm[1] / 2.0 - (f64::from(y) + 0.5) / scale;
            if across.abs() < half_width && up.abs() < half_height {
                let dark = card.dark.iter().any(|r| {
                    across > r.left
                        && across < r.left + r.width
                        && up > r.bottom
                        && up < r.bottom + r.height
                });
                assert_eq!(
                    pixel.0[0],
                    if dark { 0 } else { 255 },
                    "card {number} at {across},{up} mm"
                );
            }
        }
    }
}

#[test]
fn the_same_cards_give_the_same_bytes() {
    for shape in [Shape::Square, Shape::Strip] {
        let numbers = print::first_page(shape);
        let first = print::pdf(Paper::A4, shape, &numbers).unwrap();
        for _ in 0..4 {
            assert!(
                first == print::pdf(Paper::A4, shape, &numbers).unwrap(),
                "{shape:?}"
            );
        }
    }
    let svg = print::card_svg(1).unwrap();
    assert!(draw::png(&svg, 9.0).unwrap() == draw::png(&svg, 9.0).unwrap());
}

#[test]
fn wrong_wishes_and_places_are_told() {
    let square = |numbers: &[u16]| {
        print::pages(Paper::A4, Shape::Square, numbers)
            .unwrap_err()
            .to_string()
    };
    assert!(square(&[0]).contains("no card 0"), "{}", square(&[0]));
    assert!(square(&[65]).contains("41 to 64"), "{}", square(&[65]));
    assert!(square(&[41]).contains("strip"), "{}", square(&[41]));
    assert!(
        square(&[3, 4, 3]).contains("twice"),
        "{}",
        square(&[3, 4, 3])
    );
    assert!(square(&[]).contains("1-12"), "{}", square(&[]));
    assert!(
        "a3".parse::<Paper>()
            .unwrap_err()
            .to_string()
            .contains("a4 or letter")
    );
    assert_eq!("A4".parse::<Paper>().unwrap(), Paper::A4);
    let dir = tempfile::tempdir().unwrap();
    for scale in [0, 1, 101, u32::MAX] {
        assert!(matches!(
            print::write_pngs(dir.path(), &[1], scale),
            Err(PrintError::BadScale(_))
        ));
    }
    assert!(matches!(
        draw::png("<svg", 1.0),
        Err(draw::DrawError::BadSvg(_))
    ));
    for scale in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e9] {
        let svg = print::card_svg(1).unwrap();
        assert!(
            matches!(draw::png(&svg, scale), Err(draw::DrawError::BadSize { .. })),
            "{scale}"
        );
    }
    // A file stands where a folder is wanted; a folder where a file is wanted.
    let file = dir.path().join("taken");
    fs::write(&file, "mine").unwrap();
    let inside = print::write_pngs(&file, &[1], 20).unwrap_err().to_string();
    assert!(
        inside.contains("taken") && inside.contains("cannot be written"),
        "{inside}"
    );
    let onto = |p: &Path| {
        print::write_pdf(Paper::A4, Shape::Square, &[1], p)
            .unwrap_err()
            .to_string()
    };
    assert!(onto(dir.path()).contains("cannot be written"));
    assert!(onto(&file.join("cards.pdf")).contains("cannot be written"));
    assert_eq!(fs::read(&file).unwrap(), b"mine");
    let deep = dir.path().join("new/folder/cards.pdf");
    print::write_pdf(Paper::A4, Shape::Square, &[1], &deep).unwrap();
    print::write_pdf(Paper::A4, Shape::Square, &[1], &deep).unwrap();
    let left: Vec<_> = fs::read_dir(deep.parent().unwrap()).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

#[test]
fn text_is_made_safe() {
    assert_eq!(
        draw::escape("a<b & \"c\" 'd'>\u{1}é"),
        "a&lt;b &amp; &quot;c&quot; &#39;d&#39;&gt; é"
    );
    let svg = draw::page(
        20.0,
        10.0,
        &format!(
            "<text y=\"5\">{}</text>",
            draw::escape("]]>&<\u{0}\u{ffff}")
        ),
    );
    assert!(draw::png(&svg, 10.0).is_ok());
}
