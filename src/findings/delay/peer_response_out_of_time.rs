//! `peer-response-out-of-time`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Mechanism;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;

/// Late answers before they are told (reference: 2 occurrences).
const ANSWERS: u64 = 2;

/// Answers to peer-delay requests come after the next request.
pub(super) struct PeerResponseOutOfTime;

impl Rule for PeerResponseOutOfTime {
    fn id(&self) -> &'static str {
        "peer-response-out-of-time"
    }

    fn summary(&self) -> &'static str {
        "a neighbour answers a peer-delay request after the next one has been sent"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at the load of the device that answers, and update it",
            "some devices take an answer to a request they have given up for a fault and stop their port for some seconds",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "2 answers after the next request (chosen)",
            "what a late answer does: public threads of PTP daemons",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for ((port, mechanism), requester) in &domain.requesters {
                let late = requester.checks().overtaken;
                if *mechanism != Mechanism::PeerToPeer || late.times < ANSWERS {
                    continue;
                }
                let longest = requester.response_time().summary().map(|summary| duration(summary.max));
                let text = format!(
                    "{} of {} answers came after the next Pdelay_Req; the longest took {}",
                    late.times,
                    requester.answered(),
                    longest.unwrap_or_default()
                );
                let title = format!("{}: {port} gets answers to requests that it has overtaken", domain.key);
                let evidence = vec![Evidence::at(late.first, text)];
                let finding = Finding::of(self, (Severity::Minor, Strength::Shown), title, evidence);
                findings.push(finding.in_domain(domain.key).about_clock(analysis, port.clock));
            }
        }
        Outcome::from_findings(findings)
    }
}
