//! `duplicate-clock-identity`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::OwnSeries;
use crate::domains::SourceAddress;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Two devices send under one port identity.
pub(super) struct DuplicateClockIdentity;

impl Rule for DuplicateClockIdentity {
    fn id(&self) -> &'static str {
        "duplicate-clock-identity"
    }

    fn summary(&self) -> &'static str {
        "two devices send under one clock identity"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut apart = false;
        for domain in analysis.domains.iter() {
            for port in domain.ports.values() {
                let Some((kind, one, other)) = port.twins.two() else { continue };
                if one.way == other.way {
                    findings.push(self.finding(analysis, domain, port, (kind, one, other)));
                } else {
                    apart = true;
                }
            }
        }
        if apart && findings.is_empty() {
            return Outcome::CannotTell(
                "one identity was captured at two interfaces with numbers of their own: two devices, or two legs of one"
                    .to_owned(),
            );
        }
        Outcome::from_findings(findings)
    }
}

impl DuplicateClockIdentity {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: &ClockPort,
        (kind, one, other): (Kind, OwnSeries, OwnSeries),
    ) -> Finding {
        let evidence = [one, other].into_iter().map(|series| Evidence {
            place: Some(series.first),
            text: format!(
                "{} {} from {}, which went on {} times with numbers of its own after the other's",
                series.count,
                kind.name(),
                address(&series.source),
                series.returns
            ),
        });
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Shown,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{}: {} and {} both send as {}",
                domain.key,
                address(&one.source),
                address(&other.source),
                port.port
            ),
            evidence: evidence.collect(),
            next: vec![
                "find both in the switches' address tables",
                "give one of them its own identity: a cloned image or a fixed default is the usual cause",
            ],
            sources: vec![
                "a clock identity is unique: IEEE 1588-2008 7.5.2.2 (from memory)",
                "10 messages from each, 5 returns to its own numbers (chosen)",
            ],
        }
    }
}

fn address(source: &SourceAddress) -> String {
    match (source.mac, source.ip) {
        (Some(mac), _) => mac.to_string(),
        (None, Some(ip)) => ip.to_string(),
        (None, None) => "an unknown address".to_owned(),
    }
}
