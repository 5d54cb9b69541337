//! Neighbour solicitation and advertisement.

use std::net::IpAddr;
use std::net::Ipv6Addr;

use super::Claim;
use crate::bytes::Cursor;
use crate::bytes::DecodeError;
use crate::units::MacAddress;

/// A neighbour solicitation or advertisement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Neighbour {
    /// Whether it is an advertisement (type 136) and not a solicitation (135).
    pub is_advertisement: bool,
    /// `Target Address`.
    pub target: Ipv6Addr,
    /// `Source link-layer address` (option 1) or `Target link-layer address` (option 2), whichever fits the type.
    pub link_layer_address: Option<MacAddress>,
}

impl Neighbour {
    /// The claim that it carries: an advertisement's for the target, a solicitation's for the packet's `source`.
    #[must_use]
    pub fn claim(&self, source: Ipv6Addr) -> Option<Claim> {
        let address = if self.is_advertisement { self.target } else { source };
        let mac = self.link_layer_address?;
        (!address.is_unspecified()).then_some(Claim { address: IpAddr::V6(address), mac })
    }
}

/// Decodes the payload of an IPv6 packet of protocol 58; `None` where it is another ICMPv6 type. Options that are
/// cut or of length 0 end the reading.
///
/// # Errors
/// Where the octets end inside the fixed part.
pub fn neighbour(octets: &[u8]) -> Result<Option<Neighbour>, DecodeError> {
    let mut cursor = Cursor::new(octets);
    let is_advertisement = match cursor.u8("Type")? {
        135 => false,
        136 => true,
        _ => return Ok(None),
    };
    cursor.skip("Code, Checksum and flags", 7)?;
    let target = Ipv6Addr::from(cursor.take::<16>("Target Address")?);
    let wanted = if is_advertisement { 2 } else { 1 };
    let mut link_layer_address = None;
    while let Ok([option, length]) = cursor.take("option") {
        let Some(rest) = (usize::from(length) * 8).checked_sub(2) else { break };
        let Ok(value) = cursor.slice("option", rest) else { break };
        if option == wanted
            && let Ok(mac) = <[u8; 6]>::try_from(value)
        {
            link_layer_address.get_or_insert(MacAddress(mac));
        }
    }
    Ok(Some(Neighbour { is_advertisement, target, link_layer_address }))
}
