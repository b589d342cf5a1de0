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

    /// A bar for a share of the work, from 0 to 1.
    pub fn share() -> Self {
        let bar = ProgressBar::with_draw_target(Some(1000), ProgressDrawTarget::stderr_with_hz(8));
        if let Ok(style) = ProgressStyle::with_template("{bar:40} {percent:>3} %") {
            bar.set_style(style);
        }
        Self(bar)
    }

    /// This share of the work is done.
    pub fn reach(&self, share: f64) {
        self.0.set_position((1000.0 * share) as u64);
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
