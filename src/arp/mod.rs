//! Which IP address has which MAC address: ARP (RFC 826) and IPv6 neighbour discovery (RFC 4861 section 4), both
//! from memory but for what captures show.

mod message;
mod neighbour;

pub use message::{Arp, ETHERTYPE, decode};
pub use neighbour::{Neighbour, neighbour};

use std::net::IpAddr;

use crate::units::MacAddress;

/// An address and the MAC address that its owner claims for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Claim {
    /// The IP address.
    pub address: IpAddr,
    /// The MAC address.
    pub mac: MacAddress,
}
