//! Running the real program on drawn photos.
#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]
#![allow(dead_code, reason = "each test file uses a part of this")]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use punchready::frame::Point;
use punchready::plan::{self, Plan};
use punchready::synth::{self, ExifFacts, Scene};

/// What a run of the program gave.
pub(crate) struct Ran {
    /// Its exit status.
    pub(crate) code: i32,
    /// Standard output.
    pub(crate) out: String,
    /// Standard error.
    pub(crate) err: String,
}

/// The program, with nothing of this machine's terminal in it.
pub(crate) fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_punchready"));
    command
        .stdin(Stdio::null())
        .env_remove("NO_COLOR")
        .env_remove("COLUMNS");
    command
}

/// Runs the program in `dir`.
pub(crate) fn run(dir: &Path, args: &[&str]) -> Ran {
    let output = program().current_dir(dir).args(args).output().unwrap();
    Ran {
        code: output.status.code().unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// The coupon of the fixtures: small, so that 3 MP show it well.
pub(crate) fn coupon() -> (PathBuf, Plan) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/coupon.toml");
    let plan = plan::read(&path).unwrap();
    (path, plan)
}

/// The scene on 2016 x 1512 pixels instead of 4032 x 3024.
pub(crate) fn halved(mut scene: Scene) -> Scene {
    let camera = &mut scene.camera;
    camera.width /= 2;
    camera.height /= 2;
    camera.focal_px /= 2.0;
    camera.principal = Point::at(camera.principal.vec() / 2.0);
    scene
}

/// Draws a scene into a JPEG file.
pub(crate) fn draw(scene: &Scene, path: &Path) {
    let rendered = synth::render(scene);
    synth::write_jpeg(path, &rendered, &ExifFacts::default()).unwrap();
}

/// Names of the files in a folder, sorted.
pub(crate) fn names(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(dir)
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}
