//! The folder that a class is graded into: what is ours in it, and how sheets are called.

use std::collections::BTreeSet;
use std::fs::{self, File, TryLockError};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use punchready::file;
use punchready::grade::class::GRADED;
use punchready::grade::store::sweep;
use punchready::report::write_atomically;

use super::numbers::numbers;
use crate::cli::exit::Failure;

/// Lists the sheets that were written: only these are ever taken away again. Its presence marks the folder, and what is
/// called so with more behind it is ours too.
const RECORD: &str = GRADED;
/// Held by the run that writes here, and let go of by the system however the run ends.
const LOCK: &str = ".punchready-grade.lock";
/// Which number is whose.
const NAMES: &str = "names.csv";
/// Largest record, bytes: two sheets a student, of 130 bytes at most.
const LARGEST_RECORD: u64 = 4 << 20;
/// Longest name of a sheet without its ending, bytes: with what is put round it while it is written, systems take 255.
const LONGEST_NAME: usize = 120;

/// The folder.
#[derive(Debug)]
pub(super) struct Folder {
    dir: PathBuf,
    sheets: PathBuf,
    /// Sheets of an earlier run.
    before: BTreeSet<String>,
    /// Keeps other runs away for as long as it is open.
    _lock: Option<File>,
}

impl Folder {
    /// Opens the folder, making it if need be. One with anything else in it is refused, and one that another run is
    /// writing into.
    pub(super) fn open(dir: &Path) -> Result<Self, Failure> {
        let failed = |e: std::io::Error| {
            Failure::new(
                format!("--out {}: {e}", dir.display()),
                "name a folder in a place where you may write",
            )
        };
        let known = record(dir)?.is_some();
        match fs::read_dir(dir) {
            Ok(inside) if !known => {
                for entry in inside {
                    let name = entry.map_err(failed)?.file_name();
                    if !is_ours(&name.to_string_lossy()) {
                        return Err(Failure::new(
                            format!(
                                "--out {}: this folder has other things in it",
                                dir.display()
                            ),
                            "name a new folder, or one that `grade` made",
                        ));
                    }
                }
            }
            Ok(_) => {}
            Err(e) if e.kind() == ErrorKind::NotFound => fs::create_dir_all(dir).map_err(failed)?,
            Err(e) => return Err(failed(e)),
        }
        let lock = lock(dir).map_err(failed)?.ok_or_else(|| {
            Failure::new(
                format!(
                    "--out {}: another run is grading into this folder",
                    dir.display()
                ),
                "wait until it is done, or name another folder",
            )
        })?;
        let folder = Self {
            dir: dir.to_owned(),
            sheets: dir.join("sheets"),
            // Again, for another run may have ended since.
            before: record(dir)?.unwrap_or_default(),
            _lock: lock,
        };
        // Before anything else is in it: from now on it is known as ours, however this run ends.
        folder.record(&folder.before)?;
        for inside in [&folder.sheets, &folder.path("measured")] {
            fs::create_dir_all(inside).map_err(failed)?;
            // What is taken away and written there must not be somewhere else.
            if fs::symlink_metadata(inside).map_err(failed)?.is_symlink() {
                return Err(Failure::new(
                    format!("{}: this is a link to another place", inside.display()),
                    "take the link away, or name another folder",
                ));
            }
        }
        sweep(dir).map_err(failed)?;
        sweep(&folder.sheets).map_err(failed)?;
        Ok(folder)
    }

    /// A place in it.
    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.dir.join(name)
    }

    /// Where a sheet goes.
    pub(super) fn sheet(&self, name: &str) -> PathBuf {
        self.sheets.join(name)
    }

    /// Takes down which sheets will be there, before the first is written.
    pub(super) fn announce(&self, names: &BTreeSet<String>) -> Result<(), Failure> {
        self.record(&self.before.union(names).cloned().collect())
    }

    /// Takes away the sheets of earlier runs that are not among these: of students who are no longer in the
    /// class, or with names where numbers are wanted now.
    pub(super) fn settle(&self, names: &BTreeSet<String>) -> Result<(), Failure> {
        for old in self.before.difference(names) {
            let path = self.sheets.join(old);
            match fs::remove_file(&path) {
                Err(e) if e.kind() != ErrorKind::NotFound => {
                    return Err(Failure::new(
                        format!(
                            "{}: an old sheet that cannot be taken away: {e}",
                            path.display()
                        ),
                        "take it away by hand",
                    ));
                }
                _ => {}
            }
        }
        self.record(names)
    }

    fn record(&self, names: &BTreeSet<String>) -> Result<(), Failure> {
        let text: String = names.iter().map(|n| format!("{n}\n")).collect();
        write_atomically(&self.dir.join(RECORD), text.as_bytes()).map_err(|e| Failure::advised(&e))
    }

    /// A number for each student, "01" and on.
    pub(super) fn numbers(&self, class: &[&str]) -> Result<Vec<String>, Failure> {
        numbers(&self.dir.join(NAMES), class)
    }
}

/// The lock of a folder; `None` if another run has it. Where the system has no locks, the run goes on without.
fn lock(dir: &Path) -> std::io::Result<Option<Option<File>>> {
    let file = File::options()
        .write(true)
        .create(true)
        .truncate(false)
        .open(dir.join(LOCK))?;
    match file.try_lock() {
        Ok(()) => Ok(Some(Some(file))),
        Err(TryLockError::WouldBlock) => Ok(None),
        Err(TryLockError::Error(_)) => Ok(Some(None)),
    }
}

/// Whether a file is one that a run leaves that was cut off before it wrote its record.
fn is_ours(name: &str) -> bool {
    name == LOCK || (name.starts_with(&format!(".{RECORD}.")) && name.ends_with(".part"))
}

/// The names in the record; `None` without one. Anybody can write one: a line that is no plain name of a sheet could take away any file.
fn record(dir: &Path) -> Result<Option<BTreeSet<String>>, Failure> {
    let bytes = match file::read(&dir.join(RECORD), LARGEST_RECORD) {
        Ok(Some(bytes)) => bytes,
        Ok(None) => return Err(spoilt(dir, "it is too large")),
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
        Err(e) => return Err(spoilt(dir, &e.to_string())),
    };
    let text = String::from_utf8(bytes).map_err(|_| spoilt(dir, "it is not UTF-8 text"))?;
    let mut names = BTreeSet::new();
    for (i, line) in text.lines().enumerate() {
        if !is_sheet(line) {
            return Err(spoilt(
                dir,
                &format!("line {} is not the name of a sheet", i + 1),
            ));
        }
        names.insert(line.to_owned());
    }
    Ok(Some(names))
}

fn spoilt(dir: &Path, why: &str) -> Failure {
    Failure::new(
        format!(
            "{}: {why}; this command did not write it so",
            dir.join(RECORD).display()
        ),
        "name a new folder; nothing was changed in this one",
    )
}

/// Whether this is a name as [`file_names`] makes them, with the ending of a sheet.
fn is_sheet(name: &str) -> bool {
    let stem = name
        .strip_suffix(".html")
        .or_else(|| name.strip_suffix(".pdf"));
    stem.is_some_and(|s| !s.is_empty() && s.chars().all(is_plain))
}

/// Whether a file's name may have this character: none that parts folders, names a drive or steers a terminal.
fn is_plain(c: char) -> bool {
    c.is_alphanumeric() || "-_".contains(c)
}

/// How each sheet is called: the name with nothing in it that a file name may not have, and no two alike, even
/// where upper and lower case are one.
pub(super) fn file_names(labels: &[String]) -> Vec<String> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    labels
        .iter()
        .map(|label| {
            let mut name = String::new();
            for c in label.chars() {
                let c = if is_plain(c) { c } else { '-' };
                if name.len() + c.len_utf8() > LONGEST_NAME {
                    break;
                }
                name.push(c);
            }
            if name.is_empty() {
                name.push_str("sheet");
            }
            let mut file = name.clone();
            let mut n = 1;
            while !taken.insert(file.to_lowercase()) {
                n += 1;
                file = format!("{name}-{n}");
            }
            file
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn file_names_are_safe_and_unlike() {
        let labels = ["Ana B", "ana/b", "../up", "", "çelik", "Ana-B"].map(String::from);
        let files = file_names(&labels);
        assert_eq!(
            files,
            ["Ana-B", "ana-b-2", "---up", "sheet", "çelik", "Ana-B-3"]
        );
    }

    #[test]
    fn foreign_folders_are_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("thesis.txt"), "mine").unwrap();
        let refused = Folder::open(dir.path()).unwrap_err().to_string();
        assert!(
            refused.contains("other things") && refused.contains("hint:"),
            "{refused}"
        );
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn long_names_fit_a_file_system() {
        let names = [
            "字".repeat(200),
            "𠀀".repeat(200),
            "a".repeat(300),
            "字".repeat(200),
        ];
        for file in file_names(&names) {
            assert!(
                (LONGEST_NAME - 4..=LONGEST_NAME + 4).contains(&file.len()),
                "{}",
                file.len()
            );
        }
    }

    #[test]
    fn old_sheets_go_and_others_stay() {
        let dir = tempfile::tempdir().unwrap();
        let names = |list: &[&str]| {
            list.iter()
                .map(|n| (*n).to_owned())
                .collect::<BTreeSet<_>>()
        };
        let folder = Folder::open(dir.path()).unwrap();
        folder.announce(&names(&["ana.html", "ben.html"])).unwrap();
        for n in ["ana.html", "ben.html", "own-notes.txt"] {
            fs::write(folder.sheet(n), "x").unwrap();
        }
        drop(folder);
        let folder = Folder::open(dir.path()).unwrap();
        folder.settle(&names(&["ana.html"])).unwrap();
        assert!(!folder.sheet("ben.html").exists());
        assert!(folder.sheet("ana.html").exists() && folder.sheet("own-notes.txt").exists());
    }
    /// A record that somebody else wrote takes nothing away: neither by a path nor through a link.
    #[test]
    fn a_record_names_sheets_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        let thesis = dir.path().join("thesis.html");
        fs::write(&thesis, "mine").unwrap();
        let out = dir.path().join("grades");
        let inside = dir.path().to_string_lossy();
        for line in [
            "../thesis.html".to_owned(),
            "../../thesis.html".to_owned(),
            format!("{inside}/thesis.html"),
            "a/../../thesis.html".to_owned(),
            r"..\thesis.html".to_owned(),
            "..html".to_owned(),
            ".html".to_owned(),
            "notes.txt".to_owned(),
            String::new(),
        ] {
            let _ = fs::remove_dir_all(&out);
            fs::create_dir(&out).unwrap();
            fs::write(out.join(RECORD), format!("ana.html\n{line}\n")).unwrap();
            let refused = Folder::open(&out).unwrap_err().to_string();
            assert!(
                refused.contains("line 2 is not the name"),
                "{line}: {refused}"
            );
            assert_eq!(
                fs::read_dir(&out).unwrap().count(),
                1,
                "{line}: something was made"
            );
        }
        assert!(thesis.exists());
    }

    #[cfg(unix)]
    #[test]
    fn sheets_somewhere_else_are_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let (mine, out) = (dir.path().join("mine"), dir.path().join("grades"));
        fs::create_dir(&mine).unwrap();
        fs::write(mine.join("thesis.html"), "mine").unwrap();
        fs::create_dir(&out).unwrap();
        fs::write(out.join(RECORD), "thesis.html\n").unwrap();
        std::os::unix::fs::symlink(&mine, out.join("sheets")).unwrap();
        let refused = Folder::open(&out).unwrap_err().to_string();
        assert!(refused.contains("a link to another place"), "{refused}");
        assert!(mine.join("thesis.html").exists());
    }

    #[test]
    fn two_runs_do_not_write_into_one_folder() {
        let dir = tempfile::tempdir().unwrap();
        let first = Folder::open(dir.path()).unwrap();
        let refused = Folder::open(dir.path()).unwrap_err().to_string();
        assert!(refused.contains("another run is grading"), "{refused}");
        drop(first);
        Folder::open(dir.path()).unwrap();
    }

    /// Cut off at any moment of its start, a first run leaves a folder that the next one takes for its own.
    #[test]
    fn a_start_that_was_cut_off_goes_on() {
        let dir = tempfile::tempdir().unwrap();
        for left in [
            vec![],
            vec![LOCK],
            vec![LOCK, "..punchready-grade.17-0.part"],
        ] {
            let out = dir.path().join(format!("{}", left.len()));
            fs::create_dir(&out).unwrap();
            for name in &left {
                fs::write(out.join(name), "x").unwrap();
            }
            Folder::open(&out).unwrap();
            assert!(
                out.join(RECORD).exists() && !out.join("..punchready-grade.17-0.part").exists()
            );
        }
    }
}
