//! The folder that a class is graded into: what is ours in it, how sheets are called, which number is whose.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use punchready::grade::store::{Hash, sweep};
use punchready::report::write_atomically;

use crate::cli::exit::Failure;

/// Lists the sheets that were written: only these are ever taken away again. Its presence marks the folder.
const RECORD: &str = ".punchready-grade";
/// Which number is whose.
const NAMES: &str = "names.csv";

/// The folder.
#[derive(Debug)]
pub(super) struct Folder {
    dir: PathBuf,
    sheets: PathBuf,
    /// Sheets of an earlier run.
    before: BTreeSet<String>,
}

impl Folder {
    /// Opens the folder, making it if need be. One with anything else in it is refused.
    pub(super) fn open(dir: &Path) -> Result<Self, Failure> {
        let failed = |e: std::io::Error| {
            Failure::new(
                format!("--out {}: {e}", dir.display()),
                "name a folder in a place where you may write",
            )
        };
        let record = fs::read_to_string(dir.join(RECORD));
        match fs::read_dir(dir) {
            Ok(mut inside) => {
                if record.is_err() && inside.next().is_some() {
                    return Err(Failure::new(
                        format!(
                            "--out {}: this folder has other things in it",
                            dir.display()
                        ),
                        "name a new folder, or one that `grade` made",
                    ));
                }
            }
            Err(e) if e.kind() == ErrorKind::NotFound => {}
            Err(e) => return Err(failed(e)),
        }
        let sheets = dir.join("sheets");
        fs::create_dir_all(&sheets).map_err(failed)?;
        sweep(dir).map_err(failed)?;
        sweep(&sheets).map_err(failed)?;
        let folder = Self {
            dir: dir.to_owned(),
            sheets,
            before: record
                .unwrap_or_default()
                .lines()
                .map(str::to_owned)
                .collect(),
        };
        // From now on it is known as ours, however this run ends.
        folder.record(&folder.before)?;
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

    /// A number for each student, "01" and on: those of `names.csv` where it has them, new ones in an order that
    /// does not follow the alphabet.
    pub(super) fn numbers(&self, class: &[&str]) -> Result<Vec<String>, Failure> {
        let path = self.dir.join(NAMES);
        let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
        if let Ok(mut reader) = csv::Reader::from_path(&path) {
            for line in reader.records() {
                let line = line.map_err(|e| {
                    Failure::new(
                        format!("{}: {e}", path.display()),
                        "mend it, or take it away",
                    )
                })?;
                if let (Some(number), Some(name)) = (line.get(0), line.get(1))
                    && let Ok(number) = number.parse()
                {
                    numbers.insert(name.to_owned(), number);
                }
            }
        }
        let mut new: Vec<&str> = class
            .iter()
            .copied()
            .filter(|who| !numbers.contains_key(*who))
            .collect();
        new.sort_by_key(|who| Hash::new().with(who.as_bytes()));
        let mut next = numbers.values().copied().max().unwrap_or(0);
        for who in new {
            next += 1;
            numbers.insert(who.to_owned(), next);
        }
        let mut list: Vec<(usize, &str)> =
            numbers.iter().map(|(who, n)| (*n, who.as_str())).collect();
        list.sort_unstable();
        let told = |e: csv::Error| Failure::told(&e);
        let mut out = csv::Writer::from_writer(Vec::new());
        out.write_record(["number", "student"]).map_err(told)?;
        for (number, who) in list {
            out.write_record([shown(number).as_str(), who])
                .map_err(told)?;
        }
        let bytes = out.into_inner().map_err(|e| Failure::told(&e.error()))?;
        write_atomically(&path, &bytes).map_err(|e| Failure::advised(&e))?;
        Ok(class
            .iter()
            .map(|who| shown(numbers.get(*who).copied().unwrap_or(0)))
            .collect())
    }
}

fn shown(number: usize) -> String {
    format!("{number:02}")
}

/// How each sheet is called: the name with nothing in it that a file name may not have, and no two alike, even
/// where upper and lower case are one.
pub(super) fn file_names(labels: &[String]) -> Vec<String> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    labels
        .iter()
        .map(|label| {
            let mut name: String = label
                .chars()
                .map(|c| {
                    if c.is_alphanumeric() || "-_".contains(c) {
                        c
                    } else {
                        '-'
                    }
                })
                .take(60)
                .collect();
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
    fn numbers_stay_with_their_students() {
        let dir = tempfile::tempdir().unwrap();
        let folder = Folder::open(dir.path()).unwrap();
        let first = folder.numbers(&["ana", "ben"]).unwrap();
        let again = folder.numbers(&["aaron", "ana", "ben", "zoe"]).unwrap();
        assert_eq!(again[1..3], first[..]);
        let mut all = again.clone();
        all.sort();
        assert_eq!(all, ["01", "02", "03", "04"]);
        assert_eq!(
            folder.numbers(&["aaron", "ana", "ben", "zoe"]).unwrap(),
            again
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
        let folder = Folder::open(dir.path()).unwrap();
        folder.settle(&names(&["ana.html"])).unwrap();
        assert!(!folder.sheet("ben.html").exists());
        assert!(folder.sheet("ana.html").exists() && folder.sheet("own-notes.txt").exists());
    }
}
