//! `follow-up-missing`

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::transmit_cycle;
use crate::findings::words::percent;
use crate::observations::Place;

/// Syncs without a Follow_Up, and their share in per cent, that are a fault (reference: 50 % of 10 or more).
const FAULT: (u64, u64) = (10, 50);

/// Syncs in a row up to the end without a Follow_Up that are a fault whatever came before (chosen: as many as
/// [`FAULT`]).
const ROW: u64 = 10;

/// Syncs without a Follow_Up, and their share in per cent, that harm followers: each is one measurement less (chosen).
const HARM: (u64, u64) = (10, 20);

/// Syncs judged, and the share in per mille, that are worth a note (reference: over 1 % of 1000 or more).
const NOTE: (u64, u64) = (1000, 10);

/// How much more often than Syncs themselves Follow_Ups must be missing (chosen): where frames are lost on the way or by
/// the capture, both are.
const BEYOND_LOSS: u64 = 3;

/// Two-step Syncs without the Follow_Up that carries their time.
pub(super) struct FollowUpMissing;

impl Rule for FollowUpMissing {
    fn id(&self) -> &'static str {
        "follow-up-missing"
    }

    fn summary(&self) -> &'static str {
        "a clock announces that a Follow_Up comes after its Sync, and none does"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look in the leader's log for transmit time stamps that did not come: network adapter, driver, firmware",
            "check that nothing on the way filters UDP 320",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 1588-2008 9.5.9, 9.5.10 (from memory)",
            "half of 10 Syncs or the last 10 in a row, a fifth, or over 1 % of 1000; 3 times as often as Syncs are missing (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        for domain in analysis.domains.iter() {
            for port in domain.ports.values() {
                // Such a cycle is told as a whole.
                if port.twins.two().is_some() || transmit_cycle::of(port).is_some() {
                    continue;
                }
                let Some(severity) = severity(port) else { continue };
                if !sees_general_messages(domain, port) {
                    cannot_tell = Some(format!(
                        "{}: no message of {} that goes the way of Follow_Up was captured: general messages (UDP 320) may be missing from this capture",
                        domain.key, port.port
                    ));
                } else {
                    findings.push(self.finding(analysis, domain, port, severity));
                }
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

/// Whether messages that go the way of Follow_Ups were captured: of the port, in version 1 (which has no Announce) of any.
fn sees_general_messages(domain: &Domain, port: &ClockPort) -> bool {
    if domain.key.is_v1() {
        domain.count(Kind::FollowUp) > 0 || domain.count(Kind::DelayResp) > 0
    } else {
        port.count(Kind::Announce) > 0 || port.count(Kind::FollowUp) > 0
    }
}

/// Two-step Syncs without and with their Follow_Up.
fn halves(port: &ClockPort) -> Option<(u64, u64)> {
    let pairing = port.samples.as_deref()?.pairing();
    Some((pairing.without_follow_up(), pairing.paired()))
}

/// The first of the Syncs without a Follow_Up, where none has come since and the port's general messages went on.
fn stopped_at(port: &ClockPort) -> Option<Place> {
    let since = port.samples.as_deref()?.pairing().since_paired();
    let first = since.first?;
    let announced = port.series(Kind::Announce).and_then(crate::domains::Cadence::last)?;
    let in_view = announced.time > first.time;
    (in_view && since.count >= ROW && since.count >= since.skipped.saturating_mul(BEYOND_LOSS))
        .then_some(first)
}

fn severity(port: &ClockPort) -> Option<Severity> {
    let (without, paired) = halves(port)?;
    if paired > 0 && stopped_at(port).is_some() {
        return Some(Severity::Critical);
    }
    let judged = without.saturating_add(paired);
    let missed = port.series(Kind::Sync).map_or(0, crate::domains::Cadence::missed);
    if without < missed.saturating_mul(BEYOND_LOSS) {
        return None;
    }
    let is_share = |(least, per_cent): (u64, u64)| {
        without >= least && without.saturating_mul(100) >= judged.saturating_mul(per_cent)
    };
    if is_share(FAULT) {
        Some(Severity::Critical)
    } else if is_share(HARM) {
        Some(Severity::Major)
    } else if judged >= NOTE.0 && without.saturating_mul(1000) > judged.saturating_mul(NOTE.1) {
        Some(Severity::Minor)
    } else {
        None
    }
}

impl FollowUpMissing {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort, severity: Severity) -> Finding {
        let (without, paired) = halves(port).unwrap_or_default();
        let judged = without.saturating_add(paired);
        let missed = port.series(Kind::Sync).map_or(0, crate::domains::Cadence::missed);
        let text = format!(
            "{without} of {judged} two-step Sync had no Follow_Up; of the Syncs themselves {missed} are missing"
        );
        let last = port.series(Kind::Sync).and_then(crate::domains::Cadence::last);
        let mut evidence = vec![Evidence::at(last, text)];
        let stopped = stopped_at(port).filter(|_| paired > 0);
        let title = match stopped.and_then(|place| Some((place, place.time?))) {
            Some((place, time)) => {
                let since =
                    port.samples.as_deref().map_or(0, |samples| samples.pairing().since_paired().count);
                let text = format!("the first of {since} Sync in a row without a Follow_Up, to the end");
                evidence.insert(0, Evidence::at(Some(place), text));
                format!(
                    "{}: Sync of {} come without Follow_Up since {}",
                    domain.key,
                    port.port,
                    at(analysis, time)
                )
            }
            None => format!(
                "{}: {} of 100 Sync of {} come without their Follow_Up",
                domain.key,
                percent(without, judged),
                port.port
            ),
        };
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence);
        finding.in_domain(domain.key).about_clock(analysis, port.port.clock)
    }
}
