//! How far the class is, on a terminal.

use std::io::{self, IsTerminal, Write};
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// Columns of the bar.
const COLUMNS: usize = 30;

/// A bar on standard error: drawn on a terminal only, and taken away when done.
pub(super) struct Progress {
    total: usize,
    start: Instant,
    /// Most pieces told so far: reports of two workers may arrive in the wrong order.
    most: Option<Mutex<usize>>,
}

impl Progress {
    pub(super) fn new(total: usize, quiet: bool) -> Self {
        let shown = !quiet && io::stderr().is_terminal();
        let bar = Self {
            total,
            start: Instant::now(),
            most: shown.then(|| Mutex::new(0)),
        };
        if shown {
            draw(&line(0, total, Duration::ZERO));
        }
        bar
    }

    pub(super) fn tell(&self, done: usize) {
        let Some(most) = &self.most else { return };
        let mut most = most
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        if done > *most {
            *most = done;
            draw(&line(done, self.total, self.start.elapsed()));
        }
    }

    pub(super) fn finish(self) {
        if self.most.is_some() {
            draw("");
        }
    }
}

fn draw(line: &str) {
    // Back to the first column, and what is left of an older line wiped out. A terminal that is gone needs no bar.
    let mut out = io::stderr().lock();
    let _ = write!(out, "\r\u{1b}[K{line}");
    let _ = out.flush();
}

/// "[#####.....] 12 of 24 pieces, about 1 min left".
fn line(done: usize, total: usize, took: Duration) -> String {
    let full = COLUMNS * done / total.max(1);
    let left = match done {
        0 => String::new(),
        n if n >= total => ", writing the sheets".to_owned(),
        n => {
            let seconds = took.as_secs_f64() / n as f64 * (total - n) as f64;
            if seconds < 90.0 {
                format!(", about {:.0} s left", seconds.ceil())
            } else {
                format!(", about {:.0} min left", (seconds / 60.0).ceil())
            }
        }
    };
    format!(
        "[{}{}] {done} of {total} pieces{left}",
        "#".repeat(full),
        ".".repeat(COLUMNS - full)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_fits_and_tells() {
        let half = line(12, 24, Duration::from_secs(30));
        assert_eq!(
            half,
            format!(
                "[{}{}] 12 of 24 pieces, about 30 s left",
                "#".repeat(15),
                ".".repeat(15)
            )
        );
        assert!(line(1, 2000, Duration::from_secs(3600)).len() < 80);
        assert!(line(0, 0, Duration::ZERO).contains("0 of 0"));
    }
}
