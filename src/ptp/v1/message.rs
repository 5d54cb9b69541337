//! A whole v1 message.

use std::fmt;

use super::flags::Flags;
use super::management;
use super::management::Management;
use super::wire;
use crate::bytes::Cursor;
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
    /// `flags`; their meanings are [`Header::flags`].
    pub flags: u16,
}

impl Header {
    /// `flags` with a method for each bit.
    #[must_use]
    pub const fn flags(&self) -> Flags {
        Flags(self.flags)
    }
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
    /// `control` 4.
    Management(Management),
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

/// Decodes one message: the header, then the body that `control` names.
pub(super) fn decode(octets: &[u8]) -> Result<Message, DecodeError> {
    let mut notes = Vec::new();
    let mut cursor = Cursor::new(octets);
    let header = decode_header(&mut cursor, &mut notes)?;
    let body = match header.control {
        0 => Body::Sync(Box::new(decode_sync_or_delay_req(&mut cursor, &mut notes)?)),
        1 => Body::DelayReq(Box::new(decode_sync_or_delay_req(&mut cursor, &mut notes)?)),
        2 => Body::FollowUp(decode_follow_up(&mut cursor, &mut notes)?),
        3 => Body::DelayResp(decode_delay_resp(&mut cursor, &mut notes)?),
        4 => Body::Management(management::decode(&mut cursor, &mut notes)?),
        other => {
            notes.push(Note::ReservedValue { field: "control", value: u64::from(other) });
            Body::Reserved
        }
    };
    let class = match body {
        Body::Sync(_) | Body::DelayReq(_) => Some(EVENT),
        Body::FollowUp(_) | Body::DelayResp(_) | Body::Management(_) => Some(GENERAL),
        Body::Reserved => None,
    };
    if class.is_some_and(|class| class != header.message_type) {
        notes.push(Note::ClassMismatch);
    }
    Ok(Message { header, body, notes, suffix_octets: cursor.rest().len() })
}

/// `messageType` of Sync and Delay_Req.
const EVENT: u8 = 1;
/// `messageType` of the other types.
const GENERAL: u8 = 2;

fn decode_header(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Header, DecodeError> {
    let version_ptp = cursor.u16("versionPTP")?;
    if version_ptp != 1 {
        notes.push(Note::ReservedValue { field: "versionPTP", value: u64::from(version_ptp) });
    }
    let version_network = cursor.u16("versionNetwork")?;
    let subdomain = cursor.take("subdomain")?;
    let message_type = cursor.u8("messageType")?;
    let source_communication_technology = cursor.u8("sourceCommunicationTechnology")?;
    let source = wire::port(cursor, "sourceUuid", 0, "sourcePortId")?;
    let sequence_id = cursor.u16("sequenceId")?;
    let control = cursor.u8("control")?;
    cursor.skip("reserved", 1)?;
    let flags = cursor.u16("flags")?;
    cursor.skip("reserved", 4)?;
    Ok(Header {
        version_network,
        subdomain,
        message_type,
        source_communication_technology,
        source,
        sequence_id,
        control,
        flags,
    })
}

fn decode_sync_or_delay_req(
    cursor: &mut Cursor<'_>,
    notes: &mut Vec<Note>,
) -> Result<SyncOrDelayReq, DecodeError> {
    let origin_timestamp = wire::timestamp(cursor, "originTimestamp", notes)?;
    let epoch_number = cursor.u16("epochNumber")?;
    let current_utc_offset = cursor.i16("currentUTCOffset")?;
    cursor.skip("reserved", 1)?;
    let grandmaster_communication_technology = cursor.u8("grandmasterCommunicationTechnology")?;
    let grandmaster = wire::port(cursor, "grandmasterClockUuid", 0, "grandmasterPortId")?;
    let grandmaster_sequence_id = cursor.u16("grandmasterSequenceId")?;
    cursor.skip("reserved", 3)?;
    let grandmaster_clock_stratum = cursor.u8("grandmasterClockStratum")?;
    let grandmaster_clock_identifier = cursor.take("grandmasterClockIdentifier")?;
    cursor.skip("reserved", 2)?;
    let grandmaster_clock_variance = cursor.i16("grandmasterClockVariance")?;
    let grandmaster_preferred = wire::boolean(cursor, 1, "grandmasterPreferred")?;
    let grandmaster_is_boundary_clock = wire::boolean(cursor, 1, "grandmasterIsBoundaryClock")?;
    cursor.skip("reserved", 3)?;
    let sync_interval = LogInterval(cursor.i8("syncInterval")?);
    cursor.skip("reserved", 2)?;
    let local_clock_variance = cursor.i16("localClockVariance")?;
    cursor.skip("reserved", 2)?;
    let local_steps_removed = cursor.u16("localStepsRemoved")?;
    cursor.skip("reserved", 3)?;
    let local_clock_stratum = cursor.u8("localClockStratum")?;
    let local_clock_identifier = cursor.take("localClockIdentifier")?;
    cursor.skip("reserved", 1)?;
    let parent_communication_technology = cursor.u8("parentCommunicationTechnology")?;
    let parent = wire::port(cursor, "parentUuid", 2, "parentPortField")?;
    cursor.skip("reserved", 2)?;
    let estimated_master_variance = cursor.i16("estimatedMasterVariance")?;
    let estimated_master_drift = cursor.i32("estimatedMasterDrift")?;
    let utc_reasonable = wire::boolean(cursor, 3, "utcReasonable")?;
    Ok(SyncOrDelayReq {
        origin_timestamp,
        epoch_number,
        current_utc_offset,
        grandmaster_communication_technology,
        grandmaster,
        grandmaster_sequence_id,
        grandmaster_clock_stratum,
        grandmaster_clock_identifier,
        grandmaster_clock_variance,
        grandmaster_preferred,
        grandmaster_is_boundary_clock,
        sync_interval,
        local_clock_variance,
        local_steps_removed,
        local_clock_stratum,
        local_clock_identifier,
        parent_communication_technology,
        parent,
        estimated_master_variance,
        estimated_master_drift,
        utc_reasonable,
    })
}

fn decode_follow_up(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<FollowUp, DecodeError> {
    cursor.skip("reserved", 2)?;
    Ok(FollowUp {
        associated_sequence_id: cursor.u16("associatedSequenceId")?,
        precise_origin_timestamp: wire::timestamp(cursor, "preciseOriginTimestamp", notes)?,
    })
}

fn decode_delay_resp(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<DelayResp, DecodeError> {
    let delay_receipt_timestamp = wire::timestamp(cursor, "delayReceiptTimestamp", notes)?;
    cursor.skip("reserved", 1)?;
    Ok(DelayResp {
        delay_receipt_timestamp,
        requesting_source_communication_technology: cursor.u8("requestingSourceCommunicationTechnology")?,
        requesting_source: wire::port(cursor, "requestingSourceUuid", 0, "requestingSourcePortId")?,
        requesting_source_sequence_id: cursor.u16("requestingSourceSequenceId")?,
    })
}
