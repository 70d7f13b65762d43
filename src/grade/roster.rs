//! Who is in the class: a list of names, so that whoever handed nothing in is seen.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use super::class::{Class, ClassError, LARGEST_LIST, Piece, alike, one_form};
use crate::file;

/// Reads a roster: a name a line, or a list (comma, semicolon, tab) with a column `student` or `name`.
///
/// # Errors
/// [`ClassError`]: the file cannot be read, has no names, columns without such a name, or one name twice.
pub fn read(path: &Path) -> Result<Vec<String>, ClassError> {
    let unreadable = |source| ClassError::Unreadable {
        path: path.to_owned(),
        source,
    };
    let fault = |line: u64, text: String| ClassError::List {
        file: path.to_owned(),
        line,
        text,
    };
    let bytes = file::read(path, LARGEST_LIST)
        .map_err(unreadable)?
        .ok_or_else(|| unreadable(io::ErrorKind::FileTooLarge.into()))?;
    let text = String::from_utf8(bytes)
        .map_err(|_| fault(1, "it is not UTF-8 text; save it as UTF-8".into()))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    let head = text.lines().next().unwrap_or_default();
    let sign = [b';', b'\t', b',']
        .into_iter()
        .find(|s| head.bytes().any(|b| b == *s));
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        // Without one in the first line each line is a name, whatever is in it.
        .delimiter(sign.unwrap_or(0))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut column = None;
    let mut names: Vec<String> = Vec::new();
    let mut seen: BTreeMap<String, u64> = BTreeMap::new();
    for record in reader.records() {
        let record = record.map_err(|e| {
            let line = e.position().map_or(1, csv::Position::line);
            fault(line, format!("it is no line of a list: {e}"))
        })?;
        let line = record.position().map_or(0, csv::Position::line);
        let is_head = |f: &str| {
            ["student", "name"]
                .iter()
                .any(|h| f.eq_ignore_ascii_case(h))
        };
        let Some(i) = column else {
            let named = record.iter().position(is_head);
            if named.is_none() && sign.is_some() {
                let text =
                    "no column \"student\"; expected a first line with it, or one name a line";
                return Err(fault(line, text.into()));
            }
            column = Some(named.unwrap_or(0));
            if named.is_none() {
                add(
                    record.get(0).unwrap_or_default(),
                    line,
                    &mut names,
                    &mut seen,
                )
                .map_err(|text| fault(line, text))?;
            }
            continue;
        };
        add(
            record.get(i).unwrap_or_default(),
            line,
            &mut names,
            &mut seen,
        )
        .map_err(|text| fault(line, text))?;
    }
    if names.is_empty() {
        return Err(fault(1, "no names; expected one a line".into()));
    }
    Ok(names)
}

fn add(
    name: &str,
    line: u64,
    names: &mut Vec<String>,
    seen: &mut BTreeMap<String, u64>,
) -> Result<(), String> {
    if name.is_empty() {
        return Ok(());
    }
    let name = one_form(name);
    if let Some(before) = seen.insert(alike(&name), line) {
        return Err(format!(
            "\"{name}\" is in line {before} too; expected each student once"
        ));
    }
    names.push(name);
    Ok(())
}

/// Holds a class against its roster: whoever handed nothing in becomes a piece without photos, and whoever is not on the
/// roster is named. Upper and lower case are one.
pub fn hold(class: &mut Class, roster: &[String]) {
    let mut there: BTreeMap<String, bool> = roster.iter().map(|n| (alike(n), false)).collect();
    for piece in &class.pieces {
        match there.get_mut(&alike(&piece.who)) {
            Some(seen) => *seen = true,
            None => class
                .odd
                .push(format!("\"{}\" is not on the roster", piece.who)),
        }
    }
    let missing = roster
        .iter()
        .filter(|n| there.get(&alike(n)) == Some(&false));
    class.pieces.extend(missing.map(|who| Piece {
        who: who.clone(),
        photos: Vec::new(),
    }));
    class.pieces.sort_by(|a, b| a.who.cmp(&b.who));
}
