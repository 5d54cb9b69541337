//! What a device does on the clock, from messages alone.

use std::collections::BTreeSet;

use super::astray::astray;
use super::device::Device;
use super::device::State;
use super::device::Withheld;
use super::site::SiteDomain;
use crate::clock::Clocks;
use crate::clock::FollowerTime;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::domains::Domains;
use crate::domains::Kind;
use crate::domains::Mechanism;
use crate::domains::OUTAGE_RUN;
use crate::domains::PortId;
use crate::domains::Requester;
use crate::domains::is_beyond_chance;
use crate::ptp::v2::management::PortState;
use crate::strength::Strength;
use crate::timing::ScaledNanos;
use crate::units::CaptureTime;
use crate::units::Nanos;
use crate::viewpoint::Scope;

/// Requests, none answered, from which "unanswered" is said at all (reference: 3 in a row).
const UNANSWERED_FROM: u64 = 3;

/// Requests, none answered, from which it may be said firmly (reference: 100 % over 8 or more).
const UNANSWERED_SHOWN_FROM: u64 = 8;

/// Why nothing is said where messages of the leader are missing as well.
const MUCH_IS_LOST: &str = "so many of the leader's messages are missing that answers may be too";

/// With some answers: requests judged, and the share without an answer in per cent (reference: 50 % of 20).
const PARTLY_UNANSWERED: (u64, u64) = (20, 50);

/// How long the leader's latest Sync may lie before its latest Announce (chosen: the longest interval of the default
/// profile, 1588-2008 J.3, from memory, is 2 s; five of those).
const SYNC_STOPPED: Nanos = Nanos::from_seconds(10);

/// What devices are judged by.
pub(super) struct Scene<'a> {
    pub(super) domains: &'a Domains,
    pub(super) clocks: &'a Clocks,
    pub(super) site: &'a SiteDomain,
    pub(super) scope: &'a Scope,
    /// Domains whose time is the site's.
    pub(super) joined: &'a BTreeSet<DomainKey>,
    /// Domains that serve a purpose of their own.
    pub(super) established: &'a BTreeSet<DomainKey>,
    pub(super) start: CaptureTime,
}

/// Fills in the device's state, strength, reasons and leader.
pub(super) fn judge(device: &mut Device, scene: &Scene<'_>) {
    let Scene { domains, clocks, start, .. } = *scene;
    let own: Vec<&Domain> = device.domains.iter().filter_map(|key| domains.get(key)).collect();
    let mut withheld = Vec::new();
    // A boundary clock that is off itself hands its error on: that comes first.
    let mut judged = relaying(device, &own)
        .map(|relays| adrift(device, &own, clocks).unwrap_or(relays))
        .or_else(|| rival(device, &own, start))
        .or_else(|| astray(device, &own, scene, &mut withheld))
        .or_else(|| leading(device, &own))
        .or_else(|| unanswered(device, &own, scene, &mut withheld))
        .or_else(|| adrift(device, &own, clocks))
        .or_else(|| following(device, &own))
        .or_else(|| standing_by(device, &own, scene, &mut withheld))
        .unwrap_or_else(|| unproven(device, &own, scene));
    for Withheld { state, domain, why } in &withheld {
        match state {
            State::Astray => {
                judged.reasons.push(format!("whether it is alone in {domain} is not shown: {why}"))
            }
            State::StandingBy => judged.reasons.push(format!("whether it yielded is not shown: {why}")),
            // That of requests stands with them.
            _ => {}
        }
    }
    device.leader = own.iter().find(|domain| domain.key == judged.domain).and_then(|d| d.election.leader());
    device.in_domain = Some(judged.domain);
    device.time = times(device, judged.domain, clocks).into_iter().min_by_key(|time| time.basis).cloned();
    device.state = judged.state;
    device.strength = judged.strength;
    device.reasons = judged.reasons;
    device.withheld = withheld;
}

/// What is known of the device's time in a domain.
fn times<'a>(device: &Device, key: DomainKey, clocks: &'a Clocks) -> Vec<&'a FollowerTime> {
    device.clocks.iter().flat_map(|clock| clocks.times_of(*clock, key)).collect()
}

fn adrift(device: &Device, own: &[&Domain], clocks: &Clocks) -> Option<Judged> {
    for domain in own.iter().filter(|domain| domain.election.leader().is_some()) {
        for time in times(device, domain.key, clocks) {
            let basis = time.basis.name();
            let whom = time.through.map_or_else(
                || "the leader".to_owned(),
                |port| format!("{port}, a boundary clock whose own error is in it"),
            );
            if let Some(off) = time.off_by_at_least() {
                let ahead = if off.is_behind { "behind" } else { "ahead of" };
                let reason = format!(
                    "is at least {} {ahead} {whom}, by {} samples of its {basis}",
                    apart(off.at_least),
                    time.offset.count
                );
                let strength = if time.offset.count > 1 { Strength::Shown } else { Strength::Inferred };
                return Some(judged(State::Adrift, strength, domain, reason));
            }
            if let Some(rate) = time.off_rate() {
                let reason = format!(
                    "runs {:+.3} ppm (standard error {:.3}) against {whom}, by its {basis}",
                    rate.ppm, rate.sigma_ppm
                );
                return Some(judged(State::Adrift, Strength::Inferred, domain, reason));
            }
        }
    }
    None
}

/// A difference of times with the unit that suits it and three decimals, of any size.
fn apart(value: ScaledNanos) -> String {
    let ns = value.nanos().map_or(i64::MAX, |nanos| nanos.0);
    let (unit, size) = match ns.unsigned_abs() {
        0..1_000_000 => ("us", 1_000),
        1_000_000..1_000_000_000 => ("ms", 1_000_000),
        _ => ("s", 1_000_000_000),
    };
    let sign = if ns < 0 { "-" } else { "" };
    let (whole, rest) = (ns.unsigned_abs() / size, ns.unsigned_abs() % size);
    format!("{sign}{whole}.{:03} {unit}", rest / (size / 1_000))
}

pub(super) struct Judged {
    pub(super) state: State,
    pub(super) strength: Strength,
    pub(super) domain: DomainKey,
    pub(super) reasons: Vec<String>,
}

pub(super) fn judged(state: State, strength: Strength, domain: &Domain, reason: String) -> Judged {
    Judged { state, strength, domain: domain.key, reasons: vec![reason] }
}

pub(super) fn leads(device: &Device, domain: &Domain) -> bool {
    domain.election.leader().is_some_and(|leader| device.has_clock(leader))
}

/// The device's ports in a domain.
fn ports<'a>(device: &'a Device, domain: &'a Domain) -> impl Iterator<Item = &'a ClockPort> {
    device.clocks.iter().flat_map(|clock| domain.ports_of(*clock))
}

/// The device's requests in a domain, most asked first.
pub(super) fn requests<'a>(device: &Device, domain: &'a Domain) -> Vec<(PortId, Mechanism, &'a Requester)> {
    let mut requests: Vec<_> = device.clocks.iter().flat_map(|clock| domain.requests_of(*clock)).collect();
    requests
        .sort_by_key(|(port, mechanism, requester)| (std::cmp::Reverse(requester.seen()), *port, *mechanism));
    requests
}

fn asks_the_leader(device: &Device, domain: &Domain) -> bool {
    requests(device, domain)
        .iter()
        .any(|(_, mechanism, requester)| *mechanism == Mechanism::EndToEnd && requester.answered() > 0)
}

fn relaying(device: &Device, own: &[&Domain]) -> Option<Judged> {
    let follows = own.iter().find(|domain| !leads(device, domain) && asks_the_leader(device, domain));
    let led = own.iter().find(|domain| leads(device, domain));
    if let (Some(followed), Some(led)) = (follows, led) {
        let reason = format!("is answered in {} and leads {}", followed.key, led.key);
        return Some(judged(State::Relaying, Strength::Shown, followed, reason));
    }
    for domain in own {
        let is_led = domain.election.current().is_some();
        let relays = domain.election.announcers().values().find(|announcer| {
            device.has_clock(announcer.candidate.sender.clock)
                && !device.has_clock(announcer.candidate.grandmaster)
                && announcer.candidate.steps_removed > 0
                && (!is_led || domain.election.alive_at_end(announcer))
        });
        if let Some(relay) = relays {
            let strength = if asks_the_leader(device, domain) { Strength::Shown } else { Strength::Inferred };
            let reason = format!(
                "announces {} with stepsRemoved {}",
                relay.candidate.grandmaster, relay.candidate.steps_removed
            );
            return Some(judged(State::Relaying, strength, domain, reason));
        }
    }
    None
}

fn rival(device: &Device, own: &[&Domain], start: CaptureTime) -> Option<Judged> {
    for domain in own {
        let lasting = domain.election.rivalries().iter().rev().find(|rivalry| {
            device.has_clock(rivalry.port.clock)
                && !leads(device, domain)
                && !rivalry.apart
                && domain.election.current().is_some()
                && domain
                    .election
                    .announcers()
                    .get(&rivalry.port)
                    .is_some_and(|announcer| domain.election.alive_at_end(announcer))
        });
        if let Some(rivalry) = lasting {
            let leads = if device.has_clock(rivalry.clock) {
                "leads".to_owned()
            } else {
                format!("announces {}", rivalry.clock)
            };
            let reason = format!(
                "{leads} since {} though {} is better by {}",
                at(rivalry.since, start),
                rivalry.leader,
                rivalry.decided_by.name()
            );
            return Some(judged(State::Rival, Strength::Shown, domain, reason));
        }
    }
    None
}

/// Messages that take part in a domain's time: a question to its clocks is none.
pub(super) fn messages(device: &Device, domain: &Domain) -> u64 {
    let of_port = |port: &ClockPort| {
        let series = port.series.iter().filter(|(kind, _)| **kind != Kind::Management);
        series.map(|(_, series)| series.count()).sum::<u64>()
    };
    ports(device, domain).map(of_port).sum()
}

fn leading(device: &Device, own: &[&Domain]) -> Option<Judged> {
    let domain = own.iter().find(|domain| leads(device, domain))?;
    let tenure = domain.election.current()?;
    let reason = match tenure.won_against {
        Some(other) => format!("wins on {} against {other}", tenure.won_on.name()),
        None => "the only clock that announces itself".to_owned(),
    };
    Some(judged(State::Leading, Strength::Shown, domain, reason))
}

fn unanswered(
    device: &Device,
    own: &[&Domain],
    scene: &Scene<'_>,
    withheld: &mut Vec<Withheld>,
) -> Option<Judged> {
    for domain in own.iter().filter(|domain| domain.election.leader().is_some()) {
        for (port, mechanism, requester) in requests(device, domain) {
            let judged_requests = requester.answered() + requester.unanswered();
            let none = requester.answered() == 0 && requester.in_vain() >= UNANSWERED_FROM;
            let stopped = requester.in_vain() >= OUTAGE_RUN;
            let (least, per_cent) = PARTLY_UNANSWERED;
            let missed = requester.unanswered_by_a_leader();
            let partly = requester.answered() + missed >= least
                && missed * 100 >= per_cent * (requester.answered() + missed);
            if !(none || stopped || partly) {
                continue;
            }
            let lost = domain.election.leader().map(|leader| domain.missing_of(leader)).unwrap_or_default();
            let by_chance = !is_beyond_chance(requester.in_vain(), lost);
            if if none || stopped { by_chance } else { domain.loses_much() } {
                withheld.push(Withheld { state: State::Unanswered, domain: domain.key, why: MUCH_IS_LOST });
                continue;
            }
            let view = scene.scope.can_see_answers(domain, port, mechanism, requester);
            if !view.is_in_view() {
                withheld.push(Withheld { state: State::Unanswered, domain: domain.key, why: view.why });
                continue;
            }
            let firm = !none || requester.in_vain() >= UNANSWERED_SHOWN_FROM;
            let strength = if firm { view.strength } else { Strength::Inferred };
            let mut reason = format!(
                "{} of {judged_requests} {} of port {} got no answer",
                requester.unanswered(),
                mechanism.request(),
                port.port
            );
            if let Some(since) =
                requester.in_vain_since().and_then(|place| place.time).filter(|_| stopped && !none)
            {
                reason = format!("{reason}; none since {}", at(since, scene.start));
            }
            let mut judged = judged(State::Unanswered, strength, domain, reason);
            judged.reasons.push(format!("this capture could show them: {}", view.why));
            return Some(judged);
        }
    }
    None
}

fn following(device: &Device, own: &[&Domain]) -> Option<Judged> {
    for domain in own.iter().filter(|domain| domain.election.leader().is_some()) {
        for (_, mechanism, requester) in requests(device, domain) {
            if requester.answered() == 0 && !requester.is_answered_unseen() {
                continue;
            }
            if let Some(rivals) = answered_by_rival(domain, requester) {
                let reason = format!("{rivals} in {}", domain.key);
                return Some(judged(State::Unproven, Strength::Inferred, domain, reason));
            }
            let (strength, reason) = if requester.answered() > 0 {
                let asked = requester.answered() + requester.unanswered();
                let text = format!("{} of {asked} {} answered", requester.answered(), mechanism.request());
                (Strength::Shown, text)
            } else {
                let answers = requester.unseen_requests();
                let text = format!("{answers} answers to it were captured, its requests pass elsewhere");
                (Strength::Inferred, text)
            };
            let mut judged = judged(State::Following, strength, domain, reason);
            judged.reasons.extend(without_sync(domain).map(str::to_owned));
            return Some(judged);
        }
        if let Some(reason) = claims_state(device, domain, PortState::Slave) {
            return Some(judged(State::Following, Strength::Shown, domain, reason));
        }
    }
    None
}

/// Why answers alone give the time to nobody: the leader's Syncs do not come, or not with their time.
fn without_sync(domain: &Domain) -> Option<&'static str> {
    let port = domain.leading_port()?;
    let Some(syncs) = port.series(Kind::Sync) else {
        return Some("no Sync of the leader was captured: answers alone give no time");
    };
    let pairing = port.samples.as_deref()?.pairing();
    if pairing.paired() == 0 && pairing.one_step_count() == 0 && pairing.without_follow_up() > 0 {
        return Some("no Sync of the leader came with its Follow_Up: answers alone give no time");
    }
    let offered = port.series(Kind::Announce)?;
    let stopped = offered.last()?.time?.since(syncs.last()?.time?) > SYNC_STOPPED;
    stopped.then_some("the leader's Syncs have stopped: answers alone give no time")
}

/// The device's own word, where a management answer gives that port state.
fn claims_state(device: &Device, domain: &Domain, state: PortState) -> Option<String> {
    let claimed = ports(device, domain)
        .filter_map(|port| port.claims.port_state.map(|(claimed, place)| (port, claimed, place)));
    let (port, _, place) = claimed.into_iter().find(|(_, claimed, _)| *claimed == state)?;
    let name = state.name().unwrap_or_default();
    Some(format!(
        "its own management answer says that port {} is {name} (frame {})",
        port.port.port, place.frame
    ))
}

/// Who besides the leader answers, where a rival leads beside it.
fn answered_by_rival(domain: &Domain, requester: &Requester) -> Option<String> {
    let leader = domain.election.leader()?;
    let rivals: BTreeSet<_> = domain.election.rivalries().iter().map(|rivalry| rivalry.port.clock).collect();
    let by_rival = requester.responders().keys().any(|port| rivals.contains(&port.clock));
    let by_leader = requester.responders().keys().any(|port| port.clock == leader);
    match (by_rival, by_leader) {
        (false, _) => None,
        (true, true) => Some("both leaders answer it".to_owned()),
        (true, false) => Some("only the worse of two leaders answers it".to_owned()),
    }
}

fn standing_by(
    device: &Device,
    own: &[&Domain],
    scene: &Scene<'_>,
    withheld: &mut Vec<Withheld>,
) -> Option<Judged> {
    for domain in own {
        let quiet = domain
            .election
            .announcers()
            .values()
            .find(|announcer| device.has_clock(announcer.candidate.sender.clock) && announcer.yielded())
            // One that a receiver still counts has not fallen silent.
            .filter(|announcer| !domain.election.alive_at_end(announcer));
        if let Some(quiet) = quiet {
            let view = scene.scope.can_see_announces(domain, quiet.candidate.sender);
            if view.is_in_view() {
                let reason = format!("announced until {}, then yielded", at(quiet.last, scene.start));
                return Some(judged(State::StandingBy, view.strength, domain, reason));
            }
            withheld.push(Withheld { state: State::StandingBy, domain: domain.key, why: view.why });
        }
        if let Some(reason) = claims_state(device, domain, PortState::Passive) {
            return Some(judged(State::StandingBy, Strength::Shown, domain, reason));
        }
    }
    None
}

fn unproven(device: &Device, own: &[&Domain], scene: &Scene<'_>) -> Judged {
    let most = own.iter().max_by_key(|domain| messages(device, domain));
    let mut reasons = Vec::new();
    for domain in own {
        let led = domain.election.tenures().filter(|tenure| device.has_clock(tenure.clock)).last();
        if let Some((tenure, until)) = led.and_then(|tenure| Some((tenure, tenure.until?))) {
            let then = if tenure.sync_went_on {
                "announces nothing since, though its Sync goes on"
            } else {
                "fell silent"
            };
            reasons.push(format!("led {} until {} and {then}", domain.key, at(until, scene.start)));
            continue;
        }
        for (port, mechanism, requester) in requests(device, domain) {
            let why = if domain.election.leader().is_some() && requester.unseen_requests() > 0 {
                "one or two answers alone, which may be made up"
            } else if domain.election.leader().is_some() {
                let view = scene.scope.can_see_answers(domain, port, mechanism, requester);
                if view.is_in_view() { "too few went unanswered to say more" } else { view.why }
            } else if scene.scope.can_see_leader(domain, port, requester).is_in_view() {
                "nobody leads there"
            } else {
                "no leader there is in view"
            };
            reasons.push(format!(
                "{} {} seen in {}: {why}",
                requester.seen(),
                mechanism.request(),
                domain.key
            ));
        }
        if domain.election.beside_at_end().any(|beside| device.has_clock(beside.candidate.sender.clock)) {
            reasons
                .push(format!("announces beside the leader of {} at the end: too early to say", domain.key));
        }
        let announces: u64 = ports(device, domain).map(|port| port.count(Kind::Announce)).sum();
        if announces > 0 {
            reasons.push(format!("sent {announces} Announce in {}", domain.key));
        }
    }
    if reasons.is_empty() {
        let sent: BTreeSet<&str> = own
            .iter()
            .flat_map(|domain| ports(device, domain))
            .flat_map(|port| port.series.keys().map(|kind| kind.name()))
            .collect();
        let sent: Vec<&str> = sent.into_iter().collect();
        reasons.push(format!("sent only {}", sent.join(", ")));
    }
    // A device comes from a domain's ports or requesters, so it has one.
    let domain = most.map_or_else(|| device.domains.first().copied(), |domain| Some(domain.key));
    let fallback =
        DomainKey { name: crate::domains::DomainName::Number { sdo_id: 0, number: 0 }, vlan: None };
    Judged {
        state: State::Unproven,
        strength: Strength::CannotTell,
        domain: domain.unwrap_or(fallback),
        reasons,
    }
}

/// Seconds from the capture's start, rounded to three decimals.
fn at(time: CaptureTime, start: CaptureTime) -> String {
    time.since(start).as_seconds_text()
}
