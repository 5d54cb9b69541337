//! `leader-restarts`

use std::fmt::Write;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Cadence;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::EndedBy;
use crate::domains::Kind;
use crate::domains::Tenure;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::observations::Place;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Restarts from which the leader is said to restart again and again (chosen, as for changes of leader).
const AGAIN_AND_AGAIN: u64 = 3;

/// Distances between restarts that make a period, and how far they may differ from their median, per cent (chosen, as
/// for a fault timer).
const DISTANCES: usize = 3;
const SPREAD_PERCENT: i64 = 30;

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
        let restarts: Vec<Restart> =
            offers.restart_places().iter().filter_map(|place| restart(domain, port, *place)).collect();
        let syncs_too = syncs.is_none_or(|series| series.restarts() > 0);
        if restarts.is_empty() || !syncs_too {
            return None;
        }
        let times = if restarts.len() == offers.restart_places().len() {
            offers.restarts()
        } else {
            count(&restarts)
        };
        // One that lost the lead by its silence once is a change of leader, which is told as that.
        if times < AGAIN_AND_AGAIN && restarts.iter().all(|restart| restart.fell_silent.is_some()) {
            return None;
        }
        let severity = if times >= AGAIN_AND_AGAIN { Severity::Major } else { Severity::Minor };
        let first = restarts.first().and_then(|first| first.anew.time).map(|time| at(analysis, time));
        let times = if times == 1 { "once".to_owned() } else { format!("{times} times") };
        let mut title = format!(
            "{}: the leader's port {} restarted: it began its numbers anew {times}, first at {}",
            domain.key,
            port.port,
            first.unwrap_or_else(|| "an unknown time".to_owned())
        );
        if let Some(period) = period(&restarts) {
            write!(title, ", about every {}", duration(period)).ok();
        }
        Some(Finding {
            id: self.id(),
            severity,
            strength: Strength::Inferred,
            domain: Some(domain.key),
            device: analysis.device_of(port.port.clock).map(|device| device.key.clone()),
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title,
            evidence: restarts.iter().flat_map(|restart| restart.evidence(analysis)).collect(),
            next: vec![
                "look at the leader's power, its log and its uptime",
                "until it runs through, consider another clock as leader by priority1",
            ],
            sources: vec![
                "sequenceId counts on by one a message: IEEE 1588-2008 7.3.7 (from memory)",
                "a fall back to below 64 that lost messages do not explain; 3 or more times is major (chosen)",
                "a period is told from 3 distances on that are alike within 30 % (chosen, as for a fault timer)",
            ],
        })
    }
}

fn count(restarts: &[Restart]) -> u64 {
    u64::try_from(restarts.len()).unwrap_or(u64::MAX)
}

/// One restart of a leader.
struct Restart {
    /// The first message with numbers that begin anew.
    anew: Place,
    /// The last of its lead before, where it lost the lead by its silence.
    fell_silent: Option<Place>,
}

impl Restart {
    fn evidence(&self, analysis: &Analysis) -> Vec<Evidence> {
        let silent = self.fell_silent.map(|place| {
            let time = place.time.map(|time| at(analysis, time)).unwrap_or_default();
            Evidence::at(Some(place), format!("it fell silent at {time} and lost the lead by that"))
        });
        let anew = Evidence::at(
            Some(self.anew),
            "sequenceId fell back to a small number that was not its turn".to_owned(),
        );
        silent.into_iter().chain([anew]).collect()
    }
}

/// Whether the port's grandmaster was the leader when its numbers began anew: it led before this message and after it,
/// or it had lost its last lead by falling silent. Some begin their Announces anew with each lead, so one that had
/// yielded to another clock did not restart.
fn restart(domain: &Domain, port: &ClockPort, anew: Place) -> Option<Restart> {
    let (time, grandmaster) = anew.time.zip(port.offer.map(|offer| offer.grandmaster))?;
    let interval = port.series(Kind::Announce).and_then(Cadence::pace);
    let begun = |tenure: &&Tenure| {
        tenure.clock == grandmaster
            && interval.map_or(tenure.from, |interval| tenure.from.plus(interval)) < time
    };
    let latest = domain.election.tenures().filter(begun).last()?;
    if latest.until.is_none_or(|until| time <= until) {
        return Some(Restart { anew, fell_silent: None });
    }
    let by_silence = matches!(latest.ended_by, EndedBy::AnnounceTimeout | EndedBy::SyncStopped);
    by_silence.then_some(Restart { anew, fell_silent: latest.until_place })
}

/// The middle distance of restarts that come at a like pace.
fn period(restarts: &[Restart]) -> Option<Nanos> {
    let times: Vec<CaptureTime> = restarts.iter().filter_map(|restart| restart.anew.time).collect();
    let pairs = times.windows(2).filter_map(|pair| {
        let [before, after] = pair else { return None };
        Some(after.since(*before))
    });
    let mut distances: Vec<Nanos> = pairs.collect();
    distances.sort_unstable();
    let middle = *distances.get(distances.len() / 2)?;
    let allowed = middle.0.saturating_mul(SPREAD_PERCENT) / 100;
    let alike = |distance: &Nanos| distance.0.saturating_sub(middle.0).abs() <= allowed;
    (distances.len() >= DISTANCES && distances.iter().all(alike)).then_some(middle)
}
