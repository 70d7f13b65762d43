//! What goes to the terminal, and whether files may be written where they are asked for.

use std::io::{self, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

use punchready::file;
use punchready::report::clear_parts;
use punchready::report::words::plain;

use super::args::When;
use super::exit::Failure;

/// Columns of text: the terminal's, within these bounds. Narrower, words break; wider, lines are hard to
/// read.
const COLUMNS: std::ops::RangeInclusive<usize> = 40..=100;
/// Columns where no terminal tells its own.
const USUAL_COLUMNS: usize = 80;

/// Prints a result to standard output. A reader that has gone away (`| head`) is no error: it has
/// seen what it wanted, and the other files are still to be written.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut stdout = io::stdout().lock();
    match stdout
        .write_all(text.as_bytes())
        .and_then(|()| stdout.flush())
    {
        Err(e) if e.kind() != ErrorKind::BrokenPipe => Err(Failure::new(
            format!("standard output: could not be written: {e}"),
            "give the output a place with room, or a file that can be written to",
        )),
        _ => Ok(()),
    }
}

/// Says a line on standard error. Where that is closed there is nobody left to tell.
pub(crate) fn tell(line: &str) {
    let _ = writeln!(io::stderr().lock(), "{line}");
}

/// Says why a command could not do what it was asked: broken to the width of a terminal, as it is elsewhere.
pub(crate) fn tell_failure(text: &str) {
    if io::stderr().is_terminal() {
        tell(&super::exit::wrapped(text, columns()));
    } else {
        tell(text);
    }
}

/// Columns that a summary on standard output may use.
pub(crate) fn columns() -> usize {
    columns_of(terminal_size::terminal_size().map(|(width, _)| usize::from(width.0)))
}

fn columns_of(terminal: Option<usize>) -> usize {
    let wide = terminal.unwrap_or(USUAL_COLUMNS);
    wide.clamp(*COLUMNS.start(), *COLUMNS.end())
}

/// Whether standard output gets colour: the flag wins, then `NO_COLOR`, then whether it is a terminal.
pub(crate) fn colour(when: When) -> bool {
    let unwanted = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    match when {
        When::Always => true,
        When::Never => false,
        When::Auto => !unwanted && io::stdout().is_terminal(),
    }
}

/// In every picture, PDF and SVG of this program.
pub(crate) const SIGN: &str = "punchready";
/// Largest file that is looked through for a sign, bytes: more than any that this program writes.
const LARGEST_OWN: u64 = 200_000_000;

/// A file to be written.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Output<'a> {
    /// The option that asks for it.
    pub(crate) flag: &'a str,
    /// Where to.
    pub(crate) path: &'a Path,
    /// Words that stand in every file of its kind: one without them was made by somebody else.
    pub(crate) sign: &'a str,
}

/// Refuses places for output files that could only fail, or cost the user a file: folders that do not
/// exist, devices, one file for two outputs, the files that are `read`, and, unless `force` is given, files that are not
/// of the kind to be written. Takes away what a run left there that was cut off.
pub(crate) fn check_places(outputs: &[Output], read: &[&Path], force: bool) -> Result<(), Failure> {
    let read: Vec<PathBuf> = read.iter().filter_map(|p| p.canonicalize().ok()).collect();
    let mut taken: Vec<(&str, PathBuf)> = Vec::new();
    for &Output { flag, path, sign } in outputs {
        let place = place(path).ok_or_else(|| {
            Failure::new(
                format!(
                    "{flag} {}: there is no such folder to write into",
                    path.display()
                ),
                "make the folder first, or name a file in one that exists",
            )
        })?;
        if place.exists() && !place.is_file() {
            return Err(Failure::new(
                format!("{flag} {}: this is not an ordinary file", path.display()),
                "name a file, new or old",
            ));
        }
        if read.contains(&place) {
            return Err(Failure::new(
                format!(
                    "{flag} {}: this file is being read; writing would destroy it",
                    path.display()
                ),
                "name another file for the output",
            ));
        }
        if let Some((other, _)) = taken.iter().find(|(_, p)| *p == place) {
            return Err(Failure::new(
                format!("{other} and {flag} both ask for {}", path.display()),
                "give each output a file of its own",
            ));
        }
        if !force && place.exists() && !is_own(&place, sign) {
            return Err(Failure::new(
                format!(
                    "{flag} {}: this file is there already, and it is not one that this command writes",
                    path.display()
                ),
                "name another file, or add --force to overwrite it",
            ));
        }
        clear_parts(&place);
        taken.push((flag, place));
    }
    Ok(())
}

/// Whether a file has nothing in it, or the sign of its kind.
fn is_own(path: &Path, sign: &str) -> bool {
    let Ok(Some(bytes)) = file::read(path, LARGEST_OWN) else {
        return false;
    };
    let sign = sign.as_bytes();
    bytes.is_empty() || bytes.windows(sign.len()).any(|w| w == sign)
}

/// A path as text that steers no terminal.
pub(crate) fn name(path: &Path) -> String {
    plain(&path.display().to_string())
}

/// The file's true place, whether it exists or not; `None` if its folder does not exist.
fn place(path: &Path) -> Option<PathBuf> {
    if let Ok(place) = path.canonicalize() {
        return Some(place);
    }
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    Some(folder.canonicalize().ok()?.join(path.file_name()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_fits_the_terminal() {
        let known = [(None, 80), (Some(60), 60), (Some(250), 100), (Some(7), 40)];
        for (terminal, columns) in known {
            assert_eq!(columns_of(terminal), columns, "{terminal:?}");
        }
    }
}
