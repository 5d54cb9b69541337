//! A whole v1 message.

use std::fmt;

use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::units::LogInterval;
use crate::units::MacAddress;
use crate::units::Timestamp;

/// A v1 port: `sourceUuid` and `sourcePortId`, shown as `02:00:5e:10:00:01/1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct PortUuid {
    /// `Uuid`, the MAC address on Ethernet.
    pub uuid: MacAddress,
    /// `PortId`, from 1.
    pub port_id: u16,
}

impl fmt::Display for PortUuid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.uuid, self.port_id)
    }
}

/// The common header, 40 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Header {
    /// `versionNetwork`.
    pub version_network: u16,
    /// `subdomain`, 16 octets, NUL padded.
    pub subdomain: [u8; 16],
    /// `messageType`: 1 event, 2 general.
    pub message_type: u8,
    /// `sourceCommunicationTechnology`.
    pub source_communication_technology: u8,
    /// `sourceUuid` and `sourcePortId`.
    pub source: PortUuid,
    /// `sequenceId`.
    pub sequence_id: u16,
    /// `control`, which decides the type.
    pub control: u8,
    /// `flags`.
    pub flags: u16,
}

/// A message: header, body, and what was odd.
#[derive(Debug, Clone, PartialEq)]
pub struct Message {
    /// The common header.
    pub header: Header,
    /// The body that `control` names.
    pub body: Body,
    /// What was odd.
    pub notes: Vec<Note>,
    /// Octets after the message.
    pub suffix_octets: usize,
}

/// The body of each type.
#[derive(Debug, Clone, PartialEq)]
pub enum Body {
    /// `control` 0.
    Sync(Box<SyncOrDelayReq>),
    /// `control` 1, laid out as Sync.
    DelayReq(Box<SyncOrDelayReq>),
    /// `control` 2.
    FollowUp(FollowUp),
    /// `control` 3.
    DelayResp(DelayResp),
    /// `control` 5 and above: nothing is decoded.
    Reserved,
}

/// Sync and Delay_Req, 124 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SyncOrDelayReq {
    /// `originTimestamp`; `None` where its sign bit is set (before the epoch).
    pub origin_timestamp: Option<Timestamp>,
    /// `epochNumber`.
    pub epoch_number: u16,
    /// `currentUTCOffset`, s.
    pub current_utc_offset: i16,
    /// `grandmasterCommunicationTechnology`.
    pub grandmaster_communication_technology: u8,
    /// `grandmasterClockUuid` and `grandmasterPortId`.
    pub grandmaster: PortUuid,
    /// `grandmasterSequenceId`.
    pub grandmaster_sequence_id: u16,
    /// `grandmasterClockStratum`.
    pub grandmaster_clock_stratum: u8,
    /// `grandmasterClockIdentifier`, 4 characters.
    pub grandmaster_clock_identifier: [u8; 4],
    /// `grandmasterClockVariance`, scaled log variance.
    pub grandmaster_clock_variance: i16,
    /// `grandmasterPreferred`.
    pub grandmaster_preferred: bool,
    /// `grandmasterIsBoundaryClock`.
    pub grandmaster_is_boundary_clock: bool,
    /// `syncInterval`.
    pub sync_interval: LogInterval,
    /// `localClockVariance`.
    pub local_clock_variance: i16,
    /// `localStepsRemoved`.
    pub local_steps_removed: u16,
    /// `localClockStratum`.
    pub local_clock_stratum: u8,
    /// `localClockIdentifier`, 4 characters.
    pub local_clock_identifier: [u8; 4],
    /// `parentCommunicationTechnology`.
    pub parent_communication_technology: u8,
    /// `parentUuid` and `parentPortField`.
    pub parent: PortUuid,
    /// `estimatedMasterVariance`.
    pub estimated_master_variance: i16,
    /// `estimatedMasterDrift`.
    pub estimated_master_drift: i32,
    /// `utcReasonable`.
    pub utc_reasonable: bool,
}

/// Follow_Up, 52 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FollowUp {
    /// `associatedSequenceId`.
    pub associated_sequence_id: u16,
    /// `preciseOriginTimestamp`; `None` where its sign bit is set.
    pub precise_origin_timestamp: Option<Timestamp>,
}

/// Delay_Resp, 60 octets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DelayResp {
    /// `delayReceiptTimestamp`; `None` where its sign bit is set.
    pub delay_receipt_timestamp: Option<Timestamp>,
    /// `requestingSourceCommunicationTechnology`.
    pub requesting_source_communication_technology: u8,
    /// `requestingSourceUuid` and `requestingSourcePortId`.
    pub requesting_source: PortUuid,
    /// `requestingSourceSequenceId`.
    pub requesting_source_sequence_id: u16,
}

pub(super) fn decode(_octets: &[u8]) -> Result<Message, DecodeError> {
    Err(DecodeError::Value { field: "control", offset: 32, value: 0, rule: "not decoded yet" })
}
