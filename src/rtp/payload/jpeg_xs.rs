//! JPEG XS (RFC 9134 section 4.3), as ST 2110-22 carries it.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The payload header, 4 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JpegXs {
    /// `T`: packets are sent in order of the codestream.
    pub sequential: bool,
    /// `K`: packets are cut at slices (1) or anywhere in the codestream (0).
    pub slice_mode: bool,
    /// `L`: the last packet of a slice or, without slices, of a frame.
    pub last: bool,
    /// `I`: 0 progressive, 2 first field, 3 second field, 1 reserved.
    pub interlaced: u8,
    /// `F counter`: the frame's number modulo 32.
    pub frame_counter: u8,
    /// `SEP counter`: the slice's number, or how often the packet counter ran over; 11 bits.
    pub sep_counter: u16,
    /// `P counter`: the packet's number within its slice or frame, 11 bits.
    pub packet_counter: u16,
}

/// Decodes the payload header.
///
/// # Errors
/// Where there are fewer than 4 octets.
pub fn jpeg_xs(payload: &[u8]) -> Result<JpegXs, DecodeError> {
    let word = Cursor::new(payload).u32("JPEG XS payload header")?;
    let bits = |shift: u32, mask: u16| u16::try_from(word >> shift & u32::from(mask)).unwrap_or_default();
    let octet = |shift: u32, mask: u8| u8::try_from(word >> shift & u32::from(mask)).unwrap_or_default();
    Ok(JpegXs {
        sequential: word >> 31 & 1 == 1,
        slice_mode: word >> 30 & 1 == 1,
        last: word >> 29 & 1 == 1,
        interlaced: octet(27, 0x03),
        frame_counter: octet(22, 0x1F),
        sep_counter: bits(11, 0x07FF),
        packet_counter: bits(0, 0x07FF),
    })
}
