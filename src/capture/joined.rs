//! Several captures as one, in time order, in one pass.
//!
//! Files are opened when their time comes and closed at their end, so a ring of a thousand files holds one
//! open. Memory: one [`Reader`](super::Reader) per file open at once, that is per file overlapping in time.
//!
//! While one file is open alone and can be read from anywhere, it can be lent, to be read in parts up to the time at which
//! the next one begins.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use crate::units::CaptureTime;
use crate::units::Nanos;

use super::chunks::Chunks;
use super::chunks::Layout;
use super::chunks::Open;
use super::error::Error;
use super::frame_check;
use super::input::Input;
use super::input::Opened;
use super::order::size;
use super::record::CaptureSummary;
use super::record::Compression;
use super::record::FileFormat;
use super::record::Record;

/// A hole between files that is longer than this is told.
///
/// 1 s (chosen): the time between the last frame of one file of a ring and the first of the next is far below
/// it wherever a clock is on the network, as it speaks about once a second or more often.
pub const GAP_THRESHOLD: Nanos = Nanos(1_000_000_000);

/// A hole of more than [`GAP_THRESHOLD`] between files, none of which covers it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// Index of the file that reached furthest before it.
    pub after_file: u32,
    /// Index of the file that begins after it.
    pub before_file: u32,
    /// The latest stamp before it.
    pub from: CaptureTime,
    /// The first stamp after it.
    pub until: CaptureTime,
}

/// What the files held.
#[derive(Debug)]
pub struct JoinedSummary {
    /// The files that could be read, by the index the records came with: by first stamp, then as given.
    pub captures: Vec<CaptureSummary>,
    /// Names of the inputs that could not be read, or not to their end, and why. One that broke off while it
    /// was read is among `captures` too.
    pub unreadable: Vec<(String, Error)>,
    /// Holes between files, in time order.
    pub gaps: Vec<Gap>,
}

/// Gives the records of many captures in time order.
///
/// Within a file its own order is kept: a record stamped earlier than the one before it stays behind it, and
/// one without a stamp follows the one before it.
#[derive(Debug)]
pub struct Joined {
    files: Vec<File>,
    /// The first of `files` that is not opened yet.
    waiting: usize,
    /// Place in time and index of each open file that has a record at hand.
    heads: BinaryHeap<Reverse<(i64, u32)>>,
    /// The file whose record was given last.
    current: Option<u32>,
    latest: Option<(CaptureTime, u32)>,
    unreadable: Vec<(String, Error)>,
    gaps: Vec<Gap>,
}

/// A file that is lent to be read in parts.
pub struct Lent {
    /// Its index.
    pub file: u32,
    /// The file from behind the record that was given last, up to the time at which the next file begins.
    pub chunks: Chunks,
    /// How to get at it once more.
    pub open: Open,
}

impl std::fmt::Debug for Lent {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Lent").field("file", &self.file).finish_non_exhaustive()
    }
}

#[derive(Debug)]
struct File {
    input: Input,
    format: FileFormat,
    compression: Option<Compression>,
    /// Place in time of the record at hand.
    place: i64,
    state: State,
}

#[derive(Debug)]
enum State {
    Waiting,
    Open(Box<Opened>),
    Done(Box<CaptureSummary>),
}

impl Joined {
    /// Learns when each input begins, which opens each once.
    #[must_use]
    pub fn new(inputs: Vec<Input>) -> Self {
        let keep_open = inputs.len() == 1;
        let mut files = Vec::new();
        let mut unreadable = Vec::new();
        for input in inputs {
            let name = input.name.clone();
            match File::probe(input, keep_open) {
                Ok(file) => files.push(file),
                Err(error) => unreadable.push((name, error)),
            }
        }
        // Stable, so equal first stamps stay as given; files without records come last.
        files.sort_by_key(|file| (matches!(file.state, State::Done(_)), file.place));
        let (heads, gaps) = (BinaryHeap::new(), Vec::new());
        Self { files, waiting: 0, heads, current: None, latest: None, unreadable, gaps }
    }

    /// Names of the files that will be read, by index.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.files.iter().map(|file| file.input.name.as_str())
    }

    /// The next record and the index of its file; `None` when all files have ended.
    ///
    /// A file that fails on the way ends there and is listed in [`JoinedSummary::unreadable`].
    pub fn next_record(&mut self) -> Option<(u32, Record<'_>)> {
        let index = self.advance()?;
        match &self.files.get(size(index))?.state {
            State::Open(opened) => opened.reader.record().map(|record| (index, record)),
            State::Waiting | State::Done(_) => None,
        }
    }

    /// Whether [`Self::lend`] would give a file: not where little of it seems to be left before the next file begins.
    #[must_use]
    pub fn lends(&self, octets: usize) -> bool {
        self.to_lend(octets).is_some()
    }

    /// What would be lent: which file, how it is cut, and up to which time.
    fn to_lend(&self, octets: usize) -> Option<(u32, Layout, Option<CaptureTime>)> {
        let index = self.current.filter(|_| self.heads.is_empty())?;
        let file = self.files.get(size(index))?;
        let layout = file.layout(octets)?;
        let next = self.files.get(self.waiting).filter(|file| !matches!(file.state, State::Done(_)));
        let until = next.map(|file| CaptureTime(file.place));
        until.is_none_or(|until| file.seems_to_last(until, octets)).then_some((index, layout, until))
    }

    /// The file whose record was given last, to be read on in parts of so many octets until it ends or the next begins;
    /// where it is open alone, can be read from anywhere, and more than two such parts of it are left. It has to be given
    /// back before anything else is asked for.
    pub fn lend(&mut self, octets: usize) -> Option<Lent> {
        let (index, layout, until) = self.to_lend(octets)?;
        let file = self.files.get_mut(size(index))?;
        let open = file.input.open_again()?;
        match std::mem::replace(&mut file.state, State::Waiting) {
            State::Open(opened) => {
                Some(Lent { file: index, chunks: Chunks::new(*opened, layout, until), open })
            }
            other => {
                file.state = other;
                None
            }
        }
    }

    /// Takes back what was lent, with what went wrong meanwhile.
    pub fn take_back(&mut self, lent: Lent, failure: Option<Error>) {
        let Some(file) = self.files.get_mut(size(lent.file)) else { return };
        let back = lent.chunks.give_back();
        if let Some(error) = failure.or(back.failure) {
            self.unreadable.push((file.input.name.clone(), error));
        }
        file.place = back.newest.map_or(file.place, |time| time.0);
        let has_record = back.opened.reader.record().is_some();
        file.state = State::Open(Box::new(back.opened));
        // Else the next record is asked for as after any other that was given.
        if has_record {
            file.settle();
            self.current = None;
            self.heads.push(Reverse((file.place, lent.file)));
        }
        self.reach(back.latest, lent.file);
    }

    /// What the files held, as far as they were read.
    #[must_use]
    pub fn finish(self) -> JoinedSummary {
        let captures = self.files.into_iter().map(File::summary).collect();
        JoinedSummary { captures, unreadable: self.unreadable, gaps: self.gaps }
    }

    fn advance(&mut self) -> Option<u32> {
        if let Some(index) = self.current.take()
            && let Some(place) = self.move_on(index)
        {
            // Most often the same file goes on: then the heap need not be touched.
            let is_first = self.heads.peek().is_none_or(|Reverse(head)| (place, index) < *head);
            let nothing_due = self.files.get(self.waiting).is_none_or(|file| place < file.place);
            if is_first && nothing_due {
                return Some(self.give(index));
            }
            self.heads.push(Reverse((place, index)));
        }
        while let Some(file) = self.files.get(self.waiting) {
            let due = self.heads.peek().is_none_or(|Reverse((place, _))| file.place <= *place);
            if !due || matches!(file.state, State::Done(_)) {
                break;
            }
            self.open_next();
        }
        let Reverse((_, index)) = self.heads.pop()?;
        Some(self.give(index))
    }

    /// Notes that the record at hand of a file is given.
    fn give(&mut self, index: u32) -> u32 {
        let time = self.files.get(size(index)).and_then(File::time);
        self.reach(time, index);
        self.current = Some(index);
        index
    }

    /// Notes up to which time a file has come.
    fn reach(&mut self, time: Option<CaptureTime>, index: u32) {
        if let Some(time) = time.filter(|time| self.latest.is_none_or(|(latest, _)| *time > latest)) {
            self.latest = Some((time, index));
        }
    }

    /// Takes the next record of an open file and says its place in time, or closes the file.
    fn move_on(&mut self, index: u32) -> Option<i64> {
        let file = self.files.get_mut(size(index))?;
        if let Err(error) = file.move_on() {
            self.unreadable.push((file.input.name.clone(), error));
        }
        matches!(file.state, State::Open(_)).then_some(file.place)
    }

    fn open_next(&mut self) {
        let at = self.waiting;
        self.waiting += 1;
        let (Some(file), Ok(index)) = (self.files.get_mut(at), u32::try_from(at)) else { return };
        if let Err(error) = file.open() {
            self.unreadable.push((file.input.name.clone(), error));
        }
        let State::Open(_) = file.state else { return };
        let first = file.time();
        // With another file still open, that one covers the time between.
        if let (true, Some(until), Some((from, after_file))) = (self.heads.is_empty(), first, self.latest)
            && until.since(from) > GAP_THRESHOLD
        {
            self.gaps.push(Gap { after_file, before_file: index, from, until });
        }
        self.heads.push(Reverse((file.place, index)));
    }
}

impl File {
    /// Opens an input for a look at its first record; closes it if it can be opened again.
    fn probe(mut input: Input, keep_open: bool) -> Result<Self, Error> {
        let opened = input.open()?;
        let reader = &opened.reader;
        let (format, compression) = (reader.format(), reader.compression());
        let record = reader.record();
        let (is_empty, first) = (record.is_none(), record.and_then(|record| record.time));
        let keep_open = keep_open || input.is_once();
        let state = if is_empty {
            State::Done(Box::new(opened.reader.finish(&input.name)))
        } else if keep_open {
            State::Open(Box::new(opened))
        } else {
            State::Waiting
        };
        Ok(Self { input, format, compression, place: first.map_or(i64::MIN, |time| time.0), state })
    }

    /// How what is left of it would be cut, where that is worth while and what its first frames tell is known.
    fn layout(&self, octets: usize) -> Option<Layout> {
        let State::Open(opened) = &self.state else { return None };
        let (length, reader) = (opened.length?, &opened.reader);
        let is_known = reader.packets() >= u64::from(frame_check::SAMPLE);
        let goes_on = is_known && reader.compression().is_none() && !reader.is_done();
        let layout = Layout::new(reader.behind(), octets, length);
        (goes_on && layout.count() > 2).then_some(layout)
    }

    /// Whether more than two parts of so many octets lie before that time, if it goes on as it did so far.
    fn seems_to_last(&self, until: CaptureTime, octets: usize) -> bool {
        let State::Open(opened) = &self.state else { return false };
        let Some(first) = opened.reader.first() else { return false };
        let now = CaptureTime(self.place);
        let (passed, left) = (i128::from(now.since(first).0), i128::from(until.since(now).0));
        let parts = i128::try_from(octets).unwrap_or(i128::MAX).saturating_mul(2);
        // Without any time passed nothing is known, and it is tried.
        left > 0 && i128::from(opened.reader.behind()).saturating_mul(left) >= parts.saturating_mul(passed)
    }

    /// Stamp of the record at hand.
    fn time(&self) -> Option<CaptureTime> {
        match &self.state {
            State::Open(opened) => opened.reader.time_at_hand()?,
            State::Waiting | State::Done(_) => None,
        }
    }

    fn open(&mut self) -> Result<(), Error> {
        if let State::Waiting = self.state {
            match self.input.open() {
                Ok(opened) => self.state = State::Open(Box::new(opened)),
                Err(error) => {
                    self.state = State::Done(Box::new(self.nothing()));
                    return Err(error);
                }
            }
            self.settle();
        }
        Ok(())
    }

    fn move_on(&mut self) -> Result<(), Error> {
        let State::Open(opened) = &mut self.state else { return Ok(()) };
        let result = opened.reader.advance();
        self.settle();
        result
    }

    /// Learns the place of the record at hand, or ends the file where there is none.
    fn settle(&mut self) {
        let State::Open(opened) = &self.state else { return };
        match opened.reader.time_at_hand() {
            Some(time) => self.place = time.map_or(self.place, |time| time.0),
            None => {
                if let State::Open(opened) = std::mem::replace(&mut self.state, State::Waiting) {
                    self.state = State::Done(Box::new(opened.reader.finish(&self.input.name)));
                }
            }
        }
    }

    fn summary(self) -> CaptureSummary {
        match self.state {
            State::Waiting => self.nothing(),
            State::Open(opened) => opened.reader.finish(&self.input.name),
            State::Done(summary) => *summary,
        }
    }

    /// The summary of a file none of which was read in the end.
    fn nothing(&self) -> CaptureSummary {
        CaptureSummary {
            file: self.input.name.clone(),
            format: self.format,
            compression: self.compression,
            packets: 0,
            octets: 0,
            first: None,
            last: None,
            resolution: None,
            snapped: 0,
            snapped_to: None,
            time_backsteps: 0,
            undeclared_checks: 0,
            drops_reported: None,
            link_speed: None,
            link_speeds: Vec::new(),
            link_types: Vec::new(),
            damage: Vec::new(),
        }
    }
}
