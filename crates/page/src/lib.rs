//! The measuring library for a page in the browser: requests in, answers out, nothing measured or decided here.
//!
//! | what | module |
//! | --- | --- |
//! | how the browser calls | `abi`, for WebAssembly only |
//! | plans: starters, checked, drawn, made from other files, foreseen | `plan` |
//! | cards to print | `cards` |
//! | photos: a first look, the whole check, its page | `photo` |
//!
//! A request is JSON with the word `ask`, and the bytes of files; the answer is JSON, and the bytes of files. What
//! goes wrong is `{"error", "hint"}`.

#[cfg(target_arch = "wasm32")]
mod abi;
mod cards;
mod photo;
mod plan;

use serde::Deserialize;
use serde_json::{Value, json};

/// What one page works on: the last check, for its report.
#[derive(Default)]
pub struct Desk {
    last: Option<photo::Last>,
}

/// What may be asked.
#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
enum Ask {
    About,
    Starters,
    Plan(plan::Text),
    Import(plan::Import),
    Coverage(plan::Text),
    Drawing(plan::Drawing),
    Export(plan::Export),
    Cards(cards::Cards),
    Look(photo::Look),
    Check(photo::Check),
    Report,
}

/// What went wrong, and what to do about it.
#[derive(Debug, PartialEq)]
struct Refusal {
    error: String,
    hint: Option<String>,
}

impl Refusal {
    fn new(error: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            error: error.into(),
            hint: Some(hint.into()),
        }
    }

    /// An error of a stage reads "what was found; what was expected; what to do".
    fn told(error: &impl std::fmt::Display) -> Self {
        let text = error.to_string();
        match text.match_indices("; ").nth(1) {
            Some((at, gap)) => Self::new(&text[..at], &text[at + gap.len()..]),
            None => Self {
                error: text,
                hint: None,
            },
        }
    }
}

/// JSON and files.
type Answered = (Value, Vec<Vec<u8>>);
type Answer = Result<Answered, Refusal>;

impl Desk {
    /// Answers one request: its first part is the JSON, the others are files; so is the answer. `stage` hears the name of
    /// each stage of a check when it is done.
    pub fn answer(
        &mut self,
        mut parts: Vec<Vec<u8>>,
        stage: &mut dyn FnMut(&'static str),
    ) -> Vec<Vec<u8>> {
        let answer = if parts.is_empty() {
            Err(Refusal::new("an empty request", "reload the page"))
        } else {
            let files = parts.split_off(1);
            serde_json::from_slice(&parts[0])
                .map_err(|e| Refusal::told(&e))
                .and_then(|ask| self.of(ask, files, stage))
        };
        let (json, files) =
            answer.unwrap_or_else(|r| (json!({"error": r.error, "hint": r.hint}), Vec::new()));
        let mut all = vec![json.to_string().into_bytes()];
        all.extend(files);
        all
    }

    fn of(&mut self, ask: Ask, files: Vec<Vec<u8>>, stage: &mut dyn FnMut(&'static str)) -> Answer {
        match ask {
            Ask::About => Ok((
                json!({"version": env!("CARGO_PKG_VERSION"), "caution": punchready::report::CAUTION}),
                Vec::new(),
            )),
            Ask::Starters => Ok((plan::starters(), Vec::new())),
            Ask::Plan(text) => Ok((text.check(), Vec::new())),
            Ask::Import(import) => import.run(files),
            Ask::Coverage(text) => text.coverage(),
            Ask::Drawing(drawing) => drawing.run(),
            Ask::Export(export) => export.run(),
            Ask::Cards(cards) => cards.run(),
            Ask::Look(look) => look.run(files, stage),
            Ask::Check(check) => {
                // The last one's photos go before the new ones are decoded.
                self.last = None;
                let (answer, last) = check.run(files, stage)?;
                self.last = Some(last);
                Ok(answer)
            }
            Ask::Report => self
                .last
                .as_ref()
                .ok_or_else(|| {
                    Refusal::new("there is no check to report on", "check a photo first")
                })?
                .report(),
        }
    }
}
