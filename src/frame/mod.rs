//! Frames: from a record's octets to the innermost UDP or PTP payload, without copying or allocating.
//!
//! [`decode`] never fails. What could be read is there, and [`Frame::stop`] says where and why the reading
//! ended early. Encapsulations that mirrors and overlays add are taken off, so that a [`Frame`] describes what
//! the mirrored network saw.

mod alike;
mod ethernet;
mod fast;
mod ip;
mod link;
mod network;
mod stop;
mod tunnel;
mod vlan;

pub use alike::{Alike, Headers};
pub use network::{Fragment, Network, Udp};
pub use stop::{Layer, Stop, StopReason};
pub use tunnel::{Tunnel, Tunnels};
pub use vlan::{VlanTag, Vlans};

use crate::capture::LinkType;
use crate::capture::Record;
use crate::units::MacAddress;

/// One frame, as far as it could be read. After an encapsulation was taken off, every field but
/// [`Frame::tunnels`] and [`Frame::stop`] describes the inner frame only.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Source address; `None` where the link has none or it was not reached.
    pub source_mac: Option<MacAddress>,
    /// Destination address; `None` where the link has none (also Linux cooked) or it was not reached.
    pub destination_mac: Option<MacAddress>,
    /// The tags, outermost first.
    pub vlans: Vlans,
    /// The Ethertype after the tags, also from SNAP, a cooked header or GRE.
    pub ethertype: Option<u16>,
    /// The IP header.
    pub network: Option<Network>,
    /// The UDP header.
    pub udp: Option<Udp>,
    /// What follows the innermost header that was understood: for UDP cut at the datagram's end, for IP at
    /// the packet's end; for an Ethertype that is not IP everything left, pads included.
    pub payload: &'a [u8],
    /// From the network header on (after the tags), for IP cut at the packet's end: what stays equal when a
    /// mirror copies the frame to another VLAN. Empty where it was not reached.
    pub fingerprint_octets: &'a [u8],
    /// The encapsulations that were taken off.
    pub tunnels: Tunnels,
    /// Where and why the reading ended early; the first cause where there are several.
    pub stop: Option<Stop>,
}

impl<'a> Frame<'a> {
    const fn empty(payload: &'a [u8]) -> Self {
        Self {
            source_mac: None,
            destination_mac: None,
            vlans: Vlans::NONE,
            ethertype: None,
            network: None,
            udp: None,
            payload,
            fingerprint_octets: &[],
            tunnels: Tunnels::NONE,
            stop: None,
        }
    }

    fn note(&mut self, stop: Stop) {
        if self.stop.is_none() {
            self.stop = Some(stop);
        }
    }

    /// Whether a length field or a header wants octets that the capture does not hold.
    #[must_use]
    pub fn is_cut(&self) -> bool {
        self.stop.is_some_and(|stop| stop.is_cut())
    }
}

/// What a layer found behind itself.
enum Inner<'a> {
    Ethernet(&'a [u8]),
    /// A type or length field and what follows it; tags may be in between.
    Typed(u16, &'a [u8]),
    Llc(&'a [u8]),
    Ipv4(&'a [u8]),
    Ipv6(&'a [u8]),
    /// IP of the version its first nibble says.
    Ip(&'a [u8]),
}

impl<'a> Inner<'a> {
    const fn octets(&self) -> &'a [u8] {
        match self {
            Self::Ethernet(octets)
            | Self::Typed(_, octets)
            | Self::Llc(octets)
            | Self::Ipv4(octets)
            | Self::Ipv6(octets)
            | Self::Ip(octets) => octets,
        }
    }
}

/// Reads a record's octets. Never fails: see [`Frame::stop`].
#[must_use]
pub fn decode<'a>(record: &Record<'a>) -> Frame<'a> {
    if record.link != LinkType::ETHERNET {
        return general(record.link, record.octets);
    }
    let octets = without_frame_check(record);
    fast::decode(octets).unwrap_or_else(|| general(record.link, octets))
}

/// The octets without the frame check sequence, where the file says that there is one.
#[inline]
fn without_frame_check<'a>(record: &Record<'a>) -> &'a [u8] {
    let octets = record.octets;
    let Some(fcs_octets) = record.fcs_octets.filter(|count| *count > 0) else { return octets };
    let on_wire = usize::try_from(record.original_len).unwrap_or(usize::MAX).max(octets.len());
    octets.get(..on_wire.saturating_sub(usize::from(fcs_octets))).unwrap_or(octets)
}

/// The general way, layer by layer. Ends because each step goes inwards, and into a tunnel at most
/// [`Tunnels::MOST`] times.
fn general(link: LinkType, octets: &[u8]) -> Frame<'_> {
    let mut frame = Frame::empty(octets);
    let mut next = link::start(&mut frame, link, octets);
    while let Some(inner) = next {
        next = match inner {
            Inner::Ethernet(rest) => ethernet::ethernet(&mut frame, rest),
            Inner::Typed(ethertype, rest) => ethernet::typed(&mut frame, ethertype, rest),
            Inner::Llc(rest) => ethernet::llc(&mut frame, rest),
            Inner::Ipv4(rest) => ip::ipv4(&mut frame, rest),
            Inner::Ipv6(rest) => ip::ipv6(&mut frame, rest),
            Inner::Ip(rest) => ip::ip(&mut frame, rest),
        };
    }
    frame
}
