//! `peer-delay-several-responders`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Mechanism;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Requests answered by two before it is said (reference: 3).
const REQUESTS: u64 = 3;

/// Two neighbours answer one peer-delay request.
pub(super) struct PeerDelaySeveralResponders;

impl Rule for PeerDelaySeveralResponders {
    fn id(&self) -> &'static str {
        "peer-delay-several-responders"
    }

    fn summary(&self) -> &'static str {
        "one peer-delay request is answered by two ports: something between them forwards what belongs to one link"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "replace the switch or hub between the two by one that takes part in peer delay",
            "or ask for delay end-to-end, where the profile allows it",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 11.4.3; IEEE 802.1AS 11.2, which stops for 5 minutes after three (from memory)",
            "3 requests answered by two ports (reference)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for ((port, mechanism), requester) in &domain.requesters {
                let twice = requester.checks().answered_twice;
                if *mechanism != Mechanism::PeerToPeer || twice.times < REQUESTS {
                    continue;
                }
                let responders: Vec<String> =
                    requester.responders().iter().map(|(who, times)| format!("{who} ({times})")).collect();
                let text = format!(
                    "{} Pdelay_Req were answered by two ports; answers from {}",
                    twice.times,
                    responders.join(", ")
                );
                let severity = if domain.key.is_gptp() { Severity::Critical } else { Severity::Major };
                // Files of several places may hold several links.
                let one_place = analysis.captures.len() == 1;
                let strength = if one_place { Strength::Shown } else { Strength::Inferred };
                let title = format!("{}: {} neighbours answer {port}", domain.key, responders.len());
                let evidence = vec![Evidence::at(twice.first, text)];
                let finding = Finding::of(self, (severity, strength), title, evidence);
                findings.push(finding.in_domain(domain.key).about_clock(analysis, port.clock));
            }
        }
        Outcome::from_findings(findings)
    }
}
