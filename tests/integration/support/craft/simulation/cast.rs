//! Who takes part in a scenario, and what a node knows while it runs.
use std::collections::BTreeMap;
use std::net::Ipv4Addr;

use crate::support::craft::frame::Mac;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft::random::Random;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::SECOND;

/// A scene: everything that the run and its truth follow from.
#[derive(Clone, Debug)]
pub(crate) struct Scenario {
    pub(crate) seed: u64,
    pub(crate) duration: Ns,
    pub(crate) nodes: Vec<NodeSpec>,
    pub(crate) cues: Vec<(Ns, Cue)>,
    pub(crate) streams: Vec<StreamSpec>,
    pub(crate) querier: Option<QuerierSpec>,
    /// The node that asks for CURRENT_DATA_SET, at these times.
    pub(crate) polls: Vec<Ns>,
    /// Whole frames that a node sends at these times, besides what it does by itself.
    pub(crate) utterances: Vec<(Ns, usize, Vec<u8>)>,
    pub(crate) poller: Option<usize>,
    /// Multicast does not pass between the segments; the tap sees both.
    pub(crate) segments_blocked: bool,
}

/// Something that happens to a node at a known time.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Cue {
    PowerOff(usize),
    PowerOn(usize),
    Quality { node: usize, clock_class: u8, clock_accuracy: u8 },
    Join { node: usize, group: Ipv4Addr },
    Leave { node: usize, group: Ipv4Addr },
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct QuerierSpec {
    pub(crate) node: usize,
    pub(crate) first_at: Ns,
    pub(crate) interval: Ns,
    /// It asks no more from here on.
    pub(crate) until: Ns,
    /// Everybody speaks IGMPv3, and the query declares the interval.
    pub(crate) version_3: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum MediaKind {
    /// Two channels of 24 bits at 48 kHz, 4 ms in a packet.
    Audio,
    /// A small compressed picture, 25 a second, 90 kHz time.
    Video,
}

#[derive(Clone, Copy, Debug)]
pub(crate) struct StreamSpec {
    pub(crate) node: usize,
    pub(crate) group: Ipv4Addr,
    pub(crate) kind: MediaKind,
    pub(crate) payload_type: u8,
    pub(crate) from: Ns,
    pub(crate) until: Ns,
}

/// A device as it is installed.
#[derive(Clone, Debug)]
pub(crate) struct NodeSpec {
    pub(crate) name: &'static str,
    pub(crate) mac: Mac,
    pub(crate) ip: Ipv4Addr,
    pub(crate) segment: u8,
    pub(crate) v2: Option<V2Spec>,
    pub(crate) v1_leads: bool,
    pub(crate) v1_follows: bool,
    /// Groups that it joins.
    pub(crate) groups: Vec<Ipv4Addr>,
    pub(crate) starts_at: Ns,
    /// Multicast does not reach it before this time.
    pub(crate) deaf_until: Ns,
    /// Answers management requests.
    pub(crate) answers: bool,
    /// Its constant error against the leader when it follows; against TAI when it has a reference of its own.
    pub(crate) offset_ns: Ns,
    /// Rate error between corrections, or for good when it runs free.
    pub(crate) rate_ppb: i64,
    /// Its time at the capture's start when it was never set; None starts at TAI plus its offset.
    pub(crate) free_time: Option<Ns>,
    pub(crate) to_core_ns: Ns,
    pub(crate) from_core_ns: Ns,
}

/// The PTP version 2 port of a device.
#[derive(Clone, Copy, Debug)]
pub(crate) struct V2Spec {
    pub(crate) domain: u8,
    pub(crate) log_announce: i8,
    pub(crate) log_sync: i8,
    pub(crate) log_delay: i8,
    pub(crate) data: DataSet,
    pub(crate) follower_only: bool,
    /// Fills the origin time of requests and of two-step Syncs (roughly) instead of leaving 0.
    pub(crate) fills_origin: bool,
    /// Sends ST 2059-2 metadata each second while it leads.
    pub(crate) sends_metadata: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum State {
    Listening,
    Leading,
    Passive,
    Following(PortIdentity),
}

#[derive(Clone, Debug)]
pub(crate) struct Foreign {
    pub(crate) data: DataSet,
    pub(crate) heard: Vec<Ns>,
}

/// A device at work.
#[derive(Clone, Debug)]
pub(crate) struct Node {
    pub(crate) spec: NodeSpec,
    pub(crate) on: bool,
    pub(crate) state: State,
    /// Counts changes of role; events of an old role fall silent.
    pub(crate) role: u32,
    pub(crate) armed: u32,
    pub(crate) requesting: bool,
    pub(crate) foreign: BTreeMap<PortIdentity, Foreign>,
    pub(crate) spell: Option<usize>,
    pub(crate) v1_spell: Option<usize>,
    /// Next sequenceId by message kind.
    pub(crate) sequences: BTreeMap<&'static str, u16>,
    pub(crate) v1_syncs_until_request: i64,
    pub(crate) v1_last_sync: u16,
    /// Where its sequenceIds begin: anywhere for a device that has run for days, 0 after a restart.
    pub(crate) sequence_base: u16,
    identification: u16,
    phase_ns: Ns,
    phase_at: Ns,
}

impl Node {
    pub(crate) fn new(spec: &NodeSpec, random: &mut Random) -> Node {
        let phase_ns = match spec.free_time {
            Some(time) => time - super::begin_tai(),
            None => spec.offset_ns,
        };
        Node {
            spec: spec.clone(),
            on: false,
            state: State::Listening,
            role: 0,
            armed: 0,
            requesting: false,
            foreign: BTreeMap::new(),
            spell: None,
            v1_spell: None,
            sequences: BTreeMap::new(),
            v1_syncs_until_request: random.between(4, 7),
            v1_last_sync: 0,
            sequence_base: if spec.starts_at < -5 * SECOND {
                u16::try_from(random.between(0, 65_535)).expect("16 bits")
            } else {
                0
            },
            identification: u16::try_from(random.between(0, 65_535)).expect("16 bits"),
            phase_ns,
            phase_at: 0,
        }
    }

    pub(crate) fn next_identification(&mut self) -> u16 {
        self.identification = self.identification.wrapping_add(1);
        self.identification
    }

    pub(crate) fn next_sequence(&mut self, kind: &'static str) -> u16 {
        let next = self.sequences.entry(kind).or_insert(self.sequence_base);
        let given = *next;
        *next = next.wrapping_add(1);
        given
    }

    /// How far its clock is ahead of TAI.
    pub(crate) fn phase(&self, at: Ns) -> Ns {
        self.phase_ns + (at - self.phase_at) * self.spec.rate_ppb / SECOND
    }

    pub(crate) fn set_phase(&mut self, phase_ns: Ns, at: Ns) {
        self.phase_ns = phase_ns;
        self.phase_at = at;
    }

    /// Its clock's reading, nanoseconds since the PTP epoch.
    pub(crate) fn clock(&self, at: Ns) -> i64 {
        super::begin_tai() + at + self.phase(at)
    }

    pub(crate) fn identity(&self) -> PortIdentity {
        PortIdentity::of_mac(self.spec.mac)
    }

    pub(crate) fn follows(&self, leader: usize, nodes: &[Node]) -> bool {
        self.state == State::Following(nodes[leader].identity())
    }
}

/// 2^log seconds.
pub(crate) fn interval(log: i8) -> Ns {
    if log < 0 { SECOND >> log.unsigned_abs() } else { SECOND << log.unsigned_abs() }
}
