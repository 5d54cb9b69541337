//! JPEG 2000 (RFC 5371 section 3, from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The payload header, 8 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Jpeg2000 {
    /// `tp`: 0 progressive, 1 odd field, 2 even field.
    pub scan: u8,
    /// `MHF`: 0 no main header, 1 a part, 2 its last part, 3 the whole main header.
    pub main_header: u8,
    /// `priority`.
    pub priority: u8,
    /// `tile number`.
    pub tile: u16,
    /// `reserved`, 0.
    pub reserved: u8,
    /// `fragment offset`: octets of the codestream before this packet, 24 bits.
    pub fragment_offset: u32,
}

/// Decodes the payload header.
///
/// # Errors
/// Where there are fewer than 8 octets.
pub fn jpeg_2000(payload: &[u8]) -> Result<Jpeg2000, DecodeError> {
    let mut cursor = Cursor::new(payload);
    let first = cursor.u8("tp, MHF, mh_id and T")?;
    let priority = cursor.u8("priority")?;
    let tile = cursor.u16("tile number")?;
    let reserved = cursor.u8("reserved")?;
    let [high, middle, low] = cursor.take("fragment offset")?;
    let fragment_offset = u32::from_be_bytes([0, high, middle, low]);
    Ok(Jpeg2000 {
        scan: first >> 6,
        main_header: first >> 4 & 0x03,
        priority,
        tile,
        reserved,
        fragment_offset,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: [u8; 8] = [0x70, 0xFE, 0x12, 0x34, 0x00, 0x01, 0xE2, 0x40];

    #[test]
    fn every_field_is_where_the_rfc_has_it_and_what_follows_changes_nothing() {
        let header = Jpeg2000 {
            scan: 1,
            main_header: 3,
            priority: 254,
            tile: 0x1234,
            reserved: 0,
            fragment_offset: 123_456,
        };
        assert_eq!(jpeg_2000(&HEADER), Ok(header));
        assert_eq!(jpeg_2000(&[&HEADER[..], &[0xFF; 9]].concat()), Ok(header));
    }

    #[test]
    fn every_shorter_length_fails_where_it_ends() {
        for length in 0..HEADER.len() {
            let Err(DecodeError::Short { offset, needed, .. }) = jpeg_2000(&HEADER[..length]) else {
                panic!("{length}")
            };
            assert!(offset <= length && length < offset + needed, "{length}");
        }
    }
}
