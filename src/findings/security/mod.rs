//! Who may lead and set clocks, and who does.

mod management_answers_flood;
mod management_set_seen;
mod no_authentication;
mod replayed_or_stale_messages;
mod rogue_master;
mod spoofed_announce;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] = &[
    &replayed_or_stale_messages::ReplayedOrStaleMessages,
    &spoofed_announce::SpoofedAnnounce,
    &rogue_master::RogueMaster,
    &management_set_seen::ManagementSetSeen,
    &management_answers_flood::ManagementAnswersFlood,
    &no_authentication::NoAuthentication,
];
