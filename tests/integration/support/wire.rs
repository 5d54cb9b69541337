//! Small captures of PTP over UDP and IPv4, where a test sets how each message is sent.

use std::net::Ipv4Addr;
use std::ops::Range;

use serde_json::Value;

use super::craft::capture_file;
use super::craft::capture_file::CapturedFrame;
use super::craft::frame;
use super::craft::frame::Ipv4Way;
use super::craft::frame::Mac;
use super::craft::ptp_v2;
use super::craft::ptp_v2::Body;
use super::craft::ptp_v2::NOT_STATED;
use super::craft::ptp_v2::TWO_STEP;
use super::judged;
use super::stage::Actor;
use super::stage::BEGINNING;
use super::stage::actor;

/// From a leader to the capture, microseconds.
const WAY_US: i64 = 10;

/// How one sender sends.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sender {
    pub(crate) actor: Actor,
    /// First octet of flagField, beside what the message needs.
    pub(crate) flags: u8,
    pub(crate) two_step: bool,
    pub(crate) correction_ns: i64,
    /// `logMessageInterval`; as is usual for the message where `None`.
    pub(crate) log: Option<i8>,
    /// One receiver's MAC and IP address; the group's where `None`.
    pub(crate) to: Option<(Mac, Ipv4Addr)>,
    pub(crate) ttl: u8,
    pub(crate) dscp: u8,
    pub(crate) vlan: Option<u16>,
}

/// A clock with a reference, and with what goes with one.
pub(crate) fn referenced(number: u8) -> Actor {
    let mut actor = actor(number).class(6);
    actor.data.clock_accuracy = 0x21;
    actor.data.variance = 0x4E5D;
    actor.data.time_source = 0x90;
    actor
}

/// The leader of the rules' networks.
pub(crate) fn leader() -> Sender {
    Sender::of(referenced(1))
}

/// A device of them, by the last octet of its addresses.
pub(crate) fn follower(last: u8) -> Sender {
    Sender::of(actor(last))
}

/// A leader with a follower that is answered.
pub(crate) fn sound(seconds: i64) -> Wire {
    let mut wire = Wire::default();
    wire.leads(0..seconds, &leader());
    wire.follows(0..seconds, &follower(20), &leader());
    wire
}

impl Sender {
    pub(crate) fn of(actor: Actor) -> Self {
        Self {
            actor,
            flags: 0,
            two_step: true,
            correction_ns: 0,
            log: None,
            to: None,
            ttl: 1,
            dscp: 46,
            vlan: None,
        }
    }

    pub(crate) fn to(self, other: &Actor) -> Self {
        Self { to: other.ip.map(|ip| (other.mac, ip)), ..self }
    }
}

/// A capture in the making. Times are microseconds of it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wire(pub(crate) Vec<CapturedFrame>);

/// The time that a leader's clock shows, nanoseconds.
pub(crate) fn origin(us: i64) -> i64 {
    BEGINNING.0 + us * 1000
}

impl Wire {
    /// Puts a message on the wire that is captured at `us`.
    pub(crate) fn put(&mut self, us: i64, sender: &Sender, sequence: u16, body: &Body) {
        let header = header(sender, sequence, body);
        self.octets(us, sender, body, &ptp_v2::encode(&header, body));
    }

    /// The same with octets of the test's own in place of the message.
    pub(crate) fn octets(&mut self, us: i64, sender: &Sender, like: &Body, octets: &[u8]) {
        let is_peer = matches!(
            like,
            Body::PdelayReq { .. } | Body::PdelayResp { .. } | Body::PdelayRespFollowUp { .. }
        );
        let group = if is_peer { Ipv4Addr::new(224, 0, 0, 107) } else { Ipv4Addr::new(224, 0, 1, 129) };
        let (mac, destination) = sender.to.unwrap_or((frame::group_mac(group), group));
        let way = Ipv4Way {
            source: sender.actor.ip.unwrap(),
            destination,
            ttl: sender.ttl,
            dscp: sender.dscp,
            identification: 0,
        };
        let port = like.udp_port();
        let datagram = frame::udp(&way, port, port, octets);
        let octets = match sender.vlan {
            Some(vlan) => frame::ethernet_tagged(mac, sender.actor.mac, (0, vlan), 0x0800, &datagram),
            None => frame::ethernet(mac, sender.actor.mac, 0x0800, &datagram),
        };
        self.0.push(CapturedFrame { stamp_ns: origin(us), interface: 0, octets });
    }

    /// The same over Ethernet, to the group that stays on one link; the actor's `majorSdoId` makes it gPTP.
    pub(crate) fn ethernet(&mut self, us: i64, sender: &Sender, sequence: u16, body: &Body) {
        let header = header(sender, sequence, body);
        let mut message = ptp_v2::encode(&header, body);
        message[0] |= sender.actor.major_sdo_id << 4;
        let group = [0x01, 0x80, 0xC2, 0, 0, 0x0E];
        let octets = frame::ethernet(group, sender.actor.mac, 0x88F7, &message);
        self.0.push(CapturedFrame { stamp_ns: origin(us), interface: 0, octets });
    }

    /// Announce every second.
    pub(crate) fn announces(&mut self, seconds: Range<i64>, sender: &Sender) {
        for second in seconds {
            let body = Body::Announce { origin_ns: 0, data: sender.actor.data };
            self.put(second * 1_000_000, sender, number(second), &body);
        }
    }

    /// Sync eight times a second, each with its Follow_Up a millisecond later where that is two-step; each captured
    /// `late_us` of its number later than it should be.
    pub(crate) fn syncs(&mut self, seconds: Range<i64>, sender: &Sender, late_us: impl Fn(u16) -> i64) {
        for eighth in seconds.start * 8..seconds.end * 8 {
            let (us, sequence) = (5_000 + eighth * 125_000, number(eighth));
            let sent = Body::Sync { origin_ns: if sender.two_step { 0 } else { origin(us) } };
            let late = WAY_US + late_us(sequence);
            self.put(us + late, sender, sequence, &sent);
            if sender.two_step {
                self.put(us + late + 1000, sender, sequence, &Body::FollowUp { origin_ns: origin(us) });
            }
        }
    }

    /// Announce and Sync.
    pub(crate) fn leads(&mut self, seconds: Range<i64>, sender: &Sender) {
        self.announces(seconds.clone(), sender);
        self.syncs(seconds, sender, |_| 0);
    }

    /// A request a second.
    pub(crate) fn asks(&mut self, seconds: Range<i64>, follower: &Sender) {
        for second in seconds {
            let us = second * 1_000_000 + 333_000 + i64::from(follower.actor.mac[5]) * 100;
            self.put(us, follower, number(second), &Body::DelayReq { origin_ns: 0 });
        }
    }

    /// The answer to each, a millisecond later.
    pub(crate) fn answers(&mut self, seconds: Range<i64>, leader: &Sender, follower: &Sender) {
        for second in seconds {
            let us = second * 1_000_000 + 333_000 + i64::from(follower.actor.mac[5]) * 100;
            let body = Body::DelayResp { receipt_ns: origin(us + WAY_US), requester: follower.actor.port };
            self.put(us + 1000, leader, number(second), &body);
        }
    }

    /// Requests with their answers, all to the group.
    pub(crate) fn follows(&mut self, seconds: Range<i64>, follower: &Sender, leader: &Sender) {
        self.asks(seconds.clone(), follower);
        self.answers(seconds, leader, follower);
    }

    /// UDP that is no PTP, every 40 ms, so that no silence of PTP is one of the whole capture.
    pub(crate) fn media(&mut self, seconds: Range<i64>) {
        let group = Ipv4Addr::new(239, 69, 1, 1);
        let source = Ipv4Addr::new(192, 168, 20, 40);
        let way = Ipv4Way { source, destination: group, ttl: 15, dscp: 34, identification: 0 };
        let datagram = frame::udp(&way, 5004, 5004, &[0; 40]);
        let octets =
            frame::ethernet(frame::group_mac(group), [0x02, 0, 0x5E, 0x10, 0, 40], 0x0800, &datagram);
        for packet in seconds.start * 25..seconds.end * 25 {
            let stamp_ns = origin(packet * 40_000 + 250);
            self.0.push(CapturedFrame { stamp_ns, interface: 0, octets: octets.clone() });
        }
    }

    pub(crate) fn capture(&self) -> Vec<u8> {
        let mut frames = self.0.clone();
        frames.sort_by_key(|frame| frame.stamp_ns);
        capture_file::pcap(262_144, &frames)
    }

    pub(crate) fn report(&self) -> Value {
        judged::files(&[("made.pcap", self.capture())]).value()
    }
}

/// The header of a message as its sender makes it.
fn header(sender: &Sender, sequence: u16, body: &Body) -> ptp_v2::Header {
    let usual = match body {
        Body::Announce { .. } | Body::DelayResp { .. } => 0,
        Body::Sync { .. } | Body::FollowUp { .. } => -3,
        _ => NOT_STATED,
    };
    let two_step = match body {
        Body::Sync { .. } | Body::PdelayResp { .. } if sender.two_step => TWO_STEP,
        _ => 0,
    };
    ptp_v2::Header {
        domain: sender.actor.domain,
        flags: [sender.flags | two_step, 0],
        correction: sender.correction_ns << 16,
        source: sender.actor.port,
        sequence,
        log_interval: sender.log.unwrap_or(usual),
    }
}

/// A sequence number, wrapped.
pub(crate) fn number(count: i64) -> u16 {
    u16::try_from(count.rem_euclid(65_536)).unwrap()
}

/// The ids of all findings above info but `expected`.
pub(crate) fn others(report: &Value, expected: &str) -> Vec<String> {
    let findings = report["findings"].as_array().unwrap().iter();
    let grave = findings.filter(|finding| finding["severity"] != "info" && finding["id"] != expected);
    grave.map(|finding| finding["id"].as_str().unwrap().to_owned()).collect()
}
