//! `no-backup-master`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::last_announce;
use crate::findings::leading::leading_data;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// No second clock has shown itself.
pub(super) struct NoBackupMaster;

impl Rule for NoBackupMaster {
    fn id(&self) -> &'static str {
        "no-backup-master"
    }

    fn summary(&self) -> &'static str {
        "only one clock has offered to lead; a silent standby may exist"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "ask who should take over, and see that it has the next priority1",
            "to be sure, capture while the leader is taken away in a quiet hour: losers of an election are silent by design",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["a clock that lost the election sends no Announce: IEEE 1588-2008 9.3 (from memory)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let domains = analysis.domains.iter();
        Outcome::from_findings(domains.filter_map(|domain| self.finding(analysis, domain)).collect())
    }
}

impl NoBackupMaster {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let (port, ..) = leading_data(analysis, domain)?;
        let offers = domain.ports.values().filter_map(|port| port.offer);
        let offered: BTreeSet<ClockId> =
            offers.chain(domain.silent_candidates()).map(|offer| offer.grandmaster).collect();
        let followed = analysis.devices.iter().any(|device| {
            device.in_domain == Some(domain.key) && matches!(device.state, State::Following | State::Relaying)
        });
        if offered.len() != 1 || !followed {
            return None;
        }
        let leader = domain.election.leader()?;
        let title = format!("{}: no backup of {leader} has shown itself", domain.key);
        let text = "no other clock announced, or answered that it could lead, while this was captured";
        let evidence = vec![Evidence::at(last_announce(port), text)];
        let finding = Finding::of(self, (Severity::Info, Strength::Shown), title, evidence);
        Some(finding.in_domain(domain.key))
    }
}
