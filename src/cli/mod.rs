//! The command line.
//!
//! | what | module |
//! | --- | --- |
//! | arguments as typed, and their help | [`args`] |
//! | `check`: photo and plan to verdict | [`check`] |
//! | `cards`: scale cards to print | [`cards`] |
//! | `lens`: photos of the lens page to profile | [`lens`] |
//! | `demo`: a scenario to try it on | [`demo`] |
//! | `grade`: a class of practice pieces | [`grade`] |
//! | `page`: the page for the browser, served | [`page`] |
//! | `plan`: start, look at, mark out, draw and exchange plans | [`plan`] |
//! | `completions`, `man`: for shells and readers of manuals | [`shell`] |
//! | how far long work is, on a terminal | [`progress`] |
//! | terminal and output files | [`out`] |
//! | exit status and failures | [`exit`] |

pub(crate) mod args;
mod cards;
mod check;
mod demo;
pub(crate) mod exit;
mod grade;
mod lens;
pub(crate) mod out;
mod page;
mod plan;
mod progress;
mod shell;

use args::{Args, Command};
use exit::{Failure, Status};

/// Does what the command line asks.
pub(crate) fn run(args: Args) -> Result<Status, Failure> {
    bound_threads();
    match args.command {
        Command::Check(args) => check::run(&check::Options::of(args)?),
        Command::Cards(args) => cards::run(&cards::Options::of(args)?),
        Command::Lens(args) => lens::run(&lens::Options::of(args)?),
        Command::Demo(args) => demo::run(&args),
        Command::Grade(args) => grade::run(args),
        Command::Page(args) => page::run(&args),
        Command::Plan(command) => plan::run(command),
        Command::Completions(args) => shell::completions(&args),
        Command::Man(args) => shell::man(&args),
    }
}

/// As many threads as the environment asks for, and no more than there are cores: a hundred thousand would take minutes
/// to start, and more than cores make nothing faster.
fn bound_threads() {
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let asked = std::env::var("RAYON_NUM_THREADS").ok();
    let asked = asked.and_then(|n| n.trim().parse().ok());
    let threads = asked
        .filter(|n| *n > 0)
        .map_or(cores, |n: usize| n.min(cores));
    // It fails only where there is a pool already, which then does.
    let _ = rayon::ThreadPoolBuilder::new()
        .num_threads(threads)
        .build_global();
}
