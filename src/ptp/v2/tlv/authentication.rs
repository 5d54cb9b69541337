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
