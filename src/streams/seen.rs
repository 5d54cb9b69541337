//! Frames that were looked at and are not yet taken into account, so that one thread can look while another takes in.
//!
//! What goes by the order of all frames (the link's load) or of all of a source's is put together to runs within one
//! millisecond; what goes by the order of one flow's is taken in flow by flow, which is the same and keeps at hand what is
//! worked with. Only where fragments look for their datagram, or flows are many, do frames go one by one as they came.

use std::collections::HashMap;
use std::net::IpAddr;
use std::ops::Range;

use super::Streams;
use super::fragments;
use super::fragments::Datagram;
use super::fragments::Part;
use super::key::FlowKey;
use super::packet;
use super::packet::Packet;
use super::packet::Rtp;
use super::table;
use crate::capture::Record;
use crate::frame::Alike;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::statistics::Run;
use crate::tables::Seeded;
use crate::units::CaptureTime;
use crate::units::MacAddress;

/// A sequence number of AVTP that is none.
const NO_NUMBER: u16 = u16::MAX;
/// A frame of no flow.
const NO_FLOW: u32 = u32::MAX;

/// Lines that are still known in the next stretch (chosen: half of the places of the cache; of more, many are gone by then).
const LINES_KEPT: usize = table::CACHE / 2;

/// What the packets of a flow have in common, but for a few that differ and then count as another line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) struct Line {
    key: FlowKey,
    is_rtp: bool,
    pub(super) dscp: u8,
    pub(super) ttl: u8,
    pub(super) pcp: Option<u8>,
    pub(super) mac: Option<MacAddress>,
}

/// Where a line's packets go.
#[derive(Debug, Clone, Copy)]
struct Way {
    /// Its flow.
    flow: u32,
    /// Its source, if it is of UDP.
    source: u32,
}

/// A frame. Small, as it goes from one processor's cache to another's.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sighting {
    pub(super) time: CaptureTime,
    pub(super) wire: u32,
    pub(super) line: u32,
    pub(super) timestamp: u32,
    payload_at: u32,
    payload_octets: u32,
    pub(super) sequence: u16,
    pub(super) udp_payload: u16,
    pub(super) media: u16,
    pub(super) marker_and_type: u8,
}

/// A frame of no flow.
const NOBODYS: Sighting = Sighting {
    time: CaptureTime(0),
    wire: 0,
    line: NO_FLOW,
    timestamp: 0,
    payload_at: 0,
    payload_octets: 0,
    sequence: 0,
    udp_payload: 0,
    media: 0,
    marker_and_type: 0,
};

/// What became of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Noted {
    /// Whether it belongs to a flow, or that is told later.
    pub is_flow: bool,
    /// Where it is RTP: what [`Seen::record_alike`] wants to know of packets with the same headers.
    pub like: Option<u32>,
}

/// Frames in the order of the capture. Memory: 80 octets a frame, 160 for each flow and 100 for each run.
#[derive(Debug, Default)]
pub struct Seen {
    lines: Vec<Line>,
    ways: Vec<Way>,
    places: HashMap<Line, u32, Seeded>,
    cache: Vec<u32>,
    flows: HashMap<FlowKey, u32, Seeded>,
    sources: HashMap<IpAddr, u32, Seeded>,
    /// Frames of each flow, and what is put together of each source.
    counts: Vec<usize>,
    open: Vec<(IpAddr, Option<Run>)>,
    frames: Vec<Sighting>,
    /// Those of flows, flow by flow, once all are there: so that what is worked with lies in a row.
    sorted: Vec<Sighting>,
    /// All frames, in order.
    link: Vec<Run>,
    /// The packets of sources, in each one's order.
    runs: Vec<(u32, Run)>,
    /// Fragments among the frames, by index.
    fragments: Vec<(usize, Fragment, Datagram)>,
    untimed: u64,
}

impl Seen {
    /// Takes in the next frame. `at` is where in the stretch's octets those of the record are.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>, at: usize) -> Noted {
        let Some(time) = record.time else {
            self.untimed += 1;
            return Noted { is_flow: false, like: None };
        };
        let mut sighting = Sighting { time, wire: packet::wire(record), ..NOBODYS };
        self.carry(time, sighting.wire);
        let fragment = fragments::of(frame);
        if let Some((which, datagram)) = fragment {
            self.fragments.push((self.frames.len(), which, datagram));
            if which == Fragment::Later {
                self.frames.push(sighting);
                return Noted { is_flow: true, like: None };
            }
        }
        let flow = packet::of(record, time, frame);
        let mut like = None;
        if let Some((key, packet, payload)) = &flow {
            sighting.line = self.line(*key, packet);
            if let Some(rtp) = packet.rtp {
                sighting.timestamp = rtp.timestamp;
                sighting.sequence = rtp.sequence;
                sighting.marker_and_type = u8::from(rtp.marker) << 7 | rtp.payload_type;
                like = Some(sighting.line).filter(|_| fragment.is_none());
            } else {
                sighting.sequence = packet.number.map_or(NO_NUMBER, u16::from);
            }
            sighting.udp_payload = packet.udp_payload;
            sighting.media = packet.media;
            sighting.payload_at = place_of(record, payload, at);
            sighting.payload_octets = u32::try_from(payload.len()).unwrap_or(0);
            self.send(&sighting);
        }
        self.frames.push(sighting);
        Noted { is_flow: flow.is_some(), like }
    }

    /// Takes in the next frame, whose headers are those of one that was [`Noted::like`] this.
    #[inline(always)]
    pub fn record_alike(
        &mut self,
        (record, time): (&Record<'_>, CaptureTime),
        alike: &Alike<'_>,
        like: u32,
        at: usize,
    ) {
        let header = packet::rtp_header_octets(alike.payload);
        let udp_payload = alike.udp_length.saturating_sub(packet::UDP_HEADER);
        let kind = alike.payload.get(1).copied().unwrap_or_default();
        let media = udp_payload.saturating_sub(header);
        let payload_at = at + alike.payload_at + usize::from(header);
        let sighting = Sighting {
            time,
            wire: packet::wire(record),
            line: like,
            timestamp: alike.timestamp,
            payload_at: u32::try_from(payload_at).unwrap_or(u32::MAX),
            // All of the datagram is there.
            payload_octets: u32::from(media),
            sequence: alike.sequence,
            udp_payload,
            media,
            marker_and_type: kind,
        };
        self.carry(time, sighting.wire);
        self.send(&sighting);
        self.frames.push(sighting);
    }

    /// Counts a frame for the link.
    #[inline]
    fn carry(&mut self, time: CaptureTime, wire: u32) {
        let octets = u64::from(wire);
        if !self.link.last_mut().is_some_and(|run| run.takes(time, octets)) {
            self.link.push(Run::of(time, octets));
        }
    }

    /// Counts a packet for its flow and its source.
    #[inline(always)]
    fn send(&mut self, sighting: &Sighting) {
        let Some(way) = at(&self.ways, sighting.line).copied() else { return };
        if let Some(count) = at_mut(&mut self.counts, way.flow) {
            *count += 1;
        }
        if let Some((_, open)) = at_mut(&mut self.open, way.source) {
            let octets = u64::from(sighting.wire);
            let Some(run) = open else {
                *open = Some(Run::of(sighting.time, octets));
                return;
            };
            if !run.takes(sighting.time, octets) {
                self.runs.push((way.source, *run));
                *run = run.next(sighting.time, octets);
            }
        }
    }

    fn line(&mut self, key: FlowKey, packet: &Packet) -> u32 {
        let line = Line {
            key,
            is_rtp: packet.rtp.is_some(),
            dscp: packet.dscp,
            ttl: packet.ttl,
            pcp: packet.pcp,
            mac: packet.mac,
        };
        let slot = table::slot(&key);
        if let Some(cached) = self.cache.get(slot)
            && at(&self.lines, *cached) == Some(&line)
        {
            return *cached;
        }
        let place = match self.places.get(&line) {
            Some(place) => *place,
            None => self.add(line),
        };
        if self.cache.is_empty() {
            self.cache = vec![NO_FLOW; table::CACHE];
        }
        if let Some(cached) = self.cache.get_mut(slot) {
            *cached = place;
        }
        place
    }

    fn add(&mut self, line: Line) -> u32 {
        let next = |length: usize| u32::try_from(length).unwrap_or(NO_FLOW);
        let flow = *self.flows.entry(line.key).or_insert_with(|| {
            self.counts.push(0);
            next(self.counts.len() - 1)
        });
        let source = match line.key {
            FlowKey::Udp { source, .. } => *self.sources.entry(source).or_insert_with(|| {
                self.open.push((source, None));
                next(self.open.len() - 1)
            }),
            FlowKey::Avtp { .. } => NO_FLOW,
        };
        let place = next(self.lines.len());
        self.lines.push(line);
        self.ways.push(Way { flow, source });
        self.places.insert(line, place);
        place
    }

    /// Puts frames in the order that they are taken in by, once all are there.
    pub fn close(&mut self) {
        let ends = self.open.iter_mut().zip(0_u32..);
        self.runs.extend(ends.filter_map(|((_, open), source)| Some((source, open.take()?))));
        let mut next = 0_usize;
        let mut begins: Vec<usize> = Vec::with_capacity(self.counts.len());
        for count in &self.counts {
            begins.push(next);
            next = next.saturating_add(*count);
        }
        self.sorted.clear();
        self.sorted.resize(next, NOBODYS);
        for sighting in &self.frames {
            let Some(way) = at(&self.ways, sighting.line) else { continue };
            let Some(begin) = at_mut(&mut begins, way.flow) else { continue };
            if let Some(place) = self.sorted.get_mut(*begin) {
                *place = *sighting;
            }
            *begin = begin.saturating_add(1);
        }
    }

    /// Forgets the frames, to be used for a stretch that follows. Of a few lines it still knows what they are; whether it does.
    pub fn clear(&mut self) -> bool {
        self.frames.clear();
        self.sorted.clear();
        self.link.clear();
        self.runs.clear();
        self.fragments.clear();
        self.untimed = 0;
        self.counts.fill(0);
        for (_, open) in &mut self.open {
            *open = None;
        }
        let keeps = self.lines.len() <= LINES_KEPT;
        if !keeps {
            self.forget();
        }
        keeps
    }

    fn forget(&mut self) {
        self.lines.clear();
        self.ways.clear();
        self.places.clear();
        self.cache.fill(NO_FLOW);
        self.flows.clear();
        self.sources.clear();
        self.counts.clear();
        self.open.clear();
    }

    /// What a frame has in common with others, where it is a flow's.
    pub(super) fn line_of(&self, sighting: &Sighting) -> Option<&Line> {
        at(&self.lines, sighting.line)
    }

    /// The frames of each flow, in order.
    fn by_flow(&self) -> impl Iterator<Item = &[Sighting]> {
        let mut sorted = self.sorted.as_slice();
        self.counts.iter().map(move |count| {
            let (own, rest) = sorted.split_at_checked(*count).unwrap_or_default();
            sorted = rest;
            own
        })
    }
}

/// Where in a stretch's octets a payload is that lies in a record at `at`: their addresses tell.
#[inline]
fn place_of(record: &Record<'_>, payload: &[u8], at: usize) -> u32 {
    let within = payload.as_ptr().addr().saturating_sub(record.octets.as_ptr().addr());
    u32::try_from(at.saturating_add(within)).unwrap_or(u32::MAX)
}

#[inline]
fn at<T>(all: &[T], index: u32) -> Option<&T> {
    all.get(usize::try_from(index).ok()?)
}

#[inline]
fn at_mut<T>(all: &mut [T], index: u32) -> Option<&mut T> {
    all.get_mut(usize::try_from(index).ok()?)
}

impl Sighting {
    /// What counts of it for its flow.
    pub(super) fn packet(&self, line: &Line) -> Packet {
        Packet {
            time: self.time,
            wire: self.wire,
            udp_payload: self.udp_payload,
            media: self.media,
            rtp: line.is_rtp.then(|| self.rtp()),
            number: if matches!(line.key, FlowKey::Avtp { .. }) { self.number() } else { None },
            dscp: line.dscp,
            ttl: line.ttl,
            pcp: line.pcp,
            mac: line.mac,
            is_part: false,
        }
    }

    /// The numbers of its header, where it has one.
    #[inline]
    pub(super) const fn rtp(&self) -> Rtp {
        Rtp {
            marker: self.marker_and_type & 0x80 != 0,
            payload_type: self.marker_and_type & 0x7F,
            sequence: self.sequence,
            timestamp: self.timestamp,
        }
    }

    /// AVTP's number, where it is of that and has one.
    pub(super) fn number(&self) -> Option<u8> {
        u8::try_from(self.sequence).ok()
    }

    /// Where in the stretch its payload is.
    pub(super) fn payload(&self) -> Range<usize> {
        let at = usize::try_from(self.payload_at).unwrap_or(usize::MAX);
        let octets = usize::try_from(self.payload_octets).unwrap_or_default();
        at..at.saturating_add(octets)
    }
}

impl Streams {
    /// Takes in frames that were looked at before and closed. `octets` gives those of the stretch that they are of; `lone` is
    /// told the group of each later fragment that turns out to be of no flow.
    pub fn take_in<'a>(
        &mut self,
        seen: &Seen,
        octets: impl Fn(Range<usize>) -> &'a [u8],
        lone: impl FnMut(IpAddr),
    ) {
        self.untimed += seen.untimed;
        for run in &seen.link {
            self.carry_run(run);
        }
        if seen.fragments.is_empty() && self.table.has_room(seen.flows.len(), seen.open.len()) {
            self.by_flow(seen, octets);
        } else {
            self.one_by_one(seen, octets, lone);
        }
    }

    fn by_flow<'a>(&mut self, seen: &Seen, octets: impl Fn(Range<usize>) -> &'a [u8]) {
        for frames in seen.by_flow() {
            let Some((first, line)) = frames.first().and_then(|first| Some((first, seen.line_of(first)?)))
            else {
                continue;
            };
            if let Some(flow) = self.table.flow(line.key, octets(first.payload())) {
                flow.push_all(seen, frames, &octets);
            }
        }
        let places: Vec<u32> = seen.open.iter().map(|(ip, _)| self.table.source(*ip)).collect();
        for (source, run) in &seen.runs {
            if let Some(place) = at(&places, *source) {
                self.table.push_run(*place, run);
            }
        }
    }

    fn one_by_one<'a>(
        &mut self,
        seen: &Seen,
        octets: impl Fn(Range<usize>) -> &'a [u8],
        mut lone: impl FnMut(IpAddr),
    ) {
        let mut fragments = seen.fragments.iter().peekable();
        for (index, sighting) in seen.frames.iter().enumerate() {
            let line = seen.line_of(sighting);
            if let Some((_, which, datagram)) = fragments.next_if(|(place, ..)| *place == index) {
                if *which == Fragment::Later {
                    if !self.later(*datagram, Part { time: sighting.time, wire: sighting.wire }) {
                        lone(datagram.destination);
                    }
                    continue;
                }
                self.fragments.first(*datagram, line.map(|line| line.key));
            }
            if let Some(line) = line {
                self.table.push(line.key, &sighting.packet(line), octets(sighting.payload()));
            }
        }
    }
}
