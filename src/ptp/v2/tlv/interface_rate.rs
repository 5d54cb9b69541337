//! ITU-T interface rate (G.8275.x; sizes checked against an open-source implementation, sub-type from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// `organizationId` of ITU-T.
pub const ORGANIZATION_ID: [u8; 3] = [0x00, 0x19, 0xA7];
/// `organizationSubType` of the interface rate.
pub const INTERFACE_RATE: [u8; 3] = [0, 0, 2];

/// Speed of the sender's interface, so that the receiver can allow for different speeds at both ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InterfaceRate {
    /// `interfaceBitPeriod`, raw (its unit is not known here).
    pub interface_bit_period: u64,
    /// `bitsBeforeTimestamp`.
    pub bits_before_timestamp: u16,
    /// `bitsAfterTimestamp`.
    pub bits_after_timestamp: u16,
}

impl InterfaceRate {
    /// Offset 6 `interfaceBitPeriod`, 14 `bitsBeforeTimestamp`, 16 `bitsAfterTimestamp`.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            interface_bit_period: cursor.u64("interfaceBitPeriod")?,
            bits_before_timestamp: cursor.u16("bitsBeforeTimestamp")?,
            bits_after_timestamp: cursor.u16("bitsAfterTimestamp")?,
        })
    }
}
