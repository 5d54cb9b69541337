//! From the payload of a control protocol other than PTP to its message.

use std::net::IpAddr;

use super::observation::{Trouble, What};
use super::protocol::Protocol;
use crate::arp;
use crate::bytes::DecodeError;
use crate::dhcp;
use crate::dns;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::igmp;
use crate::lldp;
use crate::mld;
use crate::rtsp;
use crate::sap;

/// What a frame of `protocol` says. `None` where there is nothing to say: a message that the capture cut and that
/// cannot be read without the rest, or one that claims no address.
pub(super) fn what(protocol: Protocol, frame: &Frame<'_>, whole: bool) -> Option<What> {
    if frame.network.is_some_and(|network| network.fragment != Fragment::None) {
        return Some(What::Unreadable(protocol, Trouble::Fragment));
    }
    match decode(protocol, frame, whole) {
        Ok(what) => what,
        // Its end is missing in the capture and not on the wire.
        Err(_) if !whole => None,
        Err(trouble) => Some(What::Unreadable(protocol, trouble)),
    }
}

fn decode(protocol: Protocol, frame: &Frame<'_>, whole: bool) -> Result<Option<What>, Trouble> {
    let octets = frame.payload;
    Ok(match protocol {
        Protocol::Ptp => None,
        Protocol::Igmp => Some(What::Igmp(Box::new(igmp::decode(octets, whole)?))),
        Protocol::Mld => {
            let envelope = envelope(frame).filter(|_| whole);
            mld::decode(octets, envelope)?.map(|message| What::Mld(Box::new(message)))
        }
        Protocol::Sap => Some(What::Sap(Box::new(sap::decode(octets)?))),
        Protocol::Lldp => Some(What::Lldp(Box::new(lldp::decode(octets)))),
        Protocol::Mdns => {
            let message = dns::decode(octets).map_err(|_| Trouble::Grammar)?;
            Some(What::Mdns(Box::new(message)))
        }
        Protocol::Dhcp => Some(What::Dhcp(Box::new(dhcp::decode(octets)?))),
        Protocol::Rtsp => rtsp::description(octets).map(|text| What::Description(text.to_vec())),
        Protocol::Arp => arp::decode(octets)?.claim().map(What::Neighbour),
        Protocol::NeighbourDiscovery => {
            let Some(IpAddr::V6(source)) = frame.network.map(|network| network.source) else {
                return Ok(None);
            };
            arp::neighbour(octets)?.and_then(|neighbour| neighbour.claim(source)).map(What::Neighbour)
        }
    })
}

fn envelope(frame: &Frame<'_>) -> Option<mld::Envelope> {
    let network = frame.network?;
    match (network.source, network.destination) {
        (IpAddr::V6(source), IpAddr::V6(destination)) => Some(mld::Envelope { source, destination }),
        _ => None,
    }
}

impl From<DecodeError> for Trouble {
    fn from(error: DecodeError) -> Self {
        match error {
            DecodeError::Short { field, .. } => Self::Short(field),
            DecodeError::Value { field, rule, .. } => Self::Value(field, rule),
        }
    }
}
