//! `delay-response-missing`

use std::collections::BTreeSet;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::State;
use crate::devices::Strength;
use crate::domains::DomainKey;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

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

impl DelayResponseMissing {
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
                "counted after 2 s without an answer; 3 or more requests, or 4 in a row (chosen)",
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
        asked.filter_map(|(_, _, asker)| asker.trailing_since().or_else(|| asker.last_request())).min()
    });
    let text = format!("{}: {}", device.key, device.reasons.join("; "));
    vec![Evidence { place: since, text }]
}
