//! The page's form to answer what is unsure. Without scripts its text can be copied and filled in by hand.

use std::fmt::Write;

use super::words::escape;
use super::{Report, answers};
use crate::decide::Says;
use crate::verdict::StrayState;

// Writing to a string cannot fail: the results of `write!` are dropped throughout.

/// The three answers to one place, below its picture; the script takes them over into the text.
pub(super) fn choice(name: &str, h: &mut String) {
    let name = escape(name);
    let _ = write!(
        h,
        "<span class=\"choice\" role=\"radiogroup\" aria-label=\"What is {name}?\">"
    );
    for (i, answer) in [Says::Mark(None), Says::NotAMark, Says::Open]
        .into_iter()
        .enumerate()
    {
        let word = answer.word();
        let shown = if answer == Says::Open {
            "not sure"
        } else {
            word
        };
        let _ = write!(
            h,
            "<label><input type=\"radio\" name=\"answer-{name}\" data-place=\"{name}\" \
             value=\"{word}\"{}>{shown}</label>",
            if i == 2 { " checked" } else { "" }
        );
    }
    h.push_str("</span>");
}

/// The file of answers, and how to use it; nothing where nothing is unsure.
pub(super) fn form(r: &Report, h: &mut String) {
    let unsure = r.verdict.strays.iter();
    if !unsure.clone().any(|s| s.state == StrayState::Unsure) {
        return;
    }
    let text = answers::template(r);
    let rows = (text.lines().count() + 1).clamp(12, 30);
    let _ = write!(
        h,
        "<section id=\"answers\"><h2>Answer what could not be named</h2><p>Look at each of these places on the \
         metal, and say above what it is. Save the answers as answers.toml and check again with \
         <code>--decide answers.toml</code>. The result then says that it rests on them.</p>\
         <textarea id=\"answers-text\" aria-label=\"The file of answers\" spellcheck=\"false\" \
         rows=\"{rows}\">{}</textarea><div class=\"tools\"><button id=\"answers-save\" type=\"button\">Save \
         answers.toml</button></div></section>",
        in_textarea(&text)
    );
}

/// Line by line, for [`escape`] makes a blank of a line's end.
fn in_textarea(text: &str) -> String {
    let lines: Vec<String> = text.lines().map(escape).collect();
    lines.join("\n") + "\n"
}
