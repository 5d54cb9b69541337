//! Observations from frames: which frames are PTP, how they came, and which are copies.

use downbeat::bytes::DecodeError;
use downbeat::capture::LinkType;
use downbeat::capture::Record;
use downbeat::frame::decode;
use downbeat::observations::MirrorDuplicates;
use downbeat::observations::Observation;
use downbeat::observations::Transport;
use downbeat::observations::What;
use downbeat::observations::from_frame;
use downbeat::ptp;
use downbeat::units::CaptureTime;
use downbeat::units::MacAddress;
use proptest::prelude::*;

use crate::frames::record;
use crate::support::craft_frames as craft;
use crate::support::reference::{shared, walk};

/// A v2 Sync of domain 0, all of it 44 octets, followed by nothing.
const SYNC: [u8; 44] = [
    0x00, 0x02, 0x00, 0x2c, 0, 0, 0x02, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, // to messageTypeSpecific
    0x02, 0x00, 0x5e, 0xff, 0xfe, 0x10, 0x00, 0x01, 0, 1, 0, 7, 0,
    0, // sourcePortIdentity to logMessageInterval
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, // originTimestamp
];

fn observe(octets: &[u8]) -> Option<Observation> {
    observe_record(&record(LinkType::ETHERNET, octets))
}

fn observe_record(record: &Record<'_>) -> Option<Observation> {
    from_frame(3, record, &decode(record))
}

fn assert_holds(observation: &Observation, payload: &[u8]) {
    match (&observation.what, ptp::decode(payload)) {
        (What::Ptp(message), Ok(expected)) => assert_eq!(*message, expected),
        (What::Undecodable(error), Err(expected)) => assert_eq!(*error, expected),
        (what, expected) => panic!("{what:?} where {expected:?} was expected"),
    }
}

#[test]
fn ptp_over_udp_is_known_by_its_destination_port_alone() {
    for port in [319, 320] {
        let observation = observe(&craft::udp_frame(port, &SYNC)).unwrap();
        assert_eq!(observation.path.transport, Transport::Udp4);
        assert_eq!(observation.path.destination_port, Some(port));
        assert_holds(&observation, &SYNC);
    }
    for port in [0, 318, 321, 5004] {
        assert_eq!(observe(&craft::udp_frame(port, &SYNC)), None);
    }
    // From port 319 to another one.
    let mut octets = craft::udp_frame(5004, &SYNC);
    octets[34..36].copy_from_slice(&319_u16.to_be_bytes());
    assert_eq!(decode(&record(LinkType::ETHERNET, &octets)).udp.unwrap().source_port, 319);
    assert_eq!(observe(&octets), None);
}

#[test]
fn the_path_is_that_of_the_frame() {
    let packet = craft::ipv4(craft::Ipv4::default(), &craft::udp(320, &SYNC));
    let octets = craft::ethernet(0x8100, &craft::tag(0x6007, 0x0800, &packet));
    let number_8 = Record { number: 8, time: Some(CaptureTime(5)), ..record(LinkType::ETHERNET, &octets) };
    let Observation { place, path, .. } = observe_record(&number_8).unwrap();
    assert_eq!((place.file, place.frame, place.time), (3, 8, Some(CaptureTime(5))));
    assert_eq!(path.source_mac, Some(MacAddress(craft::SENDER)));
    assert_eq!(path.destination_mac, Some(MacAddress(craft::PTP_GROUP_MAC)));
    assert_eq!((path.vlan, path.ttl, path.dscp), (Some(7), Some(1), Some(46)));
    assert_eq!(path.source_ip.unwrap().to_string(), "10.20.0.1");
    assert_eq!(path.destination_ip.unwrap().to_string(), "224.0.1.129");
    assert!(path.is_multicast());
}

#[test]
fn transports_and_groups_are_told_apart() {
    let six = observe(&craft::ethernet(0x86DD, &craft::ipv6(17, &craft::udp(319, &SYNC)))).unwrap().path;
    assert_eq!((six.transport, six.transport.name(), six.is_multicast()), (Transport::Udp6, "udp6", true));
    let layer_2 = observe(&craft::ethernet(0x88F7, &SYNC)).unwrap().path;
    assert_eq!((layer_2.transport, layer_2.transport.name()), (Transport::Ethernet, "ethernet"));
    assert_eq!((layer_2.source_ip, layer_2.destination_port, layer_2.ttl), (None, None, None));
    assert!(layer_2.is_multicast());
    let to_one = craft::ethernet_between([2, 0, 0x5e, 0, 0, 9], craft::SENDER, 0x88F7, &SYNC);
    assert!(!observe(&to_one).unwrap().path.is_multicast());
    // The IP address decides, also where the MAC address is a group's.
    let header = craft::Ipv4 { destination: [10, 20, 0, 2].into(), ..craft::Ipv4::default() };
    let unicast =
        observe(&craft::ethernet(0x0800, &craft::ipv4(header, &craft::udp(319, &SYNC)))).unwrap().path;
    assert_eq!((unicast.transport.name(), unicast.is_multicast()), ("udp4", false));
}

#[test]
fn octets_that_are_no_message_are_kept_with_their_reason() {
    for payload in [&[][..], &[0x00], &[0x00, 0x07, 0, 0], &SYNC[..20]] {
        let observation = observe(&craft::udp_frame(319, payload)).unwrap();
        assert!(matches!(observation.what, What::Undecodable(_)), "{payload:?}");
    }
    let Some(Observation { what: What::Undecodable(DecodeError::Value { field, value, .. }), .. }) =
        observe(&craft::udp_frame(319, &[0x80, 0x07, 1, 2]))
    else {
        panic!("version 7 was decoded")
    };
    assert_eq!((field, value), ("versionPTP", 7));
}

#[test]
fn the_first_fragment_is_known_and_a_later_one_is_not() {
    let datagram = craft::udp_with_length(319, 2000, &SYNC);
    let part = |fragment| {
        let header = craft::Ipv4 { fragment, ..craft::Ipv4::default() };
        observe(&craft::ethernet(0x0800, &craft::ipv4(header, &datagram)))
    };
    assert_eq!(part(0x2000).unwrap().what, What::Fragment);
    assert_eq!(part(0x2001), None);
    assert_eq!(part(0x0001), None);
}

#[test]
fn a_mirrors_copy_has_the_same_fingerprint_and_a_routed_one_another() {
    let print = |octets: &[u8]| observe(octets).unwrap().fingerprint;
    let packet = craft::ipv4(craft::Ipv4::default(), &craft::udp(320, &SYNC));
    let plain = craft::ethernet(0x0800, &packet);
    let original = print(&plain);
    assert_eq!(print(&craft::ethernet(0x8100, &craft::tag(7, 0x0800, &packet))), original);
    assert_eq!(print(&[&plain[..], &[0x5A; 12]].concat()), original);
    assert_eq!(print(&craft::udp_frame(4789, &craft::vxlan(&plain))), original);
    let routed = craft::ipv4(craft::Ipv4 { ttl: 2, ..craft::Ipv4::default() }, &craft::udp(320, &SYNC));
    assert_ne!(print(&craft::ethernet(0x0800, &routed)), original);
    let other_sender = craft::ethernet_between(craft::PTP_GROUP_MAC, [2, 0, 0x5e, 0, 0, 9], 0x0800, &packet);
    assert_ne!(print(&other_sender), original);
    let mut next = SYNC;
    next[31] = 8;
    assert_ne!(print(&craft::udp_frame(320, &next)), original);
}

#[test]
fn pads_and_frame_check_sequence_do_not_change_the_fingerprint_over_ethernet() {
    let print = |inside: &[u8]| observe(&craft::ethernet(0x88F7, inside)).unwrap().fingerprint;
    let padded = [&SYNC[..], &[0, 0]].concat();
    let checked = [&SYNC[..], &[0, 0, 0xDE, 0xAD, 0xBE, 0xEF]].concat();
    assert_eq!(print(&padded), print(&SYNC));
    assert_eq!(print(&checked), print(&SYNC));
    // A length that cannot be true bounds nothing.
    let mut short = padded.clone();
    short[3] = 33;
    let mut longer = short.clone();
    longer.push(0);
    assert_ne!(print(&short), print(&longer));
}

#[test]
fn a_capture_of_both_sides_of_a_switch_counts_each_message_once() {
    let mut mirror = MirrorDuplicates::default();
    let mut originals = 0;
    for sequence in 0..100_u8 {
        let mut message = SYNC;
        message[31] = sequence;
        let packet = craft::ipv4(craft::Ipv4::default(), &craft::udp(319, &message));
        let sides =
            [craft::ethernet(0x0800, &packet), craft::ethernet(0x8100, &craft::tag(10, 0x0800, &packet))];
        for (side, octets) in sides.iter().enumerate() {
            let time = i64::from(sequence) * 125_000_000 + i64::try_from(side).unwrap() * 20_000;
            let record = Record { time: Some(CaptureTime(time)), ..record(LinkType::ETHERNET, octets) };
            let is_copy = mirror.is_copy(&observe_record(&record).unwrap());
            assert_eq!(is_copy, side == 1, "sequenceId {sequence}");
            originals += usize::from(!is_copy);
        }
    }
    assert_eq!(originals, 100);
}

#[test]
fn every_frame_of_the_captured_ptp_files_is_an_observation_of_ptp_and_no_other_is() {
    for (name, transport) in [
        ("ptp.pcap", Transport::Udp4),
        ("ptp_ethernet.pcap", Transport::Ethernet),
        ("ptp_management.pcap", Transport::Ethernet),
        ("ptp_v2_1.pcap", Transport::Ethernet),
    ] {
        let Some(file) = shared(&format!("captures/{name}")) else { return };
        for octets in walk(&file) {
            let observation = observe(octets).unwrap();
            assert_eq!(observation.path.transport, transport, "{name}");
            assert!(observation.path.is_multicast(), "{name}");
            assert_holds(&observation, decode(&record(LinkType::ETHERNET, octets)).payload);
        }
    }
    for name in ["802.1ad_QinQ.pcap", "IGMP_V2.pcap", "igmpv3-queries.pcap", "LLDP_and_CDP.pcap"] {
        let Some(file) = shared(&format!("captures/{name}")) else { return };
        for octets in walk(&file) {
            let observation = observe(octets);
            let is_ptp = |what: &What| matches!(what, What::Ptp(_) | What::Undecodable(_) | What::Fragment);
            assert!(!observation.is_some_and(|seen| is_ptp(&seen.what)), "{name}");
        }
    }
}

proptest! {
    #[test]
    fn any_octets_on_ptps_ports_are_observed(
        payload in proptest::collection::vec(any::<u8>(), 0..200),
        port in 319_u16..=320,
    ) {
        let observation = observe(&craft::udp_frame(port, &payload)).unwrap();
        assert_holds(&observation, &payload);
    }

    #[test]
    fn any_octets_under_ptps_ethertype_are_observed(payload in proptest::collection::vec(any::<u8>(), 0..200)) {
        let observation = observe(&craft::ethernet(0x88F7, &payload)).unwrap();
        assert_holds(&observation, &payload);
    }
}
