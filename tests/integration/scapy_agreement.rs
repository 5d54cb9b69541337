//! PTPv2 messages that scapy 2.8.0 (`scapy.contrib.ptp_v2`) built, field by field against our decoder.
//!
//! `tests/peers/scapy_ptp.py` makes the data file. Where scapy departs from the standard, the comparison
//! says so here rather than bend:
//!
//! - The flag names of its `flags` have the two octets swapped (a two-step Sync prints as `leap59`), so the
//!   16 bits are compared and no name.
//! - It names bits 4, 5 and 6 of the first flag octet as profile specific 1, 2 and reserved; IEEE 1588-2008
//!   Table 20 (from memory) has them at 5, 6 and 7. No name, no matter.
//! - `correctionField`, `logMessageInterval` and `currentUtcOffset` are signed in the standard (1588-2008
//!   13.3.2.7, 13.3.2.11 and 13.5.2.2, from memory) and unsigned in scapy.
//! - Pdelay_Req's reserved octets, and the `requestingPortIdentity` of Pdelay_Resp, Delay_Resp and
//!   Pdelay_Resp_Follow_Up, are not in scapy: the script puts random octets there and we must find them.
//! - `grandmasterClockVariance` is its name for `offsetScaledLogVariance`.

use std::collections::BTreeMap;

use downbeat::ptp::ClockIdentity;
use downbeat::ptp::Message;
use downbeat::ptp::PortIdentity;
use downbeat::ptp::decode;
use downbeat::ptp::v2;
use downbeat::ptp::v2::Body;
use downbeat::ptp::v2::MessageType;
use downbeat::units::Timestamp;
use serde_json::Value;

const FILE: &str = include_str!("../data/scapy-ptp-v2.json");

/// Values in scapy's spelling, and the octets that scapy does not model.
type Fields = BTreeMap<&'static str, u64>;

fn unhex(text: &str) -> Vec<u8> {
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(&text[at..at + 2], 16).unwrap()).collect()
}

fn identity(identity: ClockIdentity) -> u64 {
    u64::from_be_bytes(identity.0)
}

fn message_type(of: MessageType) -> u8 {
    match of {
        MessageType::Sync => 0x0,
        MessageType::DelayReq => 0x1,
        MessageType::PdelayReq => 0x2,
        MessageType::PdelayResp => 0x3,
        MessageType::FollowUp => 0x8,
        MessageType::DelayResp => 0x9,
        MessageType::PdelayRespFollowUp => 0xA,
        MessageType::Announce => 0xB,
        MessageType::Signaling => 0xC,
        MessageType::Management => 0xD,
        MessageType::Reserved(value) => value,
    }
}

fn header(header: &v2::Header) -> Fields {
    Fields::from([
        ("transportSpecific", u64::from(header.major_sdo_id)),
        ("messageType", u64::from(message_type(header.message_type))),
        ("reserved1", u64::from(header.minor_version_ptp)),
        // A message of another version is none of ours.
        ("version", 2),
        ("messageLength", u64::from(header.message_length)),
        ("domainNumber", u64::from(header.domain_number)),
        ("reserved2", u64::from(header.minor_sdo_id)),
        ("flags", u64::from(header.flags.0)),
        ("correctionField", header.correction_field.0.cast_unsigned()),
        ("reserved3", u64::from(header.message_type_specific)),
        ("clockIdentity", identity(header.source_port_identity.clock_identity)),
        ("portNumber", u64::from(header.source_port_identity.port_number)),
        ("sequenceId", u64::from(header.sequence_id)),
        ("controlField", u64::from(header.control_field)),
        ("logMessageInterval", u64::from(header.log_message_interval.0.cast_unsigned())),
    ])
}

/// A body in scapy's spelling, and the `requestingPortIdentity` where the type has one.
fn body(body: &Body) -> (Fields, Option<PortIdentity>) {
    let stamp = |seconds, nanoseconds, stamp: &Timestamp| {
        Fields::from([(seconds, stamp.seconds), (nanoseconds, u64::from(stamp.nanoseconds))])
    };
    match body {
        Body::Sync { origin_timestamp, .. }
        | Body::DelayReq { origin_timestamp, .. }
        | Body::PdelayReq { origin_timestamp, .. } => {
            (stamp("originTimestamp_seconds", "originTimestamp_nanoseconds", origin_timestamp), None)
        }
        Body::FollowUp { precise_origin_timestamp, .. } => (
            stamp(
                "preciseOriginTimestamp_seconds",
                "preciseOriginTimestamp_nanoseconds",
                precise_origin_timestamp,
            ),
            None,
        ),
        Body::PdelayResp { request_receipt_timestamp, requesting_port_identity, .. } => (
            stamp(
                "requestReceiptTimestamp_seconds",
                "requestReceiptTimestamp_nanoseconds",
                request_receipt_timestamp,
            ),
            Some(*requesting_port_identity),
        ),
        Body::DelayResp { receive_timestamp, requesting_port_identity, .. } => (
            stamp("receiveTimestamp_seconds", "receiveTimestamp_nanoseconds", receive_timestamp),
            Some(*requesting_port_identity),
        ),
        Body::PdelayRespFollowUp { response_origin_timestamp, requesting_port_identity, .. } => (
            stamp(
                "responseOriginTimestamp_seconds",
                "responseOriginTimestamp_nanoseconds",
                response_origin_timestamp,
            ),
            Some(*requesting_port_identity),
        ),
        Body::Announce(announce) => {
            let mut fields =
                stamp("originTimestamp_seconds", "originTimestamp_nanoseconds", &announce.origin_timestamp);
            let quality = announce.grandmaster_clock_quality;
            fields.extend([
                ("currentUtcOffset", u64::from(announce.current_utc_offset.cast_unsigned())),
                ("grandmasterPriority1", u64::from(announce.grandmaster_priority1)),
                ("grandmasterClockClass", u64::from(quality.clock_class)),
                ("grandmasterClockAccuracy", u64::from(quality.clock_accuracy)),
                ("grandmasterClockVariance", u64::from(quality.offset_scaled_log_variance)),
                ("grandmasterPriority2", u64::from(announce.grandmaster_priority2)),
                ("grandmasterIdentity", identity(announce.grandmaster_identity)),
                ("stepsRemoved", u64::from(announce.steps_removed)),
                ("timeSource", u64::from(announce.time_source)),
            ]);
            (fields, None)
        }
        other => panic!("scapy has no body for {other:?}"),
    }
}

#[test]
fn every_field_that_scapy_reads_is_read_alike() {
    let file: Value = serde_json::from_str(FILE).unwrap();
    assert_eq!(file["scapy"], "2.8.0");
    let messages = file["messages"].as_array().unwrap();
    assert_eq!(messages.len(), 200);
    let mut per_type = BTreeMap::new();
    let mut compared = 0;
    for (number, row) in messages.iter().enumerate() {
        let octets = unhex(row["octets"].as_str().unwrap());
        let message = match decode(&octets) {
            Ok(Message::V2(message)) => message,
            other => panic!("message {number}: {other:?}"),
        };
        assert_eq!(message.suffix_octets, 0, "message {number}");
        assert_eq!(message.notes, [], "message {number}");
        *per_type.entry(message_type(message.header.message_type)).or_insert(0) += 1;

        let (body, requesting_port_identity) = body(&message.body);
        let ours: Fields = header(&message.header).into_iter().chain(body).collect();
        for (name, theirs) in row["fields"].as_object().unwrap() {
            // Reserved in Announce: real clocks are seen to fill it, we do not keep it.
            if name == "reserved4" {
                continue;
            }
            let Some(ours) = ours.get(name.as_str()) else { panic!("message {number}: {name} is not known") };
            assert_eq!(*ours, theirs.as_u64().unwrap(), "message {number}: {name}");
            compared += 1;
        }

        if let Some(port) = requesting_port_identity {
            let unmodelled = [&port.clock_identity.0[..], &port.port_number.to_be_bytes()].concat();
            assert_eq!(unmodelled, unhex(row["unmodelled"].as_str().unwrap()), "message {number}");
            compared += 1;
        }
    }
    assert_eq!(per_type, [0x0, 0x1, 0x2, 0x3, 0x8, 0x9, 0xA, 0xB].map(|kind| (kind, 25)).into());
    // Header 15, timestamp 2 in all 200; 9 more in each Announce; a port identity in three types.
    assert_eq!(compared, 200 * 17 + 25 * 9 + 3 * 25);
}
