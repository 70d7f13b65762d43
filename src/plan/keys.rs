//! The tables of a plan and the keys of each, and what was likely meant by one that is none.

use super::{rows, spacing};

/// The sorts of tables; `""` is the top of the file.
const SORTS: [&str; 9] = [
    "",
    "sheet",
    "rivet",
    "tolerance",
    "seen",
    "row",
    "grid",
    "circle",
    "hole",
];

/// The keys of a sort of table.
pub(super) fn of(sort: &str) -> Vec<&'static str> {
    let own: &[&'static str] = match sort {
        "" => &[
            "title",
            "units",
            "datum",
            "sheet",
            "rivet",
            "tolerance",
            "seen",
            "row",
            "grid",
            "circle",
            "hole",
        ],
        "sheet" => &["width", "height", "thickness"],
        "rivet" => &["diameter", "head", "drill"],
        "tolerance" => &["position", "risk"],
        "seen" => &["fraction"],
        "row" => return of_row(),
        "grid" => &[
            "name",
            "at",
            "columns",
            "column_pitch",
            "lines",
            "line_pitch",
            "stagger",
            "skip",
        ],
        "circle" => &[
            "name",
            "centre",
            "diameter",
            "count",
            "start_angle",
            "end_angle",
            "skip",
            "share",
        ],
        "hole" => &["name", "x", "y", "drilled"],
        _ => &[],
    };
    own.to_vec()
}

/// Those that say where the row is, and those that say where its holes are: each is listed once, where it is read.
fn of_row() -> Vec<&'static str> {
    let [first, others @ ..] = rows::FORMS;
    let form = |(key, more): (&'static str, &'static [&'static str])| {
        std::iter::once(key).chain(more.iter().copied())
    };
    std::iter::once("name")
        .chain(form(first))
        .chain(spacing::KEYS)
        .chain(others.into_iter().flat_map(form))
        .chain(["skip", "share"])
        .collect()
}

/// What to do about an unknown key: the nearest known one, its right table, or the list.
pub(super) fn advise(name: &str, sort: &str) -> String {
    let known = of(sort);
    if let Some(near) = nearest(name, known.iter().copied()) {
        return format!("did you mean `{near}`?");
    }
    let home = SORTS
        .into_iter()
        .find(|s| *s != sort && of(s).contains(&name));
    match home {
        Some("") => format!("`{name}` goes to the top of the file, above the first ["),
        Some(table @ ("row" | "grid" | "circle" | "hole")) => {
            format!("`{name}` belongs under [[{table}]]")
        }
        Some(table) => format!("`{name}` belongs under [{table}]"),
        None => format!("its keys are {}", known.join(", ")),
    }
}

/// The candidate that `word` was likely meant to be.
pub(super) fn nearest<'c>(
    word: &str,
    candidates: impl Iterator<Item = &'c str>,
) -> Option<&'c str> {
    /// A longer word is no slip of a known key.
    const LONGEST: usize = 40;
    if word.chars().count() > LONGEST {
        return None;
    }
    let plain = |s: &str| s.to_lowercase().replace(['-', ' '], "_");
    let wanted = plain(word);
    candidates
        .map(|c| (edits(&wanted, &plain(c)), c))
        .filter(|(d, c)| *d <= 1.max((c.chars().count() + 1) / 3) && *d < c.chars().count())
        .min_by_key(|(d, _)| *d)
        .map(|(_, c)| c)
}

/// Levenshtein distance.
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, ca) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, cb) in b.iter().enumerate() {
            let change = diagonal + usize::from(ca != *cb);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}
