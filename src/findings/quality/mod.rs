//! What the leader says of itself, and the time it gives.

mod announce_without_sync;
mod grandmaster_in_holdover;

use super::Rule;

/// The rules of this group, in the order of the output.
pub(super) static RULES: &[&dyn Rule] =
    &[&announce_without_sync::AnnounceWithoutSync, &grandmaster_in_holdover::GrandmasterInHoldover];
