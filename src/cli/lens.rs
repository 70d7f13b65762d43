//! `punchready lens`.

use std::path::{Path, PathBuf};

use punchready::lens::{Calibrated, Free, LeftOut, Profile, Shot, picture, report};
use punchready::photo;
use punchready::report::words::plain;
use punchready::report::write_atomically;

use super::args::LensArgs;
use super::exit::{Failure, Status};
use super::out::{self, Output};

/// Which photos to read, and where the results go.
#[derive(Debug)]
pub(crate) struct Options {
    photos: Vec<PathBuf>,
    out: Option<PathBuf>,
    picture: Option<PathBuf>,
    json: Option<PathBuf>,
    free: Free,
    quiet: bool,
}

impl Options {
    /// The options as typed, checked as far as they can be without reading a photo.
    pub(crate) fn of(args: LensArgs) -> Result<Self, Failure> {
        let ends = |path: &Option<PathBuf>, ending: &str| {
            path.as_ref().is_none_or(|p| {
                p.extension()
                    .is_some_and(|e| e.eq_ignore_ascii_case(ending))
            })
        };
        if !ends(&args.picture, "png") {
            return Err(Failure::new(
                "--picture: the picture of a calibration is a PNG",
                "let the name end in .png",
            ));
        }
        if !ends(&args.out, "toml") {
            return Err(Failure::new(
                "--out: a camera profile is a TOML file",
                "let the name end in .toml",
            ));
        }
        let options = Self {
            photos: args.photos,
            out: args.out,
            picture: args.picture,
            json: args.json,
            free: Free {
                k3: args.k3,
                ..Free::default()
            },
            quiet: args.quiet,
        };
        let read: Vec<&Path> = options.photos.iter().map(PathBuf::as_path).collect();
        let outputs: Vec<Output> = [
            ("--out", &options.out, "punchready.lens/"),
            ("--picture", &options.picture, out::SIGN),
            ("--json", &options.json, "punchready.calibration/"),
        ]
        .into_iter()
        .filter_map(|(flag, path, sign)| {
            let path = path.as_deref()?;
            Some(Output { flag, path, sign })
        })
        .filter(|o| o.path != Path::new("-"))
        .collect();
        out::check_places(&outputs, &read, args.force)?;
        Ok(options)
    }

    fn json_to_stdout(&self) -> bool {
        self.json.as_deref() == Some(Path::new("-"))
    }
}

/// Reads the photos, fits the lens, says how good it is, writes the files.
pub(crate) fn run(options: &Options) -> Result<Status, Failure> {
    let (shots, left_out) = shots(&options.photos)?;
    let made = match Calibrated::of(shots, left_out, options.free) {
        Ok(made) => made,
        Err((error, left_out)) => {
            for l in left_out {
                out::tell(&format!("left out: {}: {}", plain(&l.name), plain(&l.why)));
            }
            out::tell(&Failure::advised(&error).to_string());
            return Ok(Status::CannotTell);
        }
    };
    if options.json_to_stdout() {
        out::print(&report::json(&made))?;
    } else if !options.quiet {
        out::print(&report::summary(&made, out::columns()))?;
    }
    if let Some(path) = options.json.as_ref().filter(|_| !options.json_to_stdout()) {
        write(options, path, report::json(&made).as_bytes())?;
    }
    if let Some(path) = &options.picture {
        write(
            options,
            path,
            &picture::png(&made).map_err(|e| Failure::told(&e))?,
        )?;
    }
    if !made.judgement.good_enough() {
        if let Some(path) = &options.out {
            out::tell(&format!(
                "{} was not written: the set is not good enough yet",
                out::name(path)
            ));
        }
        return Ok(Status::CannotTell);
    }
    match &options.out {
        Some(path) => {
            let profile = Profile::of(&made.fit, &made.camera, path);
            write(options, path, profile.to_toml().as_bytes())?;
        }
        None => out::tell("add --out FILE.toml to keep the profile"),
    }
    Ok(Status::Done)
}

/// The photos that show the page, and those that do not. A file that is not there is a slip of the command
/// line, not a bad photo.
fn shots(paths: &[PathBuf]) -> Result<(Vec<Shot>, Vec<LeftOut>), Failure> {
    if let Some(missing) = paths.iter().find(|p| !p.is_file()) {
        return Err(Failure::new(
            format!("{}: there is no such photo", missing.display()),
            "check the name",
        ));
    }
    let mut shots = Vec::new();
    let mut left_out = Vec::new();
    for path in paths {
        let shot = photo::read(path)
            .map_err(|e| {
                let name = path.display().to_string();
                let told = e.to_string();
                let why = told.strip_prefix(&format!("{name}: ")).unwrap_or(&told);
                LeftOut {
                    why: why.to_owned(),
                    name,
                }
            })
            .and_then(|photo| Shot::of(&photo));
        match shot {
            Ok(shot) => shots.push(shot),
            Err(out) => left_out.push(out),
        }
    }
    Ok((shots, left_out))
}

fn write(options: &Options, path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_atomically(path, bytes).map_err(|e| Failure::advised(&e))?;
    if !options.quiet {
        out::tell(&format!("wrote {}", out::name(path)));
    }
    Ok(())
}
