//! The command on a drawn class: the same whatever the order, never half done, and nothing told that is private.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod cli_support;
mod grade_support;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::OnceLock;
use std::time::{Duration, SystemTime};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use cli_support::{Ran, names, program, run};
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use grade_support::{SMALL, coupon, draw, photo, piece};
use punchready::synth::Rng;

/// Pieces of the drawn class.
const PIECES: usize = 6;

/// A class drawn once: photos `0-0.jpg` to `5-0.jpg`, and a second one of the first two.
fn drawn() -> &'static Path {
    static DRAWN: OnceLock<tempfile::TempDir> = OnceLock::new();
    DRAWN
        .get_or_init(|| {
            let dir = tempfile::tempdir().unwrap();
            let (_, plan) = coupon();
            for n in 0..PIECES {
                for shot in 0..if n < 2 { 2 } else { 1 } {
                    let scene = photo(&plan, &piece(&plan, n), 10 * n as u64 + shot, SMALL);
                    draw(&scene, &dir.path().join(format!("{n}-{shot}.jpg")));
                }
            }
            dir
        })
        .path()
}

/// A class folder of one photo each, named by student.
fn class(dir: &Path, names: &[&str]) -> PathBuf {
    let folder = dir.join("class");
    fs::create_dir_all(&folder).unwrap();
    for (n, name) in names.iter().enumerate() {
        fs::copy(
            drawn().join(format!("{n}-0.jpg")),
            folder.join(format!("{name}.jpg")),
        )
        .unwrap();
    }
    folder
}

const SIX: [&str; PIECES] = ["ada", "bram", "chidi", "dilara", "emre", "fatou"];

/// Grades in `dir`, with the plan and the rubric that `more` does not name.
fn grade(dir: &Path, more: &[&str]) -> Ran {
    let rubric = dir.join("rubric.toml");
    if !rubric.exists() {
        assert_eq!(run(dir, &["grade", "--new-rubric", "rubric.toml"]).code, 0);
    }
    let (plan, _) = coupon();
    let plan = plan.to_str().unwrap();
    let common = [
        "grade",
        "--plan",
        plan,
        "--rubric",
        "rubric.toml",
        "--bars",
        "100mm,100mm",
        "--card-below",
        "0mm",
    ];
    run(dir, &[&common, more].concat())
}

/// All files below a folder with their bytes; not what was measured, whose files are told by `names`.
fn all(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut open = vec![dir.to_owned()];
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else {
                let name = path.strip_prefix(dir).unwrap().display().to_string();
                found.insert(name, fs::read(path).unwrap());
            }
        }
    }
    found
}

fn differing(a: &BTreeMap<String, Vec<u8>>, b: &BTreeMap<String, Vec<u8>>) -> Vec<String> {
    let names = a.keys().chain(b.keys());
    let mut differ: Vec<String> = names.filter(|n| a.get(*n) != b.get(*n)).cloned().collect();
    differ.dedup();
    differ
}

#[test]
fn order_and_threads_change_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let folder = class(dir, &SIX);
    let ran = grade(dir, &["--jobs", "1", "--out", "one", "class"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(
        ran.out.starts_with("6 pieces graded of 6; median score "),
        "{}",
        ran.out
    );
    for line in ran.out.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
    let one = all(&dir.join("one"));
    assert_eq!(
        one.keys().filter(|n| n.starts_with("sheets")).count(),
        2 * PIECES
    );
    assert_eq!(
        one.keys().filter(|n| n.starts_with("measured")).count(),
        PIECES
    );

    let mut shuffled: Vec<String> = SIX
        .iter()
        .map(|n| folder.join(format!("{n}.jpg")).display().to_string())
        .collect();
    shuffled
        .sort_by_key(|n| Rng::new(n.len() as u64 + u64::from(n.as_bytes()[n.len() - 5])).bits());
    let mut more = vec!["--jobs", "3", "--out", "two"];
    more.extend(shuffled.iter().map(String::as_str));
    assert_eq!(grade(dir, &more).code, 0);
    assert_eq!(differing(&one, &all(&dir.join("two"))), [""; 0]);

    // Again: nothing is measured, and the outcome is the same to the byte.
    let ran = grade(dir, &["--out", "one", "class"]);
    assert!(
        ran.out.contains("(6 measured by an earlier run)"),
        "{}",
        ran.out
    );
    assert_eq!(differing(&one, &all(&dir.join("one"))), [""; 0]);

    // Another rubric: other points from the same measurements.
    let rubric = fs::read_to_string(dir.join("rubric.toml")).unwrap();
    fs::write(
        dir.join("rubric.toml"),
        rubric.replace("weight = 35", "weight = 5"),
    )
    .unwrap();
    let ran = grade(dir, &["--out", "one", "class"]);
    assert!(
        ran.out.contains("(6 measured by an earlier run)"),
        "{}",
        ran.out
    );
    let changed = differing(&one, &all(&dir.join("one")));
    assert!(changed.contains(&"gradebook.csv".to_owned()), "{changed:?}");
    assert!(
        !changed.iter().any(|n| n.starts_with("measured")),
        "{changed:?}"
    );

    // Said otherwise, measured otherwise.
    let ran = grade(
        dir,
        &["--out", "one", "--datum-corner", "lower-left", "class"],
    );
    assert!(!ran.out.contains("earlier run"), "{}", ran.out);
    let ran = grade(
        dir,
        &[
            "--out",
            "one",
            "--datum-corner",
            "lower-left",
            "--afresh",
            "class",
        ],
    );
    assert!(!ran.out.contains("earlier run"), "{}", ran.out);
}

#[test]
fn bad_photos_do_not_stop_the_class() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let folder = class(dir, &["ada"]);
    fs::write(
        folder.join("broken.jpg"),
        b"\xff\xd8\xff\xe0 no photo at all",
    )
    .unwrap();
    fs::write(folder.join("empty.jpg"), b"").unwrap();
    let whole = fs::read(drawn().join("0-1.jpg")).unwrap();
    fs::write(folder.join("cut.jpg"), &whole[..whole.len() / 2]).unwrap();
    fs::write(
        folder.join("heic.heic"),
        b"\0\0\0\x18ftypheic\0\0\0\0mif1heic",
    )
    .unwrap();
    let plain = image::GrayImage::from_pixel(900, 700, image::Luma([128]));
    plain.save(folder.join("plain.png")).unwrap();
    // One good and one bad photo of a piece: the good one is enough.
    fs::create_dir(folder.join("bram")).unwrap();
    fs::copy(drawn().join("1-0.jpg"), folder.join("bram/a.jpg")).unwrap();
    fs::write(folder.join("bram/b.jpg"), b"nothing").unwrap();

    let ran = grade(dir, &["class"]);
    assert_eq!(ran.code, 3, "{}{}", ran.out, ran.err);
    assert!(ran.out.starts_with("2 pieces graded of 7"), "{}", ran.out);
    for who in ["broken", "cut", "empty", "heic", "plain"] {
        let page = fs::read_to_string(dir.join(format!("grades/sheets/{who}.html"))).unwrap();
        assert!(page.contains("not graded yet"), "{who}");
        assert!(
            ran.out.contains(&format!("{who}: not graded: ")),
            "{who}: {}",
            ran.out
        );
    }
    let page = fs::read_to_string(dir.join("grades/sheets/bram.html")).unwrap();
    assert!(page.contains("1 of 2 photos could not be measured"), "bram");
    assert!(page.contains("<span>of 100</span>"), "bram");
    let summary = fs::read_to_string(dir.join("grades/summary.html")).unwrap();
    assert!(summary.contains("one of its photos was no use"), "bram");
    // What is stored has no file name in it.
    for (name, bytes) in all(&dir.join("grades/measured")) {
        let text = String::from_utf8(bytes).unwrap();
        for word in ["bram", "broken", "class/", ".jpg"] {
            assert!(!text.contains(word), "{name} has {word}");
        }
    }
}

#[test]
fn killed_at_any_moment_it_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    class(dir, &SIX);
    let start = SystemTime::now();
    let whole = grade(dir, &["--jobs", "2", "--out", "whole", "class"]);
    let took = start.elapsed().unwrap();
    assert_eq!(whole.code, 0);

    let (plan, _) = coupon();
    let mut rng = Rng::new(6);
    // A stored piece is done: it is never written again.
    let mut done: BTreeMap<String, (SystemTime, u64)> = BTreeMap::new();
    let stored = |done: &mut BTreeMap<String, (SystemTime, u64)>| {
        let Ok(inside) = fs::read_dir(dir.join("cut/measured")) else {
            return;
        };
        for entry in inside {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            if name.starts_with('.') {
                continue;
            }
            let text = fs::read(&path).unwrap();
            serde_json::from_slice::<serde_json::Value>(&text)
                .unwrap_or_else(|e| panic!("{name} is half written: {e}"));
            let meta = fs::metadata(&path).unwrap();
            let now = (meta.modified().unwrap(), meta.len());
            let before = done.entry(name.clone()).or_insert(now);
            assert_eq!(*before, now, "{name} was graded twice");
        }
    };
    let mut unfinished = 0;
    for kill in 0..10 {
        let mut child = program()
            .current_dir(dir)
            .args([
                "grade",
                "--plan",
                plan.to_str().unwrap(),
                "--rubric",
                "rubric.toml",
            ])
            .args(["--bars", "100mm,100mm", "--card-below", "0mm"])
            .args(["--jobs", "2", "--out", "cut", "class"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Early and late: also while sheets are written.
        let wait = took.mul_f64(rng.between(0.02, 0.5));
        std::thread::sleep(wait.max(Duration::from_millis(5)));
        if child.try_wait().unwrap().is_none() {
            unfinished += 1;
        }
        // SIGKILL on Unix.
        let _ = child.kill();
        child.wait().unwrap();
        stored(&mut done);
        for (name, bytes) in all(&dir.join("cut")) {
            if name.contains("/.") || name.starts_with('.') {
                continue;
            }
            let end: &[u8] = match Path::new(&name).extension().and_then(|e| e.to_str()) {
                Some("html") => b"</html>\n",
                Some("pdf") => b"%%EOF",
                _ => continue,
            };
            assert!(bytes.ends_with(end), "kill {kill}: {name} is half written");
        }
    }
    println!(
        "killed while at work: {unfinished} of 10; pieces stored by then: {}",
        done.len()
    );
    assert!(unfinished > 0, "no kill came in time to test anything");
    let last = grade(dir, &["--jobs", "2", "--out", "cut", "class"]);
    assert_eq!(last.code, 0, "{}{}", last.out, last.err);
    stored(&mut done);
    assert_eq!(done.len(), PIECES, "each piece once");
    assert_eq!(
        differing(&all(&dir.join("whole")), &all(&dir.join("cut"))),
        [""; 0]
    );
}

#[test]
fn several_photos_are_one_piece() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let folder = dir.join("class");
    fs::create_dir_all(folder.join("Bram B")).unwrap();
    for shot in 0..2 {
        let name = if shot == 0 { "ada.jpg" } else { "ada-2.jpg" };
        fs::copy(drawn().join(format!("0-{shot}.jpg")), folder.join(name)).unwrap();
        let name = format!("Bram B/IMG_{shot}.jpg");
        fs::copy(drawn().join(format!("1-{shot}.jpg")), folder.join(name)).unwrap();
    }
    let ran = grade(dir, &["--out", "by-name", "class"]);
    assert!(ran.out.starts_with("2 pieces graded of 2"), "{}", ran.out);
    assert_eq!(
        names(&dir.join("by-name/sheets")),
        ["Bram-B.html", "Bram-B.pdf", "ada.html", "ada.pdf"]
    );
    let book = fs::read_to_string(dir.join("by-name/gradebook.csv")).unwrap();
    assert!(
        book.lines().skip(1).all(|l| l.ends_with(",2")),
        "two photos each: {book}"
    );

    // The same by a list, from a heap of photos named by the camera.
    let heap = dir.join("heap");
    fs::create_dir(&heap).unwrap();
    let mut list = "photo,student\n".to_owned();
    for (n, who) in ["ada", "Bram B"].iter().enumerate() {
        for shot in 0..2 {
            let name = format!("{:04}.jpg", 7 + 2 * shot + n);
            fs::copy(drawn().join(format!("{n}-{shot}.jpg")), heap.join(&name)).unwrap();
            list += &format!("{name},{who}\n");
        }
    }
    fs::copy(drawn().join("3-0.jpg"), heap.join("0099.jpg")).unwrap();
    list += "1234.jpg,Cem\n";
    fs::write(dir.join("list.csv"), list).unwrap();
    let ran = grade(dir, &["--out", "by-list", "--whose", "list.csv", "heap"]);
    assert_eq!(ran.code, 3, "{}", ran.out);
    assert!(
        ran.out.contains("1 photo is on nobody's line"),
        "{}",
        ran.out
    );
    assert!(ran.out.contains("Cem: not graded"), "{}", ran.out);
    assert!(ran.err.contains("1234.jpg"), "{}", ran.err);
    let sheet = |out: &str, name: &str| fs::read(dir.join(out).join("sheets").join(name)).unwrap();
    for name in ["ada.html", "Bram-B.pdf"] {
        assert!(sheet("by-name", name) == sheet("by-list", name), "{name}");
    }
}

#[test]
fn one_piece_handed_in_twice_is_seen() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let folder = class(dir, &SIX[..4]);
    // Zoe hands in a smaller copy of Dilara's photo, Yan another photo of Bram's piece.
    let copy = image::open(folder.join("dilara.jpg")).unwrap();
    let (w, h) = (copy.width() * 9 / 10, copy.height() * 9 / 10);
    copy.resize(w, h, image::imageops::FilterType::Triangle)
        .save(folder.join("zoe.jpg"))
        .unwrap();
    fs::copy(drawn().join("1-1.jpg"), folder.join("yan.jpg")).unwrap();
    let ran = grade(dir, &["class"]);
    let book = fs::read_to_string(dir.join("grades/gradebook.csv")).unwrap();
    let line = |who: &str| book.lines().find(|l| l.starts_with(who)).unwrap();
    assert!(
        line("zoe").contains("handed in with the same photo as dilara"),
        "{}{book}",
        ran.out
    );
    assert!(
        line("dilara").contains("handed in with the same photo as zoe"),
        "{book}"
    );
    assert!(
        line("yan").contains("its marks lie exactly as those of bram"),
        "{book}"
    );
    assert!(
        line("bram").contains("its marks lie exactly as those of yan"),
        "{book}"
    );
    for alone in ["ada", "chidi"] {
        let line = line(alone);
        assert!(
            !line.contains("same photo") && !line.contains("exactly as"),
            "{line}"
        );
    }
    // Not a word of it on the students' sheets.
    for (name, bytes) in all(&dir.join("grades/sheets")) {
        let text = String::from_utf8_lossy(&bytes).into_owned();
        assert!(
            !text.contains("same photo") && !text.contains("exactly as"),
            "{name}"
        );
    }
}

/// A photo with a place, an artist and a serial number in its EXIF block.
fn with_place(photo: &[u8]) -> Vec<u8> {
    let text = |s: &str| Value::Ascii(vec![s.as_bytes().to_vec()]);
    let degrees = |d: u32| {
        let parts = [d, 17, 4242];
        Value::Rational(
            parts
                .iter()
                .map(|&num| Rational { num, denom: 1 })
                .collect(),
        )
    };
    let fields: Vec<Field> = [
        (Tag::GPSLatitudeRef, text("N")),
        (Tag::GPSLatitude, degrees(41)),
        (Tag::GPSLongitudeRef, text("E")),
        (Tag::GPSLongitude, degrees(29)),
        (
            Tag::GPSAreaInformation,
            Value::Undefined(b"SECRETPLACE".to_vec(), 0),
        ),
        (Tag::Artist, text("SECRETARTIST")),
        (Tag::BodySerialNumber, text("SECRETSERIAL")),
        (Tag::Model, text("SECRETMODEL")),
    ]
    .into_iter()
    .map(|(tag, value)| Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    })
    .collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    let block = block.into_inner();
    let mut out = photo[..2].to_vec();
    let length = u16::try_from(block.len() + 8).unwrap();
    out.extend([0xff, 0xe1]);
    out.extend(length.to_be_bytes());
    out.extend(b"Exif\0\0");
    out.extend(&block);
    out.extend(&photo[2..]);
    out
}

/// What a file says, pictures within it opened.
fn opened(bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    let text = String::from_utf8_lossy(bytes);
    let longest = text
        .split(|c: char| !(c.is_ascii_alphanumeric() || "+/=".contains(c)))
        .filter(|part| part.len() > 1000);
    for part in longest {
        out.extend(STANDARD.decode(part).unwrap_or_default());
    }
    out
}

#[test]
fn names_and_places_stay_where_they_are() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    let folder = class(dir, &["Vasilisa", "Wolfgang"]);
    for who in ["Vasilisa", "Wolfgang"] {
        let path = folder.join(format!("{who}.jpg"));
        let secret = with_place(&fs::read(&path).unwrap());
        assert!(
            exif::Reader::new()
                .read_from_container(&mut std::io::Cursor::new(&secret))
                .is_ok()
        );
        fs::write(&path, secret).unwrap();
    }
    // First with names, then with numbers: nothing of the names is left on any page.
    assert_eq!(grade(dir, &["class"]).code, 0);
    assert!(dir.join("grades/sheets/Vasilisa.html").exists());
    let ran = grade(dir, &["--numbers", "class"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(
        names(&dir.join("grades/sheets")),
        ["01.html", "01.pdf", "02.html", "02.pdf"]
    );
    let has = |bytes: &[u8], word: &str| bytes.windows(word.len()).any(|w| w == word.as_bytes());
    let mut pictures = 0;
    for (name, bytes) in all(&dir.join("grades")) {
        let bytes = opened(&bytes);
        pictures += bytes
            .windows(3)
            .filter(|w| *w == [0xff, 0xd8, 0xff])
            .count();
        for word in ["Vasilisa", "Wolfgang"] {
            assert!(
                !has(&bytes, word) || name == "names.csv",
                "{name} has {word}"
            );
        }
        for word in ["SECRET", "Exif\0"] {
            assert!(!has(&bytes, word), "{name} has {word}");
        }
    }
    assert!(pictures >= 4, "the pictures were not opened: {pictures}");
    assert!(!ran.out.contains("Vasilisa") && !ran.err.contains("Vasilisa"));
    let list = fs::read_to_string(dir.join("grades/names.csv")).unwrap();
    assert!(
        list.contains("Vasilisa") && list.contains("Wolfgang"),
        "{list}"
    );
    // The numbers stay when another joins.
    let before: Vec<&str> = list.lines().collect();
    fs::copy(drawn().join("2-0.jpg"), folder.join("Aaron.jpg")).unwrap();
    assert_eq!(grade(dir, &["--numbers", "class"]).code, 0);
    let after = fs::read_to_string(dir.join("grades/names.csv")).unwrap();
    assert!(before.iter().all(|l| after.contains(l)), "{after}");
    assert!(after.contains("03,Aaron"), "{after}");
}

#[test]
fn mistakes_are_told_before_anything_is_written() {
    let dir = tempfile::tempdir().unwrap();
    let dir = dir.path();
    class(dir, &["ada"]);
    let ran = run(dir, &["grade", "class"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("--plan") && ran.err.contains("--rubric"),
        "{}",
        ran.err
    );
    assert_eq!(run(dir, &["grade", "--new-rubric", "r.toml"]).code, 0);
    let again = run(dir, &["grade", "--new-rubric", "r.toml"]);
    assert!(
        again.code == 2 && again.err.contains("is there already"),
        "{}",
        again.err
    );
    fs::write(dir.join("rubric.toml"), "[position]\nweight = 5\n").unwrap();
    let ran = grade(dir, &["class"]);
    assert!(
        ran.code == 2 && ran.err.contains("rubric.toml:1:"),
        "{}",
        ran.err
    );
    fs::remove_file(dir.join("rubric.toml")).unwrap();
    let ran = grade(dir, &["nowhere"]);
    assert!(ran.code == 2 && ran.err.contains("nowhere"), "{}", ran.err);
    fs::create_dir(dir.join("mine")).unwrap();
    fs::write(dir.join("mine/thesis.txt"), "x").unwrap();
    let ran = grade(dir, &["--out", "mine", "class"]);
    assert!(
        ran.code == 2 && ran.err.contains("other things"),
        "{}",
        ran.err
    );
    assert_eq!(names(dir), ["class", "mine", "r.toml", "rubric.toml"]);
}
