//! Elections and domains.

mod duplicate_clock_identity;
mod grandmaster_flapping;
mod leader_changed;
mod leader_restarts;
mod no_grandmaster;
mod several_domains_in_use;
mod two_masters_one_domain;
mod version_mix;
mod wrong_domain_follower;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &no_grandmaster::NoGrandmaster,
    &two_masters_one_domain::TwoMastersOneDomain,
    &duplicate_clock_identity::DuplicateClockIdentity,
    &wrong_domain_follower::WrongDomainFollower,
    &grandmaster_flapping::GrandmasterFlapping,
    &leader_restarts::LeaderRestarts,
    &leader_changed::LeaderChanged,
    &version_mix::VersionMix,
    &several_domains_in_use::SeveralDomainsInUse,
];
