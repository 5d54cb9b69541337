//! Ancillary data (RFC 8331 section 2.1), as ST 2110-40 carries it.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The payload header, 8 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ancillary {
    /// `Extended Sequence Number`, the upper 16 bits.
    pub extended_sequence_number: u16,
    /// `Length` of the ANC data packets, octets.
    pub length: u16,
    /// `ANC_Count`; 0 keeps the stream alive.
    pub count: u8,
    /// `F`.
    pub field: FieldMark,
}

/// `F`: which field the data belong to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FieldMark {
    /// 0b00: progressive, or not told.
    Unspecified,
    /// 0b01: not valid.
    Invalid,
    /// 0b10: first field.
    First,
    /// 0b11: second field.
    Second,
}

/// Decodes the payload header.
///
/// # Errors
/// Where there are fewer than 8 octets.
pub fn ancillary(payload: &[u8]) -> Result<Ancillary, DecodeError> {
    let mut cursor = Cursor::new(payload);
    let extended_sequence_number = cursor.u16("Extended Sequence Number")?;
    let length = cursor.u16("Length")?;
    let count = cursor.u8("ANC_Count")?;
    let [first, _, _] = cursor.take("F and reserved")?;
    let field = match first >> 6 {
        0 => FieldMark::Unspecified,
        1 => FieldMark::Invalid,
        2 => FieldMark::First,
        _ => FieldMark::Second,
    };
    Ok(Ancillary { extended_sequence_number, length, count, field })
}
