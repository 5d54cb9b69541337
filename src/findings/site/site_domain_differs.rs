//! `site-domain-differs`

use super::view;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;

/// The domain that the site file names is not there, and others are.
pub(super) struct SiteDomainDiffers;

/// Whether the site's domain was taken from the file, and is not in the capture.
pub(in crate::findings) fn is_elsewhere(analysis: &Analysis) -> bool {
    view::site(analysis).is_some_and(|site| site.clock.domain.is_some())
        && analysis.settings.domain.is_none()
        && analysis.site.keys.is_empty()
}

impl Rule for SiteDomainDiffers {
    fn id(&self) -> &'static str {
        "site-domain-differs"
    }

    fn summary(&self) -> &'static str {
        "the domain that the site file names is not there, and others are"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if !is_elsewhere(analysis) {
            return Outcome::Quiet;
        }
        let evidence: Vec<Evidence> = analysis.domains.iter().map(domain_seen).collect();
        if evidence.is_empty() {
            return Outcome::CannotTell("there is no PTP in this capture".to_owned());
        }
        let seen: Vec<String> = analysis.domains.iter().map(|domain| domain.key.to_string()).collect();
        Outcome::Broken(vec![Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Inferred,
            domain: None,
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("the site's clock is in {}; seen: {}", analysis.site.name(), seen.join(", ")),
            evidence,
            next: vec![
                "check that this capture point sees the site's VLAN and groups",
                "if it does, the devices are set to another domain than the site's",
                "if the site's domain has changed, correct domain in the site file",
            ],
            sources: vec!["the site file", "IEEE 1588-2008 7.1 (from memory)"],
        }])
    }
}

fn domain_seen(domain: &Domain) -> Evidence {
    let leader = domain
        .election
        .leader()
        .map_or_else(|| "nobody leads it".to_owned(), |leader| format!("{leader} leads it"));
    let text = format!("first message in {}, of {} ports; {leader}", domain.key, domain.ports.len());
    Evidence { place: Some(domain.first), text }
}
