//! One flow: light for its first packets, all that is measured after them.

use std::ops::Range;

use super::fragments::Part;
use super::intervals::Intervals;
use super::marks::Marks;
use super::media::Media;
use super::numbers::Numbers;
use super::packet::Packet;
use super::seen::Seen;
use super::seen::Sighting;
use super::signs::Signs;
use super::trace::Trace;
use crate::statistics::Rate;
use crate::statistics::Run;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Packets that are kept as they are before anything is measured (chosen).
const HEAD: usize = 64;
/// The same where those do not tell the clock rate, as where they come with jitter (chosen: 1 ms of jitter is a 200th of
/// so many packets of 1 ms).
const LONG_HEAD: usize = 256;
/// A silence beyond this is a pause, where it is also beyond [`PAUSE_INTERVALS`] mean intervals (chosen).
pub(super) const PAUSE: Nanos = Nanos::from_seconds(2);
/// See [`PAUSE`].
pub(super) const PAUSE_INTERVALS: u64 = 20;
/// Silences kept of one flow (chosen).
const PAUSES_KEPT: usize = 8;
/// Octets kept of the first payload.
pub(super) const PAYLOAD_KEPT: usize = 32;

/// A flow's packets so far.
#[derive(Debug, Clone)]
pub(super) struct Flow {
    pub(super) state: State,
    pub(super) signs: Signs,
    /// Whether no part comes before.
    is_beginning: bool,
    /// The first octets of the first payload.
    payload: [u8; PAYLOAD_KEPT],
    payload_len: usize,
}

#[derive(Debug, Clone)]
pub(super) enum State {
    Head(Vec<Packet>),
    Measured(Box<Measured>),
}

/// A silence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Silence {
    /// The last packet before it.
    pub from: CaptureTime,
    /// The first packet after it.
    pub until: CaptureTime,
}

/// Everything that is measured of a flow. Memory: at most 36 KiB, and 40 KiB more in a part that something may come before.
#[derive(Debug, Clone)]
pub(super) struct Measured {
    pub(super) rate: Rate,
    pub(super) trace: Trace,
    pub(super) udp_payload: u64,
    pub(super) media_octets: u64,
    /// Smallest and largest RTP payload.
    pub(super) media_sizes: (u16, u16),
    pub(super) intervals: Intervals,
    pub(super) marks: Marks,
    pub(super) silences: Vec<Silence>,
    pub(super) media: Option<Media>,
    /// AVTP's numbers.
    pub(super) numbers: Numbers,
    pub(super) first: CaptureTime,
    /// UDP payload of the first packet.
    pub(super) first_payload: u16,
    last: CaptureTime,
}

impl Silence {
    /// How long it is.
    #[must_use]
    pub const fn length(self) -> Nanos {
        self.until.since(self.from)
    }

    /// Whether this is a silence of all that was captured: then it says nothing of one stream.
    pub(super) fn is_of_all(self, all: &[Self]) -> bool {
        let length = self.length().0;
        // Nine tenths: streams have intervals of their own.
        let covers = |other: &&Self| {
            let (from, until) = (self.from.max(other.from), self.until.min(other.until));
            until.since(from).0.saturating_mul(10) >= length.saturating_mul(9)
        };
        all.iter().any(|other| covers(&other))
    }
}

impl Flow {
    pub(super) fn new(payload: &[u8], is_beginning: bool) -> Self {
        let mut kept = [0; PAYLOAD_KEPT];
        for (to, from) in kept.iter_mut().zip(payload) {
            *to = *from;
        }
        Self {
            state: State::Head(Vec::new()),
            signs: Signs::default(),
            is_beginning,
            payload: kept,
            payload_len: payload.len().min(PAYLOAD_KEPT),
        }
    }

    /// A flow that was measured before.
    pub(super) fn of_measured(measured: Measured, payload: &[u8]) -> Self {
        Self { state: State::Measured(Box::new(measured)), ..Self::new(payload, false) }
    }

    /// The first octets of the first payload.
    pub(super) fn payload(&self) -> &[u8] {
        self.payload.get(..self.payload_len).unwrap_or_default()
    }

    pub(super) fn push(&mut self, packet: &Packet, payload: &[u8]) {
        if let Some(rtp) = packet.rtp
            && self.signs.is_open()
        {
            self.signs.push(rtp, payload, packet.media);
        }
        self.take(packet);
    }

    /// Adds packets that were seen, in order; `octets` gives their payload.
    pub(super) fn push_all<'a>(
        &mut self,
        seen: &Seen,
        packets: &[Sighting],
        octets: impl Fn(Range<usize>) -> &'a [u8],
    ) {
        let mut packets = packets;
        loop {
            if let State::Measured(measured) = &mut self.state
                && !(self.signs.is_open() && measured.media.is_some())
            {
                return measured.push_all(seen, packets);
            }
            let Some((sighting, rest)) = packets.split_first() else { return };
            packets = rest;
            let Some(line) = seen.line_of(sighting) else { return };
            self.push(&sighting.packet(line), octets(sighting.payload()));
        }
    }

    /// Adds a later fragment.
    pub(super) fn part(&mut self, part: Part) {
        self.take(&Packet::part(part));
    }

    fn take(&mut self, packet: &Packet) {
        match &mut self.state {
            State::Measured(measured) => measured.push(packet),
            State::Head(head) => {
                head.push(*packet);
                let is_due = head.len() == HEAD || head.len() >= LONG_HEAD;
                let measured = if is_due { Measured::of_head(head, None) } else { None };
                if let Some(mut measured) = measured
                    && (head.len() >= LONG_HEAD || !measured.wants_more())
                {
                    if self.is_beginning {
                        measured.begin();
                    }
                    self.state = State::Measured(Box::new(measured));
                }
            }
        }
    }

    /// Adds what followed.
    pub(super) fn join(&mut self, right: Self) {
        self.signs.join(&right.signs);
        match right.state {
            State::Head(head) => {
                for packet in &head {
                    self.take(packet);
                }
            }
            State::Measured(right) => {
                if let State::Head(head) = &self.state {
                    // A few packets alone tell no clock rate.
                    let guessed = right.media.as_ref().and_then(|media| media.clock_rate);
                    match Measured::of_head(head, guessed) {
                        Some(mut measured) => {
                            if self.is_beginning {
                                measured.begin();
                            }
                            self.state = State::Measured(Box::new(measured));
                        }
                        None => {
                            self.state = State::Measured(right);
                            return;
                        }
                    }
                }
                if let State::Measured(left) = &mut self.state {
                    left.join(*right);
                }
            }
        }
    }

    /// All that can be measured, also of few packets; `None` without any.
    pub(super) fn measured(self) -> Option<Measured> {
        match self.state {
            State::Head(head) => Measured::of_head(&head, None),
            State::Measured(measured) => Some(*measured),
        }
    }

    pub(super) const fn is_measured(&self) -> bool {
        matches!(self.state, State::Measured(_))
    }

    pub(super) fn first(&self) -> Option<CaptureTime> {
        match &self.state {
            State::Head(head) => head.first().map(|packet| packet.time),
            State::Measured(measured) => Some(measured.first),
        }
    }

    pub(super) fn last(&self) -> Option<CaptureTime> {
        match &self.state {
            State::Head(head) => head.last().map(|packet| packet.time),
            State::Measured(measured) => Some(measured.last),
        }
    }

    /// Packets and octets on the wire.
    pub(super) fn size(&self) -> (u64, u64) {
        match &self.state {
            State::Head(head) => {
                let packets = head.iter().filter(|packet| !packet.is_part).count();
                let packets = u64::try_from(packets).unwrap_or(u64::MAX);
                (packets, head.iter().map(|packet| u64::from(packet.wire)).sum())
            }
            State::Measured(measured) => (measured.rate.packets(), measured.rate.total_octets()),
        }
    }
}

impl Measured {
    fn of_head(head: &[Packet], guessed: Option<u32>) -> Option<Self> {
        let whole = || head.iter().filter(|packet| !packet.is_part);
        let first = whole().next()?;
        let is_rtp = whole().all(|packet| packet.rtp.is_some());
        let rtp = head.iter().filter_map(|packet| Some((packet.rtp?, packet.time)));
        let mut measured = Self {
            rate: Rate::default(),
            trace: Trace::default(),
            udp_payload: 0,
            media_octets: 0,
            media_sizes: (first.media, first.media),
            intervals: Intervals::default(),
            marks: Marks::default(),
            silences: Vec::new(),
            // Its own first packets are in it already.
            media: is_rtp.then(|| Media::of_head(rtp, guessed)),
            numbers: Numbers::default(),
            first: first.time,
            first_payload: first.udp_payload,
            last: first.time,
        };
        measured.count(first);
        for (before, packet) in whole().zip(whole().skip(1)) {
            measured.between(before.time, packet.time);
            measured.count(packet);
        }
        for part in head.iter().filter(|packet| packet.is_part) {
            measured.part(part);
        }
        Some(measured)
    }

    fn begin(&mut self) {
        if let Some(media) = &mut self.media {
            media.begin();
        }
    }

    /// Whether more packets may tell the clock rate.
    fn wants_more(&self) -> bool {
        self.media.as_ref().is_some_and(|media| media.clock_rate.is_none() && media.is_proven())
    }

    /// A later fragment is octets on the wire and no packet.
    fn part(&mut self, part: &Packet) {
        self.rate.push_part(part.time, u64::from(part.wire));
        self.trace.push(part.time, u64::from(part.wire));
    }

    fn push(&mut self, packet: &Packet) {
        if packet.is_part {
            self.part(packet);
            return;
        }
        self.between(self.last, packet.time);
        self.count(packet);
        if let (Some(media), Some(rtp)) = (&mut self.media, packet.rtp) {
            media.push(rtp, packet.time);
        }
    }

    /// The same for packets that were seen: nothing here goes by what comes between them, nor one sum by another, so each is
    /// made in one go.
    fn push_all(&mut self, seen: &Seen, packets: &[Sighting]) {
        self.mark_all(seen, packets);
        let Some((first, rest)) = packets.split_first() else { return };
        let mut run = Run::of(first.time, u64::from(first.wire));
        self.follow(first);
        for packet in rest {
            self.follow(packet);
            let octets = u64::from(packet.wire);
            if !run.takes(packet.time, octets) {
                let next = run.next(packet.time, octets);
                self.push_run(&std::mem::replace(&mut run, next));
            }
        }
        self.push_run(&run);
        if let Some(media) = &mut self.media {
            media.push_all(packets);
        } else {
            for packet in packets {
                if let Some(number) = seen.line_of(packet).and_then(|line| packet.packet(line).number) {
                    self.numbers.push(number);
                }
            }
        }
    }

    fn mark_all(&mut self, seen: &Seen, packets: &[Sighting]) {
        for of_one in packets.chunk_by(|one, next| one.line == next.line) {
            if let Some(line) = of_one.first().and_then(|first| seen.line_of(first)) {
                self.marks.push(line.dscp, line.ttl, line.pcp, line.mac);
            }
        }
    }

    #[inline]
    fn push_run(&mut self, run: &Run) {
        self.rate.push_run(run);
        self.trace.push(run.first(), run.octets());
    }

    #[inline(always)]
    fn follow(&mut self, packet: &Sighting) {
        self.between(self.last, packet.time);
        self.last = packet.time;
        self.size(packet.udp_payload, packet.media);
    }

    #[inline]
    fn size(&mut self, udp_payload: u16, media: u16) {
        self.udp_payload += u64::from(udp_payload);
        self.media_octets += u64::from(media);
        let (low, high) = self.media_sizes;
        self.media_sizes = (low.min(media), high.max(media));
    }

    fn count(&mut self, packet: &Packet) {
        self.rate.push(packet.time, u64::from(packet.wire));
        self.trace.push(packet.time, u64::from(packet.wire));
        self.size(packet.udp_payload, packet.media);
        self.marks.push(packet.dscp, packet.ttl, packet.pcp, packet.mac);
        if let Some(number) = packet.number {
            self.numbers.push(number);
        }
        self.last = packet.time;
    }

    #[inline]
    fn between(&mut self, before: CaptureTime, after: CaptureTime) {
        let interval = after.since(before);
        self.intervals.record(interval);
        if interval > PAUSE && self.silences.len() < PAUSES_KEPT {
            self.silences.push(Silence { from: before, until: after });
        }
    }

    fn join(&mut self, right: Self) {
        self.between(self.last, right.first);
        // Where time goes far back at a cut, a peak may differ; nothing else does.
        let _exact: bool = self.rate.join(&right.rate);
        self.trace.join(right.trace);
        self.udp_payload += right.udp_payload;
        self.media_octets += right.media_octets;
        let ((low, high), (right_low, right_high)) = (self.media_sizes, right.media_sizes);
        self.media_sizes = (low.min(right_low), high.max(right_high));
        self.intervals.join(&right.intervals);
        self.marks.join(&right.marks);
        self.numbers.join(&right.numbers);
        self.silences.extend(right.silences);
        self.silences.truncate(PAUSES_KEPT);
        self.last = right.last;
        match (&mut self.media, right.media) {
            (Some(left), Some(right)) => left.join(right),
            // All packets of one flow have an RTP header or none has: the SSRC is in the key.
            (left, _) => *left = None,
        }
    }

    pub(super) const fn last(&self) -> CaptureTime {
        self.last
    }

    /// From its first packet to its last, also where the capture's clock was set back between.
    pub(super) fn span(&self) -> Nanos {
        self.rate.watched().unwrap_or_default()
    }
}
