//! `excess-steps-removed`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::AnnouncedField;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Happening;
use crate::domains::Kind;
use crate::domains::MAX_STEPS_REMOVED;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::leading::last_announce;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Place;
use crate::units::CaptureTime;

/// `stepsRemoved` above which a chain is worth a note (reference: 4, chosen).
const LONG_CHAIN: u16 = 4;

/// `stepsRemoved` above which a chain is longer than any A/V network needs (chosen).
const TOO_LONG_CHAIN: u16 = 15;

/// Announces of a port before its chain is judged (reference: 5).
const ANNOUNCES: u64 = 5;

/// Rises in a row, without a fall, that show an Announce going round (reference: 3).
const RISES: usize = 3;

/// A chain of boundary clocks is long, or an Announce goes round in a ring.
pub(super) struct ExcessStepsRemoved;

impl Rule for ExcessStepsRemoved {
    fn id(&self) -> &'static str {
        "excess-steps-removed"
    }

    fn summary(&self) -> &'static str {
        "a long chain of boundary clocks, or an old Announce that goes round among them"
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "stepsRemoved counts boundary clocks: IEEE 1588-2008 9.3.2.5, 13.5 (from memory)",
            "a note above 4 steps, minor above 15; 3 rises without a fall show a ring (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            // Only ports that are followed in the election, so that a flood of invented ones costs nothing.
            let followed = domain.election.announcers().keys().filter_map(|port| domain.ports.get(port));
            let rings: Vec<Finding> = followed.filter_map(|port| self.ring(analysis, domain, port)).collect();
            if rings.is_empty() {
                findings.extend(self.chain(analysis, domain));
            }
            findings.extend(rings);
        }
        Outcome::from_findings(findings)
    }
}

impl ExcessStepsRemoved {
    /// The farthest port of the domain, if it is far.
    fn chain(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let far = domain.ports.values().filter(|port| port.count(Kind::Announce) >= ANNOUNCES);
        let far = far.filter_map(|port| Some((port.offer?.steps_removed, port)));
        let counted = far.filter(|(steps, _)| (LONG_CHAIN + 1..MAX_STEPS_REMOVED).contains(steps));
        let (steps, port) = counted.max_by_key(|(steps, port)| (*steps, std::cmp::Reverse(port.port)))?;
        let severity = if steps > TOO_LONG_CHAIN { Severity::Minor } else { Severity::Info };
        let title = format!("{}: {} is {steps} steps from the leader", domain.key, port.port);
        let evidence = vec![Evidence::at(last_announce(port), format!("stepsRemoved {steps}"))];
        let mut finding = Finding::of(self, (severity, Strength::Shown), title, evidence);
        finding.next = vec!["shorten the chain: each boundary clock adds its own noise"];
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }

    /// Steps that only rise while the clock they lead to is silent.
    fn ring(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let grandmaster = port.offer?.grandmaster;
        let changes: Vec<(i64, i64, CaptureTime, Option<Place>)> = domain
            .events
            .iter()
            .filter_map(|event| {
                let Happening::DataChanged { port: sender, clock, changes } = &event.what else {
                    return None;
                };
                let field = changes.iter().find(|(field, ..)| *field == AnnouncedField::StepsRemoved);
                let (_, before, after) = field.filter(|_| *sender == port.port && *clock == grandmaster)?;
                Some((*before, *after, event.time, event.places.first().copied()))
            })
            .collect();
        let falls = changes.iter().rposition(|(before, after, ..)| after < before);
        let rises = changes.get(falls.map_or(0, |fall| fall + 1)..)?;
        let (first, last) = (rises.first()?, rises.last()?);
        let heard_since =
            domain.ports_of(grandmaster).filter_map(last_announce).filter_map(|place| place.time);
        if rises.len() < RISES || heard_since.max().is_some_and(|heard| heard >= first.2) {
            return None;
        }
        let title = format!(
            "{}: {} passes on Announces of {} that go round: stepsRemoved rose from {} to {}",
            domain.key, port.port, grandmaster, first.0, last.1
        );
        let evidence = rises.iter().map(|(before, after, time, place)| {
            Evidence::at(*place, format!("at {}: stepsRemoved {after} after {before}", at(analysis, *time)))
        });
        let mut finding =
            Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence.collect());
        finding.next = vec![
            "look for a ring in the cabling among boundary clocks and open it",
            "restart the PTP service of the boundary clocks in it",
        ];
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
