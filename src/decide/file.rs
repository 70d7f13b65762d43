//! The file of answers: TOML, in millimetres of the sheet's frame.

use std::fmt::{self, Write as _};
use std::path::{Path, PathBuf};

use serde::Deserialize;
use serde::de::{self, Deserializer, Visitor};

use super::{Answer, Answers, ByRule, Says};
use crate::file;
use crate::frame::Point;
use crate::ink::Doubt;
use crate::plan::{Fault, Plan, length};

/// First line of the file that counts.
pub const FORMAT: &str = "punchready.answers/1";
/// Largest file, bytes: a place has about 200.
const LARGEST_FILE: u64 = 1 << 20;
/// A rule with half millimetres, read at the edge and at the mark: U of a place where the file does not say, mm.
const RULE_U_MM: f64 = 0.5;
/// Better than this nobody reads a rule at a hand-made mark, mm (common practice, no source).
const BEST_RULE_U_MM: f64 = 0.1;
/// Longest name of a place.
const LONGEST_NAME: usize = 16;

/// Why a file of answers cannot be used.
#[derive(Debug)]
#[non_exhaustive]
pub enum AnswersError {
    /// The file cannot be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        why: std::io::Error,
    },
    /// The file is larger than any list of answers.
    TooLarge {
        /// The file.
        path: PathBuf,
    },
    /// Something in it is wrong.
    Wrong {
        /// The file.
        path: PathBuf,
        /// What, and where.
        fault: Fault,
    },
}

impl fmt::Display for AnswersError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const MAKE: &str =
            "write one with check --decide-template FILE.toml, and fill in the answers";
        match self {
            Self::Unreadable { path, why } => write!(
                f,
                "{}: the answers cannot be read ({why}); expected a TOML file of answers; {MAKE}",
                path.display()
            ),
            Self::TooLarge { path } => write!(
                f,
                "{}: is larger than {} MB; expected a TOML file of answers; {MAKE}",
                path.display(),
                LARGEST_FILE >> 20
            ),
            Self::Wrong { path, fault } => {
                write!(f, "{}:{}:{}: ", path.display(), fault.line, fault.column)?;
                if !fault.key.is_empty() {
                    write!(f, "{}: ", fault.key)?;
                }
                // What was found and what was expected; then what to do, which becomes the hint.
                let todo = fault.hint.as_deref().unwrap_or(MAKE);
                write!(f, "{}; {todo}", fault.text)
            }
        }
    }
}

impl std::error::Error for AnswersError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unreadable { why, .. } => Some(why),
            _ => None,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    format: toml::Spanned<String>,
    plan: String,
    #[serde(default)]
    photos: Vec<String>,
    #[serde(default)]
    place: Vec<toml::Spanned<Place>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Place {
    name: toml::Spanned<String>,
    x: Length,
    y: Length,
    u: toml::Spanned<Length>,
    size: toml::Spanned<Length>,
    why: String,
    cause: Option<toml::Spanned<String>>,
    answer: Word,
    rule_x: Option<toml::Spanned<Length>>,
    rule_y: Option<toml::Spanned<Length>>,
    rule_u: Option<toml::Spanned<Length>>,
}

/// A number of millimetres, or a text such as "1 17/32in".
struct Length(f64);

impl<'d> Deserialize<'d> for Length {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        struct Sort;
        impl Visitor<'_> for Sort {
            type Value = Length;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a length, such as 14.3 (millimetres) or \"9/16in\"")
            }
            fn visit_i64<E: de::Error>(self, v: i64) -> Result<Length, E> {
                self.visit_f64(v as f64)
            }
            fn visit_f64<E: de::Error>(self, v: f64) -> Result<Length, E> {
                // Through the same door as a text, for the same limits.
                self.visit_str(&format!("{v}"))
            }
            fn visit_str<E: de::Error>(self, v: &str) -> Result<Length, E> {
                length::parse_option(v).map(Length).map_err(E::custom)
            }
        }
        from.deserialize_any(Sort)
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Word {
    Open,
    NotAMark,
    Mark,
}

impl<'d> Deserialize<'d> for Word {
    fn deserialize<D: Deserializer<'d>>(from: D) -> Result<Self, D::Error> {
        struct Sort;
        impl Visitor<'_> for Sort {
            type Value = Word;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("\"mark\", \"not a mark\" or \"?\"")
            }
            fn visit_str<E: de::Error>(self, v: &str) -> Result<Word, E> {
                match v.trim() {
                    "?" | "" => Ok(Word::Open),
                    "mark" => Ok(Word::Mark),
                    "not a mark" => Ok(Word::NotAMark),
                    other => Err(E::custom(format!(
                        "found \"{}\"; expected \"mark\", \"not a mark\" or \"?\"",
                        length::shorten(other)
                    ))),
                }
            }
        }
        from.deserialize_any(Sort)
    }
}

/// Reads a file of answers.
///
/// # Errors
/// [`AnswersError`]: the file cannot be read, is too large, or something in it is wrong; the first fault is told with
/// its line and key.
pub fn read(path: &Path) -> Result<Answers, AnswersError> {
    let unreadable = |why| AnswersError::Unreadable {
        path: path.to_owned(),
        why,
    };
    let bytes = file::read(path, LARGEST_FILE)
        .map_err(unreadable)?
        .ok_or_else(|| AnswersError::TooLarge {
            path: path.to_owned(),
        })?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let valid = e.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(&e.as_bytes()[..valid]).into_owned();
        let told = "found bytes that are no UTF-8 text; expected a TOML file".to_owned();
        AnswersError::Wrong {
            path: path.to_owned(),
            fault: fault(&before, valid, told, None),
        }
    })?;
    parse(&text, path)
}

/// Reads answers from their text; `path` names the file in what is told.
///
/// # Errors
/// [`AnswersError::Wrong`] with the first fault.
pub fn parse(text: &str, path: &Path) -> Result<Answers, AnswersError> {
    let wrong = |at: usize, told: String, hint: Option<String>| AnswersError::Wrong {
        path: path.to_owned(),
        fault: fault(text, at, told, hint),
    };
    let file: File = toml::from_str(text).map_err(|e| {
        let told = e.message().trim().replace('\n', ", ");
        wrong(e.span().map_or(0, |s| s.start), expected(&told), None)
    })?;
    if file.format.get_ref() != FORMAT {
        let told = format!(
            "found \"{}\"; expected \"{FORMAT}\"",
            length::shorten(file.format.get_ref())
        );
        return Err(wrong(file.format.span().start, told, None));
    }
    let mut places: Vec<Answer> = Vec::new();
    for spanned in file.place {
        let start = spanned.span().start;
        let place = spanned.into_inner();
        let name = place.name.get_ref().trim().to_owned();
        let at_name = place.name.span().start;
        let of = format!("of place {}", length::shorten(&name));
        if name.is_empty()
            || name.chars().count() > LONGEST_NAME
            || name.chars().any(char::is_control)
        {
            let told = format!(
                "found \"{}\"; expected a short name such as \"U1\"",
                length::shorten(&name)
            );
            return Err(wrong(at_name, told, None));
        }
        if let Some(first) = places.iter().find(|p| p.name == name) {
            let told = format!(
                "found the name {name} a second time (first in line {}); expected each name once",
                first.line
            );
            let hint = "give one of them another name, or take it away".to_owned();
            return Err(wrong(at_name, told, Some(hint)));
        }
        for (value, what) in [(&place.u, "u"), (&place.size, "size")] {
            if value.get_ref().0 <= 0.0 {
                let told = format!(
                    "{of}: found {} mm; expected {what} above 0",
                    value.get_ref().0
                );
                return Err(wrong(value.span().start, told, None));
            }
        }
        let rule = by_rule(&place, &of).map_err(|(at, told)| {
            let hint = "measure from the sheet's left and bottom edge, as the plan draws it, or leave all three rule_ keys out".to_owned();
            wrong(at.unwrap_or(start), told, Some(hint))
        })?;
        let cause = match &place.cause {
            None => None,
            Some(code) => Some(Doubt::of_code(code.get_ref()).ok_or_else(|| {
                let told = format!(
                    "{of}: found cause {:?}; expected one that punchready wrote",
                    code.get_ref()
                );
                let hint = "leave the line as it was written, or take it away: then the words of why must be the same".to_owned();
                wrong(code.span().start, told, Some(hint))
            })?),
        };
        let says = match (place.answer, rule) {
            (Word::Open, _) => Says::Open,
            (Word::NotAMark, _) => Says::NotAMark,
            (Word::Mark, rule) => Says::Mark(rule),
        };
        places.push(Answer {
            line: line(text, at_name),
            name,
            at: Point::new(place.x.0, place.y.0),
            uncertainty_mm: place.u.get_ref().0,
            size_mm: place.size.get_ref().0,
            why: place.why,
            cause,
            says,
        });
    }
    Ok(Answers {
        file: path.to_owned(),
        plan: file.plan,
        photos: file.photos,
        places,
    })
}

/// Where a fault is, if not at the place's beginning, and what it is.
type Told = (Option<usize>, String);

/// The place that was measured by rule, if any.
fn by_rule(place: &Place, of: &str) -> Result<Option<ByRule>, Told> {
    let at = |v: &Option<toml::Spanned<Length>>| v.as_ref().map(|v| v.span().start);
    let mm = |v: &Option<toml::Spanned<Length>>| v.as_ref().map(|v| v.get_ref().0);
    let (x, y) = match (mm(&place.rule_x), mm(&place.rule_y)) {
        (Some(x), Some(y)) => (x, y),
        (None, None) => {
            return match at(&place.rule_u) {
                Some(at) => Err((
                    Some(at),
                    format!("{of}: found rule_u alone; expected rule_x and rule_y with it"),
                )),
                None => Ok(None),
            };
        }
        (Some(_), None) => {
            let told = format!("{of}: found rule_x alone; expected rule_y with it");
            return Err((at(&place.rule_x), told));
        }
        (None, Some(_)) => {
            let told = format!("{of}: found rule_y alone; expected rule_x with it");
            return Err((at(&place.rule_y), told));
        }
    };
    let uncertainty_mm = mm(&place.rule_u).unwrap_or(RULE_U_MM);
    if uncertainty_mm < BEST_RULE_U_MM {
        let told = format!(
            "{of}: found {uncertainty_mm} mm; expected rule_u of {BEST_RULE_U_MM} mm or more, for no rule is read better"
        );
        return Err((at(&place.rule_u), told));
    }
    Ok(Some(ByRule {
        at: Point::new(x, y),
        uncertainty_mm,
    }))
}

/// A fault of the TOML reader in the form "found; expected".
fn expected(told: &str) -> String {
    match told.split_once(", expected ") {
        Some((found, expected)) => format!("{found}; expected {expected}"),
        None if told.contains("; expected ") => told.to_owned(),
        None => format!("{told}; expected a file of answers"),
    }
}

fn line(text: &str, byte: usize) -> usize {
    1 + text.get(..byte).unwrap_or(text).matches('\n').count()
}

/// A fault at a byte of the text, with the key that stands there.
fn fault(text: &str, byte: usize, told: String, hint: Option<String>) -> Fault {
    let before = text.get(..byte).unwrap_or(text);
    let start = before.rfind('\n').map_or(0, |n| n + 1);
    let whole = text[start..].lines().next().unwrap_or("");
    let key = whole.split_once('=').map_or("", |(key, _)| key.trim());
    let plain = |k: &str| !k.is_empty() && k.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    Fault {
        line: line(text, byte),
        column: 1 + before[start..].chars().count(),
        key: if plain(key) {
            key.to_owned()
        } else {
            String::new()
        },
        text: told,
        hint,
    }
}

/// Refuses answers that were given for another plan.
///
/// # Errors
/// [`AnswersError::Wrong`] when the title differs.
pub fn suits(answers: &Answers, plan: &Plan) -> Result<(), AnswersError> {
    if answers.plan == plan.title {
        return Ok(());
    }
    Err(AnswersError::Wrong {
        path: answers.file.clone(),
        fault: Fault {
            line: 1,
            column: 1,
            key: "plan".to_owned(),
            text: format!(
                "found answers for \"{}\"; expected answers for the plan given, \"{}\"",
                length::shorten(&answers.plan),
                length::shorten(&plan.title)
            ),
            hint: Some("give the file that was made for this piece; if only the plan's title was changed, change it here too".to_owned()),
        },
    })
}

/// One place to write.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The place with its answer so far; its line does not count.
    pub answer: Answer,
    /// Where it is, for people: "at 12.30, 45.60 mm, near A3".
    pub said: String,
}

/// The text of a file to fill in; `photos` by their names without folders.
#[must_use]
pub fn to_text(plan: &str, photos: &[String], entries: &[Entry]) -> String {
    let mut out = String::from(
        "# Answers to what punchready could not name. Look at each place on the metal (the page of\n\
         # check --report shows it enlarged), and put for its \"?\"\n\
         #   answer = \"mark\"         ink that means: a hole goes here\n\
         #   answer = \"not a mark\"   dirt, a scratch, print, a slip of the pen\n\
         # Leave \"?\" where you are not sure. Then check again with --decide and this file.\n\
         # A mark counts at the middle of its ink, which is not well known. If that is not enough, measure\n\
         # it by rule from the left and bottom edge as the plan draws the sheet, and add\n\
         #   rule_x = \"14.5mm\"\n\
         #   rule_y = \"40mm\"\n\
         #   rule_u = \"0.5mm\"        how well you can read the rule (this, if you leave it out)\n\
         # x, y, u, size and why say which ink is meant (mm): leave them as they are.\n",
    );
    // Writing to a string cannot fail.
    let _ = writeln!(out, "format = {}", quoted(FORMAT));
    let _ = writeln!(out, "plan = {}", quoted(plan));
    let photos: Vec<String> = photos.iter().map(|p| quoted(p)).collect();
    let _ = writeln!(out, "photos = [{}]", photos.join(", "));
    if entries.is_empty() {
        out.push_str("\n# All ink could be named: there is nothing to answer.\n");
    }
    for e in entries {
        let a = &e.answer;
        let _ = write!(
            out,
            "\n# {}\n[[place]]\nname = {}\nx = {:.3}\ny = {:.3}\nu = {:.3}\nsize = {:.2}\nwhy = {}\n{}answer = {}\n",
            crate::report::words::plain(&e.said),
            quoted(&a.name),
            a.at.x,
            a.at.y,
            a.uncertainty_mm.max(0.001),
            a.size_mm.max(0.01),
            quoted(&a.why),
            a.cause
                .map_or_else(String::new, |c| format!("cause = {}\n", quoted(c.code()))),
            quoted(a.says.word())
        );
        if let Says::Mark(Some(rule)) = a.says {
            let _ = write!(
                out,
                "rule_x = {:.3}\nrule_y = {:.3}\nrule_u = {:.3}\n",
                rule.at.x, rule.at.y, rule.uncertainty_mm
            );
        }
    }
    out
}

/// A text as TOML has it.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
