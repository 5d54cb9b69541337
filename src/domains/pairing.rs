//! Sync with its Follow_Up: when the leader says it sent, and when the capture saw it.
//!
//! Either half may come first or be lost. Memory: at most [`HELD`] unpaired halves of each kind a port.

use std::collections::VecDeque;

use super::sync_checks::Met;
use crate::observations::Place;
use crate::statistics::Distribution;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Unpaired halves held (chosen: a Follow_Up comes before the next Sync but one).
const HELD: usize = 16;

/// How long a half waits for the other (chosen; the reference has 0.05 to 111 ms on real captures).
const PAIR_WINDOW: Nanos = Nanos::from_seconds(2);

/// A Sync whose time of sending is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimedSync {
    /// `originTimestamp` (one-step) or `preciseOriginTimestamp`.
    pub sent: Timestamp,
    /// When the capture saw the Sync.
    pub seen: CaptureTime,
    /// The Sync's frame.
    pub place: Place,
    /// `correctionField` of the Sync.
    pub sync_correction: TimeInterval,
    /// `correctionField` of the Follow_Up; 0 in one-step.
    pub follow_up_correction: TimeInterval,
}

#[derive(Debug, Clone, Copy)]
struct HalfSync {
    sequence_id: u16,
    seen: CaptureTime,
    place: Place,
    correction: TimeInterval,
}

#[derive(Debug, Clone, Copy)]
struct HalfFollowUp {
    sequence_id: u16,
    seen: CaptureTime,
    sent: Timestamp,
    correction: TimeInterval,
}

/// Whether two halves are near enough to be of one Sync. Where the capture's time goes back, what was seen before lies
/// ahead and is no nearer.
pub(super) fn is_young(seen: CaptureTime, now: CaptureTime) -> bool {
    now.since(seen).0.unsigned_abs() <= PAIR_WINDOW.0.unsigned_abs()
}

/// Lets go of the halves that are not young, and says how many.
fn give_up<T>(halves: &mut VecDeque<T>, is_young: impl Fn(&T) -> bool) -> u64 {
    let before = halves.len();
    halves.retain(is_young);
    u64::try_from(before - halves.len()).unwrap_or(u64::MAX)
}

/// The Syncs of one port.
#[derive(Debug, Clone, Default)]
pub struct SyncPairing {
    syncs: VecDeque<HalfSync>,
    follow_ups: VecDeque<HalfFollowUp>,
    one_step: u64,
    paired: u64,
    without_follow_up: u64,
    without_sync: u64,
    follow_up_delay: Distribution,
    before_sync: u64,
    late: Late,
    since: Since,
}

/// Syncs without their Follow_Up since the latest that had one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Since {
    /// How many.
    pub count: u64,
    /// The first of them.
    pub first: Option<Place>,
    /// Numbers skipped among them: Syncs that were not captured.
    pub skipped: u64,
    last: Option<u16>,
    /// When the latest Sync with a Follow_Up was captured.
    paired: Option<CaptureTime>,
}

impl Since {
    fn pair(&mut self, sync: &HalfSync) {
        *self = Self { paired: Some(sync.seen), ..Self::default() };
    }

    fn miss(&mut self, sync: &HalfSync) {
        // One before the latest that had its Follow_Up tells nothing of what came after.
        if self.paired.is_some_and(|paired| sync.seen <= paired) {
            return;
        }
        self.count += 1;
        self.first.get_or_insert(sync.place);
        let step = self.last.map_or(1, |last| sync.sequence_id.wrapping_sub(last));
        if (1..0x8000).contains(&step) {
            self.skipped += u64::from(step - 1);
        }
        self.last = Some(sync.sequence_id);
    }
}

/// Follow_Ups that came late.
#[derive(Debug, Clone, Copy, Default)]
struct Late {
    limit: Option<Nanos>,
    met: Met,
}

impl SyncPairing {
    /// Takes in a one-step Sync.
    pub(super) fn one_step(
        &mut self,
        place: Place,
        seen: CaptureTime,
        sent: Timestamp,
        correction: TimeInterval,
    ) -> TimedSync {
        self.one_step += 1;
        let follow_up_correction = TimeInterval(0);
        TimedSync { sent, seen, place, sync_correction: correction, follow_up_correction }
    }

    /// Takes in a two-step Sync; the pair where its Follow_Up came first.
    pub(super) fn two_step(
        &mut self,
        place: Place,
        seen: CaptureTime,
        sequence_id: u16,
        correction: TimeInterval,
    ) -> Option<TimedSync> {
        self.give_up_before(seen);
        let sync = HalfSync { sequence_id, seen, place, correction };
        let is_its = |half: &HalfFollowUp| half.sequence_id == sequence_id && is_young(half.seen, seen);
        let index = self.follow_ups.iter().position(is_its);
        if let Some(follow_up) = index.and_then(|index| self.follow_ups.remove(index)) {
            return Some(self.pair(sync, follow_up));
        }
        if self.syncs.len() >= HELD {
            if let Some(oldest) = self.syncs.pop_front() {
                self.since.miss(&oldest);
            }
            self.without_follow_up += 1;
        }
        self.syncs.push_back(sync);
        None
    }

    /// Takes in a Follow_Up; the pair where its Sync was seen.
    pub(super) fn follow_up(
        &mut self,
        seen: CaptureTime,
        sequence_id: u16,
        sent: Timestamp,
        correction: TimeInterval,
    ) -> Option<TimedSync> {
        self.give_up_before(seen);
        let follow_up = HalfFollowUp { sequence_id, seen, sent, correction };
        let is_its = |half: &HalfSync| half.sequence_id == sequence_id && is_young(half.seen, seen);
        let index = self.syncs.iter().position(is_its);
        if let Some(sync) = index.and_then(|index| self.syncs.remove(index)) {
            return Some(self.pair(sync, follow_up));
        }
        if self.follow_ups.len() >= HELD {
            self.follow_ups.pop_front();
            self.without_sync += 1;
        }
        self.follow_ups.push_back(follow_up);
        None
    }

    fn pair(&mut self, sync: HalfSync, follow_up: HalfFollowUp) -> TimedSync {
        self.paired += 1;
        self.since.pair(&sync);
        let delay = follow_up.seen.since(sync.seen);
        self.follow_up_delay.record(delay);
        self.before_sync += u64::from(delay < Nanos::ZERO);
        if self.late.limit.is_some_and(|limit| delay > limit) {
            self.late.met.at(sync.place);
        }
        TimedSync {
            sent: follow_up.sent,
            seen: sync.seen,
            place: sync.place,
            sync_correction: sync.correction,
            follow_up_correction: follow_up.correction,
        }
    }

    fn give_up_before(&mut self, now: CaptureTime) {
        let since = &mut self.since;
        self.syncs.iter().filter(|half| !is_young(half.seen, now)).for_each(|half| since.miss(half));
        self.without_follow_up += give_up(&mut self.syncs, |half| is_young(half.seen, now));
        self.without_sync += give_up(&mut self.follow_ups, |half| is_young(half.seen, now));
    }

    /// Ends the reading; a Sync younger than the window may have its Follow_Up beyond the capture's end.
    pub(super) fn finish(&mut self, end: CaptureTime) {
        self.give_up_before(end);
    }

    /// Syncs that carried their own time.
    #[must_use]
    pub const fn one_step_count(&self) -> u64 {
        self.one_step
    }

    /// Syncs with their Follow_Up.
    #[must_use]
    pub const fn paired(&self) -> u64 {
        self.paired
    }

    /// Two-step Syncs whose Follow_Up was not seen.
    #[must_use]
    pub const fn without_follow_up(&self) -> u64 {
        self.without_follow_up
    }

    /// Two-step Syncs without their Follow_Up since the latest that had one.
    #[must_use]
    pub const fn since_paired(&self) -> &Since {
        &self.since
    }

    /// Follow_Ups whose Sync was not seen.
    #[must_use]
    pub const fn without_sync(&self) -> u64 {
        self.without_sync
    }

    /// Says from what delay on a Follow_Up is late.
    pub(super) const fn expect_within(&mut self, limit: Option<Nanos>) {
        self.late.limit = limit;
    }

    /// Follow_Ups captured before their Sync.
    #[must_use]
    pub const fn before_sync(&self) -> u64 {
        self.before_sync
    }

    /// Follow_Ups later than half the declared interval of Sync.
    #[must_use]
    pub const fn late(&self) -> Met {
        self.late.met
    }

    /// From a Sync to its Follow_Up, as captured; pairs in reverse order left out.
    #[must_use]
    pub const fn follow_up_delay(&self) -> &Distribution {
        &self.follow_up_delay
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(ms: i64) -> CaptureTime {
        CaptureTime(ms * 1_000_000)
    }

    fn place(ms: i64) -> Place {
        Place { file: 0, frame: ms.unsigned_abs() + 1, time: Some(at(ms)) }
    }

    const SENT: Timestamp = Timestamp { seconds: 37, nanoseconds: 5 };
    const NONE: TimeInterval = TimeInterval(0);

    #[test]
    fn halves_pair_in_either_order() {
        let mut pairing = SyncPairing::default();
        assert_eq!(pairing.two_step(place(0), at(0), 7, TimeInterval(65536)), None);
        let pair = pairing.follow_up(at(1), 7, SENT, TimeInterval(2)).unwrap();
        assert_eq!((pair.sent, pair.seen, pair.sync_correction.0), (SENT, at(0), 65536));
        assert_eq!(pair.follow_up_correction, TimeInterval(2));
        assert_eq!(pairing.follow_up(at(124), 8, SENT, NONE), None);
        assert_eq!(pairing.two_step(place(125), at(125), 8, NONE).unwrap().place, place(125));
        assert_eq!(pairing.paired(), 2);
        assert_eq!(pairing.follow_up_delay().count(), 1);
    }

    #[test]
    fn lost_halves_are_counted_and_do_not_pair_with_a_later_number() {
        let mut pairing = SyncPairing::default();
        pairing.two_step(place(0), at(0), 1, NONE);
        pairing.follow_up(at(130), 2, SENT, NONE);
        assert_eq!(pairing.two_step(place(3000), at(3000), 3, NONE), None);
        assert_eq!((pairing.without_follow_up(), pairing.without_sync(), pairing.paired()), (1, 1, 0));
        pairing.finish(at(4000));
        assert_eq!(pairing.without_follow_up(), 1, "the last may have its Follow_Up after the end");
    }

    #[test]
    fn a_half_from_before_the_capture_went_back_in_time_finds_no_partner() {
        let mut pairing = SyncPairing::default();
        pairing.two_step(place(100_000), at(100_000), 7, NONE);
        pairing.follow_up(at(100_100), 8, SENT, NONE);
        // The clock is set back by a minute and a half, and the numbers come again.
        assert_eq!(pairing.follow_up(at(10_000), 7, SENT, NONE), None);
        assert_eq!(pairing.two_step(place(10_100), at(10_100), 8, NONE), None);
        assert_eq!((pairing.paired(), pairing.without_follow_up(), pairing.without_sync()), (0, 1, 1));
        // Their own halves still find them; back by less than the window is a mirror's disorder.
        assert!(pairing.two_step(place(9_900), at(9_900), 7, NONE).is_some());
        assert!(pairing.follow_up(at(10_101), 8, SENT, NONE).is_some());
    }

    #[test]
    fn a_flood_of_halves_is_bounded() {
        let mut pairing = SyncPairing::default();
        for number in 0..1000 {
            pairing.two_step(place(0), at(0), number, NONE);
        }
        assert_eq!(pairing.syncs.len(), HELD);
        assert_eq!(pairing.without_follow_up(), 1000 - 16);
    }
}
