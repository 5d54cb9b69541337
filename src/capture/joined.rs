//! Several captures as one, in time order, in one pass.
//!
//! Files are opened when their time comes and closed at their end, so a ring of a thousand files holds one
//! open. Memory: one [`Reader`] per file open at once, that is per file overlapping in time.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::io;
use std::io::Read;
use std::io::SeekFrom;
use std::sync::Arc;

use crate::units::CaptureTime;
use crate::units::Nanos;

use super::chunks::Chunks;
use super::chunks::Open;
use super::chunks::Seekable;
use super::error::Error;
use super::order::size;
use super::reader::Reader;
use super::record::CaptureSummary;
use super::record::Compression;
use super::record::FileFormat;
use super::record::Record;

/// A hole between files that is longer than this is told.
///
/// 1 s (chosen): the time between the last frame of one file of a ring and the first of the next is far below
/// it wherever a clock is on the network, as it speaks about once a second or more often.
pub const GAP_THRESHOLD: Nanos = Nanos(1_000_000_000);

/// A capture to be joined: a name to call it by, and how to get at its octets.
pub struct Input {
    name: String,
    opener: Opener,
}

enum Opener {
    Reopening(Box<dyn FnMut() -> io::Result<Box<dyn Read + Send>> + Send>),
    Once(Option<Box<dyn Read + Send>>),
    Anywhere(Open),
}

impl Input {
    /// Something that can be opened again from its start, as a file can; `open` is called up to twice.
    pub fn reopening(
        name: impl Into<String>,
        open: impl FnMut() -> io::Result<Box<dyn Read + Send>> + Send + 'static,
    ) -> Self {
        Self { name: name.into(), opener: Opener::Reopening(Box::new(open)) }
    }

    /// Something that can be read once, as standard input can; it stays open from the start.
    pub fn once(name: impl Into<String>, source: impl Read + Send + 'static) -> Self {
        Self { name: name.into(), opener: Opener::Once(Some(Box::new(source))) }
    }

    /// A file that can be read from anywhere, also by several threads at once; `open` is called up to twice and once for
    /// each thread.
    pub fn seekable(
        name: impl Into<String>,
        open: impl Fn() -> io::Result<Box<dyn Seekable>> + Send + Sync + 'static,
    ) -> Self {
        Self { name: name.into(), opener: Opener::Anywhere(Arc::new(open)) }
    }

    /// The capture in parts of so many octets, where it can be read from anywhere and is of more than two; what reads it
    /// on each thread comes with it. Else itself again.
    pub fn into_chunks(self, octets: usize) -> Result<(Chunks, Open), Self> {
        let Opener::Anywhere(open) = &self.opener else { return Err(self) };
        let chunks = open().ok().and_then(|mut source| {
            let length = source.seek(SeekFrom::End(0)).ok()?;
            source.seek(SeekFrom::Start(0)).ok()?;
            let reader = Reader::new(source).ok().filter(|reader| reader.compression().is_none())?;
            let chunks = Chunks::new(self.name.clone(), reader, octets, length);
            (chunks.layout().count() > 2).then_some((chunks, Arc::clone(open)))
        });
        chunks.ok_or(self)
    }

    /// Opens it and goes to its first record.
    fn open(&mut self) -> Result<Reader<Box<dyn Read + Send>>, Error> {
        let source = match &mut self.opener {
            Opener::Reopening(open) => open(),
            Opener::Anywhere(open) => open().map(|source| -> Box<dyn Read + Send> { Box::new(source) }),
            Opener::Once(source) => source.take().ok_or_else(|| io::Error::other("it was read already")),
        };
        let mut reader = Reader::new(source.map_err(|source| Error::Io { offset: 0, source })?)?;
        reader.advance()?;
        Ok(reader)
    }
}

impl std::fmt::Debug for Input {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Input").field("name", &self.name).finish_non_exhaustive()
    }
}

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
    Open(Box<Reader<Box<dyn Read + Send>>>),
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
            State::Open(reader) => reader.record().map(|record| (index, record)),
            State::Waiting | State::Done(_) => None,
        }
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
        if let Some(time) = time.filter(|time| self.latest.is_none_or(|(latest, _)| *time > latest)) {
            self.latest = Some((time, index));
        }
        self.current = Some(index);
        index
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
        let reader = input.open()?;
        let (format, compression) = (reader.format(), reader.compression());
        let record = reader.record();
        let (is_empty, first) = (record.is_none(), record.and_then(|record| record.time));
        let keep_open = keep_open || matches!(input.opener, Opener::Once(_));
        let state = if is_empty {
            State::Done(Box::new(reader.finish(&input.name)))
        } else if keep_open {
            State::Open(Box::new(reader))
        } else {
            State::Waiting
        };
        Ok(Self { input, format, compression, place: first.map_or(i64::MIN, |time| time.0), state })
    }

    /// Stamp of the record at hand.
    fn time(&self) -> Option<CaptureTime> {
        match &self.state {
            State::Open(reader) => reader.time_at_hand()?,
            State::Waiting | State::Done(_) => None,
        }
    }

    fn open(&mut self) -> Result<(), Error> {
        if let State::Waiting = self.state {
            match self.input.open() {
                Ok(reader) => self.state = State::Open(Box::new(reader)),
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
        let State::Open(reader) = &mut self.state else { return Ok(()) };
        let result = reader.advance();
        self.settle();
        result
    }

    /// Learns the place of the record at hand, or ends the file where there is none.
    fn settle(&mut self) {
        let State::Open(reader) = &self.state else { return };
        match reader.time_at_hand() {
            Some(time) => self.place = time.map_or(self.place, |time| time.0),
            None => {
                if let State::Open(reader) = std::mem::replace(&mut self.state, State::Waiting) {
                    self.state = State::Done(Box::new(reader.finish(&self.input.name)));
                }
            }
        }
    }

    fn summary(self) -> CaptureSummary {
        match self.state {
            State::Waiting => self.nothing(),
            State::Open(reader) => reader.finish(&self.input.name),
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
