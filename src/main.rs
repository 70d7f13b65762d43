//! The command line: reads it, does what it asks, says how it ended. No measuring happens here.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    let status = match cli::run(cli::args::read()) {
        Ok(status) => status,
        Err(failure) => {
            cli::out::tell_failure(&failure.to_string());
            cli::exit::Status::Refused
        }
    };
    status.into()
}
