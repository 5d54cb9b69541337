//! Frames from octets: every encapsulation, cut at every length, and noise.

use std::net::IpAddr;

use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::frame::Fragment;
use downbeat::frame::Frame;
use downbeat::frame::Layer;
use downbeat::frame::StopReason;
use downbeat::frame::Tunnel;
use downbeat::frame::decode;
use downbeat::units::MacAddress;
use proptest::prelude::*;

use crate::support::craft_frames as craft;

const MESSAGE: [u8; 12] = [0xde, 0xad, 0xbe, 0xef, 1, 2, 3, 4, 5, 6, 7, 8];

/// Every link type that is read.
const LINKS: [LinkType; 11] = [
    LinkType::NULL,
    LinkType::ETHERNET,
    LinkType(12),
    LinkType(14),
    LinkType::RAW,
    LinkType::LOOP,
    LinkType::LINUX_SLL,
    LinkType::IPV4,
    LinkType::IPV6,
    LinkType::LINUX_SLL2,
    LinkType(147),
];

pub(crate) fn record(link: LinkType, octets: &[u8]) -> Record<'_> {
    let original_len = u32::try_from(octets.len()).unwrap();
    Record { number: 1, time: None, link, interface: 0, original_len, fcs_octets: None, octets }
}

pub(crate) fn ethernet(octets: &[u8]) -> Frame<'_> {
    decode(&record(LinkType::ETHERNET, octets))
}

fn tunnels(frame: &Frame<'_>) -> Vec<Tunnel> {
    frame.tunnels.iter().collect()
}

/// IPv4, UDP to port 320 and the message.
fn packet() -> Vec<u8> {
    craft::ipv4(craft::Ipv4::default(), &craft::udp(320, &MESSAGE))
}

/// The packet inside IPv4 with this protocol and between the headers that `wrap` puts around it.
fn around(protocol: u8, wrapped: &[u8]) -> Vec<u8> {
    craft::ethernet(0x0800, &craft::ipv4(craft::Ipv4 { protocol, ..craft::Ipv4::default() }, wrapped))
}

struct Sample {
    name: &'static str,
    link: LinkType,
    octets: Vec<u8>,
    tunnels: Vec<Tunnel>,
}

/// Frames that all carry [`MESSAGE`] over UDP to port 320.
fn samples() -> Vec<Sample> {
    let packet = packet();
    let inner = craft::udp_frame(320, &MESSAGE);
    let v6 = |next: u8, inside: &[u8]| craft::ethernet(0x86DD, &craft::ipv6(next, inside));
    let udp = craft::udp(320, &MESSAGE);
    let with_options =
        craft::ipv4(craft::Ipv4 { options: &[7, 7, 4, 0, 0, 0, 0, 1], ..craft::Ipv4::default() }, &udp);
    let authenticated =
        craft::ipv4(craft::Ipv4 { protocol: 51, ..craft::Ipv4::default() }, &craft::authentication(17, &udp));
    let offloaded = craft::ipv4(craft::Ipv4 { total_length: Some(0), ..craft::Ipv4::default() }, &udp);
    let length = u16::try_from(8 + packet.len()).unwrap();
    let null = |family: [u8; 4], inside: &[u8]| [&family, inside].concat();
    let ip6 = craft::ipv6(17, &udp);
    let ethernet = LinkType::ETHERNET;
    [
        ("untagged", ethernet, inner.clone(), vec![]),
        ("padded", ethernet, [&inner[..], &[0; 9]].concat(), vec![]),
        ("one tag", ethernet, craft::ethernet(0x8100, &craft::tag(0xA00B, 0x0800, &packet)), vec![]),
        (
            "three kinds of tag",
            ethernet,
            craft::ethernet(
                0x9100,
                &craft::tag(1, 0x88A8, &craft::tag(2, 0x8100, &craft::tag(3, 0x0800, &packet))),
            ),
            vec![],
        ),
        ("SNAP", ethernet, craft::ethernet(length, &craft::snap(0x0800, &packet)), vec![]),
        ("IPv4 options", ethernet, craft::ethernet(0x0800, &with_options), vec![]),
        ("IPv4 authentication", ethernet, craft::ethernet(0x0800, &authenticated), vec![]),
        ("offloaded", ethernet, craft::ethernet(0x0800, &offloaded), vec![]),
        ("IPv6", ethernet, v6(17, &udp), vec![]),
        (
            "IPv6 with every extension",
            ethernet,
            v6(
                0,
                &craft::options(
                    60,
                    &craft::options(
                        43,
                        &craft::options(44, &craft::fragment(51, 0, false, &craft::authentication(17, &udp))),
                    ),
                ),
            ),
            vec![],
        ),
        ("raw", LinkType::RAW, packet.clone(), vec![]),
        ("raw 12", LinkType(12), packet.clone(), vec![]),
        ("raw 14 with IPv6", LinkType(14), ip6.clone(), vec![]),
        ("raw IPv4", LinkType::IPV4, packet.clone(), vec![]),
        ("raw IPv6", LinkType::IPV6, ip6.clone(), vec![]),
        ("null, low octet first", LinkType::NULL, null([2, 0, 0, 0], &packet), vec![]),
        ("null, high octet first", LinkType::NULL, null([0, 0, 0, 2], &packet), vec![]),
        ("null IPv6 10", LinkType::NULL, null([10, 0, 0, 0], &ip6), vec![]),
        ("null IPv6 24", LinkType::NULL, null([24, 0, 0, 0], &ip6), vec![]),
        ("null IPv6 28", LinkType::NULL, null([0, 0, 0, 28], &ip6), vec![]),
        ("loop IPv6 30", LinkType::LOOP, null([0, 0, 0, 30], &ip6), vec![]),
        ("cooked", LinkType::LINUX_SLL, craft::cooked(0x0800, &packet), vec![]),
        (
            "cooked, tagged",
            LinkType::LINUX_SLL,
            craft::cooked(0x8100, &craft::tag(5, 0x0800, &packet)),
            vec![],
        ),
        ("cooked 2", LinkType::LINUX_SLL2, craft::cooked_2(0x86DD, &ip6), vec![]),
        ("cooked 2, LLC", LinkType::LINUX_SLL2, craft::cooked_2(4, &craft::snap(0x0800, &packet)), vec![]),
        ("GRE, Ethernet", ethernet, around(47, &craft::gre(0, 0x6558, &inner)), vec![Tunnel::Gre]),
        ("GRE with all words", ethernet, around(47, &craft::gre(0xB000, 0x6558, &inner)), vec![Tunnel::Gre]),
        ("GRE, IPv4", ethernet, around(47, &craft::gre(0x2000, 0x0800, &packet)), vec![Tunnel::Gre]),
        ("GRE in IPv6, IPv6", ethernet, v6(47, &craft::gre(0, 0x86DD, &ip6)), vec![Tunnel::Gre]),
        ("ERSPAN I", ethernet, around(47, &craft::gre(0, 0x88BE, &inner)), vec![Tunnel::ErspanI]),
        (
            "ERSPAN II",
            ethernet,
            around(47, &craft::gre(0x1000, 0x88BE, &craft::erspan_2(&inner))),
            vec![Tunnel::ErspanII],
        ),
        (
            "ERSPAN III",
            ethernet,
            around(47, &craft::gre(0x1000, 0x22EB, &craft::erspan_3(0, false, &inner))),
            vec![Tunnel::ErspanIII],
        ),
        (
            "ERSPAN III with subheader, IP",
            ethernet,
            around(47, &craft::gre(0x1000, 0x22EB, &craft::erspan_3(2, true, &packet))),
            vec![Tunnel::ErspanIII],
        ),
        ("VXLAN", ethernet, craft::udp_frame(4789, &craft::vxlan(&inner)), vec![Tunnel::Vxlan]),
        (
            "VXLAN in ERSPAN II",
            ethernet,
            around(
                47,
                &craft::gre(0x1000, 0x88BE, &craft::erspan_2(&craft::udp_frame(4789, &craft::vxlan(&inner)))),
            ),
            vec![Tunnel::ErspanII, Tunnel::Vxlan],
        ),
    ]
    .into_iter()
    .map(|(name, link, octets, tunnels)| Sample { name, link, octets, tunnels })
    .collect()
}

#[test]
fn every_encapsulation_leads_to_the_same_datagram() {
    for Sample { name, link, octets, tunnels: expected } in samples() {
        let frame = decode(&record(link, &octets));
        assert_eq!(frame.stop, None, "{name}");
        assert_eq!(frame.payload, MESSAGE, "{name}");
        let udp = frame.udp.unwrap();
        assert_eq!((udp.source_port, udp.destination_port), (0xC001, 320), "{name}");
        assert_eq!((udp.length, udp.checksum), (20, 0xABCD), "{name}");
        let network = frame.network.unwrap();
        assert_eq!((network.ttl, network.dscp, network.ecn), (1, 46, 0), "{name}");
        assert_eq!((network.protocol, network.fragment), (17, Fragment::None), "{name}");
        let ends = match network.source {
            IpAddr::V4(_) => ["10.20.0.1", "224.0.1.129"],
            IpAddr::V6(_) => ["fd00::1", "ff05::181"],
        };
        assert_eq!([network.source.to_string(), network.destination.to_string()], ends, "{name}");
        assert_eq!(tunnels(&frame), expected, "{name}");
        assert!(frame.fingerprint_octets.ends_with(&MESSAGE), "{name}");
        assert!(matches!(frame.fingerprint_octets.first(), Some(0x45 | 0x47 | 0x6B)), "{name}");
    }
}

#[test]
fn addresses_and_tags_are_those_of_the_innermost_frame() {
    let inner = craft::ethernet_between(
        [0x01, 0x00, 0x5e, 0, 0, 0x6b],
        [0x02, 0x00, 0x5e, 0x10, 0, 0x21],
        0x8100,
        &craft::tag(0x6007, 0x0800, &packet()),
    );
    let outer_packet = craft::ipv4(craft::Ipv4::default(), &craft::udp(4789, &craft::vxlan(&inner)));
    let octets = craft::ethernet(0x8100, &craft::tag(0x0063, 0x0800, &outer_packet));
    let frame = ethernet(&octets);
    assert_eq!(frame.source_mac, Some(MacAddress([0x02, 0x00, 0x5e, 0x10, 0, 0x21])));
    assert_eq!(frame.destination_mac, Some(MacAddress([0x01, 0x00, 0x5e, 0, 0, 0x6b])));
    assert_eq!((frame.vlans.inner_id(), frame.vlans.pcp(), frame.vlans.tags().len()), (Some(7), Some(3), 1));
}

#[test]
fn a_packet_in_a_tunnel_without_ethernet_has_no_addresses_below_ip() {
    let octets = around(47, &craft::gre(0, 0x0800, &packet()));
    let frame = ethernet(&octets);
    assert_eq!((frame.source_mac, frame.destination_mac, frame.ethertype), (None, None, Some(0x0800)));
}

#[test]
fn a_cooked_header_gives_the_sender_and_the_tags_behind_it() {
    let octets = craft::cooked(0x8100, &craft::tag(0x4005, 0x0800, &packet()));
    let frame = decode(&record(LinkType::LINUX_SLL, &octets));
    assert_eq!((frame.source_mac, frame.destination_mac), (Some(MacAddress(craft::SENDER)), None));
    assert_eq!((frame.vlans.inner_id(), frame.vlans.pcp()), (Some(5), Some(2)));
    let octets = craft::cooked_2(0x88F7, &MESSAGE);
    let frame = decode(&record(LinkType::LINUX_SLL2, &octets));
    assert_eq!(frame.source_mac, Some(MacAddress(craft::SENDER)));
    assert_eq!((frame.ethertype, frame.payload), (Some(0x88F7), &MESSAGE[..]));
}

#[test]
fn fragments_are_told_apart_and_only_the_first_has_ports() {
    let datagram = craft::udp_with_length(319, 3000, &MESSAGE);
    for (fragment, more) in [(0x2000, Fragment::First), (0x0010, Fragment::Later), (0x2010, Fragment::Later)]
    {
        let octets = craft::ethernet(
            0x0800,
            &craft::ipv4(craft::Ipv4 { fragment, ..craft::Ipv4::default() }, &datagram),
        );
        let frame = ethernet(&octets);
        assert_eq!(frame.network.unwrap().fragment, more);
        assert_eq!(frame.udp.is_some(), more == Fragment::First);
        let payload = if more == Fragment::First { &MESSAGE[..] } else { &datagram[..] };
        assert_eq!((frame.payload, frame.stop), (payload, None));
    }
    for (offset, more, expected) in
        [(0, true, Fragment::First), (2, true, Fragment::Later), (2, false, Fragment::Later)]
    {
        let octets = craft::ethernet(0x86DD, &craft::ipv6(44, &craft::fragment(17, offset, more, &datagram)));
        let frame = ethernet(&octets);
        assert_eq!(frame.network.unwrap().fragment, expected);
        assert_eq!((frame.udp.is_some(), frame.stop), (expected == Fragment::First, None));
    }
    // What a later part begins with is data, also where the protocol number is that of an extension header.
    let octets = craft::ethernet(0x86DD, &craft::ipv6(44, &craft::fragment(60, 2, false, &datagram)));
    assert_eq!((ethernet(&octets).payload, ethernet(&octets).network.unwrap().protocol), (&datagram[..], 60));
}

#[test]
fn a_length_that_cannot_be_true_is_told_and_everything_there_is_used() {
    let octets = craft::ethernet(
        0x0800,
        &craft::ipv4(craft::Ipv4::default(), &craft::udp_with_length(320, 7, &MESSAGE)),
    );
    let frame = ethernet(&octets);
    assert_eq!(
        (frame.payload, frame.stop.unwrap().to_string()),
        (&MESSAGE[..], "UDP: length 7 cannot be".to_owned())
    );
    let header = craft::Ipv4 { total_length: Some(19), ..craft::Ipv4::default() };
    let octets = craft::ethernet(0x0800, &craft::ipv4(header, &craft::udp(320, &MESSAGE)));
    let frame = ethernet(&octets);
    assert_eq!(frame.payload, MESSAGE);
    assert_eq!(frame.stop.unwrap().to_string(), "IPv4: total length 19 cannot be");
    let octets = craft::ethernet(
        0x0800,
        &craft::ipv4(craft::Ipv4::default(), &craft::udp_with_length(320, 0, &MESSAGE)),
    );
    assert_eq!((ethernet(&octets).payload, ethernet(&octets).stop), (&MESSAGE[..], None));
    let octets = craft::ethernet(
        0x0800,
        &craft::ipv4(craft::Ipv4::default(), &craft::udp_with_length(320, 21, &MESSAGE)),
    );
    let frame = ethernet(&octets);
    assert_eq!((frame.payload, frame.is_cut()), (&MESSAGE[..], true));
    assert_eq!(frame.stop.unwrap().to_string(), "UDP: 21 octets wanted, 20 there");
}

#[test]
fn a_cut_frame_is_read_as_far_as_it_goes() {
    let packet = packet();
    let length = u16::try_from(8 + packet.len()).unwrap();
    let with_length = craft::ethernet(length, &craft::snap(0x0800, &packet));
    for octets in [with_length, craft::udp_frame(320, &MESSAGE)] {
        let snapped = Record { octets: &octets[..octets.len() - 5], ..record(LinkType::ETHERNET, &octets) };
        let frame = decode(&snapped);
        assert_eq!(frame.udp.unwrap().destination_port, 320);
        assert_eq!((frame.payload, frame.is_cut()), (&MESSAGE[..7], true));
    }
}

#[test]
fn a_udp_length_below_the_packets_end_cuts_the_payload() {
    let datagram = craft::udp_with_length(320, 12, &MESSAGE);
    let octets = craft::ethernet(0x0800, &craft::ipv4(craft::Ipv4::default(), &datagram));
    assert_eq!((ethernet(&octets).payload, ethernet(&octets).stop), (&MESSAGE[..4], None));
}

#[test]
fn what_is_not_known_is_payload_and_no_stop() {
    let octets = craft::ethernet(0x8100, &craft::tag(9, 0x88CC, &MESSAGE));
    let frame = ethernet(&octets);
    assert_eq!((frame.ethertype, frame.payload, frame.stop), (Some(0x88CC), &MESSAGE[..], None));
    assert_eq!(frame.fingerprint_octets, MESSAGE);
    let spanning_tree = [&[0x42, 0x42, 0x03][..], &[0; 35]].concat();
    let octets = craft::ethernet(38, &[&spanning_tree[..], &[0; 8]].concat());
    let frame = ethernet(&octets);
    assert_eq!((frame.ethertype, frame.payload, frame.stop), (None, &spanning_tree[..], None));
    let octets = around(6, &MESSAGE);
    assert_eq!((ethernet(&octets).payload, ethernet(&octets).stop), (&MESSAGE[..], None));
    let octets = around(47, &craft::gre(0, 0x880B, &MESSAGE));
    assert_eq!((ethernet(&octets).payload, ethernet(&octets).stop), (&MESSAGE[..], None));
    assert!(ethernet(&octets).tunnels.is_empty());
    let octets = craft::udp_frame(4789, &[0x80, 96, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
    assert!(ethernet(&octets).tunnels.is_empty());
    assert_eq!(ethernet(&octets).payload.len(), 16);
}

#[test]
fn an_unread_link_type_says_its_number() {
    let frame = decode(&record(LinkType(147), &MESSAGE));
    assert_eq!(frame.stop.unwrap().to_string(), "link type 147 is not read");
    assert_eq!((frame.payload, frame.source_mac), (&MESSAGE[..], None));
}

#[test]
fn values_that_the_rest_cannot_be_read_with_stop_at_their_layer() {
    let version_5 = craft::ethernet(0x0800, &[0x55; 40]);
    let wrong_ip = craft::ethernet(0x86DD, &packet());
    let neither = craft::ethernet(1520, &MESSAGE);
    let source_route = around(47, &craft::gre(0x4000, 0x0800, &packet()));
    let erspan = around(47, &craft::gre(0x1000, 0x22EB, &craft::erspan_2(&craft::udp_frame(320, &MESSAGE))));
    let mut many = craft::udp(320, &MESSAGE);
    let mut next = 17;
    for _ in 0..9 {
        many = craft::options(next, &many);
        next = 60;
    }
    let many = craft::ethernet(0x86DD, &craft::ipv6(60, &many));
    for (octets, layer) in [
        (&version_5, Layer::Ipv4),
        (&wrong_ip, Layer::Ipv6),
        (&neither, Layer::Ethernet),
        (&source_route, Layer::Gre),
        (&erspan, Layer::Erspan),
        (&many, Layer::Ipv6Extension),
    ] {
        let frame = ethernet(octets);
        let stop = frame.stop.unwrap();
        assert_eq!(stop.layer, layer, "{stop}");
        assert!(!stop.is_cut() && frame.udp.is_none(), "{stop}");
    }
}

#[test]
fn at_most_four_encapsulations_are_taken_off() {
    let mut octets = craft::udp_frame(320, &MESSAGE);
    for depth in 1..=50 {
        octets = craft::udp_frame(4789, &craft::vxlan(&octets));
        let frame = ethernet(&octets);
        assert_eq!(tunnels(&frame).len(), depth.min(4), "depth {depth}");
        assert_eq!(frame.udp.unwrap().destination_port, if depth <= 4 { 320 } else { 4789 });
        assert_eq!(frame.stop.is_some_and(|stop| stop.reason == StopReason::TooDeep), depth > 4);
    }
}

#[test]
fn a_frame_check_sequence_that_the_file_tells_of_is_no_payload() {
    let octets = [&craft::ethernet(0x88F7, &MESSAGE)[..], &[0xF0, 0xF1, 0xF2, 0xF3]].concat();
    let whole = Record { fcs_octets: Some(4), ..record(LinkType::ETHERNET, &octets) };
    assert_eq!(decode(&whole).payload, MESSAGE);
    let cut = Record { octets: &octets[..octets.len() - 3], ..whole };
    assert_eq!(decode(&cut).payload, MESSAGE);
    let cut = Record { octets: &octets[..octets.len() - 6], ..whole };
    assert_eq!(decode(&cut).payload, &MESSAGE[..10]);
    let absurd = Record { fcs_octets: Some(255), ..whole };
    assert_eq!((decode(&absurd).payload, decode(&absurd).is_cut()), (&[][..], true));
}

/// What a frame that was cut may say, given what the whole frame says.
pub(crate) fn assert_prefix(name: &str, cut: &Frame<'_>, whole: &Frame<'_>) {
    let (cut_tunnels, whole_tunnels) = (tunnels(cut), tunnels(whole));
    assert!(whole_tunnels.starts_with(&cut_tunnels), "{name}");
    if cut_tunnels.len() < whole_tunnels.len() {
        assert!(cut.is_cut(), "{name}");
        return;
    }
    assert!(cut.source_mac.is_none() || cut.source_mac == whole.source_mac, "{name}");
    assert!(cut.destination_mac.is_none() || cut.destination_mac == whole.destination_mac, "{name}");
    assert!(cut.ethertype.is_none() || cut.ethertype == whole.ethertype, "{name}");
    assert!(cut.udp.is_none() || cut.udp == whole.udp, "{name}");
    assert!(whole.vlans.tags().starts_with(cut.vlans.tags()), "{name}");
    if let (Some(mut here), Some(there)) = (cut.network, whole.network) {
        // Until the extension headers are passed, the protocol is the next of them.
        if cut.stop.is_some_and(|stop| matches!(stop.layer, Layer::Ipv6 | Layer::Ipv4)) && cut.udp.is_none() {
            here.protocol = there.protocol;
        }
        assert_eq!(here, there, "{name}");
    }
    assert!(whole.network.is_none() || cut.network.is_some() || cut.is_cut(), "{name}");
    assert!(whole.udp.is_none() || cut.udp.is_some() || cut.is_cut(), "{name}");
    if cut.udp.is_some() {
        assert!(whole.payload.starts_with(cut.payload), "{name}");
        assert!(whole.fingerprint_octets.starts_with(cut.fingerprint_octets), "{name}");
    }
}

#[test]
fn a_frame_cut_at_any_length_says_nothing_that_the_whole_one_does_not() {
    for Sample { name, link, octets, .. } in samples() {
        let whole = decode(&record(link, &octets));
        for length in 0..octets.len() {
            let snapped = Record { octets: &octets[..length], ..record(link, &octets) };
            assert_prefix(&format!("{name} cut at {length}"), &decode(&snapped), &whole);
        }
    }
}

/// Whether `part` lies within the memory of `octets`.
fn is_within(part: &[u8], octets: &[u8]) -> bool {
    part.is_empty()
        || (octets.as_ptr_range().start <= part.as_ptr()
            && part.as_ptr_range().end <= octets.as_ptr_range().end)
}

fn check_any(link: LinkType, octets: &[u8], original_len: u32, fcs_octets: Option<u8>) {
    let record = Record { number: 1, time: None, link, interface: 0, original_len, fcs_octets, octets };
    let frame = decode(&record);
    assert!(is_within(frame.payload, octets) && is_within(frame.fingerprint_octets, octets));
    assert!(frame.udp.is_none() || frame.network.is_some());
    assert!(tunnels(&frame).len() <= 4);
    if let Some(stop) = frame.stop {
        assert!(!stop.to_string().is_empty());
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]
    #[test]
    fn noise_on_any_link_type_is_read_without_harm(
        link in proptest::sample::select(&LINKS[..]),
        octets in proptest::collection::vec(any::<u8>(), 0..200),
        original_len: u32,
        fcs_octets in proptest::option::of(any::<u8>()),
    ) {
        check_any(link, &octets, original_len, fcs_octets);
    }

    #[test]
    fn a_frame_with_some_octets_changed_is_read_without_harm(
        sample in 0..samples().len(),
        changes in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let Sample { link, mut octets, .. } = samples().swap_remove(sample);
        for (place, value) in changes {
            let place = place.index(octets.len());
            octets[place] = value;
        }
        check_any(link, &octets, u32::try_from(octets.len()).unwrap(), None);
    }
}
