//! `delay-request-stops`

use crate::analysis::Analysis;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::findings::words::duration;
use crate::findings::words::mac_of;
use crate::units::CaptureTime;
use crate::units::Nanos;

/// Requests before a device is said to ask regularly (reference: 10).
const REQUESTS: u64 = 10;

/// Intervals without a request (reference: 8), and the least time (reference: 10 s).
const INTERVALS: i64 = 8;
const LEAST: Nanos = Nanos::from_seconds(10);

/// A follower that asked regularly asks no more, and is still there.
pub(super) struct DelayRequestStops;

impl Rule for DelayRequestStops {
    fn id(&self) -> &'static str {
        "delay-request-stops"
    }

    fn summary(&self) -> &'static str {
        "a device that asked for delay regularly stopped, while it still sends other traffic"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "look at what the leader, the switch port and the device did in the seconds before it stopped",
            "capture at that device's own port: do Announce and Sync of the leader arrive there?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &["common practice, no source", "10 requests, then none for 8 intervals and 10 s (chosen)"]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        if let Some(why) = analysis.clocks_disagree() {
            return Outcome::CannotTell(why);
        }
        let mut findings = Vec::new();
        let mut cannot_tell = None;
        let led = analysis.domains.iter().filter(|domain| domain.election.leader().is_some());
        for domain in led {
            for ((port, mechanism), requester) in &domain.requesters {
                if *mechanism != Mechanism::EndToEnd {
                    continue;
                }
                let Some(stop) = stop(analysis, domain, *port, requester) else { continue };
                if goes_on(analysis, domain, *port, requester, stop) {
                    findings.push(self.finding(analysis, domain, *port, requester, stop));
                } else {
                    cannot_tell = Some(format!(
                        "{}: {port} asks no more, and so does everybody who asks the same way: the capture may have lost sight of requests",
                        domain.key
                    ));
                }
            }
        }
        Outcome::from_findings_or(findings, cannot_tell)
    }
}

#[derive(Clone, Copy)]
struct Stop {
    /// The last request.
    last: CaptureTime,
    /// How long none may come.
    patience: Nanos,
    /// The latest frame of the device.
    heard: CaptureTime,
}

/// When a port stopped asking for good, though its device is still heard and asks nowhere else.
fn stop(analysis: &Analysis, domain: &Domain, port: PortId, requester: &Requester) -> Option<Stop> {
    if requester.seen() < REQUESTS {
        return None;
    }
    let sent = domain.ports.get(&port)?;
    let last = requester.last_request()?.time?;
    let measured = sent.series(Kind::DelayReq)?.gaps().median()?;
    let asked_for = requester.asked_for().and_then(crate::units::LogInterval::nanos).unwrap_or_default();
    let patience = measured.max(asked_for).saturating_mul(INTERVALS).max(LEAST);
    let heard = analysis.scope.last_heard(mac_of(domain, port)?)?;
    let device = analysis.device_of(port.clock)?;
    let leads = domain.election.leader().is_some_and(|leader| device.has_clock(leader));
    let told = matches!(device.state, State::Unanswered | State::Rival);
    if heard.since(last) <= patience || leads || told {
        return None;
    }
    let announces_since = device.clocks.iter().flat_map(|clock| domain.ports_of(*clock)).any(|own| {
        own.series(Kind::Announce).and_then(|series| series.last()?.time).is_some_and(|time| time > last)
    });
    let asks_elsewhere = device.domains.iter().filter_map(|key| analysis.domains.get(key)).any(|other| {
        let own = device.clocks.iter().flat_map(|clock| other.requests_of(*clock));
        own.filter_map(|(_, _, theirs)| theirs.last_request()?.time).any(|time| time > last)
    });
    // Where the leader changed since, its own fall is told.
    let same_leader = domain.election.tenures().all(|tenure| tenure.from < last);
    (!announces_since && !asks_elsewhere && same_leader).then_some(Stop { last, patience, heard })
}

/// Whether requests would still be in view: at the device's own port, or where others that ask the same way go on.
fn goes_on(analysis: &Analysis, domain: &Domain, port: PortId, requester: &Requester, stop: Stop) -> bool {
    let own = mac_of(domain, port);
    if own.is_some() && analysis.scope.station() == own {
        return true;
    }
    let by_multicast = |of: &Requester| of.multicast().saturating_mul(2) > of.seen();
    domain.requesters.iter().any(|((other, mechanism), theirs)| {
        let later = theirs.last_request().and_then(|place| place.time);
        other.clock != port.clock
            && *mechanism == Mechanism::EndToEnd
            && by_multicast(theirs) == by_multicast(requester)
            && later.is_some_and(|time| time.since(stop.last) > stop.patience)
    })
}

impl DelayRequestStops {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: PortId,
        requester: &Requester,
        stop: Stop,
    ) -> Finding {
        let text = format!(
            "{} Delay_Req until {} and none for {} after that, while other traffic of it was captured until {}",
            requester.seen(),
            at(analysis, stop.last),
            duration(stop.heard.since(stop.last)),
            at(analysis, stop.heard)
        );
        let title = format!("{}: {port} stopped asking for delay at {}", domain.key, at(analysis, stop.last));
        let evidence = vec![Evidence::at(requester.last_request(), text)];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        finding.in_domain(domain.key).about_clock(analysis, port.clock)
    }
}
