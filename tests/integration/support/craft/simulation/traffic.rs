//! What else is on the wire: group membership, management requests, media.
use std::net::Ipv4Addr;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::Mac;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::igmp;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::Header;
use crate::support::craft::ptp_v2::PortIdentity;
use crate::support::craft::rtp::RtpPacket;
use crate::support::craft::simulation::CONTROL_TAP;
use crate::support::craft::simulation::Event;
use crate::support::craft::simulation::Logged;
use crate::support::craft::simulation::MEDIA_TAP;
use crate::support::craft::simulation::MILLISECOND;
use crate::support::craft::simulation::MediaKind;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::SECOND;
use crate::support::craft::simulation::World;

/// Assured forwarding 41, as AES67 marks media (AES67-2018 6.2, from memory).
const ASSURED_41: u8 = 34;
const RTP_PORT: u16 = 5004;
/// Longest answer time of a query in tenths of a second (RFC 2236 8.3: 10 s).
const MAX_RESPONSE: u8 = 100;
/// The same for version 3 here, where all timers are short.
pub(crate) const MAX_RESPONSE_3: u8 = 50;
const AUDIO_STEP: Ns = 4 * MILLISECOND;
const PICTURE_STEP: Ns = 40 * MILLISECOND;
/// 192 samples × 2 channels × 3 octets.
const AUDIO_PAYLOAD: usize = 1152;

impl World {
    fn log_frame(&mut self, node: usize, kind: &'static str, to: Mac, packet: &[u8], at: Ns) {
        let spec = &self.nodes[node].spec;
        let octets = ethernet(to, spec.mac, 0x0800, packet);
        let interface = if kind == "media" { MEDIA_TAP } else { CONTROL_TAP };
        let at = at + spec.to_core_ns + self.jitter();
        self.log.push(Logged { at, interface, octets, domain: None, kind, node });
    }

    pub(super) fn utter(&mut self, utterance: usize, at: Ns) {
        let (_, node, octets) = self.scenario.utterances[utterance].clone();
        let at = at + self.nodes[node].spec.to_core_ns + self.jitter();
        self.log.push(Logged { at, interface: CONTROL_TAP, octets, domain: None, kind: "names", node });
    }

    pub(super) fn query(&mut self, at: Ns) {
        let querier = self.scenario.querier.expect("only a querier asks");
        if at >= querier.until {
            return;
        }
        let ip = self.nodes[querier.node].spec.ip;
        let identification = self.nodes[querier.node].next_identification();
        let max_response = if querier.version_3 { MAX_RESPONSE_3 } else { MAX_RESPONSE };
        let packet = if querier.version_3 {
            let interval = u8::try_from(querier.interval / SECOND).expect("a short interval");
            igmp::general_query_v3(ip, max_response, interval, identification)
        } else {
            igmp::general_query(ip, max_response, identification)
        };
        self.log_frame(querier.node, "igmp", group_mac(Ipv4Addr::new(224, 0, 0, 1)), &packet, at);
        for node in 0..self.nodes.len() {
            for group in self.nodes[node].spec.groups.clone() {
                let after = self.random.between(50 * MILLISECOND, i64::from(max_response) * SECOND / 10);
                self.schedule(at + after, Event::Report { node, group });
            }
        }
        self.schedule(at + querier.interval, Event::Query);
    }

    pub(super) fn report(&mut self, node: usize, group: Ipv4Addr, at: Ns) {
        let is_member = self.nodes[node].spec.groups.contains(&group);
        if self.scenario.querier.is_some_and(|querier| querier.version_3) {
            if self.nodes[node].on && is_member {
                self.report_v3(node, igmp::IS_MEMBER, group, at);
            }
        } else if self.nodes[node].on {
            let identification = self.nodes[node].next_identification();
            let packet = igmp::report(self.nodes[node].spec.ip, group, identification);
            self.log_frame(node, "igmp", group_mac(group), &packet, at);
        }
    }

    fn report_v3(&mut self, node: usize, record: u8, group: Ipv4Addr, at: Ns) {
        let identification = self.nodes[node].next_identification();
        let packet = igmp::report_v3(self.nodes[node].spec.ip, record, group, identification);
        self.log_frame(node, "igmp", group_mac(Ipv4Addr::new(224, 0, 0, 22)), &packet, at);
    }

    /// A node joins or leaves in version 3 and says so once.
    pub(super) fn change_membership(&mut self, node: usize, group: Ipv4Addr, joins: bool, at: Ns) {
        let groups = &mut self.nodes[node].spec.groups;
        groups.retain(|other| *other != group);
        if joins {
            groups.push(group);
        }
        self.report_v3(node, if joins { igmp::JOINS } else { igmp::LEAVES }, group, at);
    }

    /// The desk asks everyone for CURRENT_DATA_SET; the request carries the data set's length in zeros, as seen in
    /// real captures.
    pub(super) fn poll(&mut self, at: Ns) {
        let node = self.scenario.poller.expect("a poll has a poller");
        let header = Header {
            domain: 0,
            flags: [0, 0],
            correction: 0,
            source: self.nodes[node].identity(),
            sequence: self.nodes[node].next_sequence("management"),
            log_interval: ptp_v2::NOT_STATED,
        };
        let body = Body::Management {
            target: PortIdentity::ALL,
            hops: (1, 1),
            action: ptp_v2::ACTION_GET,
            tlvs: ptp_v2::management_tlv(ptp_v2::CURRENT_DATA_SET, &[0; 18]),
        };
        self.send_v2(node, header, body, at);
    }

    /// Media time is the sender's PTP time: packet number `index` holds what began at `index` steps since the epoch.
    pub(super) fn start_stream(&mut self, stream: usize) {
        let spec = self.scenario.streams[stream];
        let step = step(spec.kind);
        let index = (super::begin_tai() + spec.from).div_euclid(step) + 1;
        self.schedule(index * step - super::begin_tai(), Event::Media { stream, index });
    }

    pub(super) fn media(&mut self, stream: usize, index: i64, at: Ns) {
        let spec = self.scenario.streams[stream];
        if at >= spec.until {
            return;
        }
        let step = step(spec.kind);
        match spec.kind {
            MediaKind::Audio => {
                // The packet leaves when its last sample is in, a little later than its own step.
                let timestamp = wrapped(i128::from(index) * 192);
                let leaves = at + step + self.random.between(15_000, 28_000);
                let event =
                    Event::MediaPacket { stream, timestamp, marker: false, payload_octets: AUDIO_PAYLOAD };
                self.schedule(leaves, event);
            }
            MediaKind::Video => {
                let timestamp = wrapped(i128::from(index) * 3600);
                let packets = if index % 25 == 0 { 8 } else { self.random.between(2, 3) };
                for packet in 0..packets {
                    let marker = packet + 1 == packets;
                    let payload_octets = if marker { self.random.between(200, 1300) } else { 1300 };
                    let payload_octets = usize::try_from(payload_octets).expect("positive");
                    let leaves = at + 5 * MILLISECOND + packet * 400_000 + self.random.between(0, 30_000);
                    self.schedule(leaves, Event::MediaPacket { stream, timestamp, marker, payload_octets });
                }
            }
        }
        // The next step by the sender's clock, in true time.
        let next = (index + 1) * step - super::begin_tai() - self.nodes[spec.node].phase(at);
        self.schedule(next, Event::Media { stream, index: index + 1 });
    }

    pub(super) fn media_packet(
        &mut self,
        stream: usize,
        timestamp: u32,
        marker: bool,
        payload_octets: usize,
        at: Ns,
    ) {
        let spec = self.scenario.streams[stream];
        let sequence = self.media[stream].sequence;
        self.media[stream].sequence = sequence.wrapping_add(1);
        let ssrc = self.media[stream].ssrc;
        let packet =
            RtpPacket { marker, payload_type: spec.payload_type, sequence, timestamp, ssrc, payload_octets };
        let payload = packet.encode(&mut self.random);
        let way = Ipv4Way {
            source: self.nodes[spec.node].spec.ip,
            destination: spec.group,
            ttl: 15,
            dscp: ASSURED_41,
            identification: self.nodes[spec.node].next_identification(),
        };
        let packet = udp(&way, RTP_PORT, RTP_PORT, &payload);
        self.log_frame(spec.node, "media", group_mac(spec.group), &packet, at);
    }

    /// SSRC of a stream and its packets within the capture.
    pub(crate) fn stream_facts(&self, stream: usize) -> (u32, usize) {
        let spec = &self.scenario.streams[stream];
        let inside = self.log.iter().filter(|logged| {
            logged.kind == "media"
                && logged.node == spec.node
                && logged.octets[30..34] == spec.group.octets()
                && (0..self.scenario.duration).contains(&logged.at)
        });
        (self.media[stream].ssrc, inside.count())
    }
}

fn step(kind: MediaKind) -> Ns {
    match kind {
        MediaKind::Audio => AUDIO_STEP,
        MediaKind::Video => PICTURE_STEP,
    }
}

fn wrapped(count: i128) -> u32 {
    u32::try_from(count.rem_euclid(1 << 32)).expect("wrapped to 32 bits")
}
