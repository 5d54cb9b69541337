//! `layer2-ptp-dropped-by-snooping`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Querier;
use crate::observations::Transport;
use crate::units::Nanos;

/// How long PTP passed before the first query, and stayed away after it (chosen: ten of the slower intervals).
const BEFORE: Nanos = Nanos::from_seconds(20);

/// PTP ends so soon after the first query (reference: within seconds).
const SOON: Nanos = Nanos::from_seconds(10);

/// PTP over Ethernet ends as a querier begins.
pub(super) struct Layer2PtpDroppedBySnooping;

impl Rule for Layer2PtpDroppedBySnooping {
    fn id(&self) -> &'static str {
        "layer2-ptp-dropped-by-snooping"
    }

    fn summary(&self) -> &'static str {
        "PTP over Ethernet stops as the first query for group members passes: a bridge prunes it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give the switch a fixed entry for 01:1b:19:00:00:00 on the ports that carry the clock",
            "or let it pass unknown multicast that is not IP",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "some bridges stop passing unknown groups to all ports once they know a querier (common practice, no source)",
            "20 s of PTP before and none for 20 s after, within 10 s of the first query (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let queriers = || analysis.multicast.segments().flat_map(|segment| segment.queriers.values());
        let Some(first) = queriers().min_by_key(|querier| querier.first.time) else { return Outcome::Quiet };
        let found = analysis.domains.iter().filter_map(|domain| self.finding(analysis, domain, first));
        Outcome::from_findings(found.collect())
    }
}

impl Layer2PtpDroppedBySnooping {
    fn finding(&self, analysis: &Analysis, domain: &Domain, querier: &Querier) -> Option<Finding> {
        if domain.transports.iter().any(|transport| *transport != Transport::Ethernet) {
            return None;
        }
        let (asked, last) = (querier.first.time?, domain.last.time?);
        let after = analysis.end?.since(last);
        let ends_then = last >= asked.plus(Nanos(-1_000_000_000)) && last.since(asked) <= SOON;
        if !ends_then || asked.since(domain.first.time?) < BEFORE || after < BEFORE {
            return None;
        }
        // Something else was captured all the while.
        if analysis.may_have_been_set_by(after) {
            return None;
        }
        let title = format!("{}: its messages stop at {}, as queries begin", domain.key, at(analysis, last));
        let evidence = vec![
            Evidence::at(Some(querier.first), format!("first query of {}", querier.address)),
            Evidence::at(
                Some(domain.last),
                format!("last message; none in the {} after", after.as_seconds_text()),
            ),
        ];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key))
    }
}
