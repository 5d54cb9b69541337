//! Which control protocol a frame carries, told by its headers alone.

use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use crate::arp;
use crate::dhcp;
use crate::dns;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::lldp;
use crate::ptp;
use crate::rtsp;
use crate::sap;

/// IANA protocol numbers.
const IGMP: u8 = 2;
const ICMPV6: u8 = 58;
const TCP: u8 = 6;

/// The groups of multicast DNS (RFC 6762 section 3, from memory).
const MDNS_4: Ipv4Addr = Ipv4Addr::new(224, 0, 0, 251);
const MDNS_6: Ipv6Addr = Ipv6Addr::new(0xFF02, 0, 0, 0, 0, 0, 0, 0xFB);

/// A protocol whose messages are observed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Protocol {
    /// PTP over UDP or IEEE 802.3.
    Ptp,
    /// IGMP of any version.
    Igmp,
    /// MLD of either version.
    Mld,
    /// SAP: announcements of sessions.
    Sap,
    /// LLDP.
    Lldp,
    /// Multicast DNS.
    Mdns,
    /// DHCP.
    Dhcp,
    /// ARP.
    Arp,
    /// IPv6 neighbour discovery.
    NeighbourDiscovery,
    /// An answer of RTSP or HTTP over TCP that may describe a session.
    Rtsp,
}

impl Protocol {
    /// The name in the report.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ptp => "PTP",
            Self::Igmp => "IGMP",
            Self::Mld => "MLD",
            Self::Sap => "SAP",
            Self::Lldp => "LLDP",
            Self::Mdns => "mDNS",
            Self::Dhcp => "DHCP",
            Self::Arp => "ARP",
            Self::NeighbourDiscovery => "neighbour discovery",
            Self::Rtsp => "RTSP",
        }
    }

    /// The protocol of a frame; `None` for media and all else.
    ///
    /// Later fragments have no ports, so they are none of these.
    #[must_use]
    pub fn of(frame: &Frame<'_>) -> Option<Self> {
        let Some(network) = frame.network else { return Self::of_ethertype(frame.ethertype?) };
        if let Some(udp) = frame.udp {
            return Self::of_port(udp.destination_port, network.destination);
        }
        if network.fragment == Fragment::Later {
            return None;
        }
        match (network.protocol, frame.payload.first().copied()) {
            (IGMP, _) => Some(Self::Igmp),
            // RFC 2710 section 3, RFC 3810 section 5; RFC 4861 sections 4.3 and 4.4.
            (ICMPV6, Some(130..=132 | 143)) => Some(Self::Mld),
            (ICMPV6, Some(135 | 136)) => Some(Self::NeighbourDiscovery),
            (TCP, _) if network.fragment == Fragment::None && rtsp::is_answer(frame.payload) => {
                Some(Self::Rtsp)
            }
            _ => None,
        }
    }

    const fn of_ethertype(ethertype: u16) -> Option<Self> {
        match ethertype {
            ptp::ETHERTYPE => Some(Self::Ptp),
            lldp::ETHERTYPE => Some(Self::Lldp),
            arp::ETHERTYPE => Some(Self::Arp),
            _ => None,
        }
    }

    fn of_port(port: u16, destination: IpAddr) -> Option<Self> {
        match port {
            ptp::EVENT_PORT | ptp::GENERAL_PORT => Some(Self::Ptp),
            // Announcements go to the highest address of their scope (RFC 2974 section 3); a sender that has
            // other scopes than the usual ones is read as well.
            sap::SAP_PORT if destination.is_multicast() => Some(Self::Sap),
            dns::MDNS_PORT if !destination.is_multicast() => Some(Self::Mdns),
            dns::MDNS_PORT if destination == MDNS_4 || destination == MDNS_6 => Some(Self::Mdns),
            dhcp::SERVER_PORT | dhcp::CLIENT_PORT if destination.is_ipv4() => Some(Self::Dhcp),
            _ => None,
        }
    }
}
