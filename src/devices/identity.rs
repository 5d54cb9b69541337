//! Joining clocks and addresses to devices.
//!
//! Two clocks are one device where they send from the same MAC and IP address, or where a v2 identity was made
//! from the MAC address that a v1 clock has as its UUID. A MAC address alone joins only over Ethernet, and only
//! two clocks, since a box on the way may put its own address on the messages of many.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use super::device::Device;
use super::device::State;
use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::domains::Domains;
use crate::domains::SourceAddress;
use crate::ptp::ClockIdentity;
use crate::strength::Strength;
use crate::units::MacAddress;

/// Clocks that one MAC address without IP may carry and still be taken for one device (chosen).
const CLOCKS_PER_MAC: usize = 2;

#[derive(Debug, Default)]
struct Traces {
    addresses: BTreeSet<SourceAddress>,
    domains: BTreeSet<DomainKey>,
}

/// The devices of all domains, in no particular order, not yet judged.
pub(super) fn join(domains: &Domains) -> Vec<Device> {
    let clocks = traces(domains);
    let mut groups = Groups::new(clocks.keys().copied().collect());
    let mut by_address: BTreeMap<SourceAddress, BTreeSet<ClockId>> = BTreeMap::new();
    for (clock, traces) in &clocks {
        for address in &traces.addresses {
            by_address.entry(*address).or_default().insert(*clock);
        }
        for other in v1_clocks_of(*clock, traces).filter(|other| clocks.contains_key(other)) {
            groups.join(*clock, other);
        }
    }
    for (address, sharing) in &by_address {
        if address.ip.is_some() || sharing.len() <= CLOCKS_PER_MAC {
            let mut sharing = sharing.iter();
            if let Some(first) = sharing.next() {
                sharing.for_each(|other| groups.join(*first, *other));
            }
        }
    }
    let mut devices: Vec<Device> =
        groups.members().into_iter().map(|members| device(members, &clocks)).collect();
    name_apart(&mut devices);
    devices
}

fn traces(domains: &Domains) -> BTreeMap<ClockId, Traces> {
    let mut clocks: BTreeMap<ClockId, Traces> = BTreeMap::new();
    for domain in domains.iter() {
        for port in domain.ports.values() {
            let traces = clocks.entry(port.port.clock).or_default();
            traces.domains.insert(domain.key);
            traces.addresses.extend(port.addresses.keys().filter(|a| a.mac.is_some() || a.ip.is_some()));
        }
        // A port that only its answers name is a device too.
        for (port, _) in domain.requesters.keys() {
            clocks.entry(port.clock).or_default().domains.insert(domain.key);
        }
    }
    clocks
}

/// The v1 clocks that a v2 identity is made from the MAC address of.
fn v1_clocks_of(clock: ClockId, traces: &Traces) -> impl Iterator<Item = ClockId> {
    let identity = match clock {
        ClockId::V2(identity) => Some(identity),
        ClockId::V1(_) => None,
    };
    let embedded = identity.and_then(ClockIdentity::embedded_mac);
    let leading = identity.map(ClockIdentity::leading_mac);
    let sends_from = |mac: &MacAddress| traces.addresses.iter().any(|address| address.mac == Some(*mac));
    embedded.into_iter().chain(leading.filter(sends_from)).map(ClockId::V1)
}

fn device(clocks: BTreeSet<ClockId>, traces: &BTreeMap<ClockId, Traces>) -> Device {
    let mut macs = BTreeSet::new();
    let mut ips = BTreeSet::new();
    let mut domains = BTreeSet::new();
    for traces in clocks.iter().filter_map(|clock| traces.get(clock)) {
        macs.extend(traces.addresses.iter().filter_map(|address| address.mac));
        ips.extend(traces.addresses.iter().filter_map(|address| address.ip));
        domains.extend(traces.domains.iter().copied());
    }
    // The MAC inside an identity may differ from the one it sends from; the one that agrees is the better name.
    let agreeing = clocks.iter().filter_map(|clock| clock.mac()).find(|mac| macs.contains(mac));
    let name = agreeing.or_else(|| macs.first().copied()).map(|mac| mac.to_string());
    let key = name.or_else(|| clocks.first().map(ToString::to_string)).unwrap_or_default();
    Device {
        key,
        name: None,
        macs,
        ips,
        clocks,
        domains,
        leader: None,
        time: None,
        in_domain: None,
        state: State::Unproven,
        strength: Strength::CannotTell,
        media_rate_ppm: None,
        reasons: Vec::new(),
        withheld: Vec::new(),
    }
}

/// Names devices that would share a MAC address as their key by their clock: the address is a router's.
fn name_apart(devices: &mut [Device]) {
    let mut named: BTreeMap<String, usize> = BTreeMap::new();
    for device in devices.iter() {
        *named.entry(device.key.clone()).or_insert(0) += 1;
    }
    for device in devices.iter_mut().filter(|device| named.get(&device.key).is_some_and(|count| *count > 1)) {
        // The one whose clock was made from the address keeps it.
        let owns =
            device.clocks.iter().any(|clock| clock.mac().is_some_and(|mac| mac.to_string() == device.key));
        if let Some(clock) = device.clocks.first().filter(|_| !owns) {
            device.key = clock.to_string();
        }
    }
}

/// Disjoint sets of clocks.
struct Groups {
    parent: BTreeMap<ClockId, ClockId>,
}

impl Groups {
    fn new(clocks: BTreeSet<ClockId>) -> Self {
        Self { parent: clocks.into_iter().map(|clock| (clock, clock)).collect() }
    }

    fn root(&self, clock: ClockId) -> ClockId {
        let mut at = clock;
        while let Some(up) = self.parent.get(&at).copied().filter(|up| *up != at) {
            at = up;
        }
        at
    }

    fn join(&mut self, a: ClockId, b: ClockId) {
        let (a, b) = (self.root(a), self.root(b));
        // The smaller root stays, so the outcome does not depend on the order of joins.
        self.parent.insert(a.max(b), a.min(b));
    }

    fn members(&self) -> Vec<BTreeSet<ClockId>> {
        let mut groups: BTreeMap<ClockId, BTreeSet<ClockId>> = BTreeMap::new();
        for clock in self.parent.keys() {
            groups.entry(self.root(*clock)).or_default().insert(*clock);
        }
        groups.into_values().collect()
    }
}
