//! The join of frame and message.

use std::net::IpAddr;

use super::control;
use super::fingerprint::fingerprint;
use super::observation::{Observation, What};
use super::place::{Path, Place, Transport};
use super::protocol::Protocol;
use crate::bytes::DecodeError;
use crate::capture::Record;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::ptp;

/// A decoder of one message.
type Decode = fn(&[u8]) -> Result<ptp::Message, DecodeError>;

/// What decodes a message that the capture cut; the switch to `ptp::decode_snapped` is this one line.
const DECODE_SNAPPED: Decode = ptp::decode_snapped;

/// Makes an observation of a frame that carries a control message; `None` for media and every other frame.
///
/// PTP is UDP to port 319 or 320, whatever the source port (1588-2008 Annex D, from memory), or Ethertype 0x88F7.
/// Later fragments have no ports, so they are never PTP here.
#[must_use]
pub fn from_frame(file: u32, record: &Record<'_>, frame: &Frame<'_>) -> Option<Observation> {
    let protocol = Protocol::of(frame)?;
    let what = match protocol {
        Protocol::Ptp => ptp_message(record, frame),
        other => control::what(other, frame, !is_snapped(record, frame))?,
    };
    let place = Place { file, frame: record.number, time: record.time };
    let path = Path {
        interface: record.interface,
        source_mac: frame.source_mac,
        destination_mac: frame.destination_mac,
        vlan: frame.vlans.inner_id(),
        pcp: frame.vlans.pcp(),
        transport: transport(frame),
        source_ip: frame.network.map(|network| network.source),
        destination_ip: frame.network.map(|network| network.destination),
        destination_port: frame.udp.map(|udp| udp.destination_port),
        ttl: frame.network.map(|network| network.ttl),
        dscp: frame.network.map(|network| network.dscp),
    };
    Some(Observation { place, path, fingerprint: fingerprint(frame), what })
}

const fn transport(frame: &Frame<'_>) -> Transport {
    match (frame.network, frame.udp) {
        (None, _) => Transport::Ethernet,
        (Some(_), None) => Transport::Ip,
        (Some(network), Some(_)) => match network.destination {
            IpAddr::V4(_) => Transport::Udp4,
            IpAddr::V6(_) => Transport::Udp6,
        },
    }
}

/// Whether the capture does not hold all of the frame.
fn is_snapped(record: &Record<'_>, frame: &Frame<'_>) -> bool {
    // Over IEEE 802.3 no length field of the frame tells that octets are missing, only the capture does.
    let on_wire = usize::try_from(record.original_len).unwrap_or(usize::MAX);
    frame.is_cut() || record.octets.len() < on_wire
}

fn ptp_message(record: &Record<'_>, frame: &Frame<'_>) -> What {
    if frame.network.is_some_and(|network| network.fragment != Fragment::None) {
        return What::Fragment;
    }
    let decode: Decode = if is_snapped(record, frame) { DECODE_SNAPPED } else { ptp::decode };
    match decode(frame.payload) {
        Ok(message) => What::Ptp(message),
        Err(error) => What::Undecodable(error),
    }
}
