//! MANAGEMENT and MANAGEMENT_ERROR_STATUS values in the check values' spelling.

use downbeat::ptp::v2::management::ErrorStatus;
use downbeat::ptp::v2::management::ManagementTlv;
use serde_json::Value;
use serde_json::json;

/// The keys of one MANAGEMENT TLV beside `tlvType` and `lengthField`.
pub(crate) fn management_to_json(management: &ManagementTlv) -> Value {
    json!({ "managementId": management.management_id })
}

/// The keys of one MANAGEMENT_ERROR_STATUS TLV beside `tlvType` and `lengthField`.
pub(crate) fn error_status_to_json(status: &ErrorStatus) -> Value {
    json!({ "managementErrorId": status.management_error_id, "managementId": status.management_id })
}
