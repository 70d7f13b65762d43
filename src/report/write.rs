//! A file written whole or not at all.

use std::fs::{self, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::ReportError;

/// Names tried for the temporary file before giving up: enough for leftovers of earlier crashes.
const TRIES: u32 = 100;
/// How the name of a temporary file ends.
const PART: &str = ".part";

/// Writes `bytes` to `path` by way of a new file in the same folder, put in place in one step, so
/// that a reader sees the old file or the new one, never a half.
///
/// # Errors
/// [`ReportError::Write`] with the step that failed; the temporary file is taken away again.
pub fn write_atomically(path: &Path, bytes: &[u8]) -> Result<(), ReportError> {
    let fail = |step, why| ReportError::Write {
        path: path.to_path_buf(),
        step,
        why,
    };
    let (temporary, mut file) =
        create_beside(path).map_err(|e| fail("create a file beside it", e))?;
    let filled = file.write_all(bytes).and_then(|()| file.sync_all());
    // Some systems do not rename an open file.
    drop(file);
    let done = filled
        .map_err(|e| fail("fill it", e))
        .and_then(|()| fs::rename(&temporary, path).map_err(|e| fail("put it in place", e)));
    if done.is_err() {
        // The first failure is the one to report.
        let _ = fs::remove_file(&temporary);
    }
    done
}

fn create_beside(path: &Path) -> io::Result<(PathBuf, fs::File)> {
    let name = path
        .file_name()
        .ok_or_else(|| io::Error::new(ErrorKind::InvalidInput, "this is not a file name"))?;
    let mut last = None;
    for n in 0..TRIES {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{n}{PART}", std::process::id()));
        let beside = path.with_file_name(hidden);
        match OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&beside)
        {
            Ok(file) => {
                // So that no other run takes it for a leftover; a system without locks has nothing to tell them by.
                let _ = file.try_lock();
                return Ok((beside, file));
            }
            Err(e) if e.kind() == ErrorKind::AlreadyExists => last = Some(e),
            Err(e) => return Err(e),
        }
    }
    Err(last.unwrap_or_else(|| io::Error::other("no free name")))
}

/// What to do about a file that could not be written.
pub(crate) fn advice(why: &io::Error) -> &'static str {
    match why.kind() {
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            "make room on that disk, or choose another"
        }
        ErrorKind::InvalidFilename => "choose a shorter name",
        ErrorKind::IsADirectory | ErrorKind::DirectoryNotEmpty => {
            "choose another name: a folder is called so"
        }
        ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => {
            "choose a folder that may be written to"
        }
        _ => "choose a folder that exists and may be written to",
    }
}

/// A part this old belongs to no run that is just making it and has not locked it yet.
const STALE: Duration = Duration::from_secs(10);

/// Takes away the temporary files that runs left beside `path` which were killed while they wrote it. Those of a run
/// that is still going are locked, and stay. What cannot be taken away does no harm but look untidy.
pub fn clear_parts(path: &Path) {
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    let (Some(name), Ok(inside)) = (path.file_name(), fs::read_dir(folder)) else {
        return;
    };
    let mut begins = b".".to_vec();
    begins.extend(name.as_encoded_bytes());
    begins.push(b'.');
    for entry in inside.flatten() {
        let found = entry.file_name();
        let Some(rest) = found.as_encoded_bytes().strip_prefix(&begins[..]) else {
            continue;
        };
        let numbers = rest.strip_suffix(PART.as_bytes());
        let is_part = numbers
            .is_some_and(|n| !n.is_empty() && n.iter().all(|b| b.is_ascii_digit() || *b == b'-'));
        if is_part && is_left(&entry.path()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether nobody is writing this part any more.
fn is_left(part: &Path) -> bool {
    let Ok(file) = crate::file::open(part) else {
        return false;
    };
    let age = file.metadata().and_then(|m| m.modified()).ok();
    let age = age.and_then(|then| then.elapsed().ok());
    age.is_some_and(|age| age > STALE) && file.try_lock().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn replaces_whole_and_leaves_nothing_behind() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("result.json");
        write_atomically(&path, b"old").unwrap();
        write_atomically(&path, b"new").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"new");
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn leftovers_go_and_others_stay() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("r.json");
        let old = std::time::SystemTime::now() - 2 * STALE;
        let make = |name: &str| {
            let file = fs::File::create(dir.path().join(name)).unwrap();
            file.set_modified(old).unwrap();
            file
        };
        let held = make(".r.json.9-1.part");
        held.lock().unwrap();
        for name in [
            ".r.json.7-0.part",
            ".r.json.mine.part",
            ".other.7-0.part",
            "r.json.7-0.part",
        ] {
            make(name);
        }
        fs::write(dir.path().join(".r.json.8-0.part"), "just made").unwrap();
        clear_parts(&path);
        let left = |name: &str| dir.path().join(name).exists();
        assert!(!left(".r.json.7-0.part"), "a killed run's part is left");
        for name in [
            ".r.json.9-1.part",
            ".r.json.8-0.part",
            ".r.json.mine.part",
            ".other.7-0.part",
            "r.json.7-0.part",
        ] {
            assert!(left(name), "{name} was taken away");
        }
    }

    #[test]
    fn failure_names_the_file_and_keeps_the_old_one() {
        let dir = tempfile::tempdir().unwrap();
        let missing = dir.path().join("no-such-folder").join("result.json");
        let e = write_atomically(&missing, b"x").unwrap_err().to_string();
        assert!(
            e.contains("no-such-folder") && e.contains("create a file"),
            "{e}"
        );
        // A folder cannot be replaced by a file.
        let folder = dir.path().join("folder");
        fs::create_dir(&folder).unwrap();
        fs::write(folder.join("inside"), b"kept").unwrap();
        let e = write_atomically(&folder, b"x").unwrap_err().to_string();
        assert!(e.contains("put it in place"), "{e}");
        assert_eq!(
            fs::read_dir(dir.path()).unwrap().count(),
            1,
            "temporary left"
        );
        assert!(write_atomically(Path::new("/"), b"x").is_err());
    }
}
