//! What is missing in a row, and when: gaps of the numbers and breaks of the sequence.
//!
//! Which of them are losses is not decided here: for that the media clock of the whole stream has to be known.

use super::losses_over_time::LossesOverTime;
use super::pending::Pending;
use super::sequence::Numbered;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Missing numbers in a row that are a burst (chosen).
const BURST: u64 = 3;
/// Bursts kept (chosen).
const BURSTS_KEPT: usize = 16;
/// Time across a gap from which the gap is kept with it: a pause of the capture may have made it (chosen: 1/16 s, as
/// silences of the whole capture are).
pub(super) const LONG: Nanos = Nanos(NANOS_PER_SECOND / 16);
/// Long gaps kept, those over the longest times (chosen: 10 KiB of a stream that has as many).
const LONG_KEPT: usize = 256;
/// Breaks kept (chosen).
const BREAKS_KEPT: usize = 64;

/// Numbers in a row that did not come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Burst {
    /// When the last packet before them came.
    pub from: CaptureTime,
    /// When the next one came.
    pub time: CaptureTime,
    /// How many.
    pub missing: u64,
}

/// A gap across a long time, or a break of the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The newest packet before it.
    pub before: Numbered,
    /// The first one after it.
    pub after: Numbered,
    /// Numbers of it that never came. Of a break, for which that is not known, those next to `after` that belong to the new
    /// sequence, as late packets of it showed.
    pub missing: u64,
}

impl Gap {
    /// The time across it.
    #[must_use]
    pub const fn length(&self) -> Nanos {
        self.after.time.since(self.before.time)
    }

    const fn burst(&self) -> Burst {
        Burst { from: self.before.time, time: self.after.time, missing: self.missing }
    }

    /// The longest first.
    fn order(&self) -> (std::cmp::Reverse<Nanos>, CaptureTime, u16, u64) {
        (std::cmp::Reverse(self.length()), self.after.time, self.after.number, self.missing)
    }
}

/// A run of missing numbers that late packets may still fill.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) before: Numbered,
    pub(super) after: Numbered,
    /// The last missing number.
    pub(super) last: u16,
    pub(super) missing: u16,
}

impl Run {
    const fn is_worth_keeping(&self) -> bool {
        self.missing > 0 || self.is_long()
    }

    /// What is left of it above and below a number with so many missing above that one.
    pub(super) const fn split(self, above: u16) -> [Self; 2] {
        let last = self.last.wrapping_sub(above).wrapping_sub(1);
        let below = self.missing.wrapping_sub(above).wrapping_sub(1);
        [Self { missing: above, ..self }, Self { last, missing: below, ..self }]
    }

    /// Also of a run without missing numbers: those may have run over.
    const fn is_long(&self) -> bool {
        self.after.time.since(self.before.time).0 >= LONG.0
    }
}

/// The runs in order of their numbers, and the break before them all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Runs(Vec<Run>, Option<Gap>);

impl Runs {
    pub(super) fn open(&mut self, run: Run) {
        if run.is_worth_keeping() {
            self.0.push(run);
        }
    }

    /// The same for a run that lies before all others.
    pub(super) fn open_first(&mut self, run: Run) {
        if run.is_worth_keeping() {
            self.0.insert(0, run);
        }
    }

    /// Notes a break before the first packet of a sequence.
    pub(super) fn after_break(before: Numbered, after: Numbered) -> Self {
        Self(Vec::new(), Some(Gap { before, after, missing: 0 }))
    }

    /// Notes that the sequence began so many numbers earlier.
    pub(super) fn began_earlier(&mut self, by: u32) {
        if let Some(gap) = &mut self.1 {
            gap.missing += u64::from(by);
        }
    }

    /// Takes out a number that came late, which may leave two runs; whether it was missing.
    pub(super) fn fill(&mut self, number: u16) -> bool {
        let holds = |run: &Run| run.last.wrapping_sub(number) < run.missing;
        let Some(place) = self.0.iter().position(holds) else { return false };
        let run = self.0.remove(place);
        for part in run.split(run.last.wrapping_sub(number)) {
            if part.missing > 0 {
                self.0.insert(place, part);
            }
        }
        true
    }

    /// Moves those that only a packet far behind can fill any more.
    pub(super) fn close(
        &mut self,
        highest: u16,
        below: u32,
        reach: u16,
        into: &mut Losses,
        pending: &mut Pending,
    ) {
        if below >= u32::from(reach) {
            into.broken(self.1.take());
        }
        while let Some(run) = self.0.first().filter(|run| highest.wrapping_sub(run.last) >= reach).copied() {
            pending.take(run, highest.wrapping_sub(run.last), into);
            self.0.remove(0);
        }
    }

    pub(super) fn close_all(&mut self, into: &mut Losses) {
        into.broken(self.1.take());
        for run in self.0.drain(..) {
            into.take(&run);
        }
    }

    pub(super) const fn is_empty(&self) -> bool {
        self.0.is_empty() && self.1.is_none()
    }
}

/// What is missing for good. Memory: at most 23 KiB.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Losses {
    /// Bursts in the order they became final; the first few.
    pub bursts: Vec<Burst>,
    /// How many there were.
    pub burst_count: u64,
    /// Bursts across shorter times than those of [`Losses::long`], all of them.
    pub short: LossesOverTime,
    /// Bursts across long times for which [`Losses::long`] had no room.
    pub long_rest: LossesOverTime,
    /// Gaps across a sixteenth of a second or more, those across the longest times first.
    pub long: Vec<Gap>,
    /// How many there were, and numbers missing in all of them.
    pub long_count: (u64, u64),
    /// Breaks of the sequence; the first few.
    pub breaks: Vec<Gap>,
    /// How many there were.
    pub break_count: u64,
}

impl Losses {
    pub(super) fn take(&mut self, run: &Run) {
        let missing = u64::from(run.missing);
        if missing >= BURST {
            let burst = Burst { from: run.before.time, time: run.after.time, missing };
            self.burst(burst);
            if !run.is_long() {
                self.short.push(burst);
            }
        }
        if run.is_long() {
            self.long_count.0 += 1;
            self.long_count.1 += missing;
            self.keep_long(Gap { before: run.before, after: run.after, missing });
        }
    }

    fn burst(&mut self, burst: Burst) {
        self.burst_count += 1;
        if self.bursts.len() < BURSTS_KEPT {
            self.bursts.push(burst);
        }
    }

    fn keep_long(&mut self, gap: Gap) {
        let place = self.long.partition_point(|kept| kept.order() <= gap.order());
        self.long.insert(place, gap);
        for gap in self.long.drain(self.long.len().min(LONG_KEPT)..) {
            if gap.missing >= BURST {
                self.long_rest.push(gap.burst());
            }
        }
    }

    fn broken(&mut self, gap: Option<Gap>) {
        let Some(gap) = gap else { return };
        self.break_count += 1;
        if self.breaks.len() < BREAKS_KEPT {
            self.breaks.push(gap);
        }
    }

    /// Adds what followed.
    pub(super) fn join(&mut self, right: &Self) {
        self.bursts.extend(&right.bursts);
        self.bursts.truncate(BURSTS_KEPT);
        self.burst_count += right.burst_count;
        self.short.join(&right.short);
        self.long_rest.join(&right.long_rest);
        self.long_count.0 += right.long_count.0;
        self.long_count.1 += right.long_count.1;
        for gap in &right.long {
            self.keep_long(*gap);
        }
        self.breaks.extend(&right.breaks);
        self.breaks.truncate(BREAKS_KEPT);
        self.break_count += right.break_count;
    }
}
