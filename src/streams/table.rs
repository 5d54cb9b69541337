//! All flows of a stretch, found in a few nanoseconds.
//!
//! In front of the map lies a small cache with one place for each hash: media come in turns of few flows. The map
//! behind it hashes with a secret, so that no capture can be made whose flows meet in it.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::collections::HashMap;
use std::net::IpAddr;

use super::flow::Flow;
use super::fragments::Part;
use super::key::FlowKey;
use super::packet::Packet;
use crate::statistics::Rate;
use crate::statistics::Run;
use crate::units::CaptureTime;

/// Flows kept (chosen: with 36 KiB each they take 420 MiB).
pub const FLOWS_KEPT: usize = 12_000;
/// The part of the flows that goes at once where there is no room.
const PART: usize = 8;
/// Places of the cache (chosen: a hundred flows seldom meet in 4 KiB).
pub(super) const CACHE: usize = 1 << CACHE_BITS;
/// Bits of hash that find them.
const CACHE_BITS: u32 = 10;
/// A place with nothing in it.
const NOWHERE: u32 = u32::MAX;

/// Flows that found no room.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Folded {
    /// How many; one that came again counts again.
    pub flows: u64,
    /// Their packets.
    pub packets: u64,
    /// Octets they took on the wire.
    pub octets: u64,
}

/// The flows.
#[derive(Debug, Clone, Default)]
pub(super) struct Table {
    flows: Vec<Entry>,
    places: HashMap<FlowKey, u32>,
    cache: Vec<u32>,
    folded: Folded,
    /// Whether no part comes before.
    pub(super) is_beginning: bool,
    /// Octets over time of each source, of at most as many as there are flows.
    sources: Vec<(IpAddr, Rate)>,
    source_places: HashMap<IpAddr, u32>,
}

/// A flow and the place of its source.
#[derive(Debug, Clone)]
struct Entry {
    key: FlowKey,
    flow: Flow,
    source: u32,
}

/// Spreads flows over the cache; without a secret, as a meeting costs one look into the map only.
pub(super) fn slot(key: &FlowKey) -> usize {
    let address = |ip: &IpAddr| match ip {
        IpAddr::V4(ip) => ip.to_bits(),
        IpAddr::V6(ip) => {
            let [.., a, b, c, d] = ip.octets();
            u32::from_be_bytes([a, b, c, d])
        }
    };
    let word = match key {
        FlowKey::Udp { source, destination, port, ssrc, .. } => {
            address(source).rotate_left(16)
                ^ address(destination).rotate_left(8)
                ^ u32::from(*port)
                ^ ssrc.unwrap_or_default()
        }
        FlowKey::Avtp { stream_id, .. } => {
            let [a, b, c, d, e, f, g, h] = stream_id.to_be_bytes();
            u32::from_be_bytes([a, b, c, d]) ^ u32::from_be_bytes([e, f, g, h])
        }
    };
    // 2^32 divided by the golden ratio; the upper bits are the mixed ones.
    let mixed = word.wrapping_mul(0x9E37_79B9) >> (32 - CACHE_BITS);
    usize::try_from(mixed).unwrap_or_default()
}

impl Table {
    pub(super) fn push(&mut self, key: FlowKey, packet: &Packet, payload: &[u8]) {
        let place = self.place(key, payload);
        if let Some(entry) = self.flows.get_mut(place) {
            entry.flow.push(packet, payload);
            let source = usize::try_from(entry.source).unwrap_or(usize::MAX);
            if let Some((_, rate)) = self.sources.get_mut(source) {
                rate.push(packet.time, u64::from(packet.wire));
            }
        }
    }

    /// Whether so many more flows and sources have room, so that nothing is folded for them.
    pub(super) fn has_room(&self, flows: usize, sources: usize) -> bool {
        self.flows.len().saturating_add(flows) <= FLOWS_KEPT
            && self.sources.len().saturating_add(sources) <= FLOWS_KEPT
    }

    /// The flow, made where it was not; `payload` is that of its next packet.
    pub(super) fn flow(&mut self, key: FlowKey, payload: &[u8]) -> Option<&mut Flow> {
        let place = self.place(key, payload);
        self.flows.get_mut(place).map(|entry| &mut entry.flow)
    }

    /// Adds what a source sent.
    pub(super) fn push_run(&mut self, source: u32, run: &Run) {
        let place = usize::try_from(source).unwrap_or(usize::MAX);
        if let Some((_, rate)) = self.sources.get_mut(place) {
            rate.push_run(run);
        }
    }

    /// Adds a later fragment to its flow.
    pub(super) fn part(&mut self, key: FlowKey, part: Part) {
        let place = self.places.get(&key).and_then(|place| usize::try_from(*place).ok());
        let Some(entry) = place.and_then(|place| self.flows.get_mut(place)) else {
            self.folded.octets += u64::from(part.wire);
            return;
        };
        entry.flow.part(part);
        let source = usize::try_from(entry.source).unwrap_or(usize::MAX);
        if let Some((_, rate)) = self.sources.get_mut(source) {
            rate.push_part(part.time, u64::from(part.wire));
        }
    }

    /// Where the flow is, made where it was not.
    fn place(&mut self, key: FlowKey, payload: &[u8]) -> usize {
        let slot = slot(&key);
        if let Some(cached) = self.cache.get(slot) {
            let place = usize::try_from(*cached).unwrap_or(usize::MAX);
            if self.flows.get(place).is_some_and(|entry| entry.key == key) {
                return place;
            }
        }
        let place = match self.places.get(&key) {
            Some(place) => *place,
            None => self.add(key, Flow::new(payload, self.is_beginning)),
        };
        if self.cache.is_empty() {
            self.cache = vec![NOWHERE; CACHE];
        }
        if let Some(cached) = self.cache.get_mut(slot) {
            *cached = place;
        }
        usize::try_from(place).unwrap_or(usize::MAX)
    }

    fn add(&mut self, key: FlowKey, flow: Flow) -> u32 {
        if self.flows.len() >= FLOWS_KEPT {
            self.make_room();
        }
        let place = u32::try_from(self.flows.len()).unwrap_or(NOWHERE);
        let source = match key {
            FlowKey::Udp { source, .. } => self.source(source),
            FlowKey::Avtp { .. } => NOWHERE,
        };
        self.flows.push(Entry { key, flow, source });
        self.places.insert(key, place);
        place
    }

    /// The place of a source, made where there is none and there is room.
    pub(super) fn source(&mut self, ip: IpAddr) -> u32 {
        if let Some(place) = self.source_places.get(&ip) {
            return *place;
        }
        if self.sources.len() >= FLOWS_KEPT {
            return NOWHERE;
        }
        let place = u32::try_from(self.sources.len()).unwrap_or(NOWHERE);
        self.sources.push((ip, Rate::default()));
        self.source_places.insert(ip, place);
        place
    }

    /// Folds those that were seen longest ago, flows of few packets first.
    fn make_room(&mut self) {
        let mut order: Vec<(bool, Option<CaptureTime>, FlowKey)> =
            self.flows.iter().map(|entry| (entry.flow.is_measured(), entry.flow.last(), entry.key)).collect();
        order.sort_unstable();
        let going: BTreeSet<FlowKey> =
            order.into_iter().take(FLOWS_KEPT / PART).map(|(_, _, key)| key).collect();
        let folded = &mut self.folded;
        self.flows.retain(|entry| {
            let goes = going.contains(&entry.key);
            if goes {
                let (packets, octets) = entry.flow.size();
                folded.flows += 1;
                folded.packets += packets;
                folded.octets += octets;
            }
            !goes
        });
        self.places = (0_u32..).zip(&self.flows).map(|(place, entry)| (entry.key, place)).collect();
        self.cache.clear();
    }

    /// Adds what followed.
    pub(super) fn join(&mut self, right: Self) {
        for (ip, rate) in right.sources {
            let place = usize::try_from(self.source(ip)).unwrap_or(usize::MAX);
            if let Some((_, ours)) = self.sources.get_mut(place) {
                // Where time goes far back at a cut, a peak may differ; nothing else does.
                let _exact: bool = ours.join(&rate);
            }
        }
        for Entry { key, flow, .. } in right.flows {
            let known = self.places.get(&key).and_then(|place| usize::try_from(*place).ok());
            match known.and_then(|place| self.flows.get_mut(place)) {
                Some(left) => left.flow.join(flow),
                None => {
                    self.add(key, flow);
                }
            }
        }
        self.folded.flows += right.folded.flows;
        self.folded.packets += right.folded.packets;
        self.folded.octets += right.folded.octets;
    }

    /// Flows in order, octets over time by source, and what found no room.
    pub(super) fn into_parts(self) -> (Vec<(FlowKey, Flow)>, BTreeMap<IpAddr, Rate>, Folded) {
        let mut flows: Vec<_> = self.flows.into_iter().map(|entry| (entry.key, entry.flow)).collect();
        flows.sort_unstable_by_key(|(key, _)| *key);
        (flows, self.sources.into_iter().collect(), self.folded)
    }
}
