//! IGMP and MLD messages against worked-out values and captures, and what the decoders must bear.

use std::net::IpAddr;
use std::net::Ipv6Addr;

use downbeat::igmp;
use downbeat::igmp::Body;
use downbeat::mld;
use downbeat::mld::Envelope;
use proptest::prelude::*;
use serde_json::Value;
use serde_json::json;

use crate::frames::ethernet;
use crate::support::reference::shared;
use crate::support::reference::walk;
use crate::support::survival::bears_cuts_and_changes;
use crate::support::survival::bears_noise;
use crate::support::vectors::from_hex;

const VECTORS: &str = include_str!("../data/check-values/igmp.json");

fn vectors() -> Vec<Value> {
    let document: Value = serde_json::from_str(VECTORS).unwrap();
    let vectors = document["vectors"].as_array().unwrap().clone();
    assert_eq!(vectors.len(), 11);
    vectors
}

fn seconds(nanos: downbeat::units::Nanos) -> f64 {
    nanos.0 as f64 / 1e9
}

/// A message in the vectors' spelling.
fn spelled(message: &igmp::Message) -> Value {
    let mut found = match &message.body {
        Body::Query(query) => {
            let group = query.group.map_or("0.0.0.0".to_owned(), |group| group.to_string());
            let mut found = json!({
                "type": "0x11", "kind": "Query", "version": query.version, "group": group,
                "maxRespCode": query.max_resp_code, "maxRespTime_s": seconds(query.max_response_time()),
            });
            if let Some(v3) = &query.v3 {
                found["S"] = json!(v3.suppress_router_processing);
                found["QRV"] = json!(v3.qrv);
                found["QQIC"] = json!(v3.qqic);
                found["QQI_s"] = json!(query.query_interval().unwrap().0 / 1_000_000_000);
                found["numberOfSources"] = json!(v3.sources.len());
            }
            found
        }
        Body::ReportV1 { group } => json!({ "type": "0x12", "kind": "Report", "version": 1, "group": group }),
        Body::ReportV2 { group } => json!({ "type": "0x16", "kind": "Report", "version": 2, "group": group }),
        Body::Leave { group } => json!({ "type": "0x17", "kind": "Leave", "version": 2, "group": group }),
        Body::ReportV3 { records } => {
            let records: Vec<Value> = records
                .iter()
                .map(|record| {
                    json!({
                        "name": record.record_type.name(), "sources": record.sources.len(),
                        "group": record.group, "wants": record.wants(),
                    })
                })
                .collect();
            json!({ "type": "0x22", "records": records })
        }
        Body::Other { message_type } => json!({ "type": format!("0x{message_type:02x}") }),
    };
    found["checksumValid"] = json!(!message.notes.contains(&igmp::Note::ChecksumWrong));
    found
}

#[test]
fn captured_messages_have_the_fields_that_were_worked_out() {
    let vectors = vectors();
    let frames: Vec<&Value> = vectors.iter().filter(|vector| vector.get("frame_hex").is_some()).collect();
    assert_eq!(frames.len(), 9);
    for vector in frames {
        let id = &vector["id"];
        let octets = from_hex(vector["frame_hex"].as_str().unwrap());
        let frame = ethernet(&octets);
        let network = frame.network.unwrap();
        let expected = vector["decoded"].as_object().unwrap();
        assert_eq!(network.source.to_string(), expected["ipSrc"].as_str().unwrap(), "{id}");
        assert_eq!(
            (network.protocol, u64::from(network.ttl)),
            (2, expected["ttl"].as_u64().unwrap()),
            "{id}"
        );
        assert_eq!(frame.payload.len() as u64, expected["igmpOctets"].as_u64().unwrap(), "{id}");
        let message = igmp::decode(frame.payload, true).unwrap();
        assert_eq!(message.notes, [], "{id}");
        let found = spelled(&message);
        let own = [
            "ipSrc",
            "ipDst",
            "ttl",
            "tos",
            "ihl",
            "routerAlert",
            "igmpOctets",
            "linkPadOctets",
            "maxRespByte",
        ];
        let mut compared = 0;
        for (key, value) in expected.iter().filter(|(key, _)| !own.contains(&key.as_str())) {
            assert_eq!(found.get(key), Some(value), "{id} {key}");
            compared += 1;
        }
        assert!(compared >= 5, "{id}");
        for length in 0..frame.payload.len() {
            if length != 8 {
                assert!(igmp::decode(&frame.payload[..length], true).is_err(), "{id} {length}");
            }
            assert_eq!(
                igmp::decode(&frame.payload[..length], false).is_ok(),
                length >= 8 && found["kind"] != "Query"
            );
        }
    }
}

#[test]
fn a_version_3_report_joins_and_leaves() {
    let vectors = vectors();
    let vector = vectors.iter().find(|vector| vector["id"] == "IGMP-v3-report-synthetic").unwrap();
    let octets = from_hex(vector["igmp_hex"].as_str().unwrap());
    let found = spelled(&igmp::decode(&octets, true).unwrap());
    let expected = &vector["decoded"];
    assert_eq!((&found["type"], &found["checksumValid"]), (&expected["type"], &expected["checksumValid"]));
    let expected = expected["records"].as_array().unwrap();
    assert_eq!(expected.len(), 2);
    for (found, expected) in found["records"].as_array().unwrap().iter().zip(expected) {
        for key in ["name", "sources", "group"] {
            assert_eq!(found[key], expected[key]);
        }
        assert_eq!(found["wants"], json!(expected["meaning"] != "leave"));
    }
    for length in 0..octets.len() {
        assert!(igmp::decode(&octets[..length], true).is_err(), "{length}");
    }
}

#[test]
fn float_codes_have_the_values_that_were_worked_out() {
    let vectors = vectors();
    let vector = vectors.iter().find(|vector| vector["id"] == "IGMP-v3-float-codes").unwrap();
    let rows = vector["values"].as_array().unwrap();
    assert_eq!(rows.len(), 9);
    for row in rows {
        let code = u8::try_from(row["code"].as_u64().unwrap()).unwrap();
        assert_eq!(u64::from(igmp::float_code(code)), row["value"].as_u64().unwrap());
        assert_eq!(mld::interval_code(code), igmp::float_code(code));
    }
    // RFC 3810 section 5.1.3 by hand: 0x8000 = 4096 << 3; 0xFFFF = 8191 << 10.
    assert_eq!([0x7FFF, 0x8000, 0xFFFF].map(mld::response_code), [32_767, 32_768, 8_387_584]);
}

/// Every record of both captures; what is in them is in the reference's description of them: 6 queries of
/// version 3, and 18 messages of version 2.
#[test]
fn whole_captures_are_read() {
    for (name, count, version) in [("IGMP_V2.pcap", 18, 2), ("igmpv3-queries.pcap", 6, 3)] {
        let Some(file) = shared(&format!("captures/{name}")) else { return };
        let records = walk(&file);
        assert_eq!(records.len(), count, "{name}");
        for octets in records {
            let frame = ethernet(octets);
            let message = igmp::decode(frame.payload, true).unwrap();
            assert_eq!(message.notes, [], "{name}");
            match message.body {
                Body::Query(query) => assert_eq!(query.version, version, "{name}"),
                Body::ReportV2 { group } => {
                    assert_eq!(version, 2);
                    assert_eq!(frame.network.unwrap().destination, IpAddr::V4(group));
                }
                Body::Leave { .. } => assert_eq!(version, 2),
                other => panic!("{name}: {other:?}"),
            }
        }
    }
}

/// RFC 2236 section 2.3, RFC 3376 section 7.1.
#[test]
fn a_wrong_checksum_a_suffix_and_an_unknown_record_are_noted() {
    let mut octets = from_hex("1164ee9b00000000");
    octets[3] ^= 1;
    let message = igmp::decode(&octets, true).unwrap();
    assert_eq!(message.notes, [igmp::Note::ChecksumWrong]);
    assert_eq!(
        igmp::decode(&from_hex("1600fa04effffffa0000"), true).unwrap().notes,
        [igmp::Note::Suffix { octets: 2 }]
    );
    let unknown = igmp::decode(&from_hex("220000000000000109000000ef450101"), false);
    assert_eq!(unknown.unwrap().notes, [igmp::Note::UnknownRecordType { value: 9 }]);
    let version_1 = igmp::decode(&from_hex("1100eeff00000000"), true).unwrap();
    let Body::Query(query) = version_1.body else { panic!() };
    assert_eq!((query.version, query.max_response_time().0), (1, 10_000_000_000));
}

const QUERIER: &str = "fe80::200:5eff:fe10:1";
const ALL_NODES: &str = "ff02::1";

/// ICMPv6 octets with the checksum of RFC 8200 section 8.1, summed here word by word.
fn mld_octets(source: &str, destination: &str, hex: &str) -> (Vec<u8>, Envelope) {
    let mut octets = from_hex(hex);
    let (source, destination): (Ipv6Addr, Ipv6Addr) = (source.parse().unwrap(), destination.parse().unwrap());
    let mut words: Vec<u32> = Vec::new();
    words.extend(source.segments().iter().chain(&destination.segments()).map(|word| u32::from(*word)));
    words.extend([octets.len() as u32, 58]);
    words.extend(octets.chunks(2).map(|pair| u32::from(u16::from_be_bytes([pair[0], pair[1]]))));
    let mut sum: u32 = words.iter().sum();
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    octets[2..4].copy_from_slice(&(!(sum as u16)).to_be_bytes());
    (octets, Envelope { source, destination })
}

fn mld_vectors() -> Vec<(Vec<u8>, Envelope)> {
    let group = "ff1e0000000000000000000000200101";
    vec![
        // Version 1 query, 10000 ms, general; report; done.
        mld_octets(QUERIER, ALL_NODES, &format!("8200000027100000{:032}", 0)),
        mld_octets("fe80::11", "ff1e::20:101", &format!("8300000000000000{group}")),
        mld_octets("fe80::11", "ff02::2", &format!("8400000000000000{group}")),
        // Version 2 query for the group, QRV 2, QQIC 125, one source.
        mld_octets(
            QUERIER,
            "ff1e::20:101",
            &format!("8200000003e80000{group}0a7d0001fd000000000000000000000000000011"),
        ),
        // Version 2 report: to exclude mode without sources; to include mode without.
        mld_octets("fe80::11", "ff02::16", &format!("8f0000000000000204000000{group}03000000{group}")),
    ]
}

#[test]
fn mld_messages_are_read() {
    let group: Ipv6Addr = "ff1e::20:101".parse().unwrap();
    let messages: Vec<mld::Message> = mld_vectors()
        .iter()
        .map(|(octets, envelope)| mld::decode(octets, Some(*envelope)).unwrap().unwrap())
        .collect();
    assert!(messages.iter().all(|message| message.notes.is_empty()));
    let mld::Body::Query(query) = &messages[0].body else { panic!() };
    assert_eq!((query.version, query.group, query.max_response_time().0), (1, None, 10_000_000_000));
    assert_eq!(messages[1].body, mld::Body::ReportV1 { group });
    assert_eq!(messages[2].body, mld::Body::Done { group });
    let mld::Body::Query(query) = &messages[3].body else { panic!() };
    assert_eq!((query.version, query.group), (2, Some(group)));
    assert_eq!(query.query_interval().unwrap().0, 125_000_000_000);
    let v2 = query.v2.as_ref().unwrap();
    assert_eq!((v2.suppress_router_processing, v2.qrv), (true, 2));
    assert_eq!(v2.sources, ["fd00::11".parse::<Ipv6Addr>().unwrap()]);
    let mld::Body::ReportV2 { records } = &messages[4].body else { panic!() };
    assert_eq!(records.iter().map(mld::AddressRecord::wants).collect::<Vec<_>>(), [Some(true), Some(false)]);
    assert!(records.iter().all(|record| record.group == group));
}

#[test]
fn mld_cuts_are_refused_and_other_icmp_is_passed_over() {
    for (octets, envelope) in mld_vectors() {
        for length in 0..octets.len() {
            let is_first_version = length == 24 && octets[0] == 130;
            assert_eq!(mld::decode(&octets[..length], Some(envelope)).is_ok(), is_first_version, "{length}");
            assert!(mld::decode(&octets[..length], None).is_err());
        }
        let other = Envelope { source: envelope.destination, destination: envelope.source };
        assert_eq!(mld::decode(&octets, Some(other)).unwrap().unwrap().notes, []);
        let wrong = Envelope { source: Ipv6Addr::LOCALHOST, ..envelope };
        assert_eq!(mld::decode(&octets, Some(wrong)).unwrap().unwrap().notes, [mld::Note::ChecksumWrong]);
    }
    assert_eq!(mld::decode(&[135, 0, 0, 0], None), Ok(None));
}

fn every_decoder(octets: &[u8]) {
    let envelope = Envelope { source: Ipv6Addr::LOCALHOST, destination: Ipv6Addr::LOCALHOST };
    for whole in [true, false] {
        if let Ok(message) = igmp::decode(octets, whole)
            && let Body::ReportV3 { records } = message.body
        {
            assert!(records.len() * 8 <= octets.len());
        }
        if let Ok(Some(message)) = mld::decode(octets, whole.then_some(envelope))
            && let mld::Body::ReportV2 { records } = message.body
        {
            assert!(records.len() * 20 <= octets.len());
        }
    }
}

#[test]
fn cuts_changes_and_noise_are_borne() {
    for vector in vectors() {
        for key in ["frame_hex", "igmp_hex"] {
            if let Some(hex) = vector[key].as_str() {
                let octets = from_hex(hex);
                let payload = if key == "frame_hex" { ethernet(&octets).payload } else { octets.as_slice() };
                bears_cuts_and_changes(payload, every_decoder);
            }
        }
    }
    for (octets, _) in mld_vectors() {
        bears_cuts_and_changes(&octets, every_decoder);
    }
    bears_noise(&[&[], &[0x11], &[0x22, 0, 0, 0, 0, 0], &[130], &[143, 0, 0, 0, 0, 0]], every_decoder);
}

proptest! {
    #[test]
    fn any_octets_are_borne(
        kind in prop_oneof![Just(0x11_u8), Just(0x22), Just(130), Just(143), any::<u8>()],
        rest in prop::collection::vec(any::<u8>(), 0..120),
    ) {
        let octets: Vec<u8> = std::iter::once(kind).chain(rest).collect();
        every_decoder(&octets);
    }
}
