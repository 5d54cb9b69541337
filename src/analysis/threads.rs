//! Captures to a reading, on one thread or several. How many, and how the file is cut for them, shows nowhere in it.
//!
//! A plain file, while no other is to be read beside it, is read in parts by a crew of threads. The files of a ring are read so one
//! after the other. All else (packed files, standard input, files of the same time): one thread reads, unpacks and joins, the
//! other analyses.

use std::num::NonZeroUsize;

use super::crew;
use super::crew::Room;
use super::digest::Digest;
use super::reading::Reading;
use super::relay;
use crate::capture::Input;
use crate::capture::Joined;
use crate::capture::JoinedSummary;

/// Octets of a part (chosen: with a digest it stays in the processors' caches, and guessing where it begins is cheap).
const PART: usize = 1 << 19;

/// How captures are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Threads {
    /// How many threads take part.
    pub count: NonZeroUsize,
    /// Octets of the parts that a plain file is cut into for them.
    pub part: usize,
}

impl Threads {
    /// So many threads.
    #[must_use]
    pub const fn new(count: NonZeroUsize) -> Self {
        Self { count, part: PART }
    }
}

/// Reads all of `inputs` into `reading` and says what the files held.
pub fn read(reading: &mut Reading, inputs: Vec<Input>, threads: Threads) -> JoinedSummary {
    let Threads { count, part } = threads;
    let mut joined = Joined::new(inputs);
    let (mut room, mut digest) = (Room::default(), Digest::default());
    loop {
        if let Some(mut lent) = joined.lend(part) {
            let failure = crew::read(reading, &mut lent, count.get(), &mut room);
            joined.take_back(lent, failure);
        } else if !relay::read_until_lent(reading, &mut joined, threads, &mut digest) {
            return joined.finish();
        }
    }
}
