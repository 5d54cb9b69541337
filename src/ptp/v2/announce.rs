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

#[cfg(test)]
mod tests {
    use super::*;

    /// Frame 22 of tcpdump's public test capture `ptp_ethernet.pcap`, octets 34 to 63 of the message.
    const ANNOUNCE: [u8; 30] = [
        0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xAC, 0x00, 0xF8, 0x30, 0xFF, 0xFF, 0x80, 0x00, 0x00, 0x06, 0xFF,
        0xFF, 0x01, 0x00, 0x00, 0x00, 0x01, 0x50,
    ];

    fn decode(octets: &[u8]) -> Result<(Announce, Vec<Note>), DecodeError> {
        let mut notes = Vec::new();
        let announce = Announce::decode(&mut Cursor::new(octets), &mut notes)?;
        Ok((announce, notes))
    }

    fn expected() -> Announce {
        Announce {
            origin_timestamp: Timestamp::default(),
            current_utc_offset: 0,
            grandmaster_priority1: 0,
            grandmaster_clock_quality: ClockQuality {
                clock_class: 248,
                clock_accuracy: 0x30,
                offset_scaled_log_variance: 0xFFFF,
            },
            grandmaster_priority2: 128,
            grandmaster_identity: ClockIdentity([0, 0, 0x06, 0xFF, 0xFF, 0x01, 0, 0]),
            steps_removed: 1,
            time_source: 0x50,
        }
    }

    #[test]
    fn a_real_announce_is_read_field_by_field() {
        assert_eq!(decode(&ANNOUNCE), Ok((expected(), vec![])));
    }

    #[test]
    fn every_shorter_announce_says_where_it_ends() {
        for length in 0..ANNOUNCE.len() {
            let Err(DecodeError::Short { offset, needed, .. }) = decode(&ANNOUNCE[..length]) else {
                panic!("{length}")
            };
            assert!(offset <= length && length < offset + needed, "cut at {length}");
        }
    }

    #[test]
    fn the_reserved_octet_changes_nothing() {
        for reserved in [0x00, 0x5E, 0xFF] {
            let mut octets = ANNOUNCE;
            octets[12] = reserved;
            assert_eq!(decode(&octets), Ok((expected(), vec![])));
        }
    }

    #[test]
    fn every_octet_but_the_reserved_one_counts() {
        for at in (0..ANNOUNCE.len()).filter(|at| *at != 12) {
            for bit in 0..8 {
                let mut octets = ANNOUNCE;
                octets[at] ^= 1 << bit;
                let (announce, _) = decode(&octets).unwrap();
                assert_ne!(announce, expected(), "octet {at} bit {bit}");
            }
        }
    }

    #[test]
    fn a_negative_utc_offset_and_late_nanoseconds_are_kept() {
        let mut octets = ANNOUNCE;
        octets[6..12].copy_from_slice(&[0x3B, 0x9A, 0xCA, 0x00, 0xFF, 0xDB]);
        let (announce, notes) = decode(&octets).unwrap();
        assert_eq!(announce.current_utc_offset, -37);
        assert_eq!(announce.origin_timestamp.nanoseconds, 1_000_000_000);
        assert_eq!(notes, [Note::NanosecondsOutOfRange { field: "originTimestamp" }]);
    }
}
