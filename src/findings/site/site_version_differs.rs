//! `site-version-differs`

use super::view;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::site::PtpVersion;

/// Another version of PTP is spoken than the site file names.
pub(super) struct SiteVersionDiffers;

impl Rule for SiteVersionDiffers {
    fn id(&self) -> &'static str {
        "site-version-differs"
    }

    fn summary(&self) -> &'static str {
        "another version of PTP is spoken than the site file names"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let wanted = view::site(analysis).and_then(|site| site.clock.version);
        let Some(wanted) = wanted else { return Outcome::Quiet };
        if analysis.ptp_messages == 0 {
            return Outcome::CannotTell("there is no PTP in this capture".to_owned());
        }
        if analysis.domains.iter().all(|domain| domain.key.is_v1() != wanted.is_v1()) {
            return Outcome::Broken(vec![self.other_version(analysis, wanted)]);
        }
        let PtpVersion::TwoDot(minor) = wanted else { return Outcome::Quiet };
        let own = analysis.domains.iter().filter(|domain| analysis.site.is(&domain.key));
        Outcome::from_findings(own.filter_map(|domain| self.other_minor(domain, minor)).collect())
    }
}

impl SiteVersionDiffers {
    fn other_version(&self, analysis: &Analysis, wanted: PtpVersion) -> Finding {
        let evidence = analysis.domains.iter().map(|domain| Evidence {
            place: Some(domain.first),
            text: format!("first message in {}", domain.key),
        });
        let seen = if wanted.is_v1() { "2" } else { "1" };
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Inferred,
            domain: None,
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("only PTP version {seen} was seen; the site file names version {wanted}"),
            evidence: evidence.collect(),
            next: vec![
                "check the version that the devices are set to: the two do not understand each other",
                "check that this capture point sees the site's VLAN and groups",
                "if the site's version has changed, correct version in the site file",
            ],
            sources: vec!["the site file", "IEEE 1588-2008 clause 18 (from memory)"],
        }
    }

    fn other_minor(&self, domain: &Domain, minor: u8) -> Option<Finding> {
        let others =
            domain.ports.values().filter(|port| port.minor_versions.iter().any(|seen| *seen != minor));
        let evidence: Vec<Evidence> = others
            .map(|port| {
                let seen: Vec<String> =
                    port.minor_versions.iter().map(|minor| format!("2.{minor}")).collect();
                let text =
                    format!("first message of {}, which sends version {}", port.port, seen.join(" and "));
                Evidence { place: Some(port.first), text }
            })
            .collect();
        (!evidence.is_empty()).then(|| Finding {
            id: self.id(),
            severity: Severity::Minor,
            strength: Strength::Shown,
            domain: Some(domain.key),
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{}: {} of {} ports send another version than 2.{minor}, which the site file names",
                domain.key,
                evidence.len(),
                domain.ports.len()
            ),
            evidence,
            next: vec![
                "2.0 and 2.1 understand each other; look here where one device ignores another",
                "if both are meant to be there, say version = 2 in the site file",
            ],
            sources: vec!["the site file", "minorVersionPTP: IEEE 1588-2019 7.5.4, 13.3.2.5 (from memory)"],
        })
    }
}
