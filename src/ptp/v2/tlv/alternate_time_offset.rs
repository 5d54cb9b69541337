//! ALTERNATE_TIME_OFFSET_INDICATOR (1588-2008 16.3, from memory; fixed part checked against an open-source
//! implementation).

use super::text::ptp_text;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// Another timescale, such as a local time zone, as an offset from the PTP time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlternateTimeOffset {
    /// `keyField`: which of the sender's timescales.
    pub key_field: u8,
    /// `currentOffset`, s: alternate time minus PTP time.
    pub current_offset_s: i32,
    /// `jumpSeconds`, s: size of the next discontinuity.
    pub jump_seconds: i32,
    /// `timeOfNextJump`, 48 bits, PTP seconds.
    pub time_of_next_jump_s: u64,
    /// `displayName`.
    pub display_name: String,
}

impl AlternateTimeOffset {
    /// Offset 0 `keyField`, 1 `currentOffset`, 5 `jumpSeconds`, 9 `timeOfNextJump`, 15 `displayName`, pad to even.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let this = Self {
            key_field: cursor.u8("keyField")?,
            current_offset_s: cursor.i32("currentOffset")?,
            jump_seconds: cursor.i32("jumpSeconds")?,
            time_of_next_jump_s: cursor.u48("timeOfNextJump")?,
            display_name: ptp_text(cursor, "displayName")?,
        };
        // `lengthField` is even, so an odd rest begins with the pad.
        if cursor.rest().len() % 2 == 1 {
            cursor.skip("pad", 1)?;
        }
        Ok(this)
    }
}
