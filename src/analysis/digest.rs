//! A stretch of one file that was looked at apart, to be taken in at its place.

use std::ops::Range;

use super::reading::Reading;
use super::tally::Tally;
use crate::capture::Record;
use crate::streams::Seen;
use crate::units::CaptureTime;

/// The instants between which frames are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Span {
    /// Whether all are, also those without a time.
    pub(super) is_all: bool,
    pub(super) from: Option<CaptureTime>,
    pub(super) until: Option<CaptureTime>,
}

impl Span {
    pub(super) fn holds(self, time: Option<CaptureTime>) -> bool {
        let Self { is_all, from, until } = self;
        if is_all {
            return true;
        }
        let Some(time) = time else { return false };
        from.is_none_or(|from| time >= from) && until.is_none_or(|until| time <= until)
    }
}

/// What was made of a stretch whose frames are counted from 1. To be used again for another one.
#[derive(Debug, Default)]
pub(super) struct Digest {
    tally: Tally,
    seen: Seen,
    outside: u64,
    /// Time of the first record that has one, looked at or not.
    first: Option<CaptureTime>,
}

impl Digest {
    /// Takes in the next record. `at` is where in the stretch's octets its own are.
    pub(super) fn record(&mut self, record: &Record<'_>, at: usize, span: Span) {
        self.first = self.first.or(record.time);
        if !span.holds(record.time) {
            self.outside += 1;
            return;
        }
        // One file alone is read so.
        let frame = self.tally.observe(0, record);
        if !self.seen.record(record, &frame, at) {
            self.tally.groups.record(&frame);
        }
    }

    /// Gives all of it to a reading that has read everything before; `before` is how many records there were. `octets` are
    /// the stretch's.
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
        self.outside = 0;
        self.first = None;
    }
}
