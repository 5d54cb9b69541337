//! `site-leader-differs`

use super::view;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::Tenure;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::findings::finding::at;
use crate::site::same_clock;

/// Another clock leads than the site file names.
pub(super) struct SiteLeaderDiffers;

impl Rule for SiteLeaderDiffers {
    fn id(&self) -> &'static str {
        "site-leader-differs"
    }

    fn summary(&self) -> &'static str {
        "another clock leads the site's domain than the site file names"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(site) = view::site(analysis) else { return Outcome::Quiet };
        let Some(wanted) = site.clock.leader else { return Outcome::Quiet };
        let own = analysis.domains.iter().filter(|domain| analysis.site.is(&domain.key));
        let led: Vec<(&Domain, &Tenure)> =
            own.filter_map(|domain| Some((domain, domain.election.current()?))).collect();
        let mut findings = Vec::new();
        // The file names one leader and no VLAN: where it leads on one of them, others of the same number are none of its
        // matter.
        if !led.iter().any(|(_, tenure)| same_clock(wanted, tenure.clock)) {
            for (domain, tenure) in &led {
                let is_next = site.clock.next.iter().any(|next| same_clock(*next, tenure.clock));
                findings.push(self.finding(analysis, domain, tenure, wanted, is_next));
            }
        }
        if led.is_empty() {
            return Outcome::CannotTell(
                "nobody leads the site's domain at the end of this capture".to_owned(),
            );
        }
        Outcome::from_findings(findings)
    }
}

impl SiteLeaderDiffers {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        tenure: &Tenure,
        wanted: ClockId,
        is_next: bool,
    ) -> Finding {
        let since = format!("{} leads from here on, since {}", tenure.clock, at(analysis, tenure.from));
        let mut evidence = vec![Evidence { place: Some(tenure.from_place), text: since }];
        let own = domain.election.tenures().filter(|before| same_clock(wanted, before.clock)).last();
        let own = own.map(|before| {
            let text = format!("{wanted} led until here ({})", before.ended_by.name());
            Evidence { place: before.until_place, text }
        });
        let heard = domain.ports.values().find(|port| same_clock(wanted, port.port.clock));
        let heard = heard.map(|port| {
            let text = format!("{wanted} is heard: its last message");
            Evidence { place: Some(port.last), text }
        });
        let silent =
            Evidence { place: None, text: format!("{wanted} was not heard in {} at all", domain.key) };
        evidence.push(own.or(heard).unwrap_or(silent));
        let role = if is_next { "listed to take over" } else { "not listed to lead at all" };
        Finding {
            id: self.id(),
            severity: Severity::Major,
            strength: Strength::Shown,
            domain: Some(domain.key),
            device: analysis.device_of(tenure.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{}: {} leads instead of {wanted}; it is {role}", domain.key, tenure.clock),
            evidence,
            next: vec![
                "if the named leader fell silent: check its power, its link and its reference",
                "if it is there and loses the election: compare priority1, clockClass and priority2 of both",
                "if the change is intended, correct leader in the site file",
            ],
            sources: vec!["the site file", "election: IEEE 1588-2008 9.3 (from memory)"],
        }
    }
}
