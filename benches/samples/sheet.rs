//! A sample sheet: its truth, and its report.

use std::path::Path;

use punchready::check::{Given, Known, check_all};
use punchready::photo::{self, Photo};
use punchready::plan::{self, length};
use punchready::report::json;
use punchready::survey::PrintScale;
use serde_json::Value;

/// What a sheet truly is, see the samples' README.
pub(crate) struct Truth(Value);

/// A mark as it was drawn.
pub(crate) struct TrueMark {
    pub(crate) at: [f64; 2],
    /// No hole asked for it, and it is not crossed out.
    pub(crate) live_stray: bool,
    /// Something lies over it in every photo that has it in the frame.
    pub(crate) hidden: bool,
}

impl Truth {
    pub(crate) fn read(folder: &Path) -> Self {
        let text = std::fs::read_to_string(folder.join("truth.json")).unwrap();
        Self(serde_json::from_str(&text).unwrap())
    }

    /// What is asked of the program: `measure`, `refuse`, or `refuse or name the cause`.
    pub(crate) fn answer(&self) -> &str {
        self.0["answer"].as_str().unwrap()
    }

    /// A person with rule and loupe would say "ready".
    pub(crate) fn is_faultless(&self) -> bool {
        self.0["faultless"].as_bool().unwrap()
    }

    /// The state of a hole as it truly is.
    pub(crate) fn state_of(&self, hole: &str) -> &str {
        let mut holes = list(&self.0["holes"]).iter();
        let hole = holes.find(|h| h["name"] == hole).unwrap();
        hole["state"].as_str().unwrap()
    }

    /// All marks.
    pub(crate) fn marks(&self) -> Vec<TrueMark> {
        let live = list(&self.0["live_strays"]);
        let marks = list(&self.0["marks"]).iter();
        marks
            .map(|m| {
                let seen: Vec<&Value> = m["seen"].as_object().unwrap().values().collect();
                let shows = |s: &&&Value| s["in_frame"] == true && s["hidden_by"].is_null();
                TrueMark {
                    at: point(&m["at"]),
                    live_stray: live.contains(&m["id"]),
                    hidden: seen.iter().find(shows).is_none(),
                }
            })
            .collect()
    }

    /// What a careful user says to the command.
    fn given(&self) -> Given {
        let mut given = Given::default();
        let words: Vec<&str> = list(&self.0["options"])
            .iter()
            .map(|w| w.as_str().unwrap())
            .collect();
        for pair in words.chunks(2) {
            let [option, value] = pair[..] else {
                panic!("{words:?}: an option without its value");
            };
            let mm = |text: &str| length::parse_option(text).unwrap();
            match option {
                "--bars" => {
                    let (across, down) = value.split_once(',').unwrap();
                    given.print_scale = PrintScale::from_bars([mm(across), mm(down)]).ok();
                }
                "--card-below" => given.card_below_mm = Some(mm(value)),
                "--known" => {
                    let (name, length) = value.split_once('=').unwrap();
                    given.known.push((Known::named(name).unwrap(), mm(length)));
                }
                _ => panic!("{option}: this bench does not know it yet"),
            }
        }
        given
    }
}

/// The report on the sheet in `folder`, as its JSON.
pub(crate) fn report(folder: &Path, truth: &Truth) -> Value {
    let photos: Vec<Photo> = list(&truth.0["photos"])
        .iter()
        .map(|name| photo::read(&folder.join(name.as_str().unwrap())).unwrap())
        .collect();
    let plan = plan::read(&folder.join("plan.toml")).unwrap();
    let checked = check_all(&photos.iter().collect::<Vec<_>>(), &plan, &truth.given());
    serde_json::from_str(&json::to_string(&checked.report(&plan))).unwrap()
}

/// The entries of a list; none where there is no list.
pub(crate) fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// A place, mm.
pub(crate) fn point(value: &Value) -> [f64; 2] {
    [0, 1].map(|i| value[i].as_f64().unwrap_or(f64::NAN))
}
