//! What is wrong, how surely, and what to do: small rules over an [`Analysis`](crate::analysis::Analysis), listed in [`RULES`].
//!
//! A rule reads the analysis and nothing else, calls no other rule, and says "cannot tell" where the capture
//! could not have shown the thing.

mod announce_without_sync;
mod declared_interval_differs;
mod delay_response_missing;
mod duplicate_clock_identity;
mod finding;
mod grandmaster_flapping;
mod grandmaster_in_holdover;
mod leader_changed;
mod leader_restarts;
mod no_grandmaster;
mod pages;
mod rule;
mod several_domains_in_use;
mod site_device_missing;
mod site_device_not_on_clock;
mod site_domain_differs;
mod site_leader_differs;
mod site_next_differs;
mod site_offset_exceeded;
mod site_profile_differs;
mod site_version_differs;
mod site_view;
mod two_masters_one_domain;
mod verdict;
mod version_mix;
mod wrong_domain_follower;

pub use finding::{Evidence, Finding, Severity};
pub use pages::{nearest_id, page};
pub use rule::{Outcome, Rule};
pub use verdict::{Judgement, Verdict, judge};

/// Every rule; the order is that of the output within one severity.
pub static RULES: &[&dyn Rule] = &[
    &no_grandmaster::NoGrandmaster,
    &two_masters_one_domain::TwoMastersOneDomain,
    &duplicate_clock_identity::DuplicateClockIdentity,
    &wrong_domain_follower::WrongDomainFollower,
    &delay_response_missing::DelayResponseMissing,
    &announce_without_sync::AnnounceWithoutSync,
    &grandmaster_flapping::GrandmasterFlapping,
    &grandmaster_in_holdover::GrandmasterInHoldover,
    &leader_restarts::LeaderRestarts,
    &leader_changed::LeaderChanged,
    &declared_interval_differs::DeclaredIntervalDiffers,
    &version_mix::VersionMix,
    &several_domains_in_use::SeveralDomainsInUse,
    &site_domain_differs::SiteDomainDiffers,
    &site_version_differs::SiteVersionDiffers,
    &site_device_not_on_clock::SiteDeviceNotOnClock,
    &site_device_missing::SiteDeviceMissing,
    &site_leader_differs::SiteLeaderDiffers,
    &site_offset_exceeded::SiteOffsetExceeded,
    &site_profile_differs::SiteProfileDiffers,
    &site_next_differs::SiteNextDiffers,
];
