//! Slips of TOML that everyone makes, and the line as it should be: a fraction or a word without quotes, curly quotes, a
//! quote that is not closed, a decimal comma.

use toml::de::DeTable;

use super::Units;
use super::length;

/// Longer lines are shown to nobody, bytes.
const LONGEST_LINE: usize = 400;

/// The line with its slip mended; `None` where it is another slip than those known here, or the mended line would be none
/// either.
pub(super) fn mended(line: &str) -> Option<String> {
    let (key, rest) = line.split_once('=')?;
    let key = key.trim();
    let is_key = !key.is_empty() && key.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    let value = without_comment(rest).trim();
    // A list within a list is no slip of a length, nor is a line that nobody typed.
    let is_short = line.len() <= LONGEST_LINE && value.matches('[').count() <= 1;
    if !is_key || value.is_empty() || !is_short {
        return None;
    }
    let value = match value.strip_prefix('[').and_then(|v| v.strip_suffix(']')) {
        Some(list) => {
            let parts: Vec<String> = list.split(',').map(one).collect();
            format!("[{}]", parts.join(", "))
        }
        None => one(value),
    };
    let mended = format!("{key} = {value}");
    (mended != line.trim() && DeTable::parse(&mended).is_ok()).then_some(mended)
}

/// One value as TOML takes it: numbers, true and false stay; a decimal comma becomes a point; all else gets straight quotes.
fn one(value: &str) -> String {
    let is_quote = |c: char| matches!(c, '"' | '\'' | '“' | '”' | '„' | '‘' | '’' | '«' | '»');
    let value = value.trim();
    let bare = value.trim_matches(is_quote).trim();
    let with_point = bare.replace(',', ".");
    if with_point.parse::<f64>().is_ok() {
        return with_point;
    }
    if matches!(bare, "true" | "false") {
        return bare.to_owned();
    }
    // An inch sign behind a fraction was a unit, unless it is the quote that closes the text.
    let inches = !value.starts_with(is_quote) && value.ends_with(['"', '″']);
    let unit = if inches && length::parse(bare, Units::Inch).is_ok() {
        " in"
    } else {
        ""
    };
    format!("\"{bare}{unit}\"")
}

/// The text before a comment; a # within quotes is none.
fn without_comment(text: &str) -> &str {
    let mut quoted = false;
    for (at, c) in text.char_indices() {
        match c {
            '"' => quoted = !quoted,
            // A space before it: "#30" without its first quote is a drill.
            '#' if !quoted && text[..at].ends_with(' ') && !text[..at].trim().is_empty() => {
                return &text[..at];
            }
            _ => {}
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::mended;

    #[test]
    fn usual_slips_are_mended() {
        for (line, right) in [
            (
                "edge_distance = 5/16     # from the edge",
                "edge_distance = \"5/16\"",
            ),
            ("height = 8 1/2", "height = \"8 1/2\""),
            ("height = 8 1/2\"", "height = \"8 1/2 in\""),
            ("height = “8 1/2”", "height = \"8 1/2\""),
            ("title = “Hatch cover”", "title = \"Hatch cover\""),
            ("thickness = 0,040", "thickness = 0.040"),
            ("along = bottom", "along = \"bottom\""),
            ("width = 14.3mm", "width = \"14.3mm\""),
            (
                "stations = [5/16, 1 1/2, 3]",
                "stations = [\"5/16\", \"1 1/2\", 3]",
            ),
        ] {
            let got = mended(line);
            assert_eq!(got.as_deref(), Some(right), "{line}");
        }
    }

    #[test]
    fn nothing_is_guessed_of_other_lines() {
        for line in ["[sheet", "width", "= 3", "width =", "width = 12", "a b = 3"] {
            assert_eq!(mended(line), None, "{line}");
        }
    }
}
