//! Where in the captures something stands, and how it came through the network.

use std::net::IpAddr;

use crate::units::CaptureTime;
use crate::units::MacAddress;

/// Where a frame stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Place {
    /// Index of the file among those read, from 0.
    pub file: u32,
    /// Number of the frame within its file, from 1.
    pub frame: u64,
    /// When it was captured; `None` where the file gives no time.
    pub time: Option<CaptureTime>,
}

/// What carries a message (PTP: 1588-2008 Annexes D, E and F, from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Transport {
    /// UDP over IPv4.
    Udp4,
    /// UDP over IPv6.
    Udp6,
    /// IEEE 802.3: PTP with Ethertype 0x88F7, LLDP, ARP.
    Ethernet,
    /// IPv4 or IPv6 without UDP: IGMP, MLD, neighbour discovery. Never PTP.
    Ip,
}

impl Transport {
    /// The name in reports: `udp4`, `udp6`, `ethernet` or `ip`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Udp4 => "udp4",
            Self::Udp6 => "udp6",
            Self::Ethernet => "ethernet",
            Self::Ip => "ip",
        }
    }
}

/// Where a message was captured. Two interfaces of a file may be of one network or of two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Way {
    /// Index of the file.
    pub file: u32,
    /// Number of the interface in it.
    pub interface: u32,
}

/// How a message came: the addresses and marks of its innermost frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Path {
    /// The interface of its file that it was captured at.
    pub interface: u32,
    /// Source MAC address; `None` where the link has none.
    pub source_mac: Option<MacAddress>,
    /// Destination MAC address; `None` where the link has none.
    pub destination_mac: Option<MacAddress>,
    /// The VLAN, 1 to 4095; `None` where untagged or only priority-tagged.
    pub vlan: Option<u16>,
    /// Priority code point of the outermost tag, 0 to 7, also of a tag that only sets a priority; `None` where untagged.
    pub pcp: Option<u8>,
    /// What carries the message.
    pub transport: Transport,
    /// Source IP address; `None` on [`Transport::Ethernet`].
    pub source_ip: Option<IpAddr>,
    /// Destination IP address; `None` on [`Transport::Ethernet`].
    pub destination_ip: Option<IpAddr>,
    /// UDP destination port; `None` without UDP.
    pub destination_port: Option<u16>,
    /// Time to live or hop limit; `None` on [`Transport::Ethernet`].
    pub ttl: Option<u8>,
    /// Differentiated services code point, 0 to 63; `None` on [`Transport::Ethernet`].
    pub dscp: Option<u8>,
}

impl Path {
    /// Whether the message went to a group: by the IP address where there is one, else by the group bit of
    /// the MAC address. `false` where neither is known. IPv4 broadcast to all of a link counts as a group.
    #[must_use]
    pub fn is_multicast(&self) -> bool {
        match self.destination_ip {
            Some(IpAddr::V4(ip)) => ip.is_multicast() || ip.is_broadcast(),
            Some(IpAddr::V6(ip)) => ip.is_multicast(),
            None => self.destination_mac.is_some_and(MacAddress::is_group),
        }
    }
}
