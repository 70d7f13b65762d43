//! `punchready plan new`.

use punchready::draw;

use super::super::exit::{Failure, Status};
use super::super::out::{self, Output};
use super::args::NewArgs;

/// Prints a starter, or writes it to a new file.
pub(super) fn run(args: &NewArgs) -> Result<Status, Failure> {
    let Some(path) = &args.out else {
        out::print(args.case.text)?;
        return Ok(Status::Done);
    };
    new_file("--out", path, args.case.text.as_bytes())?;
    out::print(&format!(
        "{}: a plan for {}\nChange it to your drawing, then: punchready plan check {}\n",
        out::name(path),
        args.case.about,
        out::name(path)
    ))?;
    Ok(Status::Done)
}

/// Writes a file that must not be there yet: somebody's plan may be in it.
pub(super) fn new_file(flag: &str, path: &std::path::Path, bytes: &[u8]) -> Result<(), Failure> {
    let place = Output {
        flag,
        path,
        sign: "",
    };
    // Whatever it is that is there, it is not overwritten.
    out::check_places(&[place], &[], true)?;
    if path.exists() {
        return Err(Failure::new(
            format!("{flag} {}: this file exists already", path.display()),
            "name a new file; nothing was overwritten",
        ));
    }
    draw::write(path, bytes).map_err(|e| Failure::advised(&e))
}
