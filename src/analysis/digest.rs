//! A stretch of one file that was looked at apart, to be taken in at its place.

use std::ops::Range;

use super::reading::Reading;
use super::tally::Tally;
use crate::capture::Record;
use crate::frame::Alike;
use crate::frame::Headers;
use crate::observations::Place;
use crate::observations::Protocol;
use crate::streams::Seen;
use crate::units::CaptureTime;
use crate::viewpoint;

/// The instants between which frames are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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

/// A stream's packets with the same headers.
#[derive(Debug)]
struct Like {
    /// What [`Seen`] calls them.
    line: u32,
    counted: viewpoint::Alike,
}

/// What was made of a stretch whose frames are counted from 1. To be used again for another one.
#[derive(Debug, Default)]
pub(super) struct Digest {
    tally: Tally,
    seen: Seen,
    headers: Headers,
    /// By the number of the headers.
    likes: Vec<Like>,
    outside: u64,
    /// Time of the first record that has one, looked at or not.
    first: Option<CaptureTime>,
}

impl Digest {
    /// Takes in the next record. `at` is where in the stretch's octets its own are.
    #[inline]
    pub(super) fn record(&mut self, record: &Record<'_>, at: usize, span: Span) {
        self.first = self.first.or(record.time);
        if !span.holds(record.time) {
            self.outside += 1;
            return;
        }
        match (record.time, self.headers.find(record)) {
            (Some(time), Some(alike)) => self.alike(record, time, &alike, at),
            _ => self.other(record, at),
        }
    }

    /// Takes in a packet whose headers were met in this stretch: it is no control message, nothing of it is missing, and it
    /// goes where the one before it went.
    #[inline]
    fn alike(&mut self, record: &Record<'_>, time: CaptureTime, alike: &Alike<'_>, at: usize) {
        let Some(like) = self.likes.get_mut(alike.index) else { return };
        // One file alone is read so.
        self.tally.stamp(time, Place { file: 0, frame: record.number, time: Some(time) });
        like.counted.count(time, alike.udp_length, alike.checksum);
        self.seen.record_alike((record, time), alike, like.line, at);
    }

    fn other(&mut self, record: &Record<'_>, at: usize) {
        let frame = self.tally.observe(0, record);
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
        for like in &self.likes {
            self.tally.traffic.add_alike(&like.counted);
        }
        self.seen.close();
    }

    /// Gives all of it, once closed, to a reading that has read everything before; `before` is how many records there were.
    /// `octets` are the stretch's.
    pub(super) fn give<'a>(
        &mut self,
        before: u64,
        octets: impl Fn(Range<usize>) -> &'a [u8],
        reading: &mut Reading,
    ) {
        let mut tally = std::mem::take(&mut self.tally);
        tally.number_from(before);
        reading.take_in(tally, &self.seen, self.outside, self.first, octets);
        self.clear();
    }

    /// Forgets all of it.
    pub(super) fn clear(&mut self) {
        self.tally = Tally::default();
        self.seen.clear();
        self.headers.clear();
        self.likes.clear();
        self.outside = 0;
        self.first = None;
    }
}
