//! `member-without-report`

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::net::Ipv4Addr;

use crate::analysis::Analysis;
use crate::devices::Device;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::loss;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::multicast::Host;
use crate::multicast::Querier;
use crate::multicast::Segment;
use crate::units::MacAddress;

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
                let named = Named::of(segment);
                let silent = speakers(analysis, segment).into_iter().filter(move |device| !named.has(device));
                silent.map(move |device| (device, segment, querier))
            })
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
    let domains = analysis.domains.iter().filter(|domain| domain.key.vlan == segment.key.vlan);
    let speaks = |port: &&ClockPort| {
        port.addresses.keys().any(|address| address.ip.is_some_and(|ip| ip.is_ipv4()))
            && port.marks.values().map(|marks| marks.multicast).sum::<u64>() > 0
    };
    let speaking = domains.flat_map(|domain| domain.ports.values()).filter(speaks);
    let places: BTreeSet<usize> =
        speaking.filter_map(|port| analysis.owners.of_clock(port.port.clock)).collect();
    places.into_iter().filter_map(|place| analysis.devices.get(place)).collect()
}

/// Who asked for one of PTP's groups on a network.
#[derive(Default)]
struct Named {
    ips: BTreeSet<IpAddr>,
    macs: BTreeSet<MacAddress>,
    /// Whether another's answer may have spared anybody that.
    spared: bool,
}

impl Named {
    fn of(segment: &Segment) -> Self {
        let mut named = Self::default();
        let groups = (129..=132).map(|last| IpAddr::from(Ipv4Addr::new(224, 0, 1, last)));
        for (host, member) in
            groups.filter_map(|group| segment.groups.get(&group)).flat_map(|members| &members.by_host)
        {
            match host {
                Host::Ip(ip) => named.ips.insert(*ip),
                Host::Mac(mac) => named.macs.insert(*mac),
            };
            named.macs.extend(member.mac);
            named.spared |= member.version.suppresses();
        }
        named
    }

    fn has(&self, device: &Device) -> bool {
        self.spared
            || device.ips.iter().any(|ip| self.ips.contains(ip))
            || device.macs.iter().any(|mac| self.macs.contains(mac))
    }
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
