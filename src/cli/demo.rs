//! `punchready demo`.

use std::collections::BTreeMap;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use punchready::check::{Given, Stage};
use punchready::file;
use punchready::frame::Point;
use punchready::plan::{self, Plan};
use punchready::report::{clear_parts, words, write_atomically};
use punchready::survey::PrintScale;
use punchready::synth::{self, ExifFacts, Scene, Truth, demo};

use super::args::{DemoArgs, PhotoSize};
use super::exit::{Failure, Status};
use super::progress::Progress;
use super::{check, out};

/// Quality of the demo photo: 12 MP stay under 4 MB.
const QUALITY: u8 = 92;
/// Name and version of the truth file's format.
const TRUTH_FORMAT: &str = "punchready.demo/1";

const PLAN_FILE: &str = "hatch-cover.toml";
const PHOTO_FILE: &str = "hatch-cover.jpg";
const TRUTH_FILE: &str = "truth.json";
/// What the check writes, in the order of its options.
const CHECK_FILES: [&str; 3] = ["result.json", "picture.jpg", "report.html"];
/// Which files of the folder this command made, each with a hash of what it wrote.
const RECORD_FILE: &str = ".punchready-demo";

/// Draws the demo scenario, and checks it if asked.
pub(crate) fn run(args: &DemoArgs) -> Result<Status, Failure> {
    let plan = plan::parse(demo::DEMO_PLAN, Path::new(PLAN_FILE)).map_err(|e| Failure::told(&e))?;
    let mut folder = Folder::open(&args.dir)?;
    let mut names = vec![PLAN_FILE, PHOTO_FILE, TRUTH_FILE];
    if args.check {
        names.extend(CHECK_FILES);
    }
    folder.claim(&names)?;
    let scene = scene(&plan, args);
    let bar = Progress::of("drawing the photo", false);
    let rendered = synth::render(&scene);
    drop(bar);
    let facts = ExifFacts {
        quality: QUALITY,
        ..ExifFacts::default()
    };
    let photo = synth::jpeg::jpeg_bytes(&rendered, &facts).map_err(|e| Failure::told(&e))?;
    folder.write(PLAN_FILE, demo::DEMO_PLAN.as_bytes())?;
    folder.write(PHOTO_FILE, &photo)?;
    folder.write(
        TRUTH_FILE,
        truth(&plan, &scene, &rendered.truth, args.ready).as_bytes(),
    )?;
    out::tell(&format!(
        "wrote {PLAN_FILE}, {PHOTO_FILE} and {TRUTH_FILE} into {}",
        args.dir.display()
    ));
    drop(rendered);
    let command = command(&args.dir);
    if !args.check {
        out::print(&format!("next: {command}\n"))?;
        return Ok(Status::Done);
    }
    out::tell(&format!("running {command}"));
    let file = |name: &str| args.dir.join(name);
    let given = Given {
        cameras: Vec::new(),
        answers: None,
        // What a rule would show on this print, which is true to size.
        print_scale: PrintScale::from_bars([100.0, 100.0]).ok(),
        // The cards lie on scrap of the sheet's thickness.
        card_thickness_mm: None,
        card_below_mm: Some(0.0),
        known: Vec::new(),
        datum_corner: None,
        stage: Stage::Marked,
    };
    let options = check::Options::of_demo(
        file(PHOTO_FILE),
        file(PLAN_FILE),
        given,
        CHECK_FILES.map(file),
    );
    check::run(&options)?;
    folder.adopt(&CHECK_FILES)?;
    out::print(&format!(
        "\nnext: open {} in a browser, or look at {};\n\
         where everything truly is: {}\n",
        file("report.html").display(),
        file("picture.jpg").display(),
        file(TRUTH_FILE).display()
    ))?;
    Ok(Status::Done)
}

fn scene(plan: &Plan, args: &DemoArgs) -> Scene {
    let mut scene = if args.ready {
        demo::ready_scene(plan)
    } else {
        demo::scene(plan)
    };
    if args.size == PhotoSize::Small {
        // The same view on two thirds of the pixels each way.
        let camera = &mut scene.camera;
        camera.width = camera.width * 2 / 3;
        camera.height = camera.height * 2 / 3;
        camera.focal_px /= 1.5;
        camera.principal = Point::at(camera.principal.vec() / 1.5);
    }
    scene
}

/// The command that checks the demo photo, as it can be typed here.
fn command(dir: &Path) -> String {
    let program = std::env::args()
        .next()
        .unwrap_or_else(|| "punchready".to_owned());
    let file = |name: &str| quoted(&dir.join(name).display().to_string());
    let [json, picture, page] = CHECK_FILES.map(file);
    format!(
        "{} check {} --plan {} --bars 100mm,100mm --card-below 0mm --json {json} --picture {picture} --report {page}",
        quoted(&program),
        file(PHOTO_FILE),
        file(PLAN_FILE),
    )
}

/// `text` as one word of a shell.
fn quoted(text: &str) -> String {
    let harmless = |c: char| c.is_alphanumeric() || "/._-+:\\".contains(c);
    if !text.is_empty() && text.chars().all(harmless) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

/// Where everything truly is, as JSON.
fn truth(plan: &Plan, scene: &Scene, truth: &Truth, ready: bool) -> String {
    let place = |x: f64, y: f64| json!([round(x), round(y)]);
    let marks: Vec<Value> = truth
        .marks
        .iter()
        .map(|m| {
            json!({
                "name": m.name,
                "kind": words::kind_word(m.kind),
                "at": place(m.at.x, m.at.y),
                "px": place(m.px.x, m.px.y),
                "size": round(m.size_mm),
                "ringed": m.ringed,
                "crossed_out": m.crossed_out,
            })
        })
        .collect();
    let cards: Vec<Value> = truth
        .cards
        .iter()
        .map(|c| json!({"number": c.number, "outline_px": c.outline.map(|p| place(p.x, p.y))}))
        .collect();
    let faults = (!ready).then(|| {
        let faults = demo::faults(plan);
        json!({
            "off": faults.off,
            "missing": faults.missing,
            "stray": place(faults.stray.x, faults.stray.y),
            "cancelled_stray": place(faults.cancelled.x, faults.cancelled.y),
        })
    });
    let all = json!({
        "format": TRUTH_FORMAT,
        "frames": "at, size and faults: mm on the sheet, origin at its lower left corner, x right, y up; \
                   px: upright photo, x right, y down, centre of the first pixel at (0.5, 0.5)",
        "photo": {"file": PHOTO_FILE, "width": scene.camera.width, "height": scene.camera.height},
        "plan": PLAN_FILE,
        "bars_mm": [100.0, 100.0],
        "card_below_mm": 0.0,
        "faults": faults,
        "marks": marks,
        "cards": cards,
        "sheet_corners_px": truth.sheet_corners.map(|p| place(p.x, p.y)),
    });
    format!("{all:#}\n")
}

/// Four decimals: a tenth of a micrometre, a ten-thousandth of a pixel.
fn round(value: f64) -> f64 {
    (value * 1e4).round() / 1e4
}

/// Largest file that may be one of this command's, bytes.
const LARGEST_OWN: u64 = 200_000_000;

/// A folder in which this command overwrites only what it made itself.
struct Folder {
    dir: PathBuf,
    /// File name to hash of what was written; sorted, so that the record is the same every time.
    made: BTreeMap<String, u64>,
}

impl Folder {
    fn open(dir: &Path) -> Result<Self, Failure> {
        fs::create_dir_all(dir).map_err(|e| {
            Failure::new(
                format!("{}: this folder cannot be made: {e}", dir.display()),
                "name a folder in a place where you may write",
            )
        })?;
        // No record, or one that does not read: then nothing here is known to be ours.
        let text = file::read(&dir.join(RECORD_FILE), LARGEST_OWN);
        let text = text.ok().flatten().unwrap_or_default();
        let text = String::from_utf8(text).unwrap_or_default();
        let made = text
            .lines()
            .filter_map(|line| {
                let (hash, name) = line.split_once("  ")?;
                Some((name.to_owned(), u64::from_str_radix(hash, 16).ok()?))
            })
            .collect();
        Ok(Self {
            dir: dir.to_owned(),
            made,
        })
    }

    /// Refuses if any of the files is there and is not as this command wrote it.
    fn claim(&self, names: &[&str]) -> Result<(), Failure> {
        for &name in names {
            let path = self.dir.join(name);
            let ours = match file::read(&path, LARGEST_OWN) {
                Ok(bytes) => bytes.is_some_and(|b| self.made.get(name) == Some(&hash(&b))),
                Err(e) => e.kind() == ErrorKind::NotFound,
            };
            if !ours {
                return Err(Failure::new(
                    format!(
                        "{}: is there already, and not as the demo wrote it",
                        path.display()
                    ),
                    "name another folder, or move that file away",
                ));
            }
        }
        Ok(())
    }

    fn write(&mut self, name: &str, bytes: &[u8]) -> Result<(), Failure> {
        let path = self.dir.join(name);
        clear_parts(&path);
        write_atomically(&path, bytes).map_err(|e| Failure::advised(&e))?;
        self.made.insert(name.to_owned(), hash(bytes));
        self.record()
    }

    /// Counts files as made here that another part of this run just wrote.
    fn adopt(&mut self, names: &[&str]) -> Result<(), Failure> {
        for &name in names {
            if let Ok(Some(bytes)) = file::read(&self.dir.join(name), LARGEST_OWN) {
                self.made.insert(name.to_owned(), hash(&bytes));
            }
        }
        self.record()
    }

    fn record(&self) -> Result<(), Failure> {
        let text: String = self
            .made
            .iter()
            .map(|(name, hash)| format!("{hash:016x}  {name}\n"))
            .collect();
        write_atomically(&self.dir.join(RECORD_FILE), text.as_bytes())
            .map_err(|e| Failure::advised(&e))
    }
}

/// FNV-1a, 64 bit (Fowler, Noll, Vo; RFC 9923, from memory): the same in every build, and good enough
/// to see that a file was edited.
fn hash(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |h, &b| {
        (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hash_has_its_published_value() {
        // Test vectors of FNV-1a 64 for "" and "a" (from memory).
        assert_eq!(hash(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(hash(b"a"), 0xaf63_dc4c_8601_ec8c);
    }

    #[test]
    fn words_for_a_shell() {
        assert_eq!(quoted("demo/a-b.jpg"), "demo/a-b.jpg");
        assert_eq!(quoted("my demo/it's"), r"'my demo/it'\''s'");
    }

    #[test]
    fn only_own_unchanged_files_are_overwritten() {
        let dir = tempfile::tempdir().unwrap();
        let mut folder = Folder::open(dir.path()).unwrap();
        folder.write(PLAN_FILE, b"ours").unwrap();
        let again = Folder::open(dir.path()).unwrap();
        assert!(again.claim(&[PLAN_FILE, PHOTO_FILE]).is_ok());
        fs::write(dir.path().join(PLAN_FILE), b"edited").unwrap();
        let refused = again.claim(&[PLAN_FILE]).unwrap_err().to_string();
        assert!(
            refused.contains(PLAN_FILE) && refused.contains("hint:"),
            "{refused}"
        );
        fs::write(dir.path().join(PHOTO_FILE), b"a photo of the user").unwrap();
        assert!(again.claim(&[PHOTO_FILE]).is_err());
    }
}
