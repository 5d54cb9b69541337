//! IEEE 1588-2002 messages against check values: every key a vector decodes is compared, and the five
//! tests that every decoder has.
//!
//! The vectors are synthetic: packed from the layout table, each field re-read at the octet offsets that
//! an open-source IEEE 1588-2002 implementation uses.

use downbeat::bytes::DecodeError;
use downbeat::ptp::Message;
use downbeat::ptp::Note;
use downbeat::ptp::decode;
use downbeat::ptp::v1;
use downbeat::ptp::v1::Body;
use downbeat::units::Timestamp;
use proptest::prelude::*;
use serde_json::Value;
use serde_json::json;

const VECTORS: &str = include_str!("../data/check-values/ptp-v1-synthetic.json");

struct Vector {
    id: String,
    octets: Vec<u8>,
    decoded: Value,
}

fn vectors() -> Vec<Vector> {
    let file: Value = serde_json::from_str(VECTORS).unwrap();
    let list = file["vectors"].as_array().unwrap();
    list.iter()
        .map(|vector| Vector {
            id: vector["id"].as_str().unwrap().to_owned(),
            octets: unhex(vector["ptp_hex"].as_str().unwrap()),
            decoded: vector["decoded"].clone(),
        })
        .collect()
}

pub(crate) fn octets_of(id: &str) -> Vec<u8> {
    vectors().into_iter().find(|vector| vector.id == id).unwrap().octets
}

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
}

fn hex(octets: &[u8]) -> String {
    octets.iter().map(|octet| format!("{octet:02x}")).collect()
}

pub(crate) fn v1(octets: &[u8]) -> v1::Message {
    match decode(octets) {
        Ok(Message::V1(message)) => message,
        other => panic!("not a v1 message: {other:?}"),
    }
}

/// A message in the vectors' spelling.
fn spelled(message: &v1::Message, octets: &[u8]) -> Value {
    json!({ "header": spelled_header(&message.header, &message.notes), "body": spelled_body(&message.body, octets) })
}

fn spelled_header(header: &v1::Header, notes: &[Note]) -> Value {
    // The decoder takes 1 and notes every other value.
    let version_ptp = notes
        .iter()
        .find_map(|note| match note {
            Note::ReservedValue { field: "versionPTP", value } => Some(*value),
            _ => None,
        })
        .unwrap_or(1);
    let names: Vec<&str> = header
        .flags()
        .names()
        .map(|name| match name {
            "leap61" => "PTP_LI_61",
            "leap59" => "PTP_LI_59",
            "boundary_clock" => "PTP_BOUNDARY_CLOCK",
            "assist" => "PTP_ASSIST",
            "ext_sync" => "PTP_EXT_SYNC",
            "parent_stats" => "PARENT_STATS",
            "sync_burst" => "PTP_SYNC_BURST",
            other => panic!("flag {other}"),
        })
        .collect();
    json!({
        "versionPTP": version_ptp,
        "versionNetwork": header.version_network,
        "subdomain": v1::subdomain_text(&header.subdomain),
        "messageType": header.message_type,
        "sourceCommunicationTechnology": header.source_communication_technology,
        "sourceUuid": header.source.uuid.to_string(),
        "sourcePortId": header.source.port_id,
        "sequenceId": header.sequence_id,
        "control": header.control,
        "flags_hex": format!("{:04x}", header.flags),
        "flags": names,
    })
}

fn spelled_time(time: Option<Timestamp>) -> Value {
    time.map_or(Value::Null, |time| json!({ "seconds": time.seconds, "nanoseconds": time.nanoseconds }))
}

fn spelled_body(body: &Body, octets: &[u8]) -> Value {
    match body {
        Body::Sync(body) | Body::DelayReq(body) => json!({
            "originTimestamp": spelled_time(body.origin_timestamp),
            "epochNumber": body.epoch_number,
            "currentUTCOffset": body.current_utc_offset,
            "grandmasterCommunicationTechnology": body.grandmaster_communication_technology,
            "grandmasterClockUuid": body.grandmaster.uuid.to_string(),
            "grandmasterPortId": body.grandmaster.port_id,
            "grandmasterSequenceId": body.grandmaster_sequence_id,
            "grandmasterClockStratum": body.grandmaster_clock_stratum,
            "grandmasterClockIdentifier": v1::clock_identifier_text(&body.grandmaster_clock_identifier),
            "grandmasterClockVariance": body.grandmaster_clock_variance,
            "grandmasterPreferred": u8::from(body.grandmaster_preferred),
            "grandmasterIsBoundaryClock": u8::from(body.grandmaster_is_boundary_clock),
            "syncInterval": body.sync_interval.0,
            "localClockVariance": body.local_clock_variance,
            "localStepsRemoved": body.local_steps_removed,
            "localClockStratum": body.local_clock_stratum,
            "localClockIdentifier": v1::clock_identifier_text(&body.local_clock_identifier),
            "parentCommunicationTechnology": body.parent_communication_technology,
            "parentUuid": body.parent.uuid.to_string(),
            "parentPortField": body.parent.port_id,
            "estimatedMasterVariance": body.estimated_master_variance,
            "estimatedMasterDrift": body.estimated_master_drift,
            "utcReasonable": u8::from(body.utc_reasonable),
        }),
        Body::FollowUp(body) => json!({
            "associatedSequenceId": body.associated_sequence_id,
            "preciseOriginTimestamp": spelled_time(body.precise_origin_timestamp),
        }),
        Body::DelayResp(body) => json!({
            "delayReceiptTimestamp": spelled_time(body.delay_receipt_timestamp),
            "requestingSourceCommunicationTechnology": body.requesting_source_communication_technology,
            "requestingSourceUuid": body.requesting_source.uuid.to_string(),
            "requestingSourcePortId": body.requesting_source.port_id,
            "requestingSourceSequenceId": body.requesting_source_sequence_id,
        }),
        Body::Management(body) => json!({
            "targetCommunicationTechnology": body.target_communication_technology,
            "targetUuid": body.target.uuid.to_string(),
            "targetPortId": body.target.port_id,
            "startingBoundaryHops": body.starting_boundary_hops,
            "boundaryHops": body.boundary_hops,
            "managementMessageKey": body.management_message_key,
            "parameterLength": body.parameter_length,
            "parameters_hex": hex(&octets[60..60 + usize::from(body.parameter_length)]),
        }),
        Body::Reserved => Value::Null,
    }
}

#[test]
fn every_vector_decodes_to_every_value_it_lists() {
    let vectors = vectors();
    assert_eq!(vectors.len(), 8);
    let mut compared = 0;
    for vector in &vectors {
        let message = v1(&vector.octets);
        assert_eq!(message.notes, [], "{}", vector.id);
        assert_eq!(message.suffix_octets, 0, "{}", vector.id);
        let ours = spelled(&message, &vector.octets);
        for part in ["header", "body"] {
            for (key, theirs) in vector.decoded[part].as_object().unwrap() {
                let Some(ours) = ours[part].get(key) else {
                    panic!("{}: {part}.{key} is not known", vector.id)
                };
                assert_eq!(ours, theirs, "{}: {part}.{key}", vector.id);
                compared += 1;
            }
        }
        assert_eq!(vector.decoded.as_object().unwrap().len(), 2, "{}", vector.id);
    }
    // 8 headers of 11 keys, 5 Sync or Delay_Req of 23, Follow_Up of 2, Delay_Resp of 5, Management of 8.
    assert_eq!(compared, 8 * 11 + 5 * 23 + 2 + 5 + 8);
}

#[test]
fn every_shorter_length_says_where_the_message_ends() {
    for vector in vectors() {
        // The first two octets decide the version; below them the version is what is missing.
        for len in 0..vector.octets.len() {
            let error = decode(&vector.octets[..len]).unwrap_err();
            let DecodeError::Short { offset, needed, available, .. } = error else { panic!("{error:?}") };
            assert_eq!(offset + available, len, "{} cut at {len}", vector.id);
            assert!(needed > available, "{} cut at {len}", vector.id);
        }
    }
}

#[test]
fn octets_after_the_message_are_counted_and_change_nothing() {
    for vector in vectors() {
        let alone = v1(&vector.octets);
        let mut longer = vector.octets.clone();
        longer.extend([0xA5; 18]);
        let mut padded = v1(&longer);
        assert_eq!(padded.suffix_octets, 18, "{}", vector.id);
        padded.suffix_octets = 0;
        assert_eq!(padded, alone, "{}", vector.id);
    }
}

#[test]
fn reserved_octets_set_change_nothing() {
    let header: &[usize] = &[33, 36, 37, 38, 39];
    let sync: &[usize] = &[
        52, 64, 65, 66, 72, 73, 76, 78, 80, 81, 82, 84, 85, 88, 89, 92, 93, 94, 100, 108, 109, 112, 113, 120,
        121, 122,
    ];
    let rows: [(&str, &[usize]); 5] = [
        ("S1-sync-gm", sync),
        ("S1-delayreq-follower", sync),
        ("S1-followup", &[40, 41]),
        ("S1-delayresp", &[48]),
        ("S1-mgmt-get-parent", &[40, 54, 56, 57]),
    ];
    for (id, body) in rows {
        let octets = octets_of(id);
        let mut noisy = octets.clone();
        for at in header.iter().chain(body) {
            noisy[*at] = 0xFF;
        }
        assert_eq!(v1(&noisy), v1(&octets), "{id}");
    }
}

#[test]
fn a_bad_value_is_reported_and_kept() {
    let mut octets = octets_of("S1-followup");
    octets[48..52].copy_from_slice(&1_000_000_000_u32.to_be_bytes());
    let message = v1(&octets);
    assert_eq!(message.notes, [Note::NanosecondsOutOfRange { field: "preciseOriginTimestamp" }]);
    let Body::FollowUp(body) = message.body else { panic!() };
    assert_eq!(body.precise_origin_timestamp.unwrap().nanoseconds, 1_000_000_000);

    let mut octets = octets_of("S1-sync-gm");
    octets[44] |= 0x80;
    let message = v1(&octets);
    assert_eq!(message.notes, [Note::NegativeTime { field: "originTimestamp" }]);
    let Body::Sync(body) = message.body else { panic!() };
    assert_eq!(body.origin_timestamp, None);
    assert_eq!(body.grandmaster_sequence_id, 4660);

    let mut octets = octets_of("S1-delayresp");
    octets[0] = 3;
    assert_eq!(v1(&octets).notes, [Note::ReservedValue { field: "versionPTP", value: 0x0301 }]);
}

#[test]
fn control_decides_the_type_and_the_class_must_fit_it() {
    for vector in vectors() {
        let mut octets = vector.octets.clone();
        octets[20] = 3 - octets[20];
        assert_eq!(v1(&octets).notes, [Note::ClassMismatch], "{}", vector.id);
    }
    let mut octets = octets_of("S1-sync-gm");
    octets[32] = 1;
    assert!(matches!(v1(&octets).body, Body::DelayReq(_)));
}

#[test]
fn a_reserved_control_is_counted_and_nothing_of_its_body_is_read() {
    for control in 5..=255_u8 {
        let mut octets = octets_of("S1-followup");
        octets.truncate(40);
        octets[32] = control;
        let message = v1(&octets);
        assert_eq!(message.body, Body::Reserved);
        assert_eq!(message.notes, [Note::ReservedValue { field: "control", value: u64::from(control) }]);
    }
}

proptest! {
    #[test]
    fn random_octets_never_panic(mut octets in proptest::collection::vec(any::<u8>(), 0..200), control in 0..8_u8) {
        let _ = decode(&octets);
        // Again as something that passes for a v1 message, so that the bodies are reached.
        if let Some(version) = octets.get_mut(1) {
            *version = 1;
        }
        if let Some(octet) = octets.get_mut(32) {
            *octet = control;
        }
        if let Ok(message) = decode(&octets) {
            let Message::V1(message) = message else { panic!("version 1 decoded as another") };
            prop_assert!(message.suffix_octets <= octets.len() - 40);
        }
    }

    #[test]
    fn mutated_vectors_never_panic(
        pick in 0..8_usize,
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in any::<prop::sample::Index>(),
    ) {
        let mut octets = vectors()[pick].octets.clone();
        for (at, value) in changes {
            let at = at.index(octets.len());
            octets[at] = value;
        }
        let _ = decode(&octets);
        let _ = decode(&octets[..cut.index(octets.len())]);
    }
}
