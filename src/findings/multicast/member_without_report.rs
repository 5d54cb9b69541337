//! `member-without-report`

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::net::Ipv4Addr;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::Strength;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Host;
use crate::multicast::Querier;
use crate::multicast::Segment;

/// Queries, with the time for their answers, before a missing report means something (reference: 2 cycles).
const QUERIES: u64 = 2;

/// A device takes part in PTP by multicast and does not ask for its group.
pub(super) struct MemberWithoutReport;

impl Rule for MemberWithoutReport {
    fn id(&self) -> &'static str {
        "member-without-report"
    }

    fn summary(&self) -> &'static str {
        "a device takes part in PTP by multicast, was asked for its groups, and did not name PTP's"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "give its switch port a fixed entry for 224.0.1.129, or take that group out of the pruning",
            "at the device: is IGMP on, and does it join on the interface that carries the clock?",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 2236 3, RFC 3376 5.2, RFC 4541 2.1.1; PTP's groups: IEEE 1588-2008 Annex D (from memory)",
            "2 queries and the time for their answers, at the device's own port (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let silent: Vec<(&Device, &Segment, &Querier)> = analysis
            .multicast
            .segments()
            .filter(|segment| !segment.key.is_ipv6)
            .filter_map(|segment| Some((segment, asked_often(analysis, segment)?)))
            .flat_map(|(segment, querier)| {
                speakers(analysis, segment).into_iter().map(move |device| (device, segment, querier))
            })
            .filter(|(device, segment, _)| !has_named(device, segment))
            .collect();
        if silent.is_empty() {
            return Outcome::Quiet;
        }
        // Reports go towards the querier, so another port need not see them.
        let station = analysis.scope.station();
        let here = silent.iter().filter(|(device, ..)| station.is_some_and(|own| device.macs.contains(&own)));
        let here: Vec<_> = here.collect();
        if here.is_empty() {
            // At one device's port nobody expects the reports of others.
            if station.is_some() {
                return Outcome::Quiet;
            }
            return Outcome::CannotTell(format!(
                "{} take part in PTP without a report for its group in view; reports go towards the querier only, and the capture was not taken at their port",
                match silent.len() {
                    1 => "1 device may".to_owned(),
                    several => format!("{several} devices may"),
                }
            ));
        }
        if loss::is_much(analysis) {
            return Outcome::CannotTell("no report was captured, and much else is missing".to_owned());
        }
        let found = here.into_iter().map(|(device, segment, querier)| self.finding(device, segment, querier));
        Outcome::from_findings(found.collect())
    }
}

/// The querier of a network, where it asked often enough.
fn asked_often<'a>(analysis: &Analysis, segment: &'a Segment) -> Option<&'a Querier> {
    let end = analysis.end?;
    segment.queriers.values().find(|querier| {
        let answered = querier.first.time.zip(querier.last.time).is_some_and(|(first, last)| {
            last.since(first) > querier.response() && end.since(last) > querier.response()
        });
        querier.queries >= QUERIES && answered
    })
}

/// Devices that send PTP by IPv4 multicast on that network.
fn speakers<'a>(analysis: &'a Analysis, segment: &Segment) -> Vec<&'a Device> {
    let speaks = |device: &&Device| {
        let domains = analysis.domains.iter().filter(|domain| domain.key.vlan == segment.key.vlan);
        domains.flat_map(|domain| domain.ports.values()).any(|port| {
            device.has_clock(port.port.clock)
                && port.addresses.keys().any(|address| address.ip.is_some_and(|ip| ip.is_ipv4()))
                && port.marks.values().map(|marks| marks.multicast).sum::<u64>() > 0
        })
    };
    analysis.devices.iter().filter(speaks).collect()
}

/// Whether a device asked for one of PTP's groups, or another's answer may have spared it that.
fn has_named(device: &Device, segment: &Segment) -> bool {
    let groups: BTreeSet<IpAddr> =
        (129..=132).map(|last| IpAddr::from(Ipv4Addr::new(224, 0, 1, last))).collect();
    let members = segment.groups.iter().filter(|(group, _)| groups.contains(group));
    members.flat_map(|(_, members)| &members.by_host).any(|(host, member)| {
        let own = match host {
            Host::Ip(ip) => device.ips.contains(ip),
            Host::Mac(mac) => device.macs.contains(mac),
        };
        own || member.mac.is_some_and(|mac| device.macs.contains(&mac)) || member.version.suppresses()
    })
}

impl MemberWithoutReport {
    fn finding(&self, device: &Device, segment: &Segment, querier: &Querier) -> Finding {
        let title = format!("{} takes part in PTP and does not ask for its group", device.key);
        let others: usize = segment.groups.values().map(|members| members.now().count()).sum();
        let text = format!(
            "{} queries of {} passed at its port, each with {} for the answers; no report of it for 224.0.1.129 ({others} memberships in view)",
            querier.queries,
            querier.address,
            querier.response().as_seconds_text()
        );
        let evidence = vec![Evidence::at(Some(querier.last), text)];
        let finding = Finding::of(self, (Severity::Critical, Strength::Inferred), title, evidence);
        Finding { device: Some(device.key.clone()), domain: device.in_domain, ..finding }
    }
}
