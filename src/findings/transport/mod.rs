//! How PTP is carried: transports, marks, VLANs, addresses, damage, and how evenly Syncs arrive.

mod damaged_or_odd_ptp_frames;
mod dscp_missing_or_inconsistent;
mod dscp_rewritten;
mod ip_or_mac_conflict;
mod sync_delay_variation;
mod transport_mismatch;
mod ttl_too_small;
mod vlan_split_or_leak;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &transport_mismatch::TransportMismatch,
    &ip_or_mac_conflict::IpOrMacConflict,
    &vlan_split_or_leak::VlanSplitOrLeak,
    &ttl_too_small::TtlTooSmall,
    &dscp_rewritten::DscpRewritten,
    &dscp_missing_or_inconsistent::DscpMissingOrInconsistent,
    &sync_delay_variation::SyncDelayVariation,
    &damaged_or_odd_ptp_frames::DamagedOrOddPtpFrames,
];
