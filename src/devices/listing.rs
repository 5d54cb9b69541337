//! Devices that the site file lists.

use super::device::Device;
use crate::names::Name;
use crate::names::NamedBy;
use crate::site::ListedDevice;
use crate::site::same_clock;

/// The device that an entry of the site file means: by clock, else by MAC address, else by IP address.
///
/// An address that several devices send from is a router's, and means only the one whose key it is.
#[must_use]
pub fn listed<'a>(devices: &'a [Device], entry: &ListedDevice) -> Option<&'a Device> {
    position(devices, entry).and_then(|at| devices.get(at))
}

/// Gives devices the names that the site file lists them by; these go before names from elsewhere.
pub fn name_listed(devices: &mut [Device], entries: &[ListedDevice]) {
    for entry in entries {
        if let Some(device) = position(devices, entry).and_then(|at| devices.get_mut(at)) {
            device.name = Some(Name { text: entry.name.clone(), by: NamedBy::SiteFile });
        }
    }
}

fn position(devices: &[Device], entry: &ListedDevice) -> Option<usize> {
    let by_clock = entry.clock.and_then(|wanted| {
        devices.iter().position(|device| device.clocks.iter().any(|clock| same_clock(wanted, *clock)))
    });
    let by_mac = || {
        let mac = entry.mac?;
        let key = mac.to_string();
        devices.iter().position(|device| device.key == key).or_else(|| {
            let embeds = |device: &Device| device.clocks.iter().any(|clock| clock.mac() == Some(mac));
            only(devices, |device| device.macs.contains(&mac) || embeds(device))
        })
    };
    let by_ip = || {
        let ip = entry.ip?;
        only(devices, |device| device.ips.contains(&ip))
    };
    by_clock.or_else(by_mac).or_else(by_ip)
}

/// The one device that is meant; `None` where several are.
fn only(devices: &[Device], is_meant: impl Fn(&Device) -> bool) -> Option<usize> {
    let mut meant = devices.iter().enumerate().filter(|(_, device)| is_meant(device));
    let (at, _) = meant.next()?;
    meant.next().is_none().then_some(at)
}
