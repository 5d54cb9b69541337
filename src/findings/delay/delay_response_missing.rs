//! `delay-response-missing`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::domains::DomainKey;
use crate::domains::Outage;
use crate::domains::PortId;
use crate::domains::Unheard;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::observations::Place;

/// Requests in a row without an answer from which a time that is over is told (chosen: twice as many as make an outage, so
/// that what is lost by chance does not make one).
const PAST_FROM: u64 = 8;

/// Devices ask for delay and get no answer.
pub(super) struct DelayResponseMissing;

impl Rule for DelayResponseMissing {
    fn id(&self) -> &'static str {
        "delay-response-missing"
    }

    fn summary(&self) -> &'static str {
        "devices ask for delay, this capture could show the answers, and none comes"
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let silent: Vec<&Device> = analysis
                .devices
                .iter()
                .filter(|device| device.state == State::Unanswered && device.in_domain == Some(domain.key))
                .collect();
            let answered = analysis
                .devices
                .iter()
                .filter(|device| {
                    matches!(device.state, State::Following | State::Relaying)
                        && device.in_domain == Some(domain.key)
                })
                .count();
            match silent.as_slice() {
                [] => {}
                // Nobody is answered: one deaf leader is the cause, not many deaf followers.
                [_, _, ..] if answered == 0 => findings.push(self.deaf_leader(analysis, domain.key, &silent)),
                each => findings.extend(each.iter().map(|device| self.one(analysis, domain.key, device))),
            }
        }
        if !loss::is_much(analysis) {
            findings.extend(analysis.domains.iter().flat_map(|domain| self.past(analysis, domain)));
        }
        if findings.is_empty() {
            return withheld(analysis);
        }
        Outcome::from_findings(findings)
    }
}

/// Quiet, or why this capture could not have shown the answers that it lacks.
fn withheld(analysis: &Analysis) -> Outcome {
    let mut devices = 0_u64;
    let mut whys = BTreeSet::new();
    for device in &analysis.devices {
        let held = device.withheld.iter().filter(|held| held.state == State::Unanswered);
        let asked: Vec<&str> = held.map(|held| held.why).collect();
        devices += u64::from(!asked.is_empty());
        whys.extend(asked);
    }
    if devices == 0 {
        return Outcome::Quiet;
    }
    let who = if devices == 1 { "1 device asks".to_owned() } else { format!("{devices} devices ask") };
    let whys: Vec<&str> = whys.into_iter().collect();
    Outcome::CannotTell(format!("{who} and no answer was captured: {}", whys.join("; ")))
}

/// A time in which a requester was not answered, between times in which it was.
#[derive(Clone, Copy)]
struct Past<'a> {
    port: PortId,
    device: &'a Device,
    outage: Outage,
    until: Place,
}

/// Such times that are over, while the leader was heard and led.
fn past<'a>(analysis: &'a Analysis, domain: &Domain) -> Vec<Past<'a>> {
    let unheard = domain.unheard();
    let is_its_own = |from: Place, until: Place| {
        let is_led = domain
            .election
            .tenures()
            .any(|tenure| tenure.from_place <= from && tenure.until_place.is_none_or(|ended| ended >= until));
        let is_heard = |span: &Unheard| span.syncs_went_on || span.after < from || until < span.before;
        is_led && unheard.iter().all(is_heard)
    };
    let told = domain.requesters.iter().flat_map(|((port, _), requester)| {
        let long = requester.outages().iter().filter(|outage| outage.requests >= PAST_FROM);
        let over = long.filter_map(|outage| Some((*outage, outage.until?)));
        over.filter(|(outage, until)| is_its_own(outage.from, *until)).filter_map(|(outage, until)| {
            let device = analysis.device_of(port.clock)?;
            Some(Past { port: *port, device, outage, until })
        })
    });
    // Of whoever is not answered in the end that is told.
    told.filter(|past| past.device.state != State::Unanswered).collect()
}

impl DelayResponseMissing {
    /// What is over: of all that are answered at once it is the leader's matter, else each one's.
    fn past(&self, analysis: &Analysis, domain: &Domain) -> Vec<Finding> {
        let past = past(analysis, domain);
        let Some(longest) = past.iter().max_by_key(|past| past.outage.requests) else { return Vec::new() };
        let (from, until) = (longest.outage.from, longest.until);
        let at_once: Vec<&Past<'_>> =
            past.iter().filter(|past| past.outage.from < until && from < past.until).collect();
        let answered: BTreeSet<PortId> = domain
            .requesters
            .iter()
            .filter(|(_, requester)| requester.answered() > 0 && requester.seen() > 0)
            .map(|((port, _), _)| *port)
            .collect();
        let hit: BTreeSet<PortId> = at_once.iter().map(|past| past.port).collect();
        let time = |place: Place| place.time.map(|time| at(analysis, time)).unwrap_or_default();
        let evidence = |past: &Past<'_>| {
            let text = format!(
                "{}: {} requests in a row without an answer; answered again from {}",
                past.device.key,
                past.outage.requests,
                time(past.until)
            );
            Evidence::at(Some(past.outage.from), text)
        };
        let next = vec![
            "compare with what else happened then: link, spanning tree, snooping, changes of the network",
            "capture at the leader's own port when it happens again: do the requests reach it?",
        ];
        if hit.len() > 1 && hit == answered {
            let leader = domain.election.leader();
            let name = leader.map(|leader| leader.to_string()).unwrap_or_default();
            let title = format!(
                "{}: the leader {name} answered nobody from {} to {}; it does again",
                domain.key,
                time(from),
                time(until)
            );
            let device =
                leader.and_then(|leader| analysis.device_of(leader)).map(|device| device.key.clone());
            let affected = at_once.iter().map(|past| past.device.key.clone()).collect();
            let evidence = at_once.iter().map(|past| evidence(past)).collect();
            let severity = Severity::Major;
            return vec![Finding {
                severity,
                title,
                device,
                affected,
                evidence,
                next,
                ..self.blank(domain.key)
            }];
        }
        let one = |past: &Past<'_>| Finding {
            severity: Severity::Minor,
            title: format!(
                "{}: {} got no answer from {} to {}; it is answered again",
                domain.key,
                past.device.key,
                time(past.outage.from),
                time(past.until)
            ),
            device: Some(past.device.key.clone()),
            evidence: vec![evidence(past)],
            next: next.clone(),
            ..self.blank(domain.key)
        };
        past.iter().map(one).collect()
    }

    fn deaf_leader(&self, analysis: &Analysis, key: DomainKey, silent: &[&Device]) -> Finding {
        let leader = analysis.domains.get(&key).and_then(|domain| domain.election.leader());
        let name = leader.map(|leader| leader.to_string()).unwrap_or_default();
        let hidden = analysis.devices.iter().flat_map(|device| &device.withheld);
        let hidden = hidden.filter(|held| held.state == State::Unanswered && held.domain == key).count();
        let strength = silent.iter().map(|device| device.strength).max().unwrap_or(Strength::Inferred);
        Finding {
            stream: None,
            title: if hidden == 0 {
                format!("{key}: the leader {name} answers nobody; {} devices ask in vain", silent.len())
            } else {
                format!(
                    "{key}: the leader {name} answers none of the {} devices whose answers would be in view",
                    silent.len()
                )
            },
            device: leader.and_then(|leader| analysis.device_of(leader)).map(|device| device.key.clone()),
            affected: silent.iter().map(|device| device.key.clone()).collect(),
            strength,
            evidence: silent.iter().flat_map(|device| evidence(analysis, key, device)).collect(),
            next: vec![
                "capture at the leader's own port: do the requests reach it?",
                "if they do: its event port (UDP 319) may be filtered, or it expects another delay mechanism",
                "if they do not: multicast towards the leader is pruned or blocked",
            ],
            ..self.blank(key)
        }
    }

    fn one(&self, analysis: &Analysis, key: DomainKey, device: &Device) -> Finding {
        Finding {
            stream: None,
            title: format!("{key}: {} asks the leader and {}", device.key, gets(analysis, key, device)),
            device: Some(device.key.clone()),
            strength: device.strength,
            evidence: evidence(analysis, key, device),
            next: vec![
                "capture at this device's own port, then at the leader's: the side that lacks the answer has the fault",
                "check snooping and access lists for UDP 319 and 320 on its port, and its delay mechanism",
            ],
            ..self.blank(key)
        }
    }

    fn blank(&self, key: DomainKey) -> Finding {
        Finding {
            id: self.id(),
            severity: Severity::Critical,
            strength: Strength::Inferred,
            domain: Some(key),
            device: None,
            stream: None,
            follows_from: None,
            affected: Vec::new(),
            title: String::new(),
            evidence: Vec::new(),
            next: Vec::new(),
            sources: vec![
                "IEEE 1588-2008 11.3, 9.5.12 (from memory)",
                "counted after 2 s without an answer; 3 or more requests, or 4 in a row; 8 where it is over (chosen)",
            ],
        }
    }
}

/// How many of a device's requests are answered, in words.
fn gets(analysis: &Analysis, key: DomainKey, device: &Device) -> String {
    let domain = analysis.domains.get(&key);
    let own = device.clocks.iter().flat_map(|clock| domain.map(|domain| domain.requests_of(*clock)));
    let (asked, answered) = own.flatten().fold((0_u64, 0_u64), |(asked, answered), (_, _, requester)| {
        (asked.saturating_add(requester.seen()), answered.saturating_add(requester.answered()))
    });
    match answered {
        0 => "gets no answer".to_owned(),
        _ => format!("gets an answer to {answered} of {asked} requests only"),
    }
}

fn evidence(analysis: &Analysis, key: DomainKey, device: &Device) -> Vec<Evidence> {
    // Where it began comes first: the first of the requests in vain that it ends with.
    let since = analysis.domains.get(&key).and_then(|domain| {
        let asked = device.clocks.iter().flat_map(|clock| domain.requests_of(*clock));
        asked.filter_map(|(_, _, asker)| asker.in_vain_since().or_else(|| asker.last_request())).min()
    });
    let text = format!("{}: {}", device.key, device.reasons.join("; "));
    vec![Evidence { place: since, text }]
}
