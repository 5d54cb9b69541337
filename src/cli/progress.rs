//! A bar on standard error, only where that is a terminal.

use std::io::IsTerminal;
use std::io::Read;
use std::io::stderr;

use indicatif::ProgressBar;
use indicatif::ProgressDrawTarget;
use indicatif::ProgressStyle;

use super::inputs::Source;

/// How far the reading is.
#[derive(Clone)]
pub(crate) struct Progress {
    bar: ProgressBar,
}

impl Progress {
    pub(crate) fn new() -> Self {
        let bar = ProgressBar::no_length();
        if !stderr().is_terminal() {
            bar.set_draw_target(ProgressDrawTarget::hidden());
        }
        if let Ok(style) =
            ProgressStyle::with_template("{bar:30} {bytes} of {total_bytes}, {bytes_per_sec}, {eta} left")
        {
            bar.set_style(style);
        }
        Self { bar }
    }

    /// Adds `octets` to what will be read.
    pub(crate) fn expect(&self, octets: u64) {
        self.bar.inc_length(octets);
    }

    /// Counts what is read from `source`.
    pub(crate) fn wrap(&self, source: impl Read + Send + 'static) -> Source {
        Box::new(self.bar.wrap_read(source))
    }

    pub(crate) fn finish(&self) {
        self.bar.finish_and_clear();
    }
}
