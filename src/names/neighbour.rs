//! A neighbour on the link, by LLDP.

use crate::lldp;
use crate::units::MacAddress;

/// `System Capabilities`, bit 2: a bridge (IEEE 802.1AB clause 8.5.8, from memory).
const BRIDGE: u16 = 1 << 2;

/// What sends LLDP on the link where this was captured, with the port that it sends from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkNeighbour {
    /// Where its messages come from.
    pub mac: MacAddress,
    /// `System Name`, untrusted.
    pub system: Option<String>,
    /// `Port ID`, untrusted.
    pub port: Option<String>,
    /// `Port Description`, untrusted.
    pub port_description: Option<String>,
    /// Whether it says that it works as a bridge.
    pub is_bridge: bool,
}

impl LinkNeighbour {
    pub(super) fn of(mac: MacAddress, message: &lldp::Message) -> Self {
        let tidy = |text: &Option<String>| text.as_deref().and_then(super::name::tidy);
        Self {
            mac,
            system: tidy(&message.system_name),
            port: message.port_id.as_ref().and_then(|port| super::name::tidy(&port.to_string())),
            port_description: tidy(&message.port_description),
            is_bridge: message.system_capabilities.is_some_and(|(_, enabled)| enabled & BRIDGE != 0),
        }
    }
}
