//! Everything one port sent in one domain.

use std::collections::BTreeSet;
use std::net::IpAddr;

use super::by_kind::ByKind;
use super::cadence::Cadence;
use super::candidate::Candidate;
use super::claims::Claims;
use super::folding::Worth;
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
            changes: 0,
        }
    }

    pub(super) fn touch(&mut self, place: Place, path: &Path, heard: u64) {
        self.last = place;
        self.heard = heard;
        self.messages += 1;
        // A port that sends from ever new addresses must not grow without bound (chosen).
        self.addresses.count(SourceAddress { mac: path.source_mac, ip: path.source_ip }, 16);
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

    /// Takes in the number of a message of one kind to a group. What goes to one addressee has numbers of its own and comes by the
    /// way, through the router, that leads there.
    pub(super) fn number(&mut self, kind: Kind, place: Place, sequence_id: u16, path: &Path) {
        let source = SourceAddress { mac: path.source_mac, ip: path.source_ip };
        self.twins.record(kind, source, sequence_id, place, path.interface);
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
