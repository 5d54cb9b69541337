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

use crate::clock::Clocks;
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
