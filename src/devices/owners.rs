//! Which device owns a clock or an address, looked up rather than searched for: a capture may hold ten thousand of each.

use std::collections::BTreeMap;
use std::net::IpAddr;

use super::device::Device;
use crate::domains::ClockId;
use crate::streams::Stream;
use crate::units::MacAddress;

/// The first device, in order, that owns something, and whether others do too.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Owner {
    first: usize,
    is_shared: bool,
}

/// Places of devices in their list, by what they own.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Owners {
    clocks: BTreeMap<ClockId, Owner>,
    ips: BTreeMap<IpAddr, Owner>,
    macs: BTreeMap<MacAddress, Owner>,
    /// Of devices whose IP addresses are not known.
    macs_alone: BTreeMap<MacAddress, Owner>,
}

impl Owners {
    /// Of a list of devices.
    #[must_use]
    pub fn of(devices: &[Device]) -> Self {
        let mut owners = Self::default();
        for (place, device) in devices.iter().enumerate() {
            device.clocks.iter().for_each(|clock| own(&mut owners.clocks, *clock, place));
            device.ips.iter().for_each(|ip| own(&mut owners.ips, *ip, place));
            for mac in &device.macs {
                own(&mut owners.macs, *mac, place);
                if device.ips.is_empty() {
                    own(&mut owners.macs_alone, *mac, place);
                }
            }
        }
        owners
    }

    /// The device that owns a clock.
    #[must_use]
    pub fn of_clock(&self, clock: ClockId) -> Option<usize> {
        self.clocks.get(&clock).map(|owner| owner.first)
    }

    /// The first device with an IP address.
    #[must_use]
    pub fn of_ip(&self, ip: IpAddr) -> Option<usize> {
        self.ips.get(&ip).map(|owner| owner.first)
    }

    /// The first device with a MAC address.
    #[must_use]
    pub fn of_mac(&self, mac: MacAddress) -> Option<usize> {
        self.macs.get(&mac).map(|owner| owner.first)
    }

    /// The one device with an IP address; `None` where several have it.
    #[must_use]
    pub fn only_of_ip(&self, ip: IpAddr) -> Option<usize> {
        self.ips.get(&ip).filter(|owner| !owner.is_shared).map(|owner| owner.first)
    }

    /// The one device with a MAC address; `None` where several have it.
    #[must_use]
    pub fn only_of_mac(&self, mac: MacAddress) -> Option<usize> {
        self.macs.get(&mac).filter(|owner| !owner.is_shared).map(|owner| owner.first)
    }

    /// The first device that [`Device::sends`] a stream.
    #[must_use]
    pub fn of_stream(&self, stream: &Stream) -> Option<usize> {
        let mac = stream.macs.first();
        let Some(ip) = stream.source() else { return self.of_mac(*mac?) };
        let alone = mac.and_then(|mac| self.macs_alone.get(mac)).map(|owner| owner.first);
        self.of_ip(ip).into_iter().chain(alone).min()
    }
}

fn own<K: Ord>(owners: &mut BTreeMap<K, Owner>, key: K, place: usize) {
    let owner = owners.entry(key).or_insert(Owner { first: place, is_shared: false });
    owner.is_shared |= owner.first != place;
}
