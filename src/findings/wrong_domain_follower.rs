//! `wrong-domain-follower`

use super::finding::Evidence;
use super::finding::Finding;
use super::finding::Severity;
use super::rule::Outcome;
use super::rule::Rule;
use crate::analysis::Analysis;
use crate::devices::State;

/// A device takes part in a domain or version that is not the site's.
pub(super) struct WrongDomainFollower;

impl Rule for WrongDomainFollower {
    fn id(&self) -> &'static str {
        "wrong-domain-follower"
    }

    fn summary(&self) -> &'static str {
        "a device takes part in a domain or PTP version that is not the site's"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for device in analysis.devices.iter().filter(|device| device.state == State::Astray) {
            let domain = device.in_domain.and_then(|key| analysis.domains.get(&key));
            let mut evidence: Vec<Evidence> =
                device.reasons.iter().map(|reason| Evidence { place: None, text: reason.clone() }).collect();
            if let Some(domain) = domain {
                let ports = domain.ports.values().filter(|port| device.has_clock(port.port.clock));
                if let Some(port) = ports.min_by_key(|port| port.first) {
                    let text = format!("its first message in {}", domain.key);
                    evidence.insert(0, Evidence { place: Some(port.first), text });
                }
            }
            let home = analysis.site.name();
            let there = device.in_domain.map(|key| key.to_string()).unwrap_or_default();
            findings.push(Finding {
                id: self.id(),
                severity: Severity::Critical,
                strength: device.strength,
                domain: device.in_domain,
                device: Some(device.key.clone()),
                title: format!("{} is in {there}, the site's clock is in {home}", device.key),
                evidence,
                next: vec![
                    "set the device to the domain that the leader uses",
                    "if the second domain is intended, name the site's with --domain",
                ],
                sources: vec![
                    "IEEE 1588-2008 7.1 (from memory)",
                    "defaults 0 and 127: AES67, SMPTE ST 2059-2 (from memory)",
                ],
            });
        }
        Outcome::from_findings(findings)
    }
}
