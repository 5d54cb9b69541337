//! The encoders against octets that they did not make.
use std::net::Ipv4Addr;

use crate::support::craft::frame::Ipv4Way;
use crate::support::craft::frame::ethernet;
use crate::support::craft::frame::group_mac;
use crate::support::craft::frame::udp;
use crate::support::craft::ptp_v1;
use crate::support::craft::ptp_v2;
use crate::support::craft::ptp_v2::Body;
use crate::support::craft::ptp_v2::DataSet;
use crate::support::craft::ptp_v2::Header;
use crate::support::craft::ptp_v2::PortIdentity;

const PTP_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);

fn octets(hex: &str) -> Vec<u8> {
    let digits: Vec<u8> = hex.bytes().filter(|octet| !octet.is_ascii_whitespace()).collect();
    digits.chunks(2).map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
}

/// The leader of tcpdump's test capture ptp.pcap.
const LEADER: PortIdentity =
    PortIdentity { clock: [0x00, 0x02, 0x00, 0xff, 0xfe, 0x00, 0x00, 0x01], port: 1 };

fn header(source: PortIdentity, sequence: u16, log_interval: i8) -> Header {
    Header { domain: 0, flags: [0, 0], correction: 0, source, sequence, log_interval }
}

/// A datagram of that leader as a whole frame.
fn frame_of_leader(identification: u16, header: &Header, body: &Body) -> Vec<u8> {
    let way = Ipv4Way {
        source: Ipv4Addr::new(11, 0, 0, 9),
        destination: PTP_GROUP,
        ttl: 1,
        dscp: 0,
        identification,
    };
    let port = body.udp_port();
    let datagram = udp(&way, port, port, &ptp_v2::encode(header, body));
    ethernet(group_mac(PTP_GROUP), [0x00, 0x02, 0x00, 0x00, 0x00, 0x01], 0x0800, &datagram)
}

/// tcpdump test capture ptp.pcap, frame 3.
#[test]
fn announce_equals_a_real_frame() {
    let data = DataSet {
        priority1: 128,
        clock_class: 248,
        clock_accuracy: 0xfe,
        variance: 0xffff,
        priority2: 128,
        grandmaster: LEADER.clock,
        steps_removed: 0,
        utc_offset_s: 36,
        time_source: 0xa0,
        time_flags: 0,
    };
    let frame = frame_of_leader(0x1e64, &header(LEADER, 0x0216, 1), &Body::Announce { origin_ns: 0, data });
    let real = octets(
        "01005e00018100020000000108004500005c1e64400001116ea30b000009e000018101400140004881b4
         0b02004000000000000000000000000000000000000200fffe0000010001021605010000000000000000
         000000240080f8feffff80000200fffe0000010000a0",
    );
    assert_eq!(frame, real);
}

/// tcpdump test capture ptp.pcap, frame 5.
#[test]
fn follow_up_equals_a_real_frame() {
    let body = Body::FollowUp { origin_ns: 0x5a67_908a * 1_000_000_000 + 0x0212_4527 };
    let real = octets(
        "01005e0001810002000000010800450000481e88400001116e930b000009e0000181014001400034d0f3
         0802002c00000000000000000000000000000000000200fffe0000010001042b020000005a67908a02124527",
    );
    assert_eq!(frame_of_leader(0x1e88, &header(LEADER, 0x042b, 0), &body), real);
}

/// tcpdump test capture ptp.pcap, frame 4.
#[test]
fn two_step_sync_equals_a_real_frame() {
    let header = Header { flags: [ptp_v2::TWO_STEP, 0], ..header(LEADER, 0x042b, 0) };
    let real = octets(
        "01005e0001810002000000010800450000481e87400001116e940b000009e0000181013f013f00340b21
         0002002c00000200000000000000000000000000000200fffe0000010001042b000000000000000000000000",
    );
    assert_eq!(frame_of_leader(0x1e87, &header, &Body::Sync { origin_ns: 0 }), real);
}

/// tcpdump test capture ptp.pcap, frame 2.
#[test]
fn delay_resp_equals_a_real_frame() {
    let requester = PortIdentity::of_mac([0x7c, 0xfe, 0x90, 0xf9, 0x50, 0xb4]);
    let body = Body::DelayResp { receipt_ns: 0x5a67_9089 * 1_000_000_000 + 0x0ecc_a2a5, requester };
    let real = octets(
        "01005e0001810002000000010800450000521cf340000111701e0b000009e000018101400140003e0a98
         0902003600000000000000000000000000000000000200fffe00000100010084030000005a6790890ecca2a5
         7cfe90fffef950b40001",
    );
    assert_eq!(frame_of_leader(0x1cf3, &header(LEADER, 0x0084, 0), &body), real);
}

/// tcpdump test capture ptp_management.pcap, frame 2: CURRENT_DATA_SET of a leader, over IEEE 802.3.
#[test]
fn management_response_equals_a_real_frame() {
    let [source, target] = [0x12, 0x11].map(|last| PortIdentity::of_mac([0, 0, 0, 0, 0, last]));
    let body = Body::Management {
        target,
        hops: (1, 1),
        action: ptp_v2::ACTION_RESPONSE,
        tlvs: ptp_v2::management_tlv(ptp_v2::CURRENT_DATA_SET, &ptp_v2::current_data_set(0, 0, 0)),
    };
    let message = ptp_v2::encode(&header(source, 0, ptp_v2::NOT_STATED), &body);
    let frame = ethernet([0x01, 0x1b, 0x19, 0, 0, 0], [0, 0, 0, 0, 0, 0x12], 0x88f7, &message);
    let real = octets(
        "011b1900000000000000001288f70d02004800000000000000000000000000000000000000fffe0000120001
         0000047f000000fffe000011000101010200000100142001000000000000000000000000000000000000",
    );
    assert_eq!(frame, real);
}

/// Packed apart from this encoder from the same layout (1588-2008 13.9 to 13.12, from memory) and read back with scapy.
#[test]
fn peer_delay_and_signaling_have_the_lengths_and_places_of_the_layout() {
    let source = PortIdentity { clock: [2, 0, 0, 0xff, 0xfe, 0, 0, 0xc2], port: 4 };
    let requester = PortIdentity { clock: [2, 0, 0, 0xff, 0xfe, 0, 0, 0xb1], port: 2 };
    let at = 1_700_000_040 * 1_000_000_000;
    let mut head = header(source, 9, ptp_v2::NOT_STATED);
    let request = ptp_v2::encode(&head, &Body::PdelayReq { origin_ns: at });
    assert_eq!((request.len(), request[0], request[3]), (54, 0x02, 54));
    assert_eq!(request[34..], octets("00006553f1280000000000000000000000000000")[..]);
    let follow_up = Body::PdelayRespFollowUp { origin_ns: at + 501_000, requester };
    let expected = octets(
        "0a02003600000000000000000000000000000000020000fffe0000c200040009057f00006553f1280007a508
         020000fffe0000b10002",
    );
    assert_eq!(ptp_v2::encode(&head, &follow_up), expected);
    head.flags = [ptp_v2::TWO_STEP, 0];
    let response = Body::PdelayResp { receipt_ns: at + 1_000, requester };
    let expected = octets(
        "0302003600000200000000000000000000000000020000fffe0000c200040009057f00006553f128000003e8
         020000fffe0000b10002",
    );
    assert_eq!(ptp_v2::encode(&head, &response), expected);

    let asking = Header {
        domain: 44,
        flags: [0x04, 0],
        ..header(PortIdentity { port: 1, ..requester }, 3, ptp_v2::NOT_STATED)
    };
    let tlvs =
        [(0xb, 1), (0x0, -4), (0x9, -4)].map(|(kind, log)| ptp_v2::request_unicast_tlv(kind, log, 300));
    let signaling = Body::Signaling { target: PortIdentity::ALL, tlvs: tlvs.concat() };
    let expected = octets(
        "0c02004a2c000400000000000000000000000000020000fffe0000b100010003057fffffffffffffffffffff
         00040006b0010000012c0004000600fc0000012c0004000690fc0000012c",
    );
    assert_eq!(ptp_v2::encode(&asking, &signaling), expected);
}

/// Packed apart from this encoder from the layout of IEEE 1588-2002 annex D and read back at an open implementation's
/// offsets.
#[test]
fn version_1_messages_have_the_places_of_the_layout() {
    let leader = [2, 0, 0, 0, 0, 0xa1];
    let follower = [2, 0, 0, 0, 0, 0xf2];
    let head = |source, sequence| ptp_v1::Header {
        subdomain: ptp_v1::DEFAULT_SUBDOMAIN,
        source,
        sequence,
        flags: 0,
    };
    let asked_ns = 1_700_000_000 * 1_000_000_000 + 623_450_000;
    let body = ptp_v1::SyncBody {
        origin_ns: asked_ns,
        utc_offset_s: 0,
        grandmaster: ptp_v1::ClockData { uuid: leader, stratum: 2, identifier: *b"NTP\0", variance: -4000 },
        grandmaster_sequence: 4658,
        grandmaster_preferred: false,
        grandmaster_is_boundary_clock: false,
        log_sync_interval: -2,
        local: ptp_v1::ClockData { uuid: follower, stratum: 4, identifier: *b"DFLT", variance: -3072 },
        steps_removed: 1,
        parent: leader,
        estimated_variance: -5000,
        estimated_drift: -1234,
        utc_reasonable: false,
    };
    let expected = octets(
        "000100015f44464c54000000000000000000000001010200000000f20001006301000000000000006553f100
         252917900000000000010200000000a100011232000000024e5450000000f06000000000000000fe0000f400
         000000010000000444464c5400010200000000a1000000010000ec78fffffb2e00000000",
    );
    assert_eq!(ptp_v1::delay_req(&head(follower, 99), &body), expected);
    assert_eq!(ptp_v1::sync(&head(follower, 99), &body)[32], 0);
    let expected = octets(
        "000100015f44464c54000000000000000000000002010200000000a1000108ae020000000000000000001234
         6553f100075bd99f",
    );
    let sent_ns = 1_700_000_000 * 1_000_000_000 + 123_459_999;
    assert_eq!(ptp_v1::follow_up(&head(leader, 2222), 4660, sent_ns), expected);
    let expected = octets(
        "000100015f44464c54000000000000000000000002010200000000a1000108af03000000000000006553f100
         2529561000010200000000f200010063",
    );
    assert_eq!(ptp_v1::delay_resp(&head(leader, 2223), asked_ns + 16_000, follower, 99), expected);
}
