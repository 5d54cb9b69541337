//! Uncompressed video (RFC 4175 section 4.3; ST 2110-20 clause 6.1 builds on it, from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// Segments that are read; ST 2110-20 allows 3 in a packet (clause 6.2.1, from memory).
pub const MOST_SEGMENTS: usize = 3;

/// The payload header: the upper half of the sequence number and the row segments.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Uncompressed {
    /// `Extended Sequence Number`, the upper 16 bits.
    pub extended_sequence_number: u16,
    segments: [RowSegment; MOST_SEGMENTS],
    count: usize,
    /// Octets of this payload header.
    pub header_octets: usize,
}

/// One part of one row ("sample row data").
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct RowSegment {
    /// `Length`, octets.
    pub length: u16,
    /// `F`: the second field of an interlaced frame.
    pub second_field: bool,
    /// `Line No.`, 15 bits.
    pub row: u16,
    /// `C`: another segment header follows.
    pub continuation: bool,
    /// `Offset` of the first pixel in the row, pixels, 15 bits.
    pub offset: u16,
}

impl Uncompressed {
    /// The row segments, 1 to [`MOST_SEGMENTS`].
    #[must_use]
    pub fn segments(&self) -> &[RowSegment] {
        self.segments.get(..self.count).unwrap_or_default()
    }

    /// The sequence number with 32 bits, given the RTP header's.
    #[must_use]
    pub fn sequence_number(&self, sequence_number: u16) -> u32 {
        u32::from(self.extended_sequence_number) << 16 | u32::from(sequence_number)
    }
}

/// Decodes the payload header.
///
/// # Errors
/// Where the octets end inside it, or it announces more than [`MOST_SEGMENTS`] segments.
pub fn uncompressed(payload: &[u8]) -> Result<Uncompressed, DecodeError> {
    let mut cursor = Cursor::new(payload);
    let extended_sequence_number = cursor.u16("Extended Sequence Number")?;
    let mut segments = [RowSegment::default(); MOST_SEGMENTS];
    for (place, segment) in segments.iter_mut().enumerate() {
        let length = cursor.u16("Length")?;
        let row = cursor.u16("F and Line No.")?;
        let offset = cursor.u16("C and Offset")?;
        *segment = RowSegment {
            length,
            second_field: row & 0x8000 != 0,
            row: row & 0x7FFF,
            continuation: offset & 0x8000 != 0,
            offset: offset & 0x7FFF,
        };
        if !segment.continuation {
            let header_octets = cursor.offset();
            return Ok(Uncompressed { extended_sequence_number, segments, count: place + 1, header_octets });
        }
    }
    Err(DecodeError::Value {
        field: "C",
        offset: cursor.offset().saturating_sub(2),
        value: 1,
        rule: "a packet holds at most 3 row segments",
    })
}
