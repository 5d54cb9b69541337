//! Which findings likely follow from which, so that what to do about the cause stands first and is told once.
//!
//! The table says what a fault can bring about; a finding is put under another only where both are about the same
//! domain or device and the circumstances allow it. Nothing is dropped by it: each finding keeps its severity,
//! evidence and steps.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use super::circumstances::Circumstances;
use super::finding::Finding;
use super::finding::Severity;
use crate::analysis::Analysis;
use crate::domains::DomainKey;

/// What both findings must be about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shared {
    /// One domain; a device's is the one it is judged in.
    Domain,
    /// One domain that the device with the cause has led.
    Lead,
    /// One device, which may be one that suffers from the cause.
    Device,
    /// The network as a whole.
    Network,
    /// The network as a whole, where switches that prune have forgotten that the effect's device, or the leader that it
    /// asks, wants PTP's group.
    Forgotten,
}

/// A fault and what it can bring about.
struct Link {
    cause: &'static str,
    shared: Shared,
    effects: &'static [&'static str],
}

impl Link {
    /// Whether a fault may follow from this one: what stands further up in the table never follows from what stands
    /// further down, so there are no circles.
    fn brings_about(&self, effect: &str) -> bool {
        self.effects.contains(&effect) && rank(self.cause) < rank(effect)
    }
}

/// How far down a fault stands as a cause.
fn rank(id: &str) -> usize {
    LINKS.iter().position(|link| link.cause == id).unwrap_or(LINKS.len())
}

const fn link(cause: &'static str, shared: Shared, effects: &'static [&'static str]) -> Link {
    Link { cause, shared, effects }
}

use Shared::{Device, Domain, Forgotten, Lead, Network};

/// What is off when a device, or all of a domain, has no good time.
pub(super) const WITHOUT_TIME: &[&str] = &[
    "delay-request-stops",
    "delay-response-missing",
    "device-adrift",
    "follower-hunting",
    "media-clock-rate-off",
    "rtp-offset-not-from-ptp",
    "rtp-timestamp-step",
    "site-device-not-on-clock",
    "site-offset-exceeded",
];

/// What is off when the lead changes, or two lead.
const UNSTEADY_LEAD: &[&str] = &[
    "delay-response-misaddressed",
    "delay-response-missing",
    "device-adrift",
    "fail-back-flip",
    "failover-time-step",
    "failover-too-slow",
    "follower-hunting",
    "follower-takes-over",
    "grandmaster-flapping",
    "leader-changed",
    "rtp-timestamp-step",
    "site-leader-differs",
    "site-next-differs",
    "site-offset-exceeded",
    "sync-gaps",
];

/// What a clock says of its time when it leads without a reference.
const NO_REFERENCE: &[&str] = &["arbitrary-timescale", "utc-offset-not-valid", "utc-offset-wrong"];

/// Causes before what they can bring about; where several causes are there, the first one counts.
///
/// After the catalogue's causes and its "not if" (common practice, no source).
const LINKS: &[Link] = &[
    // What stops or doubles messages on the way.
    link(
        "spoofed-announce",
        Domain,
        &["duplicate-clock-identity", "replayed-or-stale-messages", "two-masters-one-domain"],
    ),
    link("spoofed-announce", Domain, UNSTEADY_LEAD),
    link("ip-or-mac-conflict", Device, &["delay-response-misaddressed", "delay-response-missing"]),
    link(
        "duplicate-clock-identity",
        Device,
        &[
            "declared-interval-differs",
            "follow-up-missing",
            "follow-up-order-or-delay",
            "follower-restarts",
            "leader-restarts",
            "master-time-jump",
            "two-masters-one-domain",
            "two-step-flag-wrong",
        ],
    ),
    link("duplicate-clock-identity", Device, WITHOUT_TIME),
    link("duplicate-clock-identity", Lead, UNSTEADY_LEAD),
    link("two-ports-one-segment", Domain, &["grandmaster-flapping", "two-masters-one-domain"]),
    link(
        "layer2-ptp-dropped-by-snooping",
        Domain,
        &["announce-without-sync", "no-grandmaster", "two-masters-one-domain"],
    ),
    link("layer2-ptp-dropped-by-snooping", Domain, UNSTEADY_LEAD),
    link("layer2-ptp-dropped-by-snooping", Domain, WITHOUT_TIME),
    link("vlan-split-or-leak", Domain, &["no-grandmaster", "two-masters-one-domain"]),
    link("vlan-split-or-leak", Domain, UNSTEADY_LEAD),
    link("vlan-split-or-leak", Network, &["several-domains-in-use"]),
    link("ttl-too-small", Domain, &["delay-response-missing", "no-grandmaster", "two-masters-one-domain"]),
    link("no-querier", Network, &["multicast-flooding"]),
    link("no-querier", Forgotten, &["no-grandmaster", "two-masters-one-domain"]),
    link("no-querier", Forgotten, UNSTEADY_LEAD),
    link("no-querier", Forgotten, WITHOUT_TIME),
    link("querier-contention-or-move", Network, &["querier-version-or-timer-mix"]),
    link("dscp-rewritten", Domain, &["dscp-missing-or-inconsistent"]),
    link(
        "link-near-full",
        Network,
        &["low-headroom-for-new-endpoints", "rtp-loss-or-reorder", "sync-delay-variation"],
    ),
    // Devices that are set wrongly.
    link("sdo-id-mismatch", Device, &["wrong-domain-follower"]),
    link("sdo-id-mismatch", Device, WITHOUT_TIME),
    link("wrong-domain-follower", Device, &["follower-silent", "session-description-clock-mismatch"]),
    link("wrong-domain-follower", Device, WITHOUT_TIME),
    link(
        "wrong-domain-follower",
        Domain,
        &["election-decided-by-identity", "grandmaster-free-running", "no-grandmaster", "rate-off-profile"],
    ),
    link("wrong-domain-follower", Domain, NO_REFERENCE),
    link("transport-mismatch", Device, WITHOUT_TIME),
    link("multicast-unicast-mismatch", Device, WITHOUT_TIME),
    link("delay-mechanism-mismatch", Device, WITHOUT_TIME),
    link("unicast-lease-expired", Device, WITHOUT_TIME),
    link("member-without-report", Device, WITHOUT_TIME),
    link(
        "follower-restarts",
        Device,
        &["delay-request-stops", "device-adrift", "rtp-loss-or-reorder", "rtp-timestamp-step"],
    ),
    // Elections.
    link("announce-interval-mismatch", Domain, &["profile-mixture-on-one-domain", "two-masters-one-domain"]),
    link("announce-interval-mismatch", Domain, UNSTEADY_LEAD),
    link("announce-not-qualified", Domain, &["no-grandmaster", "two-masters-one-domain"]),
    link("announce-not-qualified", Domain, UNSTEADY_LEAD),
    link("follower-deaf", Domain, &["follower-takes-over", "two-masters-one-domain"]),
    link(
        "master-transmit-fault-cycle",
        Domain,
        &["announce-without-sync", "follow-up-missing", "leader-restarts", "no-grandmaster"],
    ),
    link("master-transmit-fault-cycle", Domain, UNSTEADY_LEAD),
    link("leader-restarts", Domain, &["announce-without-sync", "master-time-jump", "no-grandmaster"]),
    link("leader-restarts", Domain, UNSTEADY_LEAD),
    link("leader-not-heard", Domain, &["no-grandmaster"]),
    link("leader-not-heard", Domain, UNSTEADY_LEAD),
    link("two-masters-one-domain", Domain, &["boundary-clock-offset", "stuck-passive-or-backup"]),
    link("two-masters-one-domain", Domain, UNSTEADY_LEAD),
    link(
        "rogue-master",
        Domain,
        &["grandmaster-free-running", "master-rate-off", "master-time-jump", "unexpected-winner"],
    ),
    link("rogue-master", Domain, UNSTEADY_LEAD),
    link("rogue-master", Domain, NO_REFERENCE),
    link(
        "unexpected-winner",
        Domain,
        &[
            "failover-time-step",
            "grandmaster-free-running",
            "leader-changed",
            "master-rate-off",
            "site-leader-differs",
        ],
    ),
    link("unexpected-winner", Domain, NO_REFERENCE),
    link(
        "grandmaster-in-holdover",
        Domain,
        &["fail-back-flip", "grandmaster-flapping", "leader-changed", "site-leader-differs"],
    ),
    link("grandmaster-free-running", Domain, NO_REFERENCE),
    link("grandmaster-flapping", Domain, &["no-grandmaster"]),
    link("grandmaster-flapping", Domain, UNSTEADY_LEAD),
    link("no-grandmaster", Domain, &["site-leader-differs"]),
    link("no-grandmaster", Domain, WITHOUT_TIME),
    // The leader's time.
    link("announce-without-sync", Domain, WITHOUT_TIME),
    link("follow-up-missing", Domain, WITHOUT_TIME),
    link("zero-or-odd-origin", Domain, &["implausible-path-delay", "master-time-jump"]),
    link("zero-or-odd-origin", Domain, WITHOUT_TIME),
    link("replayed-or-stale-messages", Domain, &["implausible-path-delay", "master-time-jump"]),
    link("correction-field-wrong", Domain, &["boundary-clock-offset", "implausible-path-delay"]),
    link(
        "failover-time-step",
        Domain,
        &["device-adrift", "follower-hunting", "master-time-jump", "rtp-timestamp-step"],
    ),
    link("master-time-jump", Domain, &["implausible-path-delay"]),
    link("master-time-jump", Domain, WITHOUT_TIME),
    link("master-rate-off", Domain, &["device-adrift", "follower-hunting", "media-clock-rate-off"]),
    link("software-stamped-master", Domain, &["follower-hunting", "sync-delay-variation"]),
    // A device's time.
    link("delay-response-misaddressed", Device, WITHOUT_TIME),
    link("delay-response-missing", Device, WITHOUT_TIME),
    link("follower-silent", Device, WITHOUT_TIME),
    link("device-adrift", Device, &["boundary-clock-offset"]),
    link("device-adrift", Device, WITHOUT_TIME),
    link("session-description-clock-mismatch", Device, &["rtp-offset-not-from-ptp"]),
    // What the site file expects.
    link(
        "site-version-differs",
        Network,
        &["site-domain-differs", "site-leader-differs", "site-profile-differs"],
    ),
    link(
        "site-domain-differs",
        Network,
        &["site-leader-differs", "site-next-differs", "site-profile-differs"],
    ),
];

/// Puts findings, the gravest first, under what they likely follow from: causes in the order of the gravest thing that
/// each brings about, what follows from one behind it.
#[must_use]
pub(super) fn fold(analysis: &Analysis, findings: Vec<Finding>) -> Vec<Finding> {
    let parents = Causes::among(analysis, &findings).parents();
    let roots: Vec<usize> = (0..findings.len()).map(|index| root(&parents, index)).collect();
    // The gravest stand first, so the first of a root's findings is its gravest.
    let mut gravest = BTreeMap::new();
    for (finding, root) in findings.iter().zip(&roots) {
        gravest.entry(*root).or_insert(Reverse(finding.severity));
    }
    let mut order: Vec<(usize, usize, Finding)> = findings
        .into_iter()
        .zip(roots)
        .enumerate()
        .map(|(index, (finding, root))| (root, index, finding))
        .collect();
    order.sort_by_key(|(root, index, _)| (gravest.get(root).copied(), *root, root != index, *index));
    let mut leading = 0;
    let folded = order.into_iter().enumerate().map(|(place, (root, index, mut finding))| {
        let is_effect = root != index;
        if !is_effect {
            leading = place;
        }
        finding.follows_from = is_effect.then_some(leading);
        finding
    });
    folded.collect()
}

/// Findings by what they can be the cause of.
struct Causes<'a> {
    findings: &'a [Finding],
    /// The domain of each finding, or the one its device is judged in.
    domains: Vec<Option<DomainKey>>,
    circumstances: Circumstances<'a>,
    by_domain: BTreeMap<(&'static str, DomainKey), Vec<usize>>,
    by_device: BTreeMap<(&'static str, &'a str), Vec<usize>>,
    all: BTreeMap<&'static str, Vec<usize>>,
}

impl<'a> Causes<'a> {
    fn among(analysis: &'a Analysis, findings: &'a [Finding]) -> Self {
        let judged_in: BTreeMap<&str, Option<DomainKey>> =
            analysis.devices.iter().map(|device| (device.key.as_str(), device.in_domain)).collect();
        let domain = |finding: &Finding| {
            finding.domain.or_else(|| judged_in.get(finding.device.as_deref()?).copied().flatten())
        };
        let mut causes = Self {
            findings,
            domains: findings.iter().map(domain).collect(),
            circumstances: Circumstances::of(analysis, findings),
            by_domain: BTreeMap::new(),
            by_device: BTreeMap::new(),
            all: BTreeMap::new(),
        };
        // Context brings about nothing.
        let faults = findings.iter().enumerate().filter(|(_, finding)| finding.severity > Severity::Info);
        for (index, finding) in faults {
            if let Some(domain) = finding.domain {
                causes.by_domain.entry((finding.id, domain)).or_default().push(index);
            }
            for device in finding.device.iter().chain(&finding.affected) {
                causes.by_device.entry((finding.id, device.as_str())).or_default().push(index);
            }
            causes.all.entry(finding.id).or_default().push(index);
        }
        causes
    }

    /// What each finding follows from by itself.
    fn parents(&self) -> Vec<Option<usize>> {
        let parent = |(effect, domain): (&Finding, &Option<DomainKey>)| {
            // Context is no fault, so nothing has to be put right for it.
            if effect.severity == Severity::Info {
                return None;
            }
            LINKS.iter().filter(|link| link.brings_about(effect.id)).find_map(|link| {
                let candidates = match link.shared {
                    Network | Forgotten => self.all.get(link.cause),
                    Device => self.by_device.get(&(link.cause, effect.device.as_deref()?)),
                    Domain | Lead => self.by_domain.get(&(link.cause, (*domain)?)),
                };
                candidates?.iter().copied().find(|cause| {
                    let cause = self.findings.get(*cause);
                    cause.is_some_and(|cause| self.circumstances.allow(link.shared, cause, (effect, *domain)))
                })
            })
        };
        self.findings.iter().zip(&self.domains).map(parent).collect()
    }
}

/// The first cause in a chain of them; the table has no circles.
fn root(parents: &[Option<usize>], index: usize) -> usize {
    let mut at = index;
    for _ in 0..LINKS.len() {
        match parents.get(at).copied().flatten() {
            Some(parent) => at = parent,
            None => break,
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::rules;

    #[test]
    fn every_id_of_the_table_is_a_rule() {
        let known: Vec<&str> = rules().map(|rule| rule.id()).collect();
        for link in LINKS {
            assert!(known.contains(&link.cause), "{}", link.cause);
            for effect in link.effects {
                assert!(known.contains(effect), "{effect}");
            }
        }
    }

    /// A circle would leave findings without one that leads.
    #[test]
    fn no_fault_brings_about_itself() {
        for rule in rules() {
            let mut reached = vec![rule.id()];
            let mut next = 0;
            while let Some(at) = reached.get(next).copied() {
                next += 1;
                let links = LINKS.iter().filter(|link| link.cause == at);
                for effect in links.flat_map(|link| link.effects.iter().filter(|id| link.brings_about(id))) {
                    assert_ne!(*effect, rule.id(), "{at} brings about {effect}");
                    if !reached.contains(effect) {
                        reached.push(effect);
                    }
                }
            }
        }
    }

    /// The order of the table takes nothing away but what two lists share.
    #[test]
    fn only_shared_lists_hold_what_stands_further_up() {
        let shared = [WITHOUT_TIME, UNSTEADY_LEAD, NO_REFERENCE];
        for link in LINKS.iter().filter(|link| !shared.contains(&link.effects)) {
            for effect in link.effects {
                assert!(link.brings_about(effect), "{} and {effect}", link.cause);
            }
        }
        let lost: Vec<(&str, &str)> = LINKS
            .iter()
            .flat_map(|link| link.effects.iter().map(move |effect| (link, *effect)))
            .filter(|(link, effect)| *effect != link.cause && !link.brings_about(effect))
            .map(|(link, effect)| (link.cause, effect))
            .collect();
        assert_eq!(
            lost,
            [("follower-silent", "delay-response-missing"), ("device-adrift", "delay-response-missing"),]
        );
    }
}
