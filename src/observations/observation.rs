//! What was seen.

use super::place::{Path, Place};
use super::protocol::Protocol;
use crate::arp;
use crate::bytes::DecodeError;
use crate::dhcp;
use crate::dns;
use crate::igmp;
use crate::lldp;
use crate::mld;
use crate::ptp;
use crate::sap;

/// What a frame held.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A message.
    Ptp(ptp::Message),
    /// Octets on PTP's ports or Ethertype that are no message.
    Undecodable(DecodeError),
    /// The first fragment of a datagram to PTP's ports; the rest is in other frames and is not put together.
    /// No PTP message is long enough to need this.
    Fragment,
    /// An IGMP message.
    Igmp(Box<igmp::Message>),
    /// An MLD message.
    Mld(Box<mld::Message>),
    /// An announcement of a session or its deletion.
    Sap(Box<sap::Message>),
    /// What a neighbour on the link says of itself.
    Lldp(Box<lldp::Message>),
    /// A message of multicast DNS.
    Mdns(Box<dns::Message>),
    /// A DHCP message.
    Dhcp(Box<dhcp::Message>),
    /// An IP address that ARP or neighbour discovery claims for a MAC address; messages that claim none are not
    /// observed.
    Neighbour(arp::Claim),
    /// The text of a session description that RTSP or HTTP answered with.
    Description(Vec<u8>),
    /// A message of a protocol other than PTP that cannot be read, though the capture has all of the frame.
    Unreadable(Protocol, Trouble),
}

/// Why a message of a protocol other than PTP cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Trouble {
    /// It ends inside the named field.
    Short(&'static str),
    /// The named field breaks the rule beside it.
    Value(&'static str, &'static str),
    /// The grammar of its names and records is broken.
    Grammar,
    /// It is in IP fragments, which are not put together.
    Fragment,
}

/// A frame of a control protocol, or one that claims to be.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Where it stands.
    pub place: Place,
    /// How it came.
    pub path: Path,
    /// Equal for octet-identical copies of one frame, also where a mirror moved a copy to another VLAN or
    /// wrapped it; a routed copy, whose TTL and source MAC address differ, has another. Comparable within one
    /// run of the program only.
    pub fingerprint: u64,
    /// What it held.
    pub what: What,
}
