//! Who asks for groups, who does not, and what that does to the switches.

mod group_used_twice;
mod layer2_ptp_dropped_by_snooping;
mod member_without_report;
mod multicast_flooding;
mod multicast_mac_overlap;
mod multicast_outside_plan;
mod no_querier;
mod querier_contention_or_move;
mod querier_version_or_timer_mix;
mod querier_without_address;

use super::Rule;
use crate::multicast::SegmentKey;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &no_querier::NoQuerier,
    &member_without_report::MemberWithoutReport,
    &layer2_ptp_dropped_by_snooping::Layer2PtpDroppedBySnooping,
    &group_used_twice::GroupUsedTwice,
    &multicast_flooding::MulticastFlooding,
    &multicast_mac_overlap::MulticastMacOverlap,
    &querier_contention_or_move::QuerierContentionOrMove,
    &querier_without_address::QuerierWithoutAddress,
    &querier_version_or_timer_mix::QuerierVersionOrTimerMix,
    &multicast_outside_plan::MulticastOutsidePlan,
];

/// `VLAN 20` or `the untagged network`, with the IP version where it is 6.
fn named(key: SegmentKey) -> String {
    let vlan = key.vlan.map_or_else(|| "the untagged network".to_owned(), |vlan| format!("VLAN {vlan}"));
    if key.is_ipv6 { format!("{vlan} (IPv6)") } else { vlan }
}
