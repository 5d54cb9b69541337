//! Addresses and names, gathered in capture order.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use super::name::{Name, NamedBy, tidy};
use super::neighbour::LinkNeighbour;
use crate::dhcp;
use crate::dns;
use crate::lldp;
use crate::observations::Observation;
use crate::observations::Path;
use crate::observations::What;
use crate::units::MacAddress;

/// Entries of each kind that are kept (chosen: a large network has some thousands of addresses).
const MOST_KEPT: usize = 16_384;
/// Service instances that are kept of one address (chosen).
const MOST_SERVICES: usize = 64;
/// IP addresses that a MAC address may claim and still be taken for their one owner's; a router that answers for
/// others claims more (chosen).
const MOST_CLAIMS: usize = 16;

/// Who owns which address, and what it calls itself. Where something is said twice, the later word counts.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Directory {
    /// MAC addresses that claim an IP address.
    owners: BTreeMap<IpAddr, BTreeSet<MacAddress>>,
    /// IP addresses that a MAC address claims.
    claims: BTreeMap<MacAddress, BTreeSet<IpAddr>>,
    hosts: BTreeMap<IpAddr, String>,
    /// Hosts whose services say their name and whose address records were not captured.
    service_hosts: BTreeMap<IpAddr, String>,
    services: BTreeMap<IpAddr, BTreeSet<String>>,
    lldp_macs: BTreeMap<MacAddress, String>,
    lldp_ips: BTreeMap<IpAddr, String>,
    dhcp_macs: BTreeMap<MacAddress, String>,
    neighbours: BTreeMap<MacAddress, LinkNeighbour>,
    /// Entries that found no room; 0 in any usual capture.
    pub left_out: u64,
}

impl Directory {
    /// Takes in an observation; one that names nothing changes nothing.
    pub fn push(&mut self, observation: &Observation) {
        match &observation.what {
            What::Neighbour(claim) => self.claim(claim.address, claim.mac),
            What::Mdns(message) => self.mdns(message, &observation.path),
            What::Lldp(message) => self.lldp(message, &observation.path),
            What::Dhcp(message) => self.dhcp(message),
            _ => {}
        }
    }

    fn claim(&mut self, address: IpAddr, mac: MacAddress) {
        let is_usual = !address.is_multicast() && !address.is_unspecified() && !mac.is_group();
        if !is_usual || mac == MacAddress::default() {
            return;
        }
        if has_room(&self.owners, &address, &mut self.left_out) {
            let owners = self.owners.entry(address).or_default();
            if owners.len() <= MOST_CLAIMS {
                owners.insert(mac);
            }
        }
        if has_room(&self.claims, &mac, &mut self.left_out) {
            let claims = self.claims.entry(mac).or_default();
            // One more shows that there are too many.
            if claims.len() <= MOST_CLAIMS {
                claims.insert(address);
            }
        }
    }

    /// Multicast DNS: the host's name comes from its address records, else from the service records it sends.
    fn mdns(&mut self, message: &dns::Message, path: &Path) {
        if !message.is_response {
            return;
        }
        // 0 says that the record is no longer true (RFC 6762 section 10.1).
        for record in message.records.iter().filter(|record| record.time_to_live > 0) {
            match &record.data {
                dns::RecordData::Address(address) => {
                    keep(&mut self.hosts, *address, host_name(&record.name), &mut self.left_out);
                }
                dns::RecordData::Service { target, .. } => {
                    let Some(sender) = path.source_ip else { continue };
                    keep(&mut self.service_hosts, sender, host_name(target), &mut self.left_out);
                    self.service(sender, &record.name);
                }
                dns::RecordData::Pointer(_) | dns::RecordData::Text(_) => {}
            }
        }
    }

    fn service(&mut self, sender: IpAddr, instance: &str) {
        if let Some(instance) = tidy(instance)
            && has_room(&self.services, &sender, &mut self.left_out)
        {
            let services = self.services.entry(sender).or_default();
            if services.len() < MOST_SERVICES {
                services.insert(instance);
            } else if !services.contains(&instance) {
                self.left_out = self.left_out.saturating_add(1);
            }
        }
    }

    /// LLDP does not pass a bridge, so its sender is the neighbour itself.
    fn lldp(&mut self, message: &lldp::Message, path: &Path) {
        let Some(mac) = path.source_mac else { return };
        // 0 says that the neighbour goes (IEEE 802.1AB clause 8.5.4, from memory).
        if message.time_to_live == Some(0) {
            return;
        }
        let neighbour = LinkNeighbour::of(mac, message);
        let name = neighbour.system.clone();
        keep(&mut self.neighbours, mac, Some(neighbour), &mut self.left_out);
        keep(&mut self.lldp_macs, mac, name.clone(), &mut self.left_out);
        if let Some(lldp::ChassisId::Mac(chassis)) = &message.chassis_id {
            keep(&mut self.lldp_macs, *chassis, name.clone(), &mut self.left_out);
        }
        for address in message.management_addresses.iter().filter_map(|management| management.address) {
            keep(&mut self.lldp_ips, address, name.clone(), &mut self.left_out);
        }
    }

    fn dhcp(&mut self, message: &dhcp::Message) {
        let Some(mac) = message.client_mac else { return };
        let name = message.host_name.as_deref().and_then(tidy);
        keep(&mut self.dhcp_macs, mac, name, &mut self.left_out);
        if let Some(address) = message.assigned_address() {
            self.claim(IpAddr::V4(address), mac);
        }
    }

    /// The MAC address that owns an IP address; `None` where several claim it.
    #[must_use]
    pub fn mac_of(&self, address: IpAddr) -> Option<MacAddress> {
        let mut owners = self.owners.get(&address)?.iter();
        owners.next().copied().filter(|_| owners.next().is_none())
    }

    /// The IP addresses that one MAC address and no other claims; none where it claims so many that it is a router's.
    #[must_use]
    pub fn ips_of(&self, mac: MacAddress) -> BTreeSet<IpAddr> {
        let claims = self.claims.get(&mac).filter(|claims| claims.len() <= MOST_CLAIMS);
        let own = |address: &&IpAddr| self.mac_of(**address) == Some(mac);
        claims.into_iter().flatten().filter(own).copied().collect()
    }

    /// The name of the device with these addresses: by multicast DNS, else LLDP, else DHCP.
    ///
    /// Names that go by the MAC address are left out where that claims addresses and none of `ips` is among them:
    /// it is then a router's, on the way.
    #[must_use]
    pub fn name_of(&self, macs: &BTreeSet<MacAddress>, ips: &BTreeSet<IpAddr>) -> Option<Name> {
        let is_own = |mac: &&MacAddress| {
            ips.is_empty() || self.claims.get(mac).is_none_or(|claims| !claims.is_disjoint(ips))
        };
        let own: Vec<&MacAddress> = macs.iter().filter(is_own).collect();
        let by_ip = |names: &BTreeMap<IpAddr, String>| ips.iter().find_map(|ip| names.get(ip).cloned());
        let by_mac =
            |names: &BTreeMap<MacAddress, String>| own.iter().find_map(|mac| names.get(*mac).cloned());
        let named = |text: Option<String>, by| text.map(|text| Name { text, by });
        named(by_ip(&self.hosts).or_else(|| by_ip(&self.service_hosts)), NamedBy::Mdns)
            .or_else(|| named(by_mac(&self.lldp_macs).or_else(|| by_ip(&self.lldp_ips)), NamedBy::Lldp))
            .or_else(|| named(by_mac(&self.dhcp_macs), NamedBy::Dhcp))
    }

    /// Service instances that the owner of an address announces, untrusted.
    pub fn services_of(&self, address: IpAddr) -> impl Iterator<Item = &str> {
        self.services.get(&address).into_iter().flatten().map(String::as_str)
    }

    /// Who sends LLDP here. One bridge alone is the switch that the capture hangs on; several came through a mirror.
    pub fn link_neighbours(&self) -> impl Iterator<Item = &LinkNeighbour> {
        self.neighbours.values()
    }
}

/// A host name without the domain of multicast DNS (RFC 6762 section 3).
fn host_name(name: &str) -> Option<String> {
    let name = name.strip_suffix('.').unwrap_or(name);
    let cut = name
        .len()
        .checked_sub(".local".len())
        .filter(|at| name.get(*at..).is_some_and(|suffix| suffix.eq_ignore_ascii_case(".local")));
    tidy(cut.and_then(|at| name.get(..at)).unwrap_or(name))
}

fn has_room<K: Ord, V>(table: &BTreeMap<K, V>, key: &K, left_out: &mut u64) -> bool {
    let room = table.len() < MOST_KEPT || table.contains_key(key);
    *left_out = left_out.saturating_add(u64::from(!room));
    room
}

fn keep<K: Ord, V>(table: &mut BTreeMap<K, V>, key: K, value: Option<V>, left_out: &mut u64) {
    if let Some(value) = value
        && has_room(table, &key, left_out)
    {
        table.insert(key, value);
    }
}
