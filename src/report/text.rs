//! The summary for a terminal: verdict first, caution last.

use super::{CAUTION, Report, answers, diameters, words};
use crate::decide;
use crate::plan::length;
use crate::verdict::{Decision, HoleState, StrayState};

/// Narrower than this no table can be read; the text is laid out for this width instead.
const MIN_WIDTH: usize = 30;
/// Gap between columns of a table.
const GAP: usize = 2;

/// A style, as the parameters of an ANSI "select graphic rendition" sequence (ECMA-48).
#[derive(Clone, Copy, PartialEq, Eq)]
enum Style {
    Plain,
    Heading,
    Quiet,
    Good,
    Bad,
    Doubt,
    Shout(Decision),
}

impl Style {
    fn code(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Heading => "1",
            Self::Quiet => "2",
            Self::Good => "1;32",
            Self::Bad => "1;31",
            Self::Doubt => "33",
            Self::Shout(Decision::Ready) => "1;7;32",
            Self::Shout(Decision::NotReady) => "1;7;31",
            Self::Shout(Decision::CannotTell) => "1;7;33",
        }
    }
}

/// The summary, each line at most `width` columns (at least 30), with ANSI colour only if asked.
#[must_use]
pub fn summary(r: &Report, width: usize, colour: bool) -> String {
    let mut out = Out {
        text: String::new(),
        width: width.max(MIN_WIDTH),
        colour,
    };
    verdict(r, &mut out);
    // Where nothing could be measured, tables of holes that all are "not visible" would bury the cause.
    if r.survey.fit.is_some() {
        holes(r, &mut out);
        strays(r, &mut out);
        decided(r, &mut out);
        rows(r, &mut out);
    }
    quality(r, &mut out);
    out.blank();
    out.wrapped("", CAUTION, Style::Quiet);
    out.text
}

/// Where each hole's uncertainty comes from, as a table of lines at most `width` columns.
#[must_use]
pub fn budget(r: &Report, width: usize, colour: bool) -> String {
    let mut out = Out {
        text: String::new(),
        width: width.max(MIN_WIDTH),
        colour,
    };
    out.heading("Where the uncertainty comes from (mm)");
    out.wrapped(
        "  ",
        "Standard uncertainties along the direction of U. Their squares add up to that of U/2. Solve: noise of \
         the cards' corners and edge points. Scale: the cards' print. Lens: what is not known of it. Height: how \
         low the cards beside the sheet lie. Datum: where the edges end. Flat: the sheet's flatness. Mark: its \
         ink and the noise.",
        Style::Quiet,
    );
    let table: Vec<(Style, Vec<String>)> = r
        .verdict
        .holes
        .iter()
        .zip(&r.budgets)
        .filter_map(|(hole, budget)| {
            let u = hole.uncertainty_mm?;
            let mut cells = vec![words::plain(&hole.name), format!("{u:.3}")];
            cells.extend((*budget)?.parts().iter().map(|(_, u)| format!("{u:.3}")));
            Some((Style::Plain, cells))
        })
        .collect();
    if table.is_empty() {
        out.wrapped(
            "  ",
            "No hole has a mark whose uncertainty is known.",
            Style::Plain,
        );
    } else {
        out.table(
            &[
                "Hole", "U", "Solve", "Scale", "Lens", "Height", "Datum", "Flat", "Mark",
            ],
            &table,
        );
    }
    out.text
}

fn verdict(r: &Report, out: &mut Out) {
    let word = words::decision_word(r.verdict.decision);
    let title = words::plain(&r.plan.title);
    let badge = format!(" {word} ");
    let room = out.width.saturating_sub(columns(&badge) + 2);
    let mut lines = wrap(&title, room).into_iter();
    let badge_text = out.styled(&badge, Style::Shout(r.verdict.decision));
    out.line(&format!(
        "{badge_text}  {}",
        lines.next().unwrap_or_default()
    ));
    for more in lines {
        out.line(&format!("{}{more}", " ".repeat(columns(&badge) + 2)));
    }
    out.wrapped("", &format!("{}.", words::counts(r)), Style::Plain);
    if let Some(said) = decide::honour::said(r.person) {
        // In the first lines: what is below may rest on it.
        out.wrapped("", &format!("This {}.", said.text), Style::Doubt);
    }
    if !r.verdict.reasons.is_empty() {
        out.heading("Why");
        for x in &r.verdict.reasons {
            out.wrapped("  - ", &x.text, Style::Plain);
        }
    }
    if !r.advice.is_empty() {
        out.heading("For the next photo");
        for a in r.advice {
            out.wrapped("  - ", &a.text, Style::Plain);
        }
    }
    if !r.verdict.bench.is_empty() {
        out.heading("At the bench");
        let digits = r.verdict.bench.len().to_string().len();
        for (i, x) in r.verdict.bench.iter().enumerate() {
            out.wrapped(&format!("  {:>digits$}. ", i + 1), x, Style::Plain);
        }
    }
}

fn holes(r: &Report, out: &mut Out) {
    let u = r.plan.units;
    let good = |s| s == HoleState::Good;
    let bad: Vec<_> = words::HOLE_STATES
        .into_iter()
        .filter(|&s| !good(s))
        .flat_map(|s| r.verdict.holes.iter().filter(move |h| h.state == s))
        .collect();
    let all = r.verdict.holes.len();
    if bad.is_empty() {
        out.headed(&format!("Holes: all {all} good"), Style::Good);
    } else {
        out.heading(&format!("Holes that are not good: {} of {all}", bad.len()));
    }
    let tolerance = words::planned_both(r.plan.tolerance_mm, u);
    out.wrapped(
        "  ",
        &format!(
            "Tolerance {tolerance} round each planned centre; +/- is U, k = 2; lengths in {}.",
            length::unit_name(u)
        ),
        Style::Quiet,
    );
    if bad.is_empty() {
        return;
    }
    let dash = || "-".to_string();
    let table: Vec<(Style, Vec<String>)> = bad
        .iter()
        .map(|h| {
            let style = match h.state {
                HoleState::Close | HoleState::Unseen => Style::Doubt,
                _ => Style::Bad,
            };
            let state = words::hole_word(h).to_uppercase();
            let cells = vec![
                words::plain(&h.name),
                if h.ringed {
                    format!("{state} (ringed)")
                } else {
                    state
                },
                words::planned_place(h.planned, u),
                words::distance_mm(h).map_or_else(dash, |d| length::measured(d, u)),
                h.found
                    .and(h.uncertainty_mm)
                    .map_or_else(dash, |x| length::uncertainty(x, u)),
                words::which_way(h, u).unwrap_or_else(dash),
            ];
            (style, cells)
        })
        .collect();
    out.table(
        &[
            "Hole",
            "State",
            "Planned x, y",
            "Out by",
            "+/-",
            "Which way",
        ],
        &table,
    );
}

fn strays(r: &Report, out: &mut Out) {
    if r.verdict.strays.is_empty() {
        return;
    }
    let u = r.plan.units;
    out.heading("Other marks");
    let table: Vec<(Style, Vec<String>)> = r
        .verdict
        .strays
        .iter()
        .zip(answers::names(r))
        .map(|(s, name)| {
            let style = match s.state {
                StrayState::Stray => Style::Bad,
                StrayState::Unsure => Style::Doubt,
                StrayState::Cancelled => Style::Quiet,
            };
            let word = words::stray_word(s);
            let cells = vec![
                words::measured_place(s.at, u),
                if s.state == StrayState::Cancelled {
                    word.into()
                } else {
                    let name = name.map_or_else(String::new, |n| format!(" {n}"));
                    word.to_uppercase() + &name
                },
                length::measured(s.size_mm, u),
                words::stray_meaning(s).to_string(),
            ];
            (style, cells)
        })
        .collect();
    out.table(&["At x, y", "What", "Size", "Meaning"], &table);
    /// So many names are listed, more are told by their ends.
    const FEW: usize = 6;
    let open: Vec<String> = answers::names(r).into_iter().flatten().collect();
    if !open.is_empty() {
        let (it, what) = match &open[..] {
            [one] => ("it is", one.clone()),
            [all @ .., last] if all.len() < FEW => {
                ("each is", format!("{} and {last}", all.join(", ")))
            }
            [first, .., last] => ("each is", format!("{first} to {last}")),
            [] => Default::default(),
        };
        let text = format!(
            "You can say what {it} ({what}): --decide-template FILE writes the questions, --report FILE shows the places, \
             --decide FILE takes your answers."
        );
        out.wrapped("  ", &text, Style::Quiet);
    }
}

fn decided(r: &Report, out: &mut Out) {
    if r.person.decided.is_empty() {
        return;
    }
    out.heading("Decided by a person");
    for d in &r.person.decided {
        out.wrapped("  - ", &answers::decided(r, d), Style::Doubt);
    }
}

fn rows(r: &Report, out: &mut Out) {
    if r.verdict.rows.is_empty() {
        return;
    }
    let u = r.plan.units;
    out.heading(&format!("Rows as marked ({})", length::unit_sign(u)));
    let dash = || "-".to_string();
    let length = |x: Option<f64>| x.map_or_else(dash, |x| length::measured(x, u));
    let table: Vec<(Style, Vec<String>)> = r
        .verdict
        .rows
        .iter()
        .map(|x| {
            let plan = r.plan.rows.iter().find(|p| p.name == x.row);
            let cells = vec![
                words::plain(&x.row),
                plan.map_or_else(dash, |p| length::planned(p.edge_distance_mm, u)),
                length(x.edge_distance_mm.map(|d| d[0])),
                length(x.edge_distance_mm.map(|d| d[1])),
                x.uncertainty_mm
                    .map_or_else(dash, |x| length::uncertainty(x, u)),
                x.angle_deg.map_or_else(dash, |a| format!("{a:.2}")),
                x.pitch_mm
                    .map_or_else(dash, |p| p.map(|d| length::measured(d, u)).join(" ")),
                length(x.straightness_mm),
            ];
            (Style::Plain, cells)
        })
        .collect();
    out.table(
        &[
            "Row",
            "Edge plan",
            "start",
            "end",
            "+/-",
            "Angle deg",
            "Pitch min mean max",
            "Bow",
        ],
        &table,
    );
    let Some(in_d) = diameters::of(r) else { return };
    out.wrapped(
        "  ",
        &format!("The same in rivet diameters, {}:", in_d.of),
        Style::Quiet,
    );
    let table: Vec<(Style, Vec<String>)> = in_d
        .rows
        .into_iter()
        .map(|(name, [start, end, u, least, mean, most, pitch_u])| {
            let pitch = format!("{least} {mean} {most}");
            let cells = vec![words::plain(&name), start, end, u, pitch, pitch_u];
            (Style::Plain, cells)
        })
        .collect();
    out.table(
        &[
            "Row",
            "Edge start",
            "end",
            "+/-",
            "Pitch min mean max",
            "+/-",
        ],
        &table,
    );
}

fn quality(r: &Report, out: &mut Out) {
    let s = &r.survey;
    if let Some(f) = &s.fit {
        out.heading("How well it was measured");
        let seen = format!(
            "Visible: {} of the sheet; the plan asks for {}.",
            words::percent(r.seen.fraction()),
            words::percent(r.plan.seen_fraction)
        );
        out.wrapped("  ", &seen, Style::Plain);
        let survey = format!(
            "Survey: fit {:.2} px, {:.3} mm per pixel; {}; print scale {:.4} across, {:.4} down \
             (+/- {:.2} %).",
            f.rms_px,
            f.mm_per_px,
            words::lens_phrase(f.lens),
            f.scale[0],
            f.scale[1],
            // Twice the standard uncertainty, as everywhere in this text.
            200.0 * f.scale_u
        );
        out.wrapped("  ", &survey, Style::Plain);
    } else {
        out.heading("What was found in the photo");
    }
    out.wrapped("  ", &cards(r), Style::Plain);
    for p in &r.photos {
        let camera = p.camera.as_deref().unwrap_or("camera unknown");
        let text = format!(
            "Photo: {}, {} x {} px, {camera}.",
            p.file, p.width, p.height
        );
        out.wrapped("  ", &text, Style::Plain);
    }
    // What a reason says already is not said again.
    let told = |x: &&String| !r.verdict.reasons.iter().any(|reason| reason.text == **x);
    for x in s.left_out.iter().filter(told).chain(&r.notes) {
        out.wrapped("  Note: ", x, Style::Doubt);
    }
}

fn cards(r: &Report) -> String {
    let cards: Vec<String> = r
        .survey
        .cards
        .iter()
        .map(|c| {
            let mut text = format!("{} ({} corners", c.number, c.saddles);
            if let Some(rms) = c.rms_px {
                text.push_str(&format!(", {rms:.2} px"));
            }
            if !c.used && r.survey.fit.is_some() {
                text.push_str(", not used");
            }
            if let Some(note) = &c.note {
                text.push_str(&format!(": {note}"));
            }
            text + ")"
        })
        .collect();
    if cards.is_empty() {
        "Scale cards: none.".into()
    } else {
        format!("Scale cards: {}.", cards.join(", "))
    }
}

/// Lines as they grow.
struct Out {
    text: String,
    width: usize,
    colour: bool,
}

impl Out {
    fn styled(&self, text: &str, style: Style) -> String {
        if self.colour && style != Style::Plain {
            format!("\u{1b}[{}m{text}\u{1b}[0m", style.code())
        } else {
            text.to_string()
        }
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn heading(&mut self, text: &str) {
        self.headed(text, Style::Heading);
    }

    fn headed(&mut self, text: &str, style: Style) {
        self.blank();
        self.wrapped("", text, style);
    }

    /// `lead`, then `text` wrapped with its later lines under its first.
    fn wrapped(&mut self, lead: &str, text: &str, style: Style) {
        for (start, part) in hanging(lead, text, self.width) {
            let part = self.styled(&part, style);
            self.line(&format!("{start}{part}"));
        }
    }

    /// A table where it fits, its last column wrapped; else a paragraph for each row.
    fn table(&mut self, head: &[&str], rows: &[(Style, Vec<String>)]) {
        let last = head.len() - 1;
        let widths: Vec<usize> = (0..last)
            .map(|i| {
                let cells = rows.iter().map(|(_, c)| columns(&c[i]));
                cells.max().unwrap_or(0).max(columns(head[i]))
            })
            .collect();
        let used: usize = 2 + widths.iter().map(|w| w + GAP).sum::<usize>();
        let room = self.width.saturating_sub(used);
        let longest = rows.iter().map(|(_, c)| columns(&c[last])).max();
        let longest = longest.unwrap_or(0).max(columns(head[last]));
        // A wrapped column narrower than this reads worse than paragraphs.
        if room < longest.min(16) {
            self.paragraphs(head, rows);
            return;
        }
        let lead = |cells: &[String]| {
            let mut line = "  ".to_string();
            for (cell, w) in cells.iter().zip(&widths) {
                line.push_str(cell);
                line.push_str(&" ".repeat(w.saturating_sub(columns(cell)) + GAP));
            }
            line
        };
        let titles: Vec<String> = head.iter().map(|h| (*h).to_string()).collect();
        let line = format!("{}{}", lead(&titles), head[last]);
        let line = self.styled(line.trim_end(), Style::Quiet);
        self.line(&line);
        for (style, cells) in rows {
            for (i, part) in wrap(&cells[last], room).iter().enumerate() {
                let start = if i == 0 {
                    lead(cells)
                } else {
                    " ".repeat(used)
                };
                let line = format!("{start}{part}");
                let line = self.styled(line.trim_end(), *style);
                self.line(&line);
            }
        }
    }

    fn paragraphs(&mut self, head: &[&str], rows: &[(Style, Vec<String>)]) {
        for (style, cells) in rows {
            let parts: Vec<String> = head
                .iter()
                .zip(cells)
                .map(|(h, c)| format!("{h}: {c}"))
                .collect();
            self.wrapped("  * ", &parts.join("; "), *style);
        }
    }
}

/// `lead`, then `text`, wrapped by words to `width` columns with its later lines under its first, each line
/// ended; made safe to show by [`words::plain`].
#[must_use]
pub fn paragraph(lead: &str, text: &str, width: usize) -> String {
    let lines = hanging(lead, text, width.max(MIN_WIDTH));
    lines.map(|(start, part)| start + &part + "\n").collect()
}

/// The lines of a paragraph, each in two: `lead` or as many blanks, and its part of `text`.
fn hanging(lead: &str, text: &str, width: usize) -> impl Iterator<Item = (String, String)> {
    let indent = columns(lead);
    let lead = lead.to_string();
    let lines = wrap(&words::plain(text), width.saturating_sub(indent));
    lines.into_iter().enumerate().map(move |(i, part)| {
        let start = if i == 0 {
            lead.clone()
        } else {
            " ".repeat(indent)
        };
        (start, part)
    })
}

/// Columns that `text` takes in a terminal: East Asian wide characters take two (Unicode standard
/// annex 11, from memory: the blocks from Hangul Jamo up that are wide throughout).
fn columns(text: &str) -> usize {
    text.chars().map(wide).sum()
}

fn wide(c: char) -> usize {
    match u32::from(c) {
        0x1100..=0x115f | 0x2e80..=0xa4cf | 0xac00..=0xd7a3 | 0xf900..=0xfaff => 2,
        0xfe30..=0xfe6f | 0xff00..=0xff60 | 0xffe0..=0xffe6 | 0x1f300..=0x1faff => 2,
        0x20000..=0x3fffd => 2,
        _ => 1,
    }
}

/// Wraps by words; a word longer than the line is broken. At least one line.
#[must_use]
pub fn wrap(text: &str, width: usize) -> Vec<String> {
    let width = width.max(2);
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split_whitespace() {
        let long = columns(word);
        if used > 0 && used + 1 + long > width {
            lines.push(String::new());
            used = 0;
        }
        if used > 0 {
            push(&mut lines, " ");
            used += 1;
        }
        for c in word.chars() {
            if used + wide(c) > width {
                lines.push(String::new());
                used = 0;
            }
            push(&mut lines, c.encode_utf8(&mut [0; 4]));
            used += wide(c);
        }
    }
    lines
}

fn push(lines: &mut [String], text: &str) {
    if let Some(l) = lines.last_mut() {
        l.push_str(text);
    }
}
