//! `replayed-or-stale-messages`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Copies from which something is said (chosen).
const COPIES: u64 = 3;

/// Old messages come again.
pub(super) struct ReplayedOrStaleMessages;

impl Rule for ReplayedOrStaleMessages {
    fn id(&self) -> &'static str {
        "replayed-or-stale-messages"
    }

    fn summary(&self) -> &'static str {
        "messages of the leader come again more than a second after they were sent"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look for a loop between switches: spanning-tree events, a second cable",
            "if there is none, somebody sends recorded messages: find the port they come from",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["RFC 7384 section 3.2.4 (from memory)", "3 copies, each more than 1 s after the first (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut merged = false;
        for domain in analysis.domains.iter() {
            for port in domain.ports.values().filter(|port| port.replays.count() >= COPIES) {
                if analysis.may_be_of_several_places() || port.replays.are_of_two_captures() {
                    merged = true;
                } else {
                    findings.push(self.finding(analysis, domain, port));
                }
            }
        }
        if findings.is_empty() && merged {
            return Outcome::CannotTell(
                "many messages come twice: this may be two captures of one network in one".to_owned(),
            );
        }
        Outcome::from_findings(findings)
    }
}

impl ReplayedOrStaleMessages {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Finding {
        let copies = port.replays.count();
        let title = format!("{}: {copies} old messages of {} came again", domain.key, port.port);
        let evidence = port.replays.places().iter().map(|place| {
            let text = "the number and the time of sending were captured more than a second before";
            Evidence::at(Some(*place), text)
        });
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence.collect());
        finding.in_domain(domain.key).about_clock(analysis, port.port.clock)
    }
}
