//! What the RTP headers of a flow amount to.

use super::minima::Minima;
use super::minima::Stamp;
use super::packet::Rtp;
use super::picked::Picked;
use crate::rtp::Jitter;
use crate::rtp::Sequence;
use crate::rtp::static_payload_type;
use crate::units::CaptureTime;
use crate::units::NANOS_PER_SECOND;

/// Packets from which a flow can be RTP (reference).
const LEAST_PACKETS: u64 = 10;
/// Sequence numbers farther apart than this do not run (chosen).
const NEAR: u16 = 64;
/// Missing numbers at once that are worth an event (chosen).
const BURST: u16 = 3;
/// Bursts kept of one flow (chosen).
const BURSTS_KEPT: usize = 16;
/// Clock rates that are in use, Hz (RFC 3551, AES67, ST 2110-10; from memory).
const CLOCK_RATES: [u32; 9] = [8000, 16_000, 32_000, 44_100, 48_000, 88_200, 90_000, 96_000, 192_000];
/// Of every picture payload format in use (RFC 3551 section 5, from memory).
pub(super) const VIDEO_RATE: u32 = 90_000;
/// How far a measured rate may be from the one it is taken for, in per mille (chosen: a few packets through a mirror
/// jitter as much; 88.2 and 90 kHz are 20 apart).
const RATE_TOLERANCE: u64 = 9;

/// Packets in a row that did not come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Burst {
    /// When the next one came.
    pub time: CaptureTime,
    /// How many.
    pub missing: u16,
}

/// Counts over neighbouring packets.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Pairs {
    /// The number went up by less than [`NEAR`].
    forward: u64,
    /// It went neither up nor down by less.
    far: u64,
    all: u64,
    /// Of packets with the next number: the timestamp stayed.
    pub(super) still: u64,
    /// It moved.
    pub(super) moved: u64,
    /// Smallest and largest way it moved.
    pub(super) steps: Option<(i32, i32)>,
    /// Sum of all ways, and of the time between.
    ticks: i64,
    elapsed: i64,
}

impl Pairs {
    fn push(&mut self, one: (Rtp, CaptureTime), two: (Rtp, CaptureTime)) {
        let forward = two.0.sequence.wrapping_sub(one.0.sequence);
        self.all += 1;
        self.forward += u64::from(forward > 0 && forward < NEAR);
        self.far += u64::from(forward >= NEAR && forward.wrapping_neg() >= NEAR);
        if forward != 1 {
            return;
        }
        let step = two.0.timestamp.wrapping_sub(one.0.timestamp).cast_signed();
        self.ticks = self.ticks.saturating_add(i64::from(step));
        self.elapsed = self.elapsed.saturating_add(two.1.since(one.1).0);
        if step == 0 {
            self.still += 1;
        } else {
            self.moved += 1;
            let (low, high) = self.steps.unwrap_or((step, step));
            self.steps = Some((low.min(step), high.max(step)));
        }
    }

    fn join(&mut self, right: &Self) {
        self.forward += right.forward;
        self.far += right.far;
        self.all += right.all;
        self.still += right.still;
        self.moved += right.moved;
        self.ticks = self.ticks.saturating_add(right.ticks);
        self.elapsed = self.elapsed.saturating_add(right.elapsed);
        self.steps = match (self.steps, right.steps) {
            (Some(left), Some(right)) => Some((left.0.min(right.0), left.1.max(right.1))),
            (left, right) => left.or(right),
        };
    }

    /// Ticks a second as measured.
    fn measured(&self) -> Option<u64> {
        let ticks = i128::from(self.ticks) * i128::from(NANOS_PER_SECOND);
        u64::try_from(ticks.checked_div(i128::from(self.elapsed))?).ok().filter(|rate| *rate > 0)
    }

    /// The rate in use that is measured.
    pub(super) fn clock_rate(&self) -> Option<u32> {
        let measured = self.measured()?;
        let nearest = CLOCK_RATES.into_iter().min_by_key(|rate| u64::from(*rate).abs_diff(measured))?;
        let off = u64::from(nearest).abs_diff(measured).saturating_mul(1000);
        (off <= u64::from(nearest) * RATE_TOLERANCE).then_some(nearest)
    }
}

/// The RTP side of a flow.
#[derive(Debug, Clone)]
pub(super) struct Media {
    pub(super) sequence: Sequence,
    pub(super) pairs: Pairs,
    /// What jitter and minima go by: a guess from the first packets.
    pub(super) clock_rate: Option<u32>,
    pub(super) jitter: Option<Jitter>,
    pub(super) minima: Option<Minima>,
    pub(super) picked: Picked,
    pub(super) markers: u64,
    pub(super) payload_types: u128,
    pub(super) bursts: Vec<Burst>,
    pub(super) burst_count: u64,
    first: Option<(Rtp, CaptureTime)>,
    last: Option<(Rtp, CaptureTime)>,
    /// Whether parts were joined that do not make one pass.
    pub(super) inexact: bool,
}

impl Media {
    /// For a flow that begins with these packets; `guessed` is what more of its packets made of the clock rate.
    pub(super) fn of_head(
        head: impl Iterator<Item = (Rtp, CaptureTime)> + Clone,
        guessed: Option<u32>,
    ) -> Self {
        let mut pairs = Pairs::default();
        for (one, two) in head.clone().zip(head.clone().skip(1)) {
            pairs.push(one, two);
        }
        let payload_type = head.clone().next().map_or(u8::MAX, |(rtp, _)| rtp.payload_type);
        let clock_rate = guessed.or_else(|| guess(&pairs, payload_type));
        let mut media = Self {
            sequence: Sequence::default(),
            pairs: Pairs::default(),
            clock_rate,
            jitter: clock_rate.and_then(Jitter::new),
            minima: clock_rate.map(Minima::new),
            picked: Picked::default(),
            markers: 0,
            payload_types: 0,
            bursts: Vec::new(),
            burst_count: 0,
            first: None,
            last: None,
            inexact: false,
        };
        for (rtp, time) in head {
            media.push(rtp, time);
        }
        media
    }

    /// Says that no part comes before.
    pub(super) fn begin(&mut self) {
        if let Some(jitter) = &mut self.jitter {
            jitter.begin();
        }
    }

    pub(super) fn push(&mut self, rtp: Rtp, time: CaptureTime) {
        let packet = (rtp, time);
        self.sequence.push(0, rtp.sequence);
        match self.last.replace(packet) {
            Some(last) => self.between(last, packet),
            None => self.first = Some(packet),
        }
        self.markers += u64::from(rtp.marker);
        self.payload_types |= 1_u128 << (rtp.payload_type & 127);
        let stamp = Stamp { time, timestamp: rtp.timestamp };
        if let Some(jitter) = &mut self.jitter {
            jitter.push(time, rtp.timestamp);
        }
        if let Some(minima) = &mut self.minima {
            minima.push(stamp);
        }
        self.picked.push(rtp.sequence, stamp);
    }

    fn between(&mut self, one: (Rtp, CaptureTime), two: (Rtp, CaptureTime)) {
        self.pairs.push(one, two);
        // One packet has come, so that many less one are missing between the two.
        let missing = two.0.sequence.wrapping_sub(one.0.sequence).wrapping_sub(1);
        // Far numbers are a restart (RFC 3550 appendix A.1 has 3000).
        if (BURST..3000).contains(&missing) {
            self.burst(Burst { time: two.1, missing });
        }
    }

    fn burst(&mut self, burst: Burst) {
        self.burst_count += 1;
        if self.bursts.len() < BURSTS_KEPT {
            self.bursts.push(burst);
        }
    }

    pub(super) fn join(&mut self, right: Self) {
        self.inexact |= !self.sequence.join(&right.sequence) || right.inexact;
        if let (Some(last), Some(first)) = (self.last, right.first) {
            self.between(last, first);
        }
        self.pairs.join(&right.pairs);
        self.first = self.first.or(right.first);
        self.last = right.last.or(self.last);
        if self.clock_rate == right.clock_rate {
            if let (Some(left), Some(right)) = (&mut self.jitter, &right.jitter) {
                left.join(right);
            }
            if let (Some(left), Some(right)) = (&mut self.minima, &right.minima) {
                left.join(right);
            }
        } else {
            self.inexact = true;
        }
        self.picked.join(&right.picked);
        self.markers += right.markers;
        self.payload_types |= right.payload_types;
        let kept = right.bursts.len();
        for burst in right.bursts {
            self.burst(burst);
        }
        self.burst_count += right.burst_count.saturating_sub(u64::try_from(kept).unwrap_or(u64::MAX));
    }

    /// Whether the numbers run as those of RTP do. By chance a number lies near the one before once in 500 times.
    pub(super) const fn is_proven(&self) -> bool {
        let Pairs { forward, far, all, .. } = self.pairs;
        all + 1 >= LEAST_PACKETS && far * 10 <= all && forward * 10 >= all * 4
    }

    /// The payload type, where there is one only.
    pub(super) fn payload_type(&self) -> Option<u8> {
        let is_one = self.payload_types.count_ones() == 1;
        is_one.then(|| u8::try_from(self.payload_types.trailing_zeros()).ok()).flatten()
    }
}

/// The clock rate as the first packets have it: that of a static payload type; pictures' where several packets
/// share a timestamp; else the one that is measured.
fn guess(pairs: &Pairs, payload_type: u8) -> Option<u32> {
    if let Some(known) = static_payload_type(payload_type) {
        return Some(known.clock_rate);
    }
    if pairs.still > 0 {
        return Some(VIDEO_RATE);
    }
    pairs.clock_rate()
}
