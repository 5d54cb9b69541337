//! The join of frame and message.

use std::net::IpAddr;

use super::fingerprint::fingerprint;
use super::observation::{Observation, What};
use super::place::{Path, Place, Transport};
use crate::bytes::DecodeError;
use crate::capture::Record;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::ptp;

/// A decoder of one message.
type Decode = fn(&[u8]) -> Result<ptp::Message, DecodeError>;

/// What decodes a message that the capture cut; the switch to `ptp::decode_snapped` is this one line.
const DECODE_SNAPPED: Decode = ptp::decode_snapped;

/// Makes an observation of a frame that is PTP: UDP to port 319 or 320, whatever the source port
/// (1588-2008 Annex D, from memory), or Ethertype 0x88F7. `None` for every other frame.
///
/// Later fragments have no ports, so they are never PTP here.
#[must_use]
pub fn from_frame(file: u32, record: &Record<'_>, frame: &Frame<'_>) -> Option<Observation> {
    let transport = transport(frame)?;
    let place = Place { file, frame: record.number, time: record.time };
    let path = Path {
        source_mac: frame.source_mac,
        destination_mac: frame.destination_mac,
        vlan: frame.vlans.inner_id(),
        pcp: frame.vlans.pcp(),
        transport,
        source_ip: frame.network.map(|network| network.source),
        destination_ip: frame.network.map(|network| network.destination),
        destination_port: frame.udp.map(|udp| udp.destination_port),
        ttl: frame.network.map(|network| network.ttl),
        dscp: frame.network.map(|network| network.dscp),
    };
    Some(Observation { place, path, fingerprint: fingerprint(frame), what: what(record, frame) })
}

fn transport(frame: &Frame<'_>) -> Option<Transport> {
    let Some(network) = frame.network else {
        return (frame.ethertype == Some(ptp::ETHERTYPE)).then_some(Transport::Ethernet);
    };
    let port = frame.udp?.destination_port;
    if port != ptp::EVENT_PORT && port != ptp::GENERAL_PORT {
        return None;
    }
    Some(match network.destination {
        IpAddr::V4(_) => Transport::Udp4,
        IpAddr::V6(_) => Transport::Udp6,
    })
}

fn what(record: &Record<'_>, frame: &Frame<'_>) -> What {
    if frame.network.is_some_and(|network| network.fragment != Fragment::None) {
        return What::Fragment;
    }
    // Over IEEE 802.3 no length field of the frame tells that octets are missing, only the capture does.
    let on_wire = usize::try_from(record.original_len).unwrap_or(usize::MAX);
    let is_snapped = frame.is_cut() || record.octets.len() < on_wire;
    let decode: Decode = if is_snapped { DECODE_SNAPPED } else { ptp::decode };
    match decode(frame.payload) {
        Ok(message) => What::Ptp(Box::new(message)),
        Err(error) => What::Undecodable(error),
    }
}
