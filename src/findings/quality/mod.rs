//! What the leader says of itself, and the time it gives.

mod announce_without_sync;
mod arbitrary_timescale;
mod grandmaster_free_running;
mod grandmaster_in_holdover;
mod leap_second_flags_wrong;
mod master_rate_off;
mod master_time_jump;
mod quality_claim_inconsistent;
mod stale_quality_downstream;
mod utc_offset_not_valid;
mod utc_offset_wrong;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &announce_without_sync::AnnounceWithoutSync,
    &master_time_jump::MasterTimeJump,
    &grandmaster_in_holdover::GrandmasterInHoldover,
    &grandmaster_free_running::GrandmasterFreeRunning,
    &master_rate_off::MasterRateOff,
    &stale_quality_downstream::StaleQualityDownstream,
    &quality_claim_inconsistent::QualityClaimInconsistent,
    &leap_second_flags_wrong::LeapSecondFlagsWrong,
    &utc_offset_wrong::UtcOffsetWrong,
    &utc_offset_not_valid::UtcOffsetNotValid,
    &arbitrary_timescale::ArbitraryTimescale,
];
