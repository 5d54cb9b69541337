//! Which MAC addresses lead, relay and follow, by what the domains show.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::net::Ipv4Addr;

use crate::domains::Domain;
use crate::domains::Domains;
use crate::domains::Mechanism;
use crate::domains::PortId;
use crate::domains::SourceAddress;
use crate::units::MacAddress;

/// The parts that MAC addresses play on the clock.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Roles {
    /// Senders of the grandmasters that were elected last.
    pub leaders: BTreeSet<MacAddress>,
    /// Senders that pass another clock's time on: boundary clocks.
    pub relays: BTreeSet<MacAddress>,
    /// Senders that ask for delay and are none of the above.
    pub followers: BTreeSet<MacAddress>,
    /// Everybody who sent PTP.
    pub speakers: BTreeSet<MacAddress>,
    /// Ports whose requests are not in the capture though answers to them are.
    pub unheard: u64,
    /// IPv4 addresses of the speakers.
    pub addresses: BTreeMap<MacAddress, BTreeSet<Ipv4Addr>>,
}

impl Roles {
    /// Looks through all domains.
    #[must_use]
    pub fn of(domains: &Domains) -> Self {
        let mut roles = Self::default();
        let mut askers = BTreeSet::new();
        for domain in domains.iter() {
            let leader =
                domain.election.leader().or_else(|| domain.election.tenures().last().map(|last| last.clock));
            for (port, sent) in &domain.ports {
                let macs = macs(domain, *port);
                for SourceAddress { mac, ip } in sent.addresses.keys() {
                    if let (Some(mac), Some(IpAddr::V4(ip))) = (mac, ip) {
                        roles.addresses.entry(*mac).or_default().insert(*ip);
                    }
                }
                roles.speakers.extend(&macs);
                if Some(port.clock) == leader {
                    roles.leaders.extend(&macs);
                } else if sent.offer.is_some_and(|offer| offer.steps_removed > 0) {
                    roles.relays.extend(&macs);
                }
            }
            for ((port, mechanism), requester) in &domain.requesters {
                if requester.seen() > 0 && Some(port.clock) != leader {
                    askers.extend(macs(domain, *port));
                }
                let is_unheard = *mechanism == Mechanism::EndToEnd && requester.is_answered_unseen();
                roles.unheard += u64::from(is_unheard);
            }
        }
        roles.followers = askers
            .into_iter()
            .filter(|mac| !roles.leaders.contains(mac) && !roles.relays.contains(mac))
            .collect();
        roles
    }

    /// All IPv4 addresses of the speakers.
    pub(super) fn alive(&self) -> BTreeSet<Ipv4Addr> {
        self.addresses.values().flatten().copied().collect()
    }

    /// Whether an address is that of a MAC address.
    pub(super) fn owns(&self, mac: MacAddress, address: Ipv4Addr) -> bool {
        self.addresses.get(&mac).is_some_and(|addresses| addresses.contains(&address))
    }
}

/// The addresses that a port sent from.
pub(super) fn macs(domain: &Domain, port: PortId) -> BTreeSet<MacAddress> {
    let sent = domain.ports.get(&port);
    sent.into_iter().flat_map(|sent| sent.addresses.keys()).filter_map(|address| address.mac).collect()
}
