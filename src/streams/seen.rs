//! Frames that were looked at and are not yet taken into account, so that one thread can look while another takes in.

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
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::units::CaptureTime;
use crate::units::MacAddress;

/// A frame of no flow.
const NO_FLOW: u32 = u32::MAX;

/// What the packets of a flow have in common, but for a few that differ and then count as another line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
struct Line {
    key: FlowKey,
    is_rtp: bool,
    dscp: u8,
    ttl: u8,
    pcp: Option<u8>,
    mac: Option<MacAddress>,
}

/// A frame. Small, as it goes from one processor's cache to another's.
#[derive(Debug, Clone, Copy)]
struct Sighting {
    time: CaptureTime,
    wire: u32,
    line: u32,
    timestamp: u32,
    payload_at: u32,
    payload_octets: u32,
    sequence: u16,
    udp_payload: u16,
    media: u16,
    marker_and_type: u8,
}

/// Frames in the order of the capture. Memory: 40 octets a frame, and 100 for each flow.
#[derive(Debug, Default)]
pub struct Seen {
    lines: Vec<Line>,
    places: HashMap<Line, u32>,
    cache: Vec<u32>,
    frames: Vec<Sighting>,
    /// Fragments among the frames, by index.
    fragments: Vec<(usize, Fragment, Datagram)>,
    untimed: u64,
}

impl Seen {
    /// Takes in the next frame; whether it belongs to a flow or that is told later. `at` is where in the stretch's octets those of the record are.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>, at: usize) -> bool {
        let Some(time) = record.time else {
            self.untimed += 1;
            return false;
        };
        let mut sighting = Sighting {
            time,
            wire: packet::wire(record),
            line: NO_FLOW,
            timestamp: 0,
            payload_at: 0,
            payload_octets: 0,
            sequence: 0,
            udp_payload: 0,
            media: 0,
            marker_and_type: 0,
        };
        let fragment = fragments::of(frame);
        if let Some((which, datagram)) = fragment {
            self.fragments.push((self.frames.len(), which, datagram));
            if which == Fragment::Later {
                self.frames.push(sighting);
                return true;
            }
        }
        let flow = packet::of(record, time, frame);
        if let Some((key, packet, payload)) = &flow {
            sighting.line = self.line(*key, packet);
            if let Some(rtp) = packet.rtp {
                sighting.timestamp = rtp.timestamp;
                sighting.sequence = rtp.sequence;
                sighting.marker_and_type = u8::from(rtp.marker) << 7 | rtp.payload_type;
            }
            sighting.udp_payload = packet.udp_payload;
            sighting.media = packet.media;
            // The payload lies within the record, so their addresses tell where.
            let within = payload.as_ptr().addr().saturating_sub(record.octets.as_ptr().addr());
            sighting.payload_at = u32::try_from(at.saturating_add(within)).unwrap_or(u32::MAX);
            sighting.payload_octets = u32::try_from(payload.len()).unwrap_or(0);
        }
        self.frames.push(sighting);
        flow.is_some()
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
            && usize::try_from(*cached).ok().and_then(|place| self.lines.get(place)) == Some(&line)
        {
            return *cached;
        }
        let place = match self.places.get(&line) {
            Some(place) => *place,
            None => {
                let place = u32::try_from(self.lines.len()).unwrap_or(NO_FLOW);
                self.lines.push(line);
                self.places.insert(line, place);
                place
            }
        };
        if self.cache.is_empty() {
            self.cache = vec![NO_FLOW; table::CACHE];
        }
        if let Some(cached) = self.cache.get_mut(slot) {
            *cached = place;
        }
        place
    }

    /// Forgets all of it, to be used for another stretch.
    pub fn clear(&mut self) {
        self.lines.clear();
        self.places.clear();
        self.cache.fill(NO_FLOW);
        self.frames.clear();
        self.fragments.clear();
        self.untimed = 0;
    }
}

impl Sighting {
    fn packet(&self, line: &Line) -> Packet {
        let rtp = line.is_rtp.then_some(Rtp {
            marker: self.marker_and_type & 0x80 != 0,
            payload_type: self.marker_and_type & 0x7F,
            sequence: self.sequence,
            timestamp: self.timestamp,
        });
        Packet {
            time: self.time,
            wire: self.wire,
            udp_payload: self.udp_payload,
            media: self.media,
            rtp,
            dscp: line.dscp,
            ttl: line.ttl,
            pcp: line.pcp,
            mac: line.mac,
            is_part: false,
        }
    }

    fn payload(&self) -> Range<usize> {
        let at = usize::try_from(self.payload_at).unwrap_or(usize::MAX);
        let octets = usize::try_from(self.payload_octets).unwrap_or_default();
        at..at.saturating_add(octets)
    }
}

impl Streams {
    /// Takes in frames that were looked at before. `octets` gives those of the stretch that they are of; `lone` is told the
    /// group of each later fragment that turns out to be of no flow.
    pub fn take_in<'a>(
        &mut self,
        seen: &Seen,
        octets: impl Fn(Range<usize>) -> &'a [u8],
        mut lone: impl FnMut(IpAddr),
    ) {
        self.untimed += seen.untimed;
        let mut fragments = seen.fragments.iter().peekable();
        for (index, sighting) in seen.frames.iter().enumerate() {
            self.carry(sighting.time, sighting.wire);
            let line = usize::try_from(sighting.line).ok().and_then(|line| seen.lines.get(line));
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
