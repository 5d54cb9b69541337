//! `follower-restarts`

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
use crate::observations::Place;
use crate::units::Nanos;

/// Restarts from which it happens again and again (chosen).
const AGAIN_AND_AGAIN: usize = 3;

/// How soon after a change of leader new numbers are part of that (chosen): some begin them anew with each leader.
const AFTER_A_CHANGE: Nanos = Nanos::from_seconds(15);

/// A follower's requests begin their numbers anew.
pub(super) struct FollowerRestarts;

impl Rule for FollowerRestarts {
    fn id(&self) -> &'static str {
        "follower-restarts"
    }

    fn summary(&self) -> &'static str {
        "a follower's requests begin their numbers anew: it restarted, or its PTP service did"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at that device's power, cable and log at those times",
            "address requests or group joins of the same device at the same time make it a restart of the whole device",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "sequenceId counts on by one a message: IEEE 1588-2008 7.3.7 (from memory)",
            "a fall back to below 64 that lost messages do not explain; 3 or more times is major (chosen)",
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

/// Whether another clock had begun to lead shortly before.
fn follows_a_change(domain: &Domain, place: Place) -> bool {
    let Some(time) = place.time else { return true };
    domain.election.tenures().any(|tenure| {
        let since = time.since(tenure.from);
        since >= Nanos::ZERO && since <= AFTER_A_CHANGE
    })
}

impl FollowerRestarts {
    fn finding(&self, analysis: &Analysis, domain: &Domain, port: &ClockPort) -> Option<Finding> {
        if port.twins.two().is_some() || domain.election.leader() == Some(port.port.clock) {
            return None;
        }
        let series = [Kind::DelayReq, Kind::PdelayReq].into_iter().filter_map(|kind| port.series(kind));
        let restarts = series.flat_map(|series| series.restart_places().iter().copied());
        let mut places: Vec<Place> = restarts.filter(|place| !follows_a_change(domain, *place)).collect();
        places.sort_unstable();
        let severity = match places.len() {
            0 => return None,
            1..AGAIN_AND_AGAIN => Severity::Minor,
            _ => Severity::Major,
        };
        let times = if places.len() == 1 { "once".to_owned() } else { format!("{} times", places.len()) };
        let title = format!("{}: the requests of {} began their numbers anew {times}", domain.key, port.port);
        let evidence = places.into_iter().map(|place| {
            Evidence::at(
                Some(place),
                "sequenceId fell back to a small number that was not its turn".to_owned(),
            )
        });
        let finding = Finding::of(self, (severity, Strength::Inferred), title, evidence.collect());
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
