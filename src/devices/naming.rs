//! Names and further addresses of devices, from what they say outside PTP.

use std::collections::BTreeMap;

use super::device::Device;
use crate::names::Directory;
use crate::units::MacAddress;

/// Gives devices the addresses that ARP, neighbour discovery and DHCP show to be theirs, and their names.
///
/// An address that several devices send from is a router's and gives nothing away.
pub fn name(devices: &mut [Device], directory: &Directory) {
    let mut sending: BTreeMap<MacAddress, usize> = BTreeMap::new();
    for mac in devices.iter().flat_map(|device| device.macs.iter()) {
        *sending.entry(*mac).or_default() += 1;
    }
    for device in devices {
        let own: Vec<MacAddress> =
            device.macs.iter().filter(|mac| sending.get(mac) == Some(&1)).copied().collect();
        for mac in own {
            let claimed = directory.ips_of(mac);
            if device.ips.is_empty() || !device.ips.is_disjoint(&claimed) {
                device.ips.extend(claimed);
            }
        }
        if device.macs.is_empty() {
            let owners = device.ips.iter().filter_map(|ip| directory.mac_of(*ip));
            device.macs = owners.filter(|mac| !sending.contains_key(mac)).collect();
        }
        let shared: Vec<MacAddress> = device
            .macs
            .iter()
            .filter(|mac| sending.get(mac).is_some_and(|count| *count > 1))
            .copied()
            .collect();
        let mut macs = device.macs.clone();
        macs.retain(|mac| !shared.contains(mac));
        device.name = directory.name_of(&macs, &device.ips);
    }
}
