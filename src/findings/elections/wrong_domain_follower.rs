//! `wrong-domain-follower`

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::devices::listed;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Place;

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
        if crate::findings::site::site_domain_differs::is_elsewhere(analysis) {
            // Nobody is in the domain that the site file names: that has a rule of its own.
            return Outcome::Quiet;
        }
        let mut findings = Vec::new();
        // Those in the site's domain number with another sdoId are the matter of another rule.
        let other_number =
            |key: Option<DomainKey>| key.is_none_or(|key| analysis.site.with_another_sdo_id(&key).is_none());
        let astray: Vec<&Device> = analysis
            .devices
            .iter()
            .filter(|device| device.state == State::Astray && other_number(device.in_domain))
            .collect();
        if astray.is_empty() {
            return withheld(analysis);
        }
        if let ([_, _, ..], true) = (astray.as_slice(), analysis.site.keys.is_empty()) {
            // The domain named is not there at all: one cause, not as many as there are devices.
            return Outcome::from_findings(vec![self.all_elsewhere(analysis, &astray)]);
        }
        for device in astray {
            let domain = device.in_domain.and_then(|key| analysis.domains.get(&key));
            let mut evidence: Vec<Evidence> =
                device.reasons.iter().map(|reason| Evidence { place: None, text: reason.clone() }).collect();
            if let Some((domain, place)) =
                domain.and_then(|domain| Some((domain, first_message(domain, device)?)))
            {
                let text = format!("its first message in {}", domain.key);
                evidence.insert(0, Evidence { place: Some(place), text });
            }
            // Whom the site file lists as not needing the site's clock is meant to be elsewhere.
            let severity = if may_be_elsewhere(analysis, device) {
                evidence.push(Evidence {
                    place: None,
                    text: "the site file lists it, and not as needing the site's clock".to_owned(),
                });
                Severity::Info
            } else {
                Severity::Critical
            };
            let home = analysis.site.name();
            let there = device.in_domain.map(|key| key.to_string()).unwrap_or_default();
            findings.push(Finding {
                id: self.id(),
                severity,
                strength: device.strength,
                domain: device.in_domain,
                device: Some(device.key.clone()),
                stream: None,
                follows_from: None,
                affected: Vec::new(),
                title: format!("{} is in {there}, the site's clock is in {home}", device.key),
                evidence,
                next: vec![
                    "set the device to the domain that the leader uses",
                    if analysis.site.assumed {
                        "if the second domain is intended, name the site's with --domain"
                    } else {
                        "if the second domain is intended, the device is none of this site's: take it out of what is judged"
                    },
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

fn may_be_elsewhere(analysis: &Analysis, device: &Device) -> bool {
    let entries = analysis.settings.site.iter().flat_map(|site| &site.devices);
    let mut own = entries
        .filter(|entry| listed(&analysis.devices, entry).is_some_and(|listed| listed.key == device.key));
    own.next().is_some_and(|entry| !entry.needs_clock)
}

/// Quiet, or why this capture does not tell whether a device is alone where it is.
fn withheld(analysis: &Analysis) -> Outcome {
    let doubts = analysis.devices.iter().flat_map(|device| {
        device.withheld.iter().filter(|held| held.state == State::Astray).map(move |held| (device, held))
    });
    let doubts: Vec<_> = doubts.collect();
    let Some((device, held)) = doubts.first() else { return Outcome::Quiet };
    let more = match doubts.len() {
        1 => String::new(),
        n => format!("; so for {} more", n - 1),
    };
    Outcome::CannotTell(format!(
        "{} takes part in {}, and whether it is alone there is not shown: {}{more}; name the site's domain with --domain",
        device.key, held.domain, held.why
    ))
}

/// The first message that a device sent in a domain.
fn first_message(domain: &Domain, device: &Device) -> Option<Place> {
    device.clocks.iter().flat_map(|clock| domain.ports_of(*clock)).map(|port| port.first).min()
}

impl WrongDomainFollower {
    fn all_elsewhere(&self, analysis: &Analysis, astray: &[&Device]) -> Finding {
        let evidence = astray.iter().filter_map(|device| {
            let domain = analysis.domains.get(&device.in_domain?)?;
            let text = format!("first message of {} in {}", device.key, domain.key);
            Some(Evidence { place: first_message(domain, device), text })
        });
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Shown,
            domain: None,
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{} devices are in other domains; the site's clock is in {}",
                astray.len(),
                analysis.site.name()
            ),
            evidence: evidence.collect(),
            next: vec![
                "check the number given with --domain, and that this capture point sees the site's VLAN",
                "if both are right, the devices listed are set to another domain than the site's",
            ],
            sources: vec!["IEEE 1588-2008 7.1 (from memory)"],
        }
    }
}
