//! A file written whole or not at all.

use std::fs::{self, OpenOptions};
use std::io::Write;
use std::path::{Path, PathBuf};

use super::ReportError;

/// Names tried for the temporary file before giving up: enough for leftovers of earlier crashes.
const TRIES: u32 = 100;

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

fn create_beside(path: &Path) -> std::io::Result<(PathBuf, fs::File)> {
    let name = path.file_name().ok_or_else(|| {
        std::io::Error::new(std::io::ErrorKind::InvalidInput, "this is not a file name")
    })?;
    let mut last = None;
    for n in 0..TRIES {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{n}.part", std::process::id()));
        let beside = path.with_file_name(hidden);
        match OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&beside)
        {
            Ok(file) => return Ok((beside, file)),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => last = Some(e),
            Err(e) => return Err(e),
        }
    }
    Err(last.unwrap_or_else(|| std::io::Error::other("no free name")))
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
