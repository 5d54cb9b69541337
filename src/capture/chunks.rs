//! One plain file in parts that are walked apart, by several threads if need be, and taken in its order.
//!
//! Where a part's first record begins can only be guessed, so a guess is never believed: a part is taken where it begins
//! exactly where the part before it was shown to end, and else it is walked again from there, in order. In parts that are
//! walked apart nothing is damaged either: a part ends before the first thing that is not as it should be, and the walk in
//! order goes on there and tells the damage.

use std::io::Read;
use std::io::Seek;
use std::ops::Range;
use std::sync::Arc;

use crate::units::CaptureTime;

use super::block::Block;
use super::damage::DamageList;
use super::error::Error;
use super::frame_check::FrameChecks;
use super::input::Opened;
use super::input::Tap;
use super::order::position;
use super::reader::Reader;
use super::record::Record;
use super::tally::Tally;
use super::walk::Frame;
use super::walk::Place;
use super::walk::Step;
use super::walk::Verdict;
use super::walk::Walker;

/// Octets read behind a part's end, for its last record or, in a short part, for its first (chosen: ten frames of 60 KB,
/// as receive offload makes them). What needs more is left to the walk in order.
const LOOK: usize = 640 << 10;

/// Something to read from anywhere.
pub trait Seekable: Read + Seek + Send {}

impl<T: Read + Seek + Send> Seekable for T {}

/// How to get at a file once more.
pub type Open = Arc<dyn Fn() -> std::io::Result<Box<dyn Seekable>> + Send + Sync>;

/// A file in parts: the side that takes them in order.
#[derive(Debug)]
pub struct Chunks {
    opened: Opened,
    layout: Layout,
    /// Records that come later are not given.
    until: Option<CaptureTime>,
    /// The latest of the records that were given.
    latest: Option<CaptureTime>,
    /// Time of the last one that has one.
    newest: Option<CaptureTime>,
    /// Whether the record at hand comes too late to be given.
    is_too_late: bool,
}

/// What [`Chunks`] come to.
#[derive(Debug)]
pub(super) struct Back {
    /// A record at hand was not given.
    pub(super) opened: Opened,
    pub(super) latest: Option<CaptureTime>,
    pub(super) newest: Option<CaptureTime>,
    pub(super) failure: Option<Error>,
}

/// How what is left of a file is cut: at whole multiples of so many octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    from: u64,
    octets: u64,
    length: u64,
}

impl Layout {
    pub(super) fn new(from: u64, octets: usize, length: u64) -> Self {
        Self { from: from.min(length), octets: position(octets.max(1)), length }
    }

    /// How many parts there are.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.length.div_ceil(self.octets).saturating_sub(self.first())
    }

    /// Where a part lies in the file.
    #[must_use]
    pub fn range(&self, index: u64) -> Range<u64> {
        let from = self.first().saturating_add(index).saturating_mul(self.octets);
        from.max(self.from)..from.saturating_add(self.octets).min(self.length)
    }

    /// What the first part would be called if the whole file were cut.
    const fn first(&self) -> u64 {
        // What is cut is of one octet at least.
        match self.from.checked_div(self.octets) {
            Some(first) => first,
            None => 0,
        }
    }
}

/// What a thread needs to walk parts: how to read, and what the file has told of itself so far.
#[derive(Debug, Clone)]
pub struct Told(Arc<Known>);

#[derive(Debug)]
struct Known {
    walker: Walker,
    checks: FrameChecks,
}

/// A part that was walked apart.
#[derive(Debug)]
pub struct Walked {
    start: u64,
    end: u64,
    walker: Walker,
    tally: Tally,
    /// Check sequences found.
    checks: u64,
    tellings: u32,
    learned: u64,
}

/// Walks parts, apart from all others.
pub struct ChunkWalker {
    source: Box<dyn Seekable>,
}

/// The octets of a part. To be used again for another one.
#[derive(Debug, Default)]
pub struct Octets(Block);

impl Octets {
    /// Those that a [`ChunkWalker`] said a record has; nothing where it did not.
    #[must_use]
    pub fn get(&self, range: Range<usize>) -> &[u8] {
        self.0.octets().get(range).unwrap_or_default()
    }
}

impl Chunks {
    /// What is behind the record at hand, of an input whose octets are all as they are in the file.
    pub(super) fn new(mut opened: Opened, layout: Layout, until: Option<CaptureTime>) -> Self {
        opened.reader.pass();
        Self { opened, layout, until, latest: None, newest: None, is_too_late: false }
    }

    const fn reader(&self) -> &Reader<Tap> {
        &self.opened.reader
    }

    /// How the file is cut.
    #[must_use]
    pub const fn layout(&self) -> Layout {
        self.layout
    }

    /// What the file has told of itself so far.
    #[must_use]
    pub fn told(&self) -> Told {
        let (walker, checks) = (self.reader().walker().clone(), self.reader().checks().clone());
        Told(Arc::new(Known { walker, checks }))
    }

    /// Whether `told` is out of date.
    #[must_use]
    pub fn tells_more(&self, told: &Told) -> bool {
        self.reader().walker().tellings() != told.0.walker.tellings()
            || self.reader().checks().learned() != told.0.checks.learned()
    }

    /// Records taken so far, which is the number of the last one.
    #[must_use]
    pub fn records(&self) -> u64 {
        self.reader().packets()
    }

    /// Takes a part, if it goes on where this stands.
    pub fn take(&mut self, part: &Walked) -> bool {
        let goes_on = part.start == self.reader().position()
            && part.tellings == self.reader().walker().tellings()
            && part.learned == self.reader().checks().learned()
            && !self.reader().walker().is_lost()
            && !self.is_too_late
            && self.until.is_none_or(|until| part.tally.last.is_none_or(|last| last <= until));
        if goes_on {
            self.opened.reader.adopt(&part.walker, &part.tally, part.checks, part.end);
            self.latest = self.latest.max(part.tally.last);
            self.newest = part.tally.newest.or(self.newest);
        }
        goes_on
    }

    /// Whether there is a time up to which it is lent, and no further.
    #[must_use]
    pub const fn has_bound(&self) -> bool {
        self.until.is_some()
    }

    /// Whether a record was met that is later than the next file begins, so that nothing more is given.
    #[must_use]
    pub const fn is_too_late(&self) -> bool {
        self.is_too_late
    }

    /// Whether [`Self::walk_on`] would have nothing to do.
    #[must_use]
    pub fn has_reached(&self, limit: u64) -> bool {
        self.reader().position() >= limit || self.is_too_late
    }

    /// Walks on in order, up to the first record that begins at `limit` or behind it, or [`Self::is_too_late`].
    ///
    /// # Errors
    /// [`Error::Io`] where the file cannot be read on.
    pub fn walk_on(&mut self, limit: u64, mut each: impl FnMut(&Record<'_>)) -> Result<(), Error> {
        if self.has_reached(limit) {
            return Ok(());
        }
        while let Some(record) = self.opened.reader.advance_within(limit)? {
            if let (Some(time), Some(until)) = (record.time, self.until)
                && time > until
            {
                self.is_too_late = true;
                break;
            }
            self.latest = self.latest.max(record.time);
            self.newest = record.time.or(self.newest);
            each(&record);
        }
        Ok(())
    }

    /// What is left, ready to be read on in order.
    pub(super) fn give_back(self) -> Back {
        let Self { mut opened, latest, newest, .. } = self;
        let failure = opened.reader.go_on().err();
        Back { opened, latest, newest, failure }
    }
}

impl ChunkWalker {
    /// One that reads from `source`, which must be the file of the [`Chunks`].
    #[must_use]
    pub fn new(source: Box<dyn Seekable>) -> Self {
        Self { source }
    }

    /// Walks the part that lies in `range`, into `octets`, and hands over each record, counted from 1, and where in
    /// `octets` its own are. `None` where no beginning is found, or reading fails: that is left to the walk in order.
    pub fn walk(
        &mut self,
        range: Range<u64>,
        told: &Told,
        octets: &mut Octets,
        taker: &mut impl Taker,
    ) -> Option<Walked> {
        let block = &mut octets.0;
        block.read(&mut self.source, range.clone()).ok()?;
        let mut walker = told.0.walker.for_part();
        let mut checks = told.0.checks.for_part();
        let length = usize::try_from(range.end.saturating_sub(range.start)).ok()?;
        let start = self.begin(block, length, &walker, told)?;
        let mut part = Walked {
            start: range.start.saturating_add(position(start)),
            end: 0,
            walker: walker.clone(),
            tally: Tally::default(),
            checks: 0,
            tellings: walker.tellings(),
            learned: checks.learned(),
        };
        let mut at = start;
        let mut is_sound = true;
        while at < length && is_sound {
            let octets = block.octets();
            // Nearly every frame is taken in here, and nothing but what it needs is done here.
            while at < length
                && let Some(window) = octets.get(at..)
                && let Some(frame) = walker.common(window)
                && checks.has_nothing_to_say(&frame)
                && let Some(own) = window.get(frame.data.clone())
            {
                part.tally.count(&frame);
                taker.take(frame.record(part.tally.packets, own), at + frame.data.start);
                at += frame.taken;
            }
            if at >= length {
                break;
            }
            match uncommon(block, at, &part, &mut walker, &mut checks) {
                Uncommon::Frame(frame) => {
                    let window = block.octets().get(at..).unwrap_or_default();
                    let own = window.get(frame.data.clone()).unwrap_or_default();
                    part.tally.count(&frame);
                    take(taker, frame.record(part.tally.packets, own), at.saturating_add(frame.data.start));
                    at = at.saturating_add(frame.taken);
                }
                Uncommon::Pass(count) => at = at.saturating_add(count),
                Uncommon::Need(count) => block.hold(&mut self.source, at.saturating_add(count)).ok()?,
                Uncommon::Unsound => is_sound = false,
            }
        }
        if !is_sound {
            // What the last step has counted is not to be kept.
            walker = again(block, start..at, told)?;
        }
        part.tally.settle();
        part.checks = checks.found;
        part.end = range.start.saturating_add(position(at));
        part.walker = walker;
        Some(part)
    }

    /// Where the first record of a part seems to begin, in its octets.
    fn begin(&mut self, block: &mut Block, length: usize, walker: &Walker, told: &Told) -> Option<usize> {
        let mut at = 0;
        while at < length {
            match walker.seems_to_begin(block.octets(), at, block.ended(), &told.0.walker) {
                Verdict::Yes => return Some(at),
                Verdict::No => at = at.saturating_add(1),
                Verdict::Open if block.octets().len() >= length.saturating_add(LOOK) => {
                    return None;
                }
                Verdict::Open => {
                    let more = block.octets().len().saturating_add(1);
                    block.hold(&mut self.source, more).ok()?;
                }
            }
        }
        None
    }
}

/// Whoever takes in the records of a part.
pub trait Taker {
    /// Takes in the next record, counted from 1. `at` is where in the part's octets its own are.
    fn take(&mut self, record: Record<'_>, at: usize);
}

impl<F: FnMut(&Record<'_>, usize)> Taker for F {
    #[inline]
    fn take(&mut self, record: Record<'_>, at: usize) {
        self(&record, at);
    }
}

/// The same where it seldom happens, apart, so that it does not swell what happens with nearly every frame.
#[cold]
#[inline(never)]
fn take(taker: &mut impl Taker, record: Record<'_>, at: usize) {
    taker.take(record, at);
}

/// What stands at a place that is not [`Walker::common`].
enum Uncommon {
    Frame(Frame),
    Pass(usize),
    /// So many octets, which are more than are held.
    Need(usize),
    /// Something that is left to the walk in order.
    Unsound,
}

#[cold]
fn uncommon(
    block: &Block,
    at: usize,
    part: &Walked,
    walker: &mut Walker,
    checks: &mut FrameChecks,
) -> Uncommon {
    let mut damage = DamageList::default();
    let window = block.octets().get(at..).unwrap_or_default();
    let place = Place { at: block.at().saturating_add(position(at)), ended: false };
    let step = walker.step(window, place, &mut damage);
    if !damage.is_empty() || walker.is_lost() || walker.tellings() != part.tellings {
        return Uncommon::Unsound;
    }
    match step {
        Step::Frame(mut frame) => {
            let found = checks.found;
            let own = window.get(frame.data.clone()).unwrap_or_default();
            checks.fill_in(&mut frame, own);
            if checks.learned() != part.learned {
                checks.found = found;
                return Uncommon::Unsound;
            }
            Uncommon::Frame(frame)
        }
        Step::Pass(count) => Uncommon::Pass(count),
        Step::Need(count) if !block.ended() && count <= LOOK => Uncommon::Need(count),
        Step::Need(_) => Uncommon::Unsound,
    }
}

impl std::fmt::Debug for ChunkWalker {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ChunkWalker").finish_non_exhaustive()
    }
}

/// A walker that has walked what is sound in a part and nothing else.
fn again(block: &Block, range: Range<usize>, told: &Told) -> Option<Walker> {
    let mut walker = told.0.walker.for_part();
    let mut damage = DamageList::default();
    let mut at = range.start;
    while at < range.end {
        let place = Place { at: block.at().saturating_add(position(at)), ended: false };
        let window = block.octets().get(at..).unwrap_or_default();
        at = match walker.step(window, place, &mut damage) {
            Step::Frame(frame) => at.saturating_add(frame.taken),
            Step::Pass(count) => at.saturating_add(count),
            Step::Need(_) => return None,
        };
    }
    Some(walker)
}
