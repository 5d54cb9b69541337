//! `dscp-missing-or-inconsistent`

use std::collections::BTreeMap;
use std::collections::BTreeSet;

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

/// Event messages of a port before its marks count (reference: 10).
const MESSAGES: u64 = 10;

/// Ports named in one line of evidence (chosen).
const NAMED: usize = 8;

/// Event messages of PTP without priority, or with different ones.
pub(super) struct DscpMissingOrInconsistent;

impl Rule for DscpMissingOrInconsistent {
    fn id(&self) -> &'static str {
        "dscp-missing-or-inconsistent"
    }

    fn summary(&self) -> &'static str {
        "PTP event messages of some devices carry no code point for priority, or not the others'"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "mark PTP event messages alike on all devices, or let the switches sort by UDP ports 319 and 320",
            "AES67 expects code point 46 for the clock; ask what the switches do with the code points seen here",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "code points: RFC 2474; 46 (EF) for PTP: AES67 (from memory)",
            "10 event messages of each device; behind a device that marks anew this shows its marks (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let found = analysis.domains.iter().filter_map(|domain| self.finding(analysis, domain));
        Outcome::from_findings(found.collect())
    }
}

/// The kind of event messages that a port sent most, and its usual code point.
fn usual(port: &ClockPort) -> Option<(Kind, u8)> {
    let events = [Kind::Sync, Kind::DelayReq, Kind::PdelayReq, Kind::PdelayResp];
    let marked = events.into_iter().filter_map(|kind| {
        let marks = port.marks.get(&kind)?;
        let (dscp, seen) = marks.dscp.iter().max_by_key(|(_, seen)| **seen)?;
        Some((*seen, kind, *dscp))
    });
    let (seen, kind, dscp) = marked.max_by_key(|(seen, ..)| *seen)?;
    (seen >= MESSAGES).then_some((kind, dscp))
}

impl DscpMissingOrInconsistent {
    fn finding(&self, analysis: &Analysis, domain: &Domain) -> Option<Finding> {
        let mut by_mark: BTreeMap<u8, Vec<(&ClockPort, Kind)>> = BTreeMap::new();
        for port in domain.ports.values() {
            if let Some((kind, dscp)) = usual(port) {
                by_mark.entry(dscp).or_default().push((port, kind));
            }
        }
        let leader = domain.election.leader();
        let leader_unmarked = by_mark.get(&0).is_some_and(|ports| {
            ports.iter().any(|(port, kind)| Some(port.port.clock) == leader && *kind == Kind::Sync)
        });
        let shared = analysis.scope.sees_other_udp().is_in_view();
        let marks: BTreeSet<u8> = by_mark.keys().copied().collect();
        let (severity, what) = match (marks.len(), marks.contains(&0)) {
            (0, _) => return None,
            (1, true) if shared => (Severity::Info, "event messages carry no code point".to_owned()),
            (1, _) => return None,
            (_, true) => {
                let severity = if leader_unmarked && shared { Severity::Major } else { Severity::Minor };
                (
                    severity,
                    "event messages of some devices carry no code point, those of others do".to_owned(),
                )
            }
            (several, false) => {
                (Severity::Info, format!("event messages carry {several} different code points"))
            }
        };
        let evidence = by_mark.iter().map(|(dscp, ports)| {
            let names: Vec<String> =
                ports.iter().take(NAMED).map(|(port, _)| port.port.to_string()).collect();
            let more = ports.len().saturating_sub(NAMED);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            let place = ports.first().and_then(|(port, kind)| port.series(*kind).and_then(Cadence::last));
            Evidence::at(place, format!("code point {dscp}: {}{more}", names.join(", ")))
        });
        let title = format!("{}: {what}", domain.key);
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence.collect());
        let finding = finding.in_domain(domain.key);
        Some(match leader.filter(|_| leader_unmarked) {
            Some(leader) => finding.about_clock(analysis, leader),
            None => finding,
        })
    }
}
