//! The page's enlarged places, and what a person decided of them.

use std::fmt::Write;

use super::crops::Crop;
use super::page::icon;
use super::words::{self, escape};
use super::{Report, answers, decide_form};

// Writing to a string cannot fail: the results of `write!` are dropped throughout.

pub(super) fn look(crops: &[Crop], left_out: usize, h: &mut String) {
    if crops.is_empty() {
        return;
    }
    h.push_str(
        "<section><h2>Look closely</h2><p class=\"soft\">Blue: the planned centre and the tolerance \
         round it. Dashed: where the mark's centre lies, with its uncertainty.</p>\
         <div class=\"crops\">",
    );
    for c in crops {
        h.push_str("<figure class=\"crop\">");
        if let Some(as_is) = &c.as_is {
            // Both: the photo's own light and the sheet's own shape.
            let _ = write!(
                h,
                "<div class=\"two\"><div><img src=\"{as_is}\" width=\"400\" height=\"400\" \
                 alt=\"Enlarged, as the photo has it: {title}\"><span>as taken</span></div>",
                title = escape(&c.title)
            );
        }
        let _ = write!(
            h,
            "<div><img src=\"{}\" width=\"400\" height=\"400\" \
             alt=\"Enlarged from the photo: {title}\"><svg viewBox=\"0 0 400 400\" \
             aria-hidden=\"true\">{}</svg>{}</div>",
            c.picture,
            c.over,
            if c.as_is.is_some() {
                "<span>flattened</span>"
            } else {
                ""
            },
            title = escape(&c.title)
        );
        if c.as_is.is_some() {
            h.push_str("</div>");
        }
        let _ = write!(
            h,
            "<figcaption><b>{}{}</b>{}",
            icon(c.sign),
            escape(&c.title),
            escape(&c.why)
        );
        if let Some(name) = &c.name {
            decide_form::choice(name, h);
        }
        h.push_str("</figcaption></figure>");
    }
    h.push_str("</div>");
    if left_out > 0 {
        let n = words::count(left_out, "more place is", "more places are");
        let _ = write!(h, "<p>{n} in the tables only.</p>");
    }
    h.push_str("</section>");
}

/// What a person decided, once more with its places.
pub(super) fn decided(r: &Report, h: &mut String) {
    if r.person.decided.is_empty() {
        return;
    }
    h.push_str(
        "<section><h2>Decided by a person</h2><p class=\"soft\">The program could not name this ink; it \
         took the answer given with --decide.</p><ul>",
    );
    for d in &r.person.decided {
        let _ = write!(h, "<li>{}</li>", escape(&answers::decided(r, d)));
    }
    h.push_str("</ul></section>");
}
