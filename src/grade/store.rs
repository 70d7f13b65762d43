//! Stored results: one file a piece, named by what it was made from, so that an interrupted run goes on and a
//! changed rubric marks anew without measuring anew.
//!
//! A result depends on the bytes of the photos and of the plan, on what was said besides, and on the program.
//! It does not depend on names, nor on the rubric: points are given from it afresh each time.

use std::fs;
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::{Deserialize, Serialize};

use super::findings::{FORMAT, Findings};
use super::look::Look;
use crate::file;
use crate::report::{ReportError, write_atomically};

/// Largest stored result, bytes: a picture of a page in base 64, and what was found, are a few MB.
const LARGEST_RESULT: u64 = 64 << 20;

/// FNV-1a of 128 bits (Fowler, Noll, Vo; RFC 9923, from memory): that two photos of a class share one by chance
/// is out of the question, and nobody gains by forging one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Hash(u128);

impl Hash {
    const PRIME: u128 = 0x0000_0000_0100_0000_0000_0000_0000_013b;

    /// Of nothing.
    #[must_use]
    pub fn new() -> Self {
        Self(0x6c62_272e_07bb_0142_62b8_2175_6295_c58d)
    }

    /// With more bytes.
    #[must_use]
    pub fn with(self, bytes: &[u8]) -> Self {
        Self(bytes.iter().fold(self.0, |h, &b| {
            (h ^ u128::from(b)).wrapping_mul(Self::PRIME)
        }))
    }

    /// Of a file's bytes.
    ///
    /// # Errors
    /// What the system says of the file.
    pub fn of_file(path: &Path) -> io::Result<Self> {
        let mut file = file::open(path)?;
        let mut hash = Self::new();
        let mut part = vec![0; 1 << 16];
        loop {
            match file.read(&mut part) {
                Ok(0) => return Ok(hash),
                Ok(n) => hash = hash.with(&part[..n]),
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
    }

    /// As hexadecimal digits.
    #[must_use]
    pub fn hex(self) -> String {
        format!("{:032x}", self.0)
    }
}

impl Default for Hash {
    fn default() -> Self {
        Self::new()
    }
}

/// What is stored of a piece.
#[derive(Serialize, Deserialize)]
struct Stored {
    findings: Findings,
    /// The picture, JPEG in base 64: in the same file, so that a result is whole or not there.
    picture: Option<String>,
}

/// The folder of the stored results.
#[derive(Debug, Clone)]
pub struct Store {
    dir: PathBuf,
}

impl Store {
    /// Opens the folder, making it if need be; what an interrupted run left half written is taken away.
    ///
    /// # Errors
    /// What the system says of the folder.
    pub fn open(dir: &Path) -> io::Result<Self> {
        fs::create_dir_all(dir)?;
        sweep(dir)?;
        Ok(Self {
            dir: dir.to_owned(),
        })
    }

    fn path(&self, key: &str) -> PathBuf {
        self.dir.join(format!("{key}.json"))
    }

    /// The result of this key; `None` if there is none that can be read.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<Look> {
        let text = file::read(&self.path(key), LARGEST_RESULT).ok()??;
        let stored: Stored = serde_json::from_slice(&text).ok()?;
        if stored.findings.format != FORMAT {
            return None;
        }
        let picture = match stored.picture {
            Some(text) => Some(STANDARD.decode(text).ok()?),
            None => None,
        };
        Some(Look {
            findings: stored.findings,
            picture,
        })
    }

    /// Stores a result, whole or not at all.
    ///
    /// # Errors
    /// [`ReportError::Write`].
    pub fn put(&self, key: &str, look: &Look) -> Result<(), ReportError> {
        let stored = Stored {
            findings: look.findings.clone(),
            picture: look.picture.as_ref().map(|p| STANDARD.encode(p)),
        };
        let path = self.path(key);
        let text = serde_json::to_vec(&stored).map_err(|e| ReportError::Write {
            path: path.clone(),
            step: "put the result into words",
            why: io::Error::other(e),
        })?;
        write_atomically(&path, &text)
    }
}

/// Takes away the temporary files of a run that was cut off.
///
/// # Errors
/// What the system says of the folder.
pub fn sweep(dir: &Path) -> io::Result<()> {
    for entry in fs::read_dir(dir)? {
        let path = entry?.path();
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned());
        if name.is_some_and(|n| n.starts_with('.') && n.ends_with(".part")) {
            // If it cannot be taken away it does no harm but look untidy.
            let _ = fs::remove_file(&path);
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hash_has_its_published_value() {
        // Test vectors of FNV-1a 128 for "" and "a" (from memory).
        assert_eq!(Hash::new().hex(), "6c62272e07bb014262b821756295c58d");
        assert_eq!(
            Hash::new().with(b"a").hex(),
            "d228cb696f1a8caf78912b704e4a8964"
        );
    }
}
