//! A bar on standard error, only where that is a terminal.

use std::fs::File;
use std::io;
use std::io::IsTerminal;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;
use std::io::stderr;

use downbeat::capture::Seekable;
use indicatif::ProgressBar;
use indicatif::ProgressDrawTarget;
use indicatif::ProgressStyle;

use super::inputs::Source;
use super::stop;

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
        Box::new(Counted { source, bar: self.bar.clone() })
    }

    /// Counts what is read of a file, from wherever it is read.
    pub(crate) fn wrap_file(&self, file: File) -> Box<dyn Seekable> {
        Box::new(Counted { source: file, bar: self.bar.clone() })
    }

    pub(crate) fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

/// A source whose octets are counted, and that ends when reading is to stop.
struct Counted<R> {
    source: R,
    bar: ProgressBar,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        stop::go_on()?;
        let count = self.source.read(into)?;
        self.bar.inc(u64::try_from(count).unwrap_or_default());
        Ok(count)
    }
}

impl<R: Seek> Seek for Counted<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.source.seek(to)
    }
}
