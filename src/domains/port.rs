//! Everything one port sent in one domain.

use std::collections::BTreeSet;
use std::net::IpAddr;

use super::by_kind::ByKind;
use super::cadence::Cadence;
use super::candidate::Candidate;
use super::claims::Claims;
use super::folding::Worth;
use super::key::ClockId;
use super::key::PortId;
use super::marks::Marks;
use super::orders::Orders;
use super::peers::PeerSamples;
use super::replays::Replays;
use super::samples::LeaderSamples;
use super::silences::Latest;
use super::silences::Silence;
use super::silences::Silences;
use super::twins::Twins;
use crate::observations::Path;
use crate::observations::Place;
use crate::observations::Way;
use crate::ptp::v2;
use crate::tables::Few;
use crate::units::MacAddress;

/// Addresses kept of one port: one that sends from ever new ones must not grow without bound (chosen).
const ADDRESSES: usize = 16;

/// Addresses a port sent from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct SourceAddress {
    /// Source MAC, where the link type has one.
    pub mac: Option<MacAddress>,
    /// Source address, where the transport is IP.
    pub ip: Option<IpAddr>,
}

/// A message type of either version, with the report's names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Sync.
    Sync,
    /// Follow_Up.
    FollowUp,
    /// Delay_Req.
    DelayReq,
    /// Delay_Resp.
    DelayResp,
    /// Pdelay_Req.
    PdelayReq,
    /// Pdelay_Resp.
    PdelayResp,
    /// Pdelay_Resp_Follow_Up.
    PdelayRespFollowUp,
    /// Announce.
    Announce,
    /// Signaling.
    Signaling,
    /// Management.
    Management,
    /// A reserved type.
    Reserved,
}

impl Kind {
    /// All, in order.
    pub(super) const ALL: [Self; 11] = [
        Self::Sync,
        Self::FollowUp,
        Self::DelayReq,
        Self::DelayResp,
        Self::PdelayReq,
        Self::PdelayResp,
        Self::PdelayRespFollowUp,
        Self::Announce,
        Self::Signaling,
        Self::Management,
        Self::Reserved,
    ];

    /// Its place among [`Self::ALL`].
    pub(super) const fn place(self) -> usize {
        match self {
            Self::Sync => 0,
            Self::FollowUp => 1,
            Self::DelayReq => 2,
            Self::DelayResp => 3,
            Self::PdelayReq => 4,
            Self::PdelayResp => 5,
            Self::PdelayRespFollowUp => 6,
            Self::Announce => 7,
            Self::Signaling => 8,
            Self::Management => 9,
            Self::Reserved => 10,
        }
    }

    /// The standard's spelling.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sync => "Sync",
            Self::FollowUp => "Follow_Up",
            Self::DelayReq => "Delay_Req",
            Self::DelayResp => "Delay_Resp",
            Self::PdelayReq => "Pdelay_Req",
            Self::PdelayResp => "Pdelay_Resp",
            Self::PdelayRespFollowUp => "Pdelay_Resp_Follow_Up",
            Self::Announce => "Announce",
            Self::Signaling => "Signaling",
            Self::Management => "Management",
            Self::Reserved => "messages of a reserved type",
        }
    }
}

/// Time properties as the latest Announce or v1 Sync gave them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeProperties {
    /// `currentUtcOffset`, s.
    pub current_utc_offset: i16,
    /// `timeSource`; `None` in v1.
    pub time_source: Option<u8>,
    /// `flagField` of the Announce; `None` in v1.
    pub flags: Option<v2::Flags>,
}

/// A port and all it sent.
#[derive(Debug, Clone)]
pub struct ClockPort {
    /// Which.
    pub port: PortId,
    /// Series by kind.
    pub series: ByKind<Cadence>,
    /// Silences of what it sends to the group: Announce and Sync.
    pub silences: ByKind<Silences>,
    /// How each kind was addressed and marked.
    pub marks: ByKind<Marks>,
    /// Its latest offer, if it ever made one.
    pub offer: Option<Candidate>,
    /// Time properties with its latest offer.
    pub time_properties: Option<TimeProperties>,
    /// `twoStepFlag` of its latest Sync (v1 `PTP_ASSIST`).
    pub two_step: Option<bool>,
    /// Where its latest Sync was captured.
    pub sync_way: Option<Way>,
    /// Whether its Syncs were captured at several interfaces of one file.
    pub syncs_by_several_ways: bool,
    /// Offers with `alternateMasterFlag`, which take no part in the election.
    pub alternate_offers: u64,
    /// `minorVersionPTP` of the latest message.
    pub(super) minor_version: Option<u8>,
    /// `versionPTP` 2's `minorVersionPTP` values seen.
    pub minor_versions: BTreeSet<u8>,
    /// Addresses it sent from, by number of messages.
    pub addresses: Few<SourceAddress>,
    /// Who sends under its identity.
    pub twins: Twins,
    /// What it says of itself in management answers.
    pub claims: Claims,
    /// What it told others to change, and how it answers.
    pub orders: Orders,
    /// Messages of it that came again.
    pub replays: Replays,
    /// Where it sends Sync: what those say of the capture's clock.
    pub samples: Option<Box<LeaderSamples>>,
    /// Where it answers peer-delay requests: what those answers say.
    pub peer: Option<Box<PeerSamples>>,
    /// The latest SMPTE ST 2059-2 synchronization metadata it sent.
    pub synchronization_metadata: Option<v2::tlv::SynchronizationMetadata>,
    /// v1: the port it says it follows.
    pub parent: Option<PortId>,
    /// First message.
    pub first: Place,
    /// Latest message.
    pub last: Place,
    /// The number of its latest message among all of the capture.
    pub(super) heard: u64,
    messages: u64,
    /// Where [`super::Sightings`] keeps its latest messages.
    pub(super) sighted: Option<u32>,
    /// Where the domain keeps what it asked, end to end and of its neighbour, as long as nobody is left out.
    pub(super) asks: [Option<u32>; 2],
    /// Times that it announced other data than before.
    pub(super) changes: u64,
}

impl ClockPort {
    pub(super) fn new(port: PortId, place: Place) -> Self {
        Self {
            port,
            series: ByKind::default(),
            silences: ByKind::default(),
            marks: ByKind::default(),
            offer: None,
            time_properties: None,
            two_step: None,
            sync_way: None,
            syncs_by_several_ways: false,
            alternate_offers: 0,
            minor_version: None,
            minor_versions: BTreeSet::new(),
            addresses: Few::default(),
            twins: Twins::default(),
            claims: Claims::default(),
            orders: Orders::default(),
            replays: Replays::default(),
            samples: None,
            peer: None,
            synchronization_metadata: None,
            parent: None,
            first: place,
            last: place,
            heard: 0,
            messages: 0,
            sighted: None,
            asks: [None; 2],
            changes: 0,
        }
    }

    pub(super) fn touch(&mut self, place: Place, heard: u64) {
        self.last = place;
        self.heard = heard;
        self.messages += 1;
    }

    /// Takes in how a message of one kind came, and its number.
    pub(super) fn came(&mut self, kind: Kind, place: Place, number: u16, path: &Path) {
        let way = Way { file: place.file, interface: path.interface };
        if self.marks.entry(kind).is_some_and(|marks| marks.goes_on(way, path, number)) {
            return;
        }
        self.settle(kind);
        if let Some(marks) = self.marks.known(kind) {
            marks.begin(way, path, number);
        }
        let source = SourceAddress { mac: path.source_mac, ip: path.source_ip };
        self.addresses.count(source, ADDRESSES);
        // What goes to one addressee has numbers of its own and comes by the way, through the router, that leads there.
        if path.is_multicast() {
            self.twins.record(kind, source, number, place, path.interface);
        }
    }

    /// Counts what came of every kind.
    pub(super) fn settle_all(&mut self) {
        Kind::ALL.iter().for_each(|kind| self.settle(*kind));
    }

    /// Counts what came since by the same way as the message before.
    fn settle(&mut self, kind: Kind) {
        let Some(run) = self.marks.known(kind).and_then(Marks::settle) else { return };
        let source = SourceAddress { mac: run.path.source_mac, ip: run.path.source_ip };
        self.addresses.add(source, run.count, ADDRESSES);
        if run.path.is_multicast() {
            self.twins.go_on(kind, source, run.count, (run.number, run.way));
        }
    }

    /// Ends the reading at the capture's last instant.
    pub(super) fn finish(&mut self) {
        self.settle_all();
        for kind in [Kind::Announce, Kind::Sync] {
            if let Some(series) = self.series.known(kind) {
                series.measure();
            }
        }
    }

    /// Takes in how long the network was watched at a message to a group, and how many requests there were, to tell
    /// silences.
    pub(super) fn silence(&mut self, kind: Kind, mut now: Latest) {
        // The declared one first: a sender that mostly keeps silent has no pace to measure silence by.
        if let Some(series) = self.series.known(kind).filter(|series| series.declared_interval().is_none()) {
            series.measure();
        }
        let series = self.series(kind);
        let interval = series.and_then(|series| series.declared_interval().or_else(|| series.pace()));
        let own = self.count(Kind::DelayReq).saturating_add(self.count(Kind::PdelayReq));
        now.asked = now.asked.saturating_sub(own);
        if let Some(silences) = self.silences.entry(kind) {
            silences.record(now, interval);
        }
    }

    pub(super) fn sync_came_by(&mut self, way: Way) {
        let before = self.sync_way.replace(way);
        self.syncs_by_several_ways |= before.is_some_and(|before| before.file == way.file && before != way);
    }

    /// The series of one kind, if any was sent.
    #[must_use]
    pub fn series(&self, kind: Kind) -> Option<&Cadence> {
        self.series.get(&kind)
    }

    /// The silences in one kind.
    #[must_use]
    pub fn silences(&self, kind: Kind) -> &[Silence] {
        self.silences.get(&kind).map(|silences| silences.kept()).unwrap_or_default()
    }

    /// Whether it offers this grandmaster.
    #[must_use]
    pub fn offers(&self, grandmaster: ClockId) -> bool {
        self.offer.is_some_and(|offer| offer.grandmaster == grandmaster)
    }

    /// The silences of its Sync through which its Announces went on: else it was silent altogether.
    pub fn sync_pauses(&self) -> impl Iterator<Item = &Silence> {
        let announces = self.silences(Kind::Announce);
        let goes_on = |sync: &&Silence| !announces.iter().any(|announce| announce.overlaps(sync));
        self.silences(Kind::Sync).iter().filter(goes_on)
    }

    /// Messages of one kind.
    #[must_use]
    pub fn count(&self, kind: Kind) -> u64 {
        self.series(kind).map_or(0, Cadence::count)
    }

    /// Messages of all kinds.
    #[must_use]
    pub const fn messages(&self) -> u64 {
        self.messages
    }

    pub(super) fn worth(&self) -> Worth {
        Worth::new(self.messages, self.heard)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::observations::Transport;
    use proptest::prelude::*;
    use std::net::IpAddr;

    /// Ways that differ in one thing each.
    fn path() -> impl Strategy<Value = Path> {
        let way = (0_u32..2, 1_u8..4, 1_u8..3, any::<bool>(), prop::option::of(0_u8..2), 63_u8..65);
        way.prop_map(|(interface, mac, ip, to_group, dscp, ttl)| Path {
            interface,
            source_mac: (mac > 1).then_some(MacAddress([2, 0, 0x5E, 0, 0, mac])),
            destination_mac: None,
            vlan: None,
            pcp: dscp,
            transport: Transport::Udp4,
            source_ip: Some(IpAddr::from([10, 20, 0, ip])),
            destination_ip: Some(IpAddr::from(if to_group { [224, 0, 1, 129] } else { [10, 20, 0, 9] })),
            destination_port: Some(319),
            ttl: Some(ttl),
            dscp,
        })
    }

    proptest! {
        #[test]
        fn messages_counted_together_are_counted_as_one_by_one(
            runs in prop::collection::vec((path(), 0_usize..3, 1_usize..5, any::<bool>()), 0..40),
        ) {
            let place = Place { file: 0, frame: 1, time: None };
            let port = PortId { clock: ClockId::V1(MacAddress([2; 6])), port: 1 };
            let (mut together, mut one_by_one) = (ClockPort::new(port, place), ClockPort::new(port, place));
            let mut number = 0;
            for (path, kind, count, is_other_device) in runs {
                let kind = [Kind::Sync, Kind::Announce, Kind::DelayReq][kind];
                for _ in 0..count {
                    number += 1;
                    let number = if is_other_device { number + 9000 } else { number };
                    together.came(kind, place, number, &path);
                    one_by_one.came(kind, place, number, &path);
                    one_by_one.settle_all();
                }
            }
            together.settle_all();
            prop_assert_eq!(&together.addresses, &one_by_one.addresses);
            prop_assert_eq!(format!("{:?}", together.twins), format!("{:?}", one_by_one.twins));
            prop_assert_eq!(format!("{:?}", together.marks), format!("{:?}", one_by_one.marks));
        }
    }
}
