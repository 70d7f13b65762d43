//! What can be wrong with a plan, and how it is said.

use std::fmt;

/// A plan that cannot be used.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PlanError {
    /// The file cannot be opened or read.
    Unreadable {
        /// The file as named by the caller.
        file: String,
        /// What the system says.
        why: String,
    },
    /// The file is larger than any plan.
    TooLarge {
        /// The file.
        file: String,
        /// Its size, bytes.
        bytes: u64,
        /// The largest taken, bytes.
        allowed: u64,
    },
    /// The file is not UTF-8 text.
    NotText {
        /// The file.
        file: String,
        /// Line of the first broken byte, from 1.
        line: usize,
        /// Its place in the file, bytes from 0.
        byte: usize,
    },
    /// The file is not TOML.
    Syntax {
        /// The file.
        file: String,
        /// What is wrong, in the order of the file; at least one.
        faults: Vec<Fault>,
    },
    /// The file is TOML, but not a plan that makes sense.
    Invalid {
        /// The file.
        file: String,
        /// What is wrong, in the order of the file; at least one.
        faults: Vec<Fault>,
    },
}

/// One thing that is wrong, and where.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Line, from 1.
    pub line: usize,
    /// Column, characters from 1.
    pub column: usize,
    /// The key with its table, such as `row A: pitch`; empty for a fault of the TOML itself.
    pub key: String,
    /// What was found and what was expected.
    pub text: String,
    /// What to do about it, where that is not plain.
    pub hint: Option<String>,
}

/// Faults shown at once; a file that is no plan at all would fill the screen.
const SHOWN_FAULTS: usize = 20;

impl fmt::Display for PlanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { file, why } => write!(f, "{file}: cannot be read: {why}"),
            Self::TooLarge {
                file,
                bytes,
                allowed,
            } => write!(
                f,
                "{file}: has {bytes} bytes; a plan has at most {allowed}. Is it the right file?"
            ),
            Self::NotText { file, line, byte } => write!(
                f,
                "{file}:{line}: not UTF-8 text (byte {byte}). Save it as UTF-8, or is it the right file?"
            ),
            Self::Syntax { file, faults } | Self::Invalid { file, faults } => {
                for (i, fault) in faults.iter().take(SHOWN_FAULTS).enumerate() {
                    if i > 0 {
                        writeln!(f)?;
                    }
                    write!(f, "{file}:{}:{}: ", fault.line, fault.column)?;
                    if !fault.key.is_empty() {
                        write!(f, "{}: ", fault.key)?;
                    }
                    write!(f, "{}", fault.text)?;
                    if let Some(hint) = &fault.hint {
                        write!(f, "\n  hint: {hint}")?;
                    }
                }
                if faults.len() > SHOWN_FAULTS {
                    write!(f, "\n... and {} more", faults.len() - SHOWN_FAULTS)?;
                }
                Ok(())
            }
        }
    }
}
impl std::error::Error for PlanError {}

/// Collects faults with the place of each in the text.
pub(super) struct Faults<'t> {
    text: &'t str,
    line_starts: Vec<usize>,
    found: Vec<Fault>,
}

impl<'t> Faults<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let line_starts = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(at, _)| at + 1))
            .collect();
        Self {
            text,
            line_starts,
            found: Vec::new(),
        }
    }

    /// Line and column, from 1, of a byte of the text.
    fn place(&self, byte: usize) -> (usize, usize) {
        let line = self.line_starts.partition_point(|&start| start <= byte);
        let start = self.line_starts[line - 1];
        let column = self
            .text
            .get(start..byte)
            .map_or(1, |before| before.chars().count() + 1);
        (line, column)
    }

    /// Notes a fault at `byte`.
    pub(super) fn add(&mut self, byte: usize, key: impl Into<String>, text: impl Into<String>) {
        self.push(byte, key.into(), text.into(), None);
    }

    /// Notes a fault with advice.
    pub(super) fn add_with_hint(
        &mut self,
        byte: usize,
        key: impl Into<String>,
        text: impl Into<String>,
        hint: impl Into<String>,
    ) {
        self.push(byte, key.into(), text.into(), Some(hint.into()));
    }

    fn push(&mut self, byte: usize, key: String, text: String, hint: Option<String>) {
        let (line, column) = self.place(byte);
        self.found.push(Fault {
            line,
            column,
            key,
            text,
            hint,
        });
    }

    pub(super) fn count(&self) -> usize {
        self.found.len()
    }

    pub(super) fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// All faults, in the order of the file.
    pub(super) fn sorted(mut self) -> Vec<Fault> {
        self.found.sort();
        self.found
    }
}
