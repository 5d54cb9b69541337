//! `ttl-too-small`

use std::net::IpAddr;

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

/// Messages from which it is said (chosen).
const MESSAGES: u64 = 10;

/// Values that systems begin with (common practice, no source); a few below one of them came through that many routers.
const BEGINNINGS: [u8; 3] = [64, 128, 255];

/// Routers that are looked for (chosen).
const HOPS: u8 = 4;

/// The leader's multicast cannot pass the router that a follower is behind.
pub(super) struct TtlTooSmall;

impl Rule for TtlTooSmall {
    fn id(&self) -> &'static str {
        "ttl-too-small"
    }

    fn summary(&self) -> &'static str {
        "the leader's multicast has a time to live of 1, and a follower is behind a router"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "put a boundary clock at the router; that is better than routing PTP",
            "or raise the time to live on the leader, with multicast routing in between",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "a router takes 1 off and drops what reaches 0: RFC 791, RFC 1112 (from memory)",
            "a time to live of 1 to 4 below 64, 128 or 255 is taken for a routed one; 10 messages (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = Vec::new();
        for domain in analysis.domains.iter() {
            let Some(leader) = domain.election.leader() else { continue };
            let leads = |port: &&ClockPort| port.offers(leader);
            let confined = domain.leading_ports().find(|port| is_confined(port));
            let Some(confined) = confined else { continue };
            let others = domain.ports.values().filter(|port| !leads(port));
            findings.extend(others.filter_map(|port| self.finding(analysis, domain, port, confined)));
        }
        Outcome::from_findings(findings)
    }
}

/// Whether all Syncs of a port go to a group with a time to live of 1.
fn is_confined(port: &ClockPort) -> bool {
    port.marks.get(&Kind::Sync).is_some_and(|marks| {
        marks.unicast == 0 && marks.ttl.len() == 1 && marks.ttl.get(&1).is_some_and(|seen| *seen >= MESSAGES)
    })
}

/// The time to live of requests that came through routers.
fn routed(port: &ClockPort) -> Option<u8> {
    let requests = port.marks.get(&Kind::DelayReq)?;
    let (ttl, seen) = requests.ttl.iter().max_by_key(|(_, seen)| **seen)?;
    let hops = BEGINNINGS.iter().filter_map(|begin| begin.checked_sub(*ttl));
    (*seen >= MESSAGES && hops.into_iter().any(|hops| (1..=HOPS).contains(&hops))).then_some(*ttl)
}

fn networks(port: &ClockPort) -> Vec<[u8; 2]> {
    let addresses = port.addresses.keys().filter_map(|address| match address.ip {
        Some(IpAddr::V4(ip)) => {
            let [a, b, ..] = ip.octets();
            Some([a, b])
        }
        _ => None,
    });
    addresses.collect()
}

impl TtlTooSmall {
    fn finding(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        port: &ClockPort,
        leader: &ClockPort,
    ) -> Option<Finding> {
        let ttl = routed(port)?;
        // A device whose messages begin at such a value by itself would still share the leader's network.
        let (own, theirs) = (networks(port), networks(leader));
        let is_apart = !own.is_empty() && !theirs.is_empty() && own.iter().all(|net| !theirs.contains(net));
        if !is_apart {
            return None;
        }
        let title =
            format!("{}: {} is behind a router that the leader's Sync cannot pass", domain.key, port.port);
        let evidence = vec![
            Evidence::at(
                port.series(Kind::DelayReq).and_then(crate::domains::Cadence::last),
                format!(
                    "its Delay_Req arrive with a time to live of {ttl}, from another network than the leader's"
                ),
            ),
            Evidence::at(
                leader.series(Kind::Sync).and_then(crate::domains::Cadence::last),
                format!("Sync of {} goes to the group with a time to live of 1", leader.port),
            ),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, port.port.clock))
    }
}
