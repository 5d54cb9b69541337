//! The common frame by fixed offsets: Ethernet, at most one 802.1Q tag, IPv4 without options or
//! fragmentation, UDP. Most frames of a capture are media and take this way.
//!
//! It either says exactly what the general way says, or nothing; a property below holds both to that.

use std::net::IpAddr;
use std::net::Ipv4Addr;

use super::Frame;
use super::ethernet;
use super::network::{Fragment, Network, Udp};
use super::stop::{Layer, Stop};
use super::tunnel;
use super::vlan::VlanTag;
use crate::units::MacAddress;

/// Decodes a frame of the common kind; `None` sends it the general way.
pub(super) fn decode(octets: &[u8]) -> Option<Frame<'_>> {
    let (header, mut packet) = octets.split_first_chunk::<14>()?;
    let [d0, d1, d2, d3, d4, d5, s0, s1, s2, s3, s4, s5, t0, t1] = *header;
    let mut ethertype = u16::from_be_bytes([t0, t1]);
    let mut frame = Frame::empty(packet);
    if ethertype == ethernet::C_TAG {
        let ([a, b, c, d], rest) = packet.split_first_chunk::<4>()?;
        frame.vlans.push(VlanTag::from_tci(ethertype, u16::from_be_bytes([*a, *b])));
        ethertype = u16::from_be_bytes([*c, *d]);
        packet = rest;
    }
    if ethertype != ethernet::IPV4 {
        return None;
    }
    let (ip, _) = packet.split_first_chunk::<20>()?;
    let [0x45, tos, l0, l1, _, _, f0, f1, ttl, 17, _, _, i0, i1, i2, i3, j0, j1, j2, j3] = *ip else {
        return None;
    };
    // More-fragments and the 13 bits of offset; "do not fragment" and the reserved bit do not matter.
    let total = usize::from(u16::from_be_bytes([l0, l1]));
    if f0 & 0x3F != 0 || f1 != 0 || total < 28 {
        return None;
    }
    if let Some(whole) = packet.get(..total) {
        packet = whole;
    } else {
        frame.note(Stop::cut(Layer::Ipv4, total, packet.len()));
    }
    let mut datagram = packet.get(20..)?;
    let ([p0, p1, q0, q1, m0, m1, c0, c1], _) = datagram.split_first_chunk::<8>()?;
    let destination_port = u16::from_be_bytes([*q0, *q1]);
    let length = u16::from_be_bytes([*m0, *m1]);
    if length < 8 || destination_port == tunnel::VXLAN_PORT {
        return None;
    }
    if let Some(whole) = datagram.get(..usize::from(length)) {
        datagram = whole;
    } else {
        frame.note(Stop::cut(Layer::Udp, usize::from(length), datagram.len()));
    }
    frame.destination_mac = Some(MacAddress([d0, d1, d2, d3, d4, d5]));
    frame.source_mac = Some(MacAddress([s0, s1, s2, s3, s4, s5]));
    frame.ethertype = Some(ethertype);
    frame.network = Some(Network {
        source: IpAddr::V4(Ipv4Addr::new(i0, i1, i2, i3)),
        destination: IpAddr::V4(Ipv4Addr::new(j0, j1, j2, j3)),
        ttl,
        dscp: tos >> 2,
        ecn: tos & 0x03,
        fragment: Fragment::None,
        protocol: 17,
    });
    frame.udp = Some(Udp {
        source_port: u16::from_be_bytes([*p0, *p1]),
        destination_port,
        length,
        checksum: u16::from_be_bytes([*c0, *c1]),
    });
    frame.fingerprint_octets = packet;
    frame.payload = datagram.get(8..)?;
    Some(frame)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::LinkType;
    use proptest::prelude::*;

    const PLAIN: [u8; 50] = [
        0x01, 0x00, 0x5e, 0x00, 0x01, 0x81, 0x02, 0x00, 0x5e, 0x10, 0x00, 0x01, 0x08, 0x00, // Ethernet
        0x45, 0xb8, 0x00, 0x20, 0x12, 0x34, 0x40, 0x00, 0x01, 17, 0, 0, 10, 20, 0, 1, 224, 0, 1,
        129, // IPv4
        0x01, 0x3f, 0x01, 0x40, 0x00, 0x0c, 0xaa, 0xbb, // UDP
        0xde, 0xad, 0xbe, 0xef, 0, 0, 0, 0, // payload and pads
    ];

    fn tagged(tci: [u8; 2]) -> Vec<u8> {
        [&PLAIN[..12], &[0x81, 0x00], &tci, &PLAIN[12..]].concat()
    }

    fn general(octets: &[u8]) -> Frame<'_> {
        crate::frame::general(LinkType::ETHERNET, octets)
    }

    #[test]
    fn the_common_frame_is_accepted_with_and_without_a_tag() {
        let frame = decode(&PLAIN).unwrap();
        assert_eq!(frame, general(&PLAIN));
        assert_eq!(frame.payload, [0xde, 0xad, 0xbe, 0xef]);
        assert_eq!(frame.stop, None);
        let octets = tagged([0xa0, 0x0b]);
        let frame = decode(&octets).unwrap();
        assert_eq!(frame, general(&octets));
        assert_eq!((frame.vlans.inner_id(), frame.vlans.pcp()), (Some(11), Some(5)));
    }

    #[test]
    fn a_common_frame_that_was_cut_is_accepted_from_the_udp_header_on() {
        for length in 0..PLAIN.len() {
            let octets = &PLAIN[..length];
            let decoded = decode(octets);
            assert_eq!(decoded.is_some(), length >= 42, "cut at {length}");
            if let Some(frame) = decoded {
                assert_eq!(frame, general(octets), "cut at {length}");
                assert_eq!(frame.stop.is_some(), length < 46, "cut at {length}");
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]
        #[test]
        fn both_ways_agree_on_every_frame_the_fast_one_accepts(
            with_tag: bool,
            tci: [u8; 2],
            changes in proptest::collection::vec((12_usize..50, any::<u8>()), 0..4),
            length in 0_usize..=54,
        ) {
            let mut octets = if with_tag { tagged(tci) } else { PLAIN.to_vec() };
            for (place, value) in changes {
                octets[place] = value;
            }
            octets.truncate(length);
            if let Some(frame) = decode(&octets) {
                prop_assert_eq!(frame, general(&octets));
            }
        }
    }
}
