//! Pieces that several v1 messages share.

use super::message::PortUuid;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::units::MacAddress;
use crate::units::NANOS_PER_SECOND;
use crate::units::Nanos;
use crate::units::Timestamp;

const SIGN_BIT: u32 = 0x8000_0000;

/// The two parts of a `TimeRepresentation` and the sign of the whole.
struct TimeRepresentation {
    negative: bool,
    seconds: u32,
    nanoseconds: u32,
}

/// Seconds, then nanoseconds whose top bit is the sign of the whole time and the rest a magnitude
/// (1588-2002 5.2.2, from memory).
fn time_representation(
    cursor: &mut Cursor<'_>,
    field: &'static str,
    notes: &mut Vec<Note>,
) -> Result<TimeRepresentation, DecodeError> {
    let seconds = cursor.u32(field)?;
    let raw = cursor.u32(field)?;
    let nanoseconds = raw & !SIGN_BIT;
    if i64::from(nanoseconds) >= NANOS_PER_SECOND {
        notes.push(Note::NanosecondsOutOfRange { field });
    }
    Ok(TimeRepresentation { negative: raw & SIGN_BIT != 0, seconds, nanoseconds })
}

/// An instant; one before the epoch is noted and `None`.
pub(super) fn timestamp(
    cursor: &mut Cursor<'_>,
    field: &'static str,
    notes: &mut Vec<Note>,
) -> Result<Option<Timestamp>, DecodeError> {
    let time = time_representation(cursor, field, notes)?;
    if time.negative {
        notes.push(Note::NegativeTime { field });
        return Ok(None);
    }
    Ok(Some(Timestamp { seconds: u64::from(time.seconds), nanoseconds: time.nanoseconds }))
}

/// A signed difference of two instants; 32 bits of seconds always fit.
pub(super) fn difference(
    cursor: &mut Cursor<'_>,
    field: &'static str,
    notes: &mut Vec<Note>,
) -> Result<Nanos, DecodeError> {
    let time = time_representation(cursor, field, notes)?;
    let magnitude =
        Nanos::from_seconds(i64::from(time.seconds)).saturating_add(Nanos(i64::from(time.nanoseconds)));
    Ok(if time.negative { -magnitude } else { magnitude })
}

/// A UUID with, after `gap` reserved octets, its port.
pub(super) fn port(
    cursor: &mut Cursor<'_>,
    uuid: &'static str,
    gap: usize,
    port_id: &'static str,
) -> Result<PortUuid, DecodeError> {
    let uuid = MacAddress(cursor.take(uuid)?);
    cursor.skip("reserved", gap)?;
    Ok(PortUuid { uuid, port_id: cursor.u16(port_id)? })
}

/// After `gap` reserved octets, an octet that is a truth value: anything but 0 is true.
pub(super) fn boolean(cursor: &mut Cursor<'_>, gap: usize, field: &'static str) -> Result<bool, DecodeError> {
    cursor.skip("reserved", gap)?;
    cursor.u8(field).map(|octet| octet != 0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_top_bit_of_the_nanoseconds_is_the_sign_of_the_whole() {
        let mut notes = Vec::new();
        let minus_two_and_a_bit = [0, 0, 0, 2, 0x80, 0, 0, 7];
        let mut cursor = Cursor::new(&minus_two_and_a_bit);
        assert_eq!(difference(&mut cursor, "offsetFromMaster", &mut notes), Ok(Nanos(-2_000_000_007)));
        assert_eq!(notes, []);
        let mut cursor = Cursor::new(&minus_two_and_a_bit);
        assert_eq!(timestamp(&mut cursor, "originTimestamp", &mut notes), Ok(None));
        assert_eq!(notes, [Note::NegativeTime { field: "originTimestamp" }]);
    }

    #[test]
    fn a_second_of_nanoseconds_is_noted_and_kept() {
        let mut notes = Vec::new();
        let octets = [0, 0, 0, 1, 0x3B, 0x9A, 0xCA, 0x00];
        let stamp = timestamp(&mut Cursor::new(&octets), "originTimestamp", &mut notes).unwrap();
        assert_eq!(stamp, Some(Timestamp { seconds: 1, nanoseconds: 1_000_000_000 }));
        assert_eq!(notes, [Note::NanosecondsOutOfRange { field: "originTimestamp" }]);
    }

    #[test]
    fn the_widest_difference_fits() {
        let mut notes = Vec::new();
        let widest = difference(&mut Cursor::new(&[0xFF; 8]), "oneWayDelay", &mut notes).unwrap();
        assert_eq!(widest, Nanos(-(4_294_967_295 * 1_000_000_000 + 0x7FFF_FFFF)));
    }
}
