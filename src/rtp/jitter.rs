//! Interarrival jitter (RFC 3550 section 6.4.1 and appendix A.8) that joins exactly.
//!
//! The filter is the RFC's integer form, `J += |D| − ((J + 8) >> 4)` with `J` scaled by 16, here in ns. It forgets
//! where it began, but not wholly: up to 16 neighbouring states lie still side by side for ever. So a part logs its
//! first samples until every possible beginning has led to one of 16 states, and from there carries all 16 along.
//! Whatever part comes before picks the one that it leads to.

use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// A change of transit time beyond this is a step of one of the clocks and no jitter (chosen), ns.
const LARGEST_SAMPLE_NS: u64 = 1_000_000_000;
/// No scaled state lies above: with the largest sample the filter falls from here.
const LARGEST_STATE: u64 = 16 * LARGEST_SAMPLE_NS + 16;
/// States that may stay apart for ever.
const STATES_APART: u64 = 16;

/// The filter from one beginning on: its scaled state and the largest that it was.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Run {
    scaled: u64,
    most: u64,
}

impl Run {
    fn step(&mut self, sample_ns: u64) {
        self.scaled = step(self.scaled, sample_ns);
        self.most = self.most.max(self.scaled);
    }
}

const fn step(scaled: u64, sample_ns: u64) -> u64 {
    // Never below zero: the part taken away is at most the state.
    scaled.saturating_add(sample_ns).saturating_sub((scaled.saturating_add(8)) >> 4)
}

/// `|D(i−1,i)|`: by how much the second packet was under way for longer or less, ns. `turned` is the way in ticks that was turned
/// into time last, and that time.
#[inline]
fn sample_between(
    one: (CaptureTime, u32),
    two: (CaptureTime, u32),
    turned: &mut (i64, i64),
    clock_rate: i64,
) -> u64 {
    let ticks = i64::from(two.1.wrapping_sub(one.1).cast_signed());
    if ticks != turned.0 {
        // 32 bits of ticks times 10⁹ fit into 63 bits.
        *turned = (ticks, ticks * NANOS_PER_SECOND / clock_rate);
    }
    two.0.since(one.0).0.saturating_sub(turned.1).unsigned_abs()
}

/// Interarrival jitter of one stream: one SSRC with one clock rate.
#[derive(Debug, Clone)]
pub struct Jitter {
    clock_rate: u32,
    first: Option<(CaptureTime, u32)>,
    last: Option<(CaptureTime, u32)>,
    own: Run,
    samples: u64,
    steps: u64,
    /// Samples until every beginning has come together.
    log: Vec<u32>,
    /// The states that the log's end may be in, both included.
    reachable: (u64, u64),
    /// One run for each of `reachable`, once those are few.
    runs: Vec<Run>,
    /// Whether nothing comes before, so that no other beginning counts.
    is_beginning: bool,
    /// The last way in ticks that was turned into time, and that time, ns: a steady stream's is always the same.
    turned: (i64, i64),
}

impl Jitter {
    /// The filter of a stream whose media clock has `clock_rate` Hz; `None` for 0 Hz.
    #[must_use]
    pub fn new(clock_rate: u32) -> Option<Self> {
        (clock_rate > 0).then(|| Self {
            clock_rate,
            first: None,
            last: None,
            own: Run::default(),
            samples: 0,
            steps: 0,
            log: Vec::new(),
            reachable: (0, LARGEST_STATE),
            runs: Vec::new(),
            is_beginning: false,
            turned: (0, 0),
        })
    }

    /// Says that no part comes before this one, so that nothing has to be kept for one. It can then be joined with what
    /// follows and no more with what was before.
    pub fn begin(&mut self) {
        self.is_beginning = true;
        self.log = Vec::new();
        self.runs = Vec::new();
    }

    /// Adds a packet in order of arrival.
    #[inline]
    pub fn push(&mut self, arrival: CaptureTime, rtp_timestamp: u32) {
        let packet = (arrival, rtp_timestamp);
        match self.last.replace(packet) {
            None => self.first = Some(packet),
            Some(last) => self.between(last, packet),
        }
    }

    /// Adds packets in order of arrival.
    #[inline]
    pub fn push_all(&mut self, packets: impl Iterator<Item = (CaptureTime, u32)>) {
        let mut packets = packets;
        // Something may come before, or this is the first: each leaves something of itself.
        while !self.is_beginning || self.last.is_none() {
            let Some((arrival, rtp_timestamp)) = packets.next() else { return };
            self.push(arrival, rtp_timestamp);
        }
        let Some(mut last) = self.last else { return };
        let Self { own, turned, clock_rate, samples, steps, .. } = self;
        let (mut run, mut way, rate) = (*own, *turned, i64::from(*clock_rate));
        let (mut taken, mut left_out) = (0, 0);
        for packet in packets {
            let sample = sample_between(last, packet, &mut way, rate);
            last = packet;
            if sample > LARGEST_SAMPLE_NS {
                left_out += 1;
            } else {
                run.step(sample);
                taken += 1;
            }
        }
        (*own, *turned) = (run, way);
        *samples += taken;
        *steps += left_out;
        self.last = Some(last);
    }

    /// Adds what followed, of the same stream with the same clock rate. The result is what one pass gives.
    pub fn join(&mut self, right: &Self) {
        let Some((arrival, rtp_timestamp)) = right.first else { return };
        self.push(arrival, rtp_timestamp);
        for sample in &right.log {
            self.sample(u64::from(*sample));
        }
        if !right.runs.is_empty() {
            right.carry_on(&mut self.own);
            for run in &mut self.runs {
                right.carry_on(run);
            }
        }
        self.samples += right.samples.saturating_sub(u64::try_from(right.log.len()).unwrap_or(u64::MAX));
        self.steps += right.steps;
        self.last = right.last;
    }

    /// The jitter after the last packet, rounded down.
    #[must_use]
    pub fn current(&self) -> Nanos {
        unscaled(self.own.scaled)
    }

    /// The largest jitter after any packet, rounded down.
    #[must_use]
    pub fn most(&self) -> Nanos {
        unscaled(self.own.most)
    }

    /// Number of packet pairs in the filter.
    #[must_use]
    pub const fn samples(&self) -> u64 {
        self.samples
    }

    /// Packet pairs that were left out, as the transit time changed by more than 1 s between them.
    #[must_use]
    pub const fn steps(&self) -> u64 {
        self.steps
    }

    #[inline]
    fn between(&mut self, one: (CaptureTime, u32), two: (CaptureTime, u32)) {
        let change = sample_between(one, two, &mut self.turned, i64::from(self.clock_rate));
        if change > LARGEST_SAMPLE_NS {
            self.steps += 1;
        } else {
            self.sample(change);
        }
    }

    #[inline]
    fn sample(&mut self, sample_ns: u64) {
        self.samples += 1;
        self.own.step(sample_ns);
        if !self.is_beginning {
            self.log(sample_ns);
        }
    }

    /// Carries along what every beginning leads to.
    fn log(&mut self, sample_ns: u64) {
        if !self.runs.is_empty() {
            for run in &mut self.runs {
                run.step(sample_ns);
            }
            return;
        }
        self.log.push(u32::try_from(sample_ns).unwrap_or(u32::MAX));
        let (low, high) = self.reachable;
        let (low, high) = (step(low, sample_ns), step(high, sample_ns));
        self.reachable = (low, high);
        if high - low < STATES_APART {
            self.runs = (low..=high).map(|scaled| Run { scaled, most: 0 }).collect();
        }
    }

    /// Takes a run at the end of this log to the end of this part.
    fn carry_on(&self, run: &mut Run) {
        let place = run.scaled.checked_sub(self.reachable.0).and_then(|place| usize::try_from(place).ok());
        if let Some(end) = place.and_then(|place| self.runs.get(place)) {
            *run = Run { scaled: end.scaled, most: run.most.max(end.most) };
        } else {
            debug_assert!(false, "the log leads every state into the reachable ones");
        }
    }
}

fn unscaled(scaled: u64) -> Nanos {
    Nanos(i64::try_from(scaled >> 4).unwrap_or(i64::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pass(packets: &[(i64, u32)]) -> Jitter {
        let mut jitter = Jitter::new(48_000).unwrap();
        for (arrival, rtp_timestamp) in packets {
            jitter.push(CaptureTime(*arrival), *rtp_timestamp);
        }
        jitter
    }

    fn result(jitter: &Jitter) -> (Run, u64, u64) {
        (jitter.own, jitter.samples, jitter.steps)
    }

    fn joined_equals_one_pass(packets: &[(i64, u32)], one: usize, two: usize) {
        let (one, two) = (one.min(packets.len()), two.min(packets.len()));
        let (low, high) = (one.min(two), one.max(two));
        let whole = result(&pass(packets));
        let mut in_one_go = Jitter::new(48_000).unwrap();
        in_one_go.push_all(packets[..low].iter().map(|(arrival, stamp)| (CaptureTime(*arrival), *stamp)));
        in_one_go.begin();
        in_one_go.push_all(packets[low..].iter().map(|(arrival, stamp)| (CaptureTime(*arrival), *stamp)));
        assert_eq!(result(&in_one_go), whole);
        let (left, middle, right) =
            (pass(&packets[..low]), pass(&packets[low..high]), pass(&packets[high..]));
        let mut from_beginning = left.clone();
        from_beginning.begin();
        from_beginning.join(&middle);
        from_beginning.join(&right);
        assert_eq!(result(&from_beginning), whole);
        let mut from_left = left.clone();
        from_left.join(&middle);
        from_left.join(&right);
        assert_eq!(result(&from_left), whole);
        let mut tail = middle;
        tail.join(&right);
        let mut from_right = left;
        from_right.join(&tail);
        assert_eq!(result(&from_right), whole);
    }

    /// Packets of 48 ticks and about 1 ms, with noise, seconds of pause and jumps of the timestamp.
    fn packets() -> impl Strategy<Value = Vec<(i64, u32)>> {
        let noise = prop_oneof![
            6 => -100_000_i64..100_000,
            2 => Just(0_i64),
            1 => 0_i64..900_000_000,
            1 => any::<i32>().prop_map(i64::from),
        ];
        let ticks = prop_oneof![9 => Just(48_u32), 1 => any::<u32>()];
        (any::<u32>(), prop::collection::vec((noise, ticks), 0..1500)).prop_map(|(start, steps)| {
            let (mut at, mut timestamp) = (0_i64, start);
            steps
                .into_iter()
                .map(|(noise, ticks)| {
                    at += 1_000_000 + noise;
                    timestamp = timestamp.wrapping_add(ticks);
                    (at, timestamp)
                })
                .collect()
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(128))]
        #[test]
        fn joined_parts_equal_one_pass_for_any_cuts(packets in packets(), one in 0_usize..1500, two in 0_usize..1500) {
            joined_equals_one_pass(&packets, one, two);
        }

        /// Samples that are all alike keep neighbouring states apart for ever.
        #[test]
        fn a_steady_change_joins_too(change in 0_i64..2_000_000, one in 0_usize..1500, two in 0_usize..1500) {
            let packets: Vec<(i64, u32)> =
                (0..1500_u32).map(|at| (i64::from(at) * (1_000_000 + change), at * 48)).collect();
            joined_equals_one_pass(&packets, one, two);
        }
    }

    #[test]
    fn the_log_ends_even_from_the_largest_state() {
        let steady: Vec<(i64, u32)> = (0..400_u32).map(|at| (i64::from(at) * 1_000_000, at * 48)).collect();
        let jitter = pass(&steady);
        assert!(jitter.log.len() < 340, "{}", jitter.log.len());
        assert_eq!(jitter.runs.len(), 16);
    }

    /// RFC 3550 appendix A.8 by hand: samples of 160 and 0 give scaled 160, then 160 − (168 >> 4) = 150.
    #[test]
    fn the_filter_is_the_one_of_the_rfc() {
        let jitter = pass(&[(0, 0), (1_000_160, 48), (2_000_160, 96)]);
        assert_eq!((jitter.own.scaled, jitter.own.most), (150, 160));
        assert_eq!((jitter.current(), jitter.most()), (Nanos(9), Nanos(10)));
    }

    #[test]
    fn a_wrapping_timestamp_is_a_small_step() {
        let jitter = pass(&[(0, u32::MAX - 23), (1_000_000, 24)]);
        assert_eq!((jitter.current(), jitter.samples(), jitter.steps()), (Nanos(0), 1, 0));
        let stepped = pass(&[(0, 0), (1_000_000, 480_000)]);
        assert_eq!((stepped.samples(), stepped.steps()), (0, 1));
    }
}
