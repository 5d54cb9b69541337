//! A plain file in parts, read by several threads.
//!
//! Every thread takes the next part of the file, walks it and looks at its frames. The thread that was asked takes in the
//! parts in the file's order: whether each begins where the one before it ended, and its control messages. The flows of a part
//! that was taken are taken in by whoever is free, one part after the other. So everything that goes by order is done in order,
//! and nothing has to be put together that was cut.

use std::collections::BTreeMap;
use std::collections::VecDeque;
use std::sync::Condvar;
use std::sync::Mutex;
use std::sync::MutexGuard;
use std::sync::PoisonError;
use std::thread;

use super::digest::Digest;
use super::digest::Span;
use super::media::Media;
use super::reading::Reading;
use crate::capture::ChunkWalker;
use crate::capture::Chunks;
use crate::capture::Error;
use crate::capture::Layout;
use crate::capture::Lent;
use crate::capture::Octets;
use crate::capture::Told;
use crate::capture::Walked;

/// Parts whose flows may wait to be taken in, before the thread that was asked does so itself (chosen).
const MOST_WAITING: usize = 1;

/// A part on its way. To be used again for another one.
#[derive(Default)]
struct Part {
    octets: Octets,
    digest: Digest,
    walked: Option<Walked>,
}

/// Parts of a file that was read, to be used again for the next one: of a ring there are many.
#[derive(Default)]
pub(super) struct Room(Vec<Box<Part>>);

/// What the threads share.
struct Shared {
    next: u64,
    count: u64,
    /// Parts from here on are not begun yet, so that only a few are in memory. It moves on with every part that is done with.
    limit: u64,
    /// How many more may be in memory as all goes well.
    more: u64,
    ready: BTreeMap<u64, Box<Part>>,
    /// Parts that were taken but for their flows, in order.
    waiting: VecDeque<Box<Part>>,
    /// What their flows are taken into, while nobody is at it.
    media: Option<Box<Media>>,
    /// Parts to be used again.
    free: Vec<Box<Part>>,
    told: Told,
    /// Whether nothing more is wanted.
    is_over: bool,
}

/// Something to do beside taking in the control messages.
enum Work {
    /// Flows of the part that is next.
    Flows(Box<Media>, Box<Part>),
    /// A part that is to be walked.
    Walk { index: u64, told: Told, part: Box<Part> },
}

impl Shared {
    /// What is to be done, if there is anything and room for it.
    fn work(&mut self) -> Option<Work> {
        if self.is_over {
            return None;
        }
        if let Some(work) = self.flows() {
            return Some(work);
        }
        if self.next >= self.limit.min(self.count) {
            return None;
        }
        let index = self.next;
        self.next += 1;
        Some(Work::Walk { index, told: self.told.clone(), part: self.free.pop().unwrap_or_default() })
    }

    /// The flows that are next, unless somebody is at those before.
    fn flows(&mut self) -> Option<Work> {
        if self.waiting.is_empty() {
            return None;
        }
        let media = self.media.take()?;
        self.waiting.pop_front().map(|part| Work::Flows(media, part))
    }
}

struct Crew {
    shared: Mutex<Shared>,
    changed: Condvar,
    layout: Layout,
    file: u32,
    span: Span,
}

impl Crew {
    fn lock(&self) -> MutexGuard<'_, Shared> {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn wait<'a>(&self, shared: MutexGuard<'a, Shared>) -> MutexGuard<'a, Shared> {
        self.changed.wait(shared).unwrap_or_else(PoisonError::into_inner)
    }

    fn perform(&self, work: Work, walker: &mut ChunkWalker) {
        match work {
            Work::Flows(mut media, mut part) => {
                let Part { octets, digest, .. } = &mut *part;
                digest.give_media(|range| octets.get(range), &mut media);
                let mut shared = self.lock();
                shared.media = Some(media);
                shared.free.push(part);
                shared.limit = shared.limit.saturating_add(1);
            }
            Work::Walk { index, told, mut part } => {
                let Part { octets, digest, walked } = &mut *part;
                let range = self.layout.range(index);
                *walked = walker.walk(range, &told, octets, digest.of(self.file, self.span));
                digest.close();
                self.lock().ready.insert(index, part);
            }
        }
        self.changed.notify_all();
    }

    /// Does what was found to do, else waits until there may be more.
    fn go_on<'a>(
        &'a self,
        shared: MutexGuard<'a, Shared>,
        work: Option<Work>,
        walker: &mut ChunkWalker,
    ) -> MutexGuard<'a, Shared> {
        match work {
            Some(work) => {
                drop(shared);
                self.perform(work, walker);
                self.lock()
            }
            None => self.wait(shared),
        }
    }

    /// Does what there is to do until nothing more is wanted.
    fn work(&self, mut walker: ChunkWalker) {
        let over = Over(self);
        let mut shared = self.lock();
        while !shared.is_over {
            let work = shared.work();
            shared = self.go_on(shared, work, &mut walker);
        }
        drop(shared);
        // All is as it should be, so the others go on.
        std::mem::forget(over);
    }

    /// The part of that index; does other things for as long as it is not there. `None` where it will not come.
    fn part(&self, index: u64, walker: &mut ChunkWalker) -> Option<Box<Part>> {
        let mut shared = self.lock();
        loop {
            if let Some(part) = shared.ready.remove(&index) {
                return Some(part);
            }
            if shared.is_over {
                return None;
            }
            let work = shared.work();
            shared = self.go_on(shared, work, walker);
        }
    }

    /// Lets the flows of a part be taken in, and one part more be begun where it `fits` and more may be.
    fn taken(&self, part: Box<Part>, fits: bool, walker: &mut ChunkWalker) {
        let mut shared = self.lock();
        shared.waiting.push_back(part);
        if fits && let Some(more) = shared.more.checked_sub(1) {
            shared.more = more;
            shared.limit = shared.limit.saturating_add(1);
        }
        let work = if shared.waiting.len() > MOST_WAITING { shared.flows() } else { None };
        drop(shared);
        self.changed.notify_all();
        if let Some(work) = work {
            self.perform(work, walker);
        }
    }

    /// All flows of parts that were taken, once they are taken in. Nothing where a thread has ended over them, which ends all.
    fn media(&self, walker: &mut ChunkWalker) -> Box<Media> {
        let mut shared = self.lock();
        loop {
            let work = shared.flows();
            if work.is_none() {
                if let Some(media) = shared.media.take() {
                    return media;
                }
                if shared.is_over {
                    return Box::default();
                }
            }
            shared = self.go_on(shared, work, walker);
        }
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
pub(super) fn read(reading: &mut Reading, lent: &mut Lent, threads: usize, room: &mut Room) -> Option<Error> {
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
        failure = together(reading, *file, chunks, index, walkers, room);
    }
    failure.or_else(|| chunks.walk_on(u64::MAX, |record| reading.push(*file, record)).err())
}

/// Takes in the parts from `index` on, walked by as many threads as there are walkers.
fn together(
    reading: &mut Reading,
    file: u32,
    chunks: &mut Chunks,
    index: u64,
    mut walkers: Vec<ChunkWalker>,
    room: &mut Room,
) -> Option<Error> {
    let layout = chunks.layout();
    let tickets = u64::try_from(2 * walkers.len() + 1).unwrap_or(u64::MAX);
    // Where the next file may begin soon, parts are begun for nothing: at first only a few, and one more with each that is taken.
    let first = if chunks.has_bound() { tickets.min(2) } else { tickets };
    let mut own = walkers.pop()?;
    let shared = Shared {
        next: index,
        count: layout.count(),
        limit: index.saturating_add(first),
        more: tickets - first,
        ready: BTreeMap::new(),
        waiting: VecDeque::new(),
        media: Some(reading.lend_media()),
        free: std::mem::take(&mut room.0),
        told: chunks.told(),
        is_over: false,
    };
    let span = reading.span();
    let crew = Crew { shared: Mutex::new(shared), changed: Condvar::new(), layout, file, span };
    let failure = thread::scope(|scope| {
        let _over = Over(&crew);
        for walker in walkers {
            // Where the system has no room for a thread, the others do its work.
            let _ = thread::Builder::new().spawn_scoped(scope, || crew.work(walker));
        }
        let failure = take_in(reading, chunks, &crew, index, &mut own);
        reading.return_media(crew.media(&mut own));
        failure
    });
    let Shared { free, ready, .. } = crew.shared.into_inner().unwrap_or_else(PoisonError::into_inner);
    room.0 = free;
    // What was walked and not wanted.
    room.0.extend(ready.into_values().map(|mut part| {
        part.digest.clear();
        part
    }));
    failure
}

/// Takes in the parts from `index` on, in order.
fn take_in(
    reading: &mut Reading,
    chunks: &mut Chunks,
    crew: &Crew,
    mut index: u64,
    own: &mut ChunkWalker,
) -> Option<Error> {
    let file = crew.file;
    while index < crew.layout.count() && !chunks.is_too_late() {
        let mut part = crew.part(index, own)?;
        let before = chunks.records();
        let fits = part.walked.take().is_some_and(|walked| chunks.take(&walked));
        if fits {
            part.digest.give_control(|frame| (file, frame.saturating_add(before)), reading);
        } else {
            part.digest.clear();
        }
        crew.taken(part, fits, own);
        let end = crew.layout.range(index).end;
        index += 1;
        if chunks.has_reached(end) {
            continue;
        }
        // What comes in order comes after the flows before it. There alone a file tells more of itself.
        reading.return_media(crew.media(own));
        let failure = chunks.walk_on(end, |record| reading.push(file, record)).err();
        let mut shared = crew.lock();
        shared.media = Some(reading.lend_media());
        if chunks.tells_more(&shared.told) {
            shared.told = chunks.told();
        }
        drop(shared);
        if failure.is_some() {
            return failure;
        }
    }
    None
}
