//! Sequence numbers: what is lost, late, doubled or begun anew, after RFC 3550 appendix A.1.
//!
//! Different from the RFC, because this only looks on: the first packet counts at once (the RFC waits for
//! `MIN_SEQUENTIAL`); duplicates are told from late packets by a window; loss counts missing numbers, which
//! duplicates cannot hide; the packet that a restart was held back for counts; and a held number is forgotten
//! when a packet in sequence arrives.

/// `MAX_DROPOUT`: numbers that may be missing at once (RFC 3550 appendix A.1).
const MAX_DROPOUT: u16 = 3000;
/// `MAX_MISORDER`: how far behind a late packet may be (RFC 3550 appendix A.1).
const MAX_MISORDER: u16 = 100;
/// How far a part's numbers must have moved until nothing from before it is left in the window: what came before
/// may reach [`MAX_MISORDER`] beyond the part's first number.
const SETTLED: u32 = 228;
/// Packets that a part logs at least, so that one long gap does not settle it (chosen).
const LEAST_LOGGED: usize = 256;
/// Packets that a part logs at most for a join (chosen: a stream of which each packet comes twice settles).
const MOST_LOGGED: usize = 512;

/// What a packet was to the sequence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival {
    /// The first packet.
    First,
    /// The next number.
    InOrder,
    /// A later number than the next.
    AfterGap {
        /// Numbers that are missing for now.
        missing: u16,
    },
    /// A number that was missing, or one from just before the first packet.
    Late,
    /// A number that has been there.
    Duplicate,
    /// A number far from the others: a stray, or the first packet after a restart.
    Held,
    /// The second packet after a restart; it and the one held belong to the new sequence.
    Restart,
    /// Another SSRC: a new sequence begins.
    NewSource,
}

/// Counts over all sequences of a flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SequenceCounts {
    /// Packets.
    pub received: u64,
    /// Packets that were the first with their number.
    pub unique: u64,
    /// Numbers from the lowest to the highest of each sequence.
    pub expected: u64,
    /// Packets whose number had been there.
    pub duplicates: u64,
    /// Packets that came after a higher number.
    pub reordered: u64,
    /// Gaps when they opened, filled later or not.
    pub gaps: u64,
    /// Restarts of the sequence.
    pub restarts: u64,
    /// Changes of the SSRC.
    pub ssrc_changes: u64,
    /// Times that the 16-bit number ran over.
    pub wraps: u64,
}

impl SequenceCounts {
    /// Numbers that never came.
    #[must_use]
    pub const fn lost(&self) -> u64 {
        self.expected.saturating_sub(self.unique)
    }

    /// Packets far from the sequence that no other followed.
    #[must_use]
    pub const fn strays(&self) -> u64 {
        self.received.saturating_sub(self.unique).saturating_sub(self.duplicates)
    }

    fn each(&self, other: &Self, how: fn(u64, u64) -> u64) -> Self {
        Self {
            received: how(self.received, other.received),
            unique: how(self.unique, other.unique),
            expected: how(self.expected, other.expected),
            duplicates: how(self.duplicates, other.duplicates),
            reordered: how(self.reordered, other.reordered),
            gaps: how(self.gaps, other.gaps),
            restarts: how(self.restarts, other.restarts),
            ssrc_changes: how(self.ssrc_changes, other.ssrc_changes),
            wraps: how(self.wraps, other.wraps),
        }
    }
}

/// What decides about the next packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    ssrc: u32,
    /// The highest number.
    highest: u16,
    /// Bit n: the number n below the highest has been there; 128 of them.
    window: u128,
    /// How far the lowest number is below the highest, at most [`SETTLED`].
    below: u32,
    /// The number that would confirm a restart.
    restart_at: Option<u16>,
}

impl Place {
    const fn new(ssrc: u32, sequence_number: u16) -> Self {
        Self { ssrc, highest: sequence_number, window: 1, below: 0, restart_at: None }
    }

    fn forward(&mut self, by: u16) {
        self.highest = self.highest.wrapping_add(by);
        self.window = self.window.checked_shl(u32::from(by)).unwrap_or(0) | 1;
        self.below = self.below.saturating_add(u32::from(by)).min(SETTLED);
        self.restart_at = None;
    }
}

#[derive(Debug, Clone, Copy, Default)]
struct Core {
    place: Option<Place>,
    counts: SequenceCounts,
    longest_gap: u16,
}

impl Core {
    fn push(&mut self, ssrc: u32, sequence_number: u16) -> Arrival {
        self.counts.received += 1;
        let Some(place) = &mut self.place else {
            self.begin(ssrc, sequence_number);
            return Arrival::First;
        };
        if place.ssrc != ssrc {
            self.counts.ssrc_changes += 1;
            self.begin(ssrc, sequence_number);
            return Arrival::NewSource;
        }
        let forward = sequence_number.wrapping_sub(place.highest);
        let behind = place.highest.wrapping_sub(sequence_number);
        if forward != 0 && forward < MAX_DROPOUT {
            self.counts.wraps += u64::from(sequence_number < place.highest);
            place.forward(forward);
            self.counts.unique += 1;
            self.counts.expected += u64::from(forward);
            let missing = forward - 1;
            if missing == 0 {
                return Arrival::InOrder;
            }
            self.counts.gaps += 1;
            self.longest_gap = self.longest_gap.max(missing);
            return Arrival::AfterGap { missing };
        }
        if behind < MAX_MISORDER {
            return self.behind(u32::from(behind));
        }
        if place.restart_at == Some(sequence_number) {
            self.counts.restarts += 1;
            self.counts.unique += 1;
            self.begin(ssrc, sequence_number.wrapping_sub(1));
            if let Some(place) = &mut self.place {
                place.forward(1);
            }
            self.counts.expected += 1;
            return Arrival::Restart;
        }
        place.restart_at = Some(sequence_number.wrapping_add(1));
        Arrival::Held
    }

    fn begin(&mut self, ssrc: u32, sequence_number: u16) {
        self.place = Some(Place::new(ssrc, sequence_number));
        self.counts.unique += 1;
        self.counts.expected += 1;
    }

    fn behind(&mut self, behind: u32) -> Arrival {
        let Some(place) = &mut self.place else { return Arrival::First };
        place.restart_at = None;
        let bit = 1_u128.checked_shl(behind).unwrap_or(0);
        if place.window & bit != 0 {
            self.counts.duplicates += 1;
            return Arrival::Duplicate;
        }
        place.window |= bit;
        self.counts.unique += 1;
        self.counts.reordered += 1;
        if behind > place.below {
            self.counts.expected += u64::from(behind - place.below);
            place.below = behind;
        }
        Arrival::Late
    }
}

/// The sequence of one flow.
#[derive(Debug, Clone, Default)]
pub struct Sequence {
    core: Core,
    log: Vec<(u32, u16)>,
    /// The state after the log's last packet, once the log is complete.
    logged: Option<Core>,
    inexact: bool,
}

impl Sequence {
    /// Adds a packet in order of arrival.
    pub fn push(&mut self, ssrc: u32, sequence_number: u16) -> Arrival {
        let arrival = self.core.push(ssrc, sequence_number);
        if self.logged.is_none() {
            self.log.push((ssrc, sequence_number));
            let settled =
                self.log.len() >= LEAST_LOGGED && self.core.place.is_some_and(|place| place.below == SETTLED);
            if settled || self.log.len() == MOST_LOGGED {
                self.logged = Some(self.core);
                // From here on apart from the log's, which the left side finds by itself.
                self.core.longest_gap = 0;
            }
        }
        arrival
    }

    /// Adds what followed of the same flow, and says whether the result is what one pass gives. Where it is
    /// not, the left part had better walk the right one's packets itself; the counts are then an estimate.
    #[must_use]
    pub fn join(&mut self, right: &Self) -> bool {
        for (ssrc, sequence_number) in &right.log {
            self.push(*ssrc, *sequence_number);
        }
        let mut exact = !right.inexact;
        if let Some(logged) = right.logged {
            exact &= self.core.place == logged.place;
            let since = right.core.counts.each(&logged.counts, u64::saturating_sub);
            self.core.counts = self.core.counts.each(&since, u64::saturating_add);
            self.core.longest_gap = self.core.longest_gap.max(right.core.longest_gap);
            self.core.place = right.core.place;
        }
        self.inexact |= !exact;
        exact
    }

    /// The counts.
    #[must_use]
    pub const fn counts(&self) -> &SequenceCounts {
        &self.core.counts
    }

    /// Most numbers missing at once when a gap opened.
    #[must_use]
    pub fn longest_gap(&self) -> u16 {
        self.core.longest_gap.max(self.logged.map_or(0, |logged| logged.longest_gap))
    }

    /// The SSRC of the newest sequence.
    #[must_use]
    pub fn ssrc(&self) -> Option<u32> {
        self.core.place.map(|place| place.ssrc)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    type Result = (SequenceCounts, u16, Option<Place>);

    fn pass(packets: &[(u32, u16)]) -> Sequence {
        let mut sequence = Sequence::default();
        for (ssrc, number) in packets {
            sequence.push(*ssrc, *number);
        }
        sequence
    }

    fn result(sequence: &Sequence) -> Result {
        (*sequence.counts(), sequence.longest_gap(), sequence.core.place)
    }

    fn cuts(packets: &[(u32, u16)], one: usize, two: usize) -> [Sequence; 3] {
        let (one, two) = (one.min(packets.len()), two.min(packets.len()));
        let (low, high) = (one.min(two), one.max(two));
        [pass(&packets[..low]), pass(&packets[low..high]), pass(&packets[high..])]
    }

    /// A stream with losses, late packets by up to 20 places and duplicates, through several wraps.
    fn stream() -> impl Strategy<Value = Vec<(u32, u16)>> {
        let fate = prop_oneof![
            40 => Just((1_usize, 0_usize)),
            2 => Just((0, 0)),
            1 => Just((2, 0)),
            2 => (Just(1), 1_usize..20),
        ];
        (any::<u16>(), prop::collection::vec(fate, 0..1000)).prop_map(|(start, fates)| {
            let mut packets: Vec<(usize, u16)> = Vec::new();
            let mut number = start;
            for (place, (copies, late)) in fates.into_iter().enumerate() {
                packets.extend(std::iter::repeat_n((place + late, number), copies));
                number = number.wrapping_add(if late == 7 { 300 } else { 1 });
            }
            packets.sort_by_key(|(place, _)| *place);
            packets.into_iter().map(|(_, number)| (7, number)).collect()
        })
    }

    /// Anything at all, near enough to itself that every branch is met.
    fn noise() -> impl Strategy<Value = Vec<(u32, u16)>> {
        let number = prop_oneof![3 => 0_u16..300, 1 => 65_400_u16..=65_535, 1 => 39_990_u16..40_100, 1 => any::<u16>()];
        let ssrc = prop_oneof![20 => Just(1_u32), 1 => Just(2_u32)];
        prop::collection::vec((ssrc, number), 0..900)
    }

    proptest! {
        #[test]
        fn joined_parts_of_a_stream_equal_one_pass_for_any_cuts(
            packets in stream(), one in 0_usize..1000, two in 0_usize..1000,
        ) {
            let [mut joined, middle, right] = cuts(&packets, one, two);
            prop_assert!(joined.join(&middle));
            prop_assert!(joined.join(&right));
            prop_assert_eq!(result(&joined), result(&pass(&packets)));
        }

        #[test]
        fn the_right_side_may_be_joined_first(packets in stream(), one in 0_usize..1000, two in 0_usize..1000) {
            let [mut joined, mut middle, right] = cuts(&packets, one, two);
            prop_assert!(middle.join(&right));
            prop_assert!(joined.join(&middle));
            prop_assert_eq!(result(&joined), result(&pass(&packets)));
        }

        #[test]
        fn a_join_of_noise_is_exact_or_says_that_it_is_not(
            packets in noise(), one in 0_usize..900, two in 0_usize..900,
        ) {
            let [mut joined, middle, right] = cuts(&packets, one, two);
            if joined.join(&middle) && joined.join(&right) {
                prop_assert_eq!(result(&joined), result(&pass(&packets)));
            }
        }

        #[test]
        fn every_packet_is_counted_once(packets in noise()) {
            let sequence = pass(&packets);
            let counts = sequence.counts();
            prop_assert_eq!(counts.received, u64::try_from(packets.len()).unwrap());
            prop_assert_eq!(counts.unique + counts.duplicates + counts.strays(), counts.received);
            prop_assert!(counts.expected >= counts.unique);
        }
    }

    #[test]
    fn a_part_that_never_settles_is_not_called_exact() {
        let left: Vec<(u32, u16)> = (0..400).map(|number| (1, number)).collect();
        let stuck: Vec<(u32, u16)> = std::iter::repeat_n((1, 350), 600).collect();
        let mut joined = pass(&left);
        assert!(!joined.join(&pass(&stuck)));
    }

    #[test]
    fn packets_are_told_apart() {
        let mut sequence = Sequence::default();
        let numbers = [65_534, 65_535, 2, 1, 1, 65_530, 9000, 3, 20_000, 20_001, 20_002];
        let arrivals: Vec<Arrival> = numbers.iter().map(|number| sequence.push(1, *number)).collect();
        use Arrival::{AfterGap, Duplicate, First, Held, InOrder, Late, Restart};
        assert_eq!(
            arrivals,
            [
                First,
                InOrder,
                AfterGap { missing: 2 },
                Late,
                Duplicate,
                Late,
                Held,
                InOrder,
                Held,
                Restart,
                InOrder
            ]
        );
        let counts = sequence.counts();
        assert_eq!((counts.lost(), counts.strays(), counts.wraps, counts.restarts), (4, 1, 1, 1));
        assert_eq!(sequence.push(2, 5), Arrival::NewSource);
        assert_eq!((sequence.ssrc(), sequence.longest_gap()), (Some(2), 2));
    }
}
