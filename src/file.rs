//! Files that are read: ordinary ones only, and no more of them than is allowed.
//!
//! A pipe, a terminal or a device may never end, or wait for ever to be opened: what a stranger's folder names is looked
//! at before it is opened.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;

/// Opens a file to be read.
///
/// # Errors
/// What the system says, and `InvalidInput` for what is no ordinary file.
pub fn open(path: &Path) -> io::Result<File> {
    ordinary(&fs::metadata(path)?)?;
    let file = File::open(path)?;
    // Again, for it may have been put in place of the other in between.
    ordinary(&file.metadata()?)?;
    Ok(file)
}

/// All bytes of a file; `None` if there are more than `most`.
///
/// # Errors
/// As [`open`], and what the system says while reading.
pub fn read(path: &Path, most: u64) -> io::Result<Option<Vec<u8>>> {
    let file = open(path)?;
    let stated = file.metadata()?.len();
    if stated > most {
        return Ok(None);
    }
    let mut bytes = Vec::with_capacity(usize::try_from(stated).unwrap_or(0));
    // One byte more than allowed shows a file that grows.
    file.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= most).then_some(bytes))
}

fn ordinary(found: &fs::Metadata) -> io::Result<()> {
    if found.is_file() {
        return Ok(());
    }
    let what = if found.is_dir() {
        "this is a folder, not a file"
    } else {
        "this is a pipe or a device, no ordinary file"
    };
    Err(io::Error::new(io::ErrorKind::InvalidInput, what))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_ordinary_files_up_to_a_size() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("a");
        fs::write(&path, b"12345").unwrap();
        assert_eq!(read(&path, 5).unwrap().unwrap(), b"12345");
        assert_eq!(read(&path, 4).unwrap(), None);
        let told = |path: &Path| read(path, 9).unwrap_err().to_string();
        assert!(told(dir.path()).contains("a folder"));
        if cfg!(unix) {
            assert!(told(Path::new("/dev/zero")).contains("device"));
        }
    }
}
