//! `announce-interval-mismatch`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Impatience;
use crate::domains::PortId;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// A clock gives the leader up between its Announces, again and again.
pub(super) struct AnnounceIntervalMismatch;

impl Rule for AnnounceIntervalMismatch {
    fn id(&self) -> &'static str {
        "announce-interval-mismatch"
    }

    fn summary(&self) -> &'static str {
        "a clock expects Announces oftener than the leader sends them, and takes over in between"
    }

    fn next(&self) -> &'static [&'static str] {
        &["set one announce interval and one receipt timeout on all devices of the domain"]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 7.7.2.2, 7.7.3.1 (from memory); receipt timeout 3, not on the wire, assumed",
            "begun and stopped 5 times (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let ports = domain.ports.keys();
            findings.extend(ports.filter_map(|port| self.finding(analysis, domain, *port)));
        }
        Outcome::from_findings(findings)
    }
}

impl AnnounceIntervalMismatch {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: PortId) -> Option<Finding> {
        let Impatience { announcer, own, leader, theirs } = domain.impatience(port)?;
        let (slow, quick) = (theirs.declared_interval()?, announcer.interval());
        let title = format!(
            "{}: {} expects an Announce every {} and leads in the gaps of {}, which sends one every {}",
            domain.key,
            port,
            quick.as_seconds_text(),
            leader.port,
            slow.as_seconds_text()
        );
        let text = format!(
            "{} Announces in {} spells, none lost; it waits {}, the leader's interval is {}",
            own.count(),
            announcer.pauses + 1,
            announcer.timeout().as_seconds_text(),
            slow.as_seconds_text()
        );
        let evidence = vec![
            Evidence::at(Some(announcer.last_place), text),
            Evidence::at(
                theirs.last(),
                format!("{} Announces of {}, none lost", theirs.count(), leader.port),
            ),
        ];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.clock))
    }
}
