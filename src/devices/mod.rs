//! Who is who: clocks, MAC and IP addresses joined to devices, each with what it does on the clock.
//!
//! A device's state is an inference from messages alone. It carries its strength and its reasons, and
//! `unproven` is a result like any other.

mod answers;
mod device;
mod identity;
mod listing;
mod site;
mod state;

pub use answers::Visibility;
pub use device::{Device, State, Strength};
pub use listing::{listed, name_listed};
pub use site::SiteDomain;

use crate::clock::Clocks;
use crate::domains::Domains;
use crate::units::CaptureTime;

/// Joins and judges all devices of a capture that began at `start`.
#[must_use]
pub fn devices(domains: &Domains, clocks: &Clocks, site: &SiteDomain, start: CaptureTime) -> Vec<Device> {
    let mut devices = identity::join(domains);
    let joined = site::joined_domains(domains, site, &devices);
    for device in &mut devices {
        state::judge(device, domains, clocks, site, &joined, start);
    }
    devices.sort_by(|a, b| a.key.cmp(&b.key));
    devices
}
