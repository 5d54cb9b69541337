//! How long the network was watched, which is not how far the capture's clock moved.
//!
//! Where nothing at all was captured for a while, the capture may have missed it, or its clock may have been set: of
//! a silence that falls there nothing is known. A timer that waits for a message therefore asks [`Watched`], in
//! which no pause of the whole capture counts for more than one interval of that message, and a jump back for
//! nothing.

use std::collections::VecDeque;

use super::place::Place;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// A pause of no more is none (chosen: 1/16 s, the shortest interval that is told apart).
const SLACK: Nanos = Nanos(NANOS_PER_SECOND / 16);

/// Stamps that go back by no more are out of order, not set back; stamps of two interfaces that are no farther apart make
/// no jump (chosen: 1/32 s).
const ORDER: Nanos = Nanos(NANOS_PER_SECOND / 32);

/// Longest pauses that count, one a clock: 1/16 s to 64 s, in powers of two as intervals are.
const CLOCKS: usize = 11;

/// A pause of the whole capture beyond this is a hole, in which messages may have come and gone: silences are timed anew
/// after it (chosen: little more than the 10 s that members of groups have to answer, RFC 3376 section 8.3).
pub const HOLE: Nanos = longest_pause(8);

/// Jumps ahead remembered, to see stamps return from them (chosen: more than the pauses of a sparse capture in a few
/// seconds).
const JUMPS_KEPT: usize = 256;

/// Times that the capture's clock was set back that are kept (chosen).
const SET_BACKS_KEPT: usize = 64;
/// More often than this, and once in so many seconds, stamps are out of order and no clock is set (chosen).
const SET_BACKS_AT_ONCE: (usize, i64) = (4, 8);

/// The longest pause that clock number `index` counts.
const fn longest_pause(index: usize) -> Nanos {
    Nanos(SLACK.0 << index)
}

/// The clock that counts the longest pauses of at most `interval`.
fn clock_of(interval: Nanos) -> usize {
    let slacks = u64::try_from(interval.0 / SLACK.0).unwrap_or_default();
    let doublings = slacks.checked_ilog2().unwrap_or_default();
    usize::try_from(doublings).unwrap_or_default().min(CLOCKS - 1)
}

/// How long the network had been watched at some point of the capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Watched([Nanos; CLOCKS]);

impl Watched {
    /// Counts what each clock lets `time` count for, by the longest pause that it counts.
    fn count(&mut self, time: Nanos, counted: impl Fn(Nanos) -> Nanos) {
        debug_assert!(time > Nanos::ZERO, "time is counted forwards");
        for (index, clock) in self.0.iter_mut().enumerate() {
            *clock = clock.saturating_add(counted(longest_pause(index)));
        }
    }

    /// For how long the network was watched since `earlier` as far as messages are concerned that come every
    /// `interval`: a pause of the whole capture counts for one interval (rounded down to a power of two) at most.
    #[must_use]
    pub fn since(&self, earlier: &Self, interval: Nanos) -> Nanos {
        let index = clock_of(interval);
        let at = |watched: &Self| watched.0.get(index).copied().unwrap_or_default();
        Nanos(at(self).0.saturating_sub(at(earlier).0))
    }
}

/// An instant of the capture: by its clock, and by how long the network had been watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Instant {
    /// By the capture's clock.
    pub time: CaptureTime,
    /// How long the network had been watched.
    pub watched: Watched,
}

impl Instant {
    /// For how long the network had been watched since `earlier`, pauses up to [`HOLE`] included.
    #[must_use]
    pub fn since(&self, earlier: &Self) -> Nanos {
        self.watched.since(&earlier.watched, HOLE)
    }
}

/// An instant, and since when the network had been watched without a hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// The instant.
    pub at: Instant,
    /// The end of the latest [`HOLE`] before, else the beginning of the capture.
    pub unbroken_since: Instant,
}

impl Now {
    /// Whether a hole lies between `then` and now.
    #[must_use]
    pub fn is_broken_since(&self, then: &Instant) -> bool {
        self.unbroken_since.since(then) > Nanos::ZERO
    }

    /// When a silence since `heard` grew longer than `lasts`, if it has: watched without a hole all that time.
    #[must_use]
    pub fn ran_out(&self, heard: &Instant, lasts: Nanos) -> Option<CaptureTime> {
        let from = if self.is_broken_since(heard) { &self.unbroken_since } else { heard };
        (self.at.since(from) > lasts).then(|| from.time.plus(lasts).min(self.at.time))
    }
}

/// Two records in a row between which the stamps jump.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Jump {
    /// Observations of the stretch that come before it.
    pub before: usize,
    /// The latest record since the jump before.
    pub from: (CaptureTime, Place),
    /// The first record after it.
    pub to: (CaptureTime, Place),
}

/// The stamps of a stretch of records, joinable with the stretch after it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Stamps {
    /// The first record with a time.
    pub first: Option<(CaptureTime, Place)>,
    /// The last record with a time.
    last: Option<CaptureTime>,
    /// The latest record since the last jump.
    pub latest: Option<(CaptureTime, Place)>,
    /// Jumps, in order.
    pub jumps: Vec<Jump>,
}

impl Stamps {
    /// Takes in a record's time; `observations` were made in this stretch so far.
    #[inline]
    pub fn record(&mut self, time: CaptureTime, place: Place, observations: usize) {
        // Nearly every record is a little later than the one before, and the latest one.
        if let (Some(last), Some((latest, _))) = (self.last, self.latest)
            && time > latest
            && time.since(last) <= ORDER
            && last == latest
        {
            self.last = Some(time);
            self.latest = Some((time, place));
            return;
        }
        self.record_slowly(time, place, observations);
    }

    fn record_slowly(&mut self, time: CaptureTime, place: Place, observations: usize) {
        let here = (time, place);
        self.first.get_or_insert(here);
        self.follow(here, observations);
        self.last = Some(time);
        if self.latest.is_none_or(|(latest, _)| time > latest) {
            self.latest = Some(here);
        }
    }

    /// Whether a record comes no earlier than the one before it, and in order after it.
    #[inline]
    #[must_use]
    pub const fn is_in_line(before: CaptureTime, time: CaptureTime) -> bool {
        time.0 >= before.0 && time.0.abs_diff(before.0) <= ORDER.0.unsigned_abs()
    }

    /// Takes in the last of records each of which [`Self::is_in_line`] with the one before, the first of them with what was taken
    /// in last. `place` is that of the first with this time.
    pub fn run_to(&mut self, time: CaptureTime, place: Place) {
        self.last = Some(time);
        if self.latest.is_none_or(|(latest, _)| time > latest) {
            self.latest = Some((time, place));
        }
    }

    /// Changes the place of every record that is kept.
    pub fn move_places(&mut self, change: impl Fn(&mut Place)) {
        let ends = [&mut self.first, &mut self.latest].into_iter().flatten();
        let jumps = self.jumps.iter_mut().flat_map(|jump| [&mut jump.from, &mut jump.to]);
        for (_, place) in ends.chain(jumps) {
            change(place);
        }
    }

    /// Notes a jump where `next` is far from the record before it.
    fn follow(&mut self, next: (CaptureTime, Place), observations: usize) {
        let Some((last, latest)) = self.last.zip(self.latest) else { return };
        if next.0.since(last).0.unsigned_abs() > ORDER.0.unsigned_abs() {
            self.jumps.push(Jump { before: observations, from: latest, to: next });
            self.latest = None;
        }
    }

    /// These stamps and those after them; `observations` were made in this stretch.
    #[must_use]
    pub fn join(mut self, right: Self, observations: usize) -> Self {
        let Some(first) = right.first else { return self };
        self.follow(first, observations);
        let mut jumps = right.jumps.into_iter();
        let later = |left: Option<(CaptureTime, Place)>, right: (CaptureTime, Place)| match left {
            Some(left) if left.0 >= right.0 => left,
            _ => right,
        };
        if let Some(jump) = jumps.next() {
            let from = later(self.latest, jump.from);
            self.jumps.push(Jump { before: jump.before.saturating_add(observations), from, ..jump });
            self.latest = right.latest;
        } else {
            self.latest = right.latest.map(|latest| later(self.latest, latest));
        }
        self.jumps
            .extend(jumps.map(|jump| Jump { before: jump.before.saturating_add(observations), ..jump }));
        self.first = self.first.or(Some(first));
        self.last = right.last;
        self
    }
}

/// A jump ahead, with what was counted before it.
#[derive(Debug, Clone, Copy)]
struct Ahead {
    from: CaptureTime,
    to: CaptureTime,
    watched: Watched,
    latest: Option<(CaptureTime, Place)>,
    unbroken_since: Option<Instant>,
}

/// The capture's clock was set back, or that of one of its interfaces.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SetBack {
    /// The latest stamp before.
    pub from: CaptureTime,
    /// The first record after, which its own time is of.
    pub to: CaptureTime,
    /// Where that record stands.
    pub place: Place,
}

impl SetBack {
    /// By how much, less the time between the two records, which nobody knows.
    #[must_use]
    pub const fn size(&self) -> Nanos {
        self.from.since(self.to)
    }
}

/// The watch itself, wound by [`Stamps`] in capture order.
///
/// Stamps that ran ahead and return to where they were before they have gone on for as long as they had jumped by are
/// of another clock: one stray record, or an interface whose clock is ahead of another's. What was counted since the
/// jump is forgotten then, and the watch goes on from before it.
#[derive(Debug, Clone, Default)]
pub struct Watch {
    watched: Watched,
    /// The time up to which it counted.
    anchor: Option<CaptureTime>,
    /// The latest record, stray ones left out.
    latest: Option<(CaptureTime, Place)>,
    /// The end of the latest hole, else the beginning.
    unbroken_since: Option<Instant>,
    /// Jumps ahead that the stamps may still return from.
    ahead: VecDeque<Ahead>,
    returns: u64,
    /// The smallest and the largest jump that the stamps returned from.
    returned_from: Option<(Nanos, Nanos)>,
    set_backs: Vec<SetBack>,
    /// How many there were.
    set_back_count: usize,
    /// How far the capture's clock ran before it was last set back.
    ran: Nanos,
    /// Since when it ran then.
    runs_since: Option<CaptureTime>,
}

impl Watch {
    /// How long the network has been watched.
    #[must_use]
    pub const fn watched(&self) -> &Watched {
        &self.watched
    }

    /// The latest record so far. Stamps that ran ahead and soon came back are left out.
    #[must_use]
    pub const fn latest(&self) -> Option<(CaptureTime, Place)> {
        self.latest
    }

    /// Times that the stamps ran ahead and came back.
    #[must_use]
    pub const fn returns(&self) -> u64 {
        self.returns
    }

    /// The smallest and the largest jump ahead that the stamps came back from.
    #[must_use]
    pub const fn returned_from(&self) -> Option<(Nanos, Nanos)> {
        self.returned_from
    }

    /// Times that the capture's clock was set back, in capture order: stamps that went back, did not come from a stray one,
    /// and stayed there. None where they go back all the time, which is no clock that is set; the first few of very many.
    #[must_use]
    pub fn set_backs(&self) -> &[SetBack] {
        let (few, seconds) = SET_BACKS_AT_ONCE;
        let count = i64::try_from(self.set_back_count).unwrap_or(i64::MAX);
        let is_often = Nanos::from_seconds(count.saturating_mul(seconds)) > self.ran();
        if self.set_back_count > few && is_often { &[] } else { &self.set_backs }
    }

    /// From where to where the capture's clock ran between the times that it was set back, from `first` on; empty where it
    /// was not.
    #[must_use]
    pub fn runs(&self, first: CaptureTime) -> Vec<(CaptureTime, CaptureTime)> {
        let set_backs = self.set_backs();
        let Some(end) = self.anchor.filter(|_| !set_backs.is_empty()) else { return Vec::new() };
        let begins = std::iter::once(first).chain(set_backs.iter().map(|set_back| set_back.to));
        begins.zip(set_backs.iter().map(|set_back| set_back.from).chain([end])).collect()
    }

    /// How long the capture's clock ran, all it ran through twice included.
    #[must_use]
    pub fn ran(&self) -> Nanos {
        let since = self.runs_since.zip(self.anchor);
        self.ran.saturating_add(since.map_or(Nanos::ZERO, |(since, now)| now.since(since)))
    }

    /// `time`, up to which it ran, as an instant of the capture.
    #[must_use]
    pub fn now(&self, time: CaptureTime) -> Now {
        let at = Instant { time, watched: self.watched };
        Now { at, unbroken_since: self.unbroken_since.unwrap_or(at) }
    }

    /// Runs to `time`, no jump between.
    pub fn run_to(&mut self, time: CaptureTime) {
        self.unbroken_since.get_or_insert(Instant { time, watched: self.watched });
        let anchor = *self.anchor.get_or_insert(time);
        self.runs_since.get_or_insert(anchor);
        let run = time.since(anchor);
        if run > Nanos::ZERO {
            self.watched.count(run, |_| run);
            self.anchor = Some(time);
        }
    }

    /// Takes in a stretch's latest record since its last jump.
    pub fn see(&mut self, latest: (CaptureTime, Place)) {
        self.run_to(latest.0);
        if self.latest.is_none_or(|(known, _)| latest.0 > known) {
            self.latest = Some(latest);
        }
    }

    /// Takes in a jump.
    pub fn jump(&mut self, jump: &Jump) {
        self.see(jump.from);
        let time = jump.to.0;
        let mut anchor = self.anchor.unwrap_or(time);
        if time < anchor {
            // Back to before a jump ahead: on from there.
            let strayed_at = self.forget_stray(time);
            if strayed_at.is_none() {
                self.set_back(jump);
            }
            anchor = strayed_at.unwrap_or(time);
        } else {
            self.return_ahead(anchor, time);
        }
        let pause = time.since(anchor);
        if pause > Nanos::ZERO {
            if self.ahead.len() >= JUMPS_KEPT {
                self.ahead.pop_front();
            }
            self.ahead.push_back(Ahead {
                from: anchor,
                to: time,
                watched: self.watched,
                latest: self.latest,
                unbroken_since: self.unbroken_since,
            });
            self.watched.count(pause, |longest| pause.min(longest));
            if pause > HOLE {
                self.unbroken_since = Some(Instant { time, watched: self.watched });
            }
        }
        self.anchor = Some(time);
        self.see(jump.to);
    }

    /// Notes that the capture's clock was set back, as far as it can be told yet.
    fn set_back(&mut self, jump: &Jump) {
        let from = self.anchor.unwrap_or(jump.from.0);
        self.ran = self.ran();
        self.runs_since = Some(jump.to.0);
        self.set_back_count += 1;
        if self.set_backs.len() < SET_BACKS_KEPT {
            self.set_backs.push(SetBack { from, to: jump.to.0, place: jump.to.1 });
        }
    }

    /// Stamps that went back, and jump ahead again to where they were before they have gone on for half as long, were of
    /// another clock: none was set.
    fn return_ahead(&mut self, anchor: CaptureTime, now: CaptureTime) {
        let is_all_kept = self.set_back_count == self.set_backs.len();
        let Some(last) = self.set_backs.last().copied().filter(|_| is_all_kept) else { return };
        let is_back = now.plus(ORDER) >= last.from && anchor.since(last.to).0 < last.size().0 / 2;
        if is_back {
            self.set_backs.pop();
            self.set_back_count -= 1;
            self.returned(last.size());
            self.ran = Nanos(self.ran.0.saturating_sub(last.from.since(last.to).0));
            self.runs_since = self.runs_since.map(|since| since.min(last.to));
        }
    }

    fn returned(&mut self, from: Nanos) {
        self.returns += 1;
        let (least, most) = self.returned_from.unwrap_or((from, from));
        self.returned_from = Some((least.min(from), most.max(from)));
    }

    /// Forgets the stray stamps that those of `now` show, and returns when they began.
    fn forget_stray(&mut self, now: CaptureTime) -> Option<CaptureTime> {
        let anchor = self.anchor?;
        let is_stray = |jump: &Ahead| {
            jump.from <= now.plus(SLACK) && now < jump.to && anchor.since(jump.to) < jump.to.since(jump.from)
        };
        let index = self.ahead.iter().rposition(is_stray)?;
        let jump = self.ahead.get(index).copied()?;
        self.ahead.truncate(index);
        self.returned(jump.to.since(jump.from));
        self.watched = jump.watched;
        self.latest = jump.latest;
        self.unbroken_since = jump.unbroken_since;
        Some(jump.from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: Nanos = Nanos(NANOS_PER_SECOND);

    fn at(ms: i64) -> (CaptureTime, Place) {
        let time = CaptureTime(ms * 1_000_000);
        (time, Place { file: 0, frame: 1, time: Some(time) })
    }

    fn stamps(times: &[i64]) -> Stamps {
        let mut stamps = Stamps::default();
        for ms in times {
            let (time, place) = at(*ms);
            stamps.record(time, place, 0);
        }
        stamps
    }

    fn watch(times: &[i64]) -> Watch {
        let mut watch = Watch::default();
        let stamps = stamps(times);
        if let Some((first, _)) = stamps.first {
            watch.run_to(first);
        }
        for jump in &stamps.jumps {
            watch.jump(jump);
        }
        if let Some(latest) = stamps.latest {
            watch.see(latest);
        }
        watch
    }

    fn watched(times: &[i64], interval: Nanos) -> Nanos {
        watch(times).watched().since(&Watched::default(), interval)
    }

    /// `count` records every `step` ms from `from` ms.
    fn every(step: i64, from: i64, count: i64) -> Vec<i64> {
        (0..count).map(|index| from + index * step).collect()
    }

    #[test]
    fn a_capture_without_pauses_was_watched_from_end_to_end() {
        let times = every(50, 1000, 101);
        for interval in [Nanos(1), SECOND, Nanos::from_seconds(64)] {
            assert_eq!(watched(&times, interval), Nanos::from_seconds(5));
        }
    }

    #[test]
    fn a_pause_counts_for_one_interval_at_most() {
        let times = [every(50, 0, 21), every(50, 11_000, 21)].concat();
        assert_eq!(watched(&times, SECOND), Nanos::from_seconds(3));
        assert_eq!(watched(&times, Nanos::from_seconds(4)), Nanos::from_seconds(6));
        assert_eq!(watched(&times, Nanos::from_seconds(16)), Nanos::from_seconds(12));
    }

    #[test]
    fn a_sparse_capture_is_watched_as_long_as_its_pauses_are_within_the_interval() {
        assert_eq!(watched(&every(900, 0, 11), SECOND), Nanos::from_seconds(9));
    }

    #[test]
    fn a_stray_stamp_ahead_counts_for_nothing_and_ends_no_capture() {
        let day = 86_400_000;
        for ahead in [&[day][..], &[day, day + 1], &[day, day + 2000]] {
            let times = [&every(50, 0, 21)[..], ahead, &every(50, 1050, 21)].concat();
            let watch = watch(&times);
            assert_eq!(watch.latest(), Some(at(2050)));
            let counted = watch.watched().since(&Watched::default(), SECOND);
            assert!(counted.0 - 2_050_000_000 <= NANOS_PER_SECOND, "{counted:?}");
        }
    }

    #[test]
    fn stamps_that_swing_to_and_fro_do_not_make_time_run_faster() {
        let times: Vec<i64> = (0..1000).map(|index| index + 5000 * (index % 2)).collect();
        assert!(watched(&times, SECOND) < Nanos::from_seconds(2));
    }

    /// A record a tenth of a second, of one interface and the next by turns of `turn`, whose clocks differ.
    fn two_interfaces(skew: i64, turn: i64) -> Vec<i64> {
        (0..600).map(|index| index * 100 + skew * ((index / turn) % 2)).collect()
    }

    #[test]
    fn interfaces_with_clocks_of_their_own_make_time_neither_stand_nor_run() {
        for skew in [-3_600_000, -5000, -200, 200, 5000, 3_600_000] {
            for turn in [1, 5, 20] {
                let counted = watched(&two_interfaces(skew, turn), SECOND).0 / 1_000_000;
                assert!((40_000..75_000).contains(&counted), "{counted} ms of 60 s, {skew} {turn}");
            }
        }
    }

    #[test]
    fn a_clock_that_is_set_back_leaves_the_end_where_it_was_and_goes_on_counting() {
        let times = [every(50, 100_000, 201), every(50, 10_000, 201)].concat();
        let watch = watch(&times);
        assert_eq!(watch.latest(), Some(at(110_000)));
        assert_eq!(watch.watched().since(&Watched::default(), SECOND), Nanos::from_seconds(20));
    }

    fn ran_out(times: &[i64], heard_ms: i64, lasts_ms: i64) -> Option<i64> {
        let (before, after) = times.split_at(times.iter().position(|time| *time >= heard_ms).unwrap());
        let heard = watch(&[before, &after[..1]].concat()).now(at(heard_ms).0).at;
        let end = watch(times);
        let now = end.now(end.latest().unwrap().0);
        now.ran_out(&heard, Nanos(lasts_ms * 1_000_000)).map(|time| time.0 / 1_000_000)
    }

    #[test]
    fn a_silence_counts_from_the_last_message_or_the_end_of_the_latest_hole() {
        let whole = every(1000, 0, 101);
        assert_eq!(ran_out(&whole, 10_000, 89_999), Some(99_999));
        assert_eq!(ran_out(&whole, 10_000, 90_000), None);
        // As long a pause as is no hole, and one a millisecond longer.
        let paused = |pause: i64| [every(1000, 0, 11), every(1000, 10_000 + pause, 51)].concat();
        assert_eq!(ran_out(&paused(16_000), 5000, 70_000), Some(75_000));
        assert_eq!(ran_out(&paused(16_001), 5000, 70_000), None);
        assert_eq!(ran_out(&paused(1_000_000), 5000, 49_000), Some(1_059_000));
    }

    #[test]
    fn a_stray_stamp_is_no_hole_and_a_clock_set_back_lets_a_silence_go_on() {
        let stray = [every(1000, 0, 51), vec![86_400_000], every(1000, 51_000, 50)].concat();
        assert_eq!(ran_out(&stray, 10_000, 80_000), Some(90_000));
        let back = [every(1000, 500_000, 51), every(1000, 100_000, 51)].concat();
        // No later than the latest stamp.
        assert_eq!(ran_out(&back, 510_000, 80_000), Some(550_000));
        assert_eq!(ran_out(&back, 510_000, 95_000), None);
    }

    #[test]
    fn an_interval_goes_by_the_clock_of_the_power_of_two_below_it() {
        let shortest = SLACK.0;
        for interval in
            [i64::MIN, -1, 0, 1, shortest - 1, shortest, shortest + 1, 2 * shortest - 1, 2 * shortest]
                .into_iter()
                .chain((0..CLOCKS).flat_map(|index| [-1, 0, 1].map(|by| longest_pause(index).0 + by)))
                .chain([i64::MAX])
        {
            let searched =
                (0..CLOCKS).rev().find(|index| longest_pause(*index) <= Nanos(interval)).unwrap_or(0);
            assert_eq!(clock_of(Nanos(interval)), searched, "{interval}");
        }
    }

    #[test]
    fn however_stamps_are_cut_they_join_to_the_same() {
        let times =
            [&every(50, 0, 9)[..], &[86_400_000], &every(40, 380, 9), &every(900, 5000, 5), &[4000]].concat();
        let whole = stamps(&times);
        // Each pause of 40 ms or more is one.
        assert_eq!(whole.jumps.len(), times.len() - 1);
        for cut in 0..=times.len() {
            let (left, right) = times.split_at(cut);
            assert_eq!(stamps(left).join(stamps(right), 0), whole, "cut at {cut}");
        }
        let in_ones = times.iter().fold(Stamps::default(), |left, ms| left.join(stamps(&[*ms]), 0));
        assert_eq!(in_ones, whole);
    }
}
