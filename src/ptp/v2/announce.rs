//! The Announce body (1588-2008 13.5, from memory; layout checked on real captures).

use crate::ptp::ClockIdentity;
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
