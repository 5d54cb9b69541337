//! A stream: a flow with everything that could be found out about it.

use std::collections::BTreeMap;
use std::net::IpAddr;

use super::contradiction;
use super::contradiction::Contradiction;
use super::describe;
use super::describe::Kind;
use super::describe::Nature;
use super::flow::Flow;
use super::flow::PAUSE_INTERVALS;
use super::flow::Silence;
use super::flow::State;
use super::intervals::Intervals;
use super::key::FlowKey;
use super::media;
use super::media::Media;
use super::media_clock;
use super::media_clock::MediaRate;
use super::numbers::AvtpCounts;
use super::outages;
use super::picked::Picked;
use super::sessions;
use super::sessions::Described;
use super::signs::Format;
use super::trace::RateChange;
use super::trace::Trace;
use crate::clock::LeaderTime;
use crate::clock::SetBacks;
use crate::rtp::Burst;
use crate::rtp::LossesOverTime;
use crate::rtp::Neighbours;
use crate::sdp::MediaClock;
use crate::statistics::Rate;
use crate::units::BitsPerSecond;
use crate::units::CaptureTime;
use crate::units::MacAddress;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;

/// What RTP's sequence numbers and timestamps say.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RtpCounts {
    /// Numbers that never came, outages among them.
    pub lost: u64,
    /// Numbers missing across times in which nothing at all was captured: the network may have carried them.
    pub not_captured: u64,
    /// Packets whose number had been there.
    pub duplicated: u64,
    /// Packets that came after a higher number.
    pub reordered: u64,
    /// Restarts of the sequence.
    pub restarts: u64,
    /// Jumps of the sequence of which it cannot be told whether packets were lost or the source began anew.
    pub unclear: u64,
    /// Packets and those lost between them.
    pub expected: u64,
    /// Interarrival jitter after the last packet (RFC 3550 section 6.4.1); `None` where the clock rate is not known.
    pub jitter: Option<Nanos>,
    /// Whether stretches of the capture were joined that do not make one pass: the counts are then an estimate.
    pub estimated: bool,
}

/// What the packets themselves are like, whatever is said of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Packets {
    /// Smallest and largest RTP payload, octets.
    pub octets: (u16, u16),
    /// How far the timestamp goes from one packet to the next in nine of ten cases where it moves, ticks.
    pub step: Option<i32>,
    /// The clock rate in use that the timestamps run at, Hz.
    pub clock_rate: Option<u32>,
}

/// The same stream on another path.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Twin {
    /// The other leg.
    pub key: FlowKey,
    /// How much later the other leg's packets come, at the median.
    pub delay: Nanos,
    /// Packets that were compared.
    pub compared: usize,
}

/// A stream.
#[derive(Debug, Clone)]
pub struct Stream {
    /// Who sends it where.
    pub key: FlowKey,
    /// Source MAC addresses in order of appearance.
    pub macs: Vec<MacAddress>,
    /// RTP payload type, where there is one only.
    pub payload_type: Option<u8>,
    /// What it is.
    pub nature: Nature,
    /// Octets on the wire over time.
    pub rate: Rate,
    /// Those octets in at most 128 bins over its life.
    pub trace: Trace,
    /// UDP payload a second.
    pub payload_mean: Option<BitsPerSecond>,
    /// `None` where it is no RTP.
    pub rtp: Option<RtpCounts>,
    /// What AVTP's numbers say; `None` where it is none, or its packets have no number.
    pub avtp: Option<AvtpCounts>,
    /// Empty where it is no RTP.
    pub packets: Packets,
    /// The time from packet to packet by the timestamps, where nine of ten go on alike; else the mean as they were sent,
    /// lost ones included, where that agrees with the median; else the median.
    pub every: Option<Nanos>,
    /// Times between packets.
    pub intervals: Intervals,
    /// Differentiated services code points that occur.
    pub dscp: Vec<u8>,
    /// Priorities of tagged frames that occur.
    pub pcp: Vec<u8>,
    /// TTLs or hop limits that occur.
    pub ttl: Vec<u8>,
    /// Its description.
    pub described: Option<Described>,
    /// What of that its packets speak against.
    pub contradictions: Vec<Contradiction>,
    /// Its media clock.
    pub media_rate: Option<MediaRate>,
    /// Silences of a stream that went on.
    pub pauses: Vec<Silence>,
    /// Where its rate changed by half or more, and stayed so.
    pub changes: Vec<RateChange>,
    /// Losses in a row; the first few.
    pub bursts: Vec<Burst>,
    /// Losses in a row, all of them, near ones together.
    pub losses: LossesOverTime,
    /// How many there were.
    pub burst_count: u64,
    /// The same stream on other paths.
    pub twins: Vec<Twin>,
    pub(super) picked: Picked,
}

impl Stream {
    /// How many packets its numbers, of RTP or AVTP, tell of, and how many of those never came.
    #[must_use]
    pub fn numbered(&self) -> Option<(u64, u64)> {
        let of_avtp = || self.avtp.map(|avtp| (avtp.expected, avtp.lost));
        self.rtp.map(|rtp| (rtp.expected, rtp.lost)).or_else(of_avtp)
    }

    /// Leaves holes of the whole capture out of its means.
    pub(super) fn leave_out(&mut self, holes: &[Silence]) {
        let whole = self.rate.watched();
        self.rate.leave_out(holes.iter().map(|hole| (hole.from, hole.until)));
        let (Some(whole), Some(watched)) = (whole, self.rate.watched()) else { return };
        if watched == whole || watched <= Nanos::ZERO {
            return;
        }
        let longer = |mean: BitsPerSecond| {
            let bits = i128::from(mean.0).saturating_mul(i128::from(whole.0)) / i128::from(watched.0);
            BitsPerSecond(u64::try_from(bits).unwrap_or(u64::MAX))
        };
        self.payload_mean = self.payload_mean.map(longer);
    }

    /// Its first packet.
    #[must_use]
    pub fn first(&self) -> Option<CaptureTime> {
        self.rate.first()
    }

    /// Its last packet.
    #[must_use]
    pub fn last(&self) -> Option<CaptureTime> {
        self.rate.last()
    }

    /// Who sends it; `None` for AVTP.
    #[must_use]
    pub const fn source(&self) -> Option<IpAddr> {
        match self.key {
            FlowKey::Udp { source, .. } => Some(source),
            FlowKey::Avtp { .. } => None,
        }
    }

    /// Whether it is media.
    #[must_use]
    pub const fn is_media(&self) -> bool {
        self.rtp.is_some() || !matches!(self.nature.kind, Kind::Other)
    }
}

/// What streams are held against.
pub(super) struct Grounds<'a> {
    pub(super) sections: sessions::Sections<'a>,
    pub(super) leader: Option<LeaderTime<'a>>,
    pub(super) by_domain: &'a [(u8, LeaderTime<'a>)],
    pub(super) homes: &'a BTreeMap<IpAddr, u8>,
    pub(super) leaders: &'a [(Option<u8>, [u8; 8])],
    pub(super) resolution: Nanos,
    /// Times in which nothing was captured, of all that was.
    pub(super) silences: &'a [Silence],
    /// The shortest of them, where there may be more as short.
    pub(super) shortest: Option<Nanos>,
    pub(super) link: &'a Rate,
    /// Times that the capture's clock was set back.
    pub(super) set_backs: SetBacks<'a>,
    /// From where to where it ran between.
    pub(super) runs: &'a [(CaptureTime, CaptureTime)],
}

impl<'a> Grounds<'a> {
    /// The silences of everything that `own` alone cannot have made.
    fn holes(&self, own: &Rate) -> outages::Holes {
        let span =
            self.link.first().zip(self.link.last()).map_or(Nanos::ZERO, |(first, last)| last.since(first));
        let kept = outages::holes(self.silences, self.link.packets().saturating_sub(own.packets()), span);
        outages::Holes { kept, shortest: self.shortest }
    }

    /// The leader that a stream's clock is to follow: of the domain that its description names, else of the one that its
    /// sender takes part in, else the site's.
    fn leader_of(&self, key: &FlowKey, described: Option<&Described>) -> Option<LeaderTime<'a>> {
        let source = match key {
            FlowKey::Udp { source, .. } => Some(source),
            FlowKey::Avtp { .. } => None,
        };
        let named = described.and_then(|described| described.domain);
        let own = named.or_else(|| self.homes.get(source?).copied());
        let Some(own) = own else { return self.leader };
        self.by_domain.iter().find(|(number, _)| *number == own).map(|(_, leader)| *leader)
    }
}

/// Streams of flows in order of their keys. What claims to be RTP and does not run in sequence goes to the flow without
/// SSRC between the same ends.
pub(super) fn streams(flows: Vec<(FlowKey, Flow)>, grounds: &Grounds<'_>) -> Vec<Stream> {
    let mut streams: BTreeMap<FlowKey, Stream> = BTreeMap::new();
    let mut plain: BTreeMap<FlowKey, Vec<Flow>> = BTreeMap::new();
    for (key, flow) in flows {
        if key.ssrc().is_none() {
            plain.entry(key).or_default().push(flow);
            continue;
        }
        let payload = flow.payload().to_vec();
        let format = flow.signs.format();
        let light = (!flow.is_measured()).then(|| flow.clone());
        let Some(measured) = flow.measured() else { continue };
        if measured.media.as_ref().is_some_and(Media::is_proven) {
            streams.insert(key, stream(key, measured, &payload, format, grounds));
        } else if key.is_multicast() {
            // Of unicast only RTP is a stream.
            let flow = light.unwrap_or_else(|| Flow::of_measured(measured, &payload));
            plain.entry(key.without_ssrc()).or_default().push(flow);
        }
    }
    for (key, flows) in plain {
        if let Some((flow, payload)) = together(flows)
            && let Some(mut measured) = flow.measured()
        {
            measured.media = None;
            streams.insert(key, stream(key, measured, &payload, None, grounds));
        }
    }
    streams.into_values().collect()
}

/// Flows between the same ends as one; exact where each has few packets.
fn together(mut flows: Vec<Flow>) -> Option<(Flow, Vec<u8>)> {
    flows.sort_by_key(Flow::first);
    let payload = flows.first()?.payload().to_vec();
    let mut whole = Flow::new(&payload, false);
    if flows.iter().any(Flow::is_measured) {
        for flow in flows {
            whole.join(flow);
        }
    } else {
        let mut packets: Vec<_> = flows
            .into_iter()
            .flat_map(|flow| match flow.state {
                State::Head(head) => head,
                State::Measured(_) => Vec::new(),
            })
            .collect();
        packets.sort_by_key(|packet| packet.time);
        for packet in &packets {
            whole.push(packet, &[]);
        }
    }
    Some((whole, payload))
}

fn stream(
    key: FlowKey,
    mut measured: super::flow::Measured,
    payload: &[u8],
    format: Option<Format>,
    grounds: &Grounds<'_>,
) -> Stream {
    measured.rate.heed_set_backs(u64::try_from(grounds.set_backs.len()).unwrap_or(u64::MAX));
    let measured = measured;
    // Of two clocks that stamp by turns every change is a silence, and what is missing no loss that can be told.
    let is_of_two_clocks = measured.rate.goes_to_and_fro();
    let span = measured.span();
    let media = measured.media.as_ref();
    let payload_type = media.and_then(Media::payload_type);
    let described = media.and_then(|_| {
        sessions::described(
            &grounds.sections,
            (&key, measured.first, measured.last()),
            payload_type,
            grounds.leaders,
        )
    });
    let neighbours = media.map(|media| media.sequence.neighbours()).unwrap_or_default();
    let packets = media.map_or_else(Packets::default, |_| Packets {
        octets: measured.media_sizes,
        step: neighbours.step(),
        clock_rate: media::clock_rate(&neighbours),
    });
    let mut contradictions = described.as_ref().map_or_else(Vec::new, |described| {
        contradiction::of(described, payload_type, &packets, measured.rate.packets())
    });
    let is_of_format = contradictions.iter().any(Contradiction::is_of_format);
    let believed = described.as_ref().filter(|_| !is_of_format);
    let nature = match media {
        Some(media) => describe::rtp(&measured, media, &neighbours, format, believed),
        None => describe::plain(&measured, payload, matches!(key, FlowKey::Avtp { .. })),
    };
    contradictions.extend(contradiction::of_type(&nature, payload_type, &packets, measured.rate.packets()));
    // What was measured by a guess counts where the guess was right.
    let guessed = media.filter(|media| media.clock_rate.is_some() && media.clock_rate == nature.clock_rate);
    // Of PTP time the timestamps are only where the reference is PTP.
    let direct =
        believed.filter(|described| described.is_ptp).and_then(|described| match described.media_clock {
            Some(MediaClock::Direct { offset, .. }) => offset,
            _ => None,
        });
    let leader = grounds.leader_of(&key, described.as_ref());
    // A line through stamps of a clock that was set is no rate.
    let media_rate = guessed.filter(|_| !measured.rate.went_far_back()).and_then(|media| {
        let (minima, rate) = (media.minima.as_ref()?, media.clock_rate?);
        let packets = (minima, &neighbours);
        media_clock::rate(packets, rate, leader.as_ref(), grounds.resolution, direct)
    });
    let mut missing = media.map(|media| {
        let clock = outages::Clock { rate: nature.clock_rate, neighbours: neighbours.clone() };
        let holes = grounds.holes(&measured.rate);
        outages::judge(&media.sequence.counts(), media.sequence.losses(), &clock, &holes)
    });
    if let Some(missing) = missing.as_mut().filter(|_| is_of_two_clocks) {
        missing.leave_open();
    }
    let rtp = media.zip(missing.as_ref()).map(|(media, missing)| {
        let counts = media.sequence.counts();
        RtpCounts {
            lost: missing.lost,
            not_captured: missing.not_captured,
            duplicated: counts.duplicates,
            reordered: counts.reordered,
            restarts: missing.restarts,
            unclear: missing.unclear,
            expected: missing.expected,
            jitter: guessed.and_then(|media| media.jitter.as_ref()).map(crate::rtp::Jitter::current),
            estimated: media.inexact,
        }
    });
    let mean = span.0.checked_div(i64::try_from(measured.rate.packets()).unwrap_or(i64::MAX));
    let long = mean.unwrap_or(0).saturating_mul(i64::try_from(PAUSE_INTERVALS).unwrap_or(i64::MAX));
    let is_pause = |silence: &&Silence| silence.until.since(silence.from).0 > long;
    let every =
        of_step(&packets, &nature, &neighbours).or_else(|| every(&measured.intervals, rtp.as_ref(), span));
    let has_ip = !matches!(key, FlowKey::Avtp { .. });
    Stream {
        key,
        macs: measured.marks.macs().to_vec(),
        payload_type,
        nature,
        payload_mean: BitsPerSecond::from_octets(
            measured.udp_payload.saturating_sub(u64::from(measured.first_payload)),
            span,
        ),
        rtp,
        avtp: measured.numbers.counts(payload.first().copied()),
        packets,
        every,
        contradictions,
        dscp: if has_ip { measured.marks.dscp() } else { Vec::new() },
        pcp: measured.marks.pcp(),
        ttl: if has_ip { measured.marks.ttl() } else { Vec::new() },
        media_rate,
        pauses: measured
            .silences
            .iter()
            .filter(|pause| !is_of_two_clocks && is_pause(pause))
            .copied()
            .collect(),
        changes: measured.trace.changes(grounds.runs),
        trace: measured.trace,
        burst_count: missing.as_ref().map_or(0, |missing| missing.burst_count),
        losses: missing.as_ref().map(|missing| missing.over_time.clone()).unwrap_or_default(),
        bursts: missing.map(|missing| missing.bursts).unwrap_or_default(),
        twins: Vec::new(),
        picked: media.map(|media| media.picked.clone()).unwrap_or_default(),
        described,
        rate: measured.rate,
        intervals: measured.intervals,
    }
}

/// The time from packet to packet as the timestamps have it, where each packet has its own and nine of ten go on alike.
fn of_step(packets: &Packets, nature: &Nature, neighbours: &Neighbours) -> Option<Nanos> {
    let rate = packets.clock_rate.filter(|rate| nature.clock_rate == Some(*rate))?;
    let step = packets.step.filter(|step| *step > 0 && neighbours.still() == 0)?;
    i64::from(step).saturating_mul(NANOS_PER_SECOND).checked_div(i64::from(rate)).map(Nanos)
}

/// An eighth is what the median may be off by.
fn every(intervals: &Intervals, rtp: Option<&RtpCounts>, span: Nanos) -> Option<Nanos> {
    let median = intervals.quantile(500)?;
    let sent = rtp.map_or_else(|| intervals.count(), |rtp| rtp.expected.saturating_sub(1));
    let mean = i64::try_from(sent).ok().and_then(|sent| span.0.checked_div(sent));
    let agrees = |mean: &i64| mean.saturating_sub(median.0).saturating_abs() <= median.0 / 8;
    Some(mean.filter(agrees).map_or(median, Nanos))
}
