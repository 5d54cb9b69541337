//! Captures to a reading, on one thread or several. How many, and how the file is cut for them, shows nowhere in it.
//!
//! A plain file, while no other is to be read beside it: every thread takes the next part of the file, walks it and looks at
//! its frames; the thread that was asked takes the parts in, in order, and walks parts itself while there is nothing to take
//! in. Everything that goes by order is done there, so nothing has to be put together that was cut. The files of a ring are
//! read so one after the other. All else (packed files, standard input, files of the same time): one thread reads, unpacks and
//! joins, the other analyses.

use std::collections::BTreeMap;
use std::num::NonZeroUsize;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::thread;

use super::digest::Digest;
use super::digest::Span;
use super::reading::Reading;
use super::relay;
use crate::capture::ChunkWalker;
use crate::capture::Chunks;
use crate::capture::Error;
use crate::capture::Input;
use crate::capture::Joined;
use crate::capture::JoinedSummary;
use crate::capture::Layout;
use crate::capture::Lent;
use crate::capture::Octets;
use crate::capture::Told;
use crate::capture::Walked;

/// Octets of a part (chosen: with a digest it stays in the processors' caches, and guessing where it begins is cheap).
const PART: usize = 1 << 20;

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
    loop {
        if let Some(mut lent) = joined.lend(part) {
            let failure = in_parts(reading, &mut lent, count.get());
            joined.take_back(lent, failure);
        } else if !relay::read_until_lent(reading, &mut joined, threads) {
            return joined.finish();
        }
    }
}

/// A part on its way. To be used again for another one.
#[derive(Default)]
struct Part {
    octets: Octets,
    digest: Digest,
    walked: Option<Walked>,
}

/// What the threads share.
struct Shared {
    next: u64,
    /// Parts from here on are not begun yet, so that only a few are in memory.
    limit: u64,
    ready: BTreeMap<u64, Part>,
    /// Parts to be used again.
    free: Vec<Part>,
    told: Told,
    /// Whether nothing more is wanted.
    is_over: bool,
}

/// A part that is to be walked.
struct Begun {
    index: u64,
    told: Told,
    part: Part,
}

struct Crew {
    shared: Mutex<Shared>,
    changed: Condvar,
    layout: Layout,
    file: u32,
    span: Span,
    /// Parts in memory at once.
    tickets: u64,
}

impl Crew {
    fn lock(&self) -> MutexGuard<'_, Shared> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait<'a>(&self, shared: MutexGuard<'a, Shared>) -> MutexGuard<'a, Shared> {
        self.changed.wait(shared).unwrap_or_else(PoisonError::into_inner)
    }

    /// Walks a part that was begun.
    fn walk(&self, begun: Begun, walker: &mut ChunkWalker) {
        let Begun { index, told, mut part } = begun;
        let Part { octets, digest, walked } = &mut part;
        let range = self.layout.range(index);
        *walked = walker.walk(range, &told, octets, digest.of(self.file, self.span));
        digest.close();
        self.lock().ready.insert(index, part);
        self.changed.notify_all();
    }

    /// Walks parts for as long as there are any.
    fn work(&self, mut walker: ChunkWalker) {
        let over = Over(self);
        let mut shared = self.lock();
        loop {
            if let Some(begun) = shared.begin() {
                drop(shared);
                self.walk(begun, &mut walker);
                shared = self.lock();
            } else if shared.is_over || shared.next >= self.layout.count() {
                break;
            } else {
                shared = self.wait(shared);
            }
        }
        drop(shared);
        // All is as it should be, so the others go on.
        std::mem::forget(over);
    }

    /// The part of that index, walking others for as long as it is not there. `None` where it will not come.
    fn part(&self, index: u64, walker: &mut ChunkWalker) -> Option<Part> {
        let mut shared = self.lock();
        loop {
            if let Some(part) = shared.ready.remove(&index) {
                return Some(part);
            }
            if shared.is_over {
                return None;
            }
            shared = if let Some(begun) = shared.begin() {
                drop(shared);
                self.walk(begun, walker);
                self.lock()
            } else {
                self.wait(shared)
            };
        }
    }

    /// Gives a part back and lets more be begun; all before `index` are taken in.
    fn done(&self, part: Part, index: u64, told: Option<Told>) {
        let mut shared = self.lock();
        shared.free.push(part);
        shared.limit = index.saturating_add(self.tickets).min(self.layout.count());
        if let Some(told) = told {
            shared.told = told;
        }
        drop(shared);
        self.changed.notify_all();
    }
}

impl Shared {
    /// Takes the next part to be walked, if there is one and room for it.
    fn begin(&mut self) -> Option<Begun> {
        if self.is_over || self.next >= self.limit {
            return None;
        }
        let index = self.next;
        self.next += 1;
        Some(Begun { index, told: self.told.clone(), part: self.free.pop().unwrap_or_default() })
    }
}

/// Says that nothing more is wanted, however the thread ends.
struct Over<'a>(&'a Crew);

impl Drop for Over<'_> {
    fn drop(&mut self) {
        self.0.lock().is_over = true;
        self.0.changed.notify_all();
    }
}

/// Reads a file that is lent as far as it is.
fn in_parts(reading: &mut Reading, lent: &mut Lent, threads: usize) -> Option<Error> {
    let Lent { file, chunks, open } = lent;
    let layout = chunks.layout();
    let mut failure = None;
    // First what tells when the capture begins, in order.
    let mut index = 0;
    while failure.is_none() && index < layout.count() && !reading.knows_span() {
        failure = chunks.walk_on(layout.range(index).end, |record| reading.push(*file, record)).err();
        index += 1;
    }
    if failure.is_none() && !chunks.is_too_late() {
        let walkers = (0..threads).map_while(|_| open().ok()).map(ChunkWalker::new).collect();
        failure = together(reading, *file, chunks, index, walkers);
    }
    failure.or_else(|| chunks.walk_on(u64::MAX, |record| reading.push(*file, record)).err())
}

/// Takes in the parts from `index` on, walked by as many threads as there are walkers.
fn together(
    reading: &mut Reading,
    file: u32,
    chunks: &mut Chunks,
    mut index: u64,
    mut walkers: Vec<ChunkWalker>,
) -> Option<Error> {
    let layout = chunks.layout();
    let tickets = u64::try_from(2 * walkers.len() + 2).unwrap_or(u64::MAX);
    let mut own = walkers.pop()?;
    let mut told = chunks.told();
    let shared = Shared {
        next: index,
        limit: index.saturating_add(tickets).min(layout.count()),
        ready: BTreeMap::new(),
        free: Vec::new(),
        told: told.clone(),
        is_over: false,
    };
    let span = reading.span();
    let crew = Crew { shared: Mutex::new(shared), changed: Condvar::new(), layout, file, span, tickets };
    thread::scope(|scope| {
        let _over = Over(&crew);
        for walker in walkers {
            scope.spawn(|| crew.work(walker));
        }
        while index < layout.count() && !chunks.is_too_late() {
            let mut part = crew.part(index, &mut own)?;
            let before = chunks.records();
            let Part { octets, digest, walked } = &mut part;
            if walked.take().is_some_and(|walked| chunks.take(&walked)) {
                let number = |frame: u64| (file, frame.saturating_add(before));
                digest.give(number, |range| octets.get(range), reading);
            } else {
                digest.clear();
            }
            let end = layout.range(index).end;
            if let Err(error) = chunks.walk_on(end, |record| reading.push(file, record)) {
                return Some(error);
            }
            index += 1;
            let news = chunks.tells_more(&told).then(|| chunks.told());
            if let Some(news) = &news {
                told = news.clone();
            }
            crew.done(part, index, news);
        }
        None
    })
}
