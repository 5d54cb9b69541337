//! What the MANAGEMENT and MANAGEMENT_ERROR_STATUS TLVs say (1588-2008 clause 15, from memory).
//!
//! A value that does not fit its layout is kept as identifier and length and noted; nothing here fails.

mod clock_description;
mod data_sets;
mod error_status;
mod names;
mod port_state;
mod text;

pub use clock_description::{ClockDescription, ClockType, network_protocol_name};
pub use data_sets::{
    CurrentDataSet, DefaultDataSet, ParentDataSet, PortDataSet, TimePropertiesDataSet, TimeStatusNp,
    TimescaleProperties, UtcProperties, VersionNumber,
};
pub use error_status::{ErrorStatus, decode_error_status};
pub use names::{management_error_name, management_name};
pub use port_state::PortState;
pub use text::PtpText;

use super::Flags;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::units::LogInterval;
use crate::units::Timestamp;

/// `tlvType` of MANAGEMENT.
const MANAGEMENT: u16 = 0x0001;

/// `actionField` GET: asks; the body is empty or filled with zeros, never data.
pub const GET: u8 = 0;
/// `actionField` SET: carries new values.
pub const SET: u8 = 1;
/// `actionField` RESPONSE: carries a device's values.
pub const RESPONSE: u8 = 2;
/// `actionField` COMMAND.
pub const COMMAND: u8 = 3;
/// `actionField` ACKNOWLEDGE.
pub const ACKNOWLEDGE: u8 = 4;

/// A MANAGEMENT TLV.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ManagementTlv {
    /// `managementId`, or `None` where the value ends inside it; its name is [`management_name`].
    pub management_id: Option<u16>,
    /// The data field.
    pub data: ManagementData,
    /// `lengthField`: octets of identifier and data field.
    pub length: usize,
}

/// The data field of a SET or RESPONSE.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ManagementData {
    /// A GET, COMMAND or ACKNOWLEDGE, or a reserved action: what follows the identifier is no data set.
    NotData,
    /// An identifier whose layout is not known here, or a value too short for it.
    Undecoded,
    /// CLOCK_DESCRIPTION.
    ClockDescription(Box<ClockDescription>),
    /// USER_DESCRIPTION.
    UserDescription(PtpText),
    /// DEFAULT_DATA_SET.
    DefaultDataSet(DefaultDataSet),
    /// CURRENT_DATA_SET.
    CurrentDataSet(CurrentDataSet),
    /// PARENT_DATA_SET.
    ParentDataSet(ParentDataSet),
    /// TIME_PROPERTIES_DATA_SET.
    TimePropertiesDataSet(TimePropertiesDataSet),
    /// PORT_DATA_SET.
    PortDataSet(PortDataSet),
    /// PRIORITY1.
    Priority1(u8),
    /// PRIORITY2.
    Priority2(u8),
    /// DOMAIN: `domainNumber`.
    Domain(u8),
    /// SLAVE_ONLY, bit 0.
    SlaveOnly(bool),
    /// LOG_ANNOUNCE_INTERVAL.
    LogAnnounceInterval(LogInterval),
    /// ANNOUNCE_RECEIPT_TIMEOUT, Announce intervals.
    AnnounceReceiptTimeout(u8),
    /// LOG_SYNC_INTERVAL.
    LogSyncInterval(LogInterval),
    /// VERSION_NUMBER.
    VersionNumber(VersionNumber),
    /// TIME: `currentTime`.
    Time(Timestamp),
    /// CLOCK_ACCURACY.
    ClockAccuracy(u8),
    /// UTC_PROPERTIES.
    UtcProperties(UtcProperties),
    /// TRACEABILITY_PROPERTIES: `timeTraceable` and `frequencyTraceable`.
    TraceabilityProperties(Flags),
    /// TIMESCALE_PROPERTIES.
    TimescaleProperties(TimescaleProperties),
    /// DELAY_MECHANISM.
    DelayMechanism(u8),
    /// LOG_MIN_PDELAY_REQ_INTERVAL.
    LogMinPdelayReqInterval(LogInterval),
    /// TIME_STATUS_NP.
    TimeStatusNp(TimeStatusNp),
}

/// Decodes the value of a MANAGEMENT TLV, `managementId` first, under the message's `actionField`.
///
/// A value that is too short is noted and kept as identifier and length; octets beyond the layout are noted.
#[must_use]
pub fn decode(action: u8, value: &[u8], notes: &mut Vec<Note>) -> ManagementTlv {
    let length = value.len();
    let mut cursor = Cursor::new(value);
    let Ok(management_id) = cursor.u16("managementId") else {
        notes.push(too_short(MANAGEMENT, value));
        return ManagementTlv { management_id: None, data: ManagementData::Undecoded, length };
    };
    let data = if action == SET || action == RESPONSE {
        decode_data_set(management_id, value, cursor, notes)
    } else {
        ManagementData::NotData
    };
    ManagementTlv { management_id: Some(management_id), data, length }
}

fn decode_data_set(
    management_id: u16,
    value: &[u8],
    mut cursor: Cursor<'_>,
    notes: &mut Vec<Note>,
) -> ManagementData {
    // Notes on fields of a value that is then not kept would point at nothing.
    let mut found = Vec::new();
    match decode_data(management_id, &mut cursor, &mut found) {
        None => ManagementData::Undecoded,
        Some(Err(_)) => {
            notes.push(too_short(MANAGEMENT, value));
            ManagementData::Undecoded
        }
        Some(Ok(data)) => {
            notes.append(&mut found);
            note_extra_octets(MANAGEMENT, &cursor, notes);
            data
        }
    }
}

fn too_short(tlv_type: u16, value: &[u8]) -> Note {
    // `lengthField` has 16 bits, so a value that came from a TLV never saturates.
    Note::TlvTooShort { tlv_type, length: u16::try_from(value.len()).unwrap_or(u16::MAX) }
}

/// Notes octets beyond the layout; one that makes the length even belongs to it.
fn note_extra_octets(tlv_type: u16, cursor: &Cursor<'_>, notes: &mut Vec<Note>) {
    let extra_octets = cursor.rest().len().saturating_sub(cursor.offset() % 2);
    if extra_octets > 0 {
        notes.push(Note::TlvExtended { tlv_type, extra_octets });
    }
}

/// The data field; `None` for an identifier whose layout is not known here.
fn decode_data(
    management_id: u16,
    cursor: &mut Cursor<'_>,
    notes: &mut Vec<Note>,
) -> Option<Result<ManagementData, DecodeError>> {
    use ManagementData as Data;
    Some(match management_id {
        0x0001 => clock_description::decode(cursor).map(Box::new).map(Data::ClockDescription),
        0x0002 => PtpText::read(cursor, "userDescription").map(Data::UserDescription),
        0x2000 => data_sets::default_data_set(cursor).map(Data::DefaultDataSet),
        0x2001 => data_sets::current_data_set(cursor).map(Data::CurrentDataSet),
        0x2002 => data_sets::parent_data_set(cursor).map(Data::ParentDataSet),
        0x2003 => data_sets::time_properties_data_set(cursor).map(Data::TimePropertiesDataSet),
        0x2004 => data_sets::port_data_set(cursor, notes).map(Data::PortDataSet),
        0x2005 => data_sets::octet(cursor, "priority1").map(Data::Priority1),
        0x2006 => data_sets::octet(cursor, "priority2").map(Data::Priority2),
        0x2007 => data_sets::octet(cursor, "domainNumber").map(Data::Domain),
        0x2008 => data_sets::octet(cursor, "slaveOnly").map(|value| Data::SlaveOnly(value & 1 != 0)),
        0x2009 => {
            data_sets::log_interval_and_pad(cursor, "logAnnounceInterval").map(Data::LogAnnounceInterval)
        }
        0x200A => data_sets::octet(cursor, "announceReceiptTimeout").map(Data::AnnounceReceiptTimeout),
        0x200B => data_sets::log_interval_and_pad(cursor, "logSyncInterval").map(Data::LogSyncInterval),
        0x200C => data_sets::version_number(cursor).map(Data::VersionNumber),
        0x200F => data_sets::timestamp(cursor, "currentTime", notes).map(Data::Time),
        0x2010 => data_sets::octet(cursor, "clockAccuracy").map(Data::ClockAccuracy),
        0x2011 => data_sets::utc_properties(cursor).map(Data::UtcProperties),
        0x2012 => data_sets::traceability_properties(cursor).map(Data::TraceabilityProperties),
        0x2013 => data_sets::timescale_properties(cursor).map(Data::TimescaleProperties),
        0x6000 => data_sets::octet(cursor, "delayMechanism").map(Data::DelayMechanism),
        0x6001 => data_sets::log_interval_and_pad(cursor, "logMinPdelayReqInterval")
            .map(Data::LogMinPdelayReqInterval),
        0xC000 => data_sets::time_status_np(cursor).map(Data::TimeStatusNp),
        _ => return None,
    })
}
