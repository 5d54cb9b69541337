//! Management, 60 octets and `parameterLength` more (layouts checked against the pack routines of an
//! open-source IEEE 1588-2002 implementation; offsets below count from the message's first octet).

use super::message::PortUuid;
use super::wire;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::ptp::Note;
use crate::units::Nanos;
use crate::units::Timestamp;

/// Management.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Management {
    /// `targetCommunicationTechnology`.
    pub target_communication_technology: u8,
    /// `targetUuid` and `targetPortId`.
    pub target: PortUuid,
    /// `startingBoundaryHops`.
    pub starting_boundary_hops: i16,
    /// `boundaryHops`.
    pub boundary_hops: i16,
    /// `managementMessageKey`; its name is [`management_key_name`].
    pub management_message_key: u8,
    /// `parameterLength`, octets.
    pub parameter_length: u16,
    /// The parameters of the answers that reveal state.
    pub data: ManagementData,
}

/// What the parameters hold.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ManagementData {
    /// Key 11, `CURRENT_DATA_SET`.
    Current(CurrentDataSet),
    /// Key 13, `PARENT_DATA_SET`.
    Parent(Box<ParentDataSet>),
    /// Key 15, `PORT_DATA_SET`.
    Port(PortDataSet),
    /// Key 17, `GLOBAL_TIME_DATA_SET`.
    GlobalTime(GlobalTimeDataSet),
    /// Every other key, and parameters too short for their key: only key and length are kept.
    Undecoded,
}

/// `CURRENT_DATA_SET`: what the sender itself claims, not a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CurrentDataSet {
    /// `stepsRemoved`, at 62.
    pub steps_removed: u16,
    /// `offsetFromMaster`, at 64.
    pub offset_from_master: Nanos,
    /// `oneWayDelay`, at 72.
    pub one_way_delay: Nanos,
}

/// `PARENT_DATA_SET`.
///
/// `parentFollowupCapable` is not here: the implementation the layout was checked against packs it at
/// octet 81 and unpacks it at 83.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ParentDataSet {
    /// `parentCommunicationTechnology`, at 63.
    pub parent_communication_technology: u8,
    /// `parentUuid` at 64 and `parentPortId` at 74.
    pub parent: PortUuid,
    /// `parentLastSyncSequenceNumber`, at 78.
    pub parent_last_sync_sequence_number: u16,
    /// `parentExternalTiming`, at 87.
    pub parent_external_timing: bool,
    /// `parentVariance`, at 90, scaled log variance.
    pub parent_variance: i16,
    /// `parentStats`, at 95: the two observed values are valid.
    pub parent_stats: bool,
    /// `observedVariance`, at 98.
    pub observed_variance: i16,
    /// `observedDrift`, at 100.
    pub observed_drift: i32,
    /// `utcReasonable`, at 107.
    pub utc_reasonable: bool,
    /// `grandmasterCommunicationTechnology`, at 111.
    pub grandmaster_communication_technology: u8,
    /// `grandmasterUuid` at 112 and `grandmasterPortId` at 122.
    pub grandmaster: PortUuid,
    /// `grandmasterStratum`, at 127.
    pub grandmaster_stratum: u8,
    /// `grandmasterIdentifier`, at 128, 4 characters.
    pub grandmaster_identifier: [u8; 4],
    /// `grandmasterVariance`, at 134.
    pub grandmaster_variance: i16,
    /// `grandmasterPreferred`, at 139.
    pub grandmaster_preferred: bool,
    /// `grandmasterIsBoundaryClock`, at 143.
    pub grandmaster_is_boundary_clock: bool,
    /// `grandmasterSequenceNumber`, at 146.
    pub grandmaster_sequence_number: u16,
}

/// `PORT_DATA_SET`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PortDataSet {
    /// `returnedPortNumber`, at 62.
    pub port_number: u16,
    /// `portState`, at 67.
    pub port_state: PortState,
    /// `lastSyncEventSequenceNumber`, at 70.
    pub last_sync_event_sequence_number: u16,
    /// `lastGeneralEventSequenceNumber`, at 74.
    pub last_general_event_sequence_number: u16,
    /// `portCommunicationTechnology`, at 79.
    pub port_communication_technology: u8,
    /// `portUuid` at 80 and `portId` at 90.
    pub port: PortUuid,
    /// `burstEnabled`, at 95.
    pub burst_enabled: bool,
    /// `subdomainAddress`, at 100: the IPv4 group.
    pub subdomain_address: [u8; 4],
    /// `eventPortAddress`, at 106: the UDP port.
    pub event_port: u16,
    /// `generalPortAddress`, at 110: the UDP port.
    pub general_port: u16,
}

/// `GLOBAL_TIME_DATA_SET`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GlobalTimeDataSet {
    /// `localTime`, at 60; `None` where its sign bit is set.
    pub local_time: Option<Timestamp>,
    /// `currentUtcOffset`, at 70, s.
    pub current_utc_offset: i16,
    /// `leap59`, at 75.
    pub leap59: bool,
    /// `leap61`, at 79.
    pub leap61: bool,
    /// `epochNumber`, at 82.
    pub epoch_number: u16,
}

/// `portState`; each code is one less than in v2.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PortState {
    /// 0.
    Initializing,
    /// 1.
    Faulty,
    /// 2.
    Disabled,
    /// 3.
    Listening,
    /// 4.
    PreMaster,
    /// 5.
    Master,
    /// 6.
    Passive,
    /// 7.
    Uncalibrated,
    /// 8.
    Slave,
    /// Any other code.
    Reserved(u8),
}

impl PortState {
    /// The state of a wire code.
    #[must_use]
    pub const fn from_wire(code: u8) -> Self {
        match code {
            0 => Self::Initializing,
            1 => Self::Faulty,
            2 => Self::Disabled,
            3 => Self::Listening,
            4 => Self::PreMaster,
            5 => Self::Master,
            6 => Self::Passive,
            7 => Self::Uncalibrated,
            8 => Self::Slave,
            other => Self::Reserved(other),
        }
    }

    /// The standard's name; `None` for a reserved code.
    #[must_use]
    pub const fn name(self) -> Option<&'static str> {
        Some(match self {
            Self::Initializing => "INITIALIZING",
            Self::Faulty => "FAULTY",
            Self::Disabled => "DISABLED",
            Self::Listening => "LISTENING",
            Self::PreMaster => "PRE_MASTER",
            Self::Master => "MASTER",
            Self::Passive => "PASSIVE",
            Self::Uncalibrated => "UNCALIBRATED",
            Self::Slave => "SLAVE",
            Self::Reserved(_) => return None,
        })
    }
}

/// Names of `managementMessageKey`, by value.
const KEY_NAMES: [&str; 28] = [
    "NULL",
    "OBTAIN_IDENTITY",
    "CLOCK_IDENTITY",
    "INITIALIZE_CLOCK",
    "SET_SUBDOMAIN",
    "CLEAR_DESIGNATED_PREFERRED_MASTER",
    "SET_DESIGNATED_PREFERRED_MASTER",
    "GET_DEFAULT_DATA_SET",
    "DEFAULT_DATA_SET",
    "UPDATE_DEFAULT_DATA_SET",
    "GET_CURRENT_DATA_SET",
    "CURRENT_DATA_SET",
    "GET_PARENT_DATA_SET",
    "PARENT_DATA_SET",
    "GET_PORT_DATA_SET",
    "PORT_DATA_SET",
    "GET_GLOBAL_TIME_DATA_SET",
    "GLOBAL_TIME_DATA_SET",
    "UPDATE_GLOBAL_TIME_PROPERTIES",
    "GOTO_FAULTY_STATE",
    "GET_FOREIGN_DATA_SET",
    "FOREIGN_DATA_SET",
    "SET_SYNC_INTERVAL",
    "DISABLE_PORT",
    "ENABLE_PORT",
    "DISABLE_BURST",
    "ENABLE_BURST",
    "SET_TIME",
];

/// Name of a `managementMessageKey`; `None` for 28 and above.
#[must_use]
pub fn management_key_name(key: u8) -> Option<&'static str> {
    KEY_NAMES.get(usize::from(key)).copied()
}

/// Reads the body; the cursor stands at octet 40.
pub(super) fn decode(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<Management, DecodeError> {
    cursor.skip("reserved", 1)?;
    let target_communication_technology = cursor.u8("targetCommunicationTechnology")?;
    let target = wire::port(cursor, "targetUuid", 0, "targetPortId")?;
    let starting_boundary_hops = cursor.i16("startingBoundaryHops")?;
    let boundary_hops = cursor.i16("boundaryHops")?;
    cursor.skip("reserved", 1)?;
    let key = cursor.u8("managementMessageKey")?;
    cursor.skip("reserved", 2)?;
    let parameter_length = cursor.u16("parameterLength")?;
    let parameters = cursor.sub("parameters", usize::from(parameter_length))?;
    if management_key_name(key).is_none() {
        notes.push(Note::ReservedValue { field: "managementMessageKey", value: u64::from(key) });
    }
    Ok(Management {
        target_communication_technology,
        target,
        starting_boundary_hops,
        boundary_hops,
        management_message_key: key,
        parameter_length,
        data: decode_parameters(key, parameter_length, parameters, notes),
    })
}

/// Parameters that end early are noted and kept as length; octets beyond the layout are noted.
fn decode_parameters(
    key: u8,
    length: u16,
    mut parameters: Cursor<'_>,
    notes: &mut Vec<Note>,
) -> ManagementData {
    let cursor = &mut parameters;
    let noted_before = notes.len();
    let data = match key {
        11 => current(cursor, notes).map(ManagementData::Current),
        13 => parent(cursor).map(Box::new).map(ManagementData::Parent),
        15 => port(cursor).map(ManagementData::Port),
        17 => global_time(cursor, notes).map(ManagementData::GlobalTime),
        _ => return ManagementData::Undecoded,
    };
    let Ok(data) = data else {
        // Notes on fields that are then thrown away would point at nothing.
        notes.truncate(noted_before);
        notes.push(Note::ParametersTooShort { key, length });
        return ManagementData::Undecoded;
    };
    let extra_octets = parameters.rest().len();
    if extra_octets > 0 {
        notes.push(Note::ParametersExtended { key, extra_octets });
    }
    data
}

fn current(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<CurrentDataSet, DecodeError> {
    cursor.skip("reserved", 2)?;
    Ok(CurrentDataSet {
        steps_removed: cursor.u16("stepsRemoved")?,
        offset_from_master: wire::difference(cursor, "offsetFromMaster", notes)?,
        one_way_delay: wire::difference(cursor, "oneWayDelay", notes)?,
    })
}

fn parent(cursor: &mut Cursor<'_>) -> Result<ParentDataSet, DecodeError> {
    cursor.skip("reserved", 3)?;
    let parent_communication_technology = cursor.u8("parentCommunicationTechnology")?;
    let parent = wire::port(cursor, "parentUuid", 4, "parentPortId")?;
    cursor.skip("reserved", 2)?;
    let parent_last_sync_sequence_number = cursor.u16("parentLastSyncSequenceNumber")?;
    let parent_external_timing = wire::boolean(cursor, 7, "parentExternalTiming")?;
    cursor.skip("reserved", 2)?;
    let parent_variance = cursor.i16("parentVariance")?;
    let parent_stats = wire::boolean(cursor, 3, "parentStats")?;
    cursor.skip("reserved", 2)?;
    let observed_variance = cursor.i16("observedVariance")?;
    let observed_drift = cursor.i32("observedDrift")?;
    let utc_reasonable = wire::boolean(cursor, 3, "utcReasonable")?;
    cursor.skip("reserved", 3)?;
    let grandmaster_communication_technology = cursor.u8("grandmasterCommunicationTechnology")?;
    let grandmaster = wire::port(cursor, "grandmasterUuid", 4, "grandmasterPortId")?;
    cursor.skip("reserved", 3)?;
    let grandmaster_stratum = cursor.u8("grandmasterStratum")?;
    let grandmaster_identifier = cursor.take("grandmasterIdentifier")?;
    cursor.skip("reserved", 2)?;
    let grandmaster_variance = cursor.i16("grandmasterVariance")?;
    let grandmaster_preferred = wire::boolean(cursor, 3, "grandmasterPreferred")?;
    let grandmaster_is_boundary_clock = wire::boolean(cursor, 3, "grandmasterIsBoundaryClock")?;
    cursor.skip("reserved", 2)?;
    let grandmaster_sequence_number = cursor.u16("grandmasterSequenceNumber")?;
    Ok(ParentDataSet {
        parent_communication_technology,
        parent,
        parent_last_sync_sequence_number,
        parent_external_timing,
        parent_variance,
        parent_stats,
        observed_variance,
        observed_drift,
        utc_reasonable,
        grandmaster_communication_technology,
        grandmaster,
        grandmaster_stratum,
        grandmaster_identifier,
        grandmaster_variance,
        grandmaster_preferred,
        grandmaster_is_boundary_clock,
        grandmaster_sequence_number,
    })
}

fn port(cursor: &mut Cursor<'_>) -> Result<PortDataSet, DecodeError> {
    cursor.skip("reserved", 2)?;
    let port_number = cursor.u16("returnedPortNumber")?;
    cursor.skip("reserved", 3)?;
    let port_state = PortState::from_wire(cursor.u8("portState")?);
    cursor.skip("reserved", 2)?;
    let last_sync_event_sequence_number = cursor.u16("lastSyncEventSequenceNumber")?;
    cursor.skip("reserved", 2)?;
    let last_general_event_sequence_number = cursor.u16("lastGeneralEventSequenceNumber")?;
    cursor.skip("reserved", 3)?;
    let port_communication_technology = cursor.u8("portCommunicationTechnology")?;
    let port = wire::port(cursor, "portUuid", 4, "portId")?;
    let burst_enabled = wire::boolean(cursor, 3, "burstEnabled")?;
    cursor.skip("reserved", 1)?;
    // Three address lengths; on UDP over IPv4 they are 4, 2 and 2.
    cursor.skip("addressLengths", 3)?;
    let subdomain_address = cursor.take("subdomainAddress")?;
    cursor.skip("reserved", 2)?;
    let event_port = cursor.u16("eventPortAddress")?;
    cursor.skip("reserved", 2)?;
    let general_port = cursor.u16("generalPortAddress")?;
    Ok(PortDataSet {
        port_number,
        port_state,
        last_sync_event_sequence_number,
        last_general_event_sequence_number,
        port_communication_technology,
        port,
        burst_enabled,
        subdomain_address,
        event_port,
        general_port,
    })
}

fn global_time(cursor: &mut Cursor<'_>, notes: &mut Vec<Note>) -> Result<GlobalTimeDataSet, DecodeError> {
    let local_time = wire::timestamp(cursor, "localTime", notes)?;
    cursor.skip("reserved", 2)?;
    let current_utc_offset = cursor.i16("currentUtcOffset")?;
    let leap59 = wire::boolean(cursor, 3, "leap59")?;
    let leap61 = wire::boolean(cursor, 3, "leap61")?;
    cursor.skip("reserved", 2)?;
    let epoch_number = cursor.u16("epochNumber")?;
    Ok(GlobalTimeDataSet { local_time, current_utc_offset, leap59, leap61, epoch_number })
}
