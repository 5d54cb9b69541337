//! `follower-deaf`

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Messages with a wrong flag from which it is no accident (chosen).
const MESSAGES: u64 = 10;

/// The leader's multicast says of itself that it is unicast, so some followers do not hear it.
pub(super) struct FollowerDeaf;

impl Rule for FollowerDeaf {
    fn id(&self) -> &'static str {
        "follower-deaf"
    }

    fn summary(&self) -> &'static str {
        "the leader marks its multicast messages as unicast, and followers that go by that do not hear it"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "update the leader, or turn its unicast mode off: unicastFlag belongs to unicast messages only",
            "on a device that stays unlocked, look at its own port: do the leader's messages arrive there?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "unicastFlag: IEEE 1588-2008 13.3.2.6 (from memory)",
            "followers of a public PTP daemon dropped such messages (public thread)",
            "10 messages (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            for port in domain.leading_ports() {
                findings.extend(self.finding(analysis, domain, port));
            }
        }
        Outcome::from_findings(findings)
    }
}

impl FollowerDeaf {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let (kind, marked) = [Kind::Announce, Kind::Sync, Kind::FollowUp, Kind::DelayResp]
            .into_iter()
            .filter_map(|kind| Some((kind, port.marks.get(&kind)?.unicast_flag_to_group)))
            .max_by_key(|(_, marked)| *marked)?;
        if marked < MESSAGES {
            return None;
        }
        let followers = analysis.devices.iter().filter(|device| {
            device.in_domain == Some(domain.key)
                && matches!(device.state, State::Following | State::Relaying)
                && device.strength == Strength::Shown
        });
        let followers = followers.count();
        let severity = if followers > 0 { Severity::Minor } else { Severity::Major };
        let text = format!(
            "{marked} {} to a group have unicastFlag set; {followers} devices follow all the same",
            kind.name()
        );
        let title = format!("{}: {} marks its multicast as unicast", domain.key, port.port);
        let place = port.series(kind).and_then(crate::domains::Cadence::last);
        let finding = Finding::of(self, (severity, Strength::Shown), title, vec![Evidence::at(place, text)]);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
