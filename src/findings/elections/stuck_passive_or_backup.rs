//! `stuck-passive-or-backup`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Announcer;
use crate::domains::Domain;
use crate::domains::Tenure;
use crate::domains::compare;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Place;
use crate::units::CaptureTime;

/// How many hand-overs the better clock may stay silent (reference: 2).
const HAND_OVERS: i64 = 2;

/// A better clock that is there stays silent while a worse one leads.
pub(super) struct StuckPassiveOrBackup;

impl Rule for StuckPassiveOrBackup {
    fn id(&self) -> &'static str {
        "stuck-passive-or-backup"
    }

    fn summary(&self) -> &'static str {
        "a better clock that is on the network stays silent while a worse one leads"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "check that the standby clock is still as good as it announced, and allowed to lead",
            "restart its PTP service, update it, and test the hand-over on purpose",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 9.3.3 (from memory); a passive port that kept old data, described in a public issue of an open-source daemon",
            "silent for two hand-overs of 4 intervals and the receipt timeout (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let Some(tenure) = domain.election.current() else { continue };
            let announcers = domain.election.announcers().values();
            findings.extend(announcers.filter_map(|silent| self.finding(analysis, domain, tenure, silent)));
        }
        Outcome::from_findings(findings)
    }
}

impl StuckPassiveOrBackup {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        tenure: &Tenure,
        silent: &Announcer,
    ) -> Option<Finding> {
        let clock = silent.candidate.grandmaster;
        // Only a clock that offered itself can be awaited; a boundary clock's offer ends with its leader.
        if clock != silent.candidate.sender.clock
            || clock == tenure.clock
            || domain.election.alive_at_end(silent)
        {
            return None;
        }
        let compared = compare(&silent.candidate, &tenure.latest, None);
        let since = tenure.from.max(silent.last);
        let awaited = since.plus(silent.hand_over().saturating_mul(HAND_OVERS));
        let seen = latest_sign(domain, silent, awaited)?;
        if compared.verdict.order().is_ge() || !silent.is_qualified() {
            return None;
        }
        let title = format!(
            "{}: {clock} is better than {} by {}, is there, and has not announced since {}",
            domain.key,
            tenure.clock,
            compared.decided_by.name(),
            at(analysis, silent.last)
        );
        let evidence = vec![
            Evidence::at(Some(silent.last_place), format!("last Announce of {clock}")),
            Evidence::at(
                Some(tenure.from_place),
                format!("{} leads from {}", tenure.clock, at(analysis, tenure.from)),
            ),
            Evidence::at(Some(seen), format!("{clock} still sends other PTP messages")),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, clock))
    }
}

/// The latest message of the silent clock's ports, where that is after it was awaited.
fn latest_sign(domain: &Domain, silent: &Announcer, awaited: CaptureTime) -> Option<Place> {
    let last = domain.ports_of(silent.candidate.grandmaster).map(|port| port.last);
    last.filter(|place| place.time.is_some_and(|time| time > awaited)).max_by_key(|place| place.time)
}
