//! `follow-up-order-or-delay`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;

/// Pairs before they are judged (reference: 100).
const PAIRS: u64 = 100;

/// Late Follow_Ups before they are told (reference: 3 periods).
const LATE: u64 = 3;

/// Share of Follow_Ups before their Sync, in per cent, from which it is told (chosen).
const REVERSED_PERCENT: u64 = 1;

/// Follow_Ups come long after their Sync, or before it.
pub(super) struct FollowUpOrderOrDelay;

impl Rule for FollowUpOrderOrDelay {
    fn id(&self) -> &'static str {
        "follow-up-order-or-delay"
    }

    fn summary(&self) -> &'static str {
        "Follow_Ups come half an interval after their Sync or later, or before it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for other work on the leader at those times: some do housekeeping once a minute",
            "where Follow_Ups come first, check whether event and general messages take different queues on the way",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "public threads of PTP daemons: a Follow_Up 61 ms late once a minute, one handled before its Sync",
            "100 pairs; 3 later than half the Sync interval, or 1 % before their Sync (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

impl FollowUpOrderOrDelay {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let pairing = port.samples.as_deref()?.pairing();
        let (pairs, late, before) = (pairing.paired(), pairing.late(), pairing.before_sync());
        if pairs < PAIRS || port.twins.two().is_some() {
            return None;
        }
        let longest = pairing.follow_up_delay().summary().map(|summary| duration(summary.max));
        let (severity, what, place, text) = if late.times >= LATE {
            let text = format!(
                "{} of {pairs} Follow_Up came later than half the Sync interval, the longest {} after its Sync",
                late.times,
                longest.unwrap_or_default()
            );
            (Severity::Minor, "sends Follow_Ups late", late.first, text)
        } else if before.saturating_mul(100) > pairs.saturating_mul(REVERSED_PERCENT) {
            let text = format!(
                "{before} of {pairs} Follow_Up were captured before their Sync; where the capture takes the two from \
                 different queues, that order is its own"
            );
            (Severity::Info, "is captured with Follow_Ups before their Sync", Some(port.first), text)
        } else {
            return None;
        };
        let title = format!("{}: {} {what}", domain.key, port.port);
        let finding = Finding::of(self, (severity, Strength::Shown), title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
