//! Who talks to whom in a stretch of frames, media included: what shows where a capture was taken.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::net::Ipv4Addr;

use super::alike::Alike;
use super::bounded::Add;
use super::bounded::Bounded;
use crate::capture::LinkType;
use crate::capture::Record;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::frame::Network;
use crate::frame::Tunnel;
use crate::ptp;
use crate::units::CaptureTime;
use crate::units::MacAddress;

/// Unicast pairs, and stations, of which counts are kept (chosen: a large broadcast network has some hundreds).
pub const KEPT: usize = 4096;

/// ARP questions of which counts are kept (chosen).
const ASKS_KEPT: usize = 1024;

/// The group of peer-delay messages, which a bridge does not forward (IEEE 802.1Q 8.6.3, 1588-2008 Annex F,
/// from memory).
const ONE_LINK: MacAddress = MacAddress([0x01, 0x80, 0xC2, 0x00, 0x00, 0x0E]);

const ARP: u16 = 0x0806;
/// IANA protocol numbers.
const IGMP: u8 = 2;
const ICMPV6: u8 = 58;
const UDP: u8 = 17;

/// Unicast frames from one MAC address to another.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Pair {
    /// Frames.
    pub frames: u64,
    /// PTP messages among them.
    pub ptp: u64,
    /// ARP replies among them.
    pub arp_replies: u64,
}

/// What one MAC address sent.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Station {
    /// Frames.
    pub frames: u64,
    /// Frames to groups.
    pub multicast: u64,
    /// PTP messages to groups that bridges forward.
    pub ptp_multicast: u64,
    /// PTP messages to the group that no bridge forwards.
    pub ptp_one_link: u64,
    /// IGMP or MLD reports and leaves.
    pub reports: u64,
    /// UDP datagrams over IP with a checksum.
    pub checksums: u64,
    /// Of these, with the sum of the pseudo-header alone: left for the adapter to finish, so seen before it.
    pub unfinished_checksums: u64,
    /// Frames that the capturing machine marks as its own (Linux cooked capture only).
    pub own: u64,
    /// Time of the latest frame.
    pub latest: Option<CaptureTime>,
}

/// A stretch of frames. Memory: at most twice [`KEPT`] pairs and stations.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Traffic {
    pairs: Bounded<(MacAddress, MacAddress), Pair, KEPT>,
    stations: Bounded<MacAddress, Station, KEPT>,
    /// ARP questions to all: who asks, for which address.
    asks: Bounded<(MacAddress, Ipv4Addr), u64, ASKS_KEPT>,
    /// IPv4 addresses that ARP messages come from.
    arp_senders: Bounded<Ipv4Addr, u64, ASKS_KEPT>,
    /// Plain counts.
    pub counts: Counts,
}

/// Plain counts of frames.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// All.
    pub frames: u64,
    /// With a source MAC address.
    pub addressed: u64,
    /// To one station.
    pub unicast: u64,
    /// PTP event messages (UDP port 319, or message types below 8 over Ethernet).
    pub ptp_event: u64,
    /// PTP general messages.
    pub ptp_general: u64,
    /// UDP other than PTP.
    pub other_udp: u64,
    /// To everybody (ff:ff:ff:ff:ff:ff).
    pub broadcast: u64,
    /// ARP.
    pub arp: u64,
    /// IGMP and MLD queries.
    pub queries: u64,
    /// IGMP and MLD reports and leaves.
    pub reports: u64,
    /// With at least one VLAN tag.
    pub tagged: u64,
    /// In a Linux cooked header: captured on a host, tags and destination lost.
    pub cooked: u64,
    /// Cooked frames that were for another host: the adapter took in what is not its own.
    pub cooked_for_others: u64,
    /// Taken out of ERSPAN, which only a switch's mirror makes.
    pub mirrored: u64,
}

impl Add for Pair {
    fn add(&mut self, other: Self) {
        self.frames += other.frames;
        self.ptp += other.ptp;
        self.arp_replies += other.arp_replies;
    }
}

impl Add for Station {
    fn add(&mut self, other: Self) {
        self.frames += other.frames;
        self.multicast += other.multicast;
        self.ptp_multicast += other.ptp_multicast;
        self.ptp_one_link += other.ptp_one_link;
        self.reports += other.reports;
        self.checksums += other.checksums;
        self.unfinished_checksums += other.unfinished_checksums;
        self.own += other.own;
        self.latest = self.latest.max(other.latest);
    }
}

impl Add for Counts {
    fn add(&mut self, other: Self) {
        self.frames += other.frames;
        self.addressed += other.addressed;
        self.unicast += other.unicast;
        self.ptp_event += other.ptp_event;
        self.ptp_general += other.ptp_general;
        self.other_udp += other.other_udp;
        self.arp += other.arp;
        self.queries += other.queries;
        self.reports += other.reports;
        self.tagged += other.tagged;
        self.cooked += other.cooked;
        self.cooked_for_others += other.cooked_for_others;
        self.broadcast += other.broadcast;
        self.mirrored += other.mirrored;
    }
}

/// What a frame is, as far as it matters here.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    Event,
    General,
    OtherUdp,
    Arp,
    Query,
    Report,
    Other,
}

impl Traffic {
    /// Takes in a frame.
    pub fn record(&mut self, record: &Record<'_>, frame: &Frame<'_>) {
        let sort = sort(frame);
        let direction = cooked_direction(record);
        let counts = &mut self.counts;
        counts.frames += 1;
        counts.ptp_event += u64::from(sort == Sort::Event);
        counts.ptp_general += u64::from(sort == Sort::General);
        counts.other_udp += u64::from(sort == Sort::OtherUdp);
        counts.broadcast += u64::from(frame.destination_mac == Some(MacAddress([0xFF; 6])));
        counts.arp += u64::from(sort == Sort::Arp);
        counts.queries += u64::from(sort == Sort::Query);
        counts.reports += u64::from(sort == Sort::Report);
        counts.tagged += u64::from(!frame.vlans.tags().is_empty());
        counts.cooked += u64::from(direction.is_some());
        counts.cooked_for_others += u64::from(direction == Some(Direction::ForOthers));
        let is_mirrored = !frame.tunnels.is_empty()
            && frame
                .tunnels
                .iter()
                .any(|tunnel| matches!(tunnel, Tunnel::ErspanI | Tunnel::ErspanII | Tunnel::ErspanIII));
        counts.mirrored += u64::from(is_mirrored);
        let Some(source) = frame.source_mac else { return };
        counts.addressed += 1;
        let is_ptp = matches!(sort, Sort::Event | Sort::General);
        let to_group = frame.destination_mac.is_some_and(MacAddress::is_group);
        if let Some(station) = self.stations.entry(source) {
            station.frames += 1;
            station.latest = station.latest.max(record.time);
            station.multicast += u64::from(to_group);
            if is_ptp && to_group {
                let one_link = frame.destination_mac == Some(ONE_LINK);
                station.ptp_one_link += u64::from(one_link);
                station.ptp_multicast += u64::from(!one_link);
            }
            station.reports += u64::from(sort == Sort::Report);
            station.own += u64::from(direction == Some(Direction::Own));
            if let Some(unfinished) = unfinished_checksum(frame) {
                station.checksums += 1;
                station.unfinished_checksums += u64::from(unfinished);
            }
        }
        if let Some(destination) = frame.destination_mac.filter(|_| !to_group) {
            self.counts.unicast += 1;
            if let Some(pair) = self.pairs.entry((source, destination)) {
                pair.frames += 1;
                pair.ptp += u64::from(is_ptp);
                pair.arp_replies += u64::from(sort == Sort::Arp && arp_operation(frame) == Some(2));
            }
        }
        if sort == Sort::Arp {
            self.arp(source, to_group, frame);
        }
    }

    /// Takes in frames that were counted apart.
    pub fn add_alike(&mut self, alike: &Alike) {
        let Alike {
            source,
            destination,
            is_tagged,
            pseudo_sum: _,
            frames,
            latest,
            checksums,
            unfinished_checksums,
        } = *alike;
        if frames == 0 {
            return;
        }
        let to_group = destination.is_group();
        let counts = &mut self.counts;
        counts.frames += frames;
        counts.other_udp += frames;
        counts.addressed += frames;
        counts.broadcast += if destination == MacAddress([0xFF; 6]) { frames } else { 0 };
        counts.tagged += if is_tagged { frames } else { 0 };
        if let Some(ours) = self.stations.entry(source) {
            ours.add(Station {
                frames,
                multicast: if to_group { frames } else { 0 },
                checksums,
                unfinished_checksums,
                latest: Some(latest),
                ..Station::default()
            });
        }
        if !to_group {
            counts.unicast += frames;
            if let Some(pair) = self.pairs.entry((source, destination)) {
                pair.frames += frames;
            }
        }
    }

    /// Address resolution (RFC 826): a question to all whose answer goes to the asker alone.
    fn arp(&mut self, source: MacAddress, to_group: bool, frame: &Frame<'_>) {
        let Some(octets) = frame.payload.first_chunk::<28>() else { return };
        let [0, 1, 8, 0, 6, 4, 0, operation, _, _, _, _, _, _, s0, s1, s2, s3, .., t0, t1, t2, t3] = *octets
        else {
            return;
        };
        let sender = Ipv4Addr::new(s0, s1, s2, s3);
        let target = Ipv4Addr::new(t0, t1, t2, t3);
        // Probes come from 0.0.0.0 and announcements ask for the sender itself (RFC 5227): nobody answers those.
        if sender.is_unspecified() {
            return;
        }
        if let Some(count) = self.arp_senders.entry(sender) {
            *count += 1;
        }
        if to_group
            && operation == 1
            && sender != target
            && let Some(count) = self.asks.entry((source, target))
        {
            *count += 1;
        }
    }

    /// This stretch and the one after it as one.
    #[must_use]
    pub fn join(mut self, right: Self) -> Self {
        self.add(&right);
        self
    }

    /// Adds the stretch that follows.
    pub fn add(&mut self, right: &Self) {
        self.pairs.add(&right.pairs);
        self.stations.add(&right.stations);
        self.asks.add(&right.asks);
        self.arp_senders.add(&right.arp_senders);
        self.counts.add(right.counts);
    }

    /// Forgets everything and keeps the room for as much.
    pub fn clear(&mut self) {
        self.pairs.clear();
        self.stations.clear();
        self.asks.clear();
        self.arp_senders.clear();
        self.counts = Counts::default();
    }

    /// Unicast frames by source and destination; at most [`KEPT`] pairs.
    #[must_use]
    pub fn pairs(&self) -> BTreeMap<(MacAddress, MacAddress), Pair> {
        self.pairs.sorted()
    }

    /// Senders; at most [`KEPT`].
    #[must_use]
    pub fn stations(&self) -> BTreeMap<MacAddress, Station> {
        self.stations.sorted()
    }

    /// Frames of pairs and stations that found no room in the tables; 0 in any usual capture.
    #[must_use]
    pub fn overflow(&self) -> u64 {
        let pairs: u64 = self.pairs().values().map(|pair| pair.frames).sum();
        let stations: u64 = self.stations().values().map(|station| station.frames).sum();
        let counts = &self.counts;
        counts.unicast.saturating_sub(pairs).max(counts.addressed.saturating_sub(stations))
    }

    /// Stations that asked all for an address, with the address asked for, and were not seen to be answered by
    /// anybody at all. Only addresses that themselves speak ARP in this capture or are in `alive`: their owner
    /// is there to answer.
    #[must_use]
    pub fn unanswered_asks(&self, alive: &BTreeSet<Ipv4Addr>) -> BTreeSet<(MacAddress, Ipv4Addr)> {
        let senders = self.arp_senders.sorted();
        let pairs = self.pairs();
        let answered: BTreeSet<MacAddress> = pairs
            .iter()
            .filter(|(_, pair)| pair.arp_replies > 0)
            .map(|((_, destination), _)| *destination)
            .collect();
        self.asks
            .sorted()
            .into_keys()
            .filter(|(asker, _)| !answered.contains(asker))
            .filter(|(_, target)| senders.contains_key(target) || alive.contains(target))
            .collect()
    }
}

pub(super) fn sort(frame: &Frame<'_>) -> Sort {
    if let Some(udp) = frame.udp {
        return match udp.destination_port {
            ptp::EVENT_PORT => Sort::Event,
            ptp::GENERAL_PORT => Sort::General,
            _ => Sort::OtherUdp,
        };
    }
    if let Some(network) = frame.network {
        let first = frame.payload.first().copied().unwrap_or_default();
        return match (network.protocol, first) {
            _ if network.fragment == Fragment::Later => Sort::Other,
            // IGMP: RFC 2236 section 2, RFC 3376 section 4.
            (IGMP, 0x11) => Sort::Query,
            (IGMP, 0x12 | 0x16 | 0x17 | 0x22) => Sort::Report,
            // MLD: RFC 2710 section 3, RFC 3810 section 5.
            (ICMPV6, 130) => Sort::Query,
            (ICMPV6, 131 | 132 | 143) => Sort::Report,
            _ => Sort::Other,
        };
    }
    match frame.ethertype {
        // Message types below 8 are event messages (1588-2008 table 19, from memory).
        Some(ptp::ETHERTYPE) if frame.payload.first().is_some_and(|first| first & 0x0F < 8) => Sort::Event,
        Some(ptp::ETHERTYPE) => Sort::General,
        Some(ARP) => Sort::Arp,
        _ => Sort::Other,
    }
}

fn arp_operation(frame: &Frame<'_>) -> Option<u16> {
    let [_, _, _, _, _, _, high, low] = *frame.payload.first_chunk::<8>()?;
    Some(u16::from_be_bytes([high, low]))
}

/// What a cooked header says of a frame's way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Direction {
    ToUs,
    ForOthers,
    Own,
}

/// The packet type of a Linux cooked header: 0 to us, 1 broadcast, 2 to a group, 3 to another host, 4 sent by
/// us (the link-layer header types list of the tcpdump project, from memory). `None` for every other link.
fn cooked_direction(record: &Record<'_>) -> Option<Direction> {
    let number = match record.link {
        LinkType::LINUX_SLL => {
            let [high, low] = *record.octets.first_chunk::<2>()?;
            u16::from_be_bytes([high, low])
        }
        LinkType::LINUX_SLL2 => u16::from(*record.octets.get(10)?),
        _ => return None,
    };
    Some(match number {
        3 => Direction::ForOthers,
        4 => Direction::Own,
        _ => Direction::ToUs,
    })
}

/// Whether a UDP checksum is the folded sum of the pseudo-header (RFC 768) and nothing else, which is what an
/// operating system leaves in the field for its adapter to finish (Linux `CHECKSUM_PARTIAL`, from memory). By
/// chance it happens once in 65 536 datagrams. `None` without a checksum.
fn unfinished_checksum(frame: &Frame<'_>) -> Option<bool> {
    let (udp, network) = (frame.udp?, frame.network?);
    if udp.checksum == 0 || network.fragment != Fragment::None {
        return None;
    }
    Some(is_unfinished(udp.checksum, udp.length, pseudo_sum(&network)?))
}

/// The sum of addresses and protocol (RFC 768).
pub(super) fn pseudo_sum(network: &Network) -> Option<u32> {
    let addresses = match (network.source, network.destination) {
        (IpAddr::V4(source), IpAddr::V4(destination)) => [source, destination]
            .map(|address| {
                let [a, b, c, d] = address.octets();
                u32::from(u16::from_be_bytes([a, b])) + u32::from(u16::from_be_bytes([c, d]))
            })
            .into_iter()
            .sum(),
        (IpAddr::V6(source), IpAddr::V6(destination)) => {
            source.segments().into_iter().chain(destination.segments()).map(u32::from).sum::<u32>()
        }
        _ => return None,
    };
    Some(addresses + u32::from(UDP))
}

#[inline]
pub(super) fn is_unfinished(checksum: u16, length: u16, pseudo_sum: u32) -> bool {
    let sum = u32::from(length) + pseudo_sum;
    // Two folds are enough for fewer than 2^16 words.
    let folded = (sum & 0xFFFF) + (sum >> 16);
    let folded = (folded & 0xFFFF) + (folded >> 16);
    u32::from(checksum) == folded
}
