//! SMPTE ST 2059-2 synchronization metadata (ST 2059-2 table of the SM TLV; offsets agree in two independent public
//! decoders, names of the states from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// `organizationId` of SMPTE.
pub const ORGANIZATION_ID: [u8; 3] = [0x68, 0x97, 0xE8];
/// `organizationSubType` of the synchronization metadata.
pub const SYNCHRONIZATION_METADATA: [u8; 3] = [0, 0, 1];

/// How time address and local time come from PTP time in a facility. Sent about once a second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SynchronizationMetadata {
    /// `defaultSystemFrameRate`, numerator, frames/s.
    pub default_system_frame_rate_numerator: u32,
    /// `defaultSystemFrameRate`, denominator.
    pub default_system_frame_rate_denominator: u32,
    /// `masterLockingStatus` (2021 `gmLockingStatus`): 0 not in use, 1 free run, 2 cold locking, 3 warm locking,
    /// 4 locked.
    pub master_locking_status: u8,
    /// `timeAddressFlags`: bit 0 drop frame, bit 1 colour frame.
    pub time_address_flags: u8,
    /// `currentLocalOffset`, s: local time minus PTP time.
    pub current_local_offset_s: i32,
    /// `jumpSeconds`, s: size of the next discontinuity.
    pub jump_seconds: i32,
    /// `timeOfNextJump`, 48 bits, PTP seconds.
    pub time_of_next_jump_s: u64,
    /// `timeOfNextJam`, 48 bits, PTP seconds.
    pub time_of_next_jam_s: u64,
    /// `timeOfPreviousJam`, 48 bits, PTP seconds.
    pub time_of_previous_jam_s: u64,
    /// `previousJamLocalOffset`, s.
    pub previous_jam_local_offset_s: i32,
    /// `daylightSaving`: bit 0 now, bit 1 at the next discontinuity, bit 2 at the previous jam.
    pub daylight_saving: u8,
    /// `leapSecondJump`: bit 0, the next discontinuity is a leap second.
    pub leap_second_jump: u8,
}

impl SynchronizationMetadata {
    /// Offset 6 frame rate (4 + 4), 14 `masterLockingStatus`, 15 `timeAddressFlags`, 16 `currentLocalOffset`,
    /// 20 `jumpSeconds`, 24 `timeOfNextJump`, 30 `timeOfNextJam`, 36 `timeOfPreviousJam`,
    /// 42 `previousJamLocalOffset`, 46 `daylightSaving`, 47 `leapSecondJump`.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            default_system_frame_rate_numerator: cursor.u32("defaultSystemFrameRate")?,
            default_system_frame_rate_denominator: cursor.u32("defaultSystemFrameRate")?,
            master_locking_status: cursor.u8("masterLockingStatus")?,
            time_address_flags: cursor.u8("timeAddressFlags")?,
            current_local_offset_s: cursor.i32("currentLocalOffset")?,
            jump_seconds: cursor.i32("jumpSeconds")?,
            time_of_next_jump_s: cursor.u48("timeOfNextJump")?,
            time_of_next_jam_s: cursor.u48("timeOfNextJam")?,
            time_of_previous_jam_s: cursor.u48("timeOfPreviousJam")?,
            previous_jam_local_offset_s: cursor.i32("previousJamLocalOffset")?,
            daylight_saving: cursor.u8("daylightSaving")?,
            leap_second_jump: cursor.u8("leapSecondJump")?,
        })
    }
}
