//! Queries, reports and announcements of sessions, as frames of a made capture.

use std::net::Ipv4Addr;

use super::craft::frame;
use super::craft::frame::Ipv4Way;
use super::craft::frame::Mac;
use super::craft::frame::group_mac;
use super::craft::igmp;
use super::craft::octets::Octets;
use super::media::Scene;
use super::media::Sender;

/// The switch that asks.
pub(crate) const SWITCH: Ipv4Addr = Ipv4Addr::new(192, 168, 20, 254);
const SWITCH_MAC: Mac = [0x02, 0x00, 0x5E, 0x10, 0x00, 0xFE];

/// A second of a scene, ns.
pub(crate) const SECOND: i64 = 1_000_000_000;

impl Scene {
    /// A query of version 3 by `querier` at a second of the scene; answers within a second, one each `interval` s.
    pub(crate) fn query(&mut self, second: i64, querier: Ipv4Addr, interval: u8) {
        let packet = igmp::general_query_v3(querier, 10, interval, 1);
        let group = group_mac(Ipv4Addr::new(224, 0, 0, 1));
        self.pass(second * SECOND + 70, frame::ethernet(group, SWITCH_MAC, 0x0800, &packet));
    }

    /// A query of version 2.
    pub(crate) fn query_v2(&mut self, second: i64, querier: Ipv4Addr) {
        let packet = igmp::general_query(querier, 100, 1);
        let group = group_mac(Ipv4Addr::new(224, 0, 0, 1));
        self.pass(second * SECOND + 75, frame::ethernet(group, SWITCH_MAC, 0x0800, &packet));
    }

    /// A report of version 3 by the host with this number in its addresses.
    pub(crate) fn report(&mut self, second: i64, host: u8, group: Ipv4Addr) {
        let source = Ipv4Addr::new(192, 168, 20, host);
        let packet = igmp::report_v3(source, igmp::IS_MEMBER, group, 1);
        let to = group_mac(Ipv4Addr::new(224, 0, 0, 22));
        let mac = [0x02, 0x00, 0x5E, 0x10, 0x00, host];
        self.pass(second * SECOND + 900_000_000, frame::ethernet(to, mac, 0x0800, &packet));
    }

    /// An announcement (RFC 2974) of a session of two-channel audio in 24 bits at 48 kHz, payload type 97, with more lines.
    pub(crate) fn announce_audio(&mut self, second: i64, sender: &Sender, lines: &[&str]) {
        self.announce(second, sender, "L24/48000/2", lines);
    }

    /// The same with another mapping.
    pub(crate) fn announce(&mut self, second: i64, sender: &Sender, map: &str, lines: &[&str]) {
        let more: String = lines.iter().map(|line| format!("{line}\r\n")).collect();
        let sdp = format!(
            "v=0\r\no=- {0} 1 IN IP4 {1}\r\ns=stage {0}\r\nc=IN IP4 {2}/15\r\nt=0 0\r\nm=audio 5004 RTP/AVP 97\r\na=rtpmap:97 {map}\r\n{more}",
            sender.ssrc, sender.ip, sender.group
        );
        let message = Octets::new()
            .bytes(&[0x20, 0, 0x12, 0x34])
            .bytes(&sender.ip.octets())
            .bytes(b"application/sdp\0")
            .bytes(sdp.as_bytes())
            .0;
        let group = Ipv4Addr::new(239, 255, 255, 255);
        let way = Ipv4Way { source: sender.ip, destination: group, ttl: 15, dscp: 0, identification: 0 };
        let packet = frame::udp(&way, 9875, 9875, &message);
        self.pass(second * SECOND + 500, frame::ethernet(group_mac(group), sender.mac, 0x0800, &packet));
    }

    /// A frame to everybody.
    pub(crate) fn broadcast(&mut self, at_ns: i64, host: u8) {
        let mac = [0x02, 0x00, 0x5E, 0x10, 0x00, host];
        self.pass(at_ns, frame::ethernet([0xFF; 6], mac, 0x88B5, &[0; 46]));
    }
}
