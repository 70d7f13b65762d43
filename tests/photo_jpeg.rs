//! JPEG varieties against the reference decoder, and files that lost a part.
#![allow(clippy::unwrap_used, reason = "a test that cannot go on must stop")]

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use image::{GrayImage, Rgb, RgbImage};
use punchready::photo::{self, PhotoError};

/// Two correct inverse transforms may round a pixel differently; more is another picture.
const ROUNDING_LEVELS: u8 = 2;

/// Runs a filter of libjpeg-turbo; `None`, aloud, when it is not installed.
fn tool(name: &str, args: &[&str], input: &[u8]) -> Option<Vec<u8>> {
    let child = Command::new(name)
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let Ok(mut child) = child else {
        println!("SKIPPED: {name} is not installed");
        return None;
    };
    let mut stdin = child.stdin.take().unwrap();
    let input = input.to_vec();
    let feed = std::thread::spawn(move || {
        // A tool that stops reading early is judged by its output.
        let _ = stdin.write_all(&input);
    });
    let output = child.wait_with_output().unwrap();
    feed.join().unwrap();
    Some(output.stdout)
}

/// A picture with smooth shading, hard edges and colour, of a size that fills no block.
fn picture(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        let edge = if (x / 13 + y / 17) % 2 == 0 { 50 } else { 0 };
        let wave = (f64::from(x) * 0.05).sin() * 30.0 + (f64::from(y) * 0.031).cos() * 30.0;
        let base = 120.0 + wave;
        Rgb([
            (base + 20.0) as u8 + edge,
            base as u8,
            (base - 30.0) as u8 + edge / 2,
        ])
    })
}

fn ppm(picture: &RgbImage) -> Vec<u8> {
    let mut out = format!("P6\n{} {}\n255\n", picture.width(), picture.height()).into_bytes();
    out.extend_from_slice(picture);
    out
}

fn read(dir: &Path, bytes: &[u8]) -> Result<GrayImage, PhotoError> {
    let path = dir.join("photo.jpg");
    std::fs::write(&path, bytes).unwrap();
    photo::read(&path).map(|p| p.grey)
}

fn worst(a: &GrayImage, b: &[u8]) -> u8 {
    assert_eq!(a.len(), b.len());
    a.iter().zip(b).map(|(a, b)| a.abs_diff(*b)).max().unwrap()
}

#[test]
fn every_variety_gives_what_djpeg_gives() {
    let dir = tempfile::tempdir().unwrap();
    let mut faults = Vec::new();
    for (width, height) in [(333, 217), (336, 224), (321, 209)] {
        let source = ppm(&picture(width, height));
        for sample in ["1x1", "2x1", "1x2", "2x2", "4x1", "4x2", "1x4"] {
            for extra in [
                &[][..],
                &["-optimize"],
                &["-progressive"],
                &["-restart", "1"],
                &["-restart", "3B"],
                &["-progressive", "-restart", "2"],
                &["-grayscale"],
                &["-grayscale", "-progressive"],
                &["-rgb"],
                &["-quality", "10"],
            ] {
                if extra.contains(&"-rgb") && sample != "1x1" {
                    continue;
                }
                let args = [&["-quality", "90", "-sample", sample], extra].concat();
                let Some(jpeg) = tool("cjpeg", &args, &source) else {
                    return;
                };
                let Some(pgm) = tool("djpeg", &["-grayscale"], &jpeg) else {
                    return;
                };
                let what = format!("{width} x {height} {args:?}");
                let wanted = &pgm[pgm.len() - (width * height) as usize..];
                match read(dir.path(), &jpeg).map(|grey| worst(&grey, wanted)) {
                    Ok(worst) if worst <= ROUNDING_LEVELS => {}
                    Ok(worst) => faults.push(format!("{what}: off by {worst} levels")),
                    Err(e) => faults.push(format!("{what}: {e}")),
                }
            }
        }
    }
    assert!(
        faults.is_empty(),
        "allowed {ROUNDING_LEVELS} levels; {}",
        faults.join("\n")
    );
}

#[test]
fn every_variety_cut_and_closed_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let source = ppm(&picture(210, 203));
    for extra in [
        &["-sample", "2x2"][..],
        &["-sample", "2x1", "-restart", "1"],
        &["-sample", "1x2", "-restart", "7B"],
        &["-sample", "1x1", "-optimize"],
        &["-grayscale", "-restart", "2B"],
        &["-sample", "2x2", "-progressive"],
        &["-sample", "2x1", "-progressive", "-restart", "1"],
        &["-grayscale", "-progressive"],
    ] {
        let Some(jpeg) = tool("cjpeg", &[&["-quality", "70"], extra].concat(), &source) else {
            return;
        };
        assert!(read(dir.path(), &jpeg).is_ok(), "{extra:?}");
        for cut in (0..jpeg.len() - 3)
            .rev()
            .take(150)
            .chain((0..jpeg.len() - 160).step_by(23))
        {
            assert!(
                read(dir.path(), &jpeg[..cut]).is_err(),
                "{extra:?} cut at {cut} was read"
            );
            let closed = [&jpeg[..cut], &[0xff, 0xd9]].concat();
            let read = read(dir.path(), &closed);
            assert!(
                read.is_err(),
                "{extra:?} closed at {cut} of {} was read",
                jpeg.len()
            );
        }
    }
}

#[test]
fn every_variety_broken_never_panics() {
    let dir = tempfile::tempdir().unwrap();
    let source = ppm(&picture(210, 203));
    let mut state = 0x0dd_ba11_u64;
    let mut below = |end: usize| {
        // xorshift64; Marsaglia, J. Stat. Softw. 8(14), 2003.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % end as u64) as usize
    };
    for extra in [
        &["-sample", "2x2"][..],
        &["-sample", "1x2", "-restart", "1"],
        &["-sample", "4x2"],
        &["-sample", "2x2", "-progressive"],
        &["-sample", "1x2", "-progressive", "-restart", "1"],
        &["-grayscale", "-sample", "2x2"],
    ] {
        let Some(jpeg) = tool("cjpeg", &[&["-quality", "50"], extra].concat(), &source) else {
            return;
        };
        for round in 0..500 {
            let mut hurt = jpeg.clone();
            let reach = if round % 2 == 0 { 700 } else { jpeg.len() };
            for _ in 0..1 + below(5) {
                hurt[below(reach)] = below(256) as u8;
            }
            let read = read(dir.path(), &hurt);
            assert!(read.is_err() || photo::read_colour(&dir.path().join("photo.jpg")).is_ok());
        }
    }
}
