//! Elections and domains.

mod announce_interval_mismatch;
mod announce_not_qualified;
mod duplicate_clock_identity;
mod election_decided_by_identity;
mod excess_steps_removed;
mod grandmaster_flapping;
mod leader_changed;
mod leader_not_heard;
mod leader_restarts;
mod minor_version_intolerance;
mod no_grandmaster;
mod sdo_id_mismatch;
mod several_domains_in_use;
mod stuck_passive_or_backup;
mod two_masters_one_domain;
mod unexpected_winner;
mod version_mix;
mod wrong_domain_follower;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &no_grandmaster::NoGrandmaster,
    &two_masters_one_domain::TwoMastersOneDomain,
    &announce_interval_mismatch::AnnounceIntervalMismatch,
    &duplicate_clock_identity::DuplicateClockIdentity,
    &wrong_domain_follower::WrongDomainFollower,
    &sdo_id_mismatch::SdoIdMismatch,
    &minor_version_intolerance::MinorVersionIntolerance,
    &grandmaster_flapping::GrandmasterFlapping,
    &excess_steps_removed::ExcessStepsRemoved,
    &announce_not_qualified::AnnounceNotQualified,
    &unexpected_winner::UnexpectedWinner,
    &stuck_passive_or_backup::StuckPassiveOrBackup,
    &leader_not_heard::LeaderNotHeard,
    &leader_restarts::LeaderRestarts,
    &leader_changed::LeaderChanged,
    &election_decided_by_identity::ElectionDecidedByIdentity,
    &version_mix::VersionMix,
    &several_domains_in_use::SeveralDomainsInUse,
];
