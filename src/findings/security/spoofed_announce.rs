//! `spoofed-announce`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Messages of the stranger before anything is said (chosen: one alone may be damaged).
const MESSAGES: u64 = 3;

/// A stranger sends under a clock's identity.
pub(super) struct SpoofedAnnounce;

impl Rule for SpoofedAnnounce {
    fn id(&self) -> &'static str {
        "spoofed-announce"
    }

    fn summary(&self) -> &'static str {
        "messages under a clock's identity from an address that is not its own, while its own go on"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find the strange address in the switches' tables and shut its port until it is explained",
            "a cloned image or a test tool explains it as well as an attack does",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 7384 sections 3.2.1 and 3.2.3 (from memory)",
            "3 messages with numbers of their own, 2 returns of the owner to its numbers (chosen)",
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

impl SpoofedAnnounce {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let (kind, own, strange) = port.twins.stranger(port.port.clock.mac()?)?;
        // Files of several places may hold what a clock on the way sent on under its own address.
        if strange.count < MESSAGES || analysis.may_be_of_several_places() {
            return None;
        }
        let (owner, stranger) = (own.source.mac?, strange.source.mac?);
        let title =
            format!("{}: {stranger} sends as {}, whose own address is {owner}", domain.key, port.port);
        let evidence = vec![
            Evidence::at(Some(strange.first), format!("{} {} from {stranger}", strange.count, kind.name())),
            Evidence::at(
                own.returned,
                format!(
                    "{} from {owner}, which went on {} times with its own numbers",
                    own.count, own.returns
                ),
            ),
        ];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
