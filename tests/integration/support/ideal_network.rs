//! Networks whose delays, offsets and rates are chosen, so that what a capture of them must show is known exactly.
//!
//! True time is nanoseconds since the capture's beginning. The leader's clock shows [`LEADER_EPOCH_NS`] plus true
//! time; every other clock is an offset and a rate away from true time.

use std::net::IpAddr;
use std::net::Ipv4Addr;

use downbeat::domains::Domains;
use downbeat::domains::Views;
use downbeat::observations::Observation;
use downbeat::observations::Path;
use downbeat::observations::Place;
use downbeat::observations::Transport;
use downbeat::observations::Watch;
use downbeat::observations::What;
use downbeat::ptp;
use downbeat::units::CaptureTime;
use downbeat::units::MacAddress;

use super::craft::ptp_v2;
use super::craft::ptp_v2::Body;
use super::stage::Actor;

/// What the leader's clock shows when the capture begins.
pub(crate) const LEADER_EPOCH_NS: i64 = 1_800_000_000_000_000_000;

/// A clock that is `offset_ns` ahead of the leader's at the beginning and gains `ppb` nanoseconds a second.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Clock {
    pub(crate) offset_ns: i64,
    pub(crate) ppb: i64,
}

impl Clock {
    /// What it shows at a true time, rounded down.
    pub(crate) fn shows(self, true_ns: i64) -> i64 {
        let gained = i128::from(true_ns) * i128::from(self.ppb) / 1_000_000_000;
        LEADER_EPOCH_NS + true_ns + self.offset_ns + i64::try_from(gained).unwrap()
    }
}

/// Frames of a network, seen at one point by one clock.
#[derive(Debug, Default)]
pub(crate) struct Network {
    /// The capture's clock.
    pub(crate) capture: Clock,
    /// Step of the capture's stamps.
    pub(crate) resolution_ns: i64,
    frames: Vec<(i64, Actor, Vec<u8>)>,
}

impl Network {
    pub(crate) fn new(capture: Clock, resolution_ns: i64) -> Self {
        Self { capture, resolution_ns, frames: Vec::new() }
    }

    /// A message of `actor` that passes the capture point at a true time.
    pub(crate) fn pass(&mut self, true_ns: i64, actor: &Actor, message: &Message<'_>) {
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: [if message.two_step { ptp_v2::TWO_STEP } else { 0 }, 0],
            correction: message.correction_scaled_ns,
            source: actor.port,
            sequence: message.sequence,
            log_interval: message.log_interval,
        };
        let mut octets = ptp_v2::encode(&header, message.body);
        octets[0] |= actor.major_sdo_id << 4;
        self.pass_octets(true_ns, actor, octets);
    }

    /// The same for a message of either version.
    pub(crate) fn pass_octets(&mut self, true_ns: i64, actor: &Actor, octets: Vec<u8>) {
        self.frames.push((true_ns, *actor, octets));
    }

    /// The domains of a capture of all that passed.
    pub(crate) fn domains(mut self) -> Domains {
        self.frames.sort_by_key(|(true_ns, ..)| *true_ns);
        let stamp = |true_ns: i64| {
            let shown = self.capture.shows(true_ns);
            CaptureTime(shown - shown.rem_euclid(self.resolution_ns))
        };
        let start = stamp(self.frames[0].0);
        let mut domains = Domains::default();
        let mut watch = Watch::default();
        watch.run_to(start);
        let mut last = Place { file: 0, frame: 0, time: Some(start) };
        for (frame, (true_ns, actor, octets)) in (1_u64..).zip(&self.frames) {
            last = Place { file: 0, frame, time: Some(stamp(*true_ns)) };
            let path = Path {
                interface: 0,
                source_mac: Some(MacAddress(actor.mac)),
                destination_mac: Some(MacAddress([1, 0, 0x5e, 0, 1, 129])),
                vlan: None,
                transport: if actor.ip.is_some() { Transport::Udp4 } else { Transport::Ethernet },
                source_ip: actor.ip.map(IpAddr::V4),
                destination_ip: actor.ip.map(|_| IpAddr::V4(Ipv4Addr::new(224, 0, 1, 129))),
                destination_port: actor.ip.map(|_| 319),
                ttl: Some(1),
                dscp: Some(0),
                pcp: None,
            };
            let what = What::Ptp(ptp::decode(octets).unwrap());
            watch.run_to(stamp(*true_ns));
            domains.push(&Observation { place: last, path, fingerprint: frame, what }, watch.watched());
        }
        domains.finish(last.time.unwrap(), last, watch.watched(), &Views::default());
        domains
    }
}

/// What a message carries besides its sender.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Message<'a> {
    pub(crate) body: &'a Body,
    pub(crate) sequence: u16,
    pub(crate) two_step: bool,
    pub(crate) correction_scaled_ns: i64,
    pub(crate) log_interval: i8,
}

impl<'a> Message<'a> {
    pub(crate) fn new(sequence: u16, body: &'a Body) -> Self {
        Self { body, sequence, two_step: false, correction_scaled_ns: 0, log_interval: 0x7F }
    }
}
