//! A small model of clocks on a switched network, played event by event and seen by one tap on the core switch.
//!
//! True time runs in nanoseconds from the moment the capture starts; PTP time is TAI, the capture's clock is UTC with
//! an offset and a rate error of its own. Every frame passes the core switch, where it is captured, and goes on to the
//! nodes that can hear it. Nothing in the log is made up afterwards: the truth is read off the same run.
mod cast;
mod traffic;
mod v1;
mod v2;

use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::collections::BinaryHeap;
use std::net::Ipv4Addr;

pub(crate) use crate::support::craft::simulation::cast::*;
pub(crate) use crate::support::craft::simulation::traffic::MAX_RESPONSE_3;
pub(crate) use crate::support::craft::simulation::v2::compare;

use crate::support::craft::capture_file::CapturedFrame;
use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::ptp_v2;
use crate::support::craft::random::Random;

/// Nanoseconds of true time; 0 is the start of the capture.
pub(crate) type Ns = i64;
pub(crate) const MILLISECOND: Ns = 1_000_000;
pub(crate) const SECOND: Ns = 1_000_000_000;
/// 2026-10-03T19:28:00Z.
const BEGIN_UTC_NS: Ns = 1_791_055_680 * SECOND;
/// TAI is ahead of UTC by this since 2017 (IERS Bulletin C 52, from memory).
pub(crate) const TAI_MINUS_UTC_S: i16 = 37;
pub(crate) const CAPTURE_OFFSET_NS: Ns = 180_000;
pub(crate) const CAPTURE_RATE_PPB: i64 = 2_000;
/// 224.0.1.129, the group of both PTP versions (1588-2002 and 1588-2008 Annex D).
pub(crate) const PTP_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);
/// Expedited forwarding, as AES67 marks its clock (AES67-2018 6.2, from memory).
const EXPEDITED: u8 = 46;
pub(crate) const CONTROL_TAP: u32 = 0;
pub(crate) const MEDIA_TAP: u32 = 1;

/// PTP time when the capture starts.
fn begin_tai() -> Ns {
    BEGIN_UTC_NS + i64::from(TAI_MINUS_UTC_S) * SECOND
}

/// A domain as the wire separates them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Domain {
    V1,
    V2(u8),
}

/// What the tap saw, with the sender's own knowledge of it.
#[derive(Clone, Debug)]
pub(crate) struct Logged {
    pub(crate) at: Ns,
    pub(crate) interface: u32,
    pub(crate) octets: Vec<u8>,
    pub(crate) domain: Option<Domain>,
    pub(crate) kind: &'static str,
    pub(crate) node: usize,
}

/// One unbroken time of a node as leader.
#[derive(Clone, Debug)]
pub(crate) struct Spell {
    pub(crate) node: usize,
    pub(crate) domain: Domain,
    /// The announced data set, as at the end of the spell.
    pub(crate) data: Option<ptp_v2::DataSet>,
    /// The data set got worse while it led.
    pub(crate) worsened: bool,
    pub(crate) ended: bool,
    /// Log entries of its Announces (of its Syncs in version 1).
    pub(crate) announces: Vec<usize>,
}

#[derive(Clone, Debug)]
enum Message {
    V2(ptp_v2::Header, ptp_v2::Body),
    V1Sync { sequence: u16 },
    V1FollowUp,
    V1DelayReq { sequence: u16 },
}

#[derive(Clone, Debug)]
enum Event {
    Start(usize),
    Cue(usize),
    Hear { to: usize, from: usize, message: Message },
    Announce { node: usize, role: u32 },
    Sync { node: usize, role: u32 },
    Metadata { node: usize, role: u32 },
    AnnounceTimeout { node: usize, armed: u32 },
    DelayReq { node: usize, role: u32 },
    Send { node: usize, role: u32, header: ptp_v2::Header, body: ptp_v2::Body },
    V1Sync { node: usize },
    V1FollowUp { node: usize, associated: u16, origin_ns: i64 },
    V1DelayReq { node: usize },
    V1DelayResp { node: usize, requester: usize, associated: u16, receipt_ns: i64 },
    Query,
    Report { node: usize, group: Ipv4Addr },
    Poll,
    Utter(usize),
    Media { stream: usize, index: i64 },
    MediaPacket { stream: usize, timestamp: u32, marker: bool, payload_octets: usize },
}

#[derive(Clone, Debug)]
struct Queued {
    at: Ns,
    order: u64,
    event: Event,
}

impl PartialEq for Queued {
    fn eq(&self, other: &Self) -> bool {
        self.order == other.order
    }
}
impl Eq for Queued {}
impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Queued {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.at, self.order).cmp(&(other.at, other.order))
    }
}

/// The whole network in play.
pub(crate) struct World {
    pub(crate) scenario: Scenario,
    pub(crate) nodes: Vec<Node>,
    pub(crate) log: Vec<Logged>,
    pub(crate) spells: Vec<Spell>,
    queue: BinaryHeap<Reverse<Queued>>,
    order: u64,
    random: Random,
    media: Vec<MediaState>,
}

#[derive(Clone, Copy, Debug)]
struct MediaState {
    sequence: u16,
    ssrc: u32,
}

impl World {
    /// Plays the scenario from its warm-up to its end.
    pub(crate) fn play(scenario: Scenario) -> World {
        let mut random = Random::seeded(scenario.seed);
        let nodes = scenario.nodes.iter().map(|spec| Node::new(spec, &mut random)).collect();
        let media = scenario
            .streams
            .iter()
            .map(|_| MediaState {
                sequence: u16::try_from(random.between(0, 65_535)).expect("16 bits"),
                ssrc: u32::try_from(random.between(1, 0xffff_fffe)).expect("32 bits"),
            })
            .collect();
        let (log, spells, queue) = (Vec::new(), Vec::new(), BinaryHeap::new());
        let mut world = World { scenario, nodes, log, spells, queue, order: 0, random, media };
        world.set_the_stage();
        while let Some(Reverse(next)) = world.queue.pop() {
            if next.at > world.scenario.duration {
                break;
            }
            world.step(next.at, next.event);
        }
        world
    }

    fn set_the_stage(&mut self) {
        for node in 0..self.nodes.len() {
            let start = self.nodes[node].spec.starts_at + self.random.between(0, SECOND / 2);
            self.schedule(start, Event::Start(node));
        }
        for cue in 0..self.scenario.cues.len() {
            self.schedule(self.scenario.cues[cue].0, Event::Cue(cue));
        }
        if let Some(querier) = self.scenario.querier {
            self.schedule(querier.first_at, Event::Query);
        }
        for poll in self.scenario.polls.clone() {
            self.schedule(poll, Event::Poll);
        }
        for utterance in 0..self.scenario.utterances.len() {
            self.schedule(self.scenario.utterances[utterance].0, Event::Utter(utterance));
        }
        for stream in 0..self.scenario.streams.len() {
            self.start_stream(stream);
        }
    }

    fn schedule(&mut self, at: Ns, event: Event) {
        self.order += 1;
        self.queue.push(Reverse(Queued { at, order: self.order, event }));
    }

    fn step(&mut self, at: Ns, event: Event) {
        match event {
            Event::Start(node) => self.start(node, at),
            Event::Cue(cue) => self.cue(cue, at),
            Event::Hear { to, from, message } => self.hear(to, from, message, at),
            Event::Announce { node, role } => self.announce(node, role, at),
            Event::Sync { node, role } => self.sync(node, role, at),
            Event::Metadata { node, role } => self.metadata(node, role, at),
            Event::AnnounceTimeout { node, armed } => self.announce_timeout(node, armed, at),
            Event::DelayReq { node, role } => self.delay_req(node, role, at),
            Event::Send { node, role, header, body } => {
                if self.nodes[node].role == role {
                    self.send_v2(node, header, body, at);
                }
            }
            Event::V1Sync { node } => self.v1_sync(node, at),
            Event::V1FollowUp { node, associated, origin_ns } => {
                self.v1_follow_up(node, associated, origin_ns, at);
            }
            Event::V1DelayReq { node } => self.v1_delay_req(node, at),
            Event::V1DelayResp { node, requester, associated, receipt_ns } => {
                self.v1_delay_resp(node, requester, associated, receipt_ns, at);
            }
            Event::Query => self.query(at),
            Event::Report { node, group } => self.report(node, group, at),
            Event::Poll => self.poll(at),
            Event::Utter(utterance) => self.utter(utterance, at),
            Event::Media { stream, index } => self.media(stream, index, at),
            Event::MediaPacket { stream, timestamp, marker, payload_octets } => {
                self.media_packet(stream, timestamp, marker, payload_octets, at);
            }
        }
    }

    fn start(&mut self, node: usize, at: Ns) {
        self.nodes[node].on = true;
        if self.nodes[node].spec.v2.is_some() {
            self.start_v2(node, at);
        }
        if self.nodes[node].spec.v1_leads {
            self.start_v1_leader(node, at);
        }
    }

    fn cue(&mut self, cue: usize, at: Ns) {
        match self.scenario.cues[cue].1 {
            Cue::PowerOff(node) => {
                self.nodes[node].on = false;
                self.leave_role(node);
            }
            Cue::PowerOn(node) => {
                self.nodes[node].sequence_base = 0;
                self.start(node, at);
            }
            Cue::Quality { node, clock_class, clock_accuracy } => {
                self.set_quality(node, clock_class, clock_accuracy);
            }
            Cue::Join { node, group } => self.change_membership(node, group, true, at),
            Cue::Leave { node, group } => self.change_membership(node, group, false, at),
        }
    }

    fn hear(&mut self, to: usize, from: usize, message: Message, at: Ns) {
        if !self.nodes[to].on || at < self.nodes[to].spec.deaf_until {
            return;
        }
        match message {
            Message::V2(header, body) => self.hear_v2(to, from, &header, &body, at),
            Message::V1Sync { sequence } => self.hear_v1_sync(to, from, sequence, at),
            Message::V1FollowUp => self.discipline(to, from, at),
            Message::V1DelayReq { sequence } => self.hear_v1_delay_req(to, from, sequence, at),
        }
    }

    /// One PTP datagram of `node` leaves at `at`: into the log, and on to everyone who can hear it.
    fn send_ptp(
        &mut self,
        node: usize,
        (domain, kind): (Domain, &'static str),
        (port, payload): (u16, &[u8]),
        message: Option<Message>,
        at: Ns,
    ) -> usize {
        let spec = self.nodes[node].spec.clone();
        let way = Ipv4Way {
            source: spec.ip,
            destination: PTP_GROUP,
            ttl: 1,
            dscp: EXPEDITED,
            identification: self.nodes[node].next_identification(),
        };
        let octets = ethernet(group_mac(PTP_GROUP), spec.mac, 0x0800, &udp(&way, port, port, payload));
        let at_core = at + spec.to_core_ns + self.jitter();
        self.log.push(Logged {
            at: at_core,
            interface: CONTROL_TAP,
            octets,
            domain: Some(domain),
            kind,
            node,
        });
        if let Some(message) = message {
            for to in (0..self.nodes.len()).filter(|&to| to != node) {
                let other = &self.nodes[to].spec;
                if self.scenario.segments_blocked && other.segment != spec.segment {
                    continue;
                }
                let arrival = at_core + other.from_core_ns + self.jitter();
                self.schedule(arrival, Event::Hear { to, from: node, message: message.clone() });
            }
        }
        self.log.len() - 1
    }

    /// A switch adds a little to every frame, and now and then much: it queued behind another one.
    fn jitter(&mut self) -> Ns {
        if self.random.one_in(40) { self.random.between(1_000, 12_500) } else { self.random.between(0, 320) }
    }

    /// A follower has the time of `leader` again, to within its own constant error and the noise of its loop.
    fn discipline(&mut self, node: usize, leader: usize, at: Ns) {
        let noise = self.random.between(-60, 60);
        let follows_in_v1 = self.nodes[node].spec.v1_follows;
        if follows_in_v1 || self.nodes[node].follows(leader, &self.nodes) {
            let phase = self.nodes[leader].phase(at) + self.nodes[node].spec.offset_ns + noise;
            self.nodes[node].set_phase(phase, at);
        }
    }

    /// Frames in the order of the tap, stamped; and the stamp of each log entry that lies in the capture.
    pub(crate) fn captured(&self) -> (Vec<CapturedFrame>, BTreeMap<usize, Ns>) {
        let mut order: Vec<usize> = (0..self.log.len()).collect();
        order.sort_by_key(|&entry| (self.log[entry].at, entry));
        let mut frames = Vec::new();
        let mut stamps = BTreeMap::new();
        let mut free_from = 0;
        for entry in order {
            let logged = &self.log[entry];
            if logged.at < 0 || logged.at >= self.scenario.duration {
                continue;
            }
            // The mirror port sends one frame after the other at 1 Gb/s.
            let at = logged.at.max(free_from);
            free_from = at + i64::try_from(logged.octets.len() + 24).expect("short") * 8;
            let stamp_ns = capture_stamp(at);
            stamps.insert(entry, stamp_ns);
            frames.push(CapturedFrame {
                stamp_ns,
                interface: logged.interface,
                octets: logged.octets.clone(),
            });
        }
        (frames, stamps)
    }
}

/// The capture clock's reading at a true time.
pub(crate) fn capture_stamp(at: Ns) -> Ns {
    BEGIN_UTC_NS + CAPTURE_OFFSET_NS + at + at * CAPTURE_RATE_PPB / SECOND
}
