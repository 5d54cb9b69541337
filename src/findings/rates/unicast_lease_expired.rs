//! `unicast-lease-expired`

use std::collections::BTreeMap;

/// Who asked whom, and what befell it.
type Matter<'a> = (PortId, PortId, &'a str);

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Lease;
use crate::domains::LeaseKey;
use crate::domains::PortId;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Denials in a row that are a refusal rather than a moment's (chosen).
const DENIALS: u64 = 2;

/// How long after its end a lease is called expired (chosen): a renewal may be late by a message or two.
const GRACE: Nanos = Nanos::from_seconds(10);

/// Unicast service was denied, or ran out.
pub(super) struct UnicastLeaseExpired;

impl Rule for UnicastLeaseExpired {
    fn id(&self) -> &'static str {
        "unicast-lease-expired"
    }

    fn summary(&self) -> &'static str {
        "a follower's unicast service is denied, or runs out without a renewal"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "ask the leader how many unicast clients it serves at most",
            "where renewals were asked for and not granted, capture at the leader: do they arrive?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "unicast negotiation, durationField 0 denies: IEEE 1588-2008 16.1 (from memory)",
            "2 denials in a row; 10 s after the end of the lease (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let lost = domain
                .leases
                .iter()
                .filter_map(|(key, lease)| Some((key, lost(analysis, domain, key, lease)?)));
            // What one follower is refused by one clock is one matter, whatever messages it asked for.
            let mut matters: BTreeMap<Matter<'_>, Vec<(&LeaseKey, Lost)>> = BTreeMap::new();
            for (key, lost) in lost {
                matters.entry((key.asker, key.granter, lost.what)).or_default().push((key, lost));
            }
            findings.extend(
                matters.into_iter().map(|(of, messages)| self.finding(analysis, domain, of, &messages)),
            );
        }
        Outcome::from_findings(findings)
    }
}

impl UnicastLeaseExpired {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        (asker, granter, what): (PortId, PortId, &str),
        messages: &[(&LeaseKey, Lost)],
    ) -> Finding {
        let types: Vec<String> = messages.iter().map(|(key, _)| key.message_type.to_string()).collect();
        let title = format!("{}: unicast {} of {asker} from {granter} {what}", domain.key, types.join(", "));
        let evidence = messages
            .iter()
            .map(|(key, lost)| Evidence::at(lost.place, format!("{}: {}", key.message_type, lost.text)));
        let severity = (Severity::Critical, Strength::Shown);
        let finding = Finding::of(self, severity, title, evidence.collect());
        finding.in_domain(domain.key).about_clock(analysis, asker.clock)
    }
}

/// How a follower lost its service, or never had it.
struct Lost {
    what: &'static str,
    place: Option<Place>,
    text: String,
}

fn lost(analysis: &Analysis, domain: &Domain, key: &LeaseKey, lease: &Lease) -> Option<Lost> {
    let end = analysis.end?;
    if lease.denied >= DENIALS && !has_another(domain, key, end) {
        let text = format!("{} grants of durationField 0, and none longer after them", lease.denied);
        return Some(Lost { what: "is denied", place: lease.denied_at, text });
    }
    let ends = lease.ends()?;
    let (place, lasts) = lease.granted?;
    // Who left needs no service any more.
    let asker = domain.ports.get(&key.asker)?;
    let is_here = asker.last.time.is_some_and(|last| last.since(ends) > GRACE);
    let ran_out = end.since(ends) > GRACE && !lease.cancelled && is_here;
    if !ran_out || has_another(domain, key, end) {
        return None;
    }
    let renewal = match lease.asked_again {
        Some(_) => "a renewal was asked for and not granted",
        None => "no renewal was asked for",
    };
    let text = format!(
        "granted for {} s, so until {}; {renewal}, and the follower is still there",
        lasts.0 / 1_000_000_000,
        at(analysis, ends)
    );
    Some(Lost { what: "ran out", place: Some(place), text })
}

/// Whether another clock serves the same follower with the same messages.
fn has_another(domain: &Domain, key: &LeaseKey, end: CaptureTime) -> bool {
    domain.leases.iter().any(|(other, lease)| {
        other.asker.clock == key.asker.clock
            && other.message_type == key.message_type
            && other != key
            && lease.ends().is_some_and(|ends| ends >= end)
    })
}
