//! `two-ports-one-segment`

use std::collections::BTreeMap;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::viewpoint::Seat;

/// Messages of each port that show that it is there to stay (chosen).
const MESSAGES: u64 = 5;

/// Two ports of one clock sit on one segment.
pub(super) struct TwoPortsOneSegment;

impl Rule for TwoPortsOneSegment {
    fn id(&self) -> &'static str {
        "two-ports-one-segment"
    }

    fn summary(&self) -> &'static str {
        "two ports of one clock send into one segment: redundant ports plugged into the same network"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find where the two ports of that device are plugged in; each belongs into its own network",
            "look for a bridge between the two networks, by which both would fail together",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "one of two ports on a segment goes passive: IEEE 1588-2008 9.3 (from memory)",
            "5 messages from each (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut seen = 0_usize;
        for domain in analysis.domains.iter() {
            for (clock, ports) in by_clock(domain) {
                let [one, other, ..] = ports.as_slice() else { continue };
                seen += 1;
                findings.push(self.finding(analysis, domain, clock, [*one, *other]));
            }
        }
        // A mirror, and files of several places, show several segments at once.
        let one_segment = matches!(analysis.viewpoint.seat, Seat::AtFollower | Seat::Access);
        if seen > 0 && (!one_segment || analysis.may_be_of_several_places()) {
            let who = if seen == 1 { "1 clock sends".to_owned() } else { format!("{seen} clocks send") };
            return Outcome::CannotTell(format!(
                "{who} by two ports, but this capture may show several segments at once, as a boundary clock has"
            ));
        }
        Outcome::from_findings(findings)
    }
}

/// Ports by clock that send group messages which do not stay on one link.
fn by_clock(domain: &Domain) -> BTreeMap<ClockId, Vec<&ClockPort>> {
    let mut clocks: BTreeMap<ClockId, Vec<&ClockPort>> = BTreeMap::new();
    for port in domain.ports.values().filter(|port| by_multicast(port) >= MESSAGES) {
        clocks.entry(port.port.clock).or_default().push(port);
    }
    clocks
}

fn by_multicast(port: &ClockPort) -> u64 {
    let kinds = [Kind::Sync, Kind::Announce, Kind::DelayReq];
    kinds.iter().filter_map(|kind| port.marks.get(kind)).map(|marks| marks.multicast).sum()
}

impl TwoPortsOneSegment {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        clock: ClockId,
        ports: [&ClockPort; 2],
    ) -> Finding {
        let evidence = ports.into_iter().map(|port| {
            Evidence::at(
                Some(port.first),
                format!("{} messages to the group from {}", by_multicast(port), port.port),
            )
        });
        let [one, other] = ports.map(|port| port.port.port);
        let title = format!("{}: ports {one} and {other} of {clock} are on one segment", domain.key);
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence.collect());
        finding.in_domain(domain.key).about_clock(analysis, clock)
    }
}
