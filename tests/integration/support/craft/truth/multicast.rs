//! The truth of group membership, read off the octets that were sent and off the script.
use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::Ipv4Addr;

use super::MembershipTruth;
use super::MulticastTruth;
use super::View;
use crate::support::craft::igmp;
use crate::support::craft::simulation::MAX_RESPONSE_3;
use crate::support::craft::simulation::Ns;
use crate::support::craft::simulation::PTP_GROUP;
use crate::support::craft::simulation::SECOND;

/// Behind 14 octets of Ethernet and 24 of IPv4 with Router Alert.
const MESSAGE: usize = 38;
/// Answers may take this long in version 2 (RFC 2236 section 8.3).
const RESPONSE_2: Ns = 10 * SECOND;

#[derive(Default)]
struct Told {
    queries: Vec<Ns>,
    joins: Vec<MembershipTruth>,
    leaves: Vec<MembershipTruth>,
    /// The last report of each host and group that has not left.
    members: BTreeMap<(Ipv4Addr, Ipv4Addr), Ns>,
    requested: BTreeSet<Ipv4Addr>,
}

fn address(octets: &[u8], at: usize) -> Ipv4Addr {
    Ipv4Addr::from(<[u8; 4]>::try_from(&octets[at..at + 4]).expect("four octets"))
}

fn told(view: &View<'_>) -> Told {
    let mut told = Told::default();
    for (&entry, &stamp) in &view.stamps {
        let logged = &view.world.log[entry];
        if logged.kind != "igmp" {
            continue;
        }
        let (octets, at_ns) = (&logged.octets, stamp - view.first);
        let host = address(octets, 26);
        let change =
            |group: Ipv4Addr| MembershipTruth { host: host.to_string(), group: group.to_string(), at_ns };
        match octets[MESSAGE] {
            0x11 => told.queries.push(at_ns),
            0x16 => {
                let group = address(octets, MESSAGE + 4);
                told.members.insert((group, host), at_ns);
                told.requested.insert(group);
            }
            0x22 => {
                let (record, group) = (octets[MESSAGE + 8], address(octets, MESSAGE + 12));
                if record == igmp::LEAVES {
                    told.members.remove(&(group, host));
                    told.leaves.push(change(group));
                    continue;
                }
                if record == igmp::JOINS {
                    told.joins.push(change(group));
                }
                told.members.insert((group, host), at_ns);
                told.requested.insert(group);
            }
            other => panic!("IGMP {other:#x} is not in any script"),
        }
    }
    told.queries.sort_unstable();
    told
}

pub(super) fn truth(view: &View<'_>) -> MulticastTruth {
    let told = told(view);
    let end = view.last - view.first;
    let querier = view.world.scenario.querier;
    let (interval, response) = querier.map_or((125 * SECOND, RESPONSE_2), |querier| {
        let response = if querier.version_3 { i64::from(MAX_RESPONSE_3) * SECOND / 10 } else { RESPONSE_2 };
        (querier.interval, response)
    });
    // RFC 3376 sections 8.4 and 8.5 with robustness 2; in the scenes all members of a group report in one version.
    let last_query_at_ns = told.queries.last().copied();
    let silent_at_ns =
        last_query_at_ns.map(|last| last + 2 * interval + response / 2).filter(|silent| *silent < end);
    let expiries = told
        .members
        .iter()
        .map(|((group, host), last)| (last + 2 * interval + response, group, host))
        .filter(|(at_ns, ..)| *at_ns < end)
        .map(|(at_ns, group, host)| MembershipTruth {
            host: host.to_string(),
            group: group.to_string(),
            at_ns,
        })
        .collect();
    let mut sent: BTreeSet<Ipv4Addr> =
        view.world.scenario.streams.iter().map(|stream| stream.group).collect();
    sent.insert(PTP_GROUP);
    let text = |groups: Vec<&Ipv4Addr>| groups.into_iter().map(ToString::to_string).collect();
    MulticastTruth {
        querier: querier.map(|querier| view.world.nodes[querier.node].spec.ip.to_string()),
        queries: told.queries.len(),
        last_query_at_ns,
        silent_at_ns,
        unrequested: text(sent.difference(&told.requested).collect()),
        idle: text(told.requested.difference(&sent).collect()),
        joins: told.joins,
        leaves: told.leaves,
        expiries,
        igmp_frames: view.in_capture().filter(|logged| logged.kind == "igmp").count(),
    }
}
