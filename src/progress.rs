//! A progress bar on the terminal, and nothing elsewhere.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// How far a run has come.
pub struct Progress(ProgressBar);

impl Progress {
    /// A bar for `n` trials on standard error; hidden where that is no terminal.
    pub fn new(n: u64) -> Self {
        let bar = ProgressBar::with_draw_target(Some(n), ProgressDrawTarget::stderr_with_hz(8));
        if let Ok(style) =
            ProgressStyle::with_template("{bar:40} {percent:>3} % of {len} trials, {eta} to go")
        {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// `n` more trials are done.
    pub fn advance(&self, n: u64) {
        self.0.inc(n);
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.0.finish_and_clear();
    }
}
