//! How regularly one sender sends one kind of message: declared interval, measured gaps, missed numbers.
//!
//! Gaps and numbers are taken towards each addressee apart: a sender that serves many by unicast sends each its own
//! series, and an answer carries its asker's numbers. Memory: at most [`ADDRESSEE_LIMIT`] addressees a series.

use std::collections::HashMap;
use std::net::IpAddr;

use super::key::PortId;
use crate::observations::Path;
use crate::observations::Place;
use crate::statistics::Distribution;
use crate::tables::Seeded;
use crate::units::LogInterval;
use crate::units::Nanos;

/// A jump of `sequenceId` is only believed to be that many lost messages if this many times the interval
/// has passed for each (chosen: 1588-2008 7.7.2.1 lets a mean differ by 30 %, from memory; one half is generous).
const PLAUSIBLE_PACE: i64 = 2;

/// Gaps from which a series is believed to have a pace of its own (chosen).
const MEASURED_FROM: u64 = 4;

/// Gaps up to which the median is taken at every one, and the step in which it is taken beyond (chosen: taking it
/// costs as much as there are gaps).
const MEASURED_STEP: u64 = 64;

/// Addressees whose series are kept apart; those beyond are counted and not measured (chosen: more than one sender
/// serves by unicast on a segment).
const ADDRESSEE_LIMIT: usize = 1024;

/// Steps by which a number goes back where messages were captured out of order (chosen: mirrors and queues
/// re-order no more).
const REORDERED: u16 = 8;

/// Numbers up to which a sender is believed to have begun anew when it goes back to them: those it sent before the
/// first that was captured (chosen).
const FRESH: u16 = 64;

/// The pace that is taken for an unknown one when a number comes twice: half of it is more than copies are apart (chosen).
const COPY_WINDOW: Nanos = Nanos(20_000_000);

/// Restarts of which the frame is kept (chosen).
const RESTARTS_SHOWN: usize = 8;

/// Whom a message is meant for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Addressee {
    /// Everybody, or nobody that could be told.
    Group,
    /// One IP address.
    Address(IpAddr),
    /// The port that asked.
    Asker(PortId),
}

impl Addressee {
    /// The addressee of a message that is no answer.
    #[must_use]
    pub fn of(path: &Path) -> Self {
        path.destination_ip.filter(|_| !path.is_multicast()).map_or(Self::Group, Self::Address)
    }
}

#[derive(Debug, Clone, Copy)]
struct Latest {
    place: Place,
    sequence_id: u16,
}

/// The series of one message type from one port.
#[derive(Debug, Clone, Default)]
pub struct Cadence {
    declared: Option<LogInterval>,
    gaps: Distribution,
    /// The median of the first so many gaps, as far as it was asked for.
    measured: (u64, Option<Nanos>),
    /// The gaps of which the median is to be taken.
    measured_from: u64,
    /// The gaps after those, and the ends of those, where they are not kept one by one.
    later: Vec<Nanos>,
    ends: Option<(Nanos, Nanos)>,
    shortest_gap: Option<Nanos>,
    count: u64,
    missed: u64,
    redeclared: bool,
    leaps: u64,
    restarts: u64,
    restart_places: Vec<Place>,
    first: Option<Place>,
    last: Option<Place>,
    /// The latest message to everybody.
    latest: Option<Latest>,
    /// The latest message to each other addressee.
    #[allow(
        clippy::box_collection,
        reason = "hardly a series has it, and there are many: a pointer is all it costs"
    )]
    apart: Option<Box<HashMap<Addressee, Latest, Seeded>>>,
}

impl Cadence {
    /// Takes in the next message; the time since the one before it, where it took its turn.
    pub fn record(
        &mut self,
        place: Place,
        sequence_id: u16,
        declared: LogInterval,
        addressee: Addressee,
    ) -> Option<Nanos> {
        self.count += 1;
        if declared != LogInterval::NOT_GIVEN {
            self.redeclared |= self.declared.is_some_and(|before| before != declared);
            self.declared = Some(declared);
        }
        // Looked up once, and written where it was found.
        let mut apart = self.apart.take();
        let mut to_group = self.latest;
        let known = match addressee {
            Addressee::Group => to_group.as_mut(),
            _ => apart.as_mut().and_then(|apart| apart.get_mut(&addressee)),
        };
        let before = known.as_deref().copied();
        let (gap, out_of_turn) = self.take_turn(before, place, sequence_id, addressee);
        self.first.get_or_insert(place);
        self.last = Some(place);
        let latest = Latest { place, sequence_id };
        let is_new = known.is_none();
        if let Some(known) = known.filter(|_| !out_of_turn) {
            *known = latest;
        }
        (self.apart, self.latest) = (apart, to_group);
        if is_new && !out_of_turn {
            self.follow(addressee, latest);
        }
        gap
    }

    /// The time since the message before, where this one took its turn, and whether it did not.
    fn take_turn(
        &mut self,
        before: Option<Latest>,
        place: Place,
        sequence_id: u16,
        addressee: Addressee,
    ) -> (Option<Nanos>, bool) {
        let since =
            before.and_then(|last| Some(place.time?.since(last.place.time?))).filter(|gap| gap.0 >= 0);
        if before.is_some_and(|last| last.sequence_id == sequence_id) {
            self.measure();
        }
        let out_of_turn =
            before.is_some_and(|last| self.is_out_of_turn(last.sequence_id, sequence_id, since));
        let gap = since.filter(|_| !out_of_turn);
        if let Some(gap) = gap {
            self.gaps.record(gap);
            let gaps = self.gaps.count();
            if gaps >= MEASURED_FROM && (gaps <= MEASURED_STEP || gaps.is_multiple_of(MEASURED_STEP)) {
                self.measured_from = gaps;
                self.later.clear();
                self.ends = self.gaps.ends();
            } else if !self.gaps.has_room() {
                self.later.push(gap);
            }
        }
        if !out_of_turn {
            self.count_missed(before.map(|last| last.sequence_id), sequence_id, gap, place, addressee);
        }
        if let Some(gap) = gap.filter(|gap| gap.0 > 0) {
            self.shortest_gap = Some(self.shortest_gap.map_or(gap, |shortest| shortest.min(gap)));
        }
        (gap, out_of_turn)
    }

    /// Takes in the first message to an addressee.
    fn follow(&mut self, addressee: Addressee, latest: Latest) {
        let others = self.apart.as_ref().map_or(0, |apart| apart.len());
        if others + usize::from(self.latest.is_some()) >= ADDRESSEE_LIMIT {
            return;
        }
        if addressee == Addressee::Group {
            self.latest = Some(latest);
        } else {
            self.apart.get_or_insert_default().insert(addressee, latest);
        }
    }

    /// Takes the median that is due: few series are asked for theirs, and it takes time.
    pub(super) fn measure(&mut self) {
        self.measured = (self.measured_from, self.measured());
    }

    fn measured(&self) -> Option<Nanos> {
        let (count, measured) = self.measured;
        if count == self.measured_from {
            return measured;
        }
        self.gaps.median_without(&self.later, self.measured_from, self.ends)
    }

    /// Whether a message was captured before: late, or a second time as by a mirror of two ports. It takes nobody's
    /// turn. A sender that does not count at all repeats its number about as often as it declares.
    fn is_out_of_turn(&self, last: u16, sequence_id: u16, since: Option<Nanos>) -> bool {
        match last.wrapping_sub(sequence_id) {
            0 => {
                let pace = self.declared_interval().or_else(|| self.measured()).unwrap_or(COPY_WINDOW);
                since.is_none_or(|since| since.saturating_mul(2) < pace || since > pace.saturating_mul(4))
            }
            back => back <= REORDERED,
        }
    }

    fn count_missed(
        &mut self,
        last: Option<u16>,
        sequence_id: u16,
        gap: Option<Nanos>,
        place: Place,
        addressee: Addressee,
    ) {
        let Some(last) = last else { return };
        let step = sequence_id.wrapping_sub(last);
        if step <= 1 {
            return;
        }
        if sequence_id < last && sequence_id < FRESH && last.wrapping_add(FRESH) > last {
            // Each grant of a unicast service may begin its own numbers.
            if addressee != Addressee::Group {
                return;
            }
            self.restarts += 1;
            if self.restart_places.len() < RESTARTS_SHOWN {
                self.restart_places.push(place);
            }
            return;
        }
        let skipped = i64::from(step - 1);
        let pace = self.declared_interval().or(self.shortest_gap);
        let room = gap.zip(pace).map(|(gap, pace)| gap.saturating_mul(PLAUSIBLE_PACE).0 / pace.0.max(1));
        if step < 0x8000 && room.is_none_or(|room| skipped <= room) {
            self.missed += skipped.unsigned_abs();
        } else {
            self.leaps += 1;
        }
    }

    /// `logMessageInterval` as last declared; `None` where never or where it says "not given".
    #[must_use]
    pub const fn declared(&self) -> Option<LogInterval> {
        self.declared
    }

    /// The declared interval as a duration.
    #[must_use]
    pub fn declared_interval(&self) -> Option<Nanos> {
        self.declared.and_then(LogInterval::nanos)
    }

    /// The declared interval unless the series is plainly slower, then the measured one. This is what a
    /// receiver that waits for the next message has to reckon with.
    #[must_use]
    pub fn pace(&self) -> Option<Nanos> {
        match (self.declared_interval(), self.measured()) {
            // So much longer than what is kept that it cannot be meant.
            (Some(declared), Some(measured)) if declared.0 / 8 > measured.0 => Some(measured),
            (Some(declared), Some(measured)) => Some(declared.max(Nanos(measured.0.saturating_mul(2) / 3))),
            (declared, measured) => declared.or(measured),
        }
    }

    /// The gaps between messages in capture order.
    #[must_use]
    pub const fn gaps(&self) -> &Distribution {
        &self.gaps
    }

    /// Messages seen.
    #[must_use]
    pub const fn count(&self) -> u64 {
        self.count
    }

    /// Messages that `sequenceId` says were sent between those seen.
    #[must_use]
    pub const fn missed(&self) -> u64 {
        self.missed
    }

    /// Whether another interval was declared before.
    #[must_use]
    pub const fn is_redeclared(&self) -> bool {
        self.redeclared
    }

    /// Times that `sequenceId` moved by more than was lost, late or begun anew: several senders' numbers in one series,
    /// or one sender's seen through two clocks.
    #[must_use]
    pub const fn leaps(&self) -> u64 {
        self.leaps
    }

    /// Times that `sequenceId` fell back to a small number that was not its turn: the sender began anew.
    #[must_use]
    pub const fn restarts(&self) -> u64 {
        self.restarts
    }

    /// The first messages after a few of those.
    #[must_use]
    pub fn restart_places(&self) -> &[Place] {
        &self.restart_places
    }

    /// The first message.
    #[must_use]
    pub const fn first(&self) -> Option<Place> {
        self.first
    }

    /// The latest message.
    #[must_use]
    pub const fn last(&self) -> Option<Place> {
        self.last
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CaptureTime;

    fn at(ms: i64) -> Place {
        Place { file: 0, frame: 1, time: Some(CaptureTime(ms * 1_000_000)) }
    }

    fn series(messages: &[(i64, u16)]) -> Cadence {
        let mut cadence = Cadence::default();
        for (ms, sequence_id) in messages {
            cadence.record(at(*ms), *sequence_id, LogInterval(0), Addressee::Group);
        }
        cadence
    }

    #[test]
    fn missed_messages_are_counted_over_the_wrap() {
        let cadence = series(&[(0, 65534), (1000, 65535), (4000, 2), (5000, 3)]);
        assert_eq!((cadence.missed(), cadence.restarts(), cadence.count()), (2, 0, 4));
        assert_eq!(cadence.gaps().median(), Some(Nanos(1_000_000_000)));
    }

    #[test]
    fn a_jump_that_time_does_not_allow_is_a_restart() {
        let cadence = series(&[(0, 40_000), (1000, 40_001), (2000, 0), (3000, 1)]);
        assert_eq!((cadence.missed(), cadence.restarts()), (0, 1));
    }

    #[test]
    fn unicast_to_two_followers_is_not_taken_for_twice_the_rate() {
        let mut cadence = Cadence::default();
        for second in 0..8_u16 {
            for (host, first_number) in [(1, 0), (2, 9000)] {
                let addressee = Addressee::Address(IpAddr::from([10, 20, 0, host]));
                let ms = i64::from(second) * 1000 + i64::from(host);
                cadence.record(at(ms), first_number + second, LogInterval(0), addressee);
            }
        }
        assert_eq!(cadence.gaps().median(), Some(Nanos(1_000_000_000)));
        assert_eq!((cadence.missed(), cadence.restarts(), cadence.count()), (0, 0, 16));
    }

    #[test]
    fn messages_that_are_seen_twice_keep_the_pace_of_once() {
        for copy_after in [0, 2, 200, 400, 2100] {
            let mut messages: Vec<(i64, u16)> = (0..20)
                .flat_map(|n: u16| [(i64::from(n) * 1000, n), (i64::from(n) * 1000 + copy_after, n)])
                .collect();
            messages.sort_by_key(|(ms, _)| *ms);
            let twice = series(&messages);
            assert_eq!(twice.gaps().median(), Some(Nanos(1_000_000_000)), "{copy_after}");
            assert_eq!((twice.missed(), twice.restarts(), twice.leaps()), (0, 0, 0), "{copy_after}");
        }
    }

    #[test]
    fn a_sender_that_does_not_count_has_a_pace_all_the_same() {
        let series = series(&(0..20).map(|n| (n * 1000, 7)).collect::<Vec<_>>());
        assert_eq!((series.gaps().median(), series.gaps().count()), (Some(Nanos(1_000_000_000)), 19));
    }

    #[test]
    fn numbers_to_one_addressee_that_begin_anew_are_a_new_grant() {
        let mut cadence = Cadence::default();
        for (number, ms) in (0..10).chain(0..10).zip(0..) {
            let addressee = Addressee::Address(IpAddr::from([10, 20, 0, 1]));
            cadence.record(at(ms * 1000), number, LogInterval(0), addressee);
        }
        assert_eq!((cadence.restarts(), cadence.missed(), cadence.leaps()), (0, 0, 0));
    }

    #[test]
    fn a_message_captured_late_is_no_restart_and_a_fall_back_to_small_numbers_is() {
        let late = series(&[(0, 20), (1000, 21), (1001, 20), (2000, 22)]);
        assert_eq!((late.missed(), late.restarts()), (0, 0));
        let again = series(&[(0, 19), (1000, 20), (2000, 0), (3000, 1), (20_000, 18), (21_000, 3)]);
        assert_eq!((again.missed(), again.restarts(), again.restart_places().len()), (16, 2, 2));
        let elsewhere = series(&[(0, 40_000), (1000, 20_000), (2000, 20_001)]);
        assert_eq!((elsewhere.missed(), elsewhere.restarts()), (0, 0));
        let wrapped = series(&[(0, 65_530), (60_000, 30)]);
        assert_eq!((wrapped.missed(), wrapped.restarts()), (35, 0));
    }

    #[test]
    fn a_repeated_number_is_neither_missed_nor_a_restart() {
        let cadence = series(&[(0, 7), (1, 7), (1000, 8)]);
        assert_eq!((cadence.missed(), cadence.restarts()), (0, 0));
    }

    #[test]
    fn a_sender_slower_than_it_declares_is_awaited_at_its_own_pace() {
        let slow = series(&[(0, 1), (4000, 2), (8000, 3), (12_000, 4), (16_000, 5)]);
        assert_eq!(slow.declared_interval(), Some(Nanos(1_000_000_000)));
        assert!(slow.pace().unwrap() > Nanos(2_000_000_000));
        let steady = series(&[(0, 1), (1000, 2), (2010, 3), (3000, 4), (4000, 5)]);
        assert_eq!(steady.pace(), Some(Nanos(1_000_000_000)));
    }
}
