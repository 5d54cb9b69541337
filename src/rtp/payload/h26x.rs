//! H.264 (RFC 6184 section 5) and H.265 (RFC 7798 section 4): which NAL unit a packet holds.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// What a packet holds of an encoded picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NalUnit {
    /// `Type` of the payload's own header: a NAL unit's type or one that RTP adds (aggregation, fragment).
    pub packet_type: u8,
    /// The NAL unit's type: that of a fragmented unit for its fragments, of the first for an aggregate.
    pub unit_type: u8,
    /// Whether this is the first fragment; `None` where the unit is whole.
    pub fragment_start: Option<bool>,
    /// Whether the unit is part of a picture that needs no other to be decoded (H.264 type 5; H.265 types 16 to 21).
    pub random_access: bool,
}

/// Decodes the first octets of an H.264 payload.
///
/// # Errors
/// Where the octets end inside the headers or the type is one of those that are not defined.
pub fn h264(payload: &[u8]) -> Result<NalUnit, DecodeError> {
    let mut cursor = Cursor::new(payload);
    let packet_type = cursor.u8("NAL unit header")? & 0x1F;
    let (unit, fragment_start) = match packet_type {
        1..=23 => (packet_type, None),
        // STAP-A, STAP-B: 16-bit size; STAP-B has a decoding order number first.
        24 | 25 => {
            cursor.skip("DON", if packet_type == 25 { 2 } else { 0 })?;
            cursor.skip("NALU size", 2)?;
            (cursor.u8("NAL unit header")?, None)
        }
        // MTAP16, MTAP24: order number base, size, order difference, time offset of 16 or 24 bits.
        26 | 27 => {
            cursor.skip("DONB, NALU size and DOND", 5)?;
            cursor.skip("TS offset", usize::from(packet_type - 24))?;
            (cursor.u8("NAL unit header")?, None)
        }
        // FU-A, FU-B.
        28 | 29 => {
            let header = cursor.u8("FU header")?;
            (header, Some(header & 0x80 != 0))
        }
        other => return Err(undefined(other)),
    };
    let unit_type = unit & 0x1F;
    Ok(NalUnit { packet_type, unit_type, fragment_start, random_access: unit_type == 5 })
}

/// Decodes the first octets of an H.265 payload, for streams without decoding order numbers
/// (`sprop-max-don-diff` 0, the default).
///
/// # Errors
/// Where the octets end inside the headers or the type is one of those that are not defined.
pub fn h265(payload: &[u8]) -> Result<NalUnit, DecodeError> {
    let mut cursor = Cursor::new(payload);
    let [first, _] = cursor.take("NAL unit header")?;
    let packet_type = first >> 1 & 0x3F;
    let (unit_type, fragment_start) = match packet_type {
        0..=47 => (packet_type, None),
        // Aggregation packet: 16-bit size, then a unit.
        48 => {
            cursor.skip("NALU size", 2)?;
            let [first, _] = cursor.take("NAL unit header")?;
            (first >> 1 & 0x3F, None)
        }
        // Fragmentation unit.
        49 => {
            let header = cursor.u8("FU header")?;
            (header & 0x3F, Some(header & 0x80 != 0))
        }
        other => return Err(undefined(other)),
    };
    Ok(NalUnit { packet_type, unit_type, fragment_start, random_access: (16..=21).contains(&unit_type) })
}

fn undefined(packet_type: u8) -> DecodeError {
    let value = u64::from(packet_type);
    DecodeError::Value {
        field: "Type",
        offset: 0,
        value,
        rule: "this payload type is not defined or not read",
    }
}
