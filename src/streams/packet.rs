//! What of a frame counts for its flow: no more than a few numbers, so that the first packets can be kept.

use std::net::IpAddr;

use super::fragments::Part;
use super::key::FlowKey;
use crate::avtp;
use crate::capture::Record;
use crate::frame::Fragment;
use crate::frame::Frame;
use crate::ptp;
use crate::rtp;
use crate::units::CaptureTime;
use crate::units::MacAddress;
use crate::units::wire_octets;

/// Octets of an RTP header's fixed part (RFC 3550 section 5.1).
const RTP_FIXED: usize = 12;
/// Octets of a UDP header (RFC 768).
pub(super) const UDP_HEADER: u16 = 8;

/// One packet of a flow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Packet {
    pub(super) time: CaptureTime,
    /// Octets on the wire.
    pub(super) wire: u32,
    /// Octets of UDP payload; for AVTP of what follows its header.
    pub(super) udp_payload: u16,
    /// Octets of RTP payload, extension and padding included where the capture cut them off.
    pub(super) media: u16,
    pub(super) rtp: Option<Rtp>,
    /// AVTP's number.
    pub(super) number: Option<u8>,
    pub(super) dscp: u8,
    pub(super) ttl: u8,
    pub(super) pcp: Option<u8>,
    pub(super) mac: Option<MacAddress>,
    /// Whether it is a later fragment, of which only time and octets on the wire count.
    pub(super) is_part: bool,
}

impl Packet {
    /// A later fragment.
    pub(super) const fn part(part: Part) -> Self {
        Self {
            time: part.time,
            wire: part.wire,
            udp_payload: 0,
            media: 0,
            rtp: None,
            number: None,
            dscp: 0,
            ttl: 0,
            pcp: None,
            mac: None,
            is_part: true,
        }
    }
}

/// An RTP header's numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Rtp {
    pub(super) marker: bool,
    pub(super) payload_type: u8,
    pub(super) sequence: u16,
    pub(super) timestamp: u32,
}

/// The flow a frame belongs to with what counts of it, and the first octets of its payload. `None` for frames that
/// are no flow's: PTP, unicast that is no RTP, later fragments (see [`super::fragments`]), everything without UDP but AVTP stream data.
pub(super) fn of<'a>(
    record: &Record<'_>,
    time: CaptureTime,
    frame: &Frame<'a>,
) -> Option<(FlowKey, Packet, &'a [u8])> {
    let wire = wire(record);
    let Some(network) = frame.network else {
        return avtp_packet(time, wire, frame);
    };
    let udp = frame.udp.filter(|_| network.fragment != Fragment::Later)?;
    if matches!(udp.destination_port, ptp::EVENT_PORT | ptp::GENERAL_PORT) {
        return None;
    }
    let udp_payload = udp.length.saturating_sub(UDP_HEADER);
    let rtp = rtp_header(frame.payload);
    let multicast = match network.destination {
        IpAddr::V4(address) => address.is_multicast(),
        IpAddr::V6(address) => address.is_multicast(),
    };
    if !multicast && rtp.is_none() {
        return None;
    }
    let (ssrc, rtp, header) = match rtp {
        Some((ssrc, rtp, header)) => (Some(ssrc), Some(rtp), header),
        None => (None, None, 0),
    };
    let key = FlowKey::Udp {
        source: network.source,
        destination: network.destination,
        port: udp.destination_port,
        vlan: frame.vlans.inner_id(),
        ssrc,
    };
    let packet = Packet {
        time,
        wire,
        udp_payload,
        media: udp_payload.saturating_sub(header),
        rtp,
        number: None,
        dscp: network.dscp,
        ttl: network.ttl,
        pcp: frame.vlans.pcp(),
        mac: frame.source_mac,
        is_part: false,
    };
    Some((key, packet, frame.payload.get(usize::from(header)..).unwrap_or_default()))
}

/// Octets that a record's frame took on the wire.
#[inline]
pub(super) fn wire(record: &Record<'_>) -> u32 {
    let fcs = record.fcs_octets.is_some_and(|octets| octets > 0);
    u32::try_from(wire_octets(record.original_len, fcs)).unwrap_or(u32::MAX)
}

/// Octets of the RTP header that a payload begins with, as far as they are there.
#[inline]
pub(super) fn rtp_header_octets(payload: &[u8]) -> u16 {
    let first = payload.first().copied().unwrap_or_default();
    let header = u16::from(first & 0x0F) * 4 + 12;
    if first & 0x10 == 0 {
        return header;
    }
    let Some([_, _, w0, w1]) = payload.get(usize::from(header)..).and_then(|rest| rest.first_chunk::<4>())
    else {
        return header;
    };
    header.saturating_add(4).saturating_add(u16::from_be_bytes([*w0, *w1]).saturating_mul(4))
}

/// SSRC, numbers, and octets of the header as far as they are there.
fn rtp_header(payload: &[u8]) -> Option<(u32, Rtp, u16)> {
    if !rtp::is_plausible(payload) {
        return None;
    }
    let [_, second, s0, s1, t0, t1, t2, t3, r0, r1, r2, r3] = *payload.first_chunk::<RTP_FIXED>()?;
    let header = rtp_header_octets(payload);
    let rtp = Rtp {
        marker: second & 0x80 != 0,
        payload_type: second & 0x7F,
        sequence: u16::from_be_bytes([s0, s1]),
        timestamp: u32::from_be_bytes([t0, t1, t2, t3]),
    };
    Some((u32::from_be_bytes([r0, r1, r2, r3]), rtp, header))
}

fn avtp_packet<'a>(time: CaptureTime, wire: u32, frame: &Frame<'a>) -> Option<(FlowKey, Packet, &'a [u8])> {
    if frame.ethertype != Some(avtp::ETHERTYPE) {
        return None;
    }
    let lead = avtp::lead(frame.payload)?;
    let key = FlowKey::Avtp { stream_id: lead.stream_id, vlan: frame.vlans.inner_id() };
    let octets = lead.data_length.unwrap_or_default();
    let packet = Packet {
        time,
        wire,
        udp_payload: octets,
        media: octets,
        rtp: None,
        number: lead.sequence_num,
        dscp: 0,
        ttl: 0,
        pcp: frame.vlans.pcp(),
        mac: frame.source_mac,
        is_part: false,
    };
    // With its header, which tells what it is.
    Some((key, packet, frame.payload))
}
