//! `querier-version-or-timer-mix`

use std::collections::BTreeSet;

use super::named;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Querier;
use crate::multicast::Segment;
use crate::multicast::Version;

/// Queries of one querier before its timers count (reference: 2).
const QUERIES: u64 = 2;

/// Queriers of different versions, or timers that cannot work.
pub(super) struct QuerierVersionOrTimerMix;

impl Rule for QuerierVersionOrTimerMix {
    fn id(&self) -> &'static str {
        "querier-version-or-timer-mix"
    }

    fn summary(&self) -> &'static str {
        "group members are asked for in different versions, or with timers that forgive no loss"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set one version of IGMP, and one of MLD, on all switches of the VLAN",
            "set the usual timers: a query every 125 s, 10 s for the answers, robustness 2",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "older versions draw all hosts back: RFC 3376 7.2 and 7.3; timers: RFC 3376 8 (from memory)",
            "2 queries of a querier (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.multicast.segments().filter_map(|segment| self.finding(segment));
        Outcome::from_findings(found.collect())
    }
}

impl QuerierVersionOrTimerMix {
    fn finding(&self, segment: &Segment) -> Option<Finding> {
        let asking = || segment.queriers.values().filter(|querier| querier.queries >= QUERIES);
        let versions: BTreeSet<Version> = asking().map(|querier| querier.version).collect();
        let mut evidence = Vec::new();
        if versions.len() > 1 {
            evidence.extend(asking().map(|querier| {
                let text = format!("{} asks in {}", querier.address, querier.version.name());
                Evidence::at(Some(querier.last), text)
            }));
        }
        evidence.extend(asking().filter_map(odd_timer));
        if evidence.is_empty() {
            return None;
        }
        let what = if versions.len() > 1 {
            "group members are asked for in different versions"
        } else {
            "the querier's timers forgive no loss"
        };
        let title = format!("{}: {what}", named(segment.key));
        Some(Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence))
    }
}

fn odd_timer(querier: &Querier) -> Option<Evidence> {
    let text = if let Some(interval) = querier.declared_interval.filter(|every| querier.response() >= *every)
    {
        format!(
            "{} asks every {} and leaves {} for the answers",
            querier.address,
            interval.as_seconds_text(),
            querier.response().as_seconds_text()
        )
    } else if querier.robustness() == 1 {
        format!("{} declares robustness 1: one lost query ends a membership", querier.address)
    } else {
        return None;
    };
    Some(Evidence::at(Some(querier.last), text))
}
