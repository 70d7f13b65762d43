//! How a run ends: the exit status, and what is said when it fails.

use std::fmt;
use std::process::ExitCode;

use punchready::report::ReportError;
use punchready::verdict::Decision;

/// The exit status. Scripts build on these numbers: they do not change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Status {
    /// `check`: the sheet is ready. Other commands: done.
    Done = 0,
    /// `check`: at least one thing is surely wrong.
    NotReady = 1,
    /// A bad command line, a plan or photo that cannot be read, a file that cannot be written.
    Refused = 2,
    /// `check`: nothing is surely wrong, and not all could be proven right. `lens`: not good enough yet.
    CannotTell = 3,
}

impl From<Decision> for Status {
    fn from(decision: Decision) -> Self {
        match decision {
            Decision::Ready => Self::Done,
            Decision::NotReady => Self::NotReady,
            Decision::CannotTell => Self::CannotTell,
        }
    }
}

impl From<Status> for ExitCode {
    fn from(status: Status) -> Self {
        Self::from(status as u8)
    }
}

/// Why a command could not do what it was asked.
#[derive(Debug)]
pub(crate) struct Failure {
    error: String,
    hint: Option<String>,
}

impl Failure {
    /// What is wrong, and what to do about it.
    pub(crate) fn new(error: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            error: error.into(),
            hint: Some(hint.into()),
        }
    }

    /// An error of a stage, told as it tells itself.
    pub(crate) fn told(error: &impl fmt::Display) -> Self {
        Self {
            error: error.to_string(),
            hint: None,
        }
    }

    /// An error whose text reads "what was found; what was expected; what to do": the last is the hint.
    pub(crate) fn advised(error: &impl fmt::Display) -> Self {
        let text = error.to_string();
        match text.match_indices("; ").nth(1) {
            Some((at, gap)) => Self::new(&text[..at], &text[at + gap.len()..]),
            None => Self::told(&text),
        }
    }
}

impl From<ReportError> for Failure {
    fn from(error: ReportError) -> Self {
        Self::advised(&error)
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "error: {}", said(&self.error))?;
        if let Some(hint) = &self.hint {
            write!(f, "\nhint: {}", said(hint))?;
        }
        Ok(())
    }
}

/// `text` line by line, without characters that steer a terminal (file names may hold any) and without the system's
/// number for what it has said in words.
fn said(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(punchready::report::words::plain).collect();
    without_numbers(&lines.join("\n"))
}

/// `No such file or directory (os error 2)` without the number.
fn without_numbers(text: &str) -> String {
    const MARK: &str = " (os error ";
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find(MARK) {
        let number = &rest[at + MARK.len()..];
        let digits = number
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(number.len());
        match number[digits..].strip_prefix(')') {
            Some(after) => {
                out.push_str(&rest[..at]);
                rest = after;
            }
            None => {
                out.push_str(&rest[..at + MARK.len()]);
                rest = number;
            }
        }
    }
    out + rest
}

/// A message broken between words to `columns`; further lines of a paragraph stand under its first word.
pub(crate) fn wrapped(text: &str, columns: usize) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let margin = line.len() - line.trim_start().len();
        let mut used = 0;
        for word in line.split_whitespace() {
            let length = word.chars().count();
            if used == 0 {
                out.push_str(&" ".repeat(margin));
                used = margin;
            } else if used + 1 + length > columns {
                out.push('\n');
                // Under the text of "error: " and "hint: ".
                let indent = margin + 7;
                out.push_str(&" ".repeat(indent));
                used = indent;
            } else {
                out.push(' ');
                used += 1;
            }
            out.push_str(word);
            used += length;
        }
        out.push('\n');
    }
    out.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_decision_has_its_documented_number() {
        let number = |d| Status::from(d) as u8;
        assert_eq!(number(Decision::Ready), 0);
        assert_eq!(number(Decision::NotReady), 1);
        assert_eq!(Status::Refused as u8, 2);
        assert_eq!(number(Decision::CannotTell), 3);
    }

    #[test]
    fn advice_becomes_the_hint() {
        let failure = Failure::advised(&"a.heic: this is HEIC; expected JPEG; export it; then try");
        assert_eq!(
            failure.to_string(),
            "error: a.heic: this is HEIC; expected JPEG\nhint: export it; then try"
        );
        assert_eq!(Failure::told(&"a; b; c").to_string(), "error: a; b; c");
        assert_eq!(
            Failure::told(&"a.toml: No such file or directory (os error 2); look (os error x)")
                .to_string(),
            "error: a.toml: No such file or directory; look (os error x)"
        );
        assert_eq!(
            wrapped("error: one two three four\nhint: five", 18),
            "error: one two\n       three four\nhint: five"
        );
        assert_eq!(
            Failure::told(&"x\u{1b}[2J\nsecond").to_string(),
            "error: x?[2J\nsecond"
        );
    }
}
