//! What was seen.

use super::place::{Path, Place};
use crate::bytes::DecodeError;
use crate::ptp;

/// What a frame held.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A message.
    Ptp(Box<ptp::Message>),
    /// Octets on PTP's ports or Ethertype that are no message.
    Undecodable(DecodeError),
    /// The first fragment of a datagram to PTP's ports; the rest is in other frames and is not put together.
    /// No PTP message is long enough to need this.
    Fragment,
}

/// A frame that is, or claims to be, PTP.
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
