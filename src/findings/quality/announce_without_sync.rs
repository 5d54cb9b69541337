//! `announce-without-sync`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Announces of the leading port that must pass without a Sync (chosen: three receipt timeouts of the
/// default profile).
const ANNOUNCES: u64 = 9;

/// The leader announces itself and gives no time.
pub(super) struct AnnounceWithoutSync;

impl Rule for AnnounceWithoutSync {
    fn id(&self) -> &'static str {
        "announce-without-sync"
    }

    fn summary(&self) -> &'static str {
        "the leader announces itself and sends no Sync"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let Some(leader) = domain.election.leader() else { continue };
            for port in domain.ports.values() {
                let offers_leader = port.offer.is_some_and(|offer| offer.grandmaster == leader);
                if !offers_leader || port.count(Kind::Sync) > 0 || port.count(Kind::Announce) < ANNOUNCES {
                    continue;
                }
                if domain.count(Kind::Sync) == 0 && domain.count(Kind::FollowUp) > 0 {
                    cannot_tell = Some("Follow_Up is in view and Sync is not: event messages (UDP 319) are missing from this capture".to_owned());
                    continue;
                }
                let view = analysis.scope.can_see_syncs(domain, port.port);
                if view.is_in_view() {
                    findings.push(self.finding(analysis, domain, port, view.why));
                } else {
                    cannot_tell = Some(format!(
                        "{} announces, and no Sync of it was captured: {}",
                        port.port, view.why
                    ));
                }
            }
        }
        match cannot_tell {
            Some(why) if findings.is_empty() => Outcome::CannotTell(why),
            _ => Outcome::from_findings(findings),
        }
    }
}

impl AnnounceWithoutSync {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, view: &str) -> Finding {
        let announces = port.count(Kind::Announce);
        let last = port.series(Kind::Announce).and_then(crate::domains::Cadence::last);
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            title: format!("{}: {} announces the leader and sends no Sync", domain.key, port.port),
            evidence: vec![
                Evidence { place: last, text: format!("{announces} Announce and no Sync from this port") },
                Evidence { place: None, text: format!("this capture could show them: {view}") },
            ],
            next: vec![
                "restart the leader's PTP service; look for a time-stamping fault in its log",
                "check that the capture would see its event messages (UDP 319)",
            ],
            sources: vec!["IEEE 1588-2008 9.5.9 (from memory)", "9 Announces without a Sync (chosen)"],
        }
    }
}
