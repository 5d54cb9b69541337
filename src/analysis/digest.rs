//! A stretch of one file that was looked at apart, to be taken in at its place.

use std::ops::Range;

use super::media::Media;
use super::reading::Reading;
use super::tally::Tally;
use crate::capture::Record;
use crate::capture::Taker;
use crate::frame::Alike;
use crate::frame::Headers;
use crate::observations::Place;
use crate::observations::Protocol;
use crate::observations::Stamps;
use crate::streams::Seen;
use crate::units::CaptureTime;
use crate::viewpoint;

/// The instants between which frames are looked at.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Span {
    /// Whether all are, also those without a time.
    pub(super) is_all: bool,
    pub(super) from: Option<CaptureTime>,
    pub(super) until: Option<CaptureTime>,
}

impl Span {
    #[inline]
    pub(super) fn holds(self, time: Option<CaptureTime>) -> bool {
        let Self { is_all, from, until } = self;
        if is_all {
            return true;
        }
        let Some(time) = time else { return false };
        from.is_none_or(|from| time >= from) && until.is_none_or(|until| time <= until)
    }
}

/// Headers that are still known in the next stretch (chosen: the table that finds them is then half full).
const LIKES_KEPT: usize = 512;

/// A stream's packets with the same headers.
#[derive(Debug)]
struct Like {
    /// What [`Seen`] calls them.
    line: u32,
    counted: viewpoint::Alike,
}

/// Frames in line that are not among the stretch's stamps yet: of their times the last one counts.
#[derive(Debug, Clone, Copy)]
struct InLine {
    time: CaptureTime,
    /// The first frame with that time.
    frame: u64,
    /// How many there are beyond the first.
    more: u64,
}

impl InLine {
    #[inline]
    fn takes(&mut self, time: CaptureTime, frame: u64) -> bool {
        let is_in_line = Stamps::is_in_line(self.time, time);
        if is_in_line {
            if time > self.time {
                self.frame = frame;
            }
            self.time = time;
            self.more += 1;
        }
        is_in_line
    }
}

/// What was made of a stretch whose frames are counted from 1, of whichever file they are. To be used again for another one.
#[derive(Debug, Default)]
pub(super) struct Digest {
    tally: Tally,
    seen: Seen,
    headers: Headers,
    /// By the number of the headers.
    likes: Vec<Like>,
    in_line: Option<InLine>,
    /// Of what comes next.
    file: u32,
    span: Span,
    outside: u64,
    /// Time of the first record that has one, looked at or not.
    first: Option<CaptureTime>,
}

/// The place of a frame in the stretch, until it is told which one of which file that is.
const fn place(time: CaptureTime, frame: u64) -> Place {
    Place { file: 0, frame, time: Some(time) }
}

impl Taker for Digest {
    // Part of the walker's loop, so that no record need be put together for nearly every frame.
    #[inline(always)]
    fn take(&mut self, record: Record<'_>, at: usize) {
        if self.first.is_none() {
            self.first = record.time;
        }
        if !self.span.holds(record.time) {
            self.outside += 1;
            return;
        }
        match (record.time, self.headers.find(&record)) {
            (Some(time), Some(alike)) => self.alike(&record, time, &alike, at),
            _ => self.other(record, at),
        }
    }
}

impl Digest {
    /// Makes it one of the frames of a span. What comes next is of that file.
    pub(super) const fn of(&mut self, file: u32, span: Span) -> &mut Self {
        self.file = file;
        self.span = span;
        self
    }

    /// Takes in a packet whose headers were met before: it is no control message, nothing of it is missing, and it
    /// goes where the one before it went.
    #[inline(always)]
    fn alike(&mut self, record: &Record<'_>, time: CaptureTime, alike: &Alike<'_>, at: usize) {
        if !self.in_line.as_mut().is_some_and(|line| line.takes(time, record.number)) {
            self.settle();
            self.tally.stamp(time, place(time, record.number));
            self.in_line = Some(InLine { time, frame: record.number, more: 0 });
        }
        let Some(like) = self.likes.get_mut(alike.index) else { return };
        like.counted.count(time, alike.udp_length, alike.checksum);
        self.seen.record_alike((record, time), alike, like.line, at);
    }

    /// Puts what is in line among the stamps.
    fn settle(&mut self) {
        if let Some(InLine { time, frame, more }) = self.in_line.take() {
            self.tally.stamp_more(more, time, place(time, frame));
        }
    }

    #[inline(never)]
    fn other(&mut self, record: Record<'_>, at: usize) {
        let record = &record;
        self.settle();
        let frame = self.tally.observe(self.file, record);
        let noted = self.seen.record(record, &frame, at);
        if !noted.is_flow {
            self.tally.groups.record(&frame);
        }
        if let Some(line) = noted.like
            && Protocol::of(&frame).is_none()
            && let Some(counted) = viewpoint::Alike::none_like(&frame)
            && self.headers.learn(record).is_some()
        {
            self.likes.push(Like { line, counted });
        }
    }

    /// Ends the stretch, which can then be given.
    pub(super) fn close(&mut self) {
        self.settle();
        for like in &self.likes {
            self.tally.traffic.add_alike(&like.counted);
        }
        self.seen.close();
    }

    /// Gives all of it but its flows, once closed, to a reading that has read everything before. `number` says of which file a
    /// frame of the stretch is, and its number there.
    pub(super) fn give_control(&mut self, number: impl Fn(u64) -> (u32, u64), reading: &mut Reading) {
        self.tally.number(number);
        reading.take_in(&mut self.tally, self.outside, self.first);
    }

    /// Gives its flows, and so the last of it, to what has taken in all before; `octets` are the stretch's.
    pub(super) fn give_media<'a>(&mut self, octets: impl Fn(Range<usize>) -> &'a [u8], media: &mut Media) {
        media.take_in(&self.seen, octets);
        self.clear();
    }

    /// Forgets all of it, but what headers are those of streams.
    pub(super) fn clear(&mut self) {
        self.tally.clear();
        if self.seen.clear() && self.likes.len() <= LIKES_KEPT {
            for like in &mut self.likes {
                like.counted.clear();
            }
        } else {
            self.headers.clear();
            self.likes.clear();
        }
        self.in_line = None;
        self.outside = 0;
        self.first = None;
    }
}
