//! The pages of `docs/rules/`: what each finding means, what shows it, what it cannot know, what to do, and sources.

use super::rules;
use crate::nearest::meant;

macro_rules! pages {
    ($($id:literal),* $(,)?) => {
        &[$(($id, include_str!(concat!("../../docs/rules/", $id, ".md")))),*]
    };
}

/// Each page with the id of its rule.
const PAGES: &[(&str, &str)] = pages![
    "no-grandmaster",
    "two-masters-one-domain",
    "announce-interval-mismatch",
    "duplicate-clock-identity",
    "wrong-domain-follower",
    "sdo-id-mismatch",
    "minor-version-intolerance",
    "grandmaster-flapping",
    "excess-steps-removed",
    "announce-not-qualified",
    "unexpected-winner",
    "stuck-passive-or-backup",
    "leader-not-heard",
    "leader-restarts",
    "leader-changed",
    "election-decided-by-identity",
    "version-mix",
    "several-domains-in-use",
    "announce-without-sync",
    "master-time-jump",
    "grandmaster-in-holdover",
    "grandmaster-free-running",
    "master-rate-off",
    "stale-quality-downstream",
    "quality-claim-inconsistent",
    "leap-second-flags-wrong",
    "utc-offset-wrong",
    "utc-offset-not-valid",
    "arbitrary-timescale",
    "device-adrift",
    "follower-deaf",
    "follower-takes-over",
    "delay-request-stops",
    "follower-restarts",
    "boundary-clock-offset",
    "follower-hunting",
    "delay-response-missing",
    "delay-response-misaddressed",
    "delay-mechanism-mismatch",
    "multicast-unicast-mismatch",
    "zero-or-odd-origin",
    "follow-up-missing",
    "two-step-flag-wrong",
    "correction-field-wrong",
    "implausible-path-delay",
    "peer-delay-several-responders",
    "peer-response-out-of-time",
    "follow-up-order-or-delay",
    "software-stamped-master",
    "master-transmit-fault-cycle",
    "unicast-lease-expired",
    "sync-gaps",
    "delay-request-flood",
    "profile-mixture-on-one-domain",
    "declared-interval-differs",
    "rate-off-profile",
    "transport-mismatch",
    "ip-or-mac-conflict",
    "vlan-split-or-leak",
    "ttl-too-small",
    "dscp-rewritten",
    "dscp-missing-or-inconsistent",
    "sync-delay-variation",
    "damaged-or-odd-ptp-frames",
    "no-querier",
    "member-without-report",
    "layer2-ptp-dropped-by-snooping",
    "group-used-twice",
    "multicast-flooding",
    "multicast-mac-overlap",
    "querier-contention-or-move",
    "querier-without-address",
    "querier-version-or-timer-mix",
    "multicast-outside-plan",
    "media-clock-rate-off",
    "follower-silent",
    "rtp-offset-not-from-ptp",
    "session-description-clock-mismatch",
    "format-or-rate-mismatch",
    "rtp-timestamp-step",
    "rtp-loss-or-reorder",
    "packet-spacing-bursty",
    "session-without-stream",
    "link-near-full",
    "low-headroom-for-new-endpoints",
    "broadcast-or-unknown-load",
    "ptp-load-on-master",
    "failover-time-step",
    "failover-too-slow",
    "two-ports-one-segment",
    "fail-back-flip",
    "no-backup-master",
    "legs-on-different-time",
    "leg-missing-or-identical",
    "replayed-or-stale-messages",
    "spoofed-announce",
    "rogue-master",
    "management-set-seen",
    "management-answers-flood",
    "no-authentication",
    "site-domain-differs",
    "site-version-differs",
    "site-device-not-on-clock",
    "site-device-missing",
    "site-leader-differs",
    "site-offset-exceeded",
    "site-profile-differs",
    "site-next-differs",
    "capture-drops",
    "capture-clock-step",
    "mirror-duplicates",
    "coarse-timestamps",
    "capture-too-short",
    "too-many-identities",
];

/// The page of a rule, in Markdown of at most 80 columns; `None` where no rule has that id.
#[must_use]
pub fn page(id: &str) -> Option<&'static str> {
    PAGES.iter().find(|(known, _)| *known == id).map(|(_, page)| *page)
}

/// The rule's id that a slip was meant to be.
#[must_use]
pub fn nearest_id(slip: &str) -> Option<&'static str> {
    let known: Vec<&str> = rules().map(|rule| rule.id()).collect();
    meant(slip, known.into_iter())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_its_page_and_every_page_its_rule() {
        let rules: Vec<&str> = rules().map(|rule| rule.id()).collect();
        let pages: Vec<&str> = PAGES.iter().map(|(id, _)| *id).collect();
        assert_eq!(pages, rules, "pages stand in the order of rules()");
    }

    #[test]
    fn a_slip_is_answered_with_the_nearest_id() {
        assert_eq!(nearest_id("no-grandmastr"), Some("no-grandmaster"));
        assert_eq!(nearest_id("site-device-mising"), Some("site-device-missing"));
    }
}
