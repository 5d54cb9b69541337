//! Frames, header by header. Each function puts its header in front of what it is given.

use std::net::{Ipv4Addr, Ipv6Addr};

/// A locally administered sender.
pub(crate) const SENDER: [u8; 6] = [0x02, 0x00, 0x5e, 0x10, 0x00, 0x01];
/// The group MAC address of 224.0.1.129.
pub(crate) const PTP_GROUP_MAC: [u8; 6] = [0x01, 0x00, 0x5e, 0x00, 0x01, 0x81];
pub(crate) const PTP_GROUP: Ipv4Addr = Ipv4Addr::new(224, 0, 1, 129);

fn join(parts: &[&[u8]]) -> Vec<u8> {
    parts.concat()
}

fn length(octets: usize) -> [u8; 2] {
    u16::try_from(octets).unwrap().to_be_bytes()
}

/// IEEE 802.3: destination, source, type.
pub(crate) fn ethernet(ethertype: u16, inside: &[u8]) -> Vec<u8> {
    ethernet_between(PTP_GROUP_MAC, SENDER, ethertype, inside)
}

pub(crate) fn ethernet_between(
    destination: [u8; 6],
    source: [u8; 6],
    ethertype: u16,
    inside: &[u8],
) -> Vec<u8> {
    join(&[&destination, &source, &ethertype.to_be_bytes(), inside])
}

/// What follows a tag's Ethertype: control information, next type.
pub(crate) fn tag(tci: u16, next_type: u16, inside: &[u8]) -> Vec<u8> {
    join(&[&tci.to_be_bytes(), &next_type.to_be_bytes(), inside])
}

/// LLC and SNAP with an Ethertype.
pub(crate) fn snap(ethertype: u16, inside: &[u8]) -> Vec<u8> {
    join(&[&[0xAA, 0xAA, 0x03, 0, 0, 0], &ethertype.to_be_bytes(), inside])
}

/// An IPv4 header to be filled in.
#[derive(Clone, Copy)]
pub(crate) struct Ipv4<'a> {
    pub(crate) tos: u8,
    pub(crate) ttl: u8,
    pub(crate) protocol: u8,
    /// Flags and offset, 16 bits: 0x2000 = more fragments.
    pub(crate) fragment: u16,
    pub(crate) source: Ipv4Addr,
    pub(crate) destination: Ipv4Addr,
    /// A multiple of 4 octets.
    pub(crate) options: &'a [u8],
    /// `None` writes the true length.
    pub(crate) total_length: Option<u16>,
}

impl Default for Ipv4<'_> {
    fn default() -> Self {
        Self {
            tos: 0xB8,
            ttl: 1,
            protocol: 17,
            fragment: 0,
            source: Ipv4Addr::new(10, 20, 0, 1),
            destination: PTP_GROUP,
            options: &[],
            total_length: None,
        }
    }
}

pub(crate) fn ipv4(header: Ipv4<'_>, inside: &[u8]) -> Vec<u8> {
    assert_eq!(header.options.len() % 4, 0);
    let words = 5 + header.options.len() / 4;
    let total = header.total_length.map_or_else(|| length(words * 4 + inside.len()), u16::to_be_bytes);
    let mut octets = join(&[
        &[0x40 | u8::try_from(words).unwrap(), header.tos],
        &total,
        &[0x12, 0x34],
        &header.fragment.to_be_bytes(),
        &[header.ttl, header.protocol, 0, 0],
        &header.source.octets(),
        &header.destination.octets(),
        header.options,
    ]);
    let sum =
        octets.chunks(2).fold(0_u32, |sum, pair| sum + u32::from(u16::from_be_bytes([pair[0], pair[1]])));
    let folded = (sum & 0xFFFF) + (sum >> 16);
    let checksum = !u16::try_from((folded & 0xFFFF) + (folded >> 16)).unwrap();
    octets[10..12].copy_from_slice(&checksum.to_be_bytes());
    join(&[&octets, inside])
}

/// IPv6 with hop limit 1 and traffic class 0xB8.
pub(crate) fn ipv6(next_header: u8, inside: &[u8]) -> Vec<u8> {
    join(&[
        &[0x6B, 0x80, 0, 0],
        &length(inside.len()),
        &[next_header, 1],
        &Ipv6Addr::new(0xfd00, 0, 0, 0, 0, 0, 0, 1).octets(),
        &Ipv6Addr::new(0xff05, 0, 0, 0, 0, 0, 0, 0x181).octets(),
        inside,
    ])
}

/// Hop-by-hop (0), routing (43) or destination options (60): 8 octets, the options all padding.
pub(crate) fn options(next_header: u8, inside: &[u8]) -> Vec<u8> {
    join(&[&[next_header, 0, 1, 4, 0, 0, 0, 0], inside])
}

/// IPv6 fragment header (44); the offset counts 8 octets.
pub(crate) fn fragment(next_header: u8, offset: u16, more: bool, inside: &[u8]) -> Vec<u8> {
    join(&[&[next_header, 0], &((offset << 3) | u16::from(more)).to_be_bytes(), &[0, 0, 0, 9], inside])
}

/// IP authentication header (51) with 12 octets of check value.
pub(crate) fn authentication(next_header: u8, inside: &[u8]) -> Vec<u8> {
    join(&[&[next_header, 4, 0, 0], &[0x5A; 20], inside])
}

pub(crate) fn udp(destination_port: u16, inside: &[u8]) -> Vec<u8> {
    udp_with_length(destination_port, u16::try_from(8 + inside.len()).unwrap(), inside)
}

pub(crate) fn udp_with_length(destination_port: u16, length: u16, inside: &[u8]) -> Vec<u8> {
    join(&[&[0xC0, 0x01], &destination_port.to_be_bytes(), &length.to_be_bytes(), &[0xAB, 0xCD], inside])
}

/// GRE with the optional words that `flags` asks for (0x8000 checksum, 0x2000 key, 0x1000 sequence number).
pub(crate) fn gre(flags: u16, protocol: u16, inside: &[u8]) -> Vec<u8> {
    let words = [0x8000, 0x2000, 0x1000].into_iter().filter(|flag| flags & flag != 0).count();
    join(&[&flags.to_be_bytes(), &protocol.to_be_bytes(), &vec![0x77; words * 4], inside])
}

/// ERSPAN type II: version 1, VLAN 5; session 9; index 3.
pub(crate) fn erspan_2(inside: &[u8]) -> Vec<u8> {
    join(&[&[0x10, 0x05, 0x00, 0x09, 0, 0, 0, 3], inside])
}

/// ERSPAN type III: version 2, VLAN 5; session 9; timestamp; group tag; frame type; platform subheader on wish.
pub(crate) fn erspan_3(frame_type: u16, with_subheader: bool, inside: &[u8]) -> Vec<u8> {
    let word = 0x8000 | (frame_type << 10) | u16::from(with_subheader);
    let subheader: &[u8] = if with_subheader { &[0x5C; 8] } else { &[] };
    join(&[&[0x20, 0x05, 0x00, 0x09, 1, 2, 3, 4, 0, 7], &word.to_be_bytes(), subheader, inside])
}

/// VXLAN with VNI 42.
pub(crate) fn vxlan(inside: &[u8]) -> Vec<u8> {
    join(&[&[0x08, 0, 0, 0, 0, 0, 42, 0], inside])
}

/// Linux cooked capture, version 1, from an Ethernet-like interface.
pub(crate) fn cooked(protocol: u16, inside: &[u8]) -> Vec<u8> {
    join(&[&[0, 2, 0, 1, 0, 6], &SENDER, &[0, 0], &protocol.to_be_bytes(), inside])
}

/// Linux cooked capture, version 2, from an Ethernet-like interface.
pub(crate) fn cooked_2(protocol: u16, inside: &[u8]) -> Vec<u8> {
    join(&[&protocol.to_be_bytes(), &[0, 0, 0, 0, 0, 3, 0, 1, 2, 6], &SENDER, &[0, 0], inside])
}

/// Ethernet, IPv4 and UDP to PTP's group.
pub(crate) fn udp_frame(destination_port: u16, inside: &[u8]) -> Vec<u8> {
    ethernet(0x0800, &ipv4(Ipv4::default(), &udp(destination_port, inside)))
}
