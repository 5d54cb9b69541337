//! CLOCK_DESCRIPTION, the one management answer of variable layout that says what a device is.

use super::text::PtpText;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;

/// CLOCK_DESCRIPTION (1588-2008 15.5.3.1.2, from memory; layout checked on a real capture).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClockDescription {
    /// `clockType`.
    pub clock_type: ClockType,
    /// `physicalLayerProtocol`.
    pub physical_layer_protocol: PtpText,
    /// `physicalAddress`, the MAC address on Ethernet.
    pub physical_address: Vec<u8>,
    /// `networkProtocol` of `protocolAddress`; its name is [`network_protocol_name`].
    pub network_protocol: u16,
    /// `addressField` of `protocolAddress`.
    pub protocol_address: Vec<u8>,
    /// `manufacturerIdentity`, an organisation's 24-bit identifier.
    pub manufacturer_identity: [u8; 3],
    /// `productDescription`: manufacturer, model and serial number, parted by semicolons.
    pub product_description: PtpText,
    /// `revisionData`: hardware, firmware and software revision, parted by semicolons.
    pub revision_data: PtpText,
    /// `userDescription`.
    pub user_description: PtpText,
    /// `profileIdentity`.
    pub profile_identity: [u8; 6],
}

/// `clockType`, 16 bits of which several may be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct ClockType(pub u16);

impl ClockType {
    const NAMES: [(u16, &'static str); 5] = [
        (0x8000, "ordinary_clock"),
        (0x4000, "boundary_clock"),
        (0x2000, "peer_to_peer_transparent_clock"),
        (0x1000, "end_to_end_transparent_clock"),
        (0x0800, "management_node"),
    ];

    /// Names of the bits that are set, highest bit first.
    pub fn names(self) -> impl Iterator<Item = &'static str> {
        Self::NAMES.into_iter().filter(move |(mask, _)| self.0 & mask != 0).map(|(_, name)| name)
    }
}

/// Name of a `networkProtocol` (1588-2008 Table 3, from memory; 3 seen in a real capture).
#[must_use]
pub const fn network_protocol_name(value: u16) -> Option<&'static str> {
    Some(match value {
        1 => "UDP/IPv4",
        2 => "UDP/IPv6",
        3 => "IEEE 802.3",
        4 => "DeviceNet",
        5 => "ControlNet",
        6 => "PROFINET",
        0xFFFE => "unknown",
        _ => return None,
    })
}

/// Reads the data field and the octet that makes its length even.
pub(super) fn decode(cursor: &mut Cursor<'_>) -> Result<ClockDescription, DecodeError> {
    let clock_type = ClockType(cursor.u16("clockType")?);
    let physical_layer_protocol = PtpText::read(cursor, "physicalLayerProtocol")?;
    let physical_address = address(cursor, "physicalAddress")?;
    let network_protocol = cursor.u16("networkProtocol")?;
    let protocol_address = address(cursor, "protocolAddress")?;
    let manufacturer_identity = cursor.take("manufacturerIdentity")?;
    cursor.skip("reserved", 1)?;
    let product_description = PtpText::read(cursor, "productDescription")?;
    let revision_data = PtpText::read(cursor, "revisionData")?;
    let user_description = PtpText::read(cursor, "userDescription")?;
    let profile_identity = cursor.take("profileIdentity")?;
    Ok(ClockDescription {
        clock_type,
        physical_layer_protocol,
        physical_address,
        network_protocol,
        protocol_address,
        manufacturer_identity,
        product_description,
        revision_data,
        user_description,
        profile_identity,
    })
}

fn address(cursor: &mut Cursor<'_>, field: &'static str) -> Result<Vec<u8>, DecodeError> {
    let length = cursor.u16(field)?;
    cursor.slice(field, usize::from(length)).map(<[u8]>::to_vec)
}
