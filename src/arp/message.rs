//! ARP for IPv4 over Ethernet.

use std::net::IpAddr;
use std::net::Ipv4Addr;

use super::Claim;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::units::MacAddress;

/// The Ethertype.
pub const ETHERTYPE: u16 = 0x0806;

/// An ARP packet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arp {
    /// `ar$op`: 1 request, 2 reply.
    pub operation: u16,
    /// `ar$sha`.
    pub sender_mac: MacAddress,
    /// `ar$spa`; 0.0.0.0 in a probe (RFC 5227 section 1.1).
    pub sender_address: Ipv4Addr,
    /// `ar$tha`, of meaning in a reply only.
    pub target_mac: MacAddress,
    /// `ar$tpa`.
    pub target_address: Ipv4Addr,
}

impl Arp {
    /// What the sender claims for itself; a probe claims nothing.
    #[must_use]
    pub fn claim(&self) -> Option<Claim> {
        (!self.sender_address.is_unspecified())
            .then_some(Claim { address: IpAddr::V4(self.sender_address), mac: self.sender_mac })
    }
}

/// Decodes what follows the Ethertype.
///
/// # Errors
/// Where the octets end inside the packet, or the addresses are not Ethernet's and IPv4's.
pub fn decode(octets: &[u8]) -> Result<Arp, DecodeError> {
    let mut cursor = Cursor::new(octets);
    expect(u64::from(cursor.u16("ar$hrd")?), 1, "ar$hrd", 0, "only Ethernet is read")?;
    expect(u64::from(cursor.u16("ar$pro")?), 0x0800, "ar$pro", 2, "only IPv4 is read")?;
    expect(u64::from(cursor.u8("ar$hln")?), 6, "ar$hln", 4, "Ethernet addresses have 6 octets")?;
    expect(u64::from(cursor.u8("ar$pln")?), 4, "ar$pln", 5, "IPv4 addresses have 4 octets")?;
    Ok(Arp {
        operation: cursor.u16("ar$op")?,
        sender_mac: MacAddress(cursor.take("ar$sha")?),
        sender_address: Ipv4Addr::from(cursor.take::<4>("ar$spa")?),
        target_mac: MacAddress(cursor.take("ar$tha")?),
        target_address: Ipv4Addr::from(cursor.take::<4>("ar$tpa")?),
    })
}

fn expect(
    value: u64,
    wanted: u64,
    field: &'static str,
    offset: usize,
    rule: &'static str,
) -> Result<(), DecodeError> {
    if value == wanted { Ok(()) } else { Err(DecodeError::Value { field, offset, value, rule }) }
}
