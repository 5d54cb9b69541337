//! MANAGEMENT and MANAGEMENT_ERROR_STATUS values in the check values' spelling.

use downbeat::ptp::v2::management::ErrorStatus;
use downbeat::ptp::v2::management::ManagementData;
use downbeat::ptp::v2::management::ManagementTlv;
use downbeat::ptp::v2::management::management_name;
use downbeat::units::TimeInterval;
use serde_json::Value;
use serde_json::json;

use super::ptp_v2_json::clock;
use super::ptp_v2_json::interval_ns;
use super::ptp_v2_json::port;
use super::vectors::to_hex;

/// The keys of one MANAGEMENT TLV beside `tlvType` and `lengthField`. `value` is what it was decoded from: the
/// body of a request is not part of a decoded message, so it is looked up.
pub(crate) fn management_to_json(management: &ManagementTlv, value: &[u8]) -> Value {
    let mut data = match &management.data {
        ManagementData::NotData => {
            json!({ "zeroFilledBodyOctets": value[2..].iter().filter(|octet| **octet == 0).count() })
        }
        ManagementData::CurrentDataSet(set) => json!({
            "stepsRemoved": set.steps_removed,
            "offsetFromMaster_ns": interval(set.offset_from_master),
            "meanDelay_ns": interval(set.mean_delay),
        }),
        ManagementData::PortDataSet(set) => json!({
            "portIdentity": port(set.port_identity),
            "portState": set.port_state.code(),
            "logMinDelayReqInterval": set.log_min_delay_req_interval.0,
            "meanLinkDelay_ns": interval(set.mean_link_delay),
            "logAnnounceInterval": set.log_announce_interval.0,
            "announceReceiptTimeout": set.announce_receipt_timeout,
            "logSyncInterval": set.log_sync_interval.0,
            "delayMechanism": set.delay_mechanism,
            "logMinPdelayReqInterval": set.log_min_pdelay_req_interval.0,
            "versionNumber": set.version_number,
            "minorVersionNumber": set.minor_version_number,
        }),
        ManagementData::DefaultDataSet(set) => json!({
            "twoStepFlag": set.two_step,
            "slaveOnly": set.slave_only,
            "numberPorts": set.number_ports,
            "priority1": set.priority1,
            "clockClass": set.clock_quality.clock_class,
            "clockAccuracy": set.clock_quality.clock_accuracy,
            "offsetScaledLogVariance": set.clock_quality.offset_scaled_log_variance,
            "priority2": set.priority2,
            "clockIdentity": clock(set.clock_identity),
            "domainNumber": set.domain_number,
        }),
        ManagementData::ParentDataSet(set) => json!({
            "parentPortIdentity": port(set.parent_port_identity),
            "parentStats": set.parent_stats,
            "observedParentOffsetScaledLogVariance": set.observed_parent_offset_scaled_log_variance,
            "observedParentClockPhaseChangeRate": set.observed_parent_clock_phase_change_rate,
            "grandmasterPriority1": set.grandmaster_priority1,
            "grandmasterClockClass": set.grandmaster_clock_quality.clock_class,
            "grandmasterClockAccuracy": set.grandmaster_clock_quality.clock_accuracy,
            "grandmasterOffsetScaledLogVariance": set.grandmaster_clock_quality.offset_scaled_log_variance,
            "grandmasterPriority2": set.grandmaster_priority2,
            "grandmasterIdentity": clock(set.grandmaster_identity),
        }),
        ManagementData::ClockDescription(set) => json!({
            "clockType": set.clock_type.0,
            "physicalLayerProtocol": set.physical_layer_protocol.to_string_lossy(),
            "physicalAddress": to_hex(&set.physical_address),
            "networkProtocol": set.network_protocol,
            "protocolAddress": to_hex(&set.protocol_address),
            "manufacturerIdentity": to_hex(&set.manufacturer_identity),
            "productDescription": set.product_description.to_string_lossy(),
            "revisionData": set.revision_data.to_string_lossy(),
            "userDescription": set.user_description.to_string_lossy(),
            "profileIdentity": to_hex(&set.profile_identity),
            // No note says that octets are left, so the layout took them all.
            "octetsUsed": management.length - 2,
            "octetsTotal": management.length - 2,
        }),
        ManagementData::TimePropertiesDataSet(set) => json!({
            "currentUtcOffset": set.current_utc_offset,
            "flags": set.flags.names().map(standard_spelling).collect::<Vec<_>>(),
            "timeSource": set.time_source,
        }),
        ManagementData::TimeStatusNp(set) => json!({
            "master_offset_ns": set.master_offset.0,
            "ingress_time_ns": set.ingress_time_ns,
            "cumulativeScaledRateOffset": set.cumulative_scaled_rate_offset,
            "scaledLastGmPhaseChange": set.scaled_last_gm_phase_change,
            "gmTimeBaseIndicator": set.gm_time_base_indicator,
            "lastGmPhaseChange_hex": to_hex(&set.last_gm_phase_change_scaled_ns.to_be_bytes()[4..]),
            "gmPresent": u8::from(set.gm_present),
            "gmIdentity": clock(set.gm_identity),
        }),
        other => panic!("no vector holds {other:?}"),
    };
    data["name"] = json!(management.management_id.and_then(management_name));
    json!({ "managementId": management.management_id, "data": data })
}

/// The keys of one MANAGEMENT_ERROR_STATUS TLV beside `tlvType` and `lengthField`.
pub(crate) fn error_status_to_json(status: &ErrorStatus) -> Value {
    json!({ "managementErrorId": status.management_error_id, "managementId": status.management_id })
}

fn interval(interval: Option<TimeInterval>) -> Value {
    interval.map_or(Value::Null, |interval| json!(interval_ns(interval)))
}

fn standard_spelling(name: &str) -> &str {
    match name {
        "leap61" | "leap59" => name,
        "current_utc_offset_valid" => "currentUtcOffsetValid",
        "ptp_timescale" => "ptpTimescale",
        "time_traceable" => "timeTraceable",
        "frequency_traceable" => "frequencyTraceable",
        other => panic!("flag {other}"),
    }
}
