//! Management answers of fixed layout, in wire order. Offsets count from the data field's first octet.
//!
//! Layouts of DEFAULT_, CURRENT_, PARENT_ and PORT_DATA_SET checked on a real capture; the others against
//! the declarations of an open-source IEEE 1588-2008/2019 stack. Clauses from memory.

use super::port_state::PortState;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
use crate::ptp::Note;
use crate::ptp::PortIdentity;
use crate::ptp::v2::ClockQuality;
use crate::ptp::v2::Flags;
use crate::units::LogInterval;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// DEFAULT_DATA_SET, 20 octets (1588-2008 15.5.3.3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DefaultDataSet {
    /// `twoStepFlag`, bit 0 at 0.
    pub two_step: bool,
    /// `slaveOnly`, bit 1 at 0.
    pub slave_only: bool,
    /// `numberPorts`, at 2.
    pub number_ports: u16,
    /// `priority1`, at 4.
    pub priority1: u8,
    /// `clockQuality`, at 5.
    pub clock_quality: ClockQuality,
    /// `priority2`, at 9.
    pub priority2: u8,
    /// `clockIdentity`, at 10.
    pub clock_identity: ClockIdentity,
    /// `domainNumber`, at 18.
    pub domain_number: u8,
}

/// CURRENT_DATA_SET, 18 octets (1588-2008 15.5.3.4.1): what the device claims of itself, not a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CurrentDataSet {
    /// `stepsRemoved`, at 0.
    pub steps_removed: u16,
    /// `offsetFromMaster`, at 2; `None` where it is too big to represent.
    pub offset_from_master: Option<TimeInterval>,
    /// `meanDelay` (2008 meanPathDelay), at 10; `None` where it is too big to represent.
    pub mean_delay: Option<TimeInterval>,
}

/// PARENT_DATA_SET, 32 octets (1588-2008 15.5.3.5.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ParentDataSet {
    /// `parentPortIdentity`, at 0; a clock that has no parent names itself with port 0.
    pub parent_port_identity: PortIdentity,
    /// `parentStats`, bit 0 at 10: the two observed values are valid.
    pub parent_stats: bool,
    /// `observedParentOffsetScaledLogVariance`, at 12; 0xFFFF where not computed.
    pub observed_parent_offset_scaled_log_variance: u16,
    /// `observedParentClockPhaseChangeRate`, at 14; 0x7FFFFFFF where not computed.
    pub observed_parent_clock_phase_change_rate: i32,
    /// `grandmasterPriority1`, at 18.
    pub grandmaster_priority1: u8,
    /// `grandmasterClockQuality`, at 19.
    pub grandmaster_clock_quality: ClockQuality,
    /// `grandmasterPriority2`, at 23.
    pub grandmaster_priority2: u8,
    /// `grandmasterIdentity`, at 24.
    pub grandmaster_identity: ClockIdentity,
}

/// TIME_PROPERTIES_DATA_SET, 4 octets (1588-2008 15.5.3.6.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimePropertiesDataSet {
    /// `currentUtcOffset`, at 0, s.
    pub current_utc_offset: i16,
    /// The six flags at 2, which have the places they have in the header's second flag octet.
    pub flags: Flags,
    /// `timeSource`, at 3.
    pub time_source: u8,
}

/// PORT_DATA_SET, 26 octets (1588-2008 15.5.3.7.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PortDataSet {
    /// `portIdentity`, at 0.
    pub port_identity: PortIdentity,
    /// `portState`, at 10.
    pub port_state: PortState,
    /// `logMinDelayReqInterval`, at 11.
    pub log_min_delay_req_interval: LogInterval,
    /// `meanLinkDelay` (2008 peerMeanPathDelay), at 12; `None` where it is too big to represent.
    pub mean_link_delay: Option<TimeInterval>,
    /// `logAnnounceInterval`, at 20.
    pub log_announce_interval: LogInterval,
    /// `announceReceiptTimeout`, at 21, Announce intervals.
    pub announce_receipt_timeout: u8,
    /// `logSyncInterval`, at 22.
    pub log_sync_interval: LogInterval,
    /// `delayMechanism`, at 23.
    pub delay_mechanism: u8,
    /// `logMinPdelayReqInterval`, at 24.
    pub log_min_pdelay_req_interval: LogInterval,
    /// `minorVersionNumber` (2008 reserved), high half at 25.
    pub minor_version_number: u8,
    /// `versionNumber`, low half at 25.
    pub version_number: u8,
}

/// UTC_PROPERTIES, 4 octets (1588-2008 15.5.3.6.2).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UtcProperties {
    /// `currentUtcOffset`, at 0, s.
    pub current_utc_offset: i16,
    /// `leap61`, `leap59` and `currentUtcOffsetValid`, at 2.
    pub flags: Flags,
}

/// TIMESCALE_PROPERTIES, 2 octets (1588-2008 15.5.3.6.4).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimescaleProperties {
    /// `ptpTimescale`, bit 3 at 0.
    pub ptp_timescale: bool,
    /// `timeSource`, at 1.
    pub time_source: u8,
}

/// VERSION_NUMBER, 2 octets (1588-2019 15.5.3.7.7).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VersionNumber {
    /// `minorVersionNumber` (2008 reserved), high half at 0.
    pub minor_version_number: u8,
    /// `versionNumber`, low half at 0.
    pub version_number: u8,
}

/// TIME_STATUS_NP, 50 octets: no part of the standard, common in Linux-based devices. What the device claims.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeStatusNp {
    /// `master_offset`, at 0.
    pub master_offset: Nanos,
    /// `ingress_time`, at 8, ns of the device's clock.
    pub ingress_time_ns: i64,
    /// `cumulativeScaledRateOffset`, at 16, 2⁻⁴¹.
    pub cumulative_scaled_rate_offset: i32,
    /// `scaledLastGmPhaseChange`, at 20.
    pub scaled_last_gm_phase_change: i32,
    /// `gmTimeBaseIndicator`, at 24.
    pub gm_time_base_indicator: u16,
    /// `lastGmPhaseChange`, at 26, 96 bits of 2⁻¹⁶ ns.
    pub last_gm_phase_change_scaled_ns: i128,
    /// `gmPresent`, at 38: another clock is the grandmaster.
    pub gm_present: bool,
    /// `gmIdentity`, at 42.
    pub gm_identity: ClockIdentity,
}

pub(super) fn default_data_set(cursor: &mut Cursor<'_>) -> Result<DefaultDataSet, DecodeError> {
    let flags = cursor.u8("flags")?;
    cursor.skip("reserved", 1)?;
    let number_ports = cursor.u16("numberPorts")?;
    let priority1 = cursor.u8("priority1")?;
    let clock_quality = clock_quality(cursor)?;
    let priority2 = cursor.u8("priority2")?;
    let clock_identity = ClockIdentity(cursor.take("clockIdentity")?);
    let domain_number = cursor.u8("domainNumber")?;
    cursor.skip("reserved", 1)?;
    Ok(DefaultDataSet {
        two_step: flags & 1 != 0,
        slave_only: flags & 2 != 0,
        number_ports,
        priority1,
        clock_quality,
        priority2,
        clock_identity,
        domain_number,
    })
}

pub(super) fn current_data_set(cursor: &mut Cursor<'_>) -> Result<CurrentDataSet, DecodeError> {
    Ok(CurrentDataSet {
        steps_removed: cursor.u16("stepsRemoved")?,
        offset_from_master: time_interval(cursor, "offsetFromMaster")?,
        mean_delay: time_interval(cursor, "meanDelay")?,
    })
}

pub(super) fn parent_data_set(cursor: &mut Cursor<'_>) -> Result<ParentDataSet, DecodeError> {
    let parent_port_identity = port_identity(cursor, "parentPortIdentity")?;
    let flags = cursor.u8("parentStats")?;
    cursor.skip("reserved", 1)?;
    Ok(ParentDataSet {
        parent_port_identity,
        parent_stats: flags & 1 != 0,
        observed_parent_offset_scaled_log_variance: cursor.u16("observedParentOffsetScaledLogVariance")?,
        observed_parent_clock_phase_change_rate: cursor.i32("observedParentClockPhaseChangeRate")?,
        grandmaster_priority1: cursor.u8("grandmasterPriority1")?,
        grandmaster_clock_quality: clock_quality(cursor)?,
        grandmaster_priority2: cursor.u8("grandmasterPriority2")?,
        grandmaster_identity: ClockIdentity(cursor.take("grandmasterIdentity")?),
    })
}

pub(super) fn time_properties_data_set(
    cursor: &mut Cursor<'_>,
) -> Result<TimePropertiesDataSet, DecodeError> {
    Ok(TimePropertiesDataSet {
        current_utc_offset: cursor.i16("currentUtcOffset")?,
        flags: flags(cursor, 0x3F)?,
        time_source: cursor.u8("timeSource")?,
    })
}

pub(super) fn port_data_set(
    cursor: &mut Cursor<'_>,
    notes: &mut Vec<Note>,
) -> Result<PortDataSet, DecodeError> {
    let port_identity = port_identity(cursor, "portIdentity")?;
    let port_state = PortState::from_wire(cursor.u8("portState")?);
    if let PortState::Reserved(code) = port_state {
        notes.push(Note::ReservedValue { field: "portState", value: u64::from(code) });
    }
    let log_min_delay_req_interval = log_interval(cursor, "logMinDelayReqInterval")?;
    let mean_link_delay = time_interval(cursor, "meanLinkDelay")?;
    let log_announce_interval = log_interval(cursor, "logAnnounceInterval")?;
    let announce_receipt_timeout = cursor.u8("announceReceiptTimeout")?;
    let log_sync_interval = log_interval(cursor, "logSyncInterval")?;
    let delay_mechanism = cursor.u8("delayMechanism")?;
    let log_min_pdelay_req_interval = log_interval(cursor, "logMinPdelayReqInterval")?;
    let version = cursor.u8("versionNumber")?;
    Ok(PortDataSet {
        port_identity,
        port_state,
        log_min_delay_req_interval,
        mean_link_delay,
        log_announce_interval,
        announce_receipt_timeout,
        log_sync_interval,
        delay_mechanism,
        log_min_pdelay_req_interval,
        minor_version_number: version >> 4,
        version_number: version & 0x0F,
    })
}

pub(super) fn utc_properties(cursor: &mut Cursor<'_>) -> Result<UtcProperties, DecodeError> {
    let current_utc_offset = cursor.i16("currentUtcOffset")?;
    let flags = flags(cursor, 0x07)?;
    cursor.skip("reserved", 1)?;
    Ok(UtcProperties { current_utc_offset, flags })
}

/// `timeTraceable` and `frequencyTraceable`, bits 4 and 5 at 0 (1588-2008 15.5.3.6.3).
pub(super) fn traceability_properties(cursor: &mut Cursor<'_>) -> Result<Flags, DecodeError> {
    let flags = flags(cursor, 0x30)?;
    cursor.skip("reserved", 1)?;
    Ok(flags)
}

pub(super) fn timescale_properties(cursor: &mut Cursor<'_>) -> Result<TimescaleProperties, DecodeError> {
    let flags = flags(cursor, 0x08)?;
    Ok(TimescaleProperties { ptp_timescale: flags.ptp_timescale(), time_source: cursor.u8("timeSource")? })
}

pub(super) fn version_number(cursor: &mut Cursor<'_>) -> Result<VersionNumber, DecodeError> {
    let version = octet(cursor, "versionNumber")?;
    Ok(VersionNumber { minor_version_number: version >> 4, version_number: version & 0x0F })
}

pub(super) fn time_status_np(cursor: &mut Cursor<'_>) -> Result<TimeStatusNp, DecodeError> {
    Ok(TimeStatusNp {
        master_offset: Nanos(cursor.i64("master_offset")?),
        ingress_time_ns: cursor.i64("ingress_time")?,
        cumulative_scaled_rate_offset: cursor.i32("cumulativeScaledRateOffset")?,
        scaled_last_gm_phase_change: cursor.i32("scaledLastGmPhaseChange")?,
        gm_time_base_indicator: cursor.u16("gmTimeBaseIndicator")?,
        last_gm_phase_change_scaled_ns: scaled_ns(cursor, "lastGmPhaseChange")?,
        gm_present: cursor.i32("gmPresent")? != 0,
        gm_identity: ClockIdentity(cursor.take("gmIdentity")?),
    })
}

/// A `Timestamp`; nanoseconds of 10⁹ and more are noted and kept.
pub(super) fn timestamp(
    cursor: &mut Cursor<'_>,
    field: &'static str,
    notes: &mut Vec<Note>,
) -> Result<Timestamp, DecodeError> {
    let stamp = Timestamp { seconds: cursor.u48(field)?, nanoseconds: cursor.u32(field)? };
    if i64::from(stamp.nanoseconds) >= NANOS_PER_SECOND {
        notes.push(Note::NanosecondsOutOfRange { field });
    }
    Ok(stamp)
}

/// A value of one octet and a reserved one.
pub(super) fn octet(cursor: &mut Cursor<'_>, field: &'static str) -> Result<u8, DecodeError> {
    let value = cursor.u8(field)?;
    cursor.skip("reserved", 1)?;
    Ok(value)
}

/// A `log…Interval` of one octet and a reserved one.
pub(super) fn log_interval_and_pad(
    cursor: &mut Cursor<'_>,
    field: &'static str,
) -> Result<LogInterval, DecodeError> {
    let interval = log_interval(cursor, field)?;
    cursor.skip("reserved", 1)?;
    Ok(interval)
}

fn log_interval(cursor: &mut Cursor<'_>, field: &'static str) -> Result<LogInterval, DecodeError> {
    cursor.i8(field).map(LogInterval)
}

fn time_interval(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Option<TimeInterval>, DecodeError> {
    cursor.i64(field).map(|raw| TimeInterval(raw).known())
}

fn port_identity(cursor: &mut Cursor<'_>, field: &'static str) -> Result<PortIdentity, DecodeError> {
    Ok(PortIdentity { clock_identity: ClockIdentity(cursor.take(field)?), port_number: cursor.u16(field)? })
}

fn clock_quality(cursor: &mut Cursor<'_>) -> Result<ClockQuality, DecodeError> {
    Ok(ClockQuality {
        clock_class: cursor.u8("clockClass")?,
        clock_accuracy: cursor.u8("clockAccuracy")?,
        offset_scaled_log_variance: cursor.u16("offsetScaledLogVariance")?,
    })
}

/// One octet of flags, cut to the ones that its layout has.
fn flags(cursor: &mut Cursor<'_>, mask: u8) -> Result<Flags, DecodeError> {
    cursor.u8("flags").map(|octet| Flags(u16::from(octet & mask)))
}

/// A `ScaledNs`: 96 bits, signed.
fn scaled_ns(cursor: &mut Cursor<'_>, field: &'static str) -> Result<i128, DecodeError> {
    let high = cursor.i64(field)?;
    let low = cursor.u32(field)?;
    Ok((i128::from(high) << 32) | i128::from(low))
}
