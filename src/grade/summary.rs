//! The class for its instructor: how scores lie, what went wrong most, what needs a second look.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::habits::Habit;
use super::page;
use super::plots::{self, Strip};
use super::roll::{Entry, quartiles};
use super::rubric::Rubric;
use super::score::Score;
use crate::plan::Plan;
use crate::report::CAUTION;
use crate::report::words::escape;

/// Mistakes listed.
const MOST_MISTAKES: usize = 8;

/// The summary as one self-contained page. `remarks`: what is to be known of the whole class,
/// a sentence each.
#[must_use]
pub fn html(roll: &[Entry], plan: &Plan, rubric: &Rubric, remarks: &[String]) -> String {
    let mut h = String::with_capacity(1 << 16);
    page::head(
        &format!("Class: {}", plan.title),
        include_str!("summary.css"),
        &mut h,
    );
    let percents: Vec<f64> = roll.iter().filter_map(Entry::percent).collect();
    // Writing to a string cannot fail: the results of `write!` are dropped throughout.
    let _ = write!(
        h,
        "<h1>{}</h1><p class=\"soft\">{}. For the instructor: not to be handed out.</p>",
        escape(&plan.title),
        escape(if rubric.title.is_empty() {
            "Class summary"
        } else {
            &rubric.title
        })
    );
    tiles(roll, rubric, &percents, &mut h);
    for remark in remarks {
        let _ = write!(h, "<p class=\"remark\">{}</p>", escape(remark));
    }
    second_look(roll, &mut h);
    if !percents.is_empty() {
        let _ = write!(
            h,
            "<h2>How the scores lie</h2><p class=\"soft\">A dot is a piece; the box holds the middle half, the line is the \
             median.</p>{}",
            plots::strips(&strips(roll, &percents))
        );
        mistakes(roll, &mut h);
        let _ = write!(
            h,
            "<h2>Where on the sheet</h2>{}",
            plots::faults_map(roll, plan)
        );
    }
    pieces(roll, rubric, &mut h);
    let _ = write!(h, "<footer>{CAUTION}</footer></main></body></html>");
    h.push('\n');
    h
}

fn tiles(roll: &[Entry], rubric: &Rubric, percents: &[f64], h: &mut String) {
    h.push_str("<ul class=\"tiles\">");
    let mut tile = |value: String, what: &str| {
        let _ = write!(h, "<li><b>{value}</b>{what}</li>");
    };
    tile(
        percents.len().to_string(),
        if percents.len() == 1 {
            "piece graded"
        } else {
            "pieces graded"
        },
    );
    if let Some([low, median, high]) = quartiles(percents) {
        tile(format!("{median:.0}"), "median score of 100");
        tile(format!("{low:.0} &ndash; {high:.0}"), "the middle half");
    }
    if rubric.result.pass.is_some() {
        let passed = roll
            .iter()
            .filter(|e| e.score.as_ref().and_then(|s| s.passed(rubric)) == Some(true))
            .count();
        tile(passed.to_string(), "passed");
    }
    let again = roll.iter().filter(|e| !e.look.is_empty()).count();
    tile(
        again.to_string(),
        if again == 1 {
            "needs a second look"
        } else {
            "need a second look"
        },
    );
    h.push_str("</ul>");
}

fn strips(roll: &[Entry], percents: &[f64]) -> Vec<Strip> {
    let mut rows = vec![Strip {
        name: "Score".to_owned(),
        values: percents.to_vec(),
    }];
    let scores: Vec<&Score> = roll.iter().filter_map(|e| e.score.as_ref()).collect();
    let Some(first) = scores.first() else {
        return rows;
    };
    // Every piece has the items of the rubric, in its order.
    for (i, item) in first.items.iter().enumerate() {
        if item.key == "instructor" {
            continue;
        }
        let shares = scores.iter().filter_map(|s| s.items.get(i)?.share);
        rows.push(Strip {
            name: item.name.clone(),
            values: shares.map(|s| 100.0 * s).collect(),
        });
    }
    rows
}

fn second_look(roll: &[Entry], h: &mut String) {
    let again: Vec<&Entry> = roll.iter().filter(|e| !e.look.is_empty()).collect();
    h.push_str("<h2>Needs a second look</h2>");
    if again.is_empty() {
        h.push_str("<p>None: every piece was seen well, and no two are alike.</p>");
        return;
    }
    h.push_str(
            "<div class=\"wide\"><table class=\"look\"><caption>Pieces to look at again</caption><thead><tr><th scope=\"col\">Piece</th>\
             <th scope=\"col\">Why</th></tr></thead><tbody>",
        );
    for entry in again {
        let _ = write!(
            h,
            "<tr><th scope=\"row\">{}</th><td><ul class=\"plain\">",
            link(entry)
        );
        for why in &entry.look {
            let _ = write!(h, "<li>{}</li>", escape(why));
        }
        h.push_str("</ul></td></tr>");
    }
    h.push_str("</tbody></table></div>");
}

fn link(entry: &Entry) -> String {
    format!(
        "<a href=\"sheets/{}.html\">{}</a>",
        escape(&entry.file),
        escape(&entry.label)
    )
}

fn mistakes(roll: &[Entry], h: &mut String) {
    let graded = roll.iter().filter(|e| e.score.is_some()).count();
    let mut by: BTreeMap<Habit, (usize, f64, Vec<&str>)> = BTreeMap::new();
    for entry in roll {
        let mut told: Vec<Habit> = Vec::new();
        for slip in &entry.slips {
            let (pieces, cost, rows) = by.entry(slip.habit).or_default();
            *cost += slip.cost;
            if !told.contains(&slip.habit) {
                *pieces += 1;
                told.push(slip.habit);
            }
            if let Some(row) = &slip.row
                && !rows.contains(&row.as_str())
            {
                rows.push(row);
            }
        }
    }
    if by.is_empty() {
        return;
    }
    let mut all: Vec<_> = by.into_iter().collect();
    all.sort_by(|a, b| {
        b.1.0
            .cmp(&a.1.0)
            .then(b.1.1.total_cmp(&a.1.1))
            .then(a.0.cmp(&b.0))
    });
    h.push_str(
        "<h2>What went wrong most</h2><div class=\"wide\"><table><caption>Mistakes by number of pieces</caption><thead><tr>\
         <th scope=\"col\">Mistake</th><th scope=\"col\">Rows</th><th scope=\"col\"></th><th scope=\"col\" class=\"num\">Pieces</th>\
         <th scope=\"col\" class=\"num\">Points lost</th></tr></thead><tbody>",
    );
    for (habit, (pieces, cost, mut rows)) in all.into_iter().take(MOST_MISTAKES) {
        rows.sort_unstable();
        let _ = write!(
            h,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td><div class=\"meter\"><i style=\"width:{:.0}%\"></i></div></td>\
             <td class=\"num\">{pieces} of {graded}</td><td class=\"num\">{cost:.1}</td></tr>",
            habit.name(),
            escape(&rows.join(", ")),
            100.0 * pieces as f64 / graded.max(1) as f64
        );
    }
    h.push_str("</tbody></table></div>");
}

fn pieces(roll: &[Entry], rubric: &Rubric, h: &mut String) {
    h.push_str(
        "<h2>All pieces</h2><div class=\"wide\"><table><caption>All pieces by name</caption><thead><tr><th scope=\"col\">Piece</th>\
         <th scope=\"col\" class=\"num\">Score</th><th scope=\"col\">Result</th><th scope=\"col\" class=\"num\">Points</th>\
         <th scope=\"col\" class=\"num\">As measured</th><th scope=\"col\">Costliest</th></tr></thead><tbody>",
    );
    for entry in roll {
        let (score, result, points) = match &entry.score {
            Some(s) => (
                s.percent().map_or("&ndash;".into(), |p| format!("{p:.0}")),
                match (s.percent(), s.passed(rubric)) {
                    (None, _) => "not graded",
                    (_, passed) => passed.map_or("", page::stand_word),
                },
                format!(
                    "{} of {}",
                    super::feedback::points(s.points),
                    super::feedback::points(s.judged)
                ),
            ),
            None => ("&ndash;".into(), "not graded", String::new()),
        };
        let _ = write!(
            h,
            "<tr><th scope=\"row\">{}</th><td class=\"num\">{score}</td><td>{result}</td><td class=\"num\">{points}</td>\
             <td class=\"num\">{}</td><td>{}</td></tr>",
            link(entry),
            entry.strict.map_or(String::new(), |p| format!("{p:.0}")),
            entry.slips.first().map_or("", |s| s.habit.name())
        );
    }
    h.push_str("</tbody></table></div>");
}
