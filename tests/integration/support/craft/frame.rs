//! Ethernet, VLAN, IPv4 and UDP headers with right lengths and checksums (RFC 791, RFC 768, IEEE 802.1Q).
use std::net::Ipv4Addr;

use crate::support::craft::octets::Octets;
use crate::support::craft::octets::length_u16;

/// Six octets of a MAC address.
pub(crate) type Mac = [u8; 6];

/// Frames leave an Ethernet port with at least 60 octets before the check sequence (IEEE 802.3, from memory).
const SHORTEST_FRAME: usize = 60;

/// The group's MAC address: 01:00:5e and the low 23 bits (RFC 1112 section 6.4).
pub(crate) fn group_mac(group: Ipv4Addr) -> Mac {
    let [_, b, c, d] = group.octets();
    [0x01, 0x00, 0x5e, b & 0x7f, c, d]
}

/// An Ethernet II frame, padded to the shortest length.
pub(crate) fn ethernet(destination: Mac, source: Mac, ether_type: u16, payload: &[u8]) -> Vec<u8> {
    let frame = Octets::new().bytes(&destination).bytes(&source).u16(ether_type).bytes(payload).0;
    padded(frame)
}

/// The same with an 802.1Q tag: priority (0–7) and VLAN id (0–4094).
pub(crate) fn ethernet_tagged(
    destination: Mac,
    source: Mac,
    (priority, vlan): (u8, u16),
    ether_type: u16,
    payload: &[u8],
) -> Vec<u8> {
    let tag = Octets::new().u16((u16::from(priority) << 13) | vlan).u16(ether_type).bytes(payload).0;
    padded(Octets::new().bytes(&destination).bytes(&source).u16(0x8100).bytes(&tag).0)
}

fn padded(mut frame: Vec<u8>) -> Vec<u8> {
    frame.resize(frame.len().max(SHORTEST_FRAME), 0);
    frame
}

/// Where an IPv4 packet goes and how it is marked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Ipv4Way {
    pub(crate) source: Ipv4Addr,
    pub(crate) destination: Ipv4Addr,
    pub(crate) ttl: u8,
    /// Differentiated services code point, 0–63.
    pub(crate) dscp: u8,
    pub(crate) identification: u16,
}

/// An IPv4 packet. `options` is a multiple of four octets.
pub(crate) fn ipv4(way: &Ipv4Way, protocol: u8, options: &[u8], payload: &[u8]) -> Vec<u8> {
    let header_octets = 20 + options.len();
    let words = u8::try_from(header_octets / 4).expect("a short header");
    let mut header = Octets::new()
        .u8(0x40 | words)
        .u8(way.dscp << 2)
        .u16(length_u16(header_octets + payload.len()))
        .u16(way.identification)
        .u16(0x4000)
        .u8(way.ttl)
        .u8(protocol)
        .u16(0)
        .bytes(&way.source.octets())
        .bytes(&way.destination.octets())
        .bytes(options)
        .0;
    let sum = checksum(&[&header]);
    header[10..12].copy_from_slice(&sum.to_be_bytes());
    header.extend_from_slice(payload);
    header
}

/// A UDP datagram in an IPv4 packet.
pub(crate) fn udp(way: &Ipv4Way, source_port: u16, destination_port: u16, payload: &[u8]) -> Vec<u8> {
    let length = length_u16(8 + payload.len());
    let mut datagram =
        Octets::new().u16(source_port).u16(destination_port).u16(length).u16(0).bytes(payload).0;
    let pseudo_header =
        Octets::new().bytes(&way.source.octets()).bytes(&way.destination.octets()).u16(17).u16(length).0;
    // A computed 0 is sent as all ones: 0 says "no checksum" (RFC 768).
    let sum = match checksum(&[&pseudo_header, &datagram]) {
        0 => 0xffff,
        sum => sum,
    };
    datagram[6..8].copy_from_slice(&sum.to_be_bytes());
    ipv4(way, 17, &[], &datagram)
}

/// The Internet checksum (RFC 1071) over parts that all but the last have an even length.
pub(crate) fn checksum(parts: &[&[u8]]) -> u16 {
    let mut sum: u64 = 0;
    for pair in parts.iter().flat_map(|part| part.chunks(2)) {
        sum += u64::from(pair[0]) << 8 | u64::from(pair.get(1).copied().unwrap_or(0));
    }
    while sum > 0xffff {
        sum = (sum & 0xffff) + (sum >> 16);
    }
    !u16::try_from(sum).expect("folded to 16 bits")
}

/// RFC 1071 section 3: the octets 00 01 f2 03 f4 f5 f6 f7 sum to ddf2 before the complement.
#[test]
fn the_checksum_of_rfc_1071_comes_out() {
    assert_eq!(checksum(&[&[0x00, 0x01, 0xf2, 0x03], &[0xf4, 0xf5, 0xf6, 0xf7]]), !0xddf2);
}

/// IEEE 802.1Q (from memory): the tag sits between the source address and the EtherType.
#[test]
fn a_tag_keeps_the_ether_type_behind_it() {
    let frame = ethernet_tagged([1; 6], [2; 6], (5, 100), 0x0800, &[0xaa; 60]);
    assert_eq!(frame[12..18], [0x81, 0x00, 0xa0, 0x64, 0x08, 0x00]);
    assert_eq!(frame.len(), 78);
}
