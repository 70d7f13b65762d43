//! The student's sheet as a page: one file, nothing fetched, no script.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::feedback::{Feedback, Size, Stand, points};
use super::paper;
use crate::report::CAUTION;
use crate::report::words::escape;

/// The head of a page without scripts.
pub(super) fn head(title: &str, css: &str, h: &mut String) {
    // Writing to a string cannot fail: the results of `write!` are dropped throughout.
    let _ = write!(
        h,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; \
         style-src 'unsafe-inline'\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <title>{}</title><style>{css}</style></head><body><main>",
        escape(title)
    );
}

pub(super) fn html(sheet: &Feedback, size: Size) -> String {
    let mut h = String::with_capacity(1 << 19);
    head(
        &format!("{}: {}", sheet.who, sheet.piece),
        include_str!("page.css"),
        &mut h,
    );
    let _ = write!(
        h,
        "<header><div><p class=\"of\">{}</p><h1>{}</h1><p class=\"of\">{}</p></div>",
        escape(&sheet.title),
        escape(&sheet.who),
        escape(&sheet.piece)
    );
    match &sheet.stand {
        Stand::Marked {
            percent,
            passed,
            points: [had, judged, _],
        } => {
            let _ = write!(
                h,
                "<div class=\"stand\"><b>{percent}</b> <span>of 100</span><p>{}{} of {} points judged</p></div></header>",
                passed.map_or(String::new(), |p| format!(
                    "<span class=\"word\">{}</span> &middot; ",
                    stand_word(p)
                )),
                points(*had),
                points(*judged)
            );
        }
        Stand::Open(why) => {
            let _ = write!(
                h,
                "<div class=\"stand\"><p class=\"word\">not graded yet</p></div></header>\
                 <div class=\"fails\"><p>Not graded from the photo: {}.</p></div>",
                escape(why.trim_end_matches('.'))
            );
        }
    }
    if !sheet.fails.is_empty() {
        let _ = write!(
            h,
            "<div class=\"fails\"><p><b>Not passed yet, whatever the points:</b> {}.</p></div>",
            escape(&sheet.fails.join("; "))
        );
    }
    if let Some(jpeg) = &sheet.picture {
        let _ = write!(
            h,
            "<figure><img src=\"data:image/jpeg;base64,{}\" alt=\"Your piece seen straight on, with a sign for each \
             finding; the table below tells the figures.\"></figure>",
            STANDARD.encode(jpeg)
        );
    }
    items(sheet, &mut h);
    habits(sheet, &mut h);
    if !sheet.notes.is_empty() {
        let _ = write!(
            h,
            "<p class=\"notes\">{}</p>",
            escape(&sheet.notes.join(" "))
        );
    }
    let _ = write!(
        h,
        "<footer>{CAUTION}</footer></main><div class=\"paper\" aria-hidden=\"true\">{}</div></body></html>",
        paper::inline(sheet, size)
    );
    h.push('\n');
    h
}

/// A kind word for a result.
pub(super) fn stand_word(passed: bool) -> &'static str {
    if passed { "pass" } else { "not yet" }
}

fn items(sheet: &Feedback, h: &mut String) {
    if sheet.items.is_empty() {
        return;
    }
    h.push_str(
        "<table><caption>Points for each item</caption><thead><tr><th scope=\"col\">What was looked at</th>\
         <th scope=\"col\">What the photo shows</th><th scope=\"col\"></th><th scope=\"col\" class=\"num\">Points</th></tr></thead><tbody>",
    );
    for line in &sheet.items {
        let doubt = line
            .doubt
            .as_ref()
            .map_or(String::new(), |d| format!("<small>{}</small>", escape(d)));
        let (bar, figure) = match line.points {
            Some(p) => (
                format!(
                    "<div class=\"bar\"><i style=\"width:{:.0}%\"></i></div>",
                    100.0 * p / line.weight
                ),
                points(p),
            ),
            None => (String::new(), "<span class=\"box\"></span>".into()),
        };
        let _ = write!(
            h,
            "<tr><th scope=\"row\">{}</th><td>{}{doubt}</td><td>{bar}</td><td class=\"num\">{figure} of {}</td></tr>",
            escape(&line.name),
            escape(&line.figure),
            points(line.weight)
        );
    }
    h.push_str("</tbody></table>");
}

fn habits(sheet: &Feedback, h: &mut String) {
    if sheet.items.is_empty() {
        return;
    }
    let many = if sheet.habits.len() > 1 { " many" } else { "" };
    let _ = write!(
        h,
        "<h2>{}</h2><ol class=\"habits{many}\">",
        sheet.habits_heading()
    );
    if sheet.habits.is_empty() {
        let _ = write!(h, "<li><span>{}</span></li>", Feedback::KEEP);
    }
    for habit in &sheet.habits {
        let _ = write!(h, "<li><span>{}</span></li>", escape(habit));
    }
    h.push_str("</ol>");
}
