//! The gradebook: one line a piece, for a spreadsheet.

use super::feedback::points;
use super::roll::{Entry, NOT_GRADED};
use super::rubric::Rubric;

/// A cell that a spreadsheet takes for text: one that begins as a formula does gets an apostrophe before it.
#[must_use]
pub fn cell(text: &str) -> String {
    let formula = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let text = crate::report::words::plain(text);
    if formula { format!("'{text}") } else { text }
}

/// A student's cell. A number by itself would lose the zeros in front of it, and then be nobody's in `names.csv`.
fn student(label: &str) -> String {
    let is_number = !label.is_empty() && label.bytes().all(|b| b.is_ascii_digit());
    if is_number {
        format!("No. {label}")
    } else {
        cell(label)
    }
}

/// The gradebook as CSV (RFC 4180, from memory), in the roll's order. Cells that are the instructor's to fill
/// are empty.
///
/// # Errors
/// What the writer says; writing to memory does not fail.
pub fn csv(roll: &[Entry], rubric: &Rubric) -> Result<Vec<u8>, csv::Error> {
    let mut out = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::new());
    let columns: Vec<(String, String)> = columns(rubric);
    let mut head: Vec<String> = [
        "student",
        "score",
        "result",
        "points",
        "judged of",
        "as measured",
    ]
    .map(String::from)
    .to_vec();
    head.extend(columns.iter().map(|(name, _)| cell(name)));
    head.extend(["fails by", "look again", "check says", "photos"].map(String::from));
    out.write_record(&head)?;
    for entry in roll {
        let mut line = vec![student(&entry.label)];
        match &entry.score {
            Some(score) => {
                line.push(
                    score
                        .percent()
                        .map_or_else(String::new, |p| format!("{p:.0}")),
                );
                line.push(
                    match (score.percent(), score.passed(rubric)) {
                        (None, _) => NOT_GRADED,
                        (_, Some(true)) => "pass",
                        (_, Some(false)) => "not yet",
                        (_, None) => "",
                    }
                    .to_owned(),
                );
                line.push(points(score.points));
                line.push(points(score.judged));
                line.push(entry.strict.map_or_else(String::new, |p| format!("{p:.0}")));
                for (name, key) in &columns {
                    let item = score
                        .items
                        .iter()
                        .find(|i| i.key == key && (key != "instructor" || i.name == *name));
                    line.push(
                        item.and_then(|i| i.points())
                            .map_or_else(String::new, points),
                    );
                }
                line.push(cell(&score.fails.join("; ")));
            }
            None => {
                line.push(String::new());
                line.push(NOT_GRADED.to_owned());
                line.extend(std::iter::repeat_n(String::new(), 3 + columns.len() + 1));
            }
        }
        line.push(cell(&entry.look.join("; ")));
        line.push(entry.done.findings.verdict.clone());
        line.push((entry.done.findings.photos.len() + entry.done.unread.len()).to_string());
        out.write_record(&line)?;
    }
    out.into_inner()
        .map_err(|e| csv::Error::from(std::io::Error::other(e.to_string())))
}

/// The items that have a weight: the name of the column, and the key.
fn columns(rubric: &Rubric) -> Vec<(String, String)> {
    let of = |key: &str, weight: f64| {
        (weight > 0.0).then(|| (key.replace(['.', '_'], " "), key.to_owned()))
    };
    let banded = rubric.banded();
    let weight = |key: &str| {
        banded
            .iter()
            .find(|(k, _)| *k == key)
            .map_or(0.0, |(_, b)| b.weight.0)
    };
    let mut columns: Vec<(String, String)> = [
        of("presence", rubric.presence.weight.0),
        of("position", weight("position")),
        of("spacing", weight("spacing")),
        of("edge_distance", weight("edge_distance")),
        of("lines.straight", weight("lines.straight")),
        of("lines.parallel", weight("lines.parallel")),
        of("lines.thin", weight("lines.thin")),
        of("lines.one_pass", rubric.lines.one_pass.weight.0),
        of("strays", rubric.strays.weight.0),
        of("rings", rubric.rings.weight.0),
    ]
    .into_iter()
    .flatten()
    .collect();
    let by_eye = rubric.by_eye.iter().filter(|i| i.weight.0 > 0.0);
    columns.extend(by_eye.map(|i| (i.name.clone(), "instructor".to_owned())));
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_text() {
        assert_eq!(student("07"), "No. 07");
        assert_eq!(student("Ana"), "Ana");
        assert_eq!(student("=A1"), "'=A1");
        assert_eq!(student("a\u{1b}"), "a?");
        assert_eq!(student(""), "");
    }
}
