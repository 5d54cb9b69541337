//! What the IP and UDP headers say.

use std::net::IpAddr;

/// Which part of a fragmented datagram a frame carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fragment {
    /// Not fragmented.
    None,
    /// The first part: the UDP header is there, the payload goes on in other frames.
    First,
    /// A later part: no UDP header, so no ports.
    Later,
}

/// An IPv4 or IPv6 header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Network {
    /// Source address.
    pub source: IpAddr,
    /// Destination address.
    pub destination: IpAddr,
    /// Time to live (IPv4) or hop limit (IPv6).
    pub ttl: u8,
    /// Differentiated services code point, 0 to 63 (RFC 2474 section 3).
    pub dscp: u8,
    /// Explicit congestion notification, 0 to 3 (RFC 3168 section 5).
    pub ecn: u8,
    /// Which part of a fragmented datagram this is.
    pub fragment: Fragment,
    /// Protocol of the payload, after the extension headers that were read (IANA protocol numbers).
    pub protocol: u8,
}

/// A UDP header (RFC 768).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Udp {
    /// Source port.
    pub source_port: u16,
    /// Destination port.
    pub destination_port: u16,
    /// Length field: header and payload, octets, as it stands on the wire.
    pub length: u16,
    /// Checksum as it stands on the wire; 0 = none (IPv4 only).
    pub checksum: u16,
}
