//! IEEE C37.238, the power profile (2011 and 2017; layouts checked against an open-source implementation).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// `organizationId` of IEEE C37.238.
pub const ORGANIZATION_ID: [u8; 3] = [0x1C, 0x12, 0x9D];
/// `organizationSubType` of the 2011 edition.
pub const EDITION_2011: [u8; 3] = [0, 0, 1];
/// `organizationSubType` of the 2017 edition.
pub const EDITION_2017: [u8; 3] = [0, 0, 2];

/// C37.238-2011.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PowerProfile2011 {
    /// `grandmasterID`.
    pub grandmaster_id: u16,
    /// `grandmasterTimeInaccuracy`, ns.
    pub grandmaster_time_inaccuracy_ns: u32,
    /// `networkTimeInaccuracy`, ns.
    pub network_time_inaccuracy_ns: u32,
}

/// C37.238-2017.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PowerProfile2017 {
    /// `grandmasterID`.
    pub grandmaster_id: u16,
    /// `totalTimeInaccuracy`, ns.
    pub total_time_inaccuracy_ns: u32,
}

impl PowerProfile2011 {
    /// Offset 6 `grandmasterID`, 8 `grandmasterTimeInaccuracy`, 12 `networkTimeInaccuracy`, 16 reserved.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let this = Self {
            grandmaster_id: cursor.u16("grandmasterID")?,
            grandmaster_time_inaccuracy_ns: cursor.u32("grandmasterTimeInaccuracy")?,
            network_time_inaccuracy_ns: cursor.u32("networkTimeInaccuracy")?,
        };
        cursor.skip("reserved", 2)?;
        Ok(this)
    }
}

impl PowerProfile2017 {
    /// Offset 6 `grandmasterID`, 8 reserved, 12 `totalTimeInaccuracy`, 16 reserved.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let grandmaster_id = cursor.u16("grandmasterID")?;
        cursor.skip("reserved", 4)?;
        let total_time_inaccuracy_ns = cursor.u32("totalTimeInaccuracy")?;
        cursor.skip("reserved", 2)?;
        Ok(Self { grandmaster_id, total_time_inaccuracy_ns })
    }
}
