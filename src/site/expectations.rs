//! What a site file holds.

use std::fmt;
use std::net::IpAddr;

use crate::domains::ClockId;
use crate::domains::DomainKey;
use crate::domains::DomainName;
use crate::profiles::Profile;
use crate::ptp::v1;
use crate::units::BitsPerSecond;
use crate::units::MacAddress;
use crate::units::Nanos;

/// A site as its file describes it. What the file leaves out is not judged.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Site {
    /// What the site is called.
    pub name: Option<String>,
    /// Section `clock`.
    pub clock: ClockExpectations,
    /// Section `link`.
    pub link: LinkExpectations,
    /// The `device` entries in the file's order.
    pub devices: Vec<ListedDevice>,
    /// The `planned` entries in the file's order.
    pub planned: Vec<PlannedLoad>,
}

/// What is expected of the clock.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ClockExpectations {
    /// The domain.
    pub domain: Option<WantedDomain>,
    /// The version of PTP.
    pub version: Option<PtpVersion>,
    /// The profile.
    pub profile: Option<&'static Profile>,
    /// The clock that leads.
    pub leader: Option<ClockId>,
    /// The clocks that take over from it, first things first.
    pub next: Vec<ClockId>,
    /// Beyond this a clock counts as adrift.
    pub max_offset: Option<Nanos>,
}

/// A domain as people name it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WantedDomain {
    /// v2 `domainNumber`.
    Number(u8),
    /// v1 `subdomain`, NUL padded.
    Subdomain([u8; 16]),
}

impl WantedDomain {
    /// Whether `key` is that domain, on whatever VLAN.
    #[must_use]
    pub fn is(self, key: &DomainKey) -> bool {
        match (self, key.name) {
            (Self::Number(wanted), DomainName::Number { number, .. }) => wanted == number,
            (Self::Subdomain(wanted), DomainName::Subdomain(octets)) => wanted == octets,
            _ => false,
        }
    }
}

impl fmt::Display for WantedDomain {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(number) => write!(f, "domain {number}"),
            Self::Subdomain(octets) => write!(f, "v1 {}", v1::subdomain_text(octets)),
        }
    }
}

/// A version of PTP as people name it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PtpVersion {
    /// IEEE 1588-2002.
    One,
    /// IEEE 1588-2008 or -2019, whatever `minorVersionPTP` says.
    Two,
    /// Version 2 with this `minorVersionPTP`.
    TwoDot(u8),
}

impl PtpVersion {
    /// Whether this is version 1.
    #[must_use]
    pub const fn is_v1(self) -> bool {
        matches!(self, Self::One)
    }
}

impl fmt::Display for PtpVersion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::One => write!(f, "1"),
            Self::Two => write!(f, "2"),
            Self::TwoDot(minor) => write!(f, "2.{minor}"),
        }
    }
}

/// What is expected of the link.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LinkExpectations {
    /// Its speed.
    pub speed: Option<BitsPerSecond>,
    /// The part of it that must stay free, in millionths.
    pub keep_free_millionths: Option<u32>,
}

/// A device that belongs to the site.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedDevice {
    /// What it is called.
    pub name: String,
    /// Its MAC address.
    pub mac: Option<MacAddress>,
    /// Its IP address.
    pub ip: Option<IpAddr>,
    /// Its clock.
    pub clock: Option<ClockId>,
    /// Whether it has to be on the clock.
    pub needs_clock: bool,
    /// The line of the file that begins it.
    pub line: usize,
}

impl ListedDevice {
    /// The MAC address that the file gives, or that its clock identity shows.
    #[must_use]
    pub fn known_mac(&self) -> Option<MacAddress> {
        self.mac.or_else(|| self.clock.and_then(ClockId::mac))
    }
}

/// Which way planned streams cross the link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// Towards the place of the capture.
    In,
    /// Away from it.
    Out,
}

/// Streams that are planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlannedLoad {
    /// What they are called.
    pub name: String,
    /// How many, from 1.
    pub count: u32,
    /// What each takes on the wire.
    pub rate: BitsPerSecond,
    /// Which way; `None` where the file does not say.
    pub direction: Option<Direction>,
}

/// Whether two ways to write a clock mean one: equal, or the MAC address that the other's identity shows.
#[must_use]
pub(crate) fn same_clock(wanted: ClockId, seen: ClockId) -> bool {
    wanted == seen || matches!(wanted, ClockId::V1(mac) if seen.mac() == Some(mac))
}
