//! Who is who: clocks, MAC and IP addresses joined to devices, each with what it does on the clock.
//!
//! A device's state is an inference from messages alone. It carries its strength and its reasons, and
//! `unproven` is a result like any other.

mod astray;
mod device;
mod identity;
mod listing;
mod media;
mod naming;
mod owners;
mod site;
mod state;

pub use device::{Device, State, Withheld};
pub use listing::{listed, name_listed};
pub use media::{MediaView, judge_media};
pub use naming::name;
pub use owners::Owners;
pub use site::SiteDomain;

pub use crate::strength::Strength;

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::net::IpAddr;

use crate::clock::Clocks;
use crate::domains::DomainName;
use crate::domains::Domains;
use crate::units::CaptureTime;
use crate::viewpoint::Scope;

/// Joins and judges all devices of a capture that began at `start`.
#[must_use]
pub fn devices(
    domains: &Domains,
    clocks: &Clocks,
    site: &SiteDomain,
    scope: &Scope,
    start: CaptureTime,
) -> Vec<Device> {
    let mut devices = identity::join(domains);
    let joined = site::joined_domains(domains, site, &devices);
    let established = site::established_domains(domains);
    let scene =
        state::Scene { domains, clocks, site, scope, joined: &joined, established: &established, start };
    for device in &mut devices {
        state::judge(device, &scene);
    }
    devices.sort_by(|a, b| a.key.cmp(&b.key));
    devices
}

/// The domain's number of each address whose device takes part in one domain of version 2 only.
#[must_use]
pub fn homes(devices: &[Device]) -> BTreeMap<IpAddr, u8> {
    let home = |device: &Device| {
        let number = |name: DomainName| match name {
            DomainName::Number { number, .. } => Some(number),
            DomainName::Subdomain(_) => None,
        };
        let numbers: BTreeSet<Option<u8>> = device.domains.iter().map(|key| number(key.name)).collect();
        numbers.first().copied().flatten().filter(|_| numbers.len() == 1)
    };
    let of = |device: &Device| {
        let home = home(device);
        let ips: Vec<IpAddr> = device.ips.iter().copied().collect();
        ips.into_iter().filter_map(move |ip| Some((ip, home?)))
    };
    devices.iter().flat_map(of).collect()
}
