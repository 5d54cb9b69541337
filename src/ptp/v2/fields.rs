//! Fields that several messages and TLVs share.

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::ClockIdentity;
use crate::ptp::Note;
use crate::ptp::PortIdentity;
use crate::units::NANOS_PER_SECOND;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// Eight octets of `clockIdentity`.
pub(super) fn clock_identity(
    cursor: &mut Cursor<'_>,
    field: &'static str,
) -> Result<ClockIdentity, DecodeError> {
    cursor.take(field).map(ClockIdentity)
}

/// Ten octets: `clockIdentity`, `portNumber`.
pub(super) fn port_identity(
    cursor: &mut Cursor<'_>,
    field: &'static str,
) -> Result<PortIdentity, DecodeError> {
    Ok(PortIdentity { clock_identity: clock_identity(cursor, field)?, port_number: cursor.u16(field)? })
}

/// Ten octets: 48 bits of seconds and 32 of nanoseconds, kept also where the latter are 10⁹ or more.
pub(super) fn timestamp(
    cursor: &mut Cursor<'_>,
    field: &'static str,
    notes: &mut Vec<Note>,
) -> Result<Timestamp, DecodeError> {
    let timestamp = Timestamp { seconds: cursor.u48(field)?, nanoseconds: cursor.u32(field)? };
    if i64::from(timestamp.nanoseconds) >= NANOS_PER_SECOND {
        notes.push(Note::NanosecondsOutOfRange { field });
    }
    Ok(timestamp)
}

/// Eight octets of `TimeInterval`.
pub(super) fn time_interval(
    cursor: &mut Cursor<'_>,
    field: &'static str,
) -> Result<TimeInterval, DecodeError> {
    cursor.i64(field).map(TimeInterval)
}
