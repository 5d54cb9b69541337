//! `leader-restarts`

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
use crate::observations::Place;

/// Restarts from which the leader is said to restart again and again (chosen, as for changes of leader).
const AGAIN_AND_AGAIN: u64 = 3;

/// The leader began its numbers anew while it led.
pub(super) struct LeaderRestarts;

impl Rule for LeaderRestarts {
    fn id(&self) -> &'static str {
        "leader-restarts"
    }

    fn summary(&self) -> &'static str {
        "the leader began anew while it led: its PTP service or the device restarted"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            findings.extend(domain.ports.values().filter_map(|port| self.finding(analysis, domain, port)));
        }
        Outcome::from_findings(findings)
    }
}

impl LeaderRestarts {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        // Two senders under one identity alternate between their numbers and restart nothing.
        if port.twins.two().is_some() {
            return None;
        }
        let offers = port.series(if domain.key.is_v1() { Kind::Sync } else { Kind::Announce })?;
        let syncs = port.series(Kind::Sync);
        // Some begin their Announces anew with each lead; only who led on restarted.
        let places: Vec<Place> =
            offers.restart_places().iter().copied().filter(|place| led_on(domain, port, *place)).collect();
        let syncs_too = syncs.is_none_or(|series| series.restarts() > 0);
        if places.is_empty() || !syncs_too {
            return None;
        }
        let times =
            if places.len() == offers.restart_places().len() { offers.restarts() } else { count(&places) };
        let severity = if times >= AGAIN_AND_AGAIN { Severity::Major } else { Severity::Minor };
        let first = places.first().and_then(|place| place.time).map(|time| at(analysis, time));
        let evidence = places.into_iter().map(|place| Evidence {
            place: Some(place),
            text: "sequenceId fell back to a small number that was not its turn".to_owned(),
        });
        Some(Finding {
            id: self.id(),
            severity,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: format!(
                "{}: the leader's port {} began its numbers anew {}, first at {}",
                domain.key,
                port.port,
                if times == 1 { "once".to_owned() } else { format!("{times} times") },
                first.unwrap_or_else(|| "an unknown time".to_owned())
            ),
            evidence: evidence.collect(),
            next: vec![
                "look at the leader's power, its log and its uptime",
                "until it runs through, consider another clock as leader by priority1",
            ],
            sources: vec![
                "sequenceId counts on by one a message: IEEE 1588-2008 7.3.7 (from memory)",
                "a fall back to below 64 that lost messages do not explain; 3 or more times is major (chosen)",
            ],
        })
    }
}

fn count(places: &[Place]) -> u64 {
    u64::try_from(places.len()).unwrap_or(u64::MAX)
}

/// Whether the port's grandmaster led before this message and after it.
fn led_on(domain: &Domain, port: &ClockPort, place: Place) -> bool {
    let Some((time, grandmaster)) = place.time.zip(port.offer.map(|offer| offer.grandmaster)) else {
        return false;
    };
    let interval = port.series(Kind::Announce).and_then(Cadence::pace);
    domain.election.tenures().any(|tenure| {
        tenure.clock == grandmaster
            && interval.map_or(tenure.from, |interval| tenure.from.plus(interval)) < time
            && tenure.until.is_none_or(|until| time <= until)
    })
}
