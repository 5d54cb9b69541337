//! How many threads read.

use std::num::NonZeroUsize;
use std::thread;

use clap::Args;
use downbeat::analysis::Threads;

/// Threads where their number is not given: more are waiting for one another, and each takes some 4 MiB (chosen).
const MOST_THREADS: usize = 8;

/// How many threads take part.
#[derive(Debug, Clone, Copy, Args)]
pub(crate) struct ThreadsArgument {
    /// Threads to read with; without it, as many as there are processors, at most 8. The report is the same with any
    /// number
    #[arg(long, value_name = "N")]
    threads: Option<NonZeroUsize>,
}

impl ThreadsArgument {
    pub(crate) fn get(self) -> Threads {
        let processors = || thread::available_parallelism().map_or(1, NonZeroUsize::get).min(MOST_THREADS);
        let count = self.threads.or_else(|| NonZeroUsize::new(processors()));
        Threads::new(count.unwrap_or(NonZeroUsize::MIN))
    }
}
