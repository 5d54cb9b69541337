//! What names devices: LLDP, ARP, neighbour discovery, DHCP, multicast DNS; and AVTP's stream ids.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use downbeat::arp;
use downbeat::avtp;
use downbeat::dhcp;
use downbeat::dhcp::MessageType;
use downbeat::dns;
use downbeat::dns::RecordData;
use downbeat::lldp;
use downbeat::lldp::ChassisId;
use downbeat::lldp::PortId;
use downbeat::units::MacAddress;
use proptest::prelude::*;
use serde_json::Value;

use crate::frames::ethernet;
use crate::support::reference::shared;
use crate::support::reference::walk;
use crate::support::survival::bears_cuts_and_changes;
use crate::support::survival::bears_noise;
use crate::support::vectors::from_hex;

const VECTORS: &str = include_str!("../data/check-values/lldp-vlan.json");

/// A stage box of the house, as each protocol names it.
const BOX_MAC: MacAddress = MacAddress([0x02, 0x00, 0x5e, 0x10, 0x00, 0x21]);
const BOX_ADDRESS: Ipv4Addr = Ipv4Addr::new(10, 20, 0, 21);

fn vectors() -> Vec<Value> {
    let document: Value = serde_json::from_str(VECTORS).unwrap();
    let vectors = document["vectors"].as_array().unwrap().clone();
    assert_eq!(vectors.len(), 5);
    vectors
}

fn frame_octets(vector: &Value) -> Vec<u8> {
    from_hex(vector["frame_hex"].as_str().unwrap())
}

#[test]
fn neighbours_have_the_fields_that_were_worked_out() {
    let vectors = vectors();
    let units: Vec<&Value> = vectors.iter().filter(|vector| vector["decoded"].is_array()).collect();
    assert_eq!(units.len(), 4);
    for vector in units {
        let id = vector["id"].as_str().unwrap();
        let octets = frame_octets(vector);
        let frame = ethernet(&octets);
        assert_eq!(frame.ethertype, Some(lldp::ETHERTYPE), "{id}");
        let message = lldp::decode(frame.payload);
        let expected = vector["decoded"].as_array().unwrap();
        let types: Vec<u64> = expected.iter().map(|tlv| tlv["type"].as_u64().unwrap()).collect();
        assert_eq!(message.tlv_types.iter().map(|each| u64::from(*each)).collect::<Vec<_>>(), types, "{id}");
        let is_complete = types.starts_with(&[1, 2, 3]);
        assert_eq!(message.notes.contains(&lldp::Note::MandatoryMissing), !is_complete, "{id}");
        for tlv in expected {
            match tlv["type"].as_u64().unwrap() {
                0 => {}
                1 => {
                    let chassis = message.chassis_id.as_ref().unwrap();
                    assert!(matches!(chassis, ChassisId::Mac(_)), "{id}");
                    assert_eq!(chassis.to_string(), tlv["id"].as_str().unwrap(), "{id}");
                }
                2 => {
                    let port = message.port_id.as_ref().unwrap();
                    let PortId::Text { subtype, text } = port else { panic!("{id}: {port:?}") };
                    assert_eq!(u64::from(*subtype), tlv["subtype"].as_u64().unwrap(), "{id}");
                    assert_eq!(text, tlv["id"].as_str().unwrap(), "{id}");
                }
                3 => assert_eq!(u64::from(message.time_to_live.unwrap()), tlv["seconds"].as_u64().unwrap()),
                127 => {
                    let [own] = message.organizationally_specific.as_slice() else { panic!("{id}") };
                    let oui: String = own.oui.iter().map(|octet| format!("{octet:02x}")).collect();
                    assert_eq!(oui, tlv["oui"].as_str().unwrap(), "{id}");
                    assert_eq!(u64::from(own.subtype), tlv["subtype"].as_u64().unwrap(), "{id}");
                    assert_eq!(own.octets.len() as u64 + 4, tlv["length"].as_u64().unwrap(), "{id}");
                }
                other => panic!("{id}: {other}"),
            }
        }
    }
}

#[test]
fn a_captured_switch_names_itself_and_its_port() {
    let Some(file) = shared("captures/LLDP_and_CDP.pcap") else { return };
    let mut types = Vec::new();
    for octets in walk(&file) {
        let frame = ethernet(octets);
        if frame.ethertype != Some(lldp::ETHERTYPE) {
            continue;
        }
        let message = lldp::decode(frame.payload);
        assert_eq!(message.notes, []);
        assert_eq!(message.chassis_id, frame.source_mac.map(ChassisId::Mac));
        assert!(message.system_name.is_some() && message.system_description.is_some());
        types.push(message.tlv_types);
    }
    let vectors = vectors();
    let vector = vectors.iter().find(|vector| vector["id"] == "LLDP-mandatory-2").unwrap();
    let expected: Vec<u8> = serde_json::from_value(vector["tlvTypesInFullFrame"].clone()).unwrap();
    assert!(types.len() >= 2);
    assert!(types.iter().all(|each| *each == expected), "{types:?}");
}

/// A TLV's header by IEEE 802.1AB clause 8.4: 7 bits of type, 9 of length.
fn tlv(tlv_type: u8, value: &[u8]) -> Vec<u8> {
    let head = u16::from(tlv_type) << 9 | u16::try_from(value.len()).unwrap();
    [head.to_be_bytes().as_slice(), value].concat()
}

fn crafted_lldp() -> Vec<u8> {
    [
        tlv(1, &[5, 1, 10, 20, 0, 2]),
        tlv(2, &[3, 0x02, 0x00, 0x5e, 0x10, 0x00, 0x02]),
        tlv(3, &[0, 120]),
        tlv(4, b"stage left\0"),
        tlv(5, b"switch-stage"),
        tlv(7, &[0, 4, 0, 4]),
        tlv(8, &[5, 1, 10, 20, 0, 2, 2, 0, 0, 0, 7, 0]),
        tlv(5, b"another"),
        tlv(7, &[0]),
        tlv(0, &[]),
        vec![9; 12],
    ]
    .concat()
}

#[test]
fn what_is_odd_in_lldp_is_noted_and_the_rest_is_read() {
    let octets = crafted_lldp();
    let message = lldp::decode(&octets);
    assert_eq!(message.chassis_id.unwrap().to_string(), "10.20.0.2");
    assert_eq!(message.port_id, Some(PortId::Mac(MacAddress([0x02, 0x00, 0x5e, 0x10, 0x00, 0x02]))));
    assert_eq!(
        (message.port_description.as_deref(), message.system_name.as_deref()),
        (Some("stage left"), Some("switch-stage"))
    );
    assert_eq!(message.system_capabilities, Some((4, 4)));
    let [management] = message.management_addresses.as_slice() else { panic!() };
    assert_eq!((management.address, management.interface_number), ("10.20.0.2".parse().ok(), 7));
    assert_eq!(message.notes, [lldp::Note::Repeated { tlv_type: 5 }, lldp::Note::TooShort { tlv_type: 7 }]);
    let whole = octets.len() - 12 - 2;
    let cuts =
        (0..whole).filter(|length| lldp::decode(&octets[..*length]).notes.contains(&lldp::Note::Cut)).count();
    // Only the ten ends of TLVs, the start among them, are no cuts.
    assert_eq!(cuts, whole - 9);
}

#[test]
fn arp_tells_who_has_which_address() {
    let vectors = vectors();
    let octets = frame_octets(vectors.iter().find(|vector| vector["id"] == "VLAN-QinQ-1").unwrap());
    let frame = ethernet(&octets);
    assert_eq!(frame.ethertype, Some(arp::ETHERTYPE));
    let packet = arp::decode(frame.payload).unwrap();
    assert_eq!((packet.operation, packet.sender_mac), (1, frame.source_mac.unwrap()));
    // ac154f61 and ac154f64 of the frame.
    assert_eq!(
        (packet.sender_address, packet.target_address),
        (Ipv4Addr::new(172, 21, 79, 97), Ipv4Addr::new(172, 21, 79, 100))
    );
    assert_eq!(packet.claim().unwrap().mac, packet.sender_mac);
    for length in 0..28 {
        assert!(arp::decode(&frame.payload[..length]).is_err());
    }
    for at in [1, 2, 4, 5] {
        let mut other = frame.payload.to_vec();
        other[at] ^= 0x40;
        assert!(arp::decode(&other).is_err(), "{at}");
    }
    let mut probe = frame.payload.to_vec();
    probe[14..18].fill(0);
    assert_eq!(arp::decode(&probe).unwrap().claim(), None);
}

/// RFC 4861 sections 4.3, 4.4 and 4.6.1.
fn neighbour_octets(message_type: u8, option: u8) -> Vec<u8> {
    let target: Ipv6Addr = "fe80::21".parse().unwrap();
    let mut octets = vec![message_type, 0, 0, 0, 0x60, 0, 0, 0];
    octets.extend(target.octets());
    octets.extend([14, 1, 1, 2, 3, 4, 5, 6, option, 1]);
    octets.extend(BOX_MAC.0);
    octets
}

#[test]
fn neighbour_discovery_tells_who_has_which_address() {
    let (target, source): (Ipv6Addr, Ipv6Addr) = ("fe80::21".parse().unwrap(), "fe80::99".parse().unwrap());
    for (message_type, option, address) in [(136, 2, target), (135, 1, source)] {
        let octets = neighbour_octets(message_type, option);
        let neighbour = arp::neighbour(&octets).unwrap().unwrap();
        let claim = neighbour.claim(source).unwrap();
        assert_eq!((claim.address, claim.mac), (IpAddr::V6(address), BOX_MAC));
        for length in 0..octets.len() {
            let cut = arp::neighbour(&octets[..length]);
            assert_eq!(cut.is_ok(), length >= 24, "{length}");
            assert!(cut.ok().flatten().is_none_or(|cut| cut.link_layer_address.is_none()));
        }
    }
    assert_eq!(arp::neighbour(&neighbour_octets(136, 1)).unwrap().unwrap().link_layer_address, None);
    assert_eq!(
        arp::neighbour(&neighbour_octets(135, 1)).unwrap().unwrap().claim(Ipv6Addr::UNSPECIFIED),
        None
    );
    assert_eq!(arp::neighbour(&[130, 0]), Ok(None));
    let mut endless = neighbour_octets(136, 2);
    endless[25] = 0;
    assert_eq!(arp::neighbour(&endless).unwrap().unwrap().link_layer_address, None);
}

/// RFC 2131 section 2 and RFC 2132: fixed part of 236 octets, cookie, options.
fn dhcp_octets(message_type: u8, your: Ipv4Addr) -> Vec<u8> {
    let mut octets = vec![1, 1, 6, 0, 0xca, 0xfe, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0];
    octets.extend(your.octets());
    octets.extend([0; 8]);
    octets.extend(BOX_MAC.0);
    octets.resize(236, 0);
    octets.extend([99, 130, 83, 99, 53, 1, message_type, 0, 12, 9]);
    octets.extend(b"stage-box");
    octets.extend([
        61, 7, 1, 2, 0, 0x5e, 0x10, 0, 0x21, 50, 4, 10, 20, 0, 21, 54, 4, 10, 20, 0, 1, 55, 2, 1, 3, 255, 0,
        0,
    ]);
    octets
}

#[test]
fn dhcp_tells_names_and_addresses() {
    let octets = dhcp_octets(5, BOX_ADDRESS);
    let message = dhcp::decode(&octets).unwrap();
    assert_eq!((message.client_mac, message.host_name.as_deref()), (Some(BOX_MAC), Some("stage-box")));
    assert_eq!(
        (message.message_type, message.assigned_address()),
        (Some(MessageType::Ack), Some(BOX_ADDRESS))
    );
    assert_eq!(message.requested_address, Some(BOX_ADDRESS));
    assert_eq!((message.server_identifier, message.xid), (Some(Ipv4Addr::new(10, 20, 0, 1)), 0xcafe_0001));
    assert_eq!(message.client_identifier.as_deref(), Some(&[1, 2, 0, 0x5e, 0x10, 0, 0x21][..]));
    assert!(message.options_end);
    assert_eq!(dhcp::decode(&dhcp_octets(2, BOX_ADDRESS)).unwrap().assigned_address(), None);
    for length in 0..octets.len() {
        let cut = dhcp::decode(&octets[..length]);
        assert_eq!(cut.is_ok(), length >= 240, "{length}");
        assert!(cut.is_err() || cut.unwrap().options_end == (length >= octets.len() - 2));
    }
    let mut other = octets;
    other[236] = 0;
    assert!(dhcp::decode(&other).is_err());
}

/// A DNS name without compression (RFC 1035 section 3.1).
fn name(labels: &[&str]) -> Vec<u8> {
    let mut octets = Vec::new();
    for label in labels {
        octets.push(u8::try_from(label.len()).unwrap());
        octets.extend(label.bytes());
    }
    octets.push(0);
    octets
}

fn record(owner: &[u8], record_type: u16, class: u16, data: &[u8]) -> Vec<u8> {
    let mut octets = owner.to_vec();
    octets.extend(record_type.to_be_bytes());
    octets.extend(class.to_be_bytes());
    octets.extend(120_u32.to_be_bytes());
    octets.extend(u16::try_from(data.len()).unwrap().to_be_bytes());
    octets.extend(data);
    octets
}

/// A response that announces a service (RFC 6763 section 4 and 6), class IN with the cache-flush bit of RFC 6762
/// section 10.2 where records are unique.
fn mdns_octets() -> Vec<u8> {
    let service = name(&["_rtsp", "_tcp", "local"]);
    let instance = name(&["Stage box", "_rtsp", "_tcp", "local"]);
    let host = name(&["stage-box", "local"]);
    let target = [&[0, 0, 0, 0, 0x02, 0x2a][..], &host].concat();
    let address6: Ipv6Addr = "fe80::21".parse().unwrap();
    [
        vec![0, 0, 0x84, 0, 0, 0, 0, 2, 0, 0, 0, 3],
        record(&service, 12, 1, &instance),
        record(&instance, 33, 0x8001, &target),
        record(&instance, 16, 0x8001, b"\x07path=/1\x04flag"),
        record(&host, 1, 0x8001, &BOX_ADDRESS.octets()),
        record(&host, 28, 0x8001, &address6.octets()),
    ]
    .concat()
}

#[test]
fn multicast_dns_tells_names_addresses_and_services() {
    let octets = mdns_octets();
    let message = dns::decode(&octets).unwrap();
    assert!(message.is_response && !message.is_cut);
    let found: Vec<(&str, &RecordData)> =
        message.records.iter().map(|record| (record.name.as_str(), &record.data)).collect();
    let instance = "Stage box._rtsp._tcp.local";
    let expected = [
        ("_rtsp._tcp.local", RecordData::Pointer(instance.to_owned())),
        (instance, RecordData::Service { port: 554, target: "stage-box.local".to_owned() }),
        (instance, RecordData::Text(vec!["path=/1".to_owned(), "flag".to_owned()])),
        ("stage-box.local", RecordData::Address(IpAddr::V4(BOX_ADDRESS))),
        ("stage-box.local", RecordData::Address("fe80::21".parse().unwrap())),
    ];
    assert_eq!(found, expected.iter().map(|(name, data)| (*name, data)).collect::<Vec<_>>());
    assert!(message.records.iter().all(|record| record.time_to_live == 120));
    for length in 0..octets.len() {
        assert!(dns::decode(&octets[..length]).is_err(), "{length}");
    }
}

#[test]
fn a_question_is_read_and_an_absurd_count_is_refused() {
    let question =
        [vec![0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0], name(&["stage-box", "local"]), vec![0, 1, 0x80, 1]]
            .concat();
    let message = dns::decode(&question).unwrap();
    assert_eq!(
        (message.is_response, message.questions.as_slice()),
        (false, &["stage-box.local".to_owned()][..])
    );
    let mut absurd = question;
    absurd[4..12].fill(0xFF);
    assert!(dns::decode(&absurd).unwrap_err().to_string().contains("262140"));
}

/// A name that points at itself, and two that point at one another (RFC 1035 section 4.1.4).
#[test]
fn names_that_point_in_circles_are_refused() {
    for circle in [&[0xC0, 12][..], &[0xC0, 14, 0xC0, 12], &[1, b'a', 0xC0, 12]] {
        let octets = [&[0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0][..], circle, &[0, 1, 0, 1]].concat();
        assert!(dns::decode(&octets).is_err(), "{circle:?}");
    }
}

/// IEEE 1722 clause 4.4, from memory: subtype AAF, sv and tv set, sequence 7, tu set.
const AVTP: &str = "028107010200 5e10 0021 0003 11223344 02 05 08 20 00c0 0000";

#[test]
fn avtp_tells_the_stream() {
    let octets = from_hex(&AVTP.replace(' ', ""));
    let header = avtp::decode(&octets).unwrap();
    assert_eq!((avtp::subtype_name(header.subtype), header.version), (Some("AAF"), 0));
    assert_eq!(header.stream_id, Some(0x0200_5e10_0021_0003));
    let stream = header.stream.unwrap();
    assert_eq!(
        (stream.sequence_num, stream.timestamp_uncertain, stream.media_clock_restart),
        (7, true, false)
    );
    assert_eq!((stream.avtp_timestamp, stream.stream_data_length), (Some(0x1122_3344), 192));
    for length in 0..22 {
        assert!(avtp::decode(&octets[..length]).is_err(), "{length}");
    }
    let mut other = octets;
    other[1] = 0;
    let header = avtp::decode(&other).unwrap();
    assert_eq!((header.stream_id, header.stream.unwrap().avtp_timestamp), (None, None));
    other[0] = 0xFA;
    assert_eq!(avtp::decode(&other[..12]).unwrap().stream, None);
}

fn every_decoder(octets: &[u8]) {
    let message = lldp::decode(octets);
    assert!(message.tlv_types.len() <= octets.len() / 2);
    let _ = arp::decode(octets).map(|packet| packet.claim());
    let _ = arp::neighbour(octets).map(|neighbour| neighbour.map(|each| each.claim(Ipv6Addr::LOCALHOST)));
    assert!(dhcp::decode(octets).is_err() || octets.len() >= 240);
    if let Ok(message) = dns::decode(octets) {
        assert!(message.records.len() <= dns::MOST_RECORDS);
    }
    assert!(avtp::decode(octets).is_err() || octets.len() >= 12);
}

#[test]
fn cuts_changes_and_noise_are_borne() {
    for octets in [
        crafted_lldp(),
        neighbour_octets(136, 2),
        dhcp_octets(5, BOX_ADDRESS),
        mdns_octets(),
        from_hex(&AVTP.replace(' ', "")),
    ] {
        bears_cuts_and_changes(&octets, every_decoder);
    }
    for vector in vectors() {
        bears_cuts_and_changes(ethernet(&frame_octets(&vector)).payload, every_decoder);
    }
    let options = &dhcp_octets(5, BOX_ADDRESS)[..240];
    let records = [0, 0, 0x84, 0, 0, 1, 0, 1, 0, 0, 0, 1];
    bears_noise(&[&[], options, &records, &[135, 0, 0, 0], &[2]], every_decoder);
}

proptest! {
    #[test]
    fn any_octets_are_borne(octets in prop::collection::vec(any::<u8>(), 0..300)) {
        every_decoder(&octets);
    }

    #[test]
    fn any_dns_records_are_borne(
        counts in prop::collection::vec(0_u8..4, 4),
        body in prop::collection::vec(prop_oneof![Just(0_u8), Just(0xC0), Just(12), 0_u8..64, any::<u8>()], 0..200),
    ) {
        let mut octets = vec![0, 0, 0x84, 0];
        octets.extend(counts.iter().flat_map(|count| [0, *count]));
        octets.extend(body);
        every_decoder(&octets);
    }
}
