//! The RTP header (RFC 3550 section 5.1).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// Octets of the fixed part.
const FIXED_OCTETS: usize = 12;
/// Payload types that a sender and a receiver report, a description, a goodbye or an application packet of RTCP
/// (packet types 200 to 204) would show when read as RTP (RFC 3550 section 12.1).
const RTCP_AS_PAYLOAD_TYPE: std::ops::RangeInclusive<u8> = 72..=76;

/// An RTP header and the payload that follows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header<'a> {
    /// `M`, whose meaning the payload format gives.
    pub marker: bool,
    /// `PT`, 0 to 127.
    pub payload_type: u8,
    /// `sequence number`.
    pub sequence_number: u16,
    /// `timestamp`, ticks of the media clock.
    pub rtp_timestamp: u32,
    /// `SSRC`.
    pub ssrc: u32,
    /// `CSRC` identifiers, 4 octets each; see [`Header::csrcs`].
    csrc_octets: &'a [u8],
    /// The header extension.
    pub extension: Option<Extension<'a>>,
    /// Octets of padding at the end (`P`), counted by the last of them.
    pub padding_octets: usize,
    /// Octets from the start to the payload.
    pub header_octets: usize,
    /// The payload without padding.
    pub payload: &'a [u8],
}

/// A header extension (RFC 3550 section 5.3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Extension<'a> {
    /// `defined by profile`; 0xBEDE for one-octet elements (RFC 8285 section 4.2).
    pub profile: u16,
    /// The extension without its own 4 octets of header.
    pub octets: &'a [u8],
}

impl Header<'_> {
    /// `CSRC`, the contributing sources.
    pub fn csrcs(&self) -> impl Iterator<Item = u32> {
        self.csrc_octets.as_chunks::<4>().0.iter().map(|octets| u32::from_be_bytes(*octets))
    }
}

/// Decodes the header of a UDP payload.
///
/// A payload that the capture cut short has lost its padding count: call with `whole` false then, and padding
/// is left in the payload.
///
/// # Errors
/// Where the version is not 2, or the octets end inside the header, or the padding is longer than what is left.
pub fn decode(octets: &[u8], whole: bool) -> Result<Header<'_>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let first = cursor.u8("V, P, X and CC")?;
    let version = first >> 6;
    if version != 2 {
        let value = u64::from(version);
        return Err(DecodeError::Value { field: "V", offset: 0, value, rule: "RTP is version 2" });
    }
    let second = cursor.u8("M and PT")?;
    let sequence_number = cursor.u16("sequence number")?;
    let rtp_timestamp = cursor.u32("timestamp")?;
    let ssrc = cursor.u32("SSRC")?;
    let csrc_octets = cursor.slice("CSRC", usize::from(first & 0x0F) * 4)?;
    let extension = if first & 0x10 == 0 {
        None
    } else {
        let profile = cursor.u16("defined by profile")?;
        let words = cursor.u16("length of the header extension")?;
        Some(Extension { profile, octets: cursor.slice("header extension", usize::from(words) * 4)? })
    };
    let header_octets = cursor.offset();
    let rest = cursor.rest();
    let padding_octets = if first & 0x20 != 0 && whole { padding(rest, header_octets)? } else { 0 };
    let payload = rest.get(..rest.len().saturating_sub(padding_octets)).unwrap_or_default();
    Ok(Header {
        marker: second & 0x80 != 0,
        payload_type: second & 0x7F,
        sequence_number,
        rtp_timestamp,
        ssrc,
        csrc_octets,
        extension,
        padding_octets,
        header_octets,
        payload,
    })
}

fn padding(rest: &[u8], header_octets: usize) -> Result<usize, DecodeError> {
    let Some(count) = rest.last() else {
        return Err(DecodeError::Short {
            field: "padding count",
            offset: header_octets,
            needed: 1,
            available: 0,
        });
    };
    let octets = usize::from(*count);
    if octets == 0 || octets > rest.len() {
        return Err(DecodeError::Value {
            field: "padding count",
            offset: header_octets + rest.len() - 1,
            value: u64::from(*count),
            rule: "padding counts itself and lies behind the header",
        });
    }
    Ok(octets)
}

/// Whether a UDP payload could begin an RTP packet: long enough, version 2, and not what RTCP looks like. One
/// packet proves nothing; a flow is RTP only once several run in sequence.
#[must_use]
pub fn is_plausible(octets: &[u8]) -> bool {
    match octets {
        [first, second, ..] if octets.len() >= FIXED_OCTETS => {
            first >> 6 == 2 && !RTCP_AS_PAYLOAD_TYPE.contains(&(second & 0x7F))
        }
        _ => false,
    }
}
