//! Who takes over, how fast, and with what time.

mod fail_back_flip;
mod failover_time_step;
mod failover_too_slow;
mod leg_missing_or_identical;
mod legs_on_different_time;
mod no_backup_master;
mod two_ports_one_segment;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &failover_time_step::FailoverTimeStep,
    &failover_too_slow::FailoverTooSlow,
    &two_ports_one_segment::TwoPortsOneSegment,
    &fail_back_flip::FailBackFlip,
    &no_backup_master::NoBackupMaster,
    &legs_on_different_time::LegsOnDifferentTime,
    &leg_missing_or_identical::LegMissingOrIdentical,
];
