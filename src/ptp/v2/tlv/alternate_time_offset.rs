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

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;
    use crate::ptp::Note;

    const TYPE: u16 = types::ALTERNATE_TIME_OFFSET_INDICATOR;
    /// Key 7, −3600 s, jump −1 s at 2³² + 1.
    const FIXED: &str = "07 fffff1f0 ffffffff 000100000001";

    fn value(text: &str) -> Vec<u8> {
        testing::octets(&format!("{FIXED} {text}"))
    }

    fn expected(display_name: &str) -> Tlv {
        Tlv::AlternateTimeOffsetIndicator(AlternateTimeOffset {
            key_field: 7,
            current_offset_s: -3600,
            jump_seconds: -1,
            time_of_next_jump_s: 0x1_0000_0001,
            display_name: display_name.to_owned(),
        })
    }

    #[test]
    fn a_name_of_odd_length_is_followed_by_a_pad() {
        assert_eq!(testing::decode(TYPE, &value("03 434554 00")), (expected("CET"), vec![]));
        assert_eq!(testing::decode(TYPE, &value("04 43455354")), (expected("CEST"), vec![]));
        assert_eq!(testing::decode(TYPE, &value("00")), (expected(""), vec![]));
    }

    #[test]
    fn octets_after_the_name_are_noted() {
        let (tlv, notes) = testing::decode(TYPE, &value("03 434554 00 a5a5"));
        assert_eq!(tlv, expected("CET"));
        assert_eq!(notes, [Note::TlvExtended { tlv_type: TYPE, extra_octets: 2 }]);
    }

    #[test]
    fn a_cut_name_makes_the_value_too_short() {
        testing::assert_every_shorter_value_is_kept_as_type_and_length(TYPE, &value("04 43455354"));
    }

    #[test]
    fn a_name_that_is_not_utf_8_is_shown_as_far_as_it_is() {
        assert_eq!(testing::decode(TYPE, &value("02 43ff")).0, expected("C\u{FFFD}"));
    }
}
