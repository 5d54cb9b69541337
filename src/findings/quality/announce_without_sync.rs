//! `announce-without-sync`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
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
        "the leader announces itself and sends no Sync, or none any more"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            let Some(leader) = domain.election.leader() else { continue };
            for port in domain.ports.values() {
                let offers_leader = port.offers(leader);
                if !offers_leader || port.count(Kind::Announce) < ANNOUNCES {
                    continue;
                }
                if port.count(Kind::Sync) > 0 {
                    findings.extend(self.stopped(analysis, domain, port));
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
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

impl AnnounceWithoutSync {
    /// A port whose Syncs came by multicast and have stopped, while its Announces go on.
    fn stopped(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let announcer = domain.election.announcers().get(&port.port)?;
        let by_multicast = port.marks.get(&Kind::Sync).is_some_and(|marks| marks.unicast == 0);
        if !by_multicast || !announcer.sync_stopped() || !domain.election.alive_at_end(announcer) {
            return None;
        }
        let last_sync = port.series(Kind::Sync).and_then(Cadence::last)?;
        let last_announce = port.series(Kind::Announce).and_then(Cadence::last);
        let at = last_sync.time.map(|time| at(analysis, time)).unwrap_or_default();
        let mut finding = self.finding(analysis, domain, port, "its earlier ones were captured");
        finding.title = format!("{}: the leader's port {} sends no Sync since {at}", domain.key, port.port);
        finding.evidence = vec![
            Evidence { place: Some(last_sync), text: "its last Sync".to_owned() },
            Evidence { place: last_announce, text: "it still announces the leader".to_owned() },
        ];
        Some(finding)
    }

    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, view: &str) -> Finding {
        let announces = port.count(Kind::Announce);
        let first = port.series(Kind::Announce).and_then(Cadence::first);
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{}: {} announces the leader and sends no Sync", domain.key, port.port),
            evidence: vec![
                Evidence { place: first, text: format!("{announces} Announce and no Sync from this port") },
                Evidence { place: None, text: format!("this capture could show them: {view}") },
            ],
            next: vec![
                "restart the leader's PTP service; look for a time-stamping fault in its log",
                "check that the capture would see its event messages (UDP 319)",
            ],
            sources: vec![
                "IEEE 1588-2008 9.5.9 (from memory)",
                "9 Announces without a Sync, or none for longer than the announce receipt timeout (chosen)",
            ],
        }
    }
}
