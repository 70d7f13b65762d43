//! `punchready plan`.
//!
//! | what | module |
//! | --- | --- |
//! | arguments and their help | [`args`] |
//! | `new`: a plan to start from | [`new`] |
//! | `check`: what a plan says, against published figures | [`check`] |
//! | `coverage`: photos and cards that a plan needs | [`coverage`] |
//! | `stations`: where to mark | [`stations`] |
//! | `sheet`: drawing and template | [`sheet`] |
//! | `import`, `export`: CSV and DXF | [`exchange`] |

pub(crate) mod args;
mod check;
mod coverage;
mod exchange;
mod new;
mod sheet;
mod stations;

use std::path::Path;

use punchready::plan::{self, Plan, PlanError};
use punchready::report::text::wrap;

use super::exit::{Failure, Status};
use super::out;
use args::PlanCommand;

/// Does what a `plan` command asks.
pub(crate) fn run(command: PlanCommand) -> Result<Status, Failure> {
    match command {
        PlanCommand::New(args) => new::run(&args),
        PlanCommand::Check(args) => check::run(&args),
        PlanCommand::Coverage(args) => coverage::run(&args),
        PlanCommand::Stations(args) => stations::run(&args),
        PlanCommand::Sheet(args) => sheet::run(&args),
        PlanCommand::Import(args) => exchange::import(&args),
        PlanCommand::Export(args) => exchange::export(&args),
    }
}

/// Reads a plan; of a file that is not there or is none, says where to get one to start from.
pub(super) fn read(path: &Path) -> Result<Plan, Failure> {
    plan::read(path).map_err(|e| match e {
        PlanError::Unreadable { .. } => Failure::new(
            e.to_string(),
            "check the name and that you may read it; punchready plan new CASE writes a plan to start from",
        ),
        _ => Failure::told(&e),
    })
}

/// Adds `text`, wrapped to the terminal, the first line behind `lead` and the others below it.
fn say(out: &mut String, lead: &str, text: &str) {
    for (i, line) in wrap(text, out::columns() - lead.len()).iter().enumerate() {
        if i == 0 {
            out.push_str(lead);
        } else {
            out.push_str(&" ".repeat(lead.len()));
        }
        out.push_str(line);
        out.push('\n');
    }
}
