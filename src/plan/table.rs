//! A TOML table that answers for its keys: unknown ones, missing ones, and values of a wrong sort
//! are noted with their place.

use toml::de::{DeTable, DeValue};

use super::Units;
use super::error::Faults;
use super::{keys, length};

/// A value and the byte of the file where it stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Got<T> {
    pub(super) value: T,
    pub(super) at: usize,
}

/// A place as written: two lengths, mm, or the name of a hole.
#[derive(Debug, Clone, Copy)]
pub(super) enum PointOrName<'a> {
    Point([f64; 2]),
    Name(&'a str),
}

struct Entry<'a> {
    key: &'a str,
    value: &'a DeValue<'a>,
    at: usize,
}

/// One table of the file.
pub(super) struct Table<'a> {
    /// What faults call it: `[sheet]`, `row A`, `hole 3`; empty for the top of the file.
    pub(super) label: String,
    /// Where it begins, bytes.
    pub(super) at: usize,
    entries: Vec<Entry<'a>>,
}

impl<'a> Table<'a> {
    /// Takes a table of the given sort, and notes every key that such a table does not have.
    pub(super) fn open(
        table: &'a DeTable<'a>,
        sort: &str,
        label: String,
        at: usize,
        faults: &mut Faults,
    ) -> Self {
        let known = keys::of(sort);
        let mut entries = Vec::new();
        for (key, value) in table.iter() {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                entries.push(Entry {
                    key: name,
                    value: value.get_ref(),
                    at: value.span().start,
                });
            } else {
                let place = if label.is_empty() {
                    "the top of the file"
                } else {
                    &label
                };
                faults.add_with_hint(
                    key.span().start,
                    "",
                    format!("{place} has no key `{}`", length::shorten(name)),
                    keys::advise(name, sort),
                );
            }
        }
        Self { label, at, entries }
    }

    /// The key with its table, as faults call it.
    pub(super) fn name_of(&self, key: &str) -> String {
        if self.label.is_empty() {
            key.into()
        } else {
            format!("{}: {key}", self.label)
        }
    }

    /// Where the value of `key` stands, or else the table.
    pub(super) fn place_of(&self, key: &str) -> usize {
        self.find(key).map_or(self.at, |e| e.at)
    }

    pub(super) fn has(&self, key: &str) -> bool {
        self.find(key).is_some()
    }

    fn find(&self, key: &str) -> Option<&Entry<'a>> {
        self.entries.iter().find(|e| e.key == key)
    }

    /// The value of `key` if it is a text.
    pub(super) fn as_text(&self, key: &str) -> Option<&'a str> {
        match self.find(key)?.value {
            DeValue::String(text) => Some(text),
            _ => None,
        }
    }

    /// The value of `key`; its absence is a fault.
    fn required(&self, key: &str, example: &str, faults: &mut Faults) -> Option<&Entry<'a>> {
        let entry = self.find(key);
        if entry.is_none() {
            faults.add(
                self.at,
                self.name_of(key),
                format!("missing; expected for example `{key} = {example}`"),
            );
        }
        entry
    }

    /// A length of `key`, mm; `None`, and a fault, when it is missing or is no length.
    pub(super) fn length(
        &self,
        key: &str,
        example: &str,
        units: Units,
        faults: &mut Faults,
    ) -> Option<Got<f64>> {
        self.required(key, example, faults)?;
        self.optional_length(key, units, faults)
    }

    /// A length of `key`, mm, where it is given.
    pub(super) fn optional_length(
        &self,
        key: &str,
        units: Units,
        faults: &mut Faults,
    ) -> Option<Got<f64>> {
        let entry = self.find(key)?;
        length_of(entry.value, units)
            .map_err(|text| faults.add(entry.at, self.name_of(key), text))
            .ok()
            .map(|value| Got {
                value,
                at: entry.at,
            })
    }

    /// A list of lengths of `key`, mm. A fault in one of them leaves it out.
    pub(super) fn lengths(
        &self,
        key: &str,
        units: Units,
        faults: &mut Faults,
    ) -> Option<Vec<Got<f64>>> {
        let entry = self.find(key)?;
        let DeValue::Array(items) = entry.value else {
            let text = format!(
                "found {}; expected a list of lengths such as [\"11/16\", \"1 17/32\"]",
                describe(entry.value)
            );
            faults.add(entry.at, self.name_of(key), text);
            return None;
        };
        let mut lengths = Vec::new();
        for item in items.iter() {
            let at = item.span().start;
            match length_of(item.get_ref(), units) {
                Ok(value) => lengths.push(Got { value, at }),
                Err(text) => faults.add(at, self.name_of(key), text),
            }
        }
        Some(lengths)
    }

    /// A text of `key`, where it is given.
    pub(super) fn optional_text(&self, key: &str, faults: &mut Faults) -> Option<Got<&'a str>> {
        let entry = self.find(key)?;
        if let DeValue::String(text) = entry.value {
            return Some(Got {
                value: text.as_ref(),
                at: entry.at,
            });
        }
        let text = format!("found {}; expected a text in quotes", describe(entry.value));
        faults.add(entry.at, self.name_of(key), text);
        None
    }

    /// A text of `key`; its absence is a fault.
    pub(super) fn text(
        &self,
        key: &str,
        example: &str,
        faults: &mut Faults,
    ) -> Option<Got<&'a str>> {
        self.required(key, example, faults)?;
        self.optional_text(key, faults)
    }

    /// One of the given words under `key`, where it is given.
    pub(super) fn optional_word<T: Copy>(
        &self,
        key: &str,
        words: &[(&str, T)],
        faults: &mut Faults,
    ) -> Option<T> {
        let got = self.optional_text(key, faults)?;
        let word = words.iter().find(|(w, _)| *w == got.value).map(|w| w.1);
        if word.is_none() {
            let list: Vec<String> = words.iter().map(|(w, _)| format!("\"{w}\"")).collect();
            let text = format!(
                "found \"{}\"; expected {}",
                length::shorten(got.value),
                list.join(" or ")
            );
            faults.add(got.at, self.name_of(key), text);
        }
        word
    }

    /// One of the given words under `key`; its absence is a fault.
    pub(super) fn word<T: Copy>(
        &self,
        key: &str,
        words: &[(&str, T)],
        faults: &mut Faults,
    ) -> Option<T> {
        let example = words
            .first()
            .map_or(String::new(), |w| format!("\"{}\"", w.0));
        self.required(key, &example, faults)?;
        self.optional_word(key, words, faults)
    }

    /// A whole number of `key`, where it is given.
    pub(super) fn optional_count(&self, key: &str, faults: &mut Faults) -> Option<Got<i64>> {
        let entry = self.find(key)?;
        let number = match entry.value {
            // A number beyond i64 is as absurd as the largest that fits.
            DeValue::Integer(n) => {
                Some(i64::from_str_radix(n.as_str(), n.radix()).unwrap_or(i64::MAX))
            }
            _ => None,
        };
        if number.is_none() {
            let text = format!("found {}; expected a whole number", describe(entry.value));
            faults.add(entry.at, self.name_of(key), text);
        }
        number.map(|value| Got {
            value,
            at: entry.at,
        })
    }

    /// Yes or no under `key`; no where it is not given.
    pub(super) fn flag(&self, key: &str, faults: &mut Faults) -> bool {
        let Some(entry) = self.find(key) else {
            return false;
        };
        if let DeValue::Boolean(flag) = entry.value {
            return *flag;
        }
        let text = format!("found {}; expected true or false", describe(entry.value));
        faults.add(entry.at, self.name_of(key), text);
        false
    }

    /// A list of whole numbers from 1 under `key`; empty where it is not given.
    pub(super) fn numbers(&self, key: &str, faults: &mut Faults) -> Vec<Got<usize>> {
        let Some(entry) = self.find(key) else {
            return Vec::new();
        };
        let number = |value: &DeValue| match value {
            DeValue::Integer(n) => usize::from_str_radix(n.as_str(), n.radix())
                .ok()
                .filter(|&n| n > 0),
            _ => None,
        };
        let mut numbers = Vec::new();
        if let DeValue::Array(items) = entry.value {
            for item in items.iter() {
                match number(item.get_ref()) {
                    Some(value) => numbers.push(Got {
                        value,
                        at: item.span().start,
                    }),
                    None => {
                        let text = format!(
                            "found {}; expected a whole number from 1",
                            describe(item.get_ref())
                        );
                        faults.add(item.span().start, self.name_of(key), text);
                    }
                }
            }
        } else {
            let text = format!(
                "found {}; expected a list of whole numbers such as [3, 4]",
                describe(entry.value)
            );
            faults.add(entry.at, self.name_of(key), text);
        }
        numbers
    }

    /// A point or the name of a hole under `key`, where it is given.
    pub(super) fn optional_point(
        &self,
        key: &str,
        units: Units,
        faults: &mut Faults,
    ) -> Option<Got<PointOrName<'a>>> {
        let entry = self.find(key)?;
        let at = entry.at;
        if let DeValue::String(name) = entry.value {
            let value = PointOrName::Name(name.as_ref());
            return Some(Got { value, at });
        }
        if let DeValue::Array(items) = entry.value
            && items.len() == 2
        {
            let pair = self.lengths(key, units, faults)?;
            let [x, y] = pair[..] else {
                return None;
            };
            let value = PointOrName::Point([x.value, y.value]);
            return Some(Got { value, at });
        }
        let text = format!(
            "found {}; expected a point [x, y] such as [\"6\", \"2 17/32\"]{}",
            describe(entry.value),
            if key == "shift" {
                ""
            } else {
                ", or the name of a hole"
            }
        );
        faults.add(at, self.name_of(key), text);
        None
    }

    /// A plain number of `key`, where it is given.
    pub(super) fn optional_number(&self, key: &str, faults: &mut Faults) -> Option<Got<f64>> {
        let entry = self.find(key)?;
        let number = plain_number(entry.value);
        if number.is_none() {
            let text = format!("found {}; expected a number", describe(entry.value));
            faults.add(entry.at, self.name_of(key), text);
        }
        number.map(|value| Got {
            value,
            at: entry.at,
        })
    }

    /// The names of a list of texts under `key`, where it is given and is such a list.
    pub(super) fn optional_texts(
        &self,
        key: &str,
        faults: &mut Faults,
    ) -> Option<Vec<Got<&'a str>>> {
        let entry = self.find(key)?;
        if let DeValue::Array(items) = entry.value {
            let texts: Option<Vec<_>> = items
                .iter()
                .map(|item| match item.get_ref() {
                    DeValue::String(text) => Some(Got {
                        value: text.as_ref(),
                        at: item.span().start,
                    }),
                    _ => None,
                })
                .collect();
            if texts.is_some() {
                return texts;
            }
        }
        let text = format!("found {}; expected a list of texts", describe(entry.value));
        faults.add(entry.at, self.name_of(key), text);
        None
    }

    /// The table under `key`, where it is given.
    pub(super) fn optional_table(&self, key: &str, faults: &mut Faults) -> Option<Table<'a>> {
        let entry = self.find(key)?;
        if let DeValue::Table(table) = entry.value {
            return Some(Table::open(
                table,
                key,
                format!("[{key}]"),
                entry.at,
                faults,
            ));
        }
        let text = format!("found {}; expected a table [{key}]", describe(entry.value));
        faults.add(entry.at, self.name_of(key), text);
        None
    }

    /// The tables `[[key]]`, in the order of the file; each is called by its name where it has one.
    pub(super) fn tables(&self, key: &str, faults: &mut Faults) -> Vec<Table<'a>> {
        let Some(entry) = self.find(key) else {
            return Vec::new();
        };
        let DeValue::Array(items) = entry.value else {
            let text = format!(
                "found {}; expected [[{key}]] with two brackets, once for each {key}",
                describe(entry.value)
            );
            faults.add(entry.at, self.name_of(key), text);
            return Vec::new();
        };
        let mut tables = Vec::new();
        for (i, item) in items.iter().enumerate() {
            let at = item.span().start;
            if let DeValue::Table(table) = item.get_ref() {
                let name = table.iter().find(|(k, _)| k.get_ref() == "name");
                let label = match name.map(|(_, v)| v.get_ref()) {
                    Some(DeValue::String(name)) => format!("{key} {}", length::shorten(name)),
                    _ => format!("{key} number {}", i + 1),
                };
                tables.push(Table::open(table, key, label, at, faults));
            } else {
                let text = format!(
                    "found {}; expected [[{key}]] with two brackets, once for each {key}",
                    describe(item.get_ref())
                );
                faults.add(at, self.name_of(key), text);
            }
        }
        tables
    }
}

/// A length from a number or a text.
fn length_of(value: &DeValue, units: Units) -> Result<f64, String> {
    const EXPECTED: &str = "expected a length such as 0.5, \"5/8\", \"2 17/32\" or \"14.3mm\"";
    if let DeValue::String(text) = value {
        return length::parse(text, units).map_err(|e| e.to_string());
    }
    let number =
        plain_number(value).ok_or_else(|| format!("found {}; {EXPECTED}", describe(value)))?;
    // Through the same door as a text, for the same limits; `{}` writes no exponent.
    length::parse(&number.to_string(), units).map_err(|e| e.to_string())
}

/// The value of a decimal whole number or a finite float.
fn plain_number(value: &DeValue) -> Option<f64> {
    let number = match value {
        DeValue::Integer(n) if n.radix() == 10 => n.as_str().parse::<f64>().ok(),
        DeValue::Float(x) => x.as_str().parse::<f64>().ok(),
        _ => None,
    };
    number.filter(|x| x.is_finite())
}

/// A value as a fault calls it.
fn describe(value: &DeValue) -> String {
    match value {
        DeValue::String(text) => format!("the text \"{}\"", length::shorten(text)),
        DeValue::Integer(n) => format!("the number {}", length::shorten(&n.to_string())),
        DeValue::Float(x) => format!("the number {}", length::shorten(&x.to_string())),
        DeValue::Boolean(b) => b.to_string(),
        DeValue::Datetime(_) => "a date".into(),
        DeValue::Array(_) => "a list".into(),
        DeValue::Table(_) => "a table".into(),
    }
}
