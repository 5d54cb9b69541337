//! What names a domain, a clock and a port in both versions.

use std::fmt;

use crate::ptp::ClockIdentity;
use crate::ptp::v1;
use crate::units::MacAddress;

/// A clock: a v2 `clockIdentity` or a v1 `Uuid`, shown as the contract of the report writes them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ClockId {
    /// v1 `Uuid`, the MAC address on Ethernet.
    V1(MacAddress),
    /// v2 `clockIdentity`.
    V2(ClockIdentity),
}

impl ClockId {
    /// The MAC address that the identity shows, if its form shows one.
    #[must_use]
    pub fn mac(self) -> Option<MacAddress> {
        match self {
            Self::V1(mac) => Some(mac),
            Self::V2(identity) => identity.embedded_mac(),
        }
    }
}

impl fmt::Display for ClockId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::V1(mac) => mac.fmt(f),
            Self::V2(identity) => identity.fmt(f),
        }
    }
}

/// A port of a clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PortId {
    /// The clock.
    pub clock: ClockId,
    /// Its port number, from 1.
    pub port: u16,
}

impl PortId {
    /// All ports that `clock` can have, for looking them up in an ordered map.
    #[must_use]
    pub const fn all_of(clock: ClockId) -> std::ops::RangeInclusive<Self> {
        Self { clock, port: 0 }..=Self { clock, port: u16::MAX }
    }
}

impl From<crate::ptp::PortIdentity> for PortId {
    fn from(port: crate::ptp::PortIdentity) -> Self {
        Self { clock: ClockId::V2(port.clock_identity), port: port.port_number }
    }
}

impl From<v1::PortUuid> for PortId {
    fn from(port: v1::PortUuid) -> Self {
        Self { clock: ClockId::V1(port.uuid), port: port.port_id }
    }
}

impl fmt::Display for PortId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.clock, self.port)
    }
}

/// The part of the key that people call "the domain".
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DomainName {
    /// v2 `domainNumber` within an `sdoId`.
    Number {
        /// `sdoId`, 12 bits; 0x100 is gPTP.
        sdo_id: u16,
        /// `domainNumber`.
        number: u8,
    },
    /// v1 `subdomain`, 16 octets, NUL padded.
    Subdomain([u8; 16]),
}

/// A domain: messages of different keys never belong to one election.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DomainKey {
    /// Version and number or subdomain.
    pub name: DomainName,
    /// The innermost VLAN tag's identifier; `None` where untagged or priority-tagged.
    pub vlan: Option<u16>,
}

impl DomainKey {
    /// Whether this is a v1 domain.
    #[must_use]
    pub const fn is_v1(&self) -> bool {
        matches!(self.name, DomainName::Subdomain(_))
    }

    /// Whether this is a gPTP domain (sdoId 0x100 over Ethernet).
    #[must_use]
    pub const fn is_gptp(&self) -> bool {
        matches!(self.name, DomainName::Number { sdo_id: 0x100, .. })
    }

    /// `domainNumber`, for v2.
    #[must_use]
    pub const fn number(&self) -> Option<u8> {
        match self.name {
            DomainName::Number { number, .. } => Some(number),
            DomainName::Subdomain(_) => None,
        }
    }
}

impl fmt::Display for DomainKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.name {
            DomainName::Number { sdo_id: 0, number } => write!(f, "v2 domain {number}")?,
            DomainName::Number { sdo_id, number } => write!(f, "v2 sdo 0x{sdo_id:03x} domain {number}")?,
            DomainName::Subdomain(octets) => write!(f, "v1 {}", v1::subdomain_text(&octets))?,
        }
        match self.vlan {
            Some(vlan) => write!(f, " vlan {vlan}"),
            None => Ok(()),
        }
    }
}
