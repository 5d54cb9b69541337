//! `announce-not-qualified`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::MAX_STEPS_REMOVED;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::leading::ANNOUNCES;
use crate::findings::leading::last_announce;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// `FOREIGN_MASTER_TIME_WINDOW`: two Announces must come within so many intervals (1588-2008 9.3.2.4.4, from memory).
const WINDOW: i64 = 4;

/// Messages before a pace is judged, and from which `declared-interval-differs` speaks of it (chosen).
const MESSAGES: std::ops::Range<u64> = 6..20;

/// A clock announces itself in a way that no follower accepts.
pub(super) struct AnnounceNotQualified;

impl Rule for AnnounceNotQualified {
    fn id(&self) -> &'static str {
        "announce-not-qualified"
    }

    fn summary(&self) -> &'static str {
        "a clock announces in a way that followers do not accept"
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "two Announces within 4 intervals, stepsRemoved below 255: IEEE 1588-2008 9.3.2.4.4, 9.3.2.5 (from memory)",
            "6 messages before a pace is judged (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter().filter(|domain| !domain.key.is_v1()) {
            for port in domain.ports.values().filter(|port| port.count(Kind::Announce) >= ANNOUNCES) {
                let found = self.too_far(domain, port).or_else(|| self.too_sparse(analysis, domain, port));
                let finding = found.map(|finding| finding.in_domain(domain.key));
                findings.extend(finding.map(|finding| finding.about_clock(analysis, port.port.clock)));
            }
        }
        Outcome::from_findings(findings)
    }
}

impl AnnounceNotQualified {
    fn too_far(&self, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let offer = port.offer.filter(|offer| offer.steps_removed >= MAX_STEPS_REMOVED)?;
        let title = format!(
            "{}: {} announces {} with stepsRemoved {}, which nobody accepts",
            domain.key, port.port, offer.grandmaster, offer.steps_removed
        );
        let text = format!("stepsRemoved {}, accepted below {MAX_STEPS_REMOVED}", offer.steps_removed);
        let evidence = vec![Evidence::at(last_announce(port), text)];
        let mut finding = Finding::of(self, (Severity::Major, Strength::Shown), title, evidence);
        finding.next = vec![
            "look for a ring among boundary clocks, in which an old Announce goes round and counts up",
            "restart the PTP service of that sender",
        ];
        Some(finding)
    }

    fn too_sparse(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let series = port.series(Kind::Announce)?;
        let declared = series.declared_interval()?;
        let window = declared.saturating_mul(WINDOW);
        // A pause of the whole capture, loss and a second sender all stretch the gaps.
        let whole = analysis.watched_for(declared) >= analysis.duration()?;
        let alone = series.missed() == 0 && series.restarts() == 0 && port.addresses.len() == 1;
        let kept = series.gaps().median().filter(|kept| *kept > window)?;
        if !whole || !alone || domain.key.is_gptp() || !MESSAGES.contains(&series.count()) {
            return None;
        }
        let title = format!(
            "{}: {} announces every {}, too rarely for followers that keep to the {} it declares",
            domain.key,
            port.port,
            kept.as_seconds_text(),
            declared.as_seconds_text()
        );
        let text = format!(
            "half of the {} gaps are {} and longer, and no number is missing; two must come within {}",
            series.gaps().count(),
            kept.as_seconds_text(),
            window.as_seconds_text()
        );
        let evidence = vec![Evidence::at(series.last(), text)];
        let mut finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        finding.next = vec!["set one announce interval on the leader and on all followers"];
        Some(finding)
    }
}
