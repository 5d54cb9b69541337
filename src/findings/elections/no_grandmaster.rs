//! `no-grandmaster`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockId;
use crate::domains::Domain;
use crate::domains::EndedBy;
use crate::domains::Kind;
use crate::domains::Tenure;
use crate::domains::is_beyond_chance;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::Nanos;

/// Silence from which nobody leads where the announce interval is unknown: three of the longest that the
/// default profile allows, 16 s (1588-2008 J.3, from memory).
const LONGEST_SILENCE: Nanos = Nanos::from_seconds(48);

/// Silence at the capture's end from which its leader is called lost (chosen: a burst of loss is shorter).
const LEAST_SILENCE: Nanos = Nanos::from_seconds(5);

/// Announces (v1: Syncs) from which somebody is believed to have led: a single stray one elects nobody, as
/// `FOREIGN_MASTER_THRESHOLD` is 2 (1588-2008 9.3.2.4.4, from memory).
const OFFERS_OF_A_LEADER: u64 = 2;

fn offers(domain: &Domain) -> u64 {
    domain.count(if domain.key.is_v1() { Kind::Sync } else { Kind::Announce })
}

/// Clocks that must ask: one device's requests alone are what a mirror of its port shows that covers one direction.
const ASKERS: usize = 2;

/// What is said where one clock alone asks.
const ONE_ASKER: &str = "one device asks for the time and no other sends PTP: a mirror of one direction, or a port \
                         that multicast of others does not reach, would look the same";

/// What is said where a domain of the same number is led in another VLAN.
const TAGS_LOST: &str = "a domain of the same number is led in another VLAN or without a tag: a mirror that takes tags \
                         off one direction would look the same";

/// What to do where a leader sends Sync and announces itself no more.
const STOPPED_ANNOUNCING: &[&str] = &[
    "find what takes its Announces away: they go by UDP 320, Sync by 319, so a filter may let the one pass alone",
    "look at its log and at the state of its PTP port: followers give up a leader that does not announce itself",
    "check that at least one other device is allowed to lead",
];

/// Whether `other` is led and differs from `domain` by nothing but its VLAN.
fn differs_in_tag_only(domain: &Domain, other: &Domain) -> bool {
    other.election.leader().is_some()
        && other.key.name == domain.key.name
        && other.key.vlan != domain.key.vlan
        && (other.key.vlan.is_none() || domain.key.vlan.is_none())
}

fn too_short() -> String {
    let need = LONGEST_SILENCE.0 / 1_000_000_000;
    format!("no leader was seen; {need} s of requests without one are needed to say that there is none")
}

/// Clocks whose requests were captured.
fn askers(domain: &Domain) -> usize {
    let asking = domain.requesters.iter().filter(|(_, requester)| requester.seen() > 0);
    let clocks: BTreeSet<ClockId> = asking.map(|((port, _), _)| port.clock).collect();
    clocks.len()
}

/// Nobody leads a domain that devices take part in.
pub(super) struct NoGrandmaster;

impl Rule for NoGrandmaster {
    fn id(&self) -> &'static str {
        "no-grandmaster"
    }

    fn summary(&self) -> &'static str {
        "nobody leads a domain that devices take part in"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        let somebody_leads = analysis.domains.iter().any(|domain| domain.election.leader().is_some());
        for domain in analysis.domains.iter().filter(|domain| domain.election.leader().is_none()) {
            let last = domain.election.tenures().last();
            let lost = last
                .filter(|tenure| matches!(tenure.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped))
                .filter(|_| offers(domain) >= OFFERS_OF_A_LEADER);
            if let Some((tenure, until)) = lost.and_then(|tenure| Some((tenure, tenure.until?))) {
                if domain.election.silence_of(tenure.clock) < LEAST_SILENCE {
                    cannot_tell = Some(format!(
                        "{} was not heard in the last moments of the capture; {} s of silence are needed to call a leader lost",
                        tenure.clock,
                        LEAST_SILENCE.0 / 1_000_000_000
                    ));
                    continue;
                }
                let lost = domain.missing_of(tenure.clock);
                if !is_beyond_chance(due_since(analysis, domain, tenure), lost) {
                    cannot_tell = Some(format!(
                        "{} was not heard at the capture's end, and {} of its {} messages before that are missing: it may have \
                         been lost from the capture alone",
                        tenure.clock, lost.0, lost.1
                    ));
                    continue;
                }
                let goes_on = if tenure.sync_went_on { ", whose Sync goes on" } else { "" };
                let text = format!(
                    "last announcement of {}{goes_on}; nobody took over before the capture ended",
                    tenure.clock
                );
                let mut finding = self.finding(
                    domain,
                    Strength::Inferred,
                    vec![Evidence { place: tenure.until_place, text }],
                );
                let when = crate::findings::finding::at(analysis, until);
                finding.title = if tenure.sync_went_on {
                    finding.next = STOPPED_ANNOUNCING.to_vec();
                    format!(
                        "{}: {} leads no more: it announces nothing since {when}, though its Sync goes on",
                        domain.key, tenure.clock
                    )
                } else {
                    format!(
                        "{}: the leader {} fell silent at {when} and nobody leads since",
                        domain.key, tenure.clock
                    )
                };
                findings.push(finding);
            } else if !somebody_leads || analysis.site.is(&domain.key) {
                // A stray domain beside one that is led is the matter of another rule.
                let watched = analysis.watched_for(LONGEST_SILENCE);
                let asked: u64 =
                    [Kind::DelayReq, Kind::PdelayReq].iter().map(|kind| domain.count(*kind)).sum();
                if watched < LONGEST_SILENCE || asked == 0 {
                    cannot_tell = Some(too_short());
                    continue;
                }
                if analysis.domains.iter().any(|other| differs_in_tag_only(domain, other)) {
                    cannot_tell = Some(TAGS_LOST.to_owned());
                    continue;
                }
                if askers(domain) < ASKERS {
                    cannot_tell = Some(ONE_ASKER.to_owned());
                    continue;
                }
                let asked_by = domain.requesters.iter().filter(|(_, requester)| requester.seen() > 0);
                let views =
                    asked_by.map(|((port, _), asker)| analysis.scope.can_see_leader(domain, *port, asker));
                let view = views.min_by_key(|view| view.strength);
                if let Some(view) = view.filter(|view| !view.is_in_view()) {
                    cannot_tell =
                        Some(format!("no leader was seen, and one may be out of view: {}", view.why));
                    continue;
                }
                let text = format!("{asked} requests for delay and no Announce or v1 Sync in the domain");
                findings.push(self.finding(
                    domain,
                    Strength::Inferred,
                    vec![Evidence { place: Some(domain.first), text }],
                ));
            }
        }
        if let Some(why) = cannot_tell.filter(|_| findings.is_empty()) {
            return Outcome::CannotTell(why);
        }
        Outcome::from_findings(findings)
    }
}

/// Messages of the leader that were due in its silence at the end.
fn due_since(analysis: &Analysis, domain: &Domain, tenure: &Tenure) -> u64 {
    let silence = domain.election.silence_of(tenure.clock);
    let ends = analysis.end;
    let kinds: &[Kind] = if tenure.sync_went_on { &[Kind::Announce] } else { &[Kind::Announce, Kind::Sync] };
    let offering = domain.ports.values().filter(|port| port.offers(tenure.clock));
    let due = offering.map(|port| {
        let series = kinds.iter().filter_map(|kind| port.series(*kind));
        let due = series.filter_map(|series| {
            // Of each kind since its own last message.
            let silent = ends?.since(series.last()?.time?).min(silence);
            silent.0.checked_div(series.pace()?.0)
        });
        due.sum::<i64>()
    });
    due.max().and_then(|due| u64::try_from(due).ok()).unwrap_or_default()
}

impl NoGrandmaster {
    fn finding(&self, domain: &Domain, strength: Strength, evidence: Vec<Evidence>) -> Finding {
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength,
            domain: Some(domain.key),
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!("{}: devices ask for the time and nobody leads", domain.key),
            evidence,
            next: vec![
                "find the clock that should lead: power, link, VLAN, domain number",
                "check that at least one device is allowed to lead",
                "check that the capture point would see its multicast (group 224.0.1.129)",
            ],
            sources: vec![
                "IEEE 1588-2008 9.3, 9.2.6.11 (from memory)",
                "receipt timeout 3 announce intervals: IEEE 1588-2008 7.7.3.1, J.3 (from memory), not on the wire, assumed",
                "5 s of silence before the capture's end, beyond what chance loses once in 10^5; 48 s of requests of two devices without a leader (chosen)",
            ],
        }
    }
}
