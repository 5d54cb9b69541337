//! How time goes on for packets whose stamps go far back: where the capture's clock is set, or where two clocks stamp.

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// Stamps that go back by no more are out of order (chosen: 1/32 s).
const FAR_BACK: Nanos = Nanos(NANOS_PER_SECOND / 32);

/// What stamps are moved by is a multiple of this, and so of every bin's width: moved bins are bins.
const STEP: i64 = NANOS_PER_SECOND;

/// Ways back without a return from which stamps are out of order altogether, and are taken as they are (chosen).
const MOST: u64 = 64;

/// Returns from which two clocks stamp by turns (chosen: more than a few packets out of order).
const TO_AND_FRO: u64 = 10;

/// Stamps that did not go far back, of one clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Lane {
    first: CaptureTime,
    latest: CaptureTime,
    /// What they are moved by, so that time goes on from the lane before.
    shift: i64,
}

impl Lane {
    const fn length(self) -> Nanos {
        self.latest.since(self.first)
    }

    const fn moved(self, by: i64) -> Self {
        Self { shift: self.shift.saturating_add(by), ..self }
    }

    fn is_near(self, at: CaptureTime) -> bool {
        at.since(self.latest).0.saturating_abs() <= FAR_BACK.0
    }
}

/// Where the lane of the first packet is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum First {
    #[default]
    Current,
    Other,
    Over(Lane),
}

/// The lanes of one flow, joinable; the last two are remembered.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Course {
    current: Option<Lane>,
    other: Option<Lane>,
    first: First,
    /// The lengths of those that are over.
    over: Nanos,
    /// How far the last way back led that no return was.
    apart: Nanos,
    /// The stamp with which the current lane was entered.
    entered: Option<CaptureTime>,
    far_back: u64,
    returns: u64,
}

impl Course {
    /// Takes in the time of a packet, and says what it is moved by.
    #[inline]
    pub(super) fn follow(&mut self, at: CaptureTime) -> i64 {
        let Some(current) = &mut self.current else {
            self.current = Some(Lane { first: at, latest: at, shift: 0 });
            self.entered = Some(at);
            return 0;
        };
        if at.0.abs_diff(current.latest.0) <= FAR_BACK.0.unsigned_abs() {
            current.latest = current.latest.max(at);
            return current.shift;
        }
        let current = *current;
        self.leap(at, current)
    }

    /// Takes in the time of a packet in the millisecond of the one before.
    #[inline]
    pub(super) fn reach(&mut self, at: CaptureTime) {
        if let Some(current) = &mut self.current {
            current.latest = current.latest.max(at);
        }
    }

    #[cold]
    fn leap(&mut self, at: CaptureTime, current: Lane) -> i64 {
        let ahead = at.since(current.latest);
        // Where the clock was set back, it comes to the time of the setting once more, by small steps and not at once.
        let half = self.apart.0 / 2;
        let is_brief = self.entered.is_some_and(|entered| current.latest.since(entered).0 < half);
        let may_return = if ahead.0 < 0 { is_brief } else { ahead.0 >= half };
        if let Some(other) = self.other.filter(|other| may_return && other.is_near(at)) {
            self.other = Some(current);
            self.current = Some(Lane { latest: other.latest.max(at), ..other });
            self.first = match self.first {
                First::Current => First::Other,
                First::Other => First::Current,
                over @ First::Over(_) => over,
            };
            self.returns += 1;
            self.entered = Some(at);
            return other.shift;
        }
        if ahead.0 > 0 {
            self.current = Some(Lane { latest: at, ..current });
            return current.shift;
        }
        let Some(shift) = self.shift_of(at, current) else { return current.shift };
        self.end_other();
        self.put_aside(current);
        self.current = Some(Lane { first: at, latest: at, shift });
        self.apart = current.latest.since(at);
        self.entered = Some(at);
        self.far_back += 1;
        shift
    }

    /// What moves `at` to where time had come, or less than a second on.
    fn shift_of(&self, at: CaptureTime, current: Lane) -> Option<i64> {
        if self.far_back >= self.returns.saturating_add(MOST) {
            return None;
        }
        let come_to = |lane: Lane| lane.latest.0.checked_add(lane.shift);
        let other = self.other.map_or(Some(i64::MIN), come_to)?;
        let back = come_to(current)?.max(other).checked_sub(at.0)?;
        let shift = back.checked_add(STEP - 1)?.div_euclid(STEP).checked_mul(STEP)?;
        at.0.checked_add(shift).map(|_| shift)
    }

    fn end_other(&mut self) {
        let Some(other) = self.other.take() else { return };
        self.over = self.over.saturating_add(other.length());
        if self.first == First::Other {
            self.first = First::Over(other);
        }
    }

    fn put_aside(&mut self, current: Lane) {
        self.other = Some(current);
        if self.first == First::Current {
            self.first = First::Other;
        }
    }

    /// Adds those of what followed, and says what its times are moved by.
    pub(super) fn join(&mut self, right: &Self) -> i64 {
        let begin = match right.first {
            First::Current => right.current,
            First::Other => right.other,
            First::Over(lane) => Some(lane),
        };
        let Some(begin) = begin else { return 0 };
        let by = self.follow(begin.first);
        let Some(mut joined) = self.current else { return by };
        joined.latest = joined.latest.max(begin.latest);
        self.current = Some(joined);
        let moved = |lane: Option<Lane>| lane.map(|lane| lane.moved(by));
        self.over = self.over.saturating_add(right.over);
        match right.first {
            First::Current => {
                if right.other.is_some() {
                    self.end_other();
                    self.other = moved(right.other);
                }
            }
            First::Other => {
                self.end_other();
                self.put_aside(joined);
                self.current = moved(right.current);
            }
            First::Over(lane) => {
                self.end_other();
                self.put_aside(joined);
                self.end_other();
                self.over = Nanos(self.over.0.saturating_sub(lane.length().0));
                self.other = moved(right.other);
                self.current = moved(right.current);
            }
        }
        if right.far_back > 0 {
            self.apart = right.apart;
            self.entered = right.entered;
        }
        self.far_back += right.far_back;
        self.returns += right.returns;
        by
    }

    /// Whether stamps ever went far back.
    pub(super) const fn is_straight(&self) -> bool {
        self.far_back == 0
    }

    /// Whether stamps went far back for good, or go to and fro: a line through them is no rate then.
    pub(super) const fn went_far_back(&self) -> bool {
        self.far_back > self.returns || self.goes_to_and_fro()
    }

    /// Whether two clocks stamp by turns.
    pub(super) const fn goes_to_and_fro(&self) -> bool {
        self.returns >= TO_AND_FRO
    }

    /// How long it went on, where that is not from the first to the last stamp: what a clock that was set back ran through
    /// twice counts twice, of two clocks that stamp by turns the one that went on longer counts. `None` for ways back of
    /// other kinds, as where there are more than the `set_backs` of the capture's clock.
    pub(super) fn length(&self, set_backs: u64) -> Option<Nanos> {
        let length = |lane: Option<Lane>| lane.map_or(Nanos::ZERO, Lane::length);
        let (current, other) = (length(self.current), length(self.other));
        if self.is_straight() {
            None
        } else if self.returns > 0 {
            // The one lane may hold the other's first stamps, from before they were told apart.
            let (less, more) = (current.min(other), current.max(other));
            let is_alike = more.0.saturating_sub(less.0) <= self.apart.0.saturating_add(self.apart.0 / 8);
            (self.over == Nanos::ZERO).then_some(if is_alike { less } else { more })
        } else {
            (self.far_back <= set_backs).then(|| self.over.saturating_add(other).saturating_add(current))
        }
    }
}
