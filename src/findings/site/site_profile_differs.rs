//! `site-profile-differs`

use super::view;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::profiles;
use crate::profiles::Confidence;
use crate::profiles::Deviation;

/// The site's domain differs from the profile that the site file names.
pub(super) struct SiteProfileDiffers;

impl Rule for SiteProfileDiffers {
    fn id(&self) -> &'static str {
        "site-profile-differs"
    }

    fn summary(&self) -> &'static str {
        "the site's domain differs from the profile that the site file names"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let wanted = view::site(analysis).and_then(|site| site.clock.profile);
        let Some(profile) = wanted else { return Outcome::Quiet };
        let mut findings = Vec::new();
        let mut enough = false;
        for domain in analysis.domains.iter().filter(|domain| analysis.site.is(&domain.key)) {
            let fit = profiles::score_against(domain, profile);
            enough |= fit.seen_enough;
            let sure: Vec<&Deviation> = fit
                .deviations
                .iter()
                .filter(|deviation| deviation.confidence != Confidence::Unsure)
                .collect();
            if sure.is_empty() {
                continue;
            }
            let evidence = sure.iter().map(|deviation| Evidence {
                place: None,
                text: format!(
                    "{} {}, where the profile has {} ({})",
                    deviation.item, deviation.seen, deviation.expected, deviation.source
                ),
            });
            findings.push(Finding {
                id: self.id(),
                severity: Severity::Major,
                strength: Strength::Shown,
                domain: Some(domain.key),
                device: None,
                stream: None,
                follows_from: None,
                affected: Vec::new(),
                title: format!(
                    "{}: {} of {} points seen differ from {}, which the site file names",
                    domain.key,
                    sure.len(),
                    fit.judged,
                    profile.title
                ),
                evidence: evidence.collect(),
                next: vec![
                    "set the leader, and then the followers, to the profile's values",
                    "if another profile is meant, correct profile in the site file",
                ],
                sources: vec!["the site file", "each value's own source stands beside it (docs/profiles.md)"],
            });
        }
        if findings.is_empty() && !enough {
            return Outcome::CannotTell(format!(
                "too little of the site's domain was seen to compare it with {}",
                profile.title
            ));
        }
        Outcome::from_findings(findings)
    }
}
