//! Octets after the Ethertype to a message.

use std::fmt;
use std::net::IpAddr;
use std::net::Ipv4Addr;
use std::net::Ipv6Addr;

use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::units::MacAddress;

/// The Ethertype.
pub const ETHERTYPE: u16 = 0x88CC;

/// An LLDPDU. What repeats is kept as it came first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Message {
    /// `Chassis ID`, which must come first.
    pub chassis_id: Option<ChassisId>,
    /// `Port ID`, which must come second.
    pub port_id: Option<PortId>,
    /// `Time To Live`, s, which must come third; 0 = gone.
    pub time_to_live: Option<u16>,
    /// `Port Description`.
    pub port_description: Option<String>,
    /// `System Name`.
    pub system_name: Option<String>,
    /// `System Description`.
    pub system_description: Option<String>,
    /// `System Capabilities` and those that are enabled.
    pub system_capabilities: Option<(u16, u16)>,
    /// `Management Address`, all of them.
    pub management_addresses: Vec<ManagementAddress>,
    /// Organizationally specific TLVs, all of them.
    pub organizationally_specific: Vec<OrganizationallySpecific>,
    /// Types in the order in which they came, `End Of LLDPDU` among them.
    pub tlv_types: Vec<u8>,
    /// What was odd.
    pub notes: Vec<Note>,
}

/// `Chassis ID` (clause 8.5.2).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChassisId {
    /// Subtype 4.
    Mac(MacAddress),
    /// Subtype 5.
    Network(IpAddr),
    /// Subtypes 1 to 3, 6 and 7: chassis component, interface alias, port component, interface name, local.
    Text {
        /// The subtype.
        subtype: u8,
        /// The identifier; octets that are not UTF-8 are replaced.
        text: String,
    },
    /// Another subtype, or one whose octets do not fit it.
    Other {
        /// The subtype.
        subtype: u8,
        /// The identifier.
        octets: Vec<u8>,
    },
}

/// `Port ID` (clause 8.5.3).
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortId {
    /// Subtype 3.
    Mac(MacAddress),
    /// Subtype 4.
    Network(IpAddr),
    /// Subtypes 1, 2, 5, 6 and 7: interface alias, port component, interface name, agent circuit, local.
    Text {
        /// The subtype.
        subtype: u8,
        /// The identifier; octets that are not UTF-8 are replaced.
        text: String,
    },
    /// Another subtype, or one whose octets do not fit it.
    Other {
        /// The subtype.
        subtype: u8,
        /// The identifier.
        octets: Vec<u8>,
    },
}

impl fmt::Display for ChassisId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mac(mac) => mac.fmt(f),
            Self::Network(address) => address.fmt(f),
            Self::Text { text, .. } => text.fmt(f),
            Self::Other { octets, .. } => hex(f, octets),
        }
    }
}

impl fmt::Display for PortId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Mac(mac) => mac.fmt(f),
            Self::Network(address) => address.fmt(f),
            Self::Text { text, .. } => text.fmt(f),
            Self::Other { octets, .. } => hex(f, octets),
        }
    }
}

fn hex(f: &mut fmt::Formatter<'_>, octets: &[u8]) -> fmt::Result {
    octets.iter().try_for_each(|octet| write!(f, "{octet:02x}"))
}

/// `Management Address` (clause 8.5.9).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ManagementAddress {
    /// The address; `None` where it is of a family that is not read here.
    pub address: Option<IpAddr>,
    /// `management address subtype`: the IANA address family, 1 IPv4, 2 IPv6, 6 MAC.
    pub family: u8,
    /// `interface number`.
    pub interface_number: u32,
}

/// A TLV of type 127 (clause 8.6).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrganizationallySpecific {
    /// Organizationally unique identifier.
    pub oui: [u8; 3],
    /// Subtype, which the organization defines.
    pub subtype: u8,
    /// The information string.
    pub octets: Vec<u8>,
}

/// Something odd about an LLDPDU.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[non_exhaustive]
pub enum Note {
    /// The first three TLVs are not Chassis ID, Port ID and Time To Live, so receivers discard it (clause 9.2.7.7.1).
    MandatoryMissing,
    /// A TLV of this type is too short for its layout; it is left out.
    TooShort {
        /// The type.
        tlv_type: u8,
    },
    /// The octets end inside a TLV, or before its header's end.
    Cut,
    /// A type that may come once came again; the later one is left out.
    Repeated {
        /// The type.
        tlv_type: u8,
    },
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MandatoryMissing => {
                write!(f, "Chassis ID, Port ID and Time To Live do not come first, as they must")
            }
            Self::TooShort { tlv_type } => write!(f, "the TLV of type {tlv_type} is too short"),
            Self::Cut => write!(f, "the message ends inside a TLV"),
            Self::Repeated { tlv_type } => write!(f, "a second TLV of type {tlv_type}"),
        }
    }
}

/// Decodes what follows the Ethertype. Pads after `End Of LLDPDU` are not looked at; without that TLV the
/// message ends with the octets.
#[must_use]
pub fn decode(octets: &[u8]) -> Message {
    let mut message = Message::default();
    let mut cursor = Cursor::new(octets);
    while !cursor.rest().is_empty() {
        let Ok((tlv_type, value)) = tlv(&mut cursor) else {
            message.notes.push(Note::Cut);
            break;
        };
        message.tlv_types.push(tlv_type);
        if tlv_type == 0 {
            break;
        }
        if message.read(tlv_type, value).is_err() {
            message.notes.push(Note::TooShort { tlv_type });
        }
    }
    if !matches!(message.tlv_types.as_slice(), [1, 2, 3, ..]) {
        message.notes.push(Note::MandatoryMissing);
    }
    message
}

/// A type of 7 bits, a length of 9, and a value.
fn tlv<'a>(cursor: &mut Cursor<'a>) -> Result<(u8, &'a [u8]), DecodeError> {
    let [first, second] = cursor.take("TLV type and length")?;
    let length = usize::from(first & 1) << 8 | usize::from(second);
    Ok((first >> 1, cursor.slice("TLV information string", length)?))
}

impl Message {
    fn read(&mut self, tlv_type: u8, value: &[u8]) -> Result<(), DecodeError> {
        let mut cursor = Cursor::new(value);
        let is_new = match tlv_type {
            1 => keep(&mut self.chassis_id, chassis_id(&mut cursor)?),
            2 => keep(&mut self.port_id, port_id(&mut cursor)?),
            3 => keep(&mut self.time_to_live, cursor.u16("time to live")?),
            4 => keep(&mut self.port_description, text(value)),
            5 => keep(&mut self.system_name, text(value)),
            6 => keep(&mut self.system_description, text(value)),
            7 => {
                let all = cursor.u16("system capabilities")?;
                keep(&mut self.system_capabilities, (all, cursor.u16("enabled capabilities")?))
            }
            8 => {
                self.management_addresses.push(management_address(&mut cursor)?);
                true
            }
            127 => {
                let oui = cursor.take("OUI")?;
                let subtype = cursor.u8("subtype")?;
                let octets = cursor.rest().to_vec();
                self.organizationally_specific.push(OrganizationallySpecific { oui, subtype, octets });
                true
            }
            _ => true,
        };
        if !is_new {
            self.notes.push(Note::Repeated { tlv_type });
        }
        Ok(())
    }
}

/// Fills an empty place; whether it was empty.
fn keep<T>(place: &mut Option<T>, value: T) -> bool {
    let is_new = place.is_none();
    place.get_or_insert(value);
    is_new
}

fn text(octets: &[u8]) -> String {
    String::from_utf8_lossy(octets).trim_end_matches('\0').to_owned()
}

fn chassis_id(cursor: &mut Cursor<'_>) -> Result<ChassisId, DecodeError> {
    let subtype = cursor.u8("chassis ID subtype")?;
    let octets = cursor.rest();
    let mac = <[u8; 6]>::try_from(octets).ok().map(MacAddress);
    Ok(match (subtype, mac, network(octets)) {
        (4, Some(mac), _) => ChassisId::Mac(mac),
        (5, _, Some(address)) => ChassisId::Network(address),
        (1..=3 | 6 | 7, _, _) => ChassisId::Text { subtype, text: text(octets) },
        _ => ChassisId::Other { subtype, octets: octets.to_vec() },
    })
}

fn port_id(cursor: &mut Cursor<'_>) -> Result<PortId, DecodeError> {
    let subtype = cursor.u8("port ID subtype")?;
    let octets = cursor.rest();
    let mac = <[u8; 6]>::try_from(octets).ok().map(MacAddress);
    Ok(match (subtype, mac, network(octets)) {
        (3, Some(mac), _) => PortId::Mac(mac),
        (4, _, Some(address)) => PortId::Network(address),
        (1 | 2 | 5..=7, _, _) => PortId::Text { subtype, text: text(octets) },
        _ => PortId::Other { subtype, octets: octets.to_vec() },
    })
}

/// An IANA address family number and an address of it.
fn network(octets: &[u8]) -> Option<IpAddr> {
    let (family, address) = octets.split_first()?;
    match family {
        1 => <[u8; 4]>::try_from(address).ok().map(|octets| IpAddr::V4(Ipv4Addr::from(octets))),
        2 => <[u8; 16]>::try_from(address).ok().map(|octets| IpAddr::V6(Ipv6Addr::from(octets))),
        _ => None,
    }
}

fn management_address(cursor: &mut Cursor<'_>) -> Result<ManagementAddress, DecodeError> {
    let length = cursor.u8("management address string length")?;
    let octets = cursor.slice("management address", usize::from(length))?;
    let Some(family) = octets.first().copied() else {
        let rule = "it counts the subtype, so it is at least 1";
        let field = "management address string length";
        return Err(DecodeError::Value { field, offset: 0, value: 0, rule });
    };
    cursor.skip("interface numbering subtype", 1)?;
    let interface_number = cursor.u32("interface number")?;
    Ok(ManagementAddress { address: network(octets), family, interface_number })
}
