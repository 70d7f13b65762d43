//! Whose photo is which: folders named by student, photos named by student, or a list.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fmt;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use unicode_normalization::UnicodeNormalization;

use crate::file;

/// Photos of one piece told apart by a number after the name, at most: `ana.jpg`, `ana-2.jpg`.
const MOST_NUMBERED: usize = 9;
/// Largest list, bytes: a line for each photo of a class is far less.
pub(super) const LARGEST_LIST: u64 = 1 << 20;
/// Endings of files that are taken for photos; HEIC so that it can be refused with advice rather than missed.
const ENDINGS: [&str; 6] = ["jpg", "jpeg", "png", "heic", "heif", "webp"];

/// Marks a folder that a class was graded into: whoever is in it is no student.
pub const GRADED: &str = ".punchready-grade";

/// One student's piece.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// Whose it is.
    pub who: String,
    /// Its photos, sorted by path.
    pub photos: Vec<PathBuf>,
}

/// The class, sorted by name, and the photos that belong to nobody.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Class {
    /// The pieces.
    pub pieces: Vec<Piece>,
    /// Photos that the list does not name.
    pub nobodys: Vec<PathBuf>,
    /// What is odd about the names, a sentence each.
    pub odd: Vec<String>,
}

/// Why the class could not be made out.
#[derive(Debug)]
#[non_exhaustive]
pub enum ClassError {
    /// A file or folder cannot be read.
    Unreadable {
        /// Which.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// There are no photos.
    Nothing {
        /// What was looked through.
        looked: Vec<PathBuf>,
    },
    /// So many photos bear one name and a number that the name is hardly a student's.
    OneName {
        /// The name.
        name: String,
        /// How many photos bear it.
        photos: usize,
    },
    /// The list cannot be used.
    List {
        /// The file.
        file: PathBuf,
        /// The line, from 1.
        line: u64,
        /// What was found, and what was expected.
        text: String,
    },
}

impl fmt::Display for ClassError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { path, source } => write!(
                f,
                "{}: cannot be read ({source}); expected a photo or a folder; check the name and that you may read it",
                path.display()
            ),
            Self::Nothing { looked } => {
                let names: Vec<String> = looked.iter().map(|p| p.display().to_string()).collect();
                write!(
                    f,
                    "{}: no photos found; expected photos named by student, or one folder for each; name them",
                    names.join(", ")
                )
            }
            Self::OneName { name, photos } => write!(
                f,
                "{photos} photos would all be of one student, \"{name}\", by their names; expected ana.jpg, ana-2.jpg, ben.jpg, up to \
                 {MOST_NUMBERED} photos a name; name them by student, put each student's in a folder, or give a list with --whose"
            ),
            Self::List { file, line, text } => write!(f, "{}:{line}: {text}", file.display()),
        }
    }
}

impl std::error::Error for ClassError {}

/// Makes out the class from photos and folders as given; `not_in`: a folder that is not looked into.
///
/// In a folder, each folder is a student, also one without photos: whoever handed nothing in is to be seen. Photos beside
/// them are named by student, as single photos are. Hidden files are left alone, and folders that a class was graded
/// into. The order of `given` does not matter, nor that a place is named twice.
///
/// # Errors
/// [`ClassError`].
pub fn by_name(given: &[PathBuf], not_in: &Path) -> Result<Class, ClassError> {
    let mut found: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    let mut numbered: BTreeMap<String, usize> = BTreeMap::new();
    let mut single = |path: PathBuf, found: &mut BTreeMap<String, Vec<PathBuf>>| {
        let name = student_of(&path);
        *numbered.entry(name.clone()).or_default() += 1;
        found.entry(name).or_default().push(path);
    };
    for path in each_once(given)? {
        if !is_folder(&path)? {
            single(path, &mut found);
            continue;
        }
        for inside in entries(&path)? {
            if same_place(&inside, not_in) || inside.join(GRADED).exists() {
                continue;
            }
            if !is_folder(&inside)? {
                if is_photo(&inside) {
                    single(inside, &mut found);
                }
                continue;
            }
            let photos: Vec<PathBuf> = entries(&inside)?
                .into_iter()
                .filter(|p| is_photo(p) && p.is_file())
                .collect();
            found.entry(name_of(&inside)).or_default().extend(photos);
        }
    }
    if let Some((name, &photos)) = numbered.iter().find(|(_, n)| **n > MOST_NUMBERED) {
        let name = name.clone();
        return Err(ClassError::OneName { name, photos });
    }
    sorted(found, Vec::new(), given)
}

/// Makes out the class from a list with the columns `photo` and `student`. Photos are looked for by name
/// among those `given` and in the folders given, and beside the list.
///
/// # Errors
/// [`ClassError`]; a photo of the list that is not there is no error here: its piece tells.
pub fn by_list(list: &Path, given: &[PathBuf], not_in: &Path) -> Result<Class, ClassError> {
    let fault = |line: u64, text: String| ClassError::List {
        file: list.to_owned(),
        line,
        text,
    };
    let (mut here, mut seen) = (Vec::new(), BTreeSet::new());
    for path in given {
        photos_below(path, not_in, &mut here, &mut seen)?;
    }
    let unreadable = |source| ClassError::Unreadable {
        path: list.to_owned(),
        source,
    };
    let text = file::read(list, LARGEST_LIST)
        .map_err(unreadable)?
        .ok_or_else(|| unreadable(io::ErrorKind::FileTooLarge.into()))?;
    // Spreadsheets put this mark first.
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&text);
    let comma = if text
        .split(|b| *b == b'\n')
        .next()
        .is_some_and(|l| l.contains(&b';'))
    {
        b';'
    } else {
        b','
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(comma)
        .trim(csv::Trim::All)
        .from_reader(text);
    let broken = |e: csv::Error| {
        let line = e.position().map_or(1, csv::Position::line);
        fault(line, format!("not a table of commas: {e}"))
    };
    let head = reader.headers().map_err(broken)?.clone();
    let column = |name: &str| {
        head.iter()
            .position(|h| h.eq_ignore_ascii_case(name))
            .ok_or_else(|| {
                fault(
                    1,
                    format!("no column \"{name}\"; expected a first line: photo,student"),
                )
            })
    };
    let (photo, student) = (column("photo")?, column("student")?);
    let mut found: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(broken)?;
        let line = record.position().map_or(0, csv::Position::line);
        let cell = |i: usize| record.get(i).unwrap_or("").to_owned();
        let (file, who) = (cell(photo), one_form(&cell(student)));
        if file.is_empty() && who.is_empty() {
            continue;
        }
        if who.is_empty() {
            return Err(fault(line, "expected a photo and a student".to_owned()));
        }
        let photos = found.entry(who).or_default();
        // A student without a photo is on the list to be seen.
        if file.is_empty() {
            continue;
        }
        let named: Vec<&PathBuf> = here.iter().filter(|p| p.ends_with(&file)).collect();
        let path = match named[..] {
            [one] => one.clone(),
            [] => list.parent().unwrap_or(Path::new("")).join(&file),
            [a, b, ..] => {
                let text = format!(
                    "\"{file}\" may be {} or {}; expected one; write more of the path",
                    a.display(),
                    b.display()
                );
                return Err(fault(line, text));
            }
        };
        if !photos.contains(&path) {
            photos.push(path);
        }
    }
    let listed = |p: &PathBuf| found.values().flatten().any(|l| l == p || same_place(l, p));
    let nobodys = here.iter().filter(|p| !listed(p)).cloned().collect();
    sorted(found, nobodys, &[list.to_owned()])
}

fn sorted(
    found: BTreeMap<String, Vec<PathBuf>>,
    nobodys: Vec<PathBuf>,
    looked: &[PathBuf],
) -> Result<Class, ClassError> {
    if found.values().all(Vec::is_empty) {
        return Err(ClassError::Nothing {
            looked: looked.to_vec(),
        });
    }
    let pieces: Vec<Piece> = found
        .into_iter()
        .map(|(who, mut photos)| {
            photos.sort();
            photos.dedup();
            Piece { who, photos }
        })
        .collect();
    let mut by_letters: BTreeMap<String, &str> = BTreeMap::new();
    let mut odd = Vec::new();
    for piece in &pieces {
        if let Some(other) = by_letters.insert(alike(&piece.who), &piece.who) {
            odd.push(format!(
                "\"{other}\" and \"{}\" are two students here: if they are one, give both photos one name",
                piece.who
            ));
        }
    }
    Ok(Class {
        pieces,
        nobodys,
        odd,
    })
}

/// A name without the differences that a hand makes: upper and lower case, and how many blanks.
pub(super) fn alike(name: &str) -> String {
    let words: Vec<String> = name.split_whitespace().map(str::to_lowercase).collect();
    words.join(" ")
}

/// A name in one form: the same letters can be written with their accents apart, as some systems do in file names
/// (Unicode normalization form C).
pub(super) fn one_form(name: &str) -> String {
    name.nfc().collect()
}

/// Photos in a folder and below; `seen`: real places that were looked at, so that a link back into a folder ends there.
fn photos_below(
    path: &Path,
    not_in: &Path,
    found: &mut Vec<PathBuf>,
    seen: &mut BTreeSet<PathBuf>,
) -> Result<(), ClassError> {
    if path.canonicalize().is_ok_and(|real| !seen.insert(real)) {
        return Ok(());
    }
    if !is_folder(path)? {
        found.push(path.to_owned());
        return Ok(());
    }
    for inside in entries(path)? {
        if same_place(&inside, not_in) {
            continue;
        }
        if inside.is_dir() || is_photo(&inside) {
            photos_below(&inside, not_in, found, seen)?;
        }
    }
    Ok(())
}

fn is_folder(path: &Path) -> Result<bool, ClassError> {
    fs::metadata(path)
        .map(|m| m.is_dir())
        .map_err(|source| ClassError::Unreadable {
            path: path.to_owned(),
            source,
        })
}

/// What is in a folder, sorted, without what is hidden.
fn entries(folder: &Path) -> Result<Vec<PathBuf>, ClassError> {
    let unreadable = |source| ClassError::Unreadable {
        path: folder.to_owned(),
        source,
    };
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let path = entry.map_err(unreadable)?.path();
        // A link that leads nowhere is nobody's photo.
        if !name_of(&path).starts_with('.') && path.exists() {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// The paths, sorted, each real place once.
fn each_once(given: &[PathBuf]) -> Result<Vec<PathBuf>, ClassError> {
    let mut sorted = given.to_vec();
    sorted.sort();
    let mut seen = BTreeSet::new();
    let mut once = Vec::new();
    for path in sorted {
        let real = path
            .canonicalize()
            .map_err(|source| ClassError::Unreadable {
                path: path.clone(),
                source,
            })?;
        if seen.insert(real) {
            once.push(path);
        }
    }
    Ok(once)
}

fn name_of(path: &Path) -> String {
    path.file_name().map_or_else(String::new, shown)
}

/// A name as text, in one form. Bytes that are no text are written as digits: replaced by one sign, two students would be
/// one.
fn shown(name: &OsStr) -> String {
    let mut text = String::new();
    for part in name.as_encoded_bytes().utf8_chunks() {
        text.push_str(part.valid());
        for byte in part.invalid() {
            text += &format!("\u{fffd}{byte:02X}");
        }
    }
    one_form(&text)
}

fn is_photo(path: &Path) -> bool {
    let ending = path.extension().map(|e| e.to_string_lossy().to_lowercase());
    ending.is_some_and(|e| ENDINGS.contains(&e.as_str()))
}

fn same_place(a: &Path, b: &Path) -> bool {
    matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

/// The student by the photo's name: `ana.jpg`, `ana-2.jpg`, `ana_2.jpg`, `ana 2.jpg`, `ana (2).jpg` are Ana's.
/// Only one digit after a separator is a photo's number: `piece-12` and `IMG_0007` are names of their own.
fn student_of(path: &Path) -> String {
    let stem = path.file_stem().map_or_else(String::new, shown);
    let bare = stem.trim_end_matches(')');
    let mut letters = bare.chars().rev();
    let numbered = letters.next().is_some_and(|c| ('1'..='9').contains(&c))
        && letters.next().is_some_and(|c| "-_ (".contains(c));
    if !numbered {
        return stem.trim().to_owned();
    }
    let name = bare[..bare.len() - 2].trim_end_matches([' ', '-', '_', '(']);
    if name.is_empty() {
        stem
    } else {
        name.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_photos() {
        let cases = [
            ("ana.jpg", "ana"),
            ("ana-2.jpg", "ana"),
            ("Ana Lopez (3).jpeg", "Ana Lopez"),
            ("ana_1.PNG", "ana"),
            ("ana 2.jpg", "ana"),
            ("piece-12.jpg", "piece-12"),
            ("IMG_0007.jpg", "IMG_0007"),
            ("r2d2.jpg", "r2d2"),
            ("-2.jpg", "-2"),
            ("7.jpg", "7"),
            ("çelik-2.jpg", "çelik"),
        ];
        for (file, who) in cases {
            assert_eq!(student_of(Path::new(file)), who, "{file}");
        }
    }
}
