//! The student's sheet on paper: one page, drawn as SVG, written as PDF.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::feedback::{Feedback, Stand, points};
use super::page::stand_word;
use crate::draw::{self, DrawError, escape};
use crate::report::{CAUTION, cut, text_width, words, wrap};

/// Paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Size {
    /// 210 x 297 mm.
    #[default]
    A4,
    /// 8 1/2 x 11 in.
    Letter,
}

impl Size {
    /// Width and height, mm.
    #[must_use]
    pub fn mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}

/// Clear margin, mm.
const MARGIN_MM: f64 = 14.0;
/// Lines stand apart by this share of their letters' size.
const LEADING: f64 = 1.32;
/// The picture is never lower than this, mm; below it would tell nothing.
const LEAST_PICTURE_MM: f64 = 40.0;
const INK: &str = "#16191d";
const SOFT: &str = "#555d66";
const BLUE: &str = "#00558a";
const WARM: &str = "#fdf6e3";
const EDGE: &str = "#a86f00";

/// A column of text that grows downwards.
struct Sheet {
    svg: String,
    left: f64,
    right: f64,
    y: f64,
}

impl Sheet {
    fn text(&mut self, at: [f64; 2], size: f64, bold: bool, ink: &str, anchor: &str, text: &str) {
        let weight = if bold { 700 } else { 400 };
        // Writing to a string cannot fail.
        let _ = write!(
            self.svg,
            "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{size}\" font-weight=\"{weight}\" fill=\"{ink}\" text-anchor=\"{anchor}\">{}</text>",
            at[0],
            at[1],
            escape(&words::plain(text))
        );
    }

    /// Lines of text from `x` on, at most `width` wide; the column goes on below them.
    fn paragraph(&mut self, x: f64, width: f64, size: f64, bold: bool, ink: &str, text: &str) {
        for line in wrap(text, width / size, bold) {
            let line = cut(&line, width / size, bold);
            self.y += size * LEADING;
            self.text([x, self.y - 0.3 * size], size, bold, ink, "start", &line);
        }
    }

    fn rule(&mut self, ink: &str, stroke: f64) {
        let _ = write!(
            self.svg,
            "<path d=\"M{:.2} {:.2}H{:.2}\" stroke=\"{ink}\" stroke-width=\"{stroke}\"/>",
            self.left, self.y, self.right
        );
    }
}

pub(super) fn pdf(sheet: &Feedback, size: Size) -> Result<Vec<u8>, DrawError> {
    draw::pdf(
        &format!(
            "{}: {}",
            words::plain(&sheet.who),
            words::plain(&sheet.piece)
        ),
        &[svg(sheet, size)],
    )
}

/// The page for a browser to print, in its own document: the same as the PDF, on whatever paper there is.
pub(super) fn inline(sheet: &Feedback, size: Size) -> String {
    let [width, height] = size.mm();
    format!(
        "<svg viewBox=\"0 0 {width} {height}\">{}</svg>",
        body(sheet, size)
    )
}

fn svg(sheet: &Feedback, size: Size) -> String {
    let [width, height] = size.mm();
    draw::page(width, height, &body(sheet, size))
}

/// The page. All but the picture is laid out first; the picture takes the room that is left.
fn body(sheet: &Feedback, size: Size) -> String {
    let [width, height] = size.mm();
    let column = |y: f64| Sheet {
        svg: String::new(),
        left: MARGIN_MM,
        right: width - MARGIN_MM,
        y,
    };
    let mut top = column(MARGIN_MM);
    header(sheet, &mut top);
    fails(sheet, &mut top);
    let mut bottom = column(0.0);
    items(sheet, &mut bottom);
    habits(sheet, &mut bottom);
    let mut foot = column(0.0);
    notes(sheet, &mut foot);
    let room = height - MARGIN_MM - foot.y - 3.0 - bottom.y - top.y - 6.0;
    let (picture, used) = picture(
        sheet,
        [MARGIN_MM, top.y + 3.0],
        width - 2.0 * MARGIN_MM,
        room,
    );
    // Where even the smallest picture leaves too little room, all of it is drawn smaller.
    let over = (top.y + used + 6.0 + bottom.y + 3.0 + foot.y + MARGIN_MM) / height;
    let shrink = 1.0 / over.max(1.0);
    format!(
        "<g transform=\"translate({:.3} 0) scale({shrink:.5})\">{}{picture}<g transform=\"translate(0 {:.2})\">{}</g><g transform=\"translate(0 {:.2})\">{}</g></g>",
        width * (1.0 - shrink) / 2.0,
        top.svg,
        top.y + used + 6.0,
        bottom.svg,
        height / shrink - MARGIN_MM - foot.y,
        foot.svg
    )
}

fn header(sheet: &Feedback, s: &mut Sheet) {
    let x = s.left;
    let aside = 58.0;
    let width = s.right - s.left - aside;
    let top = s.y;
    s.paragraph(x, width, 3.4, false, SOFT, &sheet.title);
    s.paragraph(x, width, 7.4, true, INK, &sheet.who);
    s.paragraph(x, width, 3.4, false, SOFT, &sheet.piece);
    let right = s.right;
    match &sheet.stand {
        Stand::Marked {
            percent,
            passed,
            points: [had, judged, _],
        } => {
            let of = " of 100";
            s.text([right, top + 10.5], 4.2, false, SOFT, "end", of);
            let percent = percent.to_string();
            let at = right - text_width(of, false) * 4.2 - 1.5;
            s.text([at, top + 10.5], 13.0, true, INK, "end", &percent);
            let word = passed.map_or(String::new(), |p| format!("{} · ", stand_word(p)));
            let line = format!(
                "{word}{} of {} points judged",
                points(*had),
                points(*judged)
            );
            s.text([right, top + 17.0], 3.2, false, INK, "end", &line);
        }
        Stand::Open(_) => {
            s.text([right, top + 10.0], 5.0, true, INK, "end", "not graded yet");
        }
    }
    s.y = s.y.max(top + 18.5) + 2.0;
    s.rule(INK, 0.5);
}

fn fails(sheet: &Feedback, s: &mut Sheet) {
    let told = match &sheet.stand {
        Stand::Open(why) => format!(
            "The photo could not be measured: {}.",
            why.trim_end_matches('.')
        ),
        Stand::Marked { .. } if !sheet.fails.is_empty() => {
            format!(
                "Not passed yet, whatever the points: {}.",
                sheet.fails.join("; ")
            )
        }
        Stand::Marked { .. } => return,
    };
    s.y += 3.0;
    let top = s.y;
    let mut inside = Sheet {
        svg: String::new(),
        left: s.left,
        right: s.right,
        y: top + 1.2,
    };
    inside.paragraph(s.left + 4.0, s.right - s.left - 7.0, 3.4, false, INK, &told);
    s.y = inside.y + 1.5;
    let _ = write!(
        s.svg,
        "<rect x=\"{:.2}\" y=\"{top:.2}\" width=\"{:.2}\" height=\"{:.2}\" fill=\"{WARM}\"/>\
         <rect x=\"{:.2}\" y=\"{top:.2}\" width=\"1.2\" height=\"{:.2}\" fill=\"{EDGE}\"/>{}",
        s.left,
        s.right - s.left,
        s.y - top,
        s.left,
        s.y - top,
        inside.svg
    );
}

/// The picture as large as fits, and the height it takes.
fn picture(sheet: &Feedback, at: [f64; 2], width: f64, room: f64) -> (String, f64) {
    let Some(jpeg) = &sheet.picture else {
        return (String::new(), 0.0);
    };
    let size = image::load_from_memory(jpeg).map(|p| (f64::from(p.width()), f64::from(p.height())));
    let Ok((w, h)) = size else {
        return (String::new(), 0.0);
    };
    let scale = (width / w).min(room.max(LEAST_PICTURE_MM) / h);
    let (w, h) = (w * scale, h * scale);
    let x = at[0] + (width - w) / 2.0;
    let svg = format!(
        "<image x=\"{x:.2}\" y=\"{:.2}\" width=\"{w:.2}\" height=\"{h:.2}\" href=\"data:image/jpeg;base64,{}\"/>",
        at[1],
        STANDARD.encode(jpeg)
    );
    (svg, h)
}

fn items(sheet: &Feedback, s: &mut Sheet) {
    if sheet.items.is_empty() {
        return;
    }
    let (left, right) = (s.left, s.right);
    let (figure_x, bar_x) = (left + 54.0, right - 46.0);
    let _ = write!(
        s.svg,
        "<rect x=\"{left:.2}\" y=\"{:.2}\" width=\"{:.2}\" height=\"5.2\" fill=\"#f3f5f7\"/>",
        s.y,
        right - left
    );
    let y = s.y + 3.7;
    s.text(
        [left + 1.5, y],
        2.9,
        true,
        INK,
        "start",
        "What was looked at",
    );
    s.text(
        [figure_x, y],
        2.9,
        true,
        INK,
        "start",
        "What the photo shows",
    );
    s.text([right - 1.5, y], 2.9, true, INK, "end", "Points");
    s.y += 5.2;
    for line in &sheet.items {
        s.rule("#d5dae0", 0.2);
        let top = s.y;
        s.y += 0.7;
        s.paragraph(
            left + 1.5,
            figure_x - left - 3.0,
            3.1,
            true,
            INK,
            &line.name,
        );
        let name_end = s.y;
        s.y = top + 0.7;
        s.paragraph(
            figure_x,
            bar_x - figure_x - 3.0,
            3.1,
            false,
            INK,
            &line.figure,
        );
        if let Some(doubt) = &line.doubt {
            s.paragraph(figure_x, bar_x - figure_x - 3.0, 2.6, false, SOFT, doubt);
        }
        s.y = s.y.max(name_end) + 0.9;
        let y = top + 3.9;
        let of = format!(" of {}", points(line.weight));
        s.text([right - 1.5, y], 3.1, false, INK, "end", &of);
        let end = right - 1.5 - text_width(&of, false) * 3.1 - 0.6;
        match line.points {
            Some(p) => {
                s.text([end, y], 3.1, true, INK, "end", &points(p));
                let (wide, y) = (20.0, top + 1.9);
                let _ = write!(
                    s.svg,
                    "<rect x=\"{bar_x:.2}\" y=\"{y:.2}\" width=\"{wide}\" height=\"2\" rx=\"1\" fill=\"#e3e7eb\"/>\
                     <rect x=\"{bar_x:.2}\" y=\"{y:.2}\" width=\"{:.2}\" height=\"2\" rx=\"1\" fill=\"{BLUE}\"/>",
                    wide * p / line.weight
                );
            }
            None => {
                let _ = write!(
                    s.svg,
                    "<rect x=\"{:.2}\" y=\"{:.2}\" width=\"8\" height=\"4\" rx=\"0.6\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"0.3\"/>",
                    end - 8.0,
                    top + 0.9
                );
            }
        }
    }
    s.rule("#d5dae0", 0.2);
}

fn habits(sheet: &Feedback, s: &mut Sheet) {
    if sheet.items.is_empty() {
        return;
    }
    s.y += 3.0;
    s.paragraph(
        s.left,
        s.right - s.left,
        4.0,
        true,
        INK,
        sheet.habits_heading(),
    );
    let keep = [Feedback::KEEP.to_owned()];
    let told: &[String] = if sheet.habits.is_empty() {
        &keep
    } else {
        &sheet.habits
    };
    for (i, habit) in told.iter().enumerate() {
        s.y += 1.2;
        let top = s.y;
        let x = if told.len() > 1 {
            s.left + 10.0
        } else {
            s.left + 4.0
        };
        s.y += 0.8;
        s.paragraph(x, s.right - x - 2.0, 3.2, false, INK, habit);
        s.y += 1.4;
        if told.len() > 1 {
            s.text(
                [s.left + 4.0, top + 5.0],
                4.6,
                true,
                BLUE,
                "start",
                &(i + 1).to_string(),
            );
        }
        let _ = write!(
            s.svg,
            "<rect x=\"{:.2}\" y=\"{top:.2}\" width=\"{:.2}\" height=\"{:.2}\" rx=\"1\" fill=\"none\" stroke=\"#d5dae0\" stroke-width=\"0.25\"/>\
             <rect x=\"{:.2}\" y=\"{top:.2}\" width=\"1.3\" height=\"{:.2}\" fill=\"{BLUE}\"/>",
            s.left,
            s.right - s.left,
            s.y - top,
            s.left,
            s.y - top
        );
    }
}

fn notes(sheet: &Feedback, s: &mut Sheet) {
    let width = s.right - s.left;
    if !sheet.notes.is_empty() {
        s.paragraph(s.left, width, 2.7, false, SOFT, &sheet.notes.join(" "));
        s.y += 1.0;
    }
    s.rule("#d5dae0", 0.2);
    s.y += 0.8;
    s.paragraph(s.left, width, 2.7, false, SOFT, CAUTION);
}
