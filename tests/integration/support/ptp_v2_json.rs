//! A decoded v2 message in the check values' spelling.

use downbeat::ptp::ClockIdentity;
use downbeat::ptp::PortIdentity;
use downbeat::ptp::v2::Announce;
use downbeat::ptp::v2::Body;
use downbeat::ptp::v2::Flags;
use downbeat::ptp::v2::Header;
use downbeat::ptp::v2::Message;
use downbeat::ptp::v2::MessageType;
use downbeat::ptp::v2::Tlv;
use downbeat::ptp::v2::tlv::OrganizationContent;
use downbeat::ptp::v2::tlv::OrganizationExtension;
use downbeat::units::TimeInterval;
use downbeat::units::Timestamp;
use serde_json::Value;
use serde_json::json;

use super::management_json::error_status_to_json;
use super::management_json::management_to_json;
use super::vectors::to_hex;

/// The whole message. `octets` are those it was decoded from: `lengthField` and the reserved octet of Announce are
/// not part of a decoded message, so they are looked up.
pub(crate) fn message_to_json(message: &Message, octets: &[u8]) -> Value {
    let frames = tlv_frames(message, octets);
    assert_eq!(frames.len(), message.tlvs.len(), "TLVs on the wire and decoded");
    let tlvs: Vec<Value> =
        message.tlvs.iter().zip(frames).map(|(tlv, value)| tlv_to_json(tlv, value)).collect();
    json!({
        "header": header_to_json(&message.header),
        "body": body_to_json(&message.body, octets),
        "tlvs": tlvs,
        "suffixOctetsAfterMessage": message.suffix_octets,
    })
}

/// The value octets of each TLV, walked without the decoder under test.
fn tlv_frames<'a>(message: &Message, octets: &'a [u8]) -> Vec<&'a [u8]> {
    let fixed_octets = match message.header.message_type {
        MessageType::Sync | MessageType::DelayReq | MessageType::FollowUp | MessageType::Signaling => 44,
        MessageType::PdelayReq
        | MessageType::PdelayResp
        | MessageType::DelayResp
        | MessageType::PdelayRespFollowUp => 54,
        MessageType::Announce => 64,
        MessageType::Management => 48,
        MessageType::Reserved(_) => return Vec::new(),
    };
    let end = usize::from(u16::from_be_bytes([octets[2], octets[3]]));
    let mut at = fixed_octets;
    let mut frames = Vec::new();
    while at < end {
        let length = usize::from(u16::from_be_bytes([octets[at + 2], octets[at + 3]]));
        frames.push(&octets[at + 4..at + 4 + length]);
        at += 4 + length;
    }
    frames
}

fn header_to_json(header: &Header) -> Value {
    json!({
        "messageType": header.message_type.nibble(),
        "messageTypeName": header.message_type.to_string(),
        "majorSdoId": header.major_sdo_id,
        // A message is only decoded as v2 where `versionPTP` is 2.
        "versionPTP": 2,
        "minorVersionPTP": header.minor_version_ptp,
        "messageLength": header.message_length,
        "domainNumber": header.domain_number,
        "minorSdoId": header.minor_sdo_id,
        "sdoId": header.sdo_id(),
        "flagField": format!("{:04x}", header.flags.0),
        "flags": flags_to_json(header.flags),
        "correctionField_raw": header.correction_field.0,
        "correctionField_ns": interval_ns(header.correction_field),
        "messageTypeSpecific": format!("{:08x}", header.message_type_specific),
        "sourcePortIdentity": port(header.source_port_identity),
        "sequenceId": header.sequence_id,
        "controlField": header.control_field,
        "logMessageInterval": header.log_message_interval.0,
    })
}

fn flags_to_json(flags: Flags) -> Value {
    flags
        .names()
        .map(|name| match name {
            "alternate_master" => "alternateMasterFlag",
            "two_step" => "twoStepFlag",
            "unicast" => "unicastFlag",
            "current_utc_offset_valid" => "currentUtcOffsetValid",
            "ptp_timescale" => "ptpTimescale",
            "time_traceable" => "timeTraceable",
            "frequency_traceable" => "frequencyTraceable",
            "synchronization_uncertain" => "synchronizationUncertain",
            other => other,
        })
        .collect()
}

fn body_to_json(body: &Body, octets: &[u8]) -> Value {
    match body {
        Body::Sync { origin_timestamp }
        | Body::DelayReq { origin_timestamp }
        | Body::PdelayReq { origin_timestamp } => json!({ "originTimestamp": time(*origin_timestamp) }),
        Body::PdelayResp { request_receipt_timestamp, requesting_port_identity } => json!({
            "requestReceiptTimestamp": time(*request_receipt_timestamp),
            "requestingPortIdentity": port(*requesting_port_identity),
        }),
        Body::FollowUp { precise_origin_timestamp } => {
            json!({ "preciseOriginTimestamp": time(*precise_origin_timestamp) })
        }
        Body::DelayResp { receive_timestamp, requesting_port_identity } => json!({
            "receiveTimestamp": time(*receive_timestamp),
            "requestingPortIdentity": port(*requesting_port_identity),
        }),
        Body::PdelayRespFollowUp { response_origin_timestamp, requesting_port_identity } => json!({
            "responseOriginTimestamp": time(*response_origin_timestamp),
            "requestingPortIdentity": port(*requesting_port_identity),
        }),
        Body::Announce(announce) => announce_to_json(announce, octets[46]),
        Body::Signaling { target_port_identity } => {
            json!({ "targetPortIdentity": port(*target_port_identity) })
        }
        Body::Management { target_port_identity, starting_boundary_hops, boundary_hops, action } => json!({
            "targetPortIdentity": port(*target_port_identity),
            "startingBoundaryHops": starting_boundary_hops,
            "boundaryHops": boundary_hops,
            "actionField": action.nibble(),
        }),
        Body::Reserved => json!({}),
    }
}

fn announce_to_json(announce: &Announce, reserved: u8) -> Value {
    let quality = announce.grandmaster_clock_quality;
    json!({
        "originTimestamp": time(announce.origin_timestamp),
        "currentUtcOffset": announce.current_utc_offset,
        "reserved46": reserved,
        "grandmasterPriority1": announce.grandmaster_priority1,
        "grandmasterClockClass": quality.clock_class,
        "grandmasterClockAccuracy": quality.clock_accuracy,
        "grandmasterOffsetScaledLogVariance": quality.offset_scaled_log_variance,
        "grandmasterPriority2": announce.grandmaster_priority2,
        "grandmasterIdentity": clock(announce.grandmaster_identity),
        "stepsRemoved": announce.steps_removed,
        "timeSource": announce.time_source,
    })
}

fn tlv_to_json(tlv: &Tlv, wire: &[u8]) -> Value {
    let mut value = match tlv {
        Tlv::Management(management) => management_to_json(management, wire),
        Tlv::ManagementErrorStatus(status) => error_status_to_json(status),
        Tlv::Organization(extension) => organization_to_json(extension),
        Tlv::RequestUnicastTransmission(request) => json!({ "data": {
            "messageType": request.message_type.nibble(),
            "logInterMessagePeriod": request.log_inter_message_period.0,
            "durationField": request.duration_field_s,
        }}),
        Tlv::GrantUnicastTransmission(grant) => json!({ "data": {
            "messageType": grant.message_type.nibble(),
            "logInterMessagePeriod": grant.log_inter_message_period.0,
            "durationField": grant.duration_field_s,
            "renewalInvited": grant.renewal_invited,
        }}),
        Tlv::CancelUnicastTransmission(cancel) | Tlv::AcknowledgeCancelUnicastTransmission(cancel) => {
            json!({ "data": { "messageType": cancel.message_type.nibble() } })
        }
        Tlv::PathTrace(path) => json!({
            "pathSequence": path.path_sequence.iter().map(|identity| clock(*identity)).collect::<Vec<_>>(),
        }),
        Tlv::AlternateTimeOffsetIndicator(offset) => json!({ "data": {
            "keyField": offset.key_field,
            "currentOffset": offset.current_offset_s,
            "jumpSeconds": offset.jump_seconds,
            "timeOfNextJump": offset.time_of_next_jump_s,
            "displayName": offset.display_name,
        }}),
        Tlv::Pad { length } => json!({ "pad": length }),
        // No vector holds one; the tests beside the decoder do.
        Tlv::EnhancedAccuracyMetrics(_)
        | Tlv::SlaveRxSyncTimingData(_)
        | Tlv::SlaveRxSyncComputedData(_)
        | Tlv::Authentication(_)
        | Tlv::Other { .. } => json!({}),
    };
    value["tlvType"] = json!(tlv.tlv_type());
    value["lengthField"] = json!(wire.len());
    value
}

fn organization_to_json(extension: &OrganizationExtension) -> Value {
    let mut value = match extension.content {
        OrganizationContent::FollowUpInformation(information) => json!({ "data": {
            "name": "gPTP Follow_Up information",
            "cumulativeScaledRateOffset": information.cumulative_scaled_rate_offset,
            "rateRatio": 1.0 + scaled_rate(information.cumulative_scaled_rate_offset),
            "gmTimeBaseIndicator": information.gm_time_base_indicator,
            "lastGmPhaseChange_ns": information.last_gm_phase_change.0 as f64 / 65536.0,
            "scaledLastGmFreqChange": information.scaled_last_gm_freq_change,
            "lastGmFreqChange": scaled_rate(information.scaled_last_gm_freq_change),
        }}),
        OrganizationContent::MessageIntervalRequest(request) => json!({ "data": {
            "name": "gPTP message interval request",
            "linkDelayInterval": request.link_delay_interval_log2_s,
            "timeSyncInterval": request.time_sync_interval_log2_s,
            "announceInterval": request.announce_interval_log2_s,
            "flags": request.flags,
        }}),
        OrganizationContent::SynchronizationMetadata(metadata) => json!({ "data": {
            "name": "ST 2059-2 synchronization metadata",
            "frameRateNumerator": metadata.default_system_frame_rate_numerator,
            "frameRateDenominator": metadata.default_system_frame_rate_denominator,
            "masterLockingStatus": metadata.master_locking_status,
            "timeAddressFlags": metadata.time_address_flags,
            "currentLocalOffset": metadata.current_local_offset_s,
            "jumpSeconds": metadata.jump_seconds,
            "timeOfNextJump": metadata.time_of_next_jump_s,
            "timeOfNextJam": metadata.time_of_next_jam_s,
            "timeOfPreviousJam": metadata.time_of_previous_jam_s,
            "previousJamLocalOffset": metadata.previous_jam_local_offset_s,
            "daylightSaving": metadata.daylight_saving,
            "leapSecondJump": metadata.leap_second_jump,
        }}),
        // The vector gives this one as octets; the reserved ones of the layout are 0 in it.
        OrganizationContent::PowerProfile2017(profile) => json!({
            "raw": format!("{:04x}00000000{:08x}0000", profile.grandmaster_id, profile.total_time_inaccuracy_ns),
        }),
        // No vector holds one; the tests beside the decoder do.
        OrganizationContent::GptpCapable(_)
        | OrganizationContent::PowerProfile2011(_)
        | OrganizationContent::InterfaceRate(_)
        | OrganizationContent::Unknown { .. } => json!({}),
    };
    value["organizationId"] = json!(to_hex(&extension.organization_id));
    value["organizationSubType"] = json!(to_hex(&extension.organization_sub_type));
    value
}

/// A fraction that the wire holds times 2⁴¹.
fn scaled_rate(scaled: i32) -> f64 {
    f64::from(scaled) / (1_u64 << 41) as f64
}

/// Nanoseconds, as the check values have them: raw / 2¹⁶.
pub(crate) fn interval_ns(interval: TimeInterval) -> f64 {
    interval.0 as f64 / 65536.0
}

/// `Timestamp`.
pub(crate) fn time(timestamp: Timestamp) -> Value {
    json!({ "seconds": timestamp.seconds, "nanoseconds": timestamp.nanoseconds })
}

/// `PortIdentity`.
pub(crate) fn port(identity: PortIdentity) -> Value {
    json!({ "clockIdentity": clock(identity.clock_identity), "portNumber": identity.port_number })
}

/// `ClockIdentity`.
pub(crate) fn clock(identity: ClockIdentity) -> String {
    to_hex(&identity.0)
}
