//! Media flows and a leader's clock, as frames of a capture whose truth is chosen.

use std::net::Ipv4Addr;

use super::craft::capture_file;
use super::craft::capture_file::CapturedFrame;
use super::craft::frame;
use super::craft::frame::Ipv4Way;
use super::craft::frame::Mac;
use super::craft::frame::group_mac;
use super::craft::octets::Octets;
use super::craft::ptp_v2;
use super::craft::ptp_v2::Body;
use super::stage::Actor;

/// When true time 0 is, by the capture's clock: 2024-01-01 01:00.
pub(crate) const BEGINNING_NS: i64 = 1_704_070_800_000_000_000;

/// TAI less UTC, which is what PTP is ahead of the capture's clock, ns.
pub(crate) const TAI_NS: i64 = 37_000_000_000;

/// A sender of RTP.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sender {
    pub(crate) ip: Ipv4Addr,
    pub(crate) mac: Mac,
    pub(crate) group: Ipv4Addr,
    pub(crate) vlan: Option<u16>,
    pub(crate) dscp: u8,
    pub(crate) payload_type: u8,
    pub(crate) ssrc: u32,
}

/// The sender with `number` in its addresses.
pub(crate) fn sender(number: u8) -> Sender {
    Sender {
        ip: Ipv4Addr::new(192, 168, 20, number),
        mac: [0x02, 0x00, 0x5E, 0x10, 0x00, number],
        group: Ipv4Addr::new(239, 20, 1, number),
        vlan: None,
        dscp: 34,
        payload_type: 97,
        ssrc: 0x5E00_0000 | u32::from(number),
    }
}

impl Sender {
    pub(crate) fn rtp(&self, sequence: u16, timestamp: u32, marker: bool, octets: usize) -> Vec<u8> {
        let second = u8::from(marker) << 7 | self.payload_type;
        let mut packet = Octets::new().u8(0x80).u8(second).u16(sequence).u32(timestamp).u32(self.ssrc).0;
        packet.resize(12 + octets, 0x55);
        packet
    }

    /// A frame with this UDP payload to port 5004.
    pub(crate) fn frame(&self, payload: &[u8]) -> Vec<u8> {
        self.frame_to(5004, payload)
    }

    pub(crate) fn frame_to(&self, port: u16, payload: &[u8]) -> Vec<u8> {
        let way =
            Ipv4Way { source: self.ip, destination: self.group, ttl: 15, dscp: self.dscp, identification: 0 };
        let packet = frame::udp(&way, 5004, port, payload);
        let to = if self.group.is_multicast() { group_mac(self.group) } else { [2, 0, 0x5E, 9, 9, 9] };
        match self.vlan {
            Some(vlan) => frame::ethernet_tagged(to, self.mac, (4, vlan), 0x0800, &packet),
            None => frame::ethernet(to, self.mac, 0x0800, &packet),
        }
    }
}

/// A capture in the making; times are ns of the capture's clock since [`BEGINNING_NS`].
#[derive(Debug, Default, Clone)]
pub(crate) struct Scene {
    pub(crate) frames: Vec<CapturedFrame>,
}

impl Scene {
    pub(crate) fn pass(&mut self, at_ns: i64, octets: Vec<u8>) {
        self.frames.push(CapturedFrame { stamp_ns: BEGINNING_NS + at_ns, interface: 0, octets });
    }

    /// Linear audio: `count` packets of `samples` at `rate`, whose clock runs `ppb` fast against the capture's.
    pub(crate) fn audio(
        &mut self,
        sender: &Sender,
        count: u32,
        (samples, rate): (u32, u32),
        octets: usize,
        ppb: i64,
    ) {
        for index in 0..count {
            let media_ns = i128::from(index) * i128::from(samples) * 1_000_000_000 / i128::from(rate);
            let at = media_ns - media_ns * i128::from(ppb) / 1_000_000_000;
            let sequence = u16::try_from(index % 65_536).unwrap();
            let packet = sender.rtp(sequence, index.wrapping_mul(samples), false, octets);
            self.pass(i64::try_from(at).unwrap(), sender.frame(&packet));
        }
    }

    /// A leader that announces each second and sends 8 Syncs a second, and a follower that asks each second, for
    /// `seconds`. Its time is the capture's plus 37 s.
    pub(crate) fn clock(&mut self, leader: &Actor, follower: &Actor, seconds: i64) {
        self.clock_that_jumps(leader, follower, seconds, (seconds, 0));
    }

    /// The same, whose time jumps at `jump.0` seconds by `jump.1` ns.
    pub(crate) fn clock_that_jumps(
        &mut self,
        leader: &Actor,
        follower: &Actor,
        seconds: i64,
        jump: (i64, i64),
    ) {
        const WAY_NS: i64 = 4_000;
        for tick in 0..seconds * 8 {
            let at = tick * 125_000_000 + 1_000_000;
            let sequence = u16::try_from(tick % 65_536).unwrap();
            let ahead_ns = TAI_NS + if tick >= jump.0 * 8 { jump.1 } else { 0 };
            let sent = BEGINNING_NS + at + ahead_ns;
            self.ptp(at + WAY_NS, leader, 319, sequence, &Body::Sync { origin_ns: sent });
            if tick % 8 == 0 {
                let announce = Body::Announce { origin_ns: 0, data: leader.data };
                self.ptp(at + 10_000, leader, 320, sequence, &announce);
            }
            if tick % 8 == 4 {
                self.ptp(at + 20_000, follower, 319, sequence, &Body::DelayReq { origin_ns: 0 });
                let receipt_ns = BEGINNING_NS + at + 20_000 + WAY_NS + ahead_ns;
                let answer = Body::DelayResp { receipt_ns, requester: follower.port };
                self.ptp(at + 90_000, leader, 320, sequence, &answer);
            }
        }
    }

    fn ptp(&mut self, at_ns: i64, actor: &Actor, port: u16, sequence: u16, body: &Body) {
        let log_interval = match body {
            Body::Announce { .. } => 0,
            Body::Sync { .. } => -3,
            _ => 0x7F,
        };
        let header = ptp_v2::Header {
            domain: actor.domain,
            flags: [0, 0],
            correction: 0,
            source: actor.port,
            sequence,
            log_interval,
        };
        let group = Ipv4Addr::new(224, 0, 1, 129);
        let way =
            Ipv4Way { source: actor.ip.unwrap(), destination: group, ttl: 1, dscp: 46, identification: 0 };
        let packet = frame::udp(&way, port, port, &ptp_v2::encode(&header, body));
        self.pass(at_ns, frame::ethernet(group_mac(group), actor.mac, 0x0800, &packet));
    }

    /// As a file whose frames were cut to `snap` octets.
    pub(crate) fn file(mut self, snap: u32) -> Vec<u8> {
        self.frames.sort_by_key(|frame| frame.stamp_ns);
        capture_file::pcap(snap, &self.frames)
    }
}
