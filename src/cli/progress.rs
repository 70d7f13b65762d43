//! How far long work is: a line on standard error, on a terminal only, and taken away when done.

use std::borrow::Cow;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// So often the line moves though nothing was done, ms: slow enough to cost nothing, fast enough to look alive.
const TICK: Duration = Duration::from_millis(120);

/// A line that tells how far the work is.
pub(crate) struct Progress(ProgressBar);

impl Progress {
    /// `total` things to be done, such as "pieces".
    pub(crate) fn counted(total: usize, things: &str, quiet: bool) -> Self {
        let bar = ProgressBar::with_draw_target(Some(total as u64), target(quiet));
        let form = format!("[{{bar:30}}] {{pos}} of {{len}} {things}{{msg}}");
        // A form that cannot be read would be a slip in the line above: the plain bar then stands in.
        if let Ok(style) = ProgressStyle::with_template(&form) {
            bar.set_style(style.progress_chars("##."));
        }
        bar.enable_steady_tick(TICK);
        Self(bar)
    }

    /// Work of which nobody knows how long it takes; `what` is being done.
    pub(crate) fn of(what: impl Into<Cow<'static, str>>, quiet: bool) -> Self {
        let bar = ProgressBar::with_draw_target(None, target(quiet));
        if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
            bar.set_style(style);
        }
        bar.set_message(what);
        bar.enable_steady_tick(TICK);
        Self(bar)
    }

    /// What is being done now.
    pub(crate) fn say(&self, what: impl Into<Cow<'static, str>>) {
        self.0.set_message(what);
    }

    /// So many are done. Reports of two workers may arrive in the wrong order: the most counts.
    pub(crate) fn tell(&self, done: usize) {
        let most = self.0.position().max(done as u64);
        self.0.set_position(most);
        let left = match self.0.length() {
            Some(total) if most >= total => ", writing the sheets".to_owned(),
            _ => left(self.0.eta()),
        };
        self.0.set_message(left);
    }
}

impl Drop for Progress {
    /// Whatever comes next has a clean line.
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}

/// Standard error, which shows nothing where it is no terminal.
fn target(quiet: bool) -> ProgressDrawTarget {
    if quiet {
        ProgressDrawTarget::hidden()
    } else {
        ProgressDrawTarget::stderr()
    }
}

/// ", about 30 s left".
fn left(time: Duration) -> String {
    let seconds = time.as_secs_f64();
    if seconds < 90.0 {
        format!(", about {:.0} s left", seconds.ceil())
    } else {
        format!(", about {:.0} min left", (seconds / 60.0).ceil())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_is_told_in_words() {
        assert_eq!(left(Duration::from_secs(30)), ", about 30 s left");
        assert_eq!(left(Duration::from_millis(100)), ", about 1 s left");
        assert_eq!(left(Duration::from_secs(600)), ", about 10 min left");
    }

    #[test]
    fn the_most_counts_and_the_end_is_told() {
        let bar = Progress::counted(3, "pieces", true);
        bar.tell(2);
        bar.tell(1);
        assert_eq!(bar.0.position(), 2);
        bar.tell(3);
        assert_eq!(bar.0.message(), ", writing the sheets");
    }
}
