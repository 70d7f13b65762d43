//! `punchready completions` and `punchready man`: what shells and manual readers want to know, made from the help.

use std::fs;
use std::path::Path;

use clap::CommandFactory;

use punchready::report::write_atomically;

use super::args::{Args, CompletionsArgs, ManArgs};
use super::exit::{Failure, Status};
use super::out;

/// Prints a script that completes the command line in a shell.
pub(crate) fn completions(args: &CompletionsArgs) -> Result<Status, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), NAME, &mut script);
    out::print(&String::from_utf8_lossy(&script))?;
    Ok(Status::Done)
}

/// Prints the man page, or writes one for each command into a folder.
pub(crate) fn man(args: &ManArgs) -> Result<Status, Failure> {
    let mut command = Args::command();
    command.build();
    let Some(folder) = &args.out else {
        out::print(&String::from_utf8_lossy(&page(command, NAME)?))?;
        return Ok(Status::Done);
    };
    fs::create_dir_all(folder).map_err(|e| cannot(folder, &e))?;
    let mut wrote = 0;
    for (name, command) in pages(command, NAME) {
        let path = folder.join(format!("{name}.1"));
        write_atomically(&path, &page(command, &name)?).map_err(|e| Failure::advised(&e))?;
        wrote += 1;
    }
    out::tell(&format!(
        "wrote {wrote} man pages into {}",
        out::name(folder)
    ));
    Ok(Status::Done)
}

const NAME: &str = "punchready";

/// A command and all below it, by their names as files: `punchready-plan-check`.
fn pages(command: clap::Command, name: &str) -> Vec<(String, clap::Command)> {
    let below: Vec<_> = command
        .get_subcommands()
        .filter(|c| c.get_name() != "help")
        .flat_map(|c| pages(c.clone(), &format!("{name}-{}", c.get_name())))
        .collect();
    std::iter::once((name.to_owned(), command))
        .chain(below)
        .collect()
}

fn page(command: clap::Command, name: &str) -> Result<Vec<u8>, Failure> {
    let mut text = Vec::new();
    // The name is kept as long as the program runs, as all names of commands are; there are some fifteen.
    let name: &'static str = name.to_owned().leak();
    clap_mangen::Man::new(command.name(name))
        .render(&mut text)
        .map_err(|e| Failure::told(&e))?;
    Ok(text)
}

fn cannot(folder: &Path, error: &std::io::Error) -> Failure {
    Failure::new(
        format!("--out {}: {error}", folder.display()),
        "name a folder where you may write",
    )
}
