//! A leader and a follower that keep to given parameters, as the domain that a capture of them shows.

use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::domains::Domain;
use downbeat::domains::Domains;
use downbeat::domains::Views;
use downbeat::frame;
use downbeat::observations::Place;
use downbeat::observations::Watch;
use downbeat::observations::from_frame;
use downbeat::units::CaptureTime;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::Mac;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::ethernet_tagged;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::octets::Octets;
use crate::support::craft::ptp_v1;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::Header;
use crate::support::craft::ptp_v2::NOT_STATED;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft_frames;

pub(super) const PEER_GROUP: Mac = [0x01, 0x80, 0xC2, 0x00, 0x00, 0x0E];
const GROUP: Mac = [0x01, 0x1B, 0x19, 0x00, 0x00, 0x00];
const LEADER: Mac = [0x02, 0x00, 0x5e, 0x10, 0x00, 0x01];
const FOLLOWER: Mac = [0x02, 0x00, 0x5e, 0x10, 0x00, 0x21];
const SECOND: i64 = 1_000_000_000;

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Over {
    Udp4,
    Udp6,
    Ethernet,
}

/// What the two keep to. Intervals are log2 s.
#[derive(Clone)]
pub(super) struct Network {
    pub(super) over: Over,
    pub(super) domain: u8,
    pub(super) major_sdo_id: u8,
    pub(super) announce: i8,
    pub(super) sync: i8,
    pub(super) request: i8,
    /// How often Sync is really sent, where that differs from what is declared.
    pub(super) true_sync: Option<i8>,
    pub(super) peer_to_peer: bool,
    pub(super) unicast: bool,
    pub(super) unicast_requests: bool,
    pub(super) two_step: bool,
    pub(super) data: DataSet,
    /// Priority and VLAN id.
    pub(super) tag: Option<(u8, u16)>,
    /// To which group Sync and Announce go over Ethernet.
    pub(super) group: Mac,
    pub(super) dscp: u8,
    pub(super) ttl: u8,
    /// TLVs behind each Announce and each Follow_Up.
    pub(super) announce_tlvs: Vec<u8>,
    pub(super) follow_up_tlvs: Vec<u8>,
    /// Leave the TLVs off the first Announce and Follow_Up.
    pub(super) one_without_tlvs: bool,
    /// TLVs of a Management message each second, with its action.
    pub(super) management: Option<(u8, Vec<u8>)>,
    /// TLVs of one Signaling message.
    pub(super) signaling: Option<Vec<u8>>,
    pub(super) seconds: i64,
    /// Octets of each frame that the capture keeps.
    pub(super) kept_octets: usize,
}

/// IEEE 1588's request-response defaults over UDP/IPv4.
pub(super) fn plain() -> Network {
    Network {
        over: Over::Udp4,
        domain: 0,
        major_sdo_id: 0,
        announce: 1,
        sync: 0,
        request: 0,
        true_sync: None,
        peer_to_peer: false,
        unicast: false,
        unicast_requests: false,
        two_step: true,
        data: DataSet {
            priority1: 128,
            clock_class: 248,
            clock_accuracy: 0xFE,
            variance: 0xFFFF,
            priority2: 128,
            grandmaster: PortIdentity::of_mac(LEADER).clock,
            steps_removed: 0,
            utc_offset_s: 37,
            time_source: 0xA0,
            time_flags: 0,
        },
        tag: None,
        group: GROUP,
        dscp: 0,
        ttl: 1,
        announce_tlvs: Vec::new(),
        follow_up_tlvs: Vec::new(),
        one_without_tlvs: false,
        management: None,
        signaling: None,
        seconds: 60,
        kept_octets: usize::MAX,
    }
}

pub(super) fn organization_tlv(id: [u8; 3], sub_type: [u8; 3], value_octets: usize) -> Vec<u8> {
    tlv(0x0003, &Octets::new().bytes(&id).bytes(&sub_type).zeros(value_octets).0)
}

pub(super) fn tlv(kind: u16, value: &[u8]) -> Vec<u8> {
    Octets::new().u16(kind).u16(u16::try_from(value.len()).unwrap()).bytes(value).0
}

fn interval_ns(log: i8) -> i64 {
    if log < 0 { SECOND >> -log } else { SECOND << log }
}

/// Puts TLVs behind a message and counts them in messageLength (octets 2 and 3).
fn with_tlvs(mut message: Vec<u8>, tlvs: &[u8]) -> Vec<u8> {
    message.extend_from_slice(tlvs);
    let length = u16::try_from(message.len()).unwrap();
    message[2..4].copy_from_slice(&length.to_be_bytes());
    message
}

impl Network {
    /// The one domain that a capture of it shows.
    pub(super) fn domain(&self) -> Domain {
        let mut frames = Vec::new();
        let end = self.seconds * SECOND;
        let mut every = |log: i8, phase: i64, make: &mut dyn FnMut(u16) -> Vec<Vec<u8>>| {
            for sequence in 0..u16::try_from(end / interval_ns(log)).unwrap() {
                let at = phase + i64::from(sequence) * interval_ns(log);
                for (frame, later) in make(sequence).into_iter().zip(0_i64..) {
                    frames.push((at + later * 100_000, frame));
                }
            }
        };
        every(self.announce, 1_000, &mut |sequence| vec![self.announce_frame(sequence)]);
        every(self.true_sync.unwrap_or(self.sync), 2_000, &mut |sequence| self.sync_frames(sequence));
        every(self.request, 3_000, &mut |sequence| self.request_frames(sequence));
        if let Some((action, tlvs)) = &self.management {
            let body = Body::Management {
                target: PortIdentity::ALL,
                hops: (0, 0),
                action: *action,
                tlvs: tlvs.clone(),
            };
            every(0, 4_000, &mut |sequence| vec![self.leader_frame(&body, sequence, NOT_STATED, &[])]);
        }
        if let Some(tlvs) = &self.signaling {
            let body = Body::Signaling { target: PortIdentity::of_mac(FOLLOWER), tlvs: tlvs.clone() };
            frames.push((5_000, self.leader_frame(&body, 0, NOT_STATED, &[])));
        }
        only_domain(frames, self.kept_octets)
    }

    /// Unicast messages state no interval (1588-2008 Table 24, from memory).
    fn declared(&self, log: i8) -> i8 {
        if self.unicast { NOT_STATED } else { log }
    }

    fn announce_frame(&self, sequence: u16) -> Vec<u8> {
        let body = Body::Announce { origin_ns: 0, data: self.data };
        let tlvs = if self.one_without_tlvs && sequence == 0 { &[][..] } else { &self.announce_tlvs };
        self.leader_frame(&body, sequence, self.declared(self.announce), tlvs)
    }

    fn sync_frames(&self, sequence: u16) -> Vec<Vec<u8>> {
        let log = self.declared(self.sync);
        let sync = self.leader_frame(&Body::Sync { origin_ns: 0 }, sequence, log, &[]);
        let tlvs = if self.one_without_tlvs && sequence == 0 { &[][..] } else { &self.follow_up_tlvs };
        let follow_up = self.leader_frame(&Body::FollowUp { origin_ns: 0 }, sequence, log, tlvs);
        if self.two_step { vec![sync, follow_up] } else { vec![sync] }
    }

    fn request_frames(&self, sequence: u16) -> Vec<Vec<u8>> {
        let requester = PortIdentity::of_mac(FOLLOWER);
        if self.peer_to_peer {
            let request = self.frame(FOLLOWER, &Body::PdelayReq { origin_ns: 0 }, sequence, NOT_STATED, &[]);
            let answer = Body::PdelayResp { receipt_ns: 0, requester };
            return vec![request, self.leader_frame(&answer, sequence, NOT_STATED, &[])];
        }
        let request = self.frame(FOLLOWER, &Body::DelayReq { origin_ns: 0 }, sequence, NOT_STATED, &[]);
        let answer = Body::DelayResp { receipt_ns: 0, requester };
        vec![request, self.leader_frame(&answer, sequence, self.declared(self.request), &[])]
    }

    fn leader_frame(&self, body: &Body, sequence: u16, log_interval: i8, tlvs: &[u8]) -> Vec<u8> {
        self.frame(LEADER, body, sequence, log_interval, tlvs)
    }

    fn frame(&self, from: Mac, body: &Body, sequence: u16, log_interval: i8, tlvs: &[u8]) -> Vec<u8> {
        let two_step = self.two_step && matches!(body, Body::Sync { .. });
        let header = Header {
            domain: self.domain,
            flags: [if two_step { ptp_v2::TWO_STEP } else { 0 }, 0],
            correction: 0,
            source: PortIdentity::of_mac(from),
            sequence,
            log_interval,
        };
        let mut message = with_tlvs(ptp_v2::encode(&header, body), tlvs);
        message[0] |= self.major_sdo_id << 4;
        let is_request = matches!(body, Body::DelayReq { .. } | Body::DelayResp { .. });
        let unicast = self.unicast || (self.unicast_requests && is_request);
        let is_peer = matches!(body, Body::PdelayReq { .. } | Body::PdelayResp { .. });
        match self.over {
            Over::Ethernet => {
                let group = if is_peer { PEER_GROUP } else { self.group };
                let destination = if unicast { other(from) } else { group };
                self.tagged(destination, from, 0x88F7, &message)
            }
            Over::Udp4 => {
                let group = std::net::Ipv4Addr::new(224, 0, 1, if is_peer { 107 } else { 129 });
                let destination = if unicast { address(other(from)) } else { group };
                let mac = if unicast { other(from) } else { group_mac(group) };
                let way = Ipv4Way {
                    source: address(from),
                    destination,
                    ttl: self.ttl,
                    dscp: self.dscp,
                    identification: sequence,
                };
                let port = body.udp_port();
                self.tagged(mac, from, 0x0800, &udp(&way, port, port, &message))
            }
            Over::Udp6 => {
                let datagram = craft_frames::udp(body.udp_port(), &message);
                craft_frames::ethernet(0x86DD, &craft_frames::ipv6(17, &datagram))
            }
        }
    }

    fn tagged(&self, destination: Mac, source: Mac, ether_type: u16, payload: &[u8]) -> Vec<u8> {
        match self.tag {
            Some(tag) => ethernet_tagged(destination, source, tag, ether_type, payload),
            None => ethernet(destination, source, ether_type, payload),
        }
    }
}

fn other(mac: Mac) -> Mac {
    if mac == LEADER { FOLLOWER } else { LEADER }
}

fn address(mac: Mac) -> std::net::Ipv4Addr {
    std::net::Ipv4Addr::new(10, 20, 0, mac[5])
}

/// A v1 leader whose Sync goes out at this interval, and a follower that asks each 4 s.
pub(super) fn version_1(log_sync: i8, seconds: i64) -> Domain {
    let head = |source, sequence| ptp_v1::Header {
        subdomain: ptp_v1::DEFAULT_SUBDOMAIN,
        source,
        sequence,
        flags: ptp_v1::ASSIST,
    };
    let clock = |uuid| ptp_v1::ClockData { uuid, stratum: 4, identifier: *b"DFLT", variance: 0 };
    let body = |from| ptp_v1::SyncBody {
        origin_ns: 0,
        utc_offset_s: 0,
        grandmaster: clock(LEADER),
        grandmaster_sequence: 0,
        grandmaster_preferred: false,
        grandmaster_is_boundary_clock: false,
        log_sync_interval: log_sync,
        local: clock(from),
        steps_removed: 0,
        parent: LEADER,
        estimated_variance: 0,
        estimated_drift: 0,
        utc_reasonable: false,
    };
    let group = std::net::Ipv4Addr::new(224, 0, 1, 129);
    let frame = |from: Mac, port, message: &[u8]| {
        let way = Ipv4Way { source: address(from), destination: group, ttl: 1, dscp: 0, identification: 0 };
        ethernet(group_mac(group), from, 0x0800, &udp(&way, port, port, message))
    };
    let mut frames = Vec::new();
    let end = seconds * SECOND;
    for sequence in 0..u16::try_from(end / interval_ns(log_sync)).unwrap() {
        let at = i64::from(sequence) * interval_ns(log_sync);
        let sync = ptp_v1::sync(&head(LEADER, sequence), &body(LEADER));
        frames.push((at, frame(LEADER, 319, &sync)));
        let follow_up = ptp_v1::follow_up(&head(LEADER, sequence), sequence, 0);
        frames.push((at + 1000, frame(LEADER, 320, &follow_up)));
    }
    for sequence in 0..u16::try_from(seconds / 4).unwrap() {
        let at = i64::from(sequence) * 4 * SECOND + 5000;
        let request = ptp_v1::delay_req(&head(FOLLOWER, sequence), &body(FOLLOWER));
        frames.push((at, frame(FOLLOWER, 319, &request)));
        let answer = ptp_v1::delay_resp(&head(LEADER, sequence), 0, FOLLOWER, sequence);
        frames.push((at + 1000, frame(LEADER, 320, &answer)));
    }
    only_domain(frames, usize::MAX)
}

/// Puts frames through the whole way from record to domain.
fn only_domain(mut frames: Vec<(i64, Vec<u8>)>, kept_octets: usize) -> Domain {
    frames.sort_by_key(|(at, _)| *at);
    let mut domains = Domains::default();
    let mut end = Place { file: 0, frame: 0, time: None };
    let mut watch = Watch::default();
    watch.run_to(CaptureTime(0));
    for ((at, octets), number) in frames.iter().zip(1..) {
        let record = Record {
            number,
            time: Some(CaptureTime(*at)),
            link: LinkType::ETHERNET,
            interface: 0,
            original_len: u32::try_from(octets.len()).unwrap(),
            fcs_octets: None,
            octets: &octets[..octets.len().min(kept_octets)],
        };
        let observation = from_frame(0, &record, &frame::decode(&record)).unwrap();
        end = observation.place;
        watch.run_to(CaptureTime(*at));
        domains.push(&observation, watch.watched());
    }
    domains.finish(end.time.unwrap(), end, watch.watched(), &Views::default());
    let all: Vec<&Domain> = domains.iter().collect();
    assert_eq!(all.len(), 1);
    all[0].clone()
}
