//! How often messages are sent.

mod declared_interval_differs;
mod delay_request_flood;
mod master_transmit_fault_cycle;
mod profile_mixture_on_one_domain;
mod rate_off_profile;
mod sync_gaps;
mod unicast_lease_expired;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &master_transmit_fault_cycle::MasterTransmitFaultCycle,
    &unicast_lease_expired::UnicastLeaseExpired,
    &sync_gaps::SyncGaps,
    &delay_request_flood::DelayRequestFlood,
    &profile_mixture_on_one_domain::ProfileMixtureOnOneDomain,
    &declared_interval_differs::DeclaredIntervalDiffers,
    &rate_off_profile::RateOffProfile,
];
