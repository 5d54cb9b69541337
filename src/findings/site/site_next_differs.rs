//! `site-next-differs`

use super::view;
use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::Standing;
use crate::findings::Evidence;
use crate::findings::Finding;
use crate::findings::Outcome;
use crate::findings::Rule;
use crate::findings::Severity;
use crate::site::same_clock;

/// Another clock would take over than the site file names.
pub(super) struct SiteNextDiffers;

impl Rule for SiteNextDiffers {
    fn id(&self) -> &'static str {
        "site-next-differs"
    }

    fn summary(&self) -> &'static str {
        "another clock would take over the lead than the site file names"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let Some(site) = view::site(analysis).filter(|site| !site.clock.next.is_empty()) else {
            return Outcome::Quiet;
        };
        let mut findings = Vec::new();
        let mut unheard = false;
        for domain in analysis.domains.iter().filter(|domain| analysis.site.is(&domain.key)) {
            let Some(leader) = domain.election.leader() else { continue };
            // Who leads is another rule's matter; what is left of the list is to follow, in its order.
            let wanted: Vec<ClockId> =
                site.clock.next.iter().copied().filter(|next| !same_clock(*next, leader)).collect();
            let is_named = |clock: ClockId| site.clock.leader.is_some_and(|named| same_clock(named, clock));
            let seen: Vec<ClockId> =
                Standing::at_end(domain).succession(Some(leader)).filter(|clock| !is_named(*clock)).collect();
            let Some(first) = wanted.first() else { continue };
            match seen.first() {
                Some(other) if !same_clock(*first, *other) => {
                    findings.push(self.finding(domain, *first, &seen));
                }
                Some(_) => {}
                None => unheard = true,
            }
        }
        if findings.is_empty() && (unheard || analysis.site.keys.is_empty()) {
            let why = "a clock that stands by need not announce itself, and none but the leader was heard to";
            return Outcome::CannotTell(why.to_owned());
        }
        Outcome::from_findings(findings)
    }
}

impl SiteNextDiffers {
    fn finding(&self, domain: &Domain, wanted: ClockId, seen: &[ClockId]) -> Finding {
        let evidence = seen.iter().map(|clock| {
            let port = domain.ports.values().find(|port| port.port.clock == *clock);
            let text = format!("{clock} announces itself and would lead next");
            Evidence { place: port.map(|port| port.last), text }
        });
        let other = seen.first().map(ToString::to_string).unwrap_or_default();
        Finding {
            id: self.id(),
            severity: Severity::Minor,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{}: of the clocks heard, {other} would take over, and the site file names {wanted}",
                domain.key
            ),
            evidence: evidence.take(1).collect(),
            next: vec![
                "check that the named clock is there, and its priority1 and priority2",
                "if the other is meant to take over, correct next in the site file",
            ],
            sources: vec![
                "the site file",
                "a clock that lost the election is quiet: IEEE 1588-2008 9.2.5, 9.3 (from memory)",
            ],
        }
    }
}
