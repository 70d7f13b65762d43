//! Which number is whose: `names.csv`, which an instructor may have opened and saved with a spreadsheet.

use std::collections::BTreeMap;
use std::path::Path;

use punchready::file;
use punchready::grade::gradebook::cell;
use punchready::grade::store::Hash;
use punchready::report::write_atomically;

use crate::cli::exit::Failure;

/// Largest list, bytes: a class has a line for each student.
const LARGEST_LIST: u64 = 1 << 20;
/// Digits of a number at least.
const DIGITS: usize = 2;
/// What to do about a list that cannot be used. Numbers that are given anew would put one student's marks under another's.
const MEND: &str = "mend it, or take it away and every student gets a new number";

/// A number for each of `class`: those of the file where it has them, new ones in an order that does not follow the
/// alphabet. The file is written anew, with the students who are not in this class kept.
///
/// # Errors
/// When the file is there and cannot be used whole: a student must never get another's number in silence.
pub(super) fn numbers(path: &Path, class: &[&str]) -> Result<Vec<String>, Failure> {
    let mut known = read(path)?;
    let mut next = known.values().map(|(n, _)| *n).max().unwrap_or(0);
    let width = known.values().map(|(_, text)| text.len());
    let width = width.min().unwrap_or(DIGITS);
    let mut named: BTreeMap<String, &str> = BTreeMap::new();
    for who in class {
        if let Some(other) = named.insert(cell(who), who) {
            return Err(Failure::new(
                format!("students \"{other}\" and \"{who}\" would be one name in a list"),
                "give one of them another name",
            ));
        }
    }
    let mut new: Vec<&String> = named
        .keys()
        .filter(|who| !known.contains_key(*who))
        .collect();
    new.sort_by_key(|who| Hash::new().with(who.as_bytes()));
    for who in new {
        next += 1;
        known.insert(who.clone(), (next, format!("{next:0width$}")));
    }
    write(path, &known)?;
    let number = |who: &&str| known.get(&cell(who)).map(|(_, text)| text.clone());
    Ok(class.iter().filter_map(number).collect())
}

/// Name, as it stands in the list, to number and its text.
type List = BTreeMap<String, (u64, String)>;

fn read(path: &Path) -> Result<List, Failure> {
    let fault = |text: String| Failure::new(format!("{}{text}", path.display()), MEND);
    let bytes = match file::read(path, LARGEST_LIST) {
        Ok(Some(bytes)) => bytes,
        Ok(None) => return Err(fault(format!(": it has more than {LARGEST_LIST} bytes"))),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(List::new()),
        Err(e) => return Err(fault(format!(": {e}"))),
    };
    let text = String::from_utf8(bytes)
        .map_err(|_| fault(": it is not UTF-8 text; save it as CSV in UTF-8".to_owned()))?;
    // Spreadsheets put this mark first.
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let head = text.lines().next().unwrap_or_default();
    let comma = [b';', b'\t']
        .into_iter()
        .find(|c| head.bytes().any(|b| b == *c));
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(comma.unwrap_or(b','))
        .from_reader(text.as_bytes());
    let mut list = List::new();
    let mut taken: BTreeMap<u64, u64> = BTreeMap::new();
    for (i, record) in reader.records().enumerate() {
        let record = record.map_err(|e| fault(format!(": {e}")))?;
        let line = record.position().map_or(0, csv::Position::line);
        let fault = |text: &str| fault(format!(":{line}: {text}"));
        let field = |i: usize| record.get(i).unwrap_or_default().trim();
        if i == 0 {
            let is = |i: usize, name: &str| field(i).eq_ignore_ascii_case(name);
            if !(is(0, "number") && is(1, "student")) {
                return Err(fault("expected a first line: number,student"));
            }
            continue;
        }
        // A name keeps the blanks it has: the folder's has them too.
        let name = record.get(1).unwrap_or_default();
        if record.iter().all(|f| f.trim().is_empty()) {
            continue;
        }
        let number: u64 = field(0)
            .parse()
            .ok()
            .filter(|_| field(0).bytes().all(|b| b.is_ascii_digit()) && field(0).len() <= 9)
            .ok_or_else(|| fault("expected a number and a student"))?;
        if name.is_empty() {
            return Err(fault("a number without a student"));
        }
        if record.iter().skip(2).any(|f| !f.trim().is_empty()) {
            return Err(fault(
                "more than a number and a student; a name with a comma in it needs quotes",
            ));
        }
        if let Some(other) = taken.insert(number, line) {
            return Err(fault(&format!(
                "number {number} is given in line {other} too"
            )));
        }
        // A spreadsheet takes the zeros away in front of a number.
        let text = format!("{:0>DIGITS$}", field(0));
        if list.insert(cell(name), (number, text)).is_some() {
            return Err(fault("this student has another number further up"));
        }
    }
    Ok(list)
}

fn write(path: &Path, list: &List) -> Result<(), Failure> {
    let told = |e: csv::Error| Failure::told(&e);
    let mut out = csv::Writer::from_writer(Vec::new());
    out.write_record(["number", "student"]).map_err(told)?;
    let mut lines: Vec<(&(u64, String), &String)> = list.iter().map(|(who, n)| (n, who)).collect();
    lines.sort();
    for ((_, number), who) in lines {
        out.write_record([number, who]).map_err(told)?;
    }
    let bytes = out.into_inner().map_err(|e| Failure::told(&e.error()))?;
    write_atomically(path, &bytes).map_err(|e| Failure::advised(&e))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn told(path: &Path, text: &str, class: &[&str]) -> Result<Vec<String>, String> {
        fs::write(path, text).unwrap();
        numbers(path, class).map_err(|e| e.to_string())
    }

    #[test]
    fn numbers_stay_with_their_students() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("names.csv");
        let first = numbers(&path, &["ana", "ben"]).unwrap();
        let class = ["aaron", "ana", "ben", "zoe"];
        let again = numbers(&path, &class).unwrap();
        assert_eq!(again[1..3], first[..]);
        let mut all = again.clone();
        all.sort();
        assert_eq!(all, ["01", "02", "03", "04"]);
        assert_eq!(numbers(&path, &class).unwrap(), again);
        // A class without them does not forget them.
        numbers(&path, &["carl"]).unwrap();
        assert_eq!(numbers(&path, &class).unwrap(), again);
    }

    /// As spreadsheets save it: a semicolon or tab, a mark in front, other line ends, no zeros.
    #[test]
    fn a_list_saved_by_a_spreadsheet_is_the_same_list() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("names.csv");
        for text in [
            "number,student\n01,ben\n02,ana\n",
            "number;student\r\n1;ben\r\n2;ana\r\n;\r\n",
            "\u{feff}Number\tStudent\r\n1\tben\r\n2\tana\r\n",
            "\"number\";\"student\"\n\"01\";\"ben\"\n\"02\";\"ana\"\n",
        ] {
            assert_eq!(
                told(&path, text, &["ana", "ben", "cem"]).unwrap(),
                ["02", "01", "03"],
                "{text:?}"
            );
        }
    }

    #[test]
    fn a_list_that_could_mix_students_up_is_refused() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("names.csv");
        for (text, expected) in [
            ("number|student\n1|ben\n", "expected a first line"),
            ("student,number\nben,1\n", "expected a first line"),
            ("1,ben\n2,ana\n", "expected a first line"),
            ("", "01"),
            (
                "number,student\n1,ben\n1,ana\n",
                "names.csv:3: number 1 is given in line 2 too",
            ),
            (
                "number,student\n1,ben\n2,ben\n",
                "names.csv:3: this student has another number",
            ),
            (
                "number,student\none,ben\n",
                "names.csv:2: expected a number",
            ),
            (
                "number,student\n1.0,ben\n",
                "names.csv:2: expected a number",
            ),
            (
                "number,student\n1,\n",
                "names.csv:2: a number without a student",
            ),
            ("number,student\n1,Lopez, Ana\n", "names.csv"),
        ] {
            let said = told(&path, text, &["ana"]).map_or_else(|e| e, |n| n.join(" "));
            assert!(said.contains(expected), "{text:?}: {said}");
            let left = fs::read_to_string(&path).unwrap();
            assert!(left == text || text.is_empty(), "{text:?} became {left:?}");
        }
        fs::write(&path, b"number,student\n1,Jos\xe9\n").unwrap();
        assert!(
            numbers(&path, &["ana"])
                .unwrap_err()
                .to_string()
                .contains("not UTF-8")
        );
    }

    #[test]
    fn numbers_keep_their_width_and_names_are_only_text() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("names.csv");
        let own = "number,student\n007,ana\n012,ben\n";
        assert_eq!(told(&path, own, &["ana", "carl"]).unwrap(), ["007", "013"]);
        let evil = ["=cmd()", "\u{1b}[2J"];
        fs::remove_file(&path).unwrap();
        let given = numbers(&path, &evil).unwrap();
        let text = fs::read_to_string(&path).unwrap();
        assert!(
            text.contains(",'=cmd()\n") && !text.contains('\u{1b}'),
            "{text:?}"
        );
        assert_eq!(numbers(&path, &evil).unwrap(), given, "found again");
        assert!(
            numbers(&path, &["a\u{1b}", "a\u{7}"]).is_err(),
            "two names as one"
        );
    }
}
