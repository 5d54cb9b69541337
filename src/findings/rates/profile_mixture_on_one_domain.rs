//! `profile-mixture-on-one-domain`

use std::collections::BTreeMap;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::units::Nanos;

/// Announces of a clock before its interval counts (chosen: 10 s at 2 s).
const ANNOUNCES: u64 = 5;

/// Clocks of one domain announce by different settings.
pub(super) struct ProfileMixtureOnOneDomain;

impl Rule for ProfileMixtureOnOneDomain {
    fn id(&self) -> &'static str {
        "profile-mixture-on-one-domain"
    }

    fn summary(&self) -> &'static str {
        "clocks of one domain declare different Announce intervals: profiles meet that do not fit together"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "set one profile on all clocks of the domain, or give each profile a domain of its own",
            "followers wait for three intervals of their own setting: a slower leader is lost to them",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "portDS.logAnnounceInterval shall be uniform throughout a domain: IEEE 1588-2008 7.7.2.2 (from memory)",
            "5 Announces from each (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.domains.iter().filter_map(|domain| self.finding(analysis, domain));
        Outcome::from_findings(found.collect())
    }
}

impl ProfileMixtureOnOneDomain {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let mut by_interval: BTreeMap<Nanos, Vec<&ClockPort>> = BTreeMap::new();
        for port in domain.ports.values().filter(|port| port.count(Kind::Announce) >= ANNOUNCES) {
            // By unicast each pair agrees on an interval of its own.
            if port.marks.get(&Kind::Announce).is_some_and(|marks| marks.multicast == 0) {
                continue;
            }
            if let Some(declared) = port.series(Kind::Announce).and_then(Cadence::declared_interval) {
                by_interval.entry(declared).or_default().push(port);
            }
        }
        if by_interval.len() < 2 {
            return None;
        }
        let evidence = by_interval.iter().flat_map(|(declared, ports)| {
            ports.iter().map(|port| {
                let text = format!("{} declares an Announce every {}", port.port, duration(*declared));
                Evidence::at(port.series(Kind::Announce).and_then(Cadence::last), text)
            })
        });
        let title =
            format!("{}: clocks declare {} different Announce intervals", domain.key, by_interval.len());
        let finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence.collect());
        let leader = domain.election.leader();
        let finding = finding.in_domain(domain.key);
        Some(match leader {
            Some(leader) => finding.about_clock(analysis, leader),
            None => finding,
        })
    }
}
