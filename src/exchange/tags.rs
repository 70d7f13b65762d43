//! An ASCII DXF file as what it is: pairs of a code and a value, a line each, in sections of records.
//!
//! Read here and not by a library: what a file holds and a reader does not know must be counted and told, and a hostile
//! file must cost no more than its size. Codes are those of the DXF reference (releases R12 to 2018; from memory).

use std::borrow::Cow;
use std::collections::BTreeMap;

/// One pair.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tag<'a> {
    pub(super) code: i32,
    pub(super) value: &'a str,
}

/// What begins with code 0 and goes on to the next: an entity, a vertex, a layer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Record<'a> {
    pub(super) kind: &'a str,
    pub(super) tags: &'a [Tag<'a>],
}

impl<'a> Record<'a> {
    /// The first value of a code.
    pub(super) fn text(&self, code: i32) -> Option<&'a str> {
        let found = self.tags.iter().find(|t| t.code == code);
        found.map(|t| t.value.trim())
    }

    /// A number; `or` where there is none, NaN where it cannot be read.
    pub(super) fn number(&self, code: i32, or: f64) -> f64 {
        self.text(code).map_or(or, number)
    }

    /// A whole number, 0 where there is none or it cannot be read.
    pub(super) fn flags(&self, code: i32) -> i64 {
        let text = self.text(code).and_then(|t| t.parse().ok());
        text.unwrap_or(0)
    }

    /// Two numbers that are a place in the plane.
    pub(super) fn place(&self, x: i32, y: i32) -> [f64; 2] {
        [self.number(x, 0.0), self.number(y, 0.0)]
    }

    /// What a program has written of its own onto an entity, by its name.
    pub(super) fn noted(&self, program: &str) -> impl Iterator<Item = &'a str> {
        let tags = self.tags;
        let begin = tags
            .iter()
            .position(|t| t.code == 1001 && t.value.trim().eq_ignore_ascii_case(program));
        let own = &tags[begin.map_or(tags.len(), |i| i + 1)..];
        own.iter()
            .take_while(|t| t.code != 1001)
            .filter(|t| t.code == 1000)
            .map(|t| t.value)
    }
}

/// A number as the file has it.
pub(super) fn number(text: &str) -> f64 {
    text.trim().parse().unwrap_or(f64::NAN)
}

/// The text of a file: UTF-8 as since release 2007, or bytes that are letters of Western Europe, which is only of
/// account for names of layers.
pub(super) fn text(bytes: &[u8]) -> Cow<'_, str> {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => Cow::Borrowed(text),
        Err(_) => bytes.iter().map(|b| char::from(*b)).collect(),
    };
    match text {
        Cow::Borrowed(t) => Cow::Borrowed(t.strip_prefix('\u{feff}').unwrap_or(t)),
        owned => owned,
    }
}

/// The pairs of a file, without comments.
pub(super) fn tags(text: &str) -> Result<Vec<Tag<'_>>, String> {
    let mut tags = Vec::with_capacity(text.len() / 12);
    let mut lines = text.lines().enumerate();
    while let Some((i, line)) = lines.next() {
        let Ok(code) = line.trim().parse::<i32>() else {
            // Blank lines at the end are no pair.
            if line.trim().is_empty() && lines.all(|(_, l)| l.trim().is_empty()) {
                break;
            }
            return Err(format!("line {} is no group code", i + 1));
        };
        let Some((_, value)) = lines.next() else {
            return Err(format!("it is cut short in line {}", i + 1));
        };
        if code != 999 {
            tags.push(Tag { code, value });
        }
    }
    Ok(tags)
}

/// The records of a file; what stands before the first one is no record.
pub(super) fn records<'a>(tags: &'a [Tag<'a>]) -> Vec<Record<'a>> {
    let begins: Vec<usize> = (0..tags.len()).filter(|&i| tags[i].code == 0).collect();
    let ends = begins.iter().skip(1).copied().chain([tags.len()]);
    let record = |(begin, end): (&usize, usize)| Record {
        kind: tags[*begin].value.trim(),
        tags: &tags[begin + 1..end],
    };
    begins.iter().zip(ends).map(record).collect()
}

/// An entity with what belongs to it: vertices of a polyline, attributes of an insert.
#[derive(Debug)]
pub(super) struct Entity<'a> {
    pub(super) own: Record<'a>,
    pub(super) parts: Vec<Record<'a>>,
}

/// A named group of entities.
#[derive(Debug)]
pub(super) struct Block<'a> {
    pub(super) base: [f64; 2],
    /// It stands in another file.
    pub(super) is_elsewhere: bool,
    pub(super) entities: Vec<Entity<'a>>,
}

/// A layer, or all that is known of one that is not in the table.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Layer {
    pub(super) is_off: bool,
    pub(super) is_frozen: bool,
}

/// What of a file is of account.
#[derive(Debug, Default)]
pub(super) struct File<'a> {
    /// `$INSUNITS`: 0 where the file does not say it.
    pub(super) unit: i64,
    /// By name, in lower case: upper and lower case are one.
    pub(super) layers: BTreeMap<String, Layer>,
    pub(super) blocks: BTreeMap<String, Block<'a>>,
    pub(super) entities: Vec<Entity<'a>>,
}

/// Reads the sections. A file that ends before its end is refused: what is missing may be holes.
pub(super) fn file<'a>(tags: &'a [Tag<'a>]) -> Result<File<'a>, String> {
    let records = records(tags);
    if records.first().is_none_or(|r| r.kind != "SECTION") {
        return Err("it does not begin with a section".into());
    }
    let mut file = File::default();
    let mut rest = &records[..];
    loop {
        let Some((first, inside)) = rest.split_first() else {
            return Err("it is cut short: its last line should be EOF".into());
        };
        match first.kind {
            "EOF" => return Ok(file),
            "SECTION" => {
                let end = inside.iter().position(|r| r.kind == "ENDSEC");
                let Some(end) = end else {
                    return Err("it is cut short: a section does not end".into());
                };
                section(&mut file, first, &inside[..end])?;
                rest = &inside[end + 1..];
            }
            other => return Err(format!("{} stands between sections", shown(other))),
        }
    }
}

fn section<'a>(
    file: &mut File<'a>,
    head: &Record<'a>,
    inside: &[Record<'a>],
) -> Result<(), String> {
    match head.text(2).unwrap_or_default() {
        "HEADER" => {
            // Variables stand in the section's own record: a name of code 9, then its value.
            let at = head
                .tags
                .iter()
                .position(|t| t.code == 9 && t.value.trim() == "$INSUNITS");
            let value = at.and_then(|i| head.tags.get(i + 1));
            file.unit = value
                .filter(|t| t.code == 70)
                .and_then(|t| t.value.trim().parse().ok())
                .unwrap_or(0);
        }
        "TABLES" => {
            for layer in inside.iter().filter(|r| r.kind == "LAYER") {
                let known = Layer {
                    is_off: layer.number(62, 7.0) < 0.0,
                    is_frozen: layer.flags(70) & 1 != 0,
                };
                file.layers
                    .insert(key(layer.text(2).unwrap_or_default()), known);
            }
        }
        "BLOCKS" => {
            let mut rest = inside;
            while let Some((head, inside)) = rest.split_first() {
                if head.kind != "BLOCK" {
                    return Err(format!("{} stands between blocks", shown(head.kind)));
                }
                let end = inside.iter().position(|r| r.kind == "ENDBLK");
                let Some(end) = end else {
                    return Err("it is cut short: a block does not end".into());
                };
                let block = Block {
                    base: head.place(10, 20),
                    is_elsewhere: head.flags(70) & 4 != 0,
                    entities: entities(&inside[..end]),
                };
                file.blocks
                    .insert(key(head.text(2).unwrap_or_default()), block);
                rest = &inside[end + 1..];
            }
        }
        "ENTITIES" => file.entities.extend(entities(inside)),
        _ => {}
    }
    Ok(())
}

/// Records as entities: vertices and attributes go to what they follow.
fn entities<'a>(records: &[Record<'a>]) -> Vec<Entity<'a>> {
    let mut all: Vec<Entity> = Vec::new();
    for &record in records {
        let before = all.last_mut().filter(|e| {
            matches!(
                (e.own.kind, record.kind),
                ("POLYLINE", "VERTEX" | "SEQEND") | ("INSERT", "ATTRIB" | "SEQEND")
            )
        });
        match before {
            Some(entity) if record.kind != "SEQEND" => entity.parts.push(record),
            Some(_) => {}
            None => all.push(Entity {
                own: record,
                parts: Vec::new(),
            }),
        }
    }
    all
}

/// A name by which layers and blocks are known.
pub(super) fn key(name: &str) -> String {
    name.trim().to_lowercase()
}

/// A name from the file as it can be told.
pub(super) fn shown(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// A text with its letters that were written by number, `\U+00C7`.
pub(super) fn unescaped(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find("\\U+") {
        out.push_str(&rest[..at]);
        let digits = rest.get(at + 3..at + 7);
        let letter = digits.and_then(|d| u32::from_str_radix(d, 16).ok());
        match letter.and_then(char::from_u32) {
            Some(c) => {
                out.push(c);
                rest = &rest[at + 7..];
            }
            None => {
                out.push_str("\\U+");
                rest = &rest[at + 3..];
            }
        }
    }
    out + rest
}
