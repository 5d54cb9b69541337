//! What a clock offers to the election: the v2 and the v1 data set with the way to it.

use super::key::ClockId;
use super::key::PortId;
use crate::ptp::v1;
use crate::ptp::v2;

/// The grandmaster's data that a v2 Announce carries, in the order of comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DataSetV2 {
    /// `grandmasterPriority1`.
    pub priority1: u8,
    /// `grandmasterClockQuality.clockClass`.
    pub clock_class: u8,
    /// `grandmasterClockQuality.clockAccuracy`.
    pub clock_accuracy: u8,
    /// `grandmasterClockQuality.offsetScaledLogVariance`.
    pub variance: u16,
    /// `grandmasterPriority2`.
    pub priority2: u8,
}

/// The grandmaster's data that a v1 Sync carries, in the order of comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DataSetV1 {
    /// `grandmasterPreferred`.
    pub preferred: bool,
    /// `grandmasterClockStratum`.
    pub stratum: u8,
    /// `grandmasterClockIdentifier`.
    pub identifier: [u8; 4],
    /// `grandmasterClockVariance`.
    pub variance: i16,
    /// `grandmasterIsBoundaryClock`.
    pub is_boundary_clock: bool,
    /// `grandmasterPortId`.
    pub grandmaster_port: u16,
    /// `grandmasterSequenceId`.
    pub grandmaster_sequence_id: u16,
    /// `sequenceId` of the Sync.
    pub sequence_id: u16,
}

/// The data set of either version.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DataSet {
    /// From a v1 Sync.
    V1(DataSetV1),
    /// From a v2 Announce.
    V2(DataSetV2),
}

/// One offer: a grandmaster, its data, and the way to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Candidate {
    /// The grandmaster that is offered.
    pub grandmaster: ClockId,
    /// Its data.
    pub data: DataSet,
    /// `stepsRemoved` (v1 `localStepsRemoved`).
    pub steps_removed: u16,
    /// Who said so.
    pub sender: PortId,
}

impl Candidate {
    /// The offer of a v2 Announce.
    #[must_use]
    pub fn from_announce(header: &v2::Header, announce: &v2::Announce) -> Self {
        let quality = announce.grandmaster_clock_quality;
        Self {
            grandmaster: ClockId::V2(announce.grandmaster_identity),
            data: DataSet::V2(DataSetV2 {
                priority1: announce.grandmaster_priority1,
                clock_class: quality.clock_class,
                clock_accuracy: quality.clock_accuracy,
                variance: quality.offset_scaled_log_variance,
                priority2: announce.grandmaster_priority2,
            }),
            steps_removed: announce.steps_removed,
            sender: header.source_port_identity.into(),
        }
    }

    /// The offer of a v1 Sync.
    #[must_use]
    pub fn from_v1_sync(header: &v1::Header, sync: &v1::SyncOrDelayReq) -> Self {
        Self {
            grandmaster: ClockId::V1(sync.grandmaster.uuid),
            data: DataSet::V1(DataSetV1 {
                preferred: sync.grandmaster_preferred,
                stratum: sync.grandmaster_clock_stratum,
                identifier: sync.grandmaster_clock_identifier,
                variance: sync.grandmaster_clock_variance,
                is_boundary_clock: sync.grandmaster_is_boundary_clock,
                grandmaster_port: sync.grandmaster.port_id,
                grandmaster_sequence_id: sync.grandmaster_sequence_id,
                sequence_id: header.sequence_id,
            }),
            steps_removed: sync.local_steps_removed,
            sender: header.source.into(),
        }
    }

    /// Whether it is a telecom clock with a reference: `priority1` is always 128 and `clockClass` at most 127 there
    /// (G.8275.1, G.8275.2; from memory).
    #[must_use]
    pub const fn is_telecom_reference(&self) -> bool {
        matches!(self.data, DataSet::V2(DataSetV2 { priority1: 128, clock_class: 0..=127, .. }))
    }

    /// Whether the election data (not the way, not the counters) equal `other`'s.
    #[must_use]
    pub fn same_quality(&self, other: &Self) -> bool {
        match (self.data, other.data) {
            (DataSet::V2(a), DataSet::V2(b)) => a == b,
            (DataSet::V1(a), DataSet::V1(b)) => {
                DataSetV1 { grandmaster_sequence_id: 0, sequence_id: 0, ..a }
                    == DataSetV1 { grandmaster_sequence_id: 0, sequence_id: 0, ..b }
            }
            _ => false,
        }
    }
}
