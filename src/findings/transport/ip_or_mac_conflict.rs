//! `ip-or-mac-conflict`

use std::collections::BTreeMap;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::ClockPort;
use crate::domains::Domain;
use crate::domains::Kind;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::finding::at;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;
use crate::units::MacAddress;
use crate::units::Nanos;

/// Messages of each before they conflict (chosen).
const MESSAGES: u64 = 10;

/// How long both must have been there at the same time (reference: 60 s; 10 s here, beyond any hand-over; chosen).
const TOGETHER: Nanos = Nanos::from_seconds(10);

/// Two devices send PTP from one IP address, or a device has given itself one.
pub(super) struct IpOrMacConflict;

impl Rule for IpOrMacConflict {
    fn id(&self) -> &'static str {
        "ip-or-mac-conflict"
    }

    fn summary(&self) -> &'static str {
        "two devices send PTP from one IP address, or a device found no address and gave itself one"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "find both in the switches' address tables, and give one of them another address",
            "a device with an address 169.254.x.y found no DHCP server: check its port, its VLAN and the server",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "RFC 5227, RFC 3927 (from memory)",
            "10 messages from each, both there for 10 s; only PTP frames are looked at (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        // Files of several places may hold routed frames of one device.
        let mut findings = Vec::new();
        for (domain, (ip, ports)) in analysis
            .domains
            .iter()
            .flat_map(|domain| by_address(domain).into_iter().map(move |entry| (domain, entry)))
        {
            findings.extend(self.conflict(analysis, domain, ip, &ports));
        }
        findings.extend(analysis.domains.iter().flat_map(|domain| self.self_given(analysis, domain)));
        Outcome::from_findings(findings)
    }
}

/// The ports that send from each IP address, with the MAC address that they do it from.
fn by_address(domain: &Domain) -> BTreeMap<IpAddr, Vec<(MacAddress, &ClockPort)>> {
    let mut ports: BTreeMap<IpAddr, Vec<(MacAddress, &ClockPort)>> = BTreeMap::new();
    for port in domain.ports.values() {
        for (address, messages) in port.addresses.iter() {
            if let (Some(mac), Some(ip), true) = (address.mac, address.ip, *messages >= MESSAGES) {
                ports.entry(ip).or_default().push((mac, port));
            }
        }
    }
    ports
}

/// Whether a device has given itself this address (RFC 3927).
const fn is_self_given(ip: &IpAddr) -> bool {
    matches!(ip, IpAddr::V4(ip) if ip.is_link_local())
}

/// Whether this is an IPv4 address of a network.
const fn is_real(ip: &IpAddr) -> bool {
    matches!(ip, IpAddr::V4(ip) if !ip.is_link_local() && !ip.is_unspecified())
}

/// Whether two ports were there at the same time for long enough.
fn were_together(one: &ClockPort, other: &ClockPort) -> bool {
    let span = |port: &ClockPort| port.first.time.zip(port.last.time);
    let Some((ours, theirs)) = span(one).zip(span(other)) else { return false };
    ours.1.min(theirs.1).since(ours.0.max(theirs.0)) >= TOGETHER
}

impl IpOrMacConflict {
    fn conflict(
        &self,
        analysis: &Analysis,
        domain: &Domain,
        ip: IpAddr,
        ports: &[(MacAddress, &ClockPort)],
    ) -> Option<Finding> {
        let (mac, one) = *ports.first()?;
        // One device may have several clocks, and one clock several ports; two devices share neither.
        let (other_mac, other) = *ports.iter().find(|(theirs, port)| {
            *theirs != mac && port.port.clock != one.port.clock && were_together(one, port)
        })?;
        let title = format!("{}: {mac} and {other_mac} both send from {ip}", domain.key);
        let line = |mac: MacAddress, port: &ClockPort| {
            let until = port.last.time.map(|time| at(analysis, time)).unwrap_or_default();
            Evidence::at(Some(port.last), format!("{} from {mac} until {until}", port.port))
        };
        let evidence = vec![line(mac, one), line(other_mac, other)];
        let one_place = analysis.captures.len() == 1;
        let strength = if one_place { Strength::Shown } else { Strength::Inferred };
        let finding = Finding::of(self, (Severity::Critical, strength), title, evidence);
        Some(finding.in_domain(domain.key).about_clock(analysis, one.port.clock))
    }

    /// Devices with an address of their own making, where others of the domain have real ones.
    fn self_given(&self, analysis: &Analysis, domain: &Domain) -> Vec<Finding> {
        let uses = |port: &ClockPort, test: fn(&IpAddr) -> bool| {
            port.addresses.keys().filter_map(|address| address.ip).any(|ip| test(&ip))
        };
        let all = domain.ports.values();
        let have_real = all.filter(|port| uses(port, is_real)).count();
        // Networks that live by such addresses alone are meant to.
        let strays: Vec<&ClockPort> =
            domain.ports.values().filter(|port| uses(port, is_self_given) && !uses(port, is_real)).collect();
        if strays.is_empty() || have_real <= strays.len() {
            return Vec::new();
        }
        let found = strays.into_iter().map(|port| {
            let addresses: Vec<String> =
                port.addresses.keys().filter_map(|address| address.ip).map(|ip| ip.to_string()).collect();
            let title = format!(
                "{}: {} has given itself the address {}",
                domain.key,
                port.port,
                addresses.join(", ")
            );
            let text = format!("{have_real} others of the domain have addresses of a network");
            let kind = port.series.keys().next().map_or("message", |kind: &Kind| kind.name());
            let evidence = vec![Evidence::at(Some(port.last), format!("its {kind} come from there; {text}"))];
            let finding = Finding::of(self, (Severity::Minor, Strength::Inferred), title, evidence);
            finding.in_domain(domain.key).about_clock(analysis, port.port.clock)
        });
        found.collect()
    }
}
