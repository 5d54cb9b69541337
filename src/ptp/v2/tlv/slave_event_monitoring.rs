//! What a follower tells of its own reception (1588-2019 16.11, from memory; SLAVE_RX_SYNC_TIMING_DATA checked against
//! an open-source implementation, flags of SLAVE_RX_SYNC_COMPUTED_DATA seen in public source, its order from memory).

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::ptp::PortIdentity;
use crate::ptp::v2::fields;
use crate::units::TimeInterval;
use crate::units::Timestamp;

/// SLAVE_RX_SYNC_TIMING_DATA: what a follower received.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlaveRxSyncTimingData {
    /// `sourcePortIdentity` of the Syncs.
    pub source_port_identity: PortIdentity,
    /// One per Sync.
    pub records: Vec<SyncTimingRecord>,
}

/// One Sync as a follower received it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SyncTimingRecord {
    /// `sequenceId`.
    pub sequence_id: u16,
    /// `syncOriginTimestamp`.
    pub sync_origin_timestamp: Timestamp,
    /// `totalCorrectionField`.
    pub total_correction_field: TimeInterval,
    /// `scaledCumulativeRateOffset`: (rate ratio − 1) · 2⁴¹.
    pub scaled_cumulative_rate_offset: i32,
    /// `syncEventIngressTimestamp`, the follower's clock.
    pub sync_event_ingress_timestamp: Timestamp,
}

/// SLAVE_RX_SYNC_COMPUTED_DATA: the follower's own claim of its offset, not a measurement of the capture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SlaveRxSyncComputedData {
    /// `sourcePortIdentity` of the Syncs.
    pub source_port_identity: PortIdentity,
    /// `computedFlags`: bit 0 `scaledNeighborRateRatio` valid, bit 1 `meanPathDelay` valid, bit 2
    /// `offsetFromMaster` valid.
    pub computed_flags: u8,
    /// One per Sync.
    pub records: Vec<SyncComputedRecord>,
}

/// What a follower computed from one Sync.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SyncComputedRecord {
    /// `sequenceId`.
    pub sequence_id: u16,
    /// `offsetFromMaster`.
    pub offset_from_master: TimeInterval,
    /// `meanPathDelay`.
    pub mean_path_delay: TimeInterval,
    /// `scaledNeighborRateRatio`: (rate ratio − 1) · 2⁴¹.
    pub scaled_neighbor_rate_ratio: i32,
}

impl SlaveRxSyncTimingData {
    /// Offset 0 `sourcePortIdentity`, 10 records of 34 octets.
    pub(super) fn decode(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Self, DecodeError> {
        let source_port_identity = fields::port_identity(cursor, "sourcePortIdentity")?;
        let mut records = Vec::new();
        while cursor.rest().len() >= SyncTimingRecord::OCTETS {
            records.push(SyncTimingRecord::decode(cursor, notes)?);
        }
        Ok(Self { source_port_identity, records })
    }
}

impl SyncTimingRecord {
    const OCTETS: usize = 34;

    fn decode(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Self, DecodeError> {
        Ok(Self {
            sequence_id: cursor.u16("sequenceId")?,
            sync_origin_timestamp: fields::timestamp(cursor, "syncOriginTimestamp", notes)?,
            total_correction_field: fields::time_interval(cursor, "totalCorrectionField")?,
            scaled_cumulative_rate_offset: cursor.i32("scaledCumulativeRateOffset")?,
            sync_event_ingress_timestamp: fields::timestamp(cursor, "syncEventIngressTimestamp", notes)?,
        })
    }
}

impl SlaveRxSyncComputedData {
    /// Offset 0 `sourcePortIdentity`, 10 `computedFlags`, 11 reserved, 12 records of 22 octets.
    pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        let source_port_identity = fields::port_identity(cursor, "sourcePortIdentity")?;
        let computed_flags = cursor.u8("computedFlags")?;
        cursor.skip("reserved", 1)?;
        let mut records = Vec::new();
        while cursor.rest().len() >= SyncComputedRecord::OCTETS {
            records.push(SyncComputedRecord::decode(cursor)?);
        }
        Ok(Self { source_port_identity, computed_flags, records })
    }

    /// Whether the sender vouches for `offsetFromMaster`.
    #[must_use]
    pub const fn is_offset_from_master_valid(&self) -> bool {
        self.computed_flags & 0x04 != 0
    }

    /// Whether the sender vouches for `meanPathDelay`.
    #[must_use]
    pub const fn is_mean_path_delay_valid(&self) -> bool {
        self.computed_flags & 0x02 != 0
    }

    /// Whether the sender vouches for `scaledNeighborRateRatio`.
    #[must_use]
    pub const fn is_scaled_neighbor_rate_ratio_valid(&self) -> bool {
        self.computed_flags & 0x01 != 0
    }
}

impl SyncComputedRecord {
    const OCTETS: usize = 22;

    fn decode(cursor: &mut Cursor<'_>) -> Result<Self, DecodeError> {
        Ok(Self {
            sequence_id: cursor.u16("sequenceId")?,
            offset_from_master: fields::time_interval(cursor, "offsetFromMaster")?,
            mean_path_delay: fields::time_interval(cursor, "meanPathDelay")?,
            scaled_neighbor_rate_ratio: cursor.i32("scaledNeighborRateRatio")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::Tlv;
    use super::super::testing;
    use super::super::types;
    use super::*;
    use crate::ptp::ClockIdentity;

    const SOURCE: &str = "02005efffe100001 0002";

    fn source() -> PortIdentity {
        let clock_identity = ClockIdentity([0x02, 0, 0x5E, 0xFF, 0xFE, 0x10, 0, 1]);
        PortIdentity { clock_identity, port_number: 2 }
    }

    #[test]
    fn timing_data_holds_a_record_for_each_sync() {
        let record = "0102 000000000001 00000002 fffffffffffe0000 fffffffd 000000000004 00000005";
        let expected = SyncTimingRecord {
            sequence_id: 0x0102,
            sync_origin_timestamp: Timestamp { seconds: 1, nanoseconds: 2 },
            total_correction_field: TimeInterval(-0x2_0000),
            scaled_cumulative_rate_offset: -3,
            sync_event_ingress_timestamp: Timestamp { seconds: 4, nanoseconds: 5 },
        };
        let tlv_type = types::SLAVE_RX_SYNC_TIMING_DATA;
        let value = testing::octets(&format!("{SOURCE} {record} {record}"));
        assert_eq!(value.len(), 10 + 2 * 34);
        let (tlv, notes) = testing::decode(tlv_type, &value);
        let records = vec![expected, expected];
        let data = SlaveRxSyncTimingData { source_port_identity: source(), records };
        assert_eq!(tlv, Tlv::SlaveRxSyncTimingData(data));
        assert_eq!(notes, []);
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value[..10]);
    }

    #[test]
    fn a_record_without_its_end_is_not_made_up() {
        let record = "0102 000000000001 00000002 0000000000000000 00000000 000000000004 00000005";
        let value = testing::octets(&format!("{SOURCE} {record} {record}"));
        let (tlv, notes) = testing::decode(types::SLAVE_RX_SYNC_TIMING_DATA, &value[..10 + 34 + 32]);
        let Tlv::SlaveRxSyncTimingData(data) = tlv else { panic!("{tlv:?}") };
        assert_eq!(data.records.len(), 1);
        let tlv_type = types::SLAVE_RX_SYNC_TIMING_DATA;
        assert_eq!(notes, [Note::TlvExtended { tlv_type, extra_octets: 32 }]);
    }

    #[test]
    fn nanoseconds_beyond_a_second_in_a_record_are_kept_and_noted() {
        let record = "0102 000000000001 3b9aca00 0000000000000000 00000000 000000000004 00000005";
        let value = testing::octets(&format!("{SOURCE} {record}"));
        let (tlv, notes) = testing::decode(types::SLAVE_RX_SYNC_TIMING_DATA, &value);
        let Tlv::SlaveRxSyncTimingData(data) = tlv else { panic!("{tlv:?}") };
        assert_eq!(data.records[0].sync_origin_timestamp.nanoseconds, 1_000_000_000);
        assert_eq!(notes, [Note::NanosecondsOutOfRange { field: "syncOriginTimestamp" }]);
    }

    #[test]
    fn computed_data_says_which_of_its_numbers_to_believe() {
        let record = "0102 fffffffffffe0000 0000000000030000 00000004";
        let expected = SyncComputedRecord {
            sequence_id: 0x0102,
            offset_from_master: TimeInterval(-0x2_0000),
            mean_path_delay: TimeInterval(0x3_0000),
            scaled_neighbor_rate_ratio: 4,
        };
        let tlv_type = types::SLAVE_RX_SYNC_COMPUTED_DATA;
        let value = testing::octets(&format!("{SOURCE} 06 ff {record} {record}"));
        assert_eq!(value.len(), 12 + 2 * 22);
        let (tlv, notes) = testing::decode(tlv_type, &value);
        assert_eq!(notes, []);
        let Tlv::SlaveRxSyncComputedData(data) = tlv else { panic!("{tlv:?}") };
        assert_eq!(data.source_port_identity, source());
        assert_eq!(data.records, [expected, expected]);
        assert!(data.is_offset_from_master_valid() && data.is_mean_path_delay_valid());
        assert!(!data.is_scaled_neighbor_rate_ratio_valid());
        testing::assert_a_longer_value_is_noted(tlv_type, &value);
        testing::assert_every_shorter_value_is_kept_as_type_and_length(tlv_type, &value[..12]);
    }
}
