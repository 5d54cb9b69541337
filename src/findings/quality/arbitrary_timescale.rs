//! `arbitrary-timescale`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::last_announce;
use crate::findings::leading::leading_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// The leader's time has no date.
pub(super) struct ArbitraryTimescale;

impl Rule for ArbitraryTimescale {
    fn id(&self) -> &'static str {
        "arbitrary-timescale"
    }

    fn summary(&self) -> &'static str {
        "the leader's time counts from an arbitrary instant: it has no date"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "for audio alone that is enough; for video phase, timecode and time of day use a leader that knows the date",
            "or set date and time on the leader, and its PTP timescale",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["ptpTimescale: IEEE 1588-2008 7.2.1, 13.3.2.6 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl ArbitraryTimescale {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let (port, _, _, flags) = leading_data(analysis, domain)?;
        if flags.ptp_timescale() {
            return None;
        }
        let leader = domain.election.leader()?;
        // A leader that sends ST 2059-2 metadata serves timecode.
        let metadata = domain.ports_of(leader).any(|port| port.synchronization_metadata.is_some());
        let severity = if metadata { Severity::Minor } else { Severity::Info };
        let title = format!("{}: the time of {leader} has no date (ptpTimescale is not set)", domain.key);
        let mut evidence = vec![Evidence::at(last_announce(port), "ptpTimescale 0 in its Announces")];
        if metadata {
            evidence
                .push(Evidence::at(None, "it sends ST 2059-2 metadata, so that timecode hangs on its time"));
        }
        let finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, leader))
    }
}
