//! `vlan-split-or-leak`

use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::analysis::Analysis;
use crate::devices::Strength;
use crate::domains::Domain;
use crate::findings::finding::Evidence;
use crate::findings::finding::Finding;
use crate::findings::finding::Severity;
use crate::findings::rule::Outcome;
use crate::findings::rule::Rule;

/// Messages captured on two VLANs before it is said (chosen).
const MESSAGES: u64 = 10;

/// PTP of one VLAN shows up on another, or one network is split over two VLANs with a leader each.
pub(super) struct VlanSplitOrLeak;

impl Rule for VlanSplitOrLeak {
    fn id(&self) -> &'static str {
        "vlan-split-or-leak"
    }

    fn summary(&self) -> &'static str {
        "messages of one VLAN show up on another, or one IP network has a leader on each of two VLANs"
    }

    fn next(&self) -> &'static [&'static str] {
        &[
            "compare the VLANs of the access ports, and the untagged VLAN at both ends of each trunk",
            "where a mirror copies from one VLAN to another, that is the mirror's doing",
        ]
    }

    fn sources(&self) -> &'static [&'static str] {
        &[
            "IEEE 802.1Q (from memory)",
            "10 messages on both; networks are compared by the first 24 bits of IPv4 addresses (chosen)",
        ]
    }

    fn judge(&self, analysis: &Analysis) -> Outcome {
        let mut findings = self.leaks(analysis);
        // In key order, domains of one name stand together.
        let led = analysis.domains.iter().filter(|domain| domain.election.leader().is_some());
        let led: Vec<(&Domain, BTreeSet<[u8; 3]>)> = led.map(|domain| (domain, networks(domain))).collect();
        for (index, one) in led.iter().enumerate() {
            for other in led.iter().skip(index + 1).take_while(|other| other.0.key.name == one.0.key.name) {
                findings.extend(self.split(one, other));
            }
        }
        Outcome::from_findings(findings)
    }
}

fn name(vlan: Option<u16>) -> String {
    vlan.map_or_else(|| "no VLAN tag".to_owned(), |vlan| format!("VLAN {vlan}"))
}

/// The IPv4 networks, 24 bits long, that a domain's ports send from; what a device gives itself is left out (RFC 3927).
fn networks(domain: &Domain) -> BTreeSet<[u8; 3]> {
    let addresses = domain.ports.values().flat_map(|port| port.addresses.keys());
    let networks = addresses.filter_map(|address| match address.ip {
        Some(IpAddr::V4(ip)) if !ip.is_link_local() && !ip.is_unspecified() => {
            let [a, b, c, _] = ip.octets();
            Some([a, b, c])
        }
        _ => None,
    });
    networks.collect()
}

impl VlanSplitOrLeak {
    fn leaks(&self, analysis: &Analysis) -> Vec<Finding> {
        let seen = analysis.domains.sightings().vlans.iter().filter(|(_, met)| met.times >= MESSAGES);
        let found = seen.map(|((domain, port, one, other), met)| {
            let title = format!("{port}: its messages show up with {} and with {}", name(*one), name(*other));
            let text = format!(
                "{} messages of one number each on both, changed or delayed on the way, so no plain copies",
                met.times
            );
            let evidence = vec![Evidence::at(met.first, text)];
            let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
            let key = analysis
                .domains
                .iter()
                .map(|known| known.key)
                .find(|key| key.name == *domain && key.vlan == *other);
            let finding = finding.about_clock(analysis, port.clock);
            match key {
                Some(key) => finding.in_domain(key),
                None => finding,
            }
        });
        found.collect()
    }

    fn split(
        &self,
        (one, our_networks): &(&Domain, BTreeSet<[u8; 3]>),
        (other, their_networks): &(&Domain, BTreeSet<[u8; 3]>),
    ) -> Option<Finding> {
        let (ours, theirs) = (one.election.leader()?, other.election.leader()?);
        let [a, b, c] = *our_networks.intersection(their_networks).next()?;
        if one.key.name != other.key.name || one.key.vlan == other.key.vlan || ours == theirs {
            return None;
        }
        let title =
            format!("{} and {} have a leader each, and devices of one IP network", one.key, other.key);
        let evidence = vec![
            Evidence::at(Some(one.first), format!("{ours} leads with {}", name(one.key.vlan))),
            Evidence::at(Some(other.first), format!("{theirs} leads with {}", name(other.key.vlan))),
            Evidence::at(None, format!("both are spoken in from {a}.{b}.{c}.0/24")),
        ];
        let finding = Finding::of(self, (Severity::Major, Strength::Inferred), title, evidence);
        Some(finding.in_domain(one.key))
    }
}
