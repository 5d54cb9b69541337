//! What several test modules share.

pub(crate) mod management_json;
pub(crate) mod ptp_v2_json;
pub(crate) mod vectors;
