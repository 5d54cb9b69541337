//! What the RTP headers of a flow amount to.

use super::minima::Minima;
use super::minima::Stamp;
use super::packet::Rtp;
use super::picked::Picked;
use super::seen::Sighting;
use crate::rtp::Jitter;
use crate::rtp::Neighbours;
use crate::rtp::Numbered;
use crate::rtp::Sequence;
use crate::rtp::static_payload_type;
use crate::statistics::Point;
use crate::statistics::theil_sen;
use crate::timing::RtpUnwrapper;
use crate::units::CaptureTime;

/// Packets from which a flow can be RTP (reference).
const LEAST_PACKETS: u64 = 10;
/// Clock rates that are in use, Hz (RFC 3551, AES67, ST 2110-10; from memory).
const CLOCK_RATES: [u32; 9] = [8000, 16_000, 32_000, 44_100, 48_000, 88_200, 90_000, 96_000, 192_000];
/// Of every picture payload format in use (RFC 3551 section 5, from memory).
pub(super) const VIDEO_RATE: u32 = 90_000;
/// How far a measured rate may be from the one it is taken for, in per mille (chosen: a few packets through a mirror
/// jitter as much; 88.2 and 90 kHz are 20 apart).
const RATE_TOLERANCE: u64 = 9;
/// The same of a line through packets with jitter, whose error is not known: half of that (chosen).
const LINE_TOLERANCE: f64 = 4.5;

/// The rate in use that packets are measured to have: over all of them, else without jumps and pauses.
pub(super) fn clock_rate(neighbours: &Neighbours) -> Option<u32> {
    let off = |rate: u32, measured: u64| u64::from(rate).abs_diff(measured).saturating_mul(1000);
    let is_near = |rate: u32, measured: u64| off(rate, measured) <= u64::from(rate) * RATE_TOLERANCE;
    let plain = neighbours.rate().and_then(|measured| {
        let nearest = CLOCK_RATES.into_iter().min_by_key(|rate| off(*rate, measured))?;
        is_near(nearest, measured).then_some(nearest)
    });
    plain.or_else(|| {
        let measured =
            CLOCK_RATES.into_iter().filter_map(|rate| Some((rate, neighbours.rate_without_jumps(rate)?)));
        let fitting = measured.filter(|(rate, measured)| is_near(*rate, *measured));
        fitting.min_by_key(|(rate, measured)| off(*rate, *measured)).map(|(rate, _)| rate)
    })
}

/// The rate in use that the line through all packets has: jitter, which the first and the last packet have too, bends it
/// less.
fn clock_rate_by_line(head: impl Iterator<Item = (Rtp, CaptureTime)>) -> Option<u32> {
    let mut unwrapper = RtpUnwrapper::default();
    let point = |(rtp, time): (Rtp, CaptureTime)| Point {
        time_ns: time.0,
        value_scaled_ns: i128::from(unwrapper.unwrap(rtp.timestamp)) << 16,
    };
    let points: Vec<Point> = head.map(point).collect();
    let measured = theil_sen(&points)?.ppm * 1000.0;
    CLOCK_RATES.into_iter().find(|rate| {
        let off = (measured - f64::from(*rate)).abs() * 1000.0;
        off <= f64::from(*rate) * LINE_TOLERANCE
    })
}

/// The RTP side of a flow.
#[derive(Debug, Clone)]
pub(super) struct Media {
    pub(super) sequence: Sequence,
    /// What jitter and minima go by: a guess from the first packets.
    pub(super) clock_rate: Option<u32>,
    pub(super) jitter: Option<Jitter>,
    pub(super) minima: Option<Minima>,
    pub(super) picked: Picked,
    pub(super) markers: u64,
    pub(super) payload_types: u128,
    /// Whether parts were joined that do not make one pass.
    pub(super) inexact: bool,
}

impl Media {
    /// For a flow that begins with these packets; `guessed` is what more of its packets made of the clock rate.
    pub(super) fn of_head(
        head: impl Iterator<Item = (Rtp, CaptureTime)> + Clone,
        guessed: Option<u32>,
    ) -> Self {
        let payload_type = head.clone().next().map_or(u8::MAX, |(rtp, _)| rtp.payload_type);
        let mut sequence = Sequence::default();
        sequence.begin();
        for (rtp, time) in head.clone() {
            sequence.push(numbered(rtp, time));
        }
        let line = || clock_rate_by_line(head.clone());
        let clock_rate = guessed.or_else(|| guess(&sequence.neighbours(), payload_type)).or_else(line);
        let mut media = Self {
            sequence: Sequence::default(),
            clock_rate,
            jitter: clock_rate.and_then(Jitter::new),
            minima: clock_rate.map(Minima::new),
            picked: Picked::default(),
            markers: 0,
            payload_types: 0,
            inexact: false,
        };
        for (rtp, time) in head {
            media.push(rtp, time);
        }
        media
    }

    /// Says that no part comes before.
    pub(super) fn begin(&mut self) {
        self.sequence.begin();
        if let Some(jitter) = &mut self.jitter {
            jitter.begin();
        }
    }

    #[inline]
    pub(super) fn push(&mut self, rtp: Rtp, time: CaptureTime) {
        self.sequence.push(numbered(rtp, time));
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

    /// Adds packets in order of arrival, each sum in one go.
    pub(super) fn push_all(&mut self, packets: &[Sighting]) {
        for packet in packets {
            self.sequence.push(numbered(packet.rtp(), packet.time));
        }
        // A stream has one payload type, with the marker or without.
        for alike in packets.chunk_by(|one, next| one.marker_and_type == next.marker_and_type) {
            let Some(rtp) = alike.first().map(Sighting::rtp) else { continue };
            self.markers += u64::from(rtp.marker) * u64::try_from(alike.len()).unwrap_or(u64::MAX);
            self.payload_types |= 1_u128 << (rtp.payload_type & 127);
        }
        if let Some(jitter) = &mut self.jitter {
            jitter.push_all(packets.iter().map(|packet| (packet.time, packet.timestamp)));
        }
        let stamps = packets.iter().map(|packet| Stamp { time: packet.time, timestamp: packet.timestamp });
        if let Some(minima) = &mut self.minima {
            for stamp in stamps.clone() {
                minima.push(stamp);
            }
        }
        for (packet, stamp) in packets.iter().zip(stamps) {
            self.picked.push(packet.sequence, stamp);
        }
    }

    pub(super) fn join(&mut self, right: Self) {
        self.inexact |= !self.sequence.join(&right.sequence) || right.inexact;
        if self.clock_rate == right.clock_rate {
            if let (Some(left), Some(right)) = (&mut self.jitter, &right.jitter) {
                left.join(right);
            }
            if let (Some(left), Some(right)) = (&mut self.minima, &right.minima) {
                left.join(right);
            }
        } else {
            self.inexact = true;
            if self.clock_rate.is_none() {
                self.clock_rate = right.clock_rate;
                self.jitter = right.jitter;
                self.minima = right.minima;
            }
        }
        self.picked.join(&right.picked);
        self.markers += right.markers;
        self.payload_types |= right.payload_types;
    }

    /// Whether the numbers run as those of RTP do: two of five packets follow the newest one, as where each comes twice and
    /// some are lost. By chance a number lies so near to it once in 1000 times.
    pub(super) fn is_proven(&self) -> bool {
        let counts = self.sequence.counts();
        counts.received >= LEAST_PACKETS && counts.near * 10 >= (counts.received - 1) * 4
    }

    /// The payload type, where there is one only.
    pub(super) fn payload_type(&self) -> Option<u8> {
        let is_one = self.payload_types.count_ones() == 1;
        is_one.then(|| u8::try_from(self.payload_types.trailing_zeros()).ok()).flatten()
    }
}

/// The clock rate as the first packets have it: that of a static payload type; pictures' where several packets
/// share a timestamp; else the one that is measured.
fn guess(neighbours: &Neighbours, payload_type: u8) -> Option<u32> {
    if let Some(known) = static_payload_type(payload_type) {
        return Some(known.clock_rate);
    }
    if neighbours.still() > 0 {
        return Some(VIDEO_RATE);
    }
    clock_rate(neighbours)
}

const fn numbered(rtp: Rtp, time: CaptureTime) -> Numbered {
    Numbered { number: rtp.sequence, timestamp: rtp.timestamp, time }
}
