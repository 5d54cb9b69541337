//! AUTHENTICATION of 2019 (1588-2019 16.14, from memory; first six octets checked against an open-source
//! implementation).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// The part of the TLV whose layout needs no agreement between sender and receiver.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Authentication {
    /// `SPP`, security parameter pointer.
    pub spp: u8,
    /// `secParamIndicator`: which optional fields follow.
    pub sec_param_indicator: u8,
    /// `keyID`.
    pub key_id: u32,
    /// Octets of the optional fields and the integrity check value.
    pub remaining_octets: usize,
}

impl Authentication {
    /// Offset 0 `SPP`, 1 `secParamIndicator`, 2 `keyID`, 6 optional fields and `ICV`.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let spp = cursor.u8("SPP")?;
        let sec_param_indicator = cursor.u8("secParamIndicator")?;
        let key_id = cursor.u32("keyID")?;
        let remaining_octets = cursor.rest().len();
        cursor.skip("ICV", remaining_octets)?;
        Ok(Self { spp, sec_param_indicator, key_id, remaining_octets })
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;

    #[test]
    fn the_key_is_read_and_the_check_value_counted() {
        let value = testing::octets("03 80 00000102 a5a5a5a5a5a5a5a5a5a5a5a5a5a5a5a5");
        let (tlv, notes) = testing::decode(types::AUTHENTICATION, &value);
        let expected =
            Authentication { spp: 3, sec_param_indicator: 0x80, key_id: 0x0102, remaining_octets: 16 };
        assert_eq!(tlv, Tlv::Authentication(expected));
        assert_eq!(notes, []);
        testing::assert_every_shorter_value_is_kept_as_type_and_length(types::AUTHENTICATION, &value[..6]);
    }
}
