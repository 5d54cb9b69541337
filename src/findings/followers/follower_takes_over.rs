//! `follower-takes-over`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::ClockId;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::CaptureTime;

/// Announces of the follower from which it is said (chosen: one alone may be the last of a lead that was not captured).
const ANNOUNCES: u64 = 2;

/// A follower announces itself for a while although the leader does not pause.
pub(super) struct FollowerTakesOver;

impl Rule for FollowerTakesOver {
    fn id(&self) -> &'static str {
        "follower-takes-over"
    }

    fn summary(&self) -> &'static str {
        "a device that follows announces itself for a while beside a leader that is there, and follows again"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "capture at that device's own port: does every Announce of the leader arrive there?",
            "make media devices follower-only where they allow it",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a port leads when no Announce came for announceReceiptTimeout: IEEE 1588-2008 9.2.5, 9.2.6.11 (from memory)",
            "beyond a hand-over it is told as a second leader instead",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

/// First and last Announce of a port between its first and last request.
fn spell(domain: &Domain, port: &ClockPort) -> Option<(CaptureTime, CaptureTime)> {
    let offer = port.offer.filter(|offer| offer.grandmaster == port.port.clock)?;
    let announces = port.series(if domain.key.is_v1() { Kind::Sync } else { Kind::Announce })?;
    let (first, last) = (announces.first()?.time?, announces.last()?.time?);
    let requester = domain.requesters.get(&(port.port, Mechanism::EndToEnd))?;
    let asked_before = requester.first_request()?.time? < first;
    let asks_again = requester.last_request()?.time? > last;
    let ever_led = domain.election.tenures().any(|tenure| tenure.clock == offer.grandmaster);
    let is_rival = domain.election.rivalries().iter().any(|rivalry| rivalry.port == port.port);
    (asked_before && asks_again && !ever_led && !is_rival).then_some((first, last))
}

/// Whether the leader's Announces were captured throughout: neither it nor the capture paused for as long as followers
/// wait.
fn goes_through(domain: &Domain, leader: ClockId) -> bool {
    let kind = if domain.key.is_v1() { Kind::Sync } else { Kind::Announce };
    domain.ports_of(leader).any(|port| {
        let announcer = domain.election.announcers().get(&port.port);
        let longest = port.series(kind).and_then(|series| series.gaps().summary()).map(|gaps| gaps.max);
        longest.zip(announcer).is_some_and(|(longest, announcer)| longest <= announcer.timeout())
    })
}

impl FollowerTakesOver {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        let (first, last) = spell(domain, port)?;
        // One other clock must have led all the while, so that no loss of it explains the spell.
        let leader = domain.election.tenures().find(|tenure| {
            tenure.clock != port.port.clock
                && tenure.from < first
                && tenure.until.is_none_or(|until| until > last)
        })?;
        let announces = port.series(if domain.key.is_v1() { Kind::Sync } else { Kind::Announce })?;
        if announces.count() < ANNOUNCES || !goes_through(domain, leader.clock) {
            return None;
        }
        let text = format!(
            "asked, announced itself {} times from {} to {}, and asked again; {} led all the while",
            announces.count(),
            at(analysis, first),
            at(analysis, last),
            leader.clock
        );
        let title = format!("{}: {} announces itself beside the leader for a while", domain.key, port.port);
        let evidence = vec![
            Evidence::at(announces.first(), text),
            Evidence::at(Cadence::last(announces), "its last Announce".to_owned()),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
