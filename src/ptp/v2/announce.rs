//! The Announce body (1588-2008 13.5, from memory; layout checked on real captures).

use super::fields;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
use crate::ptp::Note;
use crate::units::Timestamp;

/// `clockQuality`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct ClockQuality {
    /// `clockClass`.
    pub clock_class: u8,
    /// `clockAccuracy`.
    pub clock_accuracy: u8,
    /// `offsetScaledLogVariance`.
    pub offset_scaled_log_variance: u16,
}

/// What an Announce says of the grandmaster and of the way to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Announce {
    /// `originTimestamp`, often 0.
    pub origin_timestamp: Timestamp,
    /// `currentUtcOffset`, s.
    pub current_utc_offset: i16,
    /// `grandmasterPriority1`.
    pub grandmaster_priority1: u8,
    /// `grandmasterClockQuality`.
    pub grandmaster_clock_quality: ClockQuality,
    /// `grandmasterPriority2`.
    pub grandmaster_priority2: u8,
    /// `grandmasterIdentity`.
    pub grandmaster_identity: ClockIdentity,
    /// `stepsRemoved`.
    pub steps_removed: u16,
    /// `timeSource`.
    pub time_source: u8,
}

impl ClockQuality {
    /// Reads the four octets: class, accuracy, variance.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            clock_class: cursor.u8("clockClass")?,
            clock_accuracy: cursor.u8("clockAccuracy")?,
            offset_scaled_log_variance: cursor.u16("offsetScaledLogVariance")?,
        })
    }
}

impl Announce {
    /// Reads the body.
    ///
    /// | offset | octets | field |
    /// |---|---|---|
    /// | 34 | 10 | `originTimestamp` |
    /// | 44 | 2 | `currentUtcOffset` |
    /// | 46 | 1 | reserved; a real boundary clock sends 0xAC there |
    /// | 47 | 1 | `grandmasterPriority1` |
    /// | 48 | 4 | `grandmasterClockQuality` |
    /// | 52 | 1 | `grandmasterPriority2` |
    /// | 53 | 8 | `grandmasterIdentity` |
    /// | 61 | 2 | `stepsRemoved` |
    /// | 63 | 1 | `timeSource` |
    pub(super) fn decode(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Self, DecodeError> {
        let origin_timestamp = fields::timestamp(cursor, "originTimestamp", notes)?;
        let current_utc_offset = cursor.i16("currentUtcOffset")?;
        cursor.skip("reserved", 1)?;
        Ok(Self {
            origin_timestamp,
            current_utc_offset,
            grandmaster_priority1: cursor.u8("grandmasterPriority1")?,
            grandmaster_clock_quality: ClockQuality::decode(cursor)?,
            grandmaster_priority2: cursor.u8("grandmasterPriority2")?,
            grandmaster_identity: fields::clock_identity(cursor, "grandmasterIdentity")?,
            steps_removed: cursor.u16("stepsRemoved")?,
            time_source: cursor.u8("timeSource")?,
        })
    }
}
